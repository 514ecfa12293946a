"""Closures: a small set by hand, the same answer turned round, neighbours, and one by one against arrays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import weather
from upmast.source import Mark

# invented closures: a small one, one with a wide and a narrow end, a large one
PARTS = {
    "end_1_low_mm": np.array([4.0, 20.0, 12.0]),
    "end_1_high_mm": np.array([9.0, 30.0, 30.0]),
    "end_2_low_mm": np.array([4.0, 8.0, 12.0]),
    "end_2_high_mm": np.array([9.0, 16.0, 30.0]),
    "body_mm": np.array([16.0, 36.0, 60.0]),
    "inside_mm": np.array([70.0, 120.0, 160.0]),
}
# cable, cable, nut, length
JOINTS = np.array(
    [[5.0, 8.0, 15.0, 60.0], [12.0, 28.0, 34.0, 110.0], [28.0, 12.0, 34.0, 150.0], [28.0, 28.0, 34.0, 100.0]]
)


def test_small_set_by_hand() -> None:
    """Each joint by eye against the ranges above."""
    found = weather.closure_fit(*JOINTS.T[:, :, None], **PARTS)
    np.testing.assert_array_equal(
        found.fits, [[True, False, False], [False, True, True], [False, False, True], [False, False, True]]
    )
    # the second joint needs the second closure turned; the third lacks only length
    assert found.turned[1, 1]
    assert not found.turned[2, 1]
    assert found.ends[2, 1]
    assert found.nut[2, 1]
    assert not found.length[2, 1]


@given(st.tuples(*[st.floats(1.0, 60.0)] * 3), st.floats(20.0, 200.0))
def test_turning_the_joint_changes_nothing(sizes: tuple[float, float, float], length: float) -> None:
    one, two, nut = sizes
    straight = weather.closure_fit(one, two, nut, length, **PARTS)
    turned = weather.closure_fit(two, one, nut, length, **PARTS)
    np.testing.assert_array_equal(straight.fits, turned.fits)


def test_bounds_are_included() -> None:
    assert weather.closure_fit(4.0, 9.0, 16.0, 70.0, **{k: v[0] for k, v in PARTS.items()}).fits


def test_shrink_sleeve_must_pass_the_nut_and_grip_the_thinner_cable() -> None:
    """34 mm nut: 37.4 mm at least; 12 mm cable: 9.6 mm at most."""
    found = weather.shrink_fit(
        12.0, 28.0, 34.0, 120.0, expanded_mm=[37.0, 38.0, 38.0], recovered_mm=[9.0, 9.0, 10.0], inside_mm=150.0
    )
    np.testing.assert_array_equal(found.nut, [False, True, True])
    np.testing.assert_array_equal(found.ends, [True, True, False])
    np.testing.assert_array_equal(found.fits, [False, True, False])
    assert weather.SHRINK_SOURCE.mark is Mark.PRACTICE


def test_back_to_back_joints_take_one_closure_or_room_for_two() -> None:
    assert weather.covered_length_mm([40.0, 40.0], 25.0, 30.0) == pytest.approx(165.0)
    np.testing.assert_allclose(weather.covered_length_mm([[40.0, 40.0], [30.0, 20.0]], [25.0, 0.0]), [165.0, 110.0])
    assert weather.separate_room_mm(120.0, 150.0, 150.0, 10.0) == pytest.approx(-40.0)


def test_neighbours() -> None:
    """Taped nut of 28 mm with two half-lapped layers of 0.8 mm: 34.4 mm; hands take 40 mm more, a gel closure 10 mm."""
    taped = weather.layer_diameter_mm(28.0, 0.8, 2)
    assert weather.neighbour_room_mm(70.0, taped, taped, weather.closure("tape").room_mm) == pytest.approx(
        70 - 34.4 - 40
    )
    assert weather.neighbour_room_mm(50.0, 38.0, 28.0, weather.closure("gel").room_mm) == pytest.approx(7.0)


def test_what_suits_the_work() -> None:
    objections = {
        kind: weather.closure_objections(kind, must_open_again=True, heat_allowed=False, already_mated=True)
        for kind in weather.closures()
    }
    assert objections["gel"] == ()
    assert len(objections["shrink"]) == 3
    assert len(objections["tape"]) == len(objections["wrap"]) == 1
    assert all(weather.closure_objections(kind) == () for kind in weather.closures())


def test_array_equals_scalar() -> None:
    found = weather.closure_fit(*JOINTS.T[:, :, None], **PARTS)
    for j, joint in enumerate(JOINTS):
        for p in range(3):
            one = weather.closure_fit(*joint, **{key: value[p] for key, value in PARTS.items()})
            for field in ("ends", "turned", "nut", "length", "fits"):
                assert getattr(found, field)[j, p] == getattr(one, field)


def test_nonsense_is_refused() -> None:
    one = {key: value[0] for key, value in PARTS.items()}
    for call in (
        lambda: weather.closure("glue"),
        lambda: weather.closure_fit(float("nan"), 1.0, 1.0, 1.0, **one),
        lambda: weather.closure_fit(1.0, 1.0, 1.0, 1.0, **{**one, "end_1_low_mm": 99.0}),
        lambda: weather.shrink_fit(1.0, 1.0, 1.0, 1.0, expanded_mm=1.0, recovered_mm=2.0, inside_mm=1.0),
        lambda: weather.covered_length_mm([]),
        lambda: weather.covered_length_mm(1.0),
        lambda: weather.neighbour_room_mm(-1.0, 1.0, 1.0),
        lambda: weather.separate_room_mm(1.0, float("nan"), 1.0),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
