"""What may mate with what: a table of legal and illegal joints, each illegal one with both ends and the reason named."""

from __future__ import annotations

from dataclasses import replace

import pytest

from upmast.catalogue.catalogue import Catalogue, standard
from upmast.catalogue.part import Part
from upmast.errors import MateError, UsageError
from upmast.line.port import Port, check_mate, port, ports_of, why_not

BASE = Port("x", "rf", "4.3-10", "plug", "none", 1, False, "c")


@pytest.fixture(scope="module")
def parts() -> Catalogue:
    return standard()


LEGAL = [
    ("4.3-10-plug", "4.3-10-jack"),
    ("7-16-plug", "7-16-jack"),
    ("2.2-5-plug", "2.2-5-jack"),
    ("n-plug", "n-jack"),
    ("lc-duplex-plug", "lc-duplex-jack"),
    ("lc-simplex-plug", "lc-simplex-jack"),
    ("mpo-12-apc-plug", "mpo-12-apc-jack-pinned"),
    ("mpo-12-apc-plug-pinned", "mpo-12-apc-jack"),
    ("mpo-24-apc-plug", "mpo-24-apc-jack-pinned"),
    ("dc-bare", "dc-terminal-25"),
    ("dc-outdoor-plug", "dc-outdoor-jack"),
    ("dc-radio-plug", "dc-radio-jack"),
    ("tilt-8-plug", "tilt-8-jack"),
]
ILLEGAL = [
    ("4.3-10-plug", "lc-duplex-jack", "rf and fibre never mate"),
    ("dc-bare", "tilt-8-jack", "dc and control never mate"),
    ("4.3-10-plug", "7-16-jack", "the interfaces differ: 4.3-10 and 7-16"),
    ("lc-duplex-plug", "lc-simplex-jack", "a simplex port meets one half of a duplex one: say which, lane: a or b"),
    ("mpo-12-apc-plug", "mpo-24-apc-jack-pinned", "the interfaces differ: mpo-12 and mpo-24"),
    ("dc-outdoor-plug", "dc-radio-jack", "the interfaces differ: dc-outdoor-40 and dc-radio-60"),
    ("mpo-12-apc-plug", "mpo-12-upc-jack-pinned", "the end faces differ: APC and UPC must not touch"),
    ("4.3-10-plug", "4.3-10-plug", "the genders do not fit: plug and plug"),
    ("4.3-10-jack", "4.3-10-jack", "the genders do not fit: jack and jack"),
    ("mpo-12-apc-plug-pinned", "mpo-12-apc-jack-pinned", "both are pinned"),
    (
        "mpo-12-apc-plug",
        "mpo-12-apc-jack",
        "neither is pinned (IEC 61754-7: one of the two has the pins)",
    ),
]


@pytest.mark.parametrize(("a", "b"), LEGAL)
def test_these_mate_both_ways(parts: Catalogue, a: str, b: str) -> None:
    one, other = port("p", parts.connector(a)), port("q", parts.connector(b))
    assert why_not(one, other) == why_not(other, one) == ""
    check_mate("X1.p", one, "X2.q", other)


@pytest.mark.parametrize(("a", "b", "reason"), ILLEGAL)
def test_these_do_not_and_the_message_says_which_and_why(parts: Catalogue, a: str, b: str, reason: str) -> None:
    one, other = port("p", parts.connector(a)), port("q", parts.connector(b))
    with pytest.raises(MateError) as caught:
        check_mate("X1.p", one, "X2.q", other)
    assert str(caught.value) == f"X1.p [{one.words()}] can't be joined to X2.q [{other.words()}]: {reason}"
    assert why_not(other, one)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"family": "fibre"}, "rf and fibre never mate"),
        ({"interface": "n"}, "the interfaces differ"),
        ({"polish": "apc"}, "must not touch"),
        ({"positions": 12}, "1 positions do not meet 12"),
        ({"gender": "plug"}, "the genders do not fit"),
        ({"gender": "none"}, "the genders do not fit: plug and none"),
    ],
)
def test_each_difference_alone_is_enough(change: dict[str, object], reason: str) -> None:
    good = replace(BASE, gender="jack")
    assert why_not(BASE, good) == ""
    assert reason in why_not(BASE, replace(good, **change))  # type: ignore[arg-type]


def test_genderless_ends_mate_with_each_other_only() -> None:
    none = replace(BASE, gender="none")
    assert why_not(none, none) == ""
    assert why_not(none, BASE)


def test_pins_matter_for_arrays_only() -> None:
    for positions, decided in ((1, False), (2, False), (12, True), (24, True)):
        a = replace(BASE, family="fibre", positions=positions)
        b = replace(a, gender="jack")
        assert bool(why_not(a, b)) is decided
        assert why_not(a, replace(b, pinned=True)) == ""


def test_every_pair_of_the_catalogue_by_the_rule(parts: Catalogue) -> None:
    """The rule again in other words, over all pairs of connectors."""
    ports = [port(c.id, parts.connector(c.id)) for c in parts.of_kind("connector")]
    assert len(ports) > 40
    for a in ports:
        for b in ports:
            same = (a.family, a.interface, a.polish, a.positions) == (b.family, b.interface, b.polish, b.positions)
            genders = {a.gender, b.gender}
            fit = genders == {"none"} or (len(genders) == 2 and "none" not in genders)
            pins = a.positions <= 2 or a.pinned + b.pinned == 1 or a.interface.startswith("splice")
            assert (why_not(a, b) == "") is (same and fit and pins), (a.name, b.name)


def test_words_of_a_port(parts: Catalogue) -> None:
    assert port("p", parts.connector("4.3-10-plug")).words() == "rf 4.3-10 (plug)"
    assert port("p", parts.connector("lc-duplex-plug")).words() == "fibre lc-duplex (plug, UPC, 2 positions)"
    pinned = port("p", parts.connector("mpo-12-apc-jack-pinned"))
    assert pinned.words() == "fibre mpo-12 (jack, APC, 12 positions, pinned)"
    assert replace(BASE, gender="none").words() == "rf 4.3-10"


def test_a_terminal_takes_two_ends_and_all_else_one(parts: Catalogue) -> None:
    for connector in parts.of_kind("connector"):
        made = port("p", parts.connector(connector.id))
        assert made.takes == (2 if connector.id in ("dc-terminal-25", "dc-breaker-terminal") else 1), connector.id


@pytest.mark.parametrize(
    ("part", "names"),
    [
        (
            "hybrid-jumper-1x6-4f",
            ["foot.dc1", "foot.f1", "foot.f2", "head.dc1", "head.f1", "head.f2"],
        ),
        ("trunk-3x10-12f-mpo12", ["foot.dc1", "foot.dc2", "foot.dc3", "foot.f1", "head.dc1", "head.dc2", "head.dc3", "head.f1"]),
        ("box-straight-2-lc", ["in.dc1", "in.dc2", "out.dc1", "out.dc2", *(f"{s}.f{n}" for s in ("in", "out") for n in range(1, 5))]),
        ("fanout-mpo-12", ["array", "f1", "f2", "f3", "f4", "f5", "f6"]),
        ("rf-jumper-12-43-43", ["foot", "head"]),
        ("tilt-cable", ["foot", "head"]),
        ("breaker-16", ["out"]),
        ("radio-low-2t2r", ["dc", "opt1", "opt2", "rf1", "rf2", "ctl"]),
        ("radio-n78-panel", ["dc", "opt1", "opt2"]),
        ("antenna-4", ["R1", "R2", "Y1", "Y2", "ctl"]),
        ("clamp-6-10", []),
        ("seal-tape", []),
    ],
)  # fmt: skip
def test_ports_of_a_part(parts: Catalogue, part: str, names: list[str]) -> None:
    made = ports_of(parts.part(part), parts.connector)
    assert list(made) == names
    assert all(made[name].name == name for name in names)


def test_a_part_with_a_connector_that_is_not_there(parts: Catalogue) -> None:
    lost: Part = parts.part("rf-jumper-12-43-43").model_copy(update={"head": "no-such-plug"})
    with pytest.raises(UsageError, match="no part 'no-such-plug' in the catalogue"):
        ports_of(lost, parts.connector)
