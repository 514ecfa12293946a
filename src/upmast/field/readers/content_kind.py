"""What a file is by its first bytes, never by its name: sweep, table, workbook, photograph, document, or unknown."""

from __future__ import annotations

import re
from itertools import pairwise

from upmast.field.readers.cell_value import looks_like_number
from upmast.field.readers.table_text import delimiter_of

TOUCHSTONE, TABLE, WORKBOOK, PHOTO, PDF = "touchstone", "table", "workbook", "photo", "pdf"
ZIP, TEXT, ENCRYPTED, UNKNOWN = "zip", "text", "encrypted", "unknown"
KINDS = (TOUCHSTONE, TABLE, WORKBOOK, PHOTO, PDF, TEXT, ENCRYPTED, UNKNOWN)
MOST_HEADERS = 40  # rows that a header is looked for in
HEAD_BYTES = 64 * 1024  # that the kind is found from
_HEIF = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1", b"avif"})
_OPTION = re.compile(r"#\s*(?:(?:[kmg]?hz|[syzgh]|db|ma|ri|r|[0-9.]+(?:e[+-]?[0-9]+)?)\s*)*(?:!.*)?\Z", re.IGNORECASE)
_ALMOST = re.compile(
    r"#\s*[kmg]?hz\s+[syzgh]\s", re.IGNORECASE
)  # with a word that is none of it, which its reader names
_OTHERS = (
    (b"\xd0\xcf\x11\xe0", "an old or encrypted office document"), (b"\x1f\x8b", "a gzip file"), (b"7z\xbc\xaf", "a packed file (7z)"),
    (b"Rar!", "a packed file (rar)"), (b"\x00\x05\x16\x07", "a system file of another computer"), (b"Bud1", "a system file of another computer"),
    (b"\x00\x00\x00\x01Bud1", "a system file of another computer"), (b"MZ", "a program"), (b"\x7fELF", "a program"),
    (b"SQLite format 3\0", "a database"), (b"GIF8", "a picture that is no photograph (GIF)"), (b"BM", "a picture that is no photograph (BMP)"),
)  # fmt: skip


def content_kind(head: bytes, size: int) -> tuple[str, str]:
    """
    Kind of a file and why, from its first bytes (`HEAD_BYTES` of them are enough) and its size.

    >>> content_kind(b"# MHz S RI R 50\\n1 0.1 0.2\\n", 26)
    ('touchstone', 'an option line stands before its numbers')
    >>> content_kind(b"\\xff\\xd8\\xff\\xe0", 4000)[0], content_kind(b"", 0)
    ('photo', ('unknown', 'an empty file'))
    """
    if size == 0:
        return UNKNOWN, "an empty file"
    if head.startswith(b"\xff\xd8\xff"):
        return PHOTO, "JPEG"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return PHOTO, "PNG"
    if head[4:8] == b"ftyp" and (head[8:12] in _HEIF):
        return PHOTO, "HEIF"
    if b"%PDF-" in head[:1024]:
        return PDF, "PDF"
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return ZIP, "a zip"
    for magic, words in _OTHERS:
        if head.startswith(magic):
            return UNKNOWN, words
    text = _text(head)
    if text is None:
        return UNKNOWN, "bytes of no kind that is known here"
    return _kind_of_text(text)


def _text(head: bytes) -> str | None:
    """The head as text, None where it is none."""
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return head[: len(head) // 2 * 2].decode("utf-16", errors="replace")
    zeros = head.count(0)
    if zeros > len(head) // 5:
        little = head[1::2].count(0) >= head[0::2].count(0)
        text = head[: len(head) // 2 * 2].decode("utf-16-le" if little else "utf-16-be", errors="replace")
    elif zeros:
        return None
    else:
        text = head.decode("utf-8-sig", errors="replace")
        if text.count("\ufffd") > len(text) // 50 + 1:
            text = head.decode("cp1252", errors="replace")
    strange = sum(not (ch.isprintable() or ch in "\t\r\n\f\v") for ch in text[:8192])
    return None if strange > len(text[:8192]) // 50 else text


def _under_known_words(rows: list[list[str]], delimiter: str) -> bool:
    """Whether a row of words that name columns stands above a row of as many cells; of words between commas all have to be known."""
    from upmast.field.readers.header_words import meanings
    from upmast.field.readers.mapping_guess import USED
    from upmast.field.readers.values_columns import RULES

    for above, below in pairwise(rows[:MOST_HEADERS]):
        cells = [cell.strip(' "') for cell in above]
        if len(cells) < 2 or len(below) != len(cells) or not all(0 < len(cell) <= 60 for cell in cells):
            continue
        if "test" in (plain := [cell.casefold() for cell in cells]) and "reading" in plain:
            return True  # a test plan filled in
        known = [
            bool(found) and found[0].confidence >= USED for cell in cells if (found := meanings(cell, RULES)) or True
        ]
        if all(known) or (delimiter != "," and any(known)):
            return True
    return False


def _kind_of_text(text: str) -> tuple[str, str]:
    lines = [line.strip() for line in text.splitlines()[:2000]]
    code = [line.partition("!")[0].strip() for line in lines if line and not line.startswith("!")]
    for line in code[:20]:
        if line.startswith("#") and (_OPTION.match(line) or _ALMOST.match(line)):
            return TOUCHSTONE, "an option line stands before its numbers"
        if line.casefold().startswith("[version]"):
            return TOUCHSTONE, "it begins with a version keyword"
        if not line.startswith("["):
            break
    start = text.lstrip("\ufeff \t\r\n")[:200].casefold()
    if start.startswith(("<", "{\\rtf")):
        return UNKNOWN, "marked-up text (HTML, XML or RTF)"
    if start.startswith(("{", "---", "[\n")):
        return TEXT, "text that is no table"
    delimiter = delimiter_of(text)
    rows = [line.split(delimiter) for line in lines if delimiter in line]
    numbers = sum(sum(looks_like_number(cell.strip(' "')) for cell in row) > 0 for row in rows)
    if len(rows) >= 2 and numbers >= 1 and 2 * len(rows) >= len([line for line in lines if line]):
        return TABLE, "rows of cells with numbers"
    words = [row for row in rows if len(row) == max(len(one) for one in rows)] if rows else []
    if len(words) >= 2 and len(words[0]) >= 3:
        return TABLE, "rows of cells"
    if _under_known_words(rows, delimiter):
        return TABLE, "rows of cells under a header of known words"
    return TEXT, "text that is no table"
