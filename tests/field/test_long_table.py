"""A table with one reading in each row: what it is of, its kind, value and unit; a line of title above."""

from __future__ import annotations

from pathlib import Path

import pytest

from upmast.field.intake import take_in
from upmast.field.say import words_of
from upmast.field.session import Judging, Session, judge_files
from upmast.proof.prove import Proof

ENGLISH = """Test protocol;;;
Item;Quantity;Value;Unit
T1-P01;Loop resistance;0.1528;Ohm
T1-P01;Insulation at 250 V;1500;MOhm
T1-F01;Loss 1310 nm up;0.30;dB
"""
GERMAN = """Messprotokoll vom Mast;;;
Prüfling;Messgröße;Wert;Einheit
T1-P01;Schleifenwiderstand;0,1528;Ohm
T1-P01;Isolationswiderstand 250 V;1500;MOhm
T1-F01;Dämpfung 1310 nm hin;0,30;dB
"""
UNKNOWN = GERMAN.replace("Prüfling;Messgröße;Wert;Einheit", "Ding;Was;Zahl;Mass")
TESTS = {"T1-P01.rloop.20", "T1-P01.ir.250", "T1-F01.ol.1310-up"}


def judged(proof: Proof, at: Path, text: str, *said: str) -> Session:
    at.write_text(text)
    return judge_files(Judging(proof, words=words_of([f"long.csv: {one}" for one in said])), take_in([at]))


@pytest.mark.parametrize("text", [ENGLISH, GERMAN])
def test_each_row_says_its_kind(proof: Proof, tmp_path: Path, text: str) -> None:
    session = judged(proof, tmp_path / "long.csv", text)
    assert {row.test for row in session.rows if row.reading is not None} == TESTS
    assert not [row for row in session.rows if row.state in ("asked", "unreadable")]


def test_unknown_headers_are_decided_by_a_person(proof: Proof, tmp_path: Path) -> None:
    said = ("header is 2", "A is subject", "B is kind", "C is value", "D is unit")
    for words in (said, said[1:]):
        session = judged(proof, tmp_path / "long.csv", UNKNOWN, *words)
        assert {row.test for row in session.rows if row.reading is not None} == TESTS
        assert not session.left_out


def test_an_answer_that_was_offered_is_not_a_dead_end(proof: Proof, tmp_path: Path) -> None:
    (row,) = judged(proof, tmp_path / "long.csv", UNKNOWN).rows
    assert "long.csv: form is values" in row.answers
    (row,) = judged(proof, tmp_path / "long.csv", UNKNOWN, "form is values").rows
    assert row.state == "asked"
    assert "long.csv: C is value" in row.answers
