"""Gathers the shapes of a drawing; knows of no trade words."""

from __future__ import annotations

from upmast.documents.scene import AnyShape, Circle, Rect, Stroke, Symbol, Text, fitted


class Pen:
    """Adds shapes in order; `item`, `layer` and `title` of the current thing go on each of them."""

    def __init__(self) -> None:
        self.shapes: list[AnyShape] = []
        self.item = self.title = ""
        self.layer = "main"

    def of(self, item: str = "", title: str = "", layer: str = "main") -> Pen:
        self.item, self.title, self.layer = item, title, layer
        return self

    def _about(self) -> dict[str, str]:
        return {"item": self.item, "layer": self.layer, "title": self.title}

    def line(
        self, *points: tuple[float, float], style: str = "thin", width: float = 1.0, paint: str = "", dash: str = ""
    ) -> None:
        self.shapes.append(Stroke(points=points, style=style, width=width, paint=paint, dash=dash, **self._about()))

    def cable(self, *points: tuple[float, float], paint: str, width: float = 3.0, dash: str = "") -> None:
        """A coloured line on a dark casing, so that light colours stand out on white."""
        self.line(*points, style="casing", width=width + 1.6, paint="#16202b")
        self.line(*points, style="core", width=width, paint=paint)
        if dash:
            self.line(*points, style="core", width=max(1.0, width - 1.6), paint="#ffffff", dash=dash)

    def rect(
        self, x: float, y: float, w: float, h: float, style: str = "", paint: str = "", edge: str = "", edge_width: float = 1.0,
        round: float = 0.0,
    ) -> None:  # fmt: skip
        about = self._about()
        self.shapes.append(
            Rect(x=x, y=y, w=w, h=h, style=style, paint=paint, edge=edge, edge_width=edge_width, round=round, **about)
        )

    def circle(self, x: float, y: float, r: float, style: str = "", paint: str = "") -> None:
        self.shapes.append(Circle(x=x, y=y, r=r, style=style, paint=paint, **self._about()))

    def symbol(self, name: str, x: float, y: float, size: float = 6.0) -> None:
        self.shapes.append(Symbol(name=name, x=x, y=y, size=size, **self._about()))

    def text(
        self, x: float, y: float, text: str, size: float = 10.0, *, anchor: str = "start", bold: bool = False, turn: int = 0,
        style: str = "", width: float = 0.0, paint: str = "",
    ) -> None:  # fmt: skip
        """Text, cut to `width` if one is given. Nothing is added for empty text."""
        text = fitted(text, width, size, bold) if width else text
        if text:
            about = self._about()
            self.shapes.append(
                Text(
                    x=x,
                    y=y,
                    text=text,
                    size=size,
                    anchor=anchor,
                    bold=bold,
                    turn=turn,
                    style=style,
                    paint=paint,
                    **about,
                )
            )
