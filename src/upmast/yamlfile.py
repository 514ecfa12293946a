"""
YAML that people write: YAML 1.2 core schema, bounded, with the place of every value.

No anchors, aliases, tags, merge keys or duplicate keys: each is refused with its line. Size, depth and count are bounded, so
that a hostile file costs nothing. Dates stay text.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import yaml
from yaml import events

from upmast.errors import Fault, FaultList, InputFaults

MOST_BYTES = 4_000_000
MOST_DEPTH = 30
MOST_NODES = 300_000
Path_ = tuple[str | int, ...]
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INT = re.compile(r"[-+]?[0-9]+\Z|0o[0-7]+\Z|0x[0-9a-fA-F]+\Z", re.ASCII)
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?\Z", re.ASCII)
_WORDS: dict[str, Any] = {
    "": None, "~": None, "null": None, "Null": None, "NULL": None,
    "true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False,
}  # fmt: skip


class YamlText:
    """The data of one file and where each value stands."""

    def __init__(self, file: str, data: Any, positions: dict[Path_, tuple[int, int]]) -> None:
        self.file = file
        self.data = data
        self._positions = positions

    def position(self, path: Path_) -> tuple[int, int]:
        """Line and column of a value, or of the nearest value above it that stands in the file."""
        path = tuple(path)
        while path and path not in self._positions:
            path = path[:-1]
        return self._positions.get(path, (1, 1))

    def knows(self, path: Path_) -> bool:
        return path in self._positions


def read(path: Path, most_bytes: int = MOST_BYTES) -> YamlText:
    """
    Read one file.

    Raises
    ------
    InputFaults
        If the file is missing, too large, not UTF-8, not YAML, too deep, or uses what is refused.
    """
    name = str(path)
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise InputFaults([Fault(name, "", "not a plain file", "a YAML file", "give the path of a file")])
        if size > most_bytes:
            expected = f"at most {most_bytes / 1e6:g} MB"
            raise InputFaults(
                [Fault(name, "", f"{size / 1e6:.1f} MB", expected, "split the file, or check that it is the right one")]
            )
        raw = path.read_bytes()
    except OSError as error:
        raise InputFaults(
            [
                Fault(
                    name, "", error.strerror or "unreadable", "a file that can be read", "check the path and the rights"
                )
            ]
        ) from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputFaults(
            [Fault(name, "", f"byte {raw[error.start]:#04x}", "text in UTF-8", "save the file as UTF-8", line, 1)]
        ) from None
    return parse(text, name)


def parse(text: str, file: str = "text") -> YamlText:
    """Data and positions of a YAML text. Raises InputFaults."""
    faults = FaultList(file)
    builder = _Builder(faults)
    if len(text) > MOST_BYTES:
        faults.add("", f"{len(text)} characters", f"at most {MOST_BYTES}", "split the text")
        faults.raise_if_any()
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            builder.take(event)
    except _Stop:
        pass
    except yaml.MarkedYAMLError as error:
        mark: Any = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        faults.add("", error.problem or "not YAML", "YAML", "mend the text at this place", line, column)
    except (yaml.YAMLError, UnicodeError) as error:
        faults.add("", str(error).splitlines()[0], "YAML text without control characters", "remove the characters")
    faults.raise_if_any()
    return YamlText(file, builder.root, builder.positions)


class _Stop(Exception):
    """The file is beyond a bound: reading ends here."""


class _Builder:
    """Builds data from parser events with a stack, so that no depth of nesting can exhaust ours."""

    def __init__(self, faults: FaultList) -> None:
        self.faults = faults
        self.positions: dict[Path_, tuple[int, int]] = {}
        self.root: Any = None
        self.nodes = 0
        self.documents = 0
        self.stack: list[tuple[Any, Path_]] = []
        self.key: list[str | None] = []

    def take(self, event: Any) -> None:
        if isinstance(event, events.NodeEvent):
            node: Any = event
            mark = node.start_mark
            line, column = mark.line + 1, mark.column + 1
            self.nodes += 1
            if self.nodes > MOST_NODES:
                self.faults.add(
                    "", f"more than {MOST_NODES} values", f"at most {MOST_NODES} values", "split the file", line, column
                )
                raise _Stop
            if isinstance(event, events.AliasEvent) or node.anchor is not None:
                self.faults.add(
                    "",
                    "an anchor or alias (& or *)",
                    "plain values",
                    "write the value out where it is used",
                    line,
                    column,
                )
                raise _Stop
            if getattr(node, "tag", None) is not None:
                self.faults.add(
                    "", f"tag {node.tag}", "plain values without tags", "remove the tag (!...)", line, column
                )
                raise _Stop
            if isinstance(event, events.ScalarEvent):
                self._scalar(event, line, column)
            else:
                self._open({} if isinstance(event, events.MappingStartEvent) else [], line, column)
        elif isinstance(event, events.CollectionEndEvent):
            self.stack.pop()
            self.key.pop()
        elif isinstance(event, events.DocumentStartEvent):
            start: Any = event.start_mark
            self.documents += 1
            if self.documents > 1:
                self.faults.add("", "a second document", "one document", "remove the line ---", start.line + 1, 1)
                raise _Stop

    def _open(self, container: Any, line: int, column: int) -> None:
        if self.stack and isinstance(self.stack[-1][0], dict) and self.key[-1] is None:
            self.faults.add("", "a list or mapping as a key", "a word as a key", "write a plain key", line, column)
            raise _Stop
        if len(self.stack) >= MOST_DEPTH:
            self.faults.add(
                "", f"deeper than {MOST_DEPTH} levels", f"at most {MOST_DEPTH} levels", "flatten the file", line, column
            )
            raise _Stop
        path = self._place(container, line, column)
        self.stack.append((container, path))
        self.key.append(None)

    def _scalar(self, event: Any, line: int, column: int) -> None:
        if self.stack and isinstance(self.stack[-1][0], dict) and self.key[-1] is None:
            container, path = self.stack[-1]
            key = event.value
            if key in container:
                first = self.positions[(*path, key)][0]
                self.faults.add(
                    _show((*path, key)), f"key {key!r} twice", f"one {key!r} (the first is in line {first})",
                    "remove or rename one of them", line, column,
                )  # fmt: skip
            self.key[-1] = key
            self.positions[(*path, key)] = (line, column)
            return
        value = event.value if event.style in ("'", '"', "|", ">") else _plain(event.value)
        self._place(value, line, column)

    def _place(self, value: Any, line: int, column: int) -> Path_:
        if not self.stack:
            self.root = value
            return ()
        container, path = self.stack[-1]
        if isinstance(container, list):
            here: Path_ = (*path, len(container))
            container.append(value)
            self.positions[here] = (line, column)
        else:
            key = self.key[-1]
            assert key is not None
            here = (*path, key)
            container[key] = value
            self.key[-1] = None
        return here


def _plain(text: str) -> Any:
    """A plain scalar by the YAML 1.2 core schema."""
    if text in _WORDS:
        return _WORDS[text]
    if _INT.match(text):
        if len(text) > 30:
            return text
        return (
            int(text, 8 if text.startswith("0o") else 16 if text.startswith("0x") else 10)
            if "0" in text[:1] and text[1:2] in ("o", "x")
            else int(text)
        )
    if _FLOAT.match(text):
        return float(text)
    return text


def _show(path: Path_) -> str:
    """A path as people read it: `radios[3].maximum_w`."""
    out = ""
    for step in path:
        out += f"[{step + 1}]" if isinstance(step, int) else (f".{step}" if out else str(step))
    return out


show_path = _show


def dump(data: Any) -> str:
    """Plain data as YAML text that `parse` reads back to the same data."""
    return str(
        yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, default_flow_style=False, width=130)
    )


def flow(data: Any) -> str:
    """Plain data as YAML on one line."""
    text = yaml.dump(
        data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, default_flow_style=True, width=1_000_000
    )
    return str(text).strip()


class _Dumper(getattr(yaml, "CSafeDumper", yaml.SafeDumper)):  # type: ignore[misc]
    """Writes without aliases, and quotes every text that our reader would not take as text."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def _represent_text(dumper: Any, text: str) -> Any:
    quoted = not isinstance(_plain(text), str)
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style="'" if quoted else None)


def _represent_number(dumper: Any, value: float) -> Any:
    if not math.isfinite(value):
        raise ValueError("a number that is not finite can't be written: leave the key out")
    return dumper.represent_float(value)


_Dumper.add_representer(str, _represent_text)
_Dumper.add_representer(float, _represent_number)
