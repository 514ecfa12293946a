"""
Cut-outs: which radio drops first as the source falls, which follow, which come back as it rises, and which hunt.

Quasi-static: the source moves slower than anything else, and between two events the load flow holds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.checked import not_negative
from upmast.power.crossing import TIE_V, Crossing, crossing, first_of, seen_from_loads
from upmast.power.network import Network
from upmast.power.newton import newton

__all__ = ["Cascade", "Drop", "Hunting", "fall", "first_drop", "hunting", "rise"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
CUT_OUT, COLLAPSE, START, NONE = "cut-out", "collapse", "start", "none"


@dataclass(frozen=True, slots=True, eq=False)
class Drop:
    """
    Where the first radio drops as the source falls. Leading axes are scenarios.

    emf_v [...]: of the source, at that moment; 0 where nothing drops. radio [...]: which, -1 for none. kind [...]: 'cut-out';
    'collapse' where no operating point is left though every radio is still above its cut-out (`radio` is then the one nearest
    to it); 'none'. terminal_v, bus_v [...]: at that radio and at the bars, just before.
    """

    emf_v: Array
    radio: Index
    kind: NDArray[np.str_]
    terminal_v: Array
    bus_v: Array


@dataclass(frozen=True, slots=True, eq=False)
class Cascade:
    """
    What happens one after the other, n events, m radios.

    emf_v [n]: of the source. radio [n]: which. kind [n]: 'cut-out', 'collapse' (no operating point with it) or 'start'.
    terminal_v, bus_v [n]: at that radio and at the bars just before; NaN where there was no operating point.
    after_v [n]: at that radio just after: open circuit for one that dropped, loaded for one that started.
    tried_v [n]: emf at which the radio first tries to start; below `emf_v` it starts and drops again. `emf_v` for a drop.
    on [n, m]: who is on afterwards. on_first, on_last [m]: who is on before and after all of it.
    """

    emf_v: Array
    radio: Index
    kind: tuple[str, ...]
    terminal_v: Array
    bus_v: Array
    after_v: Array
    tried_v: Array
    on: Mask
    on_first: Mask
    on_last: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Hunting:
    """
    Per radio [m]: `hunts` it starts again as soon as it has dropped; `drops` it drops at all within the range of the source;
    `emf_v` at which; `rebound_v` of its terminals just after. NaN where it does not drop.
    """

    hunts: Mask
    drops: Mask
    emf_v: Array
    rebound_v: Array


def _checked(network: Network, **inputs: ArrayLike) -> list[Array]:
    m = network.port_plus.size
    arrays = []
    for name, array in zip(inputs, not_negative(finite=True, **inputs), strict=True):
        if array.ndim and array.shape[-1] not in (1, m):
            raise ValueError(f"{name} needs {m} ports on its last axis")
        arrays.append(np.broadcast_to(array, (*array.shape[:-1], m)))
    return arrays


def first_drop(network: Network, power_w: ArrayLike, cut_out_v: ArrayLike, bus: tuple[int, int] | None = None) -> Drop:
    """
    Which radio drops first as the source falls, and at what emf and bar voltage; all scenarios at once.

    `min(V_k(E) - V_cut,k) = 0`, by Newton's method on E. There is one such emf, wherever the source stands now.

    Parameters
    ----------
    network: `emf_v` is not used.
    power_w [W] [..., m]: constant power while on; 0 for a radio that is off.
    cut_out_v [V] [..., m] or one for all; 0 for a load without one.
    bus: plus and minus node of the plant's bars; the nodes of the source if None.

    Returns
    -------
    Drop. The emf may lie below the plant's end of discharge: then the plant disconnects first.

    Source: own derivation; E = 40.5 V + 0.312 ohm x 900 W / 40.5 V for one pair.

    >>> pair = Network(5, [0, 2, 4], [2, 3, 1], [0.012, 0.15, 0.15], 0, 1, 51.0, [3], [4])
    >>> drop = first_drop(pair, [900.0], [40.5])
    >>> round(float(drop.emf_v), 4), int(drop.radio), str(drop.kind)
    (47.4333, 0, 'cut-out')
    """
    power, cut = _checked(network, power_w=power_w, cut_out_v=cut_out_v)
    h, z, rows = seen_from_loads(network, bus)
    m = network.port_plus.size
    shape = np.broadcast_shapes(rows, power.shape[:-1], cut.shape[:-1])
    pick = np.broadcast_to(np.arange(h.shape[0]).reshape(rows), shape).reshape(-1)
    h, z = h[pick], z[pick]
    p, c = (_with_bars(np.broadcast_to(x, (*shape, m)).reshape(-1, m)) for x in (power, cut))
    p = np.where(h > 0, p, 0.0)
    watched = p > 0
    at = crossing(h, z, p, c, watched)
    idle = ~watched.any(axis=1)
    kind = np.where(idle, NONE, np.where(at.folded, COLLAPSE, CUT_OUT))
    terminal = np.take_along_axis(at.v, at.port[:, None], axis=1)[:, 0]
    emf, terminal, bars = (np.where(idle, 0.0, x).reshape(shape) for x in (at.emf, terminal, at.v[:, -1]))
    return Drop(emf, np.where(idle, -1, at.port).reshape(shape), kind.reshape(shape), terminal, bars)


def _with_bars(rows: Array) -> Array:
    """[s, m] with a column of zeros for the bars."""
    return np.concatenate([rows, np.zeros((rows.shape[0], 1))], axis=1)


class _Line:
    """One line with its radios: load flows and crossings for sets of radios that are on."""

    def __init__(self, network: Network, power_w: ArrayLike, cut_out_v: ArrayLike, bus: tuple[int, int] | None) -> None:
        power, cut = _checked(network, power_w=power_w, cut_out_v=cut_out_v)
        h, z, rows = seen_from_loads(network, bus)
        if rows or power.ndim > 1 or cut.ndim > 1:
            raise ValueError("one line at a time: no scenarios on the leading axes")
        self.h, self.z = h, z
        self.power, self.cut = _with_bars(power[None]), _with_bars(cut[None])
        self.radios = (self.power[0] > 0) & (h[0] > 0)  # bars included, never a radio

    def _drawn(self, on: Mask) -> Array:
        return np.asarray(np.where(on, self.power, 0.0))

    def flow(self, on: Mask, emf: float) -> Array | None:
        found = newton(self.h * emf, self.z, self._drawn(on[None]))
        return found.v[0] if found.exists[0] else None

    def crossing(self, on: Mask, cut: Array | None = None, watched: Mask | None = None) -> Crossing:
        """For rows of sets [s, m + 1]."""
        s = on.shape[0]
        return crossing(
            np.repeat(self.h, s, axis=0),
            np.repeat(self.z, s, axis=0),
            self._drawn(on),
            np.broadcast_to(self.cut, on.shape) if cut is None else cut,
            on if watched is None else watched,
        )

    def start_v(self, start_v: ArrayLike) -> Array:
        m = self.radios.size - 1
        start = np.asarray(start_v, float)
        if not np.all(start > 0) or not np.all(np.isfinite(start)):
            raise ValueError("start_v must be positive")
        if start.ndim and start.shape[-1] not in (1, m):
            raise ValueError(f"start_v needs {m} ports on its last axis")
        return np.append(np.broadcast_to(start, (m,)), 0.0)


class _Record:
    """Collects events."""

    def __init__(self, on: Mask) -> None:
        self.first = on.copy()
        self.rows: list[tuple[float, int, str, float, float, float, float, Mask]] = []

    def add(
        self, emf: float, radio: int, kind: str, before: Array | None, after: Array | None, tried: float, on: Mask
    ) -> None:
        terminal, bars = (np.nan, np.nan) if before is None else (float(before[radio]), float(before[-1]))
        then = np.nan if after is None else float(after[radio])
        self.rows.append((emf, radio, kind, terminal, bars, then, tried, on[:-1].copy()))

    def cascade(self, on: Mask) -> Cascade:
        emf, terminal, bars, after, tried = (np.array([row[i] for row in self.rows], float) for i in (0, 3, 4, 5, 6))
        radio = np.array([row[1] for row in self.rows], np.intp)
        kind = tuple(row[2] for row in self.rows)
        then = np.array([row[7] for row in self.rows], bool).reshape(-1, on.size - 1)
        return Cascade(emf, radio, kind, terminal, bars, after, tried, then, self.first[:-1], on[:-1].copy())


def fall(
    network: Network,
    power_w: ArrayLike,
    cut_out_v: ArrayLike,
    from_v: float,
    to_v: float = 0.0,
    start_v: ArrayLike | None = None,
    bus: tuple[int, int] | None = None,
) -> Cascade:
    """
    What drops, one after the other, as the source falls slowly.

    At each emf the load flow is solved with the radios that are on; where one reaches its cut-out it is taken off, the rest
    recover, and the search goes on below. Radios that reach it together go one by one, in the order of the list.

    Parameters
    ----------
    network: without scenarios; `emf_v` is not used.
    power_w [W] [m]: 0 for a radio that is off from the beginning. cut_out_v [V] [m] or one for all; 0 for a load without one.
    from_v, to_v [V]: emf at the beginning, with all radios on, and at the end.
    start_v [V] [m]: if given, a radio that is off comes back when its terminals reach it and it then stays on (as another
        drops). None: off is off.
    bus: plus and minus node of the plant's bars; the nodes of the source if None.

    Returns
    -------
    Cascade. A radio without operating point or below its cut-out at `from_v` drops there.

    Source: own derivation (quasi-static: the source falls slower than anything else).

    >>> bars = Network(6, [0, 2, 2], [2, 3, 4], [0.02, 0.1, 0.2], 0, 1, 50.0, [3, 4], [1, 1])
    >>> down = fall(bars, [600.0, 600.0], 40.0, 50.0)
    >>> down.radio.tolist(), down.emf_v.round(3).tolist()
    ([1, 0], [43.589, 41.8])
    """
    line = _Line(network, power_w, cut_out_v, bus)
    _source_range(to_v, from_v)
    start = None if start_v is None else line.start_v(start_v)
    on = line.radios.copy()
    record = _Record(on)
    emf = float(from_v)
    while on.any():
        at = line.crossing(on[None])
        lower = float(at.emf[0])
        v: Array | None = at.v[0]
        k, kind = int(at.port[0]), COLLAPSE if at.folded[0] else CUT_OUT
        if lower > emf + TIE_V:
            v = line.flow(on, emf)
            kind = COLLAPSE if v is None else CUT_OUT
            if v is not None:
                k = int(first_of((v - line.cut[0])[None], on[None])[1][0])
        elif lower < to_v:
            break
        emf = min(emf, lower)
        on[k] = False
        after = line.flow(on, emf)
        record.add(emf, k, kind, v, after, emf, on)
        while start is not None and after is not None:
            back = _comes_back(line, on, k, emf, after, start)
            if back is None:
                break
            before, on[back] = after, True
            after = line.flow(on, emf)
            record.add(emf, back, START, before, after, emf, on)
    return record.cascade(on)


def _comes_back(line: _Line, on: Mask, dropped: int, emf: float, v: Array, start: Array) -> int | None:
    """The first radio in the list that is off, sees its start voltage, and stays on with all others at this emf."""
    waiting = line.radios & ~on & (v >= start)
    waiting[dropped] = False  # it just could not stay on
    candidates = np.flatnonzero(waiting)
    if not candidates.size:
        return None
    sets = np.repeat(on[None], candidates.size, axis=0)
    sets[np.arange(candidates.size), candidates] = True
    holds = line.crossing(sets).emf < emf - TIE_V
    return int(candidates[holds][0]) if holds.any() else None


def _source_range(low_v: float, high_v: float) -> None:
    if not 0 <= low_v <= high_v < np.inf:
        raise ValueError("the range of the source is missing, negative or the wrong way round")


def rise(
    network: Network,
    power_w: ArrayLike,
    cut_out_v: ArrayLike,
    start_v: ArrayLike,
    from_v: float,
    to_v: float,
    on: ArrayLike | None = None,
    bus: tuple[int, int] | None = None,
) -> Cascade:
    """
    What starts, one after the other, as the source rises slowly.

    A radio that is off sees the open-circuit voltage of its port, with the load of the others. It tries to start at
    `V >= V_start`, and counts as on from the emf at which it and all others stay above their cut-outs with it; between the two
    it starts and drops again (`Cascade.tried_v`).

    Parameters
    ----------
    network, power_w, cut_out_v, bus: as for `fall`. start_v [V] [m] or one for all.
    from_v, to_v [V]: emf at the beginning and at the end.
    on [m]: who is on at the beginning; None for nobody.

    Raises
    ------
    ValueError
        If those who are on at the beginning can't be.

    Source: own derivation (quasi-static).

    >>> bars = Network(6, [0, 2, 2], [2, 3, 4], [0.02, 0.1, 0.2], 0, 1, 50.0, [3, 4], [1, 1])
    >>> up = rise(bars, [600.0, 600.0], 40.0, 44.0, 40.0, 54.0)
    >>> up.radio.tolist(), up.emf_v.round(3).tolist()
    ([0, 1], [44.0, 44.282])
    """
    line = _Line(network, power_w, cut_out_v, bus)
    _source_range(from_v, to_v)
    start = line.start_v(start_v)
    now = np.zeros_like(line.radios)
    if on is not None:
        now[:-1] = np.asarray(on, bool)
        now &= line.radios
    emf = float(from_v)
    if now.any() and float(line.crossing(now[None]).emf[0]) > emf + TIE_V:
        raise ValueError("the radios that are on at the beginning don't stay on at that voltage")
    record = _Record(now)
    while (off := np.flatnonzero(line.radios & ~now)).size:
        row = np.arange(off.size)
        alone = np.zeros((off.size, now.size), bool)
        alone[row, off] = True
        sets = np.repeat(now[None], off.size, axis=0)
        tries = line.crossing(sets, np.broadcast_to(start, sets.shape), alone).emf
        holds = line.crossing(sets | alone).emf
        tries = np.maximum(tries, emf)
        both = np.maximum(tries, holds)
        i = int(np.argmax(both <= both.min() + TIE_V))
        if both[i] > to_v:
            break
        emf = float(both[i])
        before = line.flow(now, emf)
        now = sets[i] | alone[i]
        # at the very edge of its cut-out
        after = line.flow(now, emf * (1 + 1e-12))
        record.add(emf, int(off[i]), START, before, after, float(tries[i]), now)
    return record.cascade(now)


def hunting(
    network: Network,
    power_w: ArrayLike,
    cut_out_v: ArrayLike,
    start_v: ArrayLike,
    from_v: float,
    to_v: float = 0.0,
    bus: tuple[int, int] | None = None,
) -> Hunting:
    """
    Which radios start again as soon as they have dropped: `V_open >= V_start` at the emf at which they drop.

    Parameters
    ----------
    network, power_w, cut_out_v, from_v, to_v, bus: as for `fall`. start_v [V] [m] or one for all.

    Source: own derivation. One pair: V_open is the emf, so it hunts if `V_start <= V_cut + R P / V_cut`.

    >>> pair = Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, 51.0, [2], [3])
    >>> [bool(hunting(pair, [900.0], 40.5, start, 51.0).hunts[0]) for start in (44.0, 48.0)]
    [True, False]
    """
    down = fall(network, power_w, cut_out_v, from_v, to_v, None, bus)
    m = down.on_first.size
    start = np.asarray(start_v, float)
    if not np.all(start > 0) or (start.ndim and start.shape[-1] not in (1, m)):
        raise ValueError(f"start_v must be positive, one for all or one for each of the {m} ports")
    drops = np.zeros(m, bool)
    emf, rebound = np.full(m, np.nan), np.full(m, np.nan)
    drops[down.radio] = True
    emf[down.radio], rebound[down.radio] = down.emf_v, down.after_v
    hunts = drops & (np.where(drops, rebound, -np.inf) >= np.broadcast_to(start, (m,)))
    return Hunting(hunts, drops, emf, rebound)
