from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime

import openpyxl
import pytest

from upmast.catalogue.catalogue import standard
from upmast.documents.acceptance import axis_text, band_text, plan_book
from upmast.documents.kit_list import KIT_COLUMNS, kit_list, kit_table
from upmast.documents.port_map import colour, fibre_table, pair_table, port_map, rf_table
from upmast.documents.sheet import Column, Product, Sheet, Table, Workbook, joined, shown
from upmast.documents.to_xlsx import xlsx_bytes
from upmast.finding import Expectation
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.walk import feeds
from upmast.proof.prove import Proof

MakeProof = Callable[..., Proof]
NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
HOSTILE = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    '=HYPERLINK("x")',
    "http://example.org",
    "{=1}",
    "007",
    "1e5",
)


def book(table: Table) -> Workbook:
    return Workbook("=title", "subject", (Sheet("One", table, ("=head",)),))


def test_text_never_becomes_a_formula_a_number_or_a_link() -> None:
    table = Table("=T", (Column("=A"),), tuple((text,) for text in HOSTILE), "=note")
    content = xlsx_bytes(book(table), NOW)
    xml = zipfile.ZipFile(io.BytesIO(content)).read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in xml
    assert "hyperlink" not in xml
    sheet = openpyxl.load_workbook(io.BytesIO(content))["One"]
    cells = [c for row in sheet.iter_rows() for c in row if c.value is not None]
    assert {c.data_type for c in cells} == {"s"}
    assert {"=1+1", "007", "1e5"} <= {c.value for c in cells}


def test_equal_content_and_time_give_equal_bytes(proof_of: MakeProof) -> None:
    proof = proof_of(3)
    made = [xlsx_bytes(kit_list(proof.site, proof.line), NOW) for _ in range(2)]
    assert made[0] == made[1]
    assert made[0] != xlsx_bytes(kit_list(proof.site, proof.line), NOW.replace(year=2027))


def test_formulas_carry_the_values_that_they_give(proof_of: MakeProof) -> None:
    proof = proof_of(6)
    content = xlsx_bytes(kit_list(proof.site, proof.line, "not for issue"), NOW)
    values = openpyxl.load_workbook(io.BytesIO(content), data_only=True)["Kit"]
    formulas = openpyxl.load_workbook(io.BytesIO(content))["Kit"]
    head = next(r for r in range(1, 12) if values.cell(r, 1).value == "Kind")
    last = max(r for r in range(1, values.max_row + 1) if values.cell(r, 1).value == "Sum")
    price = [c.title for c in KIT_COLUMNS].index("Price") + 1
    assert formulas.cell(last, price).value == f"=SUM(I{head + 1}:I{last - 1})"
    total = 0.0
    for row in range(head + 1, last):
        pieces, metres = values.cell(row, 4).value, values.cell(row, 5).value or 0
        each = pieces * values.cell(row, 7).value + metres * (values.cell(row, 8).value or 0)
        assert values.cell(row, price).value == pytest.approx(each)
        total += each
    assert values.cell(last, price).value == pytest.approx(total)
    assert any("NOT FOR ISSUE" in str(c.value) for c in values["A"])
    assert values.freeze_panes == f"B{head + 1}"


def test_the_kit_counts_every_item_and_every_metre(proof_of: MakeProof) -> None:
    line = proof_of(6).line
    rows = {row[1]: row for row in kit_table(line).rows}
    assert kit_table(line).note.endswith("Check the whole list against stock before cutting.")
    assert {i.part for i in line.items if i.part} <= set(rows)
    assert sum(row[3] for row in rows.values()) == sum(i.count for i in line.items if i.part) + sum(len(i.equipment) for i in line.items)  # fmt: skip
    metres = sum(row[4] or 0 for row in rows.values())
    assert metres == pytest.approx(sum(i.length_m or 0 for i in line.items))
    optic = next(row for row in rows.values() if row[0] == "optic")
    assert optic[3] == 12  # one at each end of six links
    assert f"T1: {line.by_id['T1'].length_m:g} m" in str(next(row for row in rows.values() if row[0] == "trunk")[5])


def test_a_row_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match="1 cells for 2 columns"):
        Table("T", (Column("a"), Column("b")), (("x",),))


def test_two_sheets_of_one_name_are_refused() -> None:
    table = Table("T", (Column("a"),), ())
    with pytest.raises(ValueError, match="same name"):
        xlsx_bytes(Workbook("t", "s", (Sheet("One", table), Sheet("one", table))), NOW)


def test_long_and_binary_text_is_cut_and_cleaned() -> None:
    table = Table("T", (Column("a"),), (("x" * 40_000,), ("a\x00b\x07",)))
    sheet = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(book(table), NOW)))["One"]
    texts = [str(c.value) for row in sheet.iter_rows() for c in row if c.value]
    assert max(map(len, texts)) == 32_000
    assert "a b " in texts


def test_cells_as_text() -> None:
    assert shown(Product(2.0, ()), Column("a", kind="money")) == "2.00"
    assert shown(3, Column("a", kind="count")) == "3"
    assert shown(None, Column("a")) == ""
    assert joined(["a", "b", "c"], 2) == "a, b and 1 more"


# --- maps -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("radios", "separate", "trunks"), [(1, False, 1), (6, False, 1), (12, False, 2), (4, True, 1)])
def test_every_radio_has_a_supply_and_a_return(proof_of: MakeProof, radios: int, separate: bool, trunks: int) -> None:
    line = proof_of(radios, separate=separate, trunks=trunks).line
    rows = [row for row in pair_table(line).rows if row[0]]
    ways = sum(len(way) for way in feeds(line).values())
    assert len(rows) == 2 * ways
    assert {(row[0], row[1]) for row in rows} == {
        (r.id, w) for r in line.of_kind("radio") for w in ("supply", "return")
    }
    for row in rows:
        assert row[3] == f"{row[0]}-CB"
        assert row[10] == f"{row[0]}.dc"
        assert row[5] in (f"{row[0]}-D1",) or str(row[5]).startswith("T")


def test_box_ports_of_a_pair_are_those_that_are_joined(proof_of: MakeProof) -> None:
    line = proof_of(6).line
    ends = {frozenset((j.a, j.b)) for j in line.joints}
    for row in pair_table(line).rows:
        if row[0]:
            trunk, n = str(row[5]).split("-P")
            assert frozenset((f"{trunk}.head.dc{int(n)}", str(row[7]))) in ends
            assert frozenset((str(row[8]), f"{row[9]}.foot.dc1")) in ends


@pytest.mark.parametrize("trunk", ["hybrid-6x16-24f", "trunk-6x10-24f-mpo12"])
def test_strands_are_named_once_and_every_link_ends_where_it_is_meant(proof_of: MakeProof, trunk: str) -> None:
    mpo = trunk.endswith("mpo12")
    site = proof_of(6).site
    chosen = tuple(RadioChoice("breaker-32", "hybrid-jumper-1x6-2f", "", "rf-jumper-12-43-43") for _ in site.radios)
    box = "box-straight-6-mpo12" if mpo else "box-straight-6-lc"
    line = build(site, standard(), Choice("hybrid", chosen, trunk, 1, box, fanout="fanout-mpo-12" if mpo else ""))
    rows = fibre_table(line).rows
    strands = [str(row[6]) for row in rows]
    assert len(set(strands)) == len(strands) == 24
    assert set(strands) == {f"T1-F{n:02d}" for n in range(1, 25)}
    for link in line.links:
        mine = [row for row in rows if row[0] == link.id]
        assert [row[4] for row in mine] == [1, 2]
        if link.state == "service":
            assert {row[10] for row in mine} == {link.b}
            assert {row[11] for row in mine} == {1, 2}
            assert {row[12] for row in mine} == {""}
        else:
            assert {row[12] for row in mine} == {"dark, capped"}
            assert {row[8] for row in mine} == {link.b}


def test_colours_by_tia_598() -> None:
    assert [colour(n, 12) for n in (1, 6, 12)] == ["blue", "white", "aqua"]
    assert colour(13, 24) == "tube orange, strand blue"


def test_every_rf_port_in_use_has_its_antenna_port_and_label(proof_of: MakeProof) -> None:
    proof = proof_of(6)
    rows = rf_table(proof.line).rows
    asked = {(f"{r.id}.rf{n}", r.antenna, port) for r in proof.site.radios for n, port in enumerate(r.antenna_ports, 1)}
    assert {(row[0], row[4], row[5]) for row in rows} == asked
    for row in rows:
        assert row[7] == f"{row[2]}  {row[0]} > {row[4]}.{row[5]}"


def test_the_maps_and_the_test_plan_are_written(proof_of: MakeProof) -> None:
    proof = proof_of(3)
    for made in (port_map(proof.site, proof.line), plan_book(proof)):
        names = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(made, NOW))).sheetnames
        assert names == [sheet.name for sheet in made.sheets]


def test_bands_of_expectations_as_text() -> None:
    nan = float("nan")
    one = Expectation("a", "a", "t", "q", "dB", (1.0, 2.0), (nan, nan), "", "frequency", "Hz", (1e9, 2e9))
    assert band_text(one) == ("1.00 dB to 2.00 dB", "open")
    assert axis_text(one) == "frequency 1000.00 MHz to 2000.00 MHz"
