"""
Which values of a site a person gave, and which are our defaults.

A working names the field of the site that an input came from. Where the site's file does not give that field, the input is a
default of ours, and a reader has to see that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from pydantic import BaseModel

from upmast.site.site import Site
from upmast.source import Mark, Origin, Source
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, SolvedStep, Step


def given(site: Site, path: str) -> bool | None:
    """True if the site gives the field at a dotted path such as climate.hot_c; None if there is no such field."""
    here: object = site
    for name in path.split("."):
        if not isinstance(here, BaseModel) or name not in type(here).model_fields:
            return None
        if name not in here.model_fields_set:
            return False
        here = getattr(here, name)
    return True


def told(site: Site, steps: Iterable[Step]) -> tuple[Step, ...]:
    """The steps, with every input that the site does not give called a default and sourced as one."""
    return tuple(_step(site, step) for step in steps)


def _step(site: Site, step: Step) -> Step:
    if isinstance(step, FormulaStep):
        return _formula(site, step)
    if isinstance(step, LookupStep):
        return replace(step, result=_quantity(site, step.result))
    if isinstance(step, SolvedStep):
        return replace(
            step,
            results=tuple(_quantity(site, q) for q in step.results),
            checks=tuple(_formula(site, check) for check in step.checks),
        )
    assert isinstance(step, ChoiceStep)
    return step


def _formula(site: Site, step: FormulaStep) -> FormulaStep:
    return replace(step, result=_quantity(site, step.result), inputs=tuple(_quantity(site, q) for q in step.inputs))


def _quantity(site: Site, q: Quantity) -> Quantity:
    if (
        q.origin is not Origin.DECLARED
        or q.source.document != f"site {site.id}"
        or given(site, q.source.clause) is not False
    ):
        return q
    source = Source(f"ours, as {q.source.document} gives no {q.source.clause}", mark=Mark.PRACTICE)
    return replace(q, origin=Origin.DEFAULT, source=source)
