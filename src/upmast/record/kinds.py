"""
What an entry of the record can say, one class a kind. Each is checked when it is made and again when it is read from outside.

An entry refers to raw files by digest and to other entries by key; both must be there when it is written.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, Field, ValidationError, model_validator

from upmast.errors import UsageError, shorten
from upmast.record.kept import (
    MOST_BODY,
    Day,
    Digest,
    FileName,
    Kept,
    Moment,
    Name,
    Prose,
    Reason,
    Reference,
    Serial,
    Subject,
    Words,
    item_of,
)
from upmast.record.read_as import ReadAs

K = TypeVar("K", bound=Kept)


class FileKept(Kept):
    """A raw file, by its digest: the name that it came with, and what sort it is."""

    KIND = "file"
    name: FileName
    content: Digest
    sort: Literal["sweep", "reading", "report", "line", "sheet", "site", "other"] = "other"
    note: Prose = ""

    def contents(self) -> tuple[str, ...]:
        return (self.content,)


class Measurement(Kept):
    """What an instrument measured, as read from a raw file; `samples` is the digest of the numbers that were read."""

    KIND = "measurement"
    sort: Subject  # rf.sweep, fibre.loss, power.loop, ...
    name: FileName
    content: Digest
    evidence: Literal["A", "B", "C"]  # size and phase, size alone, a picture
    samples: Digest
    reader: Words
    mended: tuple[Words, ...] = Field((), max_length=200)
    measured: Moment = ""  # as declared by the file or a person
    instrument: Words = ""
    facts: dict[Subject, bool | int | float | Words | None] = Field(default_factory=dict, max_length=60)
    read_as: ReadAs | None = None  # of a trace out of a table

    def contents(self) -> tuple[str, ...]:
        return (self.content,)


class TableKept(BaseModel):
    """One table of readings, by the digest of its raw file, and how it was read."""

    model_config = Kept.model_config
    name: FileName
    content: Digest
    read_as: ReadAs
    only: tuple[Subject, ...] = Field((), max_length=2_000)  # tests that its readings count for; none: all


class TablesKept(Kept):
    """
    Tables of readings that were judged together: one reading may decide about another, such as a loss up and down a strand.

    `said` is what a person said of single readings, by file and cell: the test or what was measured.
    """

    KIND = "tables"
    tables: tuple[TableKept, ...] = Field(min_length=1, max_length=2_000)
    said: dict[Words, Words] = Field(default_factory=dict, max_length=500)

    def contents(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(one.content for one in self.tables))


class Matching(Kept):
    """To which test of which line a measurement belongs, and how that was found."""

    KIND = "match"
    measurement: Digest
    test: Subject
    line: Digest  # of the line whose test it is
    way: Literal["content", "name", "person"]
    confidence: float = Field(ge=0, le=1)
    reasons: tuple[Words, ...] = Field((), max_length=40)

    def refers(self) -> tuple[Reference, ...]:
        return (("measurement", self.measurement),)

    def handles(self) -> Iterator[tuple[str, str]]:
        yield "measurement", self.measurement
        yield "item", item_of(self.test)


class LimitKept(BaseModel):
    """A limit as it stood when something was judged against it."""

    model_config = Kept.model_config
    code: Subject
    value: float | None
    unit: Words
    sense: Literal["at least", "at most"]
    authority: Words
    source: Words
    mark: Words
    stage: Words


class FindingKept(BaseModel):
    """A finding as it stood."""

    model_config = Kept.model_config
    code: Subject
    subject: Subject
    verdict: Literal["passes", "fails", "not judged"]
    value: float | None = None
    unit: Words = ""
    limit: LimitKept | None = None
    margin: float | None = None
    scenario: Words = ""
    note: Prose = ""
    remedy: Prose = ""
    missing: tuple[Prose, ...] = Field((), max_length=40)


class Judgement(Kept):
    """
    A measurement judged as a test of a line: the findings, the first of which decides, and everything that they came from.

    `inputs` is the digest of all that the rules saw; the same inputs, rules and program give the same judgement, which is then
    kept once. Any other judgement of the same measurement stands beside the first.
    """

    KIND = "verdict"
    measurement: Digest
    test: Subject
    line: Digest
    verdict: Literal["passes", "fails", "not judged"]
    findings: tuple[FindingKept, ...] = Field(min_length=1, max_length=200)
    remarks: tuple[Prose, ...] = Field((), max_length=100)
    uncertainty: Words = ""
    inputs: Digest
    rules: Words
    program: Words
    doubt: dict[Subject, float] = Field(
        default_factory=dict, max_length=20
    )  # uncertainties that were not the usual ones
    together: Digest | Literal[""] = ""  # key of the tables that it was judged together with

    @model_validator(mode="after")
    def _first_decides(self) -> Judgement:
        if self.findings[0].verdict != self.verdict:
            raise ValueError(f"the verdict is {self.verdict}, but its first finding says {self.findings[0].verdict}")
        return self

    def refers(self) -> tuple[Reference, ...]:
        tables = (("tables", self.together),) if self.together else ()
        return (("measurement", self.measurement), *tables)

    def handles(self) -> Iterator[tuple[str, str]]:
        yield "measurement", self.measurement
        yield "item", item_of(self.test)


class ReportResult(BaseModel):
    """One value of a factory test report."""

    model_config = Kept.model_config
    quantity: Words
    value: float
    unit: Words = ""
    limit: Words = ""


class FactoryReport(Kept):
    """A factory test report of one serial number: the file, and the values that somebody read from it."""

    KIND = "factory-report"
    serial: Serial
    part: Words
    content: Digest
    name: FileName
    made: Day | Literal[""] = ""
    laboratory: Words = ""
    results: tuple[ReportResult, ...] = Field((), max_length=1_000)

    def contents(self) -> tuple[str, ...]:
        return (self.content,)

    def handles(self) -> Iterator[tuple[str, str]]:
        yield from super().handles()
        yield "serial", self.serial


class Waiver(Kept):
    """Somebody accepts a finding as it is, by name, with a reason, until a day. The verdict itself stays what it is."""

    KIND = "waiver"
    subject: Subject  # test id, or key of a finding
    name: Name
    role: Words = ""
    reason: Reason
    granted: Day
    expires: Day  # the last day on which it holds
    verdict: Digest | Literal[""] = ""  # key of the verdict that is waived; empty: any of the subject
    covers: Literal["", "missing"] = ""  # missing: that the test was not done, and nothing else

    @model_validator(mode="after")
    def _ends_later(self) -> Waiver:
        if self.expires < self.granted:
            raise ValueError(f"it expires on {self.expires}, before it was granted on {self.granted}")
        return self

    def refers(self) -> tuple[Reference, ...]:
        return (("verdict", self.verdict),) if self.verdict else ()

    def handles(self) -> Iterator[tuple[str, str]]:
        yield "subject", self.subject
        yield "item", item_of(self.subject)


class Withdrawal(Kept):
    """A waiver taken back, by name and with a reason."""

    KIND = "withdrawal"
    waiver: Digest
    name: Name
    reason: Reason
    day: Day

    def refers(self) -> tuple[Reference, ...]:
        return (("waiver", self.waiver),)

    def handles(self) -> Iterator[tuple[str, str]]:
        yield "waiver", self.waiver


class Signature(Kept):
    """
    A name that somebody declared under a statement, over the chain as it stood.

    It is declared, not cryptographic: it shows who was named and over what, not that the named person wrote it.
    """

    KIND = "signature"
    name: Name
    role: Words
    company: Words = ""
    statement: Reason
    entries: int = Field(ge=1, le=10**12)  # how many entries stood when it was signed
    head: Digest
    signed: Moment = Field(min_length=10)
    content: Digest | Literal[""] = ""  # a scanned sheet, where there is one

    def contents(self) -> tuple[str, ...]:
        return (self.content,) if self.content else ()

    def signs(self) -> tuple[int, str] | None:
        return self.entries, self.head

    def handles(self) -> Iterator[tuple[str, str]]:
        yield from super().handles()
        yield "signed", self.name


class Photo(Kept):
    """A photograph as evidence: what it shows of which item. When it was taken is what somebody declared."""

    KIND = "photo"
    content: Digest
    name: FileName
    subject: Subject
    shows: Words
    looks: Literal["jpeg", "png", "heic", "webp", "tiff", "unknown"]
    taken: Moment = ""
    note: Prose = ""

    def contents(self) -> tuple[str, ...]:
        return (self.content,)

    def handles(self) -> Iterator[tuple[str, str]]:
        yield from super().handles()
        yield "item", item_of(self.subject)


class LineKept(Kept):
    """One layer of the line in one revision, with its text, and what differs from the layer that it is held against."""

    KIND = "line"
    layer: Literal["designed", "built", "measured"]
    revision: int = Field(ge=1, le=100_000)
    digest: Digest
    line: Digest  # content: line.yaml
    parts: Digest  # content: parts.yaml
    against: Digest | Literal[""] = ""  # digest of the line that the differences are from
    summary: Words = ""
    differences: tuple[Words, ...] = Field((), max_length=5_000)

    def contents(self) -> tuple[str, ...]:
        return self.line, self.parts

    def handles(self) -> Iterator[tuple[str, str]]:
        yield from super().handles()
        yield "line", self.digest
        yield "layer", self.layer


@cache
def kinds() -> dict[str, type[Kept]]:
    """Every kind by its word."""
    every: tuple[type[Kept], ...] = (
        FileKept, Measurement, TablesKept, Matching, Judgement, FactoryReport, Waiver, Withdrawal, Signature, Photo, LineKept,
    )  # fmt: skip
    return {one.KIND: one for one in every}


def read(kind: str, body: str) -> Kept:
    """
    What an entry says, from its text.

    Raises
    ------
    UsageError
        If it is no entry of that kind, or not in the one form in which it is written.
    """
    model = kinds().get(kind)
    if model is None:
        raise UsageError(f"an entry of kind {shorten(kind)!r} is not known: a newer upmast may know it")
    if len(body) > MOST_BODY:
        raise UsageError(f"an entry of {len(body)} characters: at most {MOST_BODY} are taken")
    try:
        made = model.model_validate_json(body)
        same = made.body() == body
    except (ValidationError, ValueError, RecursionError) as error:
        raise UsageError(f"not a {kind}: {_words(error)}") from None
    if not same:
        raise UsageError(f"a {kind} that is not written in the one form of the record")
    return made


def _words(error: Exception) -> str:
    if not isinstance(error, ValidationError):
        return shorten(str(error))
    first = error.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    told = _plain(str(first["type"]), dict(first.get("ctx", {})), str(first["msg"]))
    return shorten(f"{place}: {told}" if place else told, 160)


def _plain(type_: str, about: dict[str, Any], words: str) -> str:
    """What is wrong with a text, for whoever wrote it."""
    if type_ == "string_too_short":
        return f"write at least {about['min_length']} characters"
    if type_ == "string_too_long":
        return f"write at most {about['max_length']} characters"
    if type_ == "string_pattern_mismatch":
        return "it has characters, or a form, that can't stand there"
    if type_ == "literal_error":
        return f"expected {about['expected']}"
    if type_ == "missing":
        return "it is missing"
    return words.removeprefix("Value error, ")


def make(model: type[K], **fields: Any) -> K:
    """An entry from what people said. Raises UsageError in words, where pydantic would speak of types."""
    try:
        return model(**fields)
    except ValidationError as error:
        raise UsageError(f"not a {model.KIND}: {_words(error)}") from None
