"""A pair of mated connectors as one lump: shunt capacitance, series inductance, or series resistance of a bad contact."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.reflection import gamma_from_return_loss

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Kind = Literal["shunt C", "series L"]


def joint_reactance(frequency_hz: ArrayLike, return_loss_db: ArrayLike, reference_frequency_hz: ArrayLike) -> Floats:
    """
    Normalised reactance (series L) or susceptance (shunt C) of a lone joint: x = 2 r/sqrt(1 - r^2) at f_ref, then x ~ f.

    Parameters
    ----------
    frequency_hz [Hz], return_loss_db [dB] at reference_frequency_hz [Hz]: any shapes that broadcast.

    Source: Pozar, Microwave Engineering, chapter 4: |S11| = x/sqrt(4 + x^2) of a lossless lump in a matched line.
    """
    r = gamma_from_return_loss(return_loss_db)
    if not np.all(r < 1):
        raise ValueError("return_loss_db of a joint lies above 0")
    f, f_ref = np.asarray(frequency_hz, dtype=np.float64), np.asarray(reference_frequency_hz, dtype=np.float64)
    if not (np.all(f >= 0) and np.all(f_ref > 0)):
        raise ValueError("frequencies of a joint are positive")
    return np.asarray(2.0 * r / np.sqrt(1.0 - r**2) * f / f_ref)


def joint_gamma(frequency_hz: ArrayLike, return_loss_db: ArrayLike, reference_frequency_hz: ArrayLike) -> Floats:
    """
    Size of the reflection of a lone joint over frequency: x/sqrt(4 + x^2). A bound at f_ref becomes a bound at f.

    >>> round(float(joint_gamma(2e9, 28.0, 2e9)), 5)
    0.03981
    """
    x = joint_reactance(frequency_hz, return_loss_db, reference_frequency_hz)
    return np.asarray(x / np.sqrt(4.0 + x**2))


def joint_s(
    kind: Kind, frequency_hz: ArrayLike, return_loss_db: ArrayLike, reference_frequency_hz: ArrayLike
) -> Complexes:
    """
    Scattering matrix of a lossless joint, shape (..., nf, 2, 2).

    Shunt C: S11 = -jx/(2 + jx); series L: S11 = +jx/(2 + jx); both S21 = 2/(2 + jx).
    A specification bounds |S11|, never its sign: where the kind is not known, use `reflection_interval` instead.

    Source: Pozar, Microwave Engineering, chapter 4.

    >>> s = joint_s("shunt C", [2e9], 28.0, 2e9)
    >>> round(float(abs(s[0, 0, 0])), 5), round(float(abs(s[0, 0, 0]) ** 2 + abs(s[0, 1, 0]) ** 2), 12)
    (0.03981, 1.0)
    """
    if kind not in ("shunt C", "series L"):
        raise ValueError(f"kind {kind!r} is not known; 'shunt C' or 'series L'")
    jx = 1j * joint_reactance(frequency_hz, return_loss_db, reference_frequency_hz)
    return _symmetric(jx / (2.0 + jx) * (-1.0 if kind == "shunt C" else 1.0), 2.0 / (2.0 + jx))


def contact_s(resistance_ohm: ArrayLike, impedance_ohm: float = 50.0) -> Complexes:
    """
    Scattering matrix of a series resistance (a bad contact), shape (..., 2, 2): q = R/Z0, S11 = q/(2 + q), S21 = 2/(2 + q).

    >>> s = contact_s(5.0)
    >>> round(float(s[0, 0].real), 4), round(float(s[1, 0].real), 4)
    (0.0476, 0.9524)
    """
    resistance = np.asarray(resistance_ohm, dtype=np.float64)
    if not (np.all(resistance >= 0) and impedance_ohm > 0):
        raise ValueError("resistance_ohm may not be negative, impedance_ohm lies above 0")
    q = resistance / impedance_ohm
    return _symmetric(q / (2.0 + q), 2.0 / (2.0 + q))


def joint_capacitance_f(
    return_loss_db: ArrayLike, reference_frequency_hz: ArrayLike, impedance_ohm: float = 50.0
) -> Floats:
    """Shunt capacitance that gives a return loss at f_ref, F: C = x/(2 pi f_ref Z0)."""
    f_ref = np.asarray(reference_frequency_hz, dtype=np.float64)
    return np.asarray(joint_reactance(f_ref, return_loss_db, f_ref) / (2.0 * np.pi * f_ref * impedance_ohm))


def joint_inductance_h(
    return_loss_db: ArrayLike, reference_frequency_hz: ArrayLike, impedance_ohm: float = 50.0
) -> Floats:
    """Series inductance that gives a return loss at f_ref, H: L = x Z0/(2 pi f_ref)."""
    f_ref = np.asarray(reference_frequency_hz, dtype=np.float64)
    return np.asarray(joint_reactance(f_ref, return_loss_db, f_ref) * impedance_ohm / (2.0 * np.pi * f_ref))


def _symmetric(s11: ArrayLike, s21: ArrayLike) -> Complexes:
    reflect, through = np.broadcast_arrays(np.asarray(s11, dtype=np.complex128), np.asarray(s21, dtype=np.complex128))
    rows = np.stack([np.stack([reflect, through], -1), np.stack([through, reflect], -1)], -2)
    return np.asarray(rows)
