"""Length-coded jumpers: apart as far as an instrument tells them, never shorter than the way, or said why not."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import RfCable
from upmast.errors import UsageError
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.coded import code_lengths
from upmast.plan.options import Options
from upmast.proof.prove import prove
from upmast.rf.lengths import VELOCITY_TOLERANCE
from upmast.site.site import Site

CATALOGUE = standard()
MADE = CATALOGUE.get("feeder-12-43", RfCable)
STOCK = CATALOGUE.get("rf-jumper-12-43-43", RfCable)


@settings(max_examples=80, deadline=None)
@given(needs=st.lists(st.floats(0.3, 8.0), min_size=1, max_size=6), apart=st.floats(0.02, 1.5))
def test_made_lengths_are_apart_and_long_enough(needs: list[float], apart: float) -> None:
    found = code_lengths(MADE, needs, apart, "x")
    for need, length in zip(needs, found, strict=True):
        assert length - MADE.length_tolerance_m >= need - 1e-9
        assert length == pytest.approx(round(length / 0.05) * 0.05)
    for a, b in combinations(found, 2):
        tolerances = 2 * MADE.length_tolerance_m + 2 * VELOCITY_TOLERANCE * max(a, b)
        assert abs(a - b) >= apart + tolerances - 1e-9


def test_stock_lengths_are_taken_or_it_is_said_that_they_run_out() -> None:
    assert code_lengths(STOCK, [1.2, 1.2, 1.6], 0.4, "A1, B1, C1") == [1.5, 2.0, 3.0]
    with pytest.raises(UsageError, match="coded jumpers of A1, B1: the stock lengths of rf-jumper-12-43-43"):
        code_lengths(STOCK, [9.0, 9.0], 0.4, "A1, B1")
    with pytest.raises(UsageError, match="need up to"):
        code_lengths(MADE, [99.0, 99.0], 3.0, "A1, B1")


def test_on_a_site_each_sector_has_a_length_of_its_own(demo_site: Site) -> None:
    policy = demo_site.policy.model_copy(update={"jumper_lengths": "coded"})
    site = demo_site.model_copy(update={"policy": policy})
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in site.radios)
    line = build(site, CATALOGUE, Choice("hybrid", radios, "trunk-9x16-36f", 1, "box-straight-9-lc"))
    kinds: dict[str, set[float]] = {}
    for radio in site.radios:
        lengths = {i.length_m for i in line.of_kind("rf-jumper") if i.serves == (radio.id,)}
        assert len(lengths) == 1  # equal on all ports
        kinds.setdefault(radio.part, set()).update(x for x in lengths if x is not None)
    for part, lengths_ in kinds.items():
        assert len(lengths_) == sum(r.part == part for r in site.radios)
    assert all("coded" in i.reason for i in line.of_kind("rf-jumper"))
    assert not [
        f
        for f in prove(site, line, rooms=("support",)).findings
        if f.code == "support.reach" and str(f.verdict) == "fails" and "-J" in f.subject
    ]


def test_a_plan_takes_a_jumper_made_to_length(demo_site: Site) -> None:
    """Stock lengths seldom give one for each sector, so coded plans look first for parts made to length."""
    coded = demo_site.model_copy(update={"policy": demo_site.policy.model_copy(update={"jumper_lengths": "coded"})})
    for radio in coded.radios:
        first = Options(coded, CATALOGUE).rf_parts(radio)[0]
        assert first.stock_lengths_m == ()
        assert Options(demo_site, CATALOGUE).rf_parts(radio)[0].stock_lengths_m
