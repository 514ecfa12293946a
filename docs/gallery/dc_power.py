"""
The DC power of one line in eight pictures: where the volts go, who drops out first, what more copper would buy.

The site is the demonstration's, invented. Its line here is built on purpose with pairs of 10 mm², which are too thin for it.
Give a folder for the pictures, or --write for docs/pictures; without either they go to a folder of their own.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from upmast.catalogue.catalogue import standard
from upmast.documents.chart import chart_svg
from upmast.documents.power_pages import power_pictures
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.proof.prove import prove
from upmast.proof.supply import supply_of
from upmast.proof.supply_words import ENDS, cost_words, first_words, price_words
from upmast.site.load import load as load_site

ROOT = Path(__file__).resolve().parents[2]


def main(asked: list[str] | None = None) -> None:
    catalogue = standard()
    site = load_site(ROOT / "demo" / "site" / "site.yaml", catalogue)
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in site.radios)
    line = build(site, catalogue, Choice("hybrid", radios, "trunk-9x10-24f", 1, "box-straight-9-lc"))
    proof = prove(site, line, rooms=("power",))
    supply = supply_of(proof, catalogue)

    print(f"{site.id}, an invented site; its radios on pairs of 10 mm², {line.by_id['T1'].length_m:g} m long")
    for r in sorted(supply.radios, key=lambda r: r.margin_v or 0.0)[:3]:
        print(f"  {r.radio}: {r.voltage_v:.2f} V at the lowest emf, {r.margin_v:+.2f} V against its minimum")
    print(first_words(supply))
    print(
        f"After {supply.end_minutes:.0f} min {ENDS[supply.end]}; the drop keeps {supply.unusable_kwh:.1f} kWh from use."
    )
    for s in supply.sizes:
        cost = f"{cost_words(s.life_cost, s)} over its life"
        margin = "no operating point" if s.lowest_margin_v is None else f"least margin {s.lowest_margin_v:+.2f} V"
        print(f"  {s.area_mm2:g} mm²: {margin}, {cost}")
    print(price_words(supply))

    folder = ROOT / "docs" / "pictures" if asked == ["--write"] else Path(asked[0] if asked else tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    for one in power_pictures(proof, supply, catalogue):
        (folder / f"power-{one.name}.svg").write_text(chart_svg(one.spec), encoding="utf-8")
        print(f"  power-{one.name}.svg: {one.caption}")
    print(f"The pictures are in {folder}. {proof.cautions['power'][-1]}")


if __name__ == "__main__":
    main(sys.argv[1:])
