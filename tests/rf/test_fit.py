from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from upmast import rf
from upmast.rf.lumped import Model

C0 = 299792458.0
F = np.linspace(1.825e9, 2.075e9, 501)
Maker = Callable[..., Any]


def _pairs(made: Maker, seeds: range, span: float, spacing: float, **more: Any) -> dict[str, Any]:
    """Errors of the pair near 37 m over some lines: of those told apart, whether the interval holds, and of the rest the groups."""
    share = more.pop("least_share", rf.LEAST_SHARE)
    errors, held, apart, fits = [], [], 0, []
    for seed in seeds:
        one = made(np.random.default_rng(seed), span, spacing, **more)
        fit = rf.fit_joints(one.frequency_hz, one.gamma, one.line, more.get("end", "load"), least_share=share)
        fits.append((one, fit))
        groups = [fit.of_joint(2), fit.of_joint(3)]
        if all(len(g.joints) == 1 for g in groups):
            apart += 1
            for k, group in zip((2, 3), groups, strict=True):
                errors.append(abs(20 * np.log10(group.gamma / one.truth[k])))
                held.append(group.low <= one.truth[k] <= group.high)
    return {"errors": np.array(errors), "held": np.array(held), "apart": apart, "fits": fits}


# Spans, spacings and bounds of handbook RF 8.3, table of accuracy: v/(2 B), 2 v/(2 B); median and 95 % of those told apart
@pytest.mark.parametrize(
    ("span", "spacing", "median", "most"),
    [(500e6, 0.5, 0.04, 0.15), (500e6, 0.25, 0.04, 0.23), (250e6, 1.0, 0.04, 0.10), (250e6, 0.5, 0.04, 0.18), (100e6, 2.0, 0.04, 0.18), (100e6, 1.26, 0.04, 0.18)],
)  # fmt: skip
def test_pair_down_to_the_resolution(made: Maker, span: float, spacing: float, median: float, most: float) -> None:
    found = _pairs(made, range(100, 140), span, spacing)
    assert found["apart"] >= 38
    assert np.median(found["errors"]) <= median
    assert np.percentile(found["errors"], 95) <= most
    assert found["held"].mean() >= 0.95
    for one, fit in found["fits"]:
        assert fit.judged
        assert abs(fit.velocity_error[0] - one.velocity_error) < 0.001
        # every joint on its own, also the one at the port (directivity) and the one at the load
        lone = fit.of_joint(1)
        assert abs(20 * np.log10(lone.gamma / one.truth[1])) < 0.1


def test_open_check_16(made: Maker) -> None:
    """Pair 0.5 m apart at 37 m, 1825 to 2075 MHz, 40 seeds: median <= 0.1 dB, 95 % <= 0.5 dB; 0.15 m in 40 MHz is refused."""
    found = _pairs(made, range(1600, 1640), 250e6, 0.5)
    assert np.median(found["errors"]) <= 0.1
    assert np.percentile(found["errors"], 95) <= 0.5
    assert found["held"].mean() >= 0.9
    for seed in range(20):
        one = made(np.random.default_rng(seed), 40e6, 0.15)
        fit = rf.fit_joints(one.frequency_hz, one.gamma, one.line, least_share=0.4)
        assert len(fit.of_joint(2).joints) > 1


def test_below_the_resolution_on_request_and_a_group_without(made: Maker) -> None:
    """Half of v/(2 B): handbook 0.93 dB for 95 %, coverage 83 to 90 %. Without the request the pair is one group, its sum right."""
    found = _pairs(made, range(300, 340), 250e6, 0.25, least_share=0.4)
    assert np.median(found["errors"]) <= 0.1
    assert np.percentile(found["errors"], 95) <= 1.0
    assert found["held"].mean() >= 0.83
    held = 0
    for one, _ in found["fits"]:
        group = rf.fit_joints(one.frequency_hz, one.gamma, one.line).of_joint(2)
        assert group.joints == (2, 3)
        assert np.isnan(group.resistive)
        assert group.kind == ""
        held += group.low <= one.truth[2] + one.truth[3]
        # both ends of what the sum may be: in phase or against it
        assert group.high >= abs(one.truth[2] - one.truth[3])
    assert held == 40


def test_sum_of_a_group_is_the_vector_sum_at_the_middle() -> None:
    """Two capacitances 0.2 m apart at 20 m, no noise: |g1 + g2 exp(-j 4 pi f0 d/v)|, what stands there to see."""
    line = rf.LumpedLine([20.0, 0.2, 5.0], 0.85, joint_at=(1, 2))
    model = Model(F, line, "load")
    theta = model.mean.copy()
    theta[2:4] = 0.03, 0.02  # x of both
    g = model.evaluate(model.seen(theta))[0]
    group = rf.fit_joints(F, g, line).of_joint(0)
    assert group.joints == (0, 1)
    expected = abs(0.03 + 0.02 * np.exp(-4j * np.pi * 1.95e9 * 0.2 / (0.85 * C0)))
    assert group.gamma == pytest.approx(expected, rel=0.01)
    assert group.low <= expected <= group.high


def test_interval_of_a_group_holds_the_sum_of_true_lumps() -> None:
    held, errors = 0, []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        off, error, parts = rng.normal(0.0, 0.003, 4), rng.uniform(-0.01, 0.01), []
        for k in range(5):
            parts.append(rf.joint_s(rng.choice(["shunt C", "series L"]), F, rng.uniform(22, 34), 1.95e9))
            if k < 4:
                gamma = rf.propagation_per_m(F, 0.84, [0.12, 0.035, 0.12, 0.12][k], 0.003)
                length = [2.0, 35.0, 0.25, 2.75][k] + off[k]
                parts.append(rf.line_s(gamma.real + 1j * gamma.imag * (1 + error), length))
        g = rf.input_gamma(rf.join_s(*parts), 0.008) + 0.008 * np.exp(1j * rng.uniform(0, 6.28))
        g = g + 4e-4 * (rng.normal(size=F.size) + 1j * rng.normal(size=F.size))
        line = rf.LumpedLine([2.0, 35.0, 0.25, 2.75], 0.84, [0.12, 0.035, 0.12, 0.12], 0.003)
        group = rf.fit_joints(F, g, line).of_joint(3)
        assert group.joints == (2, 3)
        true = float(abs(rf.input_gamma(rf.join_s(parts[4], parts[5]), parts[6][:, 0, 0])[250]))
        held += group.low <= true <= group.high
        errors.append(abs(20 * np.log10(group.gamma / true)))
    assert held >= 38
    assert np.percentile(errors, 95) < 0.1


def test_derivatives_are_those_of_differences() -> None:
    rng = np.random.default_rng(4)
    line = rf.LumpedLine([2.0, 30.0, 0.6], 0.84, 0.05, 0.002, skin_phase=True)
    for end in ("load", "short", "antenna"):
        model = Model(F, line, end)
        model.absorbs[1] = True
        theta = model.mean + rng.normal(size=model.mean.size) * np.minimum(model.sigma, 0.005)
        np.testing.assert_allclose(model.seen(model.own(theta)), theta, atol=1e-14)
        jac = model.evaluate(theta)[1]
        for k in range(theta.size):
            up, down = theta.copy(), theta.copy()
            up[k] += 1e-7
            down[k] -= 1e-7
            slope = (model.evaluate(up)[0] - model.evaluate(down)[0]) / 2e-7
            np.testing.assert_allclose(jac[k], slope, atol=1e-4 * max(1.0, float(abs(slope).max())))


def test_model_is_the_cascade_for_a_contact_and_lossless_lumps() -> None:
    """Sizes of the model's multiple reflections against `join_s` with a bad contact that absorbs; a lump turns no phase in the model."""
    line = rf.LumpedLine([3.0, 10.0], 0.85, 0.1, 0.004, joint_at=(1,))
    model = Model(F, line, "short")
    gamma = rf.propagation_per_m(F, 0.85, 0.1, 0.004)
    own = model.mean.copy()
    own[0], own[model.at_end] = 5 / 50 / (2 + 5 / 50), -1.0
    model.absorbs[0] = True
    mine = model.evaluate(model.seen(own))[0]
    s = rf.join_s(rf.line_s(gamma, 3.0), np.broadcast_to(rf.contact_s(5.0), (F.size, 2, 2)), rf.line_s(gamma, 10.0))
    np.testing.assert_allclose(mine, rf.input_gamma(s, -1.0), atol=1e-12)


def test_kind_of_joint_is_told_or_left_open(made: Maker) -> None:
    told, right, total = 0, 0, 0
    for seed in range(700, 720):
        one = made(np.random.default_rng(seed), 250e6, 0.6, contact={2: 3.0})
        fit = rf.fit_joints(one.frequency_hz, one.gamma, one.line)
        for group in fit.groups:
            if len(group.joints) == 1:
                total += 1
                told += bool(group.kind)
                right += group.kind == one.kinds[group.joints[0]]
    assert told >= 0.7 * total
    assert right >= 0.97 * told


def test_a_contact_weakens_what_lies_behind_it_and_the_fit_knows(made: Maker) -> None:
    """5 ohm in series takes 0.43 dB one way: without it the far joints would read 0.86 dB too good."""
    errors = []
    for seed in range(720, 735):
        one = made(np.random.default_rng(seed), 250e6, 0.6, contact={1: 5.0})
        fit = rf.fit_joints(one.frequency_hz, one.gamma, one.line)
        errors += [20 * np.log10(fit.of_joint(k).gamma / one.truth[k]) for k in (2, 3)]
    assert np.percentile(np.abs(errors), 90) < 0.15


@pytest.mark.parametrize("end", ["short", "antenna"])
def test_with_a_short_or_an_antenna_the_last_joint_belongs_to_it(made: Maker, end: str) -> None:
    found = _pairs(made, range(800, 820), 250e6, 0.6, end=end)
    assert found["held"].mean() >= 0.95
    assert np.median(found["errors"]) <= 0.05
    for _, fit in found["fits"]:
        last = fit.of_joint(4)
        assert last.with_end
        assert np.isnan(last.gamma)
        assert np.isnan(last.return_loss_db)


def test_stronger_joints_within_the_stated_range(made: Maker) -> None:
    found = _pairs(made, range(900, 930), 250e6, 0.6, return_loss_db=(14.5, 20.0))
    assert np.median(found["errors"]) <= 0.05
    assert found["held"].mean() >= 0.9


def test_beyond_the_range_it_is_not_judged(made: Maker) -> None:
    one = made(np.random.default_rng(1), 250e6, 0.6, return_loss_db=(8.0, 10.0))
    fit = rf.fit_joints(one.frequency_hz, one.gamma, one.line)
    assert not fit.judged
    assert "0.2" in " ".join(fit.why_not)
    with pytest.raises(ValueError, match="not judged"):
        rf.open_first(fit)


def test_another_line_is_not_judged_and_a_dent_is_shown(made: Maker) -> None:
    one = made(np.random.default_rng(2), 250e6, 0.6)
    wrong = rf.LumpedLine([9.0, 14.0, 8.0, 3.0], 0.84, 0.06, 0.003)
    fit = rf.fit_joints(one.frequency_hz, one.gamma, wrong)
    assert not fit.judged
    assert "not explained" in fit.why_not[0]
    dented = one.gamma + 0.02 * 10 ** (-(2 * 1.5) / 20) * np.exp(-4j * np.pi * one.frequency_hz * 20.0 / (0.84 * C0))
    fit = rf.fit_joints(one.frequency_hz, dented, one.line)
    assert fit.unexplained is not None
    assert fit.unexplained.distance_m == pytest.approx(20.0, abs=0.3)
    assert fit.misfit > 2
    for k in (1, 2, 3):  # far from the dent nothing changes but the interval
        assert fit.of_joint(k).low <= one.truth[k] <= fit.of_joint(k).high


def test_a_wrong_loss_is_covered_by_a_wider_loss(made: Maker) -> None:
    """Handbook RF 8.3: 3 % keeps the coverage, 10 % does not with the narrow prior."""
    assert _pairs(made, range(40, 60), 250e6, 0.6, loss_error=0.03)["held"].mean() >= 0.95
    assert _pairs(made, range(40, 60), 250e6, 0.6, loss_error=0.10)["held"].mean() < 0.5
    assert _pairs(made, range(40, 60), 250e6, 0.6, loss_error=0.10, loss_sigma=0.07)["held"].mean() >= 0.9


def test_directivity_is_in_the_interval_of_the_first_joint(made: Maker) -> None:
    """Handbook RF 8.4: the joint at the radio end is known to about 2 dB."""
    held, widths = 0, []
    for seed in range(40):
        one = made(np.random.default_rng(seed), 250e6, 0.6)
        first = rf.fit_joints(one.frequency_hz, one.gamma, one.line).of_joint(0)
        held += first.low <= one.truth[0] <= first.high
        widths.append(first.greatest_db - first.least_db)
    assert held >= 36
    assert np.median(widths) > 1.0


def test_noise_is_found_and_a_known_end_is_used(made: Maker) -> None:
    one = made(np.random.default_rng(5), 250e6, 0.6, noise_db=-55.0)
    fit = rf.fit_joints(one.frequency_hz, one.gamma, one.line)
    assert 20 * np.log10(fit.noise) == pytest.approx(-55.0, abs=0.7)
    assert fit.misfit == pytest.approx(1.0, abs=0.1)
    line = rf.LumpedLine([3.0, 10.0], 0.85, joint_at=(1, 2))
    model = Model(F, line, "antenna", end_gamma=0.2 * np.exp(1j * F / 3e7))
    theta = model.mean.copy()
    theta[2:4] = 0.03, 0.02
    g = model.evaluate(model.seen(theta))[0]
    fit = rf.fit_joints(F, g, line, "antenna", end_gamma=0.2 * np.exp(1j * F / 3e7))
    assert fit.of_joint(0).gamma == pytest.approx(0.03, rel=0.01)
    assert fit.of_joint(1).low <= 0.02 <= fit.of_joint(1).high
    assert fit.end == pytest.approx(0.2, rel=0.03)


def test_what_to_open_first(made: Maker) -> None:
    line = rf.LumpedLine([2.0, 20.0, 3.0], 0.84, 0.05)
    model = Model(F, line, "load")
    theta = model.mean.copy()
    theta[4:8] = 0.02, 0.05, 0.025, 0.02
    rng = np.random.default_rng(0)
    g = model.evaluate(model.seen(theta))[0] + 3e-4 * (rng.normal(size=F.size) + 1j * rng.normal(size=F.size))
    fit = rf.fit_joints(F, g, line)
    ranking = rf.open_first(fit)
    assert ranking.order[0].group.joints == (1,)
    assert ranking.sure
    assert ranking.margin_db == pytest.approx(20 * np.log10(0.05 / 0.025), abs=0.2)
    # against what each may be another one comes first
    limits = [28.0, 24.0, 36.0, 28.0]
    ranking = rf.open_first(fit, limits)
    assert ranking.order[0].group.joints == (2,)
    assert ranking.order[0].excess_db == pytest.approx(36.0 + 20 * np.log10(0.025), abs=0.15)
    even = rf.open_first(fit, [28.0, 26.02, 32.04, 28.0])
    assert not even.sure
    with pytest.raises(ValueError, match="one limit a joint"):
        rf.open_first(fit, [28.0])


@pytest.mark.parametrize("made_of", ["piece of another impedance", "two lumps", "residue of a test cable"])
def test_what_the_model_does_not_know_widens_the_interval(made_of: str) -> None:
    """Joints as 30 mm of 44 to 57.5 ohm, or a capacitance and an inductance 20 mm apart; directivity 0.5 and 1 m behind the port."""
    held, errors = [], []
    for seed in range(24):
        rng = np.random.default_rng(seed)
        off, error = rng.normal(0.0, 0.005, 4), rng.uniform(-0.01, 0.01)
        parts, truth = [], []
        for k in range(5):
            if made_of == "piece of another impedance":
                piece = rf.line_abcd(2j * np.pi * F / C0, 0.03, float(rng.choice([44, 46, 47, 54, 56, 57.5])))
                parts.append(rf.scattering_from_abcd(piece))
            elif made_of == "two lumps":
                one, other = (rf.joint_s(kind, F, rng.uniform(24, 34), 1.95e9) for kind in ("shunt C", "series L"))
                parts.append(rf.join_s(one, rf.line_s(2j * np.pi * F / C0, 0.02), other))
            else:
                parts.append(rf.joint_s(rng.choice(["shunt C", "series L"]), F, rng.uniform(22, 34), 1.95e9))
            truth.append(float(abs(parts[-1][250, 0, 0])))
            if k < 4:
                gamma = rf.propagation_per_m(F, 0.84, [0.12, 0.035, 0.12, 0.12][k], 0.003)
                length = [2.0, 35.0, 0.6, 2.4][k] + off[k]
                parts.append(rf.line_s(gamma.real + 1j * gamma.imag * (1 + error), length))
        g = rf.input_gamma(rf.join_s(*parts), 0.008) + 4e-4 * (rng.normal(size=501) + 1j * rng.normal(size=501))
        port = 0.008 * np.exp(1j * rng.uniform(0, 6.28))
        if made_of == "residue of a test cable":
            port = port * np.exp(-4j * np.pi * F * 0.5 / C0) + 0.004 * np.exp(-4j * np.pi * F / C0)
        fit = rf.fit_joints(F, g + port, rf.LumpedLine([2.0, 35.0, 0.6, 2.4], 0.84, [0.12, 0.035, 0.12, 0.12], 0.003))
        assert fit.judged
        assert fit.misfit > 2
        for k in (1, 2, 3):
            group = fit.of_joint(k)
            if len(group.joints) == 1:
                held.append(group.low <= truth[k] <= group.high)
                errors.append(abs(20 * np.log10(group.gamma / truth[k])))
    assert len(held) >= 60
    assert np.mean(held) >= 0.9
    assert np.median(errors) <= 0.15


def test_nonsense_is_refused() -> None:
    line = rf.LumpedLine([3.0, 10.0], 0.85)
    g = np.zeros(F.size, complex)
    for call in (
        lambda: rf.fit_joints(F, np.abs(g), line),
        lambda: rf.fit_joints(F, g[:-1], line),
        lambda: rf.fit_joints(F, g * np.nan, line),
        lambda: rf.fit_joints(F[:40], g[:40], line),
        lambda: rf.fit_joints(F, g, line, "open"),
        lambda: rf.fit_joints(F, g, line, directivity_db=0.0),
        lambda: rf.fit_joints(F, g, line, least_share=0.1),
        lambda: rf.fit_joints(F, g, rf.LumpedLine([300.0], 0.85)),
        lambda: rf.fit_joints(F, g, rf.LumpedLine([0.1], 0.85), "short"),
        lambda: rf.LumpedLine([], 0.85),
        lambda: rf.LumpedLine([1.0, -1.0], 0.85),
        lambda: rf.LumpedLine([1.0, np.nan], 0.85),
        lambda: rf.LumpedLine([1.0], 1.2),
        lambda: rf.LumpedLine([1.0], 0.85, -0.1),
        lambda: rf.LumpedLine([1.0], 0.85, [0.1, 0.1]),
        lambda: rf.LumpedLine([1.0], 0.85, length_sigma_m=0.0),
        lambda: rf.LumpedLine([1.0], 0.85, joint_at=(0, 2)),
        lambda: rf.LumpedLine([1.0], 0.85, joint_at=(1, 0)),
        lambda: rf.LumpedLine([1.0], 0.85, velocity_sigma=0.0),
        lambda: rf.LumpedLine([1.0], 0.85, temperature_c=np.nan),
        lambda: rf.LumpedLine(np.ones(30), 0.85),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
    with pytest.raises(ValueError, match="not one of"):
        rf.fit_joints(F, g + 0.01, line).of_joint(9)
