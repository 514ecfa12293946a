"""Hoisting: grips carry the whole cable, spacing respects rule and rating."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import support
from upmast.constants import STANDARD_GRAVITY_M_PER_S2

G = STANDARD_GRAVITY_M_PER_S2.value


def test_grips_share_the_tension() -> None:
    length, mass = np.array([10.0, 75.0, 180.0]), 1.3
    count = support.grip_count(length, support.grip_spacing_m(mass, 900.0))
    load = support.grip_load_n(mass, length, count)
    np.testing.assert_allclose(load * count, support.top_tension_n(mass, length))
    assert np.all(load <= 900.0)
    # one grip less would be too few
    assert np.all(
        (count == 1)
        | (support.grip_load_n(mass, length, np.maximum(count - 1, 1)) > 900.0)
        | (length / (count - 1 + 1e-9) > 60)
    )


def test_spacing_at_the_rule_and_at_the_rating() -> None:
    assert support.grip_spacing_m(1.0, 1e6) == support.GRIP_RULE_M
    spacing = support.grip_spacing_m(2.0, 400.0, 1.5)
    assert support.top_tension_n(2.0, spacing, 1.5) == pytest.approx(400.0)


def test_whole_spacings_need_no_more_grips() -> None:
    assert support.grip_count(3 * 0.1, 0.1) == 3  # 0.30000000000000004
    assert support.grip_count(0.0, 60.0) == 1


def test_positions_are_equal_from_the_top() -> None:
    at = support.grip_positions_m(100.0, 4)
    assert at[0] == 0
    np.testing.assert_allclose(np.diff([*at, 100.0]), 25.0)


def test_tension_of_one_kilogram() -> None:
    assert support.top_tension_n(1.0, 1.0, 1.0) == pytest.approx(G)


@pytest.mark.parametrize(
    ("function", "args"),
    [
        (support.top_tension_n, (-1.0, 1.0)),
        (support.top_tension_n, (1.0, 1.0, 0.9)),
        (support.grip_spacing_m, (0.0, 1.0)),
        (support.grip_spacing_m, (1.0, 1.0, 0.5)),
        (support.grip_count, (-1.0, 1.0)),
        (support.grip_count, (1.0, 0.0)),
        (support.grip_count, (np.nan, 1.0)),
        (support.grip_load_n, (1.0, 1.0, 0)),
        (support.grip_positions_m, (-1.0, 1)),
        (support.grip_positions_m, (1.0, 0)),
    ],
)
def test_nonsense_is_refused(function, args) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=r"can't|must"):
        function(*args)
