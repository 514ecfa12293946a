"""The fibre room on built lines: right ports, crossings, margins, spares."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from upmast.catalogue.catalogue import standard
from upmast.fibre import check as fibre
from upmast.finding import Finding, Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Joint, Line
from upmast.proof.limits import limits_of
from upmast.proof.scenarios import scenarios_of
from upmast.room import Result
from upmast.site.site import Site
from upmast.working import FormulaStep


def _make() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make", Path(__file__).parent.parent / "sites" / "make.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


make = _make()
SITE: Site = make.site(make.text("three_radios"))
LINE: Line = make.line(SITE)
CATALOGUE = standard()


def checked(site: Site, line: Line) -> tuple[Any, Result]:
    inputs = fibre.inputs(line, site, scenarios_of(site))
    return inputs, fibre.check(inputs, limits_of(site))


def found(result: Result, code: str, subject: str) -> Finding:
    return next(f for f in result.findings if f.code == code and f.subject == subject)


def exchanged(line: Line, a: str, b: str) -> Line:
    """The line with two ends exchanged: what was joined to one is joined to the other."""
    swap = {a: b, b: a}
    return replace(line, joints=tuple(Joint(swap.get(j.a, j.a), swap.get(j.b, j.b), j.keys) for j in line.joints))


def test_a_sound_line_passes_with_the_loss_added_up_by_hand() -> None:
    _, result = checked(SITE, LINE)
    assert all(f.verdict is Verdict.PASSES for f in result.findings)
    trunk, jumper = LINE.by_id["T1"], LINE.by_id["A1-H1"]
    metres = sum((i.length_m or 0) + i.tolerance_m for i in (trunk, jumper))
    loss = found(result, "fibre.channel-loss", "A1-L1").value
    # the loops: two turns of the trunk at 0.1 dB for ten turns of 15 mm (ITU-T G.657, A2: 0.03 dB for ten), likewise the jumper
    turns = sum(LINE.by_id[f"{id}-LP1"].turns for id in ("T1", "A1-H1"))
    assert turns > 0
    bends = turns * 0.03 / 10
    assert loss == pytest.approx(0.4 * metres / 1000 + 4 * 0.25 + bends)  # four mated pairs of 0.25 dB
    # 10GBASE-LR average powers of IEEE 802.3: -8.2 dBm launched at least, -14.4 dBm needed
    assert found(result, "fibre.low-margin", "A1-L1").value == pytest.approx(-8.2 + 14.4 - (loss or 0))


def test_two_jumpers_exchanged_are_named_with_the_likely_cause() -> None:
    wrong = exchanged(LINE, "A1-H1.foot.f1", "A2-H1.foot.f1")
    inputs, result = checked(SITE, wrong)
    for link, other in (("A1-L1", "A2.opt1"), ("A2-L1", "A1.opt1")):
        f = found(result, "fibre.right-port", link)
        assert f.verdict is Verdict.FAILS
        assert other in f.note
        # light alone can't tell at which end of the way the exchange is: all places are told
        assert "exchange" in f.remedy
        assert "then all light is right" in f.remedy
        told = [w for change in inputs.changes for w in (change.words, *change.alike)]
        assert "exchange A2-H1.foot.f1 and A1-H1.foot.f1, the plugs in BX1.out.f1 and BX1.out.f2" in told
        low = found(result, "fibre.low-margin", link)
        assert low.verdict is Verdict.NOT_JUDGED
        assert low.missing == ("light on the right port: mend that first",)
    assert found(result, "fibre.right-port", "A3-L1").verdict is Verdict.PASSES


def test_one_crossing_too_many_puts_two_senders_face_to_face() -> None:
    straight = build(
        SITE, CATALOGUE,
        Choice("hybrid", tuple(RadioChoice("breaker-40", "dc-jumper-6", "fibre-jumper-2f-a-a", "rf-jumper-12-43-43") for _ in SITE.radios), "trunk-6x10-24f", 1, "box-straight-6-lc"),
    )  # fmt: skip
    _, result = checked(SITE, straight)
    f = found(result, "fibre.right-port", "A1-L1")
    assert f.verdict is Verdict.FAILS
    assert "two senders face each other" in f.note
    assert "take A-B leads instead of fibre-jumper-2f-a-a (A-A) at A1-F1, A2-F1, A3-F1" in f.remedy


def test_array_trunks_work_through_fan_outs_and_patches() -> None:
    for trunk, box, fan in (
        ("trunk-6x10-24f-mpo12", "box-straight-6-mpo12", "fanout-mpo-12"),
        ("trunk-6x16-24f-mpo24", "box-straight-6-mpo24", "fanout-mpo-24"),
    ):
        radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x6-2f", "", "rf-jumper-12-43-43") for _ in SITE.radios)
        line = build(SITE, CATALOGUE, Choice("hybrid", radios, trunk, 1, box, fanout=fan))
        inputs, result = checked(SITE, line)
        assert all(way.right for way in inputs.ways), [way.why for way in inputs.ways]
        assert found(result, "fibre.right-port", "A3-L1").verdict is Verdict.PASSES


def test_light_that_ends_nowhere_says_where() -> None:
    cut = replace(LINE, joints=tuple(j for j in LINE.joints if j.b != "A1.opt1"))
    _, result = checked(SITE, cut)
    f = found(result, "fibre.right-port", "A1-L1")
    assert f.verdict is Verdict.FAILS
    assert "A1-H1" in f.note


def test_a_long_reach_optic_overloads_on_a_mast() -> None:
    part = CATALOGUE.part("optic-10g-er")
    sure = part.model_copy(update={"sources": {}, "source": "data sheet of the test"})
    line = LINE
    items = tuple(
        replace(i, equipment=tuple((port, "optic-10g-er") for port, _ in i.equipment))
        if i.kind in ("radio", "baseband")
        else i
        for i in line.items
    )
    for optic, verdict in ((sure, Verdict.FAILS), (part, Verdict.NOT_JUDGED)):
        longer = replace(line, items=items, parts={**line.parts, "optic-10g-er": optic})
        _, result = checked(SITE, longer)
        f = found(result, "fibre.overload-margin", "A1-L1")
        assert f.verdict is verdict  # values from memory are never judged
        assert f.value == pytest.approx(-1.0 - 4.0)  # 4 dBm sent at most, -1 dBm borne
        assert f.remedy.startswith("an attenuator of 7 ± 0.5 dB at the receiver, or an optic of class 10GBASE-LR")
    assert "from memory" in f.missing[0]


def test_standby_and_growth_are_different_lists() -> None:
    asked = SITE.model_copy(update={
        "radios": tuple(r.model_copy(update={"fibre": r.fibre.model_copy(update={"standby_count": 1})}) if r.id == "A2" else r for r in SITE.radios),
        "policy": SITE.policy.model_copy(update={"growth_strands_count": 4}),
    })  # fmt: skip
    line = make.line(asked)
    inputs, result = checked(asked, line)
    assert inputs.standby == (("A2", 1, 1),)
    assert found(result, "fibre.standby-links", "A2").verdict is Verdict.PASSES
    kept = found(result, "fibre.growth-strands", "T3")
    assert kept.value == 2 * sum(k.state == "growth" for k in line.links)
    gone = replace(line, links=tuple(k for k in line.links if k.state == "service"))
    _, worse = checked(asked, gone)
    assert found(worse, "fibre.standby-links", "A2").verdict is Verdict.FAILS
    assert found(worse, "fibre.growth-strands", "T3").verdict is Verdict.FAILS


def test_derivations_hold() -> None:
    inputs, result = checked(SITE, LINE)
    for one in (*result.findings, *result.figures):
        steps = fibre.working(inputs, limits_of(SITE), one)
        assert steps
        trees = [s for s in steps if isinstance(s, FormulaStep)]
        assert all(t.holds() for t in trees)
        if trees:
            assert trees[-1].result.value == pytest.approx(one.value, abs=1e-12)


def test_a_limit_of_an_optic_from_memory_is_not_judged() -> None:
    """Reflections against what an optic bears: its value counts with the mark of its own source."""
    optic = CATALOGUE.part("optic-10g-lr")
    for mark, verdict in ((" [memory]", Verdict.NOT_JUDGED), ("", Verdict.PASSES)):
        sources = {**optic.sources, "least_return_loss_db": f"IEEE 802.3{mark}"}
        known = optic.model_copy(update={"least_return_loss_db": 26.0, "sources": sources})
        _, result = checked(SITE, replace(LINE, parts={**LINE.parts, optic.id: known}))
        assert found(result, "fibre.return-loss", "A1-L1").verdict is verdict


def test_the_least_radius_of_a_loop_has_the_source_of_its_data_sheet() -> None:
    trunk = LINE.part_of("T1")
    sheet = trunk.model_copy(update={"bend_static_mm": 320.0, "sources": {"bend_static_mm": "data sheet 7"}})
    _, result = checked(SITE, replace(LINE, parts={**LINE.parts, trunk.id: sheet}))
    limit = found(result, "fibre.loop-radius", "T1-LP1").limit
    assert limit is not None
    assert (limit.value, limit.source.document) == (320.0, "data sheet 7")
