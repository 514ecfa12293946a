"""A functional-earth conductor added to a cable: worked numbers, Kirchhoff's laws, the trap of the parallel resistance."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import earth

CABLE: dict[str, Any] = {
    "inductance_h": 16.5e-6, "shield_ohm": 60e-3, "conductor_ohm": 22e-3, "surge_peak_a": 9450.0,
    "form": earth.wave("first_positive"), "fault_a": 300.0, "return_a": 60.0, "return_ohm": 20e-3,
}  # fmt: skip


def test_direct_current_return() -> None:
    """Handbook, open check 7: 60 A over 0.020, 0.060 and 0.015 ohm: 22.5, 7.5 and 30 A; all have 0.45 V."""
    found = earth.dc_shares(60.0, {"return": 0.020, "shield": 0.060, "mast": 0.015})
    assert found.current_a == pytest.approx({"return": 22.5, "shield": 7.5, "mast": 30.0})
    assert 60 * found.together_ohm == pytest.approx(0.45)


def test_conductor_serves_faults_and_not_surges() -> None:
    """The case of a fault is at a third of the voltage, while the first peak of a surge falls by 4 %."""
    found = earth.retrofit(**CABLE)
    without, after = found.case_voltage_v
    assert without == pytest.approx(300 * 0.060)
    assert after == pytest.approx(300 * 0.060 * 0.022 / 0.082)
    assert found.surge.relief < 0.05
    assert 1 - found.surge.late_share > 0.7


def test_a_fault_goes_further_than_a_surge() -> None:
    """Own resistances of the way back change the case and leave the surge and its relief as they are."""
    plain, found = earth.retrofit(**CABLE), earth.retrofit(**CABLE, way_shield_ohm=90e-3, way_conductor_ohm=33e-3)
    assert found.case_voltage_v == pytest.approx([1.5 * v for v in plain.case_voltage_v])
    assert found.surge.with_v == plain.surge.with_v


def test_one_bond_point_keeps_the_return_in_its_core() -> None:
    found = earth.retrofit(**CABLE, return_bonded_at_both_ends=False)
    assert found.return_with.current_a == found.return_without.current_a == {"return": 60.0}
    both = earth.retrofit(**CABLE)
    assert both.return_with.current_a["return"] < both.return_without.current_a["return"] < 60.0


def test_mast_takes_its_part() -> None:
    found = earth.retrofit(**CABLE, mast_ohm=15e-3)
    assert list(found.fault_with.current_a) == ["shield", "functional earth", "mast"]
    assert found.case_voltage_v[0] == pytest.approx(300 / (1 / 60e-3 + 1 / 15e-3))


@given(st.lists(st.floats(1e-4, 10.0), min_size=1, max_size=8), st.floats(1e-3, 1000.0))
def test_kirchhoff(ohms: list[float], current: float) -> None:
    paths = {f"path {n}": ohm for n, ohm in enumerate(ohms)}
    found = earth.dc_shares(current, paths)
    assert sum(found.current_a.values()) == pytest.approx(current)
    drops = [found.current_a[name] * ohm for name, ohm in paths.items()]
    np.testing.assert_allclose(drops, current * found.together_ohm, rtol=1e-9)


def test_nonsense() -> None:
    for call in (
        lambda: earth.dc_shares(60.0, {}),
        lambda: earth.dc_shares(-1.0, {"return": 1.0}),
        lambda: earth.dc_shares(float("nan"), {"return": 1.0}),
        lambda: earth.dc_shares(60.0, {"return": 0.0}),
        lambda: earth.retrofit(**{**CABLE, "return_ohm": float("nan")}),
        lambda: earth.retrofit(**{**CABLE, "inductance_h": 0.0}),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
