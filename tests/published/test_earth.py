"""Published numbers and independently computed checks for the earth room."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import earth

# IEC 62305-1, annex D, table D.3: temperature rise in K by section for 2.5, 5.6 and 10 MJ/ohm; None: melts.
RISES = [
    ("copper", 16, (56, 143, 309)),
    ("copper", 25, (22, 51, 98)),
    ("copper", 50, (5, 12, 22)),
    ("copper", 100, (1, 3, 5)),
    ("aluminium", 25, (52, 132, 283)),
    ("aluminium", 50, (12, 28, 52)),
    ("aluminium", 100, (3, 7, 12)),
    ("steel", 50, (37, 96, 211)),
    ("steel", 100, (9, 20, 37)),
    ("stainless_steel", 50, (190, 460, 940)),
    ("stainless_steel", 100, (45, 100, 190)),
]


@pytest.mark.parametrize(("metal", "area", "rises"), RISES)
def test_temperature_rise_iec62305_1(metal: str, area: float, rises: tuple[float, ...]) -> None:
    found = earth.temperature_rise_k(area, np.array([2.5e6, 5.6e6, 10e6]), metal)
    np.testing.assert_allclose(found, rises, atol=0.6, rtol=0.02)


def test_temperature_rise_of_35_mm2() -> None:
    """By hand from the same equation and properties."""
    assert earth.temperature_rise_k(35, 2.5e6) == pytest.approx(10.8, abs=0.05)
    assert earth.temperature_rise_k(35, 10e6) == pytest.approx(46.0, abs=0.05)
    assert earth.temperature_rise_k(35, 5.6e6, "aluminium") == pytest.approx(60.4, abs=0.05)


def test_least_shield_iec62305_3() -> None:
    """IEC 62305-3 annex B form: 6 kA over 50 m with 1.5 kV, and 10 kA with 2.5 kV, both 3.45 mm2 of copper."""
    assert earth.least_shield_mm2(6e3, 50, 1500) == pytest.approx(3.45, abs=0.005)
    assert earth.least_shield_mm2(10e3, 50, 2500) == pytest.approx(3.45, abs=0.005)
    assert earth.shield_drop_v(20e3, 2.0, 50) == pytest.approx(2000.0)


def test_lead_inductance_neumann() -> None:
    """Neumann's integral evaluated elsewhere: 0.5 m of 3 mm radius 0.4815 uH, 1.0 m of 4 mm radius 1.0437 uH."""
    assert earth.partial_inductance_h(0.5, 0.003) == pytest.approx(0.4815e-6, abs=5e-11)
    assert earth.partial_inductance_h(1.0, 0.004) == pytest.approx(1.0437e-6, abs=5e-11)


def test_missing_bond() -> None:
    """Mast of radius 0.20 m, cable at 0.35 m, 20 m long: 2.209 uH; 100 kA in 10 us: 22.1 kV."""
    loop = earth.missing_bond_loop_h(20, 0.20, 0.35)
    assert loop == pytest.approx(2.209e-6, abs=5e-10)
    assert earth.missing_bond_v(loop, 100e3, 10e-6) == pytest.approx(22.1e3, abs=50)
