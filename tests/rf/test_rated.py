"""Which power rating of a path is used up most: by hand, at limits, and what is missing."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from upmast.rf.rated import PathPower, RatedPart, average_used, peak_used

CABLE = RatedPart("cable", "cable", 400.0, 2e9, 40.0, 85.0, 0.1, 0.004, 10_000.0)
JOINT = RatedPart("joint", "joint", 500.0, 2e9, 40.0, 85.0, 1.0, 0.0, 8_000.0)
BOX = RatedPart("box", "two-port", 300.0, 1e9, 40.0, 85.0, 0.0, 0.0, 5_000.0)
POWER = PathPower(60.0, (30.0, 30.0), 1.8e9, 1500.0, 1.4)


def test_the_worked_example_of_the_handbook() -> None:
    # handbook of the project, open check of the power rating: 224.73 W and 4974.2 W
    found = average_used((CABLE,), POWER, 50.0)
    assert found.bears_w == pytest.approx(224.73, abs=0.005)
    assert found.share_percent == pytest.approx(100 * 60 / 224.73, rel=1e-4)
    assert peak_used((CABLE,), POWER).bears_w == pytest.approx(4974.2, abs=0.05)
    # 30 W and 30 W of 10 dB crest: (2 sqrt(300))^2
    assert peak_used((CABLE,), POWER).comes_w == pytest.approx(1200.0)


def test_the_part_that_bears_least_governs_and_missing_ones_are_named() -> None:
    bare = replace(CABLE, part="bare", rated_w=None, peak_w=None)
    found = average_used((CABLE, JOINT, BOX, bare), POWER, 50.0)
    assert found.part in (CABLE, JOINT, BOX)
    each = [average_used((one,), POWER, 50.0).bears_w for one in (CABLE, JOINT, BOX)]
    assert found.bears_w == min(each)
    assert found.missing == ("rated_w of bare",)
    assert peak_used((CABLE, JOINT, BOX, bare), POWER).part == BOX
    none = average_used((bare,), POWER, 50.0)
    assert none.part is None
    assert math.isnan(none.share_percent)


def test_limits_that_must_hold() -> None:
    ideal = PathPower(60.0, (60.0,), 2e9, 0.0, 1.0)
    # as rated: the rating itself
    for one in (CABLE, JOINT, BOX):
        assert average_used((one,), ideal, 40.0).bears_w == pytest.approx(one.rated_w)
        assert peak_used((one,), ideal).bears_w == pytest.approx(one.peak_w)
    # a joint's rating goes with 1 / sqrt(f), a two-port's holds in its whole band
    four = replace(ideal, frequency_hz=8e9)
    assert average_used((JOINT,), four, 40.0).bears_w == pytest.approx(250.0)
    assert average_used((BOX,), four, 40.0).bears_w == pytest.approx(300.0)
    # air as hot as the inside: nothing is borne, and that is said as infinitely much
    assert average_used((CABLE,), ideal, 85.0).share_percent == math.inf
