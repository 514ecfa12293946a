"""Numbers as people read them: enough digits to decide, no more, always with the unit."""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

# digits after the point that a reader can use, by printed unit
_PLACES = {
    "V": 2, "A": 2, "W": 0, "Ω": 4, "mΩ": 2, "MΩ": 1, "dB": 2, "dBm": 1, "dBc": 1, "m": 2, "mm": 1, "mm²": 1, "m²": 3, "kg": 1, "kg/m": 3,
    "N": 0, "kN": 2, "N·m": 1, "kN·m": 2, "Pa": 0, "°C": 1, "°": 1, "K": 1, "kWh": 0, "h": 2, "min": 0, "MHz": 2, "%": 1, "cost units": 0,
    "dB/km": 2, "Ω/km": 3, "": 3, "d": 0, "ns": 2, "ppm": 3,
}  # fmt: skip


MOST_PLACES = 6


def places_apart(values: Iterable[float | None], unit: str = "") -> int:
    """
    Digits after the point by which values of one unit that differ are shown as different: the usual ones, or more where they need more.

    >>> places_apart((0.45, 0.5), "MΩ"), places_apart((39.7, 38.4), "V")
    (2, 2)
    """
    known = sorted({one for one in values if one is not None and math.isfinite(one)})
    usual = _PLACES.get(unit, 2)
    if unit == "Hz":
        return _PLACES["MHz"]
    least = 0.5 * 10.0**-MOST_PLACES  # what differs by less is equal
    gap = min((b - a for a, b in pairwise(known)), default=math.inf)
    if gap < least:
        return usual
    for places in range(usual, MOST_PLACES):
        if len({round(one, places) for one in known}) == len(known) and all(
            round(x, places) for x in known if abs(x) > least
        ):
            return places
    return MOST_PLACES


def number(value: float | None, unit: str = "", *, signed: bool = False, places: int | None = None) -> str:
    """
    A value with its unit, e.g. `39.73 V`; hertz are shown in MHz, whole numbers without a point. `places` after the point, if not the usual.

    >>> number(39.7261, "V"), number(-0.774, "V", signed=True), number(1842500000.0, "Hz")
    ('39.73 V', '-0.77 V', '1842.50 MHz')
    """
    if value is None or value != value:
        return "no value"
    if abs(value) == math.inf:
        return ("-" if value < 0 else "") + "unlimited"
    if unit == "Hz":
        value, unit = value / 1e6, "MHz"
    value = value or 0.0  # no minus before nothing
    if places is None:
        places = 0 if unit == "" and float(value).is_integer() else _PLACES.get(unit, 2)
    text = f"{value:+.{places}f}" if signed else f"{value:.{places}f}"
    if -1.0 < value < 1.0 and value != 0.0 and float(text) == 0.0:  # never print a real difference as nothing
        text = f"{value:+.2g}" if signed else f"{value:.2g}"
    return f"{text} {unit}" if unit else text
