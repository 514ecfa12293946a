"""The fit of joints to a sweep of the design: on lines of one's own making, with intervals; and why there is none."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.field.fitted import fit_sweep
from upmast.field.locate import locate
from upmast.field.measurement import Sweep
from upmast.proof.rf_path import BandRange, JointPlace, PathDesign, Section
from upmast.rf.cascade import input_gamma, join_s, line_s
from upmast.rf.joint import joint_s
from upmast.rf.loss import propagation_per_m

F = np.linspace(1.7e9, 2.2e9, 1001)


def design(lengths: tuple[float, ...] = (3.0, 4.0), specified_db: float = 32.0) -> PathDesign:
    sections = tuple(Section(f"J{n}", length, 0.005, 0.83, 0.1035, 0.005) for n, length in enumerate(lengths, 1))
    places, at = [], 0.0
    for n in range(len(lengths) + 1):
        places.append(JointPlace(f"joint {n}", f"a{n}", f"b{n}", at, 0.005, specified_db, 2e9, 0.05))
        at += lengths[n] if n < len(lengths) else 0.0
    return PathDesign("P", "R", "ANT.Y1", (BandRange("B3", 1.71e9, 1.785e9),), tuple(places), sections, 1.5)


def swept(one: PathDesign, joints_db: tuple[float, ...], seed: int = 1, noise: float = 3e-4) -> Sweep:
    """A line with joints of given return loss, ended in a load of 45 dB, with noise and a port of 45 dB."""
    rng = np.random.default_rng(seed)
    parts = []
    for n, loss in enumerate(joints_db):
        parts.append(joint_s("shunt C" if n % 2 else "series L", F, loss, 2e9))
        if n < len(one.sections):
            s = one.sections[n]
            parts.append(line_s(propagation_per_m(F, s.velocity_fraction, s.a_db_per_m, s.b_db_per_m), s.length_m))
    gamma = input_gamma(join_s(*parts), 10 ** (-45 / 20))
    gamma = (
        gamma
        + 10 ** (-45 / 20) * np.exp(1j * rng.uniform(0, 2 * np.pi))
        + noise * (rng.normal(size=F.size) + 1j * rng.normal(size=F.size))
    )
    return Sweep("x.s1p", "0" * 64, F, gamma, np.abs(gamma), False, 50.0, "RI")


@pytest.mark.parametrize("bad", [0, 1])
def test_the_bad_joint_leads_and_its_interval_holds_the_truth(bad: int) -> None:
    one = design()
    joints = [34.0, 34.0, 36.0]
    joints[bad] = 20.0
    found = fit_sweep(swept(one, tuple(joints)), one, "load")
    assert not found.why_not
    first = found.rows[0]
    assert first.joints == (f"joint {bad}",)
    assert first.suspect
    # at the middle of the sweep, 1.95 GHz: 20 dB at 2 GHz are 20.2 dB there, reactance goes with f
    x = 2 * 0.1 / np.sqrt(1 - 0.01) * 1.95 / 2.0
    truth = -20 * np.log10(x / np.sqrt(4 + x * x))
    assert first.least_db - 0.3 <= truth <= first.most_db + 0.3
    assert first.return_loss_db == pytest.approx(
        truth, abs=0.6 if bad == 0 else 0.3
    )  # the port's own residue lies at joint 0
    assert found.margin_db > 5
    assert f"by a fit of all joints: joint {bad}" in found.sentence


def test_a_sound_line_accuses_nobody() -> None:
    one = design()
    found = fit_sweep(swept(one, (34.0, 33.0, 36.0), seed=4), one, "load")
    assert not any(r.suspect for r in found.rows)
    assert "no joint is worse than it may be" in found.sentence


def test_why_there_is_no_fit() -> None:
    one = design()
    sweep = swept(one, (34.0, 34.0, 36.0))
    silent = Sweep("x.s1p", sweep.digest, F, sweep.gamma * np.nan, sweep.magnitude, True, 50.0, "RI")
    assert fit_sweep(silent, one, "load").why_not == "the file has no phase"
    assert "only the loss" in fit_sweep(sweep, one, "short").why_not
    few = Sweep("x.s1p", sweep.digest, F[::50], sweep.gamma[::50], sweep.magnitude[::50], False, 50.0, "RI")
    assert "points or more" in fit_sweep(few, one, "load").why_not
    strong = fit_sweep(swept(one, (34.0, 12.0, 36.0)), one, "load")
    assert strong.why_not or strong.rows[0].joints == ("joint 1",)


def test_an_echo_between_joints_is_told_as_one() -> None:
    one = design((3.0, 9.0))
    # two joints of 10 dB at 0 and 3 m: an echo at 6 m of about 30 dB, where no joint is
    found = locate(swept(one, (10.0, 10.0, 36.0)), one)
    echo = [p for p in found.peaks if abs(p.distance_m - 6.0) < 0.4]
    assert echo
    assert "an echo between joints" in echo[0].words
    assert not echo[0].suspect
    # the same strength without the joints that could make it is worth a look
    assert not any("echo between joints" in p.words for p in locate(swept(one, (34.0, 34.0, 36.0)), one).peaks)
