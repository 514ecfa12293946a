"""
What a test of the line says of its own readings: the test voltage of its id, the carriers of its set-up.

A row that names its test in full was measured as that test says, unless a condition beside it says otherwise; what is taken so is told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from upmast.field.readers.reading import Condition, Reading
from upmast.field.setup import Remark
from upmast.finding import Expectation
from upmast.number import number

KEY = "planned"
_WORDS = "write it in the column Conditions where it was another"


def as_planned(
    test: Expectation, readings: Sequence[Reading], tones_hz: Sequence[float] = ()
) -> tuple[tuple[Reading, ...], tuple[Remark, ...]]:
    """
    Readings with the planned conditions where they name their test in full and say none themselves, and what was taken so.

    Parameters
    ----------
    tones_hz [Hz] : both carriers that the set-up of the test names; empty where it names none.
    """
    planned = _conditions(test, tones_hz)
    out: list[Reading] = []
    taken: dict[str, Condition] = {}
    for one in readings:
        more = {} if one.subject.strip().casefold() != test.id.casefold() else _lacking(one, planned)
        taken |= more
        out.append(replace(one, conditions=tuple(sorted({**dict(one.conditions), **more}.items()))) if more else one)
    if not taken:
        return tuple(readings), ()
    return tuple(out), (Remark(KEY, "note", f"taken as planned: {_told(taken)}; {_WORDS}", ""),)


def _conditions(test: Expectation, tones_hz: Sequence[float]) -> dict[str, Condition]:
    out: dict[str, Condition] = {}
    volts, powers = test.data.get("test_voltage_v"), test.data.get("carriers_dbm")
    if isinstance(volts, int | float):
        out["test_voltage_v"] = float(volts)
    if isinstance(powers, tuple) and len(powers) == 2:
        out |= {"carrier_1_dbm": float(powers[0]), "carrier_2_dbm": float(powers[1])}
        if len(tones_hz) == 2:
            out |= {"tone_1_hz": float(tones_hz[0]), "tone_2_hz": float(tones_hz[1])}
    return out


def _lacking(reading: Reading, planned: Mapping[str, Condition]) -> dict[str, Condition]:
    """The planned conditions of which a reading says nothing: one power or one frequency that is written keeps the other from being taken."""
    have = {name for name, _ in reading.conditions}
    groups = (("test_voltage_v",), ("carrier_1_dbm", "carrier_2_dbm"), ("tone_1_hz", "tone_2_hz"))
    swept = {"tone_1_low_hz", "tone_2_low_hz"}
    kept = [some for some in groups if not have & ({*some, *swept} if some[0].startswith("tone") else set(some))]
    return {name: planned[name] for some in kept for name in some if name in planned}


def _told(taken: Mapping[str, Condition]) -> str:
    words = []
    if "test_voltage_v" in taken:
        words.append(f"{taken['test_voltage_v']:g} V")
    if "carrier_1_dbm" in taken:
        words.append(f"2 x {taken['carrier_1_dbm']:g} dBm")
    if "tone_1_hz" in taken:
        tones = [float(taken[name]) for name in ("tone_1_hz", "tone_2_hz")]
        words.append(" and ".join(number(one, "Hz") for one in tones))
    return ", ".join(words)


__all__ = ["KEY", "as_planned"]
