"""May a joint be sealed now, and if not, when: from surface, air and a forecast."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.weather.moist_air import SEAL_MARGIN_K, dew_point_c, frost_point_c

__all__ = ["HOT_JOINT_C", "SealNow", "SealVerdict", "condensation_point_c", "seal_now", "seal_wait_s"]

Array = NDArray[np.float64]
HOT_JOINT_C = 50.0  # common practice, no source: tape and gel creep, and the air inside shrinks as it cools


class SealVerdict(StrEnum):
    """What to do with an open joint."""

    SEAL = "seal"
    WAIT = "dry, warm or wait"
    NOT_JUDGED = "not judged"

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True, slots=True)
class SealNow:
    """
    The verdict with its working: where water or frost forms [C], margin [K] with the asked distance taken off, and why.

    Where something was not measured the numbers are NaN, and `reasons` says what to measure.
    """

    verdict: SealVerdict
    condensation_c: float
    margin_k: float
    reasons: tuple[str, ...]


def condensation_point_c(air_c: ArrayLike, humidity_percent: ArrayLike) -> Array:
    """
    Temperature at which air first wets or frosts a surface: the dew point, below 0 C the frost point, which is higher.

    Parameters
    ----------
    air_c [C], humidity_percent [%, over water]: of the air, broadcast.

    Returns
    -------
    Temperature [C]; minus infinity in dry air. Source: WMO-No. 8, annex 4.B, by `dew_point_c` and `frost_point_c`.

    >>> condensation_point_c([25.0, 2.0], [60.0, 70.0]).round(2)
    array([16.69, -2.56])
    """
    dew = dew_point_c(air_c, humidity_percent)
    return np.asarray(np.where(dew < 0, frost_point_c(air_c, humidity_percent), dew))


def seal_now(
    surface_c: float | None,
    air_c: float | None,
    humidity_percent: float | None,
    *,
    wet_or_icy: bool | None = None,
    dusty: bool | None = None,
    required_k: float = SEAL_MARGIN_K,
) -> SealNow:
    """
    May a joint be sealed now: dry, clean, not hot, and its metal at least 3 K above the point of condensation.

    Parameters
    ----------
    surface_c [C]: of the metal, measured after the cleaner has dried; not taken from the air: on clear mornings it is colder.
    air_c [C], humidity_percent [%]: beside the joint. None or NaN where it was not measured.
    wet_or_icy, dusty: as seen; None where nobody looked. required_k [K]: 3 by practice, see `SEAL_MARGIN_SOURCE`.

    Returns
    -------
    `SealNow`. What is known to be wrong decides before what is missing. 3 K is coating practice, no limit for joints.

    >>> found = seal_now(18.0, 25.0, 60.0, wet_or_icy=False, dusty=False)
    >>> str(found.verdict), round(found.margin_k, 2)
    ('dry, warm or wait', -1.69)
    >>> str(seal_now(22.0, 25.0, 60.0, wet_or_icy=False, dusty=False).verdict)
    'seal'
    """
    if not 0 <= required_k < math.inf:
        raise ValueError("the required margin can't be negative")
    surface, air, humid = (math.nan if x is None else float(x) for x in (surface_c, air_c, humidity_percent))
    if math.isinf(surface) or math.isinf(air) or math.isinf(humid):
        raise ValueError("temperatures and humidity must be finite")
    wrong, missing = [], []
    point = float(condensation_point_c(air, humid)) if not math.isnan(air + humid) else math.nan
    margin = surface - point - required_k
    if wet_or_icy:
        wrong.append("the joint is wet or icy: dry it, and measure its surface again")
    if dusty:
        wrong.append("the joint is dusty: clean it, and measure its surface once the cleaner has dried")
    if surface > HOT_JOINT_C:
        wrong.append(f"the metal is at {surface:.0f} C: let it cool below {HOT_JOINT_C:.0f} C")
    if margin < 0:
        kind = "frost" if point < 0 else "dew"
        wrong.append(
            f"the metal at {surface:.1f} C is {surface - point:.1f} K from the {kind} point {point:.1f} C, "
            f"{required_k:g} K are asked: warm it, or wait"
        )
    for what, value in (("surface temperature", surface), ("air temperature", air), ("relative humidity", humid)):
        if math.isnan(value):
            missing.append(f"measure the {what}")
    if wet_or_icy is None:
        missing.append("look whether the joint is wet or icy")
    if dusty is None:
        missing.append("look whether the joint is dusty")
    if wrong:
        return SealNow(SealVerdict.WAIT, point, margin, (*wrong, *missing))
    if missing:
        return SealNow(SealVerdict.NOT_JUDGED, point, margin, tuple(missing))
    why = f"the metal is {surface - point:.1f} K above the point of condensation {point:.1f} C, {required_k:g} K are asked"
    return SealNow(SealVerdict.SEAL, point, margin, (why,))


def seal_wait_s(
    time_s: ArrayLike,
    air_c: ArrayLike,
    humidity_percent: ArrayLike,
    surface_less_air_k: ArrayLike = 0.0,
    required_k: float = SEAL_MARGIN_K,
    work_s: float = 0.0,
) -> Array:
    """
    Time until a joint may be sealed by a forecast: the first instant from which the margin stays for the work to be done.

    Parameters
    ----------
    time_s [s]: of the forecast, ascending, shape (t,); the wait counts from the first.
    air_c [C], humidity_percent [%]: forecast, shape (..., t); between its instants the margin runs straight.
    surface_less_air_k [K]: metal less air, negative on clear mornings, shape (..., t).
    required_k [K]: as `seal_now`. work_s [s]: how long the margin must hold from then on.

    Returns
    -------
    Wait [s], shape (...); 0 if it may be sealed at once, infinite if not within the forecast.

    Source: own derivation. A forecast does not see the joint: measure before sealing.

    >>> hours = 3600.0 * np.arange(4)
    >>> seal_wait_s(hours, [8.0, 10.0, 14.0, 18.0], [95.0, 90.0, 70.0, 55.0]).round(-2).item()
    5000.0
    """
    t = np.asarray(time_s, float)
    if t.ndim != 1 or t.size == 0 or not np.all(np.isfinite(t)) or not np.all(np.diff(t) > 0):
        raise ValueError("the times of a forecast must ascend")
    if not 0 <= required_k < math.inf or not 0 <= work_s < math.inf:
        raise ValueError("the required margin and the time for the work can't be negative")
    air, humid, above = (np.asarray(x, float) for x in (air_c, humidity_percent, surface_less_air_k))
    if not all(np.all(np.isfinite(x)) for x in (air, humid, above)):
        raise ValueError("a forecast has gaps: temperature, humidity and surface must be numbers")
    margin = air + above - condensation_point_c(air, humid) - required_k
    if not margin.ndim or margin.shape[-1] not in (1, t.size):
        raise ValueError("the forecast needs one value for each of its times")
    margin = np.minimum(
        np.broadcast_to(margin, (*margin.shape[:-1], t.size)), 1e3
    )  # dry air: infinite, here only large
    good = margin >= 0
    wait = np.empty(margin.shape[:-1])
    for at in np.ndindex(wait.shape):
        wait[at] = _first(t, margin[at], good[at], work_s)
    return np.asarray(wait)


def _first(t: Array, margin: Array, good: NDArray[np.bool_], work_s: float) -> float:
    """Start of the first stretch with a margin that is long enough, less the first time."""

    def crossing(k: int) -> float:
        """Where the margin passes 0 between k - 1 and k."""
        return float(t[k - 1] + (t[k] - t[k - 1]) * margin[k - 1] / (margin[k - 1] - margin[k]))

    start = float(t[0]) if good[0] else None
    for k in range(1, t.size):
        if good[k] and start is None:
            start = crossing(k)
        elif not good[k] and start is not None:
            if crossing(k) - start >= work_s:
                return start - float(t[0])
            start = None
    if start is not None and float(t[-1]) - start >= work_s:
        return start - float(t[0])
    return math.inf
