"""Sharing of a stroke: a stiff solver and a circuit simulator as second ways, limits, properties, arrays against scalars."""

from __future__ import annotations

import shutil
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from upmast import earth

Array = NDArray[np.float64]
FORM = earth.wave("first_positive")
THREE = np.array([[0.0, 0.0], [1.0, 0.0], [0.5, 3**0.5 / 2]])
AXIS = np.array([[0.5, 3**0.5 / 6]])


def mast(cables: int, seed: int = 3) -> tuple[Array, Array]:
    """Three legs and a ladder of cables of unlike shields: inductances [H] and resistances [ohm] of 30 m."""
    rng = np.random.default_rng(seed)
    ladder = np.column_stack([0.3 + 0.05 * np.arange(cables), np.full(cables, 0.2)])
    at = np.concatenate([THREE, ladder])
    radius = np.concatenate([np.full(3, 0.04), np.full(cables, 0.012)])
    per_m = np.concatenate([np.full(3, 0.3e-3), rng.uniform(0.5e-3, 4e-3, cables)])
    return earth.inductance_matrix_h(at, radius, 30.0), per_m * 30.0


def test_cable_on_the_axis_and_near_a_leg() -> None:
    """Handbook, open check 3, computed elsewhere: legs 0.04 m at 1.0 m, shield 15 mm, 30 m: 0.1267 and 0.1108."""
    toward_axis = AXIS[0] / np.hypot(*AXIS[0])
    for at, wanted in ((AXIS, 0.1267), (0.15 * toward_axis[None, :], 0.1108)):
        matrix = earth.inductance_matrix_h(np.concatenate([THREE, at]), [0.04, 0.04, 0.04, 0.015], 30.0)
        assert earth.front_share(matrix)[3] == pytest.approx(wanted, abs=5e-5)


def test_peak_in_the_shield_on_the_axis() -> None:
    """Handbook, open check 3: legs 0.3, shield 1.2 mohm/m, 75 kA 10/350: tail 0.0769, 9.45 kA at 31 us, 340 V."""
    matrix = earth.inductance_matrix_h(np.concatenate([THREE, AXIS]), [0.04, 0.04, 0.04, 0.015], 30.0)
    ohm = 30.0 * np.array([0.3e-3, 0.3e-3, 0.3e-3, 1.2e-3])
    assert earth.tail_share(ohm)[3] == pytest.approx(0.0769, abs=5e-5)
    found = earth.transient_share(matrix, ohm, 75e3, FORM)
    assert found.peak_a[3] == pytest.approx(9.45e3, abs=5)
    assert found.peak_s[3] == pytest.approx(31e-6, abs=0.5e-6)
    assert earth.shield_drop_v(found.peak_a[3], 1.2, 30.0) == pytest.approx(340.0, abs=0.5)


def test_skin_effect_of_the_legs() -> None:
    """Handbook, section 4: with legs of five and ten times the resistance the shield's peak rises up to 1.6 and 1.5 to 2.5 times."""
    matrix = earth.inductance_matrix_h(np.concatenate([THREE, AXIS]), [0.04, 0.04, 0.04, 0.015], 30.0)
    ohm = earth.leg_band_ohm(30.0 * np.array([0.3e-3, 0.3e-3, 0.3e-3, 1.2e-3]), [True, True, True, False], [1, 5, 10])
    peaks = earth.transient_share(matrix, ohm, 75e3, FORM).peak_a[:, 3]
    assert 1.0 < peaks[1] / peaks[0] < 1.6
    assert 1.5 < peaks[2] / peaks[0] < 2.5


def test_direct_current_return() -> None:
    """Handbook, open check 7: 60 A over 0.020, 0.060 and 0.015 ohm: 22.5, 7.5 and 30 A."""
    np.testing.assert_allclose(60 * earth.tail_share([0.020, 0.060, 0.015]), [22.5, 7.5, 30.0], rtol=1e-12)


@pytest.mark.parametrize("name", earth.waves())
def test_transient_against_a_stiff_solver(name: str) -> None:
    integrate = pytest.importorskip("scipy.integrate")
    form = earth.wave(name)
    matrix, ohm = mast(4)
    found = earth.transient_share(matrix, ohm, 1e5, form)
    n = ohm.size
    # unknowns i_1 ... i_(n-1); the last is what is left; voltages along all are those along the last
    inner = matrix[:-1, :-1] - matrix[-1:, :-1] - matrix[:-1, -1:] + matrix[-1, -1]

    def slope(t: float, i: Array) -> Array:
        total, rise = float(earth.surge_a(t, 1e5, form)), float(earth.surge_slope_a_per_s(t, 1e5, form))
        last = total - i.sum()
        push = -ohm[:-1] * i + ohm[-1] * last - (matrix[:-1, -1] - matrix[-1, -1]) * rise
        return np.asarray(np.linalg.solve(inner, push))

    some = found.time_s[::10]
    peak = earth.time_of_peak_s(form)
    solved = integrate.solve_ivp(
        slope, (0, some[-1]), np.zeros(n - 1), "Radau", some, rtol=1e-8, atol=1e-3, max_step=peak, first_step=peak / 50
    )
    np.testing.assert_allclose(found.current_a[:-1, ::10], solved.y, atol=1.0)  # 1 A of 100 kA


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="the circuit simulator is not installed")
def test_transient_against_a_circuit_simulator(tmp_path: Path) -> None:
    """A current source that feeds four coupled inductors in series with resistors, all in parallel."""
    matrix, ohm = mast(2)
    n = ohm.size
    found = earth.transient_share(matrix, ohm, 1e5, FORM, duration_s=4e-4)
    t = np.linspace(0, 4e-4, 4001)
    points = "\n".join(f"+ {a:.10e} {b:.10e}" for a, b in zip(t, earth.surge_a(t, 1e5, FORM), strict=True))
    lines = ["sharing", f"I1 0 top pwl(\n{points}\n+ )"]
    for a in range(n):
        lines += [f"V{a} top n{a} 0", f"R{a} n{a} m{a} {ohm[a]:.12e}", f"L{a} m{a} 0 {matrix[a, a]:.12e}"]
        for b in range(a):
            lines.append(f"K{a}x{b} L{a} L{b} {matrix[a, b] / np.sqrt(matrix[a, a] * matrix[b, b]):.12f}")
    currents = " ".join(f"i(V{a})" for a in range(n))
    lines += [
        ".options reltol=1e-6 abstol=1e-3 method=trap",
        ".control", "set wr_singlescale", "set numdgt=12", "tran 0.1u 400u 0 0.1u uic", f"wrdata out {currents}", "quit 0",
        ".endc", ".end",
    ]  # fmt: skip
    (tmp_path / "sharing.cir").write_text("\n".join(lines))
    subprocess.run(["ngspice", "-b", "sharing.cir"], cwd=tmp_path, check=True, capture_output=True, timeout=120)
    table = np.loadtxt(next(tmp_path.glob("out*")))  # some versions add an ending
    for a in range(n):
        ours = np.interp(table[:, 0], found.time_s, found.current_a[a])
        np.testing.assert_allclose(table[:, 1 + a], ours, atol=30.0)  # 0.03 % of the stroke
        assert found.peak_a[a] == pytest.approx(table[:, 1 + a].max(), rel=1e-3)


def test_begins_at_the_front_and_ends_at_the_tail_share() -> None:
    """The front is inductive, and a wave far longer than all time constants is resistive."""
    matrix, ohm = mast(3)
    fast = earth.transient_share(matrix, 1e-6 * ohm, 1.0, FORM)
    np.testing.assert_allclose(fast.peak_a, earth.front_share(matrix) * fast.current_a.sum(axis=0).max(), rtol=1e-3)
    slow = earth.transient_share(1e-6 * matrix, ohm, 1.0, FORM)
    np.testing.assert_allclose(slow.peak_a, earth.tail_share(ohm) * slow.current_a.sum(axis=0).max(), rtol=1e-3)


def test_like_conductors_share_evenly() -> None:
    """By symmetry, and a ladder does not: the outer ones carry most."""
    ring = np.column_stack([np.cos(np.arange(6) * np.pi / 3), np.sin(np.arange(6) * np.pi / 3)])
    np.testing.assert_allclose(earth.front_share(earth.inductance_matrix_h(ring, [0.01], 20.0)), 1 / 6, rtol=1e-12)
    ladder = np.column_stack([0.05 * np.arange(7), np.zeros(7)])
    share = earth.front_share(earth.inductance_matrix_h(ladder, [0.01], 20.0))
    np.testing.assert_allclose(share, share[::-1], rtol=1e-9)
    assert share[0] > 1.5 * share[3]


def test_two_conductors_by_hand() -> None:
    """One loop: the first current is p I + (q - p) times I through a low pass of rate (R_1 + R_2) / (L_11 + L_22 - 2 M)."""
    matrix, ohm = earth.inductance_matrix_h([[0, 0], [0.3, 0]], [0.2, 0.01], 20.0), np.array([2e-3, 20e-3])
    found = earth.transient_share(matrix, ohm, 1e5, FORM)
    loop = matrix[0, 0] + matrix[1, 1] - 2 * matrix[0, 1]
    p, q, rate = (matrix[1, 1] - matrix[0, 1]) / loop, ohm[1] / ohm.sum(), ohm.sum() / loop
    total = earth.surge_a(found.time_s, 1e5, FORM)
    low = rate * earth.relax(rate, found.time_s, total, earth.surge_slope_a_per_s(found.time_s, 1e5, FORM))
    np.testing.assert_allclose(found.current_a[0], p * total + (q - p) * low, atol=1e-6 * 1e5)
    assert np.all(found.peak_a <= earth.quick_share(*shares(matrix, ohm)) * total.max() * (1 + 1e-9))


def shares(matrix: Array, ohm: Array) -> tuple[Array, Array]:
    return earth.front_share(matrix), earth.tail_share(ohm)


def test_quick_share_fails_in_a_ladder_and_the_safe_one_holds() -> None:
    """Three like shields on one ladder: the middle one passes its front and its tail share, the outer ones do not."""
    ladder = np.column_stack([0.5 + 0.035 * np.arange(-1, 2), np.full(3, 0.29)])
    radius = np.concatenate([np.full(3, 0.04), np.full(3, 0.008)])
    matrix = earth.inductance_matrix_h(np.concatenate([THREE, ladder]), radius, 30.0)
    ohm = 30e-3 * np.concatenate([np.full(3, 0.3), np.full(3, 4.0)])
    peak = earth.transient_share(matrix, ohm, 1.0, FORM).peak_a / float(earth.surge_figures(1.0, FORM).peak_a)
    quick, safe = earth.quick_share(*shares(matrix, ohm)), earth.safe_share(matrix, ohm)
    assert peak[4] > 1.15 * quick[4]
    assert peak[3:].max() <= quick[3:].max()
    assert np.all(peak <= safe)
    assert safe[4] < 1.7 * quick[4]


PLACES = st.lists(st.tuples(st.integers(-20, 20), st.integers(-20, 20)), min_size=1, max_size=12, unique=True)


@settings(max_examples=60, deadline=None)
@given(PLACES, st.integers(0, 10**6), st.sampled_from(earth.waves()), st.floats(5.0, 80.0))
def test_shares_sum_to_one_and_stay_below_the_safe_share(
    places: list[tuple[int, int]], seed: int, name: str, length_m: float
) -> None:
    rng, n = np.random.default_rng(seed), len(places)
    form = earth.wave(name)
    matrix = earth.inductance_matrix_h(0.05 * np.array(places), rng.uniform(0.005, 0.045, n), length_m)
    ohm = 10 ** rng.uniform(-4, -1, n)
    front, tail = shares(matrix, ohm)
    assert front.sum() == pytest.approx(1.0, abs=1e-12)
    assert tail.sum() == pytest.approx(1.0, abs=1e-12)
    found = earth.transient_share(matrix, ohm, 1e5, form, front_steps=100)
    total = earth.surge_a(found.time_s, 1e5, form)
    np.testing.assert_allclose(found.current_a.sum(axis=0), total, atol=1e-4)
    np.testing.assert_allclose(
        found.slope_a_per_s.sum(axis=0),
        earth.surge_slope_a_per_s(found.time_s, 1e5, form),
        atol=1e-9 * 1e5 / form.front_s,
    )
    safe = earth.safe_share(matrix, ohm)
    assert np.all(safe >= earth.quick_share(front, tail) - 1e-12)
    assert np.all(found.peak_a <= 1.001 * safe * float(earth.surge_figures(1e5, form).peak_a))
    # all feel one voltage: L di/dt + R i is the same for each
    volts = matrix @ found.slope_a_per_s + ohm[:, None] * found.current_a
    np.testing.assert_allclose(volts, np.broadcast_to(volts[:1], volts.shape), atol=1e-6 * np.abs(volts).max())


def test_one_conductor_takes_all() -> None:
    found = earth.transient_share([[1e-5]], [1e-3], 1e5, FORM)
    np.testing.assert_array_equal(found.current_a[0], earth.surge_a(found.time_s, 1e5, FORM))
    np.testing.assert_array_equal(earth.safe_share([[1e-5]], [1e-3]), [1.0])


def test_band_equals_one_by_one_and_arrays_equal_scalars() -> None:
    matrix, ohm = mast(9)  # 12 conductors
    leg = np.arange(12) < 3
    band = earth.leg_band_ohm(ohm, leg)
    many, safe = earth.transient_share(matrix, band, 1e5, FORM), earth.safe_share(matrix, band)
    assert many.current_a.shape == (5, 12, many.time_s.size)
    for row, one in enumerate(band):
        np.testing.assert_allclose(
            many.current_a[row], earth.transient_share(matrix, one, 1e5, FORM).current_a, atol=1e-5
        )
        np.testing.assert_allclose(safe[row], earth.safe_share(matrix, one), rtol=1e-6)
        np.testing.assert_array_equal(earth.tail_share(band)[row], earth.tail_share(one))
    both = earth.inductance_matrix_h(np.stack([THREE, 2 * THREE]), [0.04], np.array([30.0, 10.0]))
    np.testing.assert_array_equal(both[1], earth.inductance_matrix_h(2 * THREE, [0.04], 10.0))
    np.testing.assert_allclose(earth.front_share(both)[1], earth.front_share(both[1]), rtol=1e-12)
    np.testing.assert_array_equal(band[0], ohm)
    assert earth.equivalent_radius_m([2 * np.pi, 1.0])[0] == 1.0


def test_voltage_of_each_shield() -> None:
    """Closed tubes: resistance times peak. With transfer inductance it is never more than the sum of both highest terms."""
    matrix, ohm = mast(3)
    found = earth.transient_share(matrix, ohm, 75e3, FORM)
    np.testing.assert_allclose(earth.transient_shield_v(found, ohm), ohm * found.peak_a)
    together = earth.transient_shield_v(found, ohm, 30e-9)
    safe = earth.shield_surge_v(found.peak_a, ohm * 1e3, 1.0, found.greatest_slope_a_per_s, 30e-9)
    assert np.all(together <= safe * (1 + 1e-12))
    assert np.all(together >= ohm * found.peak_a * 0.99)
    for k in range(ohm.size):
        one = earth.Transient(found.time_s, found.current_a[k : k + 1], found.slope_a_per_s[k : k + 1])
        assert earth.transient_shield_v(one, ohm[k : k + 1], 30e-9)[0] == together[k]
    with pytest.raises(ValueError, match="transfer inductance"):
        earth.transient_shield_v(found, ohm, float("nan"))


def test_twelve_conductors_take_less_than_a_tenth_of_a_second() -> None:
    matrix, ohm = mast(9)
    took = []
    for _ in range(3):
        start = time.perf_counter()
        earth.transient_share(matrix, ohm, 1e5, FORM, duration_s=1e-3)
        took.append(time.perf_counter() - start)
    assert min(took) < 0.1


def test_greatest_slope_is_that_of_the_front() -> None:
    matrix, ohm = mast(1)
    found = earth.transient_share(matrix, ohm, 1e5, FORM)
    whole = float(earth.surge_figures(1e5, FORM).greatest_slope_a_per_s)
    np.testing.assert_allclose(found.greatest_slope_a_per_s, earth.front_share(matrix) * whole, rtol=0.1)


def test_nonsense() -> None:
    matrix, ohm = mast(1)
    nan = float("nan")
    for call in (
        lambda: earth.inductance_matrix_h([[0, 0], [0.01, 0]], [0.02], 1.0),
        lambda: earth.inductance_matrix_h([[0, 0], [1, 0]], [0.02, 0.1, 0.1], 1.0),
        lambda: earth.inductance_matrix_h([[0, nan]], [0.02], 1.0),
        lambda: earth.inductance_matrix_h([0, 1], [0.02], 1.0),
        lambda: earth.inductance_matrix_h([[0, 0]], [nan], 1.0),
        lambda: earth.inductance_matrix_h([[0, 0]], [0.01], nan),
        lambda: earth.front_share([[1.0, 2.0], [3.0, 1.0]]),
        lambda: earth.front_share([[1.0, 1.0], [1.0, 1.0]]),
        lambda: earth.front_share([[nan]]),
        lambda: earth.front_share([1.0]),
        lambda: earth.tail_share([0.0, 1.0]),
        lambda: earth.tail_share([nan, 1.0]),
        lambda: earth.tail_share(1.0),
        lambda: earth.leg_band_ohm(ohm, [True], [1.0]),
        lambda: earth.leg_band_ohm(ohm, np.ones(4, bool), [0.5]),
        lambda: earth.leg_band_ohm(ohm, np.ones(4, bool), [nan]),
        lambda: earth.transient_share(matrix, ohm[:2], 1.0, FORM),
        lambda: earth.transient_share(matrix, -ohm, 1.0, FORM),
        lambda: earth.transient_share(matrix, ohm, -1.0, FORM),
        lambda: earth.transient_share([[1.0, 2.0], [2.0, 1.0]], [1.0, 1.0], 1.0, FORM),
        lambda: earth.transient_share(np.stack([matrix, matrix]), ohm, 1.0, FORM),
        lambda: earth.quick_share(1.1, 0.1),
        lambda: earth.quick_share(0.1, nan),
        lambda: earth.equivalent_radius_m(0.0),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
