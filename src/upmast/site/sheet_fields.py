"""
The fields of a radio that a column of a list can hold, and the words by which people head them.

English words only. A header is taken apart into plain words and a unit; each field has phrases, written in the plain words.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import cache

from upmast import units


@dataclass(frozen=True, slots=True)
class Rule:
    """
    One field: `kind` is name, text, ports, count or quantity; `name` ends with its unit; `assumed` is the unit where none is given.

    Phrases are words with a weight from 0 to 1: how sure a header of just these words means this field.
    `usual` is a range in the canonical unit that lists hold in practice (common practice, no source): outside it the unit is asked for.
    """

    name: str
    kind: str
    phrases: tuple[tuple[str, float], ...]
    assumed: str = ""
    usual: tuple[float, float] | None = None
    never: tuple[str, ...] = ()
    meaning: str = ""


def _p(*phrases: str, weak: tuple[str, ...] = ()) -> tuple[tuple[str, float], ...]:
    return tuple((one, 0.95) for one in phrases) + tuple((one, 0.6) for one in weak)


_POWER = (
    "power",
    "input power",
    "power consumption",
    "consumption",
    "load",
    "dc power",
    "power draw",
    "draw",
    "dc load",
)
_HEIGHT_NEVER = ("amsl", "asl", "sea", "structure", "mast", "tower", "building", "centre", "tip", "top")
RULES: tuple[Rule, ...] = (
    Rule("site", "name", _p("site", "site id", "site code", "site number", "station", "location", "node", "cell site"),
         meaning="site"),
    Rule("site_name", "text", _p("site name", "station name", "location name"), meaning="name of the site for people"),
    Rule("sector", "name", _p("sector", "sector id", "sector name", "sector number", "face", "cell sector", weak=("cell",)),
         meaning="sector"),
    Rule("id", "name", _p("id", "radio id", "radio position", "position", "position id", "radio name", "radio number", "radio ref", "radio label",
         "label", "ref", "tag", weak=("radio", "name", "number")), meaning="position of the radio"),
    Rule("part", "name", _p("model", "type", "radio model", "radio type", "model type", "part", "part number", "radio part", "product",
         "product name", "hardware", "radio hardware", "model name", "equipment", weak=("radio",)), meaning="model of the radio"),
    Rule("quantity", "count", _p("quantity", "pieces", "radio quantity"), meaning="how many radios in this row"),
    Rule("height_m", "quantity", _p("height", "radio height", "mounting height", "installation height", "height agl",
         "radio height agl", weak=("elevation",)), "m", (2, 250), _HEIGHT_NEVER, "height of the radio above the foot of the mast"),
    Rule("maximum_w", "quantity", _p(*(f"maximum {one}" for one in _POWER)) + tuple((one, 0.6) for one in _POWER), "w", (30, 3000),
         ("output", "transmit", "rf", "port", "carrier", "path", "total"), "highest input power"),
    Rule("typical_w", "quantity", _p(*(f"typical {one}" for one in _POWER)) + tuple((one, 0.6) for one in _POWER), "w", (15, 2500),
         ("output", "transmit", "rf", "port", "carrier", "path", "total"), "mean input power"),
    Rule("minimum_v", "quantity", _p("minimum voltage", "minimum input voltage", "minimum dc voltage", "minimum supply voltage",
         "minimum operating voltage", weak=("minimum",)), "v", (30, 48), meaning="lowest input voltage"),
    Rule("antenna", "name", _p("antenna id", "antenna position", "antenna name", "antenna number", "antenna ref", weak=("antenna",)),
         meaning="position of the antenna"),
    Rule("antenna_part", "name", _p("antenna model", "antenna type", "antenna part", "antenna part number", "antenna product",
         "antenna hardware", weak=("antenna",)), meaning="model of the antenna"),
    Rule("antenna_height_m", "quantity", _p("antenna height", "antenna base height", "antenna height agl", "antenna bottom height",
         "antenna lower end"), "m", (2, 250), _HEIGHT_NEVER, "height of the lower end of the antenna"),
    Rule("antenna_ports", "ports", _p("antenna port", "antenna ports", "port", "ports", "antenna connector"), meaning="antenna ports"),
    Rule("azimuth_deg", "quantity", _p("azimuth", "bearing", "heading", "antenna azimuth", "sector azimuth", "sector bearing",
         "direction"), "deg", (0, 360), meaning="direction of the sector from north"),
    Rule("links_count", "count", _p("links", "fibre links", "optical links", "links number", "fibre links number", "fronthaul links",
         "links count"), meaning="optical links in service"),
    Rule("standby_count", "count", _p("standby", "standby links", "spare links", "backup links", "redundant links",
         "standby fibre links", "standby count"), meaning="optical links kept ready"),
    Rule("band", "name", _p("band", "frequency band", "operating band", "carrier band", "bands"), meaning="operating band"),
    Rule("centre_hz", "quantity", _p("centre frequency", "carrier frequency", "frequency", "carrier centre frequency", "centre",
         "downlink frequency", "carrier centre", "downlink centre frequency", "carrier"), "mhz", (4e8, 6e9), ("uplink",),
         "centre of the downlink carrier"),
    Rule("width_hz", "quantity", _p("bandwidth", "channel bandwidth", "carrier bandwidth", "channel width", "carrier width",
         weak=("width",)), "mhz", (1e6, 4e8), meaning="channel width"),
    Rule("power_w", "quantity", _p("power port", "output power port", "transmit power port", "rf power port", "carrier power",
         "carrier power port", "transmit power", "output power", "rf power", "rated output power", "maximum output power",
         "maximum transmit power", "rf output power", weak=("power",)), "w", (0.5, 400), ("total", "input", "consumption"),
         "power of a carrier at one radio port"),
    Rule("box_run_m", "quantity", _p("box run", "box radio", "box radio length", "dc jumper length", "hybrid jumper length", "box distance",
         "dc jumper", "box length", weak=("jumper length", "jumper")), "m", (0.2, 60), meaning="way from the box to the radio"),
    Rule("rf_run_m", "quantity", _p("rf run", "rf jumper length", "rf jumper", "coax length", "coax jumper length", "radio antenna length",
         "radio antenna", "rf length", weak=("jumper length", "jumper")), "m", (0.2, 60), meaning="way from radio port to antenna port"),
    Rule("note", "text", _p("note", "remark", "comment", "description", "status", "revision"), meaning="a note, kept for people"),
)  # fmt: skip
BY_NAME = {rule.name: rule for rule in RULES}
CARRIER = ("band", "centre_hz", "width_hz", "power_w")
MOST_CARRIERS = 32
# words of headers and the plain word they stand for
_WORDS = {
    "max": "maximum", "maxi": "maximum", "peak": "maximum", "highest": "maximum", "pmax": "maximum power", "worst": "maximum",
    "min": "minimum", "lowest": "minimum", "vmin": "minimum voltage", "typ": "typical", "avg": "typical", "average": "typical",
    "mean": "typical", "nominal": "typical", "nom": "typical", "pwr": "power", "consump": "consumption", "volt": "voltage",
    "volts": "voltage", "voltages": "voltage", "ht": "height", "hgt": "height", "heights": "height", "freq": "frequency",
    "frequencies": "frequency", "bw": "bandwidth", "chbw": "channel bandwidth", "ch": "channel", "ant": "antenna", "aerial": "antenna",
    "antennas": "antenna", "az": "azimuth", "azi": "azimuth", "no": "number", "nr": "number", "num": "number", "qty": "quantity",
    "pcs": "pieces", "pos": "position", "center": "centre", "fiber": "fibre", "tx": "transmit", "dl": "downlink", "ul": "uplink",
    "notes": "note", "remarks": "remark", "comments": "comment", "rru": "radio", "rrh": "radio", "ru": "radio", "radios": "radio",
    "unit": "radio", "sec": "sector", "sect": "sector", "sectors": "sector", "sites": "site", "carriers": "carrier", "cc": "carrier",
    "rev": "revision", "len": "length", "distance": "length", "link": "links", "identifier": "id", "reference": "ref", "agl": "",
    "centreline": "centre", "centerline": "centre", "rad": "centre", "models": "model", "units": "radio", "breakout": "box",
    "required": "", "planned": "", "proposed": "", "above": "", "ground": "", "level": "", "the": "", "of": "", "per": "", "at": "",
    "to": "", "from": "", "a": "", "in": "", "new": "", "and": "", "for": "", "lte": "", "each": "", "remote": "", "head": "",
}  # fmt: skip
_PLAIN = {word for rule in RULES for phrase, _ in rule.phrases for word in phrase.split()}
# how people write the units that a list holds, folded to lower case -> our symbol
SPELLINGS = {
    "m": "m", "mtr": "m", "mtrs": "m", "mts": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "m agl": "m", "ft": "ft",
    "feet": "ft", "foot": "ft", "'": "ft", "mm": "mm", "cm": "cm", "km": "km", "w": "W", "watt": "W", "watts": "W", "kw": "kW",
    "kilowatt": "kW", "v": "V", "volt": "V", "volts": "V", "vdc": "V", "v dc": "V", "hz": "Hz", "khz": "kHz", "mhz": "MHz",
    "ghz": "GHz", "deg": "°", "degree": "°", "degrees": "°", "°": "°", "º": "°", "deg.": "°", "dbm": "dBm", "°n": "°", "deg n": "°",
}  # fmt: skip
_DIMENSION = {
    "m": "length", "ft": "length", "mm": "length", "cm": "length", "km": "length", "W": "power", "kW": "power", "V": "voltage",
    "Hz": "frequency", "kHz": "frequency", "MHz": "frequency", "GHz": "frequency", "°": "angle", "dBm": "power",
}  # fmt: skip


def unit_symbol(text: str) -> str:
    """The symbol of a unit as people write it, '' if it is none of those a list holds."""
    folded = " ".join(text.lower().replace("/port", "").replace("per port", "").split()).strip(" .")
    return SPELLINGS.get(folded, "")


def fits(symbol: str, rule: Rule) -> bool:
    """True if a unit measures what the field holds; dBm only for the power of a carrier."""
    if symbol == "dBm":
        return rule.name == "power_w"
    unit = units.unit_of(rule.name) if rule.kind == "quantity" else None
    return unit is not None and _DIMENSION.get(symbol) == unit.dimension


def canonical_symbol(rule: Rule) -> str:
    unit = units.unit_of(rule.name) if rule.kind == "quantity" else None
    return unit.symbol if unit else ""


@dataclass(frozen=True, slots=True)
class Header:
    """A header taken apart: plain words, unit symbol as read, carrier or port number (0 if none)."""

    words: tuple[str, ...]
    unit: str = ""
    number: int = 0


_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]{1,20})[)\]}]")


@cache
def parse(text: str) -> Header:
    """Take a header apart."""
    text = text[:200]
    unit = ""
    for inside in _BRACKETS.findall(text):
        unit = unit or unit_symbol(inside)
    if unit:
        text = _BRACKETS.sub(lambda match: " " if unit_symbol(match.group(1)) else f" {match.group(1)} ", text)
    raw = re.findall(r"[a-z]+|[0-9]+|[°º']", re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", text).lower())
    if not unit and len(raw) > 1:  # a unit at the end: Height m, height_m, Max power / kW
        unit = unit_symbol(raw[-1])
        if unit:
            raw = raw[:-1]
    words: list[str] = []
    number = 0
    for one in raw:
        if one.isdigit():
            number = number or (int(one) if len(one) < 4 else 0)
        elif one == "c" and not words:
            words.append("carrier")
        else:
            words.extend(_plain(one).split())
    return Header(tuple(dict.fromkeys(words)), unit, number)


def _plain(word: str) -> str:
    if word in _WORDS:
        return _WORDS[word]
    if word in _PLAIN or len(word) < 5:
        return word
    near = difflib.get_close_matches(word, _PLAIN, 1, 0.84)
    return near[0] if near else word


@dataclass(frozen=True, slots=True)
class Candidate:
    """A field that a header may mean, how sure, and why."""

    field: str
    confidence: float
    reason: str


@cache
def candidates(text: str) -> tuple[Candidate, ...]:
    """The fields that a header may mean, the surest first."""
    text = " ".join(text.split())
    exact = _exact(text)
    if exact:
        return (exact,)
    header = parse(text)
    if not header.words:
        return ()
    have = set(header.words)
    found: dict[str, Candidate] = {}
    for rule in RULES:
        if have & set(rule.never):
            continue
        if header.unit and not fits(header.unit, rule):
            continue
        for phrase, weight in rule.phrases:
            wanted = set(phrase.split())
            extra = have - wanted
            if not wanted <= have:
                continue
            if rule.name in CARRIER and extra <= {"carrier", "downlink", "channel"}:
                extra = set()
            if extra == {"radio"} and "antenna" not in have:
                extra = set()
            sure = weight - 0.4 * len(extra)
            if header.unit:
                sure += 0.04
            if sure >= 0.3 and (rule.name not in found or sure > found[rule.name].confidence):
                why = f"'{' '.join(header.words)}' is a name for it"
                if extra:
                    why = f"'{phrase}' is a name for it, but '{' '.join(sorted(extra))}' is not"
                if header.unit:
                    why += f"; {header.unit} fits"
                found[rule.name] = Candidate(rule.name, round(min(sure, 0.99), 2), why)
    return tuple(sorted(found.values(), key=lambda one: -one.confidence))


def _exact(text: str) -> Candidate | None:
    """Our own key as the header: height_m, height_ft, centre_mhz."""
    name = text.lower()
    if name in BY_NAME and "_" in name:
        return Candidate(name, 1.0, "the key itself")
    unit = units.unit_of(name)
    if unit is None or "_" not in name:
        return None
    stem = name[: len(name) - len(unit.suffix)]
    for other in units.siblings(unit):
        if stem + other.suffix in BY_NAME:
            return Candidate(stem + other.suffix, 1.0, f"the key itself, in {unit.symbol}")
    return None
