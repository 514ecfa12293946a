"""What is built from a choice: ids, lengths, links, polarity and hardware, by hand and for random sites."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from types import ModuleType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast.catalogue.part import Cable
from upmast.errors import UpmastError, UsageError
from upmast.line.build import build
from upmast.line.choice import Choice, shares
from upmast.line.hardware import clamp_count
from upmast.line.line import HARDWARE, Line
from upmast.line.need import length_for, length_or_fault
from upmast.line.walk import feeds, rf_paths
from upmast.proof.prove import prove

LOW, MID, SMALL, PANEL = "radio-low-2t2r", "radio-mid-4t4r", "radio-small-2t2r", "radio-n78-panel"


def of(line: Line, *kinds: str) -> dict[str, int]:
    """How many of each kind, pieces counted."""
    out = dict.fromkeys(kinds, 0)
    for item in line.of_kind(*kinds):
        out[item.kind] += item.count
    return out


@pytest.mark.parametrize(
    ("count", "groups", "sizes"), [(9, 1, [9]), (9, 2, [5, 4]), (7, 3, [3, 2, 2]), (2, 3, [1, 1, 0]), (0, 1, [0])]
)
def test_radios_are_shared_out_evenly_and_in_order(count: int, groups: int, sizes: list[int]) -> None:
    made = shares(count, groups)
    assert [len(one) for one in made] == sizes
    assert [n for one in made for n in one] == list(range(count))


@pytest.mark.parametrize(
    ("form", "swap"), [("lc", ("trunk", "hybrid-8x25-48f")), ("lc", ("box", "box-bussed-12-lc")), ("mpo12", ("trunk", "hybrid-mpo12-8x25-48f"))]
)  # fmt: skip
def test_ids_stay_when_a_part_is_swapped(lines: ModuleType, form: str, swap: tuple[str, str]) -> None:
    asked = lines.some_site([LOW, MID, SMALL, PANEL], (1, 2), 1)
    choice = lines.some_choice(asked, form)
    before = build(asked, lines.parts(), choice)
    after = build(asked, lines.parts(), replace(choice, **{swap[0]: swap[1]}))
    names = [[i.id for i in line.items if i.kind not in (*HARDWARE, "breaker")] for line in (before, after)]
    assert names[0] == names[1]
    assert before.digest != after.digest
    kept = {k.id: k.b for k in before.links if k.state == "service"}
    assert kept == {k.id: k.b for k in after.links if k.state == "service"}


def test_ids_stay_when_another_radio_stands_in_the_place(lines: ModuleType) -> None:
    asked = lines.some_site([LOW, MID, SMALL])
    radios = list(asked.radios)
    radios[0] = radios[0].model_copy(update={"part": "radio-low-4t4r"})
    other = asked.model_copy(update={"radios": tuple(radios)})
    before, after = lines.some_line(asked, "lc"), lines.some_line(other, "lc")
    names = [[i.id for i in line.items if i.kind != "cap"] for line in (before, after)]  # two RF ports more to cap
    assert names[0] == names[1]
    assert after.by_id["A1"].part == "radio-low-4t4r"


def test_a_straight_line_by_hand(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site([LOW, PANEL], (1, 2), 1), "lc")
    nodes = [i.id for i in line.items if i.kind not in HARDWARE]
    assert nodes == [
        "PLANT", "BB1", "A1-ANT", "A1", "B1", "T1", "BX1", "A1-CB", "A1-H1", "B1-CB", "B1-H1", "A1-J1", "A1-J2", "A1-ANT-K1",
    ]  # fmt: skip
    assert [(k.id, k.state, k.radio) for k in line.links][:5] == [
        ("A1-L1", "service", "A1"),
        ("A1-S1", "standby", "A1"),
        ("B1-L1", "service", "B1"),
        ("B1-L2", "service", "B1"),
        ("B1-S1", "standby", "B1"),
    ]
    assert [(k.id, k.state) for k in line.links][5:] == [(f"T1-G{n:02d}", "growth") for n in range(1, 20)]
    assert line.links[3].a == "BB1.s3"  # the third optic in the cabinet
    assert line.links[1].a == "T1.foot.f2"  # strand pairs are taken in order
    assert line.by_id["BB1"].equipment == tuple((f"s{n}", "optic-10g-lr") for n in (1, 2, 3))
    assert line.by_id["B1"].equipment == (("opt1", "optic-10g-lr"), ("opt2", "optic-10g-lr"))
    assert line.by_id["T1"].serves == ("A1", "B1")
    assert line.by_id["T1"].reason == "said by the test"


def test_every_strand_pair_has_a_link(lines: ModuleType) -> None:
    """24 pairs in the trunk and 24 outputs of the box: service, standby and growth add up to them."""
    for form in ("lc", "mpo12", "bussed"):
        line = lines.some_line(lines.some_site([LOW, MID, SMALL, PANEL], (1, 2), 1), form)
        states = [k.state for k in line.links]
        assert (states.count("service"), states.count("standby"), len(states)) == (6, 4, 24)


def test_separate_cables_by_hand(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site([LOW, PANEL], (1, 2)), "separate")
    assert not line.of_kind("trunk", "box")
    assert [i.id for i in line.of_kind("dc-cable", "fibre-cable")] == ["A1-D1", "A1-F1", "B1-D1", "B1-F1"]
    assert [(k.id, k.state) for k in line.links] == [
        ("A1-L1", "service"), ("A1-L2", "growth"), ("B1-L1", "service"), ("B1-L2", "service"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("form", "kind"), [("mpo12", "A-A"), ("mpo24", "A-A"), ("mpo12-a-a", "A-B"), ("bussed-mpo12", "A-A")]
)
def test_the_patch_makes_the_crossings_odd(lines: ModuleType, form: str, kind: str) -> None:
    line = lines.some_line(lines.some_site([LOW, MID], (2, 1)), form)
    patches = [line.parts[i.part] for i in line.items if "-X0" in i.id and i.kind == "fibre-jumper"]
    assert len(patches) == 3
    assert {p.duplex_kind for p in patches if isinstance(p, Cable)} == {kind}


def test_lc_trunks_need_no_patch(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site([LOW]), "lc")
    assert not [i for i in line.items if "-X" in i.id or i.kind == "fanout"]
    assert "BB1.s1" in [other for other, _ in line.joined["T1.foot.f1"]]


def test_a_jumper_of_the_wrong_kind_is_found(lines: ModuleType) -> None:
    """Straight trunk and straight jumper: two senders face each other, and the proof says so."""
    asked = lines.some_site([LOW])
    choice = lines.some_choice(asked, "lc-jumpers")
    radios = tuple(replace(r, fibre="fibre-jumper-2f-a-a") for r in choice.radios)
    line = build(asked, lines.parts(), replace(choice, radios=radios))
    (finding,) = [f for f in prove(asked, line, rooms=("fibre",)).findings if f.code == "fibre.right-port"]
    assert str(finding.verdict) == "fails"
    assert "two senders face each other" in finding.note + finding.remedy


# --- lengths ------------------------------------------------------------------------------------------------------


def test_lengths_by_hand(lines: ModuleType) -> None:
    """
    Route 6 + 30 m, slack 3, tail 2, survey 1.5: 42.5 m. Made 0.5 % short it must still reach: 43.0 m, not 42.5.
    Jumper 1.5 m up, 2 m around and 0.3 m: 3.8 m, in stock 5 m. RF 1 m up and 0.8 m: 1.8 m, in stock 2 m.
    """
    line = lines.some_line(lines.some_site([LOW]), "lc")
    assert (line.by_id["T1"].length_m, line.by_id["T1"].tolerance_m) == (43.0, 0.215)
    assert (line.by_id["A1-H1"].length_m, line.by_id["A1-H1"].tolerance_m) == (5.0, 0.025)
    assert (line.by_id["A1-J1"].length_m, line.by_id["A1-J1"].tolerance_m) == (2.0, 0.01)
    assert (line.by_id["T1"].low_m, line.by_id["T1"].high_m) == (0.5, 30.0)
    apart = lines.some_line(lines.some_site([LOW]), "separate")
    assert apart.by_id["A1-D1"].length_m == 50.0  # 42.5 and 3.5 m, in stock 50 m


@pytest.mark.parametrize("need", [0.05, 0.4, 1.0, 2.95, 3.0, 7.77, 29.9, 30.0, 42.5, 99.4, 99.6, 180.0])
def test_a_length_made_short_still_reaches_and_is_no_longer_than_it_must(lines: ModuleType, need: float) -> None:
    for id in (
        "hybrid-1x4-2f",
        "trunk-1x4-2f",
        "rf-jumper-12-43-43",
        "feeder-78-43",
        "tilt-cable",
        "hybrid-jumper-1x4-2f",
    ):
        part = lines.parts().part(id)
        length = length_for(part, need)
        short = getattr(part, "length_tolerance_m", None)
        if length is None:
            assert need > 0.99 * max(part.stock_lengths_m or (0, getattr(part, "longest_m", 1000.0)))
            continue
        off = short if short is not None else 0.005 * length
        assert length - off >= need - 1e-3
        if part.stock_lengths_m:
            assert length in part.stock_lengths_m
            assert all(
                s == length or (s < length - 1e-9 and s * 0.995 < need + 1e-9) or s > length
                for s in part.stock_lengths_m
            )
        else:
            assert length <= max(need * 1.006 + 1.0, getattr(part, "shortest_m", 0.0))


def test_what_can_not_be_had_so_long(lines: ModuleType) -> None:
    part = lines.parts().part("trunk-1x4-2f")
    with pytest.raises(UsageError, match="T1 needs 101 m of trunk-1x4-2f, which can be had up to 100 m"):
        length_or_fault(part, 101.0, "T1")
    with pytest.raises(UsageError, match=r"T1 needs 192\.5 m of trunk-12x25-72f-mpo24"):
        lines.some_line(lines.some_site([LOW], vertical_m=180.0), "mpo24")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"trunk": "hybrid-1x16-48f"}, "T1.foot.dc2: T1 has no port 'foot.dc2'"),
        ({"trunk": "hybrid-4x16-2f"}, "B1 needs strand pair 2, but trunk and box together have 1"),
        ({"box": "box-straight-2-lc"}, "BX1 has no port"),
        ({"pairs_each": 3, "trunk": "hybrid-12x16-48f"}, r"takes 2 end\(s\); 3 are joined to it"),
        ({"trunk": "no-such-trunk"}, "no part 'no-such-trunk' in the catalogue"),
        ({"trunk": "box-straight-2-lc"}, "part 'box-straight-2-lc' is a box; a cable is asked here"),
        ({"trunk": "hybrid-mpo12-4x16-48f"}, "no part ''|fanout"),
    ],
)
def test_what_can_not_be_built_is_said(lines: ModuleType, change: dict[str, object], message: str) -> None:
    asked = lines.some_site([LOW, MID, SMALL, PANEL])
    with pytest.raises(UpmastError, match=message):
        build(asked, lines.parts(), replace(lines.some_choice(asked, "lc"), **change))


def test_a_jumper_with_too_few_strands(lines: ModuleType) -> None:
    asked = lines.some_site([LOW], (2,))
    choice = lines.some_choice(asked, "lc")
    radios = tuple(replace(r, dc="hybrid-jumper-1x6-2f") for r in choice.radios)
    with pytest.raises(UsageError, match=r"A1: hybrid-jumper-1x6-2f carries 1 link\(s\); 2 are asked"):
        build(asked, lines.parts(), replace(choice, radios=radios))


# --- hardware -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("held", "spacing", "run", "count"),
    [(36.0, 1.0, True, 37), (35.2, 1.0, True, 37), (0.9, 0.3, True, 4), (5.0, 0.6, False, 9), (0.2, 1.0, False, 1), (0.0, 1.0, True, 1)],
)  # fmt: skip
def test_clamps_along_a_length(held: float, spacing: float, run: bool, count: int) -> None:
    assert clamp_count(held, spacing, run) == count


def test_hardware_by_hand(lines: ModuleType) -> None:
    """One radio of two RF ports on an antenna of twelve, one of two optical ports used, a box of 12 and 24 outputs."""
    line = lines.some_line(lines.some_site([LOW]), "lc")
    part = lines.parts().part
    by = line.by_id
    spacing = part(by["T1-CL"].part).spacing_m
    assert by["T1-CL"].count == round(36 / spacing) + 1  # bridge 6 m, mast 30 m
    assert by["T1-GR"].count == 1  # 29.5 m hang, one grip for each started 60 m
    assert part(by["T1-CL"].part).smallest_mm <= part(by["T1"].part).diameter_mm <= part(by["T1-CL"].part).largest_mm
    assert part(by["T1-CL"].part).metal
    assert not part(by["A1-J1-CL"].part).metal  # near the antenna
    assert of(line, "seal") == {"seal": 4}  # both ends of two RF jumpers
    assert of(line, "cap") == {"cap": 10 + 1 + 11 + 23}
    caps = {i.on: {j.part: j.count for j in line.of_kind("cap") if j.on == i.on} for i in line.of_kind("cap")}
    assert caps == {
        "A1-ANT": {"cap-4.3-10": 10},
        "A1": {"cap-lc-duplex": 1},
        "BX1": {"cap-dc-outdoor-40": 11, "cap-lc-duplex-outdoor": 23},
    }
    assert {i.on for i in line.of_kind("bond") if part(i.part).use == "case"} == {"A1", "BX1"}
    shields = sorted(i.low_m for i in line.of_kind("bond") if i.on == "T1")
    assert shields[0] <= 0.5 + 1
    assert shields[-1] >= 29
    assert all(b - a <= 30.0 for a, b in pairwise(shields))


def test_hardware_names_what_it_stands_on(lines: ModuleType) -> None:
    for form in lines.FORMS:
        line = lines.some_line(lines.some_site([LOW, MID, SMALL, PANEL]), form)
        for item in line.of_kind(*HARDWARE):
            assert item.on in line.by_id
            assert item.id.startswith(item.on + "-")
            assert item.count >= 1


def test_inside_the_cabinet_nothing_is_clamped_or_sealed(lines: ModuleType) -> None:
    line = lines.some_line(lines.some_site([LOW, MID]), "mpo12")
    inside = {i.id for i in line.items if i.on == "CAB"}
    assert {"T1-X01", "T1-FP1"} <= inside
    assert not {i.on for i in line.of_kind(*HARDWARE)} & inside


# --- random sites ---------------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    kinds=st.lists(st.sampled_from([LOW, MID, SMALL, PANEL]), min_size=1, max_size=12),
    links=st.lists(st.integers(1, 2), min_size=1, max_size=3),
    standby=st.integers(0, 1),
    vertical=st.sampled_from([12.0, 30.0, 61.5]),
    form=st.sampled_from(
        ["lc", "lc-pair", "lc-jumpers", "mpo12", "mpo12-a-a", "mpo24", "bussed", "bussed-mpo12", "separate"]
    ),
)
def test_whatever_is_built_works(
    lines: ModuleType, kinds: list[str], links: list[int], standby: int, vertical: float, form: str
) -> None:
    """Every link is on its right port, every radio is fed, every span reaches, every RF port is on its antenna port."""
    asked = lines.some_site(kinds, links, 0 if form == "separate" else standby, vertical)
    line = lines.some_line(asked, form)
    findings = prove(asked, line, rooms=("fibre", "support")).findings
    right = [f for f in findings if f.code == "fibre.right-port"]
    assert len(right) == sum(r.fibre.links_count for r in asked.radios)
    assert {f.value for f in right} == {1.0}
    assert all(f.value is not None and f.value >= 0 for f in findings if f.code == "support.reach")
    assert all(feeds(line)[r.id] for r in asked.radios)
    ends = {(p.radio, p.radio_port): p.antenna for p in rf_paths(line)}
    assert ends == {
        (r.id, f"rf{n}"): f"{r.antenna}.{name}" for r in asked.radios for n, name in enumerate(r.antenna_ports, 1)
    }


def test_a_choice_says_itself_in_words() -> None:
    assert Choice("hybrid", (), "t", 2, "b", 2).words == "2 x t to b, 2 pairs to a radio"
    assert Choice("hybrid", (), "t", 1, "b").words == "1 x t to b"
