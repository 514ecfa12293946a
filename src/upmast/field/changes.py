"""
What has changed between dated sweeps of one path: thin words over `upmast.rf.ageing`, with the joints by name and what to do.

Sizes of joints come from sweeps with a load, loss and delay from sweeps with a short; dates and temperatures from the words of the file.
"""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from upmast.field.comment_words import words_of
from upmast.field.day_look import END_WORDS, ENDS, Look, look_of, refused
from upmast.field.locate import line_of
from upmast.field.remark import Level
from upmast.field.setup import termination
from upmast.field.told import Swept, Told
from upmast.field.twins import copied_days
from upmast.number import number
from upmast.proof.rf_path import PathDesign
from upmast.rf.ageing import (
    CONTACT,
    JOINT,
    LOSS,
    MOISTURE,
    WEATHER,
    Ageing,
    Change,
    Reading,
    compare_readings,
    end_delay_s,
    joint_trend,
)
from upmast.rf.lumped import LumpedLine
from upmast.rf.sweep import short_reading

__all__ = ["NO_DATE", "Dated", "changes", "compare_days"]

USUAL_C = 20.0  # taken where no temperature is told
UNKNOWN_K = 15.0  # how far the temperature may be off then: common practice, no source
MOST_DAYS = 40  # of one path, the latest
WIDE_DB = 20.0  # an interval wider than a factor of ten says how much at least, and no more: common practice, no source
LEAST_PER_YEAR = 0.002  # a slower growth of |g| is no news: common practice, no source
NOTHING = "nothing; keep all files"
NO_DATE = "have no date"  # said of sweeps that can't be put in order
_REMEDY = {
    MOISTURE: "open {joints} first, look for water, dry or replace, and seal again; sweep again after it",
    CONTACT: "open {joints} first: clean it, torque it, and sweep again",
    JOINT: "open {joints} first: look whether it is loose or damaged, torque it, and sweep again",
    LOSS: "follow the cable and look for a sharp bend, a crushed place or a joint that hides; sweep again",
    WEATHER: NOTHING,
}


@dataclass(frozen=True, slots=True, eq=False)
class Dated:
    """
    What the sweeps of one day say of a path: the day, a reading for `rf.ageing` without joints, whether its temperature was told.

    looks : the last sweep with each kind of end, whose joints are compared with those of the same end alone.
    """

    day: datetime.date
    reading: Reading
    warm_told: bool
    tests: tuple[str, ...]
    files: tuple[str, ...]
    looks: Mapping[str, Look]

    def with_joints(self, end: str) -> Reading:
        """The reading with the joints as they were fitted with one end; as it is where there is no such fit."""
        look = self.looks.get(end)
        return self.reading if look is None else replace(self.reading, gamma=look.gamma, gamma_sigma=look.gamma_sigma)

    def fitted(self, end: str) -> bool:
        return end in self.looks and not self.looks[end].why


def changes(sweeps: Sequence[Swept], said: Mapping[str, tuple[str, float]] | None = None) -> tuple[Told, ...]:
    """
    Every path that was swept on two days or more: what has changed, which pattern that is like, and the trend of each joint.

    Every day is held against the first: the last is told, and the worst in between where it is worse than the last. Of one day the last
    sweep with each end counts. A sweep that only has the samples of an earlier day again is no second measurement, and left out.

    Parameters
    ----------
    said : ISO day and temperature [°C] by file, where a person knows better than the file; NaN for an unknown temperature.
    """
    by_path: dict[str, list[Swept]] = defaultdict(list)
    for one in sweeps:
        if not _open_end(one):
            by_path[one.path_id].append(one)
    out: list[Told] = []
    for path, own in sorted(by_path.items()):
        by_day: dict[datetime.date, list[tuple[Swept, float]]] = defaultdict(list)
        undated: dict[str, list[Swept]] = defaultdict(list)
        moments = [_moment(one, said or {}) for one in own]
        copies = copied_days(own, [None if day is None else day.isoformat() for day, _ in moments])
        for n, (one, (day, warm)) in enumerate(zip(own, moments, strict=True)):
            if day is None:
                undated[one.test].append(one)
            elif n not in copies:
                by_day[day].append((one, warm))
        out += [
            Told(
                "changes", "note", f"{one.test_id}: {one.sweep.file} of {moments[n][0]} has the samples of {own[first].sweep.file} of "
                f"{moments[first][0]}, noise included: no second measurement, and compared with nothing",
                "look which of the two days is right, and sweep it again where that is not known",
                (one.test_id,), (own[first].sweep.file, one.sweep.file),
            )
            for n, first in copies.items() for one in (own[n],)
        ]  # fmt: skip
        for same in undated.values():
            if len({one.sweep.digest for one in same}) > 1:
                out.append(
                    Told(
                        "changes", "note", f"{len(same)} sweeps of {same[0].test_id} {NO_DATE}: which came first is not known",
                        "give the day and the temperature of each, and they are compared",
                        (same[0].test_id,), tuple(one.sweep.file for one in same),
                    )
                )  # fmt: skip
        if len(by_day) < 2:
            continue
        design = own[0].design
        line = line_of(design)
        days = [d for day in sorted(by_day)[-MOST_DAYS:] if (d := _dated(day, by_day[day], design, line)) is not None]
        if len(days) >= 2:
            failing = tuple(dict.fromkeys(one.test_id for one in own if str(getattr(one, "verdict", "")) == "fails"))
            out.extend(_told(path, days, design, line, failing))
    return tuple(out)


def _open_end(one: Swept) -> bool:
    """A sweep with an open end that was filed with the short: no test of the short."""
    phase = one.test == "short" and not one.sweep.magnitude_only and one.sweep.points > 1
    return phase and termination(one.sweep, one.design).kind == "open"


def _moment(one: Swept, said: Mapping[str, tuple[str, float]]) -> tuple[datetime.date | None, float]:
    """Day and temperature of a sweep, NaN where it is not told."""
    told = said.get(one.sweep.file)
    words = words_of(one.sweep)
    day, warm = (
        told if told is not None else (words.day, words.temperature_c if words.temperature_c is not None else math.nan)
    )
    try:
        return datetime.date.fromisoformat(day[:10]), warm
    except ValueError:
        return None, warm


def _dated(
    day: datetime.date, own: list[tuple[Swept, float]], design: PathDesign, line: LumpedLine | None
) -> Dated | None:  # fmt: skip
    """What one day says: the last sweep with each end, the last short; None where nothing can be read."""
    warm = next((w for _, w in reversed(own) if math.isfinite(w)), math.nan)
    celsius = warm if math.isfinite(warm) else USUAL_C
    loss = delay = math.nan
    used: list[Swept] = []
    for one, _ in reversed(own):
        if one.test == "short" and not one.sweep.magnitude_only:
            try:
                read = short_reading(one.sweep.frequency_hz, one.sweep.bounded_db, design.delay_s)
                end = end_delay_s(one.sweep.frequency_hz, one.sweep.gamma, design.delay_s)
            except ValueError:
                continue
            if read.periods >= 1 and read.loss_db > 0:
                loss, delay = read.loss_db, end
                used.append(one)
                break
    looks: dict[str, Look] = {}
    for kind in ENDS:
        last = next((one for one, _ in reversed(own) if one.test == kind and one.sweep.points > 1), None)
        if last is not None:  # also where it can't be fitted: that may be the news
            looks[kind] = look_of(last, design, line)
            used.append(last)
    if not used:
        return None
    nothing = np.full(len(design.joints), np.nan)
    return Dated(
        day, Reading(float(day.toordinal()), celsius, loss, delay, nothing, nothing), math.isfinite(warm),
        tuple(dict.fromkeys(one.test_id for one in used)), tuple(dict.fromkeys(one.sweep.file for one in used)), looks,
    )  # fmt: skip


def _told(
    path: str, days: list[Dated], design: PathDesign, line: LumpedLine | None, failing: tuple[str, ...]
) -> list[Told]:
    """The first and the last day with the worst between them; and the same of one kind of end, where these are other days."""
    rows = [days]
    for kind in ENDS:
        of_kind = [d for d in days if kind in d.looks]
        if len(of_kind) >= 2 and all((of_kind[0], of_kind[-1]) != (some[0], some[-1]) for some in rows):
            rows.append(of_kind)
    out = [told for some in rows for told in _from_first(path, some, design, line, failing)]
    names = [j.name for j in design.joints]
    return out + _trend(path, days, names, tuple(dict.fromkeys(days[0].tests + days[-1].tests)))


def _from_first(
    path: str, days: list[Dated], design: PathDesign, line: LumpedLine | None, failing: tuple[str, ...]
) -> list[Told]:
    """Every day against the first: what the last says, and before it the worst of those between, where that is worse than the last."""
    first, last = days[0], days[-1]
    told, end = _compared(path, (first, last), design, line)
    between = [
        (_grave(some, first, day), found, day)
        for day in days[1:-1]
        for found, some in [_compared(path, (first, day), design, line)]
        if some
    ]
    worst = max(between, key=lambda one: one[0], default=None)
    out = []
    if worst is not None and (not end or worst[0] > _grave(end, first, last)):
        many = f", the worst of {len(between)} days that differ" if len(between) > 1 else ""
        out = [replace(one, words=f"between first and last day{many}: {one.words}") for one in worst[1]]
    asked = _asked(worst[2].day if worst is not None else None, failing)
    return out + [replace(one, remedy=asked) if asked and one.remedy == NOTHING else one for one in told]


def _asked(between: datetime.date | None, failing: tuple[str, ...]) -> str:
    """What to do though the last day is like the first: a failure stands, or a day between was another; empty if neither."""
    if failing:
        fails = f"{', '.join(failing)} {'fails' if len(failing) == 1 else 'fail'}"
        return f"{fails} on a day of these: do what its verdict asks; keep all files"
    if between is not None:
        return f"find out what was changed or repaired after {between}; keep all files"
    return ""


def _grave(level: str, first: Dated, day: Dated) -> tuple[bool, float]:
    """How bad a day is against the first: a warning before a note, then by the fall of the worst return loss with a common end."""
    falls = [
        first.looks[kind].worst_db - day.looks[kind].worst_db
        for kind in ENDS
        if kind in first.looks and kind in day.looks
    ]
    return level == "warn", max(falls, default=-math.inf)


def _common(first: Dated, last: Dated) -> tuple[str, str]:
    """The end by which joints can be compared, and the end that both days have and whose fit is refused; each may be empty."""
    both = [kind for kind in ENDS if kind in first.looks and kind in last.looks]
    fitted = next((kind for kind in both if first.fitted(kind) and last.fitted(kind)), "")
    return fitted, both[0] if both and fitted != both[0] else ""


def _why_no_joints(first: Dated, last: Dated) -> str:
    ends = [" and ".join(END_WORDS[kind] for kind in d.looks) or "neither load nor antenna" for d in (first, last)]
    return f"{ends[0]} on {first.day}, {ends[1]} on {last.day}"


def compare_days(older: Dated, newer: Dated, line: LumpedLine, frequency_hz: float) -> Ageing:
    """Two days by the rules of `upmast.rf.ageing`; joints of one kind of end only, as both days can be fitted with it."""
    kind, _ = _common(older, newer)
    return compare_readings(older.with_joints(kind), newer.with_joints(kind), line, frequency_hz)


def _compared(
    path: str, pair: tuple[Dated, Dated], design: PathDesign, line: LumpedLine | None
) -> tuple[list[Told], str]:
    """What two days say, and how loud a change is: the level of it, empty where all lies within repeatability or can't be compared."""
    first, last = pair
    kind, without = _common(first, last)
    tests = tuple(dict.fromkeys(first.tests + last.tests))
    files = tuple(dict.fromkeys(first.files + last.files))
    since = f"{path} from {first.day.isoformat()} to {last.day.isoformat()}"
    age = None if line is None else compare_days(first, last, line, 0.5 * (design.lowest_hz + design.highest_hz))
    names = [j.name for j in design.joints]
    numbers = "" if age is None else _numbers(age, names, sound=not without)
    blind = "" if first.warm_told and last.warm_told else f"; the temperature is not told, {USUAL_C:g} °C was taken"
    beyond = age is not None and (
        age.loss.beyond or age.delay.beyond or any(j.beyond for j in age.joints_db) or bool(age.down)
    )
    out: list[Told] = []
    loud = ""
    quiet = age is None or not (age.judged or beyond)
    if without:
        also = f"{numbers}{blind}" if quiet and numbers else ""
        out = [refused(path, (first.day, last.day), (first.looks[without], last.looks[without]), also)]
        loud = out[0].level if ": no change seen: " not in out[0].words else ""
    if age is None or not numbers:
        if not without:
            words = f"{since}: not compared: {_why_no_joints(first, last)}, and no loss of both days"
            remedy = "sweep it again with the end of the first day, and with a short"
            out.append(Told("changes", "note", words, remedy, tests, files))
        return out, loud
    if quiet and without:
        return out, loud
    if not kind and not without:
        numbers += f"; joints not compared: {_why_no_joints(first, last)}"
    if age.judged:
        joints = " and ".join(names[k] for k in age.down) or _worst(age, names) or "the joints in turn, from the foot"
        remedy = _REMEDY[age.pattern].format(joints=joints)
        note = age.pattern == WEATHER or (age.pattern == LOSS and bool(blind))
        level: Level = "note" if note else "warn"
        out.append(Told("changes", level, f"{since}: like {age.pattern}. {numbers}{blind}", remedy, tests, files))
        return out, loud or ("" if age.pattern == WEATHER else level)
    what = "changed, but no pattern fits" if beyond else "as it was, within repeatability"
    remedy = _lacking(age) if beyond else NOTHING
    level = "warn" if age.down else "note"
    out.append(Told("changes", level, f"{since}: {what}. {numbers}{blind}", remedy, tests, files))
    return out, loud or (level if beyond else "")


def _worst(age: Ageing, names: list[str]) -> str:
    known = [(j.value, k) for k, j in enumerate(age.joints_db) if j.value == j.value and j.beyond and j.value > 0]
    return names[max(known)[1]] if known else ""


def _lacking(age: Ageing) -> str:
    """What would decide, in the words of a crew."""
    if age.loss.value != age.loss.value:
        return "sweep it with a short at the end as well: loss and delay tell a contact, damage and water apart"
    if age.loss.high < 0:
        return "the loss has fallen: look at calibration and set-up of both days, or at what was repaired in between"
    return "sweep again later, at the same place with the same calibration"


def _numbers(age: Ageing, names: list[str], sound: bool = True) -> str:
    """Changes in words; `sound` where it may be said that no joint is beyond repeatability."""
    parts = []
    if age.loss.value == age.loss.value:
        parts.append(f"loss {_percent(age.loss)}, corrected for temperature")
    if age.delay.value == age.delay.value:
        parts.append(f"delay {_percent(age.delay)}")
    worse = sorted(((j.value, k) for k, j in enumerate(age.joints_db) if j.beyond), key=lambda row: -abs(row[0]))
    for _, k in worse[:3]:
        j = age.joints_db[k]
        parts.append(f"{names[k]} {_sized(j)}")
    if sound and not worse and any(j.value == j.value for j in age.joints_db):
        parts.append("no joint beyond repeatability")
    return "; ".join(parts)


def _sized(change: Change) -> str:
    """A change of a joint with its interval; where a size before or after is near nothing, only the near end of it has a meaning."""
    word = "worse" if change.value > 0 else "better"
    near, far = sorted((abs(change.low), abs(change.high)))
    if far - near > WIDE_DB:
        return f"at least {number(near, 'dB')} {word}"
    return f"{number(abs(change.value), 'dB')} {word} ({number(near, 'dB')} to {number(far, 'dB')})"


def _share(gamma: float) -> str:
    return number(100.0 * gamma, "%", places=2)


def _percent(change: Change) -> str:
    places = 1 if abs(change.value) >= 0.005 else 2
    return f"{100 * change.value:+.{places}f} % ({100 * change.low:+.{places}f} to {100 * change.high:+.{places}f})"


def _trend(path: str, days: list[Dated], names: list[str], tests: tuple[str, ...]) -> list[Told]:
    """Joints that grow worse over three days or more, all with one kind of end."""
    some = ([d for d in days if d.fitted(kind)] for kind in ENDS)
    kind, days = next(((k, of_kind) for k, of_kind in zip(ENDS, some, strict=True) if len(of_kind) >= 3), ("", []))
    if not kind:
        return []
    gamma = np.array([d.looks[kind].gamma for d in days])
    sigma = np.hypot(
        np.array([d.looks[kind].gamma_sigma for d in days]), 0.001
    )  # between two matings, as in `Repeatability`
    trend = joint_trend([d.reading.days for d in days], gamma, sigma)
    out = []
    for k, name in enumerate(names):
        if not (bool(trend.judged[k]) and float(trend.per_year[k]) > LEAST_PER_YEAR):
            continue
        now, rate = float(trend.gamma[k]), float(trend.per_year[k])
        in_a_year = -20.0 * math.log10(max(now + rate, 1e-6))
        out.append(
            Told(
                "changes", "note", f"{path}: {name} grows worse over {len(days)} days of sweeps: it reflects {_share(now)} of the voltage now, "
                f"and {_share(rate)} more each year ({_share(float(trend.low[k]))} to {_share(float(trend.high[k]))}); if that goes on, its return "
                f"loss of {number(-20.0 * math.log10(max(now, 1e-6)), 'dB')} now is {number(in_a_year, 'dB')} a year after the last sweep",
                f"open {name} on the next visit", tests, tuple(dict.fromkeys(f for d in days for f in d.files)),
            )
        )  # fmt: skip
    return out
