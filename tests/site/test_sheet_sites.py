"""From a preview to drafts: models, ids, antennas, ports, all or nothing; each draft becomes a site that loads."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue, standard
from upmast.errors import InputFaults
from upmast.site.load import from_text
from upmast.site.sheet_ids import make_id, sector_id
from upmast.site.sheet_memory import Memory
from upmast.site.sheet_preview import Preview
from upmast.site.sheet_read import Book, Sheet, text_cell
from upmast.site.spreadsheet import SiteDraft, preview, to_sites
from upmast.site.template import template

Look = Callable[..., Preview]
HEAD = ["Site", "Sector", "Position", "Model", "Height (m)", "Azimuth (deg)", "Antenna model", "Antenna ports"]
A1: list[Any] = ["Ness Pt", "A", "1", "radio-low-2t2r", 31, 30, "antenna-8", "R1, R2"]
A2: list[Any] = ["Ness Pt", "A", "2", "radio-mid-4t4r", 32, 30, "antenna-8", "Y1-Y4"]
B1: list[Any] = ["Ness Pt", "B", "1", "radio-low-2t2r", 31, 150, "antenna-8", ""]


def loaded(draft: SiteDraft, catalogue: Catalogue) -> Any:
    return from_text(yamlfile.parse(template(draft.id, draft=draft)), catalogue)


def test_a_list_becomes_a_site_that_loads(look: Look, catalogue: Catalogue) -> None:
    drafts = to_sites(look([HEAD, A1, A2, B1]), catalogue)
    assert list(drafts) == ["NESS-PT"]
    site = loaded(drafts["NESS-PT"], catalogue)
    assert [(one.id, one.sector, one.part, one.height_m) for one in site.radios] == [
        ("A1", "A", "radio-low-2t2r", 31), ("A2", "A", "radio-mid-4t4r", 32), ("B1", "B", "radio-low-2t2r", 31),
    ]  # fmt: skip
    assert [one.antenna_ports for one in site.radios] == [("R1", "R2"), ("Y1", "Y2", "Y3", "Y4"), ("R1", "R2")]
    assert [(one.id, one.azimuth_deg) for one in site.sectors] == [("A", 30), ("B", 150)]
    assert [(one.id, one.height_m) for one in site.antennas] == [("A-ANT", 32), ("B-ANT", 31)]
    told = drafts["NESS-PT"]
    assert any("B1: no antenna ports are given" in one for one in told.assumed)
    assert told.ids["site Ness Pt"] == "NESS-PT"
    assert told.ids["radio 1 (row 2)"] == "A1"


def test_several_sites_and_a_base_that_lends_the_rest(look: Look, catalogue: Catalogue) -> None:
    other = ["Keld", *B1[1:]]
    base = {"revision": "7", "mast": {"kind": "monopole", "height_m": 40, "box_height_m": 25}, "radios": ["gone"]}
    drafts = to_sites(look([HEAD, A1, A2, other]), catalogue, base)
    assert {key: len(one.data["radios"]) for key, one in drafts.items()} == {"NESS-PT": 2, "KELD": 1}
    site = loaded(drafts["KELD"], catalogue)
    assert (site.revision, site.mast.kind, site.id) == ("7", "monopole", "KELD")


def test_all_or_nothing_and_what_is_left_out_is_said(look: Look, catalogue: Catalogue) -> None:
    broken = [*B1[:3], "RRU type A", *B1[4:]]
    read = look([HEAD, A1, broken, [*A2[:4], "tbc", *A2[5:]], ["Total", "", "", 3]])
    with pytest.raises(InputFaults) as caught:
        to_sites(read, catalogue)
    assert [one.place for one in caught.value.faults] == ["Radios!D3", "Radios!E4"]
    drafts = to_sites(read, catalogue, skip_faulty=True)
    assert drafts["NESS-PT"].rows == (2,)
    assert [one.split()[1] for one in drafts.left_out] == ["3", "4", "5"]
    assert any("left out: row 3" in one for one in drafts.lines())
    assert [one["id"] for one in drafts["NESS-PT"].data["sectors"]] == ["A"]


def test_a_missing_column_stops_even_with_skipping(look: Look, catalogue: Catalogue) -> None:
    with pytest.raises(InputFaults, match="height"):
        to_sites(look([[*HEAD[:4], "x"], A1]), catalogue, skip_faulty=True)


def test_models_are_asked_decided_or_stood_in_for(look: Look, catalogue: Catalogue) -> None:
    rows = [HEAD, [*A2[:3], "Radio mid band 4T4R", *A2[4:]]]
    with pytest.raises(InputFaults, match="is it radio-mid-4t4r"):
        to_sites(look(rows), catalogue)
    decided = Memory(models={"radio  mid band 4t4r": "radio-mid-4t4r"})
    assert to_sites(look(rows, decided), catalogue)["NESS-PT"].data["radios"][0]["part"] == "radio-mid-4t4r"
    own = [[*HEAD, "Max power (kW)", "Min voltage (V)"], [*A2[:3], "Type X", *A2[4:], 1.05, -40]]
    draft = to_sites(look(own), catalogue)["NESS-PT"]
    radio = draft.data["radios"][0]
    assert (radio["maximum_w"], radio["minimum_v"]) == (1050, 40)
    assert any("'Type X' is in no catalogue" in one for one in draft.assumed)
    loaded(draft, catalogue)


def test_ids_are_made_valid_and_two_names_never_become_one(look: Look, catalogue: Catalogue) -> None:
    rows = [HEAD, ["Oil Rig", "Alpha", "RRU I", *A1[3:]], ["Oil Rig", "Alpha", "RRU 2", *A2[3:]]]
    draft = to_sites(look(rows), catalogue)["01L-R1G"]
    assert [one["id"] for one in draft.data["radios"]] == ["RRU-1", "RRU-2"]
    assert draft.ids == {
        "site Oil Rig": "01L-R1G", "radio RRU I (row 2)": "RRU-1", "radio RRU 2 (row 3)": "RRU-2", "sector Alpha": "A",
    }  # fmt: skip
    clash = [
        HEAD,
        ["Ness", "A", "RRU I", *A1[3:]],
        ["Ness", "A", "RRU 1", *A2[3:]],
        ["NE55", *B1[1:]],
        ["NE-SS", *B1[1:]],
        ["NE SS", *B1[1:]],
    ]
    with pytest.raises(InputFaults) as caught:
        to_sites(look(clash), catalogue)
    assert [one.place for one in caught.value.faults] == ["Radios!C3", "Radios!A6"]


def test_one_name_in_each_sector_is_led_by_the_sector(look: Look, catalogue: Catalogue) -> None:
    rows = [
        HEAD,
        ["Ness", "1", "RRU-A", *A1[3:]],
        ["Ness", "2", "RRU-A", *B1[3:]],
        ["Ness", "2", "07", *A2[3:5], 150, *A2[6:]],
    ]
    draft = to_sites(look(rows), catalogue)["NESS"]
    assert [one["id"] for one in draft.data["radios"]] == ["1-RRU-A", "2-RRU-A", "2-07"]
    loaded(draft, catalogue)


@pytest.mark.parametrize(
    ("row", "place"),
    [
        ([*A2[:7], "R1"], "Radios!H3"), ([*A2[:7], "Y9"], "Radios!H3"), ([*A2[:7], "Y1-Y4 R3 R4"], "Radios!H3"),
        ([*A2[:5], 40, *A2[6:]], "Radios!F3"), ([*A2[:6], "antenna-99", ""], "Radios!G3"), ([*A2[:2], "1", *A2[3:]], "Radios!C3"),
        ([*A2[:6], "antenna-8-high", ""], "Radios!G3"),
    ],
)  # fmt: skip
def test_rows_that_do_not_agree_are_faults(look: Look, catalogue: Catalogue, row: list[object], place: str) -> None:
    with pytest.raises(InputFaults) as caught:
        to_sites(look([HEAD, A1, row]), catalogue)
    assert [one.place for one in caught.value.faults] == [place]


def test_carriers_need_all_their_values_and_the_right_band(look: Look, catalogue: Catalogue) -> None:
    head = [
        *HEAD,
        "C1 band",
        "C1 centre (MHz)",
        "C1 BW (MHz)",
        "C1 power (dBm)",
        "C2 centre (MHz)",
        "C2 BW (MHz)",
        "C2 power (W)",
    ]
    read = look([head, [*A2, "b3", 1820, 20, 46, 1860, 20, 30]])
    radio = to_sites(read, catalogue)["NESS-PT"].data["radios"][0]
    assert radio["carriers"][0] == {
        "centre_mhz": 1820,
        "width_mhz": 20,
        "power_w": pytest.approx(39.8107),
        "band": "B3",
    }
    assert radio["carriers"][1] == {"centre_mhz": 1860, "width_mhz": 20, "power_w": 30}
    for cells, place in (
        (["B3", 1820, "", 46], "Radios!K2"), (["3", 1820, 20, 46], "Radios!I2"), (["B7", 1820, 20, 46], "Radios!J2"),
    ):  # fmt: skip
        with pytest.raises(InputFaults) as caught:
            to_sites(look([head, [*A2, *cells]]), catalogue)
        assert [one.place for one in caught.value.faults] == [place]
    only = to_sites(look([[*HEAD, "Band"], [*A2, "B1/B3"]]), catalogue)["NESS-PT"]
    assert "carriers" not in only.data["radios"][0]
    assert only.still_open


def test_without_antennas_it_stays_open_or_one_stands_in(look: Look, catalogue: Catalogue) -> None:
    rows = [HEAD, [*A1[:6], "", ""], [*A2[:6], "", ""], ["Ness Pt", "B", "3", "radio-n78-panel", 33, 150, "", ""]]
    bare = to_sites(look(rows), catalogue)["NESS-PT"]
    assert "antennas" not in bare.data
    assert len(bare.still_open) == 2
    lent = to_sites(look(rows), catalogue, stand_in_antennas=True)["NESS-PT"]
    site = loaded(lent, catalogue)
    assert [one.part for one in site.antennas] == ["antenna-8"]
    assert [len(one.antenna_ports) for one in site.radios] == [2, 4, 0]


def test_a_quantity_is_not_multiplied_silently(look: Look) -> None:
    read = look([[*HEAD, "Qty"], [*A1, 3], [*A2, 1]])
    assert [row.kind for row in read.rows] == ["header", "faulty", "radio"]


@given(st.text(max_size=40))
def test_made_ids_are_valid_or_empty(text: str) -> None:
    made = make_id(text)
    assert made == "" or (len(made) <= 24 and yamlfile.parse(template(made)).data["id"] == made)
    assert make_id(made) == made
    sector = sector_id(text)
    assert sector == "" or (len(sector) <= 4 and not set(sector) & set("IO"))


_NAMES = st.sampled_from(["A", "B", "C"])
_RADIO = st.tuples(
    _NAMES, st.sampled_from(["radio-low-2t2r", "radio-mid-4t4r", "radio-n78-8t8r", "radio-small-2t2r", "no such radio"]),
    st.sampled_from(["12", "33 m", "31,5", "100 ft", "tbc"]),
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(st.lists(_RADIO, min_size=1, max_size=9))
def test_whatever_is_drafted_loads(radios: list[tuple[str, str, str]]) -> None:
    parts = standard()
    table = [("Sector", "Model", "Height"), *radios]
    rows = tuple(tuple(text_cell(one) for one in row) for row in table)
    drafts = to_sites(preview(Book("t", (Sheet("S1", rows),)), parts), parts, skip_faulty=True, stand_in_antennas=True)
    bad = sum(model == "no such radio" or height == "tbc" for _, model, height in radios)
    assert sum(len(one.rows) for one in drafts.values()) == len(radios) - bad
    assert len(drafts.left_out) == bad
    for draft in drafts.values():
        loaded(draft, parts)
