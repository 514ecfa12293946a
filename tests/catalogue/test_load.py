"""Catalogue files: what a tired person gets to read when one is wrong, and how files lie over each other."""

from __future__ import annotations

from pathlib import Path

import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue, check_references, from_text, load, part_digest, standard
from upmast.catalogue.part import KINDS, Box, Clamp, Connector, Part
from upmast.digest import digest
from upmast.errors import InputFaults, UsageError
from upmast.source import Mark

CLAMP = (
    "  - {id: clamp-a, kind: clamp, title: a clamp, lead_time_d: 5, source: invented, smallest_mm: 6, largest_mm: 10}\n"
)
GOOD = "parts:\n" + CLAMP


def read(text: str) -> Catalogue:
    return from_text(yamlfile.parse(text, "mine.yaml"))


def faults_of(text: str) -> InputFaults:
    with pytest.raises(InputFaults) as caught:
        read(text)
    return caught.value


def test_a_good_file_gives_its_part() -> None:
    catalogue = read(GOOD)
    clamp = catalogue.get("clamp-a", Clamp)
    assert (clamp.smallest_mm, clamp.largest_mm, clamp.metal) == (6.0, 10.0, True)
    assert len(catalogue) == 1
    assert [part.id for part in catalogue] == ["clamp-a"]


def test_an_unknown_key_word_for_word() -> None:
    assert str(faults_of(GOOD.replace("largest_mm", "lagrest_mm"))) == (
        "mine.yaml:2:5  parts[1].largest_mm\n"
        "    got:      nothing\n"
        "    expected: largest_mm: largest cable diameter\n"
        "    do:       add largest_mm\n"
        "mine.yaml:2:98  parts[1].lagrest_mm\n"
        "    got:      unknown key 'lagrest_mm'\n"
        "    expected: one of id, title, cost, mass_kg, lead_time_d, source, sources, note, kind, smallest_mm, largest_mm, "
        "runs_count, slip_rating_n, side_rating_n, spacing_m, metal, bolts_count, bolt_mm, torque_nm, pad_width_mm\n"
        "    do:       did you mean 'largest_mm'?"
    )


def test_a_missing_field_word_for_word() -> None:
    assert str(faults_of(GOOD.replace("source: invented, ", ""))) == (
        "mine.yaml:2:5  parts[1].source\n"
        "    got:      nothing\n"
        "    expected: source: where the values come from, or the word invented\n"
        "    do:       add source"
    )


def test_a_duplicate_id_word_for_word() -> None:
    assert str(faults_of(GOOD + CLAMP)) == (
        "mine.yaml:3:6  parts[2].id\n"
        "    got:      clamp-a\n"
        "    expected: an id that no other part of this file has\n"
        "    do:       rename one of the two"
    )


def test_a_wrong_unit_word_for_word() -> None:
    assert str(faults_of(GOOD.replace("smallest_mm: 6", "smallest_mm: 6 kg"))) == (
        "mine.yaml:2:82  parts[1].smallest_mm\n"
        "    got:      6 kg\n"
        "    expected: kg measures mass; here cross dimension is asked, in mm, cm, in\n"
        "    do:       smallest_mm is: smallest cable diameter"
    )


def test_another_unit_of_the_same_dimension_is_taken() -> None:
    for text in ("smallest_in: 0.25", "smallest_mm: 0.25 in"):
        assert read(GOOD.replace("smallest_mm: 6", text)).get("clamp-a", Clamp).smallest_mm == pytest.approx(6.35)


def test_an_unknown_or_missing_kind_lists_the_kinds() -> None:
    for text, got in ((GOOD.replace("kind: clamp", "kind: clmap"), "clmap"), (GOOD.replace("kind: clamp, ", ""), "")):
        (fault,) = faults_of(text).faults
        assert fault.got == got
        assert fault.expected.startswith("kind, one of connector, trunk, dc-cable")
        assert fault.line == 2


@pytest.mark.parametrize("row", ["3", "[a]", "{}", "null", "{kind: [clamp]}", "{kind: 7}"])
def test_a_row_that_is_no_part_is_a_fault_and_no_crash(row: str) -> None:
    assert len(faults_of(f"parts: [{row}]\n").faults) == 1


@pytest.mark.parametrize("text", ["", "- a\n", "parts: 3\n", "parts: {a: b}\n", "pars: []\n"])
def test_a_file_without_a_list_of_parts_is_refused(text: str) -> None:
    assert faults_of(text).faults[0].expected == "a list of parts under the key parts"


def test_a_key_beside_parts_is_refused_and_version_and_note_are_not() -> None:
    assert faults_of(GOOD + "extra: 1\n").faults[0].place == "extra"
    assert len(read(GOOD + "version: 1\nnote: mine\n")) == 1


def test_all_faults_come_at_once_in_the_order_of_the_file() -> None:
    text = GOOD.replace("mm: 6", "mm: -6") + CLAMP.replace("clamp-a", "B") + CLAMP.replace("kind: clamp", "kind: x")
    assert [fault.line for fault in faults_of(text).faults] == [2, 3, 4]


def test_values_that_contradict_each_other_are_refused() -> None:
    text = """parts:
  - {id: r, kind: radio, title: r, lead_time_d: 1, source: invented, maximum_w: 500, typical_w: 600, minimum_v: 40,
     cut_out_v: 38, restart_v: 42, dc_connector: a, fibre_connector: b, rf_connector: c, rf_ports_count: 2, bands: [B1],
     height_mm: 1, width_mm: 1, depth_mm: 1}
"""
    (fault,) = faults_of(text).faults
    assert fault.expected == "typical_w at most maximum_w"
    assert faults_of(text.replace("600", "400").replace("cut_out_v: 38", "cut_out_v: 41")).faults[0].expected == (
        "cut_out_v <= minimum_v <= maximum_v"
    )
    assert faults_of(text.replace("600", "400").replace("restart_v: 42", "restart_v: 37")).faults[0].expected == (
        "restart_v at least cut_out_v"
    )
    assert len(read(text.replace("600", "400"))) == 1


# ---- laying over


def test_a_merge_replaces_parts_of_equal_id_and_changes_neither_catalogue() -> None:
    below, above = read(GOOD), read(GOOD.replace("mm: 10", "mm: 12") + CLAMP.replace("clamp-a", "clamp-b"))
    merged = below.merged(above)
    assert merged.get("clamp-a", Clamp).largest_mm == 12
    assert {part.id for part in merged} == {"clamp-a", "clamp-b"}
    assert below.get("clamp-a", Clamp).largest_mm == 10
    assert len(below) == 1
    assert above.merged(below).get("clamp-a", Clamp).largest_mm == 10


def test_load_lays_later_files_over_earlier_ones_and_tells_the_faults_of_all(tmp_path: Path) -> None:
    first, second, bad, worse = (tmp_path / f"{name}.yaml" for name in ("first", "second", "bad", "worse"))
    first.write_text(GOOD)
    second.write_text(GOOD.replace("mm: 10", "mm: 12"))
    bad.write_text(GOOD.replace("mm: 6", "mm: -6"))
    worse.write_text("parts: 1\n")
    assert load(first, second).get("clamp-a", Clamp).largest_mm == 12
    assert load(second, first).get("clamp-a", Clamp).largest_mm == 10
    with pytest.raises(InputFaults) as caught:
        load(first, bad, worse)
    assert [Path(fault.file).name for fault in caught.value.faults] == ["bad.yaml", "worse.yaml"]


def test_the_standard_parts_can_be_written_out_and_read_back() -> None:
    catalogue = standard()
    rows = [part.model_dump(mode="json", exclude_none=True) for part in catalogue]
    again = read(yamlfile.dump({"parts": rows}))
    assert {part.id: part_digest(part) for part in again} == {part.id: part_digest(part) for part in catalogue}


# ---- asking


def test_a_part_that_is_not_there_names_its_neighbours() -> None:
    with pytest.raises(UsageError, match="no part 'clamp-aa' in the catalogue; near names: clamp-a"):
        read(GOOD).part("clamp-aa")


def test_a_part_of_another_kind_is_refused() -> None:
    with pytest.raises(UsageError, match="part 'clamp-a' is a clamp; a connector is asked here"):
        read(GOOD).connector("clamp-a")


def test_of_kind_gives_stock_only_and_cables_gives_families_too() -> None:
    catalogue = standard()
    assert len(catalogue.cables("trunk")) > len(catalogue.of_kind("trunk")) > 0
    assert catalogue.of_kind("box") == tuple(part for part in catalogue if isinstance(part, Box))


def test_a_digest_changes_with_any_value_and_only_then() -> None:
    one, same, other = read(GOOD), read(GOOD.replace("mm: 6", "mm: 6.0")), read(GOOD.replace("a clamp", "the clamp"))
    digests = [part_digest(catalogue.part("clamp-a")) for catalogue in (one, same, other)]
    assert digests[0] == digests[1] != digests[2]


def test_a_digest_counts_a_later_field_only_where_it_is_set() -> None:
    """Else every line written before the field came would no longer find its parts."""
    catalogue = standard()
    for breaker in catalogue.of_kind("breaker"):
        plain = breaker.model_copy(update={name: type(breaker).model_fields[name].default for name in breaker.later})
        earlier = digest(plain.model_dump(mode="json", exclude=set(breaker.later)))[:16]
        assert part_digest(plain) == earlier
        assert part_digest(plain.model_copy(update={"derate_fraction_per_k": 0.007})) != earlier


@pytest.mark.parametrize(
    "kind", dict.fromkeys(one for one in KINDS.values() if issubclass(one, Part)), ids=lambda one: one.__name__
)
def test_a_kind_keeps_the_later_fields_of_what_it_is_made_from(kind: type[Part]) -> None:
    """Else a field that came to all cables would change the digests of those that forgot it."""
    for base in kind.__mro__:
        assert getattr(base, "later", frozenset()) <= kind.later, base.__name__
    assert kind.later <= set(kind.model_fields)


def test_a_connector_that_is_named_but_missing_is_told_for_parts_and_families() -> None:
    fanout = "  - {id: fan, kind: fanout, title: f, lead_time_d: 1, source: invented, array: no-such, duplex: clamp-a, duplex_count: 6}\n"
    family = """  - {id: fam, kind: cable-family, title: t, makes: trunk, pairs_count: [1], conductor_area_mm2: [4], strands_count: [0],
     base_cost: 1, base_cost_per_m: 1, sheath_mass_kg_per_m: 0.1, wall_mm: 2, lead_time_d: 4, source: invented,
     common: {dc_foot: gone, dc_head: gone}}
"""
    with pytest.raises(InputFaults) as caught:
        check_references(read(GOOD + fanout + family))
    assert [fault.place for fault in caught.value.faults] == [
        "fan.array",
        "fan.duplex",
        "fam.common.dc_foot",
        "fam.common.dc_head",
    ]


def test_source_of_a_single_value_carries_its_mark() -> None:
    part = Connector(
        kind="connector", id="x", title="x", lead_time_d=1, source="invented", family="rf", interface="4.3-10",
        sources={"torque_nm": "IEC 61169-54 [memory]", "maximum_hz": "IEC 61169-54", "pim_dbc": "sheet 7 [draft]"},
    )  # fmt: skip
    torque = part.source_of("torque_nm")
    assert (torque.document, torque.clause, torque.mark) == ("IEC 61169-54", "torque_nm", Mark.MEMORY)
    assert part.source_of("maximum_hz").mark is Mark.CONFIRMED
    assert part.source_of("pim_dbc").document == "sheet 7 [draft]"
    assert part.source_of("lead_time_d").mark is Mark.INVENTED
    # a value that the part does not give is a default of ours, not of its data sheet
    cost = part.source_of("cost")
    assert (cost.document, cost.clause, cost.mark) == ("not given by part x", "cost", Mark.PRACTICE)
