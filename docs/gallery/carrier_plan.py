"""
Which carrier is to move, and where to?

Two carriers of the band at 1800 MHz, in one chain of a jumper and an antenna, all invented. Their third order falls onto the uplink of
one of them. What does it cost, which source matters, which pair must part, and is there a plan within the block without any product?
"""

from __future__ import annotations

import numpy as np

from upmast import pim
from upmast.pim.chain import arrivals_dbm, better_by_db, chain_level_dbc
from upmast.pim.moving import best_moving_plan
from upmast.rf import carrier_channel

CENTRES, WIDTHS, POWER_DBM = [1_815_000_000, 1_862_500_000], [10_000_000, 10_000_000], [46.0, 46.0]
SOURCES = {"joint at the radio": -160.0, "jumper": -155.0, "joint at the antenna": -130.0, "antenna": -153.0}
LOSS_DB = np.array([0.0, 0.25, 0.5, 0.5])  # one way, up to each source
BLOCK_HZ = (1_805_000_000, 1_880_000_000)


def main() -> None:
    uplinks = [carrier_channel(hz, w, "B3").receive_hz for hz, w in zip(CENTRES, WIDTHS, strict=True)]
    found = pim.products_in(CENTRES, WIDTHS, uplinks, [3])
    low, high = uplinks[int(found.receive[0])]
    share = float(pim.channel_share(found.coefficients[:1], CENTRES, WIDTHS, low, high)[0])
    chain = float(chain_level_dbc(list(SOURCES.values())))
    spec = pim.specified_dbm(3, pim.dbm_from_dbc(chain))
    level = float(pim.product_level_dbm(found.coefficients[0], POWER_DBM, spec)) + 10 * np.log10(share)
    arrived = arrivals_dbm(level, list(SOURCES.values()), chain, LOSS_DB, LOSS_DB)
    noise = float(pim.noise_floor_dbm(high - low, 3.0))
    rise = float(pim.noise_rise_db(arrived.power_dbm, noise))
    print(
        f"{pim.product_text(found.coefficients[0])} lies in the uplink {low / 1e6:g} to {high / 1e6:g} MHz and raises its noise by {rise:.1f} dB"
    )
    for (name, dbc), each, won in zip(SOURCES.items(), arrived.each_dbm, better_by_db(arrived.each_dbm), strict=True):
        print(f"  {name:22} {dbc:g} dBc, {each:7.1f} dBm at the receiver; better by 10 dB it brings {won:.1f} dB")
    print(
        "  without carrier 1 or 2: no product; enough to move: carrier "
        + " and ".join(str(n + 1) for n in pim.least_carriers_to_move(found.coefficients))
    )
    allowed = [
        [c, *range(BLOCK_HZ[0] + w // 2, BLOCK_HZ[1] - w // 2 + 1, 2_500_000)]
        for c, w in zip(CENTRES, WIDTHS, strict=True)
    ]
    print(best_moving_plan(allowed, WIDTHS, [95_000_000] * 2, [], POWER_DBM, float(pim.dbm_from_dbc(chain))).words())
    pair = pim.two_tone_choice([BLOCK_HZ], [(1_710_000_000, 1_785_000_000)])
    print(f"to test the port: {pair.words()}")


if __name__ == "__main__":
    main()
