from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from upmast import rf

F = np.linspace(1.825e9, 2.075e9, 501)
C0 = 299792458.0


def test_ripple_period_gives_the_spacing() -> None:
    """Handbook RF 3.1: ripple period v/(2 L), 2 to 6 MHz for feeders of 20 to 60 m."""
    assert float(rf.ripple_spacing_m(6e6, 0.8)) == pytest.approx(20.0, abs=0.05)
    np.testing.assert_allclose(rf.ripple_spacing_m([6e6, 2e6], 0.8), [rf.ripple_spacing_m(p, 0.8) for p in (6e6, 2e6)])
    with pytest.raises(ValueError, match="period_hz"):
        rf.ripple_spacing_m(0.0, 0.8)


def test_spacings_are_those_of_the_pairs_and_not_of_places() -> None:
    places, sizes = np.array([4.0, 9.0, 27.0]), np.array([0.05, 0.03, 0.04])
    g = (sizes[:, None] * np.exp(-4j * np.pi * F * places[:, None] / (0.84 * C0))).sum(axis=0)
    found = rf.pair_spacings(F, np.abs(g), 0.84, most=3)
    np.testing.assert_allclose(np.sort(found.spacing_m), [5.0, 18.0, 23.0], atol=0.1)
    by = dict(zip(np.round(found.spacing_m).astype(int).tolist(), found.product, strict=True))
    for spacing, product in ((5, 0.05 * 0.03), (18, 0.03 * 0.04), (23, 0.05 * 0.04)):
        assert by[spacing] == pytest.approx(product, rel=0.03)
    # moved along the line, or turned end for end, the sizes are the same: nothing may differ
    for other in (places + 3.0, 40.0 - places):
        moved = (sizes[:, None] * np.exp(-4j * np.pi * F * other[:, None] / (0.84 * C0))).sum(axis=0)
        np.testing.assert_allclose(
            rf.pair_spacings(F, np.abs(moved), 0.84, most=3).spacing_m, found.spacing_m, atol=1e-9
        )
    assert found.range_m == pytest.approx(float(rf.range_m(0.5e6, 0.84)) / 2)
    assert found.cell_m == pytest.approx(float(rf.resolution_m(250e6, 0.84)))


def test_sizes_of_known_joints(made: Callable[..., Any]) -> None:
    """Handbook RF 8.4, four joints: 0.08 dB median, 0.18 dB for 90 %; the radio end +-2 dB."""
    errors, first, held, judged = [], [], [], 0
    for seed in range(12):
        one = made(np.random.default_rng(seed), (250e6, 500e6)[seed % 2], 1.5)
        fit = rf.fit_sizes(one.frequency_hz, np.abs(one.gamma), one.line)
        if fit.why_not:
            continue
        judged += 1
        error = np.abs(20 * np.log10(fit.gamma / one.truth))
        errors += list(error[1:4])  # the last stands at the load
        first.append(error[0])
        held += list((fit.low <= one.truth) & (one.truth <= fit.high))
    assert judged >= 10
    assert np.median(errors) <= 0.08
    assert np.percentile(errors, 90) <= 0.18
    assert np.max(first) <= 2.0
    assert np.mean(held) >= 0.9


def test_two_joints_may_change_places_unseen() -> None:
    """|a + b exp(-j phi)| is the same for a and b exchanged: the interval of each has to hold both, or hold the truth."""
    line = rf.LumpedLine([3.0, 12.0, 4.0], 0.84, joint_at=(1, 2))
    g = 0.05 * np.exp(-4j * np.pi * F * 3.0 / (0.84 * C0)) + 0.03 * np.exp(-4j * np.pi * F * 15.0 / (0.84 * C0))
    rng = np.random.default_rng(0)
    noisy = g + 1e-3 * (rng.normal(size=F.size) + 1j * rng.normal(size=F.size))
    fit = rf.fit_sizes(F, np.abs(noisy), line)
    if not fit.why_not:
        assert np.all((fit.low <= 0.0505) & (fit.high >= 0.0495))
        assert np.all((fit.low <= 0.0305) & (fit.high >= 0.0295))


def test_the_same_seed_gives_the_same_and_near_joints_are_refused(made: Callable[..., Any]) -> None:
    one = made(np.random.default_rng(3), 250e6, 1.5)
    first, second = (rf.fit_sizes(one.frequency_hz, np.abs(one.gamma), one.line) for _ in range(2))
    np.testing.assert_array_equal(first.gamma, second.gamma)
    near = made(np.random.default_rng(3), 100e6, 0.5)
    assert "v/(2 B)" in rf.fit_sizes(near.frequency_hz, np.abs(near.gamma), near.line).why_not[0]
    wrong = rf.LumpedLine([9.0, 14.0, 8.0, 3.0], 0.84, 0.06, 0.003)
    assert rf.fit_sizes(one.frequency_hz, np.abs(one.gamma), wrong).why_not


def test_nonsense_is_refused() -> None:
    line = rf.LumpedLine([3.0, 10.0], 0.85)
    g = np.full(F.size, 0.1)
    for call in (
        lambda: rf.pair_spacings(F, g.astype(complex), 0.85),
        lambda: rf.pair_spacings(F, g[:-1], 0.85),
        lambda: rf.pair_spacings(F, -g, 0.85),
        lambda: rf.pair_spacings(F, g * np.nan, 0.85),
        lambda: rf.pair_spacings(F, g, 0.85, most=0),
        lambda: rf.fit_sizes(F, np.full(F.size, 20.0), line),
        lambda: rf.fit_sizes(F, g, rf.LumpedLine([200.0], 0.85)),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
