"""One thing about the set-up of a measurement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["ORDER", "Level", "Remark"]

Level = Literal["stop", "warn", "note"]
ORDER: dict[Level, int] = {"stop": 0, "warn": 1, "note": 2}


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing about the set-up: `stop` makes the result worthless, `warn` limits it, `note` is good to know."""

    key: str
    level: Level
    words: str
    remedy: str
