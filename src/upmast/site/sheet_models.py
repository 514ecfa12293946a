"""
Model names of a list against the parts of the catalogue: an exact id, a decided name, or a question; never the nearest one silently.

A radio whose model is in no catalogue can still be drafted if the list gives its highest power and lowest voltage: a part of the
catalogue then stands in for connectors and ports, and the report says so.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from upmast.catalogue.catalogue import Catalogue
from upmast.catalogue.part import AntennaPart, Part, RadioPart
from upmast.rf.bands import band
from upmast.site.sheet_memory import Memory
from upmast.site.sheet_rows import Row


def find(text: str, kind: type[Part], catalogue: Catalogue, memory: Memory) -> str | None:
    """The id of the part that a name means: decided, or the exact id (case and spaces at the ends not minded)."""
    folded = " ".join(text.split()).casefold()
    decided = {" ".join(key.split()).casefold(): value for key, value in memory.models.items()}
    for wanted in (decided.get(folded), folded):
        if wanted and wanted in catalogue and isinstance(catalogue.part(wanted), kind):
            return wanted
    return None


def suggestions(text: str, kind: type[Part], catalogue: Catalogue, most: int = 3) -> list[str]:
    """Parts of the kind whose id or title is nearest to a name, best first."""
    folded = text.casefold()[:120]
    scored = []
    for part in catalogue:
        if isinstance(part, kind):
            by_id = difflib.SequenceMatcher(None, folded, part.id).ratio()
            words = {one for one in folded.replace("-", " ").split() if len(one) > 1}
            title = part.title.casefold().replace(",", " ").split()
            by_title = len(words & set(title)) / (len(words) or 1)
            scored.append((max(by_id, by_title), part.id))
    return [id_ for score, id_ in sorted(scored, key=lambda one: (-one[0], one[1]))[:most] if score > 0.3]


def stand_in(row: Row, catalogue: Catalogue) -> RadioPart | None:
    """
    The radio of the catalogue that stands in for one that is not there; None where the list does not give its power and voltage.

    Of those with the row's number of antenna ports and band, where given, the one nearest in highest power; it only lends
    its connectors and ports.
    """
    highest, lowest = row.get("maximum_w"), row.get("minimum_v")
    if not isinstance(highest, float) or not isinstance(lowest, float):
        return None
    fitting = [part for part in catalogue if isinstance(part, RadioPart)]
    if row.get("typical_w") is None:
        fitting = [part for part in fitting if part.typical_w <= highest]
    ports = row.get("antenna_ports")
    if isinstance(ports, tuple):
        fitting = [part for part in fitting if part.rf_ports_count >= len(ports)]
    centres = [value.value for key, value in row.values.items() if key.endswith(".centre_hz")]
    if centres:
        fitting = [part for part in fitting if all(covers(part.bands, centre) for centre in centres)]
    elif ports is None:
        fitting = [part for part in fitting if part.rf_ports_count]
    wanted = len(ports) if isinstance(ports, tuple) else 4
    return min(
        fitting,
        key=lambda part: (abs(part.rf_ports_count - wanted), abs(part.maximum_w - highest), part.id),
        default=None,
    )


def covers(bands: Iterable[str], centre_hz: float) -> bool:
    """True if the downlink of one of the bands holds a frequency."""
    return any(low <= centre_hz <= high for low, high in downlinks(bands))


def downlinks(bands: Iterable[str]) -> list[tuple[int, int]]:
    found = []
    for one in bands:
        try:
            way = band(one).downlink_hz
        except ValueError:
            continue
        if way is not None:
            found.append(way)
    return found


def usable_ports(antenna: AntennaPart, radio: RadioPart, centres: list[float]) -> list[str]:
    """Ports of an antenna that a radio can feed: they cover each of its carriers, or else one of its bands."""
    ways = downlinks(radio.bands)
    out = []
    for port in antenna.ports:
        if centres:
            good = all(port.low_hz <= one <= port.high_hz for one in centres)
        else:
            good = any(port.low_hz <= low and high <= port.high_hz for low, high in ways)
        if good:
            out.append(port.name)
    return out
