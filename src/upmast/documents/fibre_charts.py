"""Charts of the fibre: the power along one link from step to step, and the loss of a bend over its radius."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from upmast.documents.power_picture import (
    BELOW_PX,
    GOOD,
    INK,
    LIMIT,
    PALE,
    QUIET,
    WIDTH,
    Array,
    Axis,
    Layer,
    Row,
    curve,
    key,
    layer,
    picture,
    points,
    rows_apart,
    texts,
)  # fmt: skip
from upmast.documents.sheet import joined
from upmast.fibre.bend import bend_bound_db, bend_source
from upmast.fibre.bend_loss import LEAST_RADIUS_MM, bend_loss_db_per_m, bend_turns_db, elasto_optic_ratio, is_step_index
from upmast.fibre.budget import best_loss_db
from upmast.fibre.evaluate import loop_bend_db, of, strand_radius_mm
from upmast.fibre.state import Inputs, Loop, Way
from upmast.number import number
from upmast.proof.light import TYPICAL_CLAD_INDEX, TYPICAL_CORE_INDEX, TYPICAL_CORE_UM
from upmast.proof.prove import Proof
from upmast.table import read

ROW_STEP_PX = 19
LEAST_MM, MOST_MM = 4.0, 1000.0
LEAST_DB, LEAST_LIMIT_DB, MOST_DB = 1e-5, 1e-4, 20.0  # LEAST_LIMIT_DB: where only limits are drawn
BANDED_POINTS = 61
WORDS_PX = 130  # what the name of a loop takes
STEP_WORDS_PX, MARGIN_WORDS_PX = 70, 56  # what the words of a step and of a margin take
LONGEST_NM = 1625.0  # no limit is told beyond
STRESS_FREE, STRESSED = 2, 3  # dashes


# --- 1: the power along a link ----------------------------------------------------------------------------------------


def steps_of(inputs: Inputs, row: int) -> list[tuple[str, float]]:
    """What the light of one direction passes, in order, with the highest loss of each in dB; they sum up to its highest loss."""
    way = inputs.ways[row]
    bends = loop_bend_db(inputs.loops, way.sent_nm_wave) if inputs.loops else np.zeros(0)
    out: list[tuple[str, float]] = []
    left = way.loops  # each counts once, whatever the order
    for kind, k in way.order:
        if kind == "event":
            event = way.events[k]
            out.append((f"{event.a} > {event.b}", event.loss_db))
            continue
        glass = way.glass[k]
        out.append((f"{glass.item}, {glass.length_m:.1f} m", glass.attenuation_db_per_km * glass.length_m / 1000))
        out += [(f"bend of {inputs.loops[n].id}", float(bends[n])) for n in left if inputs.loops[n].cable == glass.item]
        left = tuple(n for n in left if inputs.loops[n].cable != glass.item)
    out += [(f"bend of {inputs.loops[n].id}", float(bends[n])) for n in left]
    if inputs.repair_db:
        out.append(("kept for repairs", inputs.repair_db))
    return out


def budget_spec(proof: Proof, link: str = "") -> dict[str, Any] | None:
    """
    Power along one direction of a link, from the least that is sent to what arrives at least, and the most that may arrive.

    `P_low = P_tx,min - sum(A_i)` in dBm, step by step, against the least that the receiver takes; `P_high = P_tx,max - A_min`,
    with the glass alone at its lowest, against the most that it takes.

    Parameters
    ----------
    proof: with the room `fibre`. link: its id; by default the link in service with the least margin to weak light.

    Returns
    -------
    A specification, or None where no light is right or its powers aren't known. The steps sum up to the highest loss.

    Source: own derivation, power budget in dB; values are those of `upmast.fibre.evaluate.of`.
    """
    room = proof.rooms.get("fibre")
    if room is None or not isinstance(room.inputs, Inputs):
        return None
    inputs, found = room.inputs, of(room.inputs)
    rows = [
        row for row, way in enumerate(inputs.ways)
        if way.right and (not link or inputs.links[row // 2] == link) and not math.isnan(found.low_db[row] + found.over_db[row])
    ]  # fmt: skip
    if not rows:
        return None
    row = min(rows, key=lambda r: float(found.low_db[r]))
    way = inputs.ways[row]
    low, over = float(found.low_db[row]), float(found.over_db[row])
    falls = steps_of(inputs, row)
    bars, ends = _falls(way, falls)
    strongest = way.tx_maximum_dbm - float(best_loss_db(1.0, sum(g.least_db_per_km * g.shortest_m for g in way.glass)))
    takes = [_end(f"receiver takes at {end}", dbm) for end, dbm in (("least", way.rx_minimum_dbm), ("most", way.rx_maximum_dbm))]  # fmt: skip
    upper = [_end("sent at most", way.tx_maximum_dbm), _end("arrives at most", strongest)]
    order = [str(r["row"]) for r in (ends[0], *bars, ends[1], takes[0], *upper, takes[1])]
    ends += upper
    values = [way.tx_minimum_dbm, way.tx_maximum_dbm, way.rx_minimum_dbm, way.rx_maximum_dbm, strongest]
    values += [float(str(r["to"])) for r in bars]
    width = max(values) - min(values)
    # words stand on the side away from the margin: at the left of what arrives where it is too weak
    x = Axis("x", "power, dBm", min(values) - (0.24 if low < 0 else 0.08) * width, max(values) + 0.12 * width, ticks=9)
    turned = {name for name, on in (("arrives at least", low < 0), ("arrives at most", over > 0)) if on}
    sides = [[r for r in ends if (r["row"] in turned) is side] for side in (False, True)]
    roomy = [x.place(float(str(r["to"]))) * WIDTH > STEP_WORDS_PX for r in bars]
    before, after = ([r for r, on in zip(bars, roomy, strict=True) if on is side] for side in (True, False))
    y: Layer = {
        "y": {
            "field": "row", "type": "nominal", "title": None, "sort": order, "axis": {"labelLimit": 250, "labelFontSize": 11},
            "scale": {"paddingInner": 0.35},
        }
    }  # fmt: skip
    margins: list[Row] = [
        _margin("arrives at least", way.tx_minimum_dbm - float(found.worst_db[row]), way.rx_minimum_dbm, low),
        _margin("arrives at most", strongest, way.rx_maximum_dbm, over),
    ]
    span: Layer = {"x2": {"field": "to"}}
    words = [r for r in margins if abs(float(str(r["margin"]))) / (x.high - x.low) * WIDTH > MARGIN_WORDS_PX]
    missing = "; ".join(dict.fromkeys(m for m in (way.low_missing, way.high_missing) if m))
    notes = [
        f"{proof.site.id}, {inputs.links[row // 2]}: {way.start.split('/')[0]} to {way.meant}, {way.sent_nm_wave:g} nm; "
        f"highest loss {number(float(found.worst_db[row]), 'dB')}, lowest {number(float(found.best_db[row]), 'dB')}",
        f"margin to weak light {number(low, 'dB', signed=True)}, to strong light {number(over, 'dB', signed=True)}: pale bars",
        "class values are limits of the standard: the data sheet of the module governs",
        *([f"from memory: {missing}"] if missing else []),
    ]  # fmt: skip
    return picture(
        "Power along the link with the least margin" if not link else f"Power along {link}", notes,
        height=ROW_STEP_PX * len(order),
        layer=[
            layer(margins, "bar", y, x.of("at"), span, color="#e4e8ed", stroke=PALE, strokeWidth=0.8, strokeDash=[3, 2]),
            layer(bars, "bar", y, x.of("from"), span, color=GOOD, stroke=INK, strokeWidth=0.6),
            layer(ends, "point", y, x.of("at"), shape="diamond", filled=True, size=70, color=INK, opacity=1),
            layer(takes, "tick", y, x.of("at"), color=LIMIT, thickness=3, height=ROW_STEP_PX - 3),
            *texts(before, y, x.of("to"), align="right", dx=-7),
            *texts(after, y, x.of("from"), align="left", dx=7),
            *texts(sides[0], y, x.of("at"), align="left", dx=9),
            *texts(sides[1], y, x.of("at"), align="right", dx=-9),
            *texts(words, y, x.of("middle"), align="center", color=QUIET),
            *texts(takes, y, x.of("at"), align="left", dx=7, color=LIMIT),
        ],
    )  # fmt: skip


def _falls(way: Way, falls: Sequence[tuple[str, float]]) -> tuple[list[Row], list[Row]]:
    """Bars from step to step, and both ends."""
    at = way.tx_minimum_dbm
    bars: list[Row] = []
    for n, (words, loss) in enumerate(falls, 1):
        bars.append(
            {"row": f"{n}  {words}", "from": round(at, 9), "to": round(at - loss, 9), "loss": loss, "text": f"{-loss:.3f} dB"}
        )  # fmt: skip
        at -= loss
    return bars, [_end("sent at least", way.tx_minimum_dbm), _end("arrives at least", at)]


def _end(words: str, dbm: float) -> Row:
    return {"row": words, "at": round(dbm, 9), "text": f"{dbm:.2f} dBm"}


def _margin(words: str, at: float, limit: float, margin: float) -> Row:
    """The bar between what arrives and what the receiver asks for."""
    middle, told = round((at + limit) / 2, 9), number(margin, "dB", signed=True)
    return {"row": words, "at": round(at, 9), "to": round(limit, 9), "middle": middle, "text": told, "margin": margin}


# --- 2: loss over radius ----------------------------------------------------------------------------------------------


def bend_spec(fibre_class: str, loops: Sequence[Loop] = (), wavelength_nm_wave: float = 1550.0) -> dict[str, Any]:
    """
    Loss of one turn over its radius: the limits of a class as steps, an estimate with its band where one holds, and loops.

    `A <= A_k / n_k` a turn, of the largest tabulated radius R_k not above R; the estimate is `2 pi R` times the dB/m of a bend.

    Parameters
    ----------
    fibre_class: one of `upmast.fibre.bend.bend_fibres()`. loops: marked where their strands lie, on the limit that bounds them.
    wavelength_nm_wave [nm]: of the estimate and the loops, up to 1625 nm; limits at 1550 and 1625 nm are drawn whatever it is.

    Returns
    -------
    A specification, in dB a turn over mm. Nothing stands below the smallest tabulated radius but the estimate.

    Raises
    ------
    ValueError
        If the class has no limits here, or none at the wavelength.

    Source: ITU-T G.652 and G.657, macrobending loss; D. Marcuse, J. Opt. Soc. Am. 66 (1976), 216.

    >>> bend_spec("G.657.A2")["title"]["text"]
    'Bending loss of G.657.A2'
    """
    source = bend_source(fibre_class)
    if not 0 < wavelength_nm_wave <= LONGEST_NM:
        raise ValueError(f"limits reach to {LONGEST_NM:g} nm: none bounds the loss at {wavelength_nm_wave:g} nm")
    limit_nm = 1550 if wavelength_nm_wave <= 1550 else 1625
    table, alone = _table(fibre_class)
    grid = np.unique(np.concatenate([np.geomspace(LEAST_MM, MOST_MM, 400), table]))
    bound = {wave: bend_bound_db(fibre_class, grid, 1.0, float(wave)).loss_db for wave in (1550, 1625)}
    least = float(grid[~np.isnan(bound[1550])][0])
    x = Axis("x", "radius of the strand's bend, mm", LEAST_MM, MOST_MM, log=True)
    floor = LEAST_DB if is_step_index(fibre_class) else LEAST_LIMIT_DB
    y = Axis("y", "loss of one turn, dB", floor, MOST_DB, log=True)
    place = (x.of("mm"), y.of("db"))
    steps: dict[int, list[Row]] = {
        wave: [
            {"mm": round(float(r), 4), "db": float(b)}
            for r, b in zip(grid, bound[wave], strict=True)
            if not np.isnan(b)
        ]
        for wave in bound
    }
    same = bool(np.allclose(bound[1550], bound[1625], equal_nan=True))
    told_by = "limit at 1625 nm, which bounds 1550 nm" if alone else "limit at 1550 and 1625 nm"
    lines: list[tuple[str, int, str]] = [(told_by if same else "limit at 1550 nm", 0, INK)]
    drawn = [curve(steps[1550], *place, 0, INK, 2.2, interpolate="step-after")]
    if not same:
        drawn.append(curve(steps[1625], *place, 1, LIMIT, 2.2, interpolate="step-after"))
        lines.append(("limit at 1625 nm", 1, LIMIT))
    at_rows: list[Row] = [r for wave in bound for r in steps[wave] if r["mm"] in table]
    band, marks, told = _estimate(fibre_class, x, y, wavelength_nm_wave)
    lines += told
    held = sorted(_held(fibre_class, loops, wavelength_nm_wave), key=lambda r: float(str(r["mm"])))
    refused: list[Row] = [{"mm": LEAST_MM, "to": least, "db": MOST_DB, "low": floor}]
    shade = layer(
        refused, "rect", x.of("mm"), {"x2": {"field": "to"}}, y.of("db"), {"y2": {"field": "low"}}, color="#e4e8ed", opacity=0.9
    )  # fmt: skip
    edge = LEAST_RADIUS_MM if band else least  # words stand before the estimate begins
    middle = {"mm": math.sqrt(LEAST_MM * edge), "db": math.sqrt(floor * MOST_DB)}
    height = 300
    shapes = [("rows of the table, for one turn", "circle", "white")]
    shapes += [("slack loops of this line, at the limit that bounds them", "diamond", GOOD)] if held else []
    mark = "" if str(source.mark) in str(source) else f", {source.mark}"
    notes = [f"{source}{mark}", "between two rows of the table the limit of the smaller radius counts"]
    notes += ["there is no limit at 1550 nm: the one at 1625 nm counts, as loss grows with wavelength"] if alone else []
    if wavelength_nm_wave != 1550 and not alone:
        notes.append(f"asked for {wavelength_nm_wave:g} nm: the limit at {limit_nm} nm counts")
    off = [one.id for one in loops if not _held(fibre_class, [one], wavelength_nm_wave)]
    notes += [f"loops without a limit or beyond the picture: {joined(off, 3)}"] if off else []
    if is_step_index(fibre_class):
        notes += [
            "formula: Marcuse's, for a typical step of 0.36 % and a core of 4.1 µm radius (from memory),",
            f"at {wavelength_nm_wave:g} nm, with its band of error; an estimate, never a limit",
        ]
    else:
        notes.append("no formula holds for this class, whose cladding may have a trench: limits only")
    rows = rows_apart([float(str(r["mm"])) for r in held], x, WORDS_PX)
    side = -1 if limit_nm == 1625 and not same else 1  # away from the other limit
    named = [t for r, k in zip(held, rows, strict=True) for t in texts([r], *place, align="center", dy=side * (15 + 14 * k))]  # fmt: skip
    narrow = edge / LEAST_MM < 1.3
    return picture(
        f"Bending loss of {fibre_class}", notes, height=height,
        layer=[
            shade, *band, *drawn, *marks,
            *texts([{**middle, "text": "below the table: refused"}], *place, align="center", angle=270, color=QUIET, fontSize=9 if narrow else 11),
            points(at_rows, *place, "circle"),
            points(held, *place, "diamond", GOOD, 90),
            *named,
            *key(lines, shapes, height + BELOW_PX),
        ],
    )  # fmt: skip


def _held(fibre_class: str, loops: Sequence[Loop], wavelength_nm_wave: float) -> list[Row]:
    """Loops where their strands lie on the limit; those of one radius are one point."""
    ids: dict[float, list[str]] = {}
    for one in loops:
        ids.setdefault(round(strand_radius_mm(one), 1), []).append(one.id)
    out: list[Row] = []
    for radius, names in ids.items():
        loss = float(bend_bound_db(fibre_class, radius, 1.0, wavelength_nm_wave).loss_db)
        if LEAST_MM <= radius <= MOST_MM and not math.isnan(loss):
            out.append({"mm": radius, "db": loss, "text": joined(names, 1)})
    return out


def _table(fibre_class: str) -> tuple[Array, bool]:
    """Tabulated radii of a class, and whether its limits stand at 1625 nm alone."""
    rows = [row for row in read("upmast.fibre", "macrobend").rows if row["fibre"] == fibre_class]
    return np.array([float(row["radius_mm"]) for row in rows]), not any(row["most_db_1550"] for row in rows)


def _estimate(
    fibre_class: str, x: Axis, y: Axis, wave_nm: float
) -> tuple[list[Layer], list[Layer], list[tuple[str, int, str]]]:
    """Bands and lines of the formula, without and with the stress in the bent glass."""
    if not is_step_index(fibre_class):
        return [], [], []
    radius = np.geomspace(5.0, 60.0, BANDED_POINTS)
    bands: list[Layer] = []
    lines: list[Layer] = []
    for ratio, dash, colour in (
        (1.0, STRESS_FREE, PALE),
        (float(elasto_optic_ratio(TYPICAL_CLAD_INDEX)), STRESSED, GOOD),
    ):
        made = bend_loss_db_per_m(TYPICAL_CORE_UM, TYPICAL_CORE_INDEX, TYPICAL_CLAD_INDEX, wave_nm, radius, ratio)
        turn = bend_turns_db(made, radius, 1.0)
        rows: list[Row] = [
            {"mm": round(float(r), 4), "db": float(min(high, MOST_DB)), "low": float(max(low, LEAST_DB))}
            for r, low, high in zip(radius, turn.low, turn.high, strict=True)
            if high > LEAST_DB and low < MOST_DB
        ]
        bands.append(layer(rows, "area", x.of("mm"), y.of("db"), {"y2": {"field": "low"}}, color=colour, opacity=0.35))
        inside = [r for r in rows if float(str(r["db"])) < MOST_DB]
        lines.append(curve(inside, x.of("mm"), y.of("db"), dash, colour, 1.6))
    told = [("formula, glass without stress", STRESS_FREE, PALE), ("formula, stress counted", STRESSED, GOOD)]
    return bands, lines, told


__all__ = ["bend_spec", "budget_spec", "steps_of"]
