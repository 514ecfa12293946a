"""
Which test of the line does a sweep belong to? By its content first, by its file name last; in doubt it asks.

Content: which bands the sweep covers, how long the line seems, how much comes back, what seems to stand at the end. Several
paths of one site are often alike; then only the file name tells them apart, and that is said.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from upmast.field.distance import VELOCITY_SHARE
from upmast.field.measurement import Sweep
from upmast.field.setup import Termination, termination, uncovered
from upmast.number import number
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.rf.distance import DEFAULT_BETA, delay_response, distance_from_delay_m, frequency_step_hz, peaks
from upmast.rf.sweep import cable_loss_db

TESTS = {"load": "rl.load", "antenna": "rl.antenna", "short": "loss.short"}
CLEAR = 2.0  # the best candidate has this many times the confidence of the next, or it asks
LEAST = 0.15  # a score below this is no match
WHOLE = 0.4  # a reflection of this size is the end of the line itself
ANTENNA_M = 1.0  # how far behind its port an antenna reflects: common practice, no source
REACH_DB = 25.0  # the end of the line is the last peak that is not weaker than this below the strongest


@dataclass(frozen=True, slots=True)
class Candidate:
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
    """Rank the RF tests of a line by how well they fit a sweep."""
    designs = path_designs(proof.line)
    return match_among(designs, sweep)


def match_among(designs: Sequence[PathDesign], sweep: Sweep) -> Match:
    """The same, on paths made already."""
    delay = end_delay_s(sweep)
    known: dict[tuple[object, str], tuple[float, tuple[str, ...]]] = {}
    ends: dict[object, Termination] = {}
    scored: list[tuple[float, Candidate]] = []
    for design in designs:
        for test, suffix in TESTS.items():
            if test == "antenna" and not design.antenna:
                continue
            key = (design.alike, test)
            if key not in known:  # most paths of a site are alike
                known[key] = _content(sweep, design, test, delay, ends)
            scored.append(_named(sweep, design, test, f"{design.id}.{suffix}", *known[key]))
    fitting = [(w, c) for w, c in scored if c.score >= LEAST]
    total = sum(w for w, _ in fitting)
    ranked = sorted(
        (
            Candidate(c.test_id, c.path_id, c.test, c.score, w / total, c.named, c.reasons)
            for w, c in fitting
        ),
        key=lambda c: (-c.confidence, c.test_id),
    )  # fmt: skip
    return _decide(sweep, tuple(ranked), [c for _, c in scored])


def _decide(sweep: Sweep, ranked: tuple[Candidate, ...], every: list[Candidate]) -> Match:
    named = [c for c in every if c.named]
    if not ranked:
        return Match((), None, f"{sweep.file} fits no RF test of this line: is it from another site or another port?")
    first = ranked[0]
    best = max(c.score for c in ranked)
    if named and not any(c.named and c.score >= 0.5 * best for c in ranked):
        return Match(
            ranked, None,
            f"the name of {sweep.file} says {named[0].path_id}, but its content fits {first.test_id} better: which is it?",
        )  # fmt: skip
    if len(ranked) == 1 or first.confidence >= CLEAR * ranked[1].confidence:
        return Match(ranked, first)
    close = [c.test_id for c in ranked if c.confidence * CLEAR > first.confidence]
    shown = ", ".join(close[:8]) + (f" and {len(close) - 8} more" if len(close) > 8 else "")
    return Match(ranked, None, f"{sweep.file} fits {len(close)} tests alike ({shown}): which one was measured?")


def _content(
    sweep: Sweep, design: PathDesign, test: str, delay: float | None, ends: dict[object, Termination]
) -> tuple[float, tuple[str, ...]]:
    """How well the content of a sweep fits a test, 0 to 1, and why. Every factor is at most 1, so a poor one ends the search."""
    reasons: list[str] = []
    score = _bands(sweep, design, reasons) * _length(design, delay, test, reasons)
    if score < LEAST:
        return score, tuple(reasons)
    end = ends.get(design.alike) or ends.setdefault(design.alike, termination(sweep, design))
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
    return score, tuple(reasons)


def _named(
    sweep: Sweep, design: PathDesign, test: str, test_id: str, score: float, reasons: tuple[str, ...]
) -> tuple[float, Candidate]:
    """The same with what the file name says: it weighs, but only among those that fit."""
    by_test, by_path = name_says(sweep.file, test_id, design.id)
    weight = score * (20.0 if by_test else 5.0 if by_path else 1.0)
    if by_test or by_path:
        reasons = (*reasons, f"the file name says {test_id if by_test else design.id}")
    return weight, Candidate(test_id, design.id, test, score, 0.0, by_test or by_path, reasons)


def _bands(sweep: Sweep, design: PathDesign, reasons: list[str]) -> float:
    missing = uncovered(sweep, design)
    covered = 1.0 - len(missing) / len(design.bands)
    if not missing:
        low, high = sweep.span
        # a sweep made for this path is not much wider than its bands
        used = (design.highest_hz - design.lowest_hz) / max(high - low, 1.0)
        reasons.append("it covers every band of the path")
        return 0.7 + 0.3 * min(1.0, max(used, 0.0) / 0.5)
    reasons.append(f"it leaves out {', '.join(missing)}")
    return 0.5 * covered


def _length(design: PathDesign, delay: float | None, test: str, reasons: list[str]) -> float:
    if delay is None:
        reasons.append("no length can be read from it")
        return 0.7
    length = [s.length_m for s in design.sections]
    seen_m = float(distance_from_delay_m(delay, length, [s.velocity_fraction for s in design.sections]))
    slack = design.tolerance_m + VELOCITY_SHARE * design.length_m + 0.1
    reasons.append(f"the line seems {number(seen_m, 'm')} long, designed {number(design.length_m, 'm')}")
    off = seen_m - design.length_m
    if test == "antenna" and off > 0:  # the antenna reflects from inside
        off = max(0.0, off - ANTENNA_M)
    fit = max(float(np.exp(-0.5 * (off / slack) ** 2)), 0.02)
    quiet = any(abs(seen_m - j.distance_m) < 2.0 * slack for j in design.joints[:-1])
    if test == "load" and quiet:  # with a load the end may be too quiet to see, behind another joint
        return max(fit, 0.3)
    return fit


def _loss(sweep: Sweep, design: PathDesign, reasons: list[str]) -> float:
    seen = float(cable_loss_db(sweep.bounded_db))
    low, high = (float(x) for x in design.cable_loss_range_db(sweep.middle_hz))
    reasons.append(f"cable loss {number(seen, 'dB')}, expected {number(low, 'dB')} to {number(high, 'dB')}")
    off = max(low - seen, seen - high, 0.0)
    return float(np.exp(-0.5 * (off / 0.5) ** 2)) * 0.9 + 0.1


def end_delay_s(sweep: Sweep) -> float | None:
    """
    One-way delay to the end of the line, s. None where it can't be read.

    The strongest peak where almost everything comes back (short or open); else the last peak not far below the strongest.

    No design is needed for it; a load may hide the end, then the last joint that reflects is taken.
    """
    if sweep.magnitude_only or sweep.points < 16:
        return None
    try:
        step = frequency_step_hz(sweep.frequency_hz)
    except ValueError:
        return None
    cell = 0.5 / sweep.width_hz
    count = min(8 * sweep.points, 20_001)
    stop = 0.5 / step - 2.0 * cell
    step_s = (stop + 2.0 * cell) / (count - 1)
    response = np.abs(delay_response(sweep.frequency_hz, sweep.gamma, -2.0 * cell, step_s, count, DEFAULT_BETA))
    strongest = float(response.max())
    if not strongest > 0:
        return None
    at = -2.0 * cell + step_s * np.arange(count)
    floor = -20.0 * np.log10(strongest) + REACH_DB
    found = peaks(at, response, floor)
    if not found.distance_m.size:
        return None
    if strongest > WHOLE:
        return float(found.distance_m[int(np.argmin(found.return_loss_db))])
    return float(found.distance_m[-1])


def name_says(file: str, test_id: str, path_id: str) -> tuple[bool, bool]:
    """Whether a file name holds a test's id, or its path's id, as a whole word; case is not minded."""
    stem = re.sub(r"\.[A-Za-z0-9]{1,5}\Z", "", file.replace("\\", "/").rsplit("/", 1)[-1][:255])
    return _holds(stem, test_id), _holds(stem, path_id)


def _holds(text: str, word: str) -> bool:
    return re.search(rf"(?<![A-Z0-9-]){re.escape(word.upper())}(?![A-Z0-9-])", text.upper()) is not None
