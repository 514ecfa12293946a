"""
The section of a cable with several cores, and how its conductors warm each other: the matrix of thermal resistances.

Round conductors lie in a disc of filler whose edge, the inside of the sheath, has one temperature. Each conductor is a line
source with its image, and multipoles with theirs, so that its surface has one temperature, too: copper short-circuits heat.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from upmast.source import Mark, Source

__all__ = [
    "FILLER_K_M_PER_W",
    "FILLER_SOURCE",
    "SHEATH_K_M_PER_W",
    "SHEATH_SOURCE",
    "Section",
    "laid_up",
    "line_source_matrix",
    "matrix",
    "sheath_k_m_per_w",
]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
FILLER_K_M_PER_W = 11.0
FILLER_SOURCE = Source(
    "own calibration", "cores loosely laid with fibre tubes, against the many-core factors of DIN VDE 0298-4", mark=Mark.PRACTICE
)  # fmt: skip
SHEATH_K_M_PER_W = {"hdpe": 3.5, "pvc": 5.0, "lszh": 3.5}
SHEATH_SOURCE = Source("IEC 60287-2-1", "table 1: PE 3.5, PVC 5.0", mark=Mark.MEMORY)
STRANDING = 1.15  # diameter of a stranded conductor over that of a solid round: common practice, no source
CORE_WALL_M = 0.9e-3  # insulation of one core: common practice, no source
_MOST_CORES = 150
_FEW_CORES = 10
_MANY_CORES = 60  # beyond, the third order is within 0.04 % of the largest entry, in a quarter of the time


@dataclass(frozen=True, slots=True)
class Section:
    """
    Where the conductors lie and what is around them.

    Parameters
    ----------
    x_m, y_m [m] (n): centres from the axis. conductor_m [m]: radius of each conductor. inner_m [m]: radius of the inside of the
        sheath (or shield). outer_m [m]: outer diameter of the cable. filler_k_m_per_w, sheath_k_m_per_w [K m/W].

    Raises
    ------
    ValueError
        For conductors that overlap or don't lie inside, or dimensions that aren't positive.
    """

    x_m: tuple[float, ...]
    y_m: tuple[float, ...]
    conductor_m: float
    inner_m: float
    outer_m: float
    filler_k_m_per_w: float = FILLER_K_M_PER_W
    sheath_k_m_per_w: float = SHEATH_K_M_PER_W["hdpe"]

    def __post_init__(self) -> None:
        if not 1 <= len(self.x_m) <= _MOST_CORES or len(self.x_m) != len(self.y_m):
            raise ValueError(f"a section has 1 to {_MOST_CORES} conductors, each with an x and a y")
        if not (self.conductor_m > 0 and 0 < 2 * self.inner_m <= self.outer_m and math.isfinite(self.outer_m)):
            raise ValueError("radii must be positive, and the inside of the sheath within its outside")
        if not (self.filler_k_m_per_w > 0 and self.sheath_k_m_per_w > 0):
            raise ValueError("thermal resistivities must be positive")
        z = self.centres
        if not np.all(np.abs(z) + self.conductor_m < self.inner_m):
            raise ValueError("a conductor doesn't lie inside the sheath")
        apart = np.abs(z[:, None] - z) + np.where(np.eye(z.size, dtype=bool), np.inf, 0.0)
        if not np.all(apart > 2 * self.conductor_m * (1 - 1e-9)):
            raise ValueError("two conductors overlap")

    @property
    def centres(self) -> Complex:
        """Centres as complex numbers."""
        return np.array(self.x_m) + 1j * np.array(self.y_m)

    @property
    def sheath_resistance(self) -> float:
        """`T_sh = rho / (2 pi) ln(D_e / D_in)` [K m/W]. Source: IEC 60287-2-1, 2.1.3."""
        return self.sheath_k_m_per_w / (2 * math.pi) * math.log(self.outer_m / (2 * self.inner_m))


def sheath_k_m_per_w(sheath: str) -> float:
    """
    Thermal resistivity of a sheath [K m/W].

    >>> sheath_k_m_per_w("hdpe")
    3.5
    """
    if sheath not in SHEATH_K_M_PER_W:
        raise ValueError(f"sheath {sheath!r} is not known; there are {', '.join(SHEATH_K_M_PER_W)}")
    return SHEATH_K_M_PER_W[sheath]


def _layers(count: int) -> list[int]:
    """Cores of each layer, from the inside: 1 to 5 in the middle, six more in each further layer, the last maybe not full."""
    best: list[int] = []
    for inner in range(1, 6):
        layers, left, ring = [], count, inner
        while left > 0:
            layers.append(min(ring, left))
            left -= layers[-1]
            ring = ring + 6 if ring > 1 else 6
        full = inner + 6 * (len(layers) - 1) if len(layers) > 1 else inner
        # the arrangement of fewest layers whose last layer is fullest
        if not best or (len(layers), -layers[-1] / full) < (
            len(best),
            -best[-1] / max(best[0] + 6 * (len(best) - 1), 1),
        ):
            best = layers
    return best


def laid_up(
    pairs: int,
    area_mm2: float,
    outer_mm: float,
    filler_k_m_per_w: float = FILLER_K_M_PER_W,
    sheath: str = "hdpe",
    core_wall_m: float = CORE_WALL_M,
) -> Section:
    """
    A section for a cable of which only the pairs, the size and the outer diameter are known.

    Cores in layers (1 to 5 in the middle, six more in each), spread evenly over what is inside the sheath; the two of a pair
    follow each other, and where they fall in two layers they lie one over the other. Conductor diameter `1.15 x 2 sqrt(A / pi)`, sheath `1.0 mm + 0.035 D`.

    Parameters
    ----------
    pairs: 1 to 75. area_mm2 [mm2]: of each conductor. outer_mm [mm]: over the sheath. filler_k_m_per_w [K m/W].
    sheath: 'hdpe', 'pvc' or 'lszh'. core_wall_m [m]: insulation of one core.

    Raises
    ------
    ValueError
        If the cores don't fit, with the diameter that they need.

    Source: common practice of laying up cores; thickness of sheaths as in IEC 60502-1, clause 13.3.

    >>> section = laid_up(2, 6.0, 17.5)
    >>> len(section.x_m), round(1e3 * section.conductor_m, 2)
    (4, 1.59)
    """
    conductor = STRANDING * math.sqrt(area_mm2 / math.pi) / 1000
    core = conductor + core_wall_m
    inner = outer_mm / 2000 - (1.0 + 0.035 * outer_mm) / 1000
    rings: list[tuple[int, float]] = []
    radius = 0.0
    for n in _layers(2 * pairs):
        least = core / math.sin(math.pi / n) if n > 1 else 0.0
        radius = max(least, radius + 2 * core if rings else 0.0)
        rings.append((n, radius))
    if radius + core > inner:
        need = 2000 * (radius + core)
        raise ValueError(
            f"{2 * pairs} cores of {area_mm2:g} mm2 need {need:.1f} mm inside the sheath, and {outer_mm:g} mm outside leave "
            f"{2000 * inner:.1f} mm: correct diameter_mm, or take policy.trunk_heat: table"
        )
    spread = (inner - core) / radius if radius > 0 else 1.0
    z: list[complex] = []
    angle = 0.0
    for n, r in rings:
        z += [cmath.rect(r * spread, angle + 2 * math.pi * k / n) for k in range(n)]
        # the next layer begins over the last core of this one, which may be its other half
        angle += 2 * math.pi * (n - 1) / n
    return Section(
        tuple(c.real for c in z), tuple(c.imag for c in z), conductor, inner, outer_mm / 1000, filler_k_m_per_w,
        sheath_k_m_per_w(sheath),
    )  # fmt: skip


def line_source_matrix(section: Section) -> Array:
    """
    Thermal resistances by line sources and images alone: `T_ii = rho/(2 pi) ln((R^2 - b^2)/(R r))`,
    `T_ij = rho/(4 pi) ln((R^4 + b_i^2 b_j^2 - 2 R^2 b_i.b_j)/(R^2 d_ij^2))`.

    Exact for one conductor on the axis; for packed cores too high, see `matrix`.

    Returns
    -------
    [K m/W] [n, n]: rise of conductor i over the inside of the sheath for one watt a metre in conductor j.

    Source: own derivation (images in a circle).
    """
    z, big, r = section.centres, section.inner_m, section.conductor_m
    b2 = np.abs(z) ** 2
    cross = (z[:, None] * z.conj()).real
    apart2 = np.abs(z[:, None] - z) ** 2 + np.eye(z.size)
    out = np.log((big**4 + b2[:, None] * b2 - 2 * big**2 * cross) / (big**2 * apart2)) / 2
    np.fill_diagonal(out, np.log((big**2 - b2) / (big * r)))
    return np.asarray(section.filler_k_m_per_w / (2 * math.pi) * out)


@lru_cache(maxsize=256)
def matrix(section: Section, order: int | None = None) -> Array:
    """
    Thermal resistances between the conductors and the inside of the sheath, with multipoles.

    The rise is `Re sum_j [A_j ln((R^2 - z z_j*)/(R (z - z_j))) + sum_m c_jm (r/(z - z_j))^m - c_jm* (r z/(R^2 - z z_j*))^m]`,
    which is 0 on the sheath; the c_jm are such that each conductor's surface has one temperature, in the sense of least
    squares over points on it.

    Parameters
    ----------
    section: Section. order: highest multipole; by default 8 for few cores, 5 for more than ten, 3 for more than 60.

    Returns
    -------
    [K m/W] [n, n], symmetric, not to be written to.

    Source: own derivation (circle theorem), checked by finite volumes and IEC 60364-5-52.

    >>> ring = Section((3.2e-3, 0.0, -3.2e-3, 0.0), (0.0, 3.2e-3, 0.0, -3.2e-3), 1.56e-3, 6.4561e-3, 16.5e-3, 6.0)
    >>> matrix(ring).round(2)[0].tolist()
    [0.93, 0.27, 0.16, 0.27]
    """
    z, big, r = section.centres, section.inner_m, section.conductor_m
    n = z.size
    highest = order if order is not None else 8 if n <= _FEW_CORES else 5 if n <= _MANY_CORES else 3
    count = 2 * highest + 3
    turn = np.exp(2j * np.pi * (np.arange(count) + 0.25) / count)
    points = (z[:, None] + r * turn).reshape(-1)  # [n * count]
    shifted, imaged = points[:, None] - z, big**2 - points[:, None] * z.conj()
    columns = []
    for m in range(1, highest + 1):
        direct, mirrored = (r / shifted) ** m, (r * points[:, None] / imaged) ** m
        # c = 1 and c = i: Re(c f - c* g)
        columns += [(direct - mirrored).real, (-(direct + mirrored)).imag]
    surface = np.repeat(np.eye(n), count, axis=0)
    left = np.concatenate([*columns, -surface], axis=1)
    right = -np.log(np.abs(imaged / (big * shifted)))
    answer = np.linalg.lstsq(left, right, rcond=None)[0]
    own = section.filler_k_m_per_w / (2 * math.pi) * answer[-n:]
    out = np.asarray((own + own.T) / 2)
    out.setflags(write=False)
    return out
