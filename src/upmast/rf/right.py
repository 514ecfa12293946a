"""Whether an RF path is the one that was asked for: its antenna port, and the two-ports in its way."""

from __future__ import annotations

from collections.abc import Sequence

from upmast.finding import Finding, judge
from upmast.limits import Limits

__all__ = ["right_findings", "unlike_asked"]


def unlike_asked(asked_end: str, asked_inline: Sequence[str], end: str, inline: Sequence[str]) -> str:
    """
    In what a path differs from what was asked, in words; empty if in nothing.

    Parameters
    ----------
    asked_end, end: antenna and port, "" for none. asked_inline, inline: parts of the two-ports, the nearest to the radio first.

    >>> unlike_asked("A-ANT.R1", [], "A-ANT.R2", [])
    'it ends at A-ANT.R2, A-ANT.R1 is asked'
    >>> unlike_asked("A-ANT.R1", ["arrestor"], "A-ANT.R1", [])
    'in its way nothing, arrestor is asked'
    """
    out = []
    if asked_end != end:
        out.append(f"it ends at {end or 'nothing'}, {asked_end or 'no antenna port'} is asked")
    if list(asked_inline) != list(inline):
        out.append(f"in its way {', '.join(inline) or 'nothing'}, {', '.join(asked_inline) or 'nothing'} is asked")
    return "; ".join(out)


def right_findings(
    paths: Sequence[str], unlike: Sequence[str], items: Sequence[tuple[str, ...]], limits: Limits
) -> list[Finding]:
    """One finding for each path: 1 if it is the one asked for."""
    return [
        judge(
            "rf.right-port", path, 0.0 if wrong else 1.0, limits.get("rf.right-port"), note=wrong or "as the site asks", items=mine, rank=p,
            remedy="join the path as asked, or ask for what is built",
        )
        for p, (path, wrong, mine) in enumerate(zip(paths, unlike, items, strict=True))
    ]  # fmt: skip
