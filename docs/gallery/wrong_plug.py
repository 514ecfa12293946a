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
from upmast.proof.light_words import cause_words, headline_words, lay_words
from upmast.proof.prove import prove
from upmast.site.load import load as load_site

ROOT = Path(__file__).resolve().parents[2]


def main(asked: list[str] | None = None) -> None:
    catalogue = standard()
    site = load_site(ROOT / "demo" / "site" / "site.yaml", catalogue)
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in site.radios)
    line = build(site, catalogue, Choice("hybrid", radios, "trunk-9x16-36f", 1, "box-straight-9-lc"))
    right = prove(site, line, rooms=("fibre",))
    print(f"{site.id}, an invented site. {headline_words(light_of(right))}")

    swap = {"T1.head.f3": "T1.head.f5", "T1.head.f5": "T1.head.f3"}
    joints = []
    for joint in line.joints:
        keys = "crossed" if "A2-H1.foot.f1" in (joint.a, joint.b) else joint.keys
        joints.append(replace(joint, a=swap.get(joint.a, joint.a), b=swap.get(joint.b, joint.b), keys=keys))
    wrong = prove(site, replace(line, joints=tuple(joints)), rooms=("fibre",))
    light = light_of(wrong)
    print(headline_words(light))
    for link in light.links:
        if not link.right:
            print(f"  {link.link}: {link.why}")
    for words in cause_words(light):
        print(f"  {words}")

    for one in light_of(right).loops[:2]:
        print(f"{one.loop.id} lies in {one.loop.form}; it could also be {lay_words(one.lays[1])}")

    folder = ROOT / "docs" / "pictures" if asked == ["--write"] else Path(asked[0] if asked else tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    kept = {"map", "budget", "bend-g-657-a2", "loop-t1-lp1"}
    made = {p.name: (p.svg, p.caption) for p in fibre_pictures(right) if p.name in kept}
    made["wrong"] = (next(map_pictures(wrong)).svg, "The same with three plugs in wrong places")
    made["bend-g-652-d"] = (chart_svg(bend_spec("G.652.D")), "Limit and estimate for a step-index fibre")
    six = site.model_copy(update={"radios": site.radios[:6]})
    choice = Choice("hybrid", radios[:6], "trunk-6x16-24f-mpo24", 1, "box-straight-6-mpo24", fanout="fanout-mpo-24")
    arrays = prove(six, build(six, catalogue, choice), rooms=("fibre",))
    face = next(face_pictures(arrays))
    made["face"] = (face.svg, face.caption)
    for name, (text, caption) in made.items():
        (folder / f"fibre-{name}.svg").write_text(text, encoding="utf-8")
        print(f"  fibre-{name}.svg: {caption}")
    print(f"The pictures are in {folder}. {right.cautions['fibre'][0]}")


if __name__ == "__main__":
    main(sys.argv[1:])
