"""Networks of the general-purpose library scikit-rf, both ways. The library is needed only here: install the extra `rf`."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["from_network", "to_network"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


def to_network(frequency_hz: ArrayLike, s: ArrayLike, impedance_ohm: float = 50.0, name: str = "") -> Any:
    """
    A `skrf.Network` of scattering parameters.

    Parameters
    ----------
    frequency_hz [Hz]: (nf,), rising. s: (nf, n, n), or (nf,) for a one-port. impedance_ohm [ohm]: of all ports.

    Raises
    ------
    ValueError
        If the shapes don't fit.
    ModuleNotFoundError
        If scikit-rf is not installed.
    """
    f, m = np.asarray(frequency_hz, np.float64), np.asarray(s, np.complex128)
    m = m[:, None, None] if m.ndim == 1 else m
    if f.ndim != 1 or m.ndim != 3 or m.shape[0] != f.size or m.shape[1] != m.shape[2]:
        raise ValueError("s is (nf, n, n) or (nf,), with one row a frequency")
    if f.size == 0 or np.any(np.diff(f) <= 0) or not impedance_ohm > 0:
        raise ValueError("frequencies rise, and the impedance lies above 0")
    try:
        import skrf
    except ModuleNotFoundError as reason:
        raise ModuleNotFoundError("scikit-rf is not installed: pip install -e .[rf]") from reason

    return skrf.Network(frequency=skrf.Frequency.from_f(f, unit="Hz"), s=m, z0=impedance_ohm, name=name or None)


def from_network(network: Any, impedance_ohm: float = 50.0) -> tuple[Floats, Complexes]:
    """
    Frequencies and scattering parameters of a `skrf.Network`, renormalised to one real impedance at all ports.

    Parameters
    ----------
    network: with any real impedances. impedance_ohm [ohm]: that is wanted.

    Returns
    -------
    frequency_hz (nf,), s (nf, n, n); (nf,) for a one-port.

    Raises
    ------
    ValueError
        If an impedance is complex or not above 0.
    """
    z = np.asarray(network.z0)
    if np.any(np.abs(z.imag) > 1e-9) or np.any(z.real <= 0) or not impedance_ohm > 0:
        raise ValueError("real impedances above 0 are needed")
    copy = network.copy()
    if np.any(np.abs(z.real - impedance_ohm) > 1e-12):
        copy.renormalize(impedance_ohm)
    s = np.asarray(copy.s, np.complex128)
    return np.asarray(copy.f, np.float64), np.asarray(s[:, 0, 0] if s.shape[1] == 1 else s)
