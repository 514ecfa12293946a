from __future__ import annotations

import numpy as np
import pytest

from upmast import rf
from upmast.rf.ghosts import END, PORT

C0 = 299792458.0
F = np.linspace(1.7e9, 2.2e9, 1001)
LINE = rf.LumpedLine([4.0, 11.0, 6.0], 0.84, [0.12, 0.05, 0.12], 0.003, joint_at=(0, 1, 2, 3))
LEVELS = (16.0, 15.0, 17.0, 20.0)


def _swept(f: np.ndarray, end: complex = 0.0) -> np.ndarray:
    """The exact cascade of the line with capacitive joints."""
    parts = []
    for k, level in enumerate(LEVELS):
        parts.append(rf.joint_s("shunt C", f, level, 1.95e9))
        if k < 3:
            gamma = rf.propagation_per_m(f, 0.84, LINE.root_db_per_m[k], 0.003)
            parts.append(rf.line_s(gamma, LINE.section_length_m[k]))
    return rf.input_gamma(rf.join_s(*parts), end)


def _picture(f: np.ndarray, g: np.ndarray, beyond: float) -> rf.Trace:
    a = rf.attenuation_db_per_m(1.95e9, LINE.root_db_per_m, 0.003)
    return rf.distance_trace(f, g, LINE.section_length_m, LINE.section_velocity_factor, a, beyond, 8001)


def test_every_peak_of_the_exact_picture_is_a_joint_or_a_ghost() -> None:
    sizes = [10 ** (-x / 20) for x in LEVELS]
    known = rf.ghost_places(LINE, sizes, 1.95e9, float(F[1] - F[0]))
    picture = _picture(F, _swept(F), 20.0)
    found = rf.peaks(picture.distance_m, picture.response, 62.0)
    width = 1.96 * float(rf.resolution_m(F[-1] - F[0], 0.84))
    ghosts_seen = 0
    for x, level in zip(found.distance_m, found.return_loss_db, strict=True):
        if np.abs(LINE.end_distance_m - x).min() < 0.1:
            continue
        said = rf.explained(float(x), 10 ** (-level / 20), known, 0.5 * width)
        strong = max((10 ** (-lv / 20) for d, lv in zip(found.distance_m, found.return_loss_db, strict=True) if abs(d - x) < 3 * width and d != x), default=0.0)  # fmt: skip
        if not said.ghost:
            assert 10 ** (-level / 20) < 0.01 * max(strong, 0.2), (
                x,
                level,
                said,
            )  # side lobes of the window, echoes of five
        ghosts_seen += said.ghost
    assert ghosts_seen >= 4
    # the strongest ones are where they are said to be, as strong as said
    for ghost in known[:4]:
        near = np.abs(picture.distance_m - ghost.distance_m) < 0.3
        same = sum(g.gamma for g in known if abs(g.distance_m - ghost.distance_m) < width)
        assert np.abs(picture.response[near]).max() == pytest.approx(same, rel=0.35)


def test_an_echo_by_hand() -> None:
    """Joints of 0.1 at 4 and 10 m, no loss: an echo of 2 - 1 - 2 at 16 m, size 0.001; with a short at 12 m the two ways round count twice."""
    line = rf.LumpedLine([4.0, 6.0, 2.0], 0.84, joint_at=(1, 2))
    one = rf.ghost_places(line, [0.1, 0.1], 2e9, 1e5)
    assert len(one) == 1
    assert one[0].distance_m == pytest.approx(16.0)
    assert one[0].gamma == pytest.approx(0.001)
    assert one[0].path == (1, 0, 1)
    short = {g.path: g for g in rf.ghost_places(line, [0.1, 0.1], 2e9, 1e5, end_gamma=1.0)}
    assert short[(END, 0, END)].distance_m == pytest.approx(20.0)
    assert short[(END, 0, END)].gamma == pytest.approx(0.1)
    assert short[(END, 1, END)].distance_m == pytest.approx(14.0)
    assert short[(1, 0, END)].gamma == pytest.approx(2 * 0.1 * 0.1)
    port = {g.path: g for g in rf.ghost_places(line, [0.1, 0.1], 2e9, 1e5, port_gamma=0.02)}
    assert port[(0, PORT, 0)].distance_m == pytest.approx(8.0)
    assert port[(0, PORT, 0)].gamma == pytest.approx(0.0002)


def test_loss_of_a_ghost() -> None:
    """An echo that comes back to a place of the line has lost as much as a joint there: freed of it, the product stays."""
    line = rf.LumpedLine([4.0, 6.0, 20.0], 0.84, 0.1, joint_at=(1, 2))
    assert rf.ghost_places(line, [0.1, 0.1], 2e9, 1e5)[0].gamma == pytest.approx(0.001)


def test_a_folded_place_is_where_the_picture_shows_it() -> None:
    coarse = np.linspace(1.7e9, 2.2e9, 81)
    line = rf.LumpedLine([5.0, 18.0], 0.84, joint_at=(1, 2))
    step = float(coarse[1] - coarse[0])
    reach = float(rf.range_m(step, 0.84))
    assert 5.0 < reach < 23.0
    g = sum(s * np.exp(-4j * np.pi * coarse * d / (0.84 * C0)) for s, d in ((0.05, 5.0), (0.04, 23.0)))
    known = rf.ghost_places(line, [0.05, 0.04], 1.95e9, step)
    assert known[0].path == (1,)
    assert known[0].folded == 1
    assert known[0].distance_m == pytest.approx(23.0 - reach)
    picture = np.abs(rf.response_at(coarse, g, [known[0].distance_m / (0.84 * C0)]))
    assert picture[0] == pytest.approx(0.04, rel=0.01)
    assert rf.explained(known[0].distance_m + 0.1, 0.04, known, 0.5).ghost
    assert not rf.explained(5.0, 0.05, known, 0.5).ghost


def test_faults_of_a_sweep() -> None:
    line = rf.LumpedLine([2.0, 30.0, 0.3], 0.84)
    said = rf.sweep_faults(np.linspace(1.7e9, 2.2e9, 101), line)
    assert "folded back" in said[0]
    assert "joints 2 and 3" in said[1]
    points = int(said[0].split(";")[1].split()[0])
    assert "range" not in " ".join(rf.sweep_faults(np.linspace(1.7e9, 2.2e9, points), line))
    assert "twice" in rf.sweep_faults(np.linspace(1.7e9, 2.2e9, 151), line)[0]
    # 270 MHz and 271 points reach 124.41 m, handbook RF 11, case 12
    f = np.linspace(1.7e9, 1.97e9, 271)
    assert rf.sweep_faults(f, rf.LumpedLine([124.0], 0.83), echoes=False) == ()
    assert rf.sweep_faults(f, rf.LumpedLine([125.0], 0.83), echoes=False)


def test_velocity_factor_from_the_end() -> None:
    """Handbook RF 11, case 2: 1.85 m and 7.61844 ns are 0.81."""
    assert float(rf.velocity_factor_from_end(7.61844e-9, 1.85).velocity_factor) == pytest.approx(0.81, abs=1e-6)
    lengths = np.array([10.0, 30.0])
    both = rf.velocity_factor_from_end([5e-8, 1.3e-7], lengths, 1e-8, 0.05, 1e-11)
    for k in range(2):
        one = rf.velocity_factor_from_end([5e-8, 1.3e-7][k], lengths[k], 1e-8, 0.05, 1e-11)
        assert float(one.velocity_factor) == pytest.approx(float(both.velocity_factor[k]))
        assert float(one.sigma) == pytest.approx(float(both.sigma[k]))
    assert both.sigma[0] / both.velocity_factor[0] == pytest.approx(np.hypot(0.005, 2.5e-4))
    # to and fro with the delay of a sweep
    g = -0.6 * np.exp(-4j * np.pi * F * 30.0 / (0.87 * C0))
    tau = rf.end_delay_s(F, g, 30.0 / (0.85 * C0))
    assert float(rf.velocity_factor_from_end(tau, 30.0).velocity_factor) == pytest.approx(0.87, abs=1e-4)


def test_residue_of_the_calibration() -> None:
    x = np.array([-1.0, 0.0, 0.4, 1.0])
    residue = rf.port_residue_gamma(x, 500e6, 0.84, 40.0)
    assert residue[1] == pytest.approx(0.01)
    assert residue[0] == pytest.approx(residue[3])
    assert residue[2] == pytest.approx(float(rf.port_residue_gamma(0.4, 500e6, 0.84, 40.0)))
    f = np.linspace(1.7e9, 2.2e9, 1024)
    np.testing.assert_allclose(
        residue, np.abs(rf.response_at(f, np.full(f.size, 0.01 + 0j), x / (0.84 * C0))), rtol=1e-6
    )
    least, greatest = rf.port_interval_db([26.0, 42.0, 50.0], 42.0)
    assert np.isinf(greatest[1])
    assert np.isinf(greatest[2])
    assert least[0] < 26.0 < greatest[0]
    assert float(rf.port_interval_db(26.0, 42.0)[0]) == least[0]


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: rf.ghost_places(LINE, [0.1], 2e9, 1e6),
        lambda: rf.ghost_places(LINE, [0.1, 0.1, 0.1, 1.0], 2e9, 1e6),
        lambda: rf.ghost_places(LINE, [0.1] * 4, 2e9, 0.0),
        lambda: rf.ghost_places(LINE, [0.1] * 4, 2e9, 1e6, end_gamma=1.5),
        lambda: rf.ghost_places(LINE, [np.nan] * 4, 2e9, 1e6),
        lambda: rf.explained(1.0, 0.1, (), 0.0),
        lambda: rf.velocity_factor_from_end(1e-9, 1.0),
        lambda: rf.velocity_factor_from_end(1e-8, 1.0, 2e-8),
        lambda: rf.port_residue_gamma(0.0, 500e6, 0.84, 0.0),
        lambda: rf.port_residue_gamma(0.0, 0.0, 0.84, 40.0),
    ):
        with pytest.raises(ValueError, match=r".+"):
            call()
