"""Watching a folder: a file is handed on once it has stood still, and again only when it has changed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from upmast.field.watch import states, watch


class Clock:
    """A clock that only sleeping moves on; at given times something happens."""

    def __init__(self, events: dict[float, Callable[[], object]], end: float) -> None:
        self.time, self.events, self.end = 0.0, dict(events), end

    def now(self) -> float:
        return self.time

    def sleep(self, seconds: float) -> None:
        self.time += seconds
        for at in sorted(self.events):
            if at <= self.time:
                self.events.pop(at)()

    def stop(self) -> bool:
        return self.time >= self.end


def seen(folder: Path, events: dict[float, Callable[[], object]], end: float = 12.0) -> list[tuple[float, str]]:
    clock = Clock(events, end)
    out = []
    for ready in watch([folder], stop=clock.stop, now=clock.now, sleep=clock.sleep):
        out += [(clock.time, path.name) for path in ready]
    return out


def test_only_what_stands_still(tmp_path: Path) -> None:
    path = tmp_path / "a.s1p"

    def grow(text: str) -> Callable[[], object]:
        return lambda: path.write_text(text)

    found = seen(tmp_path, {1.0: grow("x"), 1.5: grow("xx"), 2.0: grow("xxx"), 6.0: grow("yyyy")})
    assert [name for _, name in found] == ["a.s1p", "a.s1p"]
    assert 3.0 <= found[0][0] < 4.0  # a second after it was written last
    assert found[1][0] >= 7.0


def test_what_was_there_and_what_goes_away(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "old.csv").write_text("1")
    found = seen(
        tmp_path,
        {4.0: (tmp_path / "deep" / "old.csv").unlink, 8.0: lambda: (tmp_path / "deep" / "old.csv").write_text("1")},
    )
    assert [name for _, name in found] == ["old.csv", "old.csv"]  # a file that went away and came again is new


def test_links_are_not_followed(tmp_path: Path) -> None:
    inside = tmp_path / "in"
    inside.mkdir()
    (tmp_path / "x.s1p").write_text("1")
    (inside / "link.s1p").symlink_to(tmp_path / "x.s1p")
    (inside / "up").symlink_to(tmp_path)
    assert states([inside]) == {}
    assert list(states([tmp_path / "x.s1p"])) == [tmp_path / "x.s1p"]
    assert states([tmp_path / "nowhere"]) == {}
