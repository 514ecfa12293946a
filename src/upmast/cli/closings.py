"""How joints, closures and caps look on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from upmast.proof.closing import Closing, Closings


def show_closings(out: Console, found: Closings, every: bool = False) -> None:
    """Print each kind of joint with its torque and closure, unused ports, boxes, and how often all are looked at."""
    from rich.table import Table

    alike: dict[tuple[object, ...], list[Closing]] = {}
    for one in found.joints:
        key = (one.interface, one.torque_words, one.source, one.confirmed, one.how, one.tape_m, one.code)
        alike.setdefault(key, []).append(one)
    out.print(f"How each of {len(found.joints)} joints outdoors is closed", style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 1), header_style="dim")
    for n, name in enumerate(
        ("joints", "of", "torque\nN·m", "\nin·lb", "", "closure", "keeps", "or tape,\ninner + outer, m")
    ):
        table.add_column(name, justify="right" if n in (0, 2, 3, 7) else "left", no_wrap=n != 2)
    for mine in alike.values():
        j = mine[0]
        tape = "" if j.tape_m is None else f"{j.tape_m[0]:.2f} + {j.tape_m[1]:.2f}"
        mark = "" if j.confirmed else "UNCONFIRMED"
        table.add_row(
            str(len(mine)), j.interface, j.torque_words, j.inch_pounds, mark, j.how or "its own seal", j.code, tape
        )
    out.print(table)
    if every:
        for j in found.joints:
            out.print(
                f"    {j.ends[0]} to {j.ends[1]}: {j.torque_words} N·m, {j.source}" + (f"; {j.seal}" if j.seal else ""),
                style="dim",
            )
    ports = sum(len(c.ports) for c in found.caps)
    bare = sum(len(c.ports) - min(c.capped, len(c.ports)) for c in found.caps)
    out.print(
        f"  {ports} unused ports, {ports - bare} with a cap" + (f", {bare} without" if bare else ""),
        style="bold red" if bare else "",
    )
    for b in found.boxes[:3]:
        out.print(
            f"  {b.item}: closed at {b.warm_c:.0f} °C and cooled by rain it draws {-b.change_pa / 1000:.1f} kPa, {b.head_m:.2f} m of water"
        )
    because = (
        ", ".join(found.looked_at.because) if found.looked_at.because != ("none",) else "nothing that asks for more"
    )
    out.print(
        f"  looked at every {found.looked_at.months:g} months: {because} (common practice, no source; your own rule goes before)"
    )
    for note in found.notes:
        out.print(f"  {note}", style="dim")
    out.print("  May a joint be closed today? upmast seal --surface .. --air .. --humidity ..", style="dim")
    out.print()


__all__ = ["show_closings"]
