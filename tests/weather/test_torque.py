"""The torque table: complete, ordered, marked."""

from __future__ import annotations

import pytest

from upmast.source import Mark
from upmast.weather import interfaces, torque


def test_every_row_has_an_order_and_a_mark() -> None:
    assert len(set(interfaces())) == len(interfaces())
    for name in interfaces():
        row = torque(name)
        assert row.source.mark in {Mark.MEMORY, Mark.PRACTICE}  # none was seen in a standard's text
        if row.by_hand:
            assert row.high_nm is None
        else:
            assert row.low_nm is not None
            assert row.high_nm is not None
            assert 0 < row.low_nm <= row.high_nm


def test_unknown_interface() -> None:
    with pytest.raises(ValueError, match="7-16"):
        torque("8-17")
