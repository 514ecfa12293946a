"""Workings: a formula step evaluates from what it stores."""

from __future__ import annotations

import pytest

from upmast.formula import symbols
from upmast.source import Origin, Source
from upmast.working import FormulaStep, Quantity

SOURCE = Source("Ohm's law")
CURRENT, R = symbols("I R")


def quantity(symbol: str, value: float, unit: str) -> Quantity:
    return Quantity(symbol, value, unit, symbol, Origin.EXPECTED, SOURCE)


def test_the_tree_gives_the_result_that_is_shown() -> None:
    inputs = (quantity("I", 20.0, "A"), quantity("R", 0.1, "Ω"))
    assert FormulaStep(quantity("V", 2.0, "V"), CURRENT * R, inputs).evaluate() == 2.0
    assert FormulaStep(quantity("V", 2.0, "V"), CURRENT * R, inputs).holds()
    assert not FormulaStep(quantity("V", 2.0001, "V"), CURRENT * R, inputs).holds()
    assert FormulaStep(quantity("V", 2.0001, "V"), CURRENT * R, inputs).holds(1e-3)


def test_an_input_that_is_not_stored_is_an_error() -> None:
    with pytest.raises(KeyError, match="R"):
        FormulaStep(quantity("V", 2.0, "V"), CURRENT * R, (quantity("I", 20.0, "A"),)).evaluate()
