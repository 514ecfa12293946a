"""
Rows of numbers of a Touchstone file: first the quick way for a whole file, else line by line with every fault named.

Counting numbers alone is not enough: two cut rows can have the right count together, so every row is counted by itself.
The quick way takes a block only where all its rows are alike, and says nothing else: what it leaves goes the way of every line.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

import numpy as np

from upmast.errors import FaultList
from upmast.field.measurement import Floats
from upmast.field.readers.plain_numbers import floats_between_commas
from upmast.field.readers.touchstone_head import MOST_FAULTS, PLAIN, Head, plain_number, take_comment, text_of

MOST_POINTS = 1_000_000
MOST_COUNTED = 5_000  # rows with faults that are counted; then the reading ends
MORE_ROWS = " more rows with faults"  # behind their count, in the last fault
NOISE_NUMBERS = 5
_NUMBER = b"0123456789+-.eE"


def quick_table(block: bytes, numbers: int) -> Floats | None:
    """
    The rows of a block as one table; None where it is not sure that every row is `numbers` plain numbers with single blanks.

    What is left of the block without its numbers must be the same in every row. The parser of JSON then takes each number, and
    refuses what is none: it rounds as `float` does, in a fifth of its time.
    """
    between = block.translate(None, _NUMBER)
    rows = between.count(b"\n")
    one = between[:numbers]
    if not 0 < rows <= MOST_POINTS or one[-1:] != b"\n" or one.strip(b" \t") != b"\n" or between != one * rows:
        return None
    commas = block[:-1].replace(b" ", b",").replace(b"\n", b",")
    table = floats_between_commas(commas if b"\t" not in one else commas.replace(b"\t", b","))
    if table is None or table.size != rows * numbers or not np.isfinite(table).all():
        return None
    if not table.all() and any(b"-0" + end in block for end in (b" ", b"\t", b"\n")):
        return None  # a whole number to JSON, which knows no zero below 0
    return table.reshape(rows, numbers)


def table_of(
    lines: list[bytes], first: int, last: int, head: Head, known: bool, faults: FaultList
) -> tuple[Floats, Sequence[int]]:
    """
    The rows as one table with the line number of each; two-port noise rows are filled up with NaN.

    First the quick way, for rows of plain numbers of the right count; else line by line.
    """
    body = lines[first:last]
    clean = not b"\n".join(body).translate(None, PLAIN)
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


def _slowly(body: list[bytes], first: int, head: Head, faults: FaultList) -> tuple[Floats, list[int]]:
    rows: list[list[float]] = []
    at: list[int] = []
    want = head.numbers
    more = noise = 0
    for index, raw in enumerate(body, first + 1):
        code, mark, said = raw.partition(b"!")
        if mark and index > first + 1:  # the first one has been read with the head
            take_comment(said, head)
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
                if more >= MOST_COUNTED:
                    break
            continue
        noise += len(got) < want
        rows.append(got + [np.nan] * (want - len(got)))
        at.append(index)
        if len(rows) > MOST_POINTS:
            faults.add("", f"more than {MOST_POINTS} rows", f"at most {MOST_POINTS}", "export fewer points", index)
            break
    if more:
        faults.add(
            "",
            f"{more}{MORE_ROWS}{' or more' * (more >= MOST_COUNTED)}",
            "rows of plain numbers",
            "export the sweep again",
            len(body) + first,
        )
    elif not rows and not len(faults):
        faults.add("", "no rows of numbers", "one row for each frequency", "export the sweep again", first + len(body))
    faults.raise_if_any()
    return np.array(rows, dtype=np.float64), at


def _row(
    words: list[bytes], want: int, got: list[float], head: Head, later: bool, noise: int
) -> tuple[str, str, str] | None:
    """Convert one row into `got`, or say what is wrong: got, expected, remedy."""
    for word in words[:40]:
        value = plain_number(word)
        if value is None:
            text = text_of(word)
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
    elif len(words) == 2 and head.ports == 1 and not later:
        remedy = "size without phase: export a Touchstone file with both"
    return f"{len(words)} number{'s' * (len(words) != 1)}", expected, remedy


def parted(table: Floats, at: Sequence[int], head: Head, faults: FaultList) -> tuple[Floats, Floats, Floats]:
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


def noise_rows(lines: list[bytes], first: int, faults: FaultList) -> Floats:
    rows = []
    for index, raw in enumerate(lines[first:], first + 1):
        code = raw.partition(b"!")[0].strip()
        if code.startswith(b"["):
            break
        words = [plain_number(word) for word in code.split()[:40]]
        if not words:
            continue
        if len(words) != NOISE_NUMBERS or None in words:
            if len(faults) < MOST_FAULTS:
                faults.add("[Noise Data]", text_of(code), "5 numbers in a row", "export the part again", index)
            continue
        rows.append(words)
    return np.array(rows, dtype=np.float64).reshape(-1, NOISE_NUMBERS)
