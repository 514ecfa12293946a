"""Sweeps from the field into the record: read, matched, judged, and judged again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from upmast.errors import UsageError
from upmast.field.judge import Uncertainty, judge_sweep
from upmast.field.measurement import Sweep
from upmast.field.readers.touchstone import read_sweep
from upmast.limits import Limits
from upmast.proof.limits import standing
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.record import evidence, query
from upmast.record.kinds import FileKept, Judgement, Matching, Measurement, Photo
from upmast.record.record import Record
from upmast.record.verify import verify

Make = Callable[..., Sweep]


def text_of(sweep: Sweep) -> bytes:
    rows = (f"{f:.1f} {g.real:.9f} {g.imag:.9f}" for f, g in zip(sweep.frequency_hz, sweep.gamma, strict=True))
    return ("! invented\n# Hz S RI R 50\n" + "\n".join(rows) + "\n").encode()


@pytest.fixture
def data(designs: dict[str, PathDesign], make: Make) -> bytes:
    return text_of(make(designs["A2-J1"], "load"))


@pytest.fixture
def bad(designs: dict[str, PathDesign], make: Make) -> bytes:
    return text_of(make(designs["A2-J1"], "load", joints_db={1: 12.0}))


def test_a_sweep_is_kept_with_match_and_judgement(lone: Record, proof: Proof, data: bytes) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        filed = evidence.file_sweep(writing, proof, data, "/mnt/usb/A2-J1.rl.load.s1p", measured="2026-05-04T09:30Z")
    assert (filed.name, filed.test, filed.verdict) == ("A2-J1.rl.load.s1p", "A2-J1.rl.load", "passes")
    ((_, measurement),) = query.said(lone, "S1", Measurement)
    ((_, match),) = query.said(lone, "S1", Matching)
    ((entry, judgement),) = query.said(lone, "S1", Judgement)
    assert lone.content(measurement.content) == data
    assert (match.way, match.line, match.test) == ("name", proof.line.digest, "A2-J1.rl.load")
    assert entry.key == filed.judgement
    direct = judge_sweep(proof, read_sweep(data, "x.s1p"), "A2-J1.rl.load")
    assert [f.value for f in judgement.findings] == [f.value for f in direct.findings]
    assert judgement.findings[0].limit is not None
    assert judgement.program == lone.program
    assert judgement.rules == evidence.rules()
    sweep = evidence.sweep_of(lone, measurement)
    np.testing.assert_array_equal(sweep.gamma, read_sweep(data, "x.s1p").gamma)
    assert [e.kind for e in query.history(lone, "S1", "A2-J1")] == ["match", "verdict"]
    assert verify(lone) == ()


def test_filed_again_nothing_is_added(lone: Record, proof: Proof, data: bytes, bad: bytes) -> None:
    for _ in range(2):
        with lone.writing("S1", "K. Ode") as writing:
            evidence.file_sweep(writing, proof, data, "A2-J1.rl.load.s1p")
            evidence.file_sweep(writing, proof, bad, "A2-J1.rl.load.s1p")
    assert writing.added == ()
    assert len(query.entries(lone, "S1")) == 6


@pytest.mark.parametrize("what", ["limit", "uncertainty", "rules", "line"])
def test_judged_by_something_else_both_stand(
    lone: Record, proof: Proof, data: bytes, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        first = evidence.file_sweep(writing, proof, data, "a.s1p", test="A2-J1")
    doubt, other = None, proof
    if what == "limit":
        code = "rf.sweep-return-loss"
        other = replace(proof, limits=Limits({**standing(), code: replace(standing()[code], value=39.0)}))
    elif what == "uncertainty":
        doubt = Uncertainty(30.0)
    elif what == "rules":
        monkeypatch.setattr(evidence, "rules", lambda: "sweep rules of tomorrow")
    else:
        items = tuple(replace(i, length_m=3.5) if i.id == "A2-J1" else i for i in proof.line.items)
        other = replace(proof, line=replace(proof.line, items=items))
    with lone.writing("S1", "K. Ode") as writing:
        second = evidence.file_sweep(writing, other, data, "a.s1p", test="A2-J1", uncertainty=doubt)
    assert second.measurement == first.measurement
    assert second.judgement != first.judgement
    rows = query.verdicts(lone, "S1", "A2-J1")
    assert len(rows) == 2
    judgements = [j for _, j in query.said(lone, "S1", Judgement)]
    assert (judgements[0].inputs == judgements[1].inputs) is (what == "rules")
    if what == "limit":
        assert [r.verdict for r in rows] == ["passes", "fails"]


def test_what_can_not_be_read_is_kept_all_the_same(lone: Record, proof: Proof) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        filed = evidence.file_sweep(writing, proof, b"\x00\xff not a sweep", "x\n.s1p")
    assert filed.words.startswith("can't be read")
    ((_, kept),) = query.said(lone, "S1", FileKept)
    assert kept.name == "x?.s1p"
    assert lone.content(kept.content) == b"\x00\xff not a sweep"


def test_a_sweep_that_fits_several_tests_asks(
    lone: Record, proof: Proof, designs: dict[str, PathDesign], make: Make
) -> None:
    """Without phase there is no length to tell two paths apart."""
    sweep = make(designs["A2-J1"], "load")
    rows = "\n".join(f"{f:.1f} {m:.9f} 0" for f, m in zip(sweep.frequency_hz, sweep.magnitude, strict=True))
    data = f"# Hz S MA R 50\n{rows}\n".encode()
    with lone.writing("S1", "K. Ode") as writing:
        filed = evidence.file_sweep(writing, proof, data, "unnamed.s1p")
    assert filed.words.endswith("?")
    assert (filed.test, filed.judgement) == ("", "")
    assert [e.kind for e in query.entries(lone, "S1")] == ["measurement"]
    with lone.writing("S1", "K. Ode") as writing:
        evidence.file_sweep(writing, proof, data, "unnamed.s1p", test="A2-J1.rl.load")
    ((_, match),) = query.said(lone, "S1", Matching)
    ((_, measurement),) = query.said(lone, "S1", Measurement)
    assert match.way == "person"
    assert measurement.evidence == "B"
    assert evidence.sweep_of(lone, measurement).magnitude_only


def test_a_line_of_another_site_is_refused(lone: Record, proof: Proof, data: bytes) -> None:
    with (
        pytest.raises(UsageError, match="the line is of site S1, and the record is asked to write to S2"),
        lone.writing("S2", "K. Ode") as writing,
    ):
        evidence.file_sweep(writing, proof, data, "a.s1p")
    assert lone.sites() == ()


def test_a_sweep_read_otherwise_than_then_is_told(lone: Record, proof: Proof, data: bytes) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        evidence.file_sweep(writing, proof, data, "a.s1p", test="A2-J1")
    ((_, measurement),) = query.said(lone, "S1", Measurement)
    with pytest.raises(UsageError, match="is read otherwise today"):
        evidence.sweep_of(lone, measurement.model_copy(update={"samples": "0" * 64}))


def test_the_digest_of_the_numbers_minds_no_last_bit(data: bytes) -> None:
    sweep = read_sweep(data, "a.s1p")
    near = replace(sweep, gamma=sweep.gamma * (1 + 1e-15))
    far = replace(sweep, gamma=sweep.gamma * (1 + 1e-6))
    assert evidence.samples_of(near) == evidence.samples_of(sweep)
    assert evidence.samples_of(far) != evidence.samples_of(sweep)


def test_the_rules_are_those_of_the_program_text() -> None:
    assert evidence.rules() == evidence.rules()
    assert len(evidence.rules().split()[-1]) == 16


@pytest.mark.parametrize(
    ("data", "looks"),
    [
        (b"\xff\xd8\xff\xe0rest", "jpeg"), (b"\x89PNG\r\n\x1a\nrest", "png"), (b"RIFFxxxxWEBPrest", "webp"),
        (b"\0\0\0\x18ftypheicrest", "heic"), (b"II*\0rest", "tiff"), (b"<script>", "unknown"), (b"", "unknown"),
    ],
)  # fmt: skip
def test_any_photo_is_kept(lone: Record, data: bytes, looks: str) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        evidence.file_photo(
            writing, data, "../../IMG 1.JPG", subject="A2-J1.head", shows="torque mark", taken="2026-05-04T10:00Z"
        )
    ((_, photo),) = query.said(lone, "S1", Photo)
    assert (photo.looks, photo.name) == (looks, "IMG 1.JPG")
    assert [e.kind for e in query.history(lone, "S1", "A2-J1")] == ["photo"]
