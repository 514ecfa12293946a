"""Wind: the integral against a closed form, limits, both standards, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import support

II = (0.05, 2.0)


def test_profile_is_constant_below_z_min_and_grows_above() -> None:
    qp = support.wind_profile(np.array([0.0, 1.0, 2.0, 5.0, 50.0]), 25.0, *II).qp_pa
    assert qp[0] == qp[1] == qp[2] < qp[3] < qp[4]


def test_pressure_goes_with_the_square_of_speed() -> None:
    one, two = support.wind_profile(20.0, np.array([15.0, 30.0]), *II).qp_pa
    assert two == pytest.approx(4 * one)


def test_peak_pressure_is_the_expanded_form() -> None:
    """qp = rho vb^2 kr^2 (ln^2 + 7 ln) / 2 for flat land."""
    z = np.array([10.0, 30.0, 90.0])
    log, kr = np.log(z / 0.3), 0.19 * 6**0.07
    np.testing.assert_allclose(
        support.wind_profile(z, 27.0, 0.3, 5.0).qp_pa, 0.625 * 27**2 * kr**2 * (log**2 + 7 * log)
    )


def test_force_and_moment_against_the_closed_integral() -> None:
    z0, low, high = 0.05, 5.0, 45.0
    kr, factor = 0.19, 0.625 * 26**2 * 1.2 * 0.03

    def force(z: float) -> float:
        u = np.log(z / z0)
        return z * (u**2 - 2 * u + 2) + 7 * z * (u - 1)

    def moment(z: float) -> float:
        u = np.log(z / z0)
        return z**2 / 2 * (u**2 - u + 0.5) + 7 * z**2 / 2 * (u - 0.5)

    found = support.line_wind(low, high, 30.0, 26.0, *II)
    assert found.force_n == pytest.approx(factor * kr**2 * (force(high) - force(low)), rel=1e-3)
    assert found.moment_nm == pytest.approx(factor * kr**2 * (moment(high) - moment(low)), rel=1e-3)


def test_a_line_may_be_cut_in_two() -> None:
    whole = support.line_wind(0.0, 40.0, 28.0, 26.0, *II)
    parts = support.line_wind([0.0, 10.0], [10.0, 40.0], 28.0, 26.0, *II)
    assert parts.force_n.sum() == pytest.approx(float(whole.force_n), rel=2e-3)
    assert parts.moment_nm.sum() == pytest.approx(float(whole.moment_nm), rel=2e-3)
    assert support.line_wind(10.0, 10.0, 28.0, 26.0, *II).force_n == 0


def test_arrays_equal_scalars() -> None:
    top, d = np.array([[10.0], [40.0]]), np.array([20.0, 28.0])
    many = support.line_wind(0.0, top, d, 26.0, *II)
    for i in range(2):
        for j in range(2):
            one = support.line_wind(0.0, top[i, 0], d[j], 26.0, *II)
            assert many.force_n[i, j] == pytest.approx(float(one.force_n), rel=3e-3)  # one slice count for all
    np.testing.assert_allclose(
        support.wind_profile(top, 26.0, *II).qp_pa[:, 0],
        [float(support.wind_profile(z, 26.0, *II).qp_pa) for z in (10, 40)],
    )


def test_force_coefficient_is_the_safe_value_unless_roughness_is_known() -> None:
    re = np.array([1e4, 1.9e5, 3e5, 1e6, 1e7])
    np.testing.assert_array_equal(support.force_coefficient(re), 1.2)
    rough = support.force_coefficient(re, 1e-4)
    np.testing.assert_array_equal(rough[:2], 1.2)
    assert np.all(rough[2:] < 1.2)
    assert np.all(support.force_coefficient(re, 1e-2)[2:] > rough[2:])
    assert rough[3] == pytest.approx(1.2 - 0.18 * 3)


def test_row_factor_joins_at_thirty() -> None:
    assert support.row_factor(30.0) == pytest.approx(1.0)
    assert support.row_factor(3.5) == pytest.approx(1.147, abs=0.001)


def test_terrains_name_their_mark() -> None:
    assert [support.terrain(name).z_min_m for name in support.terrains()] == [1, 1, 2, 5, 10]
    assert str(support.terrain("IV").source.mark) == "memory"
    with pytest.raises(ValueError, match="III"):
        support.terrain("V")


def test_gust_factor_is_bounded_and_grows() -> None:
    for exposure in ("B", "C", "D"):
        kz = support.exposure_factor(np.array([0.0, 4.6, 30.0, 120.0, 2000.0]), exposure)  # type: ignore[arg-type]
        assert kz[0] == kz[1] < kz[2] < kz[3] < kz[4] == 2.01
    assert str(support.exposure_source().mark) == "memory"


def test_gust_round_coefficient_branches_join() -> None:
    """At C = 4.4 and 8.7 m2/s the neighbouring branches give 1.19 and 0.60."""
    d = np.array([4.39, 4.41, 8.69, 8.71]) * 1e3
    ca = support.round_coefficient(1.0, d, 1.0)
    assert ca[1] == pytest.approx(ca[0], abs=0.015)
    assert ca[3] == pytest.approx(ca[2], abs=0.005)


def test_gust_pressure_takes_every_factor() -> None:
    plain = support.gust_pressure_pa(40.0, 1.0, 1.0)
    assert support.gust_pressure_pa(40.0, 1.1, 0.95, 1.2, 1.15, 0.9) == pytest.approx(
        float(plain) * 1.1 * 0.95 * 1.2 * 1.15 * 0.9
    )


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.wind_profile, (-1.0, 20.0, 0.05, 2.0)),
        (support.wind_profile, (1.0, 20.0, 0.05, 0.01)),
        (support.reynolds_number, (1.0, 0.0)),
        (support.force_coefficient, (-1.0,)),
        (support.force_coefficient, (1e6, 0.0)),
        (support.row_factor, (0.5,)),
        (support.line_force_n_per_m, (-1.0, 1.0)),
        (support.line_wind, (10.0, 5.0, 28.0, 26.0, 0.05, 2.0)),
        (support.exposure_factor, (-1.0, "B")),
        (support.exposure_factor, (1.0, "A")),
        (support.gust_pressure_pa, (-1.0, 1.0, 1.0)),
        (support.round_coefficient, (1.0, 0.0, 1.0)),
        (support.gust_line_force_n_per_m, (1.0, -1.0, 1.0, 1.0)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must|at least|not known"):
        function(*args)
