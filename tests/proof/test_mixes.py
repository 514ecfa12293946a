"""Intermodulation told beside a proof: the ladder adds up to the finding, sentences, tones, metal, pictures; and what is missing."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import Clamp
from upmast.documents.chart import chart_svg
from upmast.documents.pim_charts import ladder_spec, meeting_spec, spectrum_spec
from upmast.documents.pim_pages import pim_blocks, pim_pictures
from upmast.documents.sheet import Bullets, Picture, Table
from upmast.finding import Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.pim.level import noise_rise_db
from upmast.proof.mixes import Mixes, has_mixes, mixes_data, mixes_of
from upmast.proof.prove import Proof, prove
from upmast.proof.two_tones import tones_for_test
from upmast.site.site import Carrier, Metal, Site
from upmast.working import FormulaStep

CATALOGUE = standard()
ROOMS = ("rf", "pim")


def line_of(site: Site) -> Line:
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in site.radios)
    return build(site, CATALOGUE, Choice("hybrid", radios, "trunk-9x16-36f", 1, "box-straight-9-lc"))


@pytest.fixture(scope="module")
def proof(demo_site: Site) -> Proof:
    return prove(demo_site, line_of(demo_site), rooms=ROOMS)


@pytest.fixture(scope="module")
def found(proof: Proof) -> Mixes:
    return mixes_of(proof)


def test_the_hit_of_the_demonstration_by_hand(found: Mixes) -> None:
    first = found.mixes[0]
    # 2 x 1820 - 1860 = 1780 MHz, 60 MHz wide, reaches the uplink of 1860 MHz, 95 MHz below it (3GPP TS 36.101, band 3)
    assert first.radio in ("A2", "B2", "C2")
    assert "2x1820.0 - 1860.0 = 1780.0 MHz (order 3) falls into its own uplink, B3 1755.0-1775.0 MHz" in first.sentence
    assert "no product of its own carriers" in found.mixes[-1].sentence
    assert [m.ladder.rise_db if m.ladder else -1 for m in found.mixes] == sorted(
        (m.ladder.rise_db if m.ladder else -1 for m in found.mixes), reverse=True
    )


def test_the_ladder_adds_up_and_stays_below_the_finding(found: Mixes, proof: Proof) -> None:
    for mix in found.mixes:
        if mix.ladder is None:
            continue
        ladder = mix.ladder
        each = [10 ** (r.arrives_dbm / 10) for r in ladder.rungs]
        assert ladder.power_dbm == pytest.approx(10 * np.log10(sum(each)))
        assert ladder.voltage_dbm == pytest.approx(20 * np.log10(sum(np.sqrt(each))))
        assert ladder.alike_dbm <= ladder.voltage_dbm + 1e-9
        assert sum(r.share_percent for r in ladder.rungs) == pytest.approx(100)
        assert ladder.rise_db == pytest.approx(float(noise_rise_db(ladder.power_dbm, ladder.noise_dbm)))
        # the finding leaves line loss out, which is the safe side
        finding = proof.find(f"pim.noise-rise@{mix.radio}")
        assert finding.value is not None
        assert ladder.rise_db <= finding.value
        assert [r.place_m for r in ladder.rungs] == sorted(r.place_m for r in ladder.rungs)
        steps = [s for s in proof.working(finding) if isinstance(s, FormulaStep)]
        assert all(step.holds() for step in steps)
        assert steps[0].result.value == pytest.approx(
            float(10 * np.log10(sum(10 ** (r.source.level_dbc / 10) for r in ladder.rungs)))
        )


def test_radios_alike_have_the_same_answer_under_their_own_names(found: Mixes) -> None:
    alike = [m for m in found.mixes if m.ladder is not None]
    assert len(alike) == 3
    assert len({m.ladder.rise_db for m in alike if m.ladder}) == 1
    for m in alike:
        assert m.ladder is not None
        assert m.ladder.path.startswith(m.radio)
        assert all(m.radio in r.source.name or m.radio[0] in r.source.name for r in m.ladder.rungs)


def test_what_to_move_and_a_plan_within_the_blocks(demo_site: Site) -> None:
    def site(block: bool) -> Site:
        edges = {"move_from_mhz": 1805, "move_to_mhz": 1880} if block else {}
        carriers = tuple(
            Carrier.model_validate({"centre_mhz": mhz, "width_mhz": 10, "power_w": 30, "band": "B3", **edges})
            for mhz in (1815, 1862.5)
        )
        radios = tuple(r.model_copy(update={"carriers": carriers}) if r.id == "A2" else r for r in demo_site.radios)
        return demo_site.model_copy(update={"radios": radios})

    still = next(m for m in mixes_of(prove(site(False), line_of(site(False)), rooms=ROOMS)).mixes if m.radio == "A2")
    assert still.plan is None
    assert len(still.move) == 1
    assert still.pairs[0].hits_left == 0
    moved = next(m for m in mixes_of(prove(site(True), line_of(site(True)), rooms=ROOMS)).mixes if m.radio == "A2")
    assert moved.plan is not None
    assert moved.plan.exhaustive
    assert moved.plan.hits == 0
    again = tuple(
        Carrier.model_validate({"centre_hz": hz, "width_mhz": 10, "power_w": 30, "band": "B3"})
        for hz in moved.plan.centres_hz
    )
    radios = tuple(r.model_copy(update={"carriers": again}) if r.id == "A2" else r for r in demo_site.radios)
    proven = prove(demo_site.model_copy(update={"radios": radios}), line_of(demo_site), rooms=ROOMS)
    own = proven.find("pim.noise-rise@A2")
    assert "in B3 uplink" not in own.note or "of A3" in own.note  # what is left are the channels of its mates


def test_worse_joints_and_declared_metal_raise_the_noise(demo_site: Site, proof: Proof) -> None:
    worn = tuple(r.model_copy(update={"joint_excess_db": 30.0}) for r in demo_site.radios)
    bad = prove(demo_site.model_copy(update={"radios": worn}), line_of(demo_site), rooms=ROOMS).find(
        "pim.noise-rise@A2"
    )
    assert bad.verdict is Verdict.FAILS  # type: ignore[union-attr]
    assert bad.value is not None
    assert bad.value > 10
    rail = Metal(name="rusty rail", sector="A", level_dbc=-120.0, source="measured by the crew (invented)")
    site = demo_site.model_copy(update={"metals": (rail,)})
    near = prove(site, line_of(site), rooms=ROOMS)
    found = near.find("pim.surroundings@A-M1")
    assert found.verdict is Verdict.FAILS  # type: ignore[union-attr]
    assert "rusty rail: -120 dBc (measured by the crew (invented))" in found.note
    quiet = prove(
        demo_site.model_copy(update={"metals": (rail.model_copy(update={"level_dbc": -200.0}),)}),
        line_of(demo_site),
        rooms=ROOMS,
    ).find("pim.surroundings@A-M1")
    assert quiet.verdict is Verdict.PASSES  # type: ignore[union-attr]
    assert quiet.value is not None
    assert found.value is not None
    assert 0 < quiet.value < 0.2 < found.value
    assert not [f for f in proof.findings if f.code == "pim.surroundings"]
    assert near.working(found)
    mixes = mixes_of(near)
    (told,) = mixes.metals
    assert told.rise is not None
    assert told.rise.rise_db == pytest.approx(found.value)
    assert told.sentence.startswith("rusty rail, -120 dBc (measured by the crew (invented)): ")
    assert "(order 3)" in told.sentence
    assert mixes_data(mixes)["metals"][0]["noise_rise_db"] == pytest.approx(found.value, abs=1e-6)
    words = [b for b in pim_blocks(near, mixes, charts=False) if isinstance(b, Bullets)]
    assert any("rusty rail" in row for b in words for row in b.items)


def test_a_whole_band_at_high_power_never_passes_silently(demo_site: Site) -> None:
    """One carrier over the downlink of B3 mixes with itself: three times as wide, it reaches the uplink 20 MHz below."""
    wide = Carrier.model_validate({"band": "B3", "whole_band": True, "power_w": 60})
    radios = tuple(r.model_copy(update={"carriers": (wide,)}) if r.id == "A2" else r for r in demo_site.radios)
    found = prove(demo_site.model_copy(update={"radios": radios}), line_of(demo_site), rooms=ROOMS).find(
        "pim.noise-rise@A2"
    )
    assert found is not None
    assert found.value is not None
    assert found.value > 0.1
    assert "1842.5" in found.note


def test_metal_clamps_near_antennas_are_counted(demo_site: Site, proof: Proof) -> None:
    good = proof.find("pim.metal-clamps@NESS-PT")
    assert (good.value, good.verdict) == (0.0, Verdict.PASSES)  # type: ignore[union-attr]
    line = line_of(demo_site)
    parts = {
        id: part.model_copy(update={"metal": True}) if isinstance(part, Clamp) else part
        for id, part in line.parts.items()
    }
    bad = prove(demo_site, replace(line, parts=parts), rooms=ROOMS).find("pim.metal-clamps@NESS-PT")
    assert bad.verdict is Verdict.FAILS  # type: ignore[union-attr]
    assert bad.value is not None
    assert bad.value > 0
    assert "near A-ANT" in bad.note


def test_the_tones_of_the_test_plan(proof: Proof) -> None:
    pair, own = tones_for_test(("B8",))
    # 3GPP TS 36.101: band 8 sends 925 to 960 MHz and receives 880 to 915 MHz: order 3 reaches it
    assert pair is not None
    low, high = pair.tones_hz
    assert pair.product_hz == 2 * low - high
    assert 880e6 < pair.product_hz < 915e6
    assert own == "this band alone reaches its own uplink from order 3 on"
    assert tones_for_test(("n78",)) == (None, "its bands take turns: no receiver listens while they send")
    asked = [e for e in proof.expectations if e.id.endswith("pim.im3")]
    assert asked
    assert all("set f1 = " in e.set_up for e in asked)


def test_which_carriers_meet(found: Mixes, demo_site: Site) -> None:
    assert {m.sector for m in found.meetings} == {s.id for s in demo_site.sectors}
    for m in found.meetings:
        square = np.array(m.products)
        assert np.array_equal(square, square.T)
        assert set(np.array(m.lowest).ravel().tolist()) <= {0, *m.orders}
        assert any(name.startswith("N1 ") for name in m.names)
        a, b = (next(n for n, x in enumerate(m.names) if x.endswith(e)) for e in (" 1820", " 1860"))
        assert m.lowest[a][b] == 3


def test_what_is_missing_is_said(demo_site: Site) -> None:
    line = line_of(demo_site)
    parts = {id: p.model_copy(update={"pim_dbc": None}) if id == "antenna-12" else p for id, p in line.parts.items()}
    mine = mixes_of(prove(demo_site, replace(line, parts=parts), rooms=ROOMS))
    assert any(m.sentence == "not judged: pim_dbc of antenna-12" for m in mine.mixes)
    bare = demo_site.model_copy(
        update={"radios": tuple(r.model_copy(update={"carriers": ()}) for r in demo_site.radios)}
    )
    none = prove(bare, line_of(bare), rooms=ROOMS)
    assert not has_mixes(none)
    assert not has_mixes(prove(demo_site, line, rooms=("earth",)))


def test_as_plain_data(found: Mixes) -> None:
    data = json.loads(json.dumps(mixes_data(found), allow_nan=False))
    assert [r["radio"] for r in data["radios"]] == [m.radio for m in found.mixes]
    assert data["radios"][0]["ladder"]["sources"]
    assert data["meetings"][0]["orders"] == [3, 5, 7]


def test_the_pictures_hold_the_numbers(found: Mixes, proof: Proof) -> None:
    first = found.mixes[0]
    assert first.ladder is not None
    ladder = ladder_spec(first)
    assert ladder is not None
    rows = ladder["layer"][0]["data"]["values"]
    assert [r["to"] for r in rows[:-3]] == [r.arrives_dbm for r in first.ladder.rungs]
    spectrum = spectrum_spec(first, -150.0)
    assert spectrum is not None
    lines = [x["data"]["values"] for x in spectrum["layer"] if x["mark"]["type"] == "line"]
    assert len(lines) == 3
    third = {r["mhz"]: r["db"] for r in lines[0]}
    peak = max(third, key=lambda mhz: third[mhz])
    assert 1800 < peak < 1880  # third order is strongest at and between the carriers
    meeting = meeting_spec(found.meetings[0])
    assert meeting is not None
    count = len(found.meetings[0].names)
    assert len(meeting["layer"][0]["data"]["values"]) == count * (count + 1) // 2
    for spec in (ladder, spectrum, meeting):
        ET.fromstring(chart_svg(spec))
    silent = next(m for m in found.mixes if m.ladder is None)
    assert ladder_spec(silent) is None
    assert spectrum_spec(silent, -150.0) is None
    blocks = list(pim_blocks(proof, found))
    assert sum(isinstance(b, Picture) for b in blocks) == len(list(pim_pictures(proof, found))) == 3
    assert any(isinstance(b, Table) for b in blocks)
    assert any(isinstance(b, Bullets) for b in blocks)
