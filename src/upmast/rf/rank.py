"""Which joint to open first, and how sure that is: groups of a fit in order, with the margin by which the first beats the second."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from upmast.rf.fit import Fit, JointGroup
from upmast.rf.reflection import add_worst, gamma_from_return_loss


class Ranked(NamedTuple):
    """
    One group in the order.

    excess_db: by how much its return loss is below what it may be at least, positive is worse; against nothing given, below 0 dB.
    allowed_db: that least; low_db, high_db: 95 % interval of the excess.
    """

    group: JointGroup
    allowed_db: float
    excess_db: float
    low_db: float
    high_db: float


class Ranking(NamedTuple):
    """
    Groups, the one to open first at the head, and those of which nothing can be said.

    margin_db: by how much the first beats the second; NaN with one group alone. sure: the margin is wider than both intervals allow.
    left_out: groups in one cell with the end.
    """

    order: tuple[Ranked, ...]
    margin_db: float
    sure: bool
    left_out: tuple[JointGroup, ...]


def open_first(fit: Fit, joint_return_loss_db: Sequence[float] | None = None) -> Ranking:
    """
    Order in which to open joints: by how much each is worse than it may be, or by its size where no specification is given.

    Margin `m = e_1 - e_2`; sure where `m > sqrt(d_1^2 + d_2^2)`, d the half intervals that face each other. Of a group the limit is
    the sum of its joints' limits in phase.

    Parameters
    ----------
    fit: judged, see `Fit.why_not`.
    joint_return_loss_db [dB]: least return loss of each joint at the middle of the sweep, in the order of `LumpedLine.joint_at`.

    Returns
    -------
    Ranking. It names places to look at, it does not pass or fail a joint.

    Raises
    ------
    ValueError
        For a fit that is not judged, or a limit too few or too many.

    Source: own rule; the two doubts are independent to first order.
    """
    if not fit.judged:
        raise ValueError("this fit is not judged: " + "; ".join(fit.why_not))
    count = sum(len(g.joints) for g in fit.groups)
    if joint_return_loss_db is not None and len(joint_return_loss_db) != count:
        raise ValueError(f"one limit a joint: {count} joints, {len(joint_return_loss_db)} limits")
    ranked = []
    for group in fit.groups:
        if group.with_end:
            continue
        allowed = 0.0
        if joint_return_loss_db is not None:
            total = 0.0
            for k in group.joints:
                total = float(add_worst(total, gamma_from_return_loss(joint_return_loss_db[k])))
            allowed = float(-20.0 * np.log10(total))
        ranked.append(
            Ranked(
                group,
                allowed,
                allowed - group.return_loss_db,
                allowed - group.greatest_db,
                allowed - group.least_db,
            )
        )
    ranked.sort(key=lambda r: -r.excess_db)
    left_out = tuple(g for g in fit.groups if g.with_end)
    if len(ranked) < 2:
        return Ranking(tuple(ranked), float("nan"), bool(ranked), left_out)
    first, second = ranked[0], ranked[1]
    margin = first.excess_db - second.excess_db
    doubt = float(np.hypot(first.excess_db - first.low_db, second.high_db - second.excess_db))
    return Ranking(tuple(ranked), margin, bool(margin > doubt), left_out)
