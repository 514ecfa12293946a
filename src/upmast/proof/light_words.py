"""The fibre of a line in words, and as plain data: said once for terminal, sheet and JSON."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from upmast.number import number
from upmast.proof.light import Lay, Light, LinkLight, LoopLight

NOTHING = 1e-9  # a chance below this is told in words


def headline_words(light: Light) -> str:
    """In one sentence: how many links are right, and the least margin."""
    total, wrong = len(light.links), [x for x in light.links if not x.right]
    if not total:
        return "No link is in service."
    if wrong:
        return f"{len(wrong)} of {total} links end at a wrong port: {_names([x.link for x in wrong])}."
    known = [x for x in light.links if not math.isnan(x.low_db)]
    if not known:
        return f"All {total} links end where they are meant to."
    low = min(known, key=lambda x: (x.low_db, x.link))
    return f"All {total} links end where they are meant to, both ways; the least margin is {number(low.low_db, 'dB', signed=True)}, at {low.link}."


def _names(names: list[str], most: int = 8) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def cause_words(light: Light) -> list[str]:
    """What would put wrong light right, one sentence a change."""
    out = []
    for n, (words, alike, left) in enumerate(light.causes):
        after = "then all light is right" if left == 0 else f"then {left} directions are still wrong"
        same = (
            f" Light alone can't tell it from: {'; '.join(alike[:3])}{f'; and {len(alike) - 3} more' if len(alike) > 3 else ''}."
            if alike
            else ""
        )
        out.append(f"{'Most likely' if n == 0 else 'And after that'}: {words}; {after}.{same}")
    if not light.causes and any(not x.right for x in light.links):
        out.append("No single change of a plug, a lead or a key puts it right: follow the port map strand by strand.")
    return out


def over_words(link: LinkLight) -> str:
    """What cures an overload; empty where there is none."""
    return link.remedy if link.over_db < 0 else ""


def strands_words(link: LinkLight, most: int = 99) -> str:
    """The strands of the longest way, cables once: T1 1+2, A1-H1 1+2."""
    cables: dict[str, list[int]] = {}
    for name in link.strands:
        id, _, number_ = name.rpartition("-F")
        cables.setdefault(id, []).append(int(number_))
    return ", ".join(f"{id} {'+'.join(str(n) for n in sorted(set(ns)))}" for id, ns in list(cables.items())[:most])


def lay_words(lay: Lay) -> str:
    """
    One way to lay a loop.

    >>> lay_words(Lay(2, 0.5, 0.4138, 0.4138, 0.0, "back", False))
    '2.5 turns of radius 0.414 m, leaving back'
    """
    turns = f"{lay.turns + lay.exit_turn:g} turn{'' if lay.turns + lay.exit_turn == 1 else 's'}"
    form = f"of radius {lay.radius_m:.3f} m"
    if lay.outer_m != lay.radius_m:
        form = f"flat, radius {lay.radius_m:.3f} to {lay.outer_m:.3f} m"
    if lay.straight_m:
        form = f"oval, radius {lay.radius_m:.3f} m with straights of {lay.straight_m:.3f} m"
    return f"{turns} {form}, leaving {lay.towards}"


def other_ways(loop: LoopLight, most: int = 6) -> str:
    """Other ways to lay a loop: the widest of each form and exit; how many more there are. Empty where there is none."""
    ways = [x for x in (*loop.lays, *loop.ovals, *loop.spirals) if not x.present]
    first: dict[tuple[str, bool, bool], Lay] = {}
    for x in ways:
        first.setdefault((x.towards, x.straight_m > 0, x.outer_m != x.radius_m), x)
    told = list(first.values())[:most]
    more = len(ways) - len(told)
    return "; ".join(lay_words(x) for x in told) + (f"; and {more} narrower" if told and more else "")


def missing_words(loop: LoopLight) -> str:
    """What to cut or to add where nothing fits; empty where something does."""
    if loop.lays or loop.ovals or (loop.cut_m == 0 and loop.add_m == 0):
        return ""
    cut = f"{loop.cut_m:.2f} m less or " if math.isfinite(loop.cut_m) else ""
    return f"No turns fit: {cut}{loop.add_m:.2f} m more would. A radius is never made smaller instead."


def break_words(chance: float, years: int) -> str:
    """
    The chance that a strand breaks, in words.

    >>> break_words(3.7e-5, 20), break_words(1e-30, 20)
    ('37.000 ppm in 20 years', 'next to nothing in 20 years')
    """
    told = "next to nothing" if chance < NOTHING else number(1e6 * chance, "ppm")
    return f"{told} in {years} years"


def light_data(light: Light) -> dict[str, Any]:
    """All of it as plain data; what is not a number is null."""

    def plain(value: object) -> object:
        if isinstance(value, float):
            return value if math.isfinite(value) else None
        if isinstance(value, dict):
            return {k: plain(v) for k, v in value.items()}
        if isinstance(value, list | tuple):
            return [plain(v) for v in value]
        return value

    loops = []
    for one in light.loops:
        data = asdict(one)
        data["loop"] = {**data["loop"], "radius_source": str(one.loop.radius_source), "stored_m": one.loop.stored_m}
        loops.append(plain(data | {"rest_m": one.rest_m, "twist": one.twist}))
    return {
        "links": [plain(asdict(x)) for x in light.links],
        "causes": [{"change": w, "alike": list(a), "directions_wrong_after": n} for w, a, n in light.causes],
        "loops": loops,
        "together": [plain(asdict(x)) for x in light.together],
        "loose": [{"cable": c, "left_over_m": plain(s), "missing_m": plain(m)} for c, s, m in light.loose],
        "kept": [{"link": k, "sound": s, "words": w} for k, s, w in light.kept],
        "growth_strands": {"kept": light.growth[0], "asked": light.growth[1]},
        "standby": [{"radio": r, "kept": k, "asked": a} for r, k, a in light.standby],
    }


__all__ = [
    "break_words", "cause_words", "headline_words", "lay_words", "light_data", "missing_words", "other_ways", "over_words", "strands_words",
]  # fmt: skip
