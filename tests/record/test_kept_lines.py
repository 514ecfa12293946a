"""The layers of a line: kept as text, read back as the same line, and compared."""

from __future__ import annotations

from dataclasses import replace

import pytest

from upmast.errors import UsageError
from upmast.line.line import Layer, Line
from upmast.record import layers, query
from upmast.record.kinds import LineKept
from upmast.record.record import Record
from upmast.record.verify import verify


def built(line: Line) -> Line:
    items = tuple(replace(i, length_m=3.5, serial="J-77") if i.id == "A2-J1" else i for i in line.items)
    return replace(line, items=items, layer=Layer.BUILT)


def test_each_layer_comes_back_as_the_same_line(record: Record, line: Line) -> None:
    with record.writing("S1", "K. Ode") as writing:
        layers.keep_line(writing, line)
        layers.keep_line(writing, built(line), against=line)
    designed, as_built = layers.last(record, "S1", Layer.DESIGNED), layers.last(record, "S1", Layer.BUILT)
    assert designed is not None
    assert as_built is not None
    assert designed.digest == line.digest
    assert as_built.digest == built(line).digest
    assert as_built.by_id["A2-J1"].serial == "J-77"
    assert layers.last(record, "S1", Layer.MEASURED) is None
    first, second = layers.lines(record, "S1")
    assert (first.summary, first.differences) == ("", ())
    assert second.against == line.digest
    assert second.summary.startswith("1 longer")
    assert "A2-J1 is 0.50 m longer: 3.50 m instead of 3.00 m" in second.differences
    found = layers.differences(record, "S1", Layer.DESIGNED, Layer.BUILT)
    assert [(d.item, d.field) for d in found] == [("A2-J1", "length_m"), ("A2-J1", "serial")]
    assert verify(record) == ()


def test_a_revision_is_added_and_the_last_stands(record: Record, line: Line) -> None:
    second = replace(built(line), layer=Layer.DESIGNED, revision=2)
    for one in (line, second, second):
        with record.writing("S1", "K. Ode") as writing:
            layers.keep_line(writing, one)
    assert [k.revision for k in layers.lines(record, "S1")] == [1, 2]
    last = layers.last(record, "S1", Layer.DESIGNED)
    assert last is not None
    assert last.revision == 2
    assert [e.kind for e in query.found(record, "line", line.digest)] == ["line"]


def test_a_layer_that_was_never_kept_is_named(record: Record, line: Line) -> None:
    with record.writing("S1", "K. Ode") as writing:
        layers.keep_line(writing, line)
    with pytest.raises(UsageError, match="the record has no built line of S1"):
        layers.differences(record, "S1", Layer.DESIGNED, Layer.BUILT)


def test_a_line_of_another_site_is_refused(record: Record, line: Line) -> None:
    with pytest.raises(UsageError, match="the line is of site S1"), record.writing("S2", "K. Ode") as writing:
        layers.keep_line(writing, line)


def test_a_text_that_is_no_line_is_told(lone: Record, line: Line) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        layers.keep_line(writing, line)
    (kept,) = layers.lines(lone, "S1")
    with lone.writing("S1", "K. Ode") as writing:
        content = writing.keep(b"version: 1\nparts: [\xff")
        writing.add(LineKept(layer="built", revision=1, digest=kept.digest, line=content, parts=content))
    with pytest.raises(UsageError, match="the built line of revision 1 can't be read"):
        layers.last(lone, "S1", Layer.BUILT)
    with pytest.raises(UsageError, match="is not the line that its entry names"):
        layers.line_of(lone, kept.model_copy(update={"digest": "0" * 64}))
