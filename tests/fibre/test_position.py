"""Position maps: points in space for the mates, permutations, hostile lists."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.fibre import (
    array_cable,
    array_mate,
    array_source,
    duplex_patch,
    fanin,
    fanout,
    inverse_map,
    lane_of,
    port_of,
)


def face_points(n: int) -> np.ndarray:
    """
    Fibre ends of a ferrule that looks along +z, key along +y.

    A viewer in front of it looks along -z with y up, so his right is +x: position 1 top left is at small x and large y.
    """
    rows = n // 12
    return np.array([[p % 12 - 5.5, (rows - 1) / 2 - p // 12, 0.0] for p in range(n)])


def turned(points: np.ndarray, axis: str) -> np.ndarray:
    """By half a turn about an axis, a motion of a rigid body (no mirror)."""
    sign = {"x": (1, -1, -1), "y": (-1, 1, -1), "z": (-1, -1, 1)}[axis]
    return points * np.array(sign)


@pytest.mark.parametrize("n", [12, 24])
@pytest.mark.parametrize("keys", ["opposed", "aligned"])
def test_mates_by_points_in_space(n: int, keys: str) -> None:
    one = face_points(n)
    other = turned(face_points(n), "y")  # now looks along -z, at the first, key still up
    if keys == "opposed":
        other = turned(other, "z")
    touching = [1 + int(np.argmin(np.linalg.norm(other - point, axis=1))) for point in one]
    assert np.linalg.norm(other[np.array(touching) - 1] - one) == 0
    np.testing.assert_array_equal(array_mate(keys, n), touching)  # type: ignore[arg-type]


@pytest.mark.parametrize("n", [12, 24])
def test_type_b_is_type_a_with_one_connector_turned_over(n: int) -> None:
    """Half a turn of the ferrule in its housing swaps rows and mirrors columns."""
    points = face_points(n)
    over = turned(points, "z")
    moved = [1 + int(np.argmin(np.linalg.norm(points - point, axis=1))) for point in over]
    np.testing.assert_array_equal(array_cable("B", n), moved)


@pytest.mark.parametrize("n", [12, 24])
def test_every_map_is_its_own_inverse(n: int) -> None:
    maps = [array_mate("opposed", n), array_mate("aligned", n), *(array_cable(kind, n) for kind in ("A", "B", "C"))]  # type: ignore[arg-type]
    maps += [duplex_patch("A-B", n // 2), duplex_patch("A-A", n // 2)]
    for one in maps:
        np.testing.assert_array_equal(one[one - 1], np.arange(1, n + 1))
        np.testing.assert_array_equal(inverse_map(one, n), one)


def test_fanout_and_fanin_are_inverse() -> None:
    for ports, n in [(1, 12), (6, 12), (5, 24)]:
        order = np.random.default_rng(ports).permutation(n)[: 2 * ports] + 1
        out, back = fanout(ports, n, order.tolist()), fanin(ports, n, order.tolist())
        np.testing.assert_array_equal(back[out - 1], np.arange(1, 2 * ports + 1))
        assert (back == 0).sum() == n - 2 * ports


def test_ports_and_lanes() -> None:
    ends = np.arange(1, 13)
    np.testing.assert_array_equal(2 * port_of(ends) - 1 + lane_of(ends), ends)


def test_an_explicit_list_must_be_a_permutation() -> None:
    np.testing.assert_array_equal(array_cable([3, 1, 2]), [3, 1, 2])
    for bad, message in [
        ([1, 1, 2], "twice"),
        ([0, 1, 2], "from 1 to 3"),
        ([1, 2, 4], "from 1 to 3"),
        ([1.0, 2.0], "whole"),
        ([[1, 2]], "plain"),
        ([True, False], "whole"),
        ([], "whole number"),
    ]:
        with pytest.raises(ValueError, match=message):
            array_cable(bad)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="3 positions"):
        array_cable([3, 1, 2], 12)


def test_inverse_refuses_two_on_one() -> None:
    with pytest.raises(ValueError, match="twice"):
        inverse_map([1, 1], 2)
    with pytest.raises(ValueError, match="1 to 2"):
        inverse_map([3, 0], 2)
    np.testing.assert_array_equal(inverse_map([0, 0], 2), [0, 0])
    with pytest.raises(ValueError, match="axis"):
        inverse_map([[1]], 1)


def test_marks() -> None:
    assert str(array_source(12).mark) == "confirmed"


def test_nonsense_is_refused() -> None:
    for call in (
        lambda: duplex_patch("B-B"),  # type: ignore[arg-type]
        lambda: duplex_patch("A-B", 0),
        lambda: array_cable("D"),  # type: ignore[arg-type]
        lambda: array_cable("A", 13),
        lambda: array_mate("up", 12),  # type: ignore[arg-type]
        lambda: array_mate("opposed", 16),
        lambda: fanout(7, 12),
        lambda: fanout(2, 12, [1, 2, 3]),
        lambda: fanout(2, 12, [1, 2, 3, 13]),
        lambda: fanout(True),
    ):
        with pytest.raises(ValueError, match=r"not|need|must|lists|may"):
            call()
