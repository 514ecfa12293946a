"""
Frequencies as this room takes them: whole hertz, checked at the door, so that megahertz given for hertz never pass in silence.

Whole numbers keep sums of carriers exact; a touch at an edge is then a touch, not a matter of rounding.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Ints = NDArray[np.int64]

MOST_HZ = 10**12
# No radio of a mast sends below this, and no megahertz figure of one is above it: the tables of bands run from 410 MHz to 71 GHz.
LEAST_CARRIER_HZ = 1_000_000
# Channels of land mobile radio go down to 6.25 kHz (from memory); a width in megahertz is at most 2000 (3GPP TS 38.104).
LEAST_WIDTH_HZ = 2_001


def whole_hz(value: ArrayLike, name: str) -> Ints:
    """
    Any shape as whole numbers of hertz.

    Raises
    ------
    ValueError
        For fractions of a hertz, anything not finite, or more than 1e12.

    >>> whole_hz([930e6, 957e6], "centres_hz").tolist()
    [930000000, 957000000]
    """
    given = np.asarray(value)
    if given.dtype.kind not in "iufb" and given.size:
        raise ValueError(f"{name}: whole hertz up to {MOST_HZ:.0e}, numbers without a unit")
    out = np.asarray(given, dtype=np.float64)
    if not np.all(np.isfinite(out) & (out == np.rint(out)) & (np.abs(out) <= MOST_HZ)):
        raise ValueError(f"{name}: whole hertz up to {MOST_HZ:.0e}")
    return np.asarray(out, dtype=np.int64)


def carriers_hz(centres_hz: ArrayLike, widths_hz: ArrayLike, real: bool = True) -> tuple[Ints, Ints]:
    """
    Centres and widths of carriers, one value each.

    Parameters
    ----------
    centres_hz, widths_hz [Hz]: whole numbers, shape (N,); width 0 is an unmodulated carrier.
    real: also refuse what no radio of a mast sends, a centre below 1 MHz or a width of 1 Hz to 2 kHz: it is in another unit.

    Raises
    ------
    ValueError
        With the value got and what to do.

    >>> carriers_hz([930], [5])
    Traceback (most recent call last):
    ValueError: centres_hz: 930 Hz is below 1 MHz, no carrier of a mast: write hertz, 930000000 for 930 MHz
    """
    centres, widths = whole_hz(centres_hz, "centres_hz"), whole_hz(widths_hz, "widths_hz")
    if centres.ndim != 1 or centres.shape != widths.shape or centres.size == 0:
        raise ValueError("centres_hz and widths_hz hold one value each per carrier")
    if not (np.all(centres > 0) and np.all(widths >= 0)):
        raise ValueError("centres lie above 0, widths may not be negative")
    if real:
        _refuse_small(centres, LEAST_CARRIER_HZ, "centres_hz", "is below 1 MHz, no carrier of a mast")
        _refuse_small(widths[widths > 0], LEAST_WIDTH_HZ, "widths_hz", "is narrower than any channel")
    low = np.flatnonzero(widths >= 2 * centres)
    if low.size:
        f, w = int(centres[low[0]]), int(widths[low[0]])
        raise ValueError(f"a carrier at {f} Hz, {w} Hz wide, reaches below 0 Hz: write both in hertz")
    return centres, widths


def ranges_hz(ranges: ArrayLike, name: str = "receive_ranges_hz", real: bool = True) -> Ints:
    """
    Ranges as rows of a low and a higher edge; none gives shape (0, 2).

    Parameters
    ----------
    ranges [Hz]: whole numbers, shape (R, 2). name: how the message calls them. real: as in `carriers_hz`, for the upper edge.

    >>> ranges_hz([[880, 915]])
    Traceback (most recent call last):
    ValueError: receive_ranges_hz: 915 Hz is below 1 MHz, no range of a mast: write hertz, 915000000 for 915 MHz
    """
    out = whole_hz(ranges, name)
    if out.size == 0:
        out = out.reshape(0, 2)
    if out.ndim != 2 or out.shape[1] != 2 or not np.all((out[:, 0] >= 0) & (out[:, 0] < out[:, 1])):
        raise ValueError(f"{name} holds rows of a low and a higher edge")
    if real:
        _refuse_small(out[:, 1], LEAST_CARRIER_HZ, name, "is below 1 MHz, no range of a mast")
    return out


def _refuse_small(values: Ints, least: int, name: str, why: str) -> None:
    small = values[values < least]
    if small.size:
        one = int(small[0])
        raise ValueError(f"{name}: {one} Hz {why}: write hertz, {one * 1_000_000} for {one} MHz")
