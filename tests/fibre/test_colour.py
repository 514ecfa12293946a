"""Colours: complete, distinct, replaceable."""

from __future__ import annotations

import pytest

from upmast.fibre import Colour, strand_colours, tia598_colours
from upmast.source import INVENTED


def test_no_two_positions_look_alike_and_tracers_are_seen() -> None:
    colours = tia598_colours()
    assert len({(c.name, c.tracer) for c in colours}) == 24
    assert all(c.name != c.tracer for c in colours)
    assert [c.name for c in colours[:12]] == [c.name for c in colours[12:]]
    assert {str(c.source.mark) for c in colours[12:]} == {"memory"}


def test_every_strand_of_144_is_unique() -> None:
    assert len({strand_colours(n) for n in range(1, 145)}) == 144


def test_another_table_and_larger_tubes() -> None:
    table = [Colour(name, "", INVENTED) for name in ("one", "two", "three", "four")]
    assert [str(c) for c in strand_colours(6, 4, table)] == ["two", "two"]
    assert str(strand_colours(24, 24)[1]) == "aqua with black tracer"
    with pytest.raises(ValueError, match="4 colours"):
        strand_colours(17, 4, table)
    with pytest.raises(ValueError, match="from 1"):
        strand_colours(0)
