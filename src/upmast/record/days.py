"""
Which of several measurements of one test stands: the day of measurement decides, not the order of filing.

Of those whose day is known the latest day stands, and of one day the last that was filed. One whose day is unknown can't be put in
order: filed after that one, it stands; filed before, it does not.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from upmast.record.kinds import Measurement
    from upmast.record.whole import Stands, Whole

__all__ = ["copies_of", "day_words", "doubts_in", "doubts_of_order", "standing_number"]


def standing_number(measured: Iterable[tuple[int, str]]) -> int:
    """
    Of several measurements of one test, by number of their entry and day (empty if unknown): the number of the one that stands.

    Of those with a known day the latest day, and of one day the last filed; one of an unknown day stands where it was filed after that.

    >>> standing_number([(3, "2026-11-01"), (7, "2026-10-01")])
    3
    >>> standing_number([(3, "2026-11-01"), (7, "2026-10-01"), (9, "")])
    9
    """
    every = list(measured)
    known = [(day[:10], number) for number, day in every if day]
    latest = [max(known)[1]] if known else []
    return max([*latest, *(number for number, day in every if not day)])


def day_words(measurement: Measurement) -> str:
    return f"of {measurement.measured[:10]}" if measurement.measured else "of an unknown day"


def doubts_of_order(stands: Stands | None, every: Sequence[Stands]) -> tuple[str, ...]:
    """
    What a reviewer must know of the order of the measurements of one test, in words; empty where days and filing agree.

    Parameters
    ----------
    stands, every : what stands, and every judgement of the test, as `Whole.standing` and `Whole.judged` have them.
    """
    if stands is None:
        return ()
    last = {one.measured.number: one for one in every if one.judgement.line == stands.judgement.line}
    now = stands.measured.number
    dated = [one for one in last.values() if one.measurement.measured]
    latest = max(dated, key=lambda one: (one.measurement.measured[:10], one.measured.number), default=stands)
    out = [
        f"{one.measurement.name} {day_words(one.measurement)} ({one.judgement.verdict}) was filed later and measured earlier than "
        f"{latest.measurement.name} {day_words(latest.measurement)} ({latest.judgement.verdict}): the later day stands"
        for one in dated
        if one.measured.number > latest.measured.number
    ]
    if stands.judgement.verdict == "passes":
        out += [
            f"{stands.measurement.name} {day_words(stands.measurement)} (passes) stands since it was filed last, over "
            f"{one.measurement.name} {day_words(one.measurement)} ({one.judgement.verdict}): which was measured first is not known"
            for number, one in sorted(last.items())
            if number < now
            and one.judgement.verdict != "passes"
            and not (one.measurement.measured and stands.measurement.measured)
        ]
    return tuple(out)


def copies_of(stands: Stands | None, every: Sequence[Stands]) -> tuple[str, ...]:
    """
    Measurements of one test that hold the same samples under another day, in words: two measurements never have the same noise.

    The first that was filed is named with its day. Two files with one day are one measurement twice, and change no order.

    Parameters
    ----------
    stands, every : as `doubts_of_order` takes them.
    """
    by_samples: dict[str, dict[int, Stands]] = {}
    for one in every:
        if one.measurement.sort == "rf.sweep":  # single readings are short numbers: two may well be equal
            by_samples.setdefault(one.measurement.samples, {})[one.measured.number] = one
    out = []
    for some in by_samples.values():
        first, *rest = (some[number] for number in sorted(some))
        for one in rest:
            was, now = first.measurement, one.measurement
            if was.measured[:10] == now.measured[:10] or (
                was.content == now.content and not (was.measured and now.measured)
            ):
                continue
            decides = stands is not None and stands.measured.number == one.measured.number
            out.append(
                f"{now.name} {day_words(now)} holds the same samples, noise included, as {was.name} {day_words(was)}, which was filed "
                f"first: two sweeps never do" + (f"; it decides now ({one.judgement.verdict})" if decides else "")
            )
    return tuple(out)


def doubts_in(whole: Whole, line: str, tests: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """By test id the doubts of some tests of a line: about the order of days, and about the same samples under two days."""
    standing, every = whole.standing(line), whole.judged()
    found = {
        test: (*doubts_of_order(standing.get(test), some), *copies_of(standing.get(test), some))
        for test in dict.fromkeys(tests)
        for some in (every.get(test, ()),)
    }
    return {test: words for test, words in found.items() if words}
