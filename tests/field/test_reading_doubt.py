"""How far a reading may be off: declared, by the class of the instrument, by the default of its kind."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.errors import UsageError
from upmast.field.readers.reading import KINDS
from upmast.field.reading_doubt import Doubt, class_of, classes, doubt_of, span_of
from upmast.source import Mark

_spec = importlib.util.spec_from_file_location("made_readings", Path(__file__).parent / "made_readings.py")
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)
read = made.read


def test_every_kind_has_a_default_and_every_row_a_source() -> None:
    for kind in KINDS:
        assert sum(one.default for one in classes(kind)) == 1, kind
    for one in classes():
        assert one.kind in KINDS
        assert one.doubt.source.document
        assert one.doubt.source.mark is not Mark.CONFIRMED  # none was seen in a standard
        assert one.meaning


def test_a_kind_without_a_row_has_no_uncertainty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("upmast.field.reading_doubt.classes", lambda kind="": ())
    one = read("torque", "A2-J1", 5.0)
    assert doubt_of(one) is None
    assert doubt_of(one, {"torque": 0.3}) == Doubt(0.3)


def test_words_beside_the_reading_choose_the_class() -> None:
    plain = doubt_of(read("bond-resistance", "A2-E1", 2.0))
    assert plain is not None
    assert plain.value == 0.2
    for words in ({"instrument": "Multimeter 3"}, {"remark": "two-point"}):
        told = doubt_of(read("bond-resistance", "A2-E1", 2.0, **words))
        assert told is not None
        assert told.value == 5.0  # the leads of two points: several milliohms
    both = doubt_of(read("bond-resistance", "A2-E1", 2.0, instrument="four-wire", remark="two wire at the bar"))
    assert both is not None
    assert both.value == 5.0  # the less sure of two


def test_declared_goes_first() -> None:
    one = read("voltage", "A2", -53.0, serial="0012", instrument="panel meter")
    for declared, value in (
        ({"0012": 0.05, "panel meter": 1.0, "voltage": 2.0}, 0.05), ({"panel meter": 1.0, "voltage": 2.0}, 1.0),
        ({"voltage": "multimeter"}, 0.1), ({"voltage": Doubt(0.02, 0.001)}, 0.02), ({"torque": 9.0}, 0.5),
    ):  # fmt: skip
        found = doubt_of(one, declared)
        assert found is not None
        assert found.value == value


def test_an_unknown_class_names_those_there_are() -> None:
    with pytest.raises(UsageError, match="four-wire, two-point"):
        class_of("bond-resistance", "guess")
    for wrong in ((-1.0, 0.0), (float("nan"), 0.0), (0.1, 2.0)):
        with pytest.raises(UsageError):
            Doubt(*wrong)


def test_bounds_are_open_to_one_side() -> None:
    doubt = Doubt(1.0)
    below, above = (span_of(read("pim", "A2-J1", -120.0, comparator=c), doubt) for c in "<>")
    assert below is not None
    assert above is not None
    assert (below.low, below.high) == (-np.inf, -119.0)
    assert (above.low, above.high) == (-121.0, np.inf)
    over = read("loop-resistance", "T1-P01", None, comparator=">")
    assert span_of(over, Doubt(0.1)) is None
    reach = span_of(over, class_of("loop-resistance", "leads-zeroed"))
    assert reach is not None
    assert (reach.low, reach.high, reach.bound) == (200.0, np.inf, ">")


@given(st.floats(0, 10), st.floats(0, 1), st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=20))
def test_arrays_equal_scalars_and_signs_do_not_matter(value: float, share: float, readings: list[float]) -> None:
    doubt = Doubt(value, share)
    many = doubt.off(readings)
    assert many.tolist() == [float(doubt.off(one)) for one in readings]
    assert np.array_equal(many, doubt.off([-one for one in readings]))
    assert np.all(many >= value)
