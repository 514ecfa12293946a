"""
Dated sweeps of one path: what has changed beyond repeatability, what the pattern of change is like, and the trend of each joint.

Rules, in this order, after the older loss is brought to the newer temperature: loss and delay up, moisture; loss up, a joint down, delay
as it was, a resistive contact; a joint down alone, a loosened or damaged joint; loss and delay as the temperature has it, weather.
A pattern is a place to look, not a proof. What lies within repeatability is not judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.distance import delay_response, frequency_step_hz, peaks
from upmast.rf.fit import Z95, Fit
from upmast.rf.loss import temperature_factor
from upmast.rf.lumped import LumpedLine

Floats = NDArray[np.float64]

LOSS_RISE = 0.10  # relative: above it moisture or a contact, handbook of the project, from simulated pairs
DELAY_RISE = 1e-3  # relative: water has a high permittivity, temperature gives a hundredth of this a kelvin
JOINT_FALL_DB = 3.0
DELAY_PER_K, DELAY_PER_K_SIGMA = 1e-5, 1e-5  # relative, of a foam cable: common practice, no source
DAYS_A_YEAR = 365.25
MOISTURE, CONTACT, JOINT, WEATHER, LOSS = (
    "moisture",
    "resistive contact",
    "loosened or damaged joint",
    "weather",
    "loss alone",
)


@dataclass(frozen=True, slots=True)
class Repeatability:
    """
    Standard deviations between two sweeps of one path on one day, the test cable taken off and put on again.

    loss_db: one way. delay: relative. gamma: of a joint's size. Common practice, no source; better from own repeats, `repeatability_of`.
    """

    loss_db: float = 0.05
    delay: float = 1e-4
    gamma: float = 0.001

    def __post_init__(self) -> None:
        if not (self.loss_db > 0 and self.delay > 0 and self.gamma > 0):
            raise ValueError("a repeatability lies above 0")


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """
    What the sweeps of one day say of a path: days since any start, temperature of the line, one-way loss and delay to its end, joints.

    loss_db [dB], delay_s [s]: NaN if not measured. gamma, gamma_sigma [n]: size of each joint and its standard deviation, NaN where
    the sweep can't tell it apart.
    """

    days: float
    temperature_c: float
    loss_db: float
    delay_s: float
    gamma: Floats
    gamma_sigma: Floats

    def __post_init__(self) -> None:
        gamma, sigma = (np.atleast_1d(np.asarray(x, np.float64)) for x in (self.gamma, self.gamma_sigma))
        if gamma.ndim != 1 or gamma.shape != sigma.shape or np.any(gamma < 0) or np.any(sigma < 0):
            raise ValueError("gamma and gamma_sigma hold one value a joint, none of them negative")
        if not (np.isfinite(self.days) and np.isfinite(self.temperature_c)) or self.loss_db <= 0 or self.delay_s <= 0:
            raise ValueError("a reading has a day and a temperature; loss and delay lie above 0")
        object.__setattr__(self, "gamma", gamma)
        object.__setattr__(self, "gamma_sigma", sigma)


class Change(NamedTuple):
    """A change with its 95 % interval: `value` between `low` and `high`; NaN where it was not measured."""

    value: float
    low: float
    high: float

    @property
    def beyond(self) -> bool:
        """Beyond repeatability."""
        return bool(self.low > 0 or self.high < 0)


@dataclass(frozen=True, slots=True)
class Ageing:
    """
    From the older reading to the newer.

    loss, delay: relative, corrected for temperature; raw_loss: as read. joints_db: fall of each joint's return loss, positive is worse.
    pattern: one of the words of this module, empty if not judged. down: joints that fell by 3 dB or more beyond doubt.
    rule: the rule that was used, or what keeps it from being judged.
    """

    loss: Change
    raw_loss: Change
    delay: Change
    joints_db: tuple[Change, ...]
    pattern: str
    down: tuple[int, ...]
    rule: str

    @property
    def judged(self) -> bool:
        return bool(self.pattern)


class Trend(NamedTuple):
    """
    Straight line through each joint's sizes, shape (n,).

    per_year: of |g|, with low and high (95 %). gamma: on the last day. judged: the interval leaves out 0.
    """

    per_year: Floats
    low: Floats
    high: Floats
    gamma: Floats
    judged: NDArray[np.bool_]


def reading_of(
    fit: Fit, days: float, temperature_c: float, loss_db: float = np.nan, delay_s: float = np.nan
) -> Reading:
    """
    A reading from a fit with a load, and loss and delay from a sweep with a short (`short_reading`, `end_delay_s`).

    Raises
    ------
    ValueError
        For a fit that is not judged.
    """
    if not fit.judged:
        raise ValueError("this fit is not judged: " + "; ".join(fit.why_not))
    count = sum(len(g.joints) for g in fit.groups)
    gamma, sigma = np.full(count, np.nan), np.full(count, np.nan)
    for group in fit.groups:
        if len(group.joints) == 1 and not group.with_end:
            gamma[group.joints[0]] = group.gamma
            sigma[group.joints[0]] = (group.high - group.gamma) / Z95
    return Reading(days, temperature_c, loss_db, delay_s, gamma, sigma)


def end_delay_s(frequency_hz: ArrayLike, gamma: ArrayLike, expected_s: float, within: float = 0.05) -> float:
    """
    One-way delay to the end of a line from a sweep with a short, s: the strongest peak near where the design has it.

    Parameters
    ----------
    frequency_hz [Hz], gamma: even grid and complex reflection, shape (nf,). expected_s [s]: of the design. within: relative, around it.

    Raises
    ------
    ValueError
        If there is no peak: no short, or another line.

    Source: place of a peak by a parabola through three points, `peaks`.
    """
    f = np.asarray(frequency_hz, np.float64)
    frequency_step_hz(f)
    if not (expected_s > 0 and 0 < within < 1):
        raise ValueError("expected_s lies above 0, within between 0 and 1")
    half = max(within * expected_s, 1.0 / float(f[-1] - f[0]))
    start, count = expected_s - half, 2001
    step = 2.0 * half / (count - 1)
    seen = np.abs(delay_response(f, gamma, start, step, count))
    axis = start + step * np.arange(count)
    found = peaks(axis, seen, 60.0)
    if not found.distance_m.size:
        raise ValueError("no reflection near the expected end of the line")
    return float(found.distance_m[int(np.argmin(found.return_loss_db))])


def repeatability_of(readings: list[Reading]) -> Repeatability:
    """
    From three or more readings of one path on one day, the test cable taken off between them: standard deviations.

    Joints are pooled; what is not in the readings keeps its default.
    """
    if len(readings) < 3 or len({r.gamma.size for r in readings}) > 1:
        raise ValueError("three readings or more of one path are needed")
    loss, delay = np.array([r.loss_db for r in readings]), np.array([r.delay_s for r in readings])
    gamma = np.array([r.gamma for r in readings])
    spread = np.var(gamma[:, ~np.isnan(gamma).any(axis=0)], axis=0, ddof=1)
    base = Repeatability()
    return Repeatability(
        max(float(np.std(loss, ddof=1)), 1e-6) if not np.isnan(loss).any() else base.loss_db,
        max(float(np.std(delay, ddof=1) / np.mean(delay)), 1e-9) if not np.isnan(delay).any() else base.delay,
        max(float(np.sqrt(spread.mean())), 1e-9) if spread.size else base.gamma,
    )


def loss_ratio(line: LumpedLine, frequency_hz: float, from_c: float, to_c: float) -> float:
    """
    By what the loss of a line changes with temperature: (root part k(T) + linear part) over the same at the other temperature.

    >>> round(loss_ratio(LumpedLine([30.0], 0.85, 0.07, 0.004), 1.8e9, 20.0, 50.0), 4)
    1.0532
    """
    f = frequency_hz / 1e9
    root = float((line.root_db_per_m * line.section_length_m).sum()) * np.sqrt(f)
    linear = float((line.linear_db_per_m * line.section_length_m).sum()) * f
    if not root + linear > 0:
        raise ValueError("a line without loss has no change of it")
    k = temperature_factor([from_c, to_c])
    return float((root * k[1] + linear) / (root * k[0] + linear))


def compare_readings(
    older: Reading,
    newer: Reading,
    line: LumpedLine,
    frequency_hz: float,
    spread: Repeatability | None = None,
    delay_per_k: float = DELAY_PER_K,
) -> Ageing:
    """
    What has changed between two readings of one path, and which pattern that is like.

    Parameters
    ----------
    older, newer: readings of the same joints. line: as designed, for the law of its loss over temperature.
    frequency_hz [Hz]: where the losses hold. spread: repeatability; None, the default. delay_per_k [1/K]: of the line's delay.

    Returns
    -------
    Ageing: numbers, intervals, pattern and rule; a decrease of loss, or a change within repeatability, is not judged.

    Source: rules and thresholds from simulated pairs (moisture, contact, damage, heat), see the tests; not from mast data.
    """
    if older.gamma.shape != newer.gamma.shape:
        raise ValueError("both readings hold the same joints")
    if not newer.days >= older.days:
        raise ValueError("the newer reading is not older than the older one")
    s = spread or Repeatability()
    warmer = newer.temperature_c - older.temperature_c
    raw = _relative(newer.loss_db, older.loss_db, np.sqrt(2.0) * s.loss_db / older.loss_db)
    ratio = loss_ratio(line, frequency_hz, older.temperature_c, newer.temperature_c)
    there = older.loss_db * ratio
    loss = _relative(newer.loss_db, there, np.sqrt(2.0) * s.loss_db / there)
    drift = float(np.hypot(np.sqrt(2.0) * s.delay, DELAY_PER_K_SIGMA * warmer))
    delay = _relative(newer.delay_s, older.delay_s * (1.0 + delay_per_k * warmer), drift)
    joints = tuple(
        _fall(a, b, float(np.hypot(sa, s.gamma)), float(np.hypot(sb, s.gamma)))
        for a, b, sa, sb in zip(older.gamma, newer.gamma, older.gamma_sigma, newer.gamma_sigma, strict=True)
    )
    down = tuple(k for k, j in enumerate(joints) if j.beyond and j.value >= JOINT_FALL_DB)
    pattern, rule = _pattern(loss, raw, delay, joints, down, warmer)
    return Ageing(loss, raw, delay, joints, pattern, down, rule)


def _relative(new: float, old: float, sigma: float) -> Change:
    value = new / old - 1.0
    return Change(value, value - Z95 * sigma, value + Z95 * sigma) if value == value else Change(value, value, value)


def _fall(old: float, new: float, old_sigma: float, new_sigma: float) -> Change:
    """Fall of return loss, dB; the interval from the ends of both sizes, in root of squares about the value."""
    if not (old > 0 and new > 0):
        nan = float("nan")
        return Change(nan, nan, nan)

    def db(a: float, b: float) -> float:
        return float(20.0 * np.log10(max(a, 1e-9) / max(b, 1e-9)))

    value = db(new, old)
    up = np.hypot(db(new + Z95 * new_sigma, new), db(old, old - Z95 * old_sigma))
    low = np.hypot(db(new, new - Z95 * new_sigma), db(old + Z95 * old_sigma, old))
    return Change(value, value - float(low), value + float(up))


def _pattern(
    loss: Change, raw: Change, delay: Change, joints: tuple[Change, ...], down: tuple[int, ...], warmer: float
) -> tuple[str, str]:
    """Pattern and rule; an empty pattern says what is missing."""
    loss_known, delay_known = loss.value == loss.value, delay.value == delay.value
    loss_up = loss_known and loss.value > LOSS_RISE and loss.low > 0
    loss_same = loss_known and loss.high < LOSS_RISE
    delay_up = delay_known and delay.value > DELAY_RISE and delay.low > 0
    delay_same = delay_known and delay.high < DELAY_RISE
    which = ", ".join(str(k) for k in down)
    if loss_known and loss.high < 0:
        return (
            "",
            "the loss has fallen, beyond what the temperature explains: another set-up or calibration, or a repair",
        )
    if loss_up and delay_up:
        beside = f"; joint {which} down by {JOINT_FALL_DB:g} dB or more" if down else "; no joint down"
        return MOISTURE, f"loss up by more than {LOSS_RISE:.0%} and delay by more than {DELAY_RISE:.1%}{beside}"
    if loss_up and delay_same:
        if down:
            return CONTACT, f"loss up by more than {LOSS_RISE:.0%}, joint {which} down, delay unchanged"
        return (
            LOSS,
            f"loss up by more than {LOSS_RISE:.0%}, delay unchanged, and no joint down: bend, crush or a joint that hides",
        )
    if loss_up:
        return "", "loss is up; measure the delay with a short at the end to tell moisture from a contact"
    if down and loss_same:
        return JOINT, f"joint {which} down by {JOINT_FALL_DB:g} dB or more, loss unchanged"
    if down:
        return "", f"joint {which} is down; measure the loss with a short at the end to tell a contact from damage"
    if raw.beyond and not loss.beyond and loss_same and (delay_same or not delay_known):
        return WEATHER, f"loss follows the law of temperature over {warmer:+.0f} K, joints as they were"
    if loss.beyond or delay.beyond or any(j.beyond for j in joints):
        return "", "changes beyond repeatability, but below the rules' thresholds: sweep again later"
    return "", "all changes lie within repeatability"


def joint_trend(days: ArrayLike, gamma: ArrayLike, gamma_sigma: ArrayLike) -> Trend:
    """
    Straight line through the sizes of joints over time, by weighted least squares.

    slope = sum w (t - t_m)(g - g_m)/sum w (t - t_m)^2, w = 1/sigma^2; where the points scatter more than their sigmas, those are
    scaled up by the root of chi squared per degree of freedom.

    Parameters
    ----------
    days: shape (t,), two or more. gamma, gamma_sigma: shape (t, n) or (t,), NaN where not measured.

    Returns
    -------
    Trend, shape (n,) or (). NaN where a joint has fewer than two days.

    Source: Bevington and Robinson, Data Reduction and Error Analysis, chapter 6 (line with known errors).

    >>> t = joint_trend([0.0, 365.25, 730.5], [0.02, 0.03, 0.04], [0.001, 0.001, 0.001])
    >>> round(float(t.per_year), 4), bool(t.judged)
    (0.01, True)
    """
    t = np.asarray(days, np.float64)
    g, s = np.asarray(gamma, np.float64), np.asarray(gamma_sigma, np.float64)
    if t.ndim != 1 or t.size < 2 or not np.all(np.isfinite(t)) or g.shape != s.shape or g.shape[:1] != t.shape:
        raise ValueError("days is a row of two or more; gamma and gamma_sigma have one row for each of them")
    if np.any(s <= 0) or np.any(g < 0):
        raise ValueError("gamma_sigma lies above 0, gamma is not negative")
    known = np.isfinite(g) & np.isfinite(s)
    w = np.where(known, 1.0 / np.where(known, s, 1.0) ** 2, 0.0)
    years = (t / DAYS_A_YEAR).reshape(-1, *[1] * (g.ndim - 1))
    value = np.where(known, g, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        total = w.sum(axis=0)
        middle_t, middle_g = (w * years).sum(axis=0) / total, (w * value).sum(axis=0) / total
        lever = (w * (years - middle_t) ** 2).sum(axis=0)
        slope = (w * (years - middle_t) * (value - middle_g)).sum(axis=0) / lever
        count = known.sum(axis=0)
        chi = (w * (value - middle_g - slope * (years - middle_t)) ** 2).sum(axis=0) / np.maximum(count - 2, 1)
        sigma = np.sqrt(1.0 / lever) * np.sqrt(np.where(count > 2, np.maximum(chi, 1.0), 1.0))
        last = middle_g + slope * (float(t.max()) / DAYS_A_YEAR - middle_t)
    fine = (count >= 2) & (lever > 0)
    slope, sigma, last = (np.where(fine, x, np.nan) for x in (slope, sigma, last))
    low, high = slope - Z95 * sigma, slope + Z95 * sigma
    return Trend(slope, low, high, last, np.asarray((low > 0) | (high < 0)))
