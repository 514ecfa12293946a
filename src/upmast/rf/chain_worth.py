"""What the length of one jumper in a chain of several joints buys, with the certificate that no other length buys more."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from upmast.rf.certify import GAP_DB, Certificate, Joints, certified_length, worst_squared
from upmast.rf.gain import BETTER_DB, WORTH_DB, Worth
from upmast.rf.reflection import add_worst, return_loss_db

__all__ = ["ChainWorth", "worth_of_chain"]

SAMPLES = 201
COARSE_RAD = 0.4


class ChainWorth(NamedTuple):
    """What the best length buys, and the proof."""

    worth: Worth
    certificate: Certificate


def worth_of_chain(
    joints: Joints,
    least_m: float,
    most_m: float,
    end_gamma: float,
    loss_db: float,
    worth_db: float = WORTH_DB,
    better_db: float = BETTER_DB,
    gap_db: float = GAP_DB,
) -> ChainWorth:
    """
    What the best length of one jumper buys where more than two joints count: against joints that all add.

    Parameters
    ----------
    joints: with sizes as seen from the radio port. least_m, most_m [m]: of the jumper. end_gamma [1]: of what lies behind the joints.
    loss_db [dB]: one way up to there. worth_db [dB]: least gain at the radio port that is called worth a cut. better_db [dB]: of
    joints put beside it. gap_db [dB]: asked of the certificate.

    Returns
    -------
    `ChainWorth`. The gain is what the certificate guarantees, the median is over the range. First order in the joints.

    Source: `upmast.rf.certify`; at the radio port `upmast.rf.reflection.add_worst`.

    >>> three = Joints([0.0, 0.1, 0.1], [0.0, 0.0, 1.0], [0.03] * 3, [0.0] * 3, [880e6], [915e6], 0.85, 0.002, 0.002)
    >>> found = worth_of_chain(three, 0.3, 2.0, 0.2, 0.3)
    >>> found.certificate.closed, found.worth.gain_db > 3
    (True, True)
    """
    found = certified_length(joints, least_m, most_m, gap_db)
    total = float(joints.gamma.sum(axis=0).max())
    lengths = np.linspace(least_m, most_m, SAMPLES)
    seen = np.array([float(worst_squared(joints, [length], COARSE_RAD)[1][0]) for length in lengths])
    levels = return_loss_db(np.sqrt(np.minimum(seen, total**2)))
    worst = min(found.worst_gamma, total)
    best = float(return_loss_db(worst))
    back = end_gamma * 10 ** (-loss_db / 10)

    def at_port(size: float) -> float:
        return float(return_loss_db(add_worst(min(size, 1.0), back)))

    before = at_port(total)
    after = at_port(worst)
    better = at_port(total * 10 ** (-better_db / 20))
    gain = max(20 * float(np.log10(total / worst)), 0.0) if worst > 0 else float("inf")
    made = Worth(
        found.length_m, gain, found.governing, best - float(levels.min()), best - float(np.median(levels)), best - float(levels[0]),
        after - before, before, after, better - before, better_db, worth_db,
    )  # fmt: skip
    if gain <= 0.005:  # no length gains: the shortest is as good
        made = replace(made, length_m=least_m)
    return ChainWorth(made, found)
