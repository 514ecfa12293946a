"""The files of a closeout: whole or not there, the same bytes again, and nothing of a foreign text taken for a formula or markup."""

from __future__ import annotations

import csv
import io
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pypdf
import pytest

from upmast.errors import UsageError
from upmast.field.measurement import Sweep
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.record import closeout_write
from upmast.record.closeout import State, closeout_of
from upmast.record.closeout_pages import cautions_of
from upmast.record.closeout_write import CSV, FILES, PDF, XLSX, ZIP
from upmast.record.evidence import file_sweep
from upmast.record.record import Record
from upmast.record.whole import whole_of

from .packs import keep_files, whole_proof, write
from .test_evidence import text_of

Make = Callable[..., Sweep]
FORMULA = "=HYPERLINK(x)+cmd|' #[eval]*b*.s1p"


@pytest.fixture
def whole(proof: Proof) -> Proof:
    return whole_proof(proof)


@pytest.fixture
def filled(lone: Record, whole: Proof, designs: dict[str, PathDesign], make: Make) -> Record:
    """A record whose names and reasons are made to be taken for formulas and markup."""
    keep_files(lone, whole)
    with lone.writing("S1", "=K. Ode") as writing:
        file_sweep(
            writing, whole, text_of(make(designs["A2-J1"], "load")), FORMULA, test="A2-J1.rl.load", instrument="@SUM(1) serial -1",
        )  # fmt: skip
    return lone


def waive(record: Record, reason: str) -> None:
    from upmast.record.kinds import Waiver, make

    with record.writing("S1", "R. Holm") as writing:
        writing.add(
            make(
                Waiver,
                subject="A2-J2.rl.load",
                name="+R. Holm",
                reason=reason,
                granted="2026-05-04",
                expires="2026-12-31",
            )
        )


def test_everything_is_written(filled: Record, whole: Proof, tmp_path: Path) -> None:
    written = write(filled, whole, tmp_path / "out")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(FILES)
    assert (tmp_path / "out" / PDF).read_bytes().startswith(b"%PDF-")
    assert set(written.files) == set(FILES)
    with zipfile.ZipFile(tmp_path / "out" / ZIP) as archive:
        assert archive.testzip() is None
        assert {"record.zip", "site/site.yaml", "site/line.yaml", "site/parts.yaml", "manifest.json"} <= set(
            archive.namelist()
        )
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_the_same_record_and_time_give_the_same_bytes(filled: Record, whole: Proof, tmp_path: Path) -> None:
    one, two = write(filled, whole, tmp_path / "one"), write(filled, whole, tmp_path / "two")
    same = [name for name in FILES if name != ZIP]
    assert {n: one.files[n] for n in same} == {n: two.files[n] for n in same}


def test_no_text_becomes_a_formula(filled: Record, whole: Proof, tmp_path: Path) -> None:
    waive(filled, "=1+1 and -2+3")
    write(filled, whole, tmp_path / "out")
    book = openpyxl.load_workbook(tmp_path / "out" / XLSX)
    cells = [cell for sheet in book.worksheets for row in sheet.iter_rows() for cell in row if cell.value is not None]
    texts = {str(cell.value) for cell in cells}
    assert FORMULA in texts
    assert "=1+1 and -2+3" in texts
    assert [cell.value for cell in cells if cell.data_type == "f"] == []
    rows = list(csv.reader(io.StringIO((tmp_path / "out" / CSV).read_text("utf-8"))))
    found = [cell for row in rows for cell in row if "HYPERLINK" in cell]
    assert found
    assert all(cell.startswith("'=") for cell in found)


def test_the_heads_of_numbers_stand_over_the_numbers(filled: Record, whole: Proof, tmp_path: Path) -> None:
    write(filled, whole, tmp_path / "out")
    sheet = openpyxl.load_workbook(tmp_path / "out" / XLSX)["Results"]
    heads = {str(cell.value): cell.alignment.horizontal for row in sheet.iter_rows() for cell in row if cell.fill.fgColor.rgb == "FF1F3A5F"}  # fmt: skip
    assert (heads["Value"], heads["Margin"]) == ("right", "right")
    assert heads["Test"] is None


def test_an_older_closeout_is_replaced_and_nothing_else(filled: Record, whole: Proof, tmp_path: Path) -> None:
    place = tmp_path / "out"
    before = write(filled, whole, place).files
    waive(filled, "agreed on site")
    assert write(filled, whole, place).files != before
    (place / "notes.txt").write_text("mine")
    with pytest.raises(UsageError, match=r"holds .notes\.txt."):
        write(filled, whole, place)
    assert (place / "notes.txt").read_text() == "mine"
    (tmp_path / "link").symlink_to(place)
    with pytest.raises(UsageError, match="not a folder"):
        write(filled, whole, tmp_path / "link")


@pytest.mark.parametrize("step", ["pdf_bytes", "write_bundle", "_member", "_move"])
def test_what_fails_leaves_the_older_one(
    filled: Record, whole: Proof, tmp_path: Path, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "out"
    write(filled, whole, place)
    before = {p.name: p.read_bytes() for p in place.iterdir()}

    def broken(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(closeout_write, step, broken)
    with pytest.raises(UsageError, match="nothing was changed"):
        write(filled, whole, place)
    assert {p.name: p.read_bytes() for p in place.iterdir()} == before
    assert sorted(p.name for p in tmp_path.iterdir() if "closeout" in p.name) == []


def test_a_record_that_is_not_whole_gives_no_closeout(filled: Record, whole: Proof, tmp_path: Path) -> None:
    import sqlite3

    assert filled.database.place is not None
    with sqlite3.connect(filled.database.place) as database:
        for (name,) in database.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            database.execute(f'drop trigger "{name}"')
        database.execute("update entries set author = 'somebody else' where number = 2")
    with pytest.raises(UsageError, match="not whole"):
        write(filled, whole, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_record_that_was_written_to_meanwhile_is_told(
    filled: Record, whole: Proof, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = closeout_write.pdf_bytes

    def meanwhile(*given: object) -> bytes:
        waive(filled, "agreed meanwhile")
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(closeout_write, "pdf_bytes", meanwhile)
    with pytest.raises(UsageError, match="meanwhile"):
        write(filled, whole, tmp_path / "out")
    assert not (tmp_path / "out").exists()


PROGRAM = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[3])
from tests.record.packs import files_of, keep_files, write
from upmast.record.record import open_record
from upmast.record.recheck import proof_of
import pickle
files = pickle.loads(Path(sys.argv[4]).read_bytes())
import tests.record.packs as packs
proof = proof_of(files)
packs.files_of = lambda _: files
print("ready", flush=True)
with open_record(sys.argv[1], create=False) as record:
    while True:
        write(record, proof, Path(sys.argv[2]))
"""


def test_a_killed_one_leaves_nothing_half(filled: Record, whole: Proof, tmp_path: Path) -> None:
    """Killed at many moments: the folder is not there, or it is whole."""
    import pickle

    from .packs import files_of

    place, files = tmp_path / "out" / "closeout", tmp_path / "files"
    files.write_bytes(pickle.dumps(files_of(whole)))
    root = str(Path(__file__).resolve().parents[2])
    assert filled.database.place is not None
    for n in range(3):
        with subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(filled.database.place), str(place), root, str(files)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        ) as child:  # fmt: skip
            assert child.stdout is not None
            assert child.stdout.readline() == b"ready\n", child.stderr.read() if child.stderr else b""
            time.sleep(0.2 + 0.6 * n)
            child.send_signal(signal.SIGKILL)
            child.communicate(timeout=60)
        if place.exists():
            assert sorted(p.name for p in place.iterdir()) == sorted(FILES)
            with zipfile.ZipFile(place / ZIP) as archive:
                assert archive.testzip() is None


def test_the_cautions_are_those_of_what_is_open(filled: Record, whole: Proof) -> None:
    """Lasers and direct current stand beside the tests that are still to be done; what passes needs no caution of its own."""
    closeout = closeout_of(whole, whole_of(filled, "S1"), date(2026, 5, 6))
    told = " ".join(cautions_of(closeout))
    assert "Never look into a fibre" in told
    assert "licensed people" in told
    rows = tuple(replace(row, without=State.PASSES, state=State.PASSES) for row in closeout.rows)
    assert "Never look into a fibre" not in " ".join(cautions_of(replace(closeout, rows=rows)))


def test_what_is_copied_out_of_the_document_is_what_was_printed(filled: Record, whole: Proof, tmp_path: Path) -> None:
    """The head is printed to be checked by: no character that nobody sees stands in it."""
    write(filled, whole, tmp_path / "out")
    with pypdf.PdfReader(tmp_path / "out" / PDF) as read:
        text = "".join(page.extract_text() for page in read.pages)
    assert "\u200b" not in text
    assert str(filled.head("S1")) in "".join(text.split())
