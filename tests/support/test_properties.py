"""What must hold for any input: forces grow, spacings keep all of their limits, torque keeps that of crush."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from upmast import support

speed, diameter, more = st.floats(5, 60), st.floats(4, 150), st.floats(1.01, 2)
terrain = st.sampled_from(support.terrains())
limit = st.floats(1e-3, 1e3)


@settings(deadline=None)
@given(speed, diameter, more, terrain, st.floats(0, 100), st.floats(0.1, 90))
def test_force_of_a_mean_wind_grows_with_speed_diameter_and_height(
    basic: float, d: float, by: float, category: str, low: float, length: float
) -> None:
    t = support.terrain(category)
    rough = (t.z0_m, t.z_min_m)
    for call in (support.line_wind, support.exact_line_wind):
        start = call(low, low + length, d, basic, *rough)
        for other in (call(low, low + length, d * by, basic, *rough), call(low, low + length, d, basic * by, *rough)):
            assert other.force_n > start.force_n
            assert other.moment_nm > start.moment_nm
        assert call(low + 5, low + length + 5, d, basic, *rough).force_n >= start.force_n * (1 - 1e-9)


@settings(deadline=None)
@given(speed, diameter, more, st.sampled_from(["B", "C", "D"]), st.floats(0, 150))
def test_force_of_a_gust_grows_within_one_branch_of_the_coefficient(
    gust: float, d: float, by: float, exposure: str, z: float
) -> None:
    kz = support.exposure_factor(z, exposure)  # type: ignore[arg-type]

    def force(v: float, width: float) -> float:
        ca = support.round_coefficient(v, width, kz)
        return float(support.gust_line_force_n_per_m(support.gust_pressure_pa(v, kz, 0.85), width, ca, 0.85))

    def branch(c: float) -> int:
        return int(c > 4.4) + int(c > 8.7)

    c = float(np.sqrt(kz)) * gust * d * 1e-3
    assume(branch(c) == branch(c * by))
    assert force(gust * by, d) > force(gust, d)
    # between 4.4 and 8.7 the coefficient falls as the diameter grows, and the force stays
    assert force(gust, d * by) >= force(gust, d) * (1 - 1e-12)
    if branch(c) != 1:
        assert force(gust, d * by) == pytest.approx(force(gust, d) * by)


@settings(deadline=None)
@given(limit, limit, limit)
def test_spacing_never_exceeds_any_of_its_limits(slip: float, side: float, rule: float) -> None:
    found = support.clamp_spacing(slip, side, rule)
    assert found.spacing_m <= min(slip, side, rule)
    assert found.spacing_m == {"slip": slip, "side": side, "rule": rule}[str(found.names)]


@settings(deadline=None)
@given(
    st.floats(1, 5000), st.floats(0.05, 10), st.floats(0, 20), st.floats(1, 5000), st.floats(0.1, 500), st.floats(0.3, 3),
    st.floats(0.5, 80), st.floats(0, 1),
)  # fmt: skip
def test_a_schedule_keeps_the_limits_of_slip_side_and_rule(
    grip: float, mass: float, ice: float, side: float, wind: float, rule: float, length: float, end: float
) -> None:
    limits = (support.slip_spacing_m(grip, mass, ice), support.side_spacing_m(side, wind), rule)
    spacing = float(support.clamp_spacing(*limits).spacing_m)
    assume(spacing > length / 5000)
    found = support.clamp_schedule(0.0, length, length, spacing, end)
    gaps = np.diff(found.height_m)
    for most in limits:
        assert np.all(gaps <= float(most) * (1 + 1e-8))
    # no clamp carries more weight than its grip with the safety factor
    assert np.all(gaps * (mass + ice) * 9.80665 * support.SLIP_SAFETY <= grip * (1 + 1e-8))


@settings(deadline=None)
@given(st.floats(0.1, 60), st.floats(20, 20000), st.floats(10, 100), st.floats(1, 3))
def test_torque_keeps_crush_and_a_larger_rating_never_lowers_it(
    wanted: float, crush: float, width: float, by: float
) -> None:
    start, other = (support.clamp_torque(wanted, x, 2, width, 8.0, 1.1) for x in (crush, crush * by))
    assert start.torque_nm <= min(wanted, float(start.crush_nm))
    assert other.torque_nm >= start.torque_nm
    assert other.spacing_m >= start.spacing_m
