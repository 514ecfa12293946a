"""Everything that a session judged into the record: sweeps, traces and readings out of tables, photographs, what can't be read."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from upmast.errors import UsageError
from upmast.field.intake import take_in
from upmast.field.measurement import Sweep
from upmast.field.say import words_of
from upmast.field.session import Judging, judge_files
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.record import query
from upmast.record.closeout import closeout_of
from upmast.record.closeout_matters import Review
from upmast.record.evidence import Filed, reading_rules, sweep_from
from upmast.record.filing import file_session
from upmast.record.kinds import FileKept, Judgement, Matching, Measurement, Photo, TablesKept
from upmast.record.record import Record
from upmast.record.tables_read import readings_again
from upmast.record.verify import verify
from upmast.record.whole import whole_of

from .packs import whole_proof
from .test_evidence import text_of

Make = Callable[..., Sweep]
LOSSES = "Strand;Wavelength nm;Direction;Loss dB;Serial\nT1-F01;1310;up;0,11;77\nT1-F01;1310;down;0,12;77\nnobody;1310;up;0,2;77\n"


@pytest.fixture
def whole(proof: Proof) -> Proof:
    return whole_proof(proof)


@pytest.fixture
def folder(tmp_path: Path, designs: dict[str, PathDesign], make: Make) -> Path:
    place = tmp_path / "field"
    place.mkdir()
    (place / "A2-J1.rl.load.s1p").write_bytes(text_of(make(designs["A2-J1"], "load")))
    return place


def filed(record: Record, proof: Proof, folder: Path, *say: str) -> tuple[Filed, ...]:
    taken, words = take_in([folder]), words_of(say)
    session = judge_files(Judging(proof, words=words), taken)
    with record.writing("S1", "K. Ode") as writing:
        return file_session(writing, session, taken, words, instrument="analyser, serial 9")


def test_a_sweep_is_filed_as_the_session_judged_it(lone: Record, whole: Proof, folder: Path) -> None:
    (one,) = filed(lone, whole, folder)
    assert (one.test, one.verdict) == ("A2-J1.rl.load", "passes")
    ((_, measured),) = query.said(lone, "S1", Measurement)
    assert measured.instrument == "analyser, serial 9"
    assert verify(lone) == ()


def test_a_load_left_on_is_filed_as_the_test_of_its_name(lone: Record, whole: Proof, folder: Path) -> None:
    """As the session judges it: so that the set-up is told, and it is not passed off as another test."""
    (folder / "A2-J1.rl.load.s1p").rename(folder / "A2-J1.rl.antenna.s1p")
    (one,) = filed(lone, whole, folder)
    assert (one.test, one.verdict) == ("A2-J1.rl.antenna", "not judged")
    ((_, match),) = query.said(lone, "S1", Matching)
    assert match.way == "name"


def test_traces_of_a_table_are_read_again_from_its_file(lone: Record, whole: Proof, folder: Path, make: Make, designs: dict[str, PathDesign]) -> None:  # fmt: skip
    (folder / "A2-J1.rl.load.s1p").unlink()
    one, two = (make(designs["A2-J1"], "load", seed=k).return_loss_db for k in (1, 2))
    f = make(designs["A2-J1"], "load").frequency_hz / 1e6
    rows = "\n".join(f"{a:.4f},{b:.4f},{c:.4f}" for a, b, c in zip(f, one, two, strict=True))
    (folder / "A2-J1.csv").write_text(f"Frequency MHz,Return loss A,Return loss B\n{rows}\n")
    filed(lone, whole, folder)
    measured = [what for _, what in query.said(lone, "S1", Measurement)]
    assert [m.read_as.column for m in measured if m.read_as] == ["B", "C"]
    assert {m.evidence for m in measured} == {"B"}
    assert len({m.samples for m in measured}) == 2
    for m in measured:
        assert sweep_from(lone.content(m.content), m).magnitude_only


def test_readings_are_judged_together_and_kept_with_how_they_were_read(
    lone: Record, whole: Proof, folder: Path
) -> None:
    (folder / "losses.csv").write_text(LOSSES)
    out = filed(lone, whole, folder)
    tests = {one.test: one.verdict for one in out if one.test.startswith("T1")}
    assert tests == {"T1-F01.ol.1310-up": "passes", "T1-F01.ol.1310-down": "passes"}
    assert any("nobody" in one.words for one in out)
    ((entry, tables),) = query.said(lone, "S1", TablesKept)
    judgements = [what for _, what in query.said(lone, "S1", Judgement) if what.test.startswith("T1")]
    assert {one.together for one in judgements} == {entry.key}
    assert {one.rules for one in judgements} == {reading_rules()}
    (table,) = tables.tables
    again = readings_again(lone.content(table.content), table.name, table.read_as)
    assert [one.value for one in again.readings] == [0.11, 0.12, 0.2]
    sorts = {what.sort for _, what in query.said(lone, "S1", Measurement)}
    assert sorts == {"rf.sweep", "fibre.loss"}
    assert verify(lone) == ()


def test_what_a_person_said_of_a_cell_is_kept(lone: Record, whole: Proof, folder: Path) -> None:
    (folder / "losses.csv").write_text(LOSSES)
    filed(lone, whole, folder, "losses.csv: row 4 is T1-F02")
    ((_, tables),) = query.said(lone, "S1", TablesKept)
    assert set(tables.said.values()) == {"T1-F02"}


def test_filed_again_nothing_is_added(lone: Record, whole: Proof, folder: Path) -> None:
    (folder / "losses.csv").write_text(LOSSES)
    (folder / "x.s1p").write_bytes(b"# nonsense\n1 2\n")
    filed(lone, whole, folder)
    head = lone.head("S1")
    filed(lone, whole, folder)
    assert lone.head("S1") == head


def test_nothing_is_turned_away(lone: Record, whole: Proof, folder: Path) -> None:
    """Unreadable, asked, a double, a photograph with and without an item, and what is nothing that is known."""
    good = (folder / "A2-J1.rl.load.s1p").read_bytes()
    (folder / "A2-J2.rl.load.s1p").write_bytes(good)
    (folder / "broken.s1p").write_bytes(b"# MHz S RI R 50\n1 0.1\n2 0.1 0.1 0.1 9 9 9\n")
    (folder / "what.csv").write_text("a,b,c\n1,2,3\n4,5,6\n")
    (folder / "A2-J1 sealed.jpg").write_bytes(b"\xff\xd8\xff" + b"x" * 50)
    (folder / "IMG_1.jpg").write_bytes(b"\xff\xd8\xff" + b"y" * 50)
    (folder / "strange.bin").write_bytes(bytes(range(256)))
    filed(lone, whole, folder)
    kept = {what.name: what for _, what in query.said(lone, "S1", FileKept)}
    assert kept["A2-J2.rl.load.s1p"].note == "the same file as A2-J1.rl.load.s1p"
    assert kept["broken.s1p"].note.startswith("can't be read: ")
    assert kept["what.csv"].note.startswith("asked: ")
    assert kept["IMG_1.jpg"].sort == "other"
    assert "strange.bin" in kept
    ((_, photo),) = query.said(lone, "S1", Photo)
    assert (photo.subject, photo.looks) == ("A2-J1", "jpeg")
    for path in folder.iterdir():
        from upmast.record.canonical import sha256

        assert lone.content(sha256(path.read_bytes())) == path.read_bytes()
    assert verify(lone) == ()


def test_a_session_of_another_site_is_refused(lone: Record, whole: Proof, folder: Path) -> None:
    taken = take_in([folder])
    session = judge_files(Judging(whole), taken)
    with pytest.raises(UsageError, match="is asked to write to S2"), lone.writing("S2", "K. Ode") as writing:
        file_session(writing, session, taken)
    assert lone.sites() == ()


def test_an_open_end_beside_a_short_does_not_stand_for_it(
    lone: Record, whole: Proof, tmp_path: Path, make: Make, designs: dict[str, PathDesign]
) -> None:
    place = tmp_path / "ends"
    place.mkdir()
    for end in ("short", "open"):
        made = make(designs["A2-J1"], end, low_hz=1.7e9, high_hz=2.2e9)
        (place / f"A2-J1.loss.short.{end}.s1p").write_bytes(text_of(made))
    told = {one.name: one for one in filed(lone, whole, place)}
    assert told["A2-J1.loss.short.short.s1p"].verdict == "passes"
    assert told["A2-J1.loss.short.open.s1p"].verdict == ""
    ((_, judged),) = query.said(lone, "S1", Judgement)
    assert judged.test == "A2-J1.loss.short"
    # the closeout says so in its list of files, and asks nothing of anybody
    review = Review(closeout_of(whole, whole_of(lone, "S1"), date(2026, 5, 4)))
    assert not [one for one in review.matters if one.subject == "A2-J1.loss.short.open.s1p"]
    (note,) = [kept.note for _, kept in query.said(lone, "S1", FileKept) if kept.name == "A2-J1.loss.short.open.s1p"]
    assert note == "kept as it is, an open end swept beside the short of A2-J1.loss.short"


def test_the_declared_day_holds_for_readings_and_the_own_day_of_a_sweep_goes_first(
    lone: Record, whole: Proof, folder: Path, make: Make, designs: dict[str, PathDesign]
) -> None:
    (folder / "losses.csv").write_text(LOSSES)
    own = b"! Date: 2024-05-01\n" + text_of(make(designs["A2-J1"], "antenna"))
    (folder / "A2-J1.rl.antenna.s1p").write_bytes(own)
    taken = take_in([folder])
    session = judge_files(Judging(whole), taken)
    with lone.writing("S1", "K. Ode") as writing:
        file_session(writing, session, taken, measured="2026-05-14")
    days = {what.name: what.measured for _, what in query.said(lone, "S1", Measurement)}
    assert days["losses.csv"] == "2026-05-14"
    assert days["A2-J1.rl.load.s1p"] == "2026-05-14"
    assert days["A2-J1.rl.antenna.s1p"] == "2024-05-01"


def test_an_older_file_that_is_filed_later_is_told(
    lone: Record, whole: Proof, folder: Path, make: Make, designs: dict[str, PathDesign]
) -> None:
    path = folder / "A2-J1.rl.load.s1p"
    for day, joints in (("2026-05-01", {1: 8.0}), ("2026-04-01", {})):
        path.write_bytes(f"! Date: {day}\n".encode() + text_of(make(designs["A2-J1"], "load", joints_db=joints)))
        filed(lone, whole, folder)
    review = Review(closeout_of(whole, whole_of(lone, "S1"), date(2026, 5, 4)))
    assert {row.test.id: str(row.state) for row in review.closeout.rows}["A2-J1.rl.load"] == "fails"
    (one,) = review.of("order of days")
    assert "of 2026-04-01 (passes) was filed later and measured earlier than" in one.words
    assert query.standing(lone, "S1")[0].verdict == "fails"


def test_a_plan_filled_in_is_read_again_as_it_was(lone: Record, whole: Proof, tmp_path: Path) -> None:
    place = tmp_path / "plan"
    place.mkdir()
    (place / "list.csv").write_text(
        "Test,Reading,Instrument serial\nT1-F01.ol.1310-up,0.3,77\nT1-F01.ef.record,2,77\nT1-F02.ol.1310-up,,\n"
    )
    got = filed(lone, whole, place)
    assert {one.test for one in got if one.test} == {"T1-F01.ol.1310-up", "T1-F01.ef.record"}
    ((_, kept),) = query.said(lone, "S1", TablesKept)
    again = readings_again((place / "list.csv").read_bytes(), "list.csv", kept.tables[0].read_as)
    assert [(one.kind, one.value, one.unit) for one in again.readings] == [
        ("optical-loss", 0.3, "dB"),
        ("end-face-count", 2.0, ""),
    ]
    assert verify(lone) == ()


def test_a_reading_taken_as_a_test_of_another_kind_is_filed(lone: Record, whole: Proof, tmp_path: Path) -> None:
    place = tmp_path / "loops"
    place.mkdir()
    (place / "loops.csv").write_text("Pair,Loop resistance (ohm)\nthe lead of A2,0.003\n")
    test = next(one.id for one in whole.expectations if ".bond." in one.id)
    (one,) = filed(lone, whole, place, f"loops.csv: B2 is {test}")
    assert one.test == test
    ((_, measured),) = query.said(lone, "S1", Measurement)
    assert measured.sort == "earth.bond"
    assert measured.facts["highest"] == pytest.approx(3.0)
