"""
The base of what an entry says, and the kinds of text in it: everything is bounded, printable and in one form.

A text from outside is checked when an entry is made and again when it is read; what can't be shown in one line is no name.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Annotated, ClassVar

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints

from upmast.record.canonical import MOST_NAME, canonical, clean_name, printable

MOST_BODY = 500_000  # characters of one entry
Reference = tuple[str, str]  # kind and key of another entry


def _one_line(text: str) -> str:
    if not printable(text):
        raise ValueError("expected one line without control characters")
    return text


def _prose(text: str) -> str:
    if not all(printable(line) for line in text.split("\n")):
        raise ValueError("expected text without control characters")
    return text


def _named(text: str) -> str:
    if clean_name(text) != text:
        raise ValueError("expected the name of a file, without folders")
    return text


def _day(text: str) -> str:
    date.fromisoformat(text)
    return text


Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Words = Annotated[str, StringConstraints(max_length=400), AfterValidator(_one_line)]
Name = Annotated[str, StringConstraints(min_length=2, max_length=80, strip_whitespace=False), AfterValidator(_one_line)]
Prose = Annotated[str, StringConstraints(max_length=4_000), AfterValidator(_prose)]
Reason = Annotated[str, StringConstraints(min_length=5, max_length=2_000), AfterValidator(_prose)]
FileName = Annotated[str, StringConstraints(min_length=1, max_length=MOST_NAME), AfterValidator(_named)]
# the id of a test or item, or the key of a finding: A2-J1, A2-J1.rl.load, power.drop@A2
Subject = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9.@+_ -]{0,159}$")]
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$"), AfterValidator(_day)]
Moment = Annotated[
    str, StringConstraints(pattern=r"^(\d{4}-\d{2}-\d{2}(T\d{2}:\d{2}(:\d{2})?(Z|[+-]\d{2}:\d{2})?)?)?$")
]
Serial = Annotated[str, StringConstraints(min_length=1, max_length=60), AfterValidator(_one_line)]


def item_of(subject: str) -> str:
    """The item or path that a test id, a finding's key or an item id speaks of: A2-J1 for A2-J1.rl.load."""
    return subject.rpartition("@")[2].partition(".")[0]


class Kept(BaseModel):
    """Base of what an entry says."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
    KIND: ClassVar[str] = ""

    def body(self) -> str:
        """What is kept, in one form; a field at its default is left out, so that a new field changes no old entry."""
        return canonical(self.model_dump(mode="json", exclude_defaults=True))

    def contents(self) -> tuple[str, ...]:
        """Digests of the raw files that must be there."""
        return ()

    def refers(self) -> tuple[Reference, ...]:
        """Entries that must be there before this one."""
        return ()

    def signs(self) -> tuple[int, str] | None:
        """The number and digest of the entry, up to which it stands for the chain; None where it stands for none."""
        return None

    def handles(self) -> Iterator[tuple[str, str]]:
        """By which words this entry is found again."""
        for content in self.contents():
            yield "content", content
