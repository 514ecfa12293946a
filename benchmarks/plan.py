"""
How long a plan takes for one, three, nine and twelve radios.

    python benchmarks/plan.py

The reference is one whole proof of the planned line in the same run: a plan is worth so many proofs.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

from upmast import yamlfile
from upmast.catalogue.catalogue import standard
from upmast.plan.plan import plan
from upmast.proof.prove import prove
from upmast.site.load import from_text, load
from upmast.site.site import Site

ROOT = Path(__file__).resolve().parent.parent
POLE = """
version: 1
id: P1
cabinet: {plant: {float_v: 54, on_battery_v: 50, end_of_discharge_v: 44.4, source_resistance_ohm: 0.005}}
route: {legs: [{name: up the pole, kind: vertical, length_m: 9}]}
mast: {kind: monopole, height_m: 10, box_height_m: 7}
sectors: [{id: A, azimuth_deg: 0}]
antennas: [{id: A-ANT, sector: A, part: antenna-2-panel, height_m: 9}]
radios:
  - {id: A1, sector: A, part: radio-small-2t2r, height_m: 8, antenna: A-ANT, antenna_ports: [Y1, Y2], carriers: [{centre_mhz: 1842.5, width_mhz: 20, power_w: 20, band: B3}]}
"""


def sites() -> dict[str, Site]:
    catalogue = standard()
    nine = load(ROOT / "demo" / "site" / "site.yaml", catalogue)
    three = nine.model_copy(update={"radios": nine.radios[:3], "antennas": nine.antennas})
    more = tuple(
        r.model_copy(
            update={"id": f"{r.id}X", "part": "radio-n78-panel", "antenna": None, "antenna_ports": (), "carriers": ()}
        )
        for r in nine.radios[:3]
    )
    plant = nine.cabinet.plant.model_copy(update={"end_of_discharge_v": 46.0})
    twelve = nine.model_copy(
        update={
            "radios": (*nine.radios, *more),
            "cabinet": nine.cabinet.model_copy(update={"plant": plant}),
            "policy": nine.policy.model_copy(update={"spare_pairs_count": 0}),
        }
    )
    return {
        "1 radio, pole": from_text(yamlfile.parse(POLE), catalogue),
        "3 radios": three,
        "9 radios (demo)": nine,
        "12 radios": twelve,
    }


def main() -> None:
    print(
        f"load average {os.getloadavg()[0]:.2f}\n{'site':18} {'plan':>9} {'one proof':>10} {'ratio':>7}  proofs  systems  what"
    )
    catalogue = standard()
    for name, site in sites().items():
        start = time.perf_counter()
        made = plan(site, catalogue)
        seconds = time.perf_counter() - start
        if made.best is None:
            print(f"{name:18} {seconds:8.2f}s {'':>10} {'':>7}  {made.proofs:6}  {made.systems:7}  nothing fits")
            continue
        start = time.perf_counter()
        prove(site, made.best.line)
        one = time.perf_counter() - start
        gap = "gap 0" if made.exact else f"gap at most {made.gap:.0f} {made.unit}"
        print(
            f"{name:18} {seconds:8.2f}s {1000 * one:7.1f} ms {seconds / one:6.0f}x  {made.proofs:6}  {made.systems:7}  {made.best.choice.words}; {gap}"
        )


if __name__ == "__main__":
    main()
