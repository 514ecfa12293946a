"""Coils: every solution holds the length asked; circles are the limit of ovals and spirals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.fibre.coil import (
    Lay,
    bundle_coil,
    bundle_diameter_m,
    missing_lengths_m,
    oval_coils,
    spiral_coils,
    spiral_length_m,
    tie_spacing_m,
    ties_count,
    twist_advice,
    twist_deg_per_m,
)
from upmast.fibre.slack import slack_loops

SLACK = st.floats(0.0, 40.0)
LEAST = st.floats(0.04, 0.5)
WIDER = st.floats(1.0, 3.0)


@given(SLACK, LEAST, WIDER, st.booleans())
def test_an_oval_holds_what_is_asked_within_its_place(slack: float, least: float, wider: float, half: bool) -> None:
    found = oval_coils(slack, least, least * wider, 2.0, half)
    np.testing.assert_allclose(found.stored_m, slack, rtol=1e-9, atol=1e-9)
    assert (found.straight_m >= 0).all()
    assert (found.radius_m >= least * (1 - 1e-9)).all()
    assert (found.radius_m <= least * wider * (1 + 1e-9)).all()
    assert (2 * found.radius_m + found.straight_m <= 2.0 + 1e-9).all()


@given(SLACK, LEAST, WIDER, st.sampled_from([0.0, 0.25, 0.5, 0.75]), st.floats(0.003, 0.06))
def test_a_spiral_holds_what_is_asked(slack: float, least: float, wider: float, f: float, d: float) -> None:
    found = spiral_coils(slack, least, least * wider, d, f)
    np.testing.assert_allclose(spiral_length_m(found.inner_m, found.turns, f, d), slack, rtol=1e-9, atol=1e-9)
    assert (found.inner_m >= least * (1 - 1e-9)).all()
    assert (found.outer_m <= least * wider * (1 + 1e-9)).all()


def test_a_spiral_is_the_sum_of_its_turns_and_a_circle_if_the_cable_is_thin() -> None:
    """By hand: turns of 200, 220 and 240 mm and a quarter of 260 mm."""
    by_hand = 2 * math.pi * (0.2 + 0.22 + 0.24 + 0.26 / 4)
    assert float(spiral_length_m(0.2, 3, 0.25, 0.02)) == pytest.approx(by_hand, rel=1e-12)
    thin = spiral_coils(5.0, 0.15, 0.30, 1e-12)
    np.testing.assert_allclose(thin.inner_m, slack_loops(5.0, 0.15, 0.30).radius_m, rtol=1e-9)


def test_the_oval_of_a_place_that_is_wide_enough_is_a_circle() -> None:
    """By hand, 5 m: 3, 4 and 5 turns of 265.3, 198.9 and 159.2 mm."""
    found = oval_coils(5.0, 0.15, 0.30, 0.6)
    assert dict(zip(found.turns.tolist(), found.radius_m.round(4).tolist(), strict=True)) == {
        3: 0.2653,
        4: 0.1989,
        5: 0.1592,
    }
    assert not found.straight_m.any()
    assert oval_coils(5.0, 0.15, 0.16, 0.32).turns.tolist() == [5]
    assert not oval_coils(5.0, 0.15, 0.16, 0.31).turns.size


def test_bundles_of_equal_circles() -> None:
    """Packings of 1 to 7 equal circles in a circle: 1, 2, 2.154, 2.414, 2.701, 3, 3 (Graham 1968)."""
    known = [1.0, 2.0, 2.1547, 2.414, 2.701, 3.0, 3.0]
    np.testing.assert_allclose(bundle_diameter_m(1.0, np.arange(1, 8)), known, atol=6e-4)
    assert float(bundle_diameter_m(0.02, 5)) == pytest.approx(0.02 * known[4], rel=1e-3)
    more = bundle_diameter_m(1.0, np.arange(1, 60))
    assert (np.diff(more) >= 0).all()
    # 19 circles in a circle of 4.863 (known best packing): ours must not be smaller
    assert float(bundle_diameter_m(1.0, 19)) >= 4.863


def test_several_cables_share_turns_and_keep_their_rest() -> None:
    found = bundle_coil([3.2, 2.9, 3.0], 0.1, 0.2)
    assert found is not None
    assert 2 * math.pi * found.radius_m * found.turns + found.rest_m == pytest.approx([3.2, 2.9, 3.0])
    assert bundle_coil([0.2, 3.0], 0.1, 0.2) is None


@given(st.floats(0.01, 20.0), LEAST, st.floats(1.01, 1.4), st.sampled_from([0.0, 0.5]))
def test_cut_or_added_as_told_a_coil_fits(slack: float, least: float, wider: float, f: float) -> None:
    cut, add = missing_lengths_m(slack, least, least * wider, f)
    assert cut >= 0
    assert add >= 0
    if add:
        assert slack_loops(slack + add + 1e-6, least, least * wider, f).turns.size
        assert not slack_loops(slack + 0.5 * add, least, least * wider, f).turns.size
    if cut and math.isfinite(cut):
        assert slack_loops(slack - cut - 1e-6, least, least * wider, f).turns.size


def test_twist_and_what_to_do_about_it() -> None:
    assert float(twist_deg_per_m(4, 2.0)) == 720.0
    assert twist_deg_per_m(np.array([4, 5]), 2.0, Lay.OVER_UNDER).tolist() == [0.0, 180.0]
    assert float(twist_deg_per_m(5, 2.0, Lay.EIGHT)) == 0.0
    assert "figure of eight" in twist_advice(2)
    assert "360°" in twist_advice(1)
    assert twist_advice(0) == "no whole turn: no twist"


def test_ties_hold_the_sag_of_a_simple_span() -> None:
    """5 w l^4 / (384 EI): the deflection of a uniformly loaded simple span in any table of beams."""
    spacing = float(tie_spacing_m(1.2, 0.004, 3.0))
    sag = 5 * 1.2 * 9.80665 * spacing**4 / (384 * 3.0)
    assert sag == pytest.approx(0.004, rel=1e-12)
    assert ties_count(np.array([0.5, 3.0]), spacing).tolist() == [4, max(4, math.ceil(3.0 / spacing))]


@pytest.mark.parametrize(
    "call",
    [
        lambda: oval_coils(-1.0, 0.1, 0.2, 1.0), lambda: oval_coils(1.0, 0.3, 0.2, 1.0), lambda: spiral_coils(1.0, 0.1, 0.2, 0.0),
        lambda: bundle_diameter_m(0.1, 0), lambda: tie_spacing_m(0.0, 1.0, 1.0), lambda: ties_count(1.0, 0.0),
        lambda: twist_deg_per_m(1, 0.0), lambda: twist_advice(-1), lambda: bundle_coil([], 0.1, 0.2),
    ],
)  # fmt: skip
def test_what_can_not_be_is_refused(call: object) -> None:
    with pytest.raises(ValueError, match=r"."):
        call()  # type: ignore[operator]
