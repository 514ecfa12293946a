"""
The layers of a line in the record: designed, built and measured, each as its own text, and the differences between any two.

What is kept is the text of `line.yaml` and `parts.yaml`, so that a line of long ago is read without any catalogue of today.
"""

from __future__ import annotations

from upmast import yamlfile
from upmast.catalogue.catalogue import from_text
from upmast.errors import InputFaults, UsageError, shorten
from upmast.line.compare import Difference, compare, summary
from upmast.line.line import Layer, Line
from upmast.line.save import LINE_FILE, PARTS_FILE, dump, dump_parts, parse
from upmast.record import query
from upmast.record.again import Contents
from upmast.record.kinds import LineKept, make
from upmast.record.record import Record, Writing

MOST_TOLD = 5_000


def keep_line(site: Writing, line: Line, against: Line | None = None) -> str:
    """
    Keep one layer of a line and return the key of its entry.

    Parameters
    ----------
    against : the line that the differences are told from, mostly the designed one.

    Raises
    ------
    UsageError
        If a line is of another site.
    """
    for one in (line, against):
        if one is not None and one.site != site.site:
            raise UsageError(f"the line is of site {one.site}, and the record is asked to write to {site.site}")
    differences = compare(against, line) if against is not None else ()
    return site.add(
        make(
            LineKept, layer=str(line.layer), revision=line.revision, digest=line.digest, line=site.keep(dump(line).encode()),
            parts=site.keep(dump_parts(line).encode()), against=against.digest if against is not None else "",
            summary=shorten(summary(differences), 400) if against is not None else "",
            differences=tuple(shorten(d.words, 400) for d in differences[:MOST_TOLD]),
        )
    )  # fmt: skip


def lines(record: Record, site: str) -> tuple[LineKept, ...]:
    """Every layer that was kept, oldest first."""
    return tuple(what for _, what in query.said(record, site, LineKept))


def line_of(record: Record, kept: LineKept) -> Line:
    """The line of an entry of a record; see `line_from`."""
    return line_from(record.content, kept)


def line_from(contents: Contents, kept: LineKept) -> Line:
    """
    The line of an entry, read from its text.

    Parameters
    ----------
    contents : gives the bytes of a raw file by its digest, checked.

    Raises
    ------
    UsageError
        If the text can't be read any more, or gives another line than it did.
    """
    try:
        parts = from_text(yamlfile.parse(contents(kept.parts).decode("utf-8"), PARTS_FILE))
        saved = parse(yamlfile.parse(contents(kept.line).decode("utf-8"), LINE_FILE), parts)
    except (InputFaults, UnicodeDecodeError) as error:
        raise UsageError(
            f"the {kept.layer} line of revision {kept.revision} can't be read: {shorten(str(error), 300)}"
        ) from None
    if saved.line.digest != kept.digest:
        raise UsageError(f"the {kept.layer} line of revision {kept.revision} is not the line that its entry names")
    return saved.line


def last(record: Record, site: str, layer: Layer) -> Line | None:
    """The line of a layer that was kept last."""
    some = [kept for kept in lines(record, site) if kept.layer == str(layer)]
    return line_of(record, some[-1]) if some else None


def differences(record: Record, site: str, before: Layer, after: Layer) -> tuple[Difference, ...]:
    """
    What differs between the last lines of two layers.

    Raises
    ------
    UsageError
        If one of them was never kept.
    """
    found = [(layer, last(record, site, layer)) for layer in (before, after)]
    for layer, line in found:
        if line is None:
            raise UsageError(f"the record has no {layer} line of {site}")
    one, other = (line for _, line in found)
    assert one is not None
    assert other is not None
    return compare(one, other)
