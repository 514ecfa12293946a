"""The findings and figures of the fibre room, from what it sees."""

from __future__ import annotations

import math

import numpy as np

from upmast.fibre.bend import bend_source
from upmast.fibre.budget import choose_attenuator_db
from upmast.fibre.evaluate import Budget, bent, loop_bend_db, of
from upmast.fibre.optics import optic, optics
from upmast.fibre.state import Inputs, Way
from upmast.finding import Authority, Figure, Finding, Limit, Sense, judge
from upmast.limits import Limits
from upmast.room import Result
from upmast.source import Mark, Source

ATTENUATORS_DB = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0)  # nominal values: common practice, no source
ATTENUATOR_OFF_DB = 0.5
REST_M = 0.2  # what bends at both ends of a cable take up or give: common practice, no source
MEND = ("light on the right port: mend that first",)
BUDGET = Source("own derivation: power budget", "sum of losses in dB")
DELAY = Source(
    "ITU-T G.652 fibre, group index and dispersion", "values at 1310 and 1550 nm from memory", mark=Mark.MEMORY
)
GEOMETRY = Source("geometry", "S = 2 pi R (n + f)")
LIFE = Source("IEC TR 62048", "power law; parameters from memory unless the site gives them", mark=Mark.MEMORY)


def find(inputs: Inputs, limits: Limits) -> Result:
    """All findings and figures."""
    findings: list[Finding] = []
    figures: list[Figure] = []
    found = of(inputs)
    for n in range(len(inputs.links)):
        more, some = _link(inputs, limits, found, n)
        findings += more
        figures += some
    findings += _strands(inputs, limits)
    findings += _kept(inputs, limits)
    for n in range(len(inputs.loops)):
        more, some = _loop(inputs, limits, n)
        findings += more
        figures += some
    figures += _lengths(inputs)
    return Result(tuple(findings), tuple(figures))


def cause(inputs: Inputs) -> str:
    """The change that would put the light right, in words; empty where none was found."""
    if not inputs.changes:
        return ""
    words = [change.words for change in inputs.changes]
    after = inputs.changes[-1].left
    text = "; then ".join(words)
    alike = inputs.changes[0].alike
    if alike:
        text += f" (the same: {'; or '.join(alike[:2])}" + (f"; or {len(alike) - 2} more)" if len(alike) > 2 else ")")
    return text + (": then all light is right" if after == 0 else f": then {after} directions are still wrong")


def _link(i: Inputs, limits: Limits, b: Budget, n: int) -> tuple[list[Finding], list[Figure]]:
    rows = (2 * n, 2 * n + 1)
    link, ways = i.links[n], [i.ways[row] for row in rows]
    items = (i.radio[n], *dict.fromkeys(x for way in ways for x in way.items))
    wrong = [way for way in ways if not way.right]
    first = ways[0].start.split("/")[0]
    out = [
        judge(
            "fibre.right-port", link, 0.0 if wrong else 1.0, limits.get("fibre.right-port"),
            note=wrong[0].why if wrong else f"{first} and {ways[0].meant}, both ways",
            remedy=cause(i) if wrong and i.changes else "join the strands as the port map says",
            items=items, rank=rows[0] + (wrong[0] is ways[1] if wrong else 0),
        ),
        judge(
            "fibre.optics-pair", link, 0.0 if i.pair_faults[n] else 1.0, limits.get("fibre.optics-pair"),
            note=i.pair_faults[n] or f"{ways[0].sender} and {ways[0].receiver}", remedy="take two optics that are a pair",
            items=items, rank=rows[0],
        ),
    ]  # fmt: skip
    bends = (
        ["a bending limit for the radius of the loops on its way"]
        if any(np.isnan(b.bend_db[row]) for row in rows)
        else []
    )
    row = min(rows, key=lambda r: b.low_db[r] if not math.isnan(b.low_db[r]) else -math.inf)
    memory = "class values from memory: {}; put the data sheet's into a part of your own"
    lacking = [memory.format(i.ways[row].low_missing)] if i.ways[row].low_missing else []
    out.append(
        judge(
            "fibre.low-margin", link, float(b.low_db[row]), limits.get("fibre.low-margin"),
            missing=MEND if wrong else (*lacking, *bends), note=_words(i, row), remedy="fewer joints, or an optic of a longer class",
            items=items, rank=row,
        )
    )  # fmt: skip
    row = min(rows, key=lambda r: b.over_db[r] if not math.isnan(b.over_db[r]) else -math.inf)
    lacking = [memory.format(i.ways[row].high_missing)] if i.ways[row].high_missing else []
    out.append(
        judge(
            "fibre.overload-margin", link, float(b.over_db[row]), limits.get("fibre.overload-margin"),
            missing=MEND if wrong else tuple(lacking), note=_words(i, row), remedy=overload_remedy(i, b, row), items=items, rank=row,
        )
    )  # fmt: skip
    row = max(rows, key=lambda r: b.worst_db[r] if not math.isnan(b.worst_db[r]) else math.inf)
    way, part_limit = i.ways[row], None
    if not math.isnan(way.channel_db):
        part_limit = Limit(
            "fibre.channel-loss", way.channel_db, "dB", Sense.AT_MOST, Authority.PART, way.channel_source
        )
    out.append(
        judge(
            "fibre.channel-loss", link, float(b.worst_db[row]), limits.in_force("fibre.channel-loss", part_limit), unit="dB",
            missing=MEND if wrong else tuple(bends), note=_words(i, row), remedy="fewer joints", items=items, rank=row,
        )
    )  # fmt: skip
    if wrong:
        return out, []
    row = max(rows, key=lambda r: b.worst_db[r])
    figures = [
        Figure(
            "fibre.loss-likely", link, float(b.likely_db[row]), "dB",
            f"mean {b.mean_db[row]:.2f} dB and three sigma of {b.sigma_db[row]:.2f} dB; no bound: joints are skewed, and the highest of each is a 97 % point. "
            f"The bound is {b.worst_db[row]:.2f} dB", BUDGET, "", items, row,
        )
    ]  # fmt: skip
    more, some = _reflections(i, limits, b, link, rows, items)
    late, later = _delays(i, limits, b, link, rows, items)
    return [*out, *more, *late], [*figures, *some, *later]


def _words(i: Inputs, row: int) -> str:
    way = i.ways[row]
    loops = f", {len(way.loops)} loop{'s' if len(way.loops) > 1 else ''}" if way.loops else ""
    return f"{way.start.split('/')[0]} to {way.meant}: {way.length_m:.0f} m and {len(way.events)} mated pairs{loops}"


def overload_remedy(i: Inputs, b: Budget, row: int) -> str:
    """The attenuator that cures an overload, or the classes that need none."""
    over, low = float(b.over_db[row]), float(b.low_db[row])
    if math.isnan(over) or over >= 0:
        return "an attenuator of at least the shortfall, or an optic of a shorter class"
    value = float(choose_attenuator_db(over, low, ATTENUATORS_DB, ATTENUATOR_OFF_DB))
    fitting = shorter_classes(i.ways[row], float(b.worst_db[row]), float(b.best_db[row]))
    classes = f"an optic of class {' or '.join(fitting[:3])}" if fitting else "an optic of a shorter class"
    if math.isnan(value):
        return f"no attenuator cures it and leaves light enough ({low:.1f} dB spare): {classes}"
    return f"an attenuator of {value:g} ± {ATTENUATOR_OFF_DB:g} dB at the receiver, or {classes}"


def shorter_classes(way: Way, worst_db: float, best_db: float) -> list[str]:
    """Classes of the table with the same wavelength whose receivers take both the strongest and the weakest light here."""
    out = []
    for name in optics():
        one = optic(name)
        values = (one.wavelength_nm_wave, one.tx_min_dbm, one.tx_max_dbm, one.rx_min_dbm, one.rx_max_dbm)
        if any(v is None for v in values):
            continue
        wave, tx_low, tx_high, rx_low, rx_high = (v.value for v in values if v is not None)
        fits = tx_high - best_db <= rx_high and tx_low - worst_db >= rx_low
        if fits and abs(wave - way.sent_nm_wave) <= 250:
            out.append(name)
    return out


def _reflections(
    i: Inputs, limits: Limits, b: Budget, link: str, rows: tuple[int, int], items: tuple[str, ...]
) -> tuple[list[Finding], list[Figure]]:
    """Return loss of all joints together, from each end; a finding where the optics or the site give a limit."""
    row = min(rows, key=lambda r: b.return_loss_db[r] if not math.isnan(b.return_loss_db[r]) else -math.inf)
    value, way = float(b.return_loss_db[row]), i.ways[row]
    note = f"{len(way.events)} joints seen from {way.start.split('/')[0]}, powers added"
    part_limit = None
    if not math.isnan(way.least_return_loss_db):
        part_limit = Limit(
            "fibre.return-loss", way.least_return_loss_db, "dB", Sense.AT_LEAST, Authority.PART, way.return_loss_source
        )
    limit = limits.in_force("fibre.return-loss", part_limit)
    if limit is not None:
        missing = ("the return loss of every joint on its way",) if math.isnan(value) else ()
        return [
            judge("fibre.return-loss", link, value, limit, note=note, missing=missing, remedy="angled end faces", items=items, rank=row)
        ], []  # fmt: skip
    if math.isnan(value):
        return [], []
    return [], [Figure("fibre.reflections", link, value, "dB", note, BUDGET, "", items, row)]


def _delays(
    i: Inputs, limits: Limits, b: Budget, link: str, rows: tuple[int, int], items: tuple[str, ...]
) -> tuple[list[Finding], list[Figure]]:
    """One-way delay and the difference of the two directions; findings where the site gives limits."""
    row = max(rows, key=lambda r: b.delay_s[r])
    delay = 1e9 * float(b.delay_s[row])
    apart = 1e9 * abs(float(b.delay_s[rows[0]] - b.delay_s[rows[1]]))
    out: list[Finding] = []
    figures: list[Figure] = []
    for code, name, value, note, remedy in (
        ("fibre.one-way-delay", "fibre.delay", delay, "one way, the slower direction", "a shorter way"),
        (
            "fibre.delay-asymmetry", "fibre.asymmetry", apart,
            "between the two directions, by wavelength; clocks err by half of it", "two strands of one cable, one wavelength",
        ),
    ):  # fmt: skip
        limit = limits.get(code)
        if limit is not None:
            out.append(judge(code, link, value, limit, note=note, remedy=remedy, items=items, rank=row))
        else:
            figures.append(Figure(name, link, value, "ns", note, DELAY, "", items, row))
    return out, figures


def _strands(i: Inputs, limits: Limits) -> list[Finding]:
    """Strands that two links use, and kept pairs that are not what they should be."""
    twice = [f"{name} by {' and '.join(ids)}" for name, ids in i.strands_twice]
    bad = [f"{id}: {why}" for id, sound, why in i.spares if not sound]
    out = []
    if i.ways or i.spares:
        out.append(
            judge(
                "fibre.strands-twice", i.site, float(len(twice)), limits.get("fibre.strands-twice"),
                note=_some(twice) or f"{sum(len(w.strands) > 0 for w in i.ways)} directions, each on strands of its own",
                remedy="give each link strands of its own",
            )
        )  # fmt: skip
    if i.spares:
        out.append(
            judge(
                "fibre.spares-unsound", i.site, float(len(bad)), limits.get("fibre.spares-unsound"),
                note=_some(bad) or f"{len(i.spares)} kept pairs: through, dark at both ends, capped outdoors",
                remedy="free, mend or cap them",
            )
        )  # fmt: skip
    return out


def _some(words: list[str]) -> str:
    return "; ".join(words[:3]) + (f"; and {len(words) - 3} more" if len(words) > 3 else "")


def _kept(i: Inputs, limits: Limits) -> list[Finding]:
    """Growth and standby against what is asked."""
    out = []
    if i.growth_asked:
        code = "fibre.growth-strands"
        asked = _asked(code, i.growth_asked, f"site {i.site}", "policy.growth_strands_count")
        out.append(
            judge(
                code, i.site, float(i.growth), limits.in_force(code, asked), note="dark strands for nobody yet, up to the box",
                remedy="a trunk with more strands",
            )
        )  # fmt: skip
    for n, (radio, kept, count) in enumerate(i.standby):
        code = "fibre.standby-links"
        asked = _asked(code, count, f"site {i.site}", f"fibre.standby_count of {radio}")
        out.append(
            judge(
                code, radio, float(kept), limits.in_force(code, asked), note="dark pairs kept for this radio alone",
                remedy="a trunk with more strands", items=(radio,), rank=n,
            )
        )  # fmt: skip
    return out


def _asked(code: str, value: int, document: str, clause: str) -> Limit:
    return Limit(
        code, float(value), "", Sense.AT_LEAST, Authority.OPERATOR, Source(document, clause, mark=Mark.DECLARED)
    )


def _loop(i: Inputs, limits: Limits, n: int) -> tuple[list[Finding], list[Figure]]:
    loop = i.loops[n]
    items = (loop.id, loop.cable)
    radius = Limit("fibre.loop-radius", loop.least_radius_mm, "mm", Sense.AT_LEAST, Authority.PART, loop.radius_source)
    turns = f"{loop.form}: {loop.stored_m:.2f} m"
    findings = [
        judge(
            "fibre.loop-radius", loop.id, 1000 * loop.radius_m, limits.in_force("fibre.loop-radius", radius), unit="mm",
            note=turns, remedy="fewer turns, wider laid", items=items, rank=n,
        )
    ]  # fmt: skip
    if not math.isnan(loop.surplus_m):
        rest = abs(loop.surplus_m - loop.stored_m)
        hold = Limit(
            "fibre.loop-rest", REST_M, "m", Sense.AT_MOST, Authority.PRACTICE,
            Source("common practice, no source", "what the bends at both ends take up", mark=Mark.PRACTICE),
        )  # fmt: skip
        findings.append(
            judge(
                "fibre.loop-rest", loop.id, rest, limits.in_force("fibre.loop-rest", hold), unit="m",
                note=f"{loop.surplus_m:.2f} ± {loop.surplus_off_m:.2f} m are left of {loop.cable}; {turns}",
                remedy="lay the loop anew for the length that is there", items=items, rank=n,
            )
        )  # fmt: skip
    losses = {wave: float(loop_bend_db((loop,), wave)[0]) for wave in (1310.0, 1550.0, 1625.0)}
    figures = []
    if not math.isnan(losses[1550.0]):
        figures.append(
            Figure(
                "fibre.loop-loss", loop.id, losses[1550.0], "dB",
                f"at most, at 1550 nm and below, by the limits of {loop.fibre_class}; {losses[1625.0]:.3g} dB at 1625 nm",
                bend_source(loop.fibre_class), "", items, n,
            )
        )  # fmt: skip
    life = bent(loop, i.life)
    figures.append(
        Figure(
            "fibre.loop-strain",
            loop.id,
            100 * life.strain,
            "%",
            "at the outside of a strand's bend",
            GEOMETRY,
            "",
            items,
            n,
        )
    )
    figures.append(
        Figure(
            "fibre.loop-break", loop.id, 1e6 * life.uniform, "ppm",
            f"{'next to nothing: ' if life.uniform < 1e-9 else ''}chance that any of {loop.strands} strands breaks in {i.life.years} years, by the safe side; "
            f"{1e6 * life.averaged:.2g} ppm averaged round the section. An estimate", LIFE, "", items, n,
        )
    )  # fmt: skip
    return findings, figures


def _lengths(i: Inputs) -> list[Figure]:
    """Least radii of the cables, and what is left of those without a loop."""
    out = []
    for n, (item, rest, source, pull, pulled) in enumerate(i.cables):
        note = f"{source}; {pull:g} mm under pull: {pulled}"
        out.append(Figure("fibre.bend-radius", item, rest, "mm", note, source, "", (item,), n))
    for n, loose in enumerate(i.loose):
        note = (
            f"left over and not laid in a loop; {loose.missing_m:.2f} m more would make one turn of {loose.least_radius_mm:g} mm"
            if loose.missing_m > 0
            else "left over and not laid in a loop"
        )
        out.append(
            Figure("fibre.loose-length", loose.cable, loose.surplus_m, "m", note, GEOMETRY, "", (loose.cable,), n)
        )
    return out


__all__ = ["cause", "find", "overload_remedy", "shorter_classes"]
