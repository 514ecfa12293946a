"""What an insulation test is made with, its limit, and what a good cable should read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "HALVING_K",
    "HALVING_SOURCE",
    "InsulationTest",
    "insulation_at_20_ohm",
    "insulation_expected_ohm",
    "insulation_test",
]

Array = NDArray[np.float64]
HALVING_K = 10.0
HALVING_SOURCE = Source("common practice, no source", clause="insulation halves with each 10 K", mark=Mark.PRACTICE)


@dataclass(frozen=True, slots=True)
class InsulationTest:
    """
    One test: voltage [V, direct] and least resistance [ohm] that passes, with the source of both.

    Before it radios and surge protectors are disconnected; fibres stay untouched; afterwards the cores are discharged.
    """

    test_v: float
    least_ohm: float
    source: Source


def insulation_test(system_v: float, extra_low: bool = False) -> InsulationTest:
    """
    Voltage and limit of the insulation test of a system.

    Parameters
    ----------
    system_v [V]: nominal. extra_low: the system is SELV or PELV, so that the lowest row counts (up to 120 V direct).

    Returns
    -------
    `InsulationTest`. Source: IEC 60364-6, table 6.1 (from memory: confirm before judging by it).

    >>> found = insulation_test(48.0, extra_low=True)
    >>> found.test_v, found.least_ohm, str(found.source.mark)
    (250.0, 500000.0, 'memory')
    """
    if not 0 < system_v < float("inf"):
        raise ValueError("the system needs a voltage")
    table = read("upmast.earth", "insulation_iec60364_6")
    rows = {row["system"]: row for row in table.rows}
    if extra_low and system_v > float(rows["extra_low"]["up_to_v"]):
        raise ValueError(f"{system_v:g} V is no extra-low voltage")
    kind = "extra_low" if extra_low else "low" if system_v <= float(rows["low"]["up_to_v"]) else "above"
    return InsulationTest(float(rows[kind]["test_v"]), float(rows[kind]["least_ohm"]), table.source)


def _checked(temperature_c: ArrayLike, cores: ArrayLike, **positive: ArrayLike) -> list[Array]:
    t, n = np.asarray(temperature_c, float), np.asarray(cores, float)
    arrays = [np.asarray(value, float) for value in positive.values()]
    for name, array in zip(positive, arrays, strict=True):
        if not np.all((array > 0) & (array < np.inf)):
            raise ValueError(f"{name} must be positive")
    if not np.all((t >= -60) & (t <= 120)):
        raise ValueError("temperature must lie between -60 and 120 C")
    if not np.all((n >= 1) & (n < np.inf)):
        raise ValueError("there is at least one core")
    return [t, n, *arrays]


def insulation_expected_ohm(
    ohm_km: ArrayLike, length_m: ArrayLike, temperature_c: ArrayLike = 20.0, cores: ArrayLike = 1
) -> Array:
    """
    Insulation resistance that a sound cable should show: `R = k 1000 / l / 2^((theta - 20) / 10) / n`.

    Parameters
    ----------
    ohm_km [ohm km]: k of the data sheet at 20 C, one core; it is DIVIDED by the length, not multiplied.
    length_m [m]: l. temperature_c [C]: theta of the cable. cores: n tied together in the test. Broadcast.

    Returns
    -------
    Resistance [ohm]; joints, protectors and damp ends come on top and are mostly what a real test reads.

    Source: definition of ohm km; `HALVING_SOURCE`, a rule of thumb.

    >>> float(insulation_expected_ohm(100e6, 50.0)), float(insulation_expected_ohm(100e6, 50.0, 40.0, 2))
    (2000000000.0, 250000000.0)
    """
    t, n, k, length = _checked(temperature_c, cores, ohm_km=ohm_km, length_m=length_m)
    return np.asarray(k * 1e3 / length / n * 2 ** (-(t - 20) / HALVING_K))


def insulation_at_20_ohm(reading_ohm: ArrayLike, temperature_c: ArrayLike, cores: ArrayLike = 1) -> Array:
    """
    A reading brought to 20 C and one core, to compare it with an earlier one: `R 2^((theta - 20) / 10) n`.

    Parameters
    ----------
    reading_ohm [ohm]. temperature_c [C]: of the cable. cores: tied together. Broadcast.

    Returns
    -------
    Resistance [ohm]. Source: `HALVING_SOURCE`, a rule of thumb: limits apply to the reading as it is.

    >>> float(insulation_at_20_ohm(250e6, 40.0, 2))
    2000000000.0
    """
    t, n, reading = _checked(temperature_c, cores, reading_ohm=reading_ohm)
    return np.asarray(reading * n * 2 ** ((t - 20) / HALVING_K))
