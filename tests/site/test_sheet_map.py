"""Headers to fields, cells to values, rows to kinds."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast import yamlfile
from upmast.errors import InputFaults, UsageError
from upmast.site import sheet_memory
from upmast.site.sheet_fields import BY_NAME, candidates
from upmast.site.sheet_map import spread
from upmast.site.sheet_memory import Memory
from upmast.site.sheet_preview import Preview
from upmast.site.sheet_read import Book, Sheet, text_cell
from upmast.site.sheet_rows import KINDS
from upmast.site.sheet_values import Unread, plain_number, ports, quantity
from upmast.site.spreadsheet import preview, with_mapping

Look = Callable[..., Preview]
HEAD = ["Site", "Sector", "Position", "Model", "Height (m)"]
ROW = ["Ness", "A", "A1", "radio-mid-4t4r", 31]


def fields(read: Preview) -> dict[str, str]:
    return {one.letter: one.field for one in read.columns if one.field}


@pytest.mark.parametrize(
    ("header", "field"),
    [
        ("Site ID", "site"), ("Sec.", "sector"), ("Radio Unit Type", "part"), ("RRU Model", "part"), ("Pos.", "id"),
        ("Height AGL [m]", "height_m"), ("height_ft", "height_m"), ("Max. Power Consumption (kW)", "maximum_w"),
        ("Typ pwr W", "typical_w"), ("Min input voltage (V)", "minimum_v"), ("Ant. model", "antenna_part"),
        ("Azimuth °", "azimuth_deg"), ("Freq. band", "band"), ("Centre freq (GHz)", "centre_hz"), ("BW MHz", "width_hz"),
        ("Tx power per port (dBm)", "power_w"), ("No. of fibre links", "links_count"), ("RF jumper length (ft)", "rf_run_m"),
        ("Antenna ports", "antenna_ports"), ("Remarks", "note"), ("Qty", "quantity"),
    ],
)  # fmt: skip
def test_headers_as_people_write_them(header: str, field: str) -> None:
    found = candidates(header)
    assert found[0].field == field
    assert found[0].confidence >= 0.9
    assert all(one.confidence < found[0].confidence - 0.15 for one in found[1:])


@pytest.mark.parametrize(
    "header",
    [
        "Height AMSL (m)",
        "Weight (kg)",
        "Serial number of supplier",
        "Antenna centre height",
        "UL frequency",
        "Height (kg)",
    ],
)
def test_headers_that_mean_something_else_are_not_taken(header: str) -> None:
    assert all(one.confidence < 0.6 for one in candidates(header))


def test_a_power_without_more_words_is_asked(look: Look) -> None:
    read = look([[*HEAD, "Power (W)"], [*ROW, 1100]])
    column = read.columns[5]
    assert (column.field, column.ambiguous, set(column.choices)) == ("", True, {"maximum_w", "typical_w", "power_w"})
    assert read.column_faults[0].place == "Radios!F1"
    decided = look([[*HEAD, "Power (W)"], [*ROW, 1100]], Memory(columns={"F": "maximum_w"}))
    assert decided.radios[0].get("maximum_w") == 1100


def test_a_column_without_unit_and_with_unusual_numbers_is_asked(look: Look) -> None:
    rows = [[*HEAD, "Max power"], [*ROW, 1.1]]
    assert look(rows).columns[5].ambiguous
    assert look(rows, Memory(units={"F": "kW"})).radios[0].get("maximum_w") == pytest.approx(1100)
    usual = look([[*HEAD, "Max power"], [*ROW, 1100]]).columns[5]
    assert "read in W" in usual.reason


def test_a_header_over_two_rows_with_merged_cells_and_a_unit_row(look: Look) -> None:
    rows = [
        ["Radio plan, revision 3"],
        [],
        ["Site", "Sector", "Model", "Height", "", "", "", "", ""],
        ["", "", "", "", "Centre", "Bandwidth", "Centre", "Bandwidth", "Notes"],
        ["Ness", "A", "radio-mid-4t4r", 31, 1820, 20, 1860, 20, "x"],
    ]
    read = look(rows, merges=[(2, 4, 2, 5, "Carrier 1 (MHz)"), (2, 6, 2, 7, "Carrier 2 (MHz)")])
    assert read.header == (3, 4)
    assert fields(read) == {
        "A": "site", "B": "sector", "C": "part", "D": "height_m", "E": "carriers[1].centre_hz", "F": "carriers[1].width_hz",
        "G": "carriers[2].centre_hz", "H": "carriers[2].width_hz", "I": "note",
    }  # fmt: skip
    units = look([["Site", "Sector", "Model", "Height"], ["", "", "", "ft"], ["Ness", "A", "radio-mid-4t4r", 100]])
    assert units.header == (1, 2)
    assert units.radios[0].get("height_m") == pytest.approx(30.48)


def test_blank_and_merged_site_cells_take_the_site_above(look: Look) -> None:
    rows = [
        HEAD,
        ROW,
        ["", "B", "B1", "radio-mid-4t4r", 31],
        [],
        ["Keld", "A", "A1", "radio-mid-4t4r", 20],
        ["", "", "A2", "radio-mid-4t4r", 20],
    ]
    read = look(rows)
    assert [(row.number, row.site, row.get("sector")) for row in read.radios] == [
        (2, "Ness", "A"), (3, "Ness", "B"), (5, "Keld", "A"), (6, "Keld", "A"),
    ]  # fmt: skip
    assert read.rows[5].above == {"site": 5, "sector": 5}
    merged = look(
        [HEAD, ["", "A", "A1", "radio-mid-4t4r", 31], ["", "B", "B1", "radio-mid-4t4r", 31]],
        merges=[(1, 0, 2, 0, "Ness")],
    )
    assert [row.site for row in merged.radios] == ["Ness", "Ness"]


def test_every_row_has_its_kind_and_reason(look: Look) -> None:
    rows = [
        ["Plan"],
        [],
        HEAD,
        ROW,
        [],
        HEAD,
        ["", "B", "B1", "radio-mid-4t4r", "tbc"],
        ["Total", "", "", 2],
        ["Note: heights above ground"],
    ]
    read = look(rows)
    assert [row.kind for row in read.rows] == [
        "header",
        "blank",
        "header",
        "radio",
        "blank",
        "header",
        "faulty",
        "note",
        "note",
    ]
    assert all(row.reason for row in read.rows if row.kind in ("header", "note"))
    assert [one.place for one in read.faults] == ["Radios!E7"]
    assert "leaves it open" in read.faults[0].expected


def test_a_radio_that_mentions_a_total_stays_a_radio(look: Look) -> None:
    read = look([[*HEAD, "Notes"], [*ROW, "total of four ports"], ["Total Park", "B", "B1", "radio-mid-4t4r", 30, ""]])
    assert [row.kind for row in read.rows] == ["header", "radio", "radio"]


def test_hidden_rows_are_asked_read_or_left(look: Look) -> None:
    rows = [HEAD, ROW, ["Ness", "B", "B1", "radio-mid-4t4r", 31]]
    assert [row.kind for row in look(rows, hidden=[3]).rows] == ["header", "radio", "faulty"]
    assert [row.kind for row in look(rows, Memory(hidden="read"), hidden=[3]).rows] == ["header", "radio", "radio"]
    left = look(rows, Memory(hidden="leave"), hidden=[3]).rows[2]
    assert (left.kind, left.reason) == ("note", "hidden, left out by decision")


@pytest.mark.parametrize(
    ("names", "made"),
    [
        (["A", "B", "C"], ["A", "B", "C"]), ([1, 2, 3], ["1", "2", "3"]), (["Alpha", "beta", "GAMMA"], ["A", "B", "C"]),
        (["Sector A", "sec. b", "S-C"], ["A", "B", "C"]), (["0°", "120°", "240 deg"], ["A", "B", "C"]), ([240, 0, 120], ["C", "A", "B"]),
    ],
)  # fmt: skip
def test_sector_names(look: Look, names: list[object], made: list[str]) -> None:
    read = look([HEAD, *(["Ness", name, f"R{at}", "radio-mid-4t4r", 31] for at, name in enumerate(names))])
    assert [row.get("sector") for row in read.rows[1:]] == made


def test_sectors_named_in_two_ways_are_a_fault(look: Look) -> None:
    read = look([HEAD, ROW, ["Ness", "2", "B1", "radio-mid-4t4r", 31]])
    assert [row.kind for row in read.rows] == ["header", "radio", "faulty"]


def test_values_out_of_the_declared_bounds_are_faults_with_their_cell(look: Look) -> None:
    read = look([HEAD, [*ROW[:4], 700], [*ROW[:4], "31-32 m"], [*ROW[:4], "31 kg"], [*ROW[:4], -3]])
    assert [one.place for one in read.faults] == ["Radios!E2", "Radios!E3", "Radios!E4", "Radios!E5"]
    assert "at most 600" in read.faults[0].expected


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [("1100", "", 1100), ("1,5", "", 1.5), ("1.234,5", "", 1234.5), ("1,234.5", "", 1234.5), ("1 100", "", 1100), ("1'100", "", 1100),
     ("1,100", ".", 1100), ("1,100", ",", 1.1), ("0,125", "", 0.125), ("1.125", "", 1.125), ("1,234,567", "", 1234567)],
)  # fmt: skip
def test_numbers_as_people_write_them(text: str, decimal: str, value: float) -> None:
    assert plain_number(text, decimal) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "decimal"),
    [("1,100", ""), ("1,100", "both"), ("1.100", "both"), ("1.100", ","), ("1,2,3", ""), ("1.2.3,4", "")],
)
def test_numbers_with_two_meanings_are_asked(text: str, decimal: str) -> None:
    with pytest.raises(Unread):
        plain_number(text, decimal)


def test_units_in_cells_go_before_those_of_the_header() -> None:
    rule = BY_NAME["maximum_w"]
    assert quantity(text_cell("1.1 kW"), rule, "W", "").value == pytest.approx(1100)
    assert quantity(text_cell("1100"), rule, "W", "").value == 1100
    assert quantity(text_cell("1,1"), rule, "kW", "").shown == "1,1 kW = 1100 W"
    assert quantity(text_cell("-40.5 V"), BY_NAME["minimum_v"], "", "").value == 40.5
    # 46 dBm = 39.81 W, from the definition of the dBm
    assert quantity(text_cell("46 dBm"), BY_NAME["power_w"], "W", "").value == pytest.approx(10 ** (16 / 10))


def test_ports_are_lists_or_ranges() -> None:
    rule = BY_NAME["antenna_ports"]
    for text in ("Y1, Y2, Y3", "y1/y2/y3", "Y1-Y3", "Y1 - 3", "Y1 to Y3", "Y1 Y2 Y3"):
        assert ports(text_cell(text), rule).value == ("Y1", "Y2", "Y3")


def test_ids_keep_zeros_and_spoilt_ones_are_faults(look_text: Look) -> None:
    read = look_text(
        "Site,Sector,Position,Model,Height (m)\n0042,A,007,radio-mid-4t4r,31\n1.23E+11,A,A2,radio-mid-4t4r,31\n"
    )
    assert (read.rows[1].site, read.rows[1].get("id")) == ("0042", "007")
    assert "shortened it" in read.rows[2].faults[0].expected


def test_a_mapping_is_decided_remembered_and_asked_again_when_the_columns_move(look: Look, tmp_path: Path) -> None:
    rows = [["Ort", "Sector", "Lage", "Model", "Height (m)", "Power (W)"], [*ROW, 1100]]
    memory = with_mapping(Memory(), {"a": "site", "C": "id", "F": None})
    read = look(rows, memory)
    assert fields(read) == {"A": "site", "B": "sector", "C": "id", "D": "part", "E": "height_m"}
    assert not read.faults
    sheet_memory.save(tmp_path / "import.yaml", read.remembered())
    again = sheet_memory.load(tmp_path / "import.yaml")
    assert fields(look(rows, again)) == fields(read)
    assert not look(rows, again).faults
    moved = look(
        [["Ort", "Sector", "Lage", "Height (m)", "Model", "Power (W)"], [*ROW[:3], 31, "radio-mid-4t4r", 1]], again
    )
    assert [one.ambiguous for one in moved.columns] == [False, False, False, True, True, False]
    with pytest.raises(UsageError):
        with_mapping(Memory(), {"7": "site"})
    assert look(rows, with_mapping(memory, {"A": "sight"})).columns[0].choices == ("site",)


def test_a_file_of_decisions_is_checked(tmp_path: Path) -> None:
    (tmp_path / "import.yaml").write_text("version: 1\ncolumns: {f1: site}\nhidden: maybe\n")
    with pytest.raises(InputFaults) as caught:
        sheet_memory.load(tmp_path / "import.yaml")
    assert len(caught.value.faults) == 2


def test_two_sheets_the_better_one_is_read_and_the_other_told() -> None:
    def sheet(name: str, rows: list[list[str]], hidden: bool = False) -> Sheet:
        return Sheet(name, tuple(tuple(text_cell(one) for one in row) for row in rows), hidden)

    body = [HEAD, [str(one) for one in ROW]]
    book = Book(
        "b", (sheet("Cover", [["hello"]]), sheet("North", body), sheet("South", body), sheet("Old", body, True))
    )
    read = preview(book)
    assert read.sheet == "North"
    assert sum("looks like a radio list, too" in one for one in read.notes) == 1
    assert any("'Old' is hidden" in one for one in read.notes)
    assert preview(book, None, Memory(sheet="South")).sheet == "South"
    with pytest.raises(UsageError, match="'Cover'"):
        preview(book, None, Memory(sheet="West"))


def test_lines_and_data_hold_no_control_characters(look: Look) -> None:
    read = look([[*HEAD, "Notes"], [*ROW, "\x1b[2Jred\nline"], ["Ne\tss", "B", "=1+1", "radio-mid-4t4r", "x\x1b[0m"]])
    assert all(line.isprintable() for line in read.lines())
    assert len(read.as_data()["rows"]) == 3  # type: ignore[arg-type]


_CELLS = st.one_of(
    st.just(""),
    st.sampled_from(
        [
            *HEAD,
            "Total",
            "Note",
            "A",
            "B",
            "radio-mid-4t4r",
            "31 m",
            "1,100",
            "tbc",
            "-",
            "Site: X",
            "0°",
            "Power (W)",
            "C1 BW",
        ]
    ),
    st.text(max_size=12),
)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.lists(_CELLS, max_size=8), min_size=1, max_size=14),
    st.lists(st.tuples(*[st.integers(1, 14)] * 4), max_size=3),
    st.sets(st.integers(1, 14)),
)
def test_no_table_ever_loses_a_row(
    table: list[list[str]], merges: list[tuple[int, int, int, int]], hidden: set[int]
) -> None:
    rows = tuple(tuple(text_cell(one) for one in row) for row in table)
    read = preview(Book("t", (Sheet("S", rows, False, frozenset(hidden), frozenset(), tuple(merges)),)))
    assert [row.number for row in read.rows] == list(range(1, len(table) + 1))
    assert sum(read.counts().values()) == len(table)
    for row, cells in zip(read.rows, rows, strict=True):
        assert row.kind in KINDS
        assert (row.kind == "blank") == all(cell.blank for cell in cells)
        assert (row.kind == "faulty") == bool(row.faults)
    read.lines()
    read.as_data()


def test_merges_that_overlap_a_thousand_times_cost_no_more_than_the_sheet() -> None:
    rows = tuple(tuple(text_cell(one) for one in ["a"] * 50) for _ in range(50))
    sheet = Sheet("S", rows, merges=tuple((1, 1, 10**6, 10**4) for _ in range(20_000)))
    assert len(spread(sheet)) == 50 * 50 - 1


def test_hostile_field_names_of_decisions_are_asked(look: Look) -> None:
    for name in ("carriers[²].centre_hz", "carriers[0].centre_hz", "carriers[99].band", "carriers[].band", "__class__"):
        assert look([HEAD, ROW], Memory(columns={"A": name})).columns[0].ambiguous
    assert look([HEAD, ROW], Memory(columns={"A": "carriers[3].band"})).columns[0].field == "carriers[3].band"


def test_the_decisions_of_the_docs_page_are_taken() -> None:
    page = (Path(__file__).parents[2] / "docs" / "import.md").read_text("utf-8")
    text = page.partition("```yaml\n")[2].partition("```")[0]
    memory = Memory.model_validate(yamlfile.parse(text).data)
    assert (memory.columns["G"], memory.columns["K"], memory.header) == (None, "carriers[2].centre_hz", (3, 4))
    named = set(re.findall(r"`([a-z_]+)`", page.partition("| field |")[2].partition("\n\n")[0]))
    assert set(BY_NAME) <= named
