"""One reading of an instrument in the project's own unit, with everything that was written beside it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from upmast.errors import Fault

Condition = float | str


@dataclass(frozen=True, slots=True)
class Kind:
    """
    A kind of reading: the unit it is kept in, what its unit may measure, and between which values it can lie at all.

    `scale` is the size of the unit in the canonical one of its dimension (1e6 for MΩ). `never` are units that would be a slip of
    upper and lower case. `needs` are conditions without which it can't be judged. `assumed` is the unit where none is written, ''
    where it has to be said.
    """

    name: str
    title: str
    unit: str
    dimensions: tuple[str, ...]
    scale: Decimal
    low: float
    high: float
    needs: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    assumed: str = ""


_ONE, _MILLI, _MEGA = Decimal(1), Decimal("0.001"), Decimal(1_000_000)
# the bounds only keep out slips of unit, sign or decimal: no instrument reads beyond them
KINDS: dict[str, Kind] = {
    one.name: one
    for one in (
        Kind(
            "pim", "intermodulation", "dBc", ("level to carrier", "level"), _ONE, -250.0, 0.0,
            ("carrier_1_dbm", "carrier_2_dbm", "tone_1_hz", "tone_2_hz"),
        ),
        Kind("optical-loss", "optical loss", "dB", ("loss",), _ONE, -20.0, 90.0, ("wavelength_nm", "direction"), (), "dB"),
        Kind("voltage", "voltage", "V", ("voltage",), _ONE, -2000.0, 2000.0, (), ("kV",), "V"),
        Kind(
            "loop-resistance", "loop resistance", "Ω", ("resistance",), _ONE, 0.0, 1e6, ("temperature_c",),
            ("MΩ", "GΩ", "TΩ"),
        ),
        Kind(
            "insulation-resistance", "insulation resistance", "MΩ", ("resistance",), _MEGA, 0.0, 1e9,
            ("test_voltage_v", "temperature_c"), ("mΩ", "µΩ"),
        ),
        Kind(
            "bond-resistance", "bond resistance", "mΩ", ("resistance",), _MILLI, 0.0, 1e6, (), ("kΩ", "MΩ", "GΩ", "TΩ"),
        ),
        Kind("torque", "torque", "N·m", ("torque",), _ONE, 0.0, 2000.0),
        Kind("end-face-grade", "end-face grade", "", (), _ONE, 0.0, 1.0),
        Kind("end-face-count", "count of clean end faces", "", (), _ONE, 0.0, 10_000.0),
        Kind("closed-count", "joints closed or ports capped", "", (), _ONE, 0.0, 10_000.0),
        Kind("humidity-spot", "spot of a humidity card", "%", ("percent",), _ONE, 1.0, 100.0, ("changed", "temperature_c"), (), "%"),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reading:
    """
    One reading.

    `subject` is the text of the file, not yet matched with the line. `value` is in `unit`; with `comparator` '<' or '>' it is only a
    bound. `value` is None where the meter was over its range (`comparator` '>'), or where a grade has a meaning that the file does
    not say. `conditions` are pairs of a name with its unit (`temperature_c`) and a number or text; those in `declared` were typed by
    a person, not read from the file. `row` and `column` count from 1 in the file, `written` is the cell as it stands there.
    """

    kind: str
    subject: str
    value: float | None
    comparator: str
    unit: str
    conditions: tuple[tuple[str, Condition], ...]
    instrument: str
    serial: str
    time: str  # ISO 8601 as far as the file tells it, '' if it does not
    row: int
    column: int = 0
    written: str = ""
    file: str = ""
    declared: tuple[str, ...] = ()

    def condition(self, name: str) -> Condition | None:
        return next((value for key, value in self.conditions if key == name), None)

    @property
    def missing(self) -> tuple[str, ...]:
        """What it needs to be judged and the file does not say."""
        have = {name for name, _ in self.conditions}
        lacking = [one for one in KINDS[self.kind].needs if one not in have and f"{one[:-3]}_low_hz" not in have]
        if self.kind == "end-face-grade" and self.value is None:
            lacking.append("meaning of the grade")
        return tuple(lacking)

    def as_data(self) -> dict[str, object]:
        return {
            "kind": self.kind, "subject": self.subject, "value": self.value, "comparator": self.comparator, "unit": self.unit,
            "conditions": dict(self.conditions), "instrument": self.instrument, "serial": self.serial, "time": self.time,
            "row": self.row, "column": self.column, "written": self.written, "file": self.file,
            "declared": list(self.declared), "missing": list(self.missing),
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Readings:
    """All readings of a table; rows that hold none with the reason, what was guessed, what was mended, and rows that can't be read."""

    file: str
    digest: str
    readings: tuple[Reading, ...]
    left_out: tuple[tuple[int, str], ...] = ()
    guesses: tuple[str, ...] = ()
    mended: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()  # of the rows that could not be read beside these

    def of(self, kind: str) -> tuple[Reading, ...]:
        return tuple(one for one in self.readings if one.kind == kind)
