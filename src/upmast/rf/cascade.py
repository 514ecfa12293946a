"""
Two-ports in a row over a frequency axis: arrays (..., nf, 2, 2), no loop over frequency.

Chain matrices (ABCD) carry the real impedances; scattering matrices join directly too, which also works where a part
lets nothing through.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Complexes = NDArray[np.complex128]
Floats = NDArray[np.float64]


def _matrix(a: ArrayLike, b: ArrayLike, c: ArrayLike, d: ArrayLike) -> Complexes:
    parts = np.broadcast_arrays(*(np.asarray(x, dtype=np.complex128) for x in (a, b, c, d)))
    return np.asarray(np.stack(parts, -1).reshape(*parts[0].shape, 2, 2))


def _two_port(value: ArrayLike, name: str) -> Complexes:
    out = np.asarray(value, dtype=np.complex128)
    if out.ndim < 2 or out.shape[-2:] != (2, 2):
        raise ValueError(f"{name} is an array (..., 2, 2); got the shape {out.shape}")
    return out


def _impedance(value: float, name: str) -> float:
    if not value > 0:
        raise ValueError(f"{name} lies above 0")
    return float(value)


def line_abcd(propagation_per_m: ArrayLike, length_m: ArrayLike, impedance_ohm: ArrayLike = 50.0) -> Complexes:
    """
    Chain matrix of a line: [[cosh gl, Z sinh gl], [sinh gl / Z, cosh gl]], shape (..., nf, 2, 2).

    Parameters
    ----------
    propagation_per_m [1/m]: complex propagation constant over frequency (`rf.propagation_per_m`).
    length_m [m], impedance_ohm [ohm]: broadcast with it.

    Source: Pozar, Microwave Engineering, table 4.1.
    """
    if not np.all(np.asarray(length_m) >= 0):
        raise ValueError("length_m may not be negative")
    gl = np.asarray(propagation_per_m, dtype=np.complex128) * np.asarray(length_m)
    z = np.asarray(impedance_ohm)
    cosh, sinh = np.cosh(gl), np.sinh(gl)
    return _matrix(cosh, z * sinh, sinh / z, cosh)


def series_abcd(impedance_ohm: ArrayLike) -> Complexes:
    """Chain matrix of a series impedance over frequency, ohm: [[1, Z], [0, 1]]. Source: Pozar, table 4.1."""
    return _matrix(1.0, impedance_ohm, 0.0, 1.0)


def shunt_abcd(admittance_s: ArrayLike) -> Complexes:
    """Chain matrix of a shunt admittance over frequency, siemens: [[1, 0], [Y, 1]]. Source: Pozar, table 4.1."""
    return _matrix(1.0, 0.0, admittance_s, 1.0)


def chain(*abcd: ArrayLike) -> Complexes:
    """Chain matrices multiplied in the order of the line, test port first; leading axes broadcast."""
    if not abcd:
        raise ValueError("nothing to chain")
    out = _two_port(abcd[0], "abcd")
    for part in abcd[1:]:
        out = out @ _two_port(part, "abcd")
    return out


def scattering_from_abcd(abcd: ArrayLike, impedance_ohm: float = 50.0) -> Complexes:
    """
    Scattering from chain matrix, one real reference impedance at both ports.

    Source: Pozar, Microwave Engineering, table 4.2.

    >>> s = scattering_from_abcd(series_abcd(5.0))
    >>> round(float(s[0, 0].real), 4), round(float(s[1, 0].real), 4)
    (0.0476, 0.9524)
    """
    m = _two_port(abcd, "abcd")
    z = _impedance(impedance_ohm, "impedance_ohm")
    a, b, c, d = m[..., 0, 0], m[..., 0, 1] / z, m[..., 1, 0] * z, m[..., 1, 1]
    total = a + b + c + d
    return _matrix((a + b - c - d) / total, 2.0 * (a * d - b * c) / total, 2.0 / total, (-a + b - c + d) / total)


def abcd_from_scattering(s: ArrayLike, impedance_ohm: float = 50.0) -> Complexes:
    """
    Chain from scattering matrix, one real reference impedance at both ports.

    Raises
    ------
    ValueError
        If S21 is 0 somewhere: such a part has no chain matrix; join with `join_s`.

    Source: Pozar, Microwave Engineering, table 4.2.
    """
    m = _two_port(s, "s")
    z = _impedance(impedance_ohm, "impedance_ohm")
    s11, s12, s21, s22 = m[..., 0, 0], m[..., 0, 1], m[..., 1, 0], m[..., 1, 1]
    if np.any(s21 == 0):
        raise ValueError("a part that lets nothing through (S21 = 0) has no chain matrix")
    cross = s12 * s21
    return _matrix(
        ((1 + s11) * (1 - s22) + cross) / (2 * s21),
        z * ((1 + s11) * (1 + s22) - cross) / (2 * s21),
        ((1 - s11) * (1 - s22) - cross) / (2 * s21 * z),
        ((1 - s11) * (1 + s22) + cross) / (2 * s21),
    )


def line_s(propagation_per_m: ArrayLike, length_m: ArrayLike) -> Complexes:
    """Scattering matrix of a matched line, referred to its own impedance: S21 = exp(-gl), no reflection."""
    if not np.all(np.asarray(length_m) >= 0):
        raise ValueError("length_m may not be negative")
    through = np.exp(-np.asarray(propagation_per_m, dtype=np.complex128) * np.asarray(length_m))
    return _matrix(0.0, through, through, 0.0)


def join_s(*s: ArrayLike) -> Complexes:
    """
    Scattering matrices joined in the order of the line, test port first, all of one reference impedance.

    With D = 1 - A22 B11: S11 = A11 + A12 B11 A21/D, S12 = A12 B12/D, S21 = A21 B21/D, S22 = B22 + B21 A22 B12/D.
    Source: Pozar, Microwave Engineering, chapter 4 (signal flow).
    """
    if not s:
        raise ValueError("nothing to join")
    a = _two_port(s[0], "s")
    for part in s[1:]:
        b = _two_port(part, "s")
        d = 1.0 - a[..., 1, 1] * b[..., 0, 0]
        a = _matrix(
            a[..., 0, 0] + a[..., 0, 1] * b[..., 0, 0] * a[..., 1, 0] / d,
            a[..., 0, 1] * b[..., 0, 1] / d,
            a[..., 1, 0] * b[..., 1, 0] / d,
            b[..., 1, 1] + b[..., 1, 0] * a[..., 1, 1] * b[..., 0, 1] / d,
        )
    return a


def input_gamma(s: ArrayLike, end_gamma: ArrayLike) -> Complexes:
    """
    Reflection seen into port 1 with a termination at port 2: S11 + S12 S21 G/(1 - S22 G). Shape (..., nf).

    Source: Pozar, Microwave Engineering, chapter 4.
    """
    m, g = _two_port(s, "s"), np.asarray(end_gamma, dtype=np.complex128)
    return np.asarray(m[..., 0, 0] + m[..., 0, 1] * m[..., 1, 0] * g / (1.0 - m[..., 1, 1] * g))


def gamma_over_lengths(
    before: ArrayLike, propagation_per_m: ArrayLike, start_m: float, step_m: float, count: int, behind_gamma: ArrayLike
) -> Complexes:
    """
    Reflection into a line of which one piece has each of many lengths, evenly spaced: shape (count, nf).

    `G = S11 + S12 S21 x / (1 - S22 x)`, `x = G_behind exp(-2 gamma L)`; the powers of one step are made by products of two short
    lists, not one by one.

    Parameters
    ----------
    before: scattering matrices (nf, 2, 2) of what stands before the piece. propagation_per_m [1/m]: (nf,) of the piece.
    start_m, step_m [m]: first length and step, not negative. count: of lengths, 1 or more. behind_gamma: (nf,) or a number.

    Source: Pozar, Microwave Engineering, chapter 4.
    """
    m = _two_port(before, "before")
    gamma, behind = np.asarray(propagation_per_m, np.complex128), np.asarray(behind_gamma, np.complex128)
    if not (start_m >= 0 and step_m >= 0 and count >= 1):
        raise ValueError("start_m and step_m may not be negative, and there is one length at least")
    fine = max(1, int(np.sqrt(count)))
    coarse = -(-count // fine)
    near = np.exp(-2 * gamma * (step_m * np.arange(fine)[:, None]))
    far = behind * np.exp(-2 * gamma * (start_m + step_m * fine * np.arange(coarse)[:, None]))
    far, near = np.broadcast_arrays(far[:, None], near[None])
    x = (far * near).reshape(coarse * fine, -1)[:count]
    out = 1.0 - m[..., 1, 1] * x
    np.divide(m[..., 0, 1] * m[..., 1, 0] * x, out, out=out)
    out += m[..., 0, 0]
    return np.asarray(out)


def insertion_loss_db(s: ArrayLike) -> Floats:
    """Insertion loss between matched ports, dB: -20 log10 |S21|, shape (..., nf); infinite where nothing comes through."""
    with np.errstate(divide="ignore"):
        return np.asarray(-20.0 * np.log10(np.abs(_two_port(s, "s")[..., 1, 0]))) + 0.0


def through_reading_db(s: ArrayLike) -> Floats:
    """
    What a part adds to a one-way cable loss measured with a short behind it, dB: -10 log10 |S11 S22 - S12 S21|.

    Mean over a full turn of phase, for a returned level above |S11|. 0 for a lossless joint.
    Source: Jensen's formula; own derivation, checked by numerical means over a turn.

    >>> from upmast.rf.joint import contact_s
    >>> round(float(through_reading_db(contact_s(5.0))), 3)
    0.435
    """
    m = _two_port(s, "s")
    with np.errstate(divide="ignore"):
        return np.asarray(-10.0 * np.log10(np.abs(m[..., 0, 0] * m[..., 1, 1] - m[..., 0, 1] * m[..., 1, 0]))) + 0.0


def renormalise_s(s: ArrayLike, from_ohm: float, to_ohm: float) -> Complexes:
    """
    Scattering matrix (..., n, n) referred to another real impedance, the same at all ports.

    With rho = (Z' - Z)/(Z' + Z): S' = (S - rho I)(I - rho S)^-1.
    Source: Pozar, Microwave Engineering, chapter 4 (power waves at real impedances).
    """
    m = np.asarray(s, dtype=np.complex128)
    if m.ndim < 2 or m.shape[-1] != m.shape[-2]:
        raise ValueError(f"s is an array (..., n, n); got the shape {m.shape}")
    rho = _rho(from_ohm, to_ohm)
    one = np.eye(m.shape[-1])
    # (S - rho)(1 - rho S)^-1: both factors are polynomials in S and commute, so that one solve does it.
    return np.asarray(np.linalg.solve(one - rho * m, m - rho * one))


def renormalise_gamma(gamma: ArrayLike, from_ohm: float, to_ohm: float) -> Complexes:
    """
    Reflection referred to another real impedance: (G - rho)/(1 - rho G), any shape.

    >>> abs(complex(renormalise_gamma(0.2, 50.0, 75.0))) < 1e-15
    True
    """
    g = np.asarray(gamma, dtype=np.complex128)
    rho = _rho(from_ohm, to_ohm)
    return np.asarray((g - rho) / (1.0 - rho * g))


def _rho(from_ohm: float, to_ohm: float) -> float:
    old, new = _impedance(from_ohm, "from_ohm"), _impedance(to_ohm, "to_ohm")
    return (new - old) / (new + old)
