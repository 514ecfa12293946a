"""A drawing as data: shapes with the item they stand for, a layer, a style class and a title. No trade words, no file format."""

from __future__ import annotations

from dataclasses import dataclass, field

# mean width of a character as a share of the font size: on the safe side for the sans fonts that we name
CHARACTER = 0.56
BOLD_CHARACTER = 0.60
LINE_HEIGHT = 1.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """What every shape has. `paint` is a colour of its own, where it isn't the style's."""

    item: str = ""
    layer: str = "main"
    style: str = ""
    title: str = ""
    paint: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke(Shape):
    """A line through two points or more."""

    points: tuple[tuple[float, float], ...]
    width: float = 1.0
    dash: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rect(Shape):
    x: float
    y: float
    w: float
    h: float
    round: float = 0.0
    edge: str = ""
    edge_width: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle(Shape):
    x: float
    y: float
    r: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Symbol(Shape):
    """A mark: diamond, open-diamond, earth, coil, dot."""

    name: str
    x: float
    y: float
    size: float = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Shape):
    """Text with its baseline at (x, y). `turn` is 0, or -90 for text that reads upwards."""

    x: float
    y: float
    text: str
    size: float = 10.0
    anchor: str = "start"
    bold: bool = False
    turn: int = 0

    @property
    def width(self) -> float:
        return len(self.text) * self.size * (BOLD_CHARACTER if self.bold else CHARACTER)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom that the text is expected to take."""
        w, up, down = self.width, 0.78 * self.size, 0.22 * self.size
        before = {"start": 0.0, "middle": w / 2, "end": w}[self.anchor]
        if self.turn:
            return (self.x - up, self.y - (w - before), self.x + down, self.y + before)
        return (self.x - before, self.y - up, self.x - before + w, self.y + down)


AnyShape = Stroke | Rect | Circle | Symbol | Text


@dataclass(frozen=True)
class Scene:
    """A drawing of a given size, in drawing units, y downwards."""

    width: float
    height: float
    title: str
    description: str
    shapes: tuple[AnyShape, ...]
    layers: tuple[str, ...] = field(default=())

    @property
    def texts(self) -> tuple[Text, ...]:
        return tuple(shape for shape in self.shapes if isinstance(shape, Text))


def fitted(text: str, width: float, size: float, bold: bool = False) -> str:
    """Text cut with an ellipsis so that it fits a width."""
    each = size * (BOLD_CHARACTER if bold else CHARACTER)
    most = max(1, int(width / each))
    return text if len(text) <= most else text[: max(0, most - 1)].rstrip() + "…"


def wrapped(text: str, width: float, size: float, bold: bool = False, most: int = 2) -> list[str]:
    """Text in lines that fit a width, broken between words, at most so many; the last is cut if need be."""
    each = size * (BOLD_CHARACTER if bold else CHARACTER)
    room = max(1, int(width / each))
    lines: list[str] = []
    rest = text
    while len(rest) > room and len(lines) < most - 1:
        cut = rest.rfind(" ", 0, room + 1)
        if cut <= 0:
            break
        lines.append(rest[:cut])
        rest = rest[cut + 1 :]
    return [*lines, fitted(rest, width, size, bold)]
