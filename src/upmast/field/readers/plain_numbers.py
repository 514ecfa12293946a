"""
Plain numbers in one go, for the long traces whose rows are all alike; what is not sure is left to `cell_value`, or to `float`.

Plain is a number of digits with a minus and one decimal sign, nothing else: what comes out is the same as cell by cell.
"""

from __future__ import annotations

from collections.abc import Sequence
from struct import pack

import numpy as np
from msgspec import json

from upmast.field.measurement import Floats
from upmast.site.sheet_read import Cell

MOST_LENGTH = 20  # of a text; within the digits that exact decimals keep
_FLOATS = json.Decoder(tuple[float, ...])
_WRITTEN = {".": b"0123456789-.", ",": b"0123456789-,"}


def floats_between_commas(raw: bytes) -> Floats | None:
    """
    Numbers between commas, each rounded as `float` does; None where one is no finite number of JSON, as `.5`, `1.`, `+1` and `007`.

    A whole number of JSON has no zero below 0: `-0` comes out as 0.

    >>> floats_between_commas(b"703.25,-5e-1").tolist()
    [703.25, -0.5]
    """
    try:
        values = _FLOATS.decode(b"[" + raw + b"]")
    except ValueError:
        return None
    return np.frombuffer(pack(f"{len(values)}d", *values))  # in half the time of numpy.fromiter


def plain_floats(texts: Sequence[str], decimal: str, power: int = 0) -> Floats | None:
    """
    Texts as numbers times 10^power, each rounded once; None unless every one is plain, in one decimal convention.

    The parser of JSON takes them, and refuses `1.2.3`, `.5` or `007`; those are for the slower way to read or to refuse.

    >>> plain_floats(["703,25", "-0,5"], ",", 6).tolist()
    [703250000.0, -500000.0]
    >>> plain_floats(["703,25", "0.5"], ",") is None
    True
    """
    if decimal not in _WRITTEN or not texts or max(map(len, texts)) > MOST_LENGTH:
        return None
    joined = ";".join(texts)
    if not joined.isascii():
        return None
    raw = joined.encode("ascii")
    if raw.translate(None, _WRITTEN[decimal]) != b";" * (len(texts) - 1):
        return None
    if decimal == ",":
        raw = raw.replace(b",", b".")
    end = b"e%d" % power if power else b""
    out = floats_between_commas(raw.replace(b";", end + b",") + end)
    # a cell may hold a semicolon, and a zero may have been one below 0
    return out if out is not None and out.size == len(texts) and out.all() and np.isfinite(out).all() else None


def column_texts(rows: Sequence[tuple[Cell, ...]], column: int) -> list[str] | None:
    """The texts of a column that counts from 1; None where a row has no text there."""
    try:
        cells = [row[column - 1] for row in rows]
    except IndexError:
        return None
    return [cell.text for cell in cells] if all(cell.kind == "text" for cell in cells) else None
