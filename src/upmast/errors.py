"""
What can go wrong, and how it is said.

    UpmastError
      InputFaults   one or more faults in files that people wrote; all of them at once
      UsageError    the command or call can't be carried out as asked
      MateError     two ends that can't be joined

A fault is read by a tired person: where it is, what was got, what was expected, what to do.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass


class UpmastError(Exception):
    """Anything that upmast tells its user in words."""


class UsageError(UpmastError):
    """The command or call can't be carried out as asked; the message says what to do instead."""


class MateError(UpmastError):
    """Two ends that can't be joined; the message names both and says why."""


@dataclass(frozen=True, slots=True)
class Fault:
    """
    One fault in a file.

    `place` is the path inside the file (`radios[3].maximum_w`); `line` and `column` count from 1, 0 where there are none.
    """

    file: str
    place: str
    got: str
    expected: str
    remedy: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        head = f"{where}  {self.place}" if self.place else where
        parts = [head]
        if self.got:
            parts.append(f"    got:      {self.got}")
        parts.append(f"    expected: {self.expected}")
        if self.remedy:
            parts.append(f"    do:       {self.remedy}")
        return "\n".join(parts)

    def as_data(self) -> dict[str, object]:
        return {
            "file": self.file, "line": self.line, "column": self.column, "place": self.place,
            "got": self.got, "expected": self.expected, "do": self.remedy,
        }  # fmt: skip


class InputFaults(UpmastError):
    """All faults found in one reading, in the order of the file."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class FaultList:
    """
    Gathers faults, so that a reader can go on and report all of them; `raise_if_any` ends the reading.

    Beyond `most` faults they are only counted: nobody reads more, and a hostile file must not cost memory.
    """

    def __init__(self, file: str, most: int = 500) -> None:
        self.file = file
        self.most = most
        self._more = 0
        self._faults: list[Fault] = []

    def add(self, place: str, got: object, expected: str, remedy: str, line: int = 0, column: int = 0) -> None:
        if len(self._faults) >= self.most:
            self._more += 1
            return
        text = "" if got is None else shorten(got)
        self._faults.append(Fault(self.file, place, text, expected, remedy, line, column))

    def __iter__(self) -> Iterator[Fault]:
        return iter(self._faults)

    def __len__(self) -> int:
        return len(self._faults)

    def told(self) -> tuple[Fault, ...]:
        """All faults in the order of their places; those that were only counted as one more."""
        told = sorted(self._faults, key=lambda f: (f.line, f.column))
        if self._more:
            told.append(Fault(self.file, "", f"{self._more} more faults", "none", "mend those above and read again"))
        return tuple(told)

    def raise_if_any(self) -> None:
        if self._faults:
            raise InputFaults(self.told())


def shorten(value: object, most: int = 80) -> str:
    """A value as text for a message: one line, no control characters, not longer than `most`."""
    text = value if isinstance(value, str) else repr(value)
    text = "".join(ch if ch.isprintable() else "?" for ch in text[: most * 2])
    return text if len(text) <= most else text[: most - 1] + "…"
