"""
What was done to the numbers of a sweep before they came here: cut off, rounded, filled in, smoothed. Told from the numbers alone.

Thresholds by own trials on simulated sweeps, see the tests: at most one clean sweep in a hundred gets a word above a note.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from upmast.field.measurement import CEILING_DB, Complexes, Floats, Sweep, share_of
from upmast.field.remark import Remark
from upmast.field.untouched import (
    CUT_PLACES,
    CUT_SHARE,
    FEW_SHARE,
    FILLED_CURVE,
    FILLED_SHARE,
    LEAST_AT_EXTREME,
    LEAST_DISTINCT,
    REPEATED_SHARE,
    ROUND_PLACES,
    curve_of,
    glance,
    noise,
    power,
)
from upmast.number import number

__all__ = ["check_data"]

LEAST_POINTS = 64  # of fewer nothing is said
CUT_OVER = 4.0  # times as many as at any of the next values
COARSE_DB = 0.05  # a step of return loss below this is fine
ROUNDING_FLOOR_DB = -60.0  # rounding below this is lost in noise
SMOOTH_DB = 6.0  # noise far from the line, below that near it
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
    if glance(sweep).not_cut:
        return []
    rl = np.round(np.clip(sweep.return_loss_db, -CEILING_DB, CEILING_DB), CUT_PLACES)
    values, counts = np.unique(rl, return_counts=True)
    if values.size < LEAST_DISTINCT:
        if values.size == 1:
            return [
                Remark(
                    "cut", "stop", f"every point has the same return loss, {number(float(values[0]), 'dB')}",
                    "look at the scale of the instrument and whether it swept, and sweep again",
                )
            ]  # fmt: skip
        return []
    least = max(LEAST_AT_EXTREME, CUT_SHARE * rl.size)
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


def _step(values: Floats) -> float:
    """The step that numbers were rounded to; 0 where most of them differ."""
    distinct = np.unique(np.round(values, ROUND_PLACES))
    if distinct.size > FEW_SHARE * values.size or distinct.size < 2:
        return 0.0
    gaps = np.diff(distinct)
    step = float(gaps.min())
    whole = np.abs(gaps / step - np.round(gaps / step))
    return step if float(np.mean(whole < 0.05)) > 0.95 else 0.0


def _rounded(sweep: Sweep) -> list[Remark]:
    """Few distinct values: an export with too few digits."""
    if glance(sweep).not_rounded:
        return []
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
    if glance(sweep).not_filled:
        return []
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
        bend = np.sqrt(power(curve_of(row)))
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


def _smoothed(sweep: Sweep, delay_s: float) -> list[Remark]:
    """
    A mean over neighbouring points: noise far from the line is weaker than noise near it.

    A real sweep has the same noise at all delays, a mean over n points lowers it most in the middle of the range.
    """
    if sweep.magnitude_only or sweep.points < 2:
        return []
    seen = noise(sweep)
    if seen is None or not seen.far > 0 or 2.0 * delay_s * sweep.width_hz / (sweep.points - 1) > LINE_SHARE:
        return []
    below = 10.0 * math.log10(seen.near / seen.far) if seen.near > 0 else -math.inf
    # the side lobes of the line itself are not taken for noise
    if below < SMOOTH_DB or seen.near < seen.highest * 10.0 ** (LEAK_DB / 10.0):
        return []
    return [
        Remark(
            "smoothed", "warn", f"the noise in the middle of its range is {number(below, 'dB')} below that near the line: the sweep was smoothed, and "
            "its worst points are flattened",
            "switch smoothing off and sweep again; a narrower filter or a mean of whole sweeps does no harm",
        )
    ]  # fmt: skip
