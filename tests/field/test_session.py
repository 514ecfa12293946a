"""A judging as one object: queue, doubles, tables, photographs, what is missing; the same whatever comes first."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from upmast.errors import UsageError
from upmast.field.intake import take_in
from upmast.field.measurement import Sweep
from upmast.field.queue import GROUPS, exit_code, grouped, missing
from upmast.field.row import Urgency
from upmast.field.say import words_of
from upmast.field.session import Judging, Session, judge_files

PHOTO = b"\xff\xd8\xff\xe0" + bytes(400)


def stone(sweep: Sweep) -> str:
    rows = (f"{f:.1f} {g.real:.9f} {g.imag:.9f}" for f, g in zip(sweep.frequency_hz, sweep.gamma, strict=True))
    return "# Hz S RI R 50\n" + "\n".join(rows) + "\n"


def table(sweep: Sweep, header: str = "Frequency (MHz);Return loss (dB)") -> str:
    rows = (f"{f / 1e6:.4f};{-20 * np.log10(m):.3f}" for f, m in zip(sweep.frequency_hz, sweep.magnitude, strict=True))
    return (header + "\n" + "\n".join(rows) + "\n").replace(".", ",")


@pytest.fixture
def inbox(tmp_path: Path, designs, make) -> Path:
    """A good sweep, a bad joint, a load left on, a table without phase, a copy under another name, a damaged file, photos."""
    at = tmp_path / "in"
    at.mkdir()
    good = stone(make(designs["A2-J1"], seed=1))
    (at / "A2-J1.rl.load.s1p").write_text(good)
    (at / "A2-J2.rl.load.s1p").write_text(stone(make(designs["A2-J2"], joints_db={1: 12.0}, seed=2)))
    (at / "A2-J1.rl.antenna.s1p").write_text(stone(make(designs["A2-J1"], seed=3)))
    (at / "B1-J1.rl.load.csv").write_text(table(make(designs["B1-J1"], seed=4)))
    (at / "A2-J2.loss.short.s1p").write_text(good)
    (at / "damaged.s1p").write_text("# Hz S RI R 50\n1e9 0.1 0.2\nnonsense here\n")
    (at / "A2-J2.head_sealed.jpg").write_bytes(PHOTO)
    (at / "t1.jpg").write_bytes(PHOTO + b"1")
    (at / "thumbs.db").write_bytes(b"\x00\x01\x02" * 99)
    return at


def judged(proof, *given: Path, **more: object) -> Session:
    return judge_files(Judging(proof, **more), take_in(given))


def test_the_queue_in_the_order_of_what_to_do_first(proof, inbox: Path) -> None:
    session = judged(proof, inbox)
    told = [(row.urgency, row.test or row.file) for row in session.rows]
    assert [urgency for urgency, _ in told] == sorted(urgency for urgency, _ in told)
    by_test = {row.test: row for row in session.rows if row.verdict}
    assert by_test["A2-J1.rl.antenna"].urgency is Urgency.AGAIN_TOP  # the load is still on
    assert "looks like a load" in by_test["A2-J1.rl.antenna"].what
    assert by_test["A2-J2.rl.load"].urgency is Urgency.FAILS_TOP
    assert "open this first" in by_test["A2-J2.rl.load"].do
    assert by_test["A2-J1.rl.load"].verdict == "passes"
    assert by_test["B1-J1.rl.load"].grade == "B"
    assert by_test["A2-J1.rl.load"].grade == "A"
    damaged = next(row for row in session.rows if row.state == "unreadable")
    assert damaged.file == "damaged.s1p"
    assert damaged.what.startswith("line 3")
    assert session.exit_code == 1
    assert session.counts() == {"fails": 1, "not judged": 1, "asked": 0, "unreadable": 1, "passes": 2}


def test_one_file_under_two_names_is_told_and_judged_once(proof, inbox: Path) -> None:
    session = judged(proof, inbox)
    (same,) = [row for row in session.rows if row.state == "told" and row.remarks[0].key == "same file"]
    assert set(same.files) == {"A2-J1.rl.load.s1p", "A2-J2.loss.short.s1p"}
    assert same.urgency is Urgency.AGAIN_TOP  # one of the two tests was not measured
    assert "A2-J2.loss.short" not in {row.test for row in session.rows if row.verdict}
    # two names of the same test are only noted
    copy = inbox / "copy of A2-J1.s1p"
    copy.write_bytes((inbox / "A2-J1.rl.load.s1p").read_bytes())
    session = judged(proof, inbox / "A2-J1.rl.load.s1p", copy)
    (same,) = [row for row in session.rows if row.state == "told"]
    assert same.urgency is Urgency.NOTED
    assert session.exit_code == 0


def test_photographs_by_digest_and_name(proof, inbox: Path) -> None:
    session = judged(proof, inbox)
    named = {one.file.plain: one.named for one in session.evidence}
    assert named == {"A2-J2.head_sealed.jpg": ("A2-J2",), "t1.jpg": ("T1",)}
    assert all(len(one.file.digest) == 64 for one in session.evidence)
    (left,) = session.left_out
    assert left.name.endswith("thumbs.db")
    assert not left.loud


def test_missing_and_done_are_all_tests(proof, inbox: Path) -> None:
    session = judged(proof, inbox)
    lacking = {test for one in session.missing for test in one.tests}
    done = {row.test for row in session.rows if row.verdict}
    assert lacking | done == {one.id for one in proof.expectations}
    assert not lacking & done
    assert [one.where for one in session.missing] == [
        w for w in ("at the top", "at both ends", "at the foot") if any(e.where == w for e in proof.expectations)
    ]
    assert "3 with a short" in session.missing[0].words
    assert sum(len(one.tests) for one in missing(proof.expectations, [])) == len(proof.expectations)


def test_one_by_one_is_as_all_at_once(proof, inbox: Path) -> None:
    """A watch hands files on as they come; what stands at the end is the same."""
    whole = judged(proof, inbox)
    judging = Judging(proof)
    for path in sorted(inbox.iterdir()):
        judging.add(take_in([path]))
    one_by_one = judging.session()
    key = lambda s: [(r.urgency, r.test, r.verdict, r.files, r.what) for r in s.rows]  # noqa: E731
    assert sorted(key(one_by_one)) == sorted(key(whole))
    assert one_by_one.missing == whole.missing


def test_a_file_that_changed_replaces_what_was_said_of_it(proof, inbox: Path) -> None:
    judging = Judging(proof)
    bad, good = inbox / "A2-J2.rl.load.s1p", inbox / "A2-J1.rl.load.s1p"
    (row,) = judging.add(take_in([bad]))
    assert row.verdict == "fails"
    bad.write_bytes(good.read_bytes() + b"! after the joint was mended\n")
    judging.words = words_of(["A2-J2.rl.load.s1p: test is A2-J1.rl.load"])
    (row,) = judging.add(take_in([bad]))
    assert row.verdict == "passes"
    assert len(judging.session().rows) == 1


def test_a_table_that_asks_and_the_words_that_answer(proof, inbox: Path, designs, make) -> None:
    path = inbox / "A2-J1.rl.load-odd.csv"
    path.write_text(table(make(designs["A2-J1"], seed=9), "MHz;what"))
    session = judged(proof, path)
    (row,) = session.rows
    assert row.state == "asked"
    assert "B is return-loss" in " ".join(row.answers)
    assert session.exit_code == 3
    answer = next(one for one in row.answers if "B is return-loss" in one)
    answered = judged(proof, path, words=words_of([answer, f"{path.name}: A is frequency in MHz"]))
    (row,) = answered.rows
    assert row.verdict == "passes"
    assert row.grade == "B"
    # it was decided by a person, so tables with these headers are known from now on
    again = judged(proof, path, memory=answered.memory)
    assert [r.verdict for r in again.rows] == ["passes"]
    assert again.tables[0].known


def test_a_guess_is_told_until_it_is_confirmed(proof, inbox: Path) -> None:
    path = inbox / "B1-J1.rl.load.csv"
    first = judged(proof, path)
    assert not first.tables[0].known
    assert first.tables[0].words == "A frequency [MHz], B return-loss [dB]"
    assert not first.memory.tables
    second = judged(proof, path, confirm=True)
    assert second.tables[0].known
    assert judged(proof, path, memory=second.memory).tables[0].known


def test_each_sheet_of_a_workbook_is_a_table(proof, tmp_path: Path, designs, make) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    for n, name in enumerate(("A2-J1", "B1-J1")):
        sheet = book.active if not n else book.create_sheet()
        assert sheet is not None
        sheet.title = name
        sweep = make(designs[name], seed=n)
        sheet.append(["Frequency (MHz)", "Return loss (dB)"])
        for f, m in zip(sweep.frequency_hz, sweep.magnitude, strict=True):
            sheet.append([float(f / 1e6), float(-20 * np.log10(m))])
    book.save(tmp_path / "sweeps.xlsx")
    session = judged(proof, tmp_path / "sweeps.xlsx")
    assert [one.sheet for one in session.tables] == ["A2-J1", "B1-J1"]
    assert len([row for row in session.rows if row.kind == "sweep"]) == 2


def test_a_column_of_a_table_of_traces_is_named_by_its_cell(proof, tmp_path: Path, designs, make) -> None:
    first, second = make(designs["A2-J1"], seed=1), make(designs["A2-J1"], seed=2)
    rows = [
        f"{f / 1e6:.4f};{-20 * np.log10(a):.3f};{-20 * np.log10(b):.3f}"
        for f, a, b in zip(first.frequency_hz, first.magnitude, second.magnitude, strict=True)
    ]
    (tmp_path / "both.csv").write_text("Frequency (MHz);RL A2-J1 (dB);RL other (dB)\n" + "\n".join(rows))
    session = judged(proof, tmp_path / "both.csv")
    states = {row.test or row.state: row for row in session.rows}
    assert states["A2-J1.rl.load"].verdict == "passes"  # its header names the path
    asked = states["asked"]
    assert "both.csv: C1 is A2-J2.rl.load" in asked.answers
    session = judged(proof, tmp_path / "both.csv", words=words_of(["both.csv: C1 is A2-J2.rl.load"]))
    assert sorted(row.test for row in session.rows if row.verdict) == ["A2-J1.rl.load", "A2-J2.rl.load"]


def test_as_data_is_plain_and_whole(proof, inbox: Path) -> None:
    session = judged(proof, inbox)
    data = json.loads(json.dumps(session.as_data(), allow_nan=False))
    assert len(data["rows"]) == len(session.rows)
    assert {row["urgency"] for row in data["rows"]} <= {u.name.lower().replace("_", "-") for u in Urgency}
    assert sum(one["count"] for one in data["missing"]) + len({r["test"] for r in data["rows"] if r["verdict"]}) == len(
        proof.expectations
    )
    assert data["exit"] == 1


def test_every_urgency_has_one_heading() -> None:
    urgent = [one for _, some in GROUPS for one in some]
    assert sorted(urgent) == sorted(Urgency)
    assert grouped(()) == ()
    assert exit_code(()) == 3  # nothing was judged


def test_words_that_make_no_sense() -> None:
    for bad in ("C = frequency", "x.csv C is", "x.csv: header is top", "x.csv: form is picture", "what is this"):
        with pytest.raises(UsageError):
            words_of([bad])
    said = words_of(["a: b.csv: C is frequency in MHz", "a: b.csv: B7 is A2-J1.rl.load", "a: b.csv: row 9 is T1-F01"])
    one = said.of("in/a: b.csv")
    assert (one.columns, one.units) == ({"C": "frequency"}, {"C": "MHz"})
    assert (one.cell(7, 2), one.cell(7, 3), one.cell(9, 5)) == ("A2-J1.rl.load", "", "T1-F01")
    assert not said.unused
    assert words_of(["gone.csv: C is unused"]).unused == ("gone.csv",)


def test_a_test_that_the_line_does_not_have(proof, inbox: Path) -> None:
    with pytest.raises(UsageError, match="no RF test"):
        judged(proof, inbox / "A2-J1.rl.load.s1p", words=words_of(["A2-J1.rl.load.s1p: test is Z9-J1.rl.load"]))


def test_two_ports_give_their_first_reflection(proof, tmp_path: Path, designs, make) -> None:
    sweep = make(designs["A2-J1"], seed=1)
    rows = (
        f"{f:.1f} {g.real:.9f} {g.imag:.9f} 0.9 0 0.9 0 0.01 0"
        for f, g in zip(sweep.frequency_hz, sweep.gamma, strict=True)
    )
    (tmp_path / "A2-J1.rl.load.s2p").write_text("# Hz S RI R 50\n" + "\n".join(rows) + "\n")
    (row,) = judged(proof, tmp_path / "A2-J1.rl.load.s2p").rows
    assert row.verdict == "passes"
    assert any("S11" in one for one in row.mended)


def test_files_of_one_name_are_told_apart(proof, inbox: Path, designs, make) -> None:
    (inbox / "after").mkdir()
    after = inbox / "after" / "A2-J2.rl.load.s1p"
    after.write_text(stone(make(designs["A2-J2"], seed=8)))
    session = judged(proof, inbox / "A2-J2.rl.load.s1p", after)
    found = {row.file: row.verdict for row in session.rows if row.verdict}
    assert found == {"A2-J2.rl.load.s1p": "fails", str(after): "passes"}


def test_a_named_sweep_that_fits_no_test_is_done_again(proof, designs, make, tmp_path: Path) -> None:
    """The wrong band, half of it, hardly a point: each is held to its name, told with its cause, and asked for at the top."""
    cases = {
        "A2-J1.rl.load.s1p": ({"low_hz": 3.3e9, "high_hz": 3.8e9}, "leaves out B3 uplink"),
        "A2-J2.rl.load.s1p": ({"low_hz": 1.8e9, "high_hz": 1.9e9}, "leaves out B3 uplink"),
        "B1-J1.rl.load.s1p": ({"points": 24}, "24 points, fewer than 3 in"),
    }
    for name, (how, _) in cases.items():
        (tmp_path / name).write_text(stone(make(designs[name[:5]], **how)))
    session = judged(proof, tmp_path)
    rows = {row.file: row for row in session.rows if row.state == "judged"}
    for name, (_, words) in cases.items():
        assert rows[name].verdict == "not judged"
        assert rows[name].urgency is Urgency.AGAIN_TOP
        assert words in rows[name].what
    assert session.exit_code == 3
    assert not [row for row in session.rows if row.state == "told" and row.remarks[0].key == "swaps"]


def test_the_name_may_be_right_where_paths_seem_exchanged(proof, designs, make, tmp_path: Path) -> None:
    for name, real in (("A2-J1", "A2-J2"), ("A2-J2", "A2-J1")):
        (tmp_path / f"{name}.loss.short.s1p").write_text(stone(make(designs[real], "short", seed=len(real))))
    session = judged(proof, tmp_path)
    (told,) = [row for row in session.rows if row.state == "told" and row.remarks[0].key == "swaps"]
    assert "A2-J1.loss.short.s1p: test is A2-J1.loss.short" in told.answers
    assert "A2-J1.loss.short.s1p: test is A2-J2.loss.short" in told.answers
    asked = [row for row in session.rows if row.state == "asked"]
    assert len(asked) == 2
    assert session.counts()["asked"] == 0  # each is folded into what the files say together
    for row in asked:
        named = row.file.removesuffix(".s1p")
        assert f"{row.file}: test is {named}" in row.answers
        assert {one.partition(" is ")[2] for one in row.answers} == set(row.candidates)
    kept = judged(proof, tmp_path, words=words_of(told.answers[2:]))
    assert {row.test for row in kept.rows if row.state == "judged"} == {"A2-J1.loss.short", "A2-J2.loss.short"}


def test_a_sweep_without_a_match_is_no_history_of_its_name(proof, designs, make, tmp_path: Path) -> None:
    (tmp_path / "A2-J1.loss.short.s1p").write_text(stone(make(designs["A2-J1"], "short")))
    (tmp_path / "A2-J1.loss.short again.s1p").write_text(stone(make(designs["A2-J2"], "short", seed=3)))
    session = judged(proof, tmp_path)
    assert [row.state for row in session.rows if row.file.endswith("again.s1p") and row.state != "told"] == ["asked"]
    assert not [row for row in session.rows if row.remarks and row.remarks[0].key == "changes"]
    (tmp_path / "A2-J1.loss.short again.s1p").write_text(stone(make(designs["A2-J1"], "short", seed=3)))
    session = judged(proof, tmp_path)
    assert [row for row in session.rows if row.remarks and row.remarks[0].key == "changes"]
