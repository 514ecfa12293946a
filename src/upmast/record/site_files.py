"""The files of a site folder that a record and a closeout take along: what the proof is made from, and what was built."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from upmast.catalogue.catalogue import Catalogue
from upmast.errors import UsageError
from upmast.line.built import BUILT_FILE
from upmast.line.built import load as load_built
from upmast.line.line import Line
from upmast.line.save import LINE_FILE, PARTS_FILE
from upmast.record.canonical import sha256
from upmast.record.kinds import FileKept, make
from upmast.record.record import Writing

SITE_FILE = "site.yaml"
MOST_BYTES = 8_000_000
MOST_CATALOGUES = 50


def read_file(path: Path) -> bytes:
    """A file of a site as bytes. Raises UsageError if it is missing or too large."""
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise UsageError(f"{path} can't be read: {error.strerror}") from None
    if len(data) > MOST_BYTES:
        raise UsageError(f"{path} is larger than {MOST_BYTES // 1_000_000} MB: too large to be a file of a site")
    return data


def site_files(folder: Path, catalogues: Sequence[Path] = ()) -> dict[str, bytes]:
    """All that a proof is made from, by the name that it has in a closeout. Raises UsageError."""
    out = {name: read_file(folder / name) for name in (SITE_FILE, LINE_FILE, PARTS_FILE)}
    if (folder / BUILT_FILE).is_file():
        out[BUILT_FILE] = read_file(folder / BUILT_FILE)
    own = [*sorted((folder / "catalogue").glob("*.yaml")), *catalogues]
    if len(own) > MOST_CATALOGUES:
        raise UsageError(f"more than {MOST_CATALOGUES} catalogues")
    return out | {f"catalogue-{n:02d}.yaml": read_file(path) for n, path in enumerate(own, 1)}


def site_digest(folder: Path) -> str:
    return sha256(read_file(folder / SITE_FILE))


def keep_site(site: Writing, folder: Path) -> str:
    """Keep site.yaml as it stands, since the limits in force follow from it; the key of its entry."""
    return site.add(make(FileKept, name=SITE_FILE, content=site.keep(read_file(folder / SITE_FILE)), sort="site"))


def built_line(folder: Path, designed: Line, catalogue: Catalogue) -> Line | None:
    """The line as built; None where there is no built.yaml. Raises InputFaults."""
    path = folder / BUILT_FILE
    return load_built(path, designed, catalogue) if path.is_file() else None
