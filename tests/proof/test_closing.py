"""Joints, closures, caps and hazards told beside a proof: by hand, on lines that lack something, and what is refused."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from upmast.catalogue.catalogue import standard
from upmast.catalogue.part import Connector, Seal
from upmast.cli.run import BAD_INPUT, run
from upmast.documents.install_joints import joints_sheet
from upmast.finding import Finding, Verdict
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.proof.closing import IN_LB_PER_NM, Closings, closings_data, closings_of, has_closings
from upmast.proof.prove import Proof, prove
from upmast.site.site import Hazards, Site
from upmast.working import FormulaStep

CATALOGUE = standard()
ROOMS = ("weather",)


def line_of(site: Site, rf: str = "rf-jumper-12-43-43") -> Line:
    radios = tuple(RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", rf) for _ in site.radios)
    return build(site, CATALOGUE, Choice("hybrid", radios, "trunk-9x16-36f", 1, "box-straight-9-lc"))


@pytest.fixture(scope="module")
def proof(demo_site: Site) -> Proof:
    return prove(demo_site, line_of(demo_site), rooms=ROOMS)


@pytest.fixture(scope="module")
def found(proof: Proof) -> Closings:
    return closings_of(proof)


def exposed(site: Site, hazards: Hazards) -> Site:
    legs = tuple(
        leg.model_copy(update={"hazards": hazards}) if n == 0 else leg for n, leg in enumerate(site.route.legs)
    )
    return site.model_copy(update={"route": site.route.model_copy(update={"legs": legs})})


def test_every_rf_joint_has_torque_closure_and_tape(found: Closings, proof: Proof) -> None:
    rf = [j for j in found.joints if j.interface == "4.3-10"]
    assert len(rf) == 2 * len(proof.line.of_kind("rf-jumper"))
    for j in rf:
        assert j.torque_nm == (5.0, 5.0)
        # 1 N m = 8.8507 lbf in (NIST SP 811, appendix B.8)
        assert j.inch_pounds == f"{5 * 8.8507:.0f}" == "44"
        assert not j.confirmed  # the catalogue's torque is from memory
        assert j.how == "gel"
        assert j.seal == f"{j.item}-SL"
        assert j.tape_m is not None
        # half lapped over 22 mm and 100 mm: 0.1 / 0.025 turns of the helix over 22.8 mm, a tenth more
        inner = 0.1 / 0.025 * ((3.14159265 * 22.8) ** 2 + 25.0**2) ** 0.5 / 1000 * 1.1
        assert j.tape_m[0] == pytest.approx(inner, rel=1e-6)
    assert pytest.approx(8.8507, abs=1e-4) == IN_LB_PER_NM
    assert found.unconfirmed > 0


def test_closures_that_do_not_fit_fail_and_say_why(demo_site: Site, proof: Proof) -> None:
    good = [f for f in proof.findings if f.code == "weather.closures"]
    assert good
    assert {f.verdict for f in good} == {Verdict.PASSES}
    line = line_of(demo_site)
    seal = line.parts["seal-4.3-10"]
    assert isinstance(seal, Seal)
    for update, words in (
        ({"end_high_mm": 10.0}, "a cable of 13.4 mm, its ends take 7 to 10 mm"),
        ({"body_mm": 20.0}, "a joint of 22 mm, its body takes 20 mm"),
        ({"inside_mm": 90.0}, "100 mm to cover, it is 90 mm long"),
    ):
        bad = prove(
            demo_site, replace(line, parts={**line.parts, seal.id: seal.model_copy(update=update)}), rooms=ROOMS
        )
        one = bad.find("weather.closures@A1-J1")
        assert isinstance(one, Finding)
        assert (one.verdict, one.value) == (Verdict.FAILS, 2.0)
        assert words in one.note
        steps = [s for s in bad.working(one) if isinstance(s, FormulaStep)]
        assert steps[-1].holds()
        assert steps[-1].result.value == one.value
    # without sizes there is nothing to judge, and nothing is claimed
    bare = seal.model_copy(update={"body_mm": None})
    none = prove(demo_site, replace(line, parts={**line.parts, seal.id: bare}), rooms=ROOMS)
    assert not [f for f in none.findings if f.code == "weather.closures"]


@pytest.mark.parametrize(("pitch", "verdict"), [(48.0, Verdict.PASSES), (47.9, Verdict.FAILS)])
def test_closures_need_room_beside_the_next_port(demo_site: Site, pitch: float, verdict: Verdict) -> None:
    # two of 38 mm touch at 38 mm; a gel closure needs 10 mm more for the hands
    line = line_of(demo_site)
    devices = {i.part for i in line.of_kind("radio", "antenna")}
    parts = {id: line.parts[id].model_copy(update={"rf_pitch_mm": pitch}) for id in devices}
    one = prove(demo_site, replace(line, parts={**line.parts, **parts}), rooms=ROOMS).find("weather.closures@A1-J1")
    assert isinstance(one, Finding)
    assert one.verdict is verdict
    assert ("0 mm to spare" if verdict is Verdict.PASSES else "ports of antenna-12 are 47.9 mm apart") in one.note


def test_room_that_can_not_be_told_is_said(demo_site: Site) -> None:
    line = line_of(demo_site)
    seal = line.parts["seal-4.3-10"]
    bare = replace(line, parts={**line.parts, seal.id: seal.model_copy(update={"outer_mm": None})})
    one = prove(demo_site, bare, rooms=ROOMS).find("weather.closures@A1-J1")
    assert isinstance(one, Finding)
    assert one.verdict is Verdict.NOT_JUDGED
    assert one.missing[0].startswith("outer_mm of seal-4.3-10")
    silent = {i.part for i in line.of_kind("radio", "antenna")}
    parts = {id: line.parts[id].model_copy(update={"rf_pitch_mm": None}) for id in silent}
    two = prove(demo_site, replace(line, parts={**line.parts, **parts}), rooms=ROOMS).find("weather.closures@A1-J1")
    assert isinstance(two, Finding)
    assert two.verdict is Verdict.PASSES
    assert "not told (rf_pitch_mm)" in two.note


def test_declared_hazards_are_judged_by_what_the_part_says(demo_site: Site, proof: Proof) -> None:
    assert not [f for f in proof.findings if f.code == "weather.hazards"]
    site = exposed(demo_site, Hazards(gnawing=True, sun=True))
    line = line_of(site)
    id = line.by_id["T1"].part

    def told(**values: object) -> Finding:
        part = line.parts[id].model_copy(update=values)
        one = prove(site, replace(line, parts={**line.parts, id: part}), rooms=ROOMS).find("weather.hazards@T1-LEG1")
        assert isinstance(one, Finding)
        return one

    silent = told()
    assert silent.verdict is Verdict.NOT_JUDGED
    assert set(silent.missing) == {f"UV grade of the sheath of {id}", f"armour of the part of {id}"}
    assert told(sheath_uv=True, armour="corrugated tube").verdict is Verdict.PASSES
    bare = told(armour="none")  # fails, whatever else is not known
    assert (bare.verdict, bare.value) == (Verdict.FAILS, 1.0)
    assert "no armour against teeth" in bare.note
    assert told(sheath_uv=True, armour="braid").verdict is Verdict.NOT_JUDGED
    blows = exposed(demo_site, Hazards(impact_j=5.0, corrosion="C4"))
    weak = prove(
        blows,
        replace(
            line, parts={**line.parts, id: line.parts[id].model_copy(update={"impact_j": 3.0, "corrosion_class": "C5"})}
        ),
        rooms=ROOMS,
    ).find("weather.hazards@T1-LEG1")
    assert weak.value == 1.0
    assert "3 J withstood, 5 J asked" in weak.note


def test_hazards_of_the_mast_are_those_of_its_jumpers(demo_site: Site) -> None:
    mast = demo_site.mast.model_copy(update={"hazards": Hazards(ice_fall_j=20.0)})
    proof = prove(demo_site.model_copy(update={"mast": mast}), line_of(demo_site), rooms=ROOMS)
    subjects = {f.subject for f in proof.findings if f.code == "weather.hazards"}
    assert "A1-J1" in subjects
    assert not any(s.startswith("T1") for s in subjects)


def test_how_often_it_is_looked_at(demo_site: Site, found: Closings) -> None:
    # the table of the rule: salt 12 months (common practice, no source)
    assert demo_site.climate.coast
    assert found.looked_at.months == 12
    calm = demo_site.climate.model_copy(update={"coast": False, "ice": "none"})
    proof = prove(demo_site.model_copy(update={"climate": calm}), line_of(demo_site), rooms=ROOMS)
    figure = next(f for f in proof.figures if f.code == "weather.inspection")
    assert figure.value == pytest.approx(0.5)  # sun: 24 months
    steps = [s for s in proof.working(figure) if isinstance(s, FormulaStep)]
    assert steps[-1].holds()


def test_torque_of_a_data_sheet_is_confirmed(demo_site: Site) -> None:
    line = line_of(demo_site)
    plug = line.parts["4.3-10-plug"]
    assert isinstance(plug, Connector)
    jack = line.parts["4.3-10-jack"]
    known = {"torque_nm": 6.0, "sources": {"torque_nm": "data sheet 12, page 2"}}
    parts = {**line.parts, plug.id: plug.model_copy(update=known), jack.id: jack.model_copy(update=known)}
    one = next(
        j
        for j in closings_of(prove(demo_site, replace(line, parts=parts), rooms=ROOMS)).joints
        if j.interface == "4.3-10"
    )
    assert one.confirmed
    assert one.torque_words == "6"
    assert "data sheet 12, page 2" in one.source


def test_the_sheet_and_the_data_hold_every_joint(found: Closings) -> None:
    sheet = joints_sheet(found)
    ports = sum(len(c.ports) for c in found.caps)
    assert len(sheet.table.rows) == len(found.joints) + ports
    assert any("UNCONFIRMED" in str(cell) for row in sheet.table.rows for cell in row)
    assert [c.title for c in sheet.table.columns[-3:]] == ["Done", "Initials", "Date"]
    # cautions stand above the table, each on a line of its own
    assert sheet.table.note == ""
    assert "Seal only dry, torqued and tested joints." in sheet.head
    assert len(sheet.head) == len(set(sheet.head)) == len(found.notes) + 3
    assert joints_sheet(found, ("site X",)).head == ("site X", *sheet.head)
    data = json.loads(json.dumps(closings_data(found), allow_nan=False))
    assert len(data["joints"]) == len(found.joints)


def test_there_is_nothing_without_the_room(demo_site: Site) -> None:
    assert not has_closings(prove(demo_site, line_of(demo_site), rooms=("earth",)))


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--surface", "22", "--air", "25", "--humidity", "60", "--dry", "--clean"], 0, "seal"),
        (["--surface", "18", "--air", "25", "--humidity", "60", "--dry", "--clean"], 1, "1.3 K from the dew point 16.7 °C"),
        (["--surface", "22", "--air", "25", "--humidity", "60"], 3, "look whether the joint is wet or icy"),
        (["--air", "22", "--coldest", "-10", "--spots", "10,20,30,40,50,60", "--changed", "10,20"], 1, "will sweat: 20 to 30 %"),
        (["--air", "22", "--coldest", "-10", "--spots", "10,20,30", "--changed", "20"], 3, "card invalid"),
        (["--air", "22", "--coldest", "30", "--spots", "10,20,30", "--changed", "none"], 0, "dry for the coldest day"),
        (["--spots", "10,20"], BAD_INPUT, "--air and --coldest"),
        (["--air", "22", "--coldest", "1", "--spots", "10,x"], BAD_INPUT, "commas between"),
        (["--air", "22", "--coldest", "1", "--spots", "10,20", "--changed", "30"], BAD_INPUT, "no spot of 30 %"),
    ],
)  # fmt: skip
def test_may_it_be_sealed_now(arguments: list[str], code: int, words: str, capsys: pytest.CaptureFixture[str]) -> None:
    # dew point of 25 °C and 60 %: 16.7 °C (handbook of the project, WMO formula)
    assert run(["seal", *arguments]) == code
    ran = capsys.readouterr()
    assert words in " ".join((ran.out + ran.err).split())
