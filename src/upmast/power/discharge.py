"""
How long each radio lasts on battery: discharge from event to event, down to the plant's disconnect or the empty battery.

Between two events the set of radios that are on does not change, and time is an integral over the depth of discharge:
`dt/dd = t_n (I_n / I(d))^k`, with I(d) from the load flow at the emf and inner resistance at d. The inner resistance is added
to the wires by a change of rank one, so the wires are eliminated once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.power.cells import Battery, emf_v, energy_wh
from upmast.power.crossing import TIE_V
from upmast.power.network import Network
from upmast.power.plant import Plant, Points, pick

__all__ = ["Discharge", "PriceTag", "discharge", "price_tag"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]
CUT_OUT, COLLAPSE, DISCONNECT, EMPTY, IDLE = "cut-out", "collapse", "disconnect", "empty", "idle"
# Clenshaw-Curtis: 9 points, of which 5 make the coarse rule that the fine one is checked by.
_POINTS = 9
_TOLERANCE = 1e-7
_NEGLIGIBLE = 1e-10
_MOST_HALVINGS = 30
_MOST_STEPS = 100
# Depth of discharge to which an event is located.
_DOD = 1e-13


@dataclass(frozen=True, slots=True, eq=False)
class Discharge:
    """
    A discharge of m radios with n events and p points along it.

    minutes [m]: how long each radio runs, 0 for one that is off from the beginning. to_the_end [m]: it runs until the end of
    the discharge, not to a drop of its own.
    event_* [n]: event_minutes, event_dod, event_emf_v, event_kind ('cut-out', 'collapse': no operating point with it),
    event_radio, event_terminal_v and event_bus_v just before (NaN where there was no operating point), event_a: battery
    current just before.
    end_minutes, end_dod; end: 'disconnect' of the plant at the voltage of the bars, 'empty', 'idle' (nothing is left that
    draws current) or 'collapse' (the load on the bars alone is too much).
    first_a, last_a: battery current at the beginning and at the end.
    stop_dod: where the first radio drops, or the end if none does. left_fraction, left_wh: of the full battery, left there.
    unusable_fraction, unusable_wh: what the same radios would still have drawn if they stood at the bars, that is what the
    drop in the line costs.
    trace_* [p]: trace_minutes, trace_dod, trace_emf_v, trace_bus_v, trace_a; trace_terminal_v [p, m], open circuit after a drop.
    """

    minutes: Array
    to_the_end: Mask
    event_minutes: Array
    event_dod: Array
    event_emf_v: Array
    event_kind: tuple[str, ...]
    event_radio: Index
    event_terminal_v: Array
    event_bus_v: Array
    event_a: Array
    end_minutes: float
    end_dod: float
    end: str
    first_a: float
    last_a: float
    stop_dod: float
    left_fraction: float
    left_wh: float
    unusable_fraction: float
    unusable_wh: float
    trace_minutes: Array
    trace_dod: Array
    trace_emf_v: Array
    trace_bus_v: Array
    trace_a: Array
    trace_terminal_v: Array


@dataclass(frozen=True, slots=True, eq=False)
class PriceTag:
    """
    What each of k alternatives of a line buys.

    first_minutes [k]: until the first radio drops, or to the end. radio [k]: which, -1 for none. end_minutes [k]; minutes [k, m]
    per radio; unusable_fraction, unusable_wh [k]; gained_minutes [k]: `first_minutes` over that of the first alternative.
    """

    first_minutes: Array
    radio: Index
    end_minutes: Array
    minutes: Array
    unusable_fraction: Array
    unusable_wh: Array
    gained_minutes: Array


@cache
def _rule() -> tuple[Array, Array, Array]:
    """Points on 0..1, integrals from 0 to each point of the polynomials through all, weights of the coarse rule."""
    cheb = np.polynomial.chebyshev

    def running(x: Array) -> Array:
        to_series = np.linalg.inv(cheb.chebvander(x, x.size - 1))
        return np.stack([cheb.chebval(x, cheb.chebint(column, lbnd=-1)) for column in to_series.T], axis=1) / 2

    x = -np.cos(np.pi * np.arange(_POINTS) / (_POINTS - 1))
    return (x + 1) / 2, running(x), running(x[::2])[-1]


def _locate(plant: Plant, on: Mask, low: Points, high: Points) -> tuple[Points, bool]:
    """
    The event between two points, the first with a margin, the second without: the point there, and whether it is a collapse.

    First by ninths until there is an operating point on both sides, then by false position (Illinois), which keeps the bracket.
    """
    while not high.exists[0]:
        a, b = float(low.dod[0]), float(high.dod[0])
        if b - a <= _DOD * 1e3:
            return low, True
        inside = plant.at(on, a + (b - a) * np.arange(1, _POINTS) / _POINTS)
        fails = np.flatnonzero(inside.margin < 0)
        if fails.size:
            high = pick(inside, fails[:1])
        if not fails.size or fails[0] > 0:
            last = (fails[0] if fails.size else _POINTS - 1) - 1
            low = pick(inside, np.array([last]))
    a, b, fa, fb = float(low.dod[0]), float(high.dod[0]), float(low.margin[0]), float(high.margin[0])
    best, moved = low, 0
    for _ in range(_MOST_STEPS):
        if b - a <= _DOD or abs(float(best.margin[0])) <= TIE_V / 100:
            break
        x = b - fb * (b - a) / (fb - fa)
        best = plant.at(on, np.array([x if a < x < b else (a + b) / 2]))
        f = float(best.margin[0])
        if f >= 0:
            a, fa = float(best.dod[0]), f
            fb, moved = (fb / 2 if moved < 0 else fb), -1
        else:
            b, fb = float(best.dod[0]), f
            fa, moved = (fa / 2 if moved > 0 else fa), 1
    return best, False


def _integrated(
    plant: Plant, on: Mask, edges: Array, sampled: Points | None = None
) -> tuple[list[Points], list[Array]]:
    """Points of all pieces between the edges, and the hours to each point from the start of its piece; pieces in order."""
    x, running, coarse = _rule()
    low, high = edges[:-1], edges[1:]
    pieces: list[tuple[float, Points, Array]] = []
    for depth in range(_MOST_HALVINGS + 1):
        if sampled is None:
            sampled = plant.at(on, (low[:, None] + (high - low)[:, None] * x).reshape(-1))
        hours = sampled.hours.reshape(-1, _POINTS)
        span = (high - low)[:, None]
        spent = span * (hours @ running.T)
        error = np.abs(spent[:, -1] - span[:, 0] * (hours[:, ::2] @ coarse))
        good = error <= _TOLERANCE * spent[:, -1] + _NEGLIGIBLE * plant.battery.rate_hours_h
        if depth == _MOST_HALVINGS:
            good[:] = True
        for i in np.flatnonzero(good):
            pieces.append((float(low[i]), pick(sampled, slice(i * _POINTS, (i + 1) * _POINTS)), spent[i]))
        if good.all():
            break
        middle = (low + high)[~good] / 2
        low, high = (
            np.stack([low[~good], middle], axis=1).reshape(-1),
            np.stack([middle, high[~good]], axis=1).reshape(-1),
        )
        sampled = None
    pieces.sort(key=lambda piece: piece[0])
    return [piece[1] for piece in pieces], [piece[2] for piece in pieces]


def discharge(
    battery: Battery,
    network: Network,
    power_w: ArrayLike,
    cut_out_v: ArrayLike,
    disconnect_v: float = 0.0,
    base_w: float = 0.0,
    bus: tuple[int, int] | None = None,
) -> Discharge:
    """
    Discharge of a battery into a line of constant-power radios with cut-outs.

    `d(dod)/dt = (I / I_n)^k / (3600 t_n)`, `I_n = C_n / t_n`. A radio that has dropped stays off; the rest recover and last
    longer.

    Parameters
    ----------
    battery: emf, inner resistance, capacity, Peukert exponent, charge at the start.
    network: from the terminals of the battery on, which are its source nodes; `emf_v` is not used. Without scenarios.
    power_w [W] [m]: 0 for a radio that is off. cut_out_v [V] [m] or one for all; 0 for a load without one.
    disconnect_v [V]: of the plant, at the bars under load; 0 for none. base_w [W]: other load at the bars, constant power.
    bus: plus and minus node of the bars; the terminals of the battery if None.

    Returns
    -------
    Discharge. Times to 1e-6 of themselves, drops to 1e-9 V.

    Raises
    ------
    ValueError
        If nothing draws current; for shapes that don't fit, negative or missing numbers.

    Valid for steady loads; the curve of the battery is taken as the same at each rate but for its resistance and Peukert's
    exponent. Source: own derivation.

    >>> from upmast.power.cells import linear
    >>> pair = Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, 51.0, [2], [3])
    >>> run = discharge(linear(51.0, 46.0, 0.012, 100.0), pair, [900.0], 40.5)
    >>> round(run.first_a, 4), round(float(run.event_a[0]), 4), round(run.stop_dod, 6), round(60 * float(run.minutes[0]), 1)
    (20.1247, 22.2222, 0.713333, 12161.9)
    """
    plant = Plant(battery, network, power_w, cut_out_v, disconnect_v, base_w, bus)
    on = plant.radios.copy()
    if plant.idle(on):
        raise ValueError("nothing draws current: no discharge")
    m = on.size - 1
    start = dod = 1.0 - battery.charge_fraction
    hours = 0.0
    drop_hours = np.where(plant.radios[:-1], np.nan, 0.0)
    events: list[tuple[float, float, str, int, float, float, float]] = []
    trace: list[tuple[Array, Points]] = []
    first_a = last_a = float(plant.at(on, np.array([dod])).current[0])
    end = ""
    while not end:
        knots = np.concatenate([[dod], battery.dod[(battery.dod > dod) & (battery.dod < 1)], [1.0]])
        edges, sampled, at, folded = _next_event(plant, on, knots)
        if edges.size > 1:
            for piece, spent in zip(*_integrated(plant, on, edges, sampled), strict=True):
                trace.append((hours + spent, piece))
                hours += float(spent[-1])
                last_a = float(piece.current[-1])
            dod = float(edges[-1])
        if at is None:
            end = EMPTY
            break
        k, v = int(at.port[0]), at.v[0]
        if folded:
            k = plant.falls_with(on, dod)
        last_a = float(at.current[0])
        if k == m:
            end = COLLAPSE if folded else DISCONNECT
            break
        on[k] = False
        drop_hours[k] = hours
        events.append((hours, dod, COLLAPSE if folded else CUT_OUT, k, float(v[k]), float(v[-1]), last_a))
        if plant.idle(on):
            end = IDLE

    to_the_end = np.isnan(drop_hours)
    stop = events[0][1] if events else dod
    ideal = max(plant.bars_dod(start), stop)
    column = [np.array([event[i] for event in events], float) for i in (0, 1, 4, 5, 6)]
    pieces = [piece for _, piece in trace] or [plant.at(plant.radios, np.array([dod]))]
    along = np.concatenate([piece.dod for piece in pieces])
    volts = np.concatenate([piece.v for piece in pieces])
    return Discharge(
        minutes=60 * np.where(to_the_end, hours, drop_hours),
        to_the_end=to_the_end,
        event_minutes=60 * column[0],
        event_dod=column[1],
        event_emf_v=emf_v(battery, column[1]),
        event_kind=tuple(event[2] for event in events),
        event_radio=np.array([event[3] for event in events], np.intp),
        event_terminal_v=column[2],
        event_bus_v=column[3],
        event_a=column[4],
        end_minutes=60 * hours,
        end_dod=dod,
        end=end,
        first_a=first_a,
        last_a=last_a,
        stop_dod=stop,
        left_fraction=1 - stop,
        left_wh=float(energy_wh(battery, stop, 1.0)),
        unusable_fraction=ideal - stop,
        unusable_wh=float(energy_wh(battery, stop, ideal)),
        trace_minutes=60 * np.concatenate([spent for spent, _ in trace] or [np.zeros(1)]),
        trace_dod=along,
        trace_emf_v=emf_v(battery, along),
        trace_bus_v=volts[:, -1],
        trace_a=np.concatenate([piece.current for piece in pieces]),
        trace_terminal_v=volts[:, :-1],
    )


def _next_event(plant: Plant, on: Mask, knots: Array) -> tuple[Array, Points | None, Points | None, bool]:
    """
    The pieces of the curve up to the next event, their points if all of them are sampled, the point of the event, and
    whether it is a collapse. No event: up to the last knot, and None.
    """
    ahead = plant.at(on, (knots[:-1, None] + np.diff(knots)[:, None] * _rule()[0]).reshape(-1))
    fails = np.flatnonzero(~(ahead.margin >= 0))
    if not fails.size:
        return knots, ahead, None, False
    first = int(fails[0])
    if first == 0:
        return knots[:1], None, pick(ahead, slice(0, 1)), not ahead.exists[0]
    at, folded = _locate(plant, on, pick(ahead, slice(first - 1, first)), pick(ahead, slice(first, first + 1)))
    stop = float(at.dod[0])
    before = knots[knots < stop]
    return np.append(before, stop) if before.size else knots[:1], None, at, folded


def price_tag(
    battery: Battery,
    network: Network,
    branch_ohm: ArrayLike,
    power_w: ArrayLike,
    cut_out_v: ArrayLike,
    disconnect_v: float = 0.0,
    base_w: float = 0.0,
    bus: tuple[int, int] | None = None,
) -> PriceTag:
    """
    What thinner or thicker wires do to the time on battery: one discharge for each alternative.

    Parameters
    ----------
    branch_ohm [ohm] [k, nb]: resistances of the branches, the present ones first. Others: as for `discharge`.

    Source: own derivation.

    >>> from upmast.power.cells import linear
    >>> pair = Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, 51.0, [2], [3])
    >>> sizes = [[0.15, 0.15], [0.10, 0.10]]
    >>> tag = price_tag(linear(51.0, 46.0, 0.012, 100.0), pair, sizes, [900.0], 40.5)
    >>> tag.gained_minutes.round(1).tolist(), tag.unusable_wh.round().tolist()
    ([0.0, 91.8], [1339.0, 0.0])
    """
    ohm = np.asarray(branch_ohm, float)
    if ohm.ndim != 2 or not ohm.shape[0]:
        raise ValueError("branch_ohm needs the alternatives on its first axis and the branches on its second")
    runs = [
        discharge(battery, replace(network, branch_ohm=row), power_w, cut_out_v, disconnect_v, base_w, bus)
        for row in ohm
    ]
    first = np.array([run.event_minutes[0] if run.event_minutes.size else run.end_minutes for run in runs])
    return PriceTag(
        first_minutes=first,
        radio=np.array([run.event_radio[0] if run.event_radio.size else -1 for run in runs], np.intp),
        end_minutes=np.array([run.end_minutes for run in runs]),
        minutes=np.stack([run.minutes for run in runs]),
        unusable_fraction=np.array([run.unusable_fraction for run in runs]),
        unusable_wh=np.array([run.unusable_wh for run in runs]),
        gained_minutes=first - first[0],
    )
