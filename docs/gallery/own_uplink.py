"""
Does a carrier plan hit its own uplink?

Two carriers of the band at 1800 MHz share one chain. Uplink and downlink of the band lie 95 MHz apart: two carriers at half of
that make a third-order product on the uplink of one of them. Products are found in whole hertz; the level of the worst part of
the chain then says what they cost the receiver.
"""

from __future__ import annotations

import numpy as np

from upmast import pim
from upmast.rf import carrier_channel

PLANS = {
    "as first asked": ((1_815_000_000, 10), (1_862_500_000, 10)),
    "moved together": ((1_845_000_000, 10), (1_855_000_000, 10)),
}
POWER_DBM = 10 * np.log10(1000 * 40.0)  # 40 W a carrier
LEVELS_DBC = (-160.0, -150.0, -130.0)  # two carriers of 43 dBm, third order: good, at a usual limit, loose


def cost(found: pim.Products, centres: list[int], widths: list[int], low: int, high: int) -> None:
    """Print what the first product does to the channel from low to high."""
    share = float(pim.channel_share(found.coefficients[:1], centres, widths, low, high)[0])
    noise = float(pim.noise_floor_dbm(high - low, 3.0))
    print(f"  {share:.0%} of its power falls into that channel, whose noise is {noise:.1f} dBm")
    for dbc in LEVELS_DBC:
        spec = pim.specified_dbm(found.order[:1], pim.dbm_from_dbc(dbc))
        level = float(pim.product_level_dbm(found.coefficients[:1], [POWER_DBM] * 2, spec)[0]) + 10 * np.log10(share)
        print(f"  worst part {dbc:g} dBc: {level:.1f} dBm, {float(pim.noise_rise_db(level, noise)):.2f} dB more noise")


def main() -> None:
    for name, plan in PLANS.items():
        receive = [carrier_channel(hz, mhz * 1e6, "B3").receive_hz for hz, mhz in plan]
        centres, widths = [hz for hz, _ in plan], [round(mhz * 1e6) for _, mhz in plan]
        found = pim.products_in(centres, widths, receive)
        shown = " and ".join(f"{hz / 1e6:g}" for hz in centres)
        print(f"{name}: carriers at {shown} MHz, {found.order.size} hit(s) in own uplink channels up to order 7")
        for c, order, centre in zip(found.coefficients, found.order, found.centre_hz, strict=True):
            print(f"  order {order}: {pim.product_text(c)} = {centre / 1e6:.1f} MHz")
        if found.order.size:  # the lowest order stands first
            cost(found, centres, widths, *receive[int(found.receive[0])])


if __name__ == "__main__":
    main()
