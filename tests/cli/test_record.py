"""`upmast record`: evidence kept once, what stands, the chain checked, sites out and in."""

from __future__ import annotations

import sqlite3
import zipfile
from pathlib import Path

import pytest
import yaml

from upmast.cli.run import BAD_INPUT, NOT_JUDGED

pytest.importorskip("sqlalchemy", reason="the record needs SQLAlchemy, which is not installed")

FIELD = Path(__file__).resolve().parents[2] / "demo" / "field"


@pytest.fixture
def kept(upmast, demo, tmp_path):  # type: ignore[no-untyped-def]
    """A record with the sweeps of the demonstration."""
    where = tmp_path / "site.record"
    ran = upmast("record", "keep", FIELD, "-f", demo, "-r", where, "--by", "K. Ode", "--json")
    assert ran.code == 0
    return where, ran.data


def test_the_same_files_again_add_nothing(upmast, demo, kept):
    where, first = kept
    assert first["added"] > 10
    again = upmast("record", "keep", FIELD, "-f", demo, "-r", where, "--by", "K. Ode", "--json").data
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
    assert "C2-J3.rl.load fails: 13.45 dB, limit at least 17.70 dB, margin -4.25 dB, C2-J3.rl.load.s1p" in told.words
    assert "C2-J3.rl.load.s1p: rf.sweep, grade A" in told.words


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


def test_a_closeout_is_shown_and_written(upmast, demo, kept, tmp_path):
    where, first = kept
    ran = upmast("record", "closeout", "-f", demo, "-r", where, "-o", tmp_path / "out", "--json")
    assert ran.code == 1
    data = ran.data
    assert sum(data["counts"].values()) == data["tests"] == len(data["results"])
    assert data["head"] == first["head"]
    failing = [one for one in data["results"] if one["state"] == "fails"]
    assert failing[0]["test"] == "C2-J3.rl.load"
    assert failing[0]["do"].startswith("open this first: C2-J3.head")
    assert sorted(data["files"]) == sorted(p.name for p in (tmp_path / "out").iterdir())
    shown = upmast("record", "closeout", "-f", demo, "-r", where)
    assert shown.code == 1
    assert "at the top: 24 of cable loss, one way, .loss.short" in shown.words
    assert shown.words.index("Fails: ") < shown.words.index("Not judged: ") < shown.words.index("Missing: ")
    again = upmast("record", "recheck", tmp_path / "out" / "closeout.zip")
    assert again.code == 0
    assert "equal: " in again.words


def test_a_pack_that_was_changed_is_told(upmast, demo, kept, tmp_path):
    where, _ = kept
    upmast("record", "closeout", "-f", demo, "-r", where, "-o", tmp_path / "out")
    place, other = tmp_path / "out" / "closeout.zip", tmp_path / "changed.zip"
    with zipfile.ZipFile(place) as source, zipfile.ZipFile(other, "w") as target:
        for name in source.namelist():
            data = source.read(name)
            target.writestr(
                name, data.replace(b'"state":"fails"', b'"state":"passes"') if name == "results.json" else data
            )
    ran = upmast("record", "recheck", other, "--json")
    assert ran.code == 1
    assert ran.data["equal"] is False
    assert "results.json: changed since the closeout was made" in ran.data["told"]
    assert {one["test"] for one in ran.data["tests"] if one["why"]} >= {"C2-J3.rl.load"}
    other.write_bytes(place.read_bytes()[:-300])
    assert upmast("record", "recheck", other).code == BAD_INPUT


def test_a_waiver_a_signature_and_what_changed_since(upmast, demo, kept):
    where, _ = kept
    place = ("-f", demo, "-r", where)
    ran = upmast(
        "record",
        "waive",
        "C2-J3.rl.load",
        *place,
        "--by",
        "R. Holm",
        "--reason",
        "off until spring",
        "--until",
        "2099-12-31",
    )
    assert ran.code == 0
    assert "C2-J3.rl.load fails, accepted by R. Holm until 2099-12-31" in ran.words
    assert "and no later one" in ran.words
    signed = upmast(
        "record", "sign", *place, "--by", "R. Holm", "--role", "reviewer", "--statement", "Seen as it stands."
    )
    assert signed.code == 0
    assert "declared, not cryptographic" in signed.words
    assert upmast("record", "closeout", *place, "--since", "signed", "--json").data["results"] == []
    upmast(
        "record",
        "waive",
        "T1.shield.r20",
        *place,
        "--by",
        "R. Holm",
        "--reason",
        "no access now",
        "--until",
        "2099-12-31",
    )
    data = upmast("record", "closeout", *place, "--since", "signed", "--json").data
    assert [(one["test"], one["state"]) for one in data["results"]] == [("T1.shield.r20", "waived")]
    late = upmast("record", "closeout", *place, "--on", "2100-01-01", "--json").data
    assert {one["state"] for one in late["waivers"]} == {"expired"}
    assert late["counts"]["waived"] == 0
    told = upmast("record", "closeout", *place)
    assert "2 waived" in told.words


def test_a_file_of_which_nothing_is_read_is_told_with_its_reason(upmast, demo, tmp_path):
    place, files = ("-f", demo, "-r", tmp_path / "x.record"), tmp_path / "files"
    files.mkdir()
    (files / "A1-J1.rl.load.s1p").write_bytes(b"")
    (files / "notes.txt").write_text("wind from the west, and no rain\n")
    kept = upmast("record", "keep", files, *place, "--by", "K. Ode")
    assert "A1-J1.rl.load.s1p: kept" in kept.words
    assert "nothing was read of it: an empty file" in kept.words
    told = upmast("record", "closeout", *place).words
    table = tmp_path / "B2-J1.distance.csv"
    table.write_text("Distance [m];Return loss [dB]\n" + "".join(f"{n / 10};{30 + n % 7}\n" for n in range(60)))
    upmast("record", "keep", table, *place, "--by", "K. Ode")
    told = upmast("record", "closeout", *place).words
    assert "no test is judged by it: " in told
    part = told.partition("Kept, and judged as no test: 3")[2]
    assert "A1-J1.rl.load.s1p" in part
    assert "an empty file" in part
    assert "notes.txt" in part


def test_what_did_not_change_since_a_head_is_not_listed(upmast, demo, kept, tmp_path):
    """Asked, twice, between files, built: all of it was there at the head; what changed stands first."""
    where, first = kept
    place = ("-f", demo, "-r", where)
    before = upmast("record", "closeout", *place, "--json").data
    kinds = {one["kind"] for one in before["exceptions"]}
    assert kinds >= {"asked", "between files", "built otherwise"}
    nothing = upmast("record", "closeout", *place, "--since", first["head"], "--json").data
    assert nothing["exceptions"] == []
    upmast(
        "record",
        "waive",
        "C2-J3.rl.load",
        *place,
        "--by",
        "R. Holm",
        "--reason",
        "off until spring",
        "--until",
        "2099-12-31",
    )
    told = upmast("record", "closeout", *place, "--since", first["head"], "--json").data
    assert next((one["kind"], one["subject"], one["words"]) for one in told["exceptions"]) == (
        "changed", "C2-J3.rl.load", "now waived, fails before",
    )  # fmt: skip
    assert {one["kind"] for one in told["exceptions"]} <= {"changed", "waived", "differs from design"}
    (tmp_path / "late").mkdir()
    (tmp_path / "late" / "odd.s1p").write_bytes(b"")
    upmast("record", "keep", tmp_path / "late", *place, "--by", "K. Ode")
    later = upmast("record", "closeout", *place, "--since", first["head"], "--json").data
    assert "kept only" in {one["kind"] for one in later["exceptions"]}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("waive", "A9-J9.rl.load", "--reason", "why not", "--until", "2099-01-01"), "has no test 'A9-J9.rl.load'"),
        (
            ("waive", "A1-J1.rl.load", "--reason", "why not", "--until", "2099-01-01"),
            "passes: there is nothing to waive",
        ),
        (("waive", "C2-J3.rl.load", "--reason", "why not", "--until", "soon"), "'soon' is no day"),
        (
            ("waive", "C2-J3.rl.load", "--reason", "why not", "--until", "2001-01-01"),
            "not a waiver: it expires on 2001-01-01, before it was granted",
        ),
        (("waive", "A1-J1.rl.laod", "--reason", "why not", "--until", "2099-01-01"), "near: A1-J1.rl.load"),
        (
            ("waive", "C2-J3.rl.load", "--reason", "x", "--until", "2099-01-01"),
            "not a waiver: reason: write at least 5 characters",
        ),
        (("photo", Path(__file__), "--of", "Q7-J1", "--shows", "a joint"), "has no item 'Q7-J1'"),
    ],
)
def test_what_can_not_be_said_is_refused_in_words(upmast, demo, kept, arguments, words):
    where, first = kept
    ran = upmast("record", *arguments, "-f", demo, "-r", where, "--by", "R. Holm")
    assert ran.code == BAD_INPUT
    assert words in ran.words
    assert upmast("record", "check", "-r", where, "--json").data["heads"] == [first["head"]]


def test_reports_and_photos_are_kept(upmast, demo, kept, tmp_path):
    where, _ = kept
    place = ("-f", demo, "-r", where, "--by", "K. Ode")
    (tmp_path / "report.pdf").write_bytes(b"%PDF-1.7 invented")
    (tmp_path / "joint.jpg").write_bytes(b"\xff\xd8\xff invented")
    ran = upmast(
        "record",
        "report",
        tmp_path / "report.pdf",
        *place,
        "--serial",
        "T-77",
        "--part",
        "trunk",
        "--made",
        "2026-05-01",
    )
    assert "no item of the line has this serial number" in ran.words
    ran = upmast("record", "photo", tmp_path / "joint.jpg", *place, "--of", "C2-J3", "--shows", "sealed joint")
    assert "joint.jpg: sealed joint, of C2-J3" in ran.words
    ran = upmast("record", "photo", tmp_path / "joint.jpg", *place, "--of", "C2-J3", "--shows", "sealed joint")
    assert "nothing added" in ran.words
    data = upmast("record", "closeout", "-f", demo, "-r", where, "--json").data
    assert [one["serial"] for one in data["factory_reports"]] == ["T-77"]
    assert data["evidence"]["grades"]["C"] == 2


def test_a_site_where_all_is_waived_is_complete(upmast, planned, tmp_path):
    """Not done, but accepted by name: it ends with 0 and says that it was waived."""
    from upmast.cli.folder import open_folder
    from upmast.cli.record import open_place
    from upmast.cli.record_closeout import closeout_in
    from upmast.record.kinds import Waiver, make

    where = tmp_path / "t.record"
    sheet = tmp_path / "note.txt"
    sheet.write_text("invented")
    assert upmast("record", "keep", sheet, "-f", planned, "-r", where, "--by", "K. Ode").code == 0
    assert upmast("record", "closeout", "-f", planned, "-r", where).code == NOT_JUDGED
    with open_place(where) as record:
        closeout = closeout_in(record, open_folder(planned, []))
        with record.writing("T3", "R. Holm") as writing:
            for row in closeout.rows:
                day = closeout.on.isoformat()
                writing.add(make(Waiver, subject=row.test.id, name="R. Holm", reason="taken over later", granted=day, expires="2099-01-01", covers="missing"))  # fmt: skip
    ran = upmast("record", "closeout", "-f", planned, "-r", where)
    assert ran.code == 0
    count = len(closeout.rows)
    assert f"Complete: of {count} tests 0 pass, {count} waived by name, {count} of them never measured" in ran.words


def test_a_line_as_built_is_held_against_the_designed_one(upmast, demo, tmp_path):
    where = tmp_path / "b.record"
    line = yaml.safe_load((demo / "line.yaml").read_text())
    (demo / "built.yaml").write_text(
        f"version: 1\nsite: NESS-PT\nline_revision: {line['revision']}\nchanges:\n"
        "  - {item: T1, field: serial, value: T-77, time: 2026-05-02, author: N. Rigger}\n"
    )
    upmast("record", "keep", FIELD / "A1-J1.rl.load.s1p", "-f", demo, "-r", where, "--by", "K. Ode")
    data = upmast("record", "closeout", "-f", demo, "-r", where, "--json").data
    assert data["built_against_designed"]["known"] is True
    assert len(data["built_against_designed"]["differences"]) == 1
    assert "T1" in data["built_against_designed"]["differences"][0]


def test_a_path_over_its_days_and_the_spares(upmast, demo, kept):
    where, _ = kept
    told = upmast("record", "trend", "A1-J1", "-f", demo, "-r", where)
    assert told.code == 0
    assert "A1-J1.rl.load" in told.words
    assert "a change needs two" in told.words
    data = upmast("record", "trend", "A1-J1", "-f", demo, "-r", where, "--json").data
    assert data["sweeps"][0]["unit"] == "dB"
    spare = upmast("record", "spares", "-f", demo, "-r", where)
    assert "never tested" in spare.words
    rows = upmast("record", "spares", "-f", demo, "-r", where, "--json").data["spares"]
    assert {one["kept_for"] for one in rows} >= {"growth"}


def test_keep_counts_and_lists_what_does_not_pass(upmast, demo, tmp_path):
    place = ("-f", demo, "-r", tmp_path / "k.record")
    short = upmast("record", "keep", FIELD, *place, "--by", "K")
    assert short.code == BAD_INPUT
    assert "--by" in short.words
    ran = upmast("record", "keep", FIELD, *place, "--by", "K. Ode")
    assert ran.code == 0
    assert ": passes" not in ran.words
    assert "C2-J3.rl.load" in ran.words
    assert "results: " in ran.words
    assert "those that pass are not listed: --all" in ran.words
    every = upmast("record", "keep", FIELD, *place, "--by", "K. Ode", "--all")
    assert ": passes" in every.words


def test_an_older_sweep_filed_later_is_told(upmast, demo, tmp_path):
    """The failing sweep is of the later day, another is filed after it with an earlier day."""
    place = ("-f", demo, "-r", tmp_path / "k.record", "--by", "K. Ode")
    bad, good = FIELD / "C2-J3.rl.load.s1p", FIELD / "C2-J2.rl.load.s1p"
    test = ("--test", "C2-J3.rl.load")
    assert upmast("record", "keep", bad, *place, *test, "--measured", "2026-11-01").code == 0
    data = upmast("record", "keep", good, *place, *test, "--measured", "2026-10-01", "--json").data
    assert [one["test"] for one in data["order_of_days"]] == ["C2-J3.rl.load"]
    assert "filed later and measured earlier" in data["order_of_days"][0]["words"][0]


def test_a_broken_chain_is_said_by_all_and_signed_by_nobody(upmast, demo, kept):
    """One word of a waiver is changed in the database."""
    where, _ = kept
    place = ("-f", demo, "-r", where)
    by = ("--by", "R. Holm")
    waived = upmast(
        "record", "waive", "C2-J3.rl.load", *place, *by, "--reason", "agreed on site", "--until", "2099-12-31"
    )
    assert waived.code == 0
    sheet = ("--role", "reviewer", "--statement", "all of it was read")
    assert upmast("record", "trend", "A1-J1", *place).code == 0
    with sqlite3.connect(where) as database:
        triggers = database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:
            database.execute(f'DROP TRIGGER "{name}"')
        database.execute("UPDATE entries SET body = replace(body, 'agreed on site', 'agreed on sight')")
    for call in (
        ("closeout", *place), ("standing", "-r", where), ("trend", "A1-J1", *place), ("keep", FIELD, *place, "--by", "K. Ode"),
    ):  # fmt: skip
        told = upmast("record", *call)
        assert told.code == 1, call
        assert "THE CHAIN OF THIS RECORD IS BROKEN" in told.words, call
        assert "(waiver, " in told.words
        assert "was edited" in told.words
        assert "was edited" in upmast("record", *call, "--json").data["broken"][0]
    head = upmast("record", "standing", "-r", where, "--json").data["heads"]
    refused = upmast("record", "sign", *place, *by, *sheet)
    assert refused.code == BAD_INPUT
    assert "the record is not whole" in refused.words
    assert "nothing was changed" in refused.words
    assert upmast("record", "standing", "-r", where, "--json").data["heads"] == head


def test_a_head_an_id_and_a_name_are_taken_as_a_document_gives_them(upmast, demo, kept):
    """Copied with characters of no width, and a head on two lines."""
    where, first = kept
    site, entries, digest = first["head"].split("/")
    shown = site.replace("-", "-\u200b")
    head = f"\ufeff{shown}/\u200b{entries}/\n\u2060{digest}"
    assert upmast("record", "check", "-r", where, "--head", head).code == 0
    ran = upmast(
        "record", "waive", "C2-\u200bJ3.rl.load", "-f", demo, "-r", where, "--by", "R.\u200b Holm", "--reason", "agreed on\u200b site", "--until", "2099-12-31",
        "--json",
    )  # fmt: skip
    assert ran.code == 0
    assert ran.data["test"] == "C2-J3.rl.load"
    assert "by R. Holm" in upmast("record", "history", "C2-\u2060J3", "--site", site, "-r", where).words


def test_what_is_copied_out_of_a_closeout_is_what_was_printed(upmast, demo, kept, tmp_path):
    """No character of no width is in the document; what can hurt somebody in the open tests is, and the day of each file."""
    where, _ = kept
    upmast("record", "closeout", "-f", demo, "-r", where, "-o", tmp_path / "out")
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "out" / "closeout.pdf").pages)
    assert "\u200b" not in text
    assert upmast("record", "standing", "-r", where, "--json").data["heads"][0] in text.replace("\n", "")
    plain = " ".join(text.split())
    for words in ("Never look into a fibre or a port", "A plant delivers thousands of amperes", "Never open an earth"):
        assert words in plain
    assert "Measured" in plain[plain.rindex("SHA-256") :][:60]
