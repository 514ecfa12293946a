"""Write a scene as SVG with real text, an id on every item, titles, and style by class."""

from __future__ import annotations

import xml.etree.ElementTree as ET

from upmast.documents.scene import AnyShape, Circle, Rect, Scene, Stroke, Symbol, Text

FONTS = "'Source Sans Pro','Liberation Sans',Arial,Helvetica,sans-serif"
STYLE = f"""
text {{ font-family: {FONTS}; fill: #16202b; }}
.quiet {{ fill: #4a5560; }}
.stamp {{ fill: #7a1f12; }}
.frame {{ fill: none; stroke: #16202b; }}
.paper {{ fill: #ffffff; }}
.band {{ fill: #f3f5f8; }}
.thin {{ fill: none; stroke: #8a94a0; }}
.steel {{ fill: none; stroke: #9aa5b1; }}
.solid {{ fill: #e4e8ed; stroke: #9aa5b1; }}
.casing {{ fill: none; stroke: #16202b; stroke-linejoin: round; }}
.core {{ fill: none; stroke-linejoin: round; }}
.body {{ fill: #ffffff; }}
.mark {{ fill: #7a1f12; stroke: #ffffff; }}
.open {{ fill: #ffffff; stroke: #16202b; }}
.item:focus, .item:hover {{ opacity: 0.75; }}
"""


def svg(scene: Scene, *, style: bool = True) -> str:
    """
    The scene as SVG text.

    `style` False leaves the style sheet out, for a page that brings its own by class.
    """
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg", "viewBox": f"0 0 {_n(scene.width)} {_n(scene.height)}", "role": "img",
            "width": "420mm", "height": f"{_n(420 * scene.height / scene.width)}mm",
            "aria-labelledby": "drawing-title drawing-desc", "font-family": FONTS.replace("'", ""),
        },
    )  # fmt: skip
    ET.SubElement(root, "title", {"id": "drawing-title"}).text = clean(scene.title)
    ET.SubElement(root, "desc", {"id": "drawing-desc"}).text = clean(scene.description)
    if style:
        ET.SubElement(root, "style").text = STYLE
    ET.SubElement(
        root, "rect", {"class": "paper", "width": _n(scene.width), "height": _n(scene.height), "fill": "#ffffff"}
    )
    names = scene.layers or tuple(dict.fromkeys(shape.layer for shape in scene.shapes))
    layers = {name: ET.SubElement(root, "g", {"class": f"layer-{name}"}) for name in names}
    groups: dict[tuple[str, str], ET.Element] = {}
    seen: set[str] = set()
    for shape in scene.shapes:
        parent = layers[shape.layer]
        if shape.item:
            key = (shape.layer, shape.item)
            if key not in groups:
                id = shape.item if shape.item not in seen else f"{shape.item}--{shape.layer}"
                seen.add(shape.item)
                attributes = {
                    "id": clean(id),
                    "class": "item",
                    "data-item": clean(shape.item),
                    "tabindex": "0",
                    "role": "group",
                }
                groups[key] = ET.SubElement(parent, "g", attributes)
                title = next((s.title for s in scene.shapes if s.item == shape.item and s.title), shape.item)
                groups[key].set("aria-label", clean(title))
                ET.SubElement(groups[key], "title").text = clean(title)
            parent = groups[key]
        _draw(parent, shape)
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode") + "\n"


def _draw(parent: ET.Element, shape: AnyShape) -> None:
    attributes = {"class": shape.style} if shape.style else {}
    if isinstance(shape, Text):
        attributes |= {"x": _n(shape.x), "y": _n(shape.y), "font-size": _n(shape.size)}
        if shape.anchor != "start":
            attributes["text-anchor"] = shape.anchor
        if shape.bold:
            attributes["font-weight"] = "bold"
        if shape.turn:
            attributes["transform"] = f"rotate({shape.turn} {_n(shape.x)} {_n(shape.y)})"
        if shape.paint:
            attributes["fill"] = shape.paint
        ET.SubElement(parent, "text", attributes).text = clean(shape.text)
    elif isinstance(shape, Stroke):
        attributes |= {"points": " ".join(f"{_n(x)},{_n(y)}" for x, y in shape.points), "fill": "none"}
        attributes |= {"stroke-width": _n(shape.width)}
        if shape.paint:
            attributes["stroke"] = shape.paint
        if shape.dash:
            attributes["stroke-dasharray"] = shape.dash
        ET.SubElement(parent, "polyline", attributes)
    elif isinstance(shape, Rect):
        attributes |= {"x": _n(shape.x), "y": _n(shape.y), "width": _n(shape.w), "height": _n(shape.h)}
        if shape.round:
            attributes["rx"] = _n(shape.round)
        if shape.paint:
            attributes["fill"] = shape.paint
        if shape.edge:
            attributes |= {"stroke": shape.edge, "stroke-width": _n(shape.edge_width)}
        ET.SubElement(parent, "rect", attributes)
    elif isinstance(shape, Circle):
        attributes |= {"cx": _n(shape.x), "cy": _n(shape.y), "r": _n(shape.r)}
        if shape.paint:
            attributes["fill"] = shape.paint
        ET.SubElement(parent, "circle", attributes)
    else:
        _symbol(parent, shape, attributes)


def _symbol(parent: ET.Element, shape: Symbol, attributes: dict[str, str]) -> None:
    x, y, s = shape.x, shape.y, shape.size
    if shape.name in ("diamond", "open-diamond"):
        points = ((x, y - s), (x + s, y), (x, y + s), (x - s, y))
        kind = {"class": "mark" if shape.name == "diamond" else "open", "stroke-width": "1.2"}
        kind["points"] = " ".join(f"{_n(a)},{_n(b)}" for a, b in points)
        ET.SubElement(parent, "polygon", attributes | kind)
    elif shape.name == "earth":
        for n, half in enumerate((s, s * 0.65, s * 0.3)):
            at = {"x1": _n(x - half), "x2": _n(x + half), "y1": _n(y + n * s * 0.45), "y2": _n(y + n * s * 0.45)}
            ET.SubElement(parent, "line", attributes | at | {"stroke": "#16202b", "stroke-width": "1"})
    elif shape.name == "coil":
        for half, fill in ((s, "#ffffff"), (s * 0.55, "none")):
            ring = {"cx": _n(x), "cy": _n(y), "r": _n(half), "fill": fill, "stroke": "#16202b", "stroke-width": "1.4"}
            ET.SubElement(parent, "circle", attributes | ring)
    else:
        ET.SubElement(parent, "circle", attributes | {"cx": _n(x), "cy": _n(y), "r": _n(s)})


def _n(value: float) -> str:
    """A number with two places at most, and no more signs than needed."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def clean(text: str) -> str:
    """Text with nothing in it that XML can't hold."""
    return "".join(ch if ch.isprintable() else " " for ch in text)[:2000]
