"""
The working behind a number: steps that a reader can follow and a test can evaluate.

A step is a formula with its values, a look-up in a table, something solved with its certificate, or a choice. Whoever shows
a working renders the steps; nothing here prints.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from upmast.formula import Expr
from upmast.source import Origin, Source


@dataclass(frozen=True, slots=True)
class Quantity:
    """A symbol with its value here: unit, meaning in words, origin and source."""

    symbol: str
    value: float
    unit: str
    meaning: str
    origin: Origin
    source: Source


@dataclass(frozen=True, slots=True)
class FormulaStep:
    """result = expression(inputs)."""

    result: Quantity
    expression: Expr
    inputs: tuple[Quantity, ...]

    def evaluate(self) -> float:
        """The tree evaluated from the stored inputs. Raises KeyError if an input of the formula is not stored."""
        return self.expression.value({q.symbol: q.value for q in self.inputs})

    def holds(self, tolerance: float = 1e-9) -> bool:
        """True if the tree gives the result that is shown."""
        return math.isclose(self.evaluate(), self.result.value, rel_tol=tolerance, abs_tol=tolerance)


@dataclass(frozen=True, slots=True)
class LookupStep:
    """result = table[key]."""

    result: Quantity
    table: str
    key: str


@dataclass(frozen=True, slots=True)
class SolvedStep:
    """
    A value found by solving equations together: the equations in words, how good the solution is, and the checks on it.

    Each check is a formula of the solved values that must come out as its result, so a reader can verify the solution
    without repeating the search for it.
    """

    results: tuple[Quantity, ...]
    method: str
    residual: str
    certificate: str
    checks: tuple[FormulaStep, ...] = ()


@dataclass(frozen=True, slots=True)
class ChoiceStep:
    """One of several was taken, and why."""

    chosen: str
    rule: str
    among: tuple[str, ...] = ()


Step = FormulaStep | LookupStep | SolvedStep | ChoiceStep
