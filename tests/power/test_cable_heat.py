"""Conductor temperatures and pair ampacities: the balance by a general solver, limits, round trips, arrays."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, root

from upmast.power.cable_heat import CableHeat, conductor_c, equal_ampacity_a, pair_ampacity_a
from upmast.power.section import Section, laid_up
from upmast.power.surface import iec_heat_w_per_m

Array = NDArray[np.float64]
ALPHA = 0.00393
OHM_PER_KM = 3.08  # 6 mm2, class 2


def ring(filler_k_m_per_w: float = 6.0) -> CableHeat:
    """4 x 6 mm2, cores that touch: our own worked case."""
    x, y = (3.1961e-3, 0.0, -3.1961e-3, 0.0), (0.0, 3.1961e-3, 0.0, -3.1961e-3)
    return CableHeat(Section(x, y, 1.56e-3, 6.4561e-3, 16.5122e-3, filler_k_m_per_w, 5.0))


def trunk(pairs: int = 6) -> CableHeat:
    return CableHeat(laid_up(pairs, 6.0, 45.0))


def currents(rows: int, cores: int, most_a: float = 16.0) -> Array:
    """Reproducible, uneven, the same in both cores of a pair."""
    return np.repeat(np.random.default_rng(7).uniform(1.0, most_a, (rows, cores // 2)), 2, axis=1)


def by_a_general_solver(heat: CableHeat, current: Array, air: float, sun: float, extra: float) -> Array:
    """All conductors and the surface as unknowns of one nonlinear system; the last is the surface."""

    def rest(t: Array) -> Array:
        q = current**2 * OHM_PER_KM / 1000 * (1 + ALPHA * (t[:-1] - 20))
        inside = t[-1] + heat.sheath_resistance * q.sum() + heat.matrix @ q - t[:-1]
        return np.append(inside, iec_heat_w_per_m(t[-1], air, heat.outer_m, heat.laying) - q.sum() - sun - extra)

    found = root(rest, np.full(current.size + 1, air + 30.0), tol=1e-12)
    assert found.success
    return np.asarray(found.x)


@pytest.mark.parametrize("laying", ["single", "wall", "trefoil"])
def test_a_general_solver_finds_the_same(laying: str) -> None:
    for heat in (CableHeat(ring().section, laying), CableHeat(trunk().section, laying)):  # type: ignore[arg-type]
        amps = currents(3, len(heat.section.x_m))
        air, sun, extra = np.array([-20.0, 25.0, 45.0]), np.array([0.0, 10.0, 25.0]), np.array([0.0, 1.0, 3.0])
        got = conductor_c(heat, amps, OHM_PER_KM, air, sun, extra)
        for r in range(3):
            want = by_a_general_solver(heat, amps[r], air[r], sun[r], extra[r])
            np.testing.assert_allclose(got.conductor_c[r], want[:-1], atol=1e-3)
            assert got.surface_c[r] == pytest.approx(want[-1], abs=1e-3)
        assert got.settles.all()


def test_the_equations_hold() -> None:
    """theta = theta_s + T_sh sum(q) + T q, and what the conductors make is what the surface gives off."""
    heat = trunk()
    amps, sun, extra = currents(4, 12), 12.0, 0.5
    got = conductor_c(heat, amps, OHM_PER_KM, 40.0, sun, extra)
    q = amps**2 * OHM_PER_KM / 1000 * (1 + ALPHA * (got.conductor_c - 20))
    np.testing.assert_allclose(got.heat_w_per_m, q.sum(axis=1), rtol=1e-9)
    inside = got.surface_c[:, None] + heat.sheath_resistance * q.sum(axis=1, keepdims=True) + q @ heat.matrix
    np.testing.assert_allclose(got.conductor_c, inside, atol=1e-6)
    given = iec_heat_w_per_m(got.surface_c, 40.0, heat.outer_m)
    np.testing.assert_allclose(given, got.heat_w_per_m + sun + extra, rtol=1e-6)


def test_rises_inside_superpose() -> None:
    """For given heats the rise over the surface is a sum over the conductors: solved for each heat alone, then all."""
    heat = ring()
    amps = np.array([30.0, 30.0, 18.0, 5.0])
    both = conductor_c(heat, [amps], OHM_PER_KM, 40.0)
    q = amps**2 * OHM_PER_KM / 1000 * (1 + ALPHA * (both.conductor_c[0] - 20))
    alone = []
    for k in range(4):
        # a resistance that makes the same heat in this conductor alone, wherever its temperature comes to
        one = np.where(np.arange(4) == k, amps, 0.0)
        ohm = float(brentq(lambda r, one=one, k=k: conductor_c(heat, [one], r, 40.0).heat_w_per_m[0] - q[k], 0.1, 10.0))
        got = conductor_c(heat, [one], ohm, 40.0)
        alone.append(got.conductor_c[0] - got.surface_c[0])
    np.testing.assert_allclose(np.sum(alone, axis=0), both.conductor_c[0] - both.surface_c[0], rtol=1e-6)


def test_no_current_is_the_air_and_sun_alone_warms_evenly() -> None:
    cold = conductor_c(trunk(), np.zeros((2, 12)), OHM_PER_KM, [-30.0, 50.0])
    np.testing.assert_allclose(cold.conductor_c, [[-30.0] * 12, [50.0] * 12], atol=1e-9)
    assert np.all(cold.heat_w_per_m == 0)
    sunny = conductor_c(trunk(), np.zeros((1, 12)), OHM_PER_KM, 40.0, 20.0)
    np.testing.assert_allclose(sunny.conductor_c, np.full((1, 12), sunny.surface_c[0]), atol=1e-9)
    assert iec_heat_w_per_m(sunny.surface_c[0], 40.0, trunk().outer_m) == pytest.approx(20.0, rel=1e-6)


def test_warmer_air_shifts_all_if_the_heat_stays() -> None:
    """Equal currents in a ring: with the resistance taken for the warmer conductors, everything is warmer by the same."""
    amps = np.full((1, 4), 30.0)
    cool = conductor_c(ring(), amps, OHM_PER_KM, 20.0)
    theta = cool.conductor_c[0, 0]
    ohm = OHM_PER_KM * (1 + ALPHA * (theta - 20)) / (1 + ALPHA * (theta + 25 - 20))
    warm = conductor_c(ring(), amps, ohm, 45.0)
    np.testing.assert_allclose(warm.conductor_c, cool.conductor_c + 25, atol=1e-6)
    assert warm.surface_c[0] == pytest.approx(cool.surface_c[0] + 25, abs=1e-6)
    # with the resistance of the metal it is more, since warm copper makes more heat
    assert np.all(conductor_c(ring(), amps, OHM_PER_KM, 45.0).conductor_c > cool.conductor_c + 25)


def test_heat_of_the_shield_is_heat_at_the_surface() -> None:
    """Like so much sun, and nothing that warms the conductors over the surface beyond their own resistance."""
    amps = currents(1, 12)
    shield, sun = (
        conductor_c(trunk(), amps, OHM_PER_KM, 40.0, **k) for k in ({"extra_w_per_m": 6.0}, {"sun_w_per_m": 6.0})
    )
    np.testing.assert_array_equal(shield.conductor_c, sun.conductor_c)
    bare = conductor_c(trunk(), amps, OHM_PER_KM, 40.0)
    assert shield.surface_c[0] > bare.surface_c[0]


def test_each_current_warms_every_conductor() -> None:
    base = conductor_c(trunk(), currents(1, 12), OHM_PER_KM, 40.0).conductor_c
    for k in range(12):
        more = currents(1, 12)
        more[0, k] += 2.0
        assert np.all(conductor_c(trunk(), more, OHM_PER_KM, 40.0).conductor_c > base)


def test_runaway_of_the_inside() -> None:
    """
    One conductor: `theta - theta_s = T q(theta)` has a solution below `I^2 = 1 / (alpha r T)` only, however cold the surface.
    """
    heat = CableHeat(Section((0.0,), (0.0,), 1.5e-3, 6e-3, 16e-3, 6.0, 5.0))
    inside = 6.0 / (2 * math.pi) * math.log(4) + 5.0 / (2 * math.pi) * math.log(16 / 12)
    critical = math.sqrt(1 / (ALPHA * OHM_PER_KM / 1000 * inside))
    got = conductor_c(heat, critical * np.array([[0.999], [1.001]]), OHM_PER_KM, 20.0)
    assert got.settles.tolist() == [True, False]
    assert np.isinf(got.conductor_c[1, 0])
    assert np.isinf(got.surface_c[1])
    assert np.isinf(got.heat_w_per_m[1])


def test_one_runaway_leaves_the_other_scenarios_alone() -> None:
    amps = currents(3, 12)
    amps[1] = 500.0
    got = conductor_c(trunk(), amps, OHM_PER_KM, 40.0)
    assert got.settles.tolist() == [True, False, True]
    for r in (0, 2):
        np.testing.assert_allclose(got.conductor_c[r], conductor_c(trunk(), amps[r], OHM_PER_KM, 40.0).conductor_c[0])


def test_a_pair_at_its_ampacity_takes_the_cable_to_its_limit() -> None:
    """The others keep their currents, also where the hottest conductor is one of theirs."""
    heat, amps, limit = trunk(), currents(1, 12)[0], 90.0
    for sun in (0.0, 20.0):
        found = pair_ampacity_a(heat, amps, OHM_PER_KM, 40.0, limit, sun, 0.5)
        assert found.shape == (6,)
        for p, most in enumerate(found):
            there = amps.copy()
            there[2 * p : 2 * p + 2] = most
            hottest = conductor_c(heat, there, OHM_PER_KM, 40.0, sun, 0.5).conductor_c.max()
            assert hottest == pytest.approx(limit, abs=2e-3)
            assert hottest <= limit + 1e-9


def test_pair_ampacity_by_another_root_finder() -> None:
    heat, amps = trunk(4), currents(1, 8)[0]

    def over(amp: float, p: int) -> float:
        there = amps.copy()
        there[2 * p : 2 * p + 2] = amp
        return float(by_a_general_solver(heat, there, 35.0, 8.0, 0.0)[:-1].max() - 90.0)

    want = [brentq(over, 1.0, 80.0, args=(p,), xtol=1e-9) for p in range(4)]
    np.testing.assert_allclose(pair_ampacity_a(heat, amps, OHM_PER_KM, 35.0, 90.0, 8.0), want, rtol=2e-5)


def test_what_neighbours_take_from_a_pair() -> None:
    """More current of the others, warmer air or sun: less. A pair of its own: what both conductors of the cable may carry."""
    heat, amps = trunk(), currents(1, 12)[0]
    found = pair_ampacity_a(heat, amps, OHM_PER_KM, 40.0, 90.0)
    assert np.all(pair_ampacity_a(heat, 1.2 * amps, OHM_PER_KM, 40.0, 90.0) < found)
    assert np.all(pair_ampacity_a(heat, amps, OHM_PER_KM, 45.0, 90.0) < found)
    assert np.all(pair_ampacity_a(heat, amps, OHM_PER_KM, 40.0, 90.0, 15.0) < found)
    assert np.all(pair_ampacity_a(heat, amps, OHM_PER_KM, 40.0, 70.0) < found)
    alone = CableHeat(laid_up(1, 6.0, 15.0))
    one = pair_ampacity_a(alone, [3.0, 3.0], OHM_PER_KM, 40.0, 90.0)
    np.testing.assert_allclose(one, equal_ampacity_a(alone, OHM_PER_KM, 40.0, 90.0), rtol=1e-5)
    # its own current of now doesn't matter, that of the others does
    mine = amps.copy()
    mine[4:6] = 0.0
    after = pair_ampacity_a(heat, mine, OHM_PER_KM, 40.0, 90.0)
    assert after[2] == pytest.approx(found[2], rel=1e-5)
    assert np.all(np.delete(after, 2) > np.delete(found, 2))


def test_nothing_is_left_where_the_others_are_too_much() -> None:
    heat = trunk(2)
    crowded = pair_ampacity_a(heat, [70.0, 70.0, 2.0, 2.0], OHM_PER_KM, 40.0, 90.0)
    assert crowded[0] > 50  # the quiet neighbour leaves room for this one
    assert crowded[1] == 0
    np.testing.assert_array_equal(pair_ampacity_a(heat, [0.0] * 4, OHM_PER_KM, 40.0, 39.0), 0.0)
    np.testing.assert_array_equal(pair_ampacity_a(heat, [0.0] * 4, OHM_PER_KM, 40.0, 90.0, 1000.0), 0.0)
    np.testing.assert_array_equal(pair_ampacity_a(heat, [900.0] * 4, OHM_PER_KM, 40.0, 90.0), 0.0)


def test_equal_ampacity_and_back() -> None:
    air, limit, sun = np.array([-10.0, 30.0, 50.0]), np.array([90.0, 90.0, 70.0]), np.array([0.0, 10.0, 3.0])
    for loaded in (None, 4):
        most = equal_ampacity_a(trunk(), OHM_PER_KM, air, limit, sun, loaded)
        amps = np.where(np.arange(12) < (loaded or 12), most[:, None], 0.0)
        np.testing.assert_allclose(
            conductor_c(trunk(), amps, OHM_PER_KM, air, sun).conductor_c.max(axis=1), limit, atol=2e-3
        )
    assert np.all(
        equal_ampacity_a(trunk(), OHM_PER_KM, air, limit, sun, 4)
        > equal_ampacity_a(trunk(), OHM_PER_KM, air, limit, sun)
    )
    np.testing.assert_array_equal(equal_ampacity_a(trunk(), OHM_PER_KM, [90.0, 95.0], 90.0), 0.0)


def test_ampacity_tends_to_the_root_of_the_temperature_difference() -> None:
    """
    IEC 60364-5-52, table B.52.14, is `sqrt((theta_max - theta_a) / (theta_max - 30))`, for a resistance to the air that is
    constant: what a cable with much resistance inside comes to.
    """
    heat = ring(4000.0)
    most = equal_ampacity_a(heat, OHM_PER_KM, [30.0, 40.0, 50.0], 70.0)
    np.testing.assert_allclose(most[1:] / most[0], [0.87, 0.71], atol=0.005)
    most = equal_ampacity_a(heat, OHM_PER_KM, [30.0, 40.0, 50.0, 60.0], 90.0)
    np.testing.assert_allclose(most[1:] / most[0], [0.91, 0.82, 0.71], atol=0.005)


def test_array_equals_scalar() -> None:
    heat = trunk()
    amps, air, sun, extra = (
        currents(4, 12),
        np.array([-20.0, 10.0, 30.0, 50.0]),
        np.array([0.0, 5.0, 10.0, 20.0]),
        np.arange(4.0),
    )
    got = conductor_c(heat, amps, OHM_PER_KM, air, sun, extra)
    most = equal_ampacity_a(heat, OHM_PER_KM, air, 90.0, sun)
    for r in range(4):
        one = conductor_c(heat, amps[r], np.full(12, OHM_PER_KM), air[r], sun[r], extra[r])
        np.testing.assert_allclose(one.conductor_c[0], got.conductor_c[r], rtol=1e-9)
        np.testing.assert_allclose(one.surface_c[0], got.surface_c[r], rtol=1e-9)
        np.testing.assert_allclose(one.heat_w_per_m[0], got.heat_w_per_m[r], rtol=1e-9)
        # each search stops once it is within 1 mK, and a batch goes on until all are
        np.testing.assert_allclose(equal_ampacity_a(heat, OHM_PER_KM, air[r], 90.0, sun[r])[0], most[r], rtol=2e-5)


def test_nonsense() -> None:
    with pytest.raises(ValueError, match="current_a needs 4 conductors on its last axis"):
        conductor_c(ring(), [[1.0, 2.0]], OHM_PER_KM, 40.0)
    with pytest.raises(ValueError, match="laying 'ditch' is not known"):
        conductor_c(CableHeat(ring().section, "ditch"), [[1.0] * 4], OHM_PER_KM, 40.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="broadcast"):
        conductor_c(ring(), np.ones((2, 4)), OHM_PER_KM, [1.0, 2.0, 3.0])
