"""Heat: rule of mixtures, friction clamp by clamp, bowing, anchor plan; arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import support

COPPER, SHEATH = support.elastic("copper"), support.elastic("hdpe")
STEEL = support.elastic("steel").expansion_per_k


def test_materials_are_marked() -> None:
    assert str(COPPER.source.mark) == "memory"
    with pytest.raises(ValueError, match="copper, aluminium"):
        support.elastic("gold")


def test_springs_side_by_side_find_the_same_length() -> None:
    """Each part pulled to the common strain: the forces add up to nothing."""
    e, a, alpha = np.array([110e9, 70e9, 0.8e9]), np.array([50.0, 30.0, 200.0]), np.array([17e-6, 23e-6, 180e-6])
    common = support.cable_expansion_per_k(e, a, alpha) * 25.0
    assert (e * a * (common - alpha * 25.0)).sum() == pytest.approx(0.0, abs=1e-6 * (e * a).sum() * 1e-6)
    assert alpha.min() < common / 25 < alpha.max()


def test_one_material_is_itself() -> None:
    assert support.cable_expansion_per_k([1e9, 1e9], [3.0, 5.0], [2e-5, 2e-5]) == pytest.approx(2e-5)
    assert support.axial_stiffness_n(200e9, 50.0) == pytest.approx(10e6)


def test_polyethylene_softens_five_times() -> None:
    cold, room, hot = support.polyethylene_modulus_pa([-20.0, 20.0, 60.0])
    assert cold / hot == pytest.approx(5.0)
    assert room == SHEATH.modulus_pa


def test_blocked_force_undoes_the_movement() -> None:
    """Hooke: the force over EA times the length is the movement, also where the mast has its own temperature."""
    ea, args = 10.768e6, (40.0, 20.15e-6, STEEL, 25.0)
    force, move = support.blocked_force_n(ea, *args), support.relative_movement_mm(30.0, *args)
    assert force / ea * 30.0 * 1e3 == pytest.approx(float(move))
    assert support.blocked_force_n(ea, -40.0, 20.15e-6, STEEL) < 0  # cooling: tension


def test_steel_moves_by_hand() -> None:
    """100 m of steel, 50 K, beside nothing that moves: 60 mm (textbook value of 12e-6)."""
    assert support.relative_movement_mm(100.0, 50.0, STEEL, 0.0) == pytest.approx(60.0)


@pytest.mark.parametrize(("grip", "spans"), [(100.0, 40), (1312.5, 40), (3600.0, 40), (50.0, 10), (0.0, 7)])
def test_end_movement_clamp_by_clamp(grip: float, spans: int) -> None:
    force, strain, spacing = 3510.0, 326e-6, 0.9
    moved = sum(strain * spacing * max(0.0, 1 - j * grip / force) for j in range(1, spans + 1))
    found = support.end_movement_mm(strain, force, grip, spacing, spans)
    assert found == pytest.approx(moved * 1e3, abs=1e-9)
    assert support.end_movement_mm(-strain, -force, grip, spacing, spans) == -found


def test_no_force_moves_nothing() -> None:
    assert support.end_movement_mm(0.0, 0.0, 100.0, 1.0, 5) == 0
    assert support.slip_zone_clamps(0.0, 100.0) == 0


@settings(deadline=None)
@given(st.floats(1, 1e5), st.floats(1, 1e5))
def test_the_slip_zone_is_just_long_enough(force: float, grip: float) -> None:
    n = int(support.slip_zone_clamps(force, grip))
    assert n * grip >= force * (1 - 1e-8)
    assert (n - 1) * grip < force


def test_bowing_at_eulers_load() -> None:
    rise = support.bowing_rise_k(10.0, 1e7, [0.5, 1.0], 8e-6)
    np.testing.assert_allclose(support.blocked_force_n(1e7, rise, 20e-6, STEEL), support.euler_load_n([0.5, 1.0], 10.0))
    assert rise[0] == pytest.approx(4 * rise[1])
    assert support.bowing_rise_k(10.0, 1e7, 1.0, 0.0) == np.inf


def test_the_bow_has_the_excess_length() -> None:
    """Length of the bowed shape by a fine polygon."""
    for strain in (1e-5, 1e-3):
        x = np.linspace(0, 1.2, 20001)
        y = float(support.bow_mm(1.2, strain)) * 1e-3 * (1 - np.cos(2 * np.pi * x / 1.2)) / 2
        assert np.hypot(np.diff(x), np.diff(y)).sum() == pytest.approx(1.2 * (1 + strain), rel=strain * 5e-3)
    assert support.bow_mm(1.0, -1e-3) == 0


@settings(deadline=None)
@given(st.floats(1, 200), st.floats(5e-6, 5e-5), st.floats(-40, 50), st.floats(-40, 30), st.floats(0, 80))
def test_the_loop_holds_every_state(length: float, cable: float, installed: float, cold: float, span: float) -> None:
    plan = support.anchor_plan(length, cable, STEEL, installed, cold, cold + span)
    for t in np.linspace(cold, cold + span, 5):
        move = float(support.relative_movement_mm(length, t - installed, cable, STEEL))
        assert -plan.give_mm - 1e-9 <= move <= plan.take_mm + 1e-9
    assert plan.take_mm >= 0
    assert plan.give_mm >= 0


def test_a_cable_that_grows_less_than_the_mast_moves_the_other_way() -> None:
    usual, other = (support.anchor_plan(30.0, c, STEEL, 10.0, -30.0, 60.0) for c in (STEEL + 8e-6, STEEL - 8e-6))
    assert (usual.take_mm, usual.give_mm) == (pytest.approx(other.give_mm), pytest.approx(other.take_mm))


def test_a_cable_in_the_sun_moves_more() -> None:
    sun = support.anchor_plan(30.0, 20e-6, STEEL, 10.0, -30.0, 70.0, mast_hottest_c=40.0)
    assert sun.take_mm == pytest.approx(30e3 * (20e-6 * 60 - 12e-6 * 30))
    assert sun.give_mm == pytest.approx(30e3 * 8e-6 * 40)


def test_arrays_equal_scalars() -> None:
    length, rise = np.array([[10.0], [40.0]]), np.array([-40.0, 0.0, 30.0])
    many = support.relative_movement_mm(length, rise, 20e-6, STEEL)
    force = support.blocked_force_n(1e7, rise, 20e-6, STEEL)
    plan = support.anchor_plan(length, 20e-6, STEEL, rise, -40.0, 60.0)
    end = support.end_movement_mm(8e-6 * rise, force, [[100.0], [900.0]], 1.0, 20)
    for i, j in np.ndindex(2, 3):
        assert many[i, j] == support.relative_movement_mm(length[i, 0], rise[j], 20e-6, STEEL)
        assert force[j] == support.blocked_force_n(1e7, rise[j], 20e-6, STEEL)
        assert plan.loop_mm[i, j] == support.anchor_plan(length[i, 0], 20e-6, STEEL, rise[j], -40.0, 60.0).loop_mm
        assert end[i, j] == support.end_movement_mm(8e-6 * rise[j], force[j], [100.0, 900.0][i], 1.0, 20)


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.polyethylene_modulus_pa, (np.nan,)),
        (support.axial_stiffness_n, (-1.0, 1.0)),
        (support.cable_expansion_per_k, (0.0, 1.0, 1e-5)),
        (support.cable_expansion_per_k, (1.0, 1.0, np.nan)),
        (support.relative_movement_mm, (-1.0, 1.0, 1e-5, 1e-5)),
        (support.relative_movement_mm, (1.0, np.nan, 1e-5, 1e-5)),
        (support.blocked_force_n, (-1.0, 1.0, 1e-5, 1e-5)),
        (support.slip_zone_clamps, (1.0, 0.0)),
        (support.end_movement_mm, (1e-4, 1.0, -1.0, 1.0, 3)),
        (support.bowing_rise_k, (1.0, 0.0, 1.0, 1e-5)),
        (support.bow_mm, (0.0, 1e-4)),
        (support.anchor_plan, (1.0, 1e-5, 1e-5, 0.0, 10.0, -10.0)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
