from __future__ import annotations

import numpy as np
import pytest
import skrf

from upmast import rf

F = np.linspace(1.7e9, 2.2e9, 41)
GAMMA = rf.propagation_per_m(F, 0.83, 0.11, 0.005, 35.0)


def _media(z0: float = 50.0) -> skrf.media.DefinedGammaZ0:
    return skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(F, unit="Hz"), z0_port=50.0, z0=z0, gamma=GAMMA)


def _random_s(seed: int, n: int = 2) -> np.ndarray:
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(F.size, n, n)) + 1j * rng.normal(size=(F.size, n, n))
    return 0.9 * s / np.linalg.svd(s, compute_uv=False)[:, :1, None]


def test_line_of_another_impedance_agrees_with_scikit_rf() -> None:
    own = rf.scattering_from_abcd(rf.line_abcd(GAMMA, 1.8, 75.0), 50.0)
    np.testing.assert_allclose(own, _media(75.0).line(1.8, "m").s, atol=1e-12)
    np.testing.assert_allclose(rf.line_s(GAMMA, 1.8), _media().line(1.8, "m").s, atol=1e-12)


def test_whole_line_agrees_with_scikit_rf() -> None:
    """Joint, jumper, joint, 75-ohm piece, bad contact, in three ways: scattering, chain matrices, scikit-rf."""
    m, m75 = _media(), _media(75.0)
    c, ind = float(rf.joint_capacitance_f(28.0, 2e9)), float(rf.joint_inductance_h(26.0, 2e9))
    theirs = m.shunt_capacitor(c) ** m.line(1.8, "m") ** m.inductor(ind) ** m75.line(0.4, "m") ** m.resistor(5.0)
    piece = rf.scattering_from_abcd(rf.line_abcd(GAMMA, 0.4, 75.0))
    joined = rf.join_s(
        rf.joint_s("shunt C", F, 28.0, 2e9),
        rf.line_s(GAMMA, 1.8),
        rf.joint_s("series L", F, 26.0, 2e9),
        piece,
        rf.contact_s(5.0),
    )
    omega = 2 * np.pi * F
    chained = rf.chain(
        rf.shunt_abcd(1j * omega * c),
        rf.line_abcd(GAMMA, 1.8),
        rf.series_abcd(1j * omega * ind),
        rf.line_abcd(GAMMA, 0.4, 75.0),
        rf.series_abcd(5.0),
    )
    np.testing.assert_allclose(joined, theirs.s, atol=1e-12)
    np.testing.assert_allclose(rf.scattering_from_abcd(chained), theirs.s, atol=1e-12)
    end = 0.2 * np.exp(1j * 0.7)
    load = m.load(end)
    np.testing.assert_allclose(rf.input_gamma(joined, end), (theirs**load).s[:, 0, 0], atol=1e-12)
    np.testing.assert_allclose(rf.insertion_loss_db(joined), -theirs.s_db[:, 1, 0], atol=1e-10)


def test_chain_matrix_there_and_back() -> None:
    s = _random_s(1)
    np.testing.assert_allclose(rf.scattering_from_abcd(rf.abcd_from_scattering(s, 75.0), 75.0), s, atol=1e-12)
    np.testing.assert_allclose(rf.abcd_from_scattering(s, 50.0), skrf.network.s2a(s, 50.0), atol=1e-9)


def test_joining_is_associative_and_a_line_of_no_length_does_nothing() -> None:
    a, b, c = _random_s(1), _random_s(2), _random_s(3)
    np.testing.assert_allclose(rf.join_s(rf.join_s(a, b), c), rf.join_s(a, rf.join_s(b, c)), atol=1e-12)
    np.testing.assert_allclose(rf.join_s(a, rf.line_s(GAMMA, 0.0)), a, atol=1e-14)
    np.testing.assert_allclose(
        rf.join_s(a, b),
        rf.scattering_from_abcd(rf.chain(rf.abcd_from_scattering(a), rf.abcd_from_scattering(b))),
        atol=1e-10,
    )


@pytest.mark.parametrize("ports", [1, 2, 3])
def test_renormalising_agrees_with_scikit_rf(ports: int) -> None:
    s = _random_s(4, ports)
    net = skrf.Network(frequency=skrf.Frequency.from_f(F, unit="Hz"), s=s, z0=75.0)
    net.renormalize(50.0)
    np.testing.assert_allclose(rf.renormalise_s(s, 75.0, 50.0), net.s, atol=1e-12)
    np.testing.assert_allclose(rf.renormalise_s(rf.renormalise_s(s, 75.0, 50.0), 50.0, 75.0), s, atol=1e-12)
    if ports == 1:
        np.testing.assert_allclose(rf.renormalise_gamma(s[:, 0, 0], 75.0, 50.0), net.s[:, 0, 0], atol=1e-12)


def test_array_equals_scalar() -> None:
    lengths = np.array([0.5, 1.0, 2.0])[:, None]
    whole = rf.join_s(rf.joint_s("shunt C", F, 28.0, 2e9), rf.line_s(GAMMA, lengths), rf.contact_s(1.0))
    assert whole.shape == (3, F.size, 2, 2)
    one = rf.join_s(rf.joint_s("shunt C", F[7], 28.0, 2e9), rf.line_s(GAMMA[7], 1.0), rf.contact_s(1.0))
    np.testing.assert_allclose(whole[1, 7], one, rtol=1e-13)


def test_blocked_part_joins_but_has_no_chain_matrix() -> None:
    blocked = np.array([[0.5, 0.0], [0.0, 0.3]])
    assert rf.join_s(blocked, rf.contact_s(5.0))[0, 0] == 0.5
    assert rf.insertion_loss_db(blocked) == np.inf
    with pytest.raises(ValueError, match="lets nothing through"):
        rf.abcd_from_scattering(blocked)


def test_reading_with_a_short_behind_a_lossy_joint() -> None:
    """Mean in dB over a full turn = loss of the line + what the contact adds (Jensen's formula), by numerical mean."""
    for r in (0.5, 5.0, 20.0):
        s = rf.contact_s(r)
        back = -(10 ** (-2 * 2.1 / 20)) * np.exp(2j * np.pi * np.arange(720) / 720)
        reading = float(rf.cable_loss_db(rf.return_loss_db(rf.input_gamma(s[None], back))))
        assert reading == pytest.approx(2.1 + float(rf.through_reading_db(s)), abs=1e-9)
    np.testing.assert_allclose(rf.through_reading_db(rf.joint_s("shunt C", F, 20.0, 2e9)), 0.0, atol=1e-12)


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: rf.chain(),
        lambda: rf.join_s(),
        lambda: rf.join_s(np.eye(3)),
        lambda: rf.line_abcd(GAMMA, -1.0),
        lambda: rf.line_s(GAMMA, -1.0),
        lambda: rf.renormalise_s(np.eye(2), 0.0, 50.0),
        lambda: rf.renormalise_s(np.zeros(3), 75.0, 50.0),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()


def test_many_lengths_at_once_are_the_cascades_one_by_one() -> None:
    f = np.linspace(1.7e9, 2.7e9, 7)
    gamma = rf.propagation_per_m(f, 0.85, 0.11, 0.005)
    joint = rf.joint_s("shunt C", f, 30.0, 2e9)
    before, behind = rf.join_s(joint, rf.line_s(gamma, 0.4)), rf.input_gamma(joint, 0.2)
    for start, step, count in ((0.5, 0.013, 37), (0.0, 0.0, 3), (1.0, 0.1, 1)):
        found = rf.gamma_over_lengths(before, gamma, start, step, count, behind)
        assert found.shape == (count, f.size)
        for n in range(count):
            one = rf.input_gamma(rf.join_s(before, rf.line_s(gamma, start + n * step), joint), 0.2)
            np.testing.assert_allclose(found[n], one, atol=1e-13)
    with pytest.raises(ValueError, match="start_m"):
        rf.gamma_over_lengths(before, gamma, -1.0, 0.1, 3, behind)


def test_200_random_chains_agree_with_scikit_rf() -> None:
    """Lossy lines of 50 and 75 ohm, shunt and series joints, bad contacts and random two-ports, some of them files of 75 ohm."""
    rng = np.random.default_rng(20261127)
    frequency = skrf.Frequency.from_f(F, unit="Hz")
    for n in range(200):
        ours, theirs = [], []
        for _ in range(int(rng.integers(2, 8))):
            kind = int(rng.integers(0, 5))
            if kind == 0:
                z, length = float(rng.choice([50.0, 75.0])), float(rng.uniform(0.05, 20))
                gamma = rf.propagation_per_m(
                    F, rng.uniform(0.6, 0.9), rng.uniform(0, 0.2), rng.uniform(0, 0.01), rng.uniform(-30, 60)
                )
                ours.append(rf.scattering_from_abcd(rf.line_abcd(gamma, length, z)))
                theirs.append(skrf.media.DefinedGammaZ0(frequency, z0_port=50.0, z0=z, gamma=gamma).line(length, "m"))
            elif kind in (1, 2):
                rl, at = float(rng.uniform(15, 40)), 2e9
                ours.append(rf.joint_s("shunt C" if kind == 1 else "series L", F, rl, at))
                medium = skrf.media.DefinedGammaZ0(frequency, z0=50, gamma=0 * F)
                lump = medium.shunt_capacitor(float(rf.joint_capacitance_f(rl, at))) if kind == 1 else medium.inductor(float(rf.joint_inductance_h(rl, at)))  # fmt: skip
                theirs.append(lump)
            elif kind == 3:
                ohm = float(rng.uniform(0, 8))
                ours.append(np.broadcast_to(rf.contact_s(ohm), (F.size, 2, 2)))
                theirs.append(skrf.media.DefinedGammaZ0(frequency, z0=50, gamma=0 * F).resistor(ohm))
            else:
                z, s = float(rng.choice([50.0, 75.0])), _random_s(1000 + n)
                ours.append(rf.renormalise_s(s, z, 50.0))
                file = skrf.Network(frequency=frequency, s=s, z0=z)
                file.renormalize(50)
                theirs.append(file)
        whole = theirs[0]
        for one in theirs[1:]:
            whole = whole**one
        np.testing.assert_allclose(rf.join_s(*ours), whole.s, atol=1e-9)
