"""How the RF jumpers of a line look on a terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from upmast.proof.jumpers import Jumper, Jumpers

SHOWN = 12


def show_jumpers(out: Console, found: Jumpers, every: bool = False) -> None:
    """Print the verdict of each kind of jumper in one sentence, then what each takes from its transmitter."""
    from rich.table import Table

    out.print("Would cutting a jumper to frequency help?", style="bold")
    alike: dict[str, list[Jumper]] = {}
    for one in found.jumpers:
        alike.setdefault(one.verdict, []).append(one)
    for verdict, mine in alike.items():
        ids = [one.id for one in mine]
        told = ", ".join(ids[:6]) + (f" and {len(ids) - 6} more" if len(ids) > 6 else "")
        out.print(f"  {told}: {verdict}", style="yellow" if verdict.startswith("not judged") else "")
        _lengths(out, mine)
    out.print()
    out.print("What the line takes from each port, highest loss at the highest frequency", style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 2), header_style="dim")
    names = (
        "jumper",
        "from and to",
        "length\nm",
        "least\nm",
        "cable\ndB",
        "joints\ndB",
        "echo\ndB",
        "sent\nW",
        "lost\nW",
        "of plant\nW",
    )
    for name in names:
        table.add_column(name, justify="left" if name in names[:2] else "right", no_wrap=True)
    ordered = sorted(found.jumpers, key=lambda j: -(j.cables_db + j.joints_db))
    shown = ordered if every else ordered[:SHOWN]
    for j in shown:
        table.add_row(
            j.id, f"{j.start} > {j.end or 'open'}", f"{j.length_m:.2f}", f"{j.least_m:.2f}", f"{j.cables_db:.2f}", f"{j.joints_db:.2f}",
            f"±{j.spread_db[0]:.2f}", f"{j.sent_w:.0f}", f"{j.lost_w:.1f}", "-" if j.drawn_w is None or math.isnan(j.drawn_w) else f"{j.drawn_w:.0f}",
        )  # fmt: skip
    out.print(table)
    if len(ordered) > len(shown):
        out.print(f"  and {len(ordered) - len(shown)} more that lose less: --all", style="dim")
    _ratings(out, found)
    for note in found.notes:
        out.print(f"  {note}", style="dim")
    out.print(
        "  RF burns and fields harm: transmitters off, locked and proved off before a joint is opened.", style="dim"
    )
    out.print()


def _ratings(out: Console, found: Jumpers) -> None:
    """What of the power rating of the cables is used, or that it isn't known."""
    unknown = sorted({j.part for j in found.jumpers if j.rating is None})
    if unknown:
        out.print(f"  power rating not judged: rated_w, rated_peak_w of {', '.join(unknown)}", style="yellow")
    known = [j for j in found.jumpers if j.rating is not None]
    if known:
        top = max(known, key=lambda j: j.rating.share if j.rating is not None else 0.0)
        assert top.rating is not None
        words = (
            f"  power rating used most at {top.id}: {100 * top.rating.share:.0f} % of the {top.rating.governing} rating"
        )
        out.print(words, style="bold red" if top.rating.share > 1 else "")


def _lengths(out: Console, mine: list[Jumper]) -> None:
    """How short it would have to be, and what today's channels alone would allow."""
    known = [j for j in mine if j.longest_m and j.today is not None]
    if not known:
        return
    rows: dict[tuple[object, ...], list[str]] = {}
    for j in known:
        assert j.today is not None
        rows.setdefault(
            (tuple(round(x, 2) for x in j.longest_m), round(j.today.gain_db, 1), round(j.today.system_db, 1)), []
        ).append(j.id)
    for (longest, gain, system), ids in rows.items():
        told = ids[0] + (f" and {len(ids) - 1} alike" if len(ids) > 1 else "")
        lengths = ", ".join(f"{x:.2f} m" for x in longest)  # type: ignore[attr-defined]
        out.print(
            f"    {told}: a null of the worst band gains 1, 3 and 6 dB at most up to {lengths}; in today's channels alone the best "
            f"length brings {gain:.1f} dB at the jumper and {system:.1f} dB at the port",
            style="dim",
        )


__all__ = ["show_jumpers"]
