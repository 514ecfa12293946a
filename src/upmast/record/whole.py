"""
All that a record says of one site, read once: entries with what they say, and what stands at any point of the chain.

Of several measurements of one test the day of measurement decides, not the order of filing: `standing_number`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TypeVar

from upmast.errors import UsageError
from upmast.record import query
from upmast.record.chain import NOTHING, Entry, Head
from upmast.record.days import standing_number
from upmast.record.kept import Kept
from upmast.record.kinds import Judgement, Measurement, Waiver, Withdrawal
from upmast.record.record import Record

K = TypeVar("K", bound=Kept)
Said = tuple[Entry, Kept]


@dataclass(frozen=True, slots=True)
class Stands:
    """A judgement of a test with its measurement; what stands is the last of the measurement whose day is the last."""

    entry: Entry
    judgement: Judgement
    measured: Entry
    measurement: Measurement


@dataclass(frozen=True)
class Whole:
    """The entries of a site in their order."""

    site: str
    said: tuple[Said, ...]

    @cached_property
    def head(self) -> Head:
        last = self.said[-1][0] if self.said else None
        return Head(self.site, last.number if last else 0, last.digest if last else NOTHING)

    def of(self, kind: type[K]) -> tuple[tuple[Entry, K], ...]:
        """Every entry of a kind with what it says."""
        return tuple((entry, what) for entry, what in self.said if isinstance(what, kind))

    def until(self, head: Head) -> Whole:
        """
        The record as it stood at a head.

        Raises
        ------
        UsageError
            If the head is not one of this chain: of another site, later than its end, or of a chain that was rewritten.
        """
        if head.site != self.site:
            raise UsageError(f"the head is of site {head.site}, and the record of {self.site} is asked")
        some = tuple(one for one in self.said if one[0].number <= head.entries)
        if head.entries and (not some or Whole(self.site, some).head != head):
            raise UsageError(
                f"the chain of {self.site} has no entry {head.entries} with the digest of that head: another record, or one "
                "that was changed; upmast record check tells more"
            )
        return Whole(self.site, some)

    def standing(self, line: str) -> dict[str, Stands]:
        """By test id what stands as a test of a line, by its digest."""
        out: dict[str, Stands] = {}
        for test, every in self.judged().items():
            # the last judgement of each measurement
            last = {one.measured.number: one for one in every if one.judgement.line == line}
            if last:
                out[test] = last[standing_number((n, one.measurement.measured) for n, one in last.items())]
        return out

    def judged(self) -> dict[str, tuple[Stands, ...]]:
        """By test id every judgement, as a test of whatever line, in the order of the record."""
        measured = {entry.key: (entry, what) for entry, what in self.of(Measurement)}
        out: dict[str, list[Stands]] = {}
        for entry, what in self.of(Judgement):
            if what.measurement in measured:
                out.setdefault(what.test, []).append(Stands(entry, what, *measured[what.measurement]))
        return {test: tuple(some) for test, some in out.items()}

    def judged_elsewhere(self, line: str) -> frozenset[str]:
        """Tests that were judged as those of another line only, or of an earlier revision."""
        every = {what.test for _, what in self.of(Judgement)}
        return frozenset(every - set(self.standing(line)))

    def waivers(self, on: date) -> tuple[tuple[Entry, Waiver, str], ...]:
        """Every waiver, and how it stands on a day: holds, not yet, expired, taken back."""
        day = on.isoformat()
        back = {what.waiver for _, what in self.of(Withdrawal) if what.day <= day}
        return tuple((entry, what, _state(entry, what, day, back)) for entry, what in self.of(Waiver))


def _state(entry: Entry, what: Waiver, day: str, back: Iterable[str]) -> str:
    if entry.key in back:
        return "taken back"
    if what.expires < day:
        return "expired"
    return "holds" if what.granted <= day else "not yet"


def whole_of(record: Record, site: str) -> Whole:
    """All of a site, from its record. Raises UsageError where an entry can't be read."""
    return Whole(site, tuple((entry, entry.said) for entry in query.entries(record, site)))
