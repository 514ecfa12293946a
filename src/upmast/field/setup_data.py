"""
What was done to the numbers of a sweep before they came here: cut off, rounded, filled in, smoothed. Told from the numbers alone.

Thresholds by own trials on simulated sweeps, see the tests: at most one clean sweep in a hundred gets a word above a note.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from upmast.field.measurement import CEILING_DB, Complexes, Floats, Sweep, share_of
from upmast.field.remark import Remark
from upmast.number import number
from upmast.rf.distance import frequency_step_hz, window

__all__ = ["check_data"]

LEAST_POINTS = 64  # of fewer nothing is said
CUT_SHARE = 0.03  # of all points at one extreme value
CUT_OVER = 4.0  # times as many as at any of the next values
CUT_PLACES = 3  # of dB: the rounding of real and imaginary part to six places spreads one value no further
FEW_SHARE = 0.25  # of distinct values to points
COARSE_DB = 0.05  # a step of return loss below this is fine
ROUNDING_FLOOR_DB = -60.0  # rounding below this is lost in noise
FILLED_SHARE, FILLED_CURVE = (
    0.4,
    0.01,
)  # share of points that lie on the line through their neighbours; of the usual curvature
REPEATED_SHARE = 0.2
SMOOTH_DB = 6.0  # noise far from the line, below that near it
SMOOTH_BINS = 20
DEEP_BETA = 14.0  # side lobes below -100 dB: the line's own response stays off the noise
LEAK_DB = -103.0  # of the strongest reflection
LINE_SHARE = 0.3  # of the range; a longer line leaves no room to look for the noise


def check_data(sweep: Sweep, delay_s: float, steep: bool = False) -> list[Remark]:
    """
    Remarks on the numbers of a sweep.

    Parameters
    ----------
    delay_s [s]: one way, of the line as designed.
    steep : something with the edges of a band stands in the line, as an antenna; its echo reaches far, and smoothing is not told.
    """
    if sweep.points < LEAST_POINTS:
        return []
    cut = _cut(sweep)
    out = [*_merged(sweep), *cut]
    rounded = _rounded(sweep)
    out += rounded
    if not rounded:  # of rounded numbers many are equal by chance
        filled = _filled(sweep)
        out += filled or ([] if steep or cut else _smoothed(sweep, delay_s))  # of a cut nothing of noise is told
    return out


def _merged(sweep: Sweep) -> list[Remark]:
    """Frequencies that the file held twice; the reader has kept the first row of each."""
    words = [text for text in sweep.mended if "repeated frequencies" in text]
    return (
        [Remark("repeated", "note", words[0], "save the sweep again as one sweep, not as two joined")] if words else []
    )


def _cut(sweep: Sweep) -> list[Remark]:
    """Return loss that stops at one value: a scale of the instrument, or an export with a ceiling."""
    least = max(4.0, CUT_SHARE * sweep.points)
    rising, same = sweep.rising_db, 10.0**-CUT_PLACES
    alike = max(rising.size - rising.searchsorted(rising[-1] - same), rising.searchsorted(rising[0] + same, "right"))
    if alike < least and _distinct(sweep.bounded_db[:32], same) >= 8:  # most sweeps: what is counted below is not needed
        return []
    rl = np.round(np.clip(sweep.return_loss_db, -CEILING_DB, CEILING_DB), CUT_PLACES)
    values, counts = np.unique(rl, return_counts=True)
    if values.size < 8:
        if values.size == 1:
            return [
                Remark(
                    "cut", "stop", f"every point has the same return loss, {number(float(values[0]), 'dB')}",
                    "look at the scale of the instrument and whether it swept, and sweep again",
                )
            ]  # fmt: skip
        return []
    out = []
    if counts[-1] >= least and counts[-1] > CUT_OVER * counts[-5:-1].max() and _runs(rl == values[-1]) >= 2:
        out.append(
            Remark(
                "cut", "note", f"{int(counts[-1])} points stand at {number(float(values[-1]), 'dB')} exactly: what was better is cut off there",
                "export the sweep without a ceiling, in real and imaginary part",
            )
        )  # fmt: skip
    if counts[0] >= least and counts[0] > CUT_OVER * counts[1:5].max() and _runs(rl == values[0]) >= 2:
        out.append(
            Remark(
                "cut", "stop", f"{int(counts[0])} points stand at {number(float(values[0]), 'dB')} exactly: what was worse is cut off there",
                "set the scale of the instrument so that the worst value is on it, and sweep again",
            )
        )  # fmt: skip
    return out


def _runs(flags: NDArray[np.bool_]) -> int:
    """The longest row of neighbours."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def _distinct(values: Floats, apart: float) -> int:
    """How many of some values differ by more than a rounding, at least."""
    rising = np.sort(values)
    return 1 + int(np.count_nonzero(rising[1:] - rising[:-1] > apart))


def _step(values: Floats) -> float:
    """The step that numbers were rounded to; 0 where most of them differ."""
    most = int(FEW_SHARE * values.size) + 1
    if _distinct(values[: most + 8], 1e-9) > FEW_SHARE * values.size:  # most sweeps
        return 0.0
    distinct = np.unique(np.round(values, 9))
    if distinct.size > FEW_SHARE * values.size or distinct.size < 2:
        return 0.0
    gaps = np.diff(distinct)
    step = float(gaps.min())
    whole = np.abs(gaps / step - np.round(gaps / step))
    return step if float(np.mean(whole < 0.05)) > 0.95 else 0.0


def _rounded(sweep: Sweep) -> list[Remark]:
    """Few distinct values: an export with too few digits."""
    if not sweep.magnitude_only:
        step = max(_step(sweep.gamma.real), _step(sweep.gamma.imag))
        # two rounded parts; a step of a line that hardly reflects is no rounding of the export
        level = 20.0 * np.log10(max(step / np.sqrt(6.0), 1e-12))
        if step > 0 and level > ROUNDING_FLOOR_DB:
            return [
                Remark(
                    "rounded", "warn", f"the file holds its numbers in steps of {step:.2g}: nothing below {number(-level, 'dB')} can be seen in it",
                    "export the sweep with all its digits",
                )
            ]  # fmt: skip
    step = _step(sweep.bounded_db)
    if step >= COARSE_DB:
        level_ = "warn" if step > 0.3 else "note"
        return [
            Remark(
                "rounded", "warn" if level_ == "warn" else "note",
                f"return loss was rounded to {number(step, 'dB')}: a value may be off by half of it",
                "export the sweep with all its digits",
            )
        ]  # fmt: skip
    if not sweep.magnitude_only:
        return []
    below_one = np.minimum(sweep.magnitude, 0.999)
    step = _step((1.0 + below_one) / (1.0 - below_one))
    if step >= 0.009:
        return [
            Remark(
                "rounded", "note", f"the standing wave ratio was rounded to {step:.2g}: near 1 that is many dB",
                "export return loss, or the sweep with phase",
            )
        ]  # fmt: skip
    return []


def _filled(sweep: Sweep) -> list[Remark]:
    """Points that lie on the straight line through their neighbours, or repeat the one before: the sweep was made denser afterwards."""
    rows: list[Complexes | Floats] = [sweep.magnitude, sweep.bounded_db] if sweep.magnitude_only else [sweep.gamma]
    for row in rows:
        same = int(np.count_nonzero(row[1:] == row[:-1])) / (row.size - 1)
        if same > REPEATED_SHARE:
            return [
                Remark(
                    "filled", "warn", f"{100 * same:.0f} % of the points repeat the one before: fewer were measured than the file holds",
                    "export the sweep as it was measured, and take as many points as the test asks for",
                )
            ]  # fmt: skip
        curve = row[1:-1] - 0.5 * (row[:-2] + row[2:])
        square = curve.real**2 + curve.imag**2
        if np.count_nonzero(square <= FILLED_CURVE**2 * square.max()) <= FILLED_SHARE * square.size:  # the usual is less
            continue
        bend = np.sqrt(square)
        usual = share_of(np.sort(bend), 0.97)
        straight = float(np.mean(bend <= FILLED_CURVE * usual))
        if usual > 1e-8 and straight > FILLED_SHARE:
            measured = max(2, round(sweep.points * (1.0 - straight)))
            return [
                Remark(
                    "filled", "warn", f"{100 * straight:.0f} % of the points lie on the line through their neighbours: about {measured} were "
                    "measured, the rest was filled in",
                    "export the sweep as it was measured, and take as many points as the test asks for",
                )
            ]  # fmt: skip
    return []


@lru_cache(maxsize=32)
def _window(points: int) -> Floats:
    return window(points, DEEP_BETA)


def _power(response: Complexes) -> Floats:
    return np.asarray(response.real**2 + response.imag**2)


def _smoothed(sweep: Sweep, delay_s: float) -> list[Remark]:
    """
    A mean over neighbouring points: noise far from the line is weaker than noise near it.

    A real sweep has the same noise at all delays, a mean over n points lowers it most in the middle of the range.
    """
    if sweep.magnitude_only:
        return []
    try:
        step = frequency_step_hz(sweep.frequency_hz)
    except ValueError:
        return []
    if 2.0 * delay_s * step > LINE_SHARE:
        return []
    n = sweep.points
    seen = np.fft.ifft(sweep.gamma * _window(n))
    middle = _power(seen[int(0.42 * n) : int(0.58 * n)])
    near = _power(seen[int((0.95 if n > 600 else 0.92) * n) : int(0.985 * n)])  # before the port: no line is there
    if min(middle.size, near.size) < SMOOTH_BINS:
        return []
    far_, near_ = share_of(np.sort(middle), 0.5), share_of(np.sort(near), 0.5)
    if not far_ > 0:
        return []
    below = 10.0 * math.log10(near_ / far_) if near_ > 0 else -math.inf
    # the side lobes of the line itself are not taken for noise
    if below < SMOOTH_DB or near_ < float(_power(seen).max()) * 10.0 ** (LEAK_DB / 10.0):
        return []
    return [
        Remark(
            "smoothed", "warn", f"the noise in the middle of its range is {number(below, 'dB')} below that near the line: the sweep was smoothed, and "
            "its worst points are flattened",
            "switch smoothing off and sweep again; a narrower filter or a mean of whole sweeps does no harm",
        )
    ]  # fmt: skip
