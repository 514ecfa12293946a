"""
What the length of a jumper does to intermodulation made at both its ends, at best.

At best, in every name here: the phase with which a contact makes its product is not known, and neither is it the same at two contacts.
Where that phase may be anything, no length gains anything: 0 dB. The numbers below hold for two sources that are known to be alike.

Towards the antenna like sources add at any length; towards the receiver they add with the phase 4 pi f L / v of the round trip. A
receiver counts the mean power over its band, and cutting and velocity have tolerances: the mean of the cosine over all of them is left.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import SPEED_OF_LIGHT_M_PER_S
from upmast.pim.level import noise_rise_db
from upmast.rf.length import Bands

__all__ = [
    "AT_BEST", "BestLength", "best_length_at_best", "coherence", "forward_return_db", "gain_at_best_db",
    "gain_over_floor_at_best_db", "known_phase_sum_dbm", "mean_power_at_best", "null_depth_at_best_db", "null_gain_at_best_db",
]  # fmt: skip

Array = NDArray[np.float64]
AT_BEST = "at best, if both contacts are known to be alike; 0 dB if their phases are not known"
_GAP = 2e-4  # of the power (0.001 dB), at which the search for a length stops
_MOST_CELLS = 2_000_000


class BestLength(NamedTuple):
    """
    The best length of a range, at best.

    gain_db [b]: of each band against the power sum, negative where the two add. band: which governs. rise_db [b]: noise rise, NaN where
    no noise was given. bound: no length of the range has a lower greatest mean power (or greatest rise, if noise was given) than this.
    value: that of `length_m`.
    """

    length_m: float
    gain_db: Array
    band: int
    rise_db: Array
    value: float
    bound: float


def coherence(bands: Bands, length_m: ArrayLike) -> Array:
    """
    What is left of the cosine of the round trip on average over band and tolerances:
    sinc(2 L B / v) sinc(4 f_0 dL / v) sinc(4 f_0 L dv / v), sinc(x) = sin(pi x) / (pi x); negative beyond its first zero.

    Parameters
    ----------
    bands: receive bands; tolerances of cut and velocity are uniform, plus and minus. length_m [m]: any shape.

    Returns
    -------
    Shape (..., b). Source: own derivation, checked by simulation.

    >>> coherence(Bands([880e6], [915e6], 0.85, 0.003, 0.005), 0.7).round(4)
    array([0.9338])
    """
    length = np.asarray(length_m, float)[..., None]
    if not np.all((length >= 0) & np.isfinite(length)):
        raise ValueError("length_m may not be negative")
    v = bands.velocity_m_per_s
    f0, width = (bands.low_hz + bands.high_hz) / 2, bands.high_hz - bands.low_hz
    cut, velocity = 4 * f0 * bands.tolerance_m / v, 4 * f0 * length * bands.velocity_tolerance / v
    return np.asarray(np.sinc(2 * length * width / v) * np.sinc(cut) * np.sinc(velocity))


def mean_power_at_best(bands: Bands, length_m: ArrayLike, difference_db: ArrayLike = 0.0) -> Array:
    """
    Mean power of two like sources at both ends, towards the receiver, as a part of their power sum:
    1 + 2 d / (1 + d^2) s cos(4 pi f_0 L / v), s of `coherence`.

    At best: for sources alike in phase, with `bands.offset_turns` turns of the round trip at which they add (0). If a phase is not
    known, the mean is 1 at every length.

    Parameters
    ----------
    bands, length_m [m]: as in `coherence`. difference_db [dB]: of the two levels at the receiver, any sign; d = 10^(-D/20). Broadcast
    against the shape of `length_m` and the bands.

    Returns
    -------
    Shape (..., b), 0 to 2. Source: own derivation, checked by simulation.

    >>> mean_power_at_best(Bands([1e9], [1e9], 0.8), [0.0, 0.05995849]).round(4)[:, 0]
    array([2., 0.])
    """
    s = coherence(bands, length_m)
    turns = 2 * (bands.low_hz + bands.high_hz) / 2 * np.asarray(length_m, float)[..., None] / bands.velocity_m_per_s
    wave = np.cos(2 * np.pi * (turns - np.asarray(bands.offset_turns)))
    return np.asarray(1.0 + _match(difference_db) * s * wave)


def gain_at_best_db(bands: Bands, length_m: ArrayLike, difference_db: ArrayLike = 0.0) -> Array:
    """
    What a length gains against the power sum (a length as it comes), dB: -10 log10 of `mean_power_at_best`; negative where they add.

    At best: 0 dB if the phase of one source is not known. Of several bands the least counts: `gain.min(axis=-1)`.

    >>> three = Bands([880e6, 1710e6, 1920e6], [915e6, 1785e6, 1980e6], 0.85, 0.005, 0.01)
    >>> float(gain_at_best_db(three, 0.6228).min().round(1))
    5.3
    """
    with np.errstate(divide="ignore"):
        return np.asarray(-10.0 * np.log10(mean_power_at_best(bands, length_m, difference_db)))


def null_gain_at_best_db(bands: Bands, length_m: ArrayLike, difference_db: ArrayLike = 0.0) -> Array:
    """
    What each band alone gains at its own null nearest to a length, dB: -10 log10(1 - 2 d / (1 + d^2) |s|).

    At best: 0 dB if the phase of one source is not known. Nulls lie `null_spacing_m` of `upmast.rf.length` apart. Beyond the first zero
    of the coherence peaks and nulls change places, hence the magnitude.

    Parameters
    ----------
    As in `mean_power_at_best`.

    Returns
    -------
    Gain [dB], shape (..., b). Source: own derivation, checked by simulation.

    >>> null_gain_at_best_db(Bands([880e6], [915e6], 0.85, 0.003, 0.005), 0.7).round(2)
    array([11.79])
    """
    with np.errstate(divide="ignore"):
        return np.asarray(-10.0 * np.log10(1.0 - _match(difference_db) * np.abs(coherence(bands, length_m))))


def null_depth_at_best_db(difference_db: ArrayLike) -> Array:
    """
    From peak to null of two tones of unequal level, dB: 20 log10((1 + d) / (1 - d)), d = 10^(-D/20); infinite for equal ones.

    At best: only where both phases are known, else there is no null to count on. Any shape. Source: textbook, sum of two phasors.

    >>> null_depth_at_best_db([2.0, 6.0206, 20.0]).round(2)
    array([18.81,  9.54,  1.74])
    """
    d = _ratio(difference_db)
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10((1.0 + d) / (1.0 - d)))


def forward_return_db(antenna_gamma: ArrayLike, difference_db: ArrayLike = 0.0, line_loss_db: ArrayLike = 0.0) -> Array:
    """
    The forward sum of two like sources after the antenna sent it back, against the stronger source, dB: 20 log10(|G| (1 + d)) less
    the loss of the line there and back. It stays when the sum towards the receiver is nulled.

    Parameters
    ----------
    antenna_gamma [1]: |G| of the antenna port, 0 to 1. difference_db [dB]: of the two levels. line_loss_db [dB]: from the sources to
    the antenna, one way. Any shapes that broadcast.

    >>> float(forward_return_db(0.2).round(2))
    -7.96
    """
    gamma, loss = np.asarray(antenna_gamma, float), np.asarray(line_loss_db, float)
    if not (np.all((gamma >= 0) & (gamma <= 1)) and np.all(loss >= 0)):
        raise ValueError("antenna_gamma lies between 0 and 1, line_loss_db is not negative")
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(gamma * (1.0 + _ratio(difference_db))) - 2.0 * loss)


def gain_over_floor_at_best_db(gain_db: ArrayLike, floor_db: ArrayLike, difference_db: ArrayLike = 0.0) -> Array:
    """
    What is left of a gain where something else comes in by its power: 10 log10((1 + d^2 + F) / ((1 + d^2) 10^(-G/10) + F)).

    At best: 0 dB if the phase of one source is not known.

    Parameters
    ----------
    gain_db [dB]: G of the two sources alone. floor_db [dB]: F against the stronger of the two: 0 for a third equal source in the
    antenna, `forward_return_db` for what the antenna sends back, or the power sum of both; their phase turns too fast to count on.
    difference_db [dB]: of the two levels. Any shapes that broadcast.

    Returns
    -------
    Gain [dB]. Source: own derivation, checked by simulation.

    >>> float(gain_over_floor_at_best_db(11.79, 0.0).round(2)), float(gain_over_floor_at_best_db(11.79, -np.inf).round(2))
    (4.23, 11.79)
    """
    gain, floor = np.asarray(gain_db, float), np.asarray(floor_db, float)
    if np.any(np.isnan(gain) | np.isnan(floor)):
        raise ValueError("gain_db and floor_db are numbers")
    both, rest = 1.0 + _ratio(difference_db) ** 2, 10.0 ** (floor / 10.0)
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10((both + rest) / (both * 10.0 ** (-gain / 10.0) + rest)))


def known_phase_sum_dbm(
    level_dbm: ArrayLike,
    position_m: ArrayLike,
    frequency_hz: ArrayLike,
    velocity_factor: float,
    forward: bool = False,
    phase_deg: ArrayLike = 0.0,
) -> Array:
    """
    Sum of sources along a line whose phases are known, at the frequency of the product, dBm.

    Carriers reach a source at z with the phase -beta z each, so the product is made with -beta_im z: towards the antenna all arrive
    alike, towards the receiver with -2 beta_im z.

    Parameters
    ----------
    level_dbm [dBm]: of each source as it would arrive alone, loss included, shape (k,). position_m [m]: from one common point, (k,).
    frequency_hz [Hz]: of the product, any shape. velocity_factor: of the line between the sources. forward: towards the antenna.
    phase_deg [deg]: own phase of each source; 0 is the case that all are alike. It is not known in practice: show the power sum and
    the voltage sum (`power_sum_dbm`, `voltage_sum_dbm`) first.

    Returns
    -------
    Level [dBm], shape of `frequency_hz`. Valid for one velocity at all frequencies: skin effect turns a
    source by less than 0.3 degrees for 2 f1 - f2, but by up to about 16 over 40 m for f2 - f1 (own derivation, done apart).

    Source: own derivation; textbook, sum of phasors.

    >>> float(known_phase_sum_dbm([0.0, 0.0], [0.0, 0.9], 1747.5e6, 0.82).round(2))
    4.09
    """
    level, place, own = np.broadcast_arrays(*(np.asarray(x, float) for x in (level_dbm, position_m, phase_deg)))
    frequency = np.asarray(frequency_hz, float)
    if level.ndim != 1 or level.size == 0 or np.any(np.isnan(level)) or not np.all(np.isfinite(place + own)):
        raise ValueError("level_dbm, position_m and phase_deg hold one value for each source")
    if not (np.all((frequency > 0) & np.isfinite(frequency)) and 0 < velocity_factor <= 1):
        raise ValueError("frequency_hz lies above 0; velocity_factor above 0, at most 1")
    beta = 2 * np.pi * frequency[..., None] / (velocity_factor * SPEED_OF_LIGHT_M_PER_S.value)
    turn = np.deg2rad(own) - (0.0 if forward else 2.0) * beta * place
    total = np.sum(10.0 ** (level / 20.0) * np.exp(1j * turn), axis=-1)
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.abs(total)))


def best_length_at_best(
    bands: Bands,
    shortest_m: float,
    longest_m: float,
    difference_db: float = 0.0,
    over_noise_db: ArrayLike | None = None,
    floor_db: float = -np.inf,
) -> BestLength:
    """
    The length of a range with the least mean noise rise in its worst receive band.

    Minimises max_j [1 + 2 d / (1 + d^2) s_j(L) cos(4 pi f_0j L / v)] by branch and bound: a mean of cosines of slope k at most bends
    by k^2 at most, so a cell of width h lies at most k^2 h^2 / 8 below the lower of its ends.

    At best: 0 dB if the phase of one source is not known, and then the length is one as good as any other.

    Parameters
    ----------
    bands: receive bands and tolerances. shortest_m, longest_m [m]: what can be routed. difference_db [dB]: of the two levels.
    over_noise_db [dB]: of each band, power sum of the two sources over the receiver's noise, (b,) or one; with it the greatest noise
    rise counts, else the least gain. floor_db [dB]: what else comes in, against the stronger source, see `gain_over_floor_at_best_db`.

    Returns
    -------
    `BestLength`; its gain holds for the two sources and the floor together. Within 0.001 dB of the best; of equal ones the shortest.

    Source: own derivation; checked against a fine grid.

    >>> found = best_length_at_best(Bands([880e6, 1710e6, 1920e6], [915e6, 1785e6, 1980e6], 0.85, 0.005, 0.01), 0.5, 1.0)
    >>> round(found.length_m, 3), float(found.gain_db.min().round(1))
    (0.623, 5.3)
    """
    if not (np.isfinite(longest_m) and 0 <= shortest_m <= longest_m):
        raise ValueError("a range of lengths has 0 <= shortest_m <= longest_m")
    if np.isnan(floor_db):
        raise ValueError("floor_db is a number")
    match = float(_match(difference_db))
    rest = 10.0 ** (floor_db / 10.0) / (1.0 + float(_ratio(difference_db)) ** 2)
    noise = None if over_noise_db is None else np.broadcast_to(np.asarray(over_noise_db, float), bands.low_hz.shape)
    if noise is not None and not np.all(np.isfinite(noise)):
        raise ValueError("over_noise_db holds one finite level for each band")

    def worst(power: Array) -> Array:
        """What counts, of mean powers (n, b)."""
        if noise is None:
            return np.asarray(power.max(axis=-1))
        with np.errstate(divide="ignore"):
            return np.asarray(noise_rise_db(noise + 10.0 * np.log10(np.maximum(power, 0.0) + rest), 0.0).max(axis=-1))

    f0, width = (bands.low_hz + bands.high_hz) / 2, bands.high_hz - bands.low_hz
    slope = 4 * np.pi * (f0 * (1 + bands.velocity_tolerance) + width / 2) / bands.velocity_m_per_s
    count = int(np.ceil((longest_m - shortest_m) * float(slope.max()))) + 1
    if count > _MOST_CELLS:
        raise ValueError(f"{count} cells lie in this range: give a shorter one")
    at = np.linspace(shortest_m, longest_m, count + 1)
    power = mean_power_at_best(bands, at, difference_db)
    value = worst(power)
    best = int(np.argmin(value))
    length, least = float(at[best]), float(value[best])
    low, high, low_power, high_power = at[:-1], at[1:], power[:-1], power[1:]
    bound = least
    while low.size:
        bend = match * (slope * (high - low)[:, None]) ** 2 / 8
        under = worst(np.maximum(np.minimum(low_power, high_power) - bend, 1.0 - match))
        gap = max(_GAP * least, 1e-9)
        closed = under >= least - gap
        bound = min(bound, float(under[closed].min(initial=np.inf)))
        open_ = ~closed & (high - low > 1e-9)
        bound = min(bound, float(under[~closed & ~open_].min(initial=np.inf)))
        low, high, low_power, high_power = low[open_], high[open_], low_power[open_], high_power[open_]
        if not low.size:
            break
        middle = (low + high) / 2
        power = mean_power_at_best(bands, middle, difference_db)
        value = worst(power)
        best = int(np.argmin(value))
        if float(value[best]) < least:
            length, least = float(middle[best]), float(value[best])
        low, high = np.concatenate([low, middle]), np.concatenate([middle, high])
        low_power, high_power = np.concatenate([low_power, power]), np.concatenate([power, high_power])
    total = mean_power_at_best(bands, length, difference_db) + rest
    with np.errstate(divide="ignore"):
        gain = -10.0 * np.log10(total / (1.0 + rest))
        rise = np.full(gain.shape, np.nan) if noise is None else noise_rise_db(noise + 10.0 * np.log10(total), 0.0)
    governing = int(np.argmax(total if noise is None else rise))
    return BestLength(length, gain, governing, rise, least, min(bound, least))


def _ratio(difference_db: ArrayLike) -> Array:
    """Voltage of the weaker source over that of the stronger."""
    difference = np.asarray(difference_db, float)
    if np.any(np.isnan(difference)):
        raise ValueError("difference_db is a number")
    return np.asarray(10.0 ** (-np.abs(difference) / 20.0))


def _match(difference_db: ArrayLike) -> Array:
    """2 d / (1 + d^2): what of the power sum can add or cancel."""
    d = _ratio(difference_db)
    return np.asarray(2.0 * d / (1.0 + d**2))
