"""How the RF lines look on a terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from upmast.proof.jumpers import Jumper, Jumpers

SHOWN = 12


def show_jumpers(out: Console, found: Jumpers, every: bool = False) -> None:
    """Print the verdict of each kind of line in one sentence, what each takes from its transmitter, and what its sweep will show."""
    out.print("Would cutting a jumper to frequency help?", style="bold")
    alike: dict[str, list[Jumper]] = {}
    for one in found.jumpers:
        alike.setdefault(one.verdict, []).append(one)
    for verdict, mine in alike.items():
        out.print(f"  {_ids(mine)}: {verdict}", style="yellow" if verdict.startswith("not judged") else "")
        _lengths(out, mine)
    out.print()
    _losses(out, found, every)
    _sweeps(out, found)
    _ratings(out, found)
    for note in found.notes:
        out.print(f"  {note}", style="dim")
    out.print(
        "  RF burns and fields harm: transmitters off, locked and proved off before a joint is opened; fields of the EIRP by the owner's rules.",
        style="dim",
    )
    out.print()


def _ids(mine: list[Jumper], most: int = 6) -> str:
    ids = [one.id for one in mine]
    return ", ".join(ids[:most]) + (f" and {len(ids) - most} more" if len(ids) > most else "")


def _table(names: tuple[str, ...], left: int) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 1), header_style="dim")
    for n, name in enumerate(names):
        table.add_column(name, justify="left" if n < left else "right", no_wrap=True)
    return table


def _known(value: float | None, places: int = 2) -> str:
    return "-" if value is None or math.isnan(value) else f"{value:.{places}f}"


def _losses(out: Console, found: Jumpers, every: bool) -> None:
    out.print(
        "What the line takes from each port: highest loss, sheath in the sun, highest frequency in use", style="bold"
    )
    names: tuple[str, ...] = ("line", "from and to", "length\nm", "way\nm", "cables\ndB", "joints\ndB")
    inline = any(j.levels is not None and j.levels.inline_db > 0 for j in found.jumpers)
    names += ("inline\ndB",) if inline else ()
    table = _table((*names, "echo\ndB", "sent\nW", "lost\nW", "plant\nW", "EIRP\ndBm"), 2)
    judged = [j for j in found.jumpers if j.levels is not None]
    # the ones too short for their way first, then by loss
    ordered = sorted(judged, key=lambda j: (j.length_m >= j.least_m, -(j.levels.total_db if j.levels else 0.0)))
    shown = ordered if every else ordered[:SHOWN]
    for j in shown:
        assert j.levels is not None
        v = j.levels
        short = f", {j.lies}" if j.lies else ""
        row = [
            j.id,
            f"{j.start} > {j.end or 'open'}{short}",
            f"{j.length_m:.2f}",
            f"{j.least_m:.2f}",
            _known(v.cables_db),
            _known(v.joints_db),
        ]
        row += [_known(v.inline_db)] if inline else []
        echo = "-" if j.missing else f"±{max(abs(x) for x in v.spread_db):.2f}"
        table.add_row(*row, echo, f"{v.sent_w:.0f}", f"{v.lost_w:.1f}", _known(v.drawn_w, 0), _known(v.eirp_dbm, 1))
    out.print(table)
    if len(ordered) > len(shown):
        out.print(f"  and {len(ordered) - len(shown)} more that lose less: --all", style="dim")
    out.print(
        "  way: shortest from port to port; echo: what both ends, of unknown phase, add or take at most; lost: heat in the line; plant: what the plant "
        "gives more for it; EIRP: highest, of all carriers of one port",
        style="dim",
    )
    unknown = [j for j in found.jumpers if j.levels is None]
    if unknown:
        out.print(f"  not judged: {_ids(unknown)}: {unknown[0].missing or 'no carriers'}", style="yellow")
    if any(j.levels is not None and j.levels.eirp_dbm is None for j in judged):
        out.print("  EIRP not judged: gain_dbi of the antenna", style="yellow")


def _sweeps(out: Console, found: Jumpers) -> None:
    """What is seen with the antenna, if every part is just at its limit: three different things, side by side."""
    rows: dict[tuple[object, ...], list[Jumper]] = {}
    for j in found.jumpers:
        if j.shown is not None:
            s = j.shown
            rows.setdefault((round(s.worst_db, 2), round(s.usual_db, 2), s.limit_db, s.chance), []).append(j)
    if not rows:
        return
    out.print()
    out.print("What a sweep with the antenna will show, if every part is just at its limit", style="bold")
    table = _table(
        (
            "lines",
            "worst\ndB",
            "95 % of phases,\none frequency, dB",
            "limit of the\nsweep, dB",
            "whole sweeps\nthat pass",
        ),
        1,
    )
    warned = False
    for mine in rows.values():
        shown = mine[0].shown
        assert shown is not None
        told = mine[0].id + (f" and {len(mine) - 1} alike" if len(mine) > 1 else "")
        chance = "-" if shown.chance is None else f"{100 * shown.chance.share:.0f} %"
        table.add_row(told, f"{shown.worst_db:.2f}", f"{shown.usual_db:.2f}", _known(shown.limit_db, 1), chance)
        warned = warned or (shown.limit_db is not None and shown.worst_db < shown.limit_db)
    out.print(table)
    if warned:
        out.print(
            "  A sound line may fail its acceptance sweep where the worst lies below the limit: agree a limit that the parts can keep "
            "(rf.sweep-antenna in limits), or take better parts.",
            style="yellow",
        )


def _ratings(out: Console, found: Jumpers) -> None:
    """What of the power ratings is used, or that it isn't known: findings of the room have the rest."""
    out.print()
    for n, name in enumerate(("average", "peak")):
        known = [(share, j.id) for j in found.jumpers if (share := j.ratings_percent[n]) is not None]
        if known:
            top, id = max(known)
            out.print(f"  {name} power rating used most at {id}: {top:.0f} %", style="bold red" if top > 100 else "")
        lacking = [j for j in found.jumpers if j.ratings_percent[n] is None]
        if lacking:
            out.print(
                f"  {name} power rating not judged: {_ids(lacking)}; see what is missing in the findings",
                style="yellow",
            )


def _lengths(out: Console, mine: list[Jumper]) -> None:
    """How short it would have to be, what today's channels alone would allow, and the proof of a chain."""
    rows: dict[tuple[object, ...], list[Jumper]] = {}
    for j in mine:
        if j.today is not None:
            key = (
                tuple(round(x, 2) for x in j.longest_m),
                round(j.today.gain_db, 1),
                round(j.today.system_db, 1),
                round(j.today.length_m, 3),
                j.certificate,
            )
            rows.setdefault(key, []).append(j)
    for some in rows.values():
        j = some[0]
        assert j.today is not None
        told = j.id + (f" and {len(some) - 1} alike" if len(some) > 1 else "")
        words = []
        if j.longest_m and j.longest_m[0] > 0:
            pairs = [f"{g} dB up to {x:.2f} m" for g, x in zip((1, 3, 6), j.longest_m, strict=True) if x > 0]
            words.append(
                f"the joints of a jumper could gain {', '.join(pairs)}, in all its bands at once, where its way is {j.least_m:.2f} m"
            )
        elif j.longest_m:
            words.append("no jumper of any length gains 1 dB in all its bands at once")
        if j.today.gain_db > 0.005:
            words.append(
                f"in today's channels alone {j.today.length_m:.3f} m would bring {j.today.gain_db:.1f} dB of the joints and {j.today.system_db:.1f} dB at the port"
            )
        if j.certificate is not None:
            gap = j.certificate.gap_db
            proof = f"proven to {gap:.2f} dB" if j.certificate.closed else f"not closed: the gap is {gap:.2f} dB"
            words.append(f"{len(j.passed)} parts in a row, the last jumper's length left open; {proof}")
        if words:
            out.print(f"    {told}: {'; '.join(words)}", style="dim")


__all__ = ["show_jumpers"]
