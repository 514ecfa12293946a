"""What an instrument measured: a reflection over frequency, with the file that it came from and what was mended in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from upmast.rf.distance import frequency_step_hz
from upmast.rf.reflection import return_loss_db

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
SYSTEM_OHM = 50.0
CEILING_DB = 200.0


class Evidence(StrEnum):
    """How much a file can prove: A holds size and phase, B the size alone."""

    A = "A"
    B = "B"

    def __str__(self) -> str:
        return self.value

    @property
    def words(self) -> str:
        return "size and phase" if self is Evidence.A else "size only, without phase: no distances can be read from it"


@dataclass(frozen=True, eq=False)
class Sweep:
    """
    One reflection sweep, referred to 50 Ω, frequencies rising.

    `gamma` is NaN throughout where the file has no phase, so that nothing can be computed from a phase that was never
    measured; `magnitude` is always there. `digest` is that of the raw bytes; `comments` are the words of the file.
    """

    file: str
    digest: str
    frequency_hz: Floats
    gamma: Complexes
    magnitude: Floats
    magnitude_only: bool
    reference_ohm: float  # as the file says; gamma is referred to 50 Ω
    format: str  # MA, DB or RI
    comments: tuple[str, ...] = ()
    mended: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for array in (self.frequency_hz, self.gamma, self.magnitude):
            array.setflags(write=False)

    @property
    def points(self) -> int:
        return int(self.frequency_hz.size)

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest frequency, Hz."""
        return float(self.frequency_hz[0]), float(self.frequency_hz[-1])

    @property
    def width_hz(self) -> float:
        return self.span[1] - self.span[0]

    @property
    def middle_hz(self) -> float:
        return 0.5 * (self.span[0] + self.span[1])

    @property
    def evidence(self) -> Evidence:
        return Evidence.B if self.magnitude_only else Evidence.A

    @cached_property
    def step_hz(self) -> float:
        """The even step of the frequencies, Hz. Raises ValueError where it is uneven; see `frequency_step_hz`."""
        return frequency_step_hz(self.frequency_hz)

    @cached_property
    def return_loss_db(self) -> Floats:
        """Return loss at each point, dB; infinite where nothing came back."""
        out = return_loss_db(self.magnitude)
        out.setflags(write=False)
        return out

    @cached_property
    def bounded_db(self) -> Floats:
        """Return loss with a ceiling of 200 dB, for means and percentiles: beyond every instrument."""
        out = np.minimum(self.return_loss_db, CEILING_DB)
        out.setflags(write=False)
        return out

    @cached_property
    def rising_db(self) -> Floats:
        """The values of `bounded_db` from the lowest on."""
        out = np.sort(self.bounded_db)
        out.setflags(write=False)
        return out

    def share_db(self, share: float) -> float:
        """Return loss that a share of the points stays below, dB, straight between points, as `numpy.percentile`."""
        return share_of(self.rising_db, share)

    def inside(self, ranges: tuple[tuple[float, float], ...]) -> NDArray[np.bool_]:
        """Which points lie in any of some frequency ranges, edges included."""
        f = self.frequency_hz
        out = np.zeros(f.shape, dtype=np.bool_)
        if ranges:
            lows, highs = zip(*ranges, strict=True)
            for first, last in zip(f.searchsorted(lows).tolist(), f.searchsorted(highs, "right").tolist(), strict=True):
                out[first:last] = True
        return out


def gammas(sweeps: Sequence[Sweep]) -> Complexes:
    """Reflections of sweeps over the same frequencies, one row each."""
    return sweeps[0].gamma[None] if len(sweeps) == 1 else np.array([sweep.gamma for sweep in sweeps])


def prepare_levels(sweeps: Sequence[Sweep]) -> None:
    """Return loss, bounded and rising, of sweeps with the same number of points in one go: what comes out is the same as one by one."""
    loss = return_loss_db(np.array([sweep.magnitude for sweep in sweeps]))
    bounded = np.minimum(loss, CEILING_DB)
    rising = np.sort(bounded, axis=-1)
    for block in (loss, bounded, rising):
        block.setflags(write=False)
    for k, sweep in enumerate(sweeps):
        sweep.__dict__.update(
            return_loss_db=loss[k], bounded_db=bounded[k], rising_db=rising[k]
        )  # as functools.cached_property does


def share_of(rising: Floats, share: float) -> float:
    """
    The value that a share of some rising values stays below, straight between two of them.

    >>> share_of(np.array([1.0, 2.0, 4.0]), 0.75)
    3.0
    """
    place = share * (rising.size - 1)
    below = int(place)
    above = min(below + 1, rising.size - 1)
    return float(rising[below] + (place - below) * (rising[above] - rising[below]))


@dataclass(frozen=True, eq=False)
class TwoPort:
    """Scattering of a two-port part over frequency, referred to 50 Ω: `s` has the shape (points, 2, 2)."""

    file: str
    digest: str
    frequency_hz: Floats
    s: Complexes
    reference_ohm: float
    format: str
    noise: Floats  # rows of frequency [Hz], minimum noise figure [dB], |Gopt|, its angle [deg], Rn/R; may be empty
    comments: tuple[str, ...] = ()
    mended: tuple[str, ...] = ()

    @property
    def points(self) -> int:
        return int(self.frequency_hz.size)
