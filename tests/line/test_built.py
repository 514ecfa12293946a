"""`built.yaml`: changes against one revision of the line; what can't have been built so is refused."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest

from upmast import yamlfile
from upmast.errors import InputFaults
from upmast.line.built import apply, load
from upmast.line.compare import compare, summary
from upmast.line.line import Layer, Line

HEAD = "version: 1\nsite: S1\nline_revision: 1\nchanges:\n"
WHO = "time: 2026-05-14T15:20Z, author: N. Rigger"


@pytest.fixture(scope="module")
def line(lines: ModuleType) -> Line:
    made = lines.some_line(lines.some_site(["radio-low-2t2r", "radio-n78-panel"]), "lc")
    assert isinstance(made, Line)
    return made


def built(line: Line, lines: ModuleType, *changes: str, head: str = HEAD) -> Line:
    text = head + "".join(f"  - {{{change}, {WHO}}}\n" for change in changes)
    return apply(yamlfile.parse(text, "built.yaml"), line, lines.parts())


def faults(line: Line, lines: ModuleType, *changes: str, head: str = HEAD) -> list[str]:
    with pytest.raises(InputFaults) as caught:
        built(line, lines, *changes, head=head)
    return [f"{f.line} {f.place} | {f.got} | {f.expected} | {f.remedy}" for f in caught.value.faults]


def test_the_line_as_built(line: Line, lines: ModuleType) -> None:
    after = built(
        line,
        lines,
        "item: T1, field: length_m, value: 44.5",
        "item: A1-J1, field: part, value: rf-jumper-14-43-43, serial: J-0017",
        "item: T1-CL, field: count, value: 36",
        "item: BX1, field: low_m, value: 29.5",
        "item: A1, field: serial, value: SN-1",
    )
    assert (after.layer, line.layer) == (Layer.BUILT, Layer.DESIGNED)
    assert after.revision == line.revision
    assert after.by_id["T1"].length_m == 44.5
    assert (after.by_id["A1-J1"].part, after.by_id["A1-J1"].serial) == ("rf-jumper-14-43-43", "J-0017")
    assert line.by_id["T1"].length_m == 43.0  # the designed line is as it was
    assert after.digest != line.digest
    found = compare(line, after)
    assert [d.words for d in found][:3] == [
        "A1: serial is SN-1 instead of nothing",
        "T1 is 1.50 m longer: 44.50 m instead of 43.00 m",
        "BX1: lower end at 29.50 m instead of 30.00 m",
    ]
    assert summary(found) == "1 longer, 1 of another part; 2 labels to print again"


def test_of_two_changes_of_one_field_the_later_holds(line: Line, lines: ModuleType) -> None:
    after = built(line, lines, "item: T1, field: length_m, value: 44", "item: T1, field: length_m, value: 45")
    assert after.by_id["T1"].length_m == 45.0


def test_no_change_is_a_built_line_too(line: Line, lines: ModuleType) -> None:
    after = apply(yamlfile.parse("version: 1\nsite: S1\nline_revision: 1\n"), line, lines.parts())
    assert after.layer is Layer.BUILT
    assert compare(line, after) == ()


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ("item: T9, field: length_m, value: 44", "5 changes[1].item | T9 | an item of line.yaml | correct the id"),
        ("item: T1, field: length_m, value: long", "5 changes[1].value | long | a number in m above 0, at most 2000 | correct it"),
        ("item: T1, field: length_m, value: -1", "5 changes[1].value | -1 | a number in m above 0, at most 2000 | correct it"),
        ("item: T1, field: length_m, value: 0", "5 changes[1].value | 0 | a number in m above 0, at most 2000 | correct it"),
        ("item: T1, field: length_m, value: 1.0e9", "5 changes[1].value | 1000000000.0 | a number in m above 0"),
        ("item: A1, field: length_m, value: 3", "5 changes[1].value | 3 | no length: A1 is a radio | correct the item or the field"),
        ("item: T1-CL, field: count, value: 0", "5 changes[1].value | 0 | a whole number above 0 | correct it"),
        ("item: T1-CL, field: count, value: 1.5", "5 changes[1].value | 1.5 | a whole number above 0 | correct it"),
        ("item: A1-CB, field: part, value: breaker-99", "5 changes[1].value | breaker-99 | a part of the catalogue that is a breaker"),
        ("item: A1-CB, field: part, value: antenna-12", "5 changes[1].value | antenna-12 | a part of the catalogue that is a breaker"),
        ("item: A1-CB, field: part, value: 25", "5 changes[1].value | 25 | a part of the catalogue that is a breaker"),
        ("item: A1-CB, field: colour, value: red", "5 changes[1].field | colour | one of 'part', 'length_m'"),
        ("item: ../T1, field: count, value: 1", "5 changes[1].item | ../T1 | text of the pattern"),
        ("item: T1, field: length_m, value: .nan", "5 changes[1].value"),
    ],
)  # fmt: skip
def test_what_can_not_be_is_refused(line: Line, lines: ModuleType, change: str, fault: str) -> None:
    (found, *_) = faults(line, lines, change)
    assert found.startswith(fault)


def test_a_part_that_no_longer_mates(line: Line, lines: ModuleType) -> None:
    (found,) = faults(line, lines, "item: A1-J1, field: part, value: rf-jumper-12-716-716")
    assert "can't be joined to" in found
    assert found.endswith("record the change of the other end too")


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("site: S1", "site: S2", "2 site | S2 | S1, the site of the line | put the file into its own folder"),
        ("line_revision: 1", "line_revision: 3", "3 line_revision | 3 | 1, the revision of line.yaml | check which revision was built"),
        ("version: 1", "version: 7", "1 version | 7 | one of 1 | take one of them"),
        ("version: 1", "version: 1\nauthor: me", "2 author | unknown key 'author' | one of version, site, line_revision, changes | remove or rename the key"),
    ],
)  # fmt: skip
def test_the_wrong_file(line: Line, lines: ModuleType, old: str, new: str, fault: str) -> None:
    found = faults(line, lines, "item: T1, field: length_m, value: 44", head=HEAD.replace(old, new))
    assert fault in found


def test_two_plugs_exchanged_are_two_changes_and_tell_what_they_did(line: Line, lines: ModuleType) -> None:
    after = built(
        line, lines, "item: T1, field: joint, value: head.f1 to BX1.in.f2", "item: T1, field: joint, value: head.f2 to BX1.in.f1"
    )  # fmt: skip
    assert len(after.joints) == len(line.joints)
    assert after.joined["T1.head.f1"][0][0] == "BX1.in.f2"
    assert after.joined["BX1.in.f1"][0][0] == "T1.head.f2"
    assert "T1.head.f1 is now joined to BX1.in.f2" in [d.words for d in compare(line, after)]
    open_end = built(line, lines, "item: T1, field: joint, value: head.f1 to nothing")
    assert "T1.head.f1" not in open_end.joined
    assert len(open_end.joints) == len(line.joints) - 1


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ("head.f1 into BX1.in.f2", "a port of the item, `to`, and the end that it is joined to"),
        ("head.f77 to BX1.in.f2", "T1.head.f77: T1 has no port 'head.f77'"),
        ("head.f1 to BX9.in.f2", "BX9.in.f2: the line has no item BX9"),
        ("head.f1 to BX1.in.dc1", "can't be joined"),
    ],
)
def test_a_joint_that_cannot_be_is_told(line: Line, lines: ModuleType, value: str, told: str) -> None:
    assert any(told in fault for fault in faults(line, lines, f"item: T1, field: joint, value: {value}"))


def test_the_halves_of_a_duplex_plug_exchanged(line: Line, lines: ModuleType) -> None:
    after = built(line, lines, 'item: T1, field: joint, value: "head.f1 to BX1.in.f1, lanes crossed"')
    assert after.joined["T1.head.f1"][0][1].keys == "crossed"
    assert [d.words for d in compare(line, after)] == ["T1.head.f1 and BX1.in.f1: lanes crossed instead of straight"]
    assert after.digest != line.digest
    # put right again, the joint is as it was designed
    again = built(
        line, lines, 'item: T1, field: joint, value: "head.f1 to BX1.in.f1, lanes crossed"',
        "item: T1, field: joint, value: head.f1 to BX1.in.f1",
    )  # fmt: skip
    assert not compare(line, again)
    told = faults(line, lines, 'item: T1, field: joint, value: "head.dc1 to BX1.in.dc1, lanes crossed"')
    assert any("lanes can be crossed only where a duplex plug meets a duplex port" in one for one in told)


def test_a_loop_laid_as_an_oval_or_flat(line: Line, lines: ModuleType) -> None:
    loop = line.of_kind("loop")[0]
    after = built(
        line, lines, f"item: {loop.id}, field: straight_m, value: 0.4", f"item: {loop.id}, field: pitch_m, value: 0"
    )
    assert after.by_id[loop.id].straight_m == 0.4
    assert after.digest != line.digest
    assert "a length from 0 to 10 m" in faults(line, lines, f"item: {loop.id}, field: straight_m, value: 11")[0]


def test_a_loop_laid_otherwise_is_told(line: Line, lines: ModuleType) -> None:
    loop = line.of_kind("loop")[0]
    after = built(
        line, lines, f"item: {loop.id}, field: turns, value: 2", f"item: {loop.id}, field: radius_m, value: 0.31"
    )
    assert (after.by_id[loop.id].turns, after.by_id[loop.id].radius_m) == (2, 0.31)
    for field, value, told in (
        ("turns", "1.5", "a whole number of turns"), ("radius_m", "-1", "a radius from 0.01 to 3 m"), ("exit_turn", "1", "below 1"),
    ):  # fmt: skip
        assert told in faults(line, lines, f"item: {loop.id}, field: {field}, value: {value}")[0]
    assert "a loop: T1 is a trunk" in faults(line, lines, "item: T1, field: turns, value: 2")[0]


def test_who_and_when_must_be_said(line: Line, lines: ModuleType) -> None:
    text = (
        HEAD
        + "  - {item: T1, field: length_m, value: 44}\n  - {item: T1, field: count, value: 1, time: yesterday, author: N. R.}\n"
    )
    with pytest.raises(InputFaults) as caught:
        apply(yamlfile.parse(text), line, lines.parts())
    assert [f.place for f in caught.value.faults] == ["changes[1].time", "changes[1].author", "changes[2].time"]


def test_all_faults_at_once(line: Line, lines: ModuleType) -> None:
    head = HEAD.replace("line_revision: 1", "line_revision: 2")
    found = faults(line, lines, "item: T9, field: count, value: 1", "item: T1, field: length_m, value: x", head=head)
    assert len(found) == 3


def test_from_a_file(line: Line, lines: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "built.yaml").write_text(HEAD + f"  - {{item: T1, field: length_m, value: 44, {WHO}}}\n")
    assert load(tmp_path / "built.yaml", line, lines.parts()).by_id["T1"].length_m == 44.0
    with pytest.raises(InputFaults, match="No such file"):
        load(tmp_path / "nothing.yaml", line, lines.parts())
