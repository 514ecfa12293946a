"""
The nonlinear part of a load flow: `V = F(V) = Voc - Z I(V)`, `I = min(P / V, I_lim)`, batched over scenarios.

With `Z >= 0` F is isotone (a higher V gives a higher F), so of all solutions one is the greatest in every port: the
high-voltage solution, on which the loads stand when the voltage comes from above. It is met from above:

Let V be at or above every solution, with `V >= F(V)` (`V = Voc` is), and let `I(V) + g (V - x)`, `g >= 0`, lie nowhere above
`I(x)` for x between a lower bound of the solutions and V. Put it in the place of I: the affine isotone map T has
`T >= F` there. For each solution x, `T(x) >= F(x) = x` and `T(V) = F(V) <= V`, so T maps the box [x, V] into itself and has a
fixed point in it. If `1 - Z g` is regular, T has one fixed point, the step from V: **the next V lies between every solution
and this V**, and is again at or above its F. Hence the steps fall to the greatest solution; and a step with a component
upwards, or to 0 or below at a load, or below the lower bound, proves that there is none. So does a singular `1 - Z g` where
the line lies truly below I at x: with `w^T Z g = rho w^T`, `w >= 0`, `rho >= 1`,
`w^T (T(x) - x) <= w^T (T(V) - V) <= 0`, but `T(x) >= F(x) = x`, and above it at the loads.

Without current limit I is convex and its tangent, `g = P / V^2`, is such a line on all x > 0: Newton's method.

With `Z` of mixed signs (line and return wires meet elsewhere than at the source) there is no order, but still one stable
solution at most: solutions are the critical points of `phi = (V - Voc)^T Y (V - Voc) / 2 + sum(P ln V)`, `Y = Z^-1`. Where
`A = Y - diag(P / V^2)` is positive definite a solution is stable (capacitors at the ports discharge into it); `A` is
concave in V in the order of matrices, so these V form a convex set, on which phi is strictly convex.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Found", "collapse", "newton"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
_MOST_STEPS = 80
# With current limits: steps, then the most loads of which every set is tried.
_MOST_LIMITED_STEPS = 120
_MOST_UNDECIDED = 12
# Relative to the largest open-circuit voltage: what counts as zero for a voltage, a residual, a last step, a step upwards.
_NOTHING = 1e-12
_RESIDUAL, _STEP, _UPWARDS = 1e-13, 1e-12, 1e-9
# Share of the load in the steps of a network without order: the least step before it is given up.
_LEAST_SHARE = 1e-4
_FOUND, _REFUTED, _UNSURE = 1, -1, 0


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Port voltages [s, m] (NaN without solution), existence and its proof [s], residual [s], steps of the batch."""

    v: Array
    exists: Mask
    certified: Mask
    residual: Array
    iterations: int


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """What is to be solved, [s, m] and [s, m, m]; `need`: the voltage must be above 0; `unit`: voltage of the whole [s]."""

    base: Array
    z: Array
    power: Array
    limit: Array | None
    need: Mask
    unit: Array

    def rows(self, pick: NDArray[np.intp] | Mask) -> _Problem:
        limit = None if self.limit is None else self.limit[pick]
        return _Problem(self.base[pick], self.z[pick], self.power[pick], limit, self.need[pick], self.unit[pick])

    def current(self, v: Array) -> tuple[Array, Array]:
        """Current and the fall of the current with the voltage, -dI/dV."""
        safe = np.where(self.power > 0, v, 1.0)
        current = self.power / safe
        slope = current / safe
        if self.limit is None:
            return current, slope
        low = (self.power > 0) & (self.power >= self.limit * v)
        return np.where(low, self.limit, current), np.where(low, 0.0, slope)


def _times(z: Array, current: Array) -> Array:
    return np.asarray((z @ current[:, :, None])[:, :, 0])


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


def newton(
    voc: Array,
    z: Array,
    power: Array,
    start: Array | None = None,
    *,
    limit: Array | None = None,
    held: Mask | None = None,
    fed: Mask | None = None,
) -> Found:
    """
    The high-voltage solution per scenario, or the proof that there is none.

    Parameters
    ----------
    voc [V] [s, m]; z [ohm] [s, m, m] symmetric; power [W] [s, m]; all power must be 0 where a port is not fed.
    start [V] [s, m]: Voc by default; any other start must lie above the solution (a solution for less power does).
    limit [A] [s, m]: largest current of each load; None for none.
    held [s, m]: ports at which the voltage must be above 0 though no power is drawn (a constant current is).
    fed [s, m]: ports with a source; by default those with `voc` above 0.

    Source: Ortega and Rheinboldt, chapter 13 (monotone Newton iteration; from memory); own proof of the converse and of
    the single stable solution.
    """
    m = voc.shape[1]
    fed = voc > 0 if fed is None else fed
    largest = np.abs(z).max(axis=(1, 2), initial=0.0)
    monotone = np.all(z >= -1e-12 * largest[:, None, None], axis=(1, 2))
    if limit is not None:
        power = np.where(limit > 0, power, 0.0)
        if not np.any(np.isfinite(limit) & (power > 0)):
            limit = None
    need = power > 0 if held is None else (power > 0) | (held & fed)
    base = np.where(fed, voc, 1.0)
    unit = np.abs(base).max(axis=1, initial=1e-300)
    whole = _Problem(base, z, power, limit, need, unit)
    v = base if start is None else np.where(fed, start, 1.0)

    if limit is None and monotone.all() and base.min(initial=1.0) > 0:
        v, state, steps = _fallen(whole, v)
    else:
        hopeless = np.any(need & (base <= 0), axis=1)  # constant currents alone are too much
        capped = np.zeros_like(monotone) if limit is None else np.any(np.isfinite(limit) & (power > 0), axis=1)
        v, steps = np.where(hopeless[:, None], 1.0, v), 0
        state = np.where(hopeless, _REFUTED, _UNSURE)
        for rows, method in (
            (monotone & ~hopeless & ~capped, _fallen),
            (monotone & ~hopeless & capped, _fallen_limited),
            (~monotone & ~hopeless, _followed),
        ):
            if rows.any():
                v[rows], state[rows], taken = method(whole.rows(rows), v[rows])
                steps = max(steps, taken)

    exists = state == _FOUND
    sure = state != _UNSURE
    current, slope = whole.current(v)
    y = _solved(np.eye(m) - z * slope[:, None, :], np.ones_like(v))
    high = np.all(y > 0, axis=1) | ~monotone  # NaN counts as not proved
    sure &= high | ~exists  # another root, or the fold within rounding
    exists &= high
    if not monotone.all():
        # `_followed` gives stable solutions only; a limited load can stand on more than one of them
        sure &= monotone | (exists & ~capped)
    residual = np.abs(v - base + _times(z, current)).max(axis=1, initial=0.0)
    v = np.where(fed, np.where(exists[:, None], v, np.nan), 0.0)
    return Found(v, exists, sure, np.where(exists, residual, np.nan), steps)


def _fallen(of: _Problem, start: Array) -> tuple[Array, NDArray[np.intp], int]:
    """Newton's method from above, without limit, Z >= 0: voltages, state of the proof, steps."""
    v, s = np.array(start), start.shape[0]
    state = np.full(s, _UNSURE)
    active = np.arange(s)
    eye = np.eye(start.shape[1])
    now = of
    steps = 0
    while active.size and steps < _MOST_STEPS:
        va = v[active]
        current, slope = now.current(va)
        f = va - now.base + _times(now.z, current)
        done = np.abs(f).max(axis=1, initial=0.0) <= _RESIDUAL * now.unit
        if done.any():
            state[active[done]] = _FOUND
            keep = ~done
            active, va, slope, f, now = active[keep], va[keep], slope[keep], f[keep], now.rows(keep)
            if not active.size:
                break
        steps += 1
        step = _solved(eye - now.z * slope[:, None, :], f)
        new = va - step
        unit = now.unit[:, None]
        # a step to 0 within rounding is a step to 0: no operating point lies there
        good = np.all((new > _NOTHING * unit) | ~now.need, axis=1) & np.all(step >= -_UPWARDS * unit, axis=1)
        v[active] = np.where(good[:, None], new, va)
        small = good & (np.abs(step).max(axis=1) <= _STEP * now.unit)
        state[active[~good]] = _REFUTED
        state[active[small]] = _FOUND
        keep = good & ~small
        if not keep.all():
            active, now = active[keep], now.rows(keep)
    return v, state, steps


def _fallen_limited(of: _Problem, start: Array) -> tuple[Array, NDArray[np.intp], int]:
    """
    From above with current limits, Z >= 0: voltages, state of the proof, steps.

    Below `V_lim = P / I_lim` a load draws `I_lim`; the line from (V, P / V) that stays under it down to the lower bound
    `B = Voc - Z I_lim` of the solutions falls by `g = min(P / V^2, (I_lim - P / V) / (V - B))`; at or below V_lim, g = 0.

    Loads below V_lim stay limited in every solution. Whenever there are more of them, all others are tried without their
    limit, see `_with_limited`. What is left after a number of steps (all but at a collapse that the limits then stop, or not)
    is decided by trying every set of loads at their limit: the set of the greatest solution is the smallest that agrees.
    """
    limit = of.limit if of.limit is not None else np.full_like(of.power, np.inf)
    v, s = np.array(start), start.shape[0]
    state = np.full(s, _UNSURE)
    on = of.power > 0
    turn = np.divide(of.power, limit, out=np.zeros_like(limit), where=on)  # V_lim
    draw = np.where(on, limit, 0.0)
    endless = np.any((of.z > 0) & np.isinf(draw)[:, None, :], axis=2)
    floor = np.where(endless, 0.0, np.maximum(of.base - _times(of.z, np.where(np.isinf(draw), 0.0, draw)), 0.0))
    before = np.full(s, -1)
    active = np.arange(s)
    eye = np.eye(start.shape[1])
    steps = 0
    while active.size and steps < _MOST_LIMITED_STEPS:
        steps += 1
        va, now = v[active], of.rows(active)
        limited = on[active] & (va <= turn[active])
        count = limited.sum(axis=1)
        more = np.flatnonzero(count > before[active])
        before[active] = count
        if more.size:
            fixed = limited[more]
            tried, outcome, taken = _with_limited(now.rows(more), fixed, turn[active[more]], va[more])
            steps += taken
            right = outcome == _FOUND
            v[active[more[right]]] = tried[right]
            # with every load at its limit there is nothing left to vary
            settled = right | ((outcome == _REFUTED) & np.all(fixed | ~on[active[more]], axis=1))
            state[active[more[settled]]] = outcome[settled]
            keep = np.ones(active.size, bool)
            keep[more[settled]] = False
            active, va, limited, now = active[keep], va[keep], limited[keep], now.rows(keep)
            if not active.size:
                break
        current, slope = now.current(va)
        room = va - floor[active]
        capped = on[active] & ~limited & np.isfinite(limit[active]) & (floor[active] < turn[active])
        chord = np.divide(limit[active] - current, room, out=np.full_like(va, np.inf), where=capped & (room > 0))
        slope = np.minimum(slope, chord)
        f = va - now.base + _times(now.z, current)
        step = _solved(eye - now.z * slope[:, None, :], f)
        new = va - step
        unit = now.unit[:, None]
        good = np.all((new > _NOTHING * unit) | ~now.need, axis=1) & np.all(step >= -_UPWARDS * unit, axis=1)
        small = good & (np.abs(step).max(axis=1) <= _STEP * now.unit)
        v[active] = np.where(good[:, None], new, va)
        state[active[~good]] = _REFUTED
        state[active[small]] = _FOUND
        active = active[good & ~small]
    for row in active:
        v[row], state[row] = _smallest_set(of.rows(np.array([row])), turn[row], v[row])
    return v, state, steps


def _with_limited(of: _Problem, fixed: Mask, turn: Array, start: Array) -> tuple[Array, NDArray[np.intp], int]:
    """
    Loads `fixed` at their limits, all others without: voltages, whether that solves the problem itself, steps.

    Loads without limit draw at least as much, so this greatest solution is at or below the one sought; where it has them at
    or above V_lim it solves both problems, so (if no load is fixed that need not be) it is the one.
    """
    drawn = np.where(fixed, 0.0 if of.limit is None else of.limit, 0.0)
    base, power = of.base - _times(of.z, drawn), np.where(fixed, 0.0, of.power)
    hopeless = np.any(of.need & (base <= 0), axis=1)
    v, state, steps = _fallen(
        _Problem(np.where(hopeless[:, None], of.base, base), of.z, power, None, of.need, of.unit), start
    )
    state = np.where(hopeless | ((state == _FOUND) & ~np.all(fixed | (v >= turn), axis=1)), _REFUTED, state)
    return v, state, steps


def _smallest_set(of: _Problem, turn: Array, start: Array) -> tuple[Array, int]:
    """One scenario: the smallest set of limited loads whose solution agrees with it, or proof that there is none."""
    low = (of.power > 0) & (start <= turn)
    free = np.flatnonzero((of.power > 0) & ~low & (turn > 0))
    if free.size > _MOST_UNDECIDED:
        return start, _UNSURE
    sets = np.arange(2**free.size)
    fixed = np.repeat(low, sets.size, axis=0)
    fixed[:, free] = (sets[:, None] >> np.arange(free.size)) & 1
    fixed = fixed[np.argsort(fixed.sum(axis=1), kind="stable")]
    v, state, _ = _with_limited(
        of.rows(np.zeros(sets.size, np.intp)), fixed, turn, np.repeat(start[None], sets.size, axis=0)
    )
    agrees = (state == _FOUND) & np.all(~fixed | (v <= turn), axis=1)
    if agrees.any():
        first = int(np.argmax(agrees))
        return v[first], _FOUND if np.all(state[:first] != _UNSURE) else _UNSURE
    return start, _REFUTED if np.all(state != _UNSURE) else _UNSURE


def _stable(of: _Problem, v: Array) -> Mask:
    """All eigenvalues of `D^1/2 Z D^1/2`, `D = -dI/dV`, below 1: those of the symmetric matrix with the values of `Z D`."""
    root = np.sqrt(of.current(v)[1])
    return np.asarray(np.linalg.eigvalsh(root[:, :, None] * of.z * root[:, None, :]).max(axis=1, initial=0.0) < 1)


def _followed(of: _Problem, start: Array) -> tuple[Array, NDArray[np.intp], int]:
    """
    Z of mixed signs: the stable solution, followed from no load to full load in steps that shrink where Newton's method fails.

    What is found is stable; what is not found is not refuted.
    """
    s, m = start.shape
    eye = np.eye(m)
    best = np.array(of.base)
    low, step = np.zeros(s), np.ones(s)
    state = np.full(s, _UNSURE)
    active = np.arange(s)
    steps = 0
    while active.size:
        share = np.minimum(low[active] + step[active], 1.0)
        whole = of.rows(active)
        limit = None if whole.limit is None else whole.limit * share[:, None]
        part = _Problem(whole.base, whole.z, whole.power * share[:, None], limit, whole.need, whole.unit)
        v = best[active]
        for _ in range(_MOST_STEPS):
            steps += 1
            current, slope = part.current(v)
            f = v - part.base + _times(part.z, current)
            close = np.abs(f).max(axis=1) <= _STEP * part.unit
            lost = np.isnan(f).any(axis=1)
            if np.all(close | lost):
                break
            new = v - _solved(eye - part.z * slope[:, None, :], f)
            above = np.all((new > _NOTHING * part.unit[:, None]) | ~part.need, axis=1)
            v = np.where(close[:, None], v, np.where(above[:, None], new, np.nan))
        v = np.where(close[:, None], v, best[active])
        close &= _stable(part, v)
        good = active[close]
        best[good], low[good] = v[close], share[close]
        step[active] = np.where(close, 2 * step[active], step[active] / 2)
        state[good] = np.where(low[good] >= 1, _FOUND, _UNSURE)
        active = active[(low[active] < 1) & (step[active] >= _LEAST_SHARE)]
    return best, state, steps


def collapse(
    voc: Array,
    z: Array,
    power: Array,
    tolerance: float,
    *,
    limit: Array | None = None,
    held: Mask | None = None,
    fed: Mask | None = None,
) -> Array:
    """
    Largest common factor on `power` with a solution, [s]; the lower end of a bracket of relative width `tolerance`.

    Brackets: from above, each port alone, `Voc^2 / (4 Z_ii P)`, or all loads at their current limits where each has one. From
    below, `V -> Voc - Z (P / V)` maps [Voc/2, Voc] into itself up to `min_i Voc_i / (4 sum_j Z_ij P_j / Voc_j)`. Each round
    starts from the solution at the lower end, which lies above the one sought. Infinite where no factor is too much, 0 where
    there is no solution without power.
    """
    fed = voc > 0 if fed is None else fed
    power = np.where(fed if limit is None else fed & (limit > 0), power, 0.0)
    on = power > 0
    need = on if held is None else on | (held & fed)
    live = np.all((voc > 0) | ~need, axis=1)
    safe = np.where(voc > 0, voc, 1.0)
    sag = _times(np.maximum(z, 0.0), power / safe)
    low = np.divide(voc, 4 * sag, out=np.full_like(voc, np.inf), where=(sag > 0) & need).min(axis=1, initial=np.inf)

    capped = np.zeros_like(on) if limit is None else on & np.isfinite(limit)
    own = np.diagonal(z, axis1=1, axis2=2) * np.where(capped, 0.0, power)
    high = np.divide(voc * voc, 4 * own, out=np.full_like(voc, np.inf), where=own > 0).min(axis=1, initial=np.inf)
    if limit is not None and capped.any():
        # from this factor on, each load with a limit is at it
        most = np.divide(limit * voc, power, out=np.zeros_like(voc), where=capped)
        lowest = voc - _times(z, np.where(capped, limit, 0.0))
        fails = np.any(need & (lowest <= 0), axis=1)
        high = np.minimum(high, np.where(fails, most.max(axis=1, initial=0.0), np.inf))

    factor = np.where(live, np.inf, 0.0)
    rows = np.flatnonzero(live & np.isfinite(high))
    lo, hi = np.minimum(low, high)[rows] * (1 - 1e-9), high[rows] * (1 + 1e-9)

    def found_at(share: Array, start: Array | None) -> Found:
        return newton(
            voc[rows],
            z[rows],
            power[rows] * share[:, None],
            start,
            limit=None if limit is None else limit[rows],
            held=None if held is None else held[rows],
            fed=fed[rows],
        )

    at_low = found_at(lo, None)
    lo = np.where(at_low.exists, lo, 0.0)
    v = np.where(at_low.exists[:, None], at_low.v, voc[rows])
    while rows.size:
        open_ = hi - lo > tolerance * hi
        factor[rows[~open_]] = lo[~open_]
        rows, lo, hi, v = rows[open_], lo[open_], hi[open_], v[open_]
        if not rows.size:
            break
        mid = (lo + hi) / 2
        found = found_at(mid, v)
        lo, hi = np.where(found.exists, mid, lo), np.where(found.exists, hi, mid)
        v = np.where(found.exists[:, None], found.v, v)
    return factor
