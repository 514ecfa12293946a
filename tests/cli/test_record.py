"""`upmast record`: evidence kept once, what stands, the chain checked, sites out and in."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from upmast.cli.run import BAD_INPUT

pytest.importorskip("sqlalchemy", reason="the record needs SQLAlchemy, which is not installed")

SWEEPS = Path(__file__).resolve().parents[2] / "demo" / "sweeps"


@pytest.fixture
def kept(upmast, demo, tmp_path):  # type: ignore[no-untyped-def]
    """A record with the sweeps of the demonstration."""
    where = tmp_path / "site.record"
    ran = upmast("record", "keep", SWEEPS, "-f", demo, "-r", where, "--by", "K. Ode", "--json")
    assert ran.code == 0
    return where, ran.data


def test_the_same_files_again_add_nothing(upmast, demo, kept):
    where, first = kept
    assert first["added"] > 10
    again = upmast("record", "keep", SWEEPS, "-f", demo, "-r", where, "--by", "K. Ode", "--json").data
    assert again["added"] == 0
    assert again["head"] == first["head"]


def test_what_stands_is_told_worst_first(upmast, kept):
    where, _ = kept
    ran = upmast("record", "standing", "-r", where, "--json")
    assert ran.code == 1
    verdicts = [r["verdict"] for r in ran.data["verdicts"]]
    assert verdicts == sorted(verdicts, key=["fails", "not judged", "passes"].index)
    assert ran.data["verdicts"][0]["test"] == "C2-J3.rl.load"
    told = upmast("record", "history", "C2-J3", "--site", "NESS-PT", "-r", where)
    assert "verdict" in told.words
    assert "K. Ode" in told.words


def test_an_edited_entry_shows(upmast, kept):
    where, first = kept
    assert upmast("record", "check", "-r", where, "--head", first["head"]).code == 0
    with sqlite3.connect(where) as database:  # as somebody would who owns the file
        for (name,) in database.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            database.execute(f'drop trigger "{name}"')
        database.execute("update entries set author = 'somebody else' where number = 3")
    ran = upmast("record", "check", "-r", where)
    assert ran.code == 1
    assert "entry 3 (" in ran.words
    assert "was edited" in ran.words


def test_out_and_in_again(upmast, kept, tmp_path):
    where, first = kept
    bundle, other = tmp_path / "out.zip", tmp_path / "other.record"
    assert upmast("record", "take-out", bundle, "-r", where).code == 0
    assert upmast("record", "bring-in", bundle, "-r", other).code == 0
    assert upmast("record", "standing", "-r", other, "--json").data["heads"] == [first["head"]]
    bundle.write_bytes(bundle.read_bytes()[:-200])
    assert upmast("record", "bring-in", bundle, "-r", tmp_path / "third.record").code == BAD_INPUT


def test_a_record_that_is_not_there(upmast, tmp_path):
    ran = upmast("record", "check", "-r", tmp_path / "none.record")
    assert ran.code == BAD_INPUT
    assert "there is no record" in ran.words
