"""
Raw files by digest: written once, whole, never changed and never overwritten. Small ones stand in the database, large ones beside it.

A file's own name never becomes a path: its place follows from its digest alone. Whatever is read is checked against its digest.
"""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from upmast.errors import UsageError
from upmast.record.canonical import DIGEST, sha256

MOST_BYTES = 64_000_000  # of one raw file, as in a pack
INLINE_BYTES = 100_000  # up to this size a file stands in the database: one transaction, no file of its own
STALE_S = 24 * 3600.0  # a temporary file older than this belongs to nobody any more
TEMPORARY = ".writing-"


class Folder:
    """A folder of files named by their SHA-256 digest, in 256 folders by its first two digits."""

    def __init__(self, place: Path) -> None:
        self.place = place

    def path(self, digest: str) -> Path:
        if not DIGEST.match(digest):
            raise UsageError("a raw file is named by 64 hexadecimal digits and by nothing else")
        return self.place / digest[:2] / digest

    def put(self, data: bytes) -> str:
        """
        Keep some bytes and return their digest. Bytes that are there already are left as they are.

        Raises
        ------
        UsageError
            If the folder can't be written, or holds other bytes under this digest: they are not overwritten.
        """
        digest = sha256(data)
        path = self.path(digest)
        if self.has(digest):
            self.get(digest)  # raises if it is not what it says
            return digest
        temporary = ""
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if path.parent.is_symlink() or self.place.is_symlink():
                raise UsageError(f"{path.parent} is a link: raw files are kept in plain folders")
            handle, temporary = tempfile.mkstemp(prefix=TEMPORARY, dir=path.parent)
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fchmod(file.fileno(), 0o444)
                os.fsync(file.fileno())
            _place(temporary, path)
            _sync(path.parent)
        except OSError as error:
            raise UsageError(f"{path.parent} can't be written: {error.strerror}; nothing was changed") from None
        finally:
            if temporary:
                with contextlib.suppress(OSError):
                    os.unlink(temporary)
        return digest

    def get(self, digest: str) -> bytes:
        """
        The bytes of a digest.

        Raises
        ------
        UsageError
            If they are missing, too many, or were changed.
        """
        path = self.path(digest)
        try:
            handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
            with os.fdopen(handle, "rb") as file:
                if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                    raise UsageError(f"{path} is no file")
                data = file.read(MOST_BYTES + 1)
        except FileNotFoundError:
            raise UsageError(f"the raw file {digest} is missing in {self.place}") from None
        except OSError as error:
            raise UsageError(f"{path} can't be read: {error.strerror}") from None
        if len(data) > MOST_BYTES or sha256(data) != digest:
            raise UsageError(f"the raw file {digest} in {self.place} was changed: put it back from a backup")
        return data

    def has(self, digest: str) -> bool:
        """Whether something stands under a digest; whether it is right, `get` tells."""
        path = self.path(digest)
        return path.is_symlink() or path.exists()

    def digests(self) -> Iterator[str]:
        """Every digest that stands here."""
        if self.place.is_dir() and not self.place.is_symlink():
            for folder in sorted(self.place.iterdir()):
                if len(folder.name) == 2 and folder.is_dir() and not folder.is_symlink():
                    yield from sorted(p.name for p in folder.iterdir() if DIGEST.match(p.name))

    def tidy(self, now: float | None = None) -> int:
        """Remove what writers left behind that were killed more than a day ago; how many."""
        count = 0
        for path in self.place.glob(f"??/{TEMPORARY}*"):
            with contextlib.suppress(OSError):
                if (now if now is not None else time.time()) - path.lstat().st_mtime > STALE_S:
                    path.unlink()
                    count += 1
        return count


def _place(temporary: str, path: Path) -> None:
    """Put a whole file in its place, never over another: of two writers of the same bytes the second changes nothing."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        return
    except OSError:  # a file system without hard links
        if not path.exists():
            os.replace(temporary, path)


def _sync(folder: Path) -> None:
    """The name of a new file is on the disk, too."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
