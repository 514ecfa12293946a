"""One pair with one constant-power load, in closed form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.checked import not_negative

__all__ = ["PairFlow", "largest_loop_ohm", "largest_power_w", "single"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class PairFlow:
    """
    What flows in a pair. All arrays have the broadcast shape of the inputs.

    Where `exists` is False the load asks for more than the pair can deliver: voltage, current and loss are NaN there.
    """

    exists: NDArray[np.bool_]
    voltage_v: Array
    current_a: Array
    loss_w: Array
    largest_power_w: Array


def single(source_v: ArrayLike, loop_ohm: ArrayLike, power_w: ArrayLike) -> PairFlow:
    """
    Voltage and current of a constant-power load at the end of one pair.

    `V = (V_s + sqrt(V_s^2 - 4 R P)) / 2`, `I = 2 P / (V_s + sqrt(V_s^2 - 4 R P))`: the high-voltage root in the form that
    subtracts no near-equal numbers. A solution exists if and only if `P <= V_s^2 / (4 R)`; at the limit `V = V_s / 2`.
    The other root (low voltage, high current) is not an operating point.

    Parameters
    ----------
    source_v [V]: emf behind the whole loop, any shape.
    loop_ohm [ohm]: line and return wire together with everything in series.
    power_w [W]: at the terminals of the load.

    Returns
    -------
    PairFlow; no solution is a result (`exists` False, NaN), not an exception.

    Source: own derivation from Ohm's law, checked by ngspice operating points.

    >>> flow = single(43.2, 0.138, 1000)
    >>> round(float(flow.voltage_v), 2), round(float(flow.current_a), 2), round(float(flow.largest_power_w))
    (39.73, 25.17, 3381)
    >>> bool(single(43.2, 0.138, 3400).exists)
    False
    """
    v_s, r, p = np.broadcast_arrays(*not_negative(source_v=source_v, loop_ohm=loop_ohm, power_w=power_w))
    square = v_s * v_s - 4 * r * p
    exists = (square >= 0) & ((v_s > 0) | (p == 0))
    total = v_s + np.sqrt(np.where(exists, square, np.nan))
    current = np.divide(2 * p, total, out=np.where(exists, 0.0, np.nan), where=exists & (p > 0))
    return PairFlow(exists, total / 2, current, current * current * r, largest_power_w(v_s, r))


def largest_power_w(source_v: ArrayLike, loop_ohm: ArrayLike) -> Array:
    """
    Largest power that a pair can deliver at all: `P_max = V_s^2 / (4 R)`; infinite for a loop without resistance.

    Parameters
    ----------
    source_v [V], loop_ohm [ohm]: any shape.

    Source: own derivation (maximum power transfer).

    >>> round(float(largest_power_w(43.2, 0.138)), 2)
    3380.87
    """
    v_s, r = np.broadcast_arrays(*not_negative(source_v=source_v, loop_ohm=loop_ohm))
    return np.asarray(np.divide(v_s * v_s, 4 * r, out=np.full(v_s.shape, np.inf), where=r > 0))


def largest_loop_ohm(source_v: ArrayLike, lowest_v: ArrayLike, power_w: ArrayLike) -> Array:
    """
    Largest loop resistance with which a load still has a required voltage: `R = (V_s - V_min) V_min / P`.

    Below `V_s / 2` the limit is existence, not the voltage: there `R = V_s^2 / (4 P)`. The longest run and the least section
    follow directly.

    Parameters
    ----------
    source_v, lowest_v [V], power_w [W]: any shape.

    Returns
    -------
    Resistance [ohm]; infinite for no load, negative where the source itself is below the required voltage (no cable helps).

    Source: own derivation, inverse of `single`.

    >>> round(float(largest_loop_ohm(43.2, 40.5, 1000)), 5)
    0.10935
    """
    v_s, v_min, p = np.broadcast_arrays(*not_negative(source_v=source_v, lowest_v=lowest_v, power_w=power_w))
    v = np.maximum(v_min, v_s / 2)
    room = (v_s - v) * v
    limit = np.asarray(np.copysign(np.inf, v_s - v_min))
    return np.asarray(np.divide(room, p, out=limit, where=p > 0))
