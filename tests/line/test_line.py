"""A line keeps its rules: ids, parts, ends; and its digest changes with the content only."""

from __future__ import annotations

import re
from dataclasses import replace
from types import ModuleType

import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import Connector, Part
from upmast.errors import MateError, UsageError
from upmast.line.line import Item, Joint, Layer, Line, Link, used_parts

ID = re.compile(r"[A-HJ-NP-Z0-9]+(-[A-HJ-NP-Z0-9]+)*")
CATALOGUE = {part.id: part for part in standard()}
JUMPER = Item("A1-J1", "rf-jumper", "rf-jumper-12-43-43", 3.0, 0.01)
ANTENNA = Item("A-ANT", "antenna", "antenna-4")
RADIO = Item("A1", "radio", "radio-low-2t2r")
JOINTS = (Joint("A1.rf1", "A1-J1.foot"), Joint("A1-J1.head", "A-ANT.R1"))


def line(*items: Item, joints: tuple[Joint, ...] = (), links: tuple[Link, ...] = ()) -> Line:
    return Line("S1", items, joints, used_parts(items, CATALOGUE), links)


def test_a_small_line() -> None:
    made = line(RADIO, JUMPER, ANTENNA, joints=JOINTS)
    assert [other for other, _ in made.joined["A1-J1.head"]] == ["A-ANT.R1"]
    assert [i.id for i in made.of_kind("radio", "antenna")] == ["A1", "A-ANT"]
    assert made.part_of("A1").id == "radio-low-2t2r"
    assert made.by_id["A1-J1"].span
    assert not made.by_id["A1"].span


@pytest.mark.parametrize("other", ["A1", "".join(["A", "1"]), "a1"])
def test_two_items_of_one_id_even_in_another_case(other: str) -> None:
    with pytest.raises(UsageError, match=f"two items are called {other}: every item needs an id of its own"):
        line(RADIO, replace(ANTENNA, id=other))


def test_two_links_of_one_id() -> None:
    with pytest.raises(UsageError, match="two links are called A1-L1"):
        line(RADIO, links=(Link("A1-L1", "A1.opt1", ""), Link("A1-L1", "A1.opt2", "")))


@pytest.mark.parametrize(
    ("joints", "message"),
    [
        ((Joint("A9.rf1", "A1-J1.foot"),), "A9.rf1: the line has no item A9"),
        ((Joint("A1.rf9", "A1-J1.foot"),), "A1.rf9: A1 has no port 'rf9'; it has dc, opt1, opt2, rf1, rf2, ctl"),
        ((Joint("A1", "A1-J1.foot"),), "A1: A1 has no port ''; it has dc, opt1, opt2, rf1, rf2, ctl"),
        ((Joint("A1-CL.foot", "A1-J1.foot"),), "A1-CL.foot: A1-CL has no port 'foot'; it has none"),
    ],
)
def test_an_end_that_does_not_exist(joints: tuple[Joint, ...], message: str) -> None:
    clamp = Item("A1-CL", "clamp", "clamp-6-10")
    with pytest.raises(UsageError) as caught:
        line(RADIO, JUMPER, ANTENNA, clamp, joints=joints)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    "second", [Joint("A1.rf1", "A1-J2.foot"), Joint("A1-J2.foot", "A1.rf1")], ids=["first end", "second end"]
)
def test_an_end_that_is_taken(second: Joint) -> None:
    with pytest.raises(MateError) as caught:
        line(RADIO, JUMPER, replace(JUMPER, id="A1-J2"), ANTENNA, joints=(*JOINTS, second))
    assert str(caught.value) == "A1.rf1 [rf 4.3-10 (jack)] takes 1 end(s); 2 are joined to it"


def test_an_end_joined_to_itself() -> None:
    with pytest.raises(MateError, match="takes 1 end"):
        line(RADIO, joints=(Joint("A1.rf1", "A1.rf1"),))


def test_a_terminal_takes_two_conductors_and_no_third() -> None:
    items = (Item("CB", "breaker", "breaker-16"), Item("T1", "trunk", "trunk-3x10-12f", 40.0))
    joints = tuple(Joint("CB.out", f"T1.foot.dc{n}") for n in (1, 2, 3))
    line(*items, joints=joints[:2])
    with pytest.raises(MateError, match=r"CB\.out .* takes 2 end\(s\); 3 are joined to it"):
        line(*items, joints=joints)


def test_two_ends_that_do_not_mate() -> None:
    with pytest.raises(MateError, match=r"A1\.rf1 .* can't be joined to A1-J1\.foot .*: the interfaces differ"):
        line(RADIO, replace(JUMPER, part="rf-jumper-12-716-716"), joints=(Joint("A1.rf1", "A1-J1.foot"),))


def test_a_part_that_is_not_there() -> None:
    with pytest.raises(UsageError, match="item A1 is a 'radio-low-2t2r', which is not among the parts of the line"):
        Line("S1", (RADIO,), (), {})


def test_a_connector_that_is_not_there() -> None:
    parts = {k: v for k, v in used_parts((RADIO, JUMPER), CATALOGUE).items() if k != "4.3-10-plug"}
    with pytest.raises(UsageError, match=r"connector '4\.3-10-plug' is not among the parts"):
        Line("S1", (RADIO, JUMPER), JOINTS[:1], parts)


@pytest.mark.parametrize("optic", ["nothing-like-it", "antenna-4"])
def test_equipment_that_is_no_optic(optic: str) -> None:
    items = (Item("BB1", "baseband", "", equipment=(("s1", optic),)), ANTENNA)
    made = Line("S1", items, (), used_parts(items, CATALOGUE))
    with pytest.raises(UsageError, match=f"BB1.s1 is equipped with '{optic}', which is not an optic"):
        made.port("BB1.s1")


@pytest.mark.parametrize(
    "form", ["lc", "lc-pair", "lc-jumpers", "mpo12", "mpo12-a-a", "mpo24", "bussed", "bussed-mpo12", "separate"]
)
def test_ids_are_safe_everywhere(lines: ModuleType, form: str) -> None:
    """Never I or O, only capitals, digits and hyphens, unique ignoring case: they become file names and labels."""
    asked = lines.some_site([*lines.PORTS, *lines.PORTS, *lines.PORTS], (2, 1), 0 if form == "separate" else 1)
    made = lines.some_line(asked, form)
    ids = [i.id for i in made.items] + [k.id for k in made.links]
    assert len(ids) > 100
    for id in ids:
        assert ID.fullmatch(id), id
        assert len(id) <= 48
    assert len({i.id.lower() for i in made.items}) == len(made.items)
    assert not {id.split("-")[0] for id in ids} & {"CON", "NUL", "AUX", "PRN", "COM1", "LPT1"}


def test_the_digest_ignores_order_reasons_serials_revision_and_note() -> None:
    made = line(RADIO, JUMPER, ANTENNA, joints=JOINTS)
    other = Line(
        "S1",
        (replace(ANTENNA, serial="17"), replace(JUMPER, reason="cheapest"), RADIO),
        (Joint(JOINTS[1].b, JOINTS[1].a), JOINTS[0]),
        made.parts,
        revision=4,
        note="a note",
    )
    assert other.digest == made.digest


def test_the_digest_changes_with_everything_else() -> None:
    items, links = (RADIO, JUMPER, ANTENNA), (Link("A1-L1", "A1.opt1", "A1.opt2"),)
    made = line(*items, joints=JOINTS, links=links)
    parts = dict(made.parts)
    jack = parts["4.3-10-jack"]
    assert isinstance(jack, Connector)
    lossy: dict[str, Part] = {**parts, jack.id: jack.model_copy(update={"loss_db": 0.2})}
    dear: dict[str, Part] = {**parts, "antenna-4": parts["antenna-4"].model_copy(update={"cost": 1.0})}
    changed = [
        replace(made, site="S2"),
        replace(made, layer=Layer.BUILT),
        replace(made, joints=JOINTS[:1]),
        replace(made, links=()),
        replace(made, links=(replace(links[0], state="growth"),)),
        replace(made, parts=lossy),
        replace(made, parts=dear),
        *(
            replace(made, items=(RADIO, replace(JUMPER, **{field: value}), ANTENNA))  # type: ignore[arg-type]
            for field, value in (
                ("length_m", 3.001), ("tolerance_m", 0.02), ("low_m", 1.0), ("high_m", 1.0), ("sector", "A"), ("serves", ("A1",)),
                ("on", "A1"), ("count", 2), ("equipment", (("x", "y"),)),
            )
        ),
    ]  # fmt: skip
    digests = [one.digest for one in changed]
    assert made.digest not in digests
    assert len(set(digests)) == len(digests)


def test_lengths_count_to_a_tenth_of_a_millimetre_as_they_are_written() -> None:
    made = line(RADIO, JUMPER)
    assert line(RADIO, replace(JUMPER, length_m=3.0 + 1e-9)).digest == made.digest


def test_used_parts_brings_connectors_and_optics() -> None:
    items = (replace(RADIO, equipment=(("opt1", "optic-10g-lr"),)),)
    found = set(used_parts(items, CATALOGUE))
    assert {"radio-low-2t2r", "dc-radio-jack", "4.3-10-jack", "optic-10g-lr", "lc-duplex-jack"} <= found
    assert "antenna-4" not in found
