"""Codes of protection against dust and water: reading them, comparing them, and what a chain of parts keeps."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from upmast.errors import shorten
from upmast.source import Mark, Source

__all__ = ["INGRESS_SOURCE", "IngressCode", "chain_code", "chain_meets", "meets", "parse_ingress"]

INGRESS_SOURCE = Source("IEC 60529", clause="clauses 4 to 6", mark=Mark.MEMORY)
_ONE = re.compile(r"(?:IP)?([0-6X])([0-9X])(K?)")
_SECOND_ONLY = re.compile(r"(?:IP)?()([0-9X])(K?)")  # the 8 of IP66/8
_LONGEST = 40


@dataclass(frozen=True, slots=True)
class IngressCode:
    """
    One code, perhaps with several second numerals (dual marking).

    first: 0 to 6, or None where it was not tested (X). seconds: ascending, empty where not tested.
    """

    first: int | None
    seconds: tuple[int, ...]

    def __post_init__(self) -> None:
        if self.first is not None and not 0 <= self.first <= 6:
            raise ValueError("the first numeral goes from 0 to 6")
        if any(not 0 <= second <= 9 for second in self.seconds):
            raise ValueError("the second numeral goes from 0 to 9")
        if list(self.seconds) != sorted(set(self.seconds)):
            raise ValueError("second numerals must be ascending and each given once")

    def __str__(self) -> str:
        first = "X" if self.first is None else str(self.first)
        return "/".join(f"IP{first}{second}" for second in self.seconds) or f"IP{first}X"

    @property
    def water(self) -> frozenset[int]:
        """
        All second numerals that this code meets.

        Up to 6 a numeral covers those below it; 7 and 8 stand for immersion and cover 0 to 4 but no jets, 8 covers 7;
        9 covers 0 to 4.
        """
        met = {0}
        for second in self.seconds:
            if second <= 6:
                met.update(range(second + 1))
            else:
                met.update(range(5), {7, 8} if second == 8 else {second})
        return frozenset(met)


def parse_ingress(text: str) -> IngressCode:
    """
    Read a code such as `IP65`, `IPX7`, `IP6X`, `IP66/IP67`, `IP66/67`, `IP66/8`.

    A second numeral `9K` (ISO 20653) is read as 9. Additional letters are not read.

    Raises
    ------
    ValueError
        If the text is no such code, or two halves of a dual marking have different first numerals.

    Source: IEC 60529, clause 4 (from memory).

    >>> str(parse_ingress("ip66/67")), parse_ingress("IPX8").first
    ('IP66/IP67', None)
    """
    shown = shorten(text)
    if len(text) > _LONGEST:
        raise ValueError(f"{shown!r} is too long for a code of protection")
    firsts: list[str] = []
    seconds: set[int] = set()
    for at, part in enumerate(text.upper().replace(" ", "").split("/")):
        match = _ONE.fullmatch(part) or (_SECOND_ONLY.fullmatch(part) if at else None)
        if match is None or (match[3] and match[2] != "9"):
            raise ValueError(f"{shown!r} is no code of protection: write it like IP65, IPX7 or IP66/IP67")
        if match[1]:
            firsts.append(match[1])
        if match[2] != "X":
            seconds.add(int(match[2]))
    if len(set(firsts)) != 1:
        raise ValueError(f"{shown!r} has two different first numerals")
    return IngressCode(None if firsts[0] == "X" else int(firsts[0]), tuple(sorted(seconds)))


def _code(code: IngressCode | str) -> IngressCode:
    return parse_ingress(code) if isinstance(code, str) else code


def meets(have: IngressCode | str, need: IngressCode | str) -> bool:
    """
    Whether a code meets another.

    The first numeral covers lower ones. For water see `IngressCode.water`. X in `have` was not tested and meets no number
    above 0; X in `need` asks for nothing.

    Source: IEC 60529, clauses 4 to 6 (from memory).

    >>> meets("IP67", "IP66"), meets("IP65", "IP54"), meets("IP66/IP67", "IP65")
    (False, True, True)
    """
    had, needed = _code(have), _code(need)
    dust = (needed.first or 0) <= (had.first or 0)
    return dust and set(needed.seconds) <= had.water


def chain_meets(codes: Iterable[IngressCode | str], need: IngressCode | str) -> bool:
    """
    Whether every part of a chain (socket, seal, plug, sheath entry, ...) meets a code; a chain of no parts meets none.

    >>> chain_meets(["IP68", "IP66/IP67"], "IP67"), chain_meets(["IP68", "IP66/IP67"], "IP66")
    (True, False)
    """
    parts = [_code(code) for code in codes]
    return bool(parts) and all(meets(part, need) for part in parts)


def chain_code(codes: Iterable[IngressCode | str]) -> IngressCode:
    """
    The best code that a whole chain of parts still meets.

    Raises
    ------
    ValueError
        If the chain has no parts.

    >>> str(chain_code(["IP68", "IP66/IP67"])), str(chain_code(["IP66/IP68", "IP67/IP65"])), str(chain_code(["IP65", "IPX7"]))
    ('IP67', 'IP65/IP67', 'IPX4')
    """
    parts = [_code(code) for code in codes]
    if not parts:
        raise ValueError("a chain needs at least one part")
    firsts = [part.first for part in parts]
    first = None if None in firsts else min(part for part in firsts if part is not None)
    water = frozenset.intersection(*(part.water for part in parts))
    tested = all(part.seconds for part in parts)
    jets = max(second for second in water if second <= 6)
    beyond = [9] if 9 in water else []
    beyond = [*([8] if 8 in water else [7] if 7 in water else []), *beyond]
    # 0 to 4 are covered by immersion, so the lower numeral is written only where it says more
    seconds = [*([jets] if jets > 4 or not beyond else []), *beyond]
    return IngressCode(first, tuple(seconds) if tested else ())
