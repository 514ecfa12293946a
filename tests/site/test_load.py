"""Every bad `site.yaml` is told with its line, place, what was got and expected, and what to do; all faults at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue, standard
from upmast.errors import InputFaults
from upmast.finding import Authority
from upmast.proof.limits import limits_of
from upmast.site.load import from_text, load
from upmast.site.site import Site
from upmast.source import Mark

GOOD = """\
version: 1
id: HT-1
cabinet:
  plant: {float_v: 54, on_battery_v: 50, end_of_discharge_v: 44, source_resistance_ohm: 0.005}
route:
  legs:
    - {name: bridge, kind: bridge, length_m: 6}
    - {name: mast, kind: vertical, length_m: 26}
mast: {kind: lattice, height_m: 32, box_height_m: 26}
sectors: [{id: A, azimuth_deg: 0}, {id: B, azimuth_deg: 120}]
antennas:
  - {id: A-ANT, sector: A, part: antenna-12, height_m: 29}
  - {id: B-ANT, sector: B, part: antenna-12, height_m: 29}
radios:
  - {id: A1, sector: A, part: radio-mid-4t4r, height_m: 28, antenna: A-ANT, antenna_ports: [Y1, Y2, Y3, Y4],
     carriers: [{centre_mhz: 1815, width_mhz: 10, power_w: 20, band: B3}]}
  - {id: A2, sector: A, part: radio-low-2t2r, height_m: 28, antenna: A-ANT, antenna_ports: [R1, R2]}
"""


@pytest.fixture(scope="module")
def parts() -> Catalogue:
    return standard()


def site(text: str, parts: Catalogue) -> Site:
    return from_text(yamlfile.parse(text, "site.yaml"), parts)


def faults(text: str, parts: Catalogue) -> list[str]:
    with pytest.raises(InputFaults) as caught:
        site(text, parts)
    return [f"{f.line} {f.place} | {f.got} | {f.expected} | {f.remedy}" for f in caught.value.faults]


def test_the_good_site(parts: Catalogue) -> None:
    made = site(GOOD, parts)
    assert made.box_height_m == 26
    assert made.route_length_m == 35.0  # 6 + 26 and the 3 m of slack
    assert made.route_tolerance_m == 1.0
    assert made.box_run_m(made.radios[0]) == 4.0
    assert made.rf_run_m(made.radios[0]) == pytest.approx(1.8)
    assert made.radios[0].carriers[0].centre_hz == 1.815e9


WORD_FOR_WORD = [
    ("unknown key", "id: HT-1", "id: HT-1\nheigth: 3", "3 heigth | unknown key 'heigth' | one of version, id, name, revision, author, note, cabinet, route, mast, sectors, radios, antennas, neighbours, metals, earthing, climate, policy, limits, measured_loops, existing | remove or rename the key"),
    ("unknown key, near", "id: HT-1", "id: HT-1\nantenas: []", "3 antenas | unknown key 'antenas' | one of version, id, name, revision, author, note, cabinet, route, mast, sectors, radios, antennas, neighbours, metals, earthing, climate, policy, limits, measured_loops, existing | did you mean 'antennas'?"),
    ("unit of another dimension", "length_m: 6}", "length_kg: 6}", "7 route.legs[1].length_kg | unknown key 'length_kg' | length, as one of "),
    ("unit that is no unit", "length_m: 6}", "length_m: 6 furlongs}", "7 route.legs[1].length_m | 6 furlongs | "),
    ("negative length", "length_m: 6}", "length_m: -6}", "7 route.legs[1].length_m | -6 | greater than 0 m | correct the value; length_m is: length along the cable"),
    ("missing key", "id: HT-1\n", "", "1 id | nothing | id: name of the site (upper case letters and digits with hyphens, without the letters I and O) | add id"),
    ("id with a letter O", "id: HT-1", "id: HOT-1", "2 id | HOT-1 | text of the pattern"),
    ("duplicate radio", "{id: A2,", "{id: A1,", "17 radios[2].id | A1 | an id of its own (radios[1] has it) | rename one of the two"),
    ("radio with the id of an antenna", "{id: A2,", "{id: A-ANT,", "12 antennas[1].id | A-ANT | an id of its own (radios[2] has it) | rename one of the two"),
    ("duplicate sector", "{id: B, azimuth_deg: 120}", "{id: A, azimuth_deg: 120}", "10 sectors[2].id | A | an id of its own (sectors[1] has it) | rename one of the two"),
    ("reserved id", "{id: A2,", "{id: T1,", "17 radios[2].id | T1 | another id: plant, baseband, trunks and boxes are called so | rename it, e.g. R-T1"),
    ("pair measured twice", "id: HT-1", "id: HT-1\nmeasured_loops: [{item: T1, pair: 2, loop_ohm: 0.1, at_c: 20, source: meter}, {item: T1, pair: 2, loop_ohm: 0.2, at_c: 20, source: meter}]", "3 measured_loops[2].item | T1 pair 2 | each pair once (measured_loops[1] has it) | keep the one that holds"),
    ("missing radio part", "part: radio-low-2t2r", "part: radio-lo-2t2r", "17 radios[2].part | radio-lo-2t2r | a radio of the catalogue: radio-low-2t2r, "),
    ("part of another kind", "part: radio-low-2t2r", "part: antenna-12", "17 radios[2].part | antenna-12 | a radio of the catalogue: "),
    ("missing antenna part", "{id: B-ANT, sector: B, part: antenna-12", "{id: B-ANT, sector: B, part: antenna-13", "13 antennas[2].part | antenna-13 | an antenna of the catalogue: "),
    ("missing optic", "cabinet:\n", "cabinet:\n  optic: optic-1t\n", "4 cabinet.optic | optic-1t | an optic of the catalogue: "),
    ("radio without an antenna", ", antenna: A-ANT, antenna_ports: [R1, R2]", "", "17 radios[2].antenna | nothing | an antenna for the 2 RF ports of radio-low-2t2r | add antenna and antenna_ports"),
    ("radio without antenna ports", ", antenna_ports: [R1, R2]", "", "17 radios[2].antenna_ports | nothing | up to 2 port names of A-ANT | add antenna_ports, in the order of the radio's ports"),
    ("antenna of another sector", "antenna: A-ANT, antenna_ports: [R1, R2]", "antenna: B-ANT, antenna_ports: [R1, R2]", "17 radios[2].antenna | B-ANT | an antenna of sector A; B-ANT serves B | take an antenna of the radio's own sector"),
    ("antenna that is not there", "antenna: A-ANT, antenna_ports: [R1, R2]", "antenna: C-ANT, antenna_ports: [R1, R2]", "17 radios[2].antenna | C-ANT | an antenna of this site: A-ANT, B-ANT | correct it, or add the antenna"),
    ("antenna for a radio without ports", "part: radio-low-2t2r", "part: radio-n78-panel", "17 radios[2].antenna | A-ANT | no antenna: radio-n78-panel has no RF ports | remove antenna and antenna_ports"),
    ("too many ports", "[R1, R2]", "[R1, R2, R3]", "17 radios[2].antenna_ports | 3 ports | at most 2, the RF ports of radio-low-2t2r | remove the ports too many"),
    ("two radios on one port", "[R1, R2]", "[Y4, R2]", "17 radios[2].antenna_ports[1] | Y4 | a free port: A-ANT port Y4 is taken by radio A1 | give each radio port an antenna port of its own"),
    ("one port twice", "[R1, R2]", "[R1, R1]", "17 radios[2].antenna_ports[2] | R1 | a free port: A-ANT port R1 is taken by another port of the same radio | give each radio port an antenna port of its own"),
    ("unknown port", "[R1, R2]", "[R1, Q2]", "17 radios[2].antenna_ports[2] | Q2 | a port of A-ANT (antenna-12): R1, R2, R3, R4, Y1, Y2, Y3, Y4, Y5, Y6, Y7, Y8 | correct the port name"),
    ("route shorter than the mast", "length_m: 26}", "length_m: 16}", "6 route.legs | 22 m in all | at least 26 m, the height from the cable entry to the box | add the missing leg, or correct the lengths"),
    ("carrier outside its band", "centre_mhz: 1815", "centre_mhz: 2215", "16 radios[1].carriers[1].centre_mhz | 2215 MHz | a centre inside the downlink of B3: 1805 to 1880 MHz | correct the centre or the band"),
    ("band that is no band", "band: B3", "band: B999", "16 radios[1].carriers[1].band | B999 | an operating band such as B3 or n78 | correct the band"),
    ("carrier outside the port", "centre_mhz: 1815, width_mhz: 10, power_w: 20, band: B3", "centre_mhz: 3500, width_mhz: 10, power_w: 20", "15 radios[1].antenna_ports[1] | Y1 | a port that covers 3500 MHz; Y1 covers 1427 to 2690 MHz | take a port of the right band"),
    ("unknown sector", "sector: A, part: radio-low", "sector: D, part: radio-low", "17 radios[2].sector | D | a sector of this site: A, B | correct it, or add the sector"),
    ("typical above maximum", "part: radio-low-2t2r,", "part: radio-low-2t2r, maximum_w: 500, typical_w: 600,", "17 radios[2].typical_w | 600 W | at most maximum_w, 500 W | check which of the two is the highest input power"),
    ("load that does not fill a day", "sectors: [", "policy: {load: [{load_fraction: 1, hours_h: 8}, {load_fraction: 0.5, hours_h: 15}]}\nsectors: [", "10 policy | a mapping | hours_h that add up to 24 h | correct the load states"),
    ("voltages out of order", "end_of_discharge_v: 44", "end_of_discharge_v: 52", "4 cabinet.plant | float_v: 54, on_battery_v: 50, end_of_discharge_v: 52, source_resistance_ohm: 0… | end_of_discharge_v <= on_battery_v <= float_v | check the three voltages of the plant"),
    ("temperatures out of order", "sectors: [", "climate: {hot_c: 10, mean_c: 15}\nsectors: [", "10 climate | hot_c: 10, mean_c: 15 | cold_c <= mean_c <= hot_c | check the three temperatures"),
    ("radio above the mast", "part: radio-low-2t2r, height_m: 28", "part: radio-low-2t2r, height_m: 39", "17 radios[2].height_m | 39 m | at most 6 m above the top of the mast, 32 m | correct the height, or that of the mast"),
    ("box above the mast", "box_height_m: 26", "box_height_m: 40", "9 mast.box_height_m | 40 m | a box on the mast, 32 m high | correct box_height_m"),
    ("optics that are no pair", "part: radio-low-2t2r,", "part: radio-low-2t2r, fibre: {radio_optic: optic-10g-single-1330},", "17 radios[2].fibre.radio_optic | optic-10g-single-1330 on 1 strand(s) | an optic on 2, like optic-10g-lr in the cabinet | take two optics that are a pair"),
    ("more links than ports", "part: radio-low-2t2r,", "part: radio-low-2t2r, fibre: {links_count: 3},", "17 radios[2].fibre.links_count | 3 | at most 2, the optical ports of radio-low-2t2r | ask fewer links"),
    ("a standby link too many", "part: radio-low-2t2r,", "part: radio-low-2t2r, fibre: {links_count: 2, standby_count: 3},", "17 radios[2].fibre.standby_count | 5 | links and standby links that the radio can use | ask fewer standby links"),
    ("wrong version", "version: 1", "version: 2", "1 version | 2 | one of 1 | take one of them"),
    ("word for a number", "height_m: 32", "height_m: high", "9 mast.height_m | high | "),
    ("one of a few words", "kind: lattice", "kind: latice", "9 mast.kind | latice | one of 'lattice', 'monopole', 'guyed', 'roof' or 'wall' | did you mean 'lattice'?"),
    ("not a number", "height_m: 32", "height_m: .nan", "9 mast.height_m | "),
    ("true for a number", "height_m: 32", "height_m: true", "9 mast.height_m | True | "),
    ("key twice", "id: HT-1", "id: HT-1\nid: HT-2", "3 id | key 'id' twice | one 'id' (the first is in line 2) | remove or rename one of them"),
    ("an alias", "id: HT-1", "id: &a HT-1", "2  | an anchor or alias (& or *) | plain values | write the value out where it is used"),
    ("a limit twice", "sectors: [", "limits: [{code: pim.level, value: -150, source: here}, {code: pim.level, value: -151, source: here}]\nsectors: [", "10 limits[2].code | pim.level | each code once | remove one of the two"),
    ("carrier over the edge of its band", "centre_mhz: 1815", "centre_mhz: 1807", "16 radios[1].carriers[1].width_mhz | 1802 to 1812 MHz | a carrier inside the downlink of B3: 1805 to 1880 MHz | correct the centre or the width"),
    ("block over the edge of the band", "power_w: 20, band: B3", "power_w: 20, band: B3, move_from_mhz: 1805, move_to_mhz: 1890", "16 radios[1].carriers[1].move_to_mhz | 1890 MHz | an edge inside the downlink of B3: 1805 to 1880 MHz | correct the block, or the band"),
    ("carriers on the same frequencies", "band: B3}]", "band: B3}, {centre_mhz: 1824, width_mhz: 10, power_w: 20, band: B3}]", "16 radios[1].carriers[2].centre_mhz | 1824 MHz, 10 MHz wide | a carrier apart from carriers[1], 1815 MHz and 10 MHz wide | correct a centre or a width, or remove the one that is there twice"),
    ("metal of no sector", "sectors: [", "metals: [{name: rail, sector: D, level_dbc: -120, source: guess}]\nsectors: [", "10 metals[1].sector | D | a sector of this site: A, B | correct it, or add the sector"),
    ("ports in space at other heights", "antenna_ports: [R1, R2]", "antenna_ports: [R1, R2], rf_way: {start: {up_m: 28}, end: {up_m: 31, east_m: 0.3}, bend_m: 0.1}", "17 radios[2].rf_way.end.up_m | +3.00 m from port to port | within 1 m of +1.00 m, from A2 to A-ANT by their height_m | correct up_m of start or end, or the heights"),
    ("way and run both", "antenna_ports: [R1, R2]", "antenna_ports: [R1, R2], rf_run_m: 2, rf_way: {start: {up_m: 28}, end: {up_m: 29, east_m: 0.3}, bend_m: 0.1}", "17 radios[2].rf_run_m | 2 m | rf_run_m or rf_way, not both | keep rf_way where the ports are known, else rf_run_m"),
    ("bend tighter than any jumper", "antenna_ports: [R1, R2]", "antenna_ports: [R1, R2], rf_way: {start: {up_m: 28}, end: {up_m: 29, east_m: 0.3}, bend_m: 0.01}", "17 radios[2].rf_way.bend_m | 0.01 m | at least 0.02 m, the least radius of any RF jumper of the catalogue | take the radius of the data sheet"),
    ("confirmation without a name", "sectors: [", "limits: [{code: pim.level, source: IEC 62037}]\nsectors: [", "10 limits[1] | neither value nor confirmed_by | a value, or the name of who confirmed the limit | add value or confirmed_by"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "fault"), [row[1:] for row in WORD_FOR_WORD], ids=[row[0] for row in WORD_FOR_WORD]
)
def test_a_fault_says_where_what_and_what_to_do(parts: Catalogue, old: str, new: str, fault: str) -> None:
    assert GOOD.count(old) >= 1
    found = faults(GOOD.replace(old, new, 1), parts)
    assert any(one.startswith(fault) for one in found), found
    for one in found:
        line, place, got, expected, remedy = one.split(" ", 1)[0], *one.split(" ", 1)[1].split(" | ")
        assert int(line) > 0
        assert got
        assert expected
        assert remedy, place


def test_all_faults_are_told_at_once_in_the_order_of_the_file(parts: Catalogue) -> None:
    text = (
        GOOD.replace("{id: A2,", "{id: A1,")
        .replace("length_m: 26}", "length_m: 16}")
        .replace("sector: B, part", "sector: C, part")
    )
    found = faults(text, parts)
    assert [one.split(" | ")[0] for one in found] == ["6 route.legs", "13 antennas[2].sector", "17 radios[2].id"]


@pytest.mark.parametrize(
    "text", ["", "[]", "just words", "42", "null", "- a\n- b", "version", "{}", "version: 1", "? [a]\n: b", "\x00", "a: b: c", "--- a\n--- b"]
)  # fmt: skip
def test_what_is_no_site_at_all(parts: Catalogue, text: str) -> None:
    assert faults(text, parts)


def test_another_unit_is_taken(parts: Catalogue) -> None:
    made = site(
        GOOD.replace("length_m: 6}", "length_ft: 19.685039370078741}").replace("height_m: 32", "height_m: 32 m"), parts
    )
    assert made.route.legs[0].length_m == pytest.approx(6.0)


def test_a_hostile_number_of_faults_is_bounded(parts: Catalogue) -> None:
    rows = "".join(f"  - {{id: Q{n}, sector: Z, part: p{n}, height_m: -1}}\n" for n in range(5000))
    found = faults(GOOD[: GOOD.index("radios:")] + "radios:\n" + rows, parts)
    assert 1 <= len(found) <= 501


def test_a_file_that_is_not_there(parts: Catalogue, tmp_path: Path) -> None:
    with pytest.raises(InputFaults, match="No such file or directory") as caught:
        load(tmp_path / "site.yaml", parts)
    assert "check the path and the rights" in str(caught.value)


def test_a_folder_in_place_of_the_file(parts: Catalogue, tmp_path: Path) -> None:
    with pytest.raises(InputFaults, match="not a plain file"):
        load(tmp_path, parts)


def test_the_whole_message_as_a_person_reads_it(parts: Catalogue) -> None:
    with pytest.raises(InputFaults) as caught:
        site(GOOD.replace("[R1, R2]", "[R1, Q2]"), parts)
    assert str(caught.value) == (
        "site.yaml:17:97  radios[2].antenna_ports[2]\n"
        "    got:      Q2\n"
        "    expected: a port of A-ANT (antenna-12): R1, R2, R3, R4, Y1, Y2, Y3, Y4, Y5, Y6, Y7, Y8\n"
        "    do:       correct the port name"
    )


# --- limits -------------------------------------------------------------------------------------------------------


def limited(row: str, parts: Catalogue) -> Site:
    return site(GOOD + f"limits:\n  - {{{row}}}\n", parts)


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("code: rf.return-los, value: 15, source: plan", "limits[1].code | rf.return-los | the code of a finding | did you mean "),
        ("code: qqq, value: 15, source: plan", "limits[1].code | qqq | the code of a finding | see docs/codes.md"),
        ("code: rf.loss, value: 1, source: plan", "limits[1].code | rf.loss | the code of a finding | "),
        ("code: fibre.low-margin, value: -3, source: plan", "limits[1].value | -3 dB | at least 0 or tighter: fibre.low-margin is a safety limit | take the limit out, or tighten it"),
        ("code: weather.open-ports, value: 2, source: plan", "limits[1].value | 2 | at most 0 or tighter: weather.open-ports is a safety limit | take the limit out, or tighten it"),
        ("code: support.grip-load, confirmed_by: N. Reader, source: plan", "limits[1] | support.grip-load | a value: this code has no limit to confirm | add value"),
    ],
)  # fmt: skip
def test_limits_that_can_not_be(parts: Catalogue, row: str, fault: str) -> None:
    with pytest.raises(InputFaults) as caught:
        limits_of(limited(row, parts))
    found = [f"{f.place} | {f.got} | {f.expected} | {f.remedy}" for f in caught.value.faults]
    assert found[0].startswith(fault), found


def test_a_safety_limit_tightened_stays_one(parts: Catalogue) -> None:
    made = limits_of(
        limited("code: fibre.low-margin, value: 2.5, authority: contract, source: contract clause 4", parts)
    )
    limit = made.get("fibre.low-margin")
    assert limit is not None
    assert (limit.value, limit.authority) == (2.5, Authority.SAFETY)
    assert limit.source.document == "contract clause 4"


def test_a_limit_confirmed_by_name(parts: Catalogue) -> None:
    row = "code: pim.level, confirmed_by: N. Reader, source: IEC 62037-1 clause 5"
    limit = limits_of(limited(row, parts)).get("pim.level")
    assert limit is not None
    assert (limit.value, limit.source.mark) == (-150.0, Mark.DECLARED)
    assert "N. Reader" in str(limit.source)


def test_carriers_that_touch_are_apart(parts: Catalogue) -> None:
    text = GOOD.replace("band: B3}]", "band: B3}, {centre_mhz: 1825, width_mhz: 10, power_w: 20, band: B3}]")
    assert len(site(text, parts).radios[0].carriers) == 2
