"""Which limit holds: safety limits only get tighter, then contract and operator, data sheet, standard, practice."""

from __future__ import annotations

from itertools import combinations

import pytest

from upmast.codes import codes
from upmast.errors import InputFaults
from upmast.finding import Authority, Limit, Sense, Verdict, judge
from upmast.limits import Limits
from upmast.proof import limits as module
from upmast.proof.limits import limits_of, standing
from upmast.site.site import Site, SiteLimit
from upmast.source import Mark, Source

HERE = Source("a test", mark=Mark.CONFIRMED)
ORDER = ["SAFETY", "CONTRACT", "OPERATOR", "PART", "STANDARD", "PRACTICE", "DEFAULT"]


def limit(value: float, authority: Authority, sense: Sense = Sense.AT_LEAST, mark: Mark = Mark.CONFIRMED) -> Limit:
    return Limit("c", value, "dB", sense, authority, Source("a test", mark=mark))


def with_limits(site: Site, *rows: dict[str, object]) -> Site:
    made = tuple(SiteLimit.model_validate({"source": "a test", **row}) for row in rows)
    return site.model_copy(update={"limits": made})


def test_the_order_of_authority() -> None:
    assert [a.name for a in sorted(Authority, key=lambda a: a.rank)] == ORDER


@pytest.mark.parametrize(
    ("high", "low"), [(a, b) for a, b in combinations(list(Authority), 2) if a is not Authority.SAFETY]
)
def test_the_higher_authority_holds_whatever_its_value(high: Authority, low: Authority) -> None:
    for one, other in ((10.0, 20.0), (20.0, 10.0)):
        assert Limits({"c": limit(one, high)}).in_force("c", limit(other, low)).value == one  # type: ignore[union-attr]
        assert Limits({"c": limit(other, low)}).in_force("c", limit(one, high)).value == one  # type: ignore[union-attr]


@pytest.mark.parametrize("sense", list(Sense))
@pytest.mark.parametrize("other", list(Authority))
def test_against_a_safety_limit_the_tighter_holds(sense: Sense, other: Authority) -> None:
    tight, loose = (20.0, 10.0) if sense is Sense.AT_LEAST else (10.0, 20.0)
    for general, part in ((tight, loose), (loose, tight)):
        for first, second in ((Authority.SAFETY, other), (other, Authority.SAFETY)):
            found = Limits({"c": limit(general, first, sense)}).in_force("c", limit(part, second, sense))
            assert found is not None
            assert found.value == tight


def test_one_alone_holds() -> None:
    part = limit(1.0, Authority.PART)
    assert Limits({}).in_force("c", part) is part
    assert Limits({"c": part}).in_force("c") is part
    assert Limits({}).in_force("c") is None


def test_a_site_that_confirms_a_safety_limit_of_a_part_from_memory_makes_it_judge() -> None:
    part = limit(60.0, Authority.SAFETY, Sense.AT_MOST, Mark.MEMORY)
    for value, holds in ((60.0, Mark.CONFIRMED), (55.0, Mark.CONFIRMED), (70.0, Mark.MEMORY)):
        found = Limits({"c": limit(value, Authority.OPERATOR, Sense.AT_MOST)}).in_force("c", part)
        assert found is not None
        assert found.value == min(value, 60.0)
        assert found.source.mark is holds  # looser than what is remembered: still not judged
    assert Limits({"c": part}).get("d") is None


def test_the_table_names_codes_senses_and_sources() -> None:
    assert len(standing()) > 15
    for code, one in standing().items():
        assert codes()[code].kind == "finding"
        assert (one.unit, one.stage) == (codes()[code].unit, codes()[code].stage)
        assert one.sense is codes()[code].sense
        assert len(one.source.document) > 3
        assert (one.source.mark is Mark.PRACTICE) == (one.source.document == "common practice, no source")


def test_every_safety_limit_of_the_table_can_be_tightened_and_not_loosened(demo_site: Site) -> None:
    safety = [one for one in standing().values() if one.authority is Authority.SAFETY]
    assert len(safety) >= 7
    for one in safety:
        sign = 1.0 if one.sense is Sense.AT_LEAST else -min(1.0, one.value)  # a count can't be tightened below 0
        for authority in ("contract", "operator", "standard", "practice"):
            tight = limits_of(
                with_limits(demo_site, {"code": one.code, "value": one.value + sign, "authority": authority})
            )
            found = tight.get(one.code)
            assert found is not None
            assert (found.value, found.authority) == (one.value + sign, Authority.SAFETY)
            loose = one.value - (sign or -1.0)
            with pytest.raises(InputFaults, match=f"{one.code} is a safety limit"):
                limits_of(with_limits(demo_site, {"code": one.code, "value": loose, "authority": authority}))
        same = limits_of(with_limits(demo_site, {"code": one.code, "value": one.value}))
        assert same.get(one.code).value == one.value  # type: ignore[union-attr]


def test_other_limits_may_be_set_either_way_and_say_who_did(demo_site: Site) -> None:
    for value in (8.0, 14.0):
        row = {"code": "rf.return-loss-at-radio", "value": value, "authority": "contract", "source": "contract, page 3"}
        found = limits_of(with_limits(demo_site, row)).get("rf.return-loss-at-radio")
        assert found is not None
        assert (found.value, found.authority, found.unit) == (value, Authority.CONTRACT, "dB")
        assert str(found.source).startswith("contract, page 3")


def test_a_code_without_a_limit_of_ours_gets_one(demo_site: Site) -> None:
    assert "rf.sweep-cable-loss" not in standing()
    found = limits_of(with_limits(demo_site, {"code": "rf.sweep-cable-loss", "value": 3.0})).get("rf.sweep-cable-loss")
    assert found is not None
    assert (found.value, found.sense, found.unit) == (3.0, Sense.AT_MOST, "dB")


def test_all_wrong_limits_are_told_at_once(demo_site: Site) -> None:
    rows = (
        {"code": "no.such", "value": 1.0},
        {"code": "fibre.low-margin", "value": -1.0},
        {"code": "rf.loss", "value": 1.0},
    )
    with pytest.raises(InputFaults) as caught:
        limits_of(with_limits(demo_site, *rows))
    assert [f.place for f in caught.value.faults] == ["limits[1].code", "limits[2].value", "limits[3].code"]


# --- limits from memory -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [1.0, 10.0, 99.0])
def test_a_limit_from_memory_judges_nothing_and_shows_its_margin(value: float) -> None:
    found = judge("c", "A1", value, limit(10.0, Authority.STANDARD, mark=Mark.MEMORY))
    assert found.verdict is Verdict.NOT_JUDGED
    assert (found.value, found.margin) == (value, value - 10.0)
    assert found.missing[0].startswith("confirm the limit at least 10 dB (a test")
    assert "in limits of the site" in found.missing[0]


def test_it_judges_once_confirmed_by_name(demo_site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    table = {"pim.level": limit(-150.0, Authority.PRACTICE, Sense.AT_MOST, Mark.MEMORY)}
    monkeypatch.setattr(module, "standing", lambda: table)
    before = limits_of(with_limits(demo_site)).get("pim.level")
    assert judge("pim.level", "A1", -160.0, before).verdict is Verdict.NOT_JUDGED
    row = {"code": "pim.level", "confirmed_by": "N. Reader", "source": "contract, page 7"}
    after = limits_of(with_limits(demo_site, row)).get("pim.level")
    assert after is not None
    assert after.value == -150.0
    assert "confirmed by N. Reader" in str(after.source)
    assert judge("pim.level", "A1", -160.0, after).verdict is Verdict.PASSES
    assert judge("pim.level", "A1", -140.0, after).verdict is Verdict.FAILS


def test_equal_to_the_limit_passes() -> None:
    for sense in Sense:
        made = limit(10.0, Authority.STANDARD, sense)
        assert judge("c", "A1", 10.0, made).verdict is Verdict.PASSES
        beyond = 10.0 - 1e-6 if sense is Sense.AT_LEAST else 10.0 + 1e-6
        assert judge("c", "A1", beyond, made).verdict is Verdict.FAILS


@pytest.mark.parametrize(
    ("code", "value", "words", "do"),
    [
        ("rf.return-loss-load", -20.8, "a return loss, which is a positive number of dB", "write 20.8"),
        ("rf.frequency", 1800.0, "a frequency in Hz", "write 1800e6 if these are MHz"),
        (
            "rf.loss",
            0.5,
            "the code of a finding",
            "rf.loss is a figure: it is shown and takes no limit; limit rf.insertion-loss instead",
        ),
    ],
)
def test_a_limit_that_cannot_be_meant_says_what_was(
    demo_site: Site, code: str, value: float, words: str, do: str
) -> None:
    asked = (SiteLimit(code=code, value=value, source="a plan, page 3"),)
    with pytest.raises(InputFaults) as caught:
        limits_of(demo_site.model_copy(update={"limits": asked}))
    fault = caught.value.faults[0]
    assert fault.expected == words
    assert fault.remedy == do
