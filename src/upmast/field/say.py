"""
What a person says about a field file, in one short sentence of fixed form.

    [FILE: ] NAME is WHAT [in UNIT]

    C is return-loss in dB            column C of the one table that was given
    volts.csv: B is voltage in V      of the file with this name
    trace.csv: D is unused
    trace.csv: decimal is ,           also: sign is -, form is trace, kind is voltage, header is 4, sheet is Losses
    losses.csv: B is loss up          of one column of losses; also: B direction is up, B wavelength is 1310
    losses.csv: wavelength_nm is 1310 a condition that the table does not give
    trace.s1p: test is A1-J2.rl.load
    dtf.csv: unit is ft               of a trace over distance
    uncertainty of voltage is 0.2     in the unit of the kind, or the class of the instrument; also of a serial number
    slope is 2.5                      dB of intermodulation for each dB of both carriers
    losses.csv: site is NESS-PT       a file that says another site is of this one; rows of other sites are left out
    book.xlsx, North: C is voltage    of one sheet of a workbook
    losses.csv: B7 is T1-F03.ol.1310-up   what one cell was measured at; a row: row 7 is T1-F03
    traces.csv: C1 is A1-J2.rl.load       the same of a column that holds a trace
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from upmast.errors import UsageError, shorten
from upmast.field.readers.values_columns import way_said
from upmast.field.readers.values_conditions import declared_conditions, of_column
from upmast.site.sheet_read import column_of

MOST_SAID = 500
MOST_LONG = 600
_FORM = re.compile(
    r"(?:(?P<file>.+): +)?(?P<name>(?:column )?[A-Za-z]{1,3} (?:direction|wavelength(?:_nm)?)|[A-Za-z][A-Za-z0-9_]*|row [0-9]{1,7}|uncertainty of .{1,120}?) +is +(?P<what>.*\S)"
)
_COLUMN = re.compile(r"[A-Za-z]{1,3}")
_CELL = re.compile(r"(?:row |([A-Za-z]{1,3}))([0-9]{1,7})")
_OF_COLUMN = re.compile(r"(?:column )?([A-Za-z]{1,3}) (direction|wavelength)(?:_nm)?")
_LOSS = re.compile(r"(?:optical[ -])?loss(?: at)?(?: (?P<wave>[0-9]{3,4})(?: ?nm)?)?(?: (?P<way>\S.*))?")
WHOLE = ("decimal", "sign", "form", "kind", "header", "sheet", "test", "slope", "unit")
DOUBT = "uncertainty of "
UNUSED = "unused"
USE = "say it as FILE: NAME is WHAT, e.g. --say 'trace.csv: C is return-loss in dB'"


@dataclass(slots=True)
class Said:
    """All that was said of one file."""

    columns: dict[str, str | None] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    whole: dict[str, str] = field(default_factory=dict)
    conditions: dict[str, str] = field(default_factory=dict)
    cells: dict[tuple[int, int], str] = field(default_factory=dict)  # test by row and column; column 0 is the whole row
    sentences: dict[str, str] = field(default_factory=dict)  # as they were said, by what they are about
    heard: set[str] = field(default_factory=set)  # what they are about, where it applied to something

    def hear(self, *about: str) -> None:
        """These sentences applied to something."""
        self.heard.update(about)

    @property
    def unheard(self) -> tuple[str, ...]:
        """Sentences that applied to nothing."""
        return tuple(sentence for about, sentence in self.sentences.items() if about not in self.heard)

    @property
    def test(self) -> str:
        return self.whole.get("test", "")

    def cell(self, row: int, column: int) -> str:
        """What a cell was said to be measured at, by itself or by its row; '' if nothing."""
        return self.cells.get((row, column)) or self.cells.get((row, 0), "")

    def of_column(self, column: int) -> str:
        """What the trace in a column was said to be measured at: any cell of it tells."""
        return next((what for (_, at), what in sorted(self.cells.items()) if at == column), "")

    def __bool__(self) -> bool:
        return bool(self.columns or self.units or self.whole or self.conditions or self.cells)


@dataclass(slots=True)
class Words:
    """What was said, by file; what names no file stands under ''. Uncertainties hold for every file."""

    by_file: dict[str, Said] = field(default_factory=dict)
    uncertainties: dict[str, float | str] = field(default_factory=dict)  # by kind, instrument or serial number
    used: set[str] = field(default_factory=set)

    def of(self, name: str) -> Said:
        """What was said of a file: by its whole name as it is shown, or by the last part of it."""
        shown = name.replace("\\", "/")
        for key in (shown, shown.rsplit("/", 1)[-1], ""):
            if key in self.by_file:
                self.used.add(key)
                return self.by_file[key]
        return Said()

    def of_sheet(self, name: str, sheet: str) -> Said:
        """What was said of one sheet of a workbook, as `book.xlsx, North: ...`; else what was said of the file."""
        shown = name.replace("\\", "/")
        for key in (f"{shown}, {sheet}", f"{shown.rsplit('/', 1)[-1]}, {sheet}") if sheet else ():
            if key in self.by_file:
                self.used.add(key)
                return self.by_file[key]
        return self.of(name)

    @property
    def slope(self) -> float | None:
        """Slope of intermodulation that was stated, dB/dB."""
        said = self.by_file.get("", Said()).whole.get("slope", "")
        value = _number(said) if said else None
        if isinstance(value, str):
            raise UsageError(f"slope is a number of dB for each dB, not {shorten(said, 40)!r}")
        return value

    def unheard(self, kinds: Collection[str], instruments: Collection[str]) -> tuple[str, ...]:
        """
        Sentences that applied to nothing in the files that were given.

        Parameters
        ----------
        kinds : kinds of the readings that were read. instruments : their instruments and serial numbers.
        """
        out = [one for key in sorted(self.by_file) if not key or key in self.used for one in self.by_file[key].unheard]
        if self.slope is not None and "pim" in kinds:
            out = [one for one in out if one != self.by_file[""].sentences["slope"]]
        known = {one.casefold() for one in (*kinds, *instruments)}
        return (
            *out,
            *(f"{DOUBT}{key} is {value}" for key, value in self.uncertainties.items() if key.casefold() not in known),
        )

    @property
    def unused(self) -> tuple[str, ...]:
        """Files that something was said of, and that were not given."""
        return tuple(sorted(key for key in self.by_file if key and key not in self.used))


def words_of(said: Iterable[str]) -> Words:
    """
    Read sentences; see the head of this module for their form.

    Raises
    ------
    UsageError
        For a sentence of another form, with the form.

    >>> words_of(["t.csv: C is frequency in MHz", "t.csv: D is unused"]).of("in/t.csv").columns
    {'C': 'frequency', 'D': None}
    """
    out = Words()
    for n, sentence in enumerate(said):
        if n >= MOST_SAID or len(sentence) > MOST_LONG:
            raise UsageError(f"at most {MOST_SAID} sentences of {MOST_LONG} characters")
        found = _FORM.fullmatch(" ".join(sentence.split()))
        if found is None:
            raise UsageError(f"can't make sense of {shorten(sentence, 100)!r}: {USE}")
        if found["name"].startswith(DOUBT):
            out.uncertainties[found["name"].removeprefix(DOUBT)] = _number(found["what"])
            continue
        one = out.by_file.setdefault((found["file"] or "").strip(), Said())
        _hear(one, found["name"], found["what"], sentence)
    return out


def _number(text: str) -> float | str:
    """A number where it is one, else the words."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


def _about(name: str) -> str:
    """What a sentence is about: a cell as `B7`, a row as `row 7`, a column as `C`, else the name itself."""
    if name.lower() in WHOLE:
        return name.lower()
    if of := _OF_COLUMN.fullmatch(name):
        return f"{of[1].upper()} {of[2]}"
    return name.upper() if _COLUMN.fullmatch(name) or (_CELL.fullmatch(name) and " " not in name) else name


def _hear(said: Said, name: str, what: str, sentence: str) -> None:
    cell = _CELL.fullmatch(name)
    said.sentences[_about(name)] = sentence
    if cell is not None:
        said.cells[int(cell[2]), column_of(cell[1].upper()) if cell[1] else 0] = what
    elif name.lower() in WHOLE:
        said.whole[name.lower()] = what
        if name.lower() == "header" and not what.isdecimal():
            raise UsageError(f"{shorten(sentence, 80)!r}: the header is told by the number of its row")
        if name.lower() == "form" and what not in ("trace", "values"):
            raise UsageError(f"{shorten(sentence, 80)!r}: the form is trace or values")
    elif of := _OF_COLUMN.fullmatch(name):
        said.conditions.update(_beside(of[1], of[2], what, sentence))
    elif _COLUMN.fullmatch(name):
        role, _, unit = what.partition(" in ")
        if (loss := _LOSS.fullmatch(role.strip())) is not None and role.strip() != "optical-loss":
            role = "optical-loss"
            for about, word in (("wavelength", loss["wave"]), ("direction", loss["way"])):
                said.conditions.update(_beside(name, about, word, sentence) if word else {})
        said.columns[name.upper()] = None if role.strip() == UNUSED else role.strip()
        if unit.strip():
            said.units[name.upper()] = unit.strip()
    else:
        declared_conditions({name: what})  # says what there is, where this is none
        said.conditions[name] = what


def _beside(column: str, about: str, what: str, sentence: str) -> dict[str, str]:
    """A direction or wavelength of a whole column, as a condition of its own name. Raises UsageError."""
    if about == "wavelength":
        wave = what.removesuffix("nm").strip()
        declared_conditions({"wavelength_nm": wave})
        return {of_column("wavelength_nm", column): wave}
    way = way_said(what)
    if not way:
        raise UsageError(f"{shorten(sentence, 80)!r}: a direction is up (source at the foot), down (source at the top), a-b or b-a")  # fmt: skip
    return {of_column("direction", column): way}


__all__ = ["Said", "Words", "words_of"]
