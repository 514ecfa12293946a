"""One way to write a thing down, so that equal content gives an equal digest; and texts from outside made safe to keep."""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from datetime import UTC, datetime
from typing import Any

from upmast.errors import UsageError

MOST_NAME = 200
DIGEST = re.compile(r"[0-9a-f]{64}\Z")
SITE = re.compile(r"[A-HJ-NP-Z0-9]+(?:-[A-HJ-NP-Z0-9]+)*\Z")  # as in site.yaml
TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z\Z")
UNSEEN = re.compile(
    "[\u00ad\u200b\u2060\ufeff]"
)  # where a line may break or not: they come with what is copied out of a document
JOINERS = "\u200c\u200d"  # some scripts can't be written without them; they reorder nothing


def canonical(value: Any) -> str:
    """
    JSON in one form: keys sorted, no spaces, no NaN; a number prints as the shortest text that reads back to it.

    >>> canonical({"b": 1.50, "a": ["x", None]})
    '{"a":["x",null],"b":1.5}'
    """
    return _ENCODER.encode(value)


_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def key_of(kind: str, body: str) -> str:
    """The name of what an entry says, whenever and by whomever it was said: kind and content."""
    return sha256(f"{kind}\n{body}".encode())  # a kind is one word, so this is read in one way only


def printable(text: str) -> bool:
    """One line that can be shown as it is: no control characters, no reversal of direction, no half characters."""
    return text.isprintable() or all(ch.isprintable() or ch in JOINERS for ch in text)


def seen(text: str) -> str:
    """
    A text that a person gives, without characters that have no width and no meaning.

    >>> seen("NESS-\\u200bPT"), seen("\\ufeffA2-\\u2060J1")
    ('NESS-PT', 'A2-J1')
    """
    return UNSEEN.sub("", text)


def seen_id(text: str) -> str:
    """
    An id or a head as it is copied out of a document, where it may stand on two lines.

    >>> seen_id(" NESS-\\u200bPT/ \\n16/\\u200dab")
    'NESS-PT/16/ab'
    """
    return re.sub(rf"[{JOINERS}]|\s*[\r\n]\s*", "", seen(text)).strip()


def clean_name(name: str) -> str:
    """
    The last part of a file's name, in one line and bounded. It is kept to be read, and is never used as a path.

    >>> clean_name("../../etc/A2-J1\\u202e.s1p"), clean_name("C:\\\\sweeps\\\\a.s1p"), clean_name("..")
    ('A2-J1?.s1p', 'a.s1p', 'unnamed')
    """
    last = re.split(r"[/\\]", name)[-1][: 4 * MOST_NAME]
    if not printable(last):
        last = "".join(ch if printable(ch) else "?" for ch in last)
    text = unicodedata.normalize("NFC", last).strip()
    return "unnamed" if text in ("", ".", "..") else text[:MOST_NAME]


def timestamp(now: datetime) -> str:
    """
    A moment as it is kept: UTC, whole seconds.

    Raises
    ------
    UsageError
        For a time without a zone: nobody could say later when it was.
    """
    if now.tzinfo is None:
        raise UsageError(f"{now} has no time zone: give one, the record keeps UTC")
    return f"{now.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def check_site(site: str) -> str:
    """The id of a site, or UsageError."""
    if len(site) > 24 or not SITE.match(site):
        raise UsageError(f"{clean_name(site)!r} is not the id of a site: capitals, digits and hyphens, up to 24")
    return site


def check_author(author: str) -> str:
    """A declared name, or UsageError."""
    if not 2 <= len(author) <= 80 or not printable(author) or author != author.strip():
        raise UsageError("the author is a name (--by) of 2 to 80 characters in one line: who writes this entry?")
    return author


__all__ = [
    "DIGEST", "MOST_NAME", "SITE", "TIME", "canonical", "check_author", "check_site", "clean_name", "key_of", "printable",
    "seen", "seen_id", "sha256", "timestamp",
]  # fmt: skip
