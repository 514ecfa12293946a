from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from upmast import rf
from upmast.rf import ageing

F = np.linspace(1.825e9, 2.075e9, 501)
C0 = 299792458.0
LINE = rf.LumpedLine([2.0, 30.0, 3.0], 0.84, [0.12, 0.035, 0.12], [0.005, 0.002, 0.005])
LEVELS = [30.0, 31.0, 30.0, 32.0]


def _day(
    rng: np.random.Generator,
    path: np.random.Generator,
    days: float,
    celsius: float = 20.0,
    more_loss: float = 0.0,
    slower: float = 0.0,
    contact_ohm: float = 0.0,
    worse_db: float = 0.0,
) -> rf.Reading:
    """Sweeps with a load and with a short of one path; `path` makes the same path each time, `rng` the noise of the day."""
    error, kinds = path.uniform(-0.005, 0.005), path.choice(["shunt C", "series L"], 4)
    off = path.normal(0.0, 0.005, 3)
    delay_k = 1.0 + 1e-5 * (celsius - 20.0)
    parts = []
    for k in range(4):
        level = LEVELS[k] - (worse_db if k == 1 else 0.0)
        parts.append(rf.joint_s(kinds[k], F, level, 1.95e9))
        if k == 1 and contact_ohm:
            parts.append(np.broadcast_to(rf.contact_s(contact_ohm), (F.size, 2, 2)))
        if k < 3:
            gamma = rf.propagation_per_m(F, 0.84, LINE.root_db_per_m[k], LINE.linear_db_per_m[k], celsius)
            wet = k == 1
            gamma = gamma.real * (1 + more_loss * wet) + 1j * gamma.imag * (1 + error) * (1 + slower * wet) * delay_k
            parts.append(rf.line_s(gamma, LINE.section_length_m[k] + off[k]))
    s = rf.join_s(*parts)
    out = []
    for end in (0.005, -1.0):
        g = rf.input_gamma(s, end) + 10 ** (-42 / 20) * np.exp(1j * rng.uniform(0, 6.28))
        g = g * 10 ** (rng.uniform(-0.02, 0.02) / 20)
        out.append(g + 5e-4 * (rng.normal(size=F.size) + 1j * rng.normal(size=F.size)) / np.sqrt(2))
    fit = rf.fit_joints(F, out[0], LINE, load_db=44.0)
    tau = float(LINE.end_delay_s[-1])
    loss = rf.short_reading(F, rf.return_loss_db(out[1]), tau).loss_db
    return rf.reading_of(fit, days, celsius, loss, rf.end_delay_s(F, out[1], tau))


def _pair(seed: int, **change: Any) -> rf.Ageing:
    rng = np.random.default_rng(1000 + seed)
    before = _day(rng, np.random.default_rng(seed), 0.0)
    after = _day(rng, np.random.default_rng(seed), 400.0, **change)
    return rf.compare_readings(before, after, LINE, 1.95e9)


# Signatures of handbook RF 8.5
@pytest.mark.parametrize(
    ("change", "pattern"),
    [
        ({"more_loss": 0.35, "slower": 0.004, "worse_db": 5.0}, ageing.MOISTURE),
        ({"more_loss": 0.35, "slower": 0.004}, ageing.MOISTURE),
        ({"contact_ohm": 6.0}, ageing.CONTACT),
        ({"worse_db": 6.0}, ageing.JOINT),
        ({"celsius": 55.0}, ageing.WEATHER),
        ({"more_loss": 0.35}, ageing.LOSS),
    ],
)
def test_patterns_are_told_apart(change: dict[str, float], pattern: str) -> None:
    found = [_pair(seed, **change) for seed in range(12)]
    assert sum(f.pattern == pattern for f in found) >= 11, [(f.pattern, f.rule) for f in found]
    assert all(f.judged for f in found if f.pattern)


def test_heat_does_not_hide_moisture_and_is_not_called_so() -> None:
    for seed in range(8):
        wet = _pair(seed, more_loss=0.35, slower=0.004, celsius=45.0)
        assert wet.pattern == ageing.MOISTURE
        hot = _pair(seed, celsius=45.0)
        assert hot.raw_loss.value > 0.03
        assert abs(hot.loss.value) < 0.02
        assert hot.pattern in (ageing.WEATHER, "")


def test_the_same_path_again_is_not_judged() -> None:
    found = [_pair(seed) for seed in range(20)]
    assert not any(f.judged for f in found)
    assert sum("within repeatability" in f.rule for f in found) >= 15
    assert not any(f.down for f in found)


def test_what_is_missing_is_named() -> None:
    def reading(days: float, loss: float, delay: float, second: float) -> rf.Reading:
        return rf.Reading(days, 20.0, loss, delay, np.array([0.03, second]), np.array([3e-4, 3e-4]))

    def rule(*a: Any, **k: Any) -> rf.Ageing:
        return rf.compare_readings(*a, LINE, 1.95e9, **k)

    nan = float("nan")
    old = reading(0.0, 3.0, 1.5e-7, 0.02)
    assert "delay" in rule(old, reading(1.0, 3.6, nan, 0.02)).rule
    assert "loss with a short" in rule(old, reading(1.0, nan, nan, 0.04)).rule
    assert "fallen" in rule(old, reading(1.0, 2.4, 1.5e-7, 0.02)).rule
    assert "below the rules" in rule(old, reading(1.0, 3.2, 1.5e-7, 0.02)).rule
    sharp, blunt = rf.Repeatability(0.01, 1e-5, 1e-4), rf.Repeatability(0.5, 1e-2, 0.02)
    worse = reading(1.0, 3.6, 1.504e-7, 0.05)
    assert rule(old, worse, spread=sharp).pattern == ageing.MOISTURE
    assert not rule(old, worse, spread=blunt).judged


def test_loss_over_temperature_is_the_published_check() -> None:
    """Handbook RF 11, case 1: 3.0334 dB at 20 C, 3.1949 dB at 50 C."""
    line = rf.LumpedLine([30.0], 0.85, 0.07, 0.004)
    assert rf.loss_ratio(line, 1.8e9, 20.0, 50.0) == pytest.approx(3.1949 / 3.0334, abs=2e-5)
    assert rf.loss_ratio(line, 1.8e9, 50.0, 20.0) == pytest.approx(3.0334 / 3.1949, abs=2e-5)
    assert rf.loss_ratio(line, 1.8e9, 33.0, 33.0) == 1.0


def test_delay_of_the_end() -> None:
    tau = 1.4e-7
    g = -0.5 * np.exp(-4j * np.pi * F * tau * 1.003)
    assert rf.end_delay_s(F, g, tau) == pytest.approx(tau * 1.003, rel=2e-5)
    with pytest.raises(ValueError, match="expected_s"):
        rf.end_delay_s(F, g, 0.0)
    with pytest.raises(ValueError, match="no reflection"):
        rf.end_delay_s(F, 0 * g, tau)


def test_trend_of_joints() -> None:
    """Line through three points with unit weights: textbook slope 0.5, deviation sqrt(1/2) (unit sigmas, years 0, 1, 2)."""
    years = 365.25 * np.array([0.0, 1.0, 2.0])
    one = rf.joint_trend(years, [1.0, 1.5, 2.0], [1.0, 1.0, 1.0])
    assert float(one.per_year) == pytest.approx(0.5)
    assert float(one.high - one.per_year) == pytest.approx(1.959964 * np.sqrt(0.5))
    assert not one.judged
    g = np.array([[0.02, 0.03, np.nan], [0.021, 0.03, np.nan], [0.04, 0.031, 0.02]])
    s = np.full((3, 3), 5e-4)
    many = rf.joint_trend(years, g, s)
    assert many.judged.tolist() == [False, False, False] or many.per_year[0] > 0
    assert np.isnan(many.per_year[2])
    assert not many.judged[2]
    for k in range(2):
        alone = rf.joint_trend(years, g[:, k], s[:, k])
        assert float(alone.per_year) == pytest.approx(float(many.per_year[k]))
        assert float(alone.low) == pytest.approx(float(many.low[k]))


def test_intervals_of_the_trend_hold_the_truth() -> None:
    rng = np.random.default_rng(3)
    days = np.array([0.0, 200.0, 500.0, 900.0])
    held = 0
    for _ in range(300):
        true = rng.uniform(-0.003, 0.003, 4)
        g = 0.03 + true * days[:, None] / 365.25 + 1e-3 * rng.normal(size=(4, 4))
        t = rf.joint_trend(days, g, np.full((4, 4), 1e-3))
        held += int(((t.low <= true) & (true <= t.high)).sum())
    assert 0.93 < held / 1200 < 0.99


def test_repeatability_of_own_repeats() -> None:
    rng = np.random.default_rng(0)
    readings = [
        rf.Reading(
            0.0, 20.0, 3.0 + 0.02 * rng.normal(), 1.5e-7 * (1 + 5e-5 * rng.normal()),
            np.append(0.03 + 5e-4 * rng.normal(size=4), np.nan), np.zeros(5),
        )
        for _ in range(60)
    ]  # fmt: skip
    found = rf.repeatability_of(readings)
    assert found.loss_db == pytest.approx(0.02, rel=0.3)
    assert found.delay == pytest.approx(5e-5, rel=0.3)
    assert found.gamma == pytest.approx(5e-4, rel=0.2)
    with pytest.raises(ValueError, match="three readings"):
        rf.repeatability_of(readings[:2])


def test_nonsense_is_refused() -> None:
    g = np.array([0.03])
    good = rf.Reading(0.0, 20.0, 3.0, 1e-7, g, 0.01 * g)
    for call in (
        lambda: rf.Reading(0.0, 20.0, 3.0, 1e-7, -g, g),
        lambda: rf.Reading(0.0, 20.0, 3.0, 1e-7, g, np.array([1e-3, 1e-3])),
        lambda: rf.Reading(np.nan, 20.0, 3.0, 1e-7, g, g),
        lambda: rf.Reading(0.0, 20.0, -3.0, 1e-7, g, g),
        lambda: rf.Repeatability(0.0),
        lambda: rf.compare_readings(
            good, rf.Reading(1.0, 20.0, 3.0, 1e-7, np.array([0.1, 0.1]), np.zeros(2)), LINE, 2e9
        ),
        lambda: rf.compare_readings(rf.Reading(2.0, 20.0, 3.0, 1e-7, g, g), good, LINE, 2e9),
        lambda: rf.loss_ratio(rf.LumpedLine([1.0], 0.8), 2e9, 0.0, 1.0),
        lambda: rf.joint_trend([0.0], [0.1], [0.1]),
        lambda: rf.joint_trend([0.0, 1.0], [0.1, 0.1], [0.0, 0.1]),
        lambda: rf.joint_trend([0.0, 1.0], [0.1], [0.1]),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
