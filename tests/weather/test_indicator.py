"""Indicator cards: every pattern of a small card."""

from __future__ import annotations

import itertools
import math

import pytest

from upmast.weather import CardVerdict, dew_point_c, frost_point_c, read_card

SPOTS = [10, 30, 60]


@pytest.mark.parametrize("changed", list(itertools.product([False, True], repeat=3)))
def test_every_pattern(changed: tuple[bool, ...]) -> None:
    found = read_card(SPOTS, changed, 20.0, 0.0)
    if list(changed) != sorted(changed, reverse=True):
        assert found.verdict is CardVerdict.INVALID
        assert math.isnan(found.high_percent)
        return
    below = [s for s, c in zip(SPOTS, changed, strict=True) if c]
    above = [s for s, c in zip(SPOTS, changed, strict=True) if not c]
    assert (found.low_percent, found.high_percent) == (max(below, default=0), min(above, default=100))
    dew, frost = dew_point_c(20.0, found.high_percent), frost_point_c(20.0, found.high_percent)
    assert found.high_dew_c == pytest.approx(float(dew if dew >= 0 else frost))


def test_verdict_moves_with_the_coldest_day() -> None:
    verdicts = [read_card(SPOTS, [True, False, False], 20.0, cold).verdict for cold in (10.0, -5.0, -40.0)]
    assert verdicts == [CardVerdict.DRY, CardVerdict.MAY_SWEAT, CardVerdict.WILL_SWEAT]


@pytest.mark.parametrize(
    ("spots", "changed"),
    [([], []), ([10], [True, False]), ([20, 10], [True, False]), ([0, 10], [True, False]), ([100], [True])],
)
def test_nonsense_is_refused(spots: list[float], changed: list[bool]) -> None:
    with pytest.raises(ValueError, match=r"spots"):
        read_card(spots, changed, 20.0, 0.0)
