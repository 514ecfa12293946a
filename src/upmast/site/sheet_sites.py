"""
From the preview of a radio list to plain data for `site.yaml`, one draft for each site. All or nothing, unless asked otherwise.

What the list does not say and a site needs is taken by a stated rule and told in `assumed`; what stays open is told in `still_open`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import RadioPart
from upmast.errors import Fault, InputFaults, shorten
from upmast.rf.bands import band
from upmast.site.sheet_antennas import antennas
from upmast.site.sheet_ids import make_id
from upmast.site.sheet_models import find, stand_in, suggestions
from upmast.site.sheet_preview import Preview
from upmast.site.sheet_read import column_of, letter
from upmast.site.sheet_rows import Row
from upmast.site.site import Radio

MOST_RADIOS, MOST_SECTORS = 48, 12
_PLAIN = ("height_m", "box_run_m", "maximum_w", "typical_w", "minimum_v", "rf_run_m")


@dataclass(frozen=True, slots=True)
class SiteDraft:
    """
    One site as plain data in the shape of `site.yaml`: its radios, sectors and antennas, and all of `base` if one was given.

    `ids` leads from each name of the list to the id made of it.
    """

    id: str
    name: str
    data: dict[str, Any]
    rows: tuple[int, ...]
    ids: dict[str, str] = field(default_factory=dict)
    assumed: tuple[str, ...] = ()
    still_open: tuple[str, ...] = ()

    def as_data(self) -> dict[str, object]:
        return {
            "id": self.id, "name": self.name, "data": self.data, "rows": list(self.rows), "ids": self.ids,
            "assumed": list(self.assumed), "still_open": list(self.still_open),
        }  # fmt: skip


class Drafts(dict[str, SiteDraft]):
    """Drafts by site id. `left_out` names each row and column that is in none of them, with its first fault."""

    left_out: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        out = []
        for draft in self.values():
            out.append(f"{draft.id}: {len(draft.data['radios'])} radios from rows {', '.join(map(str, draft.rows))}")
            out += [
                f"  {old} -> {new}"
                for old, new in draft.ids.items()
                if old.partition(" ")[2].partition(" (row")[0] != new
            ]
            out += [f"  assumed: {one}" for one in draft.assumed]
            out += [f"  still open: {one}" for one in draft.still_open]
        return [shorten(one, 240) for one in [*out, *(f"left out: {one}" for one in self.left_out)]]


@dataclass(slots=True)
class Work:
    """The making of the drafts of one preview: faults by row, and what is told about a site."""

    preview: Preview
    catalogue: Catalogue
    faults: dict[int, list[Fault]] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)
    still_open: list[str] = field(default_factory=list)
    ids: dict[str, str] = field(default_factory=dict)

    def fault(self, row: Row, field_: str, got: object, expected: str, remedy: str) -> None:
        columns = {one.field: one.letter for one in self.preview.columns}
        at = columns.get(field_, "")
        place = f"{self.preview.sheet}!{at}{row.number}"
        found = Fault(self.preview.file, place, shorten(got), expected, remedy, row.number, column_of(at) or 1)
        self.faults.setdefault(row.number, []).append(found)

    def good(self, rows: list[Row]) -> list[Row]:
        return [row for row in rows if row.number not in self.faults]


def to_sites(
    preview: Preview,
    catalogue: Catalogue,
    base: Mapping[str, Any] | None = None,
    *,
    skip_faulty: bool = False,
    stand_in_antennas: bool = False,
) -> Drafts:
    """
    Drafts by site id.

    `base` is the plain data of a site that lends everything but its radios, sectors and antennas. With `stand_in_antennas` a
    radio without an antenna gets one of the catalogue that fits, and the draft says so.

    Raises
    ------
    InputFaults
        With all faults, if there is one and `skip_faulty` is not set; always if a needed column is missing.
    """
    if preview.missing:
        raise InputFaults(preview.faults)
    work = Work(preview, catalogue)
    parts = _radios_known(work, list(preview.radios))
    sites = _by_site(work, work.good(list(preview.radios)))
    drafts = Drafts()
    for id_, rows in sites.items():
        work.assumed, work.still_open, work.ids = [], [], {}
        draft = _draft(work, id_, work.good(rows), parts, base, stand_in_antennas)
        if draft is not None:
            drafts[id_] = draft
    found = [*preview.faults, *(one for number in sorted(work.faults) for one in work.faults[number])]
    if found and not skip_faulty:
        raise InputFaults(sorted(found, key=lambda one: (one.line, one.column)))
    drafts.left_out = tuple(_left_out(work))
    return drafts


def _left_out(work: Work) -> list[str]:
    out = [f"column {letter(one.column)} ({one.got}): expected {one.expected}" for one in work.preview.column_faults]
    for row in work.preview.rows:
        faults = [*row.faults, *work.faults.get(row.number, [])]
        if faults:
            first = faults[0]
            out.append(f"row {row.number} ({first.place}: got {first.got or 'nothing'}, expected {first.expected})")
        elif row.kind == "note":
            out.append(f"row {row.number} ({row.reason})")
    return out


def _radios_known(work: Work, rows: list[Row]) -> dict[int, tuple[RadioPart, str]]:
    """The part of each row, and what is to be told about it."""
    out: dict[int, tuple[RadioPart, str]] = {}
    for row in rows:
        model = str(row.get("part") or "")
        id_ = find(model, RadioPart, work.catalogue, work.preview.memory) if model else None
        if id_ is not None:
            out[row.number] = (work.catalogue.get(id_, RadioPart), "")
            continue
        lent = stand_in(row, work.catalogue)
        if lent is not None:
            told = f"{model!r} is in no catalogue" if model else "no model is given"
            out[row.number] = (
                lent,
                f"{told}: {lent.id} lends connectors and ports, power and voltage are the list's own",
            )
            continue
        near = suggestions(model, RadioPart, work.catalogue)
        hint = f"is it {' or '.join(near)}? " if near else ""
        work.fault(
            row, "part", model or "nothing", "a radio of the catalogue, or maximum_w and minimum_v in the list",
            f"{hint}decide it: models: {{{shorten(model, 40)}: {near[0] if near else 'PART'}}}",
        )  # fmt: skip
    return out


def _by_site(work: Work, rows: list[Row]) -> dict[str, list[Row]]:
    """Rows by site id; two names that become one id are a fault."""
    out: dict[str, list[Row]] = {}
    names: dict[str, str] = {}
    for row in rows:
        id_ = make_id(row.site)
        folded = " ".join(row.site.split()).casefold()
        if not id_:
            work.fault(row, "site", row.site, "a site whose name has letters or digits", "name the site")
        elif names.setdefault(id_, folded) != folded:
            work.fault(
                row,
                "site",
                row.site,
                f"a name that does not become the id of another site, {id_}",
                "name the two apart",
            )
        else:
            out.setdefault(id_, []).append(row)
    return out


def _draft(
    work: Work,
    id_: str,
    rows: list[Row],
    parts: dict[int, tuple[RadioPart, str]],
    base: Mapping[str, Any] | None,
    lend: bool,
) -> SiteDraft | None:
    names = _radio_ids(work, rows)
    rows = work.good(rows)
    sectors = _sectors(work, rows)
    made: dict[int, dict[str, Any]] = {}
    for row in work.good(rows):
        made[row.number] = _radio(work, row, names[row.number], *parts[row.number])
    rows = work.good(rows)
    hung = antennas(work, rows, names, {number: part for number, (part, _) in parts.items()}, made, lend)
    rows = work.good(rows)
    kept = {made[row.number]["sector"] for row in rows}
    for row in rows:
        _declared(work, row, made[row.number])
    for row in rows[MOST_RADIOS:]:
        work.fault(row, "site", row.site, f"at most {MOST_RADIOS} radios at one site", "split the site")
    rows = work.good(rows)
    if not rows:
        return None
    used = {made[row.number].get("antenna") for row in rows}
    first = next((str(row.get("site_name")) for row in rows if row.get("site_name")), "")
    name = first or (rows[0].site if rows[0].site != id_ else "")
    work.ids = {f"site {rows[0].site}": id_, **work.ids}
    data: dict[str, Any] = {
        **(dict(base) if base else {}),
        "version": 1, "id": id_, "name": name[:120],
        "sectors": [one for one in sectors if one["id"] in kept],
        "radios": [made[row.number] for row in rows],
        "antennas": [one for one in hung if one["id"] in used],
    }  # fmt: skip
    if not data["antennas"]:
        del data["antennas"]
    return SiteDraft(
        id_,
        name,
        data,
        tuple(row.number for row in rows),
        work.ids,
        tuple(dict.fromkeys(work.assumed)),
        tuple(work.still_open),
    )


def _radio_ids(work: Work, rows: list[Row]) -> dict[int, str]:
    """An id for each row: the list's own, led by the sector where it is a bare number or stands in several sectors."""
    out: dict[int, str] = {}
    own = {row.number: make_id(str(row.get("id") or "")) for row in rows}
    many = Counter(one for one in own.values() if one)
    taken: dict[str, Row] = {}
    for row in rows:
        made, sector = own[row.number], str(row.get("sector"))
        if not made:
            continue
        joint = "-" if sector[-1:].isdigit() else ""
        if made.isdigit():
            made = f"{sector}{joint}{made}"
        elif many[made] > 1 and len({row_.get("sector") for row_ in rows if own[row_.number] == made}) == many[made]:
            made = f"{sector}-{made}"
        made = make_id(made)
        if made in taken:
            other = taken[made]
            same = other.get("id") == row.get("id")
            words = (
                "an id that no other radio of the site has"
                if same
                else f"an id that differs from {other.get('id')!r} without I and O"
            )
            work.fault(row, "id", row.get("id"), f"{words}; row {other.number} has {made}", "rename one of the two")
            continue
        taken[made] = row
        out[row.number] = made
        work.ids[f"radio {row.get('id')} (row {row.number})"] = made
    for row in rows:
        if own[row.number]:
            continue
        sector = str(row.get("sector"))
        joint = "-" if sector[-1:].isdigit() else ""
        number = next(n for n in range(1, 10_000) if f"{sector}{joint}{n}" not in taken)
        out[row.number] = f"{sector}{joint}{number}"
        taken[out[row.number]] = row
        work.assumed.append(f"row {row.number} names no position: {out[row.number]}, by sector and order")
    return out


def _sectors(work: Work, rows: list[Row]) -> list[dict[str, Any]]:
    """The sectors in order, each with its azimuth; rows of one sector must agree."""
    found: dict[str, tuple[float, Row] | None] = {}
    for row in rows:
        sector, azimuth = str(row.get("sector")), row.get("azimuth_deg")
        shown = row.values["sector"].shown
        if " = " in shown:
            work.ids[f"sector {shown.partition(' = ')[0]}"] = sector
        have = found.get(sector)
        if isinstance(azimuth, float):
            azimuth %= 360.0
            if have and abs(have[0] - azimuth) > 1e-9:
                work.fault(
                    row, "azimuth_deg", f"{azimuth:g} °", f"{have[0]:g} °, as row {have[1].number} says of sector {sector}",
                    "correct one of them, or name another sector",
                )  # fmt: skip
            else:
                found[sector] = (azimuth, row)
        else:
            found.setdefault(sector, None)
    for row in rows:
        if str(row.get("sector")) in list(found)[MOST_SECTORS:]:
            work.fault(
                row, "sector", row.get("sector"), f"at most {MOST_SECTORS} sectors at one site", "split the site"
            )
    out = []
    for at, (sector, known) in enumerate(found.items()):
        azimuth = known[0] if known else round(360.0 * at / len(found), 1) % 360
        if known is None:
            work.assumed.append(f"no azimuth of sector {sector} is given: {azimuth:g} °, evenly spaced")
        out.append({"id": sector, "azimuth_deg": tidy(azimuth)})
    return out


def _radio(work: Work, row: Row, id_: str, part: RadioPart, told: str) -> dict[str, Any]:
    if told:
        work.assumed.append(f"{id_}: {told}")
    out: dict[str, Any] = {"id": id_, "sector": str(row.get("sector")), "part": part.id}
    out.update({key: tidy(row.get(key)) for key in _PLAIN if row.get(key) is not None})
    links = {key: row.get(key) for key in ("links_count", "standby_count") if row.get(key) is not None}
    if links:
        out["fibre"] = links
    asked = links.get("links_count", 0)
    if isinstance(asked, int) and asked > part.optical_ports_count:
        work.fault(
            row,
            "links_count",
            asked,
            f"at most {part.optical_ports_count}, the optical ports of {part.id}",
            "ask fewer links",
        )
    highest = row.get("maximum_w")
    if isinstance(highest, float) and row.get("typical_w") is None and part.typical_w > highest:
        work.fault(
            row, "maximum_w", f"{highest:g} W", f"at least the mean power of {part.id}, {part.typical_w:g} W, or typical_w beside it",
            "check the model, or give the mean power",
        )  # fmt: skip
    carriers = _carriers(work, row, id_)
    if carriers:
        out["carriers"] = carriers
    return out


def _carriers(work: Work, row: Row, id_: str) -> list[dict[str, Any]]:
    out = []
    for number in sorted({int(key[9 : key.index("]")]) for key in row.values if key.startswith("carriers[")}):
        at = f"carriers[{number}]."
        centre, width, power, name = (row.get(at + key) for key in ("centre_hz", "width_hz", "power_w", "band"))
        if not isinstance(centre, float) or not isinstance(width, float):
            work.still_open.append(f"{id_}: carrier {number} has no centre, so none is written")
            continue
        made: dict[str, Any] = {
            "centre_mhz": tidy(centre / 1e6),
            "width_mhz": tidy(width / 1e6),
            "power_w": tidy(power),
        }
        if name:
            try:
                known = band(str(name))
            except ValueError as error:
                work.fault(row, at + "band", name, str(error), "name the band, or leave it empty")
                continue
            made["band"] = known.name
            way = known.downlink_hz
            if way is None or not way[0] <= centre <= way[1]:
                shown = "it has none" if way is None else f"{way[0] / 1e6:g} to {way[1] / 1e6:g} MHz"
                work.fault(
                    row, at + "centre_hz", f"{centre / 1e6:g} MHz", f"a centre inside the downlink of {known.name}: {shown}",
                    "correct the centre or the band",
                )  # fmt: skip
        out.append(made)
    return out


def _declared(work: Work, row: Row, data: dict[str, Any]) -> None:
    """The last look: the declaration itself takes the radio."""
    try:
        Radio.model_validate(data)
    except ValidationError as error:
        for one in error.errors(include_url=False):
            key = str(one["loc"][0]) if one["loc"] else ""
            work.fault(row, key, one["input"], str(one["msg"]).removeprefix("Value error, "), f"correct {key}")


def tidy(value: object) -> object:
    """A number as people write it: 31, not 31.0, without the dust of a conversion."""
    if isinstance(value, float):
        value = float(f"{value:.12g}")
        return int(value) if value.is_integer() else value
    return value
