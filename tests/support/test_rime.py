"""Rime: the table, limits of the vane, what mass allows; arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support
from upmast.table import read

RIME = [name for name in support.ice_classes() if name.startswith("R")]


def test_the_vane_of_the_table() -> None:
    """ISO 12494, table 5: lengths exact, widths to the rounding of the table."""
    for row in read("upmast.support", "rime_iso12494").rows:
        found = support.rime_vane(row["ice_class"], float(row["bar_mm"]))
        assert found.length_mm == pytest.approx(float(row["length_mm"]), abs=1e-9)
        assert found.width_mm == pytest.approx(float(row["width_mm"]), abs=0.51)
        assert support.ice_class(row["ice_class"]).mass_kg_per_m == float(row["mass_kg_per_m"])


def test_the_cable_is_not_inside_the_length() -> None:
    """Length times width less the bar, of class R1 on 30 mm, could not hold its mass even as solid ice of 917 kg/m3."""
    assert 917e-6 * (34 * 35 - np.pi / 4 * 30**2) < 0.5


def test_rime_is_lighter_than_ice() -> None:
    for name in RIME:
        d = np.linspace(6, 200, 30)
        found = support.rime_vane(name, d)
        density = support.ice_class(name).mass_kg_per_m * 1e6 / (found.length_mm * found.width_mm)
        assert np.all((density > 390) & (density < 430))


@settings(deadline=None)
@given(st.sampled_from(RIME), st.floats(2, 290), st.floats(1.001, 1.03))
def test_the_vane_shortens_and_widens_with_the_cable(name: str, d: float, by: float) -> None:
    one, two = support.rime_vane(name, d), support.rime_vane(name, d * by)
    assert two.length_mm < one.length_mm
    assert two.width_mm > one.width_mm
    assert one.width_mm >= d
    assert one.side_mm == pytest.approx(d + float(one.length_mm))


def test_the_vane_grows_with_the_class() -> None:
    for d in (8.0, 28.0, 150.0):
        assert np.all(np.diff([float(support.rime_vane(name, d).length_mm) for name in RIME]) > 0)


def test_branches_join_where_the_vane_is_half_the_cable() -> None:
    d = np.linspace(20, 120, 20001)
    for name in ("R1", "R3"):
        length = support.rime_vane(name, d).length_mm
        assert np.all(np.abs(np.diff(length)) < 0.02)
        assert np.any(length < d / 2)
        assert np.any(length > d / 2)


def test_marks() -> None:
    assert {str(support.rime_source(name).mark) for name in RIME[:5]} == {"confirmed"}
    assert {str(support.rime_source(name).mark) for name in RIME[5:]} == {"memory"}


def test_arrays_equal_scalars() -> None:
    d = np.array([[10.0, 20.0], [60.0, 250.0]])
    many = support.rime_vane("R4", d)
    for i, j in np.ndindex(2, 2):
        one = support.rime_vane("R4", float(d[i, j]))
        assert (many.length_mm[i, j], many.width_mm[i, j], many.side_mm[i, j]) == (
            one.length_mm,
            one.width_mm,
            one.side_mm,
        )


def test_nonsense_is_refused() -> None:
    for d in (0.0, -1.0, np.nan, 301.0):
        with pytest.raises(ValueError, match="must lie"):
            support.rime_vane("R1", d)
    for call in (lambda: support.rime_vane("G1", 28.0), lambda: support.rime_source("G1")):
        with pytest.raises(ValueError, match="must be one of rime"):
            call()
    with pytest.raises(ValueError, match="R9"):
        support.rime_vane("R0", 28.0)
