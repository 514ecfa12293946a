"""Bad joints are put into lines made by scikit-rf, with noise; the reader of distances has to name each of them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from upmast.field.distance import distance_picture, why_no_distance
from upmast.field.locate import allowed_db, locate
from upmast.field.measurement import Sweep
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]


@pytest.mark.parametrize("path", ["A2-J1", "A2-J2", "B1-J1"])
@pytest.mark.parametrize("bad_db", [15.0, 20.0, 25.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_names_the_bad_joint(designs: dict[str, PathDesign], make: Make, path: str, bad_db: float, seed: int) -> None:
    design = designs[path]
    for k, joint in enumerate(design.joints):
        found = locate(make(design, joints_db={k: bad_db}, noise_db=-60.0, seed=seed), design)
        first = found.open_first[0]
        assert first.joint == joint.name
        assert abs(first.distance_m - joint.distance_m) <= first.tolerance_m
        assert first.return_loss_db == pytest.approx(bad_db, abs=1.0)
        assert len(found.open_first) == 1
        assert joint.name in first.words


def test_ranks_two_bad_joints_the_worse_first(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["B1-J1"]
    found = locate(make(design, joints_db={1: 22.0, 2: 17.0}), design)
    assert [p.joint for p in found.open_first] == [design.joints[2].name, design.joints[1].name]


def test_a_sound_line_has_nothing_to_open(designs: dict[str, PathDesign], make: Make) -> None:
    for design in designs.values():
        for seed in range(4):
            assert locate(make(design, seed=seed), design).open_first == ()


def test_the_peak_at_the_port_itself_is_seen(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["A2-J1"]
    first = locate(make(design, joints_db={0: 16.0}), design).peaks[0]
    assert first.joint == "A2.rf1/A2-J1.foot"
    assert abs(first.distance_m) < 0.05


def test_piecewise_velocity_places_joints_behind_the_feeder(designs: dict[str, PathDesign], make: Make) -> None:
    """2 m at 0.82 and 20 m at 0.89: with one velocity for all the joint at 22 m would be off by 1.6 m."""
    design = designs["B1-J1"]
    peak = next(p for p in locate(make(design, joints_db={2: 18.0}), design).peaks if p.joint == design.joints[2].name)
    assert peak.distance_m == pytest.approx(22.0, abs=0.05)


def test_loss_is_taken_out(designs: dict[str, PathDesign], make: Make) -> None:
    """The far joint reads its own return loss, although it comes back through more than 3 dB."""
    design = designs["B1-J1"]
    assert 2 * float(design.loss_db(1.95e9)) > 3.0
    peak = locate(make(design, joints_db={3: 20.0}), design).open_first[0]
    assert peak.return_loss_db == pytest.approx(20.0, abs=0.6)


def test_a_dent_in_the_cable_is_no_joint(designs: dict[str, PathDesign], make: Make) -> None:
    import dataclasses

    design = designs["A2-J2"]
    section = design.sections[0]
    dented = dataclasses.replace(
        design,
        sections=(dataclasses.replace(section, length_m=3.2), dataclasses.replace(section, length_m=1.8)),
        joints=(design.joints[0], dataclasses.replace(design.joints[0], name="dent", distance_m=3.2), design.joints[1]),
    )
    first = locate(make(dented, joints_db={1: 20.0}), design).open_first[0]
    assert first.joint == ""
    assert first.distance_m == pytest.approx(3.2, abs=0.1)
    assert "in A2-J2, 3.2" in first.words


def test_what_can_not_be_told_apart_is_said(designs: dict[str, PathDesign], make: Make) -> None:
    """100 MHz: resolution 1.2 m and a lone peak 2.4 m wide; the joints of the top jumper are 1.5 m apart."""
    design = designs["B1-J1"]
    sweep = make(design, joints_db={3: 15.0}, low_hz=1.7e9, high_hz=1.8e9)
    near = [p for p in locate(sweep, design).peaks if p.distance_m > 20]
    assert near[0].also
    assert "can't tell it from" in near[0].words


def test_the_antenna_behind_the_last_joint_is_no_fault(designs: dict[str, PathDesign], make: Make) -> None:
    for design in designs.values():
        assert locate(make(design, "antenna"), design, "antenna").open_first == ()


def test_without_phase_or_range_there_are_no_distances(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["B1-J1"]
    assert "no phase" in locate(make(design, magnitude_only=True), design).why_not
    coarse = make(design, points=101)  # 7 MHz: v/(2 df) is 17.6 m
    assert "17.6 m" in why_no_distance(coarse, design)
    with pytest.raises(ValueError, match=r"17\.6 m"):
        distance_picture(coarse, design)
    assert locate(coarse, design).peaks == ()


def test_allowed_value_of_a_peak(designs: dict[str, PathDesign]) -> None:
    """A joint in the middle: itself; at the port: with directivity 42 dB; at the end: with the load of 40 dB."""
    design = designs["B1-J1"]
    r = 10 ** (-32 / 20)
    middle, port, end = (allowed_db(design.joints[k], design, 2e9, "load") for k in (1, 0, 3))
    assert middle == pytest.approx(32.0)
    for value, other_db in ((port, 42.0), (end, 40.0)):
        o = 10 ** (-other_db / 20)
        assert value == pytest.approx(-20 * np.log10((r + o) / (1 + r * o)))
