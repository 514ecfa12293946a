"""Dew points of a printed table, and why two programs differ below 0 C: humidity over water or over ice, dew or frost."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from upmast import weather

psychrolib = pytest.importorskip("psychrolib", reason="the independent reference for moist air is not installed")
psychrolib.SetUnitSystem(psychrolib.SI)

TEXT = Path(__file__).with_name("dew_points.csv").read_text("utf-8").splitlines()
ROWS = [
    {key: float(cell) for key, cell in row.items()} for row in csv.DictReader(x for x in TEXT if not x.startswith("#"))
]
ICE_BELOW_C = 0.01  # the reference changes from water to ice at the triple point


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['t_C']:g}C-{row['rh_percent']:g}%")
def test_printed_dew_points(row: dict[str, float]) -> None:
    t, rh = row["t_C"], row["rh_percent"]
    assert weather.dew_point_c(t, rh) == pytest.approx(row["td_magnus_17.62_243.12"], abs=1e-3)
    # another published set of coefficients (17.67, 243.5) stays within 0.04 K
    assert weather.dew_point_c(t, rh) == pytest.approx(row["td_bolton_17.67_243.5"], abs=0.04)
    over = "ice" if t <= ICE_BELOW_C else "water"
    assert weather.saturation_pressure_pa(t, over) == pytest.approx(row["psat_ashrae_Pa"], rel=5e-3)  # type: ignore[arg-type]
    assert psychrolib.GetTDewPointFromRelHum(t, rh / 100) == pytest.approx(row["td_ashrae_psychrolib"], abs=2e-3)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['t_C']:g}C-{row['rh_percent']:g}%")
def test_the_difference_to_the_reference_is_water_against_ice(row: dict[str, float]) -> None:
    """
    Above 0 C both give the dew point, within 0.12 K. Below, the reference reads the same percentage over ice (less vapour)
    and gives the frost point (higher): brought to the same footing both agree again.
    """
    t, rh, theirs = row["t_C"], row["rh_percent"], row["td_ashrae_psychrolib"]
    if t > ICE_BELOW_C:
        assert weather.dew_point_c(t, rh) == pytest.approx(theirs, abs=0.12)
        return
    same_vapour = rh * float(weather.saturation_pressure_pa(t, "ice") / weather.saturation_pressure_pa(t, "water"))
    assert weather.frost_point_c(t, same_vapour) == pytest.approx(theirs, abs=0.02)
    assert abs(float(weather.dew_point_c(t, rh)) - theirs) > 0.1


def test_worked_example() -> None:
    """Worked example 24 of the project: 25 C 60 % and 20 C 50 %, Magnus 16.693 and 9.255 C, ASHRAE 16.701 and 9.272 C."""
    np.testing.assert_allclose(weather.dew_point_c([25.0, 20.0], [60.0, 50.0]), [16.693, 9.255], atol=1e-3)
    found = [psychrolib.GetTDewPointFromRelHum(t, rh) for t, rh in ((25.0, 0.6), (20.0, 0.5))]
    np.testing.assert_allclose(found, [16.701, 9.272], atol=1e-3)


def test_dew_less_frost_point() -> None:
    """Handbook, section 1: about -0.6 K at -5 C and -1.2 K at -10 C; ours -0.58 and -1.12 K."""
    for dew, gap in ((-5.0, -0.6), (-10.0, -1.2)):
        assert dew - float(weather.frost_point_c(dew, 100.0)) == pytest.approx(gap, abs=0.1)
