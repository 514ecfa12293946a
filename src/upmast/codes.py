"""Every finding and figure code: its title, unit, sense and stage. A code, once issued, keeps its meaning."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from upmast.finding import Sense, Stage

ROOM_TITLES = {
    "power": "DC power", "fibre": "Fibre", "rf": "RF line", "pim": "Intermodulation", "support": "Support", "earth": "Earthing", "weather": "Weather",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Code:
    code: str
    kind: str  # finding or figure
    stage: Stage
    unit: str
    sense: Sense | None
    title: str
    meaning: str


@lru_cache(maxsize=1)
def codes() -> dict[str, Code]:
    """All codes by name, in the order of the table."""
    text = resources.files("upmast").joinpath("tables", "codes.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#"))
    return {
        row["code"]: Code(
            row["code"], row["kind"], Stage(row["stage"]), row["unit"], Sense(row["sense"]) if row["sense"] else None,
            row["title"], row["meaning"],
        )
        for row in rows
    }  # fmt: skip


def title(code: str) -> str:
    return codes()[code].title
