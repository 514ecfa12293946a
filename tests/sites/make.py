"""Sites and lines for tests: a site from a text or a file of this folder, and a plain line of it."""

from __future__ import annotations

from pathlib import Path

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue, standard
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.site.load import from_text
from upmast.site.site import Site

FOLDER = Path(__file__).parent
# jumper whose far end mates with the antenna's ports, by the interface of these
RF_JUMPERS = {
    "4.3-10": "rf-jumper-12-43-43",
    "7-16": "rf-jumper-12-43-716",
    "n": "rf-jumper-12-43-n",
    "2.2-5": "rf-jumper-14-43-225",
}


CALM = "\nclimate: {calm: true}\n"  # most tests are not about wind, and without a word on it no clamp is judged


def site(text: str, catalogue: Catalogue | None = None) -> Site:
    text = text if "\nclimate:" in text else text + CALM
    return from_text(yamlfile.parse(text), catalogue or standard())


def text(name: str) -> str:
    return (FOLDER / f"{name}.yaml").read_text("utf-8")


def line(asked: Site, catalogue: Catalogue | None = None) -> Line:
    """A hybrid trunk with a straight box, or two, and the same jumpers for all radios."""
    known = catalogue or standard()
    radios = []
    for radio in asked.radios:
        rf = ""
        if radio.antenna is not None:
            antenna = known.part(asked.antenna(radio.antenna).part)
            rf = RF_JUMPERS[known.connector(antenna.rf_connector).interface]
        radios.append(RadioChoice("breaker-40", "hybrid-jumper-1x6-2f", "", rf))
    trunk, box, trunks = ("trunk-6x10-24f", "box-straight-6-lc-1d", -(-len(radios) // 6))
    return build(asked, known, Choice("hybrid", tuple(radios), trunk, trunks, box))
