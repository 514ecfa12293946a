"""Shield voltage against withstand: a stiff solver as a second way, limits, properties, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import earth
from upmast.source import Mark

FORM = earth.wave("first_positive")


def test_inner_earth_time_constant() -> None:
    """Handbook, section 5: about 0.2 ms. Shield of 12 mm radius and 1.2 mohm/m, copper of 16 mm2 (2.26 mm, 1.1 mohm/m)."""
    length = 50.0
    tau = earth.inner_earth_time_s(earth.inner_earth_h(length, 0.012, 0.00226), 1.2e-3 * length, 1.1e-3 * length)
    assert 0.1e-3 < tau < 0.3e-3
    assert tau == pytest.approx(
        float(earth.inner_earth_time_s(earth.inner_earth_h(1.0, 0.012, 0.00226), 1.2e-3, 1.1e-3))
    )


@pytest.mark.parametrize("name", earth.waves())
def test_first_peak_hardly_falls(name: str) -> None:
    """Handbook, section 5: a few per cent, while the parallel resistance would promise half."""
    found = earth.inner_earth(earth.inner_earth_h(50.0, 0.012, 0.00226), 60e-3, 55e-3, 10e3, earth.wave(name))
    assert 0 < found.relief < 0.06
    assert found.late_share == pytest.approx(55 / 115)
    assert found.conductor_s > earth.time_of_peak_s(earth.wave(name))


@pytest.mark.parametrize("conductor_ohm", [1e-3, 55e-3, 1.0])
def test_inner_earth_against_a_stiff_solver(conductor_ohm: float) -> None:
    integrate = pytest.importorskip("scipy.integrate")
    inductance, shield_ohm = 17e-6, 60e-3
    found = earth.inner_earth(inductance, shield_ohm, conductor_ohm, 1e4, FORM)
    t = earth.stroke_instants_s(FORM, 2e-3)
    solved = integrate.solve_ivp(
        lambda s, i: (shield_ohm * (earth.surge_a(s, 1e4, FORM) - i) - conductor_ohm * i) / inductance,
        (0, t[-1]), [0.0], "Radau", t, rtol=1e-9, atol=1e-5, max_step=2e-6,
    )  # fmt: skip
    inner = solved.y[0]
    assert found.conductor_a == pytest.approx(inner.max(), rel=1e-5)
    assert found.with_v == pytest.approx(shield_ohm * np.abs(earth.surge_a(t, 1e4, FORM) - inner).max(), rel=1e-5)


def test_inner_earth_limits() -> None:
    """A thin conductor changes nothing; with no inductance to speak of the two stand in parallel."""
    thin = earth.inner_earth(17e-6, 60e-3, 1e6, 1e4, FORM)
    assert thin.relief == pytest.approx(0.0, abs=1e-6)
    assert thin.without_v == pytest.approx(60e-3 * 1e4, rel=2e-3)
    near = earth.inner_earth(1e-12, 60e-3, 55e-3, 1e4, FORM)
    assert near.with_v / near.without_v == pytest.approx(55 / 115, rel=1e-4)
    assert earth.inner_earth(17e-6, 60e-3, 55e-3, 0.0, FORM).relief == 0


def test_least_shield_meets_the_withstand() -> None:
    """At the least section of `least_shield_mm2` the margin is 0."""
    area = earth.least_shield_mm2(6e3, 50.0, 1500.0)
    volts = earth.shield_surge_v(6e3, earth.COPPER_OHM_M / (area * 1e-6) * 1e3, 50.0)
    assert earth.withstand_margin_v(volts, 1500.0) == pytest.approx(0.0, abs=1e-9)
    assert earth.DC_PORT_SOURCE.mark is Mark.MEMORY
    assert earth.AIR_SOURCE.mark is Mark.MEMORY


def test_transfer_inductance_adds_faradays_law() -> None:
    """1 nH/m over 40 m with 2 kA/us: 80 V more, whichever way the current goes."""
    base = earth.shield_surge_v(5e3, 1.0, 40.0)
    for slope in (2e9, -2e9):
        assert earth.shield_surge_v(5e3, 1.0, 40.0, slope, 1e-9) - base == pytest.approx(80.0)


def test_missing_bond_of_the_handbook() -> None:
    """Handbook, open check 5: 22.1 kV with 100 kA in 10 us; 500 kV/m over 0.15 m of air hold 75 kV, over 0.03 m 15 kV."""
    found = earth.missing_bond_table(20.0, 0.20, 0.35, 100e3, 10e-6, gap_m=[0.15, 0.03])
    np.testing.assert_allclose(found.voltage_v, 22.1e3, atol=50)
    np.testing.assert_allclose(found.gap_v, [75e3, 15e3])
    np.testing.assert_array_equal(found.flashes, [False, True])


def test_missing_bond_at_the_surface_has_the_resistive_part_only() -> None:
    found = earth.missing_bond_table(20.0, 0.2, 0.2, 100e3, 10e-6, mast_ohm=1e-3)
    assert found.voltage_v == pytest.approx(100.0)
    assert found.flashes  # no air at all


def test_separation_distance_iec62305_3() -> None:
    """IEC 62305-3, 6.3, from memory: level III, one down conductor, 10 m in air: 0.4 m; level I, two, solid: 1.056 m."""
    assert earth.separation_distance_m(10.0, "III") == pytest.approx(0.4)
    assert earth.separation_distance_m(10.0, "I", 2, "solid") == pytest.approx(1.056)
    assert earth.separation_distance_m(10.0, "IV", 7) == earth.separation_distance_m(10.0, "III", 3)
    assert earth.separation_source().mark is Mark.MEMORY


@settings(max_examples=50, deadline=None)
@given(st.floats(1e-7, 1e-4), st.floats(1e-3, 1.0), st.floats(1e-3, 1.0), st.sampled_from(earth.waves()))
def test_relief_stays_between_none_and_the_late_limit(
    inductance: float, shield: float, conductor: float, name: str
) -> None:
    found = earth.inner_earth(inductance, shield, conductor, 1e4, earth.wave(name), front_steps=100)
    assert -1e-9 <= found.relief <= 1 - found.late_share + 1e-6


def test_array_equals_scalar() -> None:
    inductance, shield = np.array([1e-6, 2e-5]), np.array([[0.05], [0.1]])
    many = earth.inner_earth(inductance, shield, 0.03, 1e4, FORM)
    tau = earth.inner_earth_time_s(inductance, shield, 0.03)
    volts = earth.shield_surge_v(shield * 1e5, 1.0, 40.0, 1e9, inductance)
    bonds = earth.missing_bond_table(20.0, 0.2, np.array([0.3, 0.5]), shield * 1e6, 1e-6)
    gap = earth.separation_distance_m(np.array([1.0, 7.0]), "I", 2)
    assert many.relief.shape == (2, 2)
    for a in range(2):
        assert gap[a] == earth.separation_distance_m((1.0, 7.0)[a], "I", 2)
        for b in range(2):
            one = earth.inner_earth(inductance[b], shield[a, 0], 0.03, 1e4, FORM)
            for field in ("without_v", "with_v", "relief", "late_share", "conductor_a", "conductor_s"):
                assert getattr(many, field)[a, b] == getattr(one, field)
            assert tau[a, b] == earth.inner_earth_time_s(inductance[b], shield[a, 0], 0.03)
            assert volts[a, b] == earth.shield_surge_v(shield[a, 0] * 1e5, 1.0, 40.0, 1e9, inductance[b])
            single = earth.missing_bond_table(20.0, 0.2, (0.3, 0.5)[b], shield[a, 0] * 1e6, 1e-6)
            assert (bonds.voltage_v[a, b], bonds.flashes[a, b]) == (single.voltage_v, single.flashes)


def test_nonsense() -> None:
    nan = float("nan")
    for call in (
        lambda: earth.shield_surge_v(nan, 1, 1),
        lambda: earth.shield_surge_v(1, 1, 1, nan),
        lambda: earth.shield_surge_v(1, 1, 1, 1, -1),
        lambda: earth.withstand_margin_v(nan),
        lambda: earth.withstand_margin_v(1, 0),
        lambda: earth.inner_earth_h(1.0, 0.001, 0.002),
        lambda: earth.inner_earth_h(1.0, 0.001, 0.0),
        lambda: earth.inner_earth_time_s(1e-6, 0, 0),
        lambda: earth.inner_earth(0.0, 1, 1, 1, FORM),
        lambda: earth.inner_earth(1e-6, nan, 1, 1, FORM),
        lambda: earth.inner_earth(1e-6, 1, 1, -1, FORM),
        lambda: earth.missing_bond_table(20.0, 0.2, 0.1, 1e5, 1e-5),
        lambda: earth.missing_bond_table(20.0, 0.2, 0.3, 1e5, 1e-5, gap_m=-0.1),
        lambda: earth.separation_distance_m(1.0, "V"),
        lambda: earth.separation_distance_m(1.0, "I", 0),
        lambda: earth.separation_distance_m(1.0, "I", 1, "water"),
        lambda: earth.separation_distance_m(nan, "I"),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
