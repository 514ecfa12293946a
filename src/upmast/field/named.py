"""Which test or item of the line does the name of a file say? For photographs and documents, whose content is not looked into."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from upmast.finding import Expectation
from upmast.line.line import Line

MOST_NAME = 255
MOST_NAMED = 8
_WORDS = re.compile(r"[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)*")


@dataclass(frozen=True, slots=True)
class Names:
    """Every id of a line and of its tests, in upper case, as it is written."""

    tests: dict[str, str]
    items: dict[str, str]

    def said(self, name: str) -> tuple[str, ...]:
        """
        Tests and items that a file name says as whole words, tests first; case is not minded.

        A name such as `A2-J1.rl.load-after.jpg` says the test and, since the test holds it, not its item once more.
        """
        plain = name.replace("\\", "/").rsplit("/", 1)[-1][:MOST_NAME]
        found: dict[str, None] = {}
        for word in _WORDS.findall(re.sub(r"[_ ]+", " ", plain)):
            found.update(dict.fromkeys(self._word(word.upper())))
        return tuple(found)[:MOST_NAMED]

    def _word(self, word: str) -> Iterable[str]:
        parts = word.split(".")
        for last in range(len(parts), 0, -1):
            head = ".".join(parts[:last])
            if head in self.tests:
                return (self.tests[head],)
        for part in parts:
            for piece in (part, *_pieces(part)):
                if piece in self.items:
                    return (self.items[piece],)
        return ()


def _pieces(word: str) -> Iterable[str]:
    """`A2-J1-BEFORE` also as `A2-J1`, then as `A2`."""
    parts = word.split("-")
    for last in range(len(parts) - 1, 0, -1):
        yield "-".join(parts[:last])


def names_of(line: Line, expectations: Iterable[Expectation]) -> Names:
    """The names of a line: its items, what its tests stand for, and its tests."""
    tests: dict[str, str] = {}
    items = {one.id.upper(): one.id for one in line.items}
    for one in expectations:
        tests[one.id.upper()] = one.id
        items.setdefault(one.subject.upper(), one.subject)
    return Names(tests, items)


def several(named: tuple[str, ...]) -> tuple[str, ...]:
    """
    Names that can't be meant together: two tests, or two items of which none holds the other; () where all can.

    >>> several(("A2-J1.rl.load", "A2-J1", "A2")), several(("A2-J1.rl.load", "A2-J2"))
    ((), ('A2-J1.rl.load', 'A2-J2'))
    """
    apart = [
        one for n, one in enumerate(named)
        if not any(_holds(one, other) or _holds(other, one) for m, other in enumerate(named) if m != n)
    ]  # fmt: skip
    tests = [one for one in named if "." in one]
    found = tuple(dict.fromkeys([*tests, *apart]))
    return found if len(found) > 1 else ()


def _holds(name: str, other: str) -> bool:
    """Whether a name is the other with something behind it: `A2-J1.rl.load` of `A2-J1`, and that of `A2`."""
    return name.startswith((f"{other}.", f"{other}-"))


__all__ = ["Names", "names_of", "several"]
