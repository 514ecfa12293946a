"""
Why 48 V nominal is wrong: five ways to size one line.

One radio of 1100 W that needs 40.5 V, 100 m from the plant. Which section of copper? Each way is a little nearer to what happens
when the mains have been away for hours on a hot day; every shortcut buys copper that is too thin.
"""

from __future__ import annotations

import numpy as np

from upmast.power import conductor_areas_mm2, conductor_ohm_per_km, resistance_ohm, single

POWER_W, LOWEST_V, LENGTH_M = 1100.0, 40.5, 100.0
NOMINAL_V, FLOAT_V, END_V = 48.0, 54.5, 44.4
PLANT_OHM = 0.012  # battery, fuse and breaker in series
HOT_C = 70.0  # a loaded conductor in the sun
AREAS = np.array([a for a in conductor_areas_mm2() if 2.5 <= a <= 70.0])


def loop(temperature_c: float) -> np.ndarray:
    """Loop resistance of each section, line and return wire."""
    per_km = np.array([conductor_ohm_per_km(a, 5) for a in AREAS])
    return 2 * resistance_ohm(per_km, LENGTH_M, temperature_c)


def smallest(volts: np.ndarray) -> float:
    """The smallest section whose radio has its voltage."""
    return float(AREAS[np.nan_to_num(volts) >= LOWEST_V][0])


def constant_current(source_v: float, temperature_c: float) -> np.ndarray:
    """The shortcut: the current that the radio would draw at the source's own voltage."""
    return source_v - loop(temperature_c) * POWER_W / source_v


def main() -> None:
    truth = single(END_V, loop(HOT_C) + PLANT_OHM, POWER_W).voltage_v
    ways = {
        "48 V nominal, current P / 48 V, cold copper": constant_current(NOMINAL_V, 20.0),
        "float voltage, current P / 54.5 V, cold copper": constant_current(FLOAT_V, 20.0),
        "battery at its end, current P / 48 V, cold copper": END_V - loop(20.0) * POWER_W / NOMINAL_V,
        "battery at its end, constant power, cold copper": single(END_V, loop(20.0), POWER_W).voltage_v,
        "battery at its end, constant power, hot copper, plant": truth,
    }
    print(f"{'way of sizing':55} {'section':>9}   what the radio then really has")
    for words, volts in ways.items():
        area = smallest(volts)
        real = float(truth[area == AREAS][0])
        told = f"{real:.2f} V" + ("" if real >= LOWEST_V else f", {LOWEST_V - real:.2f} V short")
        print(f"{words:55} {area:5g} mm²   {told if np.isfinite(real) else 'no operating point: it never starts'}")


if __name__ == "__main__":
    main()
