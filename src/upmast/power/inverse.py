"""
Answers about one pair asked backwards: how far, how thick, how much load, what a spare pair buys. In closed form.

Each answer names the constraint that governs it: 'voltage', 'existence' (no operating point beyond), 'ampacity', or 'nothing'
where none is met.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.checked import not_negative
from upmast.power.load_flow import largest_loop_ohm, single

__all__ = [
    "EXISTENCE",
    "NOTHING",
    "Answer",
    "Choice",
    "Margins",
    "Spare",
    "largest_load_w",
    "longest_run_m",
    "smallest_size",
    "spare_gain",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Words = NDArray[np.str_]
VOLTAGE, EXISTENCE, AMPACITY, NOTHING = "voltage", "existence", "ampacity", "nothing"


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """value [...]; governs [...]: the constraint met there; possible [...]: False where even the least fails, value 0."""

    value: Array
    governs: Words
    possible: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """
    index [...]: of the first size that passes, -1 for none. governs [...]: what the size before it breaks, or the last size if
    none passes. voltage_v, current_a [..., n]: with each size, NaN without operating point. passes [..., n].
    """

    index: NDArray[np.intp]
    governs: Words
    voltage_v: Array
    current_a: Array
    passes: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Spare:
    """
    Without and with the spare, on a first axis of two: voltage_v at the load, largest_w, longest_m; the gains, and the share of
    the current that the spare wire carries on either side.
    """

    voltage_v: Array
    largest_w: Array
    longest_m: Array
    gained_v: Array
    gained_w: Array
    gained_m: Array
    line_share: Array
    return_share: Array


@dataclass(frozen=True, slots=True, eq=False)
class Margins:
    """Of each candidate [...]: exists; least voltage margin [V] and ampacity margin [A], infinite where there is no limit."""

    exists: Mask
    voltage_v: Array
    ampacity_a: Array

    @property
    def passes(self) -> Mask:
        """All constraints are kept; equal to the limit passes."""
        return np.asarray(self.exists & (self.voltage_v >= 0) & (self.ampacity_a >= 0))

    @property
    def broken(self) -> Words:
        """The constraint that is broken first in the order existence, voltage, ampacity."""
        return np.select(
            [~self.exists, self.voltage_v < 0, self.ampacity_a < 0], [EXISTENCE, VOLTAGE, AMPACITY], NOTHING
        )


def _needed_v(source_v: Array, lowest_v: Array, power_w: Array, ampacity_a: Array) -> tuple[Array, Words]:
    """Lowest terminal voltage that all constraints allow, and whose it is."""
    by_current = np.divide(power_w, ampacity_a, out=np.full(power_w.shape, np.inf), where=ampacity_a > 0)
    by_current = np.where(power_w > 0, by_current, 0.0)
    options = np.stack(np.broadcast_arrays(lowest_v, source_v / 2, by_current))
    names = np.array([VOLTAGE, EXISTENCE, AMPACITY])
    return options.max(axis=0), names[options.argmax(axis=0)]


def longest_run_m(
    source_v: ArrayLike,
    lowest_v: ArrayLike,
    power_w: ArrayLike,
    ohm_per_km: ArrayLike,
    fixed_ohm: ArrayLike = 0.0,
    source_ohm: ArrayLike = 0.0,
    ampacity_a: ArrayLike = np.inf,
) -> Answer:
    """
    Longest run of one pair on which the load still has its voltage: `L = ((V_s - V) V / P - r_0 - R_fixed) / (2 r')`.

    V is the highest of the required voltage, `V_s / 2` (existence) and `P / I_z`.

    Parameters
    ----------
    source_v [V]: emf, lowest. lowest_v [V]: required at the terminals. power_w [W].
    ohm_per_km [ohm/km]: of one wire at working temperature.
    fixed_ohm [ohm]: loop of everything that does not grow with the run: jumper, breaker, contacts. source_ohm [ohm]: r_0.
    ampacity_a [A]: of the pair. Any shapes.

    Returns
    -------
    Answer in m, one way; infinite without load.

    Source: own derivation, inverse of `load_flow.single`.

    >>> run = longest_run_m(43.2, 40.5, 1000.0, [1.83, 1.15])
    >>> run.value.round(2).tolist(), run.governs.tolist()
    ([29.88, 47.54], ['voltage', 'voltage'])
    """
    v_s, v_min, p, r, fixed, r0, i_z = np.broadcast_arrays(
        *not_negative(
            source_v=source_v, lowest_v=lowest_v, power_w=power_w, ohm_per_km=ohm_per_km, fixed_ohm=fixed_ohm,
            source_ohm=source_ohm, ampacity_a=ampacity_a,
        )
    )  # fmt: skip
    if not np.all(r > 0):
        raise ValueError("ohm_per_km must be positive")
    need, governs = _needed_v(v_s, v_min, p, i_z)
    # what is asked beyond the source fails however far beyond
    room = largest_loop_ohm(v_s, np.minimum(need, 2 * v_s + 1), p) - fixed - r0
    possible = room >= 0
    length = np.where(possible, room, 0.0) / (2e-3 * r)
    return Answer(np.asarray(length), np.where(np.isinf(length), NOTHING, governs), possible)


def smallest_size(
    source_v: ArrayLike,
    lowest_v: ArrayLike,
    power_w: ArrayLike,
    length_m: ArrayLike,
    ohm_per_km: ArrayLike,
    fixed_ohm: ArrayLike = 0.0,
    source_ohm: ArrayLike = 0.0,
    ampacity_a: ArrayLike = np.inf,
) -> Choice:
    """
    The first size of a list, thin to thick, with which one pair keeps voltage, operating point and ampacity.

    Parameters
    ----------
    source_v, lowest_v [V], power_w [W], length_m [m] (one way), fixed_ohm, source_ohm [ohm]: [...], see `longest_run_m`.
    ohm_per_km [ohm/km] [n]: of one wire of each size at working temperature. ampacity_a [A]: one or [n].

    Source: own derivation from `load_flow.single`.

    >>> choice = smallest_size(43.2, 38.4, 800.0, 60.0, [4.61, 3.08, 1.83, 1.15])
    >>> int(choice.index), str(choice.governs)
    (2, 'voltage')
    """
    v_s, v_min, p, length, fixed, r0 = (
        x[..., None]
        for x in not_negative(
            source_v=source_v, lowest_v=lowest_v, power_w=power_w, length_m=length_m, fixed_ohm=fixed_ohm,
            source_ohm=source_ohm,
        )
    )  # fmt: skip
    r, i_z = not_negative(ohm_per_km=ohm_per_km, ampacity_a=ampacity_a)
    if r.ndim != 1 or not r.size or np.any(np.diff(r) > 0):
        raise ValueError("ohm_per_km needs one axis, from the thinnest size to the thickest")
    if i_z.shape not in ((), (1,), r.shape):
        raise ValueError(f"ampacity_a needs one value, or one for each of the {r.size} sizes: got shape {i_z.shape}")
    flow = single(v_s, 2e-3 * r * length + fixed + r0, p)
    exists = flow.exists
    margins = Margins(
        exists, np.where(exists, flow.voltage_v - v_min, -np.inf), np.where(exists, i_z - flow.current_a, -np.inf)
    )
    passes = margins.passes
    index = np.where(passes.any(axis=-1), passes.argmax(axis=-1), -1)
    before = np.where(index < 0, r.size - 1, np.maximum(index - 1, 0))
    governs = np.take_along_axis(margins.broken, before[..., None], axis=-1)[..., 0]
    return Choice(index.astype(np.intp), np.where(index == 0, NOTHING, governs), flow.voltage_v, flow.current_a, passes)


def largest_load_w(
    source_v: ArrayLike, lowest_v: ArrayLike, loop_ohm: ArrayLike, ampacity_a: ArrayLike = np.inf
) -> Answer:
    """
    Largest constant power at the end of one pair: `P = V (V_s - V) / R`, V the highest of what is required and `V_s / 2`.

    Where the current would pass the ampacity, `P = I_z (V_s - R I_z)`.

    Parameters
    ----------
    source_v [V]: emf, lowest. lowest_v [V]: required at the terminals. loop_ohm [ohm]: of everything in series, source
        included, at working temperature. ampacity_a [A]. Any shapes.

    Returns
    -------
    Answer in W; infinite without resistance and ampacity.

    Source: own derivation, inverse of `load_flow.single`.

    >>> answer = largest_load_w(43.2, [40.5, 20.0], 0.138)
    >>> answer.value.round(1).tolist(), answer.governs.tolist()
    ([792.4, 3380.9], ['voltage', 'existence'])
    """
    v_s, v_min, r, i_z = np.broadcast_arrays(
        *not_negative(source_v=source_v, lowest_v=lowest_v, loop_ohm=loop_ohm, ampacity_a=ampacity_a)
    )
    v = np.maximum(v_min, v_s / 2)
    possible = v_s >= v_min
    current = np.divide(np.maximum(v_s - v, 0.0), r, out=np.where(v_s > 0, np.inf, 0.0), where=r > 0)
    limited = current > i_z
    current = np.where(limited, i_z, current)
    # without resistance, or without current through an infinite one, the terminals are at the source
    at = v_s - np.multiply(current, r, out=np.zeros(r.shape), where=(r > 0) & (current > 0))
    power = np.where(possible, np.where(current > 0, current * at, 0.0), 0.0)
    governs = np.where(limited, AMPACITY, np.where(v_min >= v_s / 2, VOLTAGE, EXISTENCE))
    governs = np.where(np.isinf(power), NOTHING, np.where(possible, governs, VOLTAGE))
    return Answer(np.asarray(power), governs, np.asarray(possible))


def spare_gain(
    source_v: ArrayLike,
    lowest_v: ArrayLike,
    power_w: ArrayLike,
    length_m: ArrayLike,
    line_ohm: ArrayLike,
    return_ohm: ArrayLike,
    spare_line_ohm: ArrayLike,
    spare_return_ohm: ArrayLike,
    fixed_ohm: ArrayLike = 0.0,
    source_ohm: ArrayLike = 0.0,
) -> Spare:
    """
    What a spare pair in parallel buys, in volts, watts and metres.

    Line and return wire each in parallel with theirs; the shares go as the conductances.

    Parameters
    ----------
    source_v, lowest_v [V], power_w [W]: see `longest_run_m`. length_m [m]: of the run, one way, above 0.
    line_ohm, return_ohm [ohm]: of the wires of the run in use. spare_line_ohm, spare_return_ohm [ohm]: of the spare; infinite
        where it is not used on that side. fixed_ohm, source_ohm [ohm]: see `longest_run_m`. Any shapes.

    Source: own derivation.

    >>> both = spare_gain(43.2, 38.4, 800, 60, 0.12, 0.12, 0.12, 0.12)
    >>> one = spare_gain(43.2, 38.4, 800, 60, 0.12, 0.12, 0.12, float("inf"))
    >>> round(float(both.gained_v), 2), round(float(one.gained_v), 2), round(float(both.gained_m), 1)
    (2.68, 1.39, 57.6)
    """
    v_s, v_min, p, length, line, back, s_line, s_back, fixed, r0 = np.broadcast_arrays(
        *not_negative(
            source_v=source_v, lowest_v=lowest_v, power_w=power_w, length_m=length_m, line_ohm=line_ohm,
            return_ohm=return_ohm, spare_line_ohm=spare_line_ohm, spare_return_ohm=spare_return_ohm, fixed_ohm=fixed_ohm,
            source_ohm=source_ohm,
        )
    )  # fmt: skip
    if not np.all(length > 0) or not np.all(line > 0) or not np.all(back > 0):
        raise ValueError("length_m, line_ohm and return_ohm must be positive")

    def share(own: Array, spare: Array) -> Array:
        return np.asarray(1 / (1 + spare / own))

    line_share, back_share = share(line, s_line), share(back, s_back)
    # own resistance with the spare beside it: own x (1 - share)
    run = np.stack([line + back, line * (1 - line_share) + back * (1 - back_share)])
    loop = run + fixed + r0
    volts = single(v_s, loop, p).voltage_v
    watts = largest_load_w(v_s, v_min, loop).value
    room = np.maximum(largest_loop_ohm(v_s, v_min, p) - fixed - r0, 0.0)
    metres = np.divide(room * length, run, out=np.full(run.shape, np.inf), where=run > 0)
    gains = [np.subtract(x[1], x[0], out=np.zeros(x[0].shape), where=x[1] != x[0]) for x in (volts, watts, metres)]
    return Spare(volts, watts, metres, gains[0], gains[1], gains[2], line_share, back_share)
