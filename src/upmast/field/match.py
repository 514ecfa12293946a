"""
Which test of the line does a sweep belong to? By its content first, by its file name last; in doubt it asks.

Content: which bands the sweep covers, how long the line seems, how much comes back, what seems to stand at the end. Several
paths of one site are often alike; then only the file name tells them apart, and that is said.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from upmast.field.delays import end_delay_s
from upmast.field.distance import VELOCITY_SHARE, place_of_delay_m
from upmast.field.measurement import Sweep
from upmast.field.place import place_of
from upmast.field.setup import termination, uncovered
from upmast.number import number
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.rf.sweep import cable_loss_db

TESTS = {"load": "rl.load", "antenna": "rl.antenna", "short": "loss.short"}
CLEAR = 2.0  # the best candidate has this many times the confidence of the next, or it asks
LEAST = 0.15  # a score below this is no match
_OF_A_WORD = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-")
ANTENNA_M = 1.0  # how far behind its port an antenna reflects: common practice, no source


class Candidate(NamedTuple):
    """One test that the sweep may belong to: confidence 0 to 1 (all candidates add to 1), and why, in words."""

    test_id: str
    path_id: str
    test: str
    score: float  # how well the content fits, 0 to 1
    confidence: float
    named: bool  # the file name says this test, or this path
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Match:
    """Candidates, best first. `decided` is empty where a person has to say; `question` then asks."""

    candidates: tuple[Candidate, ...]
    decided: Candidate | None
    question: str = ""


def match_sweep(proof: Proof, sweep: Sweep) -> Match:
    """
    Rank the RF tests of a line by how well they fit a sweep, and decide for one: of the path that it fits, the test that its name says in
    full, whatever stands at the end; so that a load left on is told, and not passed off as the sweep with a load.
    """
    if question := place_of(proof).asks(sweep):
        return Match((), None, f"{sweep.file}: {question}")
    designs = path_designs(proof.line)
    found = match_among(designs, sweep)
    return found if found.decided is None else replace(found, decided=as_named(designs, found.decided, sweep.file))


def as_named(designs: Sequence[PathDesign], decided: Candidate, file: str) -> Candidate:
    """A candidate as the test of its path that the name of its file says in full; itself where it says none."""
    stem = _stem(file)
    known = next((one for one in _known(designs) if one.design.id == decided.path_id), None)
    if known is None or known.path not in stem:
        return decided
    for test, test_id, capitals in known.tests:
        if _holds(stem, capitals):
            said = (*decided.reasons, f"its name says {test_id}")
            return (
                decided
                if test_id == decided.test_id
                else decided._replace(test_id=test_id, test=test, named=True, reasons=said)
            )
    return decided


class _Known(NamedTuple):
    """What of a path does not hang on the sweep."""

    design: PathDesign
    kind: int  # the place of the first path that is alike
    path: str  # ids in capitals, as file names are compared
    tests: tuple[tuple[str, str, str], ...]  # test, its id, the same in capitals
    ids: dict[str, str]  # by test


_known_last: tuple[Sequence[PathDesign], tuple[_Known, ...]] = ((), ())


def _known(designs: Sequence[PathDesign]) -> tuple[_Known, ...]:
    """The paths of a line prepared; those of the last line are kept."""
    global _known_last
    last, out = _known_last
    if last is designs:
        return out
    kinds: dict[object, int] = {}
    out = tuple(
        _Known(
            design, kinds.setdefault(design.alike, place), design.id.upper(),
            tuple(
                (test, f"{design.id}.{suffix}", f"{design.id}.{suffix}".upper())
                for test, suffix in TESTS.items() if test != "antenna" or design.antenna
            ),
            {test: f"{design.id}.{suffix}" for test, suffix in TESTS.items()},
        )
        for place, design in enumerate(designs)
    )  # fmt: skip
    if isinstance(designs, tuple):  # a list may change
        _known_last = (designs, out)
    return out


def match_among(designs: Sequence[PathDesign], sweep: Sweep) -> Match:
    """The same, on paths made already."""
    delay = end_delay_s(sweep)
    stem = _stem(sweep.file)
    seen: dict[int, dict[str, tuple[float, tuple[str, ...]]]] = {}  # by kind: most paths of a site are alike
    fitting: list[tuple[float, PathDesign, str, str, float, bool, tuple[str, ...]]] = []
    named = ""  # the first path that the file name says
    by_name: list[tuple[str, str, str, bool]] = []  # tests that it says in full, or else those of the path that it says
    for one in _known(designs):
        content = seen.get(one.kind)
        if content is None:
            content = seen[one.kind] = _content(sweep, one.design, [test for test, _, _ in one.tests], delay)
        if one.path not in stem:  # neither it nor a test of it is named
            fitting += [
                (score, one.design, test, one.ids[test], score, False, why) for test, (score, why) in content.items()
            ]
            continue
        by_path = _holds(stem, one.path)
        for test, test_id, capitals in one.tests:
            by_test = _holds(stem, capitals)
            if by_test or by_path:
                named = named or one.design.id
                by_name.append((one.design.id, test, test_id, by_test))
            score, reasons = content.get(test, (0.0, ()))
            if score < LEAST:
                continue
            if by_test or by_path:
                reasons = (*reasons, f"the file name says {test_id if by_test else one.design.id}")
            # the name weighs, but only among those that fit
            weight = score * (20.0 if by_test else 5.0 if by_path else 1.0)
            fitting.append((weight, one.design, test, test_id, score, by_test or by_path, reasons))
    total = sum(one[0] for one in fitting)
    ranked = [
        Candidate(test_id, design.id, test, score, weight / total, called, reasons)
        for weight, design, test, test_id, score, called, reasons in fitting
    ]
    if len(ranked) > 1:
        ranked.sort(key=lambda c: (-c.confidence, c.test_id))
    best = max((c.score for c in ranked), default=0.0)
    if by_name and not any(c.named and c.score >= 0.5 * best for c in ranked):
        gap = next((uncovered(sweep, one.design) for one in _known(designs) if one.design.id == named), ())
        if gap or not ranked:
            return _held(sweep, [_only_named(*one) for one in by_name], tuple(ranked), gap)
    return _decide(sweep, tuple(ranked), named)


def _only_named(path_id: str, test: str, test_id: str, in_full: bool) -> Candidate:
    words = f"the file name says {test_id if in_full else path_id}, though its content does not fit it"
    return Candidate(test_id, path_id, test, 0.0, 1.0 if in_full else 0.0, True, (words,))


def _held(sweep: Sweep, by_name: list[Candidate], ranked: tuple[Candidate, ...], gap: tuple[str, ...]) -> Match:
    """
    A sweep that fits no test, or none of the path that it is named for as its bands were not swept: it is held to the test that its name
    says in full, so that its set-up is told. Where only the path is named, it asks.
    """
    in_full = [one for one in by_name if one.confidence == 1.0]
    held = {one.test_id for one in in_full or by_name}
    others = tuple(one._replace(confidence=0.0) for one in ranked if one.test_id not in held)
    if len(in_full) == 1:
        return Match((in_full[0], *others), in_full[0])
    said = tuple(one._replace(confidence=1.0 / len(in_full or by_name)) for one in in_full or by_name)
    why = f"leaves out {', '.join(gap)}" if gap else "fits no RF test of this line"
    better = f", and fits {ranked[0].test_id} better" if ranked else ""
    return Match(
        (*said, *others), None, f"the name of {sweep.file} says {said[0].path_id}, but it {why}{better}: what was measured?"
    )  # fmt: skip


def _decide(sweep: Sweep, ranked: tuple[Candidate, ...], named: str) -> Match:
    if not ranked:
        return Match((), None, f"{sweep.file} fits no RF test of this line: is it from another site or another port?")
    first = ranked[0]
    best = max(c.score for c in ranked)
    if named and not any(c.named and c.score >= 0.5 * best for c in ranked):
        return Match(
            ranked, None,
            f"the name of {sweep.file} says {named}, but its content fits {first.test_id} better: which is it?",
        )  # fmt: skip
    if len(ranked) == 1 or first.confidence >= CLEAR * ranked[1].confidence:
        return Match(ranked, first)
    close = [c.test_id for c in ranked if c.confidence * CLEAR > first.confidence]
    shown = ", ".join(close[:8]) + (f" and {len(close) - 8} more" if len(close) > 8 else "")
    return Match(ranked, None, f"{sweep.file} fits {len(close)} tests alike ({shown}): which one was measured?")


def _content(
    sweep: Sweep, design: PathDesign, tests: Sequence[str], delay: float | None
) -> dict[str, tuple[float, tuple[str, ...]]]:
    """
    How well the content of a sweep fits each test of a path, 0 to 1, and why; a test that fits by less than `LEAST` is left out.

    Every factor is at most 1, so a poor one ends the search.
    """
    out: dict[str, tuple[float, tuple[str, ...]]] = {}
    bands, said = _bands(sweep, design)
    if bands < LEAST:
        return out
    seen_m = None if delay is None else place_of_delay_m(design, delay)
    told = ""
    for test in tests:
        score = bands * (0.7 if seen_m is None else _length(design, seen_m, test))
        if score < LEAST:
            continue
        if not told:
            told = (
                "no length can be read from it" if seen_m is None
                else f"the line seems {number(seen_m, 'm')} long, designed {number(design.length_m, 'm')}"
            )  # fmt: skip
        reasons = [said, told]
        end = termination(sweep, design)
        if end.kind == "unknown":
            score *= 0.3 if test == "short" else 0.6
            reasons.append(f"the end is not told: {end.words}")
        elif end.fits(test):
            reasons.append(f"the end looks like {test}: {end.words}")
        elif end.kind == "open" and test == "short":
            score *= 0.5
            reasons.append("the end looks open, where a short should be")
        else:
            score *= 0.1
            reasons.append(f"the end looks like {end.kind}, not {test}")
        if test == "short" and end.fits("short"):
            score *= _loss(sweep, design, reasons)
        if score >= LEAST:
            out[test] = score, tuple(reasons)
    return out


def _bands(sweep: Sweep, design: PathDesign) -> tuple[float, str]:
    missing = uncovered(sweep, design)
    covered = 1.0 - len(missing) / len(design.bands)
    if not missing:
        low, high = sweep.span
        # a sweep made for this path is not much wider than its bands
        used = (design.highest_hz - design.lowest_hz) / max(high - low, 1.0)
        return 0.7 + 0.3 * min(1.0, max(used, 0.0) / 0.5), "it covers every band of the path"
    return 0.5 * covered, f"it leaves out {', '.join(missing)}"


def _length(design: PathDesign, seen_m: float, test: str) -> float:
    slack = design.tolerance_m + VELOCITY_SHARE * design.length_m + 0.1
    off = seen_m - design.length_m
    if test == "antenna" and off > 0:  # the antenna reflects from inside
        off = max(0.0, off - ANTENNA_M)
    fit = max(math.exp(-0.5 * (off / slack) ** 2), 0.02)
    if test == "load" and fit < 0.3 and any(abs(seen_m - j.distance_m) < 2.0 * slack for j in design.joints[:-1]):
        return 0.3  # with a load the end may be too quiet to see, behind another joint
    return fit


def fits_length(sweep: Sweep, design: PathDesign, test: str) -> bool:
    """Whether the length that a sweep shows is one that this path may have; True where none can be read."""
    delay = end_delay_s(sweep)
    return delay is None or _length(design, place_of_delay_m(design, delay), test) >= LEAST


def _loss(sweep: Sweep, design: PathDesign, reasons: list[str]) -> float:
    seen = float(cable_loss_db(sweep.bounded_db))
    low, high = (float(x) for x in design.cable_loss_range_db(sweep.middle_hz))
    reasons.append(f"cable loss {number(seen, 'dB')}, expected {number(low, 'dB')} to {number(high, 'dB')}")
    off = max(low - seen, seen - high, 0.0)
    return float(np.exp(-0.5 * (off / 0.5) ** 2)) * 0.9 + 0.1


def name_says(file: str, test_id: str, path_id: str) -> tuple[bool, bool]:
    """Whether a file name holds a test's id, or its path's id, as a whole word; case is not minded."""
    stem = _stem(file)
    return _holds(stem, test_id.upper()), _holds(stem, path_id.upper())


def _stem(file: str) -> str:
    """A file's name in capitals, without folders and ending."""
    return re.sub(
        r"\.(?!load\Z|short\Z)[A-Za-z0-9]{1,5}\Z", "", file.replace("\\", "/").rsplit("/", 1)[-1][:255]
    ).upper()


def _holds(stem: str, word: str) -> bool:
    """Whether a stem holds a word as a whole one; both in capitals."""
    at = stem.find(word)
    while at >= 0:
        if stem[at - 1 : at] not in _OF_A_WORD and stem[at + len(word) : at + len(word) + 1] not in _OF_A_WORD:
            return True
        at = stem.find(word, at + 1)
    return False
