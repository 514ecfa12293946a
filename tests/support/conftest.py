"""An independent reference: a beam of Hermite elements with geometric stiffness, for frequencies and clamp forces."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest


class BeamElements:
    """Euler-Bernoulli beam in the plane, two values a node (deflection, rotation), consistent mass."""

    def __init__(self, nodes_m: Any, stiffness_nm2: float, mass_kg_per_m: float = 1.0, tension_n: Any = 0.0) -> None:
        self.x = np.asarray(nodes_m, float)
        n = self.x.size - 1
        tension = np.broadcast_to(np.asarray(tension_n, float), n)
        self.k, self.m = np.zeros((2 * n + 2, 2 * n + 2)), np.zeros((2 * n + 2, 2 * n + 2))
        for i, h in enumerate(np.diff(self.x)):
            at = slice(2 * i, 2 * i + 4)
            bend = [[12, 6 * h, -12, 6 * h], [6 * h, 4 * h**2, -6 * h, 2 * h**2]]
            bend += [[-12, -6 * h, 12, -6 * h], [6 * h, 2 * h**2, -6 * h, 4 * h**2]]
            pull = [[36, 3 * h, -36, 3 * h], [3 * h, 4 * h**2, -3 * h, -(h**2)]]
            pull += [[-36, -3 * h, 36, -3 * h], [3 * h, -(h**2), -3 * h, 4 * h**2]]
            move = [[156, 22 * h, 54, -13 * h], [22 * h, 4 * h**2, 13 * h, -3 * h**2]]
            move += [[54, 13 * h, 156, -22 * h], [-13 * h, -3 * h**2, -22 * h, 4 * h**2]]
            self.k[at, at] += stiffness_nm2 / h**3 * np.array(bend) + tension[i] / (30 * h) * np.array(pull)
            self.m[at, at] += mass_kg_per_m * h / 420 * np.array(move)

    def frequencies_hz(self, held: Sequence[int]) -> np.ndarray:
        """All natural frequencies with some of the values held at zero."""
        eigh = pytest.importorskip("scipy.linalg", reason="the reference needs scipy").eigh
        free = np.setdiff1d(np.arange(self.k.shape[0]), np.asarray(held) % self.k.shape[0])
        squares = eigh(self.k[np.ix_(free, free)], self.m[np.ix_(free, free)], eigvals_only=True)
        return np.sqrt(np.maximum(squares, 0.0)) / (2 * np.pi)

    def reactions_n(self, supports_m: Any, load_n_per_m: Callable[[float], float]) -> np.ndarray:
        """Forces in rigid supports at nodes under any line load, by Gauss points in each element."""
        f = np.zeros(self.k.shape[0])
        points, weights = np.polynomial.legendre.leggauss(6)
        for i, h in enumerate(np.diff(self.x)):
            for s, weight in zip((points + 1) / 2, weights / 2, strict=True):
                shape = [1 - 3 * s**2 + 2 * s**3, h * (s - 2 * s**2 + s**3), 3 * s**2 - 2 * s**3, h * (s**3 - s**2)]
                f[2 * i : 2 * i + 4] += weight * h * load_n_per_m(self.x[i] + s * h) * np.array(shape)
        held = [2 * int(np.argmin(np.abs(self.x - at))) for at in np.asarray(supports_m)]
        np.testing.assert_allclose(self.x[np.array(held) // 2], supports_m, atol=1e-9)
        free = np.setdiff1d(np.arange(f.size), held)
        u = np.zeros(f.size)
        u[free] = np.linalg.solve(self.k[np.ix_(free, free)], f[free])
        return (f - self.k @ u)[held]


@pytest.fixture(scope="session")
def beam_elements() -> type[BeamElements]:
    return BeamElements
