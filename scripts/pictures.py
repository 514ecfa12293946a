"""
Write the pictures of the documentation anew: docs/pictures/power-*.svg, fibre-*.svg, rf-*.svg, pim-*.svg, support-*.svg and
earth-*.svg.

The drawing is that of the demonstration: copy it from demo/out/NESS-PT/pack after `make demo`.
"""

from __future__ import annotations

import runpy
import sys
from pathlib import Path

from upmast.catalogue.catalogue import standard
from upmast.documents.chart import chart_svg
from upmast.documents.earth_pages import earth_pictures
from upmast.documents.jumper_pages import jumper_pictures
from upmast.documents.pim_pages import pim_pictures
from upmast.documents.support_pages import support_pictures
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.save import load as load_line
from upmast.proof.earth_plan import earth_of
from upmast.proof.jumpers import jumpers_of
from upmast.proof.mast_lines import mast_lines_of
from upmast.proof.mixes import mixes_of
from upmast.proof.prove import prove
from upmast.site.load import load as load_site
from upmast.site.site import Earthing

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "docs" / "pictures"
RADIO = RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43")


def rf() -> None:
    """The jumper of the first radio of the demonstration's site, and its intermodulation."""
    catalogue = standard()
    site = load_site(ROOT / "demo" / "site" / "site.yaml", catalogue)
    choice = Choice("hybrid", (RADIO,) * len(site.radios), "trunk-9x16-36f", 1, "box-straight-9-lc")
    line = build(site, catalogue, choice)
    proof = prove(site, line, rooms=("rf", "pim"))
    for one in pim_pictures(proof, mixes_of(proof), 1):
        (PICTURES / f"{one.name.rsplit('-', 1)[0]}.svg").write_text(chart_svg(one.spec), encoding="utf-8")
    shown = jumper_pictures(line, jumpers_of(proof), 1)
    for name, one in zip(("rf-gain", "rf-length-map"), shown, strict=True):
        (PICTURES / f"{name}.svg").write_text(chart_svg(one.spec), encoding="utf-8")


def support() -> None:
    """The lines of the demonstration on the mast."""
    folder = ROOT / "demo" / "site"
    proof = prove(
        load_site(folder / "site.yaml", standard()), load_line(folder).line, rooms=("power", "support", "weather")
    )
    for name, one in zip(
        ("wind", "section", "clamps", "vortex", "hoist"), support_pictures(proof, mast_lines_of(proof)), strict=True
    ):
        (PICTURES / f"support-{name}.svg").write_text(chart_svg(one.spec), encoding="utf-8")


def earth() -> None:
    """The demonstration's site with three separate cables to each radio, and an invented earthing."""
    catalogue = standard()
    site = load_site(ROOT / "demo" / "site" / "site.yaml", catalogue)
    told = Earthing.model_validate(
        {
            "level": "II", "equipment_withstand_v": 2500, "ladder_inside_m": 0.2, "bars_at_m": [36, 18, 0.6],
            "protectors": [
                {"at": "A1", "up_v": 900, "lead_m": 0.4, "distance_m": 4, "current_ka": 8, "front_us": 8},
                {"at": "A2", "up_v": 1300, "lead_m": 1.0, "distance_m": 4, "current_ka": 8, "front_us": 8},
            ],
        }
    )  # fmt: skip
    site = site.model_copy(update={"earthing": told})
    runs = (RadioChoice("breaker-40", "dc-run-16", "fibre-run-4f", "rf-jumper-12-43-43"),) * len(site.radios)
    line = build(
        site, catalogue, Choice("hybrid", (RADIO,) * len(site.radios), "trunk-9x16-36f", 1, "box-straight-9-lc")
    )
    apart = build(site, catalogue, Choice("separate", runs))
    for shown, names in (
        (line, ("earth-bonds", "earth-protectors", "earth-dc")),
        (apart, ("earth-plan", "earth-stroke")),
    ):
        for one in earth_pictures(earth_of(prove(site, shown, rooms=("power", "earth")))):
            name = next((n for n in names if one.name.startswith(n)), "")
            if name:
                (PICTURES / f"{name}.svg").write_text(chart_svg(one.spec), encoding="utf-8")


def main() -> None:
    rf()
    support()
    earth()
    for script in ("dc_power", "wrong_plug"):
        sys.argv = [script, "--write"]
        runpy.run_path(str(ROOT / "docs" / "gallery" / f"{script}.py"), run_name="__main__")


if __name__ == "__main__":
    main()
