"""The antennas of one drafted site: from the list where it names them, else lent from the catalogue if that is asked for."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from upmast.catalogue.part import AntennaPart, RadioPart
from upmast.site.sheet_ids import make_id
from upmast.site.sheet_models import find, suggestions, usable_ports
from upmast.site.sheet_rows import Row

if TYPE_CHECKING:
    from upmast.site.sheet_sites import Work


@dataclass(slots=True)
class _Hung:
    """One antenna that is being drafted, the rows on it and the ports that are taken."""

    id: str
    sector: str
    part: AntennaPart
    height_m: float | None = None
    taken: dict[str, int] = field(default_factory=dict)  # port -> row


def antennas(
    work: Work,
    rows: list[Row],
    names: dict[int, str],
    parts: dict[int, RadioPart],
    made: dict[int, dict[str, Any]],
    lend: bool,
) -> list[dict[str, Any]]:
    """The antennas of a site; writes antenna and ports into the radios that are made."""
    hung: dict[tuple[str, str, str], _Hung] = {}
    where: dict[int, _Hung] = {}
    ids = set(names.values())
    said = _said(work, rows)
    for row in rows:
        if not parts[row.number].rf_ports_count:
            if row.get("antenna") or row.get("antenna_part"):
                work.assumed.append(f"{names[row.number]} has no RF ports: its antenna is not used")
            continue
        one = _of_row(work, row, said, hung, ids)
        if one is not None:
            where[row.number] = one
    _heights(work, rows, where)
    for row in work.good(rows):
        if row.number in where and row.get("antenna_ports"):
            _given_ports(work, row, where[row.number], parts[row.number])
    for row in work.good(rows):
        if row.number in where and not row.get("antenna_ports"):
            _free_ports(work, row, where[row.number], parts[row.number], names[row.number])
    without = [row for row in work.good(rows) if row.number not in where and parts[row.number].rf_ports_count]
    if lend:
        _lend(work, without, parts, where, ids)
    else:
        work.still_open += [f"{names[row.number]} has no antenna: add antenna and antenna_ports" for row in without]
    for row in work.good(rows):
        if row.number in where:
            made[row.number]["antenna"] = where[row.number].id
            made[row.number]["antenna_ports"] = [
                port for port, number in where[row.number].taken.items() if number == row.number
            ]
    kept = {one.id: one for one in where.values()}
    return [_data(work, one, rows) for one in kept.values()]


def _said(work: Work, rows: list[Row]) -> dict[tuple[str, str], str]:
    """The part that some row gives for a named antenna of a sector."""
    out: dict[tuple[str, str], str] = {}
    for row in rows:
        if row.get("antenna") and row.get("antenna_part"):
            out.setdefault((str(row.get("sector")), str(row.get("antenna"))), str(row.get("antenna_part")))
    return out


def _of_row(
    work: Work, row: Row, said: dict[tuple[str, str], str], hung: dict[tuple[str, str, str], _Hung], ids: set[str]
) -> _Hung | None:
    sector, name = str(row.get("sector")), str(row.get("antenna") or "")
    model = str(row.get("antenna_part") or said.get((sector, name), ""))
    if not model:
        return None
    if name and said.get((sector, name), model) != model:
        work.fault(
            row, "antenna_part", model, f"{said[sector, name]}, as another row says of {name}", "correct one of them"
        )
        return None
    part = find(model, AntennaPart, work.catalogue, work.preview.memory)
    if part is None:
        near = suggestions(model, AntennaPart, work.catalogue)
        hint = f"is it {' or '.join(near)}? " if near else ""
        work.fault(
            row,
            "antenna_part",
            model,
            "an antenna of the catalogue",
            f"{hint}decide it: models: {{{model[:40]}: {near[0] if near else 'PART'}}}",
        )
        return None
    key = (sector, name, part)
    if key not in hung:
        wanted = make_id(name)
        if not wanted or wanted.isdigit() or wanted in ids:
            wanted = f"{sector}-ANT{wanted if wanted.isdigit() else ''}"
        hung[key] = _Hung(_free_id(wanted, ids), sector, work.catalogue.get(part, AntennaPart))
        if name:
            work.ids[f"antenna {name} (sector {sector})"] = hung[key].id
    return hung[key]


def _free_id(wanted: str, ids: set[str]) -> str:
    made, number = wanted[:22], 1
    while made in ids:
        number += 1
        made = f"{wanted[:20]}-{number}"
    ids.add(made)
    return made


def _heights(work: Work, rows: list[Row], where: dict[int, _Hung]) -> None:
    for row in rows:
        one, height = where.get(row.number), row.get("antenna_height_m")
        if one is None or not isinstance(height, float):
            continue
        if one.height_m is not None and abs(one.height_m - height) > 1e-9:
            work.fault(
                row,
                "antenna_height_m",
                f"{height:g} m",
                f"{one.height_m:g} m, as another row says of {one.id}",
                "correct one of them",
            )
        else:
            one.height_m = height


def _given_ports(work: Work, row: Row, one: _Hung, part: RadioPart) -> None:
    given, known = row.values["antenna_ports"].value, [port.name for port in one.part.ports]
    if len(given) > part.rf_ports_count:
        work.fault(
            row,
            "antenna_ports",
            ", ".join(given),
            f"at most {part.rf_ports_count}, the RF ports of {part.id}",
            "remove ports",
        )
        return
    for port in given:
        if port not in known:
            work.fault(
                row, "antenna_ports", port, f"a port of {one.part.id}: {', '.join(known[:16])}", "correct the port name"
            )
        elif port in one.taken:
            work.fault(
                row,
                "antenna_ports",
                port,
                f"a free port; row {one.taken[port]} has {port}",
                "give each radio ports of its own",
            )
        else:
            one.taken[port] = row.number


def _centres(row: Row) -> list[float]:
    return [value.value for key, value in row.values.items() if key.endswith(".centre_hz")]


def _free_ports(work: Work, row: Row, one: _Hung, part: RadioPart, id_: str) -> None:
    free = [port for port in usable_ports(one.part, part, _centres(row)) if port not in one.taken][
        : part.rf_ports_count
    ]
    if not free:
        work.fault(
            row,
            "antenna_part",
            one.part.id,
            f"an antenna with a free port for {id_}",
            "take an antenna with more ports, or name the ports",
        )
        return
    one.taken.update(dict.fromkeys(free, row.number))
    few = f", {len(free)} of its {part.rf_ports_count}" if len(free) < part.rf_ports_count else ""
    work.assumed.append(
        f"{id_}: no antenna ports are given: {', '.join(free)} of {one.id}{few}, the first free ones that cover it"
    )


def _lend(work: Work, rows: list[Row], parts: dict[int, RadioPart], where: dict[int, _Hung], ids: set[str]) -> None:
    """Give radios without an antenna the fewest, smallest antennas of the catalogue that serve them, sector by sector."""
    kinds = sorted(
        (part for part in work.catalogue if isinstance(part, AntennaPart)), key=lambda part: (len(part.ports), part.id)
    )
    for sector in dict.fromkeys(str(row.get("sector")) for row in rows):
        left = [row for row in rows if str(row.get("sector")) == sector]
        while left:
            tried = [(part, _served(part, left, parts)) for part in kinds]
            part, served = max(tried, key=lambda one: (len(one[1]), -len(one[0].ports)), default=(None, {}))
            if part is None or not served:
                work.still_open += [
                    f"row {row.number} has no antenna, and none of the catalogue serves it" for row in left
                ]
                break
            one = _Hung(_free_id(f"{sector}-ANT", ids), sector, part)
            for row in left:
                for port in served.get(row.number, ()):
                    one.taken[port] = row.number
                if row.number in served:
                    where[row.number] = one
            left = [row for row in left if row.number not in served]
            work.assumed.append(f"no antenna of sector {sector} is given: {part.id} stands in as {one.id}")


def _served(antenna: AntennaPart, rows: list[Row], parts: dict[int, RadioPart]) -> dict[int, list[str]]:
    """The ports that each radio gets on one antenna; radios that don't get all of theirs are not in it."""
    out: dict[int, list[str]] = {}
    taken: set[str] = set()
    for row in rows:
        part = parts[row.number]
        free = [port for port in usable_ports(antenna, part, _centres(row)) if port not in taken]
        if len(free) >= part.rf_ports_count:
            out[row.number] = free[: part.rf_ports_count]
            taken.update(out[row.number])
    return out


def _data(work: Work, one: _Hung, rows: list[Row]) -> dict[str, Any]:
    height = one.height_m
    if height is None:
        height = max(float(row.values["height_m"].value) for row in rows if str(row.get("sector")) == one.sector)
        work.assumed.append(f"{one.id}: no height is given: {height:g} m, that of the highest radio of its sector")
    return {
        "id": one.id, "sector": one.sector, "part": one.part.id,
        "height_m": int(height) if height.is_integer() else height,
    }  # fmt: skip
