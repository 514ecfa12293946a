"""Files, tables and rows that say another site are asked; those of this site are judged beside them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from upmast.field.intake import take_in
from upmast.field.match import match_sweep
from upmast.field.place import place_of
from upmast.field.readers.site_words import is_other, site_in, site_of_name
from upmast.field.say import words_of
from upmast.field.session import Judging, Session, judge_files


def judged(proof, at: Path, *said: str) -> Session:
    return judge_files(Judging(proof, words=words_of(said)), take_in([at]))


def stone(sweep, head: str = "") -> str:
    rows = (f"{f:.1f} {g.real:.9f} {g.imag:.9f}" for f, g in zip(sweep.frequency_hz, sweep.gamma, strict=True))
    return f"{head}# Hz S RI R 50\n" + "\n".join(rows) + "\n"


def states(session: Session) -> list[tuple[str, str]]:
    return sorted((row.state, row.verdict) for row in session.rows)


def test_a_row_of_another_site_is_asked_and_the_others_judged(proof, tmp_path: Path) -> None:
    at = tmp_path / "mix.csv"
    at.write_text("Site;Pair;Insulation at 250 V (MΩ)\nOTHER-1;T1-P01;250\ns1;T1-P01;250,5\n")
    session = judged(proof, at)
    assert states(session) == [("asked", ""), ("judged", "passes")]
    (asked,) = [row for row in session.rows if row.state == "asked"]
    assert "OTHER-1" in asked.what
    assert "site is S1" in asked.what
    assert session.exit_code == 3
    session = judged(proof, at, "mix.csv: site is S1")  # as the question says: the others are left out
    assert states(session) == [("judged", "passes")]
    assert session.tables[0].readings is not None
    assert session.tables[0].readings.left_out == ((2, "of another site: OTHER-1"),)
    session = judged(proof, at, "mix.csv: row 2 is T1-P01")
    assert [len(row.reading.readings) for row in session.rows if row.reading is not None] == [2]


@pytest.mark.parametrize("head", ["Site: OTHER-1\n", "Site;OTHER-1\n", "Report of site OTHER-1\n"])
def test_a_line_above_the_table(proof, tmp_path: Path, head: str) -> None:
    at = tmp_path / "volts.csv"
    at.write_text(f"{head}Pair;Insulation at 250 V (MΩ)\nT1-P01;250\n")
    session = judged(proof, at)
    (row,) = session.rows
    assert row.state == "asked"
    assert row.answers == ("volts.csv: site is S1",)
    assert states(judged(proof, at, *row.answers)) == [("judged", "passes")]
    at.write_text(f"{head}Pair;Insulation at 250 V (MΩ)\nT1-P01;250\n".replace("OTHER-1", "S1"))
    assert states(judged(proof, at)) == [("judged", "passes")]


def test_every_row_of_another_site_asks_the_table_once(proof, tmp_path: Path) -> None:
    at = tmp_path / "volts.csv"
    at.write_text("Site;Pair;Insulation at 250 V (MΩ)\n" + "OTHER-1;T1-P01;250\n" * 50)
    (row,) = judged(proof, at).rows
    assert (row.kind, row.state) == ("table", "asked")


def test_a_block_of_another_site_further_down(proof, tmp_path: Path) -> None:
    at = tmp_path / "volts.csv"
    at.write_text("Pair;Insulation at 250 V (MΩ)\nT1-P01;250\nSite: OTHER-1;\nT1-P02;0,1\n")
    assert states(judged(proof, at)) == [("asked", ""), ("judged", "passes")]


def test_a_sweep_by_its_comment_and_by_its_name(proof, designs, make, tmp_path: Path) -> None:
    sweep = make(designs["A2-J1"], seed=1)
    for name, head in (("A2-J1.rl.load.s1p", "! Site OTHER-1\n"), ("OTHER-1_A2-J1.rl.load.s1p", "")):
        at = tmp_path / name
        at.write_text(stone(sweep, head))
        (row,) = judged(proof, at).rows
        assert row.state == "asked", name
        assert "OTHER-1" in row.what
        assert states(judged(proof, at, *row.answers)) == [("judged", "passes")]
    for name, head in (
        ("A2-J1.rl.load.s1p", "! Site: S1\n"),
        ("S1_A2-J1.rl.load.s1p", ""),
        ("run-2_A2-J1.rl.load.s1p", ""),
    ):
        at = tmp_path / name
        at.write_text(stone(sweep, head))
        assert states(judged(proof, at)) == [("judged", "passes")], name


def test_the_record_asks_too(proof, designs, make) -> None:
    """What is filed without a session is matched by the same rule."""
    sweep = replace(make(designs["A2-J1"], seed=1), file="A2-J1.rl.load.s1p", comments=("Site OTHER-1",))
    match = match_sweep(proof, sweep)
    assert match.decided is None
    assert "OTHER-1" in match.question


def test_words_of_a_site() -> None:
    assert site_in("Site ID = X 12; rest") == "X 12"
    assert site_in("report of the website: no") == ""
    assert site_in("Opposite: 12") == ""
    assert not is_other("Ness Point", ["NESS-PT", "Ness Point, an invented coast site"])
    assert is_other("NESS-PT2", ["NESS-PT"])
    assert is_other("NESS-PT-2", ["NESS-PT"])
    assert site_of_name("OTHER-1 A2-J1.s1p", ["S1"], lambda text: False) == "OTHER-1"
    assert site_of_name("A2-J1 after.s1p", ["S1"], lambda text: text == "A2-J1") == ""
    assert site_of_name("2025-11-29_A2-J1.s1p", ["S1"], lambda text: False) == ""


def test_names_of_the_line(proof) -> None:
    known = place_of(proof).known
    assert known("t1 f01")
    assert known("A2-J1.head")
    assert not known("fine")
    assert not known("")


def test_a_sheet_matches_by_its_name_and_is_addressed_by_it(proof, designs, make, tmp_path: Path) -> None:
    import numpy as np

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, path in (("A2-J1.rl.load", "A2-J1"), ("second", "A2-J2")):
        sheet = book.create_sheet(name)
        sheet.append(["Frequency (MHz)", "Return loss (dB)"])
        sweep = make(designs[path], seed=2)
        for f, m in zip(sweep.frequency_hz, sweep.magnitude, strict=True):
            sheet.append([f / 1e6, -20 * np.log10(m)])
    at = tmp_path / "book.xlsx"
    book.save(at)
    rows = {row.file: row for row in judged(proof, at).rows}
    assert rows["book.xlsx, A2-J1.rl.load"].test == "A2-J1.rl.load"
    asked = rows["book.xlsx, second"]
    assert asked.state == "asked"
    session = judged(proof, at, "book.xlsx, second: test is A2-J2.rl.load")
    assert {row.file: row.test for row in session.rows if row.verdict} == {
        "book.xlsx, A2-J1.rl.load": "A2-J1.rl.load", "book.xlsx, second": "A2-J2.rl.load",
    }  # fmt: skip


def test_a_cell_of_one_sheet(proof, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name in ("one", "two"):
        sheet = book.create_sheet(name)
        sheet.append(["Pair", "Insulation at 250 V (MΩ)"])
        sheet.append(["X9", 250])
    at = tmp_path / "book.xlsx"
    book.save(at)
    asked = [row for row in judged(proof, at).rows if row.state == "asked"]
    assert [row.answers[0].partition(":")[0] for row in asked] == ["book.xlsx, one", "book.xlsx, two"]
    session = judged(proof, at, "book.xlsx, two: B2 is T1-P01")
    assert states(session) == [("asked", ""), ("judged", "passes")]


def test_a_column_site_that_says_where_on_this_site(proof, tmp_path: Path) -> None:
    at = tmp_path / "ir.csv"
    at.write_text("Site;Pair;Insulation at 250 V (MΩ)\ntop;T1-P01;250\nA2;T1-P02;250\nn/a;T1-P02;251\n")
    assert states(judged(proof, at)) == [("judged", "passes"), ("judged", "passes")]


def test_a_table_by_the_name_of_its_file(proof, tmp_path: Path) -> None:
    at = tmp_path / "OTHER-1_insulation.csv"
    at.write_text("Pair;Insulation at 250 V (MΩ)\nT1-P01;250\n")
    (row,) = judged(proof, at).rows
    assert row.state == "asked"
    assert states(judged(proof, at, *row.answers)) == [("judged", "passes")]
