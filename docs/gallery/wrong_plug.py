"""
Three plugs in wrong places on nine radios: which, and what does each fibre, budget, bend and loop look like?

The site is the demonstration's, invented; the line is built here, and three of its joints are put wrong on purpose.
Give a folder for the pictures, or --write for docs/pictures; without either they go to a folder of their own.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from upmast.catalogue.catalogue import standard
from upmast.documents.chart import chart_svg
from upmast.documents.fibre_charts import bend_spec
from upmast.documents.fibre_pages import face_pictures, fibre_pictures, map_pictures
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.proof.light import light_of
from upmast.proof.light_words import cause_words, headline_words
from upmast.proof.prove import prove
from upmast.site.load import load as load_site

ROOT = Path(__file__).resolve().parents[2]
RADIO = RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43")
NINE = Choice("hybrid", (RADIO,) * 9, "trunk-9x16-36f", 1, "box-straight-9-lc")
SIX = Choice("hybrid", (RADIO,) * 6, "trunk-6x16-24f-mpo24", 1, "box-straight-6-mpo24", fanout="fanout-mpo-24")
SWAP = {"T1.head.f3": "T1.head.f5", "T1.head.f5": "T1.head.f3"}


def main(asked: list[str] | None = None) -> None:
    catalogue = standard()
    site = load_site(ROOT / "demo" / "site" / "site.yaml", catalogue)
    six = site.model_copy(update={"radios": site.radios[:6]})
    line, arrays = build(site, catalogue, NINE), build(six, catalogue, SIX)
    exchanged = tuple(replace(j, a=SWAP.get(j.a, j.a), b=SWAP.get(j.b, j.b)) for j in line.joints)
    joints = tuple(replace(j, keys="crossed") if "A2-H1.foot.f1" in (j.a, j.b) else j for j in exchanged)
    right, wrong = prove(site, line, rooms=("fibre",)), prove(site, replace(line, joints=joints), rooms=("fibre",))
    light = light_of(wrong)
    print(f"{site.id}, an invented site. {headline_words(light_of(right))}\n{headline_words(light)}")
    for words in [*(f"{link.link}: {link.why}" for link in light.links if not link.right), *cause_words(light)]:
        print(f"  {words}")

    folder = ROOT / "docs" / "pictures" if asked == ["--write"] else Path(asked[0] if asked else tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    made = {p.name: p.svg for p in fibre_pictures(right) if p.name in ("map", "budget", "bend-g-657-a2", "loop-t1-lp1")}
    made["wrong"] = next(map_pictures(wrong)).svg
    made["bend-g-652-d"] = chart_svg(bend_spec("G.652.D"))
    made["face"] = next(face_pictures(prove(six, arrays, rooms=("fibre",)))).svg
    for name, text in made.items():
        (folder / f"fibre-{name}.svg").write_text(text, encoding="utf-8")
    print(f"In {folder}: {', '.join(f'fibre-{n}.svg' for n in made)}. {right.cautions['fibre'][0]}")


if __name__ == "__main__":
    main(sys.argv[1:])
