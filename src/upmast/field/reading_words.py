"""
Names of the line in the text beside a reading: `T1-F07`, `t1 f7`, `T1/F07`, `strand 7 of T1` all name one strand.

A name counts only as whole words; upper and lower case, separators and zeros before a number are not minded.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from upmast.field.readers.cell_value import folded

MOST_TEXT = 300  # of a text that names are looked for in
_WORD = re.compile(r"[A-Z0-9]+")
_PIECE = re.compile(r"[A-Z]+[0-9]*|[0-9]+")
# words between the two parts of a name that say nothing: `strand no. 7 of the trunk T1`
_FILLERS = frozenset(
    {"OF", "ON", "IN", "AT", "THE", "FROM", "NO", "NR", "NUMBER", "TRUNK", "CABLE", "RUN", "HYBRID", "LINE", "RADIO", "BOX", "ITEM", "ID"}
)  # fmt: skip
# spelled-out words for the letter of a numbered thing, by that letter
SPELLED: Mapping[str, frozenset[str]] = {
    "F": frozenset({"STRAND", "FIBRE", "FIBER", "CORE", "F", "STR"}),
    "P": frozenset({"PAIR", "CIRCUIT", "P", "FEED"}),
    "E": frozenset({"BOND", "EARTH", "GROUND", "LUG", "E"}),
    "J": frozenset({"JUMPER", "J"}),
    "RF": frozenset({"PORT", "RF", "RFPORT"}),
}
FOOT_WORDS = frozenset({"foot", "bottom", "ground", "cabinet", "base", "baseband", "bbu", "shelter", "hut", "room", "plant"})  # fmt: skip
TOP_WORDS = frozenset({"top", "head", "radio", "rru", "rrh", "mast", "antenna", "tower"})


@dataclass(frozen=True, slots=True)
class Token:
    """One piece of a word: its text without zeros before the number, and whether a word begins or ends with it."""

    text: str
    first: bool
    last: bool


@dataclass(frozen=True, slots=True)
class Found:
    """A name found in a text: which tokens it takes, and whether its number stood alone (`T1 / 7` for T1-F07)."""

    name: str
    at: frozenset[int]
    bare: bool = False


@lru_cache(maxsize=20_000)
def tokens_of(text: str) -> tuple[Token, ...]:
    """
    The pieces of a text.

    >>> [t.text for t in tokens_of("strand 07 of T1/F007")]
    ['STRAND', '7', 'OF', 'T1', 'F7']
    """
    out = []
    for word in _WORD.findall(folded(text[:MOST_TEXT]).upper()):
        pieces = _PIECE.findall(word)
        for k, piece in enumerate(pieces):
            letters = piece.rstrip("0123456789")
            digits = piece[len(letters) :]
            plain = letters + (digits.lstrip("0") or "0" if digits else "")
            out.append(Token(plain, k == 0, k == len(pieces) - 1))
    return tuple(out)


@lru_cache(maxsize=20_000)
def parts_of(name: str) -> tuple[str, ...]:
    """The pieces of an id, as they would be found in a text."""
    return tuple(token.text for token in tokens_of(name))


def find_names(text: str, names: Iterable[str], letter: str = "") -> tuple[Found, ...]:
    """
    The names that a text holds, each as whole words; one that lies inside a longer one is left out (`A2` in `A2-J1`).

    Parameters
    ----------
    text : written by somebody else, at most `MOST_TEXT` characters of it are read.
    names : ids of the line.
    letter : the letter of the numbered things that are looked for, so that `strand 7` and a bare `7` behind its cable count as F07.

    >>> [one.name for one in find_names("Pair 3 of T1", ["T1", "T1-P03", "T1-P04"], "P")]
    ['T1-P03']
    """
    tokens = tokens_of(text)
    if not tokens:
        return ()
    have = {token.text for token in tokens}
    hits = [hit for name in names for hit in _hits(tokens, have, name, letter)]
    kept = [one for one in hits if not any(one.at < other.at for other in hits)]
    best: dict[str, Found] = {}
    for one in kept:
        if one.name not in best or (best[one.name].bare and not one.bare):
            best[one.name] = one
    sure = [one for one in best.values() if not one.bare]
    # a bare number is taken only where nothing else says which one it is
    return tuple(sure if any(is_numbered(one.name, letter) for one in sure) else best.values())


def is_numbered(name: str, letter: str) -> bool:
    """Whether the last part of a name is this letter and a number: T1-F07 by F."""
    last = parts_of(name)[-1:]
    return bool(letter) and bool(last) and last[0].startswith(letter) and last[0][len(letter) :].isdigit()


def _hits(tokens: tuple[Token, ...], have: set[str], name: str, letter: str) -> list[Found]:
    parts = parts_of(name)
    out = []
    numbered = is_numbered(name, letter) and len(parts) > 1
    if not numbered:
        if parts and set(parts) <= have:
            out = [Found(name, at) for at in _runs(tokens, parts)]
        return out
    stem, tail = parts[:-1], parts[-1]
    if not set(stem) <= have:
        return out
    number = tail[len(letter) :]
    tails: list[tuple[frozenset[int], bool]] = []
    for k, token in enumerate(tokens):
        if token.text == tail and (token.first or tokens[k - 1].text == stem[-1]) and token.last:
            tails.append((frozenset({k}), False))
        elif token.text == number and token.first and token.last:
            before = k - 1
            while before >= 0 and tokens[before].text in ("NO", "NR", "NUMBER"):
                before -= 1
            spelled = before >= 0 and tokens[before].text in SPELLED.get(letter, ())
            tails.append((frozenset(range(before if spelled else k, k + 1)), not spelled))
    for run in _runs(tokens, stem, glued=True):
        for at, bare in tails:
            if run & at:
                continue
            between = range(min(max(run), max(at)) + 1, max(min(run), min(at)))
            gap = {tokens[k].text for k in between}
            if gap <= _FILLERS and not (bare and min(at) < max(run)):
                out.append(Found(name, run | at, bare))
    return out


def _runs(tokens: tuple[Token, ...], parts: tuple[str, ...], glued: bool = False) -> list[frozenset[int]]:
    """Where the parts of a name stand one behind the other; `glued`: its last part may be joined to what follows (`T1F07`)."""
    size, out = len(parts), []
    for k in range(len(tokens) - size + 1):
        if (
            all(tokens[k + n].text == parts[n] for n in range(size))
            and tokens[k].first
            and (glued or tokens[k + size - 1].last)
        ):
            out.append(frozenset(range(k, k + size)))
    return out


def rest_of(text: str, name: str, letter: str = "") -> tuple[str, ...]:
    """
    What a text says beside a name: the words that tell one of several alike things from the next.

    >>> rest_of("A2-E1 #2", "A2-E1")
    ('2',)
    """
    tokens = tokens_of(text)
    at = next((one.at for one in find_names(text, [name], letter)), frozenset())
    return tuple(token.text for k, token in enumerate(tokens) if k not in at and token.text not in _FILLERS)


def way_words(text: str) -> str:
    """
    up or down, from words for the two ends: the first that is named is where the light goes in. '' where that is not said.

    >>> way_words("foot to top"), way_words("radio -> cabinet"), way_words("at the foot")
    ('up', 'down', '')
    """
    plain = folded(text[:MOST_TEXT])
    ends = [("foot" if word in FOOT_WORDS else "top") for word in re.findall(r"[a-z]+", plain) if word in FOOT_WORDS | TOP_WORDS]  # fmt: skip
    named = list(dict.fromkeys(ends))
    if len(named) == 2:
        return "up" if named[0] == "foot" else "down"
    if len(named) == 1:
        start = re.search(r"\b(?:from|source(?: at)?)(?: the)? ([a-z]+)", plain)
        goal = re.search(r"\b(?:to|towards|meter(?: at)?)(?: the)? ([a-z]+)", plain)
        if start and start.group(1) in FOOT_WORDS | TOP_WORDS:
            return "up" if start.group(1) in FOOT_WORDS else "down"
        if goal and goal.group(1) in FOOT_WORDS | TOP_WORDS:
            return "down" if goal.group(1) in FOOT_WORDS else "up"
    return ""


__all__ = ["SPELLED", "Found", "Token", "find_names", "is_numbered", "parts_of", "rest_of", "tokens_of", "way_words"]
