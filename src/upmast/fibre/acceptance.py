"""What a measured loss can be and can't be: reference method, the floor of physics, two directions, the mark of a bend."""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import Constant
from upmast.source import Mark, Source

__all__ = [
    "REFERENCE_UNCERTAINTY_DB", "SCATTERING_DB_UM4_PER_KM", "Signature", "below_floor", "bend_signature", "counted_pairs",
    "directions_db", "glass_floor_db",
]  # fmt: skip

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
# the least that silica scatters: 0.7 to 0.9 dB um^4 / km for germanium-doped cores
SCATTERING_DB_UM4_PER_KM = Constant(
    "C_R", 0.7, "dB·µm⁴/km", Source("Rayleigh scattering of silica", clause="lower end of 0.7 to 0.9", mark=Mark.MEMORY)
)
# source, meter and cords together, and mating them anew
REFERENCE_UNCERTAINTY_DB = Constant(
    "u", 0.2, "dB", Source("common practice, no source", clause="light source and power meter", mark=Mark.PRACTICE)
)
_COUNTED = {"one": 0, "two": 1, "three": 2}
_RATIO = 3.0  # a bend at 1550 nm is at least that many times the one at 1310 nm: common practice, no source


class Signature(StrEnum):
    """What the excess loss at two wavelengths looks like."""

    NONE = "no excess"
    JOINT = "alike at both: a dirty, worn or misaligned joint"
    BEND = "much more at 1550 nm: a tight bend or a pinch"
    BOTH = "at both, and more at 1550 nm: a joint and a bend"
    UNKNOWN = "can't be told: measure at 1310 and 1550 nm"


def counted_pairs(method: str, pairs: ArrayLike) -> Array:
    """
    How many mated pairs of a link are inside the reading, by the number of cords in the reference.

    One cord: both end pairs are counted. Two cords: one of them. Three cords: neither.

    Parameters
    ----------
    method: 'one', 'two' or 'three'. pairs: mated pairs of the link with both ends connected to cords; any shape.

    Raises
    ------
    ValueError
        If the method is not one of the three, or there are fewer pairs than it leaves out.

    Source: IEC 61280-4-2, reference methods, from memory. The cords themselves are never counted: the reference takes them off.

    >>> [float(counted_pairs(method, 4)) for method in ("one", "two", "three")]
    [4.0, 3.0, 2.0]
    """
    if method not in _COUNTED:
        raise ValueError(f"the reference is set with 'one', 'two' or 'three' cords, not {method!r}")
    n = np.asarray(pairs, float)
    if np.any(n < _COUNTED[method]):
        raise ValueError("a link has at least as many mated pairs as the method leaves out")
    return np.asarray(n - _COUNTED[method])


def glass_floor_db(
    length_m: ArrayLike, wavelength_nm_wave: ArrayLike, scattering: ArrayLike = SCATTERING_DB_UM4_PER_KM.value
) -> Array:
    """
    Loss below which no silica fibre goes: `A = C_R L / lambda^4`, scattering alone.

    Parameters
    ----------
    length_m [m]: L, of the glass. wavelength_nm_wave [nm]: lambda, 1260 to 1625. scattering [dB um^4/km]: C_R. Broadcast.

    Returns
    -------
    Loss [dB]. Source: Rayleigh's law of scattering; constant from memory.

    >>> glass_floor_db(1000.0, [1310.0, 1550.0]).round(3)
    array([0.238, 0.121])
    """
    length, wave, c = (np.asarray(x, float) for x in (length_m, wavelength_nm_wave, scattering))
    if np.any(length < 0) or np.any(~(wave > 0)) or np.any(c < 0):
        raise ValueError("wavelengths must be positive, length and scattering can't be negative")
    return np.asarray(c * length * 1e-3 / (wave * 1e-3) ** 4)


def below_floor(
    reading_db: ArrayLike, length_m: ArrayLike, wavelength_nm_wave: ArrayLike,
    uncertainty_db: ArrayLike = REFERENCE_UNCERTAINTY_DB.value,
) -> Bools:  # fmt: skip
    """
    Whether a reading is lower than physics lets it be: the reference was wrong, or it is another strand.

    Parameters
    ----------
    reading_db [dB]. length_m [m]. wavelength_nm_wave [nm]. uncertainty_db [dB]: of the reading. Broadcast.

    Returns
    -------
    True where reading < floor - uncertainty. Source: own derivation, see `glass_floor_db`.

    >>> below_floor([0.3, -0.3, 0.1], 2000.0, 1310.0)
    array([False,  True,  True])
    """
    reading, off = np.asarray(reading_db, float), np.asarray(uncertainty_db, float)
    if np.any(off < 0):
        raise ValueError("an uncertainty can't be negative")
    return np.asarray(reading < glass_floor_db(length_m, wavelength_nm_wave) - off)


def directions_db(up_db: ArrayLike, down_db: ArrayLike) -> tuple[Array, Array]:
    """
    Mean and difference of the readings of two directions.

    Parameters
    ----------
    up_db, down_db [dB]: broadcast; NaN where one is missing.

    Returns
    -------
    Mean and absolute difference [dB]. The loss of glass and joints is the same both ways but for fibres of unlike mode size, so
    a difference beyond twice the uncertainty means a dirty cord, a moved reference, or unlike fibres. Source: IEC 61280-4-2.

    >>> directions_db(0.8, 0.5)
    (array(0.65), array(0.3))
    """
    up, down = np.asarray(up_db, float), np.asarray(down_db, float)
    return np.asarray((up + down) / 2), np.asarray(np.abs(up - down).round(12))


def bend_signature(
    excess_1310_db: ArrayLike, excess_1550_db: ArrayLike, uncertainty_db: ArrayLike = REFERENCE_UNCERTAINTY_DB.value
) -> NDArray[np.object_]:
    """
    What the loss beyond that expected looks like: a joint loses alike at both wavelengths, a bend far more at 1550 nm.

    Parameters
    ----------
    excess_1310_db, excess_1550_db [dB]: reading less expected; NaN where not measured. uncertainty_db [dB]: of each. Broadcast.

    Returns
    -------
    `Signature` in the broadcast shape. A bend is told where the excess at 1550 nm beyond that at 1310 nm is more than twice
    the uncertainty; a joint as well where 1310 nm alone has excess.

    Source: common practice, no source; the mode is wider at 1550 nm, see `upmast.fibre.bend_loss`.

    >>> [str(x)[:9] for x in bend_signature([0.0, 0.9, 0.1, 0.9], [0.1, 1.0, 1.6, 2.4])]
    ['no excess', 'alike at ', 'much more', 'at both, ']
    """
    a, b, u = np.broadcast_arrays(*(np.asarray(x, float) for x in (excess_1310_db, excess_1550_db, uncertainty_db)))
    if np.any(u < 0):
        raise ValueError("an uncertainty can't be negative")
    more = b - a
    bend = more > 2 * u
    joint = (a > u) & (a > b / _RATIO)
    alike = ~bend & ((a > u) | (b > u))
    out = np.empty(a.shape, object)
    out[...] = Signature.NONE
    out[alike] = Signature.JOINT
    out[bend] = Signature.BEND
    out[bend & joint] = Signature.BOTH
    out[np.isnan(a) | np.isnan(b)] = Signature.UNKNOWN
    return out
