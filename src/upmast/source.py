"""Where a number comes from. A number without a source cannot be made."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """How far a value can be trusted to be what its source says."""

    CONFIRMED = "confirmed"  # seen in a public text, or reproduced by our own calculation
    PRACTICE = "practice"  # common practice in the trade, no standard behind it
    MEMORY = "memory"  # from memory of the named document: never a silent pass or fail
    INVENTED = "invented"  # made up for a demonstration or a generic part
    DECLARED = "declared"  # typed by a person who answers for it

    def __str__(self) -> str:
        return self.value


class Origin(StrEnum):
    """How an input came to be in the calculation."""

    EXPECTED = "expected"  # computed
    MEASURED = "measured"  # instrument
    DECLARED = "declared"  # typed by a person
    LISTED = "listed"  # catalogue or standard table
    DEFAULT = "default"  # ours, with a source

    def __str__(self) -> str:
        return self.value


@dataclass(frozen=True, slots=True)
class Source:
    """
    A document, with edition and clause where they are known, and a mark.

    Raises
    ------
    ValueError
        If the document is empty or blank: no number goes without a source.
    """

    document: str
    clause: str = ""
    edition: str = ""
    mark: Mark = Mark.CONFIRMED

    def __post_init__(self) -> None:
        if not self.document.strip():
            raise ValueError("a source needs a document: say which standard, data sheet, person or practice it is")

    def __str__(self) -> str:
        text = self.document
        if self.edition:
            text += f" ({self.edition})"
        if self.clause:
            text += f", {self.clause}"
        return text if self.mark is Mark.CONFIRMED else f"{text} [{self.mark}]"


PRACTICE = Source("common practice, no source", mark=Mark.PRACTICE)
INVENTED = Source("invented", mark=Mark.INVENTED)
