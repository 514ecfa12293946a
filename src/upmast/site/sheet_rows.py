"""
Read the rows of a radio list: each row of the sheet is classified, none is dropped.

A row is a header, blank, a radio, a note (totals, footnotes, rows left out by decision, each with its reason) or faulty.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from upmast.errors import Fault, shorten
from upmast.site.sheet_fields import BY_NAME, CARRIER, Rule
from upmast.site.sheet_ids import LETTERS, azimuth_of, make_id, sector_id
from upmast.site.sheet_map import Column, Merged
from upmast.site.sheet_memory import Memory
from upmast.site.sheet_read import BLANK, Cell, Sheet
from upmast.site.sheet_values import Unread, Value, count, name, nothing, ports, quantity

KINDS = ("header", "blank", "radio", "note", "faulty")
_TOTAL = re.compile(r"(?:grand\s+|sub-?\s?)?(?:total|sum|average|mean|count)s?\b", re.IGNORECASE)
_FOOT = re.compile(
    r"(?:\*|note|legend|source|remark|prepared|checked|approved|page|revision|rev\b|end of|all )", re.IGNORECASE
)
_SITE = re.compile(r"site\s*(?:id|name|code|no\.?)?\s*[:=-]\s*(\S.*)", re.IGNORECASE)


@dataclass(slots=True)
class Row:
    """One row of the sheet: what it is and why, its site, what was read for each field, what is wrong."""

    number: int
    kind: str
    reason: str = ""
    site: str = ""
    values: dict[str, Value] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    hidden: bool = False
    above: dict[str, int] = field(default_factory=dict)  # field -> row from which it was taken

    def get(self, name_: str) -> object:
        found = self.values.get(name_)
        return None if found is None else found.value

    def as_data(self) -> dict[str, object]:
        return {
            "row": self.number, "kind": self.kind, "reason": self.reason, "site": self.site, "hidden": self.hidden,
            "read": {key: value.shown for key, value in self.values.items()}, "from_row": dict(self.above),
            "faults": [one.as_data() for one in self.faults],
        }  # fmt: skip


class Reader:
    """Reads the rows of one sheet in order; knows the site and sector of the row above."""

    def __init__(
        self, file: str, sheet: Sheet, merged: Merged, columns: tuple[Column, ...],
        header: tuple[int, int], memory: Memory, decimal: str,
    ) -> None:  # fmt: skip
        self.file, self.sheet, self.merged, self.columns = file, sheet, merged, columns
        self.header, self.memory, self.decimal = header, memory, decimal
        self.used = [one for one in columns if one.field]
        self.by_field = {one.field: one for one in self.used}
        self.site: tuple[str, int] = ("", 0)
        self.sector: tuple[str, int] = ("", 0)

    def fault(self, row: int, field_: str, got: object, expected: str, remedy: str) -> Fault:
        column = self.by_field.get(field_)
        place = f"{self.sheet.name}!{column.letter if column else ''}{row}"
        return Fault(
            self.file, place, "" if got is None else shorten(got), expected, remedy, row, column.number if column else 1
        )

    def cell(self, row: int, column: int) -> Cell:
        own = self.sheet.at(row, column)
        return self.merged.get((row, column), (BLANK, 0))[0] if own.blank else own

    def read(self) -> list[Row]:
        rows = [self._row(number) for number in range(1, len(self.sheet.rows) + 1)]
        radios = [one for one in rows if one.kind in ("radio", "faulty")]
        for key in dict.fromkeys(one.site for one in radios):
            _sectors(self, [one for one in radios if one.site == key])
        for one in radios:
            one.kind = "faulty" if one.faults else "radio"
        return rows

    def _row(self, number: int) -> Row:
        own = [(at, cell) for at, cell in enumerate(self.sheet.rows[number - 1], 1) if not cell.blank]
        hidden = number in self.sheet.hidden_rows
        if not own:
            return Row(number, "blank", hidden=hidden)
        if self.header == (0, 0):
            row = Row(number, "faulty", "no header was found", hidden=hidden)
            row.faults.append(
                self.fault(number, "", own[0][1].text, "a row under a header", "say which rows are the header")
            )
            return row
        if number <= self.header[1]:
            title = number < self.header[0]
            return Row(number, "header", "title above the header" if title else "the header", hidden=hidden)
        if hidden and self.memory.hidden == "leave":
            return Row(number, "note", "hidden, left out by decision", hidden=True)
        return self._aside(number, own, hidden) or self._radio(number, hidden)

    def _aside(self, number: int, own: list[tuple[int, Cell]], hidden: bool) -> Row | None:
        """A row that is no radio, with its reason; None for a radio."""
        headers = {one.number: one.header for one in self.columns}
        same = sum(
            1
            for at, cell in own
            if cell.text and cell.text.lower() in (headers.get(at, "").lower(), self._head(at).lower())
        )
        if same >= 2 and same * 2 >= len(own):
            return Row(number, "header", "the header again", hidden=hidden)
        fields = {one.number: one.field for one in self.used}
        texts = [cell.text for _, cell in own if cell.kind == "text"]
        held = {fields[at] for at, cell in own if at in fields and not nothing(cell)}
        named = {"part", "sector", "azimuth_deg"} & {fields[at] for at, _ in own if at in fields}
        first = own[0][1]
        if first.kind == "text" and _TOTAL.match(first.text):
            beside = {fields.get(at): cell for at, cell in own[1:]}
            model = beside.get("part", BLANK)
            if "sector" not in beside and (model.blank or model.text.replace(".", "").isdigit()):
                return Row(number, "note", f"a total: {shorten(first.text, 30)!r}", hidden=hidden)
        if len(own) == 1 and texts:
            title = _SITE.match(texts[0])
            if title:
                self.site, self.sector = (title.group(1).strip()[:120], number), ("", 0)
                return Row(
                    number, "header", f"names the site of the rows below: {shorten(self.site[0], 30)!r}", hidden=hidden
                )
            if _FOOT.match(texts[0]) or len(texts[0]) > 40:
                return Row(number, "note", "a footnote", hidden=hidden)
            if held == {"site"}:
                self.site, self.sector = (texts[0][:120], number), ("", 0)
                return Row(number, "header", "names the site of the rows below", hidden=hidden)
            if not held - {"note", "site_name"}:
                return Row(number, "note", "one text outside the columns of a radio", hidden=hidden)
        if not named and not held - {"note", "site_name", "site"}:
            return Row(number, "note", "nothing in the columns of a radio", hidden=hidden)
        return None

    def _head(self, column: int) -> str:
        return self.sheet.at(self.header[1], column).text or self.sheet.at(self.header[0], column).text

    def _radio(self, number: int, hidden: bool) -> Row:
        row = Row(number, "radio", hidden=hidden)
        if hidden and self.memory.hidden == "ask":
            row.faults.append(
                self.fault(
                    number,
                    "",
                    "a hidden row",
                    "a decision: read it or leave it",
                    "show or delete the row, or set hidden: read or leave",
                )
            )
        for column in self.used:
            cell = self.cell(number, column.number)
            if nothing(cell):
                continue
            rule = BY_NAME[column.rule_name]
            try:
                row.values[column.field] = self._value(cell, rule, column.unit)
            except Unread as error:
                row.faults.append(self.fault(number, column.field, cell.text, error.expected, error.remedy))
            if self.sheet.at(number, column.number).blank:
                row.above[column.field] = self.merged[number, column.number][1]
        self._ports(row)
        self._place(row)
        self._missing(row)
        return row

    def _value(self, cell: Cell, rule: Rule, unit: str) -> Value:
        if rule.kind == "quantity":
            return quantity(cell, rule, unit, self.decimal)
        if rule.kind == "count":
            return count(cell, rule)
        if rule.kind == "ports":
            return ports(cell, rule)
        if rule.kind == "text":
            text = shorten(cell.text, 200)
            return Value(text, text)
        return name(cell, rule)

    def _ports(self, row: Row) -> None:
        """Ports in columns of their own, `antenna_ports[1]` and so on, become one list in the order of their numbers."""
        single = sorted(
            (key for key in row.values if key.startswith("antenna_ports[")), key=lambda key: int(key[14:-1])
        )
        if single and "antenna_ports" not in row.values:
            together = tuple(port for key in single for port in row.values[key].value)
            row.values["antenna_ports"] = Value(together, ", ".join(together))

    def _place(self, row: Row) -> None:
        """Site and sector, from the row above where the cells are empty."""
        broken = {one.place for one in row.faults}
        own_site = row.get("site") or row.get("site_name") if "site" not in self.by_field else row.get("site")
        if own_site:
            if make_id(str(own_site)) != make_id(self.site[0]):
                self.sector = ("", 0)
            self.site = (str(own_site), row.number)
        elif self.site[0] and self.fault(row.number, "site", "", "", "").place not in broken:
            row.above["site"] = self.site[1]
        row.site = self.site[0] or self.memory.site or ("" if "site" in self.by_field else self.sheet.name)
        if not row.site:
            row.faults.append(
                self.fault(row.number, "site", "nothing", "site, in this row or one above", "name the site")
            )
        if "sector" in row.values:
            self.sector = (row.values["sector"].value, row.number)
        elif (
            "sector" in self.by_field
            and self.fault(row.number, "sector", "", "", "").place not in broken
            and self.sector[0]
        ):
            row.values["sector"] = Value(self.sector[0], self.sector[0])
            row.above["sector"] = self.sector[1]

    def _missing(self, row: Row) -> None:
        broken = {one.place for one in row.faults}

        def absent(field_: str) -> bool:
            place = self.fault(row.number, field_, "", "", "").place
            return field_ in self.by_field and field_ not in row.values and place not in broken

        if absent("height_m"):
            row.faults.append(
                self.fault(row.number, "height_m", "nothing", BY_NAME["height_m"].meaning, "give the height")
            )
        if absent("sector") and "azimuth_deg" not in row.values:
            row.faults.append(
                self.fault(row.number, "sector", "nothing", "sector, in this row or one above", "name the sector")
            )
        if absent("part") and not ("maximum_w" in row.values and "minimum_v" in row.values):
            row.faults.append(
                self.fault(
                    row.number,
                    "part",
                    "nothing",
                    "model of the radio, or its maximum_w and minimum_v",
                    "name the model",
                )
            )
        highest, mean = row.get("maximum_w"), row.get("typical_w")
        if isinstance(highest, float) and isinstance(mean, float) and mean > highest:
            row.faults.append(
                self.fault(
                    row.number,
                    "typical_w",
                    f"{mean:g} W",
                    f"at most the highest input power, {highest:g} W",
                    "check which is which",
                )
            )
        many = row.get("quantity")
        if many not in (None, 1):
            row.faults.append(
                self.fault(row.number, "quantity", many, "1: one row for each radio", "write one row for each radio")
            )
        for number in sorted({int(key[9 : key.index("]")]) for key in row.values if key.startswith("carriers[")}):
            given = {key for key in CARRIER if f"carriers[{number}].{key}" in row.values}
            if "centre_hz" in given:
                for key in ("width_hz", "power_w"):
                    field_ = f"carriers[{number}].{key}"
                    if key not in given and self.fault(row.number, field_, "", "", "").place not in broken:
                        row.faults.append(
                            self.fault(
                                row.number,
                                field_,
                                "nothing",
                                f"{BY_NAME[key].meaning}, carrier {number}",
                                f"give {key} of carrier {number}",
                            )
                        )


def _sectors(reader: Reader, rows: list[Row]) -> None:
    """Sector names of one site: letters, digits, Greek names or azimuths, but one way for the whole site."""
    read = {id(row): azimuth_of(str(row.get("sector"))) for row in rows if "sector" in row.values}
    by_azimuth = any(found and (found[1] or found[0] > 12) for found in read.values())
    if not read and all("azimuth_deg" in row.values for row in rows):
        read = {id(row): (float(row.values["azimuth_deg"].value) % 360.0, True) for row in rows}
        by_azimuth = True
    order = sorted({found[0] for found in read.values() if found})
    ways: dict[str, Row] = {}
    for row in _with_sector(rows, read):
        written, found = str(row.get("sector") or ""), read[id(row)]
        if by_azimuth and found and order.index(found[0]) < 12:
            made = LETTERS[order.index(found[0])]
            row.values["sector"] = Value(made, f"{written or f'{found[0]:g}°'} = {made}")
            row.values.setdefault("azimuth_deg", Value(found[0], f"{found[0]:g} °"))
            way = "azimuths"
        else:
            made = sector_id(written)
            way = "digits" if made.isdigit() else "letters"
            if not made:
                row.faults.append(
                    reader.fault(
                        row.number,
                        "sector",
                        written,
                        "a sector such as A, 1, Alpha or 120°",
                        "shorten it to four letters or digits",
                    )
                )
                continue
            row.values["sector"] = Value(made, made if made == written else f"{written} = {made}")
        ways.setdefault(way, row)
        if len(ways) > 1 and next(iter(ways)) != way:
            other = next(iter(ways))
            row.faults.append(
                reader.fault(
                    row.number,
                    "sector",
                    written,
                    f"sectors named one way; row {ways[other].number} has {other}",
                    "name all sectors of the site alike",
                )
            )


def _with_sector(rows: list[Row], read: dict[int, tuple[float, bool] | None]) -> Iterator[Row]:
    return (row for row in rows if id(row) in read)
