"""`upmast prove` and `upmast explain`: exit codes, data, the working of one number."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import standard
from upmast.line.save import load as load_line

VOLTS = "power.voltage-at-radio@C2"


def test_a_line_that_holds(upmast, planned_once):
    ran = upmast("prove", planned_once)
    assert ran.code == 0
    assert ran.out.startswith("● passes  T3")
    assert "fails  Lowest" not in ran.out
    assert "Cautions" in ran.out


def test_a_line_that_fails(upmast, demo):
    ran = upmast("prove", demo)
    assert ran.code == 1
    assert ran.out.startswith("◆ fails  NESS-PT")
    assert "do: thicker or more pairs" in ran.words


def test_as_data(upmast, demo):
    data = upmast("prove", demo, "--json").data
    assert (data["site"], data["verdict"], data["layer"], data["edited"]) == ("NESS-PT", "fails", "designed", False)
    found = {f["key"]: f for f in data["findings"]}
    volts = found[VOLTS]
    assert volts["verdict"] == "fails"
    assert volts["margin"] == pytest.approx(volts["value"] - volts["limit"]["value"])
    assert volts["margin"] < 0
    assert volts["limit"]["source"]
    assert volts["scenario"] in {s["id"] for s in data["scenarios"]}
    assert all(data["cautions"].values())


def test_all_shows_what_passes_and_the_figures(upmast, planned_once):
    short, long = upmast("prove", planned_once), upmast("prove", planned_once, "--all")
    assert "Figures (values without a limit)" in long.out
    assert "Figures" not in short.out
    assert long.code == short.code == 0


def test_what_is_not_judged_ends_with_three_and_says_what_is_missing(upmast, planned):
    parts = planned / "parts.yaml"
    data = yamlfile.read(parts).data
    for part in data["parts"]:
        part.pop("maximum_pull_n", None)
    parts.write_text(yamlfile.dump(data))
    assert upmast("prove", planned).code == 2  # another content than the line was written with
    line = planned / "line.yaml"
    line.write_text(re.sub(r", part_digest: '?\w+'?", "", line.read_text()))
    ran = upmast("prove", planned)
    assert ran.code == 3
    assert "◇ not judged" in ran.out
    assert "missing:" in ran.out


def test_as_built(upmast, planned):
    items = yamlfile.read(planned / "line.yaml").data["items"]
    id, length = next((item["id"], item["length_m"]) for item in items if item["kind"] in ("dc-cable", "trunk"))
    (planned / "built.yaml").write_text(
        "version: 1\nsite: T3\nline_revision: 1\nchanges:\n"
        f"  - {{item: {id}, field: length_m, value: {length + 3}, time: 2026-05-14, author: A. Rigger}}\n"
    )
    data = upmast("prove", planned, "--built", "--json").data
    assert data["layer"] == "built"
    assert [(d["item"], d["field"]) for d in data["differences"]] == [(id, "length_m")]
    designed = upmast("prove", planned, "--json").data
    volts = [
        next(f["value"] for f in one["findings"] if f["key"] == "power.voltage-at-radio@A1") for one in (designed, data)
    ]
    assert volts[1] < volts[0]  # a longer trunk drops more
    assert "As built against as designed" in upmast("prove", planned, "--built").out


def test_the_fibre_in_full(upmast, planned_once):
    ran = upmast("prove", planned_once, "--fibre")
    assert "links end where they are meant to, both ways" in ran.words
    assert "Budget of each link, the worse of its two directions" in ran.words
    assert "Kept dark:" in ran.words
    assert "Invisible laser light" in ran.words
    plain = upmast("prove", planned_once).words
    assert "Budget of each link" not in plain
    data = upmast("prove", planned_once, "--json").data
    assert {x["radio"] for x in data["fibre"]["links"]} == {
        f["subject"].split("-")[0] for f in data["findings"] if f["code"] == "fibre.right-port"
    }
    assert all(x["right"] for x in data["fibre"]["links"])


def test_the_rf_jumpers(upmast, planned_once):
    ran = upmast("prove", planned_once, "--rf")
    assert "Would cutting a jumper to frequency help?" in ran.words
    assert "choose the length by routing" in ran.words
    assert "RF burns and fields harm" in ran.words
    assert "Would cutting" not in upmast("prove", planned_once).words
    data = upmast("prove", planned_once, "--json").data
    assert all(row["verdict"] for row in data["rf"]["jumpers"])


def test_the_earthing_in_full(upmast, planned):
    bare = upmast("prove", planned, "--earth")
    assert bare.code == 0
    assert "what a stroke does is not told: earthing of the site" in bare.words
    assert "Not a lightning protection design." in bare.words
    site = planned / "site.yaml"
    site.write_text(
        site.read_text("utf-8") + "\nearthing: {level: III, equipment_withstand_v: 4000}\n", encoding="utf-8"
    )
    ran = upmast("prove", planned, "--earth")
    assert ran.code == 0
    assert re.search(r"[A-C]1-D1 is the shield that carries most: [\d.]+ % of a stroke of level III", ran.words)
    assert "were the return bonded at both ends" in ran.words.lower()
    data = upmast("prove", planned, "--json").data
    assert data["earth"]["stroke"]["withstand_v"] == 4000
    assert {b["item"] for b in data["earth"]["bonds"]} >= {"A1-D1-E1", "A1-E1"}
    judged = {f["subject"]: f["verdict"] for f in data["findings"] if f["code"] == "earth.shield-voltage"}
    assert judged == {run["item"]: "passes" for run in data["earth"]["runs"]}


def test_a_planted_exchange_is_found_and_explained(upmast, demo):
    line = load_line(demo).line
    revision = line.revision
    (first, one), (second, other) = [
        (j.a, j.b) if j.b.endswith(".opt1") else (j.b, j.a) for j in line.joints if ".opt1" in j.a + j.b
    ][:2]
    (demo / "built.yaml").write_text(
        f"version: 1\nsite: {line.site}\nline_revision: {revision}\nchanges:\n"
        f"  - {{item: {first.partition('.')[0]}, field: joint, value: {first.partition('.')[2]} to {other}, time: 2026-05-14, author: A. Rigger}}\n"
        f"  - {{item: {second.partition('.')[0]}, field: joint, value: {second.partition('.')[2]} to {one}, time: 2026-05-14, author: A. Rigger}}\n"
    )
    ran = upmast("prove", demo, "--built", "--fibre")
    assert ran.code == 1
    assert "end at a wrong port" in ran.words
    assert "exchange" in ran.words
    data = upmast("prove", demo, "--built", "--json").data
    assert data["fibre"]["causes"][-1]["directions_wrong_after"] == 0


def test_as_built_without_its_file(upmast, planned_once):
    ran = upmast("prove", planned_once, "--built")
    assert ran.code == 2
    assert "built.yaml" in ran.err


def test_the_working_of_a_number(upmast, demo):
    ran = upmast("explain", VOLTS, "-f", demo)
    assert ran.code == 0
    assert VOLTS in ran.out
    assert "source" in ran.out
    data = upmast("explain", VOLTS, "-f", demo, "--json").data
    assert data["key"] == VOLTS
    kinds = {step["step"] for step in data["working"]}
    assert {"FormulaStep", "SolvedStep"} <= kinds
    formula = next(step for step in data["working"] if step["step"] == "FormulaStep")
    assert set(formula["expression"]) == {"text", "typst", "mathml"}


def test_the_working_of_the_cost(upmast, planned_once):
    assert "Life cost of the line:" in upmast("explain", "cost", "-f", planned_once).out
    data = upmast("explain", "cost", "-f", planned_once, "--json").data
    assert data["key"] == "cost"
    assert data["working"]


def test_an_unknown_key_is_told_its_neighbours(upmast, demo):
    ran = upmast("explain", "power.voltage-at-radi@C2", "-f", demo)
    assert ran.code == 2
    assert f"near: {VOLTS}" in ran.words


@pytest.fixture
def own(planned_once: Path, tmp_path: Path) -> Path:
    """A site whose radio stands only in its own catalogue."""
    folder = tmp_path / "own"
    (folder / "catalogue").mkdir(parents=True)
    radio = standard().part("radio-mid-4t4r").model_dump(mode="json", exclude_defaults=True) | {"id": "radio-own"}
    (folder / "catalogue" / "own.yaml").write_text(yamlfile.dump({"version": 1, "parts": [radio]}))
    text = (planned_once / "site.yaml").read_text()
    (folder / "site.yaml").write_text(text.replace("radio-mid-4t4r", "radio-own"))
    return folder


def test_a_copy_without_its_catalogue_is_proven_from_its_parts(upmast, own, tmp_path):
    assert upmast("plan", own).code == 0
    whole = upmast("prove", own, "--json").data
    alone = tmp_path / "alone"
    alone.mkdir()
    for name in ("site.yaml", "line.yaml", "parts.yaml"):
        shutil.copy(own / name, alone)
    assert upmast("prove", alone, "--json").data == whole
    (alone / "parts.yaml").unlink()
    ran = upmast("prove", alone)  # then nobody knows the radio
    assert ran.code == 2
    assert "radio-own" in ran.err


def test_parts_of_the_folder_never_replace_the_catalogue(planned):
    from upmast.cli.folder import open_folder

    parts = planned / "parts.yaml"
    text = parts.read_text()
    parts.write_text(text.replace("maximum_w: 1100.0", "maximum_w: 900.0"))
    assert parts.read_text() != text
    opened = open_folder(planned, [])
    assert opened.catalogue.part("radio-mid-4t4r") == standard().part("radio-mid-4t4r")


def test_what_became_of_a_limit_of_the_site_is_told(upmast, planned):
    site = planned / "site.yaml"
    text = site.read_text("utf-8")
    own = "limits:\n  - {code: power.contact-current, value: 500, source: an agreement}\n  - {code: power.voltage-at-radio, value: 30, source: an agreement}\n"
    site.write_text(text + own, "utf-8")
    ran = upmast("prove", planned)
    assert "power.contact-current 500.00 A is not in force" in ran.words
    assert "looser than the data sheet of" in ran.words
    site.write_text(text + "limits:\n  - {code: power.operating-point, value: 0.5, source: an agreement}\n", "utf-8")
    ran = upmast("prove", planned)
    assert ran.code == 2
    lines = site.read_text("utf-8").splitlines()
    at = next(n for n, row in enumerate(lines, 1) if "operating-point" in row)
    assert f"site.yaml:{at}:" in ran.err


def test_calm_is_told_as_declared(upmast, planned):
    told = upmast("prove", planned, "--support")
    assert "No wind, as declared (climate.calm)" in told.words
    assert "No wind is told" not in told.words
    assert "no wind on this line, as declared" in told.words
