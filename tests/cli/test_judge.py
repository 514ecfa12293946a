"""`upmast judge`: the demonstration's sweeps, and sweeps that can't be read or placed."""

from __future__ import annotations

import shutil
from pathlib import Path

GOOD, BAD = "A1-J1.rl.load.s1p", "C2-J3.rl.load.s1p"


def test_the_bad_joint_is_named(upmast, demo, sweeps):
    ran = upmast("judge", sweeps, "-f", demo)
    assert ran.code == 1
    assert ran.out.startswith(f"◆ fails  {BAD}")  # what fails stands first
    assert "Open first: C2-J3.head/" in ran.words
    assert ran.out.count("● passes") == 4
    assert "Cautions" in ran.out
    rows = upmast("judge", sweeps, "-f", demo, "--json").data["sweeps"]
    assert [r["verdict"] for r in rows] == ["fails", *["passes"] * 4]
    assert rows[0]["open_first"][0].startswith("C2-J3.head/")


def test_good_sweeps_end_with_zero(upmast, demo, sweeps):
    ran = upmast("judge", sweeps / GOOD, sweeps / "A2-J1.rl.load.s1p", "-f", demo)
    assert ran.code == 0


def test_a_damaged_file_is_told_by_its_line(upmast, demo, sweeps, tmp_path):
    rows = (sweeps / GOOD).read_text().splitlines()
    rows[29] = "nonsense here"
    bad = tmp_path / GOOD
    bad.write_text("\n".join(rows))
    ran = upmast("judge", bad, sweeps / "A2-J1.rl.load.s1p", "-f", demo)
    assert ran.code == 2
    assert f"{GOOD}:30:" in ran.out.replace("\n", "")
    assert "● passes  A2-J1" in ran.out  # the others are judged all the same
    row = next(r for r in upmast("judge", bad, "-f", demo, "--json").data["sweeps"])
    assert row["state"] == "unreadable"
    assert row["faults"][0]["line"] == 30


def test_one_of_several_equal_jumpers_is_asked(upmast, demo, sweeps, tmp_path):
    unnamed = Path(shutil.copy(sweeps / GOOD, tmp_path / "trace.s1p"))
    ran = upmast("judge", unnamed, "-f", demo)
    assert ran.code == 3
    assert "which one was measured?" in ran.words
    ran = upmast("judge", unnamed, "-f", demo, "--test", "B1-J2.rl.load")
    assert ran.code == 0
    assert "as B1-J2.rl.load" in ran.out


def test_a_test_that_the_line_does_not_have(upmast, demo, sweeps):
    ran = upmast("judge", sweeps / GOOD, "-f", demo, "--test", "Z9-J1.rl.load")
    assert ran.code == 2
    assert "A1-J1.rl.load" in ran.err


def test_one_test_for_many_files(upmast, demo, sweeps):
    assert upmast("judge", sweeps, "-f", demo, "--test", "A1-J1.rl.load").code == 2


def test_two_sweeps_of_one_test_keep_their_own_words(upmast, demo, sweeps, tmp_path):
    """Before and after the joint was mended: the same test twice, one fails and one passes."""
    after = tmp_path / "after" / BAD
    after.parent.mkdir()
    shutil.copy(sweeps / "C2-J2.rl.load.s1p", after)
    given = (sweeps / BAD, after, "-f", demo)
    rows = upmast("judge", *given, "--json").data["sweeps"]
    assert [(r["test"], r["verdict"]) for r in rows] == [("C2-J3.rl.load", "fails"), ("C2-J3.rl.load", "passes")]
    said = upmast("judge", *given).words
    for row in rows:
        assert row["sentence"] in said


def test_pictures(upmast, demo, sweeps, tmp_path):
    ran = upmast("judge", sweeps / GOOD, "-f", demo, "--pictures", tmp_path / "pictures")
    assert ran.code == 0
    names = sorted(p.name for p in (tmp_path / "pictures").iterdir())
    assert names == ["A1-J1.rl.load.distance.svg", "A1-J1.rl.load.frequency.svg"]
    assert all(p.read_text().startswith("<svg") for p in (tmp_path / "pictures").iterdir())


def test_nothing_to_judge(upmast, demo, tmp_path):
    (tmp_path / "empty").mkdir()
    ran = upmast("judge", tmp_path / "empty", "-f", demo)
    assert ran.code == 2
    assert "no sweeps" in ran.words
    assert upmast("judge", tmp_path / "nowhere.s1p", "-f", demo).code == 2
