"""
A bundle from outside: which names it may have, and a manifest that lists what is there. What guards it stands in `guarded`.

Only three names are known, and none becomes a path.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from upmast.record.bundle import FORMAT, MANIFEST, names_digest
from upmast.record.canonical import DIGEST, SITE, canonical, sha256
from upmast.record.contents import MOST_BYTES
from upmast.record.guarded import GuardedZip

SITE_NAME = re.compile(r"sites/([A-HJ-NP-Z0-9-]{1,24})\.jsonl\Z")
CONTENT_NAME = re.compile(r"contents/([0-9a-f]{64})\Z")
MOST_MANIFEST = 16_000_000
MOST_SITE = 2_000_000_000
MOST_TOTAL = 16_000_000_000


class Archive(GuardedZip):
    """An open bundle whose outside was checked. Raises InputFaults when it is opened or read."""

    WHAT = "a bundle of a record"
    NAMES = f"{MANIFEST}, sites/ID.jsonl or contents/DIGEST"

    def __init__(self, place: Path, most_total: int = MOST_TOTAL) -> None:
        self.manifest: dict[str, Any] = {}
        super().__init__(place, most_total)

    def most_bytes(self, name: str) -> int | None:
        """How large a file of this name may be; None where the name is not known."""
        if name == MANIFEST:
            return MOST_MANIFEST
        if (site := SITE_NAME.match(name)) is not None:
            return MOST_SITE if SITE.match(site[1]) else None
        return MOST_BYTES if CONTENT_NAME.match(name) else None

    def _opened(self) -> None:
        self.manifest = self._manifest()

    def content(self, digest: str) -> bytes:
        """A raw file, checked against its name. Raises InputFaults."""
        name = f"contents/{digest}"
        data = self.read(name)
        if sha256(data) != digest:
            self.refuse(name, "other bytes", "the bytes of this digest", "fetch it again: it was changed")
        return data

    def size(self, digest: str) -> int:
        """How many bytes a raw file has."""
        return self.members[f"contents/{digest}"].file_size

    @property
    def contents(self) -> list[str]:
        return sorted(found[1] for name in self.members if (found := CONTENT_NAME.match(name)))

    @property
    def sites(self) -> list[str]:
        return sorted(self.manifest["sites"])

    def _manifest(self) -> dict[str, Any]:
        if MANIFEST not in self.members:
            self.refuse(MANIFEST, "nothing", "the manifest of a bundle", "give a bundle that a record was taken out to")
        data = self.read(MANIFEST)
        try:
            found = json.loads(data)
            same = canonical(found).encode("utf-8") + b"\n" == data
        except (ValueError, RecursionError):
            found, same = None, False
        if not same or not _sound(found):
            self.refuse(
                MANIFEST, "something else", f"a manifest of the format {FORMAT!r}", "a newer upmast may read it"
            )
        there = {found_[1] for name in self.members if (found_ := SITE_NAME.match(name))}
        for site in sorted(there ^ set(found["sites"])):
            self.faults.add(
                f"sites/{site}.jsonl", "listed, or there, but not both", "the files that it lists", "fetch it again"
            )
        told, have = found["contents"], self.contents
        if told["count"] != len(have) or told["sha256"] != names_digest(have):
            self.faults.add(
                "contents", f"{len(have)} raw files", f"the {told['count']} that it lists", "fetch it again"
            )
        self.faults.raise_if_any()
        return dict(found)


def _sound(found: Any) -> bool:
    """Whether a manifest has the shape that we write."""
    if not isinstance(found, dict) or set(found) != {"format", "program", "made", "sites", "contents"}:
        return False
    sites, contents = found["sites"], found["contents"]
    if found["format"] != FORMAT or not isinstance(sites, dict) or not sites or not isinstance(contents, dict):
        return False
    shapes = [(contents, {"count": int, "bytes": int, "sha256": str})]
    shapes += [(told, {"entries": int, "head": str, "sha256": str, "bytes": int}) for told in sites.values()]
    for told, shape in shapes:
        if not isinstance(told, dict) or set(told) != set(shape):
            return False
        if any(type(told[name]) is not kind for name, kind in shape.items()):
            return False
        if not all(DIGEST.match(told[name]) for name in ("head", "sha256") if name in told):
            return False
    return all(isinstance(site, str) and SITE.match(site) for site in sites)


__all__ = ["MOST_TOTAL", "Archive"]
