"""Sites of any number of radios, and every form of line that can be built of them, for the tests of lines and proofs."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from upmast.catalogue.catalogue import Catalogue, standard
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.site.site import Site

LETTERS = "ABC"
PORTS = {
    "radio-low-2t2r": ["R1", "R2"],
    "radio-mid-4t4r": ["Y1", "Y2", "Y3", "Y4"],
    "radio-small-2t2r": ["Y5", "Y6"],
    "radio-n78-panel": [],
}
FORMS = ("lc", "lc-pair", "lc-jumpers", "mpo12", "mpo12-a-a", "mpo24", "bussed", "bussed-mpo12", "separate")
PANEL = "radio-n78-panel"


@lru_cache(maxsize=1)
def parts() -> Catalogue:
    return standard()


def some_site(kinds: Sequence[str], links: Sequence[int] = (1,), standby: int = 0, vertical_m: float = 30.0) -> Site:
    """Radios of the kinds given, each with an antenna of its own; the links repeat along the radios."""
    radios: list[dict[str, object]] = []
    antennas: list[dict[str, object]] = []
    for n, kind in enumerate(kinds):
        letter = LETTERS[n % 3]
        id = f"{letter}{n // 3 + 1}"
        count = 1 if kind == "radio-small-2t2r" else links[n % len(links)]
        row: dict[str, object] = {
            "id": id, "sector": letter, "part": kind, "height_m": vertical_m + 1.5 + 0.5 * (n % 4),
            "fibre": {"links_count": count, "standby_count": standby},
        }  # fmt: skip
        if PORTS[kind]:
            row |= {"antenna": f"{id}-ANT", "antenna_ports": PORTS[kind]}
            antennas.append({"id": f"{id}-ANT", "sector": letter, "part": "antenna-12", "height_m": vertical_m + 2.5})
        radios.append(row)
    return Site.model_validate(
        {
            "version": 1, "id": "S1",
            "cabinet": {
                "height_m": 0.5,
                "plant": {"float_v": 54, "on_battery_v": 50, "end_of_discharge_v": 44, "source_resistance_ohm": 0.004},
            },
            "route": {
                "legs": [
                    {"name": "bridge", "kind": "bridge", "length_m": 6, "tolerance_m": 0.5},
                    {"name": "mast", "kind": "vertical", "length_m": vertical_m, "tolerance_m": 1.0},
                ]
            },
            "mast": {"kind": "lattice", "height_m": vertical_m + 4, "box_height_m": vertical_m},
            "sectors": [{"id": letter, "azimuth_deg": 120 * k} for k, letter in enumerate(LETTERS)],
            "radios": radios, "antennas": antennas,
        }
    )  # fmt: skip


def some_choice(site: Site, form: str) -> Choice:
    """A choice of that form with room for all that the site asks."""
    known = parts()
    many = len(site.radios)
    trunks = -(-many // 6) if form != "separate" else 1
    each = -(-many // trunks)
    jumper, fibre = "hybrid-jumper-1x6-4f", ""
    if form == "lc-jumpers":
        jumper, fibre = "dc-jumper-10", "fibre-jumper-2f-a-b"
    elif form == "mpo12-a-a":
        jumper, fibre = "dc-jumper-10", "fibre-jumper-2f-a-a"
    elif form == "separate":
        jumper, fibre = "dc-run-16", "fibre-run-4f"
    radios = tuple(
        RadioChoice("breaker-40", jumper, fibre, "rf-jumper-12-43-43" if radio.antenna else "") for radio in site.radios
    )
    if form == "separate":
        return Choice("separate", radios)
    pairs = next(p for p in (1, 2, 3, 4, 6, 8, 9, 10, 12) if p >= each * (2 if form == "lc-pair" else 1))
    family = {"mpo12": "hybrid-mpo12", "mpo12-a-a": "hybrid-mpo12", "bussed-mpo12": "hybrid-mpo12"}.get(form, "hybrid")
    trunk = f"{family}-{pairs}x16-48f"
    box = {
        "lc": "box-straight-12-lc", "lc-pair": "box-straight-12-lc", "lc-jumpers": "box-straight-12-lc",
        "mpo12": "box-straight-12-mpo12", "mpo12-a-a": "box-straight-12-mpo12", "mpo24": "box-straight-12-mpo24",
        "bussed": "box-bussed-12-lc", "bussed-mpo12": "box-bussed-12-mpo12",
    }[form]  # fmt: skip
    fanout = ""
    if "mpo12" in form:
        fanout = "fanout-mpo-12"
    elif form == "mpo24":
        trunk, fanout = "trunk-12x25-72f-mpo24", "fanout-mpo-24"
    assert trunk in known
    return Choice(
        "hybrid", radios, trunk, trunks, box, 2 if form == "lc-pair" else 1, "breaker-63", fanout,
        {"trunk": "said by the test"},
    )  # fmt: skip


def some_line(site: Site, form: str) -> Line:
    return build(site, parts(), some_choice(site, form))
