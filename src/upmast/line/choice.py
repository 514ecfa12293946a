"""The decisions that make a line out of a site: which parts, how many, and who is fed by what."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class RadioChoice:
    """The parts of one radio: breaker, jumpers from the box (or runs from the cabinet), RF jumper."""

    breaker: str
    dc: str  # DC jumper, hybrid jumper or DC run
    fibre: str = ""  # fibre jumper or run; empty if the DC part carries the strands, or the radio has no link
    rf: str = ""  # RF jumper; empty if the radio has no RF port


@dataclass(frozen=True, slots=True)
class Choice:
    """
    One way to build a site's line.

    Hybrid: `trunks` equal trunks, each to a box of its own, the radios shared out in order. In a straight box each radio has
    `pairs_each` pairs in parallel; in a bussed box all pairs feed all radios, each pair behind `pair_breaker`.
    Separate: every radio has its own DC and fibre run from the cabinet.
    """

    form: str  # hybrid or separate
    radios: tuple[RadioChoice, ...]
    trunk: str = ""
    trunks: int = 1
    box: str = ""
    pairs_each: int = 1
    pair_breaker: str = ""
    fanout: str = ""
    reasons: dict[str, str] = field(default_factory=dict, compare=False, hash=False)

    @property
    def words(self) -> str:
        if self.form == "separate":
            kinds = sorted({radio.dc for radio in self.radios})
            return "separate cables: " + ", ".join(kinds)
        each = f", {self.pairs_each} pairs to a radio" if self.pairs_each > 1 else ""
        return f"{self.trunks} x {self.trunk} to {self.box}{each}"


def shares(count: int, groups: int) -> tuple[range, ...]:
    """Radios in order, shared out over the trunks as evenly as can be."""
    out, start = [], 0
    for group in range(groups):
        size = count // groups + (1 if group < count % groups else 0)
        out.append(range(start, start + size))
        start += size
    return tuple(out)
