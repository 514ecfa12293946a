"""
One DC pair by hand, and by the load flow.

A radio draws power, not current: P = V I, and V = E - R I. Together they are a square, V^2 - E V + R P = 0, whose larger root is
the operating point. The general load flow of upmast knows nothing of that root; it must find it all the same.
"""

from __future__ import annotations

import math

import numpy as np

from upmast.power import Network, conductor_ohm_per_km, resistance_ohm, single, solve

EMF_V, POWER_W, LENGTH_M, AREA_MM2, HOT_C = 45.6, 1100.0, 40.0, 16.0, 70.0


def main() -> None:
    # the published maximum of a flexible conductor at 20 °C, warmed up, there and back
    wire_ohm = float(resistance_ohm(conductor_ohm_per_km(AREA_MM2, 5), LENGTH_M, HOT_C))
    loop_ohm = 2 * wire_ohm
    print(f"one wire {1e3 * wire_ohm:.2f} mΩ, the loop {1e3 * loop_ohm:.2f} mΩ at {HOT_C:g} °C")

    # by hand
    root = math.sqrt(EMF_V**2 - 4 * loop_ohm * POWER_W)
    by_hand_v = (EMF_V + root) / 2
    print(f"closed form   {by_hand_v:.6f} V, {POWER_W / by_hand_v:.6f} A")
    print(f"the other root would be {(EMF_V - root) / 2:.2f} V: no radio can stand there")

    # the same in the form that upmast uses for one pair: it subtracts no near-equal numbers
    flow = single(EMF_V, loop_ohm, POWER_W)

    # and the network: bars 2 (line) and 1 (return), the radio between 0 and 3; a line wire and a return wire
    network = Network(
        node_count=4, branch_from=[2, 3], branch_to=[0, 1], branch_ohm=np.array([[wire_ohm, wire_ohm]]),
        source_plus=2, source_minus=1, emf_v=np.array([EMF_V]), port_plus=[0], port_minus=[3],
    )  # fmt: skip
    solved = solve(network, [[POWER_W]])
    print(f"load flow     {solved.port_v[0, 0]:.6f} V, {solved.port_a[0, 0]:.6f} A")
    assert abs(solved.port_v[0, 0] - by_hand_v) < 1e-9
    assert abs(float(flow.voltage_v) - by_hand_v) < 1e-9

    print(f"this pair can deliver {EMF_V**2 / (4 * loop_ohm):.0f} W at the very most, at {EMF_V / 2:.1f} V")


if __name__ == "__main__":
    main()
