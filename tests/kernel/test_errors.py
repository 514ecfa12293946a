"""Faults: read by a tired person."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.errors import Fault, FaultList, InputFaults, shorten


def test_a_fault_says_where_what_and_what_to_do() -> None:
    fault = Fault(
        "site.yaml", "radios[3].maximum_w", "many", "a number in W", "maximum_w is: highest input power", 12, 9
    )
    assert str(fault) == (
        "site.yaml:12:9  radios[3].maximum_w\n"
        "    got:      many\n"
        "    expected: a number in W\n"
        "    do:       maximum_w is: highest input power"
    )
    assert fault.as_data() == {
        "file": "site.yaml", "line": 12, "column": 9, "place": "radios[3].maximum_w", "got": "many", "expected": "a number in W",
        "do": "maximum_w is: highest input power",
    }  # fmt: skip


def test_a_fault_without_place_or_remedy() -> None:
    assert str(Fault("a.s2p", "", "", "text", "")) == "a.s2p\n    expected: text"


def test_all_faults_come_at_once_in_the_order_of_the_file() -> None:
    faults = FaultList("f")
    faults.raise_if_any()
    faults.add("b", 1, "x", "", 9, 1)
    faults.add("a", None, "y", "", 2, 5)
    faults.add("c", "z", "y", "", 2, 1)
    with pytest.raises(InputFaults) as caught:
        faults.raise_if_any()
    assert [(f.place, f.got) for f in caught.value.faults] == [("c", "z"), ("a", ""), ("b", "1")]
    assert str(caught.value).count("expected:") == 3


def test_a_hostile_file_can_not_fill_the_memory_with_faults() -> None:
    faults = FaultList("f", most=3)
    for line in range(1, 11):
        faults.add("a", line, "x", "", line, 1)
    with pytest.raises(InputFaults) as caught:
        faults.raise_if_any()
    assert [f.got for f in caught.value.faults] == ["1", "2", "3", "7 more faults"]


@given(st.text(max_size=400) | st.integers() | st.lists(st.text(max_size=20)), st.integers(1, 100))
def test_a_value_in_a_message_is_one_short_printable_line(value: object, most: int) -> None:
    text = shorten(value, most)
    assert len(text) <= most
    assert text.isprintable()


def test_terminal_codes_do_not_pass_into_a_message() -> None:
    assert shorten("\x1b[31mred\x07\nnext") == "?[31mred??next"
