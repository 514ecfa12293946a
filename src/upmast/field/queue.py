"""The queue of one judging: the most urgent first, what the line's tests still lack, and by which code the command ends."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from upmast.field.row import ASKED, BOTH, FOOT, TOLD, TOP, UNREADABLE, Row, Urgency
from upmast.finding import Expectation

PASSES, FAILS, BAD_INPUT, NOT_JUDGED = 0, 1, 2, 3
GROUPS: tuple[tuple[str, tuple[Urgency, ...]], ...] = (
    ("Do again while somebody is at the top", (Urgency.AGAIN_TOP,)),
    ("Fails", (Urgency.FAILS_TOP, Urgency.FAILS)),
    ("Do again", (Urgency.AGAIN,)),
    ("Not judged", (Urgency.NOT_JUDGED,)),
    ("What the files say together", (Urgency.BETWEEN,)),
    ("Can't be read", (Urgency.UNREADABLE,)),
    ("Asked", (Urgency.ASKED,)),
    ("Passes, but differs from design", (Urgency.DIFFERS,)),
    ("Remarks", (Urgency.NOTED,)),
    ("Passes", (Urgency.PASSES,)),
)
# what a test needs, by the end of its id: the words of the plan
NEEDS = (
    (".rl.load", "with a load"), (".rl.antenna", "with the antenna"), (".loss.short", "with a short"), (".pim.", "intermodulation"),
    (".vdc.", "voltage"), (".ef.", "end faces"), (".ol.", "optical loss"), (".rloop.", "loop resistance"), (".ir.", "insulation"),
    (".bond.", "bond"), (".shield.", "shield"), (".torque.", "torque"), (".seal.", "seal"), (".cap.", "caps"),
)  # fmt: skip
OTHERS = "others"


def ordered(rows: Iterable[Row]) -> tuple[Row, ...]:
    """The most urgent first; inside of it what needs somebody at the top, then the worst margin as a share of its limit."""
    return tuple(sorted(rows, key=lambda row: row.order))


def grouped(rows: Sequence[Row]) -> tuple[tuple[str, tuple[Row, ...]], ...]:
    """The rows under their headings, empty ones left out."""
    out = [(title, tuple(row for row in rows if row.urgency in urgent)) for title, urgent in GROUPS]
    return tuple((title, some) for title, some in out if some)


def exit_code(rows: Sequence[Row], *, loud: bool = False) -> int:
    """
    1 if a test fails; else 2 if something can't be read; else 3 if something is not judged, asked or to be done again; else 0.

    Parameters
    ----------
    loud : something was left out that may hold evidence.
    """
    if any(row.verdict == "fails" for row in rows):
        return FAILS
    if loud or any(row.state == UNREADABLE for row in rows):
        return BAD_INPUT
    open_ = any(
        row.state == ASKED
        or row.verdict == "not judged"
        or (row.state == TOLD and row.urgency in (Urgency.AGAIN_TOP, Urgency.AGAIN))
        for row in rows
    )
    return NOT_JUDGED if open_ or not any(row.verdict for row in rows) else PASSES


@dataclass(frozen=True, slots=True)
class Missing:
    """Tests of the line that no file was judged for, by where somebody has to stand for them."""

    where: str
    tests: tuple[str, ...]

    @property
    def words(self) -> str:
        """`12 at the top (4 with a load, 8 voltage)`."""
        if not self.tests:
            return f"none {self.where}"
        count = Counter(need_of(test) for test in self.tests)
        told = ", ".join(f"{count[need]} {need}" for need in (*(words for _, words in NEEDS), OTHERS) if count[need])
        return f"{len(self.tests)} {self.where} ({told})"


def need_of(test: str) -> str:
    return next((words for part, words in NEEDS if part in test), OTHERS)


def missing(expectations: Iterable[Expectation], rows: Iterable[Row]) -> tuple[Missing, ...]:
    """What is still to be measured: at the top first, then at both ends, then at the foot. Done is what was judged, however."""
    done = {row.test for row in rows if row.verdict}
    places: dict[str, list[str]] = {TOP: [], BOTH: [], FOOT: []}
    for one in expectations:
        if one.id not in done:
            places.setdefault(one.where or FOOT, []).append(one.id)
    return tuple(Missing(where, tuple(tests)) for where, tests in places.items() if tests)


__all__ = ["GROUPS", "Missing", "exit_code", "grouped", "missing", "ordered"]
