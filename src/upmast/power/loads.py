"""What hangs at the ports of a network: constant power with a current limit, constant current, resistance, in any mix."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Loads", "absorbed"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Loads:
    """
    The loads at the m ports; each port may have all three parts at once.

    `I = min(P / V, I_lim) + I_0 + G V`

    Parameters
    ----------
    power_w [W] [..., m]: constant-power part (a radio that is on), at the terminals; 0 for a radio that is off.
    current_a [A] [..., m]: constant-current part (an obstruction light).
    conductance_s [S] [..., m]: resistive part (a heater): `P / V^2` at its rated voltage.
    limit_a [A] [..., m]: largest current of the constant-power part; infinite where there is none.

    All but `power_w` may be one number for all ports. Leading axes are scenarios.

    Raises
    ------
    ValueError
        For a negative or missing number, or shapes that don't fit together.

    >>> Loads([500.0, 700.0], limit_a=[15.0, 20.0]).power_w.shape
    (2,)
    """

    power_w: Array
    current_a: Array
    conductance_s: Array
    limit_a: Array

    def __init__(
        self,
        power_w: ArrayLike,
        current_a: ArrayLike = 0.0,
        conductance_s: ArrayLike = 0.0,
        limit_a: ArrayLike = np.inf,
    ) -> None:
        given = {"power_w": power_w, "current_a": current_a, "conductance_s": conductance_s, "limit_a": limit_a}
        for name, value in given.items():
            array = np.asarray(value, float)
            object.__setattr__(self, name, array)
            if not (array >= 0).all() or (name != "limit_a" and not np.isfinite(array).all()):
                raise ValueError(f"{name} can't be negative or missing")
        if self.power_w.ndim == 0:
            raise ValueError("power_w needs the ports on its last axis")
        ports = self.power_w.shape[-1]
        shapes = [getattr(self, name).shape for name in given]
        for name, shape in zip(given, shapes, strict=True):
            if shape and shape[-1] not in (1, ports):
                raise ValueError(f"{name} needs {ports} ports on its last axis")
        try:
            np.broadcast_shapes(*shapes)
        except ValueError as fault:
            raise ValueError("the scenarios of the parts of a load don't fit together") from fault


def absorbed(voc: Array, z: Array, current: Array | None, conductance: Array | None) -> tuple[Array, Array]:
    """
    Constant currents and resistances taken into the network, exactly; what is left are the constant-power parts.

    `Z' = (1 + Z G)^-1 Z`, `Voc' = (1 + Z G)^-1 (Voc - Z I_0)`: from `V = Voc - Z (I + I_0 + G V)`.

    Parameters
    ----------
    voc [V] [s, m], z [ohm] [s, m, m] symmetric; current [A], conductance [S] [s, m], None for none.

    Returns
    -------
    Open-circuit voltages and Thevenin matrix with the linear parts at work. A voltage may be negative: the constant
    currents alone are then too much.

    Source: own derivation (Kirchhoff's laws).

    >>> voc, z = absorbed(np.array([[48.0]]), np.array([[[0.5]]]), np.array([[2.0]]), np.array([[2.0]]))
    >>> float(voc[0, 0]), float(z[0, 0, 0])
    (23.5, 0.25)
    """
    if current is not None:
        voc = voc - (z @ current[:, :, None])[:, :, 0]
    if conductance is not None:
        matrix = np.eye(voc.shape[1]) + z * conductance[:, None, :]
        both = np.linalg.solve(matrix, np.concatenate([voc[:, :, None], z], axis=2))
        voc, z = both[:, :, 0], both[:, :, 1:]
        z = (z + np.swapaxes(z, 1, 2)) / 2
    return voc, z
