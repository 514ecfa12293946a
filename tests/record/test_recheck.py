"""A second party judges a closeout again: equal on the same program, and whatever was changed in the zip is told or refused."""

from __future__ import annotations

import contextlib
import io
import json
import stat
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from upmast.errors import InputFaults
from upmast.field.intake import take_in
from upmast.field.measurement import Sweep
from upmast.field.say import words_of
from upmast.field.session import Judging, judge_files
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.record import recheck as module
from upmast.record.canonical import canonical
from upmast.record.closeout_write import BUNDLE, CSV, JSON, MANIFEST, PDF, XLSX, ZIP
from upmast.record.filing import file_session
from upmast.record.recheck import Rechecked, recheck
from upmast.record.record import open_record

from .packs import (
    MADE,
    Members,
    keep_files,
    made_again,
    members,
    packed,
    sealed,
    whole_proof,
    with_entries,
    with_results,
    write,
)
from .test_evidence import text_of

Make = Callable[..., Sweep]
LOSSES = b"""Strand;Wavelength nm;Direction;Loss dB
T1-F01;1310;up;0,31
T1-F01;1310;down;0,33
T1-F01;1550;up;2,90
"""


@pytest.fixture(scope="module")
def whole(proof: Proof) -> Proof:
    return whole_proof(proof)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("closeouts")


@pytest.fixture(scope="module")
def field_files(folder: Path, designs: dict[str, PathDesign], make: Make) -> Path:
    folder = folder / "field"
    folder.mkdir()
    (folder / "A2-J1.rl.load.s1p").write_bytes(text_of(make(designs["A2-J1"], "load")))
    bad = make(designs["A2-J2"], "load", joints_db={1: 12.0})
    (folder / "A2-J2.rl.load.s1p").write_bytes(text_of(bad))
    rows = "\n".join(
        f"{f / 1e6:.4f};{-db:.4f}".replace(".", ",") for f, db in zip(bad.frequency_hz, bad.return_loss_db, strict=True)
    )
    (folder / "B1-J1.csv").write_text(f"Frequency [MHz];Return loss [dB]\n{rows}\n")
    (folder / "losses.csv").write_bytes(LOSSES)
    return folder


@pytest.fixture(scope="module")
def pack(whole: Proof, field_files: Path, folder: Path) -> Members:
    """The members of a sound closeout with sweeps, a trace out of a table, and readings."""
    taken, words = take_in([field_files]), words_of(["B1-J1.csv: test is A2-J2.rl.antenna"])
    session = judge_files(Judging(whole, words=words), taken)
    with open_record(folder / "s.record", clock=lambda: MADE) as record:
        keep_files(record, whole)
        with record.writing("S1", "K. Ode") as writing:
            filed = file_session(writing, session, taken, words)
        written = write(record, whole, folder / "closeout")
    assert {one.test for one in filed if one.verdict} >= {
        "A2-J1.rl.load", "A2-J2.rl.load", "A2-J2.rl.antenna", "T1-F01.ol.1310-up", "T1-F01.ol.1550-up",
    }  # fmt: skip
    return members(written.place / ZIP)


@pytest.fixture
def again(tmp_path: Path) -> Callable[[Members], Rechecked]:
    def go(files: Members) -> Rechecked:
        place = tmp_path / "sent.zip"
        place.write_bytes(packed(files))
        return recheck(place)

    return go


Go = Callable[[Members], Rechecked]


def test_it_is_equal_on_the_same_program(pack: Members, again: Go) -> None:
    found = again(pack)
    assert found.told == ()
    assert found.equal, found
    tests = {one.test: (one.kept, one.found) for one in found.tests}
    assert tests["A2-J1.rl.load"] == ("passes", "passes")
    assert tests["A2-J2.rl.load"] == ("fails", "fails")
    assert tests["T1-F01.ol.1550-up"] == ("fails", "fails")
    results = json.loads(pack[JSON])
    assert sum(results["counts"].values()) == results["tests"] == len(results["results"])


def test_a_closeout_without_any_result_is_not_told_as_judged(whole: Proof, tmp_path: Path, again: Go) -> None:
    with open_record(tmp_path / "empty.record", clock=lambda: MADE) as record:
        keep_files(record, whole)
        written = write(record, whole, tmp_path / "empty")
    found = again(members(written.place / ZIP))
    assert found.tests == ()
    assert found.equal
    assert not found.all_compared
    assert found.words.startswith("nothing could be judged")


def test_files_as_they_are_written_are_those_of_the_zip(pack: Members, folder: Path) -> None:
    for name in ("closeout.pdf", "closeout.xlsx", "results.csv", JSON):
        assert (folder / "closeout" / name).read_bytes() == pack[name]


def passes_now(results: dict[str, Any]) -> None:
    for row in results["results"]:
        if row["test"] == "A2-J2.rl.load":
            row["state"] = "passes"


def test_a_verdict_that_was_changed_in_the_results_is_told(pack: Members, again: Go) -> None:
    found = again(with_results(pack, passes_now))
    assert "results.json: changed since the closeout was made" in found.told
    found = again(sealed(with_results(pack, passes_now)))
    (off,) = [one for one in found.tests if not one.equal]
    assert off.why == "the pack says passes, its record says fails"


def test_a_value_that_was_changed_is_told(pack: Members, again: Go) -> None:
    def change(results: dict[str, Any]) -> None:
        next(row for row in results["results"] if row["test"] == "T1-F01.ol.1310-up")["value"] = 0.1

    (off,) = [one for one in again(sealed(with_results(pack, change))).tests if not one.equal]
    assert off.why.startswith("the pack says 0.1, its record says")


@pytest.mark.parametrize(
    ("name", "data"),
    [(PDF, b"%PDF-1.4 all passes"), (XLSX, b"PK junk"), (CSV, None)],
)
def test_a_document_that_was_replaced_is_told(pack: Members, again: Go, name: str, data: bytes | None) -> None:
    """Its digest in the manifest is made anew, so only making the document again shows it."""
    forged = data if data is not None else pack[name].replace(b"fails", b"passes")
    assert forged != pack[name]
    found = again(sealed(pack | {name: forged}))
    assert found.told == (f"{name}: not the one that follows from the record in the pack",)
    assert not found.equal
    assert "1 thing in the pack is not as it should be" in found.words


def test_a_document_of_another_writer_is_named_as_not_compared(pack: Members, again: Go) -> None:
    manifest = json.loads(pack[MANIFEST])
    manifest["writers"][PDF] = "typst 0.1"
    found = again(sealed(pack | {PDF: b"%PDF-1.4 all passes", MANIFEST: canonical(manifest).encode() + b"\n"}))
    assert found.equal
    assert not found.all_compared
    assert found.not_compared == (
        "closeout.pdf: written by typst 0.1, which is another here; read it against results.json",
    )
    assert found.words.startswith("equal as far as it was compared: ")
    assert again(pack).all_compared


def test_sentences_of_another_program_are_named_as_not_compared(pack: Members, again: Go) -> None:
    manifest = json.loads(pack[MANIFEST]) | {"program": "upmast 0.0.1"}
    older = with_results(pack, lambda results: results.update(program="upmast 0.0.1", exceptions=[]))
    found = again(sealed(older | {MANIFEST: canonical(manifest).encode() + b"\n"}))
    assert found.equal
    named = " ".join(found.not_compared)
    for name in ("results.json: its sentences", PDF, XLSX):
        assert name in named


def forged(name: str, value: Any) -> Callable[[dict[str, Any]], None]:
    return lambda results: results.update({name: value})


@pytest.mark.parametrize("name", ["exceptions", "instruments", "evidence", "words", "limits", "open_at", "line", "tests", "waivers", "name"])  # fmt: skip
def test_whatever_else_the_results_say_follows_from_the_record(pack: Members, again: Go, name: str) -> None:
    was = json.loads(pack[JSON])[name]
    other: Any = {"": "x"}.get(was, "") if isinstance(was, str) else [{}] if was == [] else type(was)()
    found = again(sealed(with_results(pack, forged(name, other))))
    assert [words.partition(": not what follows")[0] for words in found.told] == [
        f"results.json: {name.replace('_', ' ')}"
    ]
    assert not found.equal


@pytest.mark.parametrize(
    ("name", "value"),
    [("limit", None), ("margin", 9.0), ("unit", "dBm"), ("file", "x.s1p"), ("sha256", "0" * 64), ("instrument", "lab set, serial 1"), ("code", "x"), ("reason", "none"), ("do", ""), ("waived", {"by": "R"}), ("evidence", "C"), ("where", "at the foot")],
)  # fmt: skip
def test_whatever_a_row_says_follows_from_the_record(pack: Members, again: Go, name: str, value: Any) -> None:
    def change(results: dict[str, Any]) -> None:
        next(row for row in results["results"] if row["test"] == "A2-J2.rl.load")[name] = value

    found = again(sealed(with_results(pack, change)))
    (off,) = [one for one in found.tests if not one.equal]
    assert off.test == "A2-J2.rl.load"
    assert off.why.startswith(f"the pack says {name} ")
    assert found.told == ()


def test_a_built_line_that_the_record_does_not_know_is_told(pack: Members, again: Go, whole: Proof) -> None:
    built = (
        f"version: 1\nsite: S1\nline_revision: {whole.line.revision}\nchanges:\n"
        "  - {item: A2-J1, field: serial, value: J-1, time: 2026-05-02, author: N. Rigger}\n"
    )
    found = again(sealed(pack | {"site/built.yaml": built.encode()}))
    assert found.told == ("site/built.yaml: a built line that the record does not know",)


def test_a_row_that_stands_twice_is_told(pack: Members, again: Go) -> None:
    """The first of two is what a reader sees, the last what a program keeps."""

    def twice(results: dict[str, Any]) -> None:
        row = next(row for row in results["results"] if row["test"] == "A2-J2.rl.load")
        results["results"].insert(0, row | {"state": "passes"})

    assert "results.json: a test stands in it twice" in again(sealed(with_results(pack, twice))).told


def test_counts_and_tests_that_do_not_follow_are_told(pack: Members, again: Go) -> None:
    def fewer(results: dict[str, Any]) -> None:
        results["results"] = results["results"][1:]
        results["counts"]["missing"] -= 1

    told = " ".join(again(sealed(with_results(pack, fewer))).told)
    assert "its counts or its verdict do not follow" in told
    assert "1 test of the line is not in it" in told


def test_a_raw_file_that_was_changed_is_told(pack: Members, again: Go) -> None:
    bundle = members(io.BytesIO(pack[BUNDLE]))
    name = next(one for one, data in bundle.items() if data == LOSSES)
    changed = pack | {BUNDLE: packed(bundle | {name: LOSSES.replace(b"2,90", b"0,30")})}
    for files in (changed, sealed(changed)):
        found = again(files)
        assert not found.equal
        assert any("other bytes" in words for words in found.told)


def test_a_chain_rewritten_as_a_whole_does_not_follow_from_its_raw_files(pack: Members, again: Go) -> None:
    """Every digest fits; only judging again shows it."""

    def change(rows: list[list[Any]]) -> None:
        for row in rows:
            body = json.loads(row[6])
            if row[5] == "verdict" and body["test"] == "A2-J2.rl.load":
                body["verdict"] = body["findings"][0]["verdict"] = "passes"
                body["findings"][0]["value"] = 25.0
                row[6] = canonical(body)

    found = again(sealed(made_again(with_entries(pack, change))))
    assert found.told == ()
    (off,) = [one for one in found.tests if not one.equal]
    assert (off.test, off.pack, off.kept, off.found) == ("A2-J2.rl.load", "passes", "passes", "fails")
    assert "does not follow from its raw file" in off.why


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [("rules", "sweep rules 0123456789abcdef", "other rules: then sweep rules 0123"), ("program", "upmast 9.9", "another program: then upmast 9.9")],
)  # fmt: skip
def test_why_it_differs_names_rules_and_program(pack: Members, again: Go, field: str, value: str, why: str) -> None:
    def change(rows: list[list[Any]]) -> None:
        for row in rows:
            body = json.loads(row[6])
            if row[5] == "verdict" and body["test"] == "A2-J2.rl.load":
                body[field] = value
                body["findings"][0]["value"] += 0.5
                row[6] = canonical(body)

    found = again(sealed(made_again(with_entries(pack, change))))
    (off,) = [one for one in found.tests if not one.equal]
    assert off.test == "A2-J2.rl.load"
    assert off.why.startswith(why)


def test_a_looser_limit_in_the_site_is_told(pack: Members, again: Go) -> None:
    looser = (
        pack["site/site.yaml"]
        + b"limits: [{code: rf.sweep-return-loss, value: 8, authority: operator, source: invented}]\n"
    )
    found = again(sealed(pack | {"site/site.yaml": looser}))
    assert not found.equal
    assert any(words.startswith("site/site.yaml: not the one that was last filed") for words in found.told)


def test_an_older_head_that_leaves_out_what_came_later_is_told(pack: Members, again: Go) -> None:
    """Every digest fits, but entries stand behind the head that the results name."""
    bundle = members(io.BytesIO(pack[BUNDLE]))
    rows = [json.loads(line) for line in bundle["sites/S1.jsonl"].splitlines()]
    number = next(row[0] for row in rows if row[5] == "verdict")
    older = with_results(pack, lambda results: results.update(head=f"S1/{number}/{rows[number - 1][7]}"))
    told = again(sealed(older)).told
    assert any(words.startswith(f"record.zip: it has {len(rows) - number} entries after the head") for words in told)
    assert "manifest.json: its head is not that of results.json" in told


@pytest.mark.parametrize("name", ["../out.txt", "/etc/passwd", "site/../x.yaml", "site/site.yaml.exe", "run.sh"])
def test_a_strange_name_refuses_it(pack: Members, again: Go, name: str, tmp_path: Path) -> None:
    beside = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputFaults, match="a strange name"):
        again(pack | {name: b"x"})
    assert sorted(p for p in tmp_path.rglob("*") if p.name != "sent.zip") == beside


def test_links_repeats_and_other_files_refuse_it(pack: Members, tmp_path: Path) -> None:
    place = tmp_path / "x.zip"
    link = zipfile.ZipInfo("closeout.pdf")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(place, "w") as archive:
        archive.writestr(MANIFEST, pack[MANIFEST])
        archive.writestr(link, "/etc/passwd")
    with pytest.raises(InputFaults, match="a link"):
        recheck(place)
    place.write_bytes(b"no zip at all")
    with pytest.raises(InputFaults, match="whole zip"):
        recheck(place)
    place.write_bytes(packed({MANIFEST: pack[MANIFEST]}))
    with pytest.raises(InputFaults):
        recheck(place)


def test_another_zip_is_refused_in_one_sentence(pack: Members, tmp_path: Path) -> None:
    place = tmp_path / "x.zip"
    for files, words in (
        ({f"sweeps/A{n}.s1p": b"x" for n in range(30)}, "no closeout"),
        (members(io.BytesIO(pack[BUNDLE])), "upmast record bring-in takes it"),
    ):
        place.write_bytes(packed(files))
        with pytest.raises(InputFaults, match=words) as found:
            recheck(place)
        assert len(found.value.faults) == 1


@pytest.mark.parametrize("name", [JSON, MANIFEST])
def test_text_that_was_changed_is_not_told_as_newer(pack: Members, again: Go, name: str) -> None:
    """Doubled keys, other spaces, no JSON: none of it is another format. Another format is."""
    for text in (pack[name].replace(b'"site"', b'"head"', 1), json.dumps(json.loads(pack[name])).encode(), b"{", b"[]"):
        with pytest.raises(InputFaults, match="do not trust it") as found:
            again(pack | {name: text})
        assert "newer" not in str(found.value)
    newer = canonical(json.loads(pack[name]) | {"format": "upmast closeout 2"}).encode() + b"\n"
    with pytest.raises(InputFaults, match="a newer upmast may read it"):
        again(pack | {name: newer})


def test_a_bomb_is_refused(pack: Members, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_TOTAL", 50_000)
    place = tmp_path / "x.zip"
    place.write_bytes(packed(pack))
    with pytest.raises(InputFaults, match="unpacked"):
        recheck(place)


@pytest.mark.parametrize("text", [b"[" * 100_000, b'{"format":"upmast closeout 1"}', b"\xff", b"null"])
def test_nonsense_for_results_is_refused(pack: Members, again: Go, text: bytes) -> None:
    with pytest.raises(InputFaults):
        again(sealed(pack | {JSON: text}))


def test_a_missing_file_of_the_site_is_told(pack: Members, again: Go) -> None:
    less = {name: data for name, data in pack.items() if name != "site/line.yaml"}
    found = again(less)
    assert "site/line.yaml: missing" in found.told
    assert not found.equal


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.floats(0, 1, exclude_max=True), value=st.integers(1, 255))
def test_a_byte_that_was_changed_anywhere_is_refused_or_told(
    pack: Members, tmp_path: Path, at: float, value: int
) -> None:
    """
    Nothing but words comes of it. Equal is it only where the byte is none of the content, such as a time in the head of a file.
    """
    whole = packed(pack)
    place = tmp_path / "flipped.zip"
    k = int(at * len(whole))
    changed = whole[:k] + bytes([whole[k] ^ value]) + whole[k + 1 :]
    place.write_bytes(changed)
    try:
        found = recheck(place)
    except InputFaults:
        return
    if found.equal:
        with zipfile.ZipFile(place) as archive:
            assert {name: archive.read(name) for name in archive.namelist()} == pack


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(value=st.recursive(st.none() | st.booleans() | st.integers() | st.text(max_size=5), lambda s: st.lists(s, max_size=3) | st.dictionaries(st.text(max_size=5), s, max_size=3), max_leaves=5), name=st.sampled_from(["results", "counts", "head", "on", "site", "verdict", "since", "limits"]), where=st.sampled_from([JSON, MANIFEST]))  # fmt: skip
def test_any_value_in_its_files_is_refused_or_told(
    pack: Members, tmp_path: Path, value: object, name: str, where: str
) -> None:
    place = tmp_path / "odd.zip"
    data = json.loads(pack[where]) | {name: value}
    odd = pack | {where: canonical(data).encode() + b"\n"}
    place.write_bytes(packed(odd if where == MANIFEST else sealed(odd)))
    with contextlib.suppress(InputFaults):
        recheck(place)
