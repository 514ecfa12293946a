"""The length of a jumper between two sources of intermodulation: a table computed apart, simulation, limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import pim
from upmast.rf.length import Bands, null_spacing_m

C = 299792458.0
# own derivation, computed once more: mean gain at the null, alone / with a third equal source in the antenna, for 0.5, 1, 2, 3 m;
# velocity factor 0.85, 5 mm, 1 %
TABLE = {
    (880, 915): ((13.3, 4.4), (8.1, 3.6), (3.0, 1.7), (0.7, 0.4)),
    (1920, 1980): ((8.0, 3.6), (3.5, 2.0), (0.1, 0.1), (0.1, 0.1)),
    (2500, 2570): ((6.4, 3.1), (2.3, 1.4), (0.1, 0.1), (0.1, 0.1)),
    (3400, 3500): ((4.0, 2.2), (0.6, 0.4), (0.1, 0.0)),  # it says 0 at 3 m; 0.09 and 0.06 follow
}
THREE = ((880, 915), (1710, 1785), (1920, 1980))
SIX = ((703, 748), (832, 862), *THREE, (2500, 2570))


def of(*edges: tuple[float, float], vf: float = 0.85, dl: float = 0.005, dv: float = 0.01) -> Bands:
    low, high = zip(*edges, strict=True)
    return Bands(np.array(low) * 1e6, np.array(high) * 1e6, vf, dl, dv)


@pytest.mark.parametrize("edges", TABLE)
def test_the_table_of_one_band(edges: tuple[int, int]) -> None:
    gain = pim.null_gain_at_best_db(of(edges), [0.5, 1.0, 2.0, 3.0][: len(TABLE[edges])])[:, 0]
    third = pim.gain_over_floor_at_best_db(gain, 0.0)
    # rounded to a tenth, at some places the other way
    np.testing.assert_allclose(np.stack([gain, third], axis=1), TABLE[edges], atol=0.055)


def test_three_bands_together_and_six() -> None:
    """5.3/2.8 dB at 0.62 m, 1.5/0.9 from 1 to 2 m, 0.2 beyond; nothing for six bands."""
    for low, high, gain, third in ((0.5, 1.0, 5.3, 2.8), (1.0, 2.0, 1.5, 0.9), (2.0, 10.0, 0.2, 0.1)):
        found = pim.best_length_at_best(of(*THREE), low, high)
        assert found.gain_db.min() == pytest.approx(gain, abs=0.05)
        assert pim.gain_over_floor_at_best_db(found.gain_db.min(), 0.0) == pytest.approx(third, abs=0.05)
    assert pim.best_length_at_best(of(*THREE), 0.5, 1.0).length_m == pytest.approx(0.62, abs=0.005)
    assert pim.best_length_at_best(of(*SIX), 0.5, 10.0).gain_db.min() < 0.1


def test_one_band_by_hand() -> None:
    """880 to 915 MHz, 0.7 m, velocity factor 0.85, 3 mm, 0.5 %: 11.79 dB, with a third source 4.23 dB."""
    gain = pim.null_gain_at_best_db(of((880, 915), dl=0.003, dv=0.005), 0.7)[0]
    assert gain == pytest.approx(11.79, abs=5e-3)
    assert pim.gain_over_floor_at_best_db(gain, 0.0) == pytest.approx(4.23, abs=5e-3)


def test_sum_of_known_phase_by_hand() -> None:
    """0.9 m, velocity factor 0.82, 1747.5 MHz: 286.36 degrees, 4.09 dB over one source; forward 6.02 dB."""
    turn = math.degrees(4 * math.pi * 1747.5e6 * 0.9 / (0.82 * C))
    assert turn % 360 == pytest.approx(286.36, abs=5e-3)
    alone = pim.known_phase_sum_dbm([-100.0, -100.0], [0.0, 0.9], 1747.5e6, 0.82)
    assert float(alone) == pytest.approx(-100 + 4.09, abs=5e-3)
    assert float(alone) == pytest.approx(-100 + 20 * math.log10(2 * abs(math.cos(math.radians(turn / 2)))), abs=1e-9)
    forward = pim.known_phase_sum_dbm([-100.0, -100.0], [0.0, 0.9], 1747.5e6, 0.82, forward=True)
    assert float(forward) == pytest.approx(-100 + 6.0206, abs=1e-4)


def _drawn(
    rng: np.random.Generator, length: float | None, spread_db: float, unknown: bool, third: bool, size: int = 400_000
) -> float:
    """Mean power of phasors drawn one by one: nothing of the formulas is used."""
    f = rng.uniform(1920e6, 1980e6, size)
    at = rng.uniform(0.3, 30.0, size) if length is None else length + rng.uniform(-0.005, 0.005, size)
    v = 0.85 * C / (1 + rng.uniform(-0.01, 0.01, size))
    a, b, c = 10 ** (rng.normal(0.0, spread_db, (3, size)) / 20)
    own = np.exp(2j * np.pi * rng.uniform(size=size)) if unknown else 1.0
    total = a + b * own * np.exp(-4j * np.pi * f * at / v)
    if third:
        # the antenna sends the forward sum back and has a source of its own, both of a phase that turns fast
        back, antenna = np.exp(2j * np.pi * rng.uniform(size=(2, size)))
        total = total + 0.2 * (a + b * own) * back + c * antenna
    return float(np.mean(np.abs(total) ** 2))


def test_formulas_against_drawn_phasors() -> None:
    rng = np.random.default_rng(2)
    one = of((1920, 1980))
    for length in (0.555, 0.60, 1.1):
        drawn = _drawn(rng, length, 0.0, False, False) / 2
        assert pim.mean_power_at_best(one, length)[0] == pytest.approx(drawn, abs=0.01)


@pytest.mark.parametrize(
    ("spread_db", "unknown", "stated"), [(0, False, 3.2), (2, False, 2.9), (5, False, 2.0), (0, True, 0.0)]
)
def test_stated_gains_with_antenna_against_a_random_length(spread_db: float, unknown: bool, stated: float) -> None:
    """Computed apart: 1920 to 1980 MHz, 0.555 m, |G| = 0.2 and a source in the antenna; equal levels, 2 dB, 5 dB, phase unknown."""
    rng = np.random.default_rng(3)
    drawn = 10 * math.log10(_drawn(rng, None, spread_db, unknown, True) / _drawn(rng, 0.555, spread_db, unknown, True))
    assert drawn == pytest.approx(stated, abs=0.1)
    if spread_db == 0 and not unknown:
        floor = pim.power_sum_dbm([0.0, float(pim.forward_return_db(0.2))])
        gain = pim.gain_at_best_db(of((1920, 1980)), 0.555)[0]
        assert pim.gain_over_floor_at_best_db(gain, floor) == pytest.approx(drawn, abs=0.05)


def test_limits() -> None:
    tone = of((1950, 1950), dl=0.0, dv=0.0)
    spacing = float(null_spacing_m(tone)[0])
    # no width and no tolerance: a full null half a spacing out, the voltage sum at 0
    np.testing.assert_allclose(pim.mean_power_at_best(tone, [0.0, spacing / 2, spacing])[:, 0], [2, 0, 2], atol=1e-9)
    assert pim.null_gain_at_best_db(tone, 1.0)[0] == np.inf
    # long: nothing left; the offset swaps peaks and nulls
    assert abs(pim.gain_at_best_db(of((1920, 1980)), 60.0)[0]) < 0.05
    swapped = Bands(tone.low_hz, tone.high_hz, 0.85, offset_turns=np.array([0.5]))
    np.testing.assert_allclose(pim.mean_power_at_best(swapped, [0.0, spacing / 2])[:, 0], [0, 2], atol=1e-9)
    # unequal: the mean of phasors, and the depth from peak to null of them
    for difference in (1.0, 6.0, -6.0, 30.0):
        d = 10 ** (-abs(difference) / 20)
        least, most = (pim.mean_power_at_best(tone, x, difference)[0] for x in (spacing / 2, 0.0))
        np.testing.assert_allclose([least, most], [(1 - d) ** 2 / (1 + d * d), (1 + d) ** 2 / (1 + d * d)])
        assert pim.null_depth_at_best_db(difference) == pytest.approx(10 * math.log10(most / least))
    assert pim.null_depth_at_best_db(0.0) == np.inf
    assert pim.forward_return_db(0.2) == pytest.approx(-8.0, abs=0.05)
    assert pim.forward_return_db(0.0) == -np.inf
    assert pim.forward_return_db(0.5, np.inf, 1.5) == pytest.approx(20 * math.log10(0.5) - 3.0)


def test_arrays_equal_scalars() -> None:
    bands = of(*THREE)
    lengths = np.array([[0.5, 0.62, 1.0], [2.0, 3.0, 0.0]])
    for function in (pim.coherence, pim.mean_power_at_best, pim.gain_at_best_db, pim.null_gain_at_best_db):
        whole = function(bands, lengths)
        assert whole.shape == (2, 3, 3)
        for j, edges in enumerate(THREE):
            for index in np.ndindex(2, 3):
                assert whole[(*index, j)] == pytest.approx(float(function(of(edges), float(lengths[index]))[0]))
    f = np.array([[1.7e9, 1.75e9], [1.8e9, 0.9e9]])
    level, place, phase = [-100.0, -103.0, -99.0], [0.0, 0.9, 2.2], [0.0, 40.0, 180.0]
    whole = pim.known_phase_sum_dbm(level, place, f, 0.82, phase_deg=phase)
    for index in np.ndindex(2, 2):
        one = sum(
            10 ** (p / 20) * np.exp(1j * (math.radians(a) - 4 * math.pi * f[index] * z / (0.82 * C)))
            for p, z, a in zip(level, place, phase, strict=True)
        )
        assert whole[index] == pytest.approx(20 * math.log10(abs(one)))


@settings(max_examples=60, deadline=None)
@given(
    edges=st.lists(st.tuples(st.floats(450, 3700), st.floats(0.5, 90)), min_size=1, max_size=4),
    tolerances=st.sampled_from([(0.0, 0.0), (0.002, 0.002), (0.005, 0.01)]),
    low=st.floats(0.2, 3.0),
    span=st.floats(0.0, 1.5),
    difference=st.sampled_from([0.0, 3.0, -10.0]),
    noise=st.sampled_from([None, 3.0, "each"]),
)
def test_no_length_of_a_fine_grid_is_better(
    edges: list[tuple[float, float]], tolerances: tuple[float, float], low: float, span: float, difference: float, noise: object
) -> None:  # fmt: skip
    bands = of(*((a, a + w) for a, w in edges), dl=tolerances[0], dv=tolerances[1])
    over = None if noise is None else np.linspace(-10, 10, len(edges)) if noise == "each" else noise
    found = pim.best_length_at_best(bands, low, low + span, difference, over)
    assert low <= found.length_m <= low + span
    power = pim.mean_power_at_best(bands, np.linspace(low, low + span, 4001), difference)
    value = power.max(axis=1)
    if over is not None:
        with np.errstate(divide="ignore"):
            value = np.asarray(pim.noise_rise_db(np.asarray(over) + 10 * np.log10(np.maximum(power, 0)), 0.0)).max(
                axis=1
            )
        assert found.rise_db.max() == pytest.approx(found.value, abs=1e-9)
    assert found.bound - 1e-9 <= found.value
    assert found.value - found.bound <= max(2.1e-4 * found.value, 2e-9) + 1e-8
    assert value.min() >= found.bound - 1e-9
    assert value.min() >= found.value * (1 - 2.1e-4) - 1e-8


def test_the_floor_belongs_to_the_gain_and_the_rise() -> None:
    bands = of((880, 915))
    bare, floored = pim.best_length_at_best(bands, 0.5, 1.0), pim.best_length_at_best(bands, 0.5, 1.0, floor_db=0.0)
    assert floored.length_m == bare.length_m
    assert floored.gain_db[0] == pytest.approx(float(pim.gain_over_floor_at_best_db(bare.gain_db[0], 0.0)))
    # 2 at the level of the noise each make 3 dB over it as a power sum; with the third source half as much again
    rise = pim.best_length_at_best(bands, 0.5, 1.0, over_noise_db=3.0103, floor_db=0.0)
    assert rise.rise_db[0] == pytest.approx(10 * math.log10(1 + 2 * 10 ** (-bare.gain_db[0] / 10) + 1), abs=2e-3)


def test_nonsense_is_refused() -> None:
    bands = of((880, 915))
    for call in (
        lambda: pim.coherence(bands, -1.0),
        lambda: pim.coherence(bands, np.nan),
        lambda: pim.mean_power_at_best(bands, 1.0, np.nan),
        lambda: pim.forward_return_db(1.1),
        lambda: pim.forward_return_db(0.2, 0.0, -1.0),
        lambda: pim.gain_over_floor_at_best_db(np.nan, 0.0),
        lambda: pim.known_phase_sum_dbm([], [], 1e9, 0.8),
        lambda: pim.known_phase_sum_dbm([1.0, np.nan], [0.0, 1.0], 1e9, 0.8),
        lambda: pim.known_phase_sum_dbm([1.0], [0.0], -1e9, 0.8),
        lambda: pim.known_phase_sum_dbm([1.0], [0.0], 1e9, 1.8),
        lambda: pim.best_length_at_best(bands, 1.0, 0.5),
        lambda: pim.best_length_at_best(bands, 0.5, np.inf),
        lambda: pim.best_length_at_best(bands, 0.5, 1e9),
        lambda: pim.best_length_at_best(bands, 0.5, 1.0, floor_db=np.nan),
        lambda: pim.best_length_at_best(bands, 0.5, 1.0, over_noise_db=np.nan),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
