"""Echoes that fall onto a joint are said at that joint; a joint that is bad itself is never excused by its own echo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from upmast.field.ghost_notes import echo_at_joint, echoes_of, way_words
from upmast.field.locate import line_of, locate
from upmast.field.measurement import Sweep
from upmast.proof.rf_path import PathDesign
from upmast.rf.ghosts import END, PORT, Ghost

Make = Callable[..., Sweep]


def even(design: PathDesign) -> PathDesign:
    """Three sections of 4 m: an echo between the first two inner joints falls onto the third."""
    sections = tuple(replace(s, length_m=4.0, velocity_fraction=0.85) for s in design.sections)
    joints = tuple(replace(j, distance_m=4.0 * k, tolerance_m=0.02) for k, j in enumerate(design.joints))
    return replace(design, sections=sections, joints=joints)


def test_an_echo_onto_a_joint_is_said(designs: dict[str, PathDesign], make: Make) -> None:
    """Joints of 6 dB at 4 m and 8 m send an echo of about 18 dB, less what they keep back, to 12 m."""
    design = even(designs["B1-J1"])
    found = locate(make(design, joints_db={1: 7.0, 2: 7.0}), design)
    last = next((p for p in found.peaks if p.joint == design.joints[3].name), None)
    assert last is not None
    assert last.suspect
    assert "an echo (" in last.words
    assert "falls onto it" in last.words
    bad = next(p for p in found.peaks if p.joint == design.joints[1].name)
    assert "falls onto it" not in bad.words


def test_a_bad_joint_is_not_excused(designs: dict[str, PathDesign], make: Make) -> None:
    for path in designs.values():
        for k, joint in enumerate(path.joints):
            peak = next(p for p in locate(make(path, joints_db={k: 15.0}), path).peaks if p.joint == joint.name)
            assert peak.suspect
            assert "echo" not in peak.words


def test_words_of_a_way(designs: dict[str, PathDesign]) -> None:
    design = designs["B1-J1"]
    assert way_words(Ghost(3.0, 0.01, (1, 0, END), 1), design) == (
        f"{design.joints[1].name} to {design.joints[0].name} to the end, folded back by the range 1 time(s)"
    )
    assert way_words(Ghost(3.0, 0.01, (PORT,), 0), design) == "the test port"


def test_own_echo_is_left_out(designs: dict[str, PathDesign], make: Make) -> None:
    design = even(designs["B1-J1"])
    line = line_of(design)
    assert line is not None
    seen = {j.name: 6.0 for j in design.joints}
    echoes = echoes_of(line, design, seen, make(design), "load")
    assert echoes
    only = tuple(g for g in echoes if 3 in g.path)
    assert echo_at_joint(design.joints[3].name, 12.0, 20.0, design, only, 0.5) == ""
    assert max(g.gamma for g in echoes) == pytest.approx(echoes[0].gamma)
