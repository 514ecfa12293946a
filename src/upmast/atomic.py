"""Files that are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from upmast.errors import UsageError


def write_bytes(path: Path, data: bytes) -> None:
    """
    Write beside the place, then put in place: a reader sees the old file or the new one, never half of it.

    Raises
    ------
    UsageError
        If the folder can't be written, or the disk is full; the old file is still there.
    """
    temporary = ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as error:
        if temporary:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
        raise UsageError(f"{path} can't be written: {error.strerror}; nothing was changed") from None


def write_text(path: Path, text: str) -> None:
    """Like `write_bytes`, for text in UTF-8."""
    write_bytes(path, text.encode("utf-8"))


def write_texts(texts: Mapping[Path, str]) -> None:
    """
    Write files that belong together, all or none: where one can't be written, those before it are put back.

    Raises
    ------
    UsageError
        As for `write_bytes`.
    """
    before: dict[Path, bytes | None] = {}
    try:
        for path, text in texts.items():
            old = path.read_bytes() if path.is_file() else None
            write_text(path, text)
            before[path] = old
    except UsageError:
        for path, old in before.items():
            with contextlib.suppress(UsageError, OSError):
                if old is None:
                    path.unlink()
                else:
                    write_bytes(path, old)
        raise
