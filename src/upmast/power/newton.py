"""
The nonlinear part of a load flow: `f(V) = V - Voc + Z (P / V) = 0`, batched over scenarios.

With `Z >= 0` and constant power, f is convex and its Jacobian `J = 1 - Z diag(P / V^2)` is an M-matrix at every V above the
high-voltage solution. Newton's method from `V = Voc` therefore falls monotonically to that solution whenever there is one.
Conversely, f is positive on the way; if a step is not downwards, J is not an M-matrix there, so there is no solution below.
At the end `J y = 1` with `y > 0` certifies that the solution found is the high one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Found", "collapse", "newton"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
_MOST_STEPS = 80
# Relative to the largest open-circuit voltage: what counts as zero for a residual, a last step, and a step upwards.
_NOTHING = 1e-12
_RESIDUAL, _STEP, _UPWARDS = 1e-13, 1e-12, 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Port voltages [s, m] (NaN without solution), existence and its proof [s], residual [s], steps of the batch."""

    v: Array
    exists: Mask
    certified: Mask
    residual: Array
    iterations: int


def _solved(matrix: Array, right: Array) -> Array:
    """Batched solve in which a singular matrix spoils its own scenario only (NaN there)."""
    try:
        return np.asarray(np.linalg.solve(matrix, right[..., None])[..., 0], float)
    except np.linalg.LinAlgError:
        out = np.full_like(right, np.nan)
        for k in range(right.shape[0]):
            try:
                out[k] = np.linalg.solve(matrix[k], right[k])
            except np.linalg.LinAlgError:
                continue
        return out


def newton(voc: Array, z: Array, power: Array, start: Array | None = None) -> Found:
    """
    The high-voltage solution per scenario, or the proof that there is none.

    Parameters
    ----------
    voc [V] [s, m]; z [ohm] [s, m, m]; power [W] [s, m]; all power must be 0 where `voc` is 0.
    start [V] [s, m]: Voc by default; any other start must lie above the solution (a solution for less power does).

    Source: Ortega and Rheinboldt, chapter 13 (monotone Newton iteration; from memory); own proof of the converse.
    """
    s, m = voc.shape
    scale = np.maximum(voc.max(axis=1, initial=0.0), 1e-300)
    monotone = np.all(z >= -1e-12 * np.abs(z).max(axis=(1, 2), initial=0.0)[:, None, None], axis=(1, 2))
    v = np.where(voc > 0, voc if start is None else start, 1.0)
    base = np.where(voc > 0, voc, 1.0)
    eye = np.eye(m)
    exists = np.zeros(s, bool)
    active = np.arange(s)
    steps = 0
    while active.size and steps < _MOST_STEPS:
        va, pa, za = v[active], power[active], z[active]
        current = pa / va
        f = va - base[active] + (za @ current[:, :, None])[:, :, 0]
        done = np.abs(f).max(axis=1, initial=0.0) <= _RESIDUAL * scale[active]
        exists[active[done]] = True
        if done.any():
            keep = ~done
            active, va, current, f, za = active[keep], va[keep], current[keep], f[keep], za[keep]
            if not active.size:
                break
        steps += 1
        step = _solved(eye - za * (current / va)[:, None, :], f)
        unit = scale[active]
        new = va - step
        # a step to 0 within rounding is a step to 0: no operating point lies there
        bad = ~np.all(new > _NOTHING * unit[:, None], axis=1) | (
            monotone[active] & ~np.all(step >= -_UPWARDS * unit[:, None], axis=1)
        )
        small = ~bad & (np.abs(step).max(axis=1) <= _STEP * unit)
        v[active] = np.where(bad[:, None], va, new)
        exists[active[small]] = True
        active = active[~(bad | small)]
    unsure = np.zeros(s, bool)
    unsure[active] = True  # out of steps: neither found nor refuted

    inner = power / v
    y = _solved(eye - z * (inner / v)[:, None, :], np.ones_like(v))
    high = np.all(y > 0, axis=1)  # NaN counts as not proved
    unsure |= exists & ~high  # another root, or the fold within rounding
    exists &= high
    residual = np.abs(v - base + (z @ inner[:, :, None])[:, :, 0]).max(axis=1, initial=0.0)
    v = np.where(voc > 0, np.where(exists[:, None], v, np.nan), 0.0)
    return Found(v, exists, monotone & ~unsure, np.where(exists, residual, np.nan), steps)


def collapse(voc: Array, z: Array, power: Array, tolerance: float) -> Array:
    """
    Largest common factor on `power` with a solution, [s]; the lower end of a bracket of relative width `tolerance`.

    Brackets: from above, each port alone, `Voc^2 / (4 Z_ii P)`. From below, `V -> Voc - Z (P / V)` maps [Voc/2, Voc] into
    itself up to `min_i Voc_i / (4 sum_j Z_ij P_j / Voc_j)`. Each round starts from the solution at the lower end, which lies
    above the one sought.
    """
    s = voc.shape[0]
    on = (voc > 0) & (power > 0)
    safe = np.where(voc > 0, voc, 1.0)
    drop = np.where(on, 1.0, 0.0)
    sag = (np.maximum(z, 0.0) @ (power / safe)[:, :, None])[:, :, 0]
    low = np.divide(voc, 4 * sag, out=np.full_like(voc, np.inf), where=(sag > 0) & (voc > 0)).min(
        axis=1, initial=np.inf
    )
    own = np.diagonal(z, axis1=1, axis2=2) * power * drop
    high = np.divide(voc * voc, 4 * own, out=np.full_like(voc, np.inf), where=own > 0).min(axis=1, initial=np.inf)
    factor = np.full(s, np.inf)
    rows = np.flatnonzero(np.isfinite(high))
    lo, hi = low[rows] * (1 - 1e-9), high[rows] * (1 + 1e-9)
    at_low = newton(voc[rows], z[rows], power[rows] * lo[:, None])
    lo = np.where(at_low.exists, lo, 0.0)
    v = np.where(at_low.exists[:, None], at_low.v, voc[rows])
    while rows.size:
        open_ = hi - lo > tolerance * hi
        factor[rows[~open_]] = lo[~open_]
        rows, lo, hi, v = rows[open_], lo[open_], hi[open_], v[open_]
        if not rows.size:
            break
        mid = (lo + hi) / 2
        found = newton(voc[rows], z[rows], power[rows] * mid[:, None], start=v)
        lo, hi = np.where(found.exists, mid, lo), np.where(found.exists, hi, mid)
        v = np.where(found.exists[:, None], found.v, v)
    return factor
