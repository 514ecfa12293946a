"""
Which column of a table of single readings holds what: the readings, what they belong to, and the conditions beside them.

A header may carry conditions itself (`1310 nm A-B (dB)`, `IR @ 250 V (MΩ)`); so may the lines above the table (`Carrier power; 43 dBm`).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from upmast.field.readers.cell_value import folded
from upmast.field.readers.column_content import by_content
from upmast.field.readers.header_words import Rule, head_of
from upmast.field.readers.mapping import Column, Mapping
from upmast.field.readers.mapping_guess import columns_of, decimal_for, is_nothing, numeric
from upmast.field.readers.mapping_memory import Memory
from upmast.field.readers.reading import KINDS, Condition
from upmast.field.readers.table import Table
from upmast.field.readers.trace_columns import has_own_unit, sample_of, unit_by_range
from upmast.field.readers.unit_words import measure_of

NONE = ("no unit",)
_NO = (
    "limit",
    "max",
    "maximum",
    "min",
    "minimum",
    "spec",
    "threshold",
    "budget",
    "expected",
    "target",
    "required",
    "allowed",
)
SHIELD = ("shield", "screen", "sheath", "braid")
FIBRE_OR_COAX = "it can be the loss of a fibre"
EXTREMES = {"lowest": "lowest", "smallest": "lowest", "highest": "highest", "largest": "highest"}
SUBJECT, VALUE, UNIT, KIND = "subject", "value", "unit", "kind"
VALUE_RULES = (
    Rule("pim", "intermodulation", (), ("level to carrier",), (*_NO, "carrier"), 0.8, True),
    Rule(
        "pim", "intermodulation",
        (("intermodulation", 1.0), ("im3", 1.0), ("im5", 1.0), ("im7", 1.0), ("im9", 1.0), ("im11", 1.0), ("intermodulation level", 1.0), ("im level", 0.9)),
        ("level", "level to carrier"), (*_NO, "frequency", "order", "carrier", "tone", "f1", "f2", "mode"), 0.0, True,
    ),
    Rule(
        "optical-loss", "optical loss",
        (("optical loss", 1.0), ("insertion loss", 0.95), ("loss", 0.8), ("attenuation", 0.85), ("il", 0.85), ("dampfung", 0.85), ("link loss", 0.95)),
        ("loss",), (*_NO, "return", "rl", "cable", "s11", "orl", "reflectance", "vswr"), 0.0, True,
    ),
    Rule("voltage", "voltage", (("voltage", 0.9), ("u", 0.7), ("vdc", 0.9)), ("voltage",), (*_NO, "test", "applied", "range", "vtest"), 0.7, True),
    Rule(
        "loop-resistance", "loop resistance",
        (("loop resistance", 1.0), ("rloop", 1.0), ("loop", 0.85), ("schleifenwiderstand", 1.0), ("resistance", 0.7)),
        ("resistance",), (*_NO, "insulation", "bond", "earth", "ground", "test", "iso", *SHIELD), 0.0, True,
    ),
    Rule(
        "insulation-resistance", "insulation resistance",
        (("insulation resistance", 1.0), ("insulation", 0.95), ("ir", 0.9), ("riso", 1.0), ("isolation", 0.8), ("isolationswiderstand", 1.0)),
        ("resistance",), (*_NO, "bond", "loop", "temperature"), 0.0, True,
    ),
    Rule(
        "bond-resistance", "bond resistance",
        (("bond resistance", 1.0), ("bond", 0.9), ("lug bar", 0.9), *((f"{word} resistance", 1.0) for word in SHIELD), ("earth continuity", 0.9), ("resistance", 0.7)),
        ("resistance",), (*_NO, "insulation", "loop", "electrode", "test", "iso"), 0.0, True,
    ),
    Rule("torque", "torque", (("torque", 1.0),), ("torque",), _NO, 0.8, True),
    Rule(
        "end-face-grade", "end-face grade",
        (("end face", 1.0), ("face", 0.9), ("face grade", 1.0), ("grade", 0.9), ("inspection", 0.75), ("cleanliness", 0.85)),
        NONE, (*_NO, "date", "time", "by"), 0.0, True,
    ),
    Rule(
        "end-face-count", "clean end faces, counted",
        (("face clean", 1.0), ("face passed", 1.0), ("face pass", 1.0), ("face ok", 0.95), ("face good", 0.95)),
        NONE, (*_NO, "date", "time", "by"), 0.0, True,
    ),
    Rule(
        "closed-count", "joints closed or ports capped",
        (("closed", 0.95), ("joints closed", 1.0), ("sealed", 0.95), ("joints sealed", 1.0), ("capped", 0.95), ("ports capped", 1.0), ("caps", 0.85)),
        NONE, (*_NO, "date", "time", "by"), 0.0, True,
    ),
    Rule(
        "humidity-spot", "spot of a humidity card",
        (("humidity card", 1.0), ("spot", 0.9), ("card spot", 1.0), ("humidity indicator", 1.0)),
        ("percent",), (*_NO, "changed", "colour", "color"), 0.0, True,
    ),
)  # fmt: skip
PREAMBLE_RULES = (
    Rule("carrier-1", "power of carrier 1", (("carrier 1", 1.0), ("carrier1", 1.0), ("power 1", 0.95), ("power1", 0.95), ("p1", 0.95), ("f1 power", 1.0), ("tone 1 power", 1.0)), ("power", "level"), ("frequency",)),
    Rule("carrier-2", "power of carrier 2", (("carrier 2", 1.0), ("carrier2", 1.0), ("power 2", 0.95), ("power2", 0.95), ("p2", 0.95), ("f2 power", 1.0), ("tone 2 power", 1.0)), ("power", "level"), ("frequency",)),
    Rule("carrier", "power of each carrier", (("carrier power", 1.0), ("tx power", 0.95), ("test power", 0.95), ("carrier", 0.85), ("power", 0.7)), ("power", "level"), ("1", "2", "carrier1", "carrier2", "power1", "power2", "p1", "p2", "f1", "f2", "frequency", "consumption", "optical")),
    Rule("tone-1", "frequency of carrier 1", (("f1", 1.0), ("frequency 1", 1.0), ("frequency1", 1.0), ("carrier 1 frequency", 1.0), ("tone 1", 0.9), ("carrier 1", 0.85)), ("frequency",), ("power",)),
    Rule("tone-2", "frequency of carrier 2", (("f2", 1.0), ("frequency 2", 1.0), ("frequency2", 1.0), ("carrier 2 frequency", 1.0), ("tone 2", 0.9), ("carrier 2", 0.85)), ("frequency",), ("power",)),
    Rule("order", "order of the product", (("order", 0.95), ("product order", 1.0)), NONE, ("frequency", "work", "purchase")),
    Rule("mode", "swept, fixed or dynamic", (("mode", 0.9), ("test mode", 1.0), ("sweep mode", 1.0)), NONE, ("frequency",)),
    Rule("wavelength", "wavelength", (("wavelength", 1.0), ("wl", 0.85)), ("wavelength",), (), 0.8),
    Rule("direction", "direction", (("direction", 1.0), ("dir", 0.85), ("way", 0.8)), NONE),
    Rule("test-voltage", "test voltage", (("test voltage", 1.0), ("applied voltage", 1.0), ("vtest", 0.95), ("prufspannung", 1.0)), ("voltage",), (*_NO, "insulation")),
    Rule("temperature", "temperature", (("temperature", 1.0), ("cable temperature", 1.0)), ("temperature",), ("storage",), 0.8),
    Rule("load-current", "current of the load", (("current", 0.85), ("load current", 1.0)), ("current",), _NO, 0.75),
    Rule("instrument", "instrument", (("instrument", 1.0), ("meter", 0.8), ("tester", 0.8), ("equipment", 0.7), ("wrench", 0.85)), NONE, ("serial", "calibration", "cal", "by")),
    Rule("serial", "serial number of the instrument", (("serial", 0.9), ("instrument serial", 1.0), ("serial number", 1.0)), NONE, ("radio", "antenna", "cable", "part", "trunk", "reel")),
    Rule("calibrated", "calibration", (("calibration", 1.0), ("cal date", 1.0), ("cal due", 1.0), ("calibration date", 1.0), ("calibration due", 1.0)), NONE),
    Rule("date", "date", (("date", 0.95), ("datum", 0.9)), NONE, ("time", "calibration", "cal", "due")),
    Rule("time", "time", (("time", 0.95), ("date time", 1.0), ("timestamp", 1.0), ("uhrzeit", 0.9)), NONE, ("calibration",)),
    Rule("site", "site of the row", (("site", 0.95), ("site id", 1.0), ("site code", 1.0), ("site name", 0.95), ("standort", 0.95)), NONE, ("acceptance", "test", "survey", "manager", "engineer", "visit", "address", "date", "contact")),
    Rule("operator", "who measured", (("operator", 0.95), ("technician", 0.95), ("tested by", 1.0), ("by", 0.7)), NONE),
)  # fmt: skip
RULES = (
    *VALUE_RULES,
    *PREAMBLE_RULES,
    Rule(
        SUBJECT, "what was measured",
        (("path", 0.9), ("clamp", 0.9), ("hanger", 0.85), ("jumper", 0.85), ("trunk", 0.85), ("object", 0.8), ("component", 0.8), ("designation", 0.85),
         ("earth kit", 0.85), ("strand", 0.95), ("link", 0.9), ("fibre", 0.9), ("fiber", 0.9), ("port", 0.85), ("line", 0.85), ("cable", 0.8), ("feeder", 0.85),
         ("pair", 0.9), ("circuit", 0.85), ("radio", 0.9), ("joint", 0.9), ("connector", 0.8), ("subject", 1.0), ("id", 0.75), ("label", 0.85),
         ("position", 0.8), ("location", 0.75), ("test point", 0.9), ("item", 0.85), ("box", 0.8), ("lug", 0.75), ("bond", 0.75), ("sector", 0.75)),
        NONE,
        (*_NO, "site", "length", "count", "type", "loss", "resistance", "voltage", "power", "grade", "serial", "temperature", "frequency", "torque", "result", "value",
         "face", "spot"),
        0.0, True,
    ),
    Rule("product", "frequency of the product", (("intermodulation frequency", 1.0), ("product frequency", 1.0), ("im3 frequency", 1.0), ("peak frequency", 0.95), ("frequency", 0.8)), ("frequency",), ("1", "2", "f1", "f2", "frequency1", "frequency2", "power")),
    Rule("changed", "whether the spot has changed", (("changed", 0.95), ("change", 0.85), ("spot changed", 1.0)), NONE),
    Rule("zone", "zone of the end face", (("zone", 0.9),), NONE),
    Rule("side", "end or side", (("side", 0.9), ("end", 0.75)), NONE, ("face",)),
    Rule("supply", "what fed the line when it was read", (("state", 0.8), ("condition", 0.8), ("supply", 0.85), ("plant state", 0.95), ("plant", 0.75), ("mains", 0.8), ("source", 0.7), ("versorgung", 0.85), ("stromversorgung", 0.9), ("speisung", 0.85), ("quelle", 0.75), ("betriebsart", 0.75)), NONE, (*_NO, "voltage", "light", "face", "joint", "seal", "card", "weather", "number"), 0.0),
    Rule("conditions", "conditions of the reading", (("conditions", 0.9), ("test conditions", 1.0), ("measuring conditions", 1.0), ("bedingungen", 0.9), ("messbedingungen", 0.95)), NONE, (*_NO, "weather", "site"), 0.0),
    Rule("remark", "remark", (("remark", 0.95), ("remarks", 0.95), ("comment", 0.95), ("comments", 0.95), ("note", 0.9), ("notes", 0.9), ("bemerkung", 0.95), ("bemerkungen", 0.95), ("anmerkung", 0.95), ("anmerkungen", 0.95), ("notiz", 0.9), ("hinweis", 0.85)), NONE, (), 0.0, True),
    Rule("their-limit", "limit in the file, not used", (("limit", 1.0), ("max", 0.85), ("maximum", 0.85), ("min", 0.85), ("minimum", 0.85), ("threshold", 1.0), ("spec", 0.9), ("budget", 0.85), ("target", 0.85), ("required", 0.85)), (), (), 0.0, True),
    Rule("their-verdict", "verdict in the file, not used", (("pass fail", 1.0), ("verdict", 1.0), ("status", 0.85), ("pass", 0.85), ("judgement", 0.9)), NONE, (), 0.0, True),
    Rule(KIND, "kind of the reading", (("test", 0.75), ("test type", 0.95), ("type", 0.8), ("parameter", 0.85), ("quantity", 0.9), ("kind", 0.95)), NONE, ("mode", "point", "voltage", "number", "cable", "connector")),
    Rule(VALUE, "the reading", (("value", 0.9),), (), (*_NO, "frequency")),
    Rule(UNIT, "unit of the reading", (("unit", 0.95), ("units", 0.95)), NONE, ("test",)),
)  # fmt: skip
READING_RULES = tuple(rule for rule in RULES if rule.role in (*KINDS, VALUE))
ROLES = tuple(dict.fromkeys(rule.role for rule in RULES))
DIMENSIONS = {
    "carrier": ("level", "power"), "carrier-1": ("level", "power"), "carrier-2": ("level", "power"), "tone-1": ("frequency",),
    "tone-2": ("frequency",), "product": ("frequency",), "wavelength": ("wavelength",), "test-voltage": ("voltage",),
    "temperature": ("temperature",), "load-current": ("current",),
}  # fmt: skip
ASSUMED = {"wavelength": "nm", "test-voltage": "V", "load-current": "A"}
_NO_LOSS = frozenset(
    {
        *_NO,
        "orl",
        "reflectance",
        "return",
        "rl",
        "power",
        "level",
        "length",
        "margin",
        "reference",
        "uncertainty",
        "date",
        "time",
    }
)
_WAVE = re.compile(
    r"(?<![0-9.])([0-9]{3,4})\s*nm\b|(?<![0-9.])(850|1300|1310|1383|1490|1550|1577|1610|1625|1650)(?![0-9])"
)
_AT_VOLTS = re.compile(r"(?:@|at|,)?\s*(?<![0-9.])([0-9]{2,4})\s*v(?:dc|\s?d\.?c\.?)?\b")
_WAYS = (
    (re.compile(r"\bup(?:link|ward|wards)?\b"), "up"), (re.compile(r"\bdown(?:link|ward|wards)?\b"), "down"),
    (re.compile(r"\ba\s*(?:-+>?|–|→|>|to)\s*b\b"), "a-b"), (re.compile(r"\bb\s*(?:-+>?|–|→|>|to)\s*a\b"), "b-a"),
)  # fmt: skip
# words for a direction in a header or in a column of directions, not in a name; `hin` is the way out from the foot: own practice, no source
_WAY_WORDS = (
    (re.compile(r"\b(?:hin|hinweg|auf|aufw(?:ä|ae)rts|forwards?|fwd)\b"), "up"),
    (re.compile(r"\b(?:zur(?:ü|ue|u)ck|r(?:ü|ue)ck|r(?:ü|ue)ckweg|her|ab|abw(?:ä|ae)rts|back|backwards?|reverse)\b"), "down"),
)  # fmt: skip
UP_MEANS = {"up": "the source at the foot", "down": "the source at the top"}
_SPOT = re.compile(r"(?<![0-9.])([0-9]{1,2})\s*%")


def guess_values(
    table: Table, kind: str = "", memory: Memory | None = None, *, header_row: int = 0, known: Callable[[str], bool] | None = None
) -> Mapping:  # fmt: skip
    """
    What each column of a table of readings may be.

    Parameters
    ----------
    kind : of the readings, one of `KINDS`, where a person knows it and no column says it.
    memory : what was decided for earlier tables.
    header_row : position of the header in the rows of the table, from 1, where a person knows it.
    known : whether a text is a name of the line: a column of such names says what was measured.

    Never raises for a table that was read, but ValueError for an unknown kind: what is open stands in the `questions`.
    """
    if kind and kind not in KINDS:
        raise ValueError(f"no kind {kind!r}; there are {', '.join(KINDS)}")
    found = columns_of(table, "values", RULES, memory, header_row)
    decimal = decimal_for(table, found.header, found.decision)
    kind = kind or (found.decision.kind if found.decision and found.decision.kind in KINDS else "")
    columns = list(found.columns)
    if found.decision is None:
        columns = [one if kind == "optical-loss" else _by_light(table, found.header, one, columns) for one in columns]
        columns = [_by_wavelength(table, found.header, one) for one in columns]
        columns = by_content(table, found.header, columns, known)
        columns = _ask_readings(table, found.header, _by_context(table, found.header, columns))
    columns = [
        replace(one, role=kind, reason=f"{one.reason}; {kind} by word")
        if one.role == VALUE and kind and KINDS[kind].dimensions
        else one
        for one in columns
    ]
    says_unit = any(one.role == UNIT for one in columns)
    columns = [_way_told(_with_unit(table, found.header, one, decimal, says_unit)) for one in columns]
    asked = list(found.asked)
    if decimal == "both":
        asked.append("decimal signs are mixed, point and comma: say which one it is, or read with repair")
    if any(one.role == VALUE for one in columns) and not any(one.role == KIND for one in columns):
        asked.append(f"kind of the readings is not said: one of {', '.join(KINDS)}")
    notes = [
        *table.notes,
        *(["columns and units as they were decided for an earlier table with these headers"] if found.decision else []),
    ]
    return Mapping(
        "values", table.file, found.header, tuple(columns), decimal, "", kind, tuple(notes), tuple(asked), ROLES
    )  # fmt: skip


def _by_wavelength(table: Table, header: tuple[int, int], column: Column) -> Column:
    """`1310 nm A-B` over numbers in dB or without a unit is an optical loss."""
    unit = head_of(column.header).unit
    if head_of(column.header).words & _NO_LOSS:
        return column
    if (
        column.role
        or column.asked
        or not wave_of(column.header)
        or (unit is not None and unit.symbol not in ("dB", "nm"))
    ):
        return column
    if not sample_of(table, header, column.number, "").size and not sample_of(table, header, column.number, ",").size:
        return column
    values = sample_of(table, header, column.number, ",")
    if values.size and float(abs(values).max()) > 90:
        return column
    return replace(
        column, role="optical-loss", unit="dB" if unit is not None and unit.symbol == "dB" else "", confidence=0.85,
        reason="a wavelength stands in its header", choices=(),
    )  # fmt: skip


def _by_light(table: Table, header: tuple[int, int], column: Column, columns: list[Column]) -> Column:
    """A loss in dB is asked where nothing speaks of light: it may be that of a coaxial cable."""
    if column.role != "optical-loss" or head_of(column.header).words & {
        "optical",
        "insertion",
        "fibre",
        "fiber",
        "link",
    }:
        return column
    told = any(one.role == "wavelength" for one in columns) or any(wave_of(one.header) for one in columns)
    told = told or any(wave_of(cell.text) for row in table.rows[: max(header[0] - 1, 0)] for cell in row)
    if told:
        return column
    return replace(
        column, role="", asked=f"{FIBRE_OR_COAX} or of a coaxial cable: no wavelength is given",
        choices=("optical-loss",),
    )  # fmt: skip


def _by_context(table: Table, header: tuple[int, int], columns: list[Column]) -> list[Column]:
    roles = {one.role for one in columns}
    out = []
    for one in columns:
        if one.role == "voltage" and "insulation-resistance" in roles:
            one = replace(
                one, asked="it can be the test voltage or a voltage that was read", choices=("test-voltage", "voltage")
            )
        elif _holds_names(table, header, one):
            one = replace(one, role=SUBJECT, reason="it holds names, no numbers")
        elif (
            one.role == VALUE
            and not sample_of(table, header, one.number, "").size
            and _words_only(table, header, one.number)
        ):
            one = replace(one, role="their-verdict", reason="it holds words, no numbers", unit="")
        elif one.role == "humidity-spot" and "changed" not in roles and not _SPOT.search(one.header):
            one = replace(one, reason=f"{one.reason}; no column says which spot has changed")
        out.append(one)
    return out


def _holds_names(table: Table, header: tuple[int, int], column: Column) -> bool:
    """True for a column named like a reading that holds words alone and has no unit: `Bond` over E1, E2."""
    kind = KINDS.get(column.role)
    measured = kind is not None and bool(kind.dimensions) and not column.unit and not _SPOT.search(column.header)
    return measured and _words_only(table, header, column.number)


def _ask_readings(table: Table, header: tuple[int, int], columns: list[Column]) -> list[Column]:
    """Where no column is named like a reading, ask about those whose unit could be that of one."""
    if any(one.role in (*KINDS, VALUE) or one.asked for one in columns):
        return columns
    out = []
    for one in columns:
        unit = measure_of(one.unit) if one.unit and not one.role else None
        kinds = tuple(kind.name for kind in KINDS.values() if unit is not None and unit.dimension in kind.dimensions)
        if kinds and not head_of(one.header).words & set(_NO):
            one = replace(one, asked=f"its unit is {one.unit}, but its header does not say what it is", choices=kinds)
        out.append(one)
    return out


def _words_only(table: Table, header: tuple[int, int], column: int) -> bool:
    cells = [row[column - 1] for row in table.rows[header[1] : header[1] + 200] if len(row) >= column]
    return any(not is_nothing(cell) for cell in cells) and not any(numeric(cell) for cell in cells)


def dimensions_of(role: str) -> tuple[str, ...]:
    """What the unit of a column with this role may measure; empty where it has none."""
    return KINDS[role].dimensions if role in KINDS else DIMENSIONS.get(role, ())


def _with_unit(table: Table, header: tuple[int, int], column: Column, decimal: str, says_unit: bool) -> Column:
    wanted = dimensions_of(column.role)
    if not wanted or (column.given and column.unit):
        return column
    measure = head_of(column.header).unit
    if column.unit and measure is not None and measure.dimension in wanted:
        if measure.factor is None:
            return replace(column, asked=f"its unit {measure.symbol} may be a thousandth or a million", unit="")
        if column.role in KINDS and measure.symbol in KINDS[column.role].never:
            return replace(
                column,
                asked=f"its unit {measure.symbol} does not suit {column.role}: upper or lower case may be wrong",
                unit="",
            )
        return column
    column = replace(column, unit="")
    if column.role == "humidity-spot" and _SPOT.search(column.header):
        return replace(column, unit="%")
    if has_own_unit(table, header, column) or (says_unit and column.role in KINDS):
        return replace(column, reason=f"{column.reason}; each cell has its unit")
    assumed = KINDS[column.role].assumed if column.role in KINDS else ASSUMED.get(column.role, "")
    if "frequency" in wanted:
        assumed = unit_by_range(sample_of(table, header, column.number, decimal))
    if not assumed:
        return replace(column, asked="its unit is not given")
    return replace(
        column,
        unit=assumed,
        confidence=min(column.confidence, 0.7),
        reason=f"{column.reason}; no unit given, read in {assumed}",
    )


def wave_of(text: str) -> float | None:
    """A wavelength in a text, nm; None without one or with two."""
    found = {float(a or b) for a, b in _WAVE.findall(folded(text))}
    found = {one for one in found if 600 <= one <= 1700}
    return found.pop() if len(found) == 1 else None


def way_of(text: str) -> str:
    """A direction in a text: up, down, a-b or b-a; '' without one or with two."""
    found = {way for pattern, way in _WAYS if pattern.search(folded(text))}
    return found.pop() if len(found) == 1 else ""


def way_said(text: str) -> str:
    """
    A direction in a header or a cell of directions, by words of German and English too.

    >>> way_said("Dämpfung 1310 nm hin"), way_said("1310 nm zurück"), way_said("hin und zurück")
    ('up', 'down', '')
    """
    plain = folded(text)
    found = {way for pattern, way in (*_WAYS, *_WAY_WORDS) if pattern.search(plain)}
    return found.pop() if len(found) == 1 else ""


def _way_told(column: Column) -> Column:
    """A direction that was taken from a word such as `hin` is told with what it means."""
    way = way_said(column.header) if column.role == "optical-loss" else ""
    if not way or way_of(column.header) or column.given:
        return column
    return replace(column, reason=f"{column.reason}; its header is taken as {way}, {UP_MEANS[way]}")


def conditions_in(header: str, kind: str) -> dict[str, Condition]:
    """Conditions that a header carries for its kind of reading."""
    out: dict[str, Condition] = {}
    text = folded(header)
    if kind == "optical-loss":
        wave, way = wave_of(header), way_said(header)
        if wave is not None:
            out["wavelength_nm"] = wave
        if way:
            out["direction"] = way
    elif kind == "insulation-resistance":
        volts = set(_AT_VOLTS.findall(text))
        if len(volts) == 1:
            out["test_voltage_v"] = float(volts.pop())
        pole = re.search(r"\b(l\s?[-–/]\s?e|r\s?[-–/]\s?e|l\s?[-–/]\s?r|\+\s?/\s?e|-\s?/\s?e)\b", text)
        if pole:
            out["between"] = pole.group(1).upper()
    elif kind == "pim":
        order = re.search(r"\bim\s?([3579]|11)\b", text)
        if order:
            out["order"] = float(order.group(1))
        mode = mode_of(text)
        if mode:
            out["mode"] = mode
    elif kind == "bond-resistance" and head_of(header).words & set(SHIELD):
        out["part"] = "shield"
    elif kind == "torque":
        ends = {EXTREMES[word] for word in head_of(header).words if word in EXTREMES}
        if len(ends) == 1:
            out["which"] = ends.pop()
    elif kind == "humidity-spot":
        spot = _SPOT.search(text)
        if spot:
            out["spot_percent"] = float(spot.group(1))
    return out


def mode_of(text: str) -> str:
    """swept, fixed or dynamic; '' where a text says none of them, or several."""
    words = set(re.findall(r"[a-z]+", folded(text)))
    found = {
        name
        for name, spellings in (
            ("swept", {"swept", "sweep", "sweeping"}), ("fixed", {"fixed", "static", "stationary"}),
            ("dynamic", {"dynamic", "tap", "tapped", "tapping", "stress", "flex"}),
        )
        if words & spellings
    }  # fmt: skip
    return found.pop() if len(found) == 1 else ""
