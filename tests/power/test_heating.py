from __future__ import annotations

import numpy as np
import pytest

from upmast import power
from upmast.source import Mark


def test_published_capacities() -> None:
    """IEC 60364-5-52, tables B.52.2, B.52.3, B.52.10, B.52.12."""
    assert power.reference_ampacity_a(10, "pvc70") == 70
    assert power.reference_ampacity_a(300, "xlpe90") == 741
    assert power.reference_ampacity_a(1.5, "pvc70", "c") == 19.5
    assert power.reference_ampacity_a(35, "xlpe90", "b2") == 146
    assert power.ampacity_source().mark is Mark.CONFIRMED


def test_published_grouping() -> None:
    """IEC 60364-5-52, table B.52.17; between counts the next higher one, which is the safe side."""
    np.testing.assert_array_equal(
        power.grouping_factor([2, 9, 10, 12, 13, 16, 17, 20]), [0.80, 0.50, 0.45, 0.45, 0.41, 0.41, 0.38, 0.38]
    )
    np.testing.assert_array_equal(power.grouping_factor([1, 2, 9, 15], "ladder"), [1, 0.87, 0.78, 0.78])
    assert power.grouping_factor(1, "ceiling") == 0.95


@pytest.mark.parametrize("arrangement", ["bunched", "wall", "ceiling", "perforated_tray", "ladder"])
def test_more_circuits_never_raise_the_factor(arrangement: str) -> None:
    factors = power.grouping_factor(np.arange(1, 80), arrangement)  # type: ignore[arg-type]
    assert np.all(np.diff(factors) <= 0)
    assert np.all((factors > 0) & (factors <= 1))


def test_beyond_the_table() -> None:
    """Bunched beyond 20: the heat of the bunch, n f^2, stays that of 20 circuits. The source says that it is not the table."""
    n = np.array([20, 21, 40, 100])
    np.testing.assert_allclose(n * power.grouping_factor(n) ** 2, 20 * 0.38**2)
    assert "own derivation" in power.grouping_source(21).document
    assert power.grouping_source(10, "ladder").mark is Mark.MEMORY
    assert power.grouping_source(9, "ladder").mark is Mark.CONFIRMED
    assert power.grouping_source(20).mark is Mark.CONFIRMED


def test_ambient_and_temperature_say_the_same() -> None:
    """At the derated capacity the conductor stands at its limit, for any ambient and group."""
    ambient = np.array([-10.0, 20.0, 30.0, 45.0, 60.0])
    for insulation, limit in power.LIMIT_C.items():
        iz = power.ampacity_a(16, insulation, ambient, 4)  # type: ignore[arg-type]
        reference = power.ampacity_a(16, insulation, 30.0, 4)  # type: ignore[arg-type]
        np.testing.assert_allclose(power.conductor_temperature_c(iz, reference, ambient, limit), limit)
    np.testing.assert_array_equal(power.conductor_temperature_c(0.0, 50.0, ambient, 90.0), ambient)
    assert power.ambient_factor(90.0) == 0
    assert power.ambient_factor(120.0, "pvc70") == 0


def test_array_equals_scalar() -> None:
    areas, ambient = np.array([4.0, 10.0, 25.0]), np.array([[20.0], [50.0]])
    grid = power.ampacity_a(areas, "pvc70", ambient, 3)
    hot = power.conductor_temperature_c(20.0, grid, ambient, 70.0)
    for i in range(2):
        for j in range(3):
            assert grid[i, j] == power.ampacity_a(areas[j], "pvc70", ambient[i, 0], 3)
            assert hot[i, j] == power.conductor_temperature_c(20.0, grid[i, j], ambient[i, 0], 70.0)


def test_nonsense() -> None:
    with pytest.raises(ValueError, match=r"7 mm2 is not in the table; there are 1\.5, 2\.5, 4, 6"):
        power.ampacity_a([6, 7])
    with pytest.raises(ValueError, match="150 mm2"):
        power.reference_ampacity_a(150, "pvc70", "c")
    with pytest.raises(ValueError, match="500 mm2"):
        power.reference_ampacity_a(500)
    with pytest.raises(ValueError, match="insulation"):
        power.ampacity_a(6, "rubber")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="method"):
        power.ampacity_a(6, method="z")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="arrangement"):
        power.grouping_factor(2, "heap")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="at least one"):
        power.grouping_factor(0)
    with pytest.raises(ValueError, match="ampacity"):
        power.conductor_temperature_c(1, 0, 30, 90)
    with pytest.raises(ValueError, match="limit"):
        power.conductor_temperature_c(1, 10, 30, 30)
