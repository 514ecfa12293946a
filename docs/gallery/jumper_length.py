"""
Cutting a jumper to frequency: for which bands and lengths does it help, and what is left of it at the radio port?

Joints of 30 dB, an antenna port of VSWR 1.5, a cut within 5 mm and a velocity within 1 %: all invented, and usual. The length is
chosen exactly; for three joints the same is certified by branch and bound.
"""

from __future__ import annotations

import numpy as np

from upmast.rf.bands import band
from upmast.rf.certify import Joints, certified_length
from upmast.rf.gain import verdict_words, worth_of_length
from upmast.rf.length import Bands, longest_in_all_m
from upmast.rf.reflection import return_loss_from_vswr_db

VF, CUT_M, VELOCITY, JOINT_DB = 0.85, 0.005, 0.01, 30.0
SETS = (("B8",), ("B8", "B20"), ("B3",), ("B1", "B3"), ("B7",))


def bands_of(names: tuple[str, ...], uplink_only: bool) -> Bands:
    spans = [span for n in names for span in (band(n).uplink_hz, None if uplink_only else band(n).downlink_hz) if span]
    low, high = zip(*spans, strict=True)
    return Bands(np.array(low, float), np.array(high, float), VF, CUT_M, VELOCITY)


def main() -> None:
    end = float(return_loss_from_vswr_db(1.5))
    print("longest length at which the jumper's own joints still gain 1, 3 and 6 dB, in all bands at once")
    for names in SETS:
        longest = longest_in_all_m(bands_of(names, True), [1, 3, 6])
        told = ", ".join(f"{x:.2f} m" if x else "none" for x in longest)
        print(f"  uplink of {' and '.join(names):10} {told}")
    for low, high in ((0.5, 1.5), (2.0, 4.0)):
        print(f"from {low:g} to {high:g} m, uplink and downlink:")
        for names in SETS:
            found = worth_of_length(bands_of(names, False), low, high, JOINT_DB, end)
            print(f"  {' and '.join(names):10} {verdict_words(found)}")
    three = Joints([0.0, 0.0, 0.35], [0, 1, 1], [0.03, 0.03, 0.03], [0, 0, 0.5], [880e6], [915e6], VF, CUT_M, VELOCITY)
    proof = certified_length(three, 0.5, 2.0)
    print(
        f"three joints: {proof.length_m:.3f} m, at worst {20 * np.log10(1 / proof.worst_gamma):.2f} dB, and no length of the range "
        f"is better by more than {proof.gap_db:.3f} dB"
    )


if __name__ == "__main__":
    main()
