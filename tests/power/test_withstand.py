"""Heating under a fault: both limits of the one-store law, its inverse, and a core cut into shells as the witness."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from upmast.power.heating import LIMIT_C, conductor_temperature_c, reference_ampacity_a
from upmast.power.protection import adiabatic_k, let_through_time_s
from upmast.power.withstand import (
    HEAT_CAPACITY_SOURCE,
    SHORT_CIRCUIT_LIMIT_C,
    adiabatic_fraction,
    copper_heat_share,
    final_temperature_c,
    service_k,
    steady_temperature_c,
    time_constant_s,
    time_to_limit_s,
    transient_temperature_c,
)
from upmast.source import Mark

XLPE10 = (86.0, 90.0)  # 10 mm2 XLPE in free air


def test_the_known_state_is_the_table() -> None:
    assert reference_ampacity_a(10) == XLPE10[0]
    assert LIMIT_C["xlpe90"] == XLPE10[1]


@pytest.mark.parametrize("insulation", ["pvc70", "xlpe90"])
def test_the_limit_is_reached_with_the_whole_let_through(insulation: str) -> None:
    """A current that uses k^2 S^2 to the end takes the conductor from its service limit to the short-circuit limit."""
    k = service_k(insulation)
    time = np.array([0.01, 0.1, 1.0, 5.0])
    current = k * 16 / np.sqrt(time)
    np.testing.assert_allclose(adiabatic_fraction(current, time, 16, k), 1.0, rtol=1e-12)
    np.testing.assert_allclose(
        final_temperature_c(LIMIT_C[insulation], current, time, 16), SHORT_CIRCUIT_LIMIT_C[insulation], rtol=1e-12
    )


def test_adiabatic_fraction_at_the_edges() -> None:
    assert adiabatic_fraction(0.0, np.inf, 10, 115) == 0
    assert adiabatic_fraction(50.0, np.inf, 10, 115) == np.inf
    assert adiabatic_fraction(0.0, 0.0, 10, 115) == 0
    for missing in ((np.nan, 1.0, 10, 115), (50.0, np.nan, 10, 115), (0.0, np.nan, 10, 115), (50, 1, np.nan, 115), (50, 1, 10, np.nan)):  # fmt: skip
        assert np.isnan(adiabatic_fraction(*missing))


@pytest.mark.parametrize("material", ["copper", "aluminium", "steel"])
def test_short_times_keep_their_heat(material: str) -> None:
    """t to 0: the adiabatic law, the nearer the shorter; without loss: the adiabatic law at any time."""
    time = np.array([1e-4, 1e-3, 1e-2, 1e-1])
    cooled = transient_temperature_c(time, 800.0, 10, 60.0, 60.0, *XLPE10, material=material)
    kept = final_temperature_c(60.0, 800.0, time, 10, material)
    lost = 1 - (cooled - 60) / (kept - 60)
    assert np.all((lost > 0) & (lost < 0.1 * time))
    # the rate at the start is that of both, whatever the air
    rate = (transient_temperature_c(1e-6, 800.0, 10, 60.0, 20.0, *XLPE10, material=material) - 60) / 1e-6
    gain = (final_temperature_c(60.0, 800.0, 1e-6, 10, material) - 60) / 1e-6
    loss = 40 / time_constant_s(10, *XLPE10, material=material)
    assert rate == pytest.approx(float(gain - loss), rel=1e-5)
    k = adiabatic_k(60.0, kept, material)
    np.testing.assert_allclose(k * 10, 800 * np.sqrt(time), rtol=1e-9)


def test_long_times_reach_the_steady_state() -> None:
    current = np.array([0.0, 20.0, 60.0, 86.0, 120.0])
    late = transient_temperature_c(np.inf, current, 10, 75.0, 40.0, *XLPE10)
    np.testing.assert_allclose(late, steady_temperature_c(current, 10, 40.0, *XLPE10), rtol=1e-12)
    assert late[0] == pytest.approx(40.0)
    # in the air of the table the capacity gives the limit, and there both laws of heating agree
    assert steady_temperature_c(*XLPE10[:1], 10, 30.0, *XLPE10) == pytest.approx(90.0)
    # with the resistance at its highest the other law lies above below the limit, and below above it
    simple = conductor_temperature_c(current, 86.0, 30.0, 90.0)
    settled = steady_temperature_c(current, 10, 30.0, *XLPE10)
    assert np.all(settled[1:3] < simple[1:3])
    assert settled[4] > simple[4]


def test_beyond_the_last_steady_current_it_runs_away() -> None:
    """a = b where the resistance grows as fast with heat as heat is lost: I = I_k sqrt((beta + theta_k) / (theta_k - 30))."""
    last = 86.0 * np.sqrt((234.5 + 90) / 60)
    assert np.isfinite(steady_temperature_c(last * 0.999, 10, 30.0, *XLPE10))
    assert np.isinf(steady_temperature_c(last * 1.001, 10, 30.0, *XLPE10))
    assert np.isinf(transient_temperature_c(np.inf, last * 1.001, 10, 30.0, 30.0, *XLPE10))
    near = transient_temperature_c(50.0, last * np.array([1 - 1e-9, 1.0, 1 + 1e-9]), 10, 30.0, 30.0, *XLPE10)
    np.testing.assert_allclose(near, near[1], rtol=1e-7)
    assert np.isinf(transient_temperature_c(1.0, np.inf, 10, 30.0, 30.0, *XLPE10))
    assert transient_temperature_c(0.0, np.inf, 10, 30.0, 30.0, *XLPE10) == 30.0


@pytest.mark.parametrize("current", [0.0, 60.0, 150.0, 250.0, 900.0])
def test_the_closed_form_solves_its_equation(current: float) -> None:
    """theta' = a (beta + theta) - b (theta - theta_a), integrated by another hand."""
    a = current**2 / (226.0 * 10) ** 2
    b = 86.0**2 / (226.0 * 10) ** 2 * 324.5 / 60
    time = np.array([0.5, 5.0, 20.0, 60.0])
    run = solve_ivp(lambda t, y: a * (234.5 + y) - b * (y - 45.0), (0, 60), [70.0], t_eval=time, rtol=1e-10, atol=1e-9)
    np.testing.assert_allclose(transient_temperature_c(time, current, 10, 70.0, 45.0, *XLPE10), run.y[0], rtol=1e-7)


def test_time_to_limit_is_the_inverse() -> None:
    current = np.array([95.0, 150.0, 200.0, 200.001, 400.0, 2000.0])
    time = time_to_limit_s(current, 10, 70.0, 250.0, 50.0, *XLPE10)
    reached = np.isfinite(time)
    np.testing.assert_array_equal(reached, steady_temperature_c(current, 10, 50.0, *XLPE10) > 250)
    assert reached.sum() == 5
    back = transient_temperature_c(time[reached], current[reached], 10, 70.0, 50.0, *XLPE10)
    np.testing.assert_allclose(back, 250.0, rtol=1e-9)
    assert time_to_limit_s(10.0, 10, 260.0, 250.0, 50.0, *XLPE10) == 0
    assert np.isinf(time_to_limit_s(0.0, 10, 70.0, 250.0, 50.0, *XLPE10))
    assert time_to_limit_s(np.inf, 10, 70.0, 250.0, 50.0, *XLPE10) == 0
    # without loss of heat it is the let-through time, which is a lower bound of it
    bare = time_to_limit_s(current, 10, 90.0, 250.0, 50.0, 0.0, 90.0)
    np.testing.assert_allclose(bare, let_through_time_s(10, adiabatic_k(90.0, 250.0), current), rtol=1e-12)
    assert np.all(time_to_limit_s(current, 10, 90.0, 250.0, 50.0, *XLPE10) > bare)


def test_time_constant() -> None:
    """At small current a step leaves 1/e after one constant; the square of section over current, as in the handbooks."""
    tau = float(time_constant_s(10, *XLPE10))
    left = transient_temperature_c(tau, 0.0, 10, 60.0, 20.0, *XLPE10) - 20
    assert left == pytest.approx(40 / np.e)
    assert time_constant_s(20, 172.0, 90.0) == pytest.approx(tau)
    assert np.isinf(time_constant_s(10, 0.0, 90.0))
    share = copper_heat_share(10, 0.7, "xlpe90")
    assert time_constant_s(10, *XLPE10, copper_share=share) == pytest.approx(tau / float(share))


def _shells(current: float, start_a: float, time: np.ndarray, shells: int = 12) -> np.ndarray:
    """
    Temperature of a 10 mm2 conductor with 0.7 mm of XLPE (3.5 K m/W, 2.4e6 J/(K m3)) cut into shells, in 30 C air.

    The surface gives off what makes 86 A come to 90 C. At first settled at `start_a`.
    """
    radius = np.sqrt(10 / np.pi)
    edges = np.linspace(radius, radius + 0.7, shells + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    heat = np.concatenate([[3.45 * 10], 2.4 * np.pi * (edges[1:] ** 2 - edges[:-1] ** 2)])  # J/(K m)
    at = np.concatenate([[radius], middle])
    ohm_m = 3.5 * np.log(at[1:] / at[:-1]) / (2 * np.pi)  # K m/W between the nodes
    r20 = 3.45 * 10 * 254.5 / (226.0 * 10) ** 2  # ohm/m, from K

    def watt(amps: float, theta: float) -> float:
        return amps**2 * r20 * (234.5 + theta) / 254.5

    whole = 60 / watt(86.0, 90.0)
    last = whole - ohm_m.sum()
    assert last > 0
    flow = np.append(1 / ohm_m, 1 / last)
    settled = brentq(lambda x: x - 30 - whole * watt(start_a, x), 30, 200)
    first = settled - watt(start_a, settled) * np.concatenate([[0], np.cumsum(ohm_m)])

    def slope(_: float, y: np.ndarray) -> np.ndarray:
        out = flow * (y - np.append(y[1:], 30.0))
        into = np.concatenate([[watt(current, y[0])], out[:-1]])
        return np.asarray((into - out) / heat)

    run = solve_ivp(slope, (0, time[-1]), first, t_eval=time, method="LSODA", rtol=1e-8, atol=1e-7)
    return np.asarray(run.y[0])


@pytest.mark.parametrize("current", [120.0, 200.0, 400.0, 900.0])
def test_one_store_is_a_bound_of_a_core_in_shells(current: float) -> None:
    """The conductor alone as the store: never below the shells, never above the heat all kept; insulation in it: nearer."""
    time = np.geomspace(0.05, 0.9 * float(time_to_limit_s(current, 10, 60.0, 400.0, 30.0, *XLPE10).clip(0, 300)), 25)
    witness = _shells(current, 50.0, time)
    first = _shells(current, 50.0, np.array([0.0, 1e-9]))[0]
    bound = transient_temperature_c(time, current, 10, first, 30.0, *XLPE10)
    kept = final_temperature_c(first, current, time, 10)
    assert np.all(bound >= witness - 1e-6)
    assert np.all(kept >= bound)
    share = copper_heat_share(10, 0.7, "xlpe90")
    nearer = transient_temperature_c(time, current, 10, first, 30.0, *XLPE10, copper_share=share)
    late = time > 5
    assert np.all(nearer[late] >= witness[late])
    assert np.all(nearer[late] <= bound[late])
    assert np.all((bound - nearer)[late] > 0.4 * (bound - witness)[late])


def test_heat_share() -> None:
    assert copper_heat_share(10, 0.0, "pvc70") == 1
    share = copper_heat_share(np.array([4.0, 10.0, 25.0]), 0.8, "xlpe90")
    assert np.all(np.diff(share) > 0)
    assert np.all((share > 0.5) & (share < 1))
    # a thin skin warms half: p = 1/2 - x/3 + ... with D/d = 1 + x; the layer is 2 x S
    x = 1e-3
    thin = 1 / copper_heat_share(np.pi, x, "pvc70") - 1
    assert thin == pytest.approx(0.5 * 1.7 / 3.45 * 2 * x, rel=2e-3)
    assert HEAT_CAPACITY_SOURCE.mark is Mark.MEMORY


def test_array_equals_scalar_and_missing_stays_missing() -> None:
    current, area = np.array([90.0, 300.0]), np.array([[6.0], [16.0]])
    many = transient_temperature_c(12.0, current, area, 60.0, 35.0, *XLPE10)
    times = time_to_limit_s(current, area, 60.0, 200.0, 35.0, *XLPE10)
    for i in range(2):
        for j in range(2):
            assert many[i, j] == transient_temperature_c(12.0, current[j], area[i, 0], 60.0, 35.0, *XLPE10)
            assert times[i, j] == time_to_limit_s(current[j], area[i, 0], 60.0, 200.0, 35.0, *XLPE10)
    sound = [12.0, 90.0, 10.0, 60.0, 35.0, 86.0, 90.0, 30.0]
    for n in range(len(sound)):
        lacking = [np.nan if k == n else x for k, x in enumerate(sound)]
        assert np.isnan(transient_temperature_c(*lacking)), n
        if n:
            assert np.isnan(time_to_limit_s(lacking[1], lacking[2], lacking[3], 250.0, *lacking[4:])), n
    assert np.isnan(copper_heat_share(np.nan, 1.0, "pvc70"))
    assert np.isnan(copper_heat_share(10.0, np.nan, "pvc70"))


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: service_k("rubber"), "pvc70, xlpe90"),
        (lambda: copper_heat_share(10, 1, "rubber"), "pvc70, xlpe90"),
        (lambda: copper_heat_share(0, 1, "pvc70"), "area_mm2 is 0"),
        (lambda: adiabatic_fraction(1.0, 1.0, 0.0, 115), "area_mm2 or k is 0"),
        (lambda: adiabatic_fraction(1.0, -1.0, 10.0, 115), "time_s is -1"),
        (lambda: final_temperature_c(-300.0, 1.0, 1.0, 10), "initial_c is -300"),
        (lambda: final_temperature_c(70.0, 1.0, 1.0, 0.0), "area_mm2 is 0"),
        (lambda: final_temperature_c(70.0, 1.0, 1.0, 10, "gold"), "copper, aluminium, steel"),
        (lambda: transient_temperature_c(1.0, 1.0, 10, 70, 30, 86, 30), "known_c above known_ambient_c"),
        (lambda: transient_temperature_c(1.0, 1.0, 10, 70, 30, np.inf, 90), "known_a is infinite"),
        (lambda: transient_temperature_c(1.0, 1.0, 10, 70, 30, 86, 90, 30, 1.5), "copper_share"),
        (lambda: transient_temperature_c(1.0, 1.0, 10, 70, 30, 86, 90, 30, 0.0), "copper_share"),
    ],
)
def test_nonsense(call: object, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        call()  # type: ignore[operator]
