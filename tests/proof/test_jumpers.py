"""The RF jumpers told beside a proof, and their pictures: against the functions and whole cascades, and on lines that lack something."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import AntennaPart, RfCable
from upmast.documents.chart import chart_svg
from upmast.documents.jumper_pages import jumper_blocks, jumper_pictures, sweep_pictures
from upmast.documents.rf_charts import gain_spec, length_map_spec
from upmast.documents.rf_sweeps import design_of, loss_bars_spec, return_loss_spec
from upmast.documents.sheet import Bullets, Picture, Table
from upmast.finding import Figure
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.proof.jumpers import VELOCITY_TOLERANCE, Jumpers, has_jumpers, jumpers_data, jumpers_of
from upmast.proof.prove import Proof, prove
from upmast.rf.derive_length import derive_length
from upmast.rf.joint import joint_gamma
from upmast.rf.length import Bands, best_length, distance_turns, longest_for_gain_m
from upmast.rf.lengths import length_gain
from upmast.rf.reflection import (
    gamma_from_return_loss,
    reflection_interval,
    return_loss_db,
    return_loss_from_vswr_db,
)
from upmast.rf.state import Inputs
from upmast.site.site import Site
from upmast.source import Source
from upmast.working import FormulaStep

CATALOGUE = standard()


def line_of(site: Site) -> Line:
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in site.radios)
    return build(site, CATALOGUE, Choice("hybrid", radios, "trunk-9x16-36f", 1, "box-straight-9-lc"))


@pytest.fixture(scope="module")
def proof(demo_site: Site) -> Proof:
    return prove(demo_site, line_of(demo_site), rooms=("rf",))


@pytest.fixture(scope="module")
def found(proof: Proof) -> Jumpers:
    return jumpers_of(proof)


def near(site: Site) -> Site:
    """The same site with radios right below their antennas."""
    return site.model_copy(update={"radios": tuple(r.model_copy(update={"rf_run_m": 0.35}) for r in site.radios)})


def test_every_jumper_has_one_sentence(found: Jumpers, proof: Proof) -> None:
    assert len(found.jumpers) == len(proof.line.of_kind("rf-jumper"))
    for j in found.jumpers:
        # 2 m and more, whole bands, 10 mm and 1 %: the tables of the tests of the functions say that nothing is gained
        assert j.verdict.startswith("no useful gain: choose the length by routing")
        assert j.whole is not None
        assert j.whole.gain_db == 0
        made = Bands([a for a, _ in j.bands], [b for _, b in j.bands], 0.83, 0.01, VELOCITY_TOLERANCE)
        part = proof.line.parts[j.part]
        assert isinstance(part, RfCable)
        made = replace(made, velocity_factor=part.velocity_fraction, tolerance_m=part.length_tolerance_m)
        assert best_length(made, j.least_m, j.least_m + 1.0).distance_turns == 0
        # in every band at once: never longer than in the worst band alone; a dense scan finds no longer one
        assert all(
            x <= y + 1e-6 for x, y in zip(j.longest_m, longest_for_gain_m(made, [1, 3, 6]).min(axis=-1), strict=True)
        )
        scan = np.linspace(0.01, 3.0, 29_901)
        gains = -20 * np.log10(np.cos(np.pi * distance_turns(made, scan).min(axis=-1)) + 1e-300)
        for gain, longest in zip((1, 3, 6), j.longest_m, strict=True):
            reached = scan[gains >= gain]
            assert longest == pytest.approx(float(reached.max(initial=0.0)), abs=2e-4)
        assert j.longest_m[0] < j.least_m


def test_where_a_gain_exists_it_is_told_as_one_at_best(demo_site: Site) -> None:
    site = near(demo_site)
    mine = jumpers_of(prove(site, line_of(site), rooms=("rf",)))
    low = next(j for j in mine.jumpers if j.start == "A1.rf1")
    assert low.whole is not None
    assert low.today is not None
    assert low.whole.gain_db > 1.0
    assert low.verdict.startswith("no sure gain: choose the length by routing; at best, if both joints are alike")
    assert low.today.gain_db >= low.whole.gain_db  # a channel is narrower than its band
    strict = jumpers_of(prove(site, line_of(site), rooms=("rf",)), worth_db=99.0)
    assert next(j for j in strict.jumpers if j.start == "A1.rf1").whole.worth_cutting is False  # type: ignore[union-attr]


@pytest.mark.parametrize("run_m", [0.35, 1.5])
def test_the_figure_of_the_room_says_the_same_and_shows_its_working(demo_site: Site, run_m: float) -> None:
    radios = tuple(r.model_copy(update={"rf_run_m": run_m}) for r in demo_site.radios)
    site = demo_site.model_copy(update={"radios": radios})
    proof = prove(site, line_of(site), rooms=("rf",))
    told = {j.id: j for j in jumpers_of(proof).jumpers}
    figures = [f for f in proof.figures if f.code == "rf.length-gain"]
    assert {f.subject for f in figures} == set(told)
    gained = 0
    for figure in figures:
        worth = told[figure.subject].whole
        assert worth is not None
        assert figure.value == pytest.approx(worth.system_db, abs=1e-9)
        gained += worth.gain_db > 0.5
        steps = [s for s in proof.working(figure) if isinstance(s, FormulaStep)]
        for step in steps:
            again = step.expression.value({q.symbol: q.value for q in step.inputs})
            assert again == pytest.approx(step.result.value, abs=1e-9)
        assert steps[-1].result.value == pytest.approx(figure.value)
        words = "no length from" if worth.gain_db == 0 else "at best, if both joints are alike"
        assert words in figure.note
    assert (gained > 0) == (run_m < 1)


def test_a_gain_is_sure_only_where_both_joints_were_measured(demo_site: Site) -> None:
    site = near(demo_site)
    line = line_of(site)
    joints = [j for j in line.joints if line.port(j.a).family == "rf"]
    ids = sorted({line.port(end).connector for j in joints for end in (j.a, j.b)})

    def told(near_end: str, far_end: str) -> str:
        """The first jumper's verdict, with what the connectors at the radios and at the antennas reflect as."""
        parts = dict(line.parts)
        for id in ids:
            kind = (
                near_end
                if any(line.port(e).connector == id for j in joints for e in (j.a, j.b) if ".rf" in e)
                else far_end
            )
            connector = line.connector(id)
            parts[id] = connector.model_copy(update={"reflects_as": kind})
        mine = jumpers_of(prove(site, replace(line, parts=parts), rooms=("rf",)))
        return next(j for j in mine.jumpers if j.start == "A1.rf1").verdict

    assert told("unknown", "unknown").startswith("no sure gain")
    alike = told("shunt C", "shunt C")
    assert "no sure gain" not in alike
    assert alike.startswith(("worth cutting", "no useful gain"))


def test_unlike_joints_move_the_nulls_by_half_a_turn(demo_site: Site) -> None:
    """A room with one joint of each kind: the best length is where like joints would add, and the working shows why."""
    site = near(demo_site)
    proof = prove(site, line_of(site), rooms=("rf",))
    room = proof.rooms["rf"].inputs
    assert isinstance(room, Inputs)
    unlike = replace(room, kinds=tuple(("shunt C", "series L") for _ in room.kinds))
    like = replace(room, kinds=tuple(("shunt C", "shunt C") for _ in room.kinds))
    p = next(n for n, start in enumerate(room.radios) if start == "A1")
    one, other = length_gain(like, p), length_gain(unlike, p)
    assert one is not None
    assert other is not None
    assert abs(one.length_m - other.length_m) > 0.02
    figure = Figure("rf.length-gain", room.paths[p], other.system_db, "dB", "", Source("x"), rank=p)
    steps = [s for s in derive_length(unlike, figure) if isinstance(s, FormulaStep)]
    for step in steps:
        assert step.expression.value({q.symbol: q.value for q in step.inputs}) == pytest.approx(
            step.result.value, abs=1e-9
        )
    assert any(q.symbol == "o" for step in steps for q in step.inputs)
    assert steps[-1].result.value == pytest.approx(other.system_db)


def test_bands_and_channels_are_those_of_the_carriers(found: Jumpers) -> None:
    one = next(j for j in found.jumpers if j.start == "A1.rf1")
    # 3GPP TS 36.101 table 5.5-1, band 20
    assert one.bands == ((791e6, 821e6), (832e6, 862e6))
    for low, high in one.channels:
        assert any(a <= low and high <= b for a, b in one.bands)


def test_losses_and_watts_by_hand(found: Jumpers, proof: Proof) -> None:
    one = found.jumpers[0]
    part = proof.line.parts[one.part]
    assert isinstance(part, RfCable)
    loss = next(f for f in proof.figures if f.code == "rf.loss" and f.subject == one.id)
    v = one.levels
    assert v is not None
    # the figure counts cables and joints' own loss; here what the joints reflect comes on top
    assert loss.value == pytest.approx(v.total_db, abs=0.01)
    assert v.total_db >= loss.value  # type: ignore[operator]
    assert v.lost_w == pytest.approx(v.sent_w * (1 - 10 ** (-v.total_db / 10)))
    assert v.drawn_w is not None
    assert v.drawn_w > v.lost_w
    assert v.spread_db[1] < 0 < v.spread_db[0]
    assert v.arrives_dbm == pytest.approx(10 * np.log10(v.sent_w) + 30 - v.total_db)
    antenna = proof.line.part_of(one.end.partition(".")[0])
    assert isinstance(antenna, AntennaPart)
    gain = antenna.port_gain_dbi(one.end.partition(".")[2])
    assert gain is not None
    assert v.eirp_dbm is not None
    assert v.arrives_dbm + gain <= v.eirp_dbm <= 10 * np.log10(v.sent_w) + 30 + gain


def test_eirp_is_not_judged_without_the_gain(demo_site: Site) -> None:
    line = line_of(demo_site)
    parts = {
        id: part.model_copy(update={"gain_dbi": {}}) if isinstance(part, AntennaPart) else part
        for id, part in line.parts.items()
    }
    mine = jumpers_of(prove(demo_site, replace(line, parts=parts), rooms=("rf",)))
    assert all(j.levels is not None and j.levels.eirp_dbm is None for j in mine.jumpers)


def test_power_ratings_are_those_of_the_findings(demo_site: Site, found: Jumpers) -> None:
    assert all(0 < (j.ratings_percent[0] or 0) < 100 and 0 < (j.ratings_percent[1] or 0) < 100 for j in found.jumpers)
    line = line_of(demo_site)
    id = line.by_id["A1-J1"].part
    part = line.parts[id]
    weak = replace(line, parts={**line.parts, id: part.model_copy(update={"rated_w": None})})
    mine = jumpers_of(prove(demo_site, weak, rooms=("rf",)))
    one = next(j for j in mine.jumpers if j.id == "A1-J1")
    assert one.ratings_percent[0] is None
    assert one.ratings_percent[1] is not None
    assert json.loads(json.dumps(jumpers_data(mine)))["jumpers"][0]["rating_used_percent"]["average"] is None


def test_three_ways_to_see_a_sweep_stand_in_order(found: Jumpers) -> None:
    for j in found.jumpers:
        s = j.shown
        assert s is not None
        assert s.worst_db <= s.usual_db + 1e-9
        assert s.chance is not None
        assert s.limit_db is not None
        if s.worst_db >= s.limit_db:
            assert s.chance.share == 1.0


def test_a_longer_path_changes_nothing_for_the_others(demo_site: Site, found: Jumpers) -> None:
    """One path with a two-port beside the rest: rows are padded, and none of the others may lose its verdict."""
    radios = tuple(r.model_copy(update={"inline": ("arrestor-43",)}) if r.id == "A1" else r for r in demo_site.radios)
    site = demo_site.model_copy(update={"radios": radios})
    mine = {j.id: j for j in jumpers_of(prove(site, line_of(site), rooms=("rf",))).jumpers}
    before = {j.id: j for j in found.jumpers}
    for id, j in mine.items():
        if not id.startswith("A1-"):
            assert j.verdict == before[id].verdict
            assert j.levels == before[id].levels
    chain = mine["A1-J1"]
    assert chain.passed == ("A1-U1", "A1-J1")
    assert chain.certificate is not None
    assert chain.certificate.closed
    assert chain.whole is not None
    assert chain.levels is not None
    assert chain.levels.inline_db == pytest.approx(0.1)
    assert gain_spec(chain, 0.83, 0.01) is None


def test_what_is_missing_is_said(demo_site: Site) -> None:
    bare = demo_site.model_copy(
        update={"radios": tuple(r.model_copy(update={"carriers": ()}) for r in demo_site.radios)}
    )
    mine = jumpers_of(prove(bare, line_of(bare), rooms=("rf",)))
    assert all(j.verdict == "not judged: the carriers of the radio" for j in mine.jumpers)
    assert all(j.whole is None and j.longest_m == () for j in mine.jumpers)
    assert all(j.levels is None and j.shown is None for j in mine.jumpers)
    assert gain_spec(mine.jumpers[0], 0.83, 0.01) is None
    assert length_map_spec(mine.jumpers[0], 0.83, 0.01) is None
    json.dumps(jumpers_data(mine), allow_nan=False)


def test_as_plain_data(found: Jumpers) -> None:
    data = json.loads(json.dumps(jumpers_data(found), allow_nan=False))
    assert [row["id"] for row in data["jumpers"]] == [j.id for j in found.jumpers]
    assert data["jumpers"][0]["whole_bands"]["worth_cutting"] is False
    assert data["notes"]


def test_there_is_nothing_without_the_room(demo_site: Site, proof: Proof) -> None:
    assert has_jumpers(proof)
    assert not has_jumpers(prove(demo_site, line_of(demo_site), rooms=("earth",)))


# --- pictures ---------------------------------------------------------------------------------------------------------


def test_the_lines_of_the_gain_are_those_of_the_functions(found: Jumpers) -> None:
    one = found.jumpers[0]
    spec = gain_spec(one, 0.83, 0.01)
    assert spec is not None
    bands = Bands([a for a, _ in one.bands], [b for _, b in one.bands], 0.83, 0.01, VELOCITY_TOLERANCE)
    lines = [x["data"]["values"] for x in spec["layer"] if x["mark"]["type"] == "line"]
    assert len(lines) == len(one.bands) + 1
    for n, rows in enumerate(lines):
        for row in rows[::50]:
            d = distance_turns(bands, row["m"])
            mine = float(d[n] if n < len(one.bands) else d.min())
            tall = max(r["db"] for rows_ in lines for r in rows_)
            full = -20 * np.log10(np.cos(np.pi * mine))
            assert row["db"] == pytest.approx(min(full, tall), abs=0.15)  # lengths are rounded
    worst = lines[-1]
    assert all(w["db"] <= min(line[k]["db"] for line in lines[:-1]) + 1e-9 for k, w in enumerate(worst))
    ET.fromstring(chart_svg(spec))


def test_the_map_is_dark_where_the_joints_add(found: Jumpers) -> None:
    one = found.jumpers[0]
    spec = length_map_spec(one, 0.83, 0.01)
    assert spec is not None
    cells = spec["layer"][0]["data"]["values"]
    for cell in cells[::37]:
        m, f = (cell["m"] + cell["to"]) / 2, (cell["mhz"] + cell["up"]) / 2 * 1e6
        turns = 2 * f * m / (0.83 * 299792458)
        assert cell["share"] == pytest.approx(abs(np.cos(np.pi * turns)), abs=2e-3)
    dark, light = max(cells, key=lambda c: c["share"]), min(cells, key=lambda c: c["share"])
    assert int(dark["colour"][1:3], 16) < 80 < 200 < int(light["colour"][1:3], 16)
    boxes = spec["layer"][2]["data"]["values"]
    assert len(boxes) == len(one.bands)
    assert boxes[0]["to"] - boxes[0]["m"] == pytest.approx(0.02)
    ET.fromstring(chart_svg(spec))


def test_the_calculation_sheet_tells_the_jumpers(found: Jumpers, proof: Proof) -> None:
    blocks = list(jumper_blocks(proof, found))
    words = next(b for b in blocks if isinstance(b, Bullets)).items
    assert any("choose the length by routing" in text for text in words)
    table = next(b for b in blocks if isinstance(b, Table))
    assert len(table.rows) == len(found.jumpers)
    drawn = [*sweep_pictures(proof, found), *jumper_pictures(proof.line, found)]
    assert sum(isinstance(b, Picture) for b in blocks) == len(drawn) == 10
    assert len({p.name for p in drawn}) == 10
    assert not any(isinstance(b, Picture) for b in jumper_blocks(proof, found, charts=False))


def test_the_lines_of_the_return_loss_are_the_exact_worst_case(found: Jumpers, proof: Proof) -> None:
    one = found.jumpers[0]
    spec = return_loss_spec(proof, one.id)
    assert spec is not None
    runs = [x["data"]["values"] for x in spec["layer"] if x["mark"]["type"] == "line"]
    design = design_of(proof, one.id)
    assert design is not None
    assert len(runs) == 2 * len(set(design.ranges))  # with a load, and with the antenna
    j = [(x.return_loss_db, x.reference_hz) for x in design.joints]
    for rows, end in ((runs[0], 40.0), (runs[-1], float(return_loss_from_vswr_db(design.antenna_vswr or 1.0)))):
        for row in rows[::40]:
            f = row["mhz"] * 1e6
            gammas = [float(joint_gamma(f, rl, ref)) for rl, ref in j]
            loss = float(design.loss_db(np.array([f]))[0])
            least = return_loss_db(reflection_interval(gammas, [loss, 0.0], gamma_from_return_loss(end)).greatest)
            assert row["db"] == pytest.approx(float(least), abs=2e-3)
    ET.fromstring(chart_svg(spec))
    assert return_loss_spec(proof, "none") is None


def test_bars_add_up_to_the_losses(found: Jumpers) -> None:
    spec = loss_bars_spec(found)
    assert spec is not None
    bars = next(x["data"]["values"] for x in spec["layer"] if x["mark"]["type"] == "bar")
    totals = {row["row"]: row["to"] for row in bars}
    for j in found.jumpers:
        assert j.levels is not None
        assert totals[f"{j.id} {j.start}"] == pytest.approx(j.levels.total_db, abs=1e-4)
    assert loss_bars_spec(Jumpers((), ())) is None
    ET.fromstring(chart_svg(spec))
