"""Findings of metal near the antennas: declared metal that mixes what a sector and its neighbours send, and clamps in the zone."""

from __future__ import annotations

from math import log10

from upmast.finding import Finding, judge
from upmast.limits import Limits
from upmast.pim.mixing import Rise, Tone, channel_text, noise_rise, trade_text
from upmast.pim.state import Inputs

ORDER = 3  # what a level of third order says; higher ones of rust and loose contacts follow no rule

__all__ = ["clamp_findings", "metal_findings", "metal_missing", "metal_rise"]


def everything(i: Inputs, s: int) -> tuple[tuple[Tone, ...], tuple[float, ...]]:
    """All carriers that light the metal of a sector, its own and the neighbours', in order, equal ones added by power."""
    total: dict[Tone, float] = {}
    rows = [(i.sector_tones[s], i.sector_powers_dbm[s])]
    rows += [(tones, i.neighbour_powers_dbm[n]) for n, (_, tones) in enumerate(i.neighbours)]
    for tones, powers in rows:
        for tone, dbm in zip(tones, powers, strict=True):
            total[tone] = total.get(tone, 0.0) + 10.0 ** (dbm / 10.0)
    ordered = tuple(sorted(total))
    return ordered, tuple(10.0 * log10(total[tone]) if total[tone] > 0 else -300.0 for tone in ordered)


def metal_rise(i: Inputs, s: int, m: int) -> tuple[tuple[Tone, ...], tuple[float, ...], Rise | None]:
    """Carriers, their powers, and the noise rise that one piece of metal makes in the sector."""
    tones, powers = everything(i, s)
    channels = i.sector_channels[s]
    if not tones or not channels:
        return tones, powers, None
    return tones, powers, noise_rise(tones, powers, channels, i.metals[s][m].level_dbc, (0.0,) * len(channels), ORDER)


def metal_missing(i: Inputs, s: int, tones: tuple[Tone, ...]) -> tuple[str, ...]:
    """What is missing to say what metal of a sector makes, lit by some carriers."""
    if i.sector_missing[s]:
        return tuple(i.sector_missing[s])
    return () if tones and i.sector_channels[s] else ("carriers and receive channels of the sector",)


def metal_findings(i: Inputs, limits: Limits, s: int) -> list[Finding]:
    """Noise rise by each declared piece of metal of a sector."""
    out = []
    for m, metal in enumerate(i.metals[s]):
        tones, _, rise = metal_rise(i, s, m)
        missing = metal_missing(i, s, tones)
        note = f"no product of order {ORDER} falls into a receive channel of the sector"
        value = 0.0
        if rise is not None:
            value = rise.rise_db
            note = f"{metal.name}: {metal.level_dbc:g} dBc ({metal.document})"
            if rise.terms:
                term = rise.terms[0]
                note += f"; {trade_text(term.coefficients, tones)}, order {term.order}, in {channel_text(i.sector_channels[s][rise.receive])}"
        note += f"; order {ORDER} alone is judged: of the others nothing is declared"
        out.append(
            judge(
                "pim.surroundings", f"{i.sectors[s]}-M{m + 1}", None if missing else value, limits.get("pim.surroundings"), unit="dB",
                note="" if missing else note, missing=missing, items=i.sector_items[s], rank=100 * s + m,
                remedy="remove or insulate the metal, move it out of the beam, or other carriers",
            )
        )  # fmt: skip
    return out


def clamp_findings(i: Inputs, limits: Limits) -> list[Finding]:
    """Metal clamps in the zone around antennas, once for a site that has clamps there."""
    if not i.zone_items:
        return []
    count = sum(n for _, _, n in i.near_metal)
    shown = ", ".join(f"{item} near {antenna}" for item, antenna, _ in i.near_metal[:6])
    more = f" and {len(i.near_metal) - 6} more" if len(i.near_metal) > 6 else ""
    note = f"{shown}{more}" if count else f"{len(i.zone_items)} rows of clamps near antennas, none of metal"
    return [
        judge(
            "pim.metal-clamps", i.site, float(count), limits.get("pim.metal-clamps"), note=note,
            items=tuple(item for item, _, _ in i.near_metal), remedy="plastic clamps within the zone, or the run ends below it",
        )
    ]  # fmt: skip
