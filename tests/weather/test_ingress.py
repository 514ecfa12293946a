"""Ingress codes: reading, the order of the numerals, chains."""

from __future__ import annotations

import itertools

import pytest

from upmast.weather import IngressCode, chain_code, chain_meets, meets, parse_ingress

ALL = [
    IngressCode(first, seconds)
    for first in (None, 0, 5, 6)
    for seconds in [(), (0,), (4,), (5,), (6,), (7,), (8,), (9,), (5, 7), (6, 8), (6, 9)]
]


def test_reading_and_writing_are_inverse() -> None:
    for code in ALL:
        assert parse_ingress(str(code)) == code


@pytest.mark.parametrize(
    ("text", "first", "seconds"),
    [
        ("IP65", 6, (5,)),
        ("65", 6, (5,)),
        ("ip x7", None, (7,)),
        ("IP6X", 6, ()),
        ("IP66 / IP68", 6, (6, 8)),
        ("IP66/67", 6, (6, 7)),
        ("IP66/8", 6, (6, 8)),
        ("IP69K", 6, (9,)),
        ("IP67/IP66", 6, (6, 7)),
    ],
)
def test_reading(text: str, first: int | None, seconds: tuple[int, ...]) -> None:
    assert parse_ingress(text) == IngressCode(first, seconds)


@pytest.mark.parametrize(
    "text", ["", "IP", "IP7", "IP75", "IP6A", "IP65K", "IP66/IP57", "IP65/", "/IP65", "IP" * 60, "ＩＰ６５"]
)
def test_other_text_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"code of protection|first numerals"):
        parse_ingress(text)


@pytest.mark.parametrize(
    ("have", "need", "met"),
    [
        ("IP68", "IP67", True),
        ("IP67", "IP68", False),
        ("IP67", "IP65", False),
        ("IP68", "IP66", False),
        ("IP67", "IP64", True),
        ("IP69", "IP65", False),
        ("IP69", "IP67", False),
        ("IP66", "IP67", False),
        ("IP66/IP68", "IP66/IP67", True),
        ("IP54", "IP65", False),
        ("IPX7", "IP07", True),
        ("IPX7", "IP17", False),
        ("IP6X", "IP60", True),
        ("IP6X", "IP61", False),
        ("IP00", "IPXX", True),
    ],
)
def test_order(have: str, need: str, met: bool) -> None:
    """IEC 60529, clauses 5 and 6: immersion says nothing about jets, and X was not tested."""
    assert meets(have, need) is met


def test_order_is_reflexive_and_transitive() -> None:
    for a, b, c in itertools.product(ALL, repeat=3):
        assert meets(a, a)
        if meets(a, b) and meets(b, c):
            assert meets(a, c)


def test_chain_meets_exactly_what_its_code_meets() -> None:
    for a, b in itertools.product(ALL, repeat=2):
        code = chain_code([a, b])
        for need in ALL:
            assert meets(code, need) == chain_meets([a, b], need), (a, b, need)


def test_chain_without_parts() -> None:
    assert not chain_meets([], "IP00")
    with pytest.raises(ValueError, match="at least one part"):
        chain_code([])


@pytest.mark.parametrize(("first", "seconds"), [(7, (1,)), (-1, (1,)), (6, (10,)), (6, (7, 6)), (6, (6, 6))])
def test_impossible_codes(first: int, seconds: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="numeral"):
        IngressCode(first, seconds)
