"""YAML: the 1.2 core rules, and the refusal of everything that a careful file does not need."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import yamlfile
from upmast.errors import Fault, InputFaults
from upmast.yamlfile import dump, parse, read, show_path


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2, section 10.3.2 (core schema)
        ("null", None), ("Null", None), ("NULL", None), ("~", None), ("", None), ("nUll", "nUll"),
        ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False), ("tRUE", "tRUE"),
        ("0", 0), ("-19", -19), ("+12", 12), ("010", 10), ("0o10", 8), ("0o7", 7), ("0x3A", 58), ("0xff", 255), ("-0", 0),
        ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0), ("1e3", 1000.0), ("3.14", 3.14), ("1.", 1.0),
        # words and forms that YAML 1.1 would have turned into something else
        ("no", "no"), ("No", "No"), ("yes", "yes"), ("on", "on"), ("off", "off"), ("y", "y"), ("n", "n"), ("NO", "NO"),
        ("12:30:00", "12:30:00"), ("190:20:30", "190:20:30"), ("1_000", "1_000"), ("0b101", "0b101"), ("2026-03-01", "2026-03-01"),
        ("2026-03-01T10:00:00Z", "2026-03-01T10:00:00Z"), ("<<", "<<"), ("=", "="),
        # not numbers
        ("0o8", "0o8"), ("0xg", "0xg"), ("1e", "1e"), ("e3", "e3"), ("1.2.3", "1.2.3"), (".", "."), ("--1", "--1"), ("-0o7", "-0o7"),
        ("١٢", "١٢"), (".inf", ".inf"), (".nan", ".nan"), ("12 m", "12 m"), ("12,5", "12,5"),
        # quotes make text
        ("'1'", "1"), ('"true"', "true"), ("''", ""), ('"\\u00e9"', "é"), ("|\n  1\n", "1\n"), (">-\n  1\n", "1"),
    ],
)  # fmt: skip
def test_scalars_by_the_core_rules(text: str, value: object) -> None:
    data = parse(f"key: {text}").data
    assert data == {"key": value}
    assert type(data["key"]) is type(value)
    if isinstance(value, float):
        assert math.copysign(1, data["key"]) == math.copysign(1, value)


def test_a_whole_number_that_nobody_means_stays_text() -> None:
    assert parse("a: " + "9" * 30).data == {"a": int("9" * 30)}
    assert parse("a: " + "9" * 31).data == {"a": "9" * 31}


@pytest.mark.parametrize("text", ["", "# only a comment\n", "---\n", "---\n...\n"])
def test_an_empty_text_is_nothing(text: str) -> None:
    assert parse(text).data is None


def test_keys_are_text() -> None:
    assert parse("1: a\nnull: b\ntrue: c\nno: d\n'x y': e").data == {
        "1": "a",
        "null": "b",
        "true": "c",
        "no": "d",
        "x y": "e",
    }


def test_every_value_has_a_place() -> None:
    text = parse("radios:\n  - id: R1\n    ports: [a, b]\n  - id: R2\nname: x\n")
    assert text.data == {"radios": [{"id": "R1", "ports": ["a", "b"]}, {"id": "R2"}], "name": "x"}
    assert text.position(("radios",)) == (1, 1)
    assert text.position(("radios", 0)) == (2, 5)
    assert text.position(("radios", 0, "ports", 1)) == (3, 16)
    assert text.position(("radios", 1, "id")) == (4, 5)
    assert text.position(("name",)) == (5, 1)
    assert text.position(("radios", 1, "missing")) == (4, 5)  # the nearest thing above it
    assert text.position(("nothing",)) == (1, 1)
    assert text.knows(("name",))
    assert not text.knows(("radios", 7))
    assert show_path(("radios", 2, "ports", 0, "name")) == "radios[3].ports[1].name"


def refusal(text: str) -> tuple[Fault, ...]:
    with pytest.raises(InputFaults) as caught:
        parse(text, "f.yaml")
    return caught.value.faults


@pytest.mark.parametrize(
    ("text", "got", "line", "column"),
    [
        ("a: &x 1\n", "an anchor or alias (& or *)", 1, 4),
        ("a: 1\nb: *x\n", "an anchor or alias (& or *)", 2, 4),
        ("a: &x [1]\nb: *x\n", "an anchor or alias (& or *)", 1, 4),
        ("a: {&x b: 1}\n", "an anchor or alias (& or *)", 1, 5),
        ("a: !!str 1\n", "tag tag:yaml.org,2002:str", 1, 4),
        ("a: !thing {b: 1}\n", "tag !thing", 1, 4),
        ("a: ! 1\n", "tag !", 1, 4),
        ("a: !!python/object/apply:os.system [ls]\n", "tag tag:yaml.org,2002:python/object/apply:os.system", 1, 4),
        ("? [1, 2]\n: 3\n", "a list or mapping as a key", 1, 3),
        ("{a: 1}: 3\n", "a list or mapping as a key", 1, 1),
        ("a: 1\n---\nb: 2\n", "a second document", 2, 1),
        ("x: 1\na: [1\n", "did not find expected ',' or ']'", 3, 1),
        ("a:\n\t- 1\n", "found character that cannot start any token", 2, 1),
        ("a: 1\n b: 2\n", "mapping values are not allowed in this context", 2, 3),
    ],
)
def test_what_is_refused_and_where(text: str, got: str, line: int, column: int) -> None:
    (fault,) = refusal(text)
    assert (fault.got, fault.line, fault.column) == (got, line, column)
    assert fault.file == "f.yaml"
    assert fault.expected
    assert fault.remedy


def test_duplicate_keys_are_all_named_with_the_first_place() -> None:
    faults = refusal("a: 1\nb: {c: 1, c: 2}\na: 3\n")
    assert [str(fault) for fault in faults] == [
        "f.yaml:2:11  b.c\n    got:      key 'c' twice\n    expected: one 'c' (the first is in line 2)\n    do:       remove or rename one of them",
        "f.yaml:3:1  a\n    got:      key 'a' twice\n    expected: one 'a' (the first is in line 1)\n    do:       remove or rename one of them",
    ]


@pytest.mark.parametrize(
    "text",
    [
        "{a: " * 10_000, "- " * 10_000 + "1", "\n".join(" " * i + "a:" for i in range(2_000)),
        "a: " + "[" * 31 + "]" * 31,
    ],
)  # fmt: skip
def test_depth_is_bounded(text: str) -> None:
    (fault,) = refusal(text)
    assert fault.got == f"deeper than {yamlfile.MOST_DEPTH} levels"


@pytest.mark.parametrize("text", ["[" * 10_000, "[" * 10_000 + "]" * 10_000, "[" * 1_000_000, "{a: [" * 100_000])
def test_a_text_that_is_nothing_but_depth(text: str) -> None:
    """The parser below may refuse it first, in words of its own."""
    (fault,) = refusal(text)
    assert fault.got in (f"deeper than {yamlfile.MOST_DEPTH} levels", "exceeded maximum nesting depth")


def test_the_deepest_that_is_allowed() -> None:
    depth = yamlfile.MOST_DEPTH
    data: Any = parse("[" * depth + "]" * depth).data
    for _ in range(depth - 1):
        (data,) = data
    assert data == []


def test_an_alias_bomb_is_refused_at_its_first_anchor() -> None:
    bomb = "a0: &a0 [x, x]\n" + "".join(f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, 10))
    (fault,) = refusal(bomb)
    assert (fault.got, fault.line) == ("an anchor or alias (& or *)", 1)


def test_the_number_of_values_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(yamlfile, "MOST_NODES", 100)
    assert len(parse("[" + "1, " * 99 + "]").data) == 99
    (fault,) = refusal("[" + "1, " * 100 + "]")
    assert fault.got == "more than 100 values"


def test_size_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "big.yaml"
    path.write_text("a: " + "x" * 2_000_000)
    with pytest.raises(InputFaults, match=r"got:      2\.0 MB\n    expected: at most 1 MB"):
        read(path, most_bytes=1_000_000)
    monkeypatch.setattr(yamlfile, "MOST_BYTES", 10)
    with pytest.raises(InputFaults, match="at most 10"):
        parse("a: " + "x" * 10)


@pytest.mark.parametrize(
    ("raw", "data"),
    [
        (b"\xef\xbb\xbfa: 1\n", {"a": 1}), (b"a: 1\r\nb: no\r\n", {"a": 1, "b": "no"}), ("a: fibre à 3 mm²\n".encode(), {"a": "fibre à 3 mm²"}),
        (b"a: 'x\r\n  y'\r\n", {"a": "x y"}), (b"\xef\xbb\xbf", None),
    ],
)  # fmt: skip
def test_files_from_other_editors(tmp_path: Path, raw: bytes, data: object) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(raw)
    assert read(path).data == data


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"a: 1\nb: \xff\n", "byte 0xff"), (b"a: \x00\n", "without control characters"), (b"a: \x1b[31m\n", "without control characters"),
        (b"a: %\n", "cannot start any token"),
    ],
)  # fmt: skip
def test_files_that_are_not_text(tmp_path: Path, raw: bytes, words: str) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(raw)
    with pytest.raises(InputFaults, match=words):
        read(path)


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputFaults, match="No such file"):
        read(tmp_path / "none.yaml")
    with pytest.raises(InputFaults, match="not a plain file"):
        read(tmp_path)


def test_half_a_character_is_refused() -> None:
    with pytest.raises(InputFaults, match="without control characters"):
        parse("a: \ud800")


@given(st.text(max_size=60))
def test_any_text_is_data_or_a_refusal(text: str) -> None:
    try:
        data = parse(text).data
    except InputFaults:
        return
    assert data is None or isinstance(data, dict | list | str | int | float)


TEXT = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    st.sampled_from(["no", "yes", "null", "~", "010", "0o10", "0x1f", "1e3", "1.", "12:30:00", "1_000", "=", "<<", "&a", "*a", "!x", "- a", "a: b",
                     "# c", "---", "2026-01-01", "\ufeffx", "x\u2028y", "a\x85b", " a ", "a\n\n", "%x", "`", "@"]),
)  # fmt: skip
DATA: Any = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**25), 10**25)
    | st.floats(allow_nan=False, allow_infinity=False)
    | TEXT,
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(TEXT, inner, max_size=5),
    max_leaves=25,
)


@settings(max_examples=400)
@given(DATA)
def test_what_is_written_is_read_back(data: Any) -> None:
    again = parse(dump(data)).data
    assert again == data
    assert repr(again) == repr(data)


@pytest.mark.parametrize("value", [math.inf, -math.inf, math.nan])
def test_what_can_not_be_read_back_is_not_written(value: float) -> None:
    with pytest.raises(ValueError, match="not finite"):
        dump({"a": [value]})


def test_equal_objects_are_written_out_without_anchors() -> None:
    row = [1, 2]
    assert parse(dump({"a": row, "b": row})).data == {"a": [1, 2], "b": [1, 2]}
