"""Where every clamp of a line sits: one row a clamp, with its height, leg and torque, adding up to the items of the line."""

from __future__ import annotations

import math
from dataclasses import dataclass

from upmast.catalogue.part import Clamp, HeldCable
from upmast.finding import Authority, Limit, Sense
from upmast.limits import Limits
from upmast.line.clamp_places import clamp_places
from upmast.line.line import Item, Line
from upmast.proof.closing import IN_LB_PER_NM
from upmast.proof.prove import Proof
from upmast.site.site import Site
from upmast.support.clamp import NUT_FACTOR, largest_torque_nm
from upmast.support.findings import PLACES
from upmast.support.torque import NUT_SCATTER

PER_SHEET = "by its data sheet"
MOST_NAMED = 3


def torque_words(torque_nm: float | None, crushed: tuple[str, ...] = (), most_nm: float | None = None) -> str:
    """
    Torque in both units, or who tells it; of one that crushes a cable, that it is not to be used, and the largest that is.

    >>> torque_words(6.0)
    '6 N·m (53 in·lb)'
    >>> torque_words(12.0, ("T1",), 0.896)
    'NOT 12 N·m: crushes T1, at most 0.9 N·m (7.9 in·lb)'
    """
    if torque_nm is None:
        return PER_SHEET
    if not crushed or most_nm is None:
        return f"{torque_nm:.3g} N·m ({torque_nm * IN_LB_PER_NM:.0f} in·lb)"
    more = f" and {len(crushed) - MOST_NAMED} more" if len(crushed) > MOST_NAMED else ""
    names = ", ".join(crushed[:MOST_NAMED]) + more
    most, inch_pounds = _short(most_nm, torque_nm), _short(most_nm * IN_LB_PER_NM, torque_nm * IN_LB_PER_NM)
    return f"NOT {torque_nm:g} N·m: crushes {names}, at most {most} N·m ({inch_pounds} in·lb)"


def _short(most: float, below: float) -> str:
    """A few digits of a largest value, always fewer than the one that is too large."""
    told = f"{most:.1f}" if most >= 1 else f"{most:.2g}"
    return told if float(told) < below else f"{math.floor(most * 1000) / 1000:g}"


@dataclass(frozen=True, slots=True)
class ClampRow:
    """
    One clamp: item and number on it, cable, the others that it holds, part, leg, distance from the lower end of the clamped length,
    height above the foot of the mast, torque of its bolts (None where the part tells none), the cables that this torque crushes and
    the largest torque that crushes none of them (None where it crushes none).
    """

    item: str
    number: int
    cable: str
    others: tuple[str, ...]
    part: str
    leg: str
    along_m: float
    height_m: float
    torque_nm: float | None
    crushed: tuple[str, ...] = ()
    most_nm: float | None = None

    @property
    def torque(self) -> str:
        """Torque in both units, or who tells it, or that it crushes a cable."""
        return torque_words(self.torque_nm, self.crushed, self.most_nm)


@dataclass(frozen=True, slots=True)
class ClampGroup:
    """The clamps of one item on one leg: from the lowest to the highest, evenly."""

    item: str
    cable: str
    part: str
    leg: str
    count: int
    low_m: float
    high_m: float
    spacing_m: float
    torque_nm: float | None
    crushed: tuple[str, ...] = ()
    most_nm: float | None = None

    @property
    def torque(self) -> str:
        """As that of its clamps."""
        return torque_words(self.torque_nm, self.crushed, self.most_nm)


def clamp_rows(proof: Proof) -> tuple[ClampRow, ...]:
    """
    Every clamp of the line in the order of its cables, from the foot up.

    Where each sits: see `clamp_places`.
    """
    site, line = proof.site, proof.line
    out: list[ClampRow] = []
    mine: dict[str, list[Item]] = {}
    for item in line.items:
        if item.kind == "clamp":
            mine.setdefault(item.on, []).append(item)
    for cable in line.items:
        for rows in _of_cable(site, line, proof.limits, cable, mine.get(cable.id, [])):
            out += rows
    return tuple(out)


def _of_cable(site: Site, line: Line, limits: Limits, cable: Item, items: list[Item]) -> list[list[ClampRow]]:
    out = []
    for places in clamp_places(site, cable, items):
        item = places.item
        part = line.parts.get(item.part)
        torque = part.torque_nm if isinstance(part, Clamp) else None
        crushed, most = _crushed(line, limits, item, part) if isinstance(part, Clamp) else ((), None)
        rows = zip(places.legs, places.along_m, places.height_m, strict=True)
        out.append(
            [
                ClampRow(item.id, k, cable.id, item.serves, item.part, leg, float(along), float(z), torque, crushed, most)
                for k, (leg, along, z) in enumerate(rows, 1)
            ]
        )  # fmt: skip
    return out


def _crushed(line: Line, limits: Limits, item: Item, clamp: Clamp) -> tuple[tuple[str, ...], float | None]:
    """Cables in a clamp that its torque crushes, as `support.clamp-torque` judges them, and the largest torque that all of them bear."""
    code, torque = "support.clamp-torque", clamp.torque_nm
    if torque is None or clamp.bolts_count is None or clamp.bolt_mm is None or clamp.pad_width_mm is None:
        return (), None
    crushed: dict[str, float] = {}
    for id in dict.fromkeys((item.on, *item.serves)):
        cable = line.by_id.get(id)
        part = line.parts.get(cable.part) if cable else None
        if not isinstance(part, HeldCable) or part.crush_n_per_100mm is None:
            continue
        bolts, width, bolt = clamp.bolts_count, clamp.pad_width_mm, clamp.bolt_mm
        most = float(largest_torque_nm(part.crush_n_per_100mm, bolts, width, bolt, NUT_FACTOR * (1 - NUT_SCATTER)))
        rated = Limit(code, round(most, PLACES), "N·m", Sense.AT_MOST, Authority.SAFETY, part.source_of("crush_n_per_100mm"))  # fmt: skip
        limit = limits.in_force(code, rated) or rated
        if torque > limit.value:
            crushed[id] = limit.value
    return tuple(crushed), min(crushed.values(), default=None)


def clamp_groups(rows: tuple[ClampRow, ...]) -> tuple[ClampGroup, ...]:
    """The rows of each item and leg in one."""
    groups: dict[tuple[str, str], list[ClampRow]] = {}
    for row in rows:
        groups.setdefault((row.item, row.leg), []).append(row)
    out = []
    for (item, leg), some in groups.items():
        first, last = some[0], some[-1]
        spacing = (last.along_m - first.along_m) / (len(some) - 1) if len(some) > 1 else 0.0
        out.append(
            ClampGroup(item, first.cable, first.part, leg, len(some), min(r.height_m for r in some), max(r.height_m for r in some), spacing, first.torque_nm, first.crushed, first.most_nm)
        )  # fmt: skip
    return tuple(out)


__all__ = ["ClampGroup", "ClampRow", "clamp_groups", "clamp_rows", "torque_words"]
