"""Sources: no number without one."""

from __future__ import annotations

import pytest

from upmast.source import INVENTED, PRACTICE, Mark, Source


@pytest.mark.parametrize("document", ["", "   ", "\n"])
def test_a_source_needs_a_document(document: str) -> None:
    with pytest.raises(ValueError, match="a source needs a document"):
        Source(document)


@pytest.mark.parametrize(
    ("source", "text"),
    [
        (Source("IEC 60228"), "IEC 60228"),
        (Source("IEC 60228", "table 3", "2004"), "IEC 60228 (2004), table 3"),
        (Source("IEC 60228", mark=Mark.MEMORY), "IEC 60228 [memory]"),
        (PRACTICE, "common practice, no source [practice]"),
        (INVENTED, "invented [invented]"),
    ],
)
def test_a_source_says_its_mark_unless_it_is_confirmed(source: Source, text: str) -> None:
    assert str(source) == text


def test_a_source_can_not_be_changed() -> None:
    with pytest.raises(AttributeError):
        PRACTICE.document = "another"  # type: ignore[misc]
