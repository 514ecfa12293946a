"""
Where the first of some voltages reaches its limit as the source falls.

The wires are eliminated once. At an emf E the voltages V(E) of the high-voltage solution are the greatest fixed point of
`V = E h - Z (P / V)`. With `Z >= 0` the right side is concave in (E, V) and rises with both, so each V_k(E) rises and is
concave, and so is the least margin `min(V_k - V_cut,k)`. Newton's method on it lands below the crossing after one step and
rises to it from there; the tangent lies above the voltages, which is where the next load flow may start.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from upmast.power.network import Network, thevenin
from upmast.power.newton import collapse, newton

__all__ = ["TIE_V", "Crossing", "crossing", "first_of", "seen_from_loads"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
# Loads this close to each other count as dropping together; the first in the list goes first.
TIE_V = 1e-9
_STEP = 1e-11
_FOLD = 1e-9
_MOST_STEPS = 100


@dataclass(frozen=True, slots=True, eq=False)
class Crossing:
    """Emf [s], voltages there [s, m], which port [s], and whether the operating points end before the crossing [s]."""

    emf: Array
    v: Array
    port: Index
    folded: Mask


def seen_from_loads(network: Network, bus: tuple[int, int] | None = None) -> tuple[Array, Array, tuple[int, ...]]:
    """
    The wires as the loads see them, per volt of emf: `V = E h - Z I`. The last port is the bars, at which nothing hangs.

    Parameters
    ----------
    network: its `emf_v` is not used. bus: plus and minus node of the bars; the nodes of the source if None.

    Returns
    -------
    h [-] [s, m + 1], Z [ohm] [s, m + 1, m + 1], flat over the scenarios of `branch_ohm`, and the shape of these.

    Source: nodal analysis.

    >>> pair = Network(4, [0, 1], [2, 3], [0.069, 0.069], 0, 1, 43.2, [2], [3])
    >>> h, z, _ = seen_from_loads(pair)
    >>> h[0].tolist(), round(float(z[0, 0, 0]), 3)
    ([1.0, 1.0], 0.138)
    """
    plus, minus = (network.source_plus, network.source_minus) if bus is None else bus
    wider = replace(
        network,
        emf_v=np.array(1.0),
        port_plus=np.append(network.port_plus, plus),
        port_minus=np.append(network.port_minus, minus),
    )
    seen = thevenin(wider)
    m = wider.port_plus.size
    return seen.voc_v.reshape(-1, m), seen.z_ohm.reshape(-1, m, m), network.branch_ohm.shape[:-1]


def first_of(margin: Array, watched: Mask) -> tuple[Array, Index]:
    """Least margin of the watched ports and whose it is, [s]; the first in the list of those that tie."""
    kept = np.where(watched, margin, np.inf)
    least = kept.min(axis=1)
    return least, np.argmax(kept <= (least + TIE_V)[:, None], axis=1)


def _upper_emf(h: Array, z: Array, power: Array, cut: Array, watched: Mask) -> Array:
    """
    Emf at which all watched ports are above their cut-out for certain, when Z >= 0; close to the crossing.

    With u the cut-out voltages and `E = max((u + Z P / u) / h)`, `E h - Z P / u >= u`: a fixed point lies at or above u.
    """
    fed = h > 0
    safe = np.where(fed, h, 1.0)
    level = np.where(watched & fed, cut / safe, 0.0).max(axis=1)
    sag = (np.maximum(z, 0.0) @ (np.where(fed, power, 0.0) / safe)[:, :, None])[:, :, 0]
    level = np.where(level > 0, level, np.sqrt(np.where(fed, sag / safe, 0.0).max(axis=1)))
    u = np.where(watched & (cut > 0), cut, h * level[:, None])
    drawn = np.divide(power, u, out=np.zeros_like(power), where=(power > 0) & (u > 0))
    need = np.where(fed, (u + (np.maximum(z, 0.0) @ drawn[:, :, None])[:, :, 0]) / safe, 0.0)
    return np.asarray(need.max(axis=1))


def _flow(h: Array, z: Array, power: Array, emf: Array, above: Array | None = None) -> tuple[Array, Mask]:
    """Voltages at an emf [s], from a start above them where that is of use."""
    voc = h * emf[:, None]
    if above is not None:
        useful = np.all((above > 0) | (h <= 0), axis=1)
        above = np.where(useful[:, None], np.minimum(above, voc), voc)
    found = newton(voc, z, power, above)
    return found.v, found.exists


def _rise_per_volt(h: Array, z: Array, power: Array, v: Array) -> Array:
    """dV/dE = J^-1 h, J = 1 - Z diag(P / V^2)."""
    inner = np.divide(power, v * v, out=np.zeros_like(power), where=power > 0)
    return np.asarray(np.linalg.solve(np.eye(h.shape[1]) - z * inner[:, None, :], h[:, :, None])[:, :, 0])


def _fold(h: Array, z: Array, power: Array) -> tuple[Array, Array, Mask]:
    """
    The least emf with an operating point, and the voltages there, [s].

    Scaling V and E by s scales P by s^2, so it is `1 / sqrt(largest common factor on P at 1 V)`.
    """
    least = 1 / np.sqrt(collapse(h, z, power, _FOLD))
    emf = least * (1 + _FOLD)
    v, exists = _flow(h, z, power, emf)
    for wider in (1e-8, 1e-7, 1e-6):  # the fold within rounding
        if exists.all():
            break
        emf = np.where(exists, emf, least * (1 + wider))
        v, exists = _flow(h, z, power, emf)
    return emf, v, exists


def crossing(h: Array, z: Array, power: Array, cut: Array, watched: Mask) -> Crossing:
    """
    The emf at which the first watched port reaches its cut-out, or below which there is no operating point.

    Parameters
    ----------
    h [-], power [W], cut [V] [s, m], Z [ohm] [s, m, m]: `V = E h - Z (P / V)`. watched [s, m]: ports whose cut-out counts.

    Raises
    ------
    ArithmeticError
        If the crossing is not found; with Z >= 0 it always is.

    Source: own derivation, see the head of this module.

    >>> one = np.ones((1, 1))
    >>> at = crossing(one, 0.312 * one[None], 900 * one, 40.5 * one, one > 0)
    >>> round(float(at.emf[0]), 4), bool(at.folded[0])
    (47.4333, False)
    """
    emf = _upper_emf(h, z, power, cut, watched)
    v, exists = _flow(h, z, power, emf)
    for _ in range(_MOST_STEPS):
        if exists.all():
            break
        # only where Z has entries below 0
        emf = np.where(exists, emf, 1.5 * emf)
        v, exists = _flow(h, z, power, emf)
    folded = np.zeros(emf.size, bool)
    port = np.zeros(emf.size, np.intp)
    rows = np.flatnonzero(exists & watched.any(axis=1))
    lowest = np.zeros(emf.size)
    for _ in range(_MOST_STEPS):
        if not rows.size:
            break
        hr, zr, pr, vr = h[rows], z[rows], power[rows], v[rows]
        margin, k = first_of(vr - cut[rows], watched[rows])
        port[rows] = k
        slope = _rise_per_volt(hr, zr, pr, vr)
        step = -margin / slope[np.arange(rows.size), k]
        # never below an emf that is known to have no operating point or to lie below the crossing
        step = np.maximum(step, (lowest[rows] - emf[rows]) / 2)
        ahead = vr + slope * step[:, None]
        settled = np.abs(step) <= _STEP * emf[rows]
        emf[rows] += step
        v[rows] = np.where(settled[:, None], ahead, vr)
        rows, ahead = rows[~settled], ahead[~settled]
        if not rows.size:
            break
        now, found = _flow(h[rows], z[rows], power[rows], emf[rows], ahead)
        v[rows] = now
        if not found.all():
            lost = rows[~found]
            fold, at_fold, there = _fold(h[lost], z[lost], power[lost])
            least, which = first_of(at_fold - cut[lost], watched[lost])
            emf[lost], v[lost], port[lost], lowest[lost] = fold, at_fold, which, fold
            ended = ~there | (least > 0)
            folded[lost[ended]] = True
            rows = np.setdiff1d(rows, lost[ended])
    if rows.size or not (exists | ~watched.any(axis=1)).all():
        raise ArithmeticError("no emf was found at which the first load drops")
    return Crossing(emf, v, port, folded)
