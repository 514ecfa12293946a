"""How each item of a line stands: its worst design finding, as colour, shape and word."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.codes import codes
from upmast.documents.colour import NONE, margin_colour, share_text
from upmast.finding import Finding, Stage, Verdict, worst
from upmast.line.line import Line
from upmast.number import number
from upmast.proof.prove import Proof

STAMP = "not for issue"


@dataclass(frozen=True, slots=True)
class Mark:
    """The state of one item."""

    colour: str = NONE
    verdict: Verdict | None = None
    share: float | None = None
    finding: Finding | None = None

    @property
    def word(self) -> str:
        return str(self.verdict) if self.verdict else "no finding"

    @property
    def symbol(self) -> str:
        return (
            {Verdict.FAILS: "diamond", Verdict.NOT_JUDGED: "open-diamond"}.get(self.verdict, "") if self.verdict else ""
        )

    @property
    def words(self) -> str:
        """Verdict and margin in words, for a title."""
        if self.finding is None:
            return "no finding"
        found = self.finding
        text = f"{self.word}: {title_of(found.code)}"
        if found.value is not None:
            text += f" {number(found.value, found.unit)}"
        if found.limit is not None:
            text += (
                f", {found.limit.sense} {number(found.limit.value, found.limit.unit)}, margin {share_text(self.share)}"
            )
        return text


def title_of(code: str) -> str:
    """The title of a code; the code itself where the table does not have it."""
    known = codes().get(code)
    return known.title if known else code


def share_of(found: Finding) -> float | None:
    """
    The margin as a share, where it tells anything; None for a count or a yes that passes.

    Three bonds where three are needed, or clamps laid just by their rule, are not 'at the limit' in the way that a voltage is.
    """
    share = found.normalised_margin
    if found.verdict is Verdict.PASSES and found.margin == 0:
        return None
    counted = found.unit == "" and found.value is not None and found.value == round(found.value)
    return None if share is not None and counted and found.verdict is Verdict.PASSES else share


def marks_of(proof: Proof) -> dict[str, Mark]:
    """
    The mark of every item that a design finding speaks about.

    What speaks about hardware speaks about the item that it stands on, too. The colour is that of the smallest margin.
    """
    by_item: dict[str, list[Finding]] = {}
    for found in proof.at(Stage.DESIGN):
        for id in _items_of(found, proof.line):
            by_item.setdefault(id, []).append(found)
    out: dict[str, Mark] = {}
    for id, founds in by_item.items():
        top = worst(tuple(founds))
        share = min((s for s in map(share_of, founds) if s is not None), default=None)
        if top is not None:
            out[id] = Mark(margin_colour(share), top.verdict, share, top)
    return out


def _items_of(found: Finding, line: Line) -> set[str]:
    about = (found.subject,) if found.subject in line.by_id else found.items  # what it hangs on is not to blame for it
    ids = set(about) & line.by_id.keys()
    return ids | {line.by_id[id].on for id in ids if line.by_id[id].on in line.by_id}


def stamp_of(proof: Proof) -> str:
    """The stamp that every document carries: empty where the design passes."""
    return "" if proof.verdict(Stage.DESIGN) is Verdict.PASSES else STAMP


def verdict_words(proof: Proof) -> str:
    """The design verdict with its counts."""
    counts = ", ".join(
        f"{proof.count(v)} {'pass' if v is Verdict.PASSES else 'fail' if v is Verdict.FAILS else v}" for v in Verdict
    )
    return f"{proof.verdict(Stage.DESIGN)} ({counts})"
