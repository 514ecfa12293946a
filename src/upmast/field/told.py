"""What several files say together, in the words of one kind of remark; and what this needs to know of a sweep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from upmast.field.measurement import Sweep
from upmast.field.remark import ORDER, Level
from upmast.proof.rf_path import PathDesign

__all__ = ["Swept", "Told", "sorted_told"]


class Swept(Protocol):
    """A sweep with the test that it belongs to, as `judge.Judged` has it."""

    @property
    def test_id(self) -> str: ...
    @property
    def path_id(self) -> str: ...
    @property
    def test(self) -> str: ...
    @property
    def sweep(self) -> Sweep: ...
    @property
    def design(self) -> PathDesign: ...


@dataclass(frozen=True, slots=True)
class Told:
    """
    One thing that files say together. It asks for a look; it accuses nobody, and it decides no acceptance.

    kind: lengths, twins, swaps, changes, ghosts or loss. level: `warn` before the crew leaves, `note` good to know; a `stop` would make a
    result worthless. words: what is seen, with numbers. remedy: what to do now. tests, files: which ones.
    """

    kind: str
    level: Level
    words: str
    remedy: str
    tests: tuple[str, ...]
    files: tuple[str, ...]

    def as_data(self) -> dict[str, object]:
        return {
            "kind": self.kind, "level": self.level, "words": self.words, "remedy": self.remedy,
            "tests": list(self.tests), "files": list(self.files),
        }  # fmt: skip


def sorted_told(told: list[Told]) -> tuple[Told, ...]:
    """The gravest first; else by kind and test, so that the same files give the same list."""
    return tuple(sorted(told, key=lambda one: (ORDER[one.level], one.kind, one.tests, one.files, one.words)))
