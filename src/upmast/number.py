"""Numbers as people read them: enough digits to decide, no more, always with the unit."""

from __future__ import annotations

import math

# digits after the point that a reader can use, by printed unit
_PLACES = {
    "V": 2, "A": 2, "W": 0, "Ω": 4, "mΩ": 2, "MΩ": 1, "dB": 2, "dBm": 1, "dBc": 1, "m": 2, "mm": 1, "mm²": 1, "m²": 3, "kg": 1, "kg/m": 3,
    "N": 0, "kN": 2, "N·m": 1, "kN·m": 2, "Pa": 0, "°C": 1, "°": 1, "K": 1, "kWh": 0, "h": 2, "min": 0, "MHz": 2, "%": 1, "cost units": 0,
    "dB/km": 2, "Ω/km": 3, "": 3, "d": 0, "ns": 2, "ppm": 3,
}  # fmt: skip


def number(value: float | None, unit: str = "", *, signed: bool = False) -> str:
    """
    A value with its unit, e.g. `39.73 V`; hertz are shown in MHz, whole numbers without a point.

    >>> number(39.7261, "V"), number(-0.774, "V", signed=True), number(1842500000.0, "Hz")
    ('39.73 V', '-0.77 V', '1842.50 MHz')
    """
    if value is None or math.isnan(value):
        return "no value"
    if math.isinf(value):
        return ("-" if value < 0 else "") + "unlimited"
    if unit == "Hz":
        value, unit = value / 1e6, "MHz"
    value = value or 0.0  # no minus before nothing
    places = _PLACES.get(unit, 2)
    if unit == "" and float(value).is_integer():
        places = 0
    text = f"{value:+.{places}f}" if signed else f"{value:.{places}f}"
    if float(text) == 0.0 and value != 0.0:  # never print a real difference as nothing
        text = f"{value:+.2g}" if signed else f"{value:.2g}"
    return f"{text} {unit}".rstrip()
