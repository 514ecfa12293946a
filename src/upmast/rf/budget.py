"""What a line takes from the transmitter: loss split into its parts, power at the antenna, and what it costs in watts."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.reflection import mismatch_loss_db, mismatch_uncertainty_db

__all__ = ["Drawn", "LossParts", "eirp_dbm", "loss_parts", "lost_power", "power_dbm", "power_w", "transfer_spread_db"]

Array = NDArray[np.float64]


class LossParts(NamedTuple):
    """Insertion loss in dB: matched cables, joints (resistive and what they reflect), inline parts, and their sum."""

    cables_db: Array
    joints_db: Array
    inline_db: Array
    total_db: Array


class Drawn(NamedTuple):
    """Power that a line turns into heat, and what the plant gives more for it, in W."""

    lost_w: Array
    drawn_w: Array


def power_w(power_dbm: ArrayLike) -> Array:
    """
    Watts of a power in dBm: `10^((P - 30) / 10)`.

    >>> power_w([30.0, 46.0206]).round(3)
    array([ 1., 40.])
    """
    return np.asarray(10 ** ((np.asarray(power_dbm, float) - 30) / 10))


def power_dbm(power_w: ArrayLike) -> Array:
    """
    dBm of a power in watts, minus infinity for none.

    >>> power_dbm([1.0, 40.0]).round(4)
    array([30.    , 46.0206])
    """
    p = np.asarray(power_w, float)
    if np.any(~(p >= 0)):
        raise ValueError("power_w may not be negative")
    with np.errstate(divide="ignore"):
        return np.asarray(10 * np.log10(p) + 30)


def loss_parts(
    cables_db: ArrayLike, joint_gamma: ArrayLike, joint_loss_db: ArrayLike = 0.0, inline_db: ArrayLike = 0.0
) -> LossParts:
    """
    Highest insertion loss of a line in parts: cables, each joint's own and reflected loss, inline parts.

    Each joint reflects `-10 log10(1 - r^2)` of what passes; echoes between joints are in `transfer_spread_db`, not here.

    Parameters
    ----------
    cables_db [dB]: (..., n) one way, of each cable. joint_gamma [1], joint_loss_db [dB]: (..., j). inline_db [dB]: (..., k) or 0.

    Returns
    -------
    `LossParts`, the last axis summed. Source: definition of mismatch loss.

    >>> [float(x.round(4)) for x in loss_parts([0.5, 0.3], [0.1, 0.1], [0.02, 0.02], [0.4])]
    [0.8, 0.1273, 0.4, 1.3273]
    """
    cables, joints = np.atleast_1d(np.asarray(cables_db, float)), np.atleast_1d(np.asarray(joint_loss_db, float))
    inline = np.atleast_1d(np.asarray(inline_db, float))
    if any(np.any(~(x >= 0)) for x in (cables, joints, inline)):
        raise ValueError("losses may not be negative")
    reflected = np.atleast_1d(mismatch_loss_db(joint_gamma))
    one, two, three = cables.sum(-1), (reflected + joints).sum(-1), inline.sum(-1)
    return LossParts(np.asarray(one), np.asarray(two), np.asarray(three), np.asarray(one + two + three))


def transfer_spread_db(gamma_source: ArrayLike, gamma_load: ArrayLike, loss_db: ArrayLike) -> tuple[Array, Array]:
    """
    How far the transfer may lie above and below by the echo between both ends, whose phase is not known: `20 log10(1 +- |Gs||Gl|)`.

    Parameters
    ----------
    gamma_source, gamma_load [1]: of radio and antenna. loss_db [dB]: one way between them. Broadcast.

    Returns
    -------
    (more, less) in dB. Source: Pozar, Microwave Engineering, chapter 4.

    >>> [float(x.round(3)) for x in transfer_spread_db(0.2, 0.2, 0.5)]
    [0.304, -0.315]
    """
    loss = np.asarray(loss_db, float)
    if np.any(~(loss >= 0)):
        raise ValueError("loss_db may not be negative")
    return mismatch_uncertainty_db(gamma_source, np.asarray(gamma_load, float) * 10 ** (-loss / 10))


def eirp_dbm(power_dbm: ArrayLike, loss_db: ArrayLike, gain_dbi: ArrayLike) -> Array:
    """
    Equivalent isotropically radiated power: `P - A + G`. Any shapes that broadcast.

    Source: Recommendation ITU-R V.573, definition.

    >>> float(eirp_dbm(46.0, 1.2, 17.5))
    62.3
    """
    loss = np.asarray(loss_db, float)
    if np.any(~(loss >= 0)):
        raise ValueError("loss_db may not be negative")
    return np.asarray(np.asarray(power_dbm, float) - loss + np.asarray(gain_dbi, float))


def lost_power(sent_w: ArrayLike, loss_db: ArrayLike, efficiency: ArrayLike, line_efficiency: ArrayLike = 1.0) -> Drawn:
    """
    Power that a line turns into heat, and what the plant must give for it: `P (1 - 10^(-A / 10))`, over both efficiencies.

    Parameters
    ----------
    sent_w [W]: average at the radio port. loss_db [dB]: of the line. efficiency [1]: RF out over DC in of the transmitter.
    line_efficiency [1]: of the DC line that feeds it. Broadcast.

    Returns
    -------
    `Drawn`. Source: definition.

    >>> [float(x.round(2)) for x in lost_power(40.0, 1.0, 0.35, 0.95)]
    [8.23, 24.74]
    """
    sent, loss, eta, line = (np.asarray(x, float) for x in (sent_w, loss_db, efficiency, line_efficiency))
    if np.any(~(sent >= 0)) or np.any(~(loss >= 0)):
        raise ValueError("power and loss may not be negative")
    if np.any(~((eta > 0) & (eta <= 1))) or np.any(~((line > 0) & (line <= 1))):
        raise ValueError("efficiencies lie above 0, at most 1")
    lost = sent * (1 - 10 ** (-loss / 10))
    return Drawn(np.asarray(lost), np.asarray(lost / (eta * line)))
