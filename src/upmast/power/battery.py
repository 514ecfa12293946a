"""How long a battery holds a bus of constant-power loads up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Autonomy", "bus_voltage_v", "cutout_emf_v", "float_v", "minutes_to_voltage"]

Array = NDArray[np.float64]
_NODES = 32
_MOST_STEPS = 80


@dataclass(frozen=True, slots=True, eq=False)
class Autonomy:
    """
    Time until the emf is reached or the battery is empty, whichever is first.

    `empty` True: empty first. `time_min` and `last_a` are NaN where the loads ask for more than the bus can give on the way.
    """

    time_min: Array
    dod_fraction: Array
    first_a: Array
    last_a: Array
    empty: NDArray[np.bool_]


def float_v(cells: ArrayLike, cell_v: ArrayLike) -> Array:
    """
    Voltage of a string: `V = n v`.

    Parameters
    ----------
    cells [-], cell_v [V]: any shape.

    Source: common practice; 24 cells at 2.27 V are a published example.

    >>> round(float(float_v(24, 2.27)), 2)
    54.48
    """
    return np.asarray(np.asarray(cells, float) * np.asarray(cell_v, float))


def _spurs(bus_v: Array, loop_ohm: Array, power_w: Array) -> tuple[Array, Array]:
    """Total current of all spurs and its derivative by the bus voltage; NaN where a spur has no solution."""
    v = bus_v[..., None]
    square = v * v - 4 * loop_ohm * power_w
    s = np.sqrt(np.where(square >= 0, square, np.nan))
    current = np.divide(2 * power_w, v + s, out=np.where(np.isnan(s), np.nan, 0.0), where=v + s > 0)
    slope = -np.divide(current, s, out=np.full_like(s, np.inf), where=s > 0)
    return current.sum(axis=-1), np.where(power_w > 0, slope, 0.0).sum(axis=-1)


def bus_voltage_v(emf_v: ArrayLike, source_ohm: ArrayLike, loop_ohm: ArrayLike, power_w: ArrayLike) -> Array:
    """
    Voltage of a bus behind one source resistance that feeds constant-power loads over loops of their own.

    `V_b = E - r0 sum_k 2 P_k / (V_b + sqrt(V_b^2 - 4 R_k P_k))`, by Newton's method from E, which falls to the solution.

    Parameters
    ----------
    emf_v [V], source_ohm [ohm]: shape [...].
    loop_ohm [ohm], power_w [W]: loads on the last axis, [..., n].

    Returns
    -------
    Voltage [V], [...]; NaN where the loads ask for more than the source can give.

    Source: own derivation, checked against the general network.

    >>> round(float(bus_voltage_v(51.0, 0.012, [0.30], [900.0])), 4)
    50.7585
    """
    loop, power = np.asarray(loop_ohm, float), np.asarray(power_w, float)
    emf, r0 = np.asarray(emf_v, float), np.asarray(source_ohm, float)
    if any(not np.all(x >= 0) for x in (emf, r0, loop, power)):
        raise ValueError("emf, resistances and powers can't be negative or missing")
    shape = np.broadcast_shapes(emf.shape, r0.shape, loop.shape[:-1], power.shape[:-1])
    v = np.broadcast_to(emf, shape).astype(float)
    for _ in range(_MOST_STEPS):
        current, slope = _spurs(v, loop, power)
        f = v - emf + r0 * current
        gain = 1 + np.multiply(r0, slope, out=np.zeros(shape), where=r0 > 0)
        step = np.divide(f, gain, out=np.full(shape, np.nan), where=gain > 0)  # not falling: no solution
        step = np.where(f == 0, 0.0, np.where(step >= -1e-9 * emf, step, np.nan))
        v = v - step
        v = np.where(v >= 0, v, np.nan)
        if not np.any(np.abs(step) > 1e-13 * emf):
            break
    settled = np.abs(v - emf + r0 * _spurs(v, loop, power)[0]) <= 1e-9 * np.maximum(emf, 1e-300)
    return np.asarray(np.where(settled | (emf == 0), v, np.nan))


def cutout_emf_v(
    source_ohm: ArrayLike, loop_ohm: ArrayLike, power_w: ArrayLike, cutout_v: ArrayLike
) -> tuple[Array, NDArray[np.intp]]:
    """
    Emf at which the first load reaches its cut-out voltage, and which load that is.

    Load k stands at its cut-out at the bus voltage `V_c + R_k P_k / V_c`; the first is the one with the highest, and
    `E = V_b + r0 sum(i(V_b))`. With `V_c > V_b / 2` for each load, as on any plant that works.

    Parameters
    ----------
    source_ohm [ohm]: [...]; loop_ohm [ohm], power_w [W], cutout_v [V]: [..., n].

    Source: own derivation.

    >>> emf, which = cutout_emf_v(0.012, [0.30], [900.0], [40.5])
    >>> round(float(emf), 4), int(which)
    (47.4333, 0)
    """
    loop, power, cutout = np.broadcast_arrays(*(np.asarray(x, float) for x in (loop_ohm, power_w, cutout_v)))
    r0 = np.asarray(source_ohm, float)
    if any(not np.all(x >= 0) for x in (r0, loop, power)) or not np.all(cutout > 0):
        raise ValueError("resistances and powers can't be negative, cut-out voltages must be positive")
    bus = cutout + loop * power / cutout
    first = bus.argmax(axis=-1)
    v = bus.max(axis=-1)
    return np.asarray(v + r0 * _spurs(np.asarray(v), loop, power)[0]), np.asarray(first)


def minutes_to_voltage(
    emf_full_v: ArrayLike,
    emf_slope_v: ArrayLike,
    source_ohm: ArrayLike,
    capacity_ah: ArrayLike,
    loop_ohm: ArrayLike,
    power_w: ArrayLike,
    emf_end_v: ArrayLike,
) -> Autonomy:
    """
    Time until the emf of a battery has fallen to a given value under constant-power loads.

    `E = E_0 - m d`, `t = 3600 C integral dd / I(E(d))` over the depth of discharge d, with the current of the load flow at
    each d; Gauss-Legendre quadrature.

    Parameters
    ----------
    emf_full_v [V]: emf of the full battery. emf_slope_v [V]: fall of the emf from full to empty. source_ohm [ohm]: battery and
        its feeder. capacity_ah [Ah]: usable, after ageing and temperature. All [...].
    loop_ohm [ohm], power_w [W]: loads on the last axis, [..., n].
    emf_end_v [V]: where to stop, see `cutout_emf_v`.

    Returns
    -------
    Autonomy. A time of 0 where the emf is below the end from the start; infinite without load.

    Valid for currents near the one for which the capacity holds (no Peukert correction). Source: own derivation.

    >>> run = minutes_to_voltage(51.0, 5.0, 0.012, 100.0, [0.30], [900.0], 47.43333)
    >>> round(float(run.time_min) * 60), round(float(run.first_a), 4)
    (12162, 20.1247)
    """
    e0, m, r0, c, end = (np.asarray(x, float) for x in (emf_full_v, emf_slope_v, source_ohm, capacity_ah, emf_end_v))
    loop, power = np.asarray(loop_ohm, float), np.asarray(power_w, float)
    if not np.all(m >= 0) or not np.all(c > 0):
        raise ValueError("the emf falls with discharge and the capacity is positive")
    e0, m, r0, c, end = np.broadcast_arrays(e0, m, r0, c, end)
    room = np.where(e0 > end, np.inf, 0.0)
    dod = np.clip(np.divide(e0 - end, m, out=room, where=m > 0), 0.0, np.inf)
    empty = dod > 1
    dod = np.minimum(dod, 1.0)
    x, w = np.polynomial.legendre.leggauss(_NODES)
    fraction = np.concatenate([[0.0], (x + 1) / 2, [1.0]])
    emf = e0[..., None] - m[..., None] * dod[..., None] * fraction
    loops, powers = loop[..., None, :], power[..., None, :]
    bus = bus_voltage_v(emf, r0[..., None], loops, powers)
    current = _spurs(bus, loops, powers)[0]
    with np.errstate(divide="ignore"):
        mean = (w / 2 / current[..., 1:-1]).sum(axis=-1)
    hours = np.multiply(c * dod, mean, out=np.zeros_like(mean), where=dod > 0)
    return Autonomy(np.asarray(60 * hours), np.asarray(dod), current[..., 0], current[..., -1], np.asarray(empty))
