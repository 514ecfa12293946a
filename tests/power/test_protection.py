from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from upmast import power
from upmast.power.protection import adiabatic_constants, none_negative, parallel_fault, total_limit


def test_breaker_resistance_stays_below_the_permitted_loss() -> None:
    """4 mohm at 32 A as 1/In; the 6 W a pole that IEC 60898-1 permits at 32 A would be 5.9 mohm."""
    assert power.breaker_ohm(32.0) == 0.004
    assert power.breaker_ohm(32.0) < 6.0 / 32**2
    ratings = np.array([6.0, 16.0, 63.0])
    np.testing.assert_allclose(power.breaker_ohm(ratings) * ratings, 0.128)


def test_design_current_is_the_load_flow_at_its_lowest_voltage() -> None:
    flow = power.single(43.2, 0.138, 1000.0)
    assert power.design_current_a(1000.0, flow.voltage_v) == pytest.approx(float(flow.current_a))
    assert power.design_current_a(1000.0, 40.5) > power.design_current_a(1000.0, 48.0)


def test_window_edges_pass() -> None:
    assert power.breaker_window(20.0, 20.0, 20.0)
    assert not power.breaker_window(20.0, 20.0, 19.99)
    assert not power.breaker_window(20.0, 20.0, 40.0, load_factor=1.25)
    assert power.breaker_window(20.0, 25.0, 40.0, load_factor=1.25)


def test_smallest_rating() -> None:
    ratings = [63, 16, 32, 25, 20]
    assert power.smallest_rating_a(19.0, 50.0, ratings) == 20
    assert power.smallest_rating_a(19.0, 50.0, ratings, 1.25) == 25
    assert np.isnan(power.smallest_rating_a(26.0, 30.0, ratings))
    assert np.isnan(power.smallest_rating_a(5.0, 50.0, []))
    both = power.smallest_rating_a([19.0, 26.0], [50.0, 30.0], ratings)
    np.testing.assert_array_equal(both, [20.0, np.nan])


def test_fault_current() -> None:
    assert power.fault_current_a(48.0, 0.0, 0.0, 0.48) == pytest.approx(100.0)
    assert np.isinf(power.fault_current_a(48.0, 0, 0, 0))
    assert power.fault_current_a(0.0, 0, 0, 0) == 0
    far = power.fault_current_a(43.2, 0.01, 0.004, np.array([0.1, 0.3]))
    assert far[1] == power.fault_current_a(43.2, 0.01, 0.004, 0.3)
    # a short is where the load flow of a pair ends: twice the current at its largest power
    assert far[1] == pytest.approx(
        2 * float(power.single(43.2, 0.314, power.largest_power_w(43.2, 0.314)).current_a), rel=1e-6
    )


def test_near_and_far_end_of_one_run() -> None:
    """Largest at the bars: highest emf, cold loop of no length; smallest at the radio: lowest emf, hot loop."""
    length = np.array([0.0, 20.0, 60.0])
    cold, hot = (2 * power.resistance_ohm(1.91, length, theta) for theta in (-20.0, 90.0))
    largest = power.fault_current_a(57.6, 0.012, 0.0, cold)
    smallest = power.fault_current_a(43.2, 0.012, 0.004, hot)
    assert largest[0] == pytest.approx(57.6 / 0.012)
    assert np.all(largest > smallest)
    assert np.all(np.diff(smallest) < 0)
    # less than a quarter of the copper's own change of resistance is left by r0 and the breaker at the far end
    ratio = (largest / 57.6) / (smallest / 43.2)
    assert 1 < ratio[2] < (1 + 0.00393 * 70) / (1 - 0.00393 * 40)


def _pairs(seed: int, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng.uniform(0.001, 0.01, n), rng.uniform(0.05, 0.3, n), rng.uniform(0.05, 0.3, n)


@pytest.mark.parametrize("n", [1, 2, 3, 6])
def test_parallel_fault_obeys_kirchhoff(n: int) -> None:
    """Nodes: both sides sum to the source. Loops: straight and round by each other pair drop the same voltage."""
    breaker, line, back = _pairs(n, n)
    x = np.linspace(0, 1, 11)
    for f in range(n):
        found = parallel_fault(50.0, 0.01, breaker, line, back, f, x)
        i, j, total = found.breaker_a, found.return_a, found.total_a
        np.testing.assert_allclose(i.sum(axis=-1), total, rtol=1e-12)
        np.testing.assert_allclose(j.sum(axis=-1), total, rtol=1e-12)
        near = breaker[f] * i[:, f] + x * line[f] * i[:, f]
        near_back = x * back[f] * j[:, f]
        np.testing.assert_allclose(0.01 * total + near + near_back, 50.0, rtol=1e-12)
        for k in set(range(n)) - {f}:
            far = (breaker[k] + line[k]) * i[:, k] + (1 - x) * line[f] * (total - i[:, f])
            far_back = back[k] * j[:, k] + (1 - x) * back[f] * (total - j[:, f])
            np.testing.assert_allclose(far, near, rtol=1e-9)
            np.testing.assert_allclose(far_back, near_back, rtol=1e-9, atol=1e-9)


def test_parallel_fault_at_its_limits() -> None:
    breaker, line, back = _pairs(5, 2)
    # one pair alone is the dead short of a loop
    one = parallel_fault(50.0, 0.01, breaker[:1], line[:1], back[:1], 0, [0.0, 0.4, 1.0])
    loop = np.array([0.0, 0.4, 1.0]) * (line[0] + back[0])
    np.testing.assert_allclose(one.total_a, power.fault_current_a(50.0, 0.01, breaker[0], loop))
    np.testing.assert_allclose(one.breaker_a[:, 0], one.total_a)
    # at the far end equal pairs share alike
    same = parallel_fault(50.0, 0.01, [0.004] * 4, [0.1] * 4, [0.1] * 4, 2, 1.0)
    np.testing.assert_allclose(same.breaker_a, same.total_a / 4)
    assert same.total_a == pytest.approx(50 / (0.01 + 0.104 / 4 + 0.1 / 4))
    # the other pair's breaker open on the line side: its return still carries; the faulted one's open: fed from the far end
    other = parallel_fault(50.0, 0.01, [breaker[0], np.inf], line, back, 0, 0.5)
    assert other.breaker_a.tolist() == pytest.approx([float(other.total_a), 0.0])
    assert other.return_a[1] > 0
    fed = parallel_fault(50.0, 0.01, [np.inf, breaker[1]], line, back, 0, 0.5)
    assert fed.breaker_a.tolist() == pytest.approx([0.0, float(fed.total_a)])
    returns = 1 / (1 / (0.5 * back[0]) + 1 / (0.5 * back[0] + back[1]))
    assert fed.total_a == pytest.approx(50 / (0.01 + breaker[1] + line[1] + 0.5 * line[0] + returns))
    dead = parallel_fault(50.0, 0.01, np.inf, line, back, 0, 0.5)
    assert dead.total_a == 0
    assert not dead.breaker_a.any()
    # a breaker without resistance, at the plant: all goes straight
    bare = parallel_fault(50.0, 0.01, 0.0, line, back, 1, 0.0)
    assert bare.total_a == pytest.approx(5000.0)
    assert bare.breaker_a.tolist() == pytest.approx([0.0, 5000.0])


def test_parallel_fault_is_the_same_for_arrays_and_scalars() -> None:
    breaker, line, back = _pairs(8, 3)
    emf, r0, x = np.array([43.2, 57.6]), np.array([0.02, 0.01]), np.array([[0.2], [0.7]])
    many = parallel_fault(emf, r0, breaker, line, back, 1, x)
    assert many.total_a.shape == (2, 2)
    for i in range(2):
        for k in range(2):
            one = parallel_fault(emf[k], r0[k], breaker, line, back, 1, x[i, 0])
            assert many.total_a[i, k] == one.total_a
            np.testing.assert_array_equal(many.breaker_a[i, k], one.breaker_a)
            np.testing.assert_array_equal(many.return_a[i, k], one.return_a)
    rows = parallel_fault(50.0, 0.01, breaker, np.stack([line, 2 * line]), np.stack([back, 2 * back]), 0, 0.3)
    np.testing.assert_array_equal(
        rows.breaker_a[1], parallel_fault(50.0, 0.01, breaker, 2 * line, 2 * back, 0, 0.3).breaker_a
    )


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
def test_parallel_fault_by_ngspice(tmp_path: Path) -> None:
    breaker, line, back = _pairs(21, 4)
    f, x = 2, 0.35
    rows = ["* four pairs joined at both ends, a short on the third", "V0 s m 51", "R0 s bar 0.011", "Vf fp fm 0"]
    for k in range(4):
        rows.append(f"Rb{k} bar p{k} {breaker[k]}")
        if k == f:
            rows += [f"Rl{k} p{k} fp {x * line[k]}", f"Rm{k} fp boxp {(1 - x) * line[k]}"]
            rows += [f"Rr{k} fm m {x * back[k]}", f"Rs{k} boxm fm {(1 - x) * back[k]}"]
        else:
            rows += [f"Rl{k} p{k} boxp {line[k]}", f"Rr{k} boxm m {back[k]}"]
    rows += [".control", "set numdgt=9", "op", "let t = i(vf)", "print t"]
    for k in range(4):
        rows += [f"let b{k} = (v(bar) - v(p{k})) / {breaker[k]}", f"print b{k}"]
        end, ohm = ("fm", x * back[k]) if k == f else ("boxm", back[k])
        rows += [f"let r{k} = (v({end}) - v(m)) / {ohm}", f"print r{k}"]
    rows += ["quit 0", ".endc", ".end"]
    deck = tmp_path / "pairs.cir"
    deck.write_text("\n".join(rows) + "\n")
    done = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True, timeout=120, check=True)
    seen = {name: float(value) for name, value in re.findall(r"^([tbr]\d?) = (\S+)", done.stdout, re.MULTILINE)}
    assert len(seen) == 9
    found = parallel_fault(51.0, 0.011, breaker, line, back, f, x)
    assert seen["t"] == pytest.approx(float(found.total_a), rel=1e-6)
    np.testing.assert_allclose(found.breaker_a, [seen[f"b{k}"] for k in range(4)], rtol=1e-5)
    np.testing.assert_allclose(found.return_a, [seen[f"r{k}"] for k in range(4)], rtol=1e-5)


def test_total_limit() -> None:
    usable, governs = total_limit(25.0, np.array([1, 4, 8, 9, 12]), 200.0)
    np.testing.assert_allclose(usable, [25, 25, 25, 200 / 9, 200 / 12])
    assert governs.tolist() == ["each", "each", "each", "total", "total"]
    # never more than either limit allows
    assert np.all(usable * [1, 4, 8, 9, 12] <= 200 + 1e-9)
    for n, count in enumerate((1, 4, 8, 9, 12)):
        one = total_limit(25.0, count, 200.0)
        assert (one[0], one[1]) == (usable[n], governs[n])
    assert total_limit(25.0, 12, np.inf)[0] == 25
    for missing in ((np.nan, 4, 200.0), (25.0, np.nan, 200.0), (25.0, 4, np.nan)):
        usable, governs = total_limit(*missing)
        assert np.isnan(usable)
        assert governs == "not judged"


def test_what_is_negative_is_named() -> None:
    one, two = none_negative(a=[1.0, np.nan], b=0.0)
    assert np.isnan(one[1])
    assert two == 0
    with pytest.raises(ValueError, match="b is -2"):
        none_negative(a=1.0, b=[np.nan, -2.0, -1.0])


def test_adiabatic_energy_is_the_heat_of_the_copper() -> None:
    """k^2 = Q_c (beta + 20) / rho_20 ln(...), Q_c = 3.45e-3 J/(K mm3), rho_20 = 17.241e-6 ohm mm: IEC 60364-5-54 annex A."""
    k = power.adiabatic_k(70.0, 160.0)
    assert k**2 == pytest.approx(3.45e-3 * 254.5 / 17.241e-6 * np.log(1 + 90 / 304.5), rel=5e-3)
    assert power.adiabatic_k(70.0, 70.0) == 0
    assert power.adiabatic_k(30, 200) == pytest.approx(159, abs=0.3)  # bare copper, same table
    assert power.adiabatic_k(30, 500) == pytest.approx(228, abs=0.5)


def test_let_through() -> None:
    time = power.let_through_time_s(np.array([4.0, 10.0]), 115.0, 200.0)
    assert time[0] == pytest.approx(115**2 * 16 / 200**2)
    assert 200.0**2 * time[1] == pytest.approx(float(power.let_through_a2s(10.0, 115.0)))


def test_nonsense() -> None:
    for call in (
        lambda: power.breaker_ohm(0.0),
        lambda: power.design_current_a(-1.0, 40.0),
        lambda: power.design_current_a(1.0, 0.0),
        lambda: power.fault_current_a(-1.0, 0, 0, 1),
        lambda: power.adiabatic_k(160, 70),
        lambda: power.adiabatic_k(70, 160, "gold"),
        lambda: power.let_through_time_s(10, 115, 0),
        lambda: power.let_through_a2s(-10, 115),
        lambda: adiabatic_constants("gold"),
        lambda: total_limit(25.0, 0, 200.0),
        lambda: total_limit(-25.0, 4, 200.0),
        lambda: parallel_fault(50.0, 0.01, 0.0, [0.1, 0.1], [0.1, 0.1], 2, 0.5),
        lambda: parallel_fault(50.0, 0.01, 0.0, 0.1, 0.1, 0, 0.5),
        lambda: parallel_fault(50.0, 0.01, 0.0, [0.1, 0.1], [0.1, 0.1], 0, 1.5),
        lambda: parallel_fault(50.0, 0.01, -0.1, [0.1, 0.1], [0.1, 0.1], 0, 0.5),
        lambda: parallel_fault(50.0, 0.01, 0.0, [0.1, 0.0], [0.1, 0.1], 0, 0.5),
        lambda: parallel_fault(50.0, 0.01, 0.0, [0.1, np.nan], [0.1, 0.1], 0, 0.5),
        lambda: parallel_fault(-50.0, 0.01, 0.0, [0.1, 0.1], [0.1, 0.1], 0, 0.5),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
