"""Verdicts: equal passes, memory and gaps are not judged, margins are positive when good."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.finding import Authority, Figure, Finding, Limit, Sense, Stage, Verdict, judge, worst
from upmast.source import Mark, Source

SOURCE = Source("A standard", "table 1")
FINITE = st.floats(-1e9, 1e9, allow_nan=False)


def limit(value: float, sense: Sense = Sense.AT_MOST, source: Source = SOURCE, **more: object) -> Limit:
    return Limit("power.drop", value, "V", sense, Authority.STANDARD, source, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("sense", list(Sense))
@given(value=FINITE)
def test_equal_to_the_limit_passes(sense: Sense, value: float) -> None:
    found = judge("power.drop", "R1", value, limit(value, sense))
    assert found.verdict is Verdict.PASSES
    assert found.margin == 0


@given(value=FINITE, bound=FINITE)
def test_margin_is_positive_when_good_and_the_senses_mirror(value: float, bound: float) -> None:
    low = judge("c", "s", value, limit(bound, Sense.AT_LEAST))
    high = judge("c", "s", value, limit(bound, Sense.AT_MOST))
    assert low.margin == -high.margin == value - bound  # type: ignore[operator]
    room = 1e-9 * max(1.0, abs(bound))
    assert low.verdict is (Verdict.PASSES if value >= bound - room else Verdict.FAILS)
    assert high.verdict is (Verdict.PASSES if value <= bound + room else Verdict.FAILS)


@pytest.mark.parametrize(
    ("sense", "value", "verdict"),
    [
        (Sense.AT_MOST, 1.001, Verdict.FAILS), (Sense.AT_MOST, 0.999, Verdict.PASSES), (Sense.AT_LEAST, 0.999, Verdict.FAILS),
        (Sense.AT_LEAST, 1.001, Verdict.PASSES), (Sense.AT_MOST, math.inf, Verdict.FAILS), (Sense.AT_LEAST, math.inf, Verdict.PASSES),
        (Sense.AT_MOST, 1 + 1e-12, Verdict.PASSES),
    ],
)  # fmt: skip
def test_which_side_is_good(sense: Sense, value: float, verdict: Verdict) -> None:
    assert judge("c", "s", value, limit(1.0, sense)).verdict is verdict


@given(value=FINITE, bound=FINITE)
def test_a_limit_from_memory_is_never_judged_but_shown(value: float, bound: float) -> None:
    found = judge("c", "s", value, limit(bound, source=Source("A standard", mark=Mark.MEMORY)))
    assert found.verdict is Verdict.NOT_JUDGED
    assert found.value == value
    assert found.margin == bound - value
    assert found.missing[0].startswith("confirm the limit at most")


@pytest.mark.parametrize("mark", [Mark.CONFIRMED, Mark.PRACTICE, Mark.INVENTED, Mark.DECLARED])
def test_other_marks_are_judged(mark: Mark) -> None:
    assert judge("c", "s", 2.0, limit(1.0, source=Source("A text", mark=mark))).verdict is Verdict.FAILS


@pytest.mark.parametrize("value", [None, math.nan, np.float32("nan"), np.float64("nan")])
def test_no_value_is_not_judged(value: float | None) -> None:
    found = judge("c", "s", value, limit(1.0))
    assert found.verdict is Verdict.NOT_JUDGED
    assert found.value is None
    assert found.missing == ("the value",)
    assert judge("c", "s", value, limit(1.0), missing=("a trace",)).missing == ("a trace",)


def test_no_limit_is_not_judged_and_asks_for_one() -> None:
    found = judge("power.drop", "s", 1.0, None)
    assert found.verdict is Verdict.NOT_JUDGED
    assert found.missing == ("a limit for power.drop: give one in limits of the site",)
    assert found.margin is None
    assert found.normalised_margin is None


def test_something_missing_is_not_judged_though_value_and_margin_are_shown() -> None:
    found = judge("c", "s", 0.5, limit(1.0), missing=("a calibration",))
    assert found.verdict is Verdict.NOT_JUDGED
    assert (found.value, found.margin, found.missing) == (0.5, 0.5, ("a calibration",))


def test_a_finding_keeps_what_it_was_given() -> None:
    found = judge(
        "power.drop",
        "R1",
        0.4,
        limit(1.0, stage=Stage.INSTALL),
        scenario="hot",
        note="n",
        remedy="r",
        items=("T1",),
        rank=3,
    )
    assert (found.key, found.room, found.unit, found.stage) == ("power.drop@R1", "power", "V", Stage.INSTALL)
    assert (found.scenario, found.note, found.remedy, found.items, found.rank) == ("hot", "n", "r", ("T1",), 3)
    figure = Figure("rf.loss_db", "A1", 1.0, "dB", "", SOURCE)
    assert (figure.key, figure.room) == ("rf.loss_db@A1", "rf")


def test_normalised_margin_is_a_share_of_the_limit_or_of_its_scale() -> None:
    assert judge("c", "s", 1.1, limit(1.0)).normalised_margin == pytest.approx(-0.1)
    assert judge("c", "s", -150.0, limit(-153.0, scale=10.0)).normalised_margin == pytest.approx(-0.3)
    assert judge("c", "s", -2.0, limit(0.0)).normalised_margin == pytest.approx(2.0)
    assert judge("c", "s", math.inf, limit(1.0)).normalised_margin is None


@given(a=FINITE, b=FINITE)
def test_a_limit_tightens_another_if_it_lets_less_pass(a: float, b: float) -> None:
    assert limit(a, Sense.AT_MOST).tightens(limit(b, Sense.AT_MOST)) == (a < b)
    assert limit(a, Sense.AT_LEAST).tightens(limit(b, Sense.AT_LEAST)) == (a > b)


def test_contract_goes_before_standard_before_practice() -> None:
    order = [
        Authority.SAFETY,
        Authority.CONTRACT,
        Authority.OPERATOR,
        Authority.PART,
        Authority.STANDARD,
        Authority.PRACTICE,
    ]
    assert sorted(order, key=lambda a: a.rank) == order


def test_the_worst_is_a_failure_then_a_gap_then_the_smallest_margin() -> None:
    fails, slight = judge("c", "a", 1.5, limit(1.0)), judge("c", "b", 1.1, limit(1.0))
    gap, near, far = (
        judge("c", "d", None, limit(1.0)),
        judge("c", "e", 0.9, limit(1.0)),
        judge("c", "f", 0.1, limit(1.0)),
    )
    ranked: list[Finding | None] = []
    left = [far, near, gap, slight, fails]
    while left:
        first = worst(tuple(left))
        assert first is not None
        ranked.append(first)
        left.remove(first)
    assert ranked == [fails, slight, gap, near, far]
    assert worst(()) is None


def test_a_limit_of_a_part_is_confirmed_at_the_part() -> None:
    source = Source("part 4.3-10-plug: IEC 61169-54", "torque_nm", mark=Mark.MEMORY)
    limit = Limit("support.torque-applied", 4.5, "N·m", Sense.AT_LEAST, Authority.PART, source)
    (missing,) = judge("support.torque-applied", "A1-J1", 5.0, limit).missing
    assert missing.endswith("torque_nm of 4.3-10-plug, give its data sheet as its source")
    assert "limits of the site" not in missing
