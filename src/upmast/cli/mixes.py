"""How intermodulation looks on a terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from upmast.proof.mixes import Ladder, Mix, Mixes

MOST = 6


def show_mixes(out: Console, found: Mixes, every: bool = False) -> None:
    """Print for each radio what falls where, the ladder of the strongest product, and what would help."""
    from upmast.pim.two_tone import CAUTION

    out.print("What do the carriers make in passive parts, and whose uplink does it hit?", style="bold")
    alike: dict[str, list[Mix]] = {}
    for one in found.mixes:
        alike.setdefault(one.sentence, []).append(one)
    shown: set[tuple[object, ...]] = set()
    for sentence, mine in alike.items():
        ids = ", ".join(m.radio for m in mine)
        out.print(f"  {ids}: {sentence}", style="yellow" if sentence.startswith("not judged") else "")
        first = mine[0]
        key = (first.tones, first.ladder.rise_db if first.ladder else None)
        if first.ladder is not None and key not in shown:
            shown.add(key)
            _one(out, first, first.ladder, every)
    if found.metals:
        out.print("  Metal near the antennas, as declared:", style="bold")
    for metal in found.metals:
        out.print(f"    {metal.sector}: {metal.sentence}", style="yellow" if metal.missing else "")
    tests: dict[str, list[Mix]] = {}
    for m in found.mixes:
        words = m.test.words() if m.test is not None else m.own
        if words:
            tests.setdefault(words, []).append(m)
    if tests:
        out.print("  To test a port of a radio:", style="bold")
    for words, some in tests.items():
        more = f"; {some[0].own}" if some[0].test is not None else ""
        out.print(f"    {', '.join(m.radio for m in some)}: {words}{more}")
    for note in found.notes:
        out.print(f"  {note}", style="dim")
    out.print(f"  {CAUTION}", style="dim")
    out.print()


def _one(out: Console, m: Mix, ladder: Ladder, every: bool) -> None:
    from rich.table import Table

    from upmast.pim.mixing import trade_text

    counted = ", ".join(f"{count} of order {n}" for n, count in m.counts)
    out.print(
        f"    products in receive channels: {counted}; carriers {', '.join(f'{p:.1f} dBm' for p in m.powers_dbm)} at the port",
        style="dim",
    )
    assert m.rise is not None
    for term in m.rise.terms[1 : None if every else 3]:
        out.print(
            f"      then {trade_text(term.coefficients, m.tones)}, order {term.order}, {term.level_dbm + 10 * math.log10(term.share):.1f} dBm in it",
            style="dim",
        )
    out.print(f"    {m.radio}, {ladder.path}, from its sources to the receiver: {ladder.limit_words}")
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 1), header_style="dim")
    for n, name in enumerate(
        ("   source", "part", "has\ndBc", "at\nm", "loss\ndB", "arrives\ndBm", "share\n%", "10 dB better\nbrings, dB")
    ):
        table.add_column(name, justify="left" if n < 2 else "right", no_wrap=n != 0)
    for r in ladder.rungs:
        loud = "bold" if r is ladder.loudest else ""
        table.add_row(
            f"   {r.source.what} {r.source.name}", r.source.part, f"{r.source.level_dbc:g}", f"{r.place_m:.2f}", f"{r.loss_db:.2f}", f"{r.arrives_dbm:.1f}",
            f"{r.share_percent:.0f}", f"{r.better_db:.1f}", style=loud,
        )  # fmt: skip
    out.print(table)
    out.print(
        f"    together {ladder.power_dbm:.1f} dBm by power, {ladder.voltage_dbm:.1f} dBm at worst by voltage, against noise of {ladder.noise_dbm:.1f} dBm: the "
        f"noise rises by {ladder.rise_db:.2f} dB, {ladder.worst_rise_db:.2f} dB at worst"
    )
    out.print(f"    {ladder.loss_words(m.rise)}", style="dim")
    out.print(f"    {ladder.alike_words}", style="dim")
    _help(out, m, every)


def _help(out: Console, m: Mix, every: bool) -> None:
    names = [f"{t.centre_hz / 1e6:g} MHz" for t in m.tones]
    if m.move:
        out.print(
            f"    no product is left once {' and '.join(names[n] for n in m.move)} moves"
            + (" away" if len(m.move) == 1 else "")
        )
    for one in m.pairs[: None if every else 2]:
        a, b = (names[n] for n in one.carriers)
        out.print(
            f"    {a} and {b} on different ports or lines: noise rise {one.worst_rise_db:.2f} dB, {one.hits_left} products left"
        )
    if m.plan is not None:
        out.print(f"    other centres in their blocks: {m.plan.words()}")
    else:
        out.print("    other centres: say where a carrier may move (move_from_mhz, move_to_mhz)", style="dim")


__all__ = ["show_mixes"]
