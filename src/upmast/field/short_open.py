"""
A path swept with a short and again with an open end: the mean of both losses, in which joints and the test port largely cancel.

It is told beside the verdict of the short, which decides. Equation: `a = (mean RL_short + mean RL_open) / 4`, means in dB over whole
ripples: what a joint adds to one it takes from the other, since both ends reflect everything with opposite sign.
"""

from __future__ import annotations

from collections.abc import Sequence

from upmast.field.judge import short_part
from upmast.field.setup import termination
from upmast.field.told import Swept, Told
from upmast.number import number
from upmast.proof.expect import short_limit
from upmast.proof.prove import Proof
from upmast.rf.sweep import short_reading

__all__ = ["pairs_of_ends", "short_open"]

KIND = "loss"


def pairs_of_ends(sweeps: Sequence[Swept]) -> tuple[tuple[Swept, Swept], ...]:
    """The last sweep with a short and the last with an open end of each test of cable loss that has both."""
    ends: dict[str, dict[str, Swept]] = {}
    for one in sweeps:
        if one.test != "short" or one.sweep.magnitude_only or one.sweep.points < 2:
            continue
        kind = termination(one.sweep, one.design).kind
        if kind in ("short", "open"):
            ends.setdefault(one.test_id, {})[kind] = one
    return tuple((found["short"], found["open"]) for found in ends.values() if len(found) == 2)


def short_open(proof: Proof, sweeps: Sequence[Swept]) -> tuple[Told, ...]:
    """What each pair says together; the limit stands beside it, and the mean decides nothing by itself."""
    out = []
    for short, opened in pairs_of_ends(sweeps):
        design = short.design
        losses = []
        for one in (short, opened):
            part = short_part(one.sweep, design)
            read = short_reading(one.sweep.frequency_hz[part], one.sweep.bounded_db[part], design.delay_s)
            losses.append(read.loss_db)
        limit = short_limit(proof, design)
        words = (
            f"{short.test_id}: {number(sum(losses) / 2, 'dB')} as the mean of short ({number(losses[0], 'dB')}) and open end "
            f"({number(losses[1], 'dB')}), in which joints and test port largely cancel; limit {limit.sense} {number(limit.value, 'dB')}"
        )
        out.append(
            Told(
                KIND, "note", words, "the sweep with the short decides; where it lies too near its limit, agree whether the mean holds",
                (short.test_id,), (short.sweep.file, opened.sweep.file),
            )
        )  # fmt: skip
    return tuple(out)
