"""Current-carrying capacity by the published tables, and the conductor temperature that follows from it."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "LIMIT_C",
    "ambient_factor",
    "ampacity_a",
    "ampacity_source",
    "conductor_temperature_c",
    "grouping_factor",
    "grouping_source",
    "reference_ampacity_a",
]

Array = NDArray[np.float64]
Insulation = Literal["pvc70", "xlpe90"]
Method = Literal["e", "c", "b2"]
Arrangement = Literal["bunched", "wall", "ceiling", "perforated_tray", "ladder"]

# Highest conductor temperature in service by kind of insulation, C: IEC 60364-5-52, table 52.1.
LIMIT_C = {"pvc70": 70.0, "xlpe90": 90.0}
_REFERENCE_C = 30.0  # ambient air of the tables


def _limit_c(insulation: str) -> float:
    if insulation not in LIMIT_C:
        raise ValueError(f"insulation {insulation!r} is not known; there are {', '.join(LIMIT_C)}")
    return LIMIT_C[insulation]


def ampacity_source() -> Source:
    """Where the capacities at 30 C come from."""
    return read("upmast.power", "ampacity_iec60364").source


def reference_ampacity_a(area_mm2: ArrayLike, insulation: Insulation = "xlpe90", method: Method = "e") -> Array:
    """
    Tabulated capacity of one circuit of two loaded copper conductors in 30 C air, without grouping.

    Parameters
    ----------
    area_mm2 [mm2]: standard sizes, any shape; nothing is interpolated.
    insulation: 'pvc70' (70 C) or 'xlpe90' (90 C).
    method: 'e' free air, 'c' clipped to a wall, 'b2' in a conduit or duct.

    Returns
    -------
    Current [A], in the shape of `area_mm2`.

    Raises
    ------
    ValueError
        If a size is not in the table; the message names those that are.

    Source: IEC 60364-5-52, tables B.52.10, B.52.12 (method E), B.52.2, B.52.3 (C, B2).

    >>> reference_ampacity_a([6, 16])
    array([ 63., 115.])
    """
    _limit_c(insulation)
    table = read("upmast.power", "ampacity_iec60364")
    column = f"{insulation}_{method}_a"
    if column not in table.header:
        raise ValueError(f"method {method!r} is not known; there are e, c and b2")
    pairs = zip(table.numbers("area_mm2"), table.numbers(column), strict=True)
    have = {area: amps for area, amps in pairs if not np.isnan(amps)}
    area = np.asarray(area_mm2, float)
    sizes = np.array(list(have))
    at = np.clip(np.searchsorted(sizes, area), 0, sizes.size - 1)
    if not np.all(sizes[at] == area):
        wrong = float(np.ravel(area)[np.ravel(sizes[at] != area)][0])
        raise ValueError(f"{wrong:g} mm2 is not in the table; there are {', '.join(f'{a:g}' for a in have)} mm2")
    return np.asarray(np.array(list(have.values()))[at])


def ambient_factor(ambient_c: ArrayLike, insulation: Insulation = "xlpe90") -> Array:
    """
    Factor on the capacity for air other than 30 C: `sqrt((theta_max - theta_a) / (theta_max - 30))`.

    Heat from the conductor goes as `I^2` and leaves as the temperature difference, hence the root. 0 from the limit upwards.

    Parameters
    ----------
    ambient_c [C]: any shape.

    Source: IEC 60364-5-52, table B.52.14; the closed form gives every tabulated value to two decimals.

    >>> ambient_factor([40.0, 60.0]).round(2)
    array([0.91, 0.71])
    """
    limit = _limit_c(insulation)
    return np.asarray(np.sqrt(np.maximum(limit - np.asarray(ambient_c, float), 0.0) / (limit - _REFERENCE_C)))


def grouping_factor(circuits: ArrayLike, arrangement: Arrangement = "bunched") -> Array:
    """
    Factor on the capacity for neighbouring loaded circuits.

    Between tabulated counts the next higher count holds (safe side). Bunched beyond 20: `0.38 sqrt(20 / n)`, the current at
    which the whole bunch gives off the same heat as with 20 (safe, since a bigger bunch has more surface). Single layers
    beyond 9 keep the last factor, see `grouping_source`.

    Parameters
    ----------
    circuits [-]: number of loaded circuits, not of conductors, any shape, at least 1.
    arrangement: 'bunched', or one layer on a 'wall', 'ceiling', 'perforated_tray' or 'ladder'.

    Source: IEC 60364-5-52, table B.52.17.

    >>> grouping_factor([1, 3, 10, 12])
    array([1.  , 0.7 , 0.45, 0.45])
    """
    n = np.asarray(circuits, float)
    if not np.all(n >= 1):
        raise ValueError("there is at least one circuit")
    table = read("upmast.power", "grouping_iec60364")
    rows = {row["arrangement"]: row for row in table.rows}
    if arrangement not in rows:
        raise ValueError(f"arrangement {arrangement!r} is not known; there are {', '.join(rows)}")
    row = rows[arrangement]
    have = [(int(count), float(row[count])) for count in table.header[1:] if row[count]]
    counts, factors = np.array([c for c, _ in have], float), np.array([f for _, f in have])
    factor = factors[np.minimum(np.searchsorted(counts, n), counts.size - 1)]
    if arrangement == "bunched":
        factor = factor * np.sqrt(np.minimum(counts[-1] / n, 1.0))
    return np.asarray(factor)


def grouping_source(circuits: int, arrangement: Arrangement = "bunched") -> Source:
    """Where one grouping factor comes from; beyond the last tabulated count that is not the table any more."""
    source = read("upmast.power", "grouping_iec60364").source
    if arrangement == "bunched" and circuits > 20:
        return Source("own derivation: heat of the bunch as with 20 circuits", mark=Mark.CONFIRMED)
    if arrangement != "bunched" and circuits > 9:
        return Source(source.document, "table B.52.17, no further reduction beyond nine", source.edition, Mark.MEMORY)
    return source


def ampacity_a(
    area_mm2: ArrayLike,
    insulation: Insulation = "xlpe90",
    ambient_c: ArrayLike = 30.0,
    circuits: ArrayLike = 1,
    arrangement: Arrangement = "bunched",
    method: Method = "e",
) -> Array:
    """
    Current-carrying capacity of a pair: `Iz = It(30 C) Ca Cg`.

    Parameters
    ----------
    area_mm2 [mm2], ambient_c [C], circuits [-]: any shapes that broadcast.
    insulation, arrangement, method: as for `reference_ampacity_a`, `grouping_factor`.

    Valid without sun on the cable: solar gain is not in the tables. Source: IEC 60364-5-52, clause 523 and annex B.

    >>> round(float(ampacity_a(16, "xlpe90", 45, 3, "perforated_tray")), 1)  # 115 A x 0.866 x 0.82
    81.7
    """
    return np.asarray(
        reference_ampacity_a(area_mm2, insulation, method)
        * ambient_factor(ambient_c, insulation)
        * grouping_factor(circuits, arrangement)
    )


def conductor_temperature_c(
    current_a: ArrayLike, ampacity_ref_a: ArrayLike, ambient_c: ArrayLike, limit_c: ArrayLike
) -> Array:
    """
    Steady conductor temperature: `theta = theta_a + (theta_max - 30) (I / I_z30)^2`.

    Derivation. A conductor with thermal resistance T to the air and resistance R_max at its limit has
    `theta - theta_a = T R I^2`. The table gives the current I_z30 at which it stands at theta_max in 30 C air:
    `theta_max - 30 = T R_max I_z30^2`. Dividing, with R held at R_max (safe below the limit), gives the equation. Setting
    theta = theta_max gives back the ambient factor, so both say the same thing.

    Parameters
    ----------
    current_a [A]: in the wire, any shape.
    ampacity_ref_a [A]: capacity in 30 C air **including the grouping factor**, without the ambient factor.
    ambient_c [C]: air at the cable.
    limit_c [C]: 70 for PVC, 90 for XLPE: that of the table the capacity is from.

    Valid to the limit; above it the value is too low (R and heat rise further) and only says 'too hot'. No sun.
    Source: own derivation; agrees with IEC 60364-5-52, table B.52.14.

    >>> float(conductor_temperature_c(63.0, 63.0, 30.0, 90.0))
    90.0
    """
    i, i_z, ambient, limit = (np.asarray(x, float) for x in (current_a, ampacity_ref_a, ambient_c, limit_c))
    if not np.all(i_z > 0):
        raise ValueError("ampacity must be positive")
    if not np.all(limit > _REFERENCE_C):
        raise ValueError("the limit must be above the 30 C of the tables")
    return np.asarray(ambient + (limit - _REFERENCE_C) * (i / i_z) ** 2)
