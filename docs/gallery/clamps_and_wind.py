"""
How far apart may the clamps of a trunk sit, and which torque do they take?

A trunk of 49 mm on 30 m of mast, all invented: what slip, side load and crush allow, why two spans are worse than many, what the mast
gets of the wind, bare and iced, by a ten-minute mean or by a gust, and in which winds the trunk may swing.
"""

from __future__ import annotations

import numpy as np

from upmast import support
from upmast.support.air import GUST, Wind
from upmast.support.build_up import guessed
from upmast.support.coat import Ice

DIAMETER_MM, MASS, LOW_M, HIGH_M = 49.0, 4.0, 0.0, 30.0
SLIP_N, SIDE_N, RULE_M, CRUSH = 520.0, 60.0, 1.0, 3000.0  # a weak side rating, so that it governs
BOLTS, BOLT_MM, PAD_MM, SHEET_NM = 1, 8.0, 60.0, 6.0
MEAN = Wind(26.0, "II", 0.05, 2.0, "confirmed")
STORM = Wind(39.0, "", float("nan"), float("nan"), "memory", GUST, "C", 1.0, 0.85, 0.85)


def main() -> None:
    ice = Ice.of("G2")
    frozen, wide = float(ice.kg_per_m(DIAMETER_MM)), float(ice.side_mm(DIAMETER_MM))
    q = float(MEAN.pressure_pa(HIGH_M))
    cases = support.wind_cases(q, DIAMETER_MM, "G2")
    print(
        f"{q:.0f} Pa at {HIGH_M:g} m: {float(cases.bare_n_per_m):.1f} N/m bare, {float(cases.iced_n_per_m):.1f} N/m with {ice.words}"
    )
    for spans in (2, 3, 30):
        factor = float(support.end_factor(spans))
        slip = support.slip_spacing_m(SLIP_N, MASS, frozen)
        side = support.side_spacing_m(SIDE_N, cases.largest_n_per_m, factor)
        found = support.clamp_spacing(slip, side, RULE_M)
        print(f"  {spans:2d} spans: end factor {factor:.2f}, slip {float(slip):.2f} m, side {float(side):.2f} m: {found.names} governs, {float(found.spacing_m):.2f} m")  # fmt: skip
    torque = support.clamp_torque(SHEET_NM, CRUSH, BOLTS, PAD_MM, BOLT_MM, MASS, frozen)
    print(f"torque: the sheet says {SHEET_NM:g} N·m, crush allows {float(torque.crush_nm):.2f}; then it holds {float(torque.grip_n):.0f} N, {float(torque.spacing_m):.2f} m")  # fmt: skip
    for wind in (MEAN, STORM):
        bare = wind.line(LOW_M, HIGH_M, DIAMETER_MM)
        cold = wind.line(LOW_M, HIGH_M, wide)
        k = ice.wind_factor
        print(f"  {wind.words}: {float(bare.force_n):.0f} N bare, {k * float(cold.force_n):.0f} N iced; {float(bare.moment_nm) / 1000:.1f} kN·m at the foot")  # fmt: skip
    band = guessed(DIAMETER_MM, 18, 16.0, 5, 10.0)
    assert band is not None
    hz = np.array([float(support.clamped_frequency_hz(RULE_M, 0.0, ei, MASS)) for ei in band[0]])
    lock = support.lock_in(hz[0], hz[1], DIAMETER_MM, support.STROUHAL_EN)
    ratio = support.swing_ratio(support.scruton_number(0.05, MASS, DIAMETER_MM), support.STROUHAL_EN)
    verdict = support.swing(hz[0], ratio).names
    print(f"it swings at {hz[0]:.0f} to {hz[1]:.0f} Hz, in winds of {float(lock.low_m_per_s):.1f} to {float(lock.high_m_per_s):.1f} m/s, by {100 * float(ratio):.1f} % of its diameter: {verdict}")  # fmt: skip


if __name__ == "__main__":
    main()
