"""
The chain of a site: each entry holds the digest of the one before it, so that a change, a gap or a cut shows.

    digest = SHA-256 of [form, site, number, digest before, time, author, program, kind, body], as canonical JSON

The last digest, the head, stands for all entries. Whoever holds a head from an earlier day can tell whether the chain that it
stood for is still there; a chain alone can't tell that it was rewritten as a whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from upmast.errors import UsageError, shorten
from upmast.record.canonical import TIME, canonical, key_of, seen_id, sha256
from upmast.record.kept import Kept
from upmast.record.kinds import read

FORM = "upmast record 1"
NOTHING = "0" * 64  # what stands before the first entry


@dataclass(frozen=True, slots=True)
class Head:
    """
    The end of a site's chain. Its text is what a pack prints.

    >>> Head.parse(str(Head("S1", 12, "ab" * 32))).entries
    12
    """

    site: str
    entries: int
    digest: str

    def __str__(self) -> str:
        return f"{self.site}/{self.entries}/{self.digest}"

    @classmethod
    def parse(cls, text: str) -> Head:
        """Raises UsageError."""
        found = re.fullmatch(r"([A-HJ-NP-Z0-9-]{1,24})/(\d{1,12})/([0-9a-f]{64})", seen_id(text), re.ASCII)
        if found is None:
            raise UsageError(f"{shorten(text)!r} is not the head of a record: site/entries/digest, as a pack prints it")
        return cls(found[1], int(found[2]), found[3])


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: what was said, by whom and with which program, and the digest of the entry before."""

    site: str
    number: int
    previous: str
    time: str
    author: str
    program: str
    kind: str
    body: str
    digest: str

    @property
    def key(self) -> str:
        return key_of(self.kind, self.body)

    @property
    def said(self) -> Kept:
        """What it says, read from its text. Raises UsageError."""
        return read(self.kind, self.body)

    def true_digest(self) -> str:
        return link(
            self.site, self.number, self.previous, self.time, self.author, self.program, self.kind, self.body
        )  # fmt: skip


def link(
    site: str, number: int, previous: str, time: str, author: str, program: str, kind: str, body: str
) -> str:  # fmt: skip
    """The digest of an entry."""
    return sha256(canonical([FORM, site, number, previous, time, author, program, kind, body]).encode("utf-8"))


def following(
    head: Head, said: Iterable[tuple[str, str]], time: str, author: str, program: str
) -> Iterator[Entry]:  # fmt: skip
    """Entries that go on from a head, one for each (kind, body)."""
    number, previous = head.entries, head.digest
    for kind, body in said:
        number += 1
        digest = link(head.site, number, previous, time, author, program, kind, body)
        yield Entry(head.site, number, previous, time, author, program, kind, body, digest)
        previous = digest


@dataclass(frozen=True, slots=True)
class Break:
    """One thing that is not as it was written: which entry, and what is wrong with it."""

    site: str
    number: int  # 0 where no single entry is meant
    words: str

    def __str__(self) -> str:
        return f"{self.site}: {self.words}"


def breaks(entries: Iterable[Entry], told: Head, printed: Head | None = None) -> Iterator[Break]:
    """
    Walk a chain and name every entry that was removed, edited, replaced or cut off.

    Parameters
    ----------
    entries : those that are there, by number.
    told : the head that the record itself keeps.
    printed : a head from outside, such as a pack has; it is looked for in the chain.
    """
    site, expected, previous, last = told.site, 1, NOTHING, NOTHING
    found_printed = printed is None or printed.entries == 0
    broken = False
    for entry in entries:
        if entry.number > expected:
            broken = True
            gone = (
                f"entry {expected} is"
                if entry.number == expected + 1
                else f"entries {expected} to {entry.number - 1} are"
            )
            yield Break(
                site,
                expected,
                f"{gone} missing: removed after they were written"
                if "are" in gone
                else f"{gone} missing: removed after it was written",
            )
        elif entry.previous != previous:
            broken = True
            yield Break(
                site, entry.number - 1,
                f"entry {entry.number - 1} is not the one that entry {entry.number} was written after: it was replaced"
                if entry.number > 1 else "entry 1 names an entry before it: the chain once began earlier",
            )  # fmt: skip
        if entry.true_digest() != entry.digest:
            broken = True
            yield Break(
                site,
                entry.number,
                f"entry {entry.number} ({entry.kind}, {entry.time}) was edited: its content does not give its digest",
            )
        if not TIME.match(entry.time):
            yield Break(site, entry.number, f"entry {entry.number} has no readable time")
        if printed is not None and entry.number == printed.entries and entry.digest == printed.digest:
            found_printed = True
        expected, previous, last = entry.number + 1, entry.digest, entry.digest
    count = expected - 1
    if count < told.entries:
        broken = True
        gone = f"entry {count + 1} is" if told.entries == count + 1 else f"entries {count + 1} to {told.entries} are"
        yield Break(site, count + 1, f"{gone} cut off: the record itself counts {told.entries}")
    elif (count, last) != (told.entries, told.digest) and not broken:
        yield Break(
            site, count, f"entry {count} is not the last that the record itself tells: added or replaced from outside"
        )
    if printed is not None and not found_printed:
        if printed.entries > count:
            words = f"entries {count + 1} to {printed.entries} are cut off: the printed head counts {printed.entries}"
            yield Break(site, count + 1, words)
        else:
            words = f"entry {printed.entries} is not the one that the printed head stands for: it, or one before it, was changed"
            yield Break(site, printed.entries, words)
