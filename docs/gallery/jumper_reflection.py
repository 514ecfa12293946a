"""
A jumper of 2 m with two joints, ended in a load: worst case, percentile, and the sweep to expect.

A joint's data sheet bounds how much it reflects, never with which phase. At one frequency the two reflections may help or hinder
each other; over a wide sweep they do both, so the worst point of the sweep is the worst case, not a lucky percentile.
"""

from __future__ import annotations

import numpy as np

from upmast.rf import (
    expected_return_loss_db,
    gamma_from_return_loss,
    line_loss_db,
    return_loss_db,
    two_joint_percentile_gamma,
    worst_return_loss_db,
)

LENGTH_M, ROOT_DB, LINEAR_DB, VELOCITY = 2.0, 0.1035, 0.005, 0.82  # a flexible half-inch jumper, invented
JOINT_DB, AT_HZ, LOAD_DB = 32.0, 2.0e9, 40.0


def main() -> None:
    loss = float(line_loss_db(AT_HZ, LENGTH_M, ROOT_DB, LINEAR_DB))
    worst = float(worst_return_loss_db([JOINT_DB, JOINT_DB], [loss, 0.0], LOAD_DB))
    print(f"the jumper loses {loss:.3f} dB one way at 2 GHz")
    print(f"worst case, all phases against us: {worst:.2f} dB")

    # two joints alone: near one is seen as it is, the far one through the cable twice
    near, far = gamma_from_return_loss(JOINT_DB), gamma_from_return_loss(JOINT_DB + 2 * loss)
    for share in (0.5, 0.9, 0.99):
        seen = float(return_loss_db(two_joint_percentile_gamma(near, far, share)))
        print(f"{share:.0%} of all phases, at one frequency: {seen:.2f} dB or better")

    ripple_hz = VELOCITY * 299_792_458.0 / (2 * LENGTH_M)
    print(f"the ripple of this jumper is {ripple_hz / 1e6:.0f} MHz wide: a sweep as wide as that meets the worst phase")

    f = np.array([1.71e9, 1.785e9, 1.805e9, 1.88e9, 2.69e9])
    loss_f = line_loss_db(f, LENGTH_M, ROOT_DB, LINEAR_DB)
    expected = expected_return_loss_db(f, [JOINT_DB, JOINT_DB], [loss_f, np.zeros_like(f)], LOAD_DB, [AT_HZ, AT_HZ])
    print("expected of a sound jumper, joints as lumps (they reflect more at higher frequency):")
    for hz, least in zip(f, expected.least_db, strict=True):
        print(f"  {hz / 1e6:7.1f} MHz: not less than {least:.2f} dB")


if __name__ == "__main__":
    main()
