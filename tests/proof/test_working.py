"""The working of every finding and figure: each formula gives the number that is shown, and the last one is the finding's own."""

from __future__ import annotations

import math
from collections.abc import Iterator
from types import ModuleType

import pytest

from upmast.finding import Figure, Finding
from upmast.proof.prove import ROOMS, Proof, prove
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, SolvedStep, Step

KINDS = ["radio-low-2t2r", "radio-mid-4t4r", "radio-small-2t2r", "radio-n78-panel"]
# ampacities are rounded to a millionth of an ampere, so that equal circuits show equal limits
TOLERANCE = 1e-7


@pytest.fixture(scope="module")
def proofs(lines: ModuleType, demo: Proof) -> dict[str, Proof]:
    out = {"demo": demo}
    for form in ("lc-pair", "mpo24", "bussed-mpo12", "separate"):
        site = lines.some_site(KINDS, (1, 2))
        site = site.model_copy(update={"policy": site.policy.model_copy(update={"must_survive": ("pair-open",)})})
        out[form] = prove(site, lines.some_line(site, form))
    return out


def workings(proof: Proof) -> Iterator[tuple[Finding | Figure, tuple[Step, ...]]]:
    for found in (*proof.findings, *proof.figures):
        yield found, proof.working(found)


def formulas(steps: tuple[Step, ...]) -> Iterator[FormulaStep]:
    for step in steps:
        if isinstance(step, FormulaStep):
            yield step
        elif isinstance(step, SolvedStep):
            yield from step.checks


def quantities(steps: tuple[Step, ...]) -> Iterator[Quantity]:
    for step in steps:
        if isinstance(step, FormulaStep):
            yield from (step.result, *step.inputs)
        elif isinstance(step, LookupStep):
            yield step.result
        elif isinstance(step, SolvedStep):
            yield from step.results
            for check in step.checks:
                yield from (check.result, *check.inputs)


def results(step: Step) -> list[float]:
    """What a step gives."""
    if isinstance(step, SolvedStep):
        return [q.value for q in step.results]
    return [step.result.value] if isinstance(step, FormulaStep | LookupStep) else []


def own_values(found: Finding | Figure) -> list[float]:
    """Value and limit, as far as it has them."""
    limit = found.limit.value if isinstance(found, Finding) and found.limit is not None else None
    return [v for v in (found.value, limit) if v is not None]


def same(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=TOLERANCE, abs_tol=1e-9)


FORMS = ["demo", "lc-pair", "mpo24", "bussed-mpo12", "separate"]


@pytest.mark.parametrize("name", FORMS)
def test_every_formula_gives_the_number_that_is_shown(proofs: dict[str, Proof], name: str) -> None:
    count = 0
    for found, steps in workings(proofs[name]):
        for formula in formulas(steps):
            count += 1
            assert formula.holds(TOLERANCE), (
                found.key,
                formula.result.symbol,
                formula.evaluate(),
                formula.result.value,
            )
            assert set(formula.expression.names()) <= {q.symbol for q in formula.inputs}, found.key
    assert count > 100


@pytest.mark.parametrize("name", FORMS)
def test_every_finding_and_figure_has_a_working(proofs: dict[str, Proof], name: str) -> None:
    for found, steps in workings(proofs[name]):
        assert steps, found.key


@pytest.mark.parametrize("name", FORMS)
def test_the_last_number_is_the_finding_s_own(proofs: dict[str, Proof], name: str) -> None:
    """A working that ends in a number ends in the value or the limit; one that only counts or chooses says so in words."""
    for found, steps in workings(proofs[name]):
        numbers = [step for step in steps if not isinstance(step, ChoiceStep)]
        if numbers:
            last, own = results(numbers[-1]), own_values(found)
            assert any(same(a, b) for a in last for b in own), (found.key, last, own)
        else:
            assert all(isinstance(s, ChoiceStep) and s.chosen and s.rule for s in steps), found.key


@pytest.mark.parametrize("name", FORMS)
def test_the_value_is_reached_wherever_something_is_computed(proofs: dict[str, Proof], name: str) -> None:
    """Not only the limit: a working with a formula or a solution shows the value itself."""
    for found, steps in workings(proofs[name]):
        made = [v for s in steps if isinstance(s, FormulaStep | SolvedStep) for v in results(s)]
        if made and found.value is not None and found.code != "power.breaker-protects-pair":
            assert any(same(v, found.value) for v in made), (found.key, found.value, made[-5:])


def test_every_number_says_what_it_is_and_where_it_is_from(demo: Proof) -> None:
    for found, steps in workings(demo):
        for q in quantities(steps):
            assert q.meaning, (found.key, q.symbol)
            assert str(q.origin), (found.key, q.symbol)
            assert len(str(q.source)) > 2, (found.key, q.symbol)
            assert math.isfinite(q.value), (found.key, q.symbol)


def test_solved_steps_carry_their_certificate(demo: Proof) -> None:
    solved = [s for _, steps in workings(demo) for s in steps if isinstance(s, SolvedStep)]
    assert len(solved) > 20
    for step in solved:
        assert step.method
        assert step.residual
        assert step.certificate
        assert step.results


def test_formulas_print_in_all_three_ways(demo: Proof) -> None:
    for found, steps in workings(demo):
        for formula in formulas(steps):
            e = formula.expression
            assert e.text(), found.key
            assert e.typst(), found.key
            assert e.mathml().count("<mrow>") == e.mathml().count("</mrow>"), found.key


def test_workings_of_a_reused_room_are_the_same(demo: Proof) -> None:
    again = prove(demo.site, demo.line, demo)
    assert again.reused == ROOMS
    for found in (*demo.findings[::17], *demo.figures[::11]):
        a, b = again.working(found), demo.working(found)
        assert [results(s) for s in a] == [results(s) for s in b]
        assert [f.expression.text() for f in formulas(a)] == [f.expression.text() for f in formulas(b)]
