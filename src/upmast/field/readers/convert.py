"""Impedance, admittance and hybrid matrices of one and two ports as scattering matrices, one real reference."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Complexes = NDArray[np.complex128]
NETWORKS = ("S", "Y", "Z", "H", "G")


def to_scattering(matrix: Complexes, network: str, reference_ohm: float, normalised: bool) -> Complexes:
    """
    Scattering matrices, shape (points, n, n), n 1 or 2, referred to `reference_ohm`.

    Z: S = (z - 1)(z + 1)^-1; Y: S = (1 - y)(1 + y)^-1; H and G by closed form. `normalised` says that z, y and the hybrid
    entries are already referred to R, as in version 1 files; those of version 2 are in ohm and siemens.
    A singular point comes out as not finite. Source: Pozar, Microwave Engineering, table 4.2; hybrid by own derivation.

    >>> z = np.array([[[74.25 + 0j]]])
    >>> round(float(to_scattering(z, "Z", 75.0, normalised=False)[0, 0, 0].real), 6)
    -0.005025
    """
    if network == "S":
        return matrix
    m = matrix
    if not normalised:
        if network == "Z":
            m = m / reference_ohm
        elif network == "Y":
            m = m * reference_ohm
        else:  # h11 is in ohm and h22 in siemens; g11 is in siemens and g22 in ohm
            scale = 1.0 / reference_ohm if network == "H" else reference_ohm
            m = m * np.array([[scale, 1.0], [1.0, 1.0 / scale]])
    if network in ("Z", "Y"):
        sign = 1.0 if network == "Z" else -1.0
        return _bilinear(m, sign)
    if network == "G":
        m = _inverse(m)
    h11, h12, h21, h22 = m[:, 0, 0], m[:, 0, 1], m[:, 1, 0], m[:, 1, 1]
    cross = h12 * h21
    d = (h11 + 1.0) * (h22 + 1.0) - cross
    return _square(
        ((h11 - 1.0) * (h22 + 1.0) - cross) / d, 2.0 * h12 / d, -2.0 * h21 / d, ((1.0 + h11) * (1.0 - h22) + cross) / d
    )


def _bilinear(m: Complexes, sign: float) -> Complexes:
    """sign (m - 1)(m + 1)^-1, without raising where it is singular."""
    if m.shape[-1] == 1:
        return np.asarray(sign * (m - 1.0) / (m + 1.0))
    one = np.eye(2)
    return np.asarray(sign * (m - one) @ _inverse(m + one))


def _inverse(m: Complexes) -> Complexes:
    d = m[:, 0, 0] * m[:, 1, 1] - m[:, 0, 1] * m[:, 1, 0]
    return _square(m[:, 1, 1] / d, -m[:, 0, 1] / d, -m[:, 1, 0] / d, m[:, 0, 0] / d)


def _square(a: Complexes, b: Complexes, c: Complexes, d: Complexes) -> Complexes:
    return np.asarray(np.stack([np.stack([a, b], -1), np.stack([c, d], -1)], -2))
