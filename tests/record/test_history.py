"""The history of a path as somebody reads it: one line for each entry, the measurement with its verdict. All invented."""

from __future__ import annotations

from upmast.record.history import history_of, words_of
from upmast.record.kinds import Judgement, LimitKept, Waiver, Withdrawal, kinds, make
from upmast.record.record import Record

from .conftest import judged, photo
from .test_query import EXAMPLES


def test_each_line_says_test_value_limit_and_file(lone: Record) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        judged(writing, b"one", verdict="fails", value=12.0)
        judged(writing, b"other", "A3-J1.rl.load")
        judged(writing, b"short", "A2-J1.loss.short", 0.5)
        photo(writing, b"joint")
        key = writing.add(
            make(Waiver, subject="A2-J1.rl.load", name="R. Holm", reason="off until spring", granted="2026-05-04", expires="2026-06-30")
        )  # fmt: skip
        writing.add(make(Withdrawal, waiver=key, name="R. Holm", reason="a mistake", day="2026-05-05"))
    told = history_of(lone, "S1", "A2-J1")
    assert [(one.entry.kind, one.words) for one in told] == [
        ("measurement", "sweep.s1p: rf.sweep, grade A, no instrument named"),
        ("verdict", "A2-J1.rl.load fails: 12.00 dB, margin -5.70 dB, sweep.s1p"),
        ("measurement", "sweep.s1p: rf.sweep, grade A, no instrument named"),
        ("verdict", "A2-J1.loss.short passes: 0.50 dB, margin -17.20 dB, sweep.s1p"),
        ("photo", "top.jpg: sealed joint, of A2-J1"),
        ("waiver", "A2-J1.rl.load accepted by R. Holm, 2026-05-04 to 2026-06-30: off until spring"),
        ("withdrawal", "a waiver taken back by R. Holm on 2026-05-05: a mistake"),
    ]
    numbers = [one.entry.number for one in told]
    assert numbers == sorted(numbers)
    one_test = [one.words for one in history_of(lone, "S1", "A2-J1.loss.short")]
    assert one_test == [told[2].words, told[3].words]
    assert history_of(lone, "S1", "A9-J1") == ()


def test_a_verdict_names_its_limit_and_what_it_needs() -> None:
    limit = LimitKept(
        code="rf.sweep-return-loss", value=17.7, unit="dB", sense="at least", authority="a", source="s", mark="m", stage="acceptance"
    )  # fmt: skip
    one = next(said for said in EXAMPLES if isinstance(said, Judgement))
    first = one.findings[0].model_copy(
        update={"limit": limit, "verdict": "not judged", "value": None, "margin": None, "missing": ("a sound set-up",)}
    )
    said = one.model_copy(update={"findings": (first,), "verdict": "not judged"})
    assert words_of(said, {}).startswith(
        f"{one.test} not judged: no value, limit at least 17.70 dB, it needs a sound set-up"
    )


def test_every_kind_of_entry_has_its_line() -> None:
    for said in EXAMPLES:
        words = words_of(said, {})
        assert words
        assert "\n" not in words
        assert words not in kinds()
