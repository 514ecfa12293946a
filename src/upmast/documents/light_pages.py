"""The fibre in the calculation sheet: where light ends, budgets, causes, and slack loops with every way to lay them."""

from __future__ import annotations

import math
from collections.abc import Iterable

from upmast.documents.sheet import Block, Bullets, Cell, Column, Heading, Paragraph, Table, joined
from upmast.number import number
from upmast.proof.light import SHOWN_WAVES_NM, Light, LoopLight
from upmast.proof.light_words import (
    break_words,
    cause_words,
    headline_words,
    missing_words,
    other_ways,
    over_words,
    strands_words,
)


def light_blocks(light: Light) -> Iterable[Block]:
    """Headline, causes, budgets, loops and what is kept."""
    yield Heading("Fibre")
    yield Paragraph(headline_words(light))
    wrong = [f"{x.link}: {x.why}" for x in light.links if not x.right]
    if wrong:
        yield Bullets(tuple(wrong))
    for words in cause_words(light):
        yield Paragraph(words)
    if light.links:
        yield _links(light)
    cures = [
        f"{x.link}: too strong by {number(-x.over_db, 'dB')}; {over_words(x)}" for x in light.links if over_words(x)
    ]
    if cures:
        yield Bullets(tuple(cures))
    if light.loops:
        yield Heading("Slack loops", 2)
        yield _loops(light)
        yield Bullets(tuple(_other_ways(one) for one in light.loops))
        for coil in light.together:
            rest = joined(f"{c} {r:.2f} m" for c, r in zip(coil.cables, coil.rest_m, strict=True))
            yield Paragraph(
                f"{joined(coil.cables)} could be one coil: {coil.turns} turns of {coil.radius_m:.3f} m; left beside it: {rest}."
            )
    if light.loose:
        loose = joined(f"{cable} {left:.2f} m" for cable, left, _ in light.loose)
        yield Paragraph(f"Left over and in no loop: {loose}.")
    yield Paragraph(kept_words(light))
    yield Paragraph(
        "Highest loss is the bound that is judged. The likely loss is the mean and three sigma of the joints: no bound. Class values "
        "are limits of the standard; the data sheet of the module governs. Bends count by the limits of the fibre class.",
        "note",
    )


def kept_words(light: Light) -> str:
    """What is kept dark, for growth and on standby: two lists of their own."""
    kept, asked = light.growth
    standby = joined(f"{radio} {has} of {want}" for radio, has, want in light.standby)
    bad = [link for link, sound, _ in light.kept if not sound]
    return (
        f"Kept dark: {kept} strands for growth, {asked} asked"
        + (f"; standby pairs {standby}" if standby else "; no standby pair asked")
        + (f". Unsound: {joined(bad)}." if bad else ".")
    )


def _cell(value: float, places: int = 2, sign: str = "") -> str:
    return "not known" if math.isnan(value) else f"{value:{sign}.{places}f}"


def _links(light: Light) -> Table:
    columns = (
        Column("Link", width=11), Column("From and to", width=24), Column("Trunk strands", width=13), Column("Way", "m", 7),
        Column("Joints", width=7), Column("Loss", "dB", 8), Column("Likely", "dB", 8), Column("Channel", "dB", 9),
        Column("Weak light", "dB", 10), Column("Strong light", "dB", 10), Column("Return loss", "dB", 10), Column("Delay", "ns", 9),
        Column("Apart", "ns", 9),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for x in sorted(light.links, key=lambda x: (x.right, x.low_db)):
        values = (
            _cell(x.worst_db), _cell(x.likely_db), _cell(x.channel_db), _cell(x.low_db, 2, "+"), _cell(x.over_db, 2, "+"),
            _cell(x.return_loss_db, 1), _cell(x.delay_ns, 1), _cell(x.apart_ns, 3),
        )  # fmt: skip
        head = (x.link, f"{x.cabinet_port} > {x.radio_port}", strands_words(x, 1), f"{x.length_m:.0f}", str(x.joints))
        rows.append((*head, *(values if x.right else ("fails", *("",) * (len(values) - 1)))))
    note = (
        "The worse of the two directions of each link. Weak and strong light: margins to the receiver's least and greatest power; "
        "apart: delay of one direction against the other."
    )
    return Table("", columns, tuple(rows), note)


def _loops(light: Light) -> Table:
    waves = tuple(Column(f"Bend at most, {wave:.0f} nm", "dB", 10) for wave in SHOWN_WAVES_NM[1:])
    columns = (
        Column("Loop", width=14), Column("As it lies", width=26), Column("Holds", "m", 8), Column("Left over", "m", 14),
        Column("Least radius", "m", 9), *waves, Column("Strain", "%", 9), Column("Break of a strand", width=18),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for one in light.loops:
        loop = one.loop
        left = "not known" if math.isnan(loop.surplus_m) else f"{loop.surplus_m:.2f} ± {loop.surplus_off_m:.2f}"
        rows.append(
            (
                loop.id, loop.form, f"{loop.stored_m:.2f}", left, f"{loop.least_radius_mm / 1000:.3f}",
                *("not judged" if math.isnan(v) else f"{v:.3f}" for v in one.bound_db[1:]), f"{one.strain_percent:.4f}",
                break_words(one.break_chance, light.years),
            )
        )  # fmt: skip
    return Table("", columns, tuple(rows))


def _other_ways(one: LoopLight) -> str:
    ways = other_ways(one)
    told = f"{one.loop.id}: " + (f"could also be {ways}" if ways else "lies in no other way on its holder")
    if one.estimate_db is not None:
        low, high = one.estimate_db
        told += (
            f"; by Marcuse's formula for a typical step-index fibre {low:.2g} to {high:.2g} dB at 1550 nm, an estimate"
        )
    return told + (f". {missing_words(one)}" if missing_words(one) else ".")


__all__ = ["kept_words", "light_blocks"]
