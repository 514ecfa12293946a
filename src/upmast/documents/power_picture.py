"""What the charts of the DC power share: axes with units, layers, upright rules with words, dashes and shapes with legends."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from upmast.documents.chart import chart_frame
from upmast.documents.sheet import joined
from upmast.documents.to_svg import FONTS
from upmast.power.seen import Seen
from upmast.power.state import Inputs, evaluate, hung
from upmast.proof.prove import Proof

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Row = dict[str, object]
Layer = dict[str, Any]
INK, QUIET, PALE, LIMIT, GOOD, BAD = "#16202b", "#4a5560", "#8a94a0", "#7a1f12", "#1c5294", "#943418"
DASHES: tuple[tuple[int, ...], ...] = ((1, 0), (8, 3), (2, 2), (9, 3, 2, 3), (5, 5), (14, 4))
ALIKE_V = 0.05  # radios whose voltages differ by less are drawn as one line
WIDTH, NARROW_PX = 440, 400  # NARROW_PX: of what has words beside it
ROW_PX, KEY_PX, BELOW_PX = 14, 17, 52  # BELOW_PX: from the lower edge to what stands below the title of the axis


WRAP_AT = 100  # letters of small print in a row, in a wide font


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of a picture: its channel, title with unit, and range."""

    channel: str
    title: str
    low: float
    high: float
    log: bool = False
    ticks: int = 8
    most: float = math.inf  # no tick above

    def of(self, field: str) -> Layer:
        """The encoding of a field on it."""
        scale: Layer = {"domain": [self.low, self.high], "nice": False, "zero": False}
        shown: Layer = {"tickCount": self.ticks, "gridColor": "#e4e8ed"}
        if self.log:
            scale = {"type": "log", "domain": [self.low, self.high], "nice": False}
            shown |= {"format": "~g", "values": self.steps(), "tickCount": 60}  # few ticks would blank labels
        elif math.isfinite(self.most):
            step = nice_step((self.high - self.low) / self.ticks)
            shown["values"] = [
                round(n * step, 9) for n in range(math.ceil(self.low / step), math.floor(self.most / step) + 1)
            ]
        return {self.channel: {"field": field, "type": "quantitative", "title": self.title, "scale": scale, "axis": shown}}  # fmt: skip

    def steps(self) -> list[float]:
        """Ticks of a logarithmic axis: 1, 2, 5 in each decade, or decades only where there are many."""
        low, high = math.floor(math.log10(self.low)), math.ceil(math.log10(self.high))
        each = (1, 2, 5) if high - low <= 5 else (1,)
        every = [n * 10.0**d for d in range(low, high + 1) for n in each]
        return [v for v in every if self.low * (1 - 1e-9) <= v <= min(self.high, self.most) * (1 + 1e-9)]

    def place(self, value: float) -> float:
        """Where a value stands, 0 to 1."""
        low, high, at = (np.log(v) if self.log else v for v in (self.low, self.high, value))
        return float((at - low) / (high - low))


def nice_step(least: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(n * power for n in (1, 2, 5, 10) if n * power >= least * (1 - 1e-9))


def picture(title: str, notes: Sequence[str], **rest: object) -> dict[str, Any]:
    """The frame of all charts, with lines of small print under the title."""
    spec = chart_frame(title, [], **rest)
    spec["config"]["font"] = FONTS.replace("'", "")  # a page without our font takes a like one
    lines = [line for note in notes for line in textwrap.wrap(note, WRAP_AT)]
    small = {"subtitle": lines, "subtitleFontSize": 11, "subtitleColor": QUIET, "offset": 10, "frame": "group"}
    spec["title"] = {**spec["title"], **small}
    if "layer" not in rest:  # each view of several has a width of its own
        del spec["width"]
    return spec


def layer(values: Sequence[Row], mark: str, *encodings: Layer, **style: object) -> Layer:
    """One layer with data of its own."""
    encoding: Layer = {}
    for one in encodings:
        encoding |= one
    return {"data": {"values": list(values)}, "mark": {"type": mark, **style}, "encoding": encoding}


def texts(values: Sequence[Row], *encodings: Layer, **style: object) -> list[Layer]:
    """Texts of the field `text` with a white rim, so that lines behind them don't hurt."""
    base: dict[str, object] = {"fontSize": 11, "color": INK, "align": "left", "baseline": "middle", **style}
    rim = {**base, "stroke": "white", "strokeWidth": 4, "color": "white", "strokeJoin": "round"}
    words: Layer = {"text": {"field": "text", "type": "nominal"}}
    return [layer(values, "text", *encodings, words, **one) for one in (rim, base)]


def uprights(marks: Sequence[tuple[float, str, str]], x: Axis) -> list[Layer]:
    """Upright rules (value, words, colour), each with its words in a row of its own at the top, on the side with more room."""
    rules: list[Layer] = []
    words_: list[Layer] = []
    for n, (at, words, colour) in enumerate(sorted(m for m in marks if x.low <= m[0] <= x.high)):
        row: list[Row] = [{"at": round(at, 6), "text": words}]
        left = x.place(at) > 0.5
        height: Layer = {"y": {"value": 8 + ROW_PX * n}}
        rules.append(layer(row, "rule", x.of("at"), color=colour, strokeWidth=1.2, strokeDash=[5, 3]))
        words_ += texts(row, x.of("at"), height, align="right" if left else "left", dx=-5 if left else 5, color=colour)
    return [*rules, *words_]


def rows_apart(values: Sequence[float], x: Axis, px: float) -> list[int]:
    """A row for each word of a width on an axis, so that none stands on another: the first row that is free there."""
    ends: list[float] = []
    out: list[int] = []
    for value in values:
        at = x.place(value) * WIDTH
        row = next((n for n, end in enumerate(ends) if at - end >= px), len(ends))
        ends[row : row + 1] = [at]
        out.append(row)
    return out


def level(at: float, words: str, y: Axis, colour: str = LIMIT, right: bool = True) -> list[Layer]:
    """A rule across at one value, with its words on it at one end."""
    row: list[Row] = [{"at": round(at, 6), "text": words}]
    side: Layer = {"x": {"value": WIDTH - 4 if right else 4}}
    return [
        layer(row, "rule", y.of("at"), color=colour, strokeWidth=1.4),
        *texts(row, y.of("at"), side, align="right" if right else "left", dy=-8, color=colour),
    ]


def headroom(low: float, high: float, rows: int, height: int) -> float:
    """The top of a range that leaves room for rows of words above `high`."""
    share = (ROW_PX * rows + 6) / height
    return high + (high - low) * share / (1 - share)


def fitted(low: float, high: float, share: float = 0.03) -> tuple[float, float]:
    """A range a little wider."""
    more = share * max(high - low, 1e-6)
    return low - more, high + more


def curve(
    values: Sequence[Row], x: Layer, y: Layer, dash: int, colour: str, width: float = 2.0, **style: object
) -> Layer:
    """One line through the rows, in one of the dashes."""
    return layer(values, "line", x, y, color=colour, strokeWidth=width, strokeDash=list(DASHES[dash]), **style)


def points(values: Sequence[Row], x: Layer, y: Layer, shape: str, colour: str = "white", size: int = 55) -> Layer:
    """Points with a dark rim, in one shape."""
    style: Layer = {"filled": True, "stroke": INK, "strokeWidth": 1.2, "opacity": 1}
    return layer(values, "point", x, y, shape=shape, size=size, color=colour, **style)


def key(
    lines: Sequence[tuple[str, int, str]], shapes: Sequence[tuple[str, str] | tuple[str, str, str]], top: float
) -> list[Layer]:
    """
    What dashes (words, dash, colour) and shapes (words, shape, colour) stand for.

    In rows from `top` px below the upper edge on; a legend of its own, because two below each other don't keep to the width.
    """
    out: list[Layer] = []

    def entries(all_: Sequence[tuple[str, Callable[[float, float], Layer]]], mark_px: float) -> None:
        nonlocal top
        left = 0.0
        for words, drawn in all_:
            width = mark_px + 5.6 * len(words) + 14
            if left > 0 and left + width > WIDTH + 30:
                left, top = 0.0, top + KEY_PX
            at: Layer = {
                "x": {"value": left + mark_px},
                "y": {"value": top},
                "text": {"field": "text", "type": "nominal"},
            }
            out.append(drawn(left, top))
            out.append(layer([{"text": words}], "text", at, align="left", baseline="middle", fontSize=11, color=INK))
            left += width
        top += KEY_PX if all_ else 0

    def stroke(dash: int, colour: str) -> Callable[[float, float], Layer]:
        style: Layer = {"color": colour, "strokeDash": list(DASHES[dash]), "strokeWidth": 2}
        return lambda x, y: layer(
            [{}], "rule", {"x": {"value": x}, "x2": {"value": x + 28}, "y": {"value": y}}, **style
        )

    def symbol(shape: str, colour: str = "white") -> Callable[[float, float], Layer]:
        return lambda x, y: points([{}], {"x": {"value": x + 5}}, {"y": {"value": y}}, shape, colour)

    entries([(words, stroke(dash, colour)) for words, dash, colour in lines], 34)
    entries([(words, symbol(*how)) for words, *how in shapes], 16)
    return out


def shapes_shown(shapes: Sequence[tuple[str, str]], values: Sequence[Sequence[Row]]) -> list[tuple[str, str]]:
    """Those shapes of which there are points."""
    return [shape for shape, rows in zip(shapes, values, strict=True) if rows]


def dark(colour: str) -> bool:
    """A colour on which white reads better than black."""
    red, green, blue = (int(colour[n : n + 2], 16) for n in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue < 140


def coloured() -> Layer:
    """The colour that stands in each row."""
    return {"color": {"field": "colour", "type": "nominal", "scale": None}}


# --- what is drawn ----------------------------------------------------------------------------------------------------


def seen_of(proof: Proof) -> Seen | None:
    """The power room of a proof as its findings see it; None where it was not proven, or feeds nothing."""
    room = proof.rooms.get("power")
    if room is None or not isinstance(room.inputs, Inputs) or not hung(room.inputs).any():
        return None
    return Seen(room.inputs, proof.limits, evaluate(room.inputs))


def margins_v(inputs: Inputs, volts: Array) -> Array:
    """Voltages above the lowest for full service [..., m]; infinite for radios that aren't connected."""
    return np.asarray(np.where(hung(inputs), volts - inputs.minimum_v, np.inf))


def worst_radio(seen: Seen) -> int:
    """The radio of the least margin at the lowest voltage; without operating point, that of the largest drop of its own current."""
    i = seen.i
    if seen.flow.exists[seen.low]:
        return int(np.argmin(margins_v(i, seen.flow.port_v[seen.low])))
    own = np.diagonal(seen.seen_low.z_ohm)
    return int(np.argmax(np.where(hung(i), own * i.maximum_w / np.maximum(i.minimum_v, 1.0), -1.0)))


@dataclass(frozen=True, slots=True)
class Group:
    """Radios that behave alike: one line of a picture. `passes`: all have their lowest voltage where it is looked at."""

    label: str
    radios: tuple[int, ...]
    passes: bool

    @property
    def colour(self) -> str:
        return GOOD if self.passes else BAD


def groups_of(inputs: Inputs, volts: Array, at: int) -> tuple[list[Group], int]:
    """
    Radios of equal limits whose voltages [p, m] are alike in every row; those of the least margin in row `at` first.

    As many as there are dashes, and how many groups are left out.
    """
    margin = margins_v(inputs, np.nan_to_num(volts[at], nan=-1e9))
    sets: list[list[int]] = []
    for k in np.argsort(margin, kind="stable").tolist():
        if np.isinf(margin[k]):
            continue
        for mine in sets:
            equal = (
                inputs.minimum_v[k] == inputs.minimum_v[mine[0]] and inputs.cut_out_v[k] == inputs.cut_out_v[mine[0]]
            )
            apart = np.abs(volts[:, k] - volts[:, mine[0]])
            if (
                equal
                and not np.any(apart > ALIKE_V)
                and bool(np.all(np.isnan(volts[:, k]) == np.isnan(volts[:, mine[0]])))
            ):
                mine.append(k)
                break
        else:
            sets.append([k])
    found = [
        Group(joined([inputs.radios[k] for k in sorted(mine)], 4), tuple(sorted(mine)), bool(margin[mine].min() >= 0))
        for mine in sets
    ]
    return found[: len(DASHES)], max(len(found) - len(DASHES), 0)


def edge_of(exists: Callable[[Array], Mask], good: float, bad: float, rounds: int = 4) -> float:
    """The last value from `good` towards `bad` that has an operating point: sixteen steps at once, several times."""
    for _ in range(rounds):
        between = np.linspace(good, bad, 17)
        holds = exists(between)
        if holds.all():
            return bad
        first = max(int(np.argmin(holds)), 1)
        good, bad = float(between[first - 1]), float(between[first])
    return good
