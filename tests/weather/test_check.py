"""Weatherproofing of a small built line: chains of codes, open ports, figures; missing data, workings, digests."""

from __future__ import annotations

import dataclasses
import importlib.util
from pathlib import Path

import pytest

from upmast.catalogue.part import Box, Connector, RadioPart, Seal
from upmast.digest import digest
from upmast.errors import InputFaults
from upmast.finding import Verdict
from upmast.proof.limits import limits_of
from upmast.weather import check as room
from upmast.weather.state import Joint, Link, code_meets, joint_link
from upmast.working import FormulaStep, SolvedStep

_spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
assert _spec is not None
assert _spec.loader is not None
make = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make)

TEXT = make.text("three_radios")
SITE = make.site(TEXT + "\nclimate: {ingress: IP65, hot_c: 40, sun_w_per_m2: 1000}")


def _dual(part):
    """The same part with a dual marking, so that jets and immersion are both covered."""
    if isinstance(part, Connector) and not part.indoor:
        return part.model_copy(update={"ip_mated": "IP66/IP68"})
    if isinstance(part, Seal | Box | RadioPart):
        return part.model_copy(update={"ip": "IP66/IP67"})
    return part


def _tight():
    line = make.line(SITE)
    return dataclasses.replace(line, parts={id: _dual(part) for id, part in line.parts.items()})


LINE = _tight()


def edited(line, id, **changes):
    return dataclasses.replace(
        line, items=tuple(dataclasses.replace(i, **changes) if i.id == id else i for i in line.items)
    )


def without(line, *ids):
    return dataclasses.replace(line, items=tuple(i for i in line.items if i.id not in ids))


def with_part(line, id, **changes):
    return dataclasses.replace(line, parts={**line.parts, id: line.parts[id].model_copy(update=changes)})


def findings(line=LINE, site=SITE):
    made = room.check(room.inputs(line, site, ()), limits_of(site))
    return {f.key: f for f in (*made.findings, *made.figures)}


# --- codes --------------------------------------------------------------------------------------------------------


def test_a_tight_line_passes_with_one_finding_an_item():
    made = findings()
    subjects = [key.partition("@")[2] for key in made if key.startswith("weather.ingress@")]
    assert {made[f"weather.ingress@{s}"].verdict for s in subjects} == {Verdict.PASSES}
    assert len(subjects) == len(set(subjects))
    spans = {i.id for i in LINE.items if i.span and i.on != "CAB" and i.kind != "trunk"}
    assert spans | {"A1", "A2", "A3", "BX1"} <= set(subjects)


def test_immersion_does_not_cover_jets():
    line = with_part(LINE, "dc-radio-plug", ip_mated="IP67")
    one = findings(line)["weather.ingress@A1-H1"]
    assert (one.value, one.verdict) == (0.0, Verdict.FAILS)
    assert "A1-H1.head.dc1 to A1.dc, dc-radio-plug, IP67" in one.note
    asked = make.site(TEXT + "\nclimate: {ingress: IP67}")
    assert findings(line, asked)["weather.ingress@A1-H1"].verdict is Verdict.PASSES


def test_a_seal_stands_for_both_connectors_of_its_joint():
    line = with_part(LINE, "4.3-10-plug", ip_mated="IP54")
    assert findings(line)["weather.ingress@A1-J1"].verdict is Verdict.PASSES
    assert findings(without(line, "A1-J1-SL"))["weather.ingress@A1-J1"].verdict is Verdict.FAILS
    # one seal for two joints leaves one without
    assert findings(edited(line, "A1-J1-SL", count=1))["weather.ingress@A1-J1"].verdict is Verdict.FAILS


def test_a_seal_that_is_too_weak_leaves_it_to_the_connectors():
    seal = LINE.by_id["A1-J1-SL"].part
    line = with_part(LINE, seal, ip="IP44")
    assert findings(line)["weather.ingress@A1-J1"].verdict is Verdict.PASSES
    assert findings(with_part(line, "4.3-10-plug", ip_mated="IP54"))["weather.ingress@A1-J1"].verdict is Verdict.FAILS


def test_an_untested_code_is_not_judged_and_named():
    one = findings(with_part(LINE, "dc-radio-plug", ip_mated="IPXX"))["weather.ingress@A1-H1"]
    assert one.verdict is Verdict.NOT_JUDGED
    assert one.value is None
    assert "dc-radio-plug (IPXX)" in one.missing[0]


def test_a_failing_member_goes_before_an_untested_one():
    line = with_part(with_part(LINE, "dc-radio-plug", ip_mated="IPXX"), "dc-outdoor-plug", ip_mated="IP44")
    assert findings(line)["weather.ingress@A1-H1"].verdict is Verdict.FAILS


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        ("IP66", True), ("IP65", True), ("IP67", False), ("IP66/IP67", True), ("IP54", False), ("IPXX", None),
        ("IPX5", None), ("IPX4", False), ("IP6X", None), ("IP4X", False), ("watertight", None),
    ],
)  # fmt: skip
def test_what_can_be_told_of_a_code(code, expected):
    assert code_meets(code, "IP65") is expected


def test_the_boxs_and_the_radios_own_code_count():
    radio = LINE.by_id["A2"].part
    assert findings(with_part(LINE, radio, ip="IP55"))["weather.ingress@A2"].verdict is Verdict.FAILS
    assert findings(with_part(LINE, radio, ip="IP55"))["weather.ingress@A1"].verdict is Verdict.PASSES
    assert findings(with_part(LINE, LINE.by_id["BX1"].part, ip="IP55"))["weather.ingress@BX1"].verdict is Verdict.FAILS


def test_a_cap_counts_for_its_item():
    cap = next(i for i in LINE.items if i.kind == "cap" and i.on == "BX1")
    assert findings(with_part(LINE, cap.part, ip="IP40"))["weather.ingress@BX1"].verdict is Verdict.FAILS


def test_joints_in_the_cabinet_and_inside_the_box_do_not_count():
    line = LINE
    for id in ("dc-bare", "dc-terminal-25", "lc-duplex-plug", "lc-duplex-jack"):
        if id in line.parts:
            line = with_part(line, id, ip_mated="IP00")
    made = findings(line)
    assert all(f.verdict is Verdict.PASSES for key, f in made.items() if key.startswith("weather.ingress@"))


def test_an_indoor_connector_outdoors_fails():
    one = findings(with_part(LINE, "dc-radio-plug", indoor=True))["weather.ingress@A1-H1"]
    assert one.verdict is Verdict.FAILS
    assert "only for use inside" in one.note


def test_a_code_that_can_not_be_read_is_asked_for_again():
    with pytest.raises(InputFaults, match=r"climate\.ingress"):
        make.site(TEXT + "\nclimate: {ingress: tight}")
    good = make.site(TEXT)
    site = good.model_copy(update={"climate": good.climate.model_copy(update={"ingress": "tight"})})
    one = findings(LINE, site)["weather.ingress@A1"]
    assert one.verdict is Verdict.NOT_JUDGED
    assert "climate.ingress" in one.missing[0]


def test_a_line_edited_by_hand_never_stops_the_check():
    seal = LINE.by_id["A1-J1-SL"].part
    line = edited(edited(LINE, "BX1-CAP1", part="dc-radio-plug"), "A1-J1-CL", kind="box", part=seal)
    made = findings(line)
    assert made["weather.open-ports@BX1"].value > 0


def test_the_remedy_is_for_what_is_weakest():
    assert Link("radio-9 itself", "IP65", False).remedy.startswith("instead of radio-9 one with the code")
    assert Link("a cap", "IP65", False).remedy == "a cap with the code that is asked"
    assert "seal over the joint" in Link("foot of A1-J1", "IP65", False).remedy


def test_the_weaker_connector_is_named():
    joint = Joint(("J.foot", "R.rf1"), ("strong", "weak"), ("IP66", "IP44"), "")
    assert joint_link(joint, "IP65").words == "J.foot to R.rf1, weak"
    assert joint_link(joint, "IP44").meets is True


# --- open ports ---------------------------------------------------------------------------------------------------


def test_open_ports_are_counted_less_their_caps():
    made = findings()
    assert made["weather.open-ports@BX1"].value == 0.0
    # three radios on a box with six DC and six duplex outputs: three of each are left
    caps = [i for i in LINE.items if i.kind == "cap" and i.on == "BX1"]
    assert sum(i.count for i in caps) == 6
    one = findings(without(LINE, *(i.id for i in caps)))["weather.open-ports@BX1"]
    assert (one.value, one.verdict) == (6.0, Verdict.FAILS)
    one = findings(edited(LINE, caps[0].id, count=caps[0].count - 1))["weather.open-ports@BX1"]
    assert one.value == 1.0
    assert LINE.parts[caps[0].part].interface in one.note


def test_caps_too_many_on_one_interface_do_not_close_another():
    caps = [i for i in LINE.items if i.kind == "cap" and i.on == "BX1"]
    line = edited(without(LINE, caps[1].id), caps[0].id, count=20)
    assert findings(line)["weather.open-ports@BX1"].value == float(caps[1].count)


# --- figures, workings, digests -----------------------------------------------------------------------------------


def test_figures():
    made = findings()
    # balance by hand at 64.768 C: 5 x 24.768 + 0.92 sigma (337.918^4 - 313.15^4) = 0.95 x 1000 / pi
    assert made["weather.sheath-temperature@T3"].value == pytest.approx(64.77, abs=0.01)
    assert made["weather.dew-point@T3"].value == pytest.approx(16.70, abs=0.02)
    # the rule of practice: every 24 months in the sun, every 12 where there is salt
    assert made["weather.inspection@T3"].value == 0.5
    coast = make.site(TEXT + "\nclimate: {coast: true}")
    assert findings(LINE, coast)["weather.inspection@T3"].value == 1.0


@pytest.mark.parametrize(
    "line", [LINE, without(LINE, "A1-J1-SL", "BX1-CAP1"), with_part(LINE, "dc-radio-plug", ip_mated="IPXX")]
)
def test_every_working_holds(line):
    inputs, limits = room.inputs(line, SITE, ()), limits_of(SITE)
    made = room.check(inputs, limits)
    for one in (*made.findings, *made.figures):
        steps = room.working(inputs, limits, one)
        assert steps, one.key
        for step in steps:
            for formula in step.checks if isinstance(step, SolvedStep) else (step,):
                assert not isinstance(formula, FormulaStep) or formula.holds(
                    1e-6 if isinstance(step, SolvedStep) else 1e-9
                )
        if one.code == "weather.sheath-temperature":
            assert steps[0].checks[0].result.value == pytest.approx(0.0, abs=1e-5)
        if isinstance(steps[-1], FormulaStep):
            assert steps[-1].result.value == pytest.approx(one.value)


def test_edits_change_the_digest_and_nothing_else_does():
    start = digest(room.inputs(LINE, SITE, ()))
    assert digest(room.inputs(_tight(), SITE, ())) == start
    others = [
        without(LINE, "A1-J1-SL"), without(LINE, "BX1-CAP1"), with_part(LINE, "dc-radio-plug", ip_mated="IP44"),
        with_part(LINE, LINE.by_id["A2"].part, ip="IP44"),
    ]  # fmt: skip
    assert len({start, *(digest(room.inputs(line, SITE, ())) for line in others)}) == len(others) + 1
    assert digest(room.inputs(LINE, make.site(TEXT + "\nclimate: {ingress: IP67}"), ())) != start
