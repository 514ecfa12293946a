"""The frame of the drawing: heading, stamp, legend of the margin scale and of the lines, title block."""

from __future__ import annotations

from upmast.documents.colour import NONE, margin_colour
from upmast.documents.pen import Pen
from upmast.line.line import Line
from upmast.site.site import Site

BOTTOM = 150.0
TITLE_W = 470.0
SCALE_W = 330.0
LOW, HIGH = -0.30, 1.00


def draw_frame(
    pen: Pen, site: Site, line: Line, width: float, height: float, verdict: str, stamp: str, issued: str
) -> None:
    """Draw the frame."""
    pen.of(layer="frame")
    pen.rect(12, 12, width - 24, height - 24, style="frame", paint="none", edge="#16202b", edge_width=1.4)
    name = f" · {site.name}" if site.name else ""
    pen.text(330, 50, f"Antenna line {site.id}{name}", 20, bold=True, width=width - 330 - 330)
    if stamp:
        pen.rect(width - 290, 26, 250, 34, paint="none", edge="#7a1f12", edge_width=3, round=4)
        pen.text(width - 165, 50, stamp.upper(), 20, anchor="middle", bold=True, paint="#7a1f12", style="stamp")
    y = height - BOTTOM + 8
    pen.line((12, y - 6), (width - 12, y - 6), style="frame", width=1, paint="#16202b")
    _scale(pen, 40, y)
    _lines(pen, 40 + SCALE_W + 60, y)
    _title_block(pen, site, line, width - 12 - TITLE_W, y - 6, height - 12, verdict, issued)


def _scale(pen: Pen, x: float, y: float) -> None:
    pen.text(x, y + 18, "Colour: smallest margin of the part, as a share of its limit", 10, bold=True)
    parts = 65
    w = SCALE_W / parts
    for k in range(parts):
        share = LOW + (HIGH - LOW) * (k + 0.5) / parts
        pen.rect(x + k * w, y + 28, w + 0.4, 18, paint=margin_colour(share))
    pen.rect(x, y + 28, SCALE_W, 18, style="frame", paint="none", edge="#16202b", edge_width=0.8)
    for share in (-0.3, 0.0, 0.3, 0.6, 1.0):
        at = x + SCALE_W * (share - LOW) / (HIGH - LOW)
        pen.line((at, y + 46), (at, y + 51), style="frame", width=1, paint="#16202b")
        pen.text(at, y + 62, f"{100 * share:+.0f} %" if share else "0", 9, anchor="middle")
    pen.text(x + SCALE_W * -LOW / (HIGH - LOW) + 4, y + 76, "at the limit; left of it: fails", 9, style="quiet")
    at = y + 98
    pen.symbol("diamond", x + 8, at, 7)
    pen.text(x + 22, at + 4, "fails", 10)
    pen.symbol("open-diamond", x + 78, at, 7)
    pen.text(x + 78, at + 3, "?", 8.5, anchor="middle", bold=True)
    pen.text(x + 92, at + 4, "not judged", 10)
    pen.rect(x + 172, at - 6, 24, 12, paint=NONE, edge="#16202b", edge_width=0.8)
    pen.text(x + 202, at + 4, "no margin known", 10)


def _lines(pen: Pen, x: float, y: float) -> None:
    pen.text(x, y + 18, "Lines", 10, bold=True)
    rows = (
        ("hybrid: DC and fibre", 4.5, "7 5"), ("DC", 3.0, ""), ("fibre", 3.0, "2 3"), ("trunk or feeder", 5.0, ""),
        ("RF jumper", 2.2, ""), ("control", 2.4, "1 4"),
    )  # fmt: skip
    for k, (words, width, dash) in enumerate(rows):
        column, row = divmod(k, 3)
        a, at = x + column * 190, y + 36 + row * 18
        pen.cable((a, at), (a + 36, at), paint="#5f7f9f", width=width, dash=dash)
        pen.text(a + 46, at + 3.5, words, 10)
    pen.symbol("earth", x + 18, y + 92, 7)
    pen.text(x + 46, y + 98, "bond to earth", 10)
    pen.symbol("coil", x + 190 + 18, y + 94, 7)
    pen.text(x + 190 + 46, y + 98, "slack loop", 10)
    pen.text(
        x, y + 122, "Only the elevation at the left is to scale; heights and lengths are as written.", 9, style="quiet"
    )


def _title_block(
    pen: Pen, site: Site, line: Line, x: float, top: float, bottom: float, verdict: str, issued: str
) -> None:
    h = bottom - top
    pen.rect(x, top, TITLE_W, h, style="frame", paint="none", edge="#16202b", edge_width=1)
    rows = (
        ("Site", f"{site.id}{', ' + site.name if site.name else ''}"),
        ("Line", f"revision {line.revision}, {line.layer}, digest {line.digest[:12]}"),
        ("Radio plan", f"revision {site.revision}{', ' + site.author if site.author else ''}"),
        ("Design", verdict),
        ("Issued", issued),
        ("Note", "invented: see the note of the site" if "invented" in site.note.lower() else ""),
    )
    each = h / len(rows)
    for k, (name, text) in enumerate(rows):
        y = top + k * each
        if k:
            pen.line((x, y), (x + TITLE_W, y), style="thin", width=0.7)
        pen.text(x + 10, y + each / 2 + 3.5, name, 9, style="quiet")
        pen.text(x + 76, y + each / 2 + 4, text, 11, bold=k == 0, width=TITLE_W - 90)
