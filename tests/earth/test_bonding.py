from __future__ import annotations

import math

import numpy as np
import pytest

from upmast import earth
from upmast.source import Mark


@pytest.mark.parametrize("top", [3.0, 20.0, 20.0001, 45.0, 60.0, 90.3])
@pytest.mark.parametrize("spacing", [5.0, 20.0, 60.0])
def test_no_interval_is_longer_than_the_spacing_and_none_is_wasted(top: float, spacing: float) -> None:
    heights = earth.bond_heights_m(top, 1.0, spacing)
    gaps = -np.diff(heights)
    assert heights[0] == top
    assert heights[-1] == 1.0
    assert np.all(gaps <= spacing * (1 + 1e-9))
    np.testing.assert_allclose(gaps, gaps[0])
    n = gaps.size
    if n > 1:  # one interval fewer would be too long
        assert (top - 1.0) / (n - 1) > spacing


def test_count() -> None:
    """n = ceil(48 / 20) = 3 intervals, 4 bonds on the run, one at the entry."""
    assert earth.bond_plan(50, 2, 20).count == 5
    assert earth.bond_heights_m(62.0, 2.0, 20.0).size == 4  # exact multiple: no extra bond
    assert earth.bond_heights_m(0.3 + 0.6, 0.3, 0.2).size == 4  # nor for a rounding error
    assert earth.bond_heights_m(5.0, 5.0, 20.0).tolist() == [5.0]


@pytest.mark.parametrize(("run", "extra"), [(0, []), (20, []), (25, [12.5]), (60, [20, 40])])
def test_horizontal_run(run: float, extra: list[float]) -> None:
    plan = earth.bond_plan(30, 2, 30, horizontal_m=run)
    np.testing.assert_allclose(plan.horizontal_m, extra)
    assert plan.count == 2 + len(extra) + 1


def test_sections_are_from_memory_and_say_so() -> None:
    """IEC 62305-3, table 8 (copper 16, aluminium 25) and table 9 (copper 6, aluminium 10)."""
    assert earth.least_section_mm2("bar_to_bar_or_earth") == 16
    assert earth.least_section_mm2("bar_to_bar_or_earth", "aluminium") == 25
    assert earth.least_section_mm2("inside_metal_to_bar") == 6
    assert earth.least_section_mm2("inside_metal_to_bar", "aluminium") == 10
    assert earth.least_section_mm2("down_conductor") == 50
    assert math.isnan(earth.least_section_mm2("surge_protector_class_1", "steel"))
    assert earth.section_source().mark is Mark.MEMORY
    assert earth.SPACING_SOURCE.mark is Mark.PRACTICE


def test_nonsense() -> None:
    for call in (
        lambda: earth.bond_heights_m(1, 2, 20),
        lambda: earth.bond_heights_m(float("nan"), 2, 20),
        lambda: earth.bond_heights_m(float("inf"), 2, 20),
        lambda: earth.bond_heights_m(30, 2, 0),
        lambda: earth.bond_heights_m(1e9, 0, 1e-3),
        lambda: earth.bond_plan(30, 2, 20, horizontal_m=-1),
        lambda: earth.bond_plan(30, 2, 20, horizontal_m=1e9),
        lambda: earth.bond_plan(30, 2, 20, horizontal_m=10, horizontal_spacing_m=0),
        lambda: earth.least_section_mm2("rope"),  # type: ignore[arg-type]
        lambda: earth.least_section_mm2("down_conductor", "gold"),  # type: ignore[arg-type]
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
