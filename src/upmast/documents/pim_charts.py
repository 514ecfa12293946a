"""Charts of intermodulation: spectrum with carriers and uplinks, ladder from the sources to the receiver, which carriers meet."""

from __future__ import annotations

from typing import Any

import numpy as np

from upmast.documents.power_picture import (
    BELOW_PX,
    GOOD,
    INK,
    LIMIT,
    PALE,
    Axis,
    Layer,
    Row,
    coloured,
    curve,
    key,
    layer,
    level,
    picture,
    texts,
)  # fmt: skip
from upmast.pim.level import noise_floor_dbm, specified_dbm
from upmast.pim.listed import MOST_LISTED, listed_dbm
from upmast.pim.mixing import NOISE_FIGURE_DB
from upmast.pim.products import product_count
from upmast.pim.spectrum import RASTER_HZ, intermod_spectrum
from upmast.proof.mixes import Meeting, Mix

ORDERS = (3, 5, 7)
ROOM_HZ = 60e6
MOST_POINTS = 900
LOWEST_DBM = 60.0  # so far below the noise the picture goes
ROW_PX = 24
CELL_PX = 26


def spectrum_spec(mix: Mix, level_dbc: float) -> dict[str, Any] | None:
    """
    Density of the products by order over frequency, with the carriers above and the receive channel that suffers; None without a hit.

    Parameters
    ----------
    mix: of `upmast.proof.mixes`. level_dbc [dBc]: of its line.
    """
    ladder = mix.ladder
    if ladder is None or not mix.tones:
        return None
    channel = ladder.channel
    edges = [t.centre_hz - t.width_hz / 2 for t in mix.tones] + [t.centre_hz + t.width_hz / 2 for t in mix.tones]
    low = max(min(*edges, channel.low_hz) - ROOM_HZ, 0.0)
    high = max(*edges, channel.high_hz) + ROOM_HZ
    spec = [float(specified_dbm(n, 43.0 + level_dbc)) for n in ORDERS]
    carriers = ([t.centre_hz for t in mix.tones], [t.width_hz for t in mix.tones], list(mix.powers_dbm))
    drawn = [n for n in ORDERS if n == ORDERS[0] or product_count(len(mix.tones), n) <= MOST_LISTED]
    third = intermod_spectrum(*carriers, spec[0], ORDERS[:1], up_to_hz=high)
    f = np.arange(int(high) // RASTER_HZ + 1, dtype=np.int64) * RASTER_HZ
    whole = np.full(f.size, -np.inf)
    whole[: third.frequency_hz.size] = third.cell_dbm[0][: f.size]
    found = [whole, *(listed_dbm(f, *carriers, spec[ORDERS.index(n)], n) for n in drawn[1:])]
    inside = np.flatnonzero((f >= low) & (f <= high))
    step = max(1, inside.size // MOST_POINTS)
    noise = float(noise_floor_dbm(float(RASTER_HZ), NOISE_FIGURE_DB))
    bottom = noise - LOWEST_DBM
    height = 280
    rows: list[list[Row]] = []
    top = noise + 5
    for db in found:
        run: list[Row] = []
        for first in range(0, inside.size, step):
            some = inside[first : first + step]
            value = float(np.max(db[some]))
            run.append({"mhz": round(float(f[some[len(some) // 2]]) / 1e6, 4), "db": round(max(value, bottom), 3)})
            top = max(top, value)
        rows.append(run)
    x = Axis("x", "frequency, MHz", low / 1e6, high / 1e6, ticks=8)
    y = Axis("y", f"level in {RASTER_HZ / 1e3:g} kHz, dBm", bottom, top + 22, ticks=8)
    along = x.of("mhz")
    along["x"]["axis"]["format"] = "d"
    place = (along, y.of("db"))
    styles = {3: (0, INK), 5: (1, GOOD), 7: (2, PALE)}
    shades: list[Row] = [{"mhz": channel.low_hz / 1e6, "to": channel.high_hz / 1e6, "db": y.high, "low": y.low}]
    sent: list[Row] = [
        {
            "mhz": (t.centre_hz - t.width_hz / 2) / 1e6,
            "to": (t.centre_hz + t.width_hz / 2) / 1e6,
            "db": y.high,
            "low": top + 12,
        }
        for t in mix.tones
    ]
    box = ({"x2": {"field": "to"}}, y.of("db"), {"y2": {"field": "low"}})
    words: list[Row] = [
        {"mhz": t.centre_hz / 1e6, "db": top + 8, "text": f"{t.centre_hz / 1e6:g}, {p:.1f} dBm"}
        for t, p in zip(mix.tones, mix.powers_dbm, strict=True)
    ]
    words += [{"mhz": (channel.low_hz + channel.high_hz) / 2e6, "db": top + 8, "text": f"receives, {channel.band}"}]
    return picture(
        f"What the carriers of {mix.radio} make in its line",
        [
            f"all sources together {level_dbc:.1f} dBc; line loss left out; noise-like carriers; red: the receive channel",
            *(() if len(drawn) == len(ORDERS) else (f"orders above {drawn[-1]} left out: too many products to draw",)),
            "orders 5 and 7 rest on 15 dB less for every two orders and a slope of n, by theory: real joints rise more slowly",
        ],
        height=height,
        layer=[
            layer(shades, "rect", along, *box, color="#f3d9d4", opacity=1),
            layer(sent, "rect", along, *box, color=INK, opacity=1),
            *(curve(run, *place, *styles[n], 1.8) for n, run in zip(drawn, rows, strict=True)),
            *level(noise, f"noise of the receiver, {NOISE_FIGURE_DB:g} dB", y, LIMIT, right=False),
            *texts(words, along, y.of("db"), align="center", fontSize=10),
            *key([(f"order {n}", *styles[n]) for n in drawn], [], height + BELOW_PX),
        ],
    )  # fmt: skip


def ladder_spec(mix: Mix) -> dict[str, Any] | None:
    """What arrives at the receiver from each source of the line, by power together, at worst, and the noise; None without a hit."""
    ladder = mix.ladder
    if ladder is None:
        return None
    rows: list[Row] = []
    low = min(min(r.arrives_dbm for r in ladder.rungs), ladder.noise_dbm) - 6
    high = max(ladder.voltage_dbm, ladder.noise_dbm) + 4
    for r in ladder.rungs:
        rows.append(
            {
                "row": f"{r.source.what} {r.source.name}",
                "from": low,
                "to": r.arrives_dbm,
                "colour": PALE,
                "text": f"{r.arrives_dbm:.1f} dBm",
            }
        )
    rows.append(
        {
            "row": "together by power",
            "from": low,
            "to": ladder.power_dbm,
            "colour": GOOD,
            "text": f"{ladder.power_dbm:.1f} dBm",
        }
    )
    rows.append(
        {
            "row": "at worst by voltage",
            "from": low,
            "to": ladder.voltage_dbm,
            "colour": GOOD,
            "text": f"{ladder.voltage_dbm:.1f} dBm",
        }
    )
    rows.append(
        {
            "row": "noise of the receiver",
            "from": low,
            "to": ladder.noise_dbm,
            "colour": INK,
            "text": f"{ladder.noise_dbm:.1f} dBm",
        }
    )
    x = Axis(
        "x",
        f"level in the channel, dBm ({ladder.channel.low_hz / 1e6:g} to {ladder.channel.high_hz / 1e6:g} MHz)",
        low,
        high + 0.22 * (high - low),
        ticks=8,
    )
    y: Layer = {
        "y": {
            "field": "row", "type": "nominal", "title": None, "sort": [r["row"] for r in rows], "scale": {"paddingInner": 0.3},
            "axis": {"labelLimit": 260},
        }
    }  # fmt: skip
    return picture(
        f"From the sources to the receiver of {mix.radio}",
        [
            f"{ladder.path}: every product in the channel, line loss counted; the noise rises by {ladder.rise_db:.2f} dB, "
            f"{ladder.worst_rise_db:.2f} dB at worst; the finding leaves line loss out",
            ladder.limit_words,
        ],
        height=ROW_PX * len(rows),
        layer=[
            layer(rows, "bar", y, x.of("from"), {"x2": {"field": "to"}}, coloured(), stroke=INK, strokeWidth=0.5),
            *texts(rows, y, x.of("to"), align="left", dx=6),
        ],
    )  # fmt: skip


def meeting_spec(meeting: Meeting) -> dict[str, Any] | None:
    """Carrier against carrier: the lowest order of a product with both that hits the sector's uplinks; None where none does."""
    if not meeting.total:
        return None
    tones = dict(zip(meeting.orders, ("#3c3f47", "#8f98a8", "#d5dae2"), strict=False))
    cells: list[Row] = []
    for a, one in enumerate(meeting.names):
        for b, other in enumerate(meeting.names):
            if b > a:
                continue
            order, count = meeting.lowest[a][b], meeting.products[a][b]
            cells.append(
                {
                    "row": one, "column": other, "colour": tones.get(order, "#f6f7f9"), "text": f"{order}: {count}" if count else "",
                    "ink": "white" if order == meeting.orders[0] else INK,
                }
            )  # fmt: skip
    names = list(meeting.names)
    x: Layer = {
        "x": {
            "field": "column",
            "type": "nominal",
            "title": None,
            "sort": names,
            "axis": {"labelAngle": -60, "labelLimit": 200},
        }
    }
    y: Layer = {"y": {"field": "row", "type": "nominal", "title": None, "sort": names, "axis": {"labelLimit": 200}}}
    ink: Layer = {"color": {"field": "ink", "type": "nominal", "scale": None}}
    words: Layer = {"text": {"field": "text", "type": "nominal"}}
    return picture(
        f"Which carriers meet in the uplinks of sector {meeting.sector}",
        [
            "lowest order at which a product with both carriers hits a receive channel of the sector, and how many of that order: made at metal that all of them "
            f"light; orders {', '.join(map(str, meeting.orders))} looked at",
            "on the diagonal: products of one carrier alone; centres in MHz" + "".join(f"; {one}" for one in meeting.others[:3]),
        ],
        height=CELL_PX * len(names),
        layer=[
            layer(cells, "rect", x, y, coloured(), stroke="white", strokeWidth=1),
            layer(cells, "text", x, y, ink, words, fontSize=10),
        ],
    )  # fmt: skip


__all__ = ["ladder_spec", "meeting_spec", "spectrum_spec"]
