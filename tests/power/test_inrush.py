"""Charging pulses: limits of damping, energy, numerical integration, ngspice, several radios at once, stability."""

from __future__ import annotations

import re
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from upmast.power.inrush import (
    INDUCTANCE_SOURCE,
    PAIR_INDUCTANCE_H_PER_M,
    VERDICTS,
    current_a,
    inrush_a2s,
    least_capacitance_f,
    pair_inductance_h_per_m,
    peak_a,
    peak_time_s,
    rides,
    stability,
    time_constant_s,
    together,
)
from upmast.power.load_flow import single
from upmast.power.trip import TripCurve, trip_band_s
from upmast.source import Mark

# E, R, L, C: underdamped, critically damped, overdamped, strongly overdamped
CASES = [(54.0, 0.05, 40e-6, 4e-3), (54.0, 0.2, 50e-6, 5e-3), (57.0, 0.5, 30e-6, 3e-3), (48.0, 1.2, 5e-6, 10e-3)]


def _integrated(e: float, r: float, l: float, c: float, until: float, at: np.ndarray | None = None) -> np.ndarray:  # noqa: E741
    run = solve_ivp(
        lambda t, y: [(e - r * y[0] - y[1]) / l, y[0] / c], (0, until), [0.0, 0.0], t_eval=at, method="LSODA", rtol=1e-11,
        atol=1e-11,
    )  # fmt: skip
    return np.asarray(run.y[0])


@pytest.mark.parametrize("case", CASES)
def test_peak_and_shape_against_numerical_integration(case: tuple[float, float, float, float]) -> None:
    e, r, l, c = case  # noqa: E741
    when = float(peak_time_s(r, l, c))
    time = np.linspace(0, 6 * when, 600)
    run = _integrated(e, r, l, c, time[-1], time)
    np.testing.assert_allclose(current_a(time, e, r, l, c), run, atol=1e-6 * e / r)
    peak = float(peak_a(e, r, l, c))
    assert run.max() <= peak * (1 + 1e-9)
    assert _integrated(e, r, l, c, when, np.array([when]))[0] == pytest.approx(peak, rel=1e-7)
    assert current_a(when, e, r, l, c) == pytest.approx(peak, rel=1e-12)


@pytest.mark.parametrize("case", CASES)
def test_heat_of_the_pulse_at_any_damping(case: tuple[float, float, float, float]) -> None:
    """C E^2 / (2 R), whatever the inductance: quadrature of the square of the current."""
    e, r, l, c = case  # noqa: E741
    end = 20 * float(time_constant_s(r, l, c))
    edges = np.linspace(0, end, 40)
    heat = sum(quad(lambda t: float(current_a(t, e, r, l, c)) ** 2, a, b)[0] for a, b in pairwise(edges))
    assert heat == pytest.approx(float(inrush_a2s(e, r, c)), rel=1e-8)


def test_limits_of_damping() -> None:
    e, l, c = 54.0, 40e-6, 4e-3  # noqa: E741
    assert peak_a(e, 0.0, l, c) == pytest.approx(e * np.sqrt(c / l))
    assert peak_time_s(0.0, l, c) == pytest.approx(np.pi / 2 * np.sqrt(l * c))
    critical = 2 * np.sqrt(l / c)
    assert peak_a(e, critical, l, c) == pytest.approx(2 * e / (np.e * critical))
    assert peak_time_s(critical, l, c) == pytest.approx(2 * l / critical)
    # through the critical point without a step
    near = peak_a(e, critical * (1 + np.array([-1e-6, -1e-9, 0.0, 1e-9, 1e-6])), l, c)
    np.testing.assert_allclose(near, near[2], rtol=1e-6)
    assert np.all(np.diff(near) < 0)
    # no inductance, or next to none
    assert peak_a(e, 0.3, 0.0, c) == e / 0.3
    assert peak_time_s(0.3, 0.0, c) == 0
    np.testing.assert_allclose(peak_a(e, 0.3, [1e-12, 1e-18, 1e-25, 1e-300], c), e / 0.3, rtol=1e-6)
    # more resistance or inductance never lifts the peak, more capacitance never lowers it
    assert np.all(np.diff(peak_a(e, np.linspace(0, 3, 400), l, c)) < 0)
    assert np.all(np.diff(peak_a(e, 0.2, np.geomspace(1e-9, 1e-3, 200), c)) <= 0)
    assert np.all(np.diff(peak_a(e, 0.2, l, np.geomspace(1e-6, 1.0, 200))) >= 0)
    # bounds of energy and of Ohm
    r = np.geomspace(1e-3, 10, 50)
    assert np.all(peak_a(e, r, l, c) <= np.minimum(e / r, e * np.sqrt(c / l)))


def test_edges_of_the_inputs() -> None:
    assert peak_a(54.0, 0.2, 50e-6, 0.0) == 0
    assert peak_a(54.0, 0.2, 0.0, 0.0) == 0
    assert peak_a(0.0, 0.2, 50e-6, 1e-3) == 0
    assert peak_a(0.0, 0.0, 0.0, 1e-3) == 0
    assert np.isinf(peak_a(54.0, 0.0, 0.0, 1e-3))
    assert np.isinf(inrush_a2s(54.0, 0.0, 1e-3))
    assert inrush_a2s(54.0, 0.0, 0.0) == 0
    assert time_constant_s(0.2, 0.0, 5e-3) == pytest.approx(0.2 * 5e-3)
    assert time_constant_s(0.2, 1e-12, 5e-3) == pytest.approx(0.2 * 5e-3)
    assert time_constant_s(0.01, 50e-6, 5e-3) == pytest.approx(2 * 50e-6 / 0.01)
    assert np.isinf(time_constant_s(0.0, 50e-6, 5e-3))
    assert time_constant_s(0.2, 50e-6, 0.0) == 0


def test_missing_stays_missing() -> None:
    for n in range(4):
        case = [np.nan if k == n else x for k, x in enumerate(CASES[0])]
        assert np.isnan(peak_a(*case)), n
        assert np.isnan(current_a(1e-4, *case)), n
        if n:
            assert np.isnan(peak_time_s(*case[1:])), n
            assert np.isnan(time_constant_s(*case[1:])), n
        if n != 2:
            assert np.isnan(inrush_a2s(case[0], case[1], case[3])), n
    assert np.isnan(peak_a(54.0, 0.2, 0.0, np.nan))
    assert np.isnan(peak_time_s(0.2, 0.0, np.nan))
    assert np.isnan(time_constant_s(0.2, 0.0, np.nan))
    assert np.isnan(pair_inductance_h_per_m(np.nan, 1e-3))
    assert np.isnan(together([0.1, 0.1], 1e-5, [1e-3, np.nan], 0.01).capacitance_f)
    assert np.isnan(stability(900.0, 40.0, 0.3, 40e-6, np.nan).worst_fraction)
    assert stability(900.0, 40.0, 0.3, 40e-6, np.nan).resistance_fraction == pytest.approx(0.3 * 900 / 1600)


def test_array_equals_scalar() -> None:
    e, r, l, c = (np.array(x) for x in zip(*CASES, strict=True))  # noqa: E741
    grid = (e[:, None], r[:, None], l, c)
    peaks, times, heat, tau = peak_a(*grid), peak_time_s(*grid[1:]), inrush_a2s(e[:, None], r[:, None], c), time_constant_s(*grid[1:])  # fmt: skip
    shapes = current_a(3e-4, *grid)
    for i in range(4):
        for k in range(4):
            assert peaks[i, k] == peak_a(e[i], r[i], l[k], c[k])
            assert times[i, k] == peak_time_s(r[i], l[k], c[k])
            assert heat[i, k] == inrush_a2s(e[i], r[i], c[k])
            assert tau[i, k] == time_constant_s(r[i], l[k], c[k])
            assert shapes[i, k] == current_a(3e-4, e[i], r[i], l[k], c[k])


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_peaks_by_ngspice(tmp_path: Path) -> None:
    rows = ["* a step on series R, L and C at rest, one circuit a case"]
    for n, (e, r, l, c) in enumerate(CASES):  # noqa: E741
        rows += [f"V{n} s{n} 0 DC {e}", f"R{n} s{n} a{n} {r}", f"L{n} a{n} b{n} {l} IC=0", f"C{n} b{n} 0 {c} IC=0"]
    rows += [".tran 0.2u 10m 0 0.2u UIC", *(f".meas tran peak{n} MAX i(L{n})" for n in range(len(CASES))), ".end"]
    deck = tmp_path / "step.cir"
    deck.write_text("\n".join(rows) + "\n")
    done = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, timeout=120, check=True)
    found = re.findall(r"^peak(\d)\s*=\s*(\S+) at=\s*(\S+)", done.stdout, re.MULTILINE)
    assert len(found) == len(CASES)
    for n, value, when in found:
        assert float(value) == pytest.approx(float(peak_a(*CASES[int(n)])), rel=2e-4)
        assert float(when) == pytest.approx(float(peak_time_s(*CASES[int(n)][1:])), abs=1e-6)


def test_inductance_of_a_pair() -> None:
    """Closed form against the flux: outside, between the wires, and inside, by quadrature of B r^2 / a^2."""
    d, r = 6.2e-3, 2.1e-3
    outside = 2 * quad(lambda x: 2e-7 / x, r, d)[0]  # to the axis of the other wire, as textbooks take it
    inside = 2 * quad(lambda x: 2e-7 * x / r**2 * (x / r) ** 2, 0, r)[0]
    assert pair_inductance_h_per_m(d, r) == pytest.approx(outside + inside, rel=1e-9)
    low, high = PAIR_INDUCTANCE_H_PER_M
    # cores side by side with 0.7 to 1.2 mm of insulation, 6 to 25 mm2: inside the default range, or just at its edge
    radius = np.sqrt(np.array([6.0, 10.0, 16.0, 25.0]) * 1e-6 / np.pi)
    for insulation in (0.7e-3, 1.2e-3):
        assert np.all(pair_inductance_h_per_m(2 * (radius + insulation), radius) > 0.9 * low)
        assert np.all(pair_inductance_h_per_m(2 * (radius + insulation), radius) < high)
    assert INDUCTANCE_SOURCE.mark is Mark.PRACTICE
    np.testing.assert_allclose(
        pair_inductance_h_per_m([5e-3, 8e-3], 2e-3), [pair_inductance_h_per_m(x, 2e-3) for x in (5e-3, 8e-3)]
    )


def _common_peak(e: float, r: np.ndarray, l: np.ndarray, c: np.ndarray, r0: float, l0: float) -> tuple[float, float]:  # noqa: E741
    """Peak and I^2 t of the current in the common part, by integration of all branches."""
    n = r.size
    store = np.linalg.inv(np.diag(l) + l0)

    def slope(_: float, y: np.ndarray) -> np.ndarray:
        i, v = y[:n], y[n : 2 * n]
        return np.concatenate([store @ (e - r0 * i.sum() - r * i - v), i / c, [i.sum() ** 2]])

    until = 12 * (r.max() + n * r0) * c.max() + 40 * (l.max() + l0) / r.min()
    run = solve_ivp(slope, (0, until), np.zeros(2 * n + 1), method="LSODA", rtol=1e-8, atol=1e-9)
    return float(run.y[:n].sum(axis=0).max()), float(run.y[-1, -1])


def test_copies_of_one_radio_lump_exactly() -> None:
    scale = np.array([1.0, 2.0, 0.5])
    r, l, c = 0.24 / scale, 36e-6 / scale, 1.5e-3 * scale  # noqa: E741
    lump = together(r, l, c, 0.02, 4e-6)
    e, rest = 54.0, (lump.resistance_ohm, lump.inductance_h, lump.capacitance_f)
    peak, heat = _common_peak(e, r, l, c, 0.02, 4e-6)
    assert peak == pytest.approx(float(peak_a(e, *rest)), rel=1e-3)
    assert heat == pytest.approx(float(inrush_a2s(e, lump.resistance_ohm, lump.capacitance_f)), rel=1e-5)
    one = together([0.2], [5e-5], [1e-3], 0.05)
    assert (one.resistance_ohm, one.inductance_h, one.capacitance_f) == pytest.approx((0.25, 5e-5, 1e-3))


def test_unlike_radios_stay_below_the_lump() -> None:
    """I^2 t and E sqrt(C / L) are bounds for any branches; the peak of the lump was never found more than 2 % low."""
    rng = np.random.default_rng(7)
    for _ in range(25):
        n = int(rng.integers(2, 5))
        r, l, c = 10 ** rng.uniform(-1.3, 0, n), 10 ** rng.uniform(-5.3, -4, n), 10 ** rng.uniform(-3.5, -2, n)  # noqa: E741
        r0, l0 = 10 ** rng.uniform(-2.5, -1), 10 ** rng.uniform(-6, -5)
        lump = together(r, l, c, r0, l0)
        peak, heat = _common_peak(54.0, r, l, c, r0, l0)
        assert heat <= float(inrush_a2s(54.0, lump.resistance_ohm, lump.capacitance_f)) * (1 + 1e-6)
        assert peak <= 54.0 * np.sqrt(float(lump.capacitance_f / lump.inductance_h)) * (1 + 1e-6)
        assert peak <= float(peak_a(54.0, lump.resistance_ohm, lump.inductance_h, lump.capacitance_f)) * 1.02


def test_lumps_of_many_at_once() -> None:
    r, l, c = np.full((3, 4), 0.2), np.full((3, 4), 4e-5), np.array([[1e-3], [2e-3], [3e-3]]) * np.ones(4)  # noqa: E741
    many = together(r, l, c, [0.01, 0.02, 0.03])
    for n in range(3):
        one = together(r[n], l[n], c[n], 0.01 * (n + 1))
        assert many.resistance_ohm[n] == one.resistance_ohm
        assert many.inductance_h[n] == one.inductance_h
        assert many.capacitance_f[n] == one.capacitance_f
    assert together([0.0, 0.2], [1e-5, 1e-5], [1e-3, 1e-3], 0.01).resistance_ohm == pytest.approx(0.01)


def test_verdicts() -> None:
    words = rides([79.9, 80.0, 80.0, 200.0, 200.0, np.nan, 200.0], [1, 1, 1, 36, 200, 1, np.nan], 1e-3, 80.0, [np.nan, np.nan, 5e-3, 2e-2, 2e-2, 2e-2, 2e-2])  # fmt: skip
    assert words.tolist() == [VERDICTS[n] for n in (0, 2, 1, 1, 2, 3, 2)]
    assert rides(90.0, 1.0, 1e-2, 80.0, 5e-3) == "may trip"
    assert rides(90.0, 1.0, np.nan, 80.0, 5e-3) == "may trip"
    assert rides(50.0, np.nan, np.nan, 80.0) == "below the instantaneous band"
    assert rides(50.0, 1.0, 1e-3, np.nan) == "not judged"
    # a long start below the band can trip by heat
    assert rides([50.0, 50.0], [5e3, 50.0], [3.0, 0.02], 80.0, 2.0).tolist() == [
        "may trip",
        "below the instantaneous band",
    ]


def test_a_pulse_too_short_is_above_the_edge_for_less_than_the_trip_time() -> None:
    """Its heat is at least the square of the edge for as long as it is above."""
    rng = np.random.default_rng(3)
    r, l, c = 10 ** rng.uniform(-1.5, 0.5, 400), 10 ** rng.uniform(-6, -3.5, 400), 10 ** rng.uniform(-4, -1.5, 400)  # noqa: E741
    edge, trip = 60.0, 10 ** rng.uniform(-3.5, -1, 400)
    words = rides(peak_a(54.0, r, l, c), inrush_a2s(54.0, r, c), time_constant_s(r, l, c), edge, trip)
    chosen = np.flatnonzero(words == "too short to trip")
    assert chosen.size > 10
    for n in chosen:
        time = np.linspace(0, 12 * float(time_constant_s(r[n], l[n], c[n])), 20001)
        above = np.abs(current_a(time, 54.0, r[n], l[n], c[n])) > edge
        assert 0 < above.sum() * time[1] < trip[n]


def test_a_radio_behind_a_breaker() -> None:
    """An invented radio and breaker: with the curve the short pulse rides, without it nobody can say."""
    curve = TripCurve([1.13, 1.45, 4.0, 7.0, 20.0], [3600, 60, 0.02, 0.008, 0.008], [np.inf, 3600, 12, 0.1, 0.02], 1.13)
    loop, line_h = 0.3, 40 * PAIR_INDUCTANCE_H_PER_M[0]
    peak = peak_a(57.6, loop, line_h, 1.2e-3)
    shortest, _ = trip_band_s(curve, peak, 25.0)
    heat, tau = inrush_a2s(57.6, loop, 1.2e-3), time_constant_s(loop, line_h, 1.2e-3)
    assert peak > 4 * 25
    assert rides(peak, heat, tau, 4 * 25.0, shortest) == "too short to trip"
    assert rides(peak, heat, tau, 4 * 25.0) == "may trip"


def _eigenvalues(p: float, v: float, r: float, l: float, c: float) -> np.ndarray:  # noqa: E741
    return np.linalg.eigvals(np.array([[-r / l, -1 / l], [1 / c, p / (c * v * v)]]))


def test_stability_is_the_sign_of_the_eigenvalues() -> None:
    rng = np.random.default_rng(11)
    p, v, r = rng.uniform(100, 3000, 500), rng.uniform(20, 56, 500), 10 ** rng.uniform(-2, 0.3, 500)
    l, c = 10 ** rng.uniform(-6, -3.5, 500), 10 ** rng.uniform(-6, -2, 500)  # noqa: E741
    worst = stability(p, v, r, l, c).worst_fraction
    decays = np.array([_eigenvalues(*row).real.max() < 0 for row in zip(p, v, r, l, c, strict=True)])
    np.testing.assert_array_equal(worst < 1, decays)
    assert 50 < decays.sum() < 450


def test_stability_in_time() -> None:
    """The whole circuit, not its linear part: a departure dies above the least capacitance and grows below it."""
    e, r, l, p = 48.0, 0.3, 60e-6, 900.0  # noqa: E741
    flow = single(e, r, p)
    least = float(least_capacitance_f(p, flow.voltage_v, r, l))
    for factor, dies in ((1.2, True), (0.8, False)):
        c = factor * least
        start = [float(flow.current_a), float(flow.voltage_v) + 0.05]
        run = solve_ivp(
            lambda t, y, c=c: [(e - r * y[0] - y[1]) / l, (y[0] - p / max(y[1], 5.0)) / c], (0, 4e-3), start, method="LSODA",
            rtol=1e-9, atol=1e-9,
        )  # fmt: skip
        late = np.abs(run.y[1, run.t > 3e-3] - flow.voltage_v).max()
        assert (late < 0.02) if dies else (late > 0.5)


def test_resistance_condition_is_the_high_voltage_solution() -> None:
    """R P / V^2 = (E - V) / V, and 1 where the load flow ends, at E / 2."""
    e, r = 48.0, 0.4
    p = np.array([200.0, 900.0, 1400.0, e * e / (4 * r)])
    flow = single(e, r, p)
    used = stability(p, flow.voltage_v, r, 0.0, 1e-3).resistance_fraction
    np.testing.assert_allclose(used, (e - flow.voltage_v) / flow.voltage_v, rtol=1e-12)
    assert used[-1] == pytest.approx(1.0)
    assert np.all(used[:-1] < 1)


def test_least_capacitance_at_the_edges() -> None:
    assert np.isinf(least_capacitance_f(900.0, 40.0, 0.0, 40e-6))
    assert least_capacitance_f(900.0, 40.0, 0.0, 0.0) == 0
    assert least_capacitance_f(900.0, 40.0, 0.3, 0.0) == 0
    assert np.isinf(stability(900.0, 40.0, 0.3, 40e-6, 0.0).worst_fraction)
    assert stability(0.0, 40.0, 0.3, 40e-6, 0.0).worst_fraction == 0
    found = stability(900.0, 40.5, [0.2, 0.3], 40e-6, 2e-3)
    for n, r in enumerate((0.2, 0.3)):
        assert found.worst_fraction[n] == stability(900.0, 40.5, r, 40e-6, 2e-3).worst_fraction
        assert found.capacitance_fraction[n] == pytest.approx(float(least_capacitance_f(900.0, 40.5, r, 40e-6)) / 2e-3)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: peak_a(-1.0, 0.1, 1e-6, 1e-3), "step_v is -1"),
        (lambda: peak_a(54.0, 0.1, -1e-6, 1e-3), "inductance_h is -1e-06"),
        (lambda: current_a(1e-3, 54.0, 0.1, 0.0, 1e-3), "above 0, NaN"),
        (lambda: current_a(-1e-3, 54.0, 0.1, 1e-6, 1e-3), "time_s is -0.001"),
        (lambda: pair_inductance_h_per_m(3e-3, 2e-3), "twice the radius"),
        (lambda: pair_inductance_h_per_m(3e-3, 0.0), "radius_m above 0"),
        (lambda: together(0.2, 1e-5, 1e-3, 0.01), "last axis"),
        (lambda: rides(-1.0, 1.0, 1.0, 1.0), "peak_a is -1"),
        (lambda: stability(900.0, 0.0, 0.3, 4e-5, 1e-3), "voltage_v is 0"),
        (lambda: stability(900.0, 40.0, 0.3, 4e-5, -1e-3), "capacitance_f is -0.001"),
    ],
)
def test_nonsense(call: object, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        call()  # type: ignore[operator]
