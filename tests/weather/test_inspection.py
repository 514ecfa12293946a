"""Inspection intervals: the declared rule, the shortest counts, arrays against scalars."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from upmast.source import Mark, Source
from upmast.weather import Hazard, inspection, inspection_rule, inspection_source, shortest_months


def test_the_rule_knows_every_hazard_and_says_it_is_practice() -> None:
    assert {str(hazard) for hazard in Hazard} <= set(inspection_rule())
    assert inspection_source().mark is Mark.PRACTICE


def test_the_shortest_counts_and_more_exposures_never_lengthen() -> None:
    rule = inspection_rule()
    for size in range(4):
        for some in combinations(rule, size):
            found = inspection(some)
            assert found.months == min([rule["none"], *(rule[name] for name in some)])
            assert all(rule[name] == found.months for name in found.because)
    assert inspection([]).because == ("none",)


def test_own_rule_needs_its_source() -> None:
    source = Source("owner's rule", mark=Mark.DECLARED)
    found = inspection(["sun"], {"none": 60.0, "sun": 48.0}, source)
    assert (found.months, found.because, found.source) == (48.0, ("sun",), source)
    with pytest.raises(ValueError, match="comes with its source"):
        inspection(["sun"], {"none": 60.0, "sun": 48.0})


def test_array_equals_scalar() -> None:
    exposed = np.array([[True, False], [False, True], [False, False]])
    many = shortest_months(exposed, [12.0, 24.0], 36.0)
    np.testing.assert_array_equal(many, [12.0, 24.0, 36.0])
    assert [float(shortest_months(row, [12.0, 24.0], 36.0)) for row in exposed] == many.tolist()


def test_nonsense_is_refused() -> None:
    source = Source("owner's rule", mark=Mark.DECLARED)
    for call in (
        lambda: inspection(["flood"]),
        lambda: inspection([], {"sun": 12.0}, source),
        lambda: inspection([], {"none": float("nan")}, source),
        lambda: shortest_months([True], [0.0], 36.0),
        lambda: shortest_months([True, False], [12.0], 36.0),
        lambda: shortest_months([True], [12.0], float("inf")),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
