"""
What a length buys, told honestly: at the jumper, against lengths that one might have had anyway, and at the radio port.

The gain at the jumper is that of its own two joints. At the radio port the antenna reflects too, with a phase that nobody knows, and
thins it out; better joints may bring more than any length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.length import Bands, best_length, distance_turns
from upmast.rf.reflection import add_worst, gamma_from_return_loss, return_loss_db, two_joint_gamma

__all__ = ["WORTH_DB", "Worth", "diluted_gain_db", "pair_gamma", "verdict_words", "worth_of_length"]

Array = NDArray[np.float64]
WORTH_DB = 1.0  # least gain at the radio port, in every band, that is worth a cut: own default, an input
BETTER_DB = 4.0  # joints that much better are put beside the length
GRID = 4001


@dataclass(frozen=True, slots=True)
class Worth:
    """
    What the best length of a range buys.

    gain_db: of the jumper's two joints against adding up, in the worst band. over_worst_db, over_median_db, over_shortest_db: return
    loss of the pair against the worst, the median and the shortest length of the range. system_db: at the radio port, with the
    antenna at its limit, against phases that add. joints_db: what joints better by `better_db` bring there instead.
    """

    length_m: float
    gain_db: float
    governing: int
    over_worst_db: float
    over_median_db: float
    over_shortest_db: float
    system_db: float
    before_db: float
    after_db: float
    joints_db: float
    better_db: float
    worth_db: float

    @property
    def worth_cutting(self) -> bool:
        return self.system_db >= self.worth_db


def pair_gamma(
    gamma_near: ArrayLike, gamma_far: ArrayLike, line_loss_db: ArrayLike, distance_turns: ArrayLike
) -> Array:
    """
    Worst |G| of a jumper's two joints at a distance from where they add: all echoes in, the far one seen through the line twice.

    Parameters
    ----------
    gamma_near, gamma_far [1]: of the joints. line_loss_db [dB]: one way. distance_turns [1]: 0 adds, 1/2 opposes. Broadcast.

    Returns
    -------
    |G|. Source: Pozar, Microwave Engineering (signal flow of two discontinuities).

    >>> pair_gamma(0.0316, 0.0316, 0.0, [0.0, 0.5]).round(4)
    array([0.0631, 0.    ])
    """
    loss = np.asarray(line_loss_db, float)
    if np.any(~(loss >= 0)):
        raise ValueError("line_loss_db may not be negative")
    behind = np.asarray(gamma_far, float) * 10 ** (-loss / 10)
    return two_joint_gamma(gamma_near, behind, 2 * np.pi * np.asarray(distance_turns, float))


def diluted_gain_db(
    gamma_joint: ArrayLike, gamma_end: ArrayLike, gain_db: ArrayLike, line_loss_db: ArrayLike = 0.0
) -> Array:
    """
    Gain of return loss at the radio port when a jumper's own two joints gain so much, the far end at its limit and of any phase.

    Parameters
    ----------
    gamma_joint [1]: of each of two equal joints. gamma_end [1]: of the antenna. gain_db [dB]: of the pair; infinite for a null.
    line_loss_db [dB]: one way. Broadcast.

    Returns
    -------
    Gain [dB]. Source: own derivation from the exact worst case, see `upmast.rf.reflection.add_worst`.

    >>> diluted_gain_db(10**-1.5, 0.2, [2.0, 3.0, 6.0, np.inf]).round(2)
    array([0.42, 0.6 , 1.05, 2.28])
    """
    r, end, gain = (np.asarray(x, float) for x in (gamma_joint, gamma_end, gain_db))
    if np.any(~(gain >= 0)):
        raise ValueError("gain_db may not be negative")
    loss = np.asarray(line_loss_db, float)
    pair = add_worst(r, r * 10 ** (-loss / 10))
    back = end * 10 ** (-loss / 10)
    before = add_worst(pair, back)
    after = add_worst(pair * 10 ** (-gain / 20), back)
    return np.asarray(return_loss_db(after) - return_loss_db(before))


def worth_of_length(
    bands: Bands,
    least_m: float,
    most_m: float,
    joint_return_loss_db: float,
    end_return_loss_db: float,
    loss_db_per_m: float = 0.0,
    worth_db: float = WORTH_DB,
    better_db: float = BETTER_DB,
) -> Worth:
    """
    What the best length of a range buys for two like joints, in the worst of the bands.

    Parameters
    ----------
    bands: with tolerances. least_m, most_m [m]: from the shortest that can be routed. joint_return_loss_db [dB]: of each joint.
    end_return_loss_db [dB]: of the antenna port. loss_db_per_m [dB/m]: of the cable, in the band with the least.
    worth_db [dB]: least gain at the radio port that is called worth a cut. better_db [dB]: of joints put beside it.

    Returns
    -------
    `Worth`. The median is over the range, a length as likely as any other.

    Source: `upmast.rf.length` and `upmast.rf.reflection`.

    >>> found = worth_of_length(Bands([925e6], [960e6], 0.82, 0.004, 0.004), 0.4, 2.0, 30.0, 13.98)
    >>> round(found.gain_db, 2), round(found.system_db, 2), round(found.joints_db, 2), found.worth_cutting
    (9.43, 1.43, 0.76, True)
    """
    r = float(gamma_from_return_loss(joint_return_loss_db))
    end = float(gamma_from_return_loss(end_return_loss_db))
    chosen = best_length(bands, least_m, most_m)

    def pair_at(length: ArrayLike) -> Array:
        """Worst pair over the bands at each length."""
        at = np.asarray(length, float)
        d = distance_turns(bands, at).min(axis=-1)
        return pair_gamma(r, r, loss_db_per_m * at, d)

    grid = np.linspace(least_m, most_m, GRID)
    seen = return_loss_db(pair_at(grid))
    best = float(return_loss_db(pair_at(chosen.length_m)))
    loss = loss_db_per_m * chosen.length_m
    back = end * 10 ** (-loss / 10)
    before = float(return_loss_db(add_worst(add_worst(r, r * 10 ** (-loss / 10)), back)))
    after = float(return_loss_db(add_worst(pair_at(chosen.length_m), back)))
    finer = float(gamma_from_return_loss(joint_return_loss_db + better_db))
    joints = float(return_loss_db(add_worst(add_worst(finer, finer * 10 ** (-loss / 10)), back)))
    return Worth(
        chosen.length_m, float(chosen.gain_db.min()), chosen.band, best - float(seen.min()), best - float(np.median(seen)),
        best - float(seen[0]), after - before, before, after, joints - before, better_db, worth_db,
    )  # fmt: skip


def verdict_words(worth: Worth, kind_known: bool = True) -> str:
    """
    One sentence for a buyer.

    Parameters
    ----------
    kind_known: whether both joints are known to be of a like kind; where one is not, no length gains anything for sure.

    >>> found = worth_of_length(Bands([1710e6, 1805e6], [1785e6, 1880e6], 0.82, 0.004, 0.004), 2.0, 6.0, 30.0, 13.98)
    >>> verdict_words(found)
    'no useful gain: choose the length by routing; no length from the shortest way on gains anything in every band'
    """
    if worth.gain_db <= 0.005:
        return "no useful gain: choose the length by routing; no length from the shortest way on gains anything in every band"
    told = (
        f"{worth.length_m:.3f} m gains {worth.gain_db:.1f} dB at the jumper and {worth.system_db:.1f} dB at the radio port "
        f"({worth.before_db:.1f} to {worth.after_db:.1f} dB); joints better by {worth.better_db:g} dB would bring {worth.joints_db:.1f} dB"
    )
    if not kind_known:
        return f"no sure gain: choose the length by routing; at best, if both joints are alike, {told}"
    if worth.worth_cutting:
        return f"worth cutting: {told}"
    return f"no useful gain: choose the length by routing; {told}"
