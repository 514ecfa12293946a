"""The limits in force for one site: by code, and resolved against what a part's data sheet says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from upmast.finding import Authority, Limit
from upmast.source import Mark


@dataclass(frozen=True)
class Limits:
    """Limits by code. `in_force` weighs a code's limit against a part's own."""

    table: Mapping[str, Limit]

    def get(self, code: str) -> Limit | None:
        return self.table.get(code)

    def in_force(self, code: str, part: Limit | None = None) -> Limit | None:
        """
        The limit that holds for a code where a part has one of its own.

        Safety limits: the tighter of the two, and of two alike not the one from memory. Others: the higher authority, contract
        and operator before the part's data sheet, that before standard, practice and default.
        """
        general = self.table.get(code)
        if part is None or general is None:
            return general or part
        if Authority.SAFETY in (part.authority, general.authority):
            unsure = part.source.mark is Mark.MEMORY and not part.tightens(general)
            return general if unsure or general.tightens(part) else part
        return part if part.authority.rank <= general.authority.rank else general
