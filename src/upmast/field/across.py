"""
Everything that several files of one site say together, in one go: lengths, evidence twice, exchanged paths, changes over time,
and the mean of a short and an open end.

    told = across(proof, judged_sweeps, judged_readings)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from upmast.field.changes import changes
from upmast.field.lengths import lengths
from upmast.field.short_open import short_open
from upmast.field.swaps import swaps
from upmast.field.told import Swept, Told, sorted_told
from upmast.field.twins import twins
from upmast.proof.prove import Proof

__all__ = ["Told", "across"]


def across(
    proof: Proof,
    sweeps: Sequence[Swept],
    readings: Sequence[Any] = (),
    *,
    said: Mapping[str, tuple[str, float]] | None = None,
    doubted: Sequence[Swept] = (),
) -> tuple[Told, ...]:
    """
    What the files of one site say together, the gravest first.

    Parameters
    ----------
    sweeps : `Judged` sweeps, or anything with test_id, path_id, test, sweep and design.
    readings : of `reading_judge`: anything with test_id and readings.
    doubted : sweeps held to the test of their name, though their content fits another: compared, but no history of that test.
    said : ISO day and temperature [°C] by file, where a person knows better than the file.

    Returns
    -------
    Told, each with a remedy. A path whose lengths contradict the design is not told twice where an exchange explains it.
    """
    every = [*sweeps, *doubted]
    exchanged = swaps(proof, every)
    explained = {test for one in exchanged if one.level == "warn" for test in one.tests}
    own = [one for one in lengths(proof, every, readings) if not (set(one.tests) & explained)]
    return sorted_told([*exchanged, *own, *twins(every), *changes(sweeps, said), *short_open(proof, sweeps)])
