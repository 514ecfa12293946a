"""Frequencies at the door: other units are refused with words that say what to write."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from upmast import pim
from upmast.pim.hertz import carriers_hz, ranges_hz, whole_hz

MHZ = 1_000_000
RANGES = [[880 * MHZ, 915 * MHZ]]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: pim.products_in([930, 957], [5 * MHZ] * 2, RANGES),
            "centres_hz: 930 Hz is below 1 MHz, no carrier of a mast: write hertz, 930000000 for 930 MHz",
        ),
        (
            lambda: pim.products_in([930 * MHZ, 957 * MHZ], [5, 5], RANGES),
            "widths_hz: 5 Hz is narrower than any channel: write hertz, 5000000 for 5 MHz",
        ),
        (
            lambda: pim.products_in([930 * MHZ, 957 * MHZ], [5 * MHZ] * 2, [[880, 915]]),
            "receive_ranges_hz: 915 Hz is below 1 MHz, no range of a mast: write hertz, 915000000 for 915 MHz",
        ),
        (lambda: pim.products_in([930_000, 957_000], [5_000] * 2, RANGES), "centres_hz: 930000 Hz is below 1 MHz"),
        (lambda: pim.products_in([0.93, 0.957], [0, 0], RANGES), "centres_hz: whole hertz up to 1e\\+12"),
        (lambda: pim.products_in([937.5, 957.5], [0, 0], RANGES), "centres_hz: whole hertz up to 1e\\+12"),
        (lambda: pim.products_in(["930 MHz"], [0], RANGES), "centres_hz: whole hertz .*, numbers without a unit"),
        (
            lambda: pim.all_products([930, 957], [5 * MHZ] * 2),
            "a carrier at 930 Hz, 5000000 Hz wide, reaches below 0 Hz: write both in hertz",
        ),
        (lambda: pim.intermod_spectrum([930], [5], [43.0], -107.0), "centres_hz: 930 Hz is below 1 MHz"),
        (lambda: pim.two_tone_pair([[925, 960]], RANGES), "transmit_ranges_hz: 960 Hz is below 1 MHz"),
        (lambda: pim.best_plan([[930, 935]], [0], RANGES), "centres_hz: 930 Hz is below 1 MHz"),
    ],
)
def test_megahertz_for_hertz_are_refused_with_the_reason(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()


def test_edges_of_what_is_let_through() -> None:
    """The lowest band of the tables, 410 MHz, and the narrowest channel of land mobile radio, 6.25 kHz, pass; tones have width 0."""
    centres, widths = carriers_hz([410 * MHZ, 71_000 * MHZ], [6_250, 0])
    assert (centres.tolist(), widths.tolist()) == ([410 * MHZ, 71_000 * MHZ], [6_250, 0])
    # no megahertz figure of a band or a width passes
    for figure in (410, 5, 2000):
        with pytest.raises(ValueError, match="write hertz"):
            carriers_hz([930 * MHZ if figure != 410 else figure], [figure if figure != 410 else 0])
    with pytest.raises(ValueError, match="write hertz"):
        carriers_hz([71_000], [0])
    assert carriers_hz([101, 128], [0, 0], real=False)[0].tolist() == [101, 128]
    assert ranges_hz([]).shape == (0, 2)
    assert ranges_hz([[0, 5 * MHZ]]).tolist() == [[0, 5 * MHZ]]
    assert whole_hz(np.array([[1.0, 2.0]]), "x").shape == (1, 2)


def test_arrays_equal_scalars_and_all_kinds_of_numbers_are_one() -> None:
    for given in (
        [930e6, 957e6],
        np.array([930e6, 957e6], np.float32),
        np.array([930, 957], np.int64) * MHZ,
        (930 * MHZ, 957 * MHZ),
    ):
        assert whole_hz(given, "x").tolist() == [930 * MHZ, 957 * MHZ]
    assert int(whole_hz(930e6, "x")) == 930 * MHZ
