"""Digests: equal content, equal digest; anything different, another."""

from __future__ import annotations

import dataclasses
import itertools
from enum import Enum
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.digest import digest
from upmast.source import Mark, Source

PLAIN: Any = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False)
    | st.text(max_size=8)
    | st.binary(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=4),
    max_leaves=12,
)


def same(a: Any, b: Any) -> bool:
    """Equal in kind and value, all the way down."""
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(same(a[key], b[key]) for key in a)
    return type(a) is type(b) and a == b and repr(a) == repr(b)


@given(PLAIN, PLAIN)
def test_equal_digest_means_equal_content(a: Any, b: Any) -> None:
    assert (digest(a) == digest(b)) == same(a, b)


@dataclasses.dataclass(frozen=True)
class Point:
    x: float
    y: tuple[float, ...] = ()
    cache: int = dataclasses.field(default=0, compare=False)


@dataclasses.dataclass(frozen=True)
class Corner:
    x: float
    y: tuple[float, ...] = ()


class Colour(Enum):
    RED = 1


DIFFERENT: tuple[Any, ...] = (
    None, True, False, 1, 0, 1.0, 0.0, -0.0, "1", "True", b"True", b"1", "", (), (1,), (1, 2), ((1,), 2), ((1, 2),), ("1", "2"), ("12",), {},
    {"a": 1}, {"a": "1"}, {"b": 1}, {"a": 1, "b": 2}, Mark.MEMORY, "memory", Mark.CONFIRMED, Colour.RED, Point(1.0), Point(1.0, (2.0,)), Corner(1.0),
    np.array([1, 2]), np.array([1.0, 2.0]), np.array([[1.0, 2.0]]), np.array([1.0, 2.0], dtype=np.float32), np.array([1.0 + 0j, 2.0]),
    np.array([], dtype=float), Source("a"), Source("a", "b"), Source("ab"),
)  # fmt: skip


def test_different_content_gives_different_digests() -> None:
    digests = [digest(value) for value in DIFFERENT]
    twins = [
        (DIFFERENT[i], DIFFERENT[j])
        for i, j in itertools.combinations(range(len(digests)), 2)
        if digests[i] == digests[j]
    ]
    assert twins == []


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ([1, 2], (1, 2)), ({"a": 1, "b": 2}, {"b": 2, "a": 1}), ({1, 2, 3}, frozenset((3, 2, 1))), (np.float64(0.1), 0.1),
        (Point(1.0, cache=1), Point(1.0, cache=2)), (np.arange(6.0)[::2], np.array([0.0, 2.0, 4.0])),
        (np.arange(6.0).reshape(2, 3).T, np.array([[0.0, 3.0], [1.0, 4.0], [2.0, 5.0]])), (np.array(["a", None], dtype=object), ["a", None]),
    ],
)  # fmt: skip
def test_equal_content_gives_equal_digests(a: Any, b: Any) -> None:
    assert digest(a) == digest(b)


def test_several_values_are_not_one_list() -> None:
    assert digest(1, 2) != digest((1, 2))
    assert digest("ab", "c") != digest("a", "bc")


@pytest.mark.parametrize("value", [object(), lambda: 1, Point, 1j, [object()], {"a": object()}])
def test_what_has_no_canonical_form_is_refused(value: object) -> None:
    with pytest.raises(TypeError, match="no canonical form for"):
        digest(value)
