"""The difference between two lines in the words of the trade."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import pytest

from upmast.line.build import build
from upmast.line.compare import compare, summary
from upmast.line.line import Item, Joint, Line, used_parts


@pytest.fixture(scope="module")
def line(lines: ModuleType) -> Line:
    made = lines.some_line(lines.some_site(["radio-low-2t2r", "radio-n78-panel"]), "lc")
    assert isinstance(made, Line)
    return made


def edited(line: Line, id: str, **values: object) -> Line:
    items = tuple(replace(i, **values) if i.id == id else i for i in line.items)  # type: ignore[arg-type]
    return replace(line, items=items)


def test_no_difference(line: Line) -> None:
    assert compare(line, line) == ()
    assert compare(line, replace(line, revision=9, note="x", items=tuple(reversed(line.items)))) == ()
    assert summary(()) == "no difference"


@pytest.mark.parametrize(
    ("length", "words"),
    [
        (43.5, "T1 is 0.50 m longer: 43.50 m instead of 43.00 m"),
        (42.8, "T1 is 0.20 m shorter: 42.80 m instead of 43.00 m"),
    ],
)
def test_a_length(line: Line, length: float, words: str) -> None:
    (one,) = compare(line, edited(line, "T1", length_m=length))
    assert (one.item, one.field, one.before, one.after) == ("T1", "length_m", "43.0", str(length))
    assert one.words == words


@pytest.mark.parametrize(
    ("id", "values", "words"),
    [
        ("T1-CL", {"count": 35}, "T1-CL: 35 instead of 37"),
        ("BX1", {"low_m": 29.0}, "BX1: lower end at 29.00 m instead of 30.00 m"),
        ("A1", {"serial": "SN-17"}, "A1: serial is SN-17 instead of nothing"),
        ("T1", {"serves": ("A1",)}, "T1: serves is A1 instead of A1, B1"),
        ("A1", {"equipment": ()}, "A1: equipment is nothing instead of opt1 optic-10g-lr"),
        ("no-such-item", {}, None),
    ],
)
def test_other_fields(line: Line, id: str, values: dict[str, object], words: str | None) -> None:
    found = compare(line, edited(line, id, **values))
    assert [one.words for one in found] == ([words] if words is not None else [])


def test_another_part(line: Line, lines: ModuleType) -> None:
    parts = {**line.parts, "breaker-25": lines.parts().part("breaker-25")}
    after = edited(replace(line, parts=parts), "A1-CB", part="breaker-25")
    (one,) = compare(line, after)
    assert one.words == "A1-CB is DC breaker, 25 A, one pole, band B instead of DC breaker, 40 A, one pole, band B"
    assert summary((one,)) == "1 of another part; 1 label to print again"


def test_items_new_and_gone_and_joints(line: Line, lines: ModuleType) -> None:
    seal = Item("A1-SL2", "seal", "seal-tape", on="A1", count=2)
    parts = {**line.parts, **used_parts((seal,), {"seal-tape": lines.parts().part("seal-tape")})}
    kept = tuple(i for i in line.items if i.id != "T1-GR")
    joints = (*(j for j in line.joints if "A1-J1.head" not in (j.a, j.b)), Joint("A1-ANT.R3", "A1-J1.head"))
    found = compare(line, replace(line, items=(*kept, seal), joints=joints, parts=parts))
    assert [one.words for one in found] == [
        f"T1-GR is gone: {line.part_of('T1-GR').title}",
        "A1-SL2 is new: butyl and vinyl tape kit for one joint, 2 pieces",
        "A1-J1.head is no longer joined to A1-ANT.R1",
        "A1-ANT.R3 is now joined to A1-J1.head",
    ]
    assert summary(found) == "1 new, 1 gone, 2 joints changed; 4 labels to print again"


def test_a_joint_named_from_its_other_end_is_no_difference(line: Line) -> None:
    turned = tuple(Joint(j.b, j.a, j.keys) for j in line.joints)
    assert compare(line, replace(line, joints=turned)) == ()


def test_there_and_back(line: Line, lines: ModuleType) -> None:
    """What one direction calls new the other calls gone; lengths change sign."""
    asked = lines.some_site(["radio-low-2t2r", "radio-n78-panel"], vertical_m=40.0)
    other = build(asked, lines.parts(), lines.some_choice(asked, "bussed"))
    there, back = compare(line, other), compare(other, line)
    assert {(d.item, d.field, d.before, d.after) for d in there if d.field != "joint"} == {
        (d.item, d.field, d.after, d.before) for d in back if d.field != "joint"
    }
    spans = [[d for d in one if d.field == "length_m"] for one in (there, back)]
    assert sum("longer" in d.words for d in spans[0]) == sum("shorter" in d.words for d in spans[1]) > 0
