"""Look at a zip before anything in it is unpacked: size of its directory, names, links, bombs, overlaps, ways of packing."""

from __future__ import annotations

import re
import stat
import struct
import unicodedata
import zipfile
from collections.abc import Sequence
from itertools import pairwise
from typing import IO

MOST_ENTRIES = 20_000
MOST_DIRECTORY_BYTES = 16 * 1024 * 1024
MOST_PACKED_BYTES = 8 * 1024**3
MOST_TOTAL_BYTES = 8 * 1024**3  # unpacked, all together
MOST_ENTRY_BYTES = 4 * 1024**3
HIGHEST_RATIO = 200.0  # unpacked to packed of one entry: tables of numbers pack to about a tenth
HIGHEST_TOTAL_RATIO = 100.0
SMALL_BYTES = 1_000_000  # below it a ratio harms nobody
MOST_NAME = 400
_END, _LOCATOR, _END64 = b"PK\x05\x06", b"PK\x06\x07", b"PK\x06\x06"


class Refused(Exception):
    """Why a zip, or one entry of it, is not unpacked: what was got, what was expected."""

    def __init__(self, got: str, expected: str, remedy: str = "ask for the files again, packed plainly") -> None:
        super().__init__(got)
        self.got, self.expected, self.remedy = got, expected, remedy


def open_zip(stream: IO[bytes]) -> zipfile.ZipFile:
    """
    Open a zip of bounded directory.

    Raises
    ------
    Refused
        If it is no zip, damaged, or its directory is too large to be held.
    """
    size = _directory_bytes(stream)
    if size > MOST_DIRECTORY_BYTES:
        raise Refused(f"a directory of {size / 1e6:.0f} MB", f"at most {MOST_DIRECTORY_BYTES / 1e6:.0f} MB")
    try:
        archive = zipfile.ZipFile(stream)
    except (
        zipfile.BadZipFile,
        struct.error,
        OSError,
        ValueError,
        NotImplementedError,
        EOFError,
        OverflowError,
    ) as error:
        raise Refused(f"a zip that can't be read ({error})"[:200], "a sound zip") from None
    if len(archive.infolist()) > MOST_ENTRIES:
        raise Refused(f"{len(archive.infolist())} entries", f"at most {MOST_ENTRIES}")
    return archive


def _directory_bytes(stream: IO[bytes]) -> int:
    """Size of the central directory as the end record says, found where Python's own reader finds it."""
    stream.seek(0, 2)
    length = stream.tell()
    if length > MOST_PACKED_BYTES:
        raise Refused(
            f"{length / 1e9:.1f} GB", f"at most {MOST_PACKED_BYTES / 1e9:.1f} GB", "pack the files in several zips"
        )
    reach = min(length, 65_557 + 76)
    stream.seek(length - reach)
    tail = stream.read(reach)
    at = len(tail) - 22
    if at < 0 or tail[at : at + 4] != _END or tail[-2:] != b"\0\0":
        at = tail[max(len(tail) - 65_557, 0) :].rfind(_END) + max(len(tail) - 65_557, 0)
        if at < 0 or tail[at : at + 4] != _END or at + 22 > len(tail):
            raise Refused("no end record: the file is cut off or no zip", "a sound zip")
    sizes = [struct.unpack("<L", tail[at + 12 : at + 16])[0]]
    if sizes[0] == 0xFFFFFFFF:
        sizes = [0]
    if at >= 20 and tail[at - 20 : at - 16] == _LOCATOR and at >= 76 and tail[at - 76 : at - 72] == _END64:
        sizes.append(struct.unpack("<Q", tail[at - 36 : at - 28])[0])
    return int(max(sizes))


def check_whole(entries: Sequence[zipfile.ZipInfo], room: int = MOST_TOTAL_BYTES) -> int:
    """Unpacked bytes of all entries. Raises Refused for a bomb by total or ratio, and for entries that share their bytes."""
    total = sum(one.file_size for one in entries)
    packed = sum(one.compress_size for one in entries)
    if total > room:
        raise Refused(
            f"{total / 1e9:.1f} GB unpacked", f"at most {room / 1e9:.1f} GB", "pack the files in several zips"
        )
    if total > 100 * SMALL_BYTES and total > HIGHEST_TOTAL_RATIO * max(packed, 1):
        raise Refused(
            f"it unpacks to {total / max(packed, 1):.0f} times its size", f"at most {HIGHEST_TOTAL_RATIO:g} times",
            "check where the file comes from",
        )  # fmt: skip
    spans = sorted((one.header_offset, one.header_offset + 30 + one.compress_size, one.filename) for one in entries)
    for before, after in pairwise(spans):
        if after[0] < before[1]:
            raise Refused("entries that share their bytes", "each entry by itself", "check where the file comes from")
    return total


def check_entry(entry: zipfile.ZipInfo) -> None:
    """Raise Refused for an entry that may not be unpacked: its name, a link, a bomb, or a way of packing that is not read."""
    check_name(entry.orig_filename)
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind == stat.S_IFLNK:
        raise Refused("a link", "plain files", "pack the file itself")
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        raise Refused("a device, pipe or socket", "plain files", "leave it out")
    if entry.file_size > MOST_ENTRY_BYTES:
        raise Refused(f"{entry.file_size / 1e9:.1f} GB unpacked", f"at most {MOST_ENTRY_BYTES / 1e9:.1f} GB")
    if entry.file_size > SMALL_BYTES and entry.file_size > HIGHEST_RATIO * max(entry.compress_size, 1):
        raise Refused(
            f"it unpacks to {entry.file_size / max(entry.compress_size, 1):.0f} times its size",
            f"at most {HIGHEST_RATIO:g} times", "check where the file comes from",
        )  # fmt: skip
    if not entry.flag_bits & 1 and entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise Refused(
            f"packed by method {entry.compress_type}", "stored or deflated", "pack the files again as a plain zip"
        )


def check_name(name: str) -> None:
    """Raise Refused for a name that leads out of its folder, is absolute, or holds what no file name holds."""
    parts = re.split(r"[/\\]", name)
    if not name or len(name) > MOST_NAME:
        raise Refused(f"a name of {len(name)} characters", f"1 to {MOST_NAME} characters")
    if any(unicodedata.category(ch) in ("Cc", "Cs", "Co") for ch in name):
        raise Refused("control characters in the name", "a plain name")
    if name.startswith(("/", "\\")) or re.match(r"[A-Za-z]:", name):
        raise Refused("an absolute name", "a name inside the archive", "pack the folder, not the disk")
    if ".." in parts:
        raise Refused(
            "a name that leads out of its folder", "a name inside the archive", "check where the file comes from"
        )
