"""
Touchstone 1.x and 2.0, one and two ports: strict, fast, and every fault with its line.

A file is taken as it is or refused with reasons; nothing is guessed silently. Where every row is plain numbers of the right
count, they are converted in one go; only a file that fails this is looked at line by line, to say what is wrong with it.
Source: IBIS Open Forum, Touchstone File Format Specification, versions 1.1 and 2.0.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path

import numpy as np

from upmast.errors import FaultList
from upmast.field.measurement import SYSTEM_OHM, Complexes, Floats, Sweep, TwoPort
from upmast.field.readers.convert import NETWORKS, to_scattering
from upmast.rf.cascade import renormalise_gamma, renormalise_s

MOST_BYTES = 32 * 1024 * 1024
MOST_POINTS = 1_000_000
MOST_FAULTS = 20
MOST_COMMENTS = 200
HIGHEST_HZ = 1e13  # beyond any instrument: the unit of the option line must be wrong
LARGEST = 1e6  # size of a reflection or transmission that no passive or active part has
_UNITS = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
_PLAIN = b"0123456789+-.eE \t\r\n\f\v"
_NUMBERS = {1: 3, 2: 9}
NOISE_NUMBERS = 5
Row = tuple[int, list[bytes]]  # line number from 1, words


@dataclass
class _Head:
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


def read_sweep(data: bytes, file: str, *, repair: bool = False) -> Sweep:
    """
    A reflection sweep from the bytes of a one-port file; of a two-port file the reflection S11 is taken, and said.

    Parameters
    ----------
    file : its name; the ending .s1p or .s2p tells the number of ports of a version 1 file.
    repair : sort frequencies and merge repeated ones, and list it in `mended`. Without it both are faults.

    Raises
    ------
    InputFaults
        With every fault found, at most twenty; never anything else, whatever the bytes are.
    """
    faults = FaultList(file)
    head, f, s, _ = _read(data, file, repair, faults)
    gamma = s[:, 0, 0]
    if head.ports == 2:
        head.mended.append("two-port file: its reflection S11 is taken")
    only = _phase_is_missing(gamma, head)
    if head.reference_ohm != SYSTEM_OHM:
        if only:
            faults.add(
                "option line", f"reference {head.reference_ohm:g} ohm, no phase", "phase, or a reference of 50 ohm",
                "without phase it can't be referred to 50 ohm: export the sweep again with phase", head.option_line,
            )  # fmt: skip
            faults.raise_if_any()
        gamma = renormalise_gamma(gamma, head.reference_ohm, SYSTEM_OHM)
        head.mended.append(f"referred from {head.reference_ohm:g} ohm to 50 ohm")
    magnitude = np.abs(gamma)
    if only:
        gamma = np.full(gamma.shape, complex(np.nan, np.nan))
        head.mended.append("every angle is 0: taken as size without phase")
    return Sweep(
        file, hashlib.sha256(data).hexdigest(), f, np.ascontiguousarray(gamma), magnitude, only, head.reference_ohm,
        head.format, tuple(head.comments), tuple(head.mended),
    )  # fmt: skip


def read_two_port(data: bytes, file: str, *, repair: bool = False) -> TwoPort:
    """A two-port part from the bytes of a file. Raises InputFaults, also for a one-port file."""
    faults = FaultList(file)
    head, f, s, noise = _read(data, file, repair, faults)
    if head.ports != 2:
        faults.add("", "one port", "a file of two ports (.s2p)", "measure the part through, both ports", 0)
        faults.raise_if_any()
    if head.reference_ohm != SYSTEM_OHM:
        s = renormalise_s(s, head.reference_ohm, SYSTEM_OHM)
        head.mended.append(f"referred from {head.reference_ohm:g} ohm to 50 ohm")
    return TwoPort(
        file, hashlib.sha256(data).hexdigest(), f, s, head.reference_ohm, head.format, noise, tuple(head.comments),
        tuple(head.mended),
    )  # fmt: skip


def read_file(path: Path, *, repair: bool = False) -> Sweep:
    """A sweep from a file, not more than 32 MB of it. Raises InputFaults, and OSError if it can't be opened."""
    with path.open("rb") as stream:
        data = stream.read(MOST_BYTES + 1)
    return read_sweep(data, path.name, repair=repair)


def _read(data: bytes, file: str, repair: bool, faults: FaultList) -> tuple[_Head, Floats, Complexes, Floats]:
    head = _Head()
    lower = file.lower()
    known = 2 if lower.endswith(".s2p") else 1 if lower.endswith(".s1p") else 0
    head.ports = known or 1
    lines = _lines(data, head, faults)
    first, last, noise_at = _sections(lines, head, bool(known), faults)
    table, at = _numbers(lines, first, last, head, bool(known), faults)
    f, rows, noise = _split(table, at, head, faults)
    if noise_at and head.ports == 2:
        noise = _noise_block(lines, noise_at, faults)
    faults.raise_if_any()
    if head.declared is not None and head.declared != f.size:
        faults.add(
            "[Number of Frequencies]", f"{f.size} frequencies", f"{head.declared}, as the file says itself",
            "the file is cut off or was edited: save it again", 0,
        )  # fmt: skip
        faults.raise_if_any()
    f = f * head.unit
    at = at[: f.size]
    f, rows, at = _order(f, rows, at, head, repair, faults)
    s = _scattering(f, rows, at, head, faults)
    faults.raise_if_any()
    noise = noise * np.array([head.unit, 1, 1, 1, 1])
    return head, f, s, noise


# --- bytes to lines ---------------------------------------------------------------------------------------------------


def _lines(data: bytes, head: _Head, faults: FaultList) -> list[bytes]:
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
    return data.splitlines()


def _text(raw: bytes) -> str:
    """Words of a file, whatever their code page was."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _comment(raw: bytes, head: _Head) -> None:
    text = "".join(ch if ch.isprintable() else " " for ch in _text(raw[:2000])).strip()[:400]
    if text and len(head.comments) < MOST_COMMENTS:
        head.comments.append(text)


# --- before the data --------------------------------------------------------------------------------------------------


def _sections(lines: list[bytes], head: _Head, known: bool, faults: FaultList) -> tuple[int, int, int]:
    """Read option line and keywords; give the first and last line of the network data, and the first of noise data."""
    information = waiting = False
    data_at = -1
    for index, raw in enumerate(lines):
        code, mark, said = raw.partition(b"!")
        if mark:
            _comment(said, head)
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
                _text(code),
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


def _settle(head: _Head, known: bool, faults: FaultList) -> None:
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
    name, _, value = _text(code[1:300]).partition("]")
    return " ".join(name.split()).upper(), value.strip()


def _said(word: str, value: str, line: int, head: _Head, faults: FaultList) -> bool:
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


def _references(code: bytes, line: int, head: _Head, faults: FaultList) -> None:
    for word in code.split():
        value = _number(word)
        if value is None or not 0 < value < 1e6:
            faults.add("[Reference]", _text(word), "a resistance above 0, in ohm", "correct it", line)
            value = SYSTEM_OHM
        head.references.append(value)
    del head.references[2:]


def _option(code: bytes, line: int, head: _Head, faults: FaultList) -> None:
    """One option line: words in any order and case, each with a default. Only the first one counts."""
    if head.option_line:
        head.mended.append(f"line {line}: a second option line, not used")
        return
    head.option_line = line
    words = _text(code[1:2000]).upper().split()
    k = 0
    while k < len(words):
        word = words[k]
        if word in _UNITS:
            head.unit = _UNITS[word]
        elif word in NETWORKS:
            head.network = word
        elif word in ("MA", "DB", "RI"):
            head.format = word
        elif word == "R" or (word[0] == "R" and _number(word[1:].encode()) is not None):
            if word == "R":
                k += 1
                text = words[k] if k < len(words) else ""
            else:
                text = word[1:]
            value = _number(text.encode("utf-8", "replace"))
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


def _number(word: bytes) -> float | None:
    """A plain decimal number; no underscores, no nan, no infinity."""
    if not word or word.translate(None, _PLAIN):
        return None
    try:
        value = float(word)
    except ValueError:
        return None
    return value if np.isfinite(value) else None


# --- rows -------------------------------------------------------------------------------------------------------------


def _numbers(
    lines: list[bytes], first: int, last: int, head: _Head, known: bool, faults: FaultList
) -> tuple[Floats, Sequence[int]]:
    """
    The rows as one table with the line number of each; two-port noise rows are filled up with NaN.

    First the quick way, for rows of plain numbers of the right count; else line by line.
    """
    body = lines[first:last]
    clean = not b"\n".join(body).translate(None, _PLAIN)
    if clean and len(body) <= MOST_POINTS:
        words = [line.split() for line in body]
        counts = set(map(len, words))
        if not known and head.version == 1 and counts - {0} == {9}:
            head.ports = 2
        if counts == {head.numbers}:
            try:
                flat = list(map(float, chain.from_iterable(words)))
            except ValueError:
                flat = []
            table = np.array(flat).reshape(-1, head.numbers)
            if flat and np.isfinite(table).all():
                return table, range(first + 1, last + 1)
    return _slowly(body, first, head, faults)


def _slowly(body: list[bytes], first: int, head: _Head, faults: FaultList) -> tuple[Floats, list[int]]:
    rows: list[list[float]] = []
    at: list[int] = []
    want = head.numbers
    more = noise = 0
    for index, raw in enumerate(body, first + 1):
        code, mark, said = raw.partition(b"!")
        if mark and index > first + 1:  # the first one has been read with the head
            _comment(said, head)
        words = code.split()
        if not words:
            continue
        if words[0].startswith(b"#"):
            head.mended.append(f"line {index}: a second option line, not used")
            continue
        got: list[float] = []
        fault = _row(words, want, got, head, bool(rows), noise)
        if fault is not None:
            if len(faults) < MOST_FAULTS:
                faults.add("", fault[0], fault[1], fault[2], index)
            else:
                more += 1
            continue
        noise += len(got) < want
        rows.append(got + [np.nan] * (want - len(got)))
        at.append(index)
        if len(rows) > MOST_POINTS:
            faults.add("", f"more than {MOST_POINTS} rows", f"at most {MOST_POINTS}", "export fewer points", index)
            break
    if more:
        faults.add(
            "", f"{more} more rows with faults", "rows of plain numbers", "export the sweep again", len(body) + first
        )
    elif not rows and not len(faults):
        faults.add("", "no rows of numbers", "one row for each frequency", "export the sweep again", first + len(body))
    faults.raise_if_any()
    return np.array(rows, dtype=np.float64), at


def _row(
    words: list[bytes], want: int, got: list[float], head: _Head, later: bool, noise: int
) -> tuple[str, str, str] | None:
    """Convert one row into `got`, or say what is wrong: got, expected, remedy."""
    for word in words[:40]:
        value = _number(word)
        if value is None:
            text = _text(word)
            if text.lower().lstrip("+-") in ("nan", "inf", "infinity", "1.#inf", "1.#ind", "1.#qnan"):
                return text, "finite numbers", "the instrument had no value here: calibrate and sweep again"
            if "," in text:
                return text, "a decimal point and blanks between numbers", "export with a decimal point, not a comma"
            return text, "numbers only", "remove the words, or put `!` before them"
        got.append(value)
    if noise:
        if len(words) != NOISE_NUMBERS:
            return f"{len(words)} numbers", "5 numbers, as in the other noise rows", "correct the row"
        return None
    if len(words) == want:
        return None
    if head.ports == 2 and head.version == 1 and later and len(words) == NOISE_NUMBERS:
        return None
    pairs = (want - 1) // 2
    expected = f"{want} numbers: a frequency and {pairs} pair{'s' * (pairs > 1)}"
    remedy = "a row was cut or joined: export the sweep again"
    if len(words) == 9 and head.ports == 1:
        remedy = "this is two-port data: name the file .s2p"
    elif len(words) == 3 and head.ports == 2:
        remedy = "this is one-port data: name the file .s1p"
    elif len(words) == 2 and head.ports == 1:
        remedy = "size without phase: export a Touchstone file with both"
    return f"{len(words)} number{'s' * (len(words) != 1)}", expected, remedy


def _split(table: Floats, at: Sequence[int], head: _Head, faults: FaultList) -> tuple[Floats, Floats, Floats]:
    """Network rows and, in version 1, the noise rows behind them, which begin where the frequency falls."""
    empty = np.empty((0, NOISE_NUMBERS))
    if table.shape[1] != 9 or not np.isnan(table[-1, -1]):
        return table[:, 0], table[:, 1:], empty
    start = int(np.argmax(np.isnan(table[:, -1])))
    if table[start, 0] > table[start - 1, 0]:
        faults.add(
            "", "5 numbers at a higher frequency than the row before", "9 numbers, or noise data from a lower frequency on",
            "a row was cut: export again", at[start],
        )  # fmt: skip
    head.mended.append(f"{len(table) - start} rows of noise data from line {at[start]} on, kept apart")
    return table[:start, 0], table[:start, 1:], table[start:, :NOISE_NUMBERS]


def _noise_block(lines: list[bytes], first: int, faults: FaultList) -> Floats:
    rows = []
    for index, raw in enumerate(lines[first:], first + 1):
        code = raw.partition(b"!")[0].strip()
        if code.startswith(b"["):
            break
        words = [_number(word) for word in code.split()[:40]]
        if not words:
            continue
        if len(words) != NOISE_NUMBERS or None in words:
            if len(faults) < MOST_FAULTS:
                faults.add("[Noise Data]", _text(code), "5 numbers in a row", "export the part again", index)
            continue
        rows.append(words)
    return np.array(rows, dtype=np.float64).reshape(-1, NOISE_NUMBERS)


# --- values -----------------------------------------------------------------------------------------------------------


def _order(
    f: Floats, rows: Floats, at: Sequence[int], head: _Head, repair: bool, faults: FaultList
) -> tuple[Floats, Floats, Sequence[int]]:
    bad = np.flatnonzero((f < 0) | ~(f <= HIGHEST_HZ))
    for k in bad[:MOST_FAULTS]:
        faults.add("frequency", f"{f[k]:g} Hz", "0 Hz to 10 THz", "check the unit in the option line", at[k])
    faults.raise_if_any()
    step = np.diff(f)
    wrong = np.flatnonzero(step <= 0)
    if not wrong.size:
        return f, rows, at
    if not repair:
        for k in wrong[:MOST_FAULTS]:
            same = "the same again" if step[k] == 0 else "lower"
            faults.add(
                "frequency", f"{f[k + 1] / 1e6:.6f} MHz, {same} than in the row before" if step[k] else f"{f[k + 1] / 1e6:.6f} MHz, {same}",
                "frequencies that rise from row to row",
                "save the sweep again; or read it with repair, which sorts and merges and says so", at[k + 1],
            )  # fmt: skip
        faults.raise_if_any()
    place = np.argsort(f, kind="stable")
    f, rows, at = f[place], rows[place], [at[k] for k in place]
    fell = int(np.count_nonzero(step < 0))
    if fell:
        head.mended.append(f"rows sorted by frequency (it fell {fell} times)")
    unique, first = np.unique(f, return_index=True)
    if unique.size < f.size:
        head.mended.append(f"{f.size - unique.size} repeated frequencies: the first row of each is kept")
        f, rows, at = unique, rows[first], [at[k] for k in first]
    return f, rows, at


def _scattering(f: Floats, rows: Floats, at: Sequence[int], head: _Head, faults: FaultList) -> Complexes:
    a, b = rows[:, 0::2], rows[:, 1::2]
    with np.errstate(all="ignore"):
        if head.format == "RI":
            values = a + 1j * b
        else:
            if head.format == "MA" and (a < 0).any():
                k = int(np.argmax((a < 0).any(axis=1)))
                faults.add(
                    "", f"a negative size at {f[k] / 1e6:.6f} MHz", "sizes of 0 or more (MA)",
                    "the option line may be wrong: DB or RI?", at[k],
                )  # fmt: skip
                faults.raise_if_any()
            size = a if head.format == "MA" else 10.0 ** (a / 20.0)
            values = size * np.exp(1j * np.deg2rad(b))
        matrix = _matrix(values, head)
        s = to_scattering(matrix, head.network, head.reference_ohm, normalised=head.version == 1)
        fine = (np.abs(s) <= LARGEST).all(axis=(1, 2))
    if not fine.all():
        for k in np.flatnonzero(~fine)[:MOST_FAULTS]:
            faults.add(
                "", f"no usable value at {f[k] / 1e6:.6f} MHz", "values of a real part", "calibrate and sweep again",
                at[k],
            )  # fmt: skip
        faults.raise_if_any()
    return s


def _matrix(values: Complexes, head: _Head) -> Complexes:
    """Pairs of one row placed in the matrix: version 1 two ports are 11, 21, 12, 22."""
    if head.ports == 1:
        return values[:, :, None]
    if head.matrix != "FULL":
        one, two, three = values[:, 0], values[:, 1], values[:, 2]
        return np.stack([np.stack([one, two], -1), np.stack([two, three], -1)], -2)
    if head.order == "12_21":
        return values.reshape(-1, 2, 2)
    return values[:, [0, 2, 1, 3]].reshape(-1, 2, 2)


def _phase_is_missing(gamma: Complexes, head: _Head) -> bool:
    """Every angle 0: an instrument's way to save a size alone."""
    if gamma.size < 2 or head.network != "S":
        return False
    return bool(np.all(gamma.imag == 0) and np.all(gamma.real >= 0))
