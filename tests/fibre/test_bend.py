"""Bending bounds: they meet the table, fall with radius, refuse below it."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.fibre import bend_bound_db, bend_fibres, bend_source, least_cable_radius_mm
from upmast.table import read


def test_every_row_of_the_table_is_met() -> None:
    for row in read("upmast.fibre", "macrobend").rows:
        for wave in (1550, 1625):
            if row[f"most_db_{wave}"]:
                found = bend_bound_db(row["fibre"], float(row["radius_mm"]), float(row["turns"]), wave)
                assert found.loss_db == pytest.approx(float(row[f"most_db_{wave}"]))
                assert found.table_radius_mm == float(row["radius_mm"])


@pytest.mark.parametrize("name", bend_fibres())
def test_it_never_rises_with_radius_nor_falls_with_wavelength(name: str) -> None:
    radius = np.linspace(1.0, 60.0, 400)
    waves = np.array([1310.0, 1550.0, 1600.0, 1625.0])
    found = bend_bound_db(name, radius, 2.0, waves[:, None])
    loss = found.loss_db
    np.testing.assert_array_equal(np.isnan(loss), ~found.covered)
    assert not found.covered[0, 0]
    assert np.all(np.diff(loss, axis=1)[~np.isnan(np.diff(loss, axis=1))] <= 1e-12)
    assert np.all(np.diff(loss, axis=0)[:, found.covered[0]] >= 0)
    np.testing.assert_array_equal(loss[0], loss[1])


def test_turns_are_linear_and_arrays_equal_scalars() -> None:
    radius, turns = np.array([9.0, 12.0, 30.0]), np.array([0.25, 1.0, 4.0])
    many = bend_bound_db("G.657.A2", radius, turns)
    np.testing.assert_allclose(many.loss_db, bend_bound_db("G.657.A2", radius, 1.0).loss_db * turns)
    ones = [float(bend_bound_db("G.657.A2", r, n).loss_db) for r, n in zip(radius, turns, strict=True)]
    np.testing.assert_allclose(many.loss_db, ones)


def test_beyond_the_longest_wavelength_nothing_is_said() -> None:
    assert not bend_bound_db("G.657.A1", 30.0, 1, 1650.0).covered


def test_where_only_the_long_wavelength_is_tabulated_it_bounds_the_short() -> None:
    assert bend_bound_db("G.652.D", 30.0, 100, 1550.0).loss_db == pytest.approx(0.1)


def test_sources_and_nonsense() -> None:
    assert {str(bend_source(name).mark) for name in bend_fibres()} == {"confirmed", "memory"}
    with pytest.raises(ValueError, match=r"G\.657\.A2"):
        bend_bound_db("G.655", 10.0, 1)
    with pytest.raises(ValueError, match="radius"):
        bend_bound_db("G.657.A2", 0.0, 1)
    with pytest.raises(ValueError, match="turns"):
        bend_bound_db("G.657.A2", 10.0, -1)
    with pytest.raises(ValueError, match="diameter"):
        least_cable_radius_mm(0.0)


def test_least_radius_takes_other_ratios() -> None:
    np.testing.assert_allclose(least_cable_radius_mm(20.0, [False, True], 12.0, 15.0), [240.0, 300.0])
