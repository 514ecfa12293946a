"""Made-to-order cables: what a family offers, what it refuses, and that an id leads back to its part."""

from __future__ import annotations

import math

import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue, from_text, part_digest, standard
from upmast.catalogue.family import made, options
from upmast.catalogue.part import CableFamily
from upmast.errors import InputFaults, UsageError


@pytest.fixture(scope="module")
def all_parts() -> Catalogue:
    return standard()


def small(**changes: object) -> CableFamily:
    """A family of one pair or three, with round figures."""
    fields: dict[str, object] = {
        "kind": "cable-family", "id": "round", "title": "round cable", "makes": "dc-cable", "pairs_count": (1, 3),
        "conductor_area_mm2": (10, 16), "strands_count": (0,), "base_cost": 20, "pair_cost": 5, "base_cost_per_m": 2,
        "mm2_cost_per_m": 0.1, "sheath_mass_kg_per_m": 0.0, "wall_mm": 2.0, "core_fill_fraction": 0.5, "lead_time_d": 7,
        "source": "invented", "common": {"dc_foot": "dc-bare", "dc_head": "dc-bare"}, **changes,
    }  # fmt: skip
    return CableFamily.model_validate(fields)


def test_every_option_of_every_family_is_found_again_by_its_id(all_parts: Catalogue) -> None:
    asked = 0
    for family in all_parts.families:
        for pairs, area, strands in options(family):
            part = made(family, pairs, area, strands)
            found = all_parts.part(part.id)
            assert part.id in all_parts
            assert found == part
            assert part_digest(all_parts.part(part.id)) == part_digest(part)
            assert (part.pairs_count, part.conductor_area_mm2, part.strands_count) == (pairs, area, strands)
            assert part.longest_stock_of == family.id
            asked += 1
    assert asked > 800


def test_ids_of_all_options_differ(all_parts: Catalogue) -> None:
    ids = [made(family, *option).id for family in all_parts.families for option in options(family)]
    assert len(set(ids)) == len(ids)
    assert not set(ids) & {part.id for part in all_parts}


@pytest.mark.parametrize(
    "id",
    [
        "hybrid-9x10.0-24f", "hybrid-09x10-24f", "hybrid-9x10-24", "hybrid-9x10-24ff", "hybrid-+9x10-24f", "hybrid-9x10-٢٤f",
        "hybrid-5x10-24f", "hybrid-9x10-25f", "hybrid-9x11-24f", "hybrid-0x0-24f", "hybrid-9xnan-24f", "hybrid-", "hybrid",
        "hybrid-mpo12-9x10-18f", "fibre-feed-0x10-24f",
    ],
)  # fmt: skip
def test_only_one_spelling_of_an_offered_option_is_a_part(all_parts: Catalogue, id: str) -> None:
    assert id not in all_parts
    with pytest.raises(UsageError, match="no part"):
        all_parts.part(id)


def test_copper_mass_cost_and_pull_of_a_round_case() -> None:
    part = made(small(base_pull_n=300, mm2_pull_n=20), 3, 10.0, 0)
    assert part.id == "round-3x10-0f"
    assert part.title == "round cable, 3 pairs of 10 mm²"
    assert part.cost == 20 + 3 * 5
    assert part.cost_per_m == 2 + 60 * 0.1
    assert part.maximum_pull_n == 300 + 20 * 60
    # with a massless sheath only copper is left: 60 mm2 of 8.96 g/cm3, 2 % longer for the lay
    assert part.mass_kg_per_m == pytest.approx(60e-6 * 8960 * 1.02, abs=1e-4)


def test_diameter_of_one_pair_is_two_cores_side_by_side_and_two_walls() -> None:
    # two equal circles fill exactly half of the circle about them
    part = made(small(), 1, 16.0, 0)
    core = 1.15 * math.sqrt(4 / math.pi * 16) + 2 * 0.9
    assert part.diameter_mm == pytest.approx(2 * core + 2 * 2.0, abs=0.06)


def test_pull_is_unknown_if_the_family_says_nothing() -> None:
    assert made(small(), 1, 10.0, 0).maximum_pull_n is None


def test_ends_that_a_part_does_not_have_are_left_out() -> None:
    common = {
        "dc_foot": "dc-bare",
        "dc_head": "dc-bare",
        "fibre_foot": "lc-duplex-plug",
        "fibre_head": "lc-duplex-plug",
    }
    family = small(pairs_count=(0, 1), strands_count=(0, 2), strand_mass_kg_per_m=0.002, common=common)
    made_ = [made(family, *option) for option in options(family)]
    for part in made_:
        assert (part.dc_foot is None) == (part.pairs_count == 0)
        assert (part.fibre_head is None) == (part.strands_count == 0)
    assert {(p.pairs_count, p.strands_count) for p in made_} == {(0, 2), (1, 0), (1, 2)}


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ((2, 10.0, 0), "family round has no pairs 2: it offers 1, 3"),
        ((1, 10.0, 4), "family round has no strands 4: it offers 0"),
        ((1, 25.0, 0), "family round has no mm2 25: it offers 10, 16"),
        ((1, None, 0), "family round with pairs needs mm2: it offers 10, 16"),
    ],
)
def test_what_a_family_does_not_offer_is_refused_in_words(option: tuple[int, float | None, int], text: str) -> None:
    with pytest.raises(UsageError) as caught:
        made(small(), *option)
    assert str(caught.value) == text


FAMILY = """\
parts:
  - {id: f, kind: cable-family, title: t, makes: trunk, pairs_count: [%s], conductor_area_mm2: [%s], strands_count: [0],
     base_cost: 1, base_cost_per_m: 1, sheath_mass_kg_per_m: 0.1, wall_mm: 2, lead_time_d: 4, source: invented,
     common: %s}
"""


@pytest.mark.parametrize(
    ("pairs", "area", "common", "text"),
    [
        ("1", "4", "{}",
         "c.yaml:4:6  parts[1].common\n    got:      a mapping\n    expected: dc_foot and dc_head for a cable with DC pairs\n"
         "    do:       mend the family or its common fields"),
        ("1", "4", "{dc_foot: a, dc_head: b, sheath: gold}",
         "c.yaml:4:39  parts[1].common.sheath\n    got:      gold\n    expected: Input should be 'hdpe', 'pvc' or 'lszh'\n"
         "    do:       mend the family or its common fields"),
        ("1", "", "{dc_foot: a, dc_head: b}",
         "c.yaml:2:5  parts[1]\n    got:      f\n    expected: family f with pairs needs mm2: it offers none\n"
         "    do:       mend the options"),
        ("0", "4", "{}",
         "c.yaml:2:5  parts[1]\n    got:      f\n    expected: at least one option with pairs or strands\n"
         "    do:       give pairs_count and strands_count"),
    ],
)  # fmt: skip
def test_a_family_that_can_make_nothing_is_a_fault_of_its_file(pairs: str, area: str, common: str, text: str) -> None:
    with pytest.raises(InputFaults) as caught:
        from_text(yamlfile.parse(FAMILY % (pairs, area, common), "c.yaml"))
    assert str(caught.value) == text


def test_the_largest_option_of_a_family_is_tried_too() -> None:
    with pytest.raises(InputFaults) as caught:
        from_text(yamlfile.parse(FAMILY % ("1, 288", "4, 120", "{dc_foot: a, dc_head: b}"), "c.yaml"))
    (fault,) = caught.value.faults
    assert fault.place == "parts[1].common.diameter_mm"
    assert fault.expected == "Input should be less than or equal to 150"
