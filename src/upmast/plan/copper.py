"""The ways of a system as arrays, and what one wire of a cable does in its bundle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from upmast.catalogue.part import Breaker
from upmast.constants import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from upmast.power.protection import breaker_ohm

Array = NDArray[np.float64]
ALPHA = COPPER_TEMPERATURE_COEFFICIENT_PER_K.value


@dataclass(frozen=True, slots=True)
class Copper:
    """One wire of a cable in its bundle."""

    r20: float  # ohm/km
    contact_ohm: float
    rated_a: float
    reference_a: float
    limit_c: float
    iz_a: float

    def ohm(self, length_m: float, theta_c: Array | float) -> Array:
        return np.asarray(self.r20 * length_m / 1000 * (1 + ALPHA * (np.asarray(theta_c) - 20)) + self.contact_ohm)


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """The ways of all radios as arrays [radios, ways], padded; `real` says which are ways."""

    real: NDArray[np.bool_]
    rating_a: Array
    breaker_ohm: Array
    length_m: Array
    r20: Array
    contact_ohm: Array
    rated_a: Array
    reference_a: Array
    limit_c: Array
    iz_a: Array

    def at(self, picked: tuple[int, ...]) -> Ways:
        """One way for each radio: arrays [radios, 1]."""
        n = len(self.rating_a)
        pick = (np.arange(n), np.array(picked[:n], np.intp))
        return Ways(*(getattr(self, name)[pick][:, None] for name in self.__slots__))


def ohm_of(breaker: Breaker | None) -> float:
    if breaker is None:
        return 0.0
    return breaker.resistance_ohm if breaker.resistance_ohm is not None else float(breaker_ohm(breaker.rated_a))


def share_of(margin: Array, of: Array) -> Array:
    """A margin as a share of its rating; 1 where there is no rating."""
    fine = np.isfinite(of)
    return np.where(fine, margin / np.where(fine, of, 1.0), 1.0)


__all__ = ["ALPHA", "Array", "Copper", "Ways", "ohm_of", "share_of"]
