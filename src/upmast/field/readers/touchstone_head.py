"""
What stands before the numbers of a Touchstone file: text, option line and keywords of both versions, and where the data lie.

Source: IBIS Open Forum, Touchstone File Format Specification, versions 1.1 and 2.0.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from upmast.errors import FaultList
from upmast.field.measurement import SYSTEM_OHM
from upmast.field.readers.convert import NETWORKS

MOST_BYTES = 32 * 1024 * 1024
MOST_COMMENTS = 200
MOST_LINES = 2_000_000
MOST_FAULTS = 20
PLAIN = b"0123456789+-.eE \t\r\n\f\v"  # all that a row of numbers is made of
_UNITS = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_NUMBERS = {1: 3, 2: 9}


@dataclass
class Head:
    """What stands before the data."""

    version: int = 1
    ports: int = 1
    unit: float = 1e9
    network: str = "S"
    format: str = "MA"
    reference_ohm: float = 50.0
    option_line: int = 0
    order: str = ""
    matrix: str = "FULL"
    declared: int | None = None
    references: list[float] = field(default_factory=list)
    ports_line: int = 0
    comments: list[str] = field(default_factory=list)
    mended: list[str] = field(default_factory=list)

    @property
    def numbers(self) -> int:
        return 7 if self.ports == 2 and self.matrix != "FULL" else _NUMBERS[self.ports]


def within_bounds(data: bytes) -> bool:
    """Whether a file is surely not too large and has not too many lines; `lines_of` says by how much it is."""
    return len(data) <= MOST_BYTES and (len(data) < MOST_LINES or data.count(b"\n") < MOST_LINES)


def lines_of(data: bytes, head: Head, faults: FaultList) -> list[bytes]:
    if len(data) > MOST_BYTES:
        faults.add("", f"more than {MOST_BYTES} bytes", "a file of at most 32 MB", "export fewer points")
        faults.raise_if_any()
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            data = data.decode("utf-16").encode("utf-8")
        except UnicodeError:
            faults.add("", "broken UTF-16 text", "plain text", "save the file again as plain text", 1)
            faults.raise_if_any()
        head.mended.append("text in UTF-16: read as plain text")
    data = data.removeprefix(b"\xef\xbb\xbf")
    if b"\x00" in data:
        faults.add("", "zero bytes", "a text file", "this is not a Touchstone file: export it as text")
        faults.raise_if_any()
    if not data.strip():
        faults.add("", "an empty file", "an option line and rows of numbers", "export the sweep again")
        faults.raise_if_any()
    lines = data.splitlines()
    if len(lines) > MOST_LINES:
        faults.add("", f"{len(lines)} lines", f"at most {MOST_LINES} lines", "export fewer points", MOST_LINES)
        faults.raise_if_any()
    return lines


def text_of(raw: bytes) -> str:
    """Words of a file, whatever their code page was."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def take_comment(raw: bytes, head: Head) -> None:
    text = text_of(raw[:2000])
    if not text.isprintable():
        text = "".join(ch if ch.isprintable() else " " for ch in text)
    text = text.strip()[:400]
    if text and len(head.comments) < MOST_COMMENTS:
        head.comments.append(text)


def sections_of(lines: list[bytes], head: Head, known: bool, faults: FaultList) -> tuple[int, int, int]:
    """Read option line and keywords; give the first and last line of the network data, and the first of noise data."""
    information = waiting = False
    data_at = -1
    for index, raw in enumerate(lines):
        if len(faults) >= MOST_FAULTS:
            break
        code, mark, said = raw.partition(b"!")
        if mark:
            take_comment(said, head)
        code = code.strip()
        if not code:
            continue
        if code.startswith(b"["):
            word, value = _keyword(code)
            if word == "BEGIN INFORMATION":
                information = True
            elif word == "END INFORMATION":
                information = False
            elif information:
                continue
            elif word == "NETWORK DATA":
                data_at = index + 1
                break
            else:
                waiting = _said(word, value, index + 1, head, faults)
        elif information:
            continue
        elif code.startswith(b"#"):
            _option(code, index + 1, head, faults)
        elif waiting and len(head.references) < head.ports:
            _references(code, index + 1, head, faults)
        elif head.version == 1:
            data_at = index
            break
        else:
            faults.add(
                "",
                text_of(code),
                "[Network Data] before the rows of numbers",
                "add the keyword, or save again",
                index + 1,
            )
            break
    if head.option_line == 0:
        faults.add(
            "option line", None, "an option line such as `# Hz S RI R 50` before the data",
            "without it the unit of frequency is unknown: export the sweep again", max(data_at, 0) + 1,
        )  # fmt: skip
    if data_at < 0 and not len(faults):
        faults.add("", "no rows of numbers", "one row for each frequency", "export the sweep again", len(lines))
    faults.raise_if_any()
    _settle(head, known, faults)
    if head.version == 1:
        return data_at, len(lines), 0
    end, noise_at = len(lines), 0
    for index in range(data_at, len(lines)):
        if lines[index].lstrip()[:1] == b"[":
            word, _ = _keyword(lines[index].partition(b"!")[0].strip())
            end = index
            if word == "NOISE DATA":
                noise_at = index + 1
            elif word != "END":
                faults.add(
                    f"[{word.title()}]", None, "only [Noise Data] or [End] behind the data", "remove it", index + 1
                )
                faults.raise_if_any()
            break
    return data_at, end, noise_at


def _settle(head: Head, known: bool, faults: FaultList) -> None:
    """Join what option line and keywords say."""
    if head.version == 2:
        if not head.ports_line:
            faults.add("[Number of Ports]", None, "[Number of Ports], which version 2 needs", "save the file again", 1)
        if head.ports == 2 and not head.order:
            faults.add("[Two-Port Data Order]", None, "12_21 or 21_12, which two ports need", "save the file again", 1)
        if head.ports == 1 and head.order:
            faults.add("[Two-Port Data Order]", head.order, "nothing: it belongs to two ports only", "remove it", 1)
        if head.references:
            if len(set(head.references)) > 1:
                faults.add(
                    "[Reference]", ", ".join(f"{r:g}" for r in head.references), "one value for both ports",
                    "export with the same reference at both ports", 1,
                )  # fmt: skip
            head.reference_ohm = head.references[0]
    if head.ports == 1 and head.network in ("H", "G"):
        faults.add(
            "option line", head.network, "S, Y or Z for one port", "H and G belong to two ports", head.option_line
        )
    faults.raise_if_any()


def _keyword(code: bytes) -> tuple[str, str]:
    name, _, value = text_of(code[1:300]).partition("]")
    return " ".join(name.split()).upper(), value.strip()


def _said(word: str, value: str, line: int, head: Head, faults: FaultList) -> bool:
    """Take in one keyword; true if [Reference] may go on in the next lines."""
    place = f"[{word.title()}]"
    if word == "VERSION":
        if value not in ("2.0", "2.1", "1.0", "1.1"):
            faults.add(place, value, "2.0", "save the file as version 1 or 2.0", line)
        head.version = 2 if value.startswith("2") else 1
    elif head.version == 1:
        faults.add(place, None, "[Version] 2.0 before any other keyword", "keywords belong to version 2", line)
    elif word == "NUMBER OF PORTS":
        if value not in ("1", "2"):
            faults.add(place, value, "1 or 2 ports", "export a reflection (.s1p) or a two-port (.s2p)", line)
        else:
            head.ports, head.ports_line = int(value), line
    elif word in ("TWO-PORT DATA ORDER", "TWO-PORT ORDER"):
        head.order = value.upper()
        if head.order not in ("12_21", "21_12"):
            faults.add(place, value, "12_21 or 21_12", "save the file again", line)
    elif word in ("NUMBER OF FREQUENCIES", "NUMBER OF NOISE FREQUENCIES"):
        if not (value.isascii() and value.isdigit() and len(value) <= 9 and int(value) > 0):
            faults.add(place, value, "a whole number above 0", "save the file again", line)
        elif word == "NUMBER OF FREQUENCIES":
            head.declared = int(value)
    elif word == "REFERENCE":
        _references(value.encode(), line, head, faults)
        return True
    elif word == "MATRIX FORMAT":
        head.matrix = value.upper()
        if head.matrix not in ("FULL", "LOWER", "UPPER"):
            faults.add(place, value, "Full, Lower or Upper", "save the file again", line)
    elif word == "MIXED-MODE ORDER":
        faults.add(place, value, "single-ended data", "export without mixed modes", line)
    elif word not in ("END", "NOISE DATA"):
        faults.add(place, value or None, "a keyword of version 2.0", "remove it, or save the file again", line)
    else:
        faults.add(place, None, "[Network Data] before it", "export the sweep again", line)
    return False


def _references(code: bytes, line: int, head: Head, faults: FaultList) -> None:
    for word in code[:2000].split()[:4]:
        value = plain_number(word)
        if value is None or not 0 < value < 1e6:
            faults.add("[Reference]", text_of(word), "a resistance above 0, in ohm", "correct it", line)
            value = SYSTEM_OHM
        head.references.append(value)
    del head.references[2:]


def _option(code: bytes, line: int, head: Head, faults: FaultList) -> None:
    """One option line: words in any order and case, each with a default. Only the first one counts."""
    if head.option_line:
        head.mended.append(f"line {line}: a second option line, not used")
        return
    head.option_line = line
    words = text_of(code[1:2000]).upper().split()
    k = 0
    while k < len(words) and len(faults) < MOST_FAULTS:
        word = words[k]
        if word in _UNITS:
            head.unit = _UNITS[word]
        elif word in NETWORKS:
            head.network = word
        elif word in ("MA", "DB", "RI"):
            head.format = word
        elif word == "R" or (word[0] == "R" and plain_number(word[1:].encode()) is not None):
            if word == "R":
                k += 1
                text = words[k] if k < len(words) else ""
            else:
                text = word[1:]
            value = plain_number(text.encode("utf-8", "replace"))
            if value is None or not 0 < value < 1e6:
                faults.add("option line", text or "R alone", "R and a resistance above 0, in ohm", "correct it", line)
            else:
                head.reference_ohm = value
        else:
            faults.add(
                "option line", word, "a unit (Hz, kHz, MHz, GHz), S, Y, Z, H or G, MA, DB or RI, and R with its ohms",
                "correct the word", line,
            )  # fmt: skip
        k += 1


def plain_number(word: bytes) -> float | None:
    """A plain decimal number; no underscores, no nan, no infinity."""
    if not word or word.translate(None, PLAIN):
        return None
    try:
        value = float(word)
    except ValueError:
        return None
    return value if np.isfinite(value) else None
