"""`line.yaml` and `parts.yaml`: what is written reads back equal; what was edited shows; what can't be is refused with its line."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import yamlfile
from upmast.catalogue.catalogue import from_text, standard
from upmast.errors import InputFaults, UsageError
from upmast.line.line import Item, Line
from upmast.line.save import LINE_FILE, PARTS_FILE, Saved, dump, dump_parts, load, parse, revised, save

KINDS = ["radio-low-2t2r", "radio-mid-4t4r", "radio-small-2t2r", "radio-n78-panel"]


def read_back(line: Line, text: str = "", parts: str = "") -> Saved:
    catalogue = from_text(yamlfile.parse(parts or dump_parts(line), PARTS_FILE))
    return parse(yamlfile.parse(text or dump(line), LINE_FILE), catalogue)


@pytest.fixture(scope="module")
def line(lines: ModuleType) -> Line:
    made = lines.some_line(lines.some_site(KINDS, (1, 2), 1), "mpo24")
    assert isinstance(made, Line)
    return made


@settings(max_examples=40, deadline=None)
@given(
    kinds=st.lists(st.sampled_from(KINDS), min_size=1, max_size=12),
    links=st.integers(1, 2),
    form=st.sampled_from(
        ["lc", "lc-pair", "lc-jumpers", "mpo12", "mpo12-a-a", "mpo24", "bussed", "bussed-mpo12", "separate"]
    ),
    length=st.floats(0.001, 1999, allow_nan=False),
    revision=st.integers(1, 100_000),
    note=st.text(max_size=40),
)
def test_every_line_reads_back_equal(
    lines: ModuleType, kinds: list[str], links: int, form: str, length: float, revision: int, note: str
) -> None:
    made = lines.some_line(lines.some_site(kinds, (links,)), form)
    items = tuple(replace(i, length_m=length, serial=note) if i.kind == "rf-jumper" else i for i in made.items)
    made = replace(made, items=items, revision=revision, note=note)
    found = read_back(made)
    assert found.line.digest == made.digest == found.written_digest
    assert not found.edited
    assert (found.line.revision, found.line.note, found.line.layer) == (revision, note, made.layer)
    assert [i.id for i in found.line.items] == [i.id for i in made.items]
    assert [(i.reason, i.serial) for i in found.line.items] == [(i.reason, i.serial) for i in made.items]
    assert (found.line.joints, found.line.links) == (made.joints, made.links)
    assert set(found.line.parts) == set(made.parts)
    assert dump(found.line) == dump(made) or any(i.length_m != round(i.length_m or 0, 4) for i in items)


HOSTILE = [
    "a: b", "- x", "'", '"', "}, {id: EVIL", "# not a comment", "!!python/object/apply:os.system [ls]", "&a *a", "{{ x }}", "${x}",
    "line\nbreak", "tab\there", "null", "true", "1e3", "0x10", "", " ", "ends with :", "é ü 中文 🗼", "\u2028", "%YAML 1.1", "---", "=1+1",
    "<script>", "\\", "\x85", "no", "2026-01-01", "x" * 400,
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_any_text_in_reason_serial_note_and_links_stays_text(line: Line, text: str) -> None:
    items = tuple(replace(i, reason=text, serial=text[:60]) if i.id == "T1" else i for i in line.items)
    found = read_back(replace(line, items=items, note=text)).line
    assert (found.by_id["T1"].reason, found.by_id["T1"].serial, found.note) == (text, text[:60], text)
    assert found.digest == line.digest


def test_a_very_long_reason_is_cut_and_reads_back(line: Line) -> None:
    items = tuple(replace(i, reason="why " * 300) if i.id == "T1" else i for i in line.items)
    found = read_back(replace(line, items=items)).line
    assert len(found.by_id["T1"].reason) == 400
    assert found.by_id["T1"].reason.endswith("…")


def test_a_radio_of_the_longest_name_reads_back(lines: ModuleType) -> None:
    asked = lines.some_site(KINDS[:1])
    radio = asked.radios[0].model_copy(update={"id": "A2345678-2345678-2345678"})
    line = lines.some_line(asked.model_copy(update={"radios": (radio,)}), "lc")
    assert read_back(line).line.digest == line.digest


def test_files_of_a_folder(line: Line, tmp_path: Path) -> None:
    save(line, tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == [LINE_FILE, PARTS_FILE]
    found = load(tmp_path)
    assert found.line.digest == line.digest
    assert not found.edited


@pytest.mark.parametrize(
    ("old", "new", "edited"),
    [
        ("length_m: 43.0", "length_m: 44.0", True),
        ("reason: said by the test", "reason: said by hand", False),
        ("# The line as designed.", "# Another comment.", False),
        ("state: growth", "state: standby", True),
        ("kind: trunk,", "kind: trunk, serial: S-17,", False),
    ],
)
def test_an_edit_by_hand_shows(lines: ModuleType, old: str, new: str, edited: bool) -> None:
    line = lines.some_line(lines.some_site(KINDS[:2]), "lc")
    text = dump(line)
    assert old in text
    assert read_back(line, text.replace(old, new, 1)).edited is edited


def test_an_edited_connector_shows(line: Line) -> None:
    parts = dump_parts(line)
    assert "loss_db: 0.25" in parts
    assert read_back(line, parts=parts.replace("loss_db: 0.25", "loss_db: 0.20")).edited


def test_a_line_without_a_digest_is_not_called_edited_but_not_ours(line: Line) -> None:
    found = read_back(line, re.sub("digest: [0-9a-f]{64}\n", "", dump(line), count=1))
    assert (found.edited, found.written_digest) == (False, "")


# --- faults -----------------------------------------------------------------------------------------------------


def faults(line: Line, text: str, parts: str = "") -> list[str]:
    """Line number, place and remedy of each fault."""
    with pytest.raises(InputFaults) as caught:
        read_back(line, text, parts)
    return [f"{f.line} {f.place} | {f.got} | {f.expected} | {f.remedy}" for f in caught.value.faults]


def where(text: str, part: str) -> int:
    (found,) = [n for n, row in enumerate(text.splitlines(), 1) if part in row]
    return found


def test_an_illegal_joint_is_a_fault_in_its_own_line(line: Line) -> None:
    text = dump(line)
    wrong = text.replace("{a: A1.rf1, b: A1-J1.foot}", "{a: A1.rf1, b: BX1.out.f24}")
    (fault,) = faults(line, wrong)
    at = where(wrong, "{a: A1.rf1, b: BX1.out.f24}")
    n = at - where(wrong, "joints:")
    assert fault.startswith(
        f"{at} joints[{n}] | A1.rf1 to BX1.out.f24 | A1.rf1 [rf 4.3-10 (jack)] can't be joined to BX1.out.f24"
    )
    assert fault.endswith("rf and fibre never mate | join two ends that mate")


def test_all_illegal_joints_are_found_at_once(line: Line) -> None:
    text = dump(line)
    for old, new in (
        ("b: A1-J1.foot}", "b: A1-J1.feet}"),
        ("b: A1-J2.foot}", "b: A9-J2.foot}"),
        ("{a: B1.rf1, b: B1-J1.foot}", "{a: B1.rf2, b: B1-J1.foot}"),
    ):
        assert old in text
        text = text.replace(old, new)
    found = faults(line, text)
    assert len(found) == 3
    assert "A1-J1 has no port 'feet'; it has foot, head" in found[0]
    assert "the line has no item A9-J2" in found[1]
    assert "B1.rf2 [rf 4.3-10 (jack)] takes 1 end(s); 2 are joined to it" in found[2]


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("kind: antenna, part: antenna-12", "kind: antenna, part: antenna-99", "a part of parts.yaml | did you mean 'antenna-12'?"),
        ("kind: antenna, part: antenna-12", "kind: antenna, part: none-such-at-all", "a part of parts.yaml | add it there, or plan the line again"),
        ("id: A1, kind: radio", "id: B1, kind: radio", "an id of its own (items[6] has it) | rename one of the two"),
        ("{id: A1-S1,", "{id: A1-L1,", "an id of its own (links[1] has it) | rename one of the two"),
        ("kind: trunk,", "kind: trunks,", "trunk, the kind of trunk-12x25-72f-mpo24 | correct the kind or the part"),
        (", length_m: 50.0", "", "length_m: length of a span | add length_m"),
        ("s1: optic-10g-lr", "s1: optic-10g-xx", "an optic of parts.yaml | add it there, or plan the line again"),
        ("{id: PLANT, kind: plant,", "{id: PLANT, kind: box,", "a part | name its part"),
        ("a: BB1.s1, b: A1.opt1, state: service", "a: BB1.s1, b: A1.opt9, state: service", "A1 has no port 'opt9'"),
        ("part_digest: ", "part_digest: 0", "the part as it was when the line was written | put parts.yaml back"),
        ("version: 1", "version: 2", "one of 1"),
        ("site: S1", "site: ../S1", "text of the pattern"),
        ("{id: T1,", "{id: TRUNK O,", "text of the pattern"),
        ("count: 37", "count: 0", "greater than or equal to 1"),
        ("count: 37", "count: many", "many | a number"),
        ("low_m: 0.5", "low_m: .inf", "a number"),
    ],
)  # fmt: skip
def test_what_can_not_be_is_refused_with_its_line(line: Line, old: str, new: str, fault: str) -> None:
    text = dump(line)
    assert old in text
    wrong = text.replace(old, new, 1)
    found = faults(line, wrong)
    assert any(fault in one for one in found), found
    assert all(int(one.split()[0]) > 0 for one in found)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"radius_m": 0.0}, "turns or exit_turn, and radius_m, above 0 | say how the loop lies, or remove it"),
        ({"turns": 0, "exit_turn": 0.0}, "turns or exit_turn, and radius_m, above 0 | say how the loop lies, or remove it"),
        ({"straight_m": 0.5, "exit_turn": 0.25}, "an oval that leaves onward (0) or backwards (0.5)"),
        ({"straight_m": 0.5, "pitch_m": 0.02}, "and no flat spiral | correct exit_turn, or lay it in round turns"),
        ({"on": "T9"}, "on: the cable that T1-LP1 is of | name it"),
    ],
)  # fmt: skip
def test_a_loop_that_lies_nowhere_is_refused(line: Line, change: dict[str, object], told: str) -> None:
    loop = Item("T1-LP1", "loop", "loop-bracket-large", on="T1", turns=1, radius_m=0.5)
    holder = standard().part("loop-bracket-large")
    items = (*(i for i in line.items if i.kind != "loop"), replace(loop, **change))  # type: ignore[arg-type]
    whole = replace(line, items=items, parts={**line.parts, holder.id: holder})
    assert any(told in one for one in faults(line, dump(whole), dump_parts(whole)))


def test_how_a_loop_lies_and_a_crossed_plug_come_back(line: Line) -> None:
    holder = standard().part("loop-bracket-large")
    loops = (
        Item("T1-LP1", "loop", holder.id, on="T1", turns=1, exit_turn=0.5, radius_m=0.5, straight_m=0.35),
        Item("T1-LP2", "loop", holder.id, on="T1", turns=2, radius_m=0.5, pitch_m=0.05),
    )
    first = next(j for j in line.joints if line.port(j.a).family == "fibre" and line.port(j.a).positions == 2)
    joints = tuple(replace(j, keys="crossed") if j is first else j for j in line.joints)
    items = (*(i for i in line.items if i.kind != "loop"), *loops)
    whole = replace(line, items=items, joints=joints, parts={**line.parts, holder.id: holder})
    back = read_back(line, dump(whole), dump_parts(whole)).line
    assert [back.by_id[i.id] for i in loops] == list(loops)
    assert next(j for j in back.joints if {j.a, j.b} == {first.a, first.b}).keys == "crossed"
    assert back.digest == whole.digest


def test_a_part_that_changed_since(line: Line) -> None:
    parts = dump_parts(line)
    changed = parts.replace("mass_kg: 48", "mass_kg: 50")
    assert changed != parts
    found = faults(line, dump(line), changed)
    assert len(found) == 3  # the three antennas of that part
    assert "antenna-12 of another content | the part as it was when the line was written" in found[0]
    taken = re.sub(r"part_digest: [0-9a-f]+, ", "", dump(line))
    assert read_back(line, taken, changed).edited  # taken on purpose: read, and shown as edited


def test_many_wrong_joints_do_not_take_for_ever(line: Line) -> None:
    text = dump(line)
    start = text.index("joints:\n") + len("joints:\n")
    wrong = "".join(f"  - {{a: A1.rf1, b: X{n}.foot}}\n" for n in range(20_000))
    found = faults(line, text[:start] + wrong + text[start:])
    assert len(found) == 501
    assert "more faults" in found[0] + found[-1]


def test_deep_and_aliased_lines_are_refused(line: Line) -> None:
    for text in ("items: " + "[" * 10_000, "a: &a [x, x]\nb: [*a, *a]\n"):
        with pytest.raises(InputFaults):
            read_back(line, text)


# --- revisions -----------------------------------------------------------------------------------------------------


def test_revision_counts_up_with_the_content_only(line: Line) -> None:
    assert revised(line, None).revision == 1
    before = replace(line, revision=7)
    assert revised(line, before).revision == 7
    longer = tuple(replace(i, length_m=60.0) if i.id == "T1" else i for i in line.items)
    assert revised(replace(line, items=longer), before).revision == 8
    other = tuple(replace(i, reason="another") for i in line.items)
    assert revised(replace(line, items=other), before).revision == 7


def test_a_file_in_place_of_the_folder(line: Line, tmp_path: Path) -> None:
    (tmp_path / "site").write_text("a file")
    with pytest.raises(UsageError, match="can't be written"):
        save(line, tmp_path / "site")
    assert (tmp_path / "site").read_text() == "a file"


def test_the_file_is_a_plain_list_of_one_item_a_row(line: Line) -> None:
    rows = [row for row in dump(line).splitlines() if row.startswith("  - {id: T1,")]
    assert len(rows) == 1
    assert "\t" not in dump(line)


def test_items_of_odd_kinds_keep_their_values() -> None:
    item = Item("PLANT", "plant", "", on="CAB", low_m=-2.0, high_m=0.25, sector="A", serves=("A1", "B1"))
    line = Line("S1", (item,), (), {})
    text = dump(line)
    catalogue = from_text(yamlfile.parse("version: 1\nparts: []\n", PARTS_FILE))
    assert parse(yamlfile.parse(text), catalogue).line.items == (item,)
