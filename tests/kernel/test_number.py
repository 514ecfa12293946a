"""Numbers as people read them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.number import _PLACES, number, places_apart


@pytest.mark.parametrize(
    ("value", "unit", "signed", "text"),
    [
        (None, "V", False, "no value"), (math.nan, "V", False, "no value"), (math.inf, "min", False, "unlimited"),
        (-math.inf, "V", True, "-unlimited"), (12.0, "", False, "12"), (1.5, "", False, "1.500"), (0.0, "V", True, "+0.00 V"),
        (-0.0, "V", False, "0.00 V"), (0.0004, "V", False, "0.0004 V"), (-0.0004, "V", True, "-0.0004 V"), (7e5, "Hz", False, "0.70 MHz"),
        (1234.4, "W", False, "1234 W"), (0.02, "a strange unit", False, "0.02 a strange unit"),
    ],
)  # fmt: skip
def test_what_is_printed(value: float | None, unit: str, signed: bool, text: str) -> None:
    assert number(value, unit, signed=signed) == text


@given(st.floats(-1e9, 1e9, allow_nan=False), st.sampled_from(sorted(_PLACES)))
def test_the_printed_number_is_near_and_never_hides_a_sign_or_a_difference(value: float, unit: str) -> None:
    shown = float(number(value, unit).split(" ")[0])
    assert shown == pytest.approx(value, rel=0.06, abs=0.5 * 10 ** -_PLACES[unit] + 1e-12)
    assert (shown == 0) == (value == 0)
    assert number(value, unit, signed=True)[0] in "+-"


@pytest.mark.parametrize(("values", "unit", "places"), [
    ((0.45, 0.5), "MΩ", 2), ((39.73, 38.4), "V", 2), ((0.5, 0.5), "MΩ", 1), ((0.49999999, 0.5), "MΩ", 1), ((6.598, 6.6), "N·m", 3),
    ((None, 0.5), "MΩ", 1), ((float("inf"), 0.5), "MΩ", 1),
])  # fmt: skip
def test_digits_by_which_values_are_told_apart(values: tuple[float | None, ...], unit: str, places: int) -> None:
    assert places_apart(values, unit) == places


@given(st.floats(0.001, 100), st.floats(0.001, 100))
def test_values_that_differ_are_shown_as_different(value: float, limit: float) -> None:
    places = places_apart((value, limit), "MΩ")
    shown = number(value, "MΩ", places=places) != number(limit, "MΩ", places=places)
    assert shown or abs(value - limit) < 2e-6
