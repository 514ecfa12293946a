"""
From field to record: a sweep with its match and its judgement become entries, with all that the judgement was made from.

`rules` is a digest of the program text that judges, so that nobody has to remember to count a version up. A judgement made again
with other rules, limits or another line stands beside the first; the same judgement again is already there.
"""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from importlib.resources.abc import Traversable

import numpy as np

from upmast.digest import digest
from upmast.documents.pack import limit_data
from upmast.errors import InputFaults, UsageError, shorten
from upmast.field.comment_words import words_of
from upmast.field.judge import Judged, Uncertainty, judge_sweep
from upmast.field.match import Candidate, match_sweep
from upmast.field.measurement import Sweep
from upmast.field.readers.touchstone import read_sweep
from upmast.finding import Finding, Limit
from upmast.proof.prove import Proof
from upmast.record.canonical import clean_name
from upmast.record.kinds import (
    FileKept,
    FindingKept,
    Judgement,
    LimitKept,
    Matching,
    Measurement,
    Photo,
    make,
)
from upmast.record.read_as import ReadAs
from upmast.record.record import Record, Writing
from upmast.record.tables_read import trace_letters, traces_again

MOMENT = re.compile(
    r"\d{4}-\d{2}-\d{2}(T\d{2}:\d{2}(:\d{2})?(Z|[+-]\d{2}:\d{2})?)?\Z"
)  # as `Measurement.measured` takes it
SAMPLE_DIGITS = 9  # reflections are compared to 1e-9: below any instrument, above the last bits of a platform
JUDGES = ("field", "rf", "finding.py", "limits.py", "proof/rf_path.py", "proof/expect.py")  # what makes a judgement
READING_JUDGES = (
    "field", "pim", "fibre", "earth", "power", "weather", "finding.py", "limits.py", "proof/expect.py",
)  # fmt: skip
LOOKS = {b"\xff\xd8\xff": "jpeg", b"\x89PNG\r\n\x1a\n": "png", b"II*\x00": "tiff", b"MM\x00*": "tiff"}


@lru_cache(maxsize=1)
def rules() -> str:
    """Which rules judge sweeps: a digest of the modules and tables that do it."""
    return f"sweep rules {_digest_of(JUDGES)}"


@lru_cache(maxsize=1)
def reading_rules() -> str:
    """Which rules judge single readings."""
    return f"reading rules {_digest_of(READING_JUDGES)}"


def _digest_of(modules: tuple[str, ...]) -> str:
    state = hashlib.sha256()
    root = resources.files("upmast")
    for name in modules:
        for path, text in sorted(_texts(root.joinpath(*name.split("/")), name)):
            state.update(f"{path}\n{len(text)}\n".encode() + text)
    return state.hexdigest()[:16]


def _texts(place: Traversable, name: str) -> list[tuple[str, bytes]]:
    if place.is_dir():
        return [one for inner in place.iterdir() for one in _texts(inner, f"{name}/{inner.name}")]
    return [(name, place.read_bytes().replace(b"\r\n", b"\n"))] if name.endswith((".py", ".csv")) else []


def samples_of(sweep: Sweep) -> str:
    """Digest of the numbers of a sweep, rounded so that platforms agree."""
    size = np.round(sweep.magnitude, SAMPLE_DIGITS) + 0.0
    if sweep.magnitude_only:
        return digest(np.round(sweep.frequency_hz, 3), size)
    gamma = np.round(sweep.gamma, SAMPLE_DIGITS)
    return digest(np.round(sweep.frequency_hz, 3), gamma.real + 0.0, gamma.imag + 0.0)


def measurement_of(
    sweep: Sweep, measured: str = "", instrument: str = "", *, name: str = "", read_as: ReadAs | None = None
) -> Measurement:  # fmt: skip
    """
    A sweep as an entry; its raw file has to be kept beside it.

    Parameters
    ----------
    measured : when, as declared; the time that the file itself tells goes first.
    read_as : how it was read, where it is out of a table.
    """
    low, high = sweep.span
    own = words_of(sweep)
    told = own.time if MOMENT.match(own.time) else own.day
    return make(
        Measurement, sort="rf.sweep", name=clean_name(name or sweep.file), content=sweep.digest, evidence=str(sweep.evidence),
        samples=samples_of(sweep), reader="table" if read_as is not None else "touchstone", read_as=read_as, mended=tuple(shorten(text, 400) for text in sweep.mended[:200]),
        measured=told or measured, instrument=instrument,
        facts={
            "points": sweep.points, "lowest_hz": low, "highest_hz": high, "reference_ohm": sweep.reference_ohm, "format": sweep.format,
        },
    )  # fmt: skip


def matching_of(proof: Proof, measurement: str, test: str, candidate: Candidate | None) -> Matching:
    """To which test a measurement belongs; without a candidate a person said so."""
    if candidate is None:
        return make(
            Matching, measurement=measurement, test=test, line=proof.line.digest, way="person", confidence=1.0,
            reasons=("named by a person",),
        )  # fmt: skip
    return make(
        Matching, measurement=measurement, test=test, line=proof.line.digest, way="name" if candidate.named else "content",
        confidence=round(min(max(candidate.confidence, 0.0), 1.0), 6),
        reasons=tuple(shorten(reason, 400) for reason in candidate.reasons[:40]),
    )  # fmt: skip


def judgement_of(
    proof: Proof, judged: Judged, measurement: str, doubt: Uncertainty, program: str
) -> Judgement:  # fmt: skip
    """A judged sweep as an entry, with the digest of all that the rules saw."""
    limits = {f.code: proof.limits.get(f.code) for f in judged.findings}
    inputs = digest(samples_of(judged.sweep), judged.test_id, proof.line.digest, limits, doubt)
    return make(
        Judgement, measurement=measurement, test=judged.test_id, line=proof.line.digest, verdict=str(judged.verdict),
        findings=tuple(finding_of(f) for f in judged.findings),
        remarks=tuple(shorten(f"{r.level}: {r.words}; {r.remedy}", 4_000) for r in judged.remarks), uncertainty=doubt.words,
        inputs=inputs, rules=rules(), program=program, doubt=_told(doubt),
    )  # fmt: skip


def _told(doubt: Uncertainty) -> dict[str, float]:
    """What differs from the usual uncertainty, so that it can be judged by the same again."""
    usual = Uncertainty()
    out = {} if doubt.directivity_db == usual.directivity_db else {"directivity_db": float(doubt.directivity_db)}
    return out if doubt.reading_db is None else out | {"reading_db": float(doubt.reading_db)}


def doubt_of(judgement: Judgement) -> Uncertainty:
    """The uncertainty that a sweep was judged by."""
    told = judgement.doubt
    return Uncertainty(told.get("directivity_db", Uncertainty().directivity_db), told.get("reading_db"))


def finding_of(f: Finding) -> FindingKept:
    """A finding of any room as it is kept."""
    return FindingKept(
        code=f.code, subject=f.subject, verdict=str(f.verdict),
        value=finite(f.value), unit=f.unit, limit=limit_of(f.limit) if f.limit else None, margin=finite(f.margin),
        scenario=f.scenario, note=shorten(f.note, 4_000), remedy=shorten(f.remedy, 4_000),
        missing=tuple(shorten(text, 4_000) for text in f.missing[:40]),
    )  # fmt: skip


def limit_of(limit: Limit) -> LimitKept:
    data = limit_data(limit)
    return LimitKept(**{name: shorten(v, 400) if isinstance(v, str) else v for name, v in data.items()})


def finite(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


@dataclass(frozen=True, slots=True)
class Filed:
    """What became of one file: its digest, and how far it came. `words` asks or explains where it was not judged."""

    name: str
    content: str
    measurement: str = ""
    test: str = ""
    judgement: str = ""
    verdict: str = ""
    words: str = ""
    sort: str = ""
    again: bool = False  # kept before, and judged again with what came now


def file_sweep(
    site: Writing, proof: Proof, data: bytes, name: str, *, test: str = "", uncertainty: Uncertainty | None = None,
    repair: bool = False, measured: str = "", instrument: str = "",
) -> Filed:  # fmt: skip
    """
    Keep a sweep's file, and as much as can be said of it: read, matched, judged. A file that can't be read is kept all the same.

    Parameters
    ----------
    test : its test id, where a person says so; else it is matched by content and name.
    measured, instrument : as declared.

    Raises
    ------
    UsageError
        If the line is of another site, has no such test, or the file is too large to be kept.
    """
    if proof.line.site != site.site:
        raise UsageError(f"the line is of site {proof.line.site}, and the record is asked to write to {site.site}")
    content, shown = site.keep(data), clean_name(name)
    try:
        sweep = read_sweep(data, shown, repair=repair)
    except InputFaults as error:
        words = f"can't be read: {shorten(str(error.faults[0]).replace(chr(10), ' '), 400)}"
        site.add(make(FileKept, name=shown, content=content, sort="sweep", note=words))
        return Filed(shown, content, words=words)
    return file_read(
        site, proof, sweep, shown, test=test, uncertainty=uncertainty, measured=measured, instrument=instrument
    )  # fmt: skip


def file_read(
    site: Writing, proof: Proof, sweep: Sweep, shown: str, *, test: str = "", uncertainty: Uncertainty | None = None,
    measured: str = "", instrument: str = "", read_as: ReadAs | None = None, matched: Candidate | None = None,
) -> Filed:  # fmt: skip
    """
    Keep a sweep that was read from a file that is kept: its match and its judgement.

    Parameters
    ----------
    test, matched : the test where it is known, and how it was found; without `matched` a person said so.

    Raises
    ------
    UsageError
        As `file_sweep`.
    """
    doubt = uncertainty or Uncertainty()
    said = measurement_of(sweep, measured, instrument, name=shown, read_as=read_as)
    candidate = matched
    if not test:
        match = match_sweep(proof, sweep)
        candidate = match.decided
        if candidate is None:
            return Filed(shown, sweep.digest, site.add(said), words=match.question, sort="rf.sweep")
    judged = judge_sweep(proof, sweep, test or (candidate.test_id if candidate is not None else ""), doubt)
    key = site.add(said)
    site.add(matching_of(proof, key, judged.test_id, candidate))
    made = site.add(judgement_of(proof, judged, key, doubt, site.record.program))
    return Filed(shown, sweep.digest, key, judged.test_id, made, str(judged.verdict), judged.sentence, "rf.sweep")


def sweep_of(record: Record, measurement: Measurement) -> Sweep:
    """
    The numbers of a measurement, read again from its raw file.

    Raises
    ------
    UsageError
        If the file is read otherwise today than when it was kept: judge it again, and both stand.
    """
    return sweep_from(record.content(measurement.content), measurement)


def sweep_from(data: bytes, measurement: Measurement) -> Sweep:
    """The numbers of a measurement from its raw file, as `sweep_of`; the file may come from anywhere. Raises UsageError."""
    how = measurement.read_as
    try:
        if how is None:
            sweep = read_sweep(data, measurement.name, repair=bool(measurement.mended))
        else:
            sweep = dict(zip(trace_letters(how), traces_again(data, measurement.name, how), strict=True))[how.column]
    except (InputFaults, KeyError, ValueError) as error:
        raise UsageError(f"{measurement.name} can no longer be read: {shorten(str(error), 200)}") from None
    if samples_of(sweep) != measurement.samples:
        raise UsageError(f"{measurement.name} is read otherwise today than when it was kept: file it again")
    return sweep


def looks_of(data: bytes) -> str:
    """What kind of picture some bytes look like, by their first few; nothing is decoded."""
    for sign, kind in LOOKS.items():
        if data.startswith(sign):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    return "heic" if data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"hevc") else "unknown"


def file_photo(
    site: Writing, data: bytes, name: str, *, subject: str, shows: str, taken: str = "", note: str = ""
) -> str:  # fmt: skip
    """Keep a photograph of an item and return the key of its entry. No photograph is refused for its format."""
    content = site.keep(data)
    return site.add(
        make(
            Photo, content=content, name=clean_name(name), subject=subject, shows=shows, looks=looks_of(data), taken=taken,
            note=note,
        )
    )  # fmt: skip
