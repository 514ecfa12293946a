"""
How near the fit of joints comes, row by row of the handbook's table of accuracy, on lines made by scikit-rf with fresh seeds.

Handbook RF 8.3: a pair at 37 m of 22 to 34 dB, noise -65 dB, directivity -42 dB, drift 0.03 dB and 0.5 degrees, velocity off by up to 1 %,
places by 5 mm; 40 lines a row. Its fit is not this one: what it reached is what this one must reach.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest

from upmast import rf

pytestmark = pytest.mark.slow
Maker = Callable[..., Any]
LINES = 40
CELL_HZ_M = 0.84 * 299_792_458.0 / 2.0  # v/2 of the lines: divided by the span it is the resolution


class Seen(NamedTuple):
    """Errors of the pair where it is told apart, dB, and whether the interval held; pairs told apart; errors of the transform."""

    errors: np.ndarray
    held: np.ndarray
    apart: int
    sums_held: int
    transform: np.ndarray
    velocity: np.ndarray


def seen(made: Maker, seeds: range, span: float, spacing: float, least_share: float) -> Seen:
    errors, held, transform, velocity, apart, sums = [], [], [], [], 0, 0
    for seed in seeds:
        one = made(np.random.default_rng(seed), span, spacing)
        fit = rf.fit_joints(one.frequency_hz, one.gamma, one.line, least_share=least_share)
        pair = [fit.of_joint(2), fit.of_joint(3)]
        if all(len(group.joints) == 1 for group in pair):
            apart += 1
            velocity.append(abs(fit.velocity_error[0] - one.velocity_error))
            for k, group in zip((2, 3), pair, strict=True):
                errors.append(abs(20 * np.log10(group.gamma / one.truth[k])))
                held.append(group.low <= one.truth[k] <= group.high)
        else:  # the sum of two phasors lies between these two
            least, most = abs(one.truth[2] - one.truth[3]), one.truth[2] + one.truth[3]
            sums += pair[0].low <= most and pair[0].high >= least
        delay, loss = one.line.end_delay_s[2:4], one.line.end_loss_db(1.95e9)[2:4]
        there = np.abs(rf.response_at(one.frequency_hz, one.gamma, delay)) * 10 ** (loss / 10)
        transform += list(np.abs(20 * np.log10(there / one.truth[2:4])))
    return Seen(np.array(errors), np.array(held), apart, sums, np.array(transform), np.array(velocity))


# span, spacing; median of the fit, 95 % of those called separable, share called separable: handbook RF 8.3, each row of the table that
# lies at 0.4 v/(2 B) or more. Its median counts the lines that were not told apart, too, so that it is the wider bound.
@pytest.mark.parametrize(
    ("span", "spacing", "median", "most", "share"),
    [
        (500e6, 0.5, 0.04, 0.15, 1.00), (500e6, 0.25, 0.04, 0.23, 0.95), (500e6, 0.12, 0.07, 1.95, 0.97),
        (250e6, 1.0, 0.03, 0.10, 1.00), (250e6, 0.5, 0.03, 0.18, 0.85), (250e6, 0.25, 0.08, 0.93, 0.88),
        (100e6, 1.0, 0.04, 0.18, 0.85),
    ],
)  # fmt: skip
def test_rows_of_the_table(made: Maker, span: float, spacing: float, median: float, most: float, share: float) -> None:
    """Numbers of the table's 1.0 m in 250 MHz are 0.02 and 0.06 dB; they are widened here by the spread of 40 lines."""
    found = seen(made, range(52_000, 52_000 + LINES), span, spacing, 0.4)
    assert found.apart >= share * LINES
    assert np.median(found.errors) <= median
    assert np.percentile(found.errors, 95) <= most
    assert found.held.mean() >= (0.9 if spacing >= 0.95 * CELL_HZ_M / span else 0.83)
    assert np.percentile(found.velocity, 95) <= 0.001  # handbook: 0.03 % where it is separable
    # the same lines by the windowed transform at the designed places, which is at a loss at v/(2 B)
    assert np.median(found.transform) > 10 * np.median(found.errors)


@pytest.mark.parametrize(("span", "spacing"), [(250e6, 0.12), (100e6, 0.5), (100e6, 0.25), (100e6, 0.12), (40e6, 0.15)])
def test_rows_that_are_too_near_are_refused(made: Maker, span: float, spacing: float) -> None:
    """Below 0.4 v/(2 B) the handbook's intervals held in 66 to 69 % only: one group, whose interval holds what the sum can be."""
    found = seen(made, range(52_000, 52_000 + LINES // 2), span, spacing, 0.4)
    assert found.apart == 0
    assert found.sums_held == LINES // 2


@pytest.mark.parametrize(("span", "spacing"), [(500e6, 0.26), (250e6, 0.51), (100e6, 1.27), (100e6, 2.0)])
def test_intervals_hold_down_to_the_resolution(made: Maker, span: float, spacing: float) -> None:
    """At least 90 % of the 95 % intervals of 60 fresh lines hold the truth, without asking for more than the usual least spacing."""
    found = seen(made, range(61_000, 61_060), span, spacing, rf.LEAST_SHARE)
    assert found.apart >= 57
    assert found.held.mean() >= 0.9


def test_a_measured_line_of_a_board() -> None:
    """
    A strip of 200 mm on a board with two launches, as somebody measured it: examples of scikit-rf under the BSD licence, see the file.

    Handbook RF 8.3: its launches reflect 0.036 and 0.026 at 2 GHz, read from the whole band of 10 GHz. Here 300 MHz are given, in which
    the two lie at 0.75 of v/(2 B). The delay, 140 degrees of transmission in these 300 MHz, and the loss of 1.05 dB are of the same file.
    """
    text = Path(__file__).with_name("board_line_200mm.csv").read_text("ascii")
    rows = np.array([[float(x) for x in line.split(",")] for line in text.splitlines() if line[0].isdigit()])
    f, gamma = rows[:, 0], rows[:, 1] + 1j * rows[:, 2]
    delay_s = 140.0 / 360.0 / 0.3e9
    line = rf.LumpedLine([0.2], 0.2 / delay_s / 299_792_458.0, [1.05 / 0.2 / np.sqrt(2.0)])
    assert 0.4 < 2.0 * 0.3e9 * delay_s < 0.95  # nearer than the room parts by itself
    fit = rf.fit_joints(f, gamma, line, least_share=0.4, load_db=60.0)
    for joint, known in ((0, 0.036), (1, 0.026)):
        found = fit.of_joint(joint)
        assert found.low <= known <= found.high
        assert found.gamma == pytest.approx(known, rel=0.2)
    usual = rf.fit_joints(f, gamma, line, load_db=60.0)
    assert len(usual.groups) == 1  # by itself the room gives one group of both
