"""What a continuity test of a shield or a bond should read, and its limits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source

__all__ = [
    "ALPHA_20_PER_K",
    "BOND_SOURCE",
    "JOINT_OHM",
    "PARALLEL_FRACTION",
    "SPREAD_FACTOR",
    "bond_limit_ohm",
    "parallel_path_ohm",
    "shield_expected_ohm",
    "shield_limit_ohm",
]

Array = NDArray[np.float64]
# Temperature coefficients at 20 C: IEC 60287-1-1, table 1.
ALPHA_20_PER_K = {"copper": 0.00393, "aluminium": 0.00403}
JOINT_OHM = 1e-3
SPREAD_FACTOR = 1.15
PARALLEL_FRACTION = 0.6
BOND_SOURCE = Source(
    "common practice, no source", clause="1 mohm a joint, 15 % spread, 0.6 parallel path", mark=Mark.PRACTICE
)


def _alpha(metal: str) -> float:
    if metal not in ALPHA_20_PER_K:
        raise ValueError(f"metal {metal!r} is not known; there are {', '.join(ALPHA_20_PER_K)}")
    return ALPHA_20_PER_K[metal]


def shield_expected_ohm(
    ohm_per_km: ArrayLike, length_m: ArrayLike, temperature_c: ArrayLike = 20.0, metal: str = "copper"
) -> Array:
    """
    Expected resistance of a shield, one end lifted: `R = R'_20 l (1 + alpha_20 (theta - 20))`.

    Parameters
    ----------
    ohm_per_km [ohm/km]: of the shield at 20 C. length_m [m]: once. temperature_c [C]: of the shield at the test. Any shapes.
    metal: 'copper' or 'aluminium'.

    Source: IEC 60287-1-1, table 1 (alpha_20).

    >>> float(shield_expected_ohm(2.4, 60.0))
    0.144
    """
    r, l, theta = (np.asarray(x, float) for x in (ohm_per_km, length_m, temperature_c))  # noqa: E741
    factor = 1 + _alpha(metal) * (theta - 20)
    if not np.all(r >= 0) or not np.all(l >= 0):
        raise ValueError("resistance per kilometre and length can't be negative")
    if not np.all(factor > 0):
        raise ValueError("temperature is below the range of the linear law")
    return np.asarray(r * 1e-3 * l * factor)


def shield_limit_ohm(
    ohm_per_km: ArrayLike,
    length_m: ArrayLike,
    joints: ArrayLike,
    temperature_c: ArrayLike = 20.0,
    metal: str = "copper",
    joint_ohm: ArrayLike = JOINT_OHM,
    spread_factor: ArrayLike = SPREAD_FACTOR,
) -> Array:
    """
    Largest resistance of a sound shield, four-wire, one end lifted: `R_lim = 1.15 R'_20 l (1 + alpha (theta - 20)) + n_j R_j`.

    Parameters
    ----------
    ohm_per_km, length_m, temperature_c, metal: as for `shield_expected_ohm`.
    joints [-]: joints in the measured path. joint_ohm [ohm]: allowance for each. spread_factor [-]: make and measurement.

    Returns
    -------
    Resistance [ohm]; a reading above it is an open or a bad joint.

    Source: common practice, no source (`BOND_SOURCE`).

    >>> float(shield_limit_ohm(2.4, 60.0, joints=4).round(4))
    0.1696
    """
    n, joint, spread = (np.asarray(x, float) for x in (joints, joint_ohm, spread_factor))
    if not np.all(n >= 0) or not np.all(joint >= 0) or not np.all(spread >= 1):
        raise ValueError("joints can't be negative and the spread is at least 1")
    return np.asarray(shield_expected_ohm(ohm_per_km, length_m, temperature_c, metal) * spread + n * joint)


def parallel_path_ohm(expected_ohm: ArrayLike, fraction: ArrayLike = PARALLEL_FRACTION) -> Array:
    """
    Reading below which something else is still connected in parallel (the mast, another bond): `0.6 R`.

    Parameters
    ----------
    expected_ohm [ohm]: of `shield_expected_ohm`, any shape. fraction [-]: between 0 and 1.

    Source: common practice, no source (`BOND_SOURCE`).

    >>> float(parallel_path_ohm(0.144).round(4))
    0.0864
    """
    r, part = np.asarray(expected_ohm, float), np.asarray(fraction, float)
    if not np.all(r >= 0) or not np.all((part >= 0) & (part <= 1)):
        raise ValueError("resistance can't be negative, the fraction lies between 0 and 1")
    return np.asarray(part * r)


def bond_limit_ohm(
    lead_ohm_per_km: ArrayLike, lead_m: ArrayLike, joints: ArrayLike = 2, joint_ohm: ArrayLike = JOINT_OHM
) -> Array:
    """
    Largest resistance of a sound bond at 20 C, lug to steel: `R_lim = R'_20 l + n_j R_j`.

    Parameters
    ----------
    lead_ohm_per_km [ohm/km]: maximum of the lead. lead_m [m]: its length. joints [-], joint_ohm [ohm]. Any shapes.

    Source: common practice, no source (`BOND_SOURCE`); agreed limits of 1 mohm to 0.2 ohm are in use and go before.

    >>> round(float(bond_limit_ohm(1.15, 0.6)), 6)
    0.00269
    """
    r, l, n, joint = (np.asarray(x, float) for x in (lead_ohm_per_km, lead_m, joints, joint_ohm))  # noqa: E741
    if any(not np.all(x >= 0) for x in (r, l, n, joint)):
        raise ValueError("resistances, length and joints can't be negative")
    return np.asarray(r * 1e-3 * l + n * joint)
