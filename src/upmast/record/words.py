"""Small words of the record: how many of something."""

from __future__ import annotations


def many(count: int, what: str, several: str = "") -> str:
    """
    A count with its word, in the right number.

    >>> many(1, "test"), many(0, "test"), many(2, "new entry", "new entries")
    ('1 test', '0 tests', '2 new entries')
    """
    return f"{count} {what if count == 1 else several or what + 's'}"


def is_are(count: int) -> str:
    """
    >>> is_are(1), is_are(3)
    ('is', 'are')
    """
    return "is" if count == 1 else "are"
