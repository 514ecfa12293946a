"""Declarations: every fault of a file at once, each with its line, in words that say what to do."""

from __future__ import annotations

from typing import Annotated, Literal

import pytest
from pydantic import Field, model_validator

from upmast.declare import Declared, fields, load
from upmast.errors import InputFaults
from upmast.yamlfile import parse


class Port(Declared):
    name: str = Field(pattern=r"^[A-Z0-9-]+$", max_length=12, description="label of the port, e.g. R1")
    low_hz: float = Field(gt=0, description="lowest frequency")


class Mast(Declared):
    kind: Literal["lattice", "pole", "roof"] = Field(description="what stands there")
    height_m: float = Field(gt=0, le=400, description="height above ground")
    width_mm: float | None = Field(None, gt=0, description="face width")
    stock_lengths_m: tuple[float, ...] = Field((), description="lengths that are kept")
    levels_count: Annotated[int, Field(ge=0)] = Field(1, description="platforms")
    painted: bool = Field(False, description="has paint on it")
    cost: float = Field(0.0, ge=0, description="price")
    note: str = Field("", max_length=10, description="anything worth knowing")
    ports: tuple[Port, ...] = Field((), max_length=3, description="its ports")
    spare: Port | None = Field(None, description="one more port")
    named: dict[str, Port] = Field(default_factory=dict, description="ports by name")

    @model_validator(mode="after")
    def _pole(self) -> Mast:
        if self.kind == "pole" and self.width_mm is None:
            raise ValueError("expected width_mm for a pole | measure it at the foot")
        return self


LEAST = "kind: roof\nheight_m: 42\n"


def made(text: str) -> Mast:
    return load(Mast, parse(text, "mast.yaml"))


def refused(text: str) -> list[str]:
    with pytest.raises(InputFaults) as caught:
        made(text)
    return [str(fault) for fault in caught.value.faults]


def fault(where: str, place: str, got: str, expected: str, do: str = "") -> str:
    lines = [f"mast.yaml:{where}  {place}" if place else f"mast.yaml:{where}"]
    lines += [f"    got:      {got}"] if got else []
    lines += [f"    expected: {expected}"]
    return "\n".join([*lines, f"    do:       {do}"] if do else lines)


@pytest.mark.parametrize(
    ("text", "height_m"),
    [
        ("height_m: 42", 42), ("height_m: 42 m", 42), ("height_m: 138 ft", 42.0624), ("height_ft: 138", 42.0624), ("height_ft: 138 ft", 42.0624),
        ("height_ft: 42 m", 42), ("height_km: 0.042", 42), ("height_m: '42'", 42), ("height_m: 4200 cm", 42), ("height_m: 4.2e1", 42),
    ],
)  # fmt: skip
def test_ways_to_write_one_height(text: str, height_m: float) -> None:
    assert made(f"kind: roof\n{text}\n").height_m == pytest.approx(height_m, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "stock_lengths_m: [3.048, 2]",
        "stock_lengths_m: [10 ft, 2]",
        "stock_lengths_ft: [10, 2 m]",
        "stock_lengths_m: [10 ft, 200 cm]",
    ],
)
def test_lists_of_numbers_have_units_too(text: str) -> None:
    assert made(LEAST + text).stock_lengths_m == pytest.approx((3.048, 2.0))


def test_other_units_inside_nested_declarations() -> None:
    mast = made(
        LEAST
        + "ports: [{name: R1, low_mhz: 1710}]\nspare: {name: R2, low_ghz: 3.3}\nnamed: {a: {name: R3, low_hz: 700 MHz}}\n"
    )
    assert [port.low_hz for port in (*mast.ports, mast.spare, mast.named["a"]) if port] == [1.71e9, 3.3e9, 7e8]


METRES = "in m, ft, km"
ASKED = "height_m is: height above ground"


@pytest.mark.parametrize(
    ("text", "place", "got", "expected"),
    [
        ("height_m: '42,5'", "height_m", "42,5", "a number in m with a decimal point, not a comma"),
        ("height_m: 42 kg", "height_m", "42 kg", f"kg measures mass; here length is asked, {METRES}"),
        ("height_ft: 42 kg", "height_ft", "42 kg", f"kg measures mass; here length is asked, {METRES}"),
        ("height_m: 42 ell", "height_m", "42 ell", f"unit 'ell' is not known; length may be given {METRES}"),
        ("height_m: true", "height_m", "True", "a number"),
        ("height_m: yes", "height_m", "yes", "a number in m"),
        ("height_m: -3", "height_m", "-3", "greater than 0 m"),
        ("height_m: 401", "height_m", "401", "less than or equal to 400 m"),
        ("height_ft: 2000", "height_ft", "2000", "less than or equal to 400 m"),
        ("height_m: [42]", "height_m", "a list", "a number"),
        ("height_m: {a: 1}", "height_m", "a mapping", "a number"),
        ("height_m:", "height_m", "nothing", "a number"),
        ("height_m: 1e999", "height_m", "inf", "a finite number"),
        ("height_ft: true", "height_ft", "True", "a number"),
    ],
)
def test_faults_of_a_number(text: str, place: str, got: str, expected: str) -> None:
    outside = expected.startswith(("greater", "less"))
    asked = f"correct the value; {ASKED}" if outside else ASKED
    assert refused(f"kind: roof\n{text}\n") == [fault("2:1", place, got, expected, asked)]


def test_a_missing_value() -> None:
    assert refused("kind: roof\n") == [
        fault("1:1", "height_m", "nothing", "height_m: height above ground", "add height_m")
    ]


def test_a_key_with_a_unit_of_something_else() -> None:
    unknown = fault(
        "3:1",
        "height_kg",
        "unknown key 'height_kg'",
        "length, as one of height_m, height_ft, height_km",
        "write height_m in m",
    )
    assert refused(LEAST + "height_kg: 3\n") == [unknown]


@pytest.mark.parametrize("second", ["height_ft: 3", "height_km: 3"])
def test_one_quantity_is_given_once(second: str) -> None:
    key = second.partition(":")[0]
    expected = "length, as one of height_m, height_ft, height_km"
    assert refused(LEAST + second) == [fault("3:1", key, f"unknown key '{key}'", expected, "write height_m in m")]
    assert "unknown key 'height_km'" in refused("kind: roof\nheight_ft: 3\nheight_km: 3\n")[0]


def test_a_rule_over_several_fields() -> None:
    assert refused("kind: pole\nheight_m: 9\n") == [
        fault("1:1", "", "kind: pole, height_m: 9", "width_mm for a pole", "measure it at the foot")
    ]


def test_too_long_a_list() -> None:
    rows = ", ".join(["{name: R1, low_hz: 1}"] * 4)
    assert refused(f"{LEAST}ports: [{rows}]\n") == [
        fault("3:1", "ports", "a list", "a list of at most 3 items", "ports is: its ports")
    ]


@pytest.mark.parametrize("text", ["7", "[1]", "text", ""])
def test_a_file_that_is_no_mapping(text: str) -> None:
    (only,) = refused(text)
    assert "expected: a mapping" in only


def test_all_faults_of_a_file_at_once() -> None:
    seen = refused(
        "kind: latice\n"
        "height_ft: 12,5\n"
        "levels_count: 1.5\n"
        "painted: perhaps\n"
        "notes: typo\n"
        "note: far too long for this\n"
        "ports:\n"
        "  - name: r1\n"
        "    low_mhz: -3\n"
        "  - low_hz: 1 kg\n"
        "  - 7\n"
        "stock_lengths_m: [1, x]\n"
        "cost: -1\n"
    )
    assert seen == [
        fault("1:1", "kind", "latice", "one of 'lattice', 'pole' or 'roof'", "did you mean 'lattice'?"),
        fault(
            "2:1",
            "height_ft",
            "12,5",
            "a number in m with a decimal point, not a comma",
            "height_m is: height above ground",
        ),
        fault("3:1", "levels_count", "1.5", "a whole number", "levels_count is: platforms"),
        fault("4:1", "painted", "perhaps", "true or false", "painted is: has paint on it"),
        fault("5:1", "notes", "unknown key 'notes'", "one of " + ", ".join(Mast.model_fields), "did you mean 'note'?"),
        fault(
            "6:1", "note", "far too long for this", "text of at most 10 characters", "note is: anything worth knowing"
        ),
        fault(
            "8:5", "ports[1].name", "r1", "text of the pattern '^[A-Z0-9-]+$'", "name is: label of the port, e.g. R1"
        ),
        fault("9:5", "ports[1].low_mhz", "-3", "greater than 0 Hz", "correct the value; low_hz is: lowest frequency"),
        fault("10:5", "ports[2].name", "nothing", "name: label of the port, e.g. R1", "add name"),
        fault(
            "10:5",
            "ports[2].low_hz",
            "1 kg",
            "kg measures mass; here frequency is asked, in Hz, kHz, MHz, GHz",
            "low_hz is: lowest frequency",
        ),
        fault("11:5", "ports[3]", "7", "a mapping", ""),
        fault(
            "12:1",
            "stock_lengths_m",
            "a list",
            "a number in m (item 2, 'x')",
            "stock_lengths_m is: lengths that are kept",
        ),
        fault("13:1", "cost", "-1", "greater than or equal to 0 cost units", "correct the value; cost is: price"),
    ]


def test_field_list() -> None:
    rows = {row.place: row for row in fields(Mast)}
    assert rows["height_m"] == ("height_m", "m", "number", True, "", "height above ground")
    assert rows["kind"].kind == "lattice | pole | roof"
    assert rows["levels_count"][2:5] == ("whole number", False, "1")
    assert rows["painted"][2:5] == ("true | false", False, "false")
    assert rows["ports"].kind == "list"
    assert rows["ports[].low_hz"] == ("ports[].low_hz", "Hz", "number", True, "", "lowest frequency")
    assert rows["spare"].kind == "mapping"
    assert rows["spare.name"].required
    assert "named.low_hz" in rows
    assert list(rows)[:2] == ["kind", "height_m"]


def test_a_made_thing_can_not_be_changed() -> None:
    mast = made(LEAST)
    with pytest.raises(ValueError, match="frozen"):
        mast.height_m = 3.0


def test_a_list_whose_items_are_at_fault_is_not_called_too_short() -> None:
    class Leg(Declared):
        length_m: float = Field(gt=0, description="length")

    class Route(Declared):
        legs: tuple[Leg, ...] = Field(min_length=1, description="legs")

    with pytest.raises(InputFaults) as caught:
        load(Route, parse("legs:\n  - {length_m: 5, sun: true}\n"))
    assert [fault.place for fault in caught.value.faults] == ["legs[1].sun"]


def test_a_decimal_comma_inside_braces_is_told() -> None:
    class Leg(Declared):
        length_m: float = Field(gt=0, description="length")

    with pytest.raises(InputFaults) as caught:
        load(Leg, parse("{length_m: 8,5}"))
    assert caught.value.faults[0].expected == "a decimal point, not a comma"
