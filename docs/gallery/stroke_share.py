"""
What does a stroke into the mast leave between the cores and the shield of a cable?

Three legs and three shields of 6 mm² take a first positive stroke of 100 kA: inductance divides it on the front, resistance in the tail,
and the steel of the legs resists more than a meter says. Then one cable with its top bond missing. All values are invented. This is not a
lightning protection design: that, the earth electrode and its tests are signed by a competent licensed person.
"""

from __future__ import annotations

import numpy as np

from upmast import earth

RUN_M, FACE_M, LEG_M, CABLE_M = 30.0, 1.0, 0.04, 0.015
LEG_OHM, SHIELD_OHM = 0.3e-3 * RUN_M, 17.241e-3 / 6 * RUN_M
PEAK_A, WITHSTAND_V = 100e3, 1500.0
PLACES = {"outside the face": -0.2, "on the face": 0.0, "inside the mast": 0.25}  # m from the face inwards
LEGS = earth.legs_on_ring_m(3, FACE_M)
CABLES = 3


def shields(inside_m: float) -> tuple[np.ndarray, np.ndarray, earth.Transient]:
    """Front share, tail share and the followed currents of legs and shields, for legs at 1 and at 10 times their resistance."""
    at = np.vstack([LEGS, earth.cables_in_row_m(LEGS, CABLES, inside_m, 0.05)])
    inductance = earth.inductance_matrix_h(at, [LEG_M] * 3 + [CABLE_M] * CABLES, RUN_M)
    ohm = earth.leg_band_ohm([LEG_OHM] * 3 + [SHIELD_OHM] * CABLES, [True] * 3 + [False] * CABLES, [1.0, 10.0])
    found = earth.transient_share(inductance, ohm, PEAK_A, earth.wave("first_positive"))
    return earth.front_share(inductance)[3:], earth.tail_share(ohm)[:, 3:], found


def main() -> None:
    print(
        f"{CABLES} shields of {1e3 * SHIELD_OHM:.0f} mΩ beside three legs, first positive stroke of {PEAK_A / 1e3:.0f} kA"
    )
    for name, inside in PLACES.items():
        front, tail, found = shields(inside)
        volts = (found.peak_a[:, 3] * SHIELD_OHM).round()
        margin = earth.withstand_margin_v(volts.max(), WITHSTAND_V)
        print(f"  {name}: outer {100 * front[0]:.1f} %, middle {100 * front[1]:.1f} % on the front")
        print(f"    tail {100 * tail[0, 0]:.1f} %, {100 * tail[1, 0]:.1f} % with legs at 10 times", end="; ")
        print(f"an outer shield peaks at {volts[0]:.0f} to {volts[1]:.0f} V, margin {margin:+.0f} V at worst")
    print("The top bond missing, bonded at the foot only:")
    for name, inside in PLACES.items():
        place = earth.cables_in_row_m(LEGS, 1, inside, 0.05)[0]
        loop = earth.open_loop_h(LEGS, LEG_M, place, RUN_M)
        gap = np.hypot(*(LEGS - place).T).min() - LEG_M - CABLE_M
        each = []
        for stroke in earth.waves():
            level_a, front_s = earth.stroke_peak_a("III", stroke), earth.wave(stroke).front_s
            each.append(f"{float(earth.missing_bond_v(loop, level_a, front_s)) / 1e3:.0f}")
        holds = earth.AIR_V_PER_M * gap / 1e3
        print(f"  {name}: {', '.join(each)} kV for the three strokes; the gap holds about {holds:.0f} kV")


if __name__ == "__main__":
    main()
