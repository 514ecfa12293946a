"""How far a site is, as one picture: a bar for each place where tests are done, the top first; states by shape and word, too."""

from __future__ import annotations

from collections import Counter

from upmast.documents.pen import Pen
from upmast.documents.scene import Scene
from upmast.documents.to_svg import svg
from upmast.record.closeout import Closeout, State, place_rank

WIDTH, ROW, LEFT, RIGHT = 760.0, 44.0, 112.0, 290.0
LEAST = 9.0  # width of a state that has any test
PAINT = {
    State.FAILS: "#943418", State.NOT_JUDGED: "#f4d03f", State.MISSING: "#ffffff", State.WAIVED: "#8fb7b6", State.PASSES: "#3486b4",
}  # fmt: skip
ORDER = (State.PASSES, State.WAIVED, State.NOT_JUDGED, State.FAILS, State.MISSING)


def counts_at(closeout: Closeout) -> dict[str, Counter[State]]:
    """How many tests are in each state, by where they are done; the top first."""
    found: dict[str, Counter[State]] = {}
    for row in sorted(closeout.rows, key=lambda one: place_rank(one.test.where)):
        found.setdefault(row.test.where or "elsewhere", Counter())[row.state] += 1
    return found


def widths(counts: Counter[State], room: float) -> dict[State, float]:
    """Width of each state: by its share, and never so narrow that it can't be seen; they fill the room."""
    some = [state for state in ORDER if counts[state]]
    total = sum(counts[state] for state in some)
    if not total:
        return {}
    free = room - LEAST * len(some)
    return {state: LEAST + free * counts[state] / total for state in some}


def progress_svg(closeout: Closeout) -> str:
    """The picture as SVG."""
    found = counts_at(closeout)
    pen = Pen()
    height = 44.0 + ROW * len(found)
    for n, (place, counts) in enumerate(found.items()):
        top = 10.0 + ROW * n
        total = sum(counts.values())
        words = " · ".join(
            f"{counts[state]} {state}" for state in (*reversed(ORDER[:4]), State.MISSING) if counts[state]
        )
        pen.of(title=f"{place}: {words}")
        pen.text(0, top + 19, place, 14, bold=True, width=LEFT - 8)
        x = LEFT
        for state, wide in widths(counts, WIDTH - LEFT - RIGHT).items():
            pen.rect(x, top, wide, 28, paint=PAINT[state], edge="#16202b", edge_width=0.8)
            if state in (State.FAILS, State.NOT_JUDGED) and wide >= LEAST:
                pen.symbol("diamond" if state is State.FAILS else "open-diamond", x + wide / 2, top + 14, 6)
            x += wide
        pen.text(
            WIDTH - RIGHT + 14,
            top + 13,
            f"{counts[State.PASSES]} of {total} pass",
            14,
            bold=True,
        )
        pen.text(WIDTH - RIGHT + 14, top + 29, words, 11, style="quiet")
    x, y = LEFT, height - 14
    pen.of()
    for state in ORDER:
        pen.rect(x, y - 10, 16, 12, paint=PAINT[state], edge="#16202b", edge_width=0.8)
        pen.text(x + 22, y, str(state), 13, style="quiet")
        x += 40 + 8.2 * len(str(state))
    return svg(
        Scene(
            WIDTH,
            height,
            f"Tests of {closeout.proof.site.id} by place and state",
            words_of(closeout),
            tuple(pen.shapes),
        )
    )


def words_of(closeout: Closeout) -> str:
    """The picture in words, for whoever does not see it."""
    parts = []
    for place, counts in counts_at(closeout).items():
        parts.append(f"{place}: " + ", ".join(f"{counts[state]} {state}" for state in State if counts[state]))
    return "; ".join(parts) or "no tests"
