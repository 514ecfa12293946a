"""The lines on the mast: clamps add up to their items, what governs, pull, swings, heat, loads, pictures; and what is missing."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from io import StringIO
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import numpy as np
import openpyxl
import pytest
from rich.console import Console

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import CableElement
from upmast.cli.mast_lines import show_mast_lines
from upmast.documents.calc_sheet import calc_sheet
from upmast.documents.chart import chart_svg
from upmast.documents.hand_over import hand_over_csv, totals
from upmast.documents.install import install_book, install_sheets
from upmast.documents.sheet import Bullets, Heading, Table
from upmast.documents.support_charts import height_spec, section_spec, use_spec, vortex_spec
from upmast.documents.support_pages import support_blocks, support_pictures
from upmast.documents.to_xlsx import xlsx_bytes
from upmast.finding import Figure, Finding
from upmast.line.line import Line
from upmast.proof.clamp_list import torque_words
from upmast.proof.mast_lines import MastLines, has_mast_lines, mast_data, mast_lines_of, pull_note
from upmast.proof.prove import Proof, prove
from upmast.site.site import ClampCare, Site, Wind
from upmast.support.hand_over import left_out
from upmast.support.reaction import end_factor
from upmast.support.state import Inputs
from upmast.support.wind import wind_profile

CATALOGUE = standard()
ROOMS = ("power", "support", "weather")
G = 9.80665


def with_part(line: Line, part: str, **values: object) -> Line:
    return replace(line, parts={**line.parts, part: line.parts[part].model_copy(update=values)})


def with_item(line: Line, id: str, **values: object) -> Line:
    return replace(line, items=tuple(replace(i, **values) if i.id == id else i for i in line.items))  # type: ignore[arg-type]


def seen(site: Site, line: Line) -> MastLines:
    return mast_lines_of(prove(site, line, rooms=ROOMS))


@pytest.fixture(scope="module")
def proof(demo_site: Site, demo_line: Line) -> Proof:
    return prove(demo_site, demo_line, rooms=ROOMS)


@pytest.fixture(scope="module")
def found(proof: Proof) -> MastLines:
    return mast_lines_of(proof)


# --- clamps ---------------------------------------------------------------------------------------------------------


def test_the_rows_add_up_to_the_items(found: MastLines, demo_line: Line) -> None:
    assert Counter(r.item for r in found.rows) == {i.id: i.count for i in demo_line.items if i.kind == "clamp"}
    assert sum(g.count for g in found.groups) == len(found.rows)


def test_the_trunk_has_its_clamps_evenly_with_one_at_each_end(found: MastLines) -> None:
    # 5 m of wall, 7.5 m of bridge, 36 m of mast: 48.5 m on 50 clamps
    mine = [r for r in found.rows if r.cable == "T1"]
    assert np.diff([r.along_m for r in mine]) == pytest.approx(48.5 / 49)
    assert (mine[0].along_m, mine[-1].along_m) == (0.0, pytest.approx(48.5))
    assert (mine[0].height_m, mine[-1].height_m) == (pytest.approx(0.6), pytest.approx(36.0))
    assert next(r.leg for r in mine if r.height_m == pytest.approx(0.6)) == "along the wall"
    upright = [r for r in mine if r.leg == "up the mast"]
    # 36 m along the leg for 35.4 m of height
    assert upright[-1].height_m - upright[0].height_m == pytest.approx(
        (upright[-1].along_m - upright[0].along_m) * 35.4 / 36
    )


def test_a_jumper_has_half_a_spacing_at_its_ends(found: MastLines) -> None:
    mine = [r for r in found.rows if r.cable == "A1-H1"]  # 4 m, four clamps
    assert [r.along_m for r in mine] == pytest.approx([0.5, 1.5, 2.5, 3.5])
    assert all(36.0 < r.height_m < 37.5 for r in mine)


def test_plastic_clamps_near_antennas_go_on_above_the_steel_ones(lines: ModuleType) -> None:
    site = lines.some_site(["radio-low-2t2r", "radio-mid-4t4r"], (1, 1), 1)
    for form in lines.FORMS:
        line = lines.some_line(site, form)
        rows = seen(site, line).rows
        assert Counter(r.item for r in rows) == {i.id: i.count for i in line.items if i.kind == "clamp"}
        both = {r.cable for r in rows if r.item.endswith("-CL2")} & {r.cable for r in rows if r.item == f"{r.cable}-CL"}
        for cable in both:
            mine = [r for r in rows if r.cable == cable]
            assert all(a.along_m < b.along_m for a, b in pairwise(mine)), "no two clamps in one place"
            assert {r.part.endswith("-plastic") for r in mine if r.item.endswith("-CL2")} == {True}


def test_counts_that_were_edited_by_hand_still_add_up(demo_site: Site, demo_line: Line) -> None:
    for count in (0, 1, 2, 7, 200):
        rows = seen(demo_site, with_item(demo_line, "T1-CL", count=count)).rows
        assert sum(r.item == "T1-CL" for r in rows) == count


# --- what governs ----------------------------------------------------------------------------------------------------


def test_the_end_factor_is_that_of_the_real_spans(found: MastLines) -> None:
    for hold in found.holds:
        assert hold.end_factor == pytest.approx(max(1.0, float(end_factor(min(hold.spans, 40)))))
    assert found.holds[0].spans == 49
    assert found.holds[0].governs == "rule"


def test_the_torque_window_closes_where_crush_is_weak(demo_site: Site, demo_line: Line) -> None:
    bolts = {"bolts_count": 1, "bolt_mm": 8.0, "torque_nm": 6.0, "pad_width_mm": 60.0}
    clamp, trunk = demo_line.by_id["T1-CL"].part, demo_line.by_id["T1"].part
    line = with_part(with_part(demo_line, clamp, **bolts), trunk, crush_n_per_100mm=9000.0)
    hold = seen(demo_site, line).holds[0]
    assert hold.window is not None
    # slip: 1.5 x (m + ice) g s through 2 mu c, K 0.2 + 30 %, M8; crush: 9000 N x 0.6 x 0.2 less 30 % x 8 mm
    weight = 1.5 * (520 / (1.5 * G) / hold.slip_m) * G * hold.spacing_m
    assert hold.window.low_nm == pytest.approx(weight / (2 * 0.25 * 0.7) * 0.26 * 0.008, rel=1e-6)
    assert hold.window.high_nm == pytest.approx(9000 * 0.6 * 0.14 * 0.008)
    assert hold.window.open
    weak = seen(demo_site, with_part(line, trunk, crush_n_per_100mm=50.0)).holds[0]
    assert weak.window is not None
    assert not weak.window.open
    assert weak.window.words.startswith("none: slip asks")
    untested = with_part(with_part(line, trunk, crush_n_per_100mm=50.0), clamp, slip_rating_n=None)
    assert seen(demo_site, untested).holds[0].governs == "friction"
    assert seen(demo_site, untested).holds[0].governs_words == "(friction)"
    row = next(r for r in seen(demo_site, line).rows if r.item == "T1-CL")
    assert row.torque == "6 N·m (53 in·lb)"


def test_the_spacing_by_friction_is_told_as_a_hint_and_no_limit(demo_site: Site, demo_line: Line) -> None:
    """Terminal, paper and picture name it and say in a foot line what it is; the docs too."""
    bolts = {"bolts_count": 1, "bolt_mm": 8.0, "torque_nm": 6.0, "pad_width_mm": 60.0}
    clamp, trunk = demo_line.by_id["T1-CL"].part, demo_line.by_id["T1"].part
    proof = prove(
        demo_site, with_part(with_part(demo_line, clamp, **bolts), trunk, crush_n_per_100mm=9000.0), rooms=ROOMS
    )
    made = mast_lines_of(proof)
    assert made.holds[0].friction_m is not None
    table = [b for b in support_blocks(proof, made, charts=False) if isinstance(b, Table)][1]
    spec = use_spec(made)
    assert spec is not None
    out = StringIO()
    show_mast_lines(Console(file=out, width=300), made)
    page = (Path(__file__).parent.parent.parent / "docs" / "support.md").read_text("utf-8")
    shown = (out.getvalue(), table.note, json.dumps(spec), " ".join(page.split()))
    for text in shown:
        assert "friction at the allowed torque" in text
        assert re.search("a hint(, no| and no) limit", text)
    assert "Crush" not in {c.title for c in table.columns}
    assert " crush " not in out.getvalue().split("What governs")[1].splitlines()[1]
    bare = with_part(proof.line, trunk, crush_n_per_100mm=None)
    out = StringIO()
    show_mast_lines(Console(file=out, width=300), seen(demo_site, bare))
    assert "friction at the allowed torque" not in out.getvalue()


def test_a_slip_spacing_from_assumed_bolts_is_marked(demo_site: Site, demo_line: Line, found: MastLines) -> None:
    clamp = demo_line.by_id["T1-CL"].part
    line = with_part(demo_line, clamp, slip_rating_n=None, spacing_m=50.0, side_rating_n=None)
    proof = prove(demo_site, line, rooms=ROOMS)
    made = mast_lines_of(proof)
    hold, tested = made.holds[0], found.holds[0]
    assert (tested.slip_words, tested.governs_words) == (f"{tested.slip_m:.1f}", "rule")
    assert (hold.slip_words, hold.governs_words) == (f"({hold.slip_m:.1f})", "(slip)")
    words = "bolts assumed: one dry M8 at 6 N·m, not judged"
    tables = [b for b in support_blocks(proof, made, charts=False) if isinstance(b, Table)]
    assert tables[1].rows[0][3] == hold.slip_words
    assert words in tables[1].note
    out = StringIO()
    show_mast_lines(Console(file=out, width=300), made)
    assert words in out.getvalue()
    assert f"({hold.slip_m:.1f})" in out.getvalue()
    rated = replace(found, holds=tuple(h for h in found.holds if h.tested))
    told = next(b for b in list(support_blocks(proof, rated, charts=False))[3:] if isinstance(b, Table))
    assert words not in told.note


def test_a_torque_that_crushes_its_cable_is_never_told_as_one_to_use(demo_site: Site, demo_line: Line) -> None:
    # 4000 N on 100 mm, 40 mm wide, two M8, K 0.2 less 30 %: 0.896 N·m each
    bolts = {"bolts_count": 2, "bolt_mm": 8.0, "torque_nm": 12.0, "pad_width_mm": 40.0}
    clamp, trunk = demo_line.by_id["T1-CL"].part, demo_line.by_id["T1"].part
    line = with_part(with_part(demo_line, clamp, **bolts), trunk, crush_n_per_100mm=4000.0)
    proof = prove(demo_site, line, rooms=ROOMS)
    made, finding = mast_lines_of(proof), proof.find("support.clamp-torque@T1")
    told = "NOT 12 N·m: crushes T1, at most 0.9 N·m (7.9 in·lb)"
    mine = [r for r in made.rows if r.item == "T1-CL"]
    assert {r.torque for r in mine} == {told}
    assert isinstance(finding, Finding)
    assert finding.limit is not None
    assert {r.most_nm for r in mine} == {finding.limit.value}
    sheet = install_book(demo_site, line, made, "").sheets[0].table
    assert {row[8] for row in sheet.rows if row[0] == "T1-CL"} == {told}
    tables = [b for b in support_blocks(proof, made, charts=False) if isinstance(b, Table)]
    assert {row[-1] for row in tables[0].rows if "T1-CL" in str(row[0])} == {told}
    out = StringIO()
    show_mast_lines(Console(file=out, width=300), made)
    assert told in out.getvalue()
    assert "12 N·m (106" not in out.getvalue()
    data = next(c for c in mast_data(made)["clamps"] if c["item"] == "T1-CL")
    assert (data["torque"], data["crushes"], data["most_nm"]) == (told, ["T1"], 0.896)
    strong = seen(demo_site, with_part(line, trunk, crush_n_per_100mm=60_000.0))
    assert {r.torque for r in strong.rows if r.item == "T1-CL"} == {"12 N·m (106 in·lb)"}


def test_the_largest_torque_never_reads_as_the_one_that_crushes() -> None:
    assert torque_words(0.9, ("T1",), 0.896).startswith("NOT 0.9 N·m: crushes T1, at most 0.896 N·m")
    assert torque_words(200.0, ("A", "B", "C", "D"), 123.4).startswith(
        "NOT 200 N·m: crushes A, B, C and 1 more, at most 123.4 N·m"
    )


def test_tightening_again_is_by_the_rule_of_the_owner(demo_site: Site, demo_line: Line, found: MastLines) -> None:
    assert found.retighten_d is None
    assert "policy.clamp_care" in found.retighten_words
    care = ClampCare(
        creep_fraction=0.1, vibration_fraction=0.0, left_fraction=0.8, source="tests of the owner, invented"
    )
    site = demo_site.model_copy(update={"policy": demo_site.policy.model_copy(update={"clamp_care": care})})
    told = seen(site, demo_line)
    assert told.retighten_d == pytest.approx(99.0, abs=0.01)  # 1 - 0.1 lg(1 + t) = 0.8
    assert "tests of the owner" in told.retighten_words
    assert "again 99 days after" in told.retighten_words
    years = ClampCare(creep_fraction=0.1, vibration_fraction=0.0, left_fraction=0.6451487, source="invented")
    site = demo_site.model_copy(update={"policy": demo_site.policy.model_copy(update={"clamp_care": years})})
    assert "again 3535 days (9.7 years) after" in seen(site, demo_line).retighten_words


# --- pull, swings, heat ----------------------------------------------------------------------------------------------


def test_the_trunk_along_its_route_by_hand(found: MastLines, demo_line: Line) -> None:
    (pull,) = found.pulls
    part = demo_line.parts["trunk-9x16-36f"]
    m = part.mass_kg_per_m * G  # type: ignore[attr-defined]
    turn = np.exp(0.35 * np.pi / 2)
    up = (((0.35 * m * 2.5) * turn + 0.35 * m * 5.0) * turn + 0.35 * m * 7.5) * turn + m * 36
    down = max(m * 36, ((0.35 * m * 7.5) * turn + 0.35 * m * 5.0) * turn + 0.35 * m * 2.5)
    assert pull.tension_n == pytest.approx((up, down))
    assert pull.better == 1
    assert "side pressure not judged" in pull.verdict
    assert "pull passes" in pull.verdict


def test_the_note_on_bends_says_what_the_site_tells(demo_site: Site, demo_line: Line, found: MastLines) -> None:
    def note(**values: float) -> str:
        legs = tuple(leg.model_copy(update=values) for leg in demo_site.route.legs)
        route = demo_site.route.model_copy(update={"legs": legs})
        return pull_note(seen(demo_site.model_copy(update={"route": route}), demo_line))

    assert "since the site tells none" in pull_note(found)
    assert "since the site tells no angle, only radii" in note(bend_radius_m=1.5)
    assert "bends as the site gives them" in note(bend_deg=45.0)


def test_a_guessed_radius_is_told_under_the_pull(demo_site: Site, demo_line: Line, found: MastLines) -> None:
    """20 diameters of 49 mm are 0.98 m; with a part or a site that tells the radius no word of it."""
    trunk = demo_line.by_id["T1"].part
    silent = with_part(demo_line, trunk, bend_pulling_mm=None, side_pressure_n_per_m=9000.0)
    guess = seen(demo_site, silent)
    assert "20 diameters (of T1 0.98 m; common practice, no source)" in pull_note(guess)
    assert f"side pressure not judged: the least bend radius of {trunk} under pull" in guess.pulls[0].verdict
    told = with_part(silent, trunk, bend_pulling_mm=700.0)
    sure = seen(demo_site, told)
    assert "diameters" not in pull_note(sure)
    assert sure.pulls[0].verdict == "passes"
    legs = tuple(leg.model_copy(update={"bend_radius_m": 1.2}) for leg in demo_site.route.legs)
    route = demo_site.route.model_copy(update={"legs": legs})
    assert "diameters" not in pull_note(seen(demo_site.model_copy(update={"route": route}), silent))
    page = (Path(__file__).parent.parent.parent / "docs" / "support.md").read_text("utf-8")
    assert "else 20 diameters of the cable" in page


def test_swings_are_a_band_and_said_where_they_can_not_be_known(found: MastLines) -> None:
    known = [s for s in found.swings if s.frequency_hz is not None]
    assert {s.cables[0] for s in known} >= {"T1", "A1-H1"}
    for s in known:
        assert s.frequency_hz is not None
        assert s.winds_m_per_s is not None
        assert s.frequency_hz[0] < s.frequency_hz[1]
        # 0.8 and 1.25 of f D / 0.18
        assert s.winds_m_per_s[0] == pytest.approx(0.8 * s.frequency_hz[0] * s.diameter_mm / 180)
        assert s.winds_m_per_s[1] == pytest.approx(1.25 * s.frequency_hz[1] * s.diameter_mm / 180)
    missing = [s for s in found.swings if s.missing]
    assert missing
    assert all("stiffness or construction" in s.words for s in missing)


def test_hinged_ends_are_told_beside_built_in_ones(found: MastLines) -> None:
    """A beam on pins swings at pi² over 22.373 of the built-in one: 0.441 of its lowest frequency, and of its lowest wind."""
    out = StringIO()
    show_mast_lines(Console(file=out, width=600), found)
    known = [s for s in found.swings if s.frequency_hz is not None]
    for s in known:
        assert s.frequency_hz is not None
        assert s.winds_m_per_s is not None
        assert s.hinged_hz == pytest.approx(np.pi**2 / 22.3733 * s.frequency_hz[0], rel=1e-4)
        assert s.hinged_m_per_s == pytest.approx(np.pi**2 / 22.3733 * s.winds_m_per_s[0], rel=1e-4)
        words = f"taken as built in at the clamps; with hinged ends from {s.hinged_hz:.1f} Hz and {s.hinged_m_per_s:.1f} m/s on"
        assert words in out.getvalue()
        assert words in json.dumps(vortex_spec(s), ensure_ascii=False)
    assert {s.ends_words for s in found.swings if s.missing} == {""}
    page = (Path(__file__).parent.parent.parent / "docs" / "support.md").read_text("utf-8")
    assert "built in at the clamps, with hinged ends 0.44 of it" in page


def test_a_told_stiffness_gives_the_textbook_frequency(demo_site: Site, demo_line: Line) -> None:
    line = with_part(demo_line, "rf-jumper-14-43-43", bending_stiffness_nm2=(2.0, 3.0), mass_kg_per_m=0.1)
    one = next(s for s in seen(demo_site, line).swings if "A1-J1" in s.cables)
    f = 22.3733 / (2 * np.pi * 0.75**2) * np.sqrt(2.0 / 0.1)
    assert one.frequency_hz is not None
    assert one.frequency_hz[0] == pytest.approx(f, rel=1e-4)
    assert (one.basis, one.verdict) == ("data sheet", "no action" if (one.ratio or 0) < 0.02 else "action")


def test_heat_by_hand(demo_site: Site, demo_line: Line) -> None:
    layers = (
        CableElement(material="copper", area_mm2=288.0),
        CableElement(material="hdpe", area_mm2=900.0, outer_mm=49.0),
    )
    line = with_part(demo_line, demo_line.by_id["T1"].part, construction=layers)
    (heat,) = seen(demo_site, line).heat
    ea = (110e9 * 288 + 0.8e9 * 900) * 1e-6
    alpha = (110e9 * 288 * 17e-6 + 0.8e9 * 900 * 180e-6) * 1e-6 / ea
    assert heat.basis == "construction"
    assert heat.cable_per_k == pytest.approx((alpha, alpha))
    assert heat.cold_n == pytest.approx(ea * (alpha - 12e-6) * (-12 - 11))
    assert heat.slips == int(np.ceil(abs(heat.cold_n) / 520))
    assert heat.give_mm == pytest.approx(35.4e3 * (alpha - 12e-6) * 23)
    grown = 35.4e3 * (alpha * (heat.hottest_c - 11) - 12e-6 * (38 - 11))
    assert heat.take_mm == pytest.approx(grown)
    assert heat.loop_mm == pytest.approx(heat.take_mm + heat.give_mm)
    light = demo_site.model_copy(update={"mast": demo_site.mast.model_copy(update={"material": "aluminium"})})
    assert seen(light, line).heat[0].mast_per_k == pytest.approx(23e-6)


def test_heat_of_a_cable_of_unknown_build_is_not_judged(demo_site: Site, demo_line: Line) -> None:
    line = with_part(demo_line, demo_line.by_id["T1"].part, sheath="pvc")
    (heat,) = seen(demo_site, line).heat
    assert "not judged: construction of trunk-9x16-36f" in heat.words


# --- loads -----------------------------------------------------------------------------------------------------------


def test_the_loads_add_up_to_the_figures(found: MastLines, proof: Proof) -> None:
    figure = {f.code: f.value for f in proof.figures if f.subject == "NESS-PT"}
    total = found.total
    assert max(total.bare_n, total.iced_n) == pytest.approx(figure["support.wind-force"])
    assert max(total.bare_nm, total.iced_nm) / 1000 == pytest.approx(figure["support.wind-moment"])
    assert total.governing == "iced"
    assert (total.dead_n + total.hardware_n) / G == pytest.approx(figure["support.mass"])
    assert any("cs·cd = 1" in words for words in found.basis)


def test_the_weight_of_the_hardware_names_what_is_in_it_and_what_is_not(
    found: MastLines, demo_site: Site, demo_line: Line, proof: Proof
) -> None:
    """The clamps up the mast are those of the crew's list; those of wall and ice bridge, entry bond and loop bracket are named apart."""
    words = found.total.hardware_words
    upright = {leg.name for leg in demo_site.route.legs if leg.kind == "vertical"}
    mine = [r for r in found.rows if r.item == "T1-CL"]
    off = sum(r.leg not in upright for r in mine)
    assert 0 < off < len(mine)
    room = proof.rooms["support"].inputs
    assert isinstance(room, Inputs)
    hung = {h.item: h.on_mast for h in room.hardware}
    assert hung["T1-CL"] == len(mine) - off
    assert "N of clamps, grips, bonds, seals and caps; not on the mast and not counted:" in words
    for name in (f"{off} of T1-CL", "T1-E4", *(i.id for i in demo_line.of_kind("loop") if i.on == "T1")):
        assert name in words
    assert found.total.hardware_n == pytest.approx(
        G * sum(hung[i.id] * demo_line.parts[i.part].mass_kg for i in demo_line.items if i.id in hung)
    )
    out = StringIO()
    show_mast_lines(Console(file=out, width=600), found)
    for text in (out.getvalue(), hand_over_csv(found, demo_site, demo_line, "").decode()):
        assert words in text
    assert mast_data(found)["total"]["hardware"] == "clamps, grips, bonds, seals and caps"


def test_csv_holds_every_row_and_no_formula(demo_site: Site, demo_line: Line) -> None:
    bad = replace(demo_line, items=tuple(replace(i, kind="=1+1") if i.id == "A1-H1" else i for i in demo_line.items))
    made = seen(demo_site, demo_line)
    rows = tuple(replace(r, kind="=HYPERLINK(1)", part="+x") if r.item == "A1-H1" else r for r in made.hand_over)
    told = hand_over_csv(replace(made, hand_over=rows), demo_site, bad, "").decode("utf-8")
    table = [row for row in csv.reader(io.StringIO(told)) if len(row) > 5]
    assert len(table) == len(made.hand_over) + 2
    by_item = {row[0].partition(",")[0]: row for row in table}
    lines = told.splitlines()
    assert "NOT IN THESE TOTALS: radios and antennas (A-ANT, " in lines[2]
    assert by_item["TOTAL"][0] == "TOTAL, without radios, antennas and what stands already"
    assert by_item["A1-H1"][1:3] == ["'=HYPERLINK(1)", "'+x"]
    assert not [cell for row in table for cell in row if cell.startswith(("=", "+", "@"))]
    total, names = by_item["TOTAL"], table[0]
    at = names.index("Force iced [N]")
    assert sum(float(row[at]) for row in table[1:-1]) == pytest.approx(float(total[at]), rel=1e-3)


def test_what_is_in_no_total_is_named_with_its_mass(demo_site: Site, demo_line: Line, proof: Proof) -> None:
    made = mast_lines_of(proof)
    (words,) = made.left_out
    for name, at in (("EQUIPMENT", "support.mass@EQUIPMENT"), ("EXISTING", "support.mass@EXISTING")):
        figure = proof.find(at)
        assert isinstance(figure, Figure)
        assert f"{figure.value:.1f} kg, {name}" in words
    assert install_book(demo_site, demo_line, made, "").sheets[-1].head[1] == words
    assert words.endswith(
        'see EQUIPMENT and EXISTING under "Figures without a limit" in the calculation sheet, add their weight and wind'
    )
    # in that sheet itself it says where on it, and there is such a heading, with these two under it
    paper = [item for b in support_blocks(proof, made, charts=False) if isinstance(b, Bullets) for item in b.items]
    (there,) = (item for item in paper if item.startswith("NOT IN THESE TOTALS"))
    assert "calculation sheet" not in there
    assert 'see EQUIPMENT and EXISTING under "Figures without a limit", add' in there
    sheet = list(calc_sheet(proof, charts=False).blocks)
    at = next(n for n, b in enumerate(sheet) if isinstance(b, Heading) and b.text == "Figures without a limit")
    table = sheet[at + 1]
    assert isinstance(table, Table)
    assert {"EQUIPMENT", "EXISTING"} <= {str(row[1]) for row in table.rows}
    alone = proof.rooms["support"].inputs
    assert isinstance(alone, Inputs)
    bare = replace(alone, bodies=tuple(b for b in alone.bodies if b.kind == "box"), existing=())
    assert left_out(bare) == ()
    heavy = replace(alone.existing[0], mass_kg_per_m=0.0, stays=True)
    assert "whose mass is not given" in left_out(replace(bare, existing=(heavy,)))[0]
    assert "see EXISTING under" in left_out(replace(bare, existing=(heavy,)))[0]
    assert totals(replace(made, left_out=()))[0] == "TOTAL"


def test_the_sheet_of_loads_has_the_sums_of_the_file_at_its_foot(
    found: MastLines, demo_site: Site, demo_line: Line
) -> None:
    table = install_book(demo_site, demo_line, found, "").sheets[-1].table
    foot = totals(found)
    numbers = {n: v for n, v in enumerate(foot) if isinstance(v, float)}
    assert table.sums == {n: pytest.approx(v) for n, v in numbers.items()}
    assert len(numbers) == 8
    assert table.sum_words == foot[0] == "TOTAL, without radios, antennas and what stands already"
    book = openpyxl.load_workbook(
        io.BytesIO(xlsx_bytes(install_book(demo_site, demo_line, found, ""), datetime(2026, 1, 1, tzinfo=UTC)))
    )
    rows = [[c.value for c in row] for row in book["Loads"].iter_rows()]
    (total,) = (row for row in rows if row[0] == table.sum_words)
    assert all(str(total[n]).startswith("=SUM(") for n in numbers)


def test_the_heat_stands_under_the_sheet_of_grips_and_not_in_a_cell(
    found: MastLines, demo_site: Site, demo_line: Line
) -> None:
    table = install_book(demo_site, demo_line, found, "").sheets[1].table
    assert max(len(str(row[1])) for row in table.rows) < 150
    for heat in found.heat:
        assert f"\nHeat, {heat.words}." in table.note
    made = xlsx_bytes(install_book(demo_site, demo_line, found, ""), datetime(2026, 1, 1, tzinfo=UTC))
    first = [row[0].value for row in openpyxl.load_workbook(io.BytesIO(made))["Grips and hoist"].iter_rows()]
    assert f"Heat, {found.heat[0].words}." in first
    assert "Whoever answers for the support decides which of the two it is" in found.heat[0].words


def test_every_sheet_of_the_crew_says_of_what_it_is(demo_site: Site, demo_line: Line) -> None:
    whole = prove(demo_site, demo_line)
    book = install_book(
        demo_site, demo_line, mast_lines_of(whole), "NOT FOR ISSUE", install_sheets(whole, "NOT FOR ISSUE")
    )
    assert [s.name for s in book.sheets] == ["Clamps", "Grips and hoist", "Joints", "Bonds", "Loads"]
    first = f"site NESS-PT, line revision {demo_line.revision}, {demo_line.digest[:12]}, NOT FOR ISSUE"
    assert {s.head[0] for s in book.sheets} == {first}


def test_gusts_and_rime_say_what_they_are(demo_site: Site, demo_line: Line) -> None:
    wind = Wind(standard="ANSI/TIA-222", basic_m_per_s=44.0, exposure="C")
    climate = demo_site.climate.model_copy(update={"wind": wind, "ice": "R4"})
    made = seen(demo_site.model_copy(update={"climate": climate}), demo_line)
    assert "three-second gust" in made.basis[0]
    assert any("rime R4" in words for words in made.basis)
    assert not any("vb" in words for words in made.basis)
    assert made.hand_over[0].iced_coefficient == 2.0


def test_no_wind_and_no_ice_still_give_weights(demo_site: Site, demo_line: Line) -> None:
    climate = demo_site.climate.model_copy(update={"wind": None, "ice": "none"})
    made = seen(demo_site.model_copy(update={"climate": climate}), demo_line)
    assert made.total.bare_n == made.total.iced_n == 0
    assert made.total.dead_n == made.total.iced_weight_n > 0
    assert "no wind is given" in made.basis[0]


# --- data, documents, pictures --------------------------------------------------------------------------------------


def test_the_data_is_plain(found: MastLines) -> None:
    data = json.loads(json.dumps(mast_data(found), allow_nan=False))
    assert len(data["clamps"]) == len(found.rows)
    assert data["total"]["governing"] == "iced"
    assert data["pulls"][0]["better"] == "from the box down"
    assert "Not a structural design" in data["cautions"][0]


def test_the_workbook_has_the_id_of_an_item_in_every_row(found: MastLines, demo_site: Site, demo_line: Line) -> None:
    book = install_book(demo_site, demo_line, found, "not for issue")
    assert [sheet.name for sheet in book.sheets] == ["Clamps", "Grips and hoist", "Loads"]
    for sheet in book.sheets:
        assert sheet.table.rows
        assert all(row[0] in demo_line.by_id for row in sheet.table.rows), sheet.name
    for sheet in book.sheets[:2]:
        assert [c.title for c in sheet.table.columns[-3:]] == ["Done", "Initials", "Date"]
    assert len(book.sheets[0].table.rows) == len(found.rows)
    assert any("nobody stands under the load" in line for line in book.sheets[1].head)


def test_the_sheet_and_its_pictures_hold_the_numbers(found: MastLines, proof: Proof) -> None:
    blocks = list(support_blocks(proof, found, charts=False))
    tables = [b for b in blocks if isinstance(b, Table)]
    assert [t.rows[-1][0] for t in tables][-1] == "total"
    pictures = list(support_pictures(proof, found))
    names = [p.name for p in pictures]
    assert names == ["support-wind", "support-section", "support-clamps", "support-vortex-a1-h1", "support-hoist-t1"]
    for shown in pictures:
        svg = chart_svg(shown.spec)
        assert ET.fromstring(svg).tag.endswith("svg")
        words = "".join(ET.fromstring(svg).itertext())
        if shown.name == "support-wind":
            q = float(wind_profile(36.0, 28.0, 0.01, 1.0).qp_pa)
            assert f"{q:.0f} Pa" in words
            assert f"bare {q * 1.2 * 0.049:.1f}" in words
            assert f"G2 {0.45 * q * 1.2 * 0.089:.1f}" in words
            assert "G2" in words
        if shown.name == "support-clamps":
            hold = found.holds[0]
            assert f"{100 * hold.shares['rule']:.0f} %" in words
        if shown.name == "support-section":  # 49 mm with 20 mm of glaze: pi (49 + 20) 20 mm² of 900 kg/m³
            glaze = math.pi * 69 * 20 * 1e-6 * 900
            own = proof.line.part_of("T1").mass_kg_per_m
            assert f"bare: 49 mm, {own:.2f} kg/m" in words
            assert f"G2: 89 mm, {own + glaze:.2f} kg/m" in words
        if shown.name == "support-hoist-t1":
            assert f"{found.grips[0].load_n:.0f} of {found.grips[0].rated_n:.0f} N" in words


def test_no_picture_where_there_is_nothing_to_draw(demo_site: Site, demo_line: Line, found: MastLines) -> None:
    calm = demo_site.model_copy(update={"climate": demo_site.climate.model_copy(update={"wind": None})})
    room = prove(calm, demo_line, rooms=ROOMS).rooms["support"].inputs
    assert height_spec(room) is None
    assert section_spec(replace(room, ice=None)) is None
    assert use_spec(replace(found, holds=())) is None
    assert vortex_spec(next(s for s in found.swings if s.missing)) is None


def test_a_line_without_cables_has_nothing_to_show(demo_site: Site, demo_line: Line) -> None:
    assert not has_mast_lines(prove(demo_site, demo_line, rooms=("power",)))
    empty = replace(demo_line, items=tuple(i for i in demo_line.items if i.id == "PLANT"), joints=(), links=())
    assert not has_mast_lines(prove(demo_site, empty, rooms=("support",)))


def test_a_line_edited_by_hand_never_stops_the_view(demo_site: Site, demo_line: Line) -> None:
    line = with_item(with_item(demo_line, "T1", low_m=30.0, high_m=5.0), "A1-J1", length_m=None)
    line = with_item(with_item(line, "BX1", high_m=-3.0), "T1-GR", on="A1-J1")
    made = seen(demo_site, line)
    json.dumps(mast_data(made), allow_nan=False)
    list(support_blocks(prove(demo_site, line, rooms=ROOMS), made, charts=False))
