"""The charts of the fibre: their numbers against the budget, the tables and a reckoning of their own; gaps; words that don't collide."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from upmast.catalogue.catalogue import standard
from upmast.documents.chart import chart_svg
from upmast.documents.fibre_charts import MARGIN_WORDS_PX, STEP_WORDS_PX, bend_spec, budget_spec, steps_of
from upmast.documents.power_picture import WIDTH
from upmast.fibre.bend import bend_bound_db, bend_fibres
from upmast.fibre.evaluate import of, strand_radius_mm
from upmast.fibre.state import Inputs, Loop, Way
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.proof.prove import Proof, prove
from upmast.site.load import load as load_site

ROOT = Path(__file__).parent.parent.parent
CATALOGUE = standard()
SITE = load_site(ROOT / "demo" / "site" / "site.yaml", CATALOGUE)
RADIO = RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43")
LINE = build(SITE, CATALOGUE, Choice("hybrid", (RADIO,) * len(SITE.radios), "trunk-9x16-36f", 1, "box-straight-9-lc"))
PROOF = prove(SITE, LINE, rooms=("fibre",))
Spec = dict[str, Any]


@pytest.fixture(autouse=True)
def fake_rooms() -> None:
    """The rooms here are the real ones."""


def inputs_of(proof: Proof) -> Inputs:
    found = proof.rooms["fibre"].inputs
    assert isinstance(found, Inputs)
    return found


INPUTS = inputs_of(PROOF)
WAY = INPUTS.ways[0]


def with_inputs(**changes: Any) -> Proof:
    inputs = replace(INPUTS, columns={}, **changes)
    return replace(PROOF, rooms={**PROOF.rooms, "fibre": replace(PROOF.rooms["fibre"], inputs=inputs)})


def with_way(way: Way) -> Proof:
    """The first direction of the first link is another, and its way back is the same as ever but wrong, so that it is not chosen."""
    return with_inputs(ways=(way, replace(INPUTS.ways[1], right=False), *INPUTS.ways[2:]))


def long_way(times: int) -> Way:
    """The way with its joints over and over."""
    count = len(WAY.events)
    more = tuple(("event", n) for n in range(count, count * times))
    return replace(WAY, events=WAY.events * times, order=(*WAY.order, *more))


def spec_of(proof: Proof, link: str = "") -> Spec:
    spec = budget_spec(proof, link)
    assert spec is not None
    return spec


def values(spec: Spec, mark: str) -> list[list[dict[str, Any]]]:
    return [one["data"]["values"] for one in spec["layer"] if one["mark"]["type"] == mark]


def small(spec: Spec) -> str:
    return " | ".join(spec["title"]["subtitle"])


def words(spec: Spec) -> list[str]:
    return [str(r["text"]) for one in spec["layer"] if one["mark"]["type"] == "text" for r in one["data"]["values"]]


def ends(spec: Spec) -> dict[str, float]:
    return {r["row"]: r["at"] for mark in ("point", "tick") for rows in values(spec, mark) for r in rows}


# --- the power along a link -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("link", INPUTS.links)
def test_a_budget_reckoned_from_the_parts_ends_where_the_picture_ends(link: str) -> None:
    """Sums of our own over glass, joints and loops: neither the budget nor the steps of the picture are asked."""
    spec, n = spec_of(PROOF, link), 2 * INPUTS.links.index(link)
    found = of(INPUTS)
    row = min((n, n + 1), key=lambda r: float(found.low_db[r]))
    way = INPUTS.ways[row]
    loops = [INPUTS.loops[k] for k in way.loops]
    # 0.03 dB for ten turns of 15 mm or wider: ITU-T G.657, class A2, 1550 nm
    assert {x.fibre_class for x in loops} <= {"G.657.A2"}
    most = [g.attenuation_db_per_km * g.length_m / 1000 for g in way.glass] + [e.loss_db for e in way.events]
    most += [0.003 * (x.turns + x.exit_turn) for x in loops] + [INPUTS.repair_db]
    least = [g.least_db_per_km * g.shortest_m / 1000 for g in way.glass]
    at = ends(spec)
    assert at["sent at least"] == pytest.approx(way.tx_minimum_dbm)
    assert at["arrives at least"] == pytest.approx(way.tx_minimum_dbm - math.fsum(most), abs=1e-8)
    assert at["arrives at most"] == pytest.approx(way.tx_maximum_dbm - math.fsum(least), abs=1e-8)
    assert at["arrives at most"] == pytest.approx(way.tx_maximum_dbm - float(found.best_db[row]), abs=1e-8)
    assert at["receiver takes at least"] == pytest.approx(way.rx_minimum_dbm)
    assert at["receiver takes at most"] == pytest.approx(way.rx_maximum_dbm)
    bars = values(spec, "bar")[1]
    assert sum(b["loss"] for b in bars) == pytest.approx(float(found.worst_db[row]))
    assert len(bars) == len(way.glass) + len(way.events) + len(way.loops) + (INPUTS.repair_db > 0)


def test_the_small_print_tells_site_link_ends_wavelength_and_both_margins() -> None:
    spec, found = spec_of(PROOF), of(INPUTS)
    row = int(np.argmin(found.low_db))
    text = small(spec)
    for part in (SITE.id, INPUTS.links[row // 2], INPUTS.ways[row].meant, f"{INPUTS.ways[row].sent_nm_wave:g} nm"):
        assert part in text
    assert f"weak light {found.low_db[row]:+.2f} dB" in text
    assert f"strong light {found.over_db[row]:+.2f} dB" in text
    assert f"highest loss {found.worst_db[row]:.2f} dB" in text
    assert "the data sheet of the module governs" in text
    assert "from memory" not in text


def test_values_from_memory_are_marked() -> None:
    assert "from memory: receiver minimum; greatest power" in small(
        spec_of(with_way(replace(WAY, low_missing="receiver minimum", high_missing="greatest power")), INPUTS.links[0])
    )


def test_the_direction_of_the_least_margin_is_drawn() -> None:
    """A receiver that needs 3 dB more is the worst of all, whatever its place."""
    ways = list(INPUTS.ways)
    ways[5] = replace(ways[5], rx_minimum_dbm=ways[5].rx_minimum_dbm + 3.0)
    spec = spec_of(with_inputs(ways=tuple(ways)))
    assert f"{INPUTS.links[2]}: {ways[5].start.split('/')[0]} to {ways[5].meant}" in small(spec)


def test_no_budget_of_wrong_light_unknown_powers_or_an_unbounded_bend() -> None:
    wrong = tuple(replace(way, right=False) for way in INPUTS.ways)
    assert budget_spec(with_inputs(ways=wrong)) is None
    assert budget_spec(with_inputs(ways=tuple(replace(way, tx_minimum_dbm=math.nan) for way in INPUTS.ways))) is None
    assert budget_spec(with_inputs(ways=tuple(replace(way, rx_maximum_dbm=math.nan) for way in INPUTS.ways))) is None
    assert budget_spec(with_inputs(ways=(), links=())) is None
    tight = tuple(replace(x, radius_m=0.02, fibre_class="G.652.D", diameter_mm=3.0) for x in INPUTS.loops)
    proof = with_inputs(loops=tight)
    assert np.isnan(of(inputs_of(proof)).worst_db[0])
    assert budget_spec(proof, INPUTS.links[0]) is None


def test_a_loop_counts_once_however_often_its_cable_is_passed() -> None:
    glass = next(n for n, g in enumerate(WAY.glass) if g.item == INPUTS.loops[WAY.loops[0]].cable)
    twice = replace(WAY, glass=(*WAY.glass, WAY.glass[glass]), order=(*WAY.order, ("glass", len(WAY.glass))))
    far = replace(WAY, glass=(), order=tuple(x for x in WAY.order if x[0] == "event"))
    for way in (twice, far):
        inputs = inputs_of(with_way(way))
        steps = steps_of(inputs, 0)
        assert sum(name.startswith("bend of") for name, _ in steps) == len(WAY.loops)
        assert sum(loss for _, loss in steps) == pytest.approx(float(of(inputs).worst_db[0]), abs=1e-12)


@pytest.mark.parametrize("times", [1, 4, 10])
def test_words_of_many_joints_stay_off_names_and_bars(times: int) -> None:
    """To 40 joints: every row has a name of its own, and no words reach over the axis or stand in a margin too narrow for them."""
    proof = with_way(long_way(times))
    spec = spec_of(proof, INPUTS.links[0])
    (margins, bars), low = values(spec, "bar"), float(of(inputs_of(proof)).low_db[0])
    assert sum(b["row"].count(" > ") for b in bars) == 4 * times
    assert len({b["row"] for b in bars}) == len(bars)
    low_dbm, high_dbm = spec["layer"][1]["encoding"]["x"]["scale"]["domain"]
    per_db = WIDTH / (high_dbm - low_dbm)
    told = [one for one in spec["layer"] if one["mark"]["type"] == "text" and one["mark"]["color"] != "white"]
    for one in told:
        if one["mark"]["align"] == "right":
            field = one["encoding"]["x"]["field"]
            assert all((r[field] - low_dbm) * per_db > STEP_WORDS_PX - 1 for r in one["data"]["values"])
        if one["mark"]["align"] == "center":
            assert all(abs(r["margin"]) * per_db > MARGIN_WORDS_PX for r in one["data"]["values"])
    assert sum(words(spec).count(b["text"]) for b in bars[:1]) >= 2  # with its rim
    assert margins[0]["at"] - margins[0]["to"] == pytest.approx(low)
    # what arrives has its words on the side away from the margin
    (side,) = {
        one["mark"]["align"] for one in told for r in one["data"]["values"]
        if r["row"] == "arrives at least" and "margin" not in r
    }  # fmt: skip
    assert side == ("right" if low < 0 else "left")
    assert (low < 0) is (times == 10)
    root = ET.fromstring(chart_svg(spec))
    assert float(root.attrib["width"]) < 640


def test_pictures_are_plain_data_without_free_text() -> None:
    evil = '"><script>alert(1)</script>'
    site = SITE.model_copy(update={"name": evil, "note": evil, "author": evil})
    for spec in (spec_of(replace(PROOF, site=site)), bend_spec("G.652.D"), bend_spec("G.657.A2", INPUTS.loops)):
        text = json.dumps(spec, allow_nan=False)
        assert "script" not in text
        assert '"url"' not in text
        assert len(text) < 150_000


# --- loss over radius -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", bend_fibres())
def test_both_limits_are_the_bound_everywhere(name: str) -> None:
    lines = values(bend_spec(name), "line")
    waves = (1550.0,) if name == "G.652.D" else (1550.0, 1625.0)
    for rows, wave in zip(lines, waves, strict=False):
        radii = np.array([r["mm"] for r in rows])
        bound = bend_bound_db(name, radii + 1e-3, 1.0, wave).loss_db  # radii are rounded to less than that
        assert [r["db"] for r in rows] == pytest.approx(bound.tolist())


def test_rows_of_the_table_are_points() -> None:
    """ITU-T G.657, class A2: 0.03 and 0.1 dB for ten turns of 15 mm, 0.1 and 0.2 dB of 10 mm, 0.5 and 1 dB of 7.5 mm."""
    rows = next(v for v in values(bend_spec("G.657.A2"), "point") if v and "mm" in v[0])
    assert sorted((r["mm"], round(r["db"], 9)) for r in rows) == [
        (7.5, 0.5), (7.5, 1.0), (10.0, 0.1), (10.0, 0.2), (15.0, 0.003), (15.0, 0.01),
    ]  # fmt: skip


def test_a_class_without_a_limit_at_1550_nm_says_so() -> None:
    """G.652.D as kept here has its limit at 1625 nm alone: no limit at 1550 nm may be told."""
    spec = bend_spec("G.652.D")
    assert "no limit at 1550 nm" in small(spec)
    assert "limit at 1625 nm, which bounds 1550 nm" in words(spec)
    assert "memory" in small(spec)
    for name in bend_fibres():
        if name != "G.652.D":
            other = bend_spec(name)
            assert "no limit at 1550 nm" not in small(other)
            assert "no formula holds" in small(other)
            assert {"limit at 1550 nm", "limit at 1625 nm"} <= set(words(other))


def test_below_the_table_it_is_refused_and_the_words_stand_beside_the_estimate() -> None:
    for wave in (1310.0, 1550.0, 1625.0):
        spec = bend_spec("G.652.D", (), wave)
        (word,) = {r["mm"] for one in spec["layer"] for r in one["data"]["values"] if r.get("text") == "below the table: refused"}  # fmt: skip
        assert word < min(r["mm"] for rows in values(spec, "area") for r in rows)
        (shade,) = values(spec, "rect")
        assert shade[0]["to"] == pytest.approx(30.0, abs=1e-3)


@pytest.mark.parametrize("wave", [1310.0, 1550.0, 1625.0])
def test_the_estimate_is_the_formula_by_other_functions(wave: float) -> None:
    """Marcuse's formula written anew with scipy's Bessel functions and root; a turn is 2 pi R of the geometric radius."""
    from scipy.optimize import brentq  # type: ignore[import-untyped]
    from scipy.special import j0, j1, k0, k1  # type: ignore[import-untyped]

    from upmast.proof.light import TYPICAL_CLAD_INDEX, TYPICAL_CORE_INDEX, TYPICAL_CORE_UM

    a, n1, n2, k = TYPICAL_CORE_UM * 1e-6, TYPICAL_CORE_INDEX, TYPICAL_CLAD_INDEX, 2 * math.pi / (wave * 1e-9)
    v = k * a * math.sqrt(n1**2 - n2**2)

    def apart(u: float) -> float:
        w = math.sqrt(v * v - u * u)
        return float(u * j1(u) * k0(w) - w * k1(w) * j0(u))

    u = float(brentq(apart, 0.5, min(v, 2.4048) - 1e-9))
    w = math.sqrt(v * v - u * u)
    beta = math.sqrt((k * n1) ** 2 - (u / a) ** 2)
    # elasto-optic radius of silica: p11 = 0.121, p12 = 0.270, nu = 0.17, from memory
    stress = 1 / (1 - n2**2 / 2 * (0.270 - 0.17 * (0.121 + 0.270)))
    for ratio, rows in zip((1.0, stress), values(bend_spec("G.652.D", (), wave), "area"), strict=True):
        inside = [r for r in rows if r["db"] < 19 and r["low"] > 1.01e-5]
        assert len(inside) > 10
        for r in inside:
            bend = r["mm"] * 1e-3 * ratio
            power = math.sqrt(math.pi) * (u / a) ** 2 * math.exp(-2 * (w / a) ** 3 * bend / (3 * beta**2))
            power /= 2 * (w / a) ** 1.5 * v**2 * math.sqrt(bend) * float(k1(w)) ** 2
            turn = 2 * math.pi * r["mm"] * 1e-3 * power * 10 / math.log(10)
            assert r["db"] == pytest.approx(turn, rel=2e-3)  # radii in the picture are rounded
            assert r["low"] == pytest.approx(0.55 * turn, rel=2e-3)


def test_loops_stand_on_the_limit_of_the_wavelength_asked_for() -> None:
    """ITU-T G.657, class A2, 15 mm and wider: 0.003 dB a turn to 1550 nm, 0.01 dB to 1625 nm."""
    radii = sorted({round(strand_radius_mm(x), 1) for x in INPUTS.loops})
    for wave, limit in ((1310.0, 0.003), (1550.0, 0.003), (1600.0, 0.01), (1625.0, 0.01)):
        spec = bend_spec("G.657.A2", INPUTS.loops, wave)
        rows = next(v for v in values(spec, "point") if v and "text" in v[0])
        assert [r["mm"] for r in rows] == radii
        assert [r["db"] for r in rows] == pytest.approx([limit] * len(radii))
        words_ = f"asked for {wave:g} nm: the limit at {1550 if wave <= 1550 else 1625} nm counts"
        assert (words_ in small(spec)) is (wave != 1550)


def test_loops_that_are_not_drawn_are_named() -> None:
    def loop(id: str, radius_m: float) -> Loop:
        return replace(INPUTS.loops[0], id=id, radius_m=radius_m, diameter_mm=2.0)

    spec = bend_spec("G.657.A2", [loop("TIGHT", 0.006), loop("WIDE", 1.5), loop("GOOD", 0.3)])
    assert "loops without a limit or beyond the picture: TIGHT, WIDE" in small(spec)
    assert "GOOD" in words(spec)
    assert "beyond the picture" not in small(bend_spec("G.657.A2", INPUTS.loops))


def test_a_class_or_wavelength_without_limits_is_refused() -> None:
    with pytest.raises(ValueError, match="no bending limits here"):
        bend_spec("G.999")
    for wave in (1626.0, 0.0, -1550.0, math.nan):
        with pytest.raises(ValueError, match="limits reach to 1625 nm"):
            bend_spec("G.657.A2", (), wave)


@pytest.mark.parametrize("name", bend_fibres())
def test_it_is_told_in_black_and_white_and_can_be_drawn(name: str) -> None:
    spec = bend_spec(name, INPUTS.loops, 1600.0)
    keys = [one["mark"] for one in spec["layer"] if one["mark"]["type"] == "rule"]
    assert len({tuple(mark["strokeDash"]) for mark in keys}) == len(keys) >= 2
    root = ET.fromstring(chart_svg(spec))
    assert 400 < float(root.attrib["width"]) < 560
    assert float(root.attrib["height"]) < 560
