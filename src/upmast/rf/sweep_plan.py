"""Which sweep to ask for: span and points, so that joints are told apart and the whole line is seen."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.distance import range_m, resolution_m

__all__ = ["WINDOW_WIDTHS", "SweepPlan", "plan_sweep", "window_width"]

Array = NDArray[np.float64]
# width between -6 dB points in units of v / (2 B), and highest side lobe in dB, of a Kaiser window by beta: own computation
WINDOW_WIDTHS = {0.0: (1.21, -13.3), 4.0: (1.66, -30.0), 6.0: (1.96, -43.8), 8.0: (2.22, -58.6), 10.0: (2.46, -74.1)}
POINTS = (201, 401, 801, 1601, 3201)  # usual counts of instruments: common practice, no source
BEYOND = 1.2  # of the line's length, so that its end is not at the edge of what is seen


class SweepPlan(NamedTuple):
    """
    What to ask for.

    low_hz, high_hz, points. resolution_m: two joints that far apart are told apart with the window. range_m: of the sweep.
    enough_span: the span asked for is within what the line and the instrument bear; enough_points likewise.
    """

    low_hz: float
    high_hz: float
    points: int
    resolution_m: float
    range_m: float
    enough_span: bool
    enough_points: bool


def window_width(beta: ArrayLike) -> Array:
    """
    Width of a Kaiser window between its -6 dB points in units of `v / (2 B)`, between the tabulated values of beta.

    Parameters
    ----------
    beta: 0 to 10, any shape.

    Source: own computation from the transform of the window, see F. J. Harris, Proc. IEEE 66 (1978), 51, for the figure of merit.

    >>> window_width([0.0, 6.0])
    array([1.21, 1.96])
    """
    b = np.asarray(beta, float)
    known = sorted(WINDOW_WIDTHS)
    if np.any(~((b >= known[0]) & (b <= known[-1]))):
        raise ValueError("beta lies between 0 and 10")
    return np.asarray(np.interp(b, known, [WINDOW_WIDTHS[k][0] for k in known]))


def plan_sweep(
    length_m: float,
    least_spacing_m: float,
    velocity_factor: float,
    centre_hz: float,
    lowest_hz: float,
    highest_hz: float,
    beta: float = 6.0,
) -> SweepPlan:
    """
    Span and points of a sweep that tells joints apart and sees the whole line.

    Span `B = w v / (2 d)` with the window's width w; points so that `v / (2 df)` is 1.2 times the electrical length.

    Parameters
    ----------
    length_m [m]: of the whole line. least_spacing_m [m]: of the nearest two joints that are to be told apart. velocity_factor [1]: the
    least of its cables. centre_hz [Hz]: round which it is swept. lowest_hz, highest_hz [Hz]: what the line and the instrument bear.
    beta: of the window.

    Returns
    -------
    `SweepPlan`; where the span is not to be had the widest is given, and said so.

    Source: `upmast.rf.distance.resolution_m` and `range_m`.

    >>> plan_sweep(40.0, 2.0, 0.85, 1.9e9, 0.7e9, 2.7e9).points
    201
    """
    if not (length_m > 0 and least_spacing_m > 0 and 0 < velocity_factor <= 1):
        raise ValueError("lengths above 0 and a velocity factor above 0, at most 1")
    if not 0 < lowest_hz <= centre_hz <= highest_hz:
        raise ValueError("the centre lies within what can be swept")
    width = float(window_width(beta))
    unit = float(resolution_m(1.0, velocity_factor))  # v / 2, for a span of 1 Hz
    need = width * unit / least_spacing_m
    span = min(need, highest_hz - lowest_hz)
    low = min(max(centre_hz - span / 2, lowest_hz), highest_hz - span)
    step = float(range_m(1.0, velocity_factor)) / (BEYOND * length_m)
    count = math.ceil(span / step) + 1
    points = next((p for p in POINTS if p >= count), POINTS[-1])
    df = span / (points - 1)
    return SweepPlan(
        low, low + span, points, width * float(resolution_m(span, velocity_factor)), float(range_m(df, velocity_factor)),
        need <= highest_hz - lowest_hz + 1e-6, points >= count,
    )  # fmt: skip
