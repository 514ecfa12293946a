"""Ice: geometry and the table."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import support


def test_glaze_is_the_ring_between_two_circles() -> None:
    d, t = np.array([10.0, 28.0, 50.0]), 20.0
    ring = np.pi / 4 * (support.iced_diameter_mm(d, t) ** 2 - d**2) * 1e-6 * 900
    np.testing.assert_allclose(support.glaze_mass_kg_per_m(d, t), ring)
    assert support.glaze_mass_kg_per_m(28.0, 0.0) == 0


def test_classes_rise_and_are_marked() -> None:
    glaze = [support.ice_class(name) for name in support.ice_classes() if name.startswith("G")]
    rime = [support.ice_class(name) for name in support.ice_classes() if name.startswith("R")]
    assert np.all(np.diff([c.thickness_mm for c in glaze]) == 10)
    assert np.all(np.diff([c.mass_kg_per_m for c in rime]) > 0)
    assert np.all(np.isnan([c.mass_kg_per_m for c in glaze]))
    assert {str(c.source.mark) for c in glaze + rime} == {"memory"}


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="G5"):
        support.ice_class("G9")
    with pytest.raises(ValueError, match="can't"):
        support.glaze_mass_kg_per_m(-1.0, 1.0)
    with pytest.raises(ValueError, match="can't"):
        support.glaze_mass_kg_per_m(1.0, 1.0, -1.0)
    with pytest.raises(ValueError, match="can't"):
        support.iced_diameter_mm(1.0, -1.0)
