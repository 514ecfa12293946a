"""
What a closeout has to say, made again from its record, and held against what it says: results whole, and document, workbook and table.

The same content, program and writers give the same bytes. What other programs or writers made is named as not compared.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from upmast import __version__
from upmast.errors import UsageError, shorten
from upmast.record.canonical import TIME, canonical
from upmast.record.closeout_data import results_data
from upmast.record.closeout_matters import Review
from upmast.record.closeout_write import CSV, PDF, XLSX, documents_of, writers
from upmast.record.evidence import reading_rules, rules
from upmast.record.words import is_are, many

CLOSE = 1e-6  # platforms may differ in the last digits of a value
DOCUMENTS = (PDF, XLSX, CSV)
SAME = ("format", "made", "elsewhere")  # taken from the results as they are: nothing in the zip says otherwise
SENTENCES = frozenset({"words", "exceptions", "rules"})  # another program may put them otherwise
ROW_SENTENCES = frozenset({"title", "reason", "do", "differs_from_design"})
VERDICTS = ("counts", "verdict")
MOST_TOLD = 20
MOST_SITES = 1_000
MISSING = object()


@dataclass
class Held:
    """What the results of a pack are held against: the same made again, what is wrong, and what could not be compared."""

    wanted: Mapping[str, Any]
    ours: bool  # made by this program and its rules
    by: str  # what made it, where it is not ours
    told: list[str] = field(default_factory=list)
    not_compared: list[str] = field(default_factory=list)
    rows: dict[str, str] = field(default_factory=dict)  # by test, in what its row differs


def elsewhere_in(results: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """Which files other sites have, as the results say: their records are not in the zip. Raises UsageError for another shape."""
    found = results.get("elsewhere") or {}
    sound = isinstance(found, dict) and all(
        isinstance(some, list) and len(some) <= MOST_SITES and all(isinstance(one, str) and len(one) <= 40 for one in some)
        for some in found.values()
    )  # fmt: skip
    if not sound:
        raise UsageError("results.json: what it says of other sites is no list of sites")
    return {content: tuple(some) for content, some in found.items()}


def moment_in(results: Mapping[str, Any]) -> datetime:
    """When the closeout was made, as the results say. Raises UsageError."""
    said = results.get("made")
    try:
        if isinstance(said, str) and TIME.match(said):
            return datetime.strptime(said, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    except ValueError:
        pass
    raise UsageError("results.json does not say when it was made")


def held(review: Review, results: Mapping[str, Any]) -> Held:
    """The results of a pack held whole against those that follow from its record."""
    program = f"upmast {__version__}"
    ours = results.get("program") == program and results.get("rules") == [rules(), reading_rules()]
    wanted = json.loads(canonical(results_data(review, shorten(str(results.get("program")), 80))))
    by = shorten(str(results.get("program")), 60)
    out = Held(wanted, ours, f"{by} with other rules" if by == program else by)
    out.told += _around(out, results)
    out.told += _rows(out, results)
    if results.get("elsewhere"):
        out.not_compared.append("results.json: which files other sites have, too: their records are not in the zip")
    if not ours:
        out.not_compared.append(
            f"results.json: its sentences (reasons, exceptions): written by {out.by}, and this is {program}"
        )
    return out


def _around(out: Held, results: Mapping[str, Any]) -> Iterator[str]:
    """Everything beside the rows of the tests."""
    wanted = out.wanted
    if any(results.get(name) != wanted[name] for name in VERDICTS):
        yield "results.json: its counts or its verdict do not follow from the record in the pack"
    for name in sorted(set(wanted) - {*SAME, *VERDICTS, "results"}):
        said = results.get(name, MISSING)
        if same(said, wanted[name]) or (name in SENTENCES and not out.ours):
            continue
        yield f"results.json: {name.replace('_', ' ')}: not what follows from the record in the pack{_first_off(said, wanted[name])}"
    strange = sorted(set(results) - set(wanted) - set(SAME))
    if strange:
        yield f"results.json: it says {shorten(', '.join(strange), 120)}, which no closeout says"


def _first_off(said: Any, wanted: Any) -> str:
    """How many there are and how many follow, or the values, where that is short."""
    if isinstance(said, list) and isinstance(wanted, list):
        off = sum(not same(a, b) for a, b in zip(said, wanted, strict=False))
        return f" ({len(said)} in it, {len(wanted)} follow)" if len(said) != len(wanted) else f" ({off} of {len(wanted)} differ)"  # fmt: skip
    if isinstance(wanted, str | int | float) and isinstance(said, str | int | float):
        return f": it says {shorten(str(said), 80)!r}, {shorten(str(wanted), 80)!r} follows"
    return ""


def _rows(out: Held, results: Mapping[str, Any]) -> Iterator[str]:
    """The row of each test, and that each stands once, in its place."""
    listed = results.get("results")
    if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
        yield "results.json: it has no list of tests"
        listed = []
    says = {str(one.get("test")): one for one in listed}
    wanted = {row["test"]: row for row in out.wanted["results"]}
    known = set(wanted)
    yield from (
        f"results.json: {shorten(test)} is no test that it should list" for test in sorted(set(says) - known)[:MOST_TOLD]
    )  # fmt: skip
    lacking = len(known - set(says))
    if lacking:
        yield f"results.json: {many(lacking, 'test')} of the line {is_are(lacking)} not in it"
    if len(listed) != len(says):
        yield "results.json: a test stands in it twice"
    elif not lacking and set(says) == known and list(says) != list(wanted):
        yield "results.json: its tests stand in another order than the record gives them"
    for test, row in wanted.items():
        if test in says:
            why = _row_off(says[test], row, out.ours)
            if why:
                out.rows[test] = why


def _row_off(said: Mapping[str, Any], wanted: Mapping[str, Any], ours: bool) -> str:
    """In what the row of a test differs from what follows, the state and the value first."""
    first = ["state", "value", "limit", "margin", "unit", "file", "sha256", "instrument"]
    names = [*first, *sorted(set(wanted) - set(first))]
    off = [
        name
        for name in names
        if not same(said.get(name, MISSING), wanted[name]) and (ours or name not in ROW_SENTENCES)
    ]
    off += sorted(f"{shorten(name, 40)} (which no closeout says)" for name in set(said) - set(wanted))[:3]
    if not off:
        return ""
    told = []
    for name in off[:3]:
        if name in wanted:
            what = "" if name in ("state", "value") else f"{name.replace('_', ' ')} "
            told.append(
                f"the pack says {what}{_text(name, said.get(name))}, its record says {_text(name, wanted[name])}"
            )
        else:
            told.append(f"the pack says {name}")
    more = f"; and {len(off) - 3} more" if len(off) > 3 else ""
    return "; ".join(told) + more


def _text(name: str, value: Any) -> str:
    if name == "limit" and isinstance(value, dict):
        value = " ".join(str(value.get(key)) for key in ("sense", "value", "unit"))
    return shorten("nothing" if value is None else str(value), 80)


def same(said: Any, wanted: Any) -> bool:
    """Whether two plain values are equal; numbers as close as two platforms give them, and no text for a number."""
    if isinstance(wanted, bool) or wanted is None or isinstance(wanted, str):
        return type(said) is type(wanted) and bool(said == wanted)
    if isinstance(wanted, int | float):
        return isinstance(said, int | float) and not isinstance(said, bool) and close(float(said), float(wanted))
    if isinstance(wanted, list):
        return (
            isinstance(said, list)
            and len(said) == len(wanted)
            and all(same(a, b) for a, b in zip(said, wanted, strict=True))
        )
    return isinstance(said, dict) and set(said) == set(wanted) and all(same(said[key], wanted[key]) for key in wanted)


def close(a: float | None, b: float | None) -> bool:
    if a is None or b is None or not (math.isfinite(a) and math.isfinite(b)):
        return a is b or a == b
    return abs(a - b) <= CLOSE * max(1.0, abs(a), abs(b))


def documents_off(
    review: Review, held_: Held, results: Mapping[str, Any], manifest: Mapping[str, Any], there: Mapping[str, bytes]
) -> None:
    """Make document, workbook and table again and compare their bytes; what differs is told, or named as not compared."""
    made = documents_of(review, moment_in(results), shorten(str(results.get("program")), 80))
    then = manifest.get("writers", writers())
    then = then if isinstance(then, dict) else {}
    for name in DOCUMENTS:
        if name not in there or there[name] == made[name]:
            continue  # a missing one is told with the digests
        other = then.get(name) if name in writers() and then.get(name) != writers()[name] else None
        if not held_.ours or other is not None:
            by = shorten(str(other), 60) if held_.ours else held_.by
            held_.not_compared.append(f"{name}: written by {by}, which is another here; read it against results.json")
        else:
            held_.told.append(f"{name}: not the one that follows from the record in the pack")
