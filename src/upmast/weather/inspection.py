"""How often a leg or a joint is looked at: the shortest interval of all that it is exposed to."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Source
from upmast.table import read

__all__ = ["Inspection", "inspection", "inspection_rule", "inspection_source", "shortest_months"]

Array = NDArray[np.float64]
_ALWAYS = "none"


@dataclass(frozen=True, slots=True)
class Inspection:
    """Interval [months], the exposures that ask for it, and the source of the rule."""

    months: float
    because: tuple[str, ...]
    source: Source


def inspection_rule() -> dict[str, float]:
    """Interval [months] by exposure; 'none' holds for all."""
    return {row["exposure"]: float(row["months"]) for row in read("upmast.weather", "inspection").rows}


def inspection_source() -> Source:
    """Where the rule comes from: common practice, no source."""
    return read("upmast.weather", "inspection").source


def shortest_months(exposed: ArrayLike, months: ArrayLike, always_months: ArrayLike) -> Array:
    """
    Shortest interval among the exposures that hold: `min(always, months where exposed)`.

    Parameters
    ----------
    exposed: true where the exposure holds, shape (..., k). months [months]: of each exposure, shape (k,).
    always_months [months]: where there is none, shape (...).

    Returns
    -------
    Interval [months], shape (...). Source: own definition.

    >>> shortest_months([[True, False], [False, False]], [12.0, 6.0], 36.0)
    array([12., 36.])
    """
    holds, each, always = np.asarray(exposed, bool), np.asarray(months, float), np.asarray(always_months, float)
    if not np.all((each > 0) & (each < np.inf)) or not np.all((always > 0) & (always < np.inf)):
        raise ValueError("intervals must be positive")
    if holds.ndim == 0 or each.shape != holds.shape[-1:]:
        raise ValueError("each exposure needs one interval")
    return np.asarray(np.minimum(np.where(holds, each, np.inf).min(axis=-1, initial=np.inf), always))


def inspection(
    exposures: Collection[str], rule: Mapping[str, float] | None = None, source: Source | None = None
) -> Inspection:
    """
    Interval between two inspections from what a leg or a joint is exposed to.

    Parameters
    ----------
    exposures: names of the rule, such as 'sun' and 'salt'; empty for none.
    rule [months]: the owner's own by exposure, with 'none' for all; by default `inspection_rule`, common practice.
    source: of the owner's rule, must come with it.

    Returns
    -------
    `Inspection`.

    >>> found = inspection(["sun", "salt", "vibration"])
    >>> found.months, found.because, str(found.source.mark)
    (12.0, ('vibration', 'salt'), 'practice')
    """
    if (rule is None) != (source is None):
        raise ValueError("a rule of your own comes with its source")
    table = dict(inspection_rule() if rule is None else rule)
    if _ALWAYS not in table:
        raise ValueError(f"the rule needs an interval for {_ALWAYS!r}, which holds for all")
    unknown = [name for name in exposures if name not in table]
    if unknown:
        raise ValueError(f"exposure {unknown[0]!r} is not in the rule; there are {', '.join(table)}")
    names = [name for name in table if name in exposures or name == _ALWAYS]
    months = float(shortest_months(np.ones(len(names), bool), [table[name] for name in names], table[_ALWAYS]))
    because = tuple(name for name in names if table[name] == months)
    return Inspection(months, because, inspection_source() if source is None else source)
