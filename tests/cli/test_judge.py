"""`upmast judge`: the demonstration's folder from the field, and files that can't be read, placed or understood."""

from __future__ import annotations

import json
import shutil
import zipfile
from pathlib import Path

import pytest

GOOD, BAD = "A1-J1.rl.load.s1p", "C2-J3.rl.load.s1p"


def rows_of(ran):
    return ran.data["rows"]


def test_the_demonstration_is_told_in_plain_words(upmast, demo, sweeps):
    ran = upmast("judge", sweeps, "-f", demo)
    assert ran.code == 1
    told = ran.out.split("\n\n")
    again, fails = told[1], told[2]
    assert again.startswith("Do again while somebody is at the top")
    assert "A1-J1.rl.load.s1p and A1-J2.rl.load.s1p are one file" in " ".join(again.split())
    assert "looks like a load at the end of the line, not the antenna" in " ".join(again.split())
    assert "B2.vdc.float" in again
    assert fails.startswith("Fails\n◆ C2-J3.rl.load  13.45 dB, limit at least 17.70 dB")
    assert "open this first: C2-J3.head/" in ran.words
    assert "A2-J2 and B3-J1 seem exchanged" in ran.words
    assert "the velocity fraction was set to 0.660 in place of 0.820" in ran.words
    assert "losses.csv: A subject, B-E optical-loss [dB]" in ran.out
    assert "1 photo or document for a person to look at: C2-J3.head-sealed.png (C2-J3)" in ran.out
    assert "Not in these files: " in ran.out
    assert "Cautions: " in ran.out
    assert len(ran.out.splitlines()) <= 50  # one screen
    assert max(len(line) for line in ran.out.splitlines()) <= 110


def test_the_same_for_programs(upmast, demo, sweeps):
    data = upmast("judge", sweeps, "-f", demo, "--json").data
    rows = data["rows"]
    verdicts = {row["test"]: row["verdict"] for row in rows if row["verdict"]}
    assert verdicts["C2-J3.rl.load"] == "fails"
    assert verdicts["C1-J1.rl.antenna"] == "not judged"
    assert verdicts["A1-J1.rl.load"] == verdicts["B1-J1.rl.load"] == "passes"
    bad = next(row for row in rows if row["test"] == "C2-J3.rl.load")
    assert bad["open_first"][0].startswith("C2-J3.head/")
    assert bad["peaks"]
    assert bad["findings"][0]["limit"]["value"] == 17.7
    grades = {row["test"]: row["grade"] for row in rows if row["kind"] == "sweep"}
    assert (grades["A1-J1.rl.load"], grades["B1-J1.rl.load"]) == ("A", "B")
    assert {row["state"] for row in rows if row["folded"]} == {"asked"}
    assert data["exit"] == 1
    assert data["version"] == 1


def test_good_sweeps_end_with_zero(upmast, demo, sweeps):
    ran = upmast("judge", sweeps / GOOD, sweeps / "A2-J1.rl.load.s1p", "-f", demo)
    assert ran.code == 0
    assert "● 2 pass  (--all lists them)" in ran.out
    assert "A1-J1.rl.load" in upmast("judge", sweeps / GOOD, "-f", demo, "--all").out


def test_a_damaged_file_is_told_by_its_line(upmast, demo, sweeps, tmp_path):
    rows = (sweeps / GOOD).read_text().splitlines()
    rows[29] = "nonsense here"
    bad = tmp_path / GOOD
    bad.write_text("\n".join(rows))
    ran = upmast("judge", bad, sweeps / "A2-J1.rl.load.s1p", "-f", demo)
    assert ran.code == 2
    assert f"{GOOD} line 30: " in ran.words
    assert "● 1 passes" in ran.words  # the others are judged all the same
    row = rows_of(upmast("judge", bad, "-f", demo, "--json"))[0]
    assert row["state"] == "unreadable"
    assert row["faults"][0]["line"] == 30


def test_one_of_several_equal_jumpers_is_asked(upmast, demo, sweeps, tmp_path):
    unnamed = Path(shutil.copy(sweeps / GOOD, tmp_path / "it's a trace.s1p"))
    ran = upmast("judge", unnamed, "-f", demo)
    assert ran.code == 3
    assert "which one was measured?" in ran.words
    answer = rows_of(upmast("judge", unnamed, "-f", demo, "--json"))[0]["answers"][0]
    assert answer.startswith("it's a trace.s1p: test is ")
    assert upmast("judge", unnamed, "-f", demo, "--say", answer).code == 0
    ran = upmast("judge", unnamed, "-f", demo, "--test", "B1-J2.rl.load", "--all")
    assert ran.code == 0
    assert "B1-J2.rl.load" in ran.out


def test_words_that_can_not_be_carried_out(upmast, demo, sweeps):
    ran = upmast("judge", sweeps / GOOD, "-f", demo, "--test", "Z9-J1.rl.load")
    assert ran.code == 2
    assert "A1-J1.rl.load" in ran.err
    assert upmast("judge", sweeps, "-f", demo, "--test", "A1-J1.rl.load").code == 2
    ran = upmast("judge", sweeps / GOOD, "-f", demo, "--say", "A = frequency")
    assert ran.code == 2
    assert "FILE: NAME is WHAT" in ran.err
    ran = upmast("judge", sweeps / GOOD, "-f", demo, "--say", "what is this?")
    assert ran.code == 2
    assert "no condition 'what'" in ran.err


def test_two_sweeps_of_one_test_keep_their_own_words(upmast, demo, sweeps, tmp_path):
    """Before and after the joint was mended: the same test twice, one fails and one passes."""
    after = tmp_path / "after" / BAD
    after.parent.mkdir()
    shutil.copy(sweeps / "C2-J2.rl.load.s1p", after)
    given = (sweeps / BAD, after, "-f", demo)
    rows = [row for row in rows_of(upmast("judge", *given, "--json")) if row["verdict"]]
    assert [(r["test"], r["verdict"]) for r in rows] == [("C2-J3.rl.load", "fails"), ("C2-J3.rl.load", "passes")]
    said = upmast("judge", *given, "--all").words
    for row in rows:
        assert row["what"] in said


def test_pictures(upmast, demo, sweeps, tmp_path):
    ran = upmast("judge", sweeps / GOOD, "-f", demo, "--pictures", tmp_path / "pictures")
    assert ran.code == 0
    names = sorted(p.name for p in (tmp_path / "pictures").iterdir())
    assert names == ["A1-J1.rl.load.distance.svg", "A1-J1.rl.load.frequency.svg"]
    assert all(p.read_text().startswith("<svg") for p in (tmp_path / "pictures").iterdir())


def test_a_zip_of_it_all_says_the_same(upmast, demo, sweeps, tmp_path):
    packed = tmp_path / "all.zip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(sweeps.iterdir()):
            archive.write(path, f"from the mast/{path.name}")
        archive.writestr("../out.s1p", "# Hz S RI R 50\n1e9 0 0\n")
    plain = rows_of(upmast("judge", sweeps, "-f", demo, "--json"))
    data = upmast("judge", packed, "-f", demo, "--json").data
    assert [(r["test"], r["verdict"], r["what"]) for r in data["rows"]] == [
        (r["test"], r["verdict"], r["what"]) for r in plain
    ]
    assert "leads out" in data["left_out"][0]["why"]


def test_columns_are_agreed_to_once(upmast, demo, sweeps):
    table = sweeps / "B1-J1.rl.load.csv"
    first = upmast("judge", table, "-f", demo)
    assert first.code == 0
    assert "Columns as guessed" in first.out
    assert not (demo / "field-columns.yaml").exists()
    assert "Columns as guessed" not in upmast("judge", table, "-f", demo, "--confirm").out
    assert (demo / "field-columns.yaml").exists()
    assert "Columns as guessed" not in upmast("judge", table, "-f", demo).out


def test_what_a_name_holds_does_not_reach_the_terminal(upmast, demo, sweeps, tmp_path):
    bad = tmp_path / "x\x1b[31m[bold]red.s1p"
    shutil.copy(sweeps / GOOD, bad)
    ran = upmast("judge", bad, "-f", demo)
    assert "\x1b" not in ran.out
    assert "[bold]red" in ran.out


def test_watching(upmast, demo, sweeps, tmp_path, monkeypatch):
    """Files come while it watches; each is told in a line of its own, and the last line is the whole."""
    from upmast.field import watch as watching

    inbox = tmp_path / "inbox"
    inbox.mkdir()
    rounds = iter(range(100))

    def sleep(seconds: float) -> None:
        n = next(rounds)
        if n == 1:
            shutil.copy(sweeps / BAD, inbox)
        if n == 2:
            shutil.copy(sweeps / GOOD, inbox)
        if n > 6:
            raise KeyboardInterrupt

    real = watching.watch
    monkeypatch.setattr(watching, "watch", lambda given, **more: real(given, stable_s=0.0, sleep=sleep, **more))
    ran = upmast("judge", inbox, "-f", demo, "--watch", "--json")
    lines = [json.loads(line) for line in ran.out.splitlines()]
    assert [line["row"]["test"] for line in lines[:2]] == ["C2-J3.rl.load", "A1-J1.rl.load"]
    assert lines[-1]["session"]["counts"]["fails"] == 1
    assert ran.code == 1


def test_nothing_to_judge(upmast, demo, tmp_path):
    (tmp_path / "empty").mkdir()
    ran = upmast("judge", tmp_path / "empty", "-f", demo)
    assert ran.code == 2
    assert "nothing in it" in ran.words
    assert upmast("judge", tmp_path / "nowhere.s1p", "-f", demo).code == 2


@pytest.mark.parametrize("kind", ["--json", ""])
def test_only_a_photograph(upmast, demo, tmp_path, kind):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    (inbox / "A2.jpg").write_bytes(b"\xff\xd8\xff\xe0" + bytes(100))
    ran = upmast("judge", inbox, "-f", demo, *([kind] if kind else []))
    assert ran.code == 3
    assert "A2.jpg" in ran.out


def test_a_finding_below_passes_tells_its_own_verdict_and_what_it_needs(upmast, demo, tmp_path):
    """The limit is kept; whether it is as designed lies within the uncertainty, and that is told."""
    table = tmp_path / "ir.csv"
    table.write_text("Pair;IR;Test voltage\nT1-P02;450 kΩ;250 V\nT1-P03;>200 MΩ;250 V\nT1-P04;80 MΩ;250 V\n")
    ran = upmast("judge", table, "-f", demo, "--all")
    assert "Insulation resistance: more than 200 MΩ, at least 0.5 MΩ, margin +199.5 MΩ or more" in ran.words
    assert "0.45 MΩ, limit at least 0.50 MΩ" in ran.words
    assert (
        "Insulation below what is expected: 20.0 MΩ, at most 0.0 MΩ, margin -20.0 MΩ: not judged, it needs a surer reading"
        in ran.words
    )


def test_a_loop_that_is_off_is_told_once(upmast, demo, tmp_path):
    table = tmp_path / "loop.csv"
    rows = [f"T1-P0{n};{value};20" for n, value in enumerate(("95,9", "97", "96", "0,09", "110", "70"), 1)]
    table.write_text("Pair;Loop resistance (mOhm);Cable temperature (C)\n" + "\n".join(rows) + "\n")
    ran = upmast("judge", table, "-f", demo)
    for pair in ("T1-P04", "T1-P05", "T1-P06"):
        assert ran.out.count(f"{pair}") <= 1
    assert "the loop resistance stands for" in upmast("judge", table, "-f", demo, "--all").words


def test_sweeps_in_doubt_are_drawn_as_the_tests_of_their_names(upmast, demo, sweeps, tmp_path):
    data = upmast("judge", sweeps, "-f", demo, "--json", "--pictures", tmp_path / "p").data
    drawn = {Path(one).name for one in data["pictures"]}
    assert {"A2-J2.rl.load.frequency.svg", "B3-J1.rl.load.frequency.svg"} <= drawn
    assert "A2-J2" in (tmp_path / "p" / "A2-J2.rl.load.frequency.svg").read_text("utf-8")


def test_how_a_table_was_read_is_no_mending(upmast, demo, sweeps):
    ran = upmast("judge", sweeps / "B1-J1.rl.load.csv", "-f", demo, "--all")
    assert "mended:" not in ran.out
    assert "encoding: UTF-8" not in ran.out
    assert "read: delimiter: semicolon" in ran.out


def test_the_lines_of_python_in_the_docs_run(demo, sweeps, tmp_path, monkeypatch):
    text = (Path(__file__).parents[2] / "docs" / "field.md").read_text("utf-8")
    code = text.partition("```python\n")[2].partition("```")[0]
    shutil.copytree(demo, tmp_path / "my-site")
    (tmp_path / "from-the-mast").mkdir()
    shutil.copy(sweeps / GOOD, tmp_path / "from-the-mast")
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    exec(code, names)
    assert [row.verdict for row in names["session"].rows] == ["passes"]


def test_a_sweep_of_the_wrong_band_names_the_band_and_what_it_fits(upmast, demo, sweeps, tmp_path):
    (tmp_path / "C1-J1.rl.load.s1p").write_bytes((sweeps / "B3-J1.rl.load.s1p").read_bytes())
    ran = upmast("judge", tmp_path, "-f", demo, "--all")
    assert ran.code == 3
    assert "leaves out B28 uplink (703 to 748 MHz)" in ran.words
    assert "or is it misnamed? It fits A2-J1.rl.load and" in ran.words
    assert "or: --say 'C1-J1.rl.load.s1p: test is A2-J1.rl.load'" in ran.words
    assert "seem exchanged" not in ran.words
    assert "What the files say together" not in ran.words


def test_what_was_mended_is_told_on_the_first_screen(upmast, demo, sweeps, tmp_path):
    rows = (sweeps / GOOD).read_text("utf-8").splitlines()
    head = [row for row in rows if not row[:1].isdigit()]
    body = [row for row in rows if row[:1].isdigit()]
    bag = tmp_path / "bag"
    bag.mkdir()
    (bag / GOOD).write_text("\n".join([*head, *reversed(body)]) + "\n")
    assert upmast("judge", bag, "-f", demo).code == 2
    ran = upmast("judge", bag, "-f", demo, "--repair")
    assert f"mended on reading: {GOOD}: rows sorted by frequency" in ran.words


def test_faults_that_are_alike_are_told_once_and_counted(upmast, demo, sweeps, tmp_path):
    rows = (sweeps / GOOD).read_text("utf-8").splitlines()
    broken = [row.replace(".", ",") if row[:1].isdigit() else row for row in rows]
    count = sum(one != row for one, row in zip(broken, rows, strict=True))
    (tmp_path / GOOD).write_text("\n".join(broken) + "\n")
    ran = upmast("judge", tmp_path / GOOD, "-f", demo)
    assert f"and {count - 1} more, in lines" in ran.words
    every = upmast("judge", tmp_path / GOOD, "-f", demo, "--all")
    assert every.words.count("export with a decimal point, not a comma") <= 3
    assert "and the like in lines" in every.words


def test_every_document_is_named(upmast, demo, sweeps, tmp_path):
    (tmp_path / "note.txt").write_text("A2-J1 joint was loose\n")
    ran = upmast("judge", sweeps / GOOD, sweeps / "C2-J3.head-sealed.png", tmp_path / "note.txt", "-f", demo)
    assert "2 photos or documents for a person to look at: C2-J3.head-sealed.png (C2-J3), note.txt" in ran.words
