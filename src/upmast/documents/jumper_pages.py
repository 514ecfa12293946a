"""The RF jumpers in the calculation sheet: the verdict on their length in one sentence, what they take, and the pictures behind it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from upmast.catalogue.part import RfCable
from upmast.documents.chart import chart_svg
from upmast.documents.rf_charts import gain_spec, length_map_spec
from upmast.documents.rf_sweeps import loss_bars_spec, return_loss_spec
from upmast.documents.sheet import Block, Bullets, Cell, Column, Heading, Paragraph, Picture, Table, joined
from upmast.line.line import Line
from upmast.proof.jumpers import Jumper, Jumpers
from upmast.proof.prove import Proof

MOST_PICTURES = 2  # kinds of jumpers that are drawn in one document


@dataclass(frozen=True, slots=True)
class RfPicture:
    """One picture: a short name, its specification, the words that stand for it, and its caption."""

    name: str
    spec: dict[str, Any]
    alt: str
    caption: str


def jumper_pictures(line: Line, found: Jumpers, most: int = MOST_PICTURES) -> Iterator[RfPicture]:
    """Gain against length, and length against frequency, of one jumper of each kind: same part, bands and way."""
    kinds: dict[tuple[object, ...], Jumper] = {}
    for one in found.jumpers:
        kinds.setdefault((one.part, one.bands, round(one.least_m, 2), one.length_m), one)
    for one in list(kinds.values())[:most]:
        part = line.parts[one.part]
        assert isinstance(part, RfCable)
        gain = gain_spec(one, part.velocity_fraction, part.length_tolerance_m)
        if gain is not None:
            yield RfPicture(
                f"gain-{one.id.lower()}", gain,
                "Lines over the length of a jumper: the gain of each band and of all together, with the shortest way and the length as it is.",
                f"What the length of {one.id} gains",
            )  # fmt: skip
        found_map = length_map_spec(one, part.velocity_fraction, part.length_tolerance_m)
        if found_map is not None:
            yield RfPicture(
                f"length-map-{one.id.lower()}", found_map,
                "A field of length against frequency: dark where the two joints add, light where they cancel; boxes of the tolerances.",
                f"Where the joints of {one.id} add",
            )  # fmt: skip


def sweep_pictures(proof: Proof, found: Jumpers, most: int = MOST_PICTURES) -> Iterator[RfPicture]:
    """Losses of all jumpers, and the return loss that one of each kind can show."""
    bars = loss_bars_spec(found)
    if bars is not None:
        yield RfPicture(
            "losses",
            bars,
            "Bars: the highest loss of each jumper in cable and joints; the numbers are in the table.",
            "Losses by jumper",
        )
    kinds: dict[tuple[object, ...], Jumper] = {}
    for one in found.jumpers:
        kinds.setdefault((one.part, one.bands, one.length_m), one)
    for one in list(kinds.values())[:most]:
        spec = return_loss_spec(proof, one.id)
        if spec is not None:
            yield RfPicture(
                f"return-loss-{one.id.lower()}", spec,
                "Lines over frequency: the least return loss that the sound line can show with a load and with the antenna, with both limits.",
                f"Return loss that {one.id} can show",
            )  # fmt: skip


def jumper_blocks(proof: Proof, found: Jumpers, charts: bool = True) -> Iterable[Block]:
    """Verdicts, the table, notes and pictures."""
    yield Heading("RF jumpers")
    alike: dict[str, list[str]] = {}
    for one in found.jumpers:
        alike.setdefault(one.verdict, []).append(one.id)
    yield Bullets(tuple(f"{joined(ids, 12)}: {verdict}." for verdict, ids in alike.items()))
    columns = (
        Column("Jumper", width=11), Column("From and to", width=24), Column("Length", "m", 8), Column("Least", "m", 8), Column("Cable", "dB", 8),
        Column("Joints", "dB", 8), Column("Echo", "dB", 9), Column("Sent", "W", 8), Column("Lost", "W", 8), Column("Of plant", "W", 9),
        Column("3 dB up to", "m", 10),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            j.id, f"{j.start} > {j.end or 'open'}", f"{j.length_m:.2f}", f"{j.least_m:.2f}", f"{j.cables_db:.2f}", f"{j.joints_db:.2f}",
            f"±{j.spread_db[0]:.2f}", f"{j.sent_w:.0f}", f"{j.lost_w:.1f}", "not known" if j.drawn_w is None else f"{j.drawn_w:.0f}",
            f"{j.longest_m[1]:.2f}" if j.longest_m else "not judged",
        )
        for j in found.jumpers
    ]  # fmt: skip
    yield Table(
        "", columns, tuple(rows),
        "Highest loss at the highest frequency. Echo: what the two ends, of unknown phase, may add or take. 3 dB up to: the longest length "
        "at which a null of the worst band alone gains 3 dB.",
    )  # fmt: skip
    for note in found.notes:
        yield Paragraph(note[0].upper() + note[1:] + ".", "note")
    if charts:
        for shown in (*sweep_pictures(proof, found), *jumper_pictures(proof.line, found)):
            yield Picture(chart_svg(shown.spec), shown.alt, shown.caption)


__all__ = ["RfPicture", "jumper_blocks", "jumper_pictures", "sweep_pictures"]
