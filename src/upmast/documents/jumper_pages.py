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

UNKNOWN = "not judged"
MOST_PICTURES = 3  # kinds of jumpers that are drawn in one document


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
        kinds.setdefault((one.part, one.bands, round(one.least_m, 2), one.length_m, len(one.passed)), one)
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
        kinds.setdefault((one.part, one.bands, one.length_m, one.passed[1:]), one)
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
    yield Heading("RF lines")
    alike: dict[str, list[str]] = {}
    for one in found.jumpers:
        alike.setdefault(one.verdict, []).append(one.id)
    yield Bullets(tuple(f"{joined(ids, 12)}: {verdict}." for verdict, ids in alike.items()))
    yield _losses(found)
    sweeps = _sweeps(found)
    if sweeps is not None:
        yield sweeps
    for note in found.notes:
        yield Paragraph(note[0].upper() + note[1:] + ".", "note")
    if charts:
        for shown in (*sweep_pictures(proof, found), *jumper_pictures(proof.line, found)):
            yield Picture(chart_svg(shown.spec), shown.alt, shown.caption)


def _losses(found: Jumpers) -> Table:
    columns = (
        Column("Line", width=9), Column("From and to", width=21), Column("Length", "m", 8), Column("Way", "m", 8), Column("Cables", "dB", 8),
        Column("Joints", "dB", 8), Column("Inline", "dB", 8), Column("Echo", "dB", 12), Column("Sent", "W", 7), Column("Lost", "W", 7), Column("Plant", "W", 8),
        Column("EIRP", "dBm", 9), Column("3 dB up to", "m", 10),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for j in found.jumpers:
        row: list[Cell] = [j.id, f"{j.start} > {j.end or 'open'}", f"{j.length_m:.2f}", f"{j.least_m:.2f}"]
        v = j.levels
        if v is None:
            row += [UNKNOWN] * 8
        else:
            row += [
                f"{v.cables_db:.2f}", f"{v.joints_db:.2f}", f"{v.inline_db:.2f}", UNKNOWN if j.missing else f"+{v.spread_db[0]:.2f} {v.spread_db[1]:.2f}",
                f"{v.sent_w:.0f}", f"{v.lost_w:.1f}", UNKNOWN if v.drawn_w is None else f"{v.drawn_w:.0f}", UNKNOWN if v.eirp_dbm is None else f"{v.eirp_dbm:.1f}",
            ]  # fmt: skip
        if not j.longest_m:
            row.append(UNKNOWN if j.missing else "chain")
        else:
            row.append(f"{j.longest_m[1]:.2f}" if j.longest_m[1] > 0 else "none")
        rows.append(tuple(row))
    return Table(
        "", columns, tuple(rows),
        "Highest loss at the highest frequency in use, sheath in the sun. Way: shortest from port to port. Echo: what the two ends, of unknown "
        "phase, may add or take. Lost: heat in the line. Plant: what the plant gives more for it. EIRP: highest, of all carriers of the port. 3 dB up to: "
        "the longest jumper whose joints can gain 3 dB in all its bands at once; none: no length does.",
    )  # fmt: skip


def _sweeps(found: Jumpers) -> Table | None:
    """What is seen with the antenna if every part is just at its limit."""
    rows: list[tuple[Cell, ...]] = []
    low = False
    for j in found.jumpers:
        s = j.shown
        if s is None:
            rows.append((j.id, *[UNKNOWN] * 4))
            continue
        chance = UNKNOWN if s.chance is None else f"{100 * s.chance.share:.0f} % of {s.chance.trials}"
        rows.append(
            (
                j.id,
                f"{s.worst_db:.2f}",
                f"{s.usual_db:.2f}",
                UNKNOWN if s.limit_db is None else f"{s.limit_db:.1f}",
                chance,
            )
        )
        low = low or (s.limit_db is not None and s.worst_db < s.limit_db)
    if not rows:
        return None
    columns = (
        Column("Line", width=12), Column("Worst", "dB", 12), Column("95 % of phases, one frequency", "dB", 20), Column("Limit of the sweep", "dB", 16),
        Column("Whole sweeps that pass", width=20),
    )  # fmt: skip
    note = (
        "With the antenna connected and every part just at its limit. Worst: the least return loss that any phases give. 95 % of phases: at one "
        "frequency. Whole sweeps that pass: of random phases and lengths, those whose every point keeps the limit, which is another thing."
    )
    if low:
        note += " Where the worst lies below the limit a sound line may fail its sweep: agree a limit that the parts can keep, or take better parts."
    return Table("What a sweep with the antenna will show", columns, tuple(rows), note)


__all__ = ["RfPicture", "jumper_blocks", "jumper_pictures", "sweep_pictures"]
