"""A slack loop as a sketch: turns, ties, where the cable comes from and goes on, with its radius. Not to scale."""

from __future__ import annotations

import math

from upmast.documents.pen import Pen
from upmast.documents.scene import Scene, wrapped
from upmast.fibre.coil import twist_advice
from upmast.fibre.state import Loop

WIDTH, HEIGHT = 580.0, 330.0
X, Y, R = 170.0, 160.0, 84.0  # middle and mean radius of the turns
APART = 9.0  # from turn to turn, so that they can be told apart
MOST_DRAWN = 5
POINTS = 96
TAIL, LONG_TAIL = 46.0, 112.0
STRAIGHT = 30.0  # half of the straights of an oval, as drawn


def loop_sketch(loop: Loop, ties: int = 4) -> Scene:
    """
    The sketch of one loop.

    The cable comes from below on the left, makes its whole turns clockwise and goes on by the part of a turn at its exit: 0 onward
    (up), a quarter to the right, a half back (down), three quarters to the left. Of more than five turns five are drawn, and said so.

    Parameters
    ----------
    ties: of one turn; drawn evenly.
    """
    pen = Pen()
    drawn = min(loop.turns, MOST_DRAWN)
    turns = drawn + loop.exit_turn
    inner = R - APART * turns / 2
    d = STRAIGHT if loop.straight_m else 0.0
    points = [_at(turns * k / math.ceil(turns * POINTS), inner, d) for k in range(math.ceil(turns * POINTS) + 1)]
    start, end = points[0], points[-1]
    tip = _onward(turns, end)
    pen.of(loop.id, f"{loop.id}, slack loop of {loop.cable}")
    foot = (start[0], Y + d + LONG_TAIL)
    pen.cable(foot, (start[0], start[1] - 1), paint="#8a94a0", width=4.0)  # beneath the turns that it crosses
    pen.cable(*points, tip, paint="#8a94a0", width=4.0)
    _head(pen, end, tip)
    pen.text(foot[0] - 8, foot[1] - 2, "comes from here", 9.5, anchor="end")
    _ties(pen, ties, inner, turns, d)
    _radius(pen, loop, inner, d, ties)
    _words(pen, loop, drawn, ties)
    title = f"{loop.id}, slack loop of {loop.cable}"
    return Scene(WIDTH, HEIGHT, title, f"{loop.form}; not to scale", tuple(pen.shapes))


def _at(turn: float, inner: float, d: float) -> tuple[float, float]:
    """A point after so many turns, clockwise from the left; each turn lies outside of the one before."""
    radius = inner + APART * turn
    angle = math.pi - 2 * math.pi * turn
    x, y = math.cos(angle) * radius, -math.sin(angle) * radius
    y = 0.0 if abs(y) < 1e-6 else y
    return X + x, Y + y + (-d if y < 0 else d if y > 0 else 0.0)


def _onward(turns: float, end: tuple[float, float]) -> tuple[float, float]:
    """Where the cable goes on: along the tangent."""
    angle = math.pi - 2 * math.pi * turns
    return end[0] + math.sin(angle) * TAIL, end[1] + math.cos(angle) * TAIL


def _head(pen: Pen, end: tuple[float, float], tip: tuple[float, float]) -> None:
    dx, dy = tip[0] - end[0], tip[1] - end[1]
    size = math.hypot(dx, dy) or 1.0
    ux, uy = dx / size, dy / size
    for side in (1, -1):
        pen.line(
            (tip[0] - 9 * ux + side * 6 * uy, tip[1] - 9 * uy - side * 6 * ux), (tip[0] + 3 * ux, tip[1] + 3 * uy),
            style="casing", width=2.2, paint="#16202b",
        )  # fmt: skip
    # beside the head, where no turn lies
    if uy < -0.7:
        pen.text(tip[0], tip[1] - 10, "goes on", 9.5, anchor="middle")
    elif ux < -0.7:
        pen.text(tip[0] - 2, tip[1] + 15, "goes on", 9.5)
    else:
        pen.text(tip[0] + 10, tip[1] + 3.5, "goes on", 9.5)


def _ties(pen: Pen, ties: int, inner: float, turns: float, d: float) -> None:
    """Short bars across all turns, where there are any."""
    for k in range(max(ties, 1)):
        turn = (k + 0.5) / max(ties, 1)
        laid = math.floor(turns - turn) + 1 if turns >= turn else 0
        if not laid:
            continue
        angle = math.pi - 2 * math.pi * turn
        x, y = math.cos(angle), -math.sin(angle)
        shift = -d if y < -1e-6 else d if y > 1e-6 else 0.0
        near, far = inner + APART * turn - 8, inner + APART * (turn + laid - 1) + 8
        pen.line(
            (X + x * near, Y + y * near + shift),
            (X + x * far, Y + y * far + shift),
            style="casing",
            width=3.0,
            paint="#16202b",
        )


def _radius(pen: Pen, loop: Loop, inner: float, d: float, ties: int) -> None:
    """The radius, drawn upwards to the right, midway between two ties, with a head on the inner turn."""
    turn = math.floor(0.375 * max(ties, 1)) / max(ties, 1)
    angle = math.pi - 2 * math.pi * turn
    ux, uy, reach = math.cos(angle), -math.sin(angle), inner + APART * turn - 3
    tip = (X + ux * reach, Y - d + uy * reach)
    pen.line((X, Y - d), tip, style="thin", width=1, paint="#16202b")
    for side in (3, -3):
        pen.line(
            (tip[0] - 7 * ux + side * uy, tip[1] - 7 * uy - side * ux), tip, style="thin", width=1, paint="#16202b"
        )
    pen.circle(X, Y - d, 2.2, paint="#16202b")
    pen.text(X, Y - d + 15, f"R {1000 * loop.radius_m:.0f} mm", 11, anchor="middle", bold=True)
    if loop.straight_m:
        pen.text(X, Y - d + 30, f"straights {1000 * loop.straight_m:.0f} mm", 10, anchor="middle")


def _words(pen: Pen, loop: Loop, drawn: int, ties: int) -> None:
    """The facts beside the sketch."""
    x, y = 350.0, 60.0
    pen.text(x, y, f"{loop.id} of {loop.cable}", 14, bold=True, width=WIDTH - x - 10)
    lines = [
        *wrapped(loop.form, WIDTH - x - 14, 11, most=3),
        f"holds {loop.stored_m:.2f} m",
        *wrapped(f"never below {loop.least_radius_mm:.0f} mm: {loop.radius_source}", WIDTH - x - 14, 11, most=3),
        f"{ties} ties a turn",
        *wrapped(twist_advice(loop.turns), WIDTH - x - 14, 11, most=5),
        f"not to scale; {drawn} of {loop.turns} turns" if loop.turns > drawn else "not to scale: turns are drawn apart",
    ]
    for k, text in enumerate(lines):
        pen.text(x, y + 22 + 17 * k, text, 11, style="quiet" if k == len(lines) - 1 else "", width=WIDTH - x - 10)


__all__ = ["loop_sketch"]
