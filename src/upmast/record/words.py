"""Small words of the record: how many of something."""

from __future__ import annotations

import sys
from pathlib import PurePath


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


def how_to_install(extra: str, prefix: str = sys.prefix) -> str:
    """
    The command that installs an extra, by the pip of the environment that runs the program.

    >>> how_to_install("record", "/home/u/upmast/.venv"), how_to_install("record", "/usr")
    (".venv/bin/pip install -e '.[record]'", "pip install -e '.[record]'")
    """
    pip = ".venv/bin/pip" if PurePath(prefix).name == ".venv" else "pip"
    return f"{pip} install -e '.[{extra}]'"


MISSING = f"the record needs SQLAlchemy, which is not installed: {how_to_install('record')} in the folder of upmast"
