from __future__ import annotations

import math

import numpy as np
import pytest

from upmast import power
from upmast.source import Mark


def test_published_maxima_iec60228() -> None:
    """IEC 60228, tables 1 to 4."""
    assert power.conductor_ohm_per_km(16) == 1.15
    assert power.conductor_ohm_per_km(185, 1) == 0.101
    assert power.conductor_ohm_per_km(185, 2) == 0.0991
    assert power.conductor_ohm_per_km(6, 5, tinned=True) == 3.39
    assert power.conductor_ohm_per_km(6, 6) == power.conductor_ohm_per_km(6, 5) == 3.30
    assert power.conductor_ohm_per_km(25, 2, material="aluminium") == 1.20
    assert power.conductor_source().document == "IEC 60228"
    assert power.conductor_source().mark is Mark.CONFIRMED


@pytest.mark.parametrize(("cls", "tinned"), [(1, False), (2, False), (2, True), (5, False), (5, True)])
def test_maxima_are_near_the_metal(cls: int, tinned: bool) -> None:
    """rho / S of annealed copper (17.241 nohm m) is a lower bound; lay, tinning and tolerance add at most a fifth."""
    sizes = power.conductor_areas_mm2(cls, tinned)
    ohms = [power.conductor_ohm_per_km(s, cls, tinned) for s in sizes]
    assert sizes == tuple(sorted(sizes))
    assert ohms == sorted(ohms, reverse=True)
    for s, ohm in zip(sizes, ohms, strict=True):
        assert 0.98 < ohm * s / 17.241 < 1.2


def test_unknown_sizes_are_named() -> None:
    with pytest.raises(ValueError, match=r"7 mm2 is not a size of copper class 2; there are .*6, 10, 16"):
        power.conductor_ohm_per_km(7)
    with pytest.raises(ValueError, match="6 mm2 is not a size of aluminium"):
        power.conductor_ohm_per_km(6, 2, material="aluminium")
    with pytest.raises(ValueError, match="no copper class 3 here"):
        power.conductor_ohm_per_km(6, 3)
    with pytest.raises(ValueError, match="class 1, tinned"):
        power.conductor_ohm_per_km(6, 1, tinned=True)
    with pytest.raises(ValueError, match="7 AWG strand"):
        power.awg_ohm_per_km(7)
    with pytest.raises(ValueError, match="material"):
        power.temperature_coefficient_per_k("gold")  # type: ignore[arg-type]


def test_awg_area() -> None:
    """ASTM B258: 4/0 is 0.46 in, 36 is 0.005 in, each step of 39 a factor 92 in diameter."""
    assert power.awg_area_mm2("4/0") == pytest.approx(math.pi / 4 * 11.684**2, rel=1e-9)
    assert power.awg_area_mm2(-3) == power.awg_area_mm2("4/0")
    assert power.awg_area_mm2(36) == pytest.approx(math.pi / 4 * 0.127**2)
    assert power.awg_area_mm2(3) / power.awg_area_mm2(6) == pytest.approx(2.005, abs=5e-4)


def test_awg_coated_is_higher_and_source_is_said() -> None:
    for size in (14, 12, 10, 8, 6, 4, 2, "1/0", "4/0"):
        assert power.awg_ohm_per_km(size, coated=True) > power.awg_ohm_per_km(size)
        # 20 C value against rho / S
        assert 0.98 < power.awg_ohm_per_km(size) * power.awg_area_mm2(size) / 17.241 < 1.06
    assert "chapter 9" in str(power.awg_source())


def test_resistance_identities() -> None:
    assert power.resistance_ohm(1.83, 1000, 20) == pytest.approx(1.83)
    assert power.resistance_ohm(1.83, 0, 70) == 0
    # -234.45 C is where the linear law of copper reaches zero: 1/0.00393 - 20
    assert power.resistance_ohm(1.0, 1000, 20 - 1 / 0.00393 + 1e-6) == pytest.approx(0, abs=1e-8)
    aluminium = power.temperature_coefficient_per_k("aluminium")
    assert power.resistance_ohm(1.0, 1000, 120, aluminium.value) == pytest.approx(1.403)
    assert aluminium.source.document == power.temperature_coefficient_per_k().source.document


def test_array_equals_scalar() -> None:
    r, t = np.array([1.15, 1.83, 3.08]), np.array([[20.0], [60.0]])
    grid = power.resistance_ohm(r, 50.0, t)
    assert grid.shape == (2, 3)
    for i in range(2):
        for j in range(3):
            assert grid[i, j] == power.resistance_ohm(r[j], 50.0, t[i, 0])


@pytest.mark.parametrize("bad", [(-1, 1, 20), (1, -1, 20), (1, 1, -300)])
def test_nonsense(bad: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"negative|below"):
        power.resistance_ohm(*bad)
