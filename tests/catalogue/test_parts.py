"""The parts that come along: enough of each kind, every joint mates, and no value against physics or a published number."""

from __future__ import annotations

import itertools
import math

import pytest

from upmast.catalogue.catalogue import Catalogue, check_references, standard
from upmast.catalogue.part import (
    AntennaPart,
    Bond,
    Box,
    Breaker,
    Cable,
    Clamp,
    Connector,
    ControlCable,
    Fanout,
    Grip,
    Optic,
    Part,
    RadioPart,
    RfCable,
    Seal,
)
from upmast.source import Mark
from upmast.weather.ingress import meets

COPPER_KG_PER_MM2_M = 8.96e-3  # density of copper 8.96 g/cm3 (CRC Handbook of Chemistry and Physics)
POLYMER_KG_PER_MM2_M = 1.5e-3  # plasticised PVC, the densest of the usual cable plastics, is about 1.4 g/cm3
DENSEST_PACKING = math.pi / math.sqrt(12)  # of equal circles in a plane (Thue)
CABLE_KINDS = ("trunk", "dc-cable", "fibre-cable", "dc-jumper", "fibre-jumper", "hybrid-jumper")


@pytest.fixture(scope="module")
def all_parts() -> Catalogue:
    return standard()


def mate(a: Connector, b: Connector) -> bool:
    """Two connectors that can be joined, as the trade would say it."""
    same = (a.family, a.interface, a.polish, a.positions_count) == (b.family, b.interface, b.polish, b.positions_count)
    genders = {a.gender, b.gender} == {"plug", "jack"} or a.gender == b.gender == "none"
    pins = a.positions_count <= 2 or a.pinned != b.pinned or a.interface.startswith("splice")
    return same and genders and pins


def of(catalogue: Catalogue, kind: type[Part]) -> list[Part]:
    return [part for part in catalogue if isinstance(part, kind)]


def every_cable(catalogue: Catalogue) -> tuple[Cable, ...]:
    return catalogue.cables(*CABLE_KINDS)


# ---- the whole


def test_every_connector_that_is_named_exists(all_parts: Catalogue) -> None:
    check_references(all_parts)


def test_every_part_says_that_it_is_invented_and_no_two_have_one_title(all_parts: Catalogue) -> None:
    assert {part.source for part in all_parts} == {"invented"}
    titles = [part.title for part in all_parts]
    assert len(set(titles)) == len(titles)


def test_single_sources_are_of_fields_that_exist_and_end_in_a_known_mark(all_parts: Catalogue) -> None:
    for part in (*all_parts, *every_cable(all_parts)):
        for field, text in part.sources.items():
            assert field in type(part).model_fields, (part.id, field)
            assert "memory" not in text or part.source_of(field).mark is Mark.MEMORY, (part.id, field)
            assert "[" not in part.source_of(field).document, (part.id, field)


def test_counts_that_were_asked(all_parts: Catalogue) -> None:
    trunks = [t for t in all_parts.of_kind("trunk") if isinstance(t, Cable)]
    assert len(trunks) >= 8
    assert {t.pairs_count for t in trunks} >= {1, 12}
    assert {t.conductor_area_mm2 for t in trunks} >= {4, 25}
    assert {t.strands_count for t in trunks} >= {2, 72}
    assert all(t.stock_lengths_m for t in trunks)
    made = {(c.pairs_count, c.conductor_area_mm2, c.strands_count) for c in all_parts.cables("trunk")}
    pairs, areas = (1, 2, 3, 4, 6, 8, 9, 10, 12), (4, 6, 10, 16, 25)
    assert made >= set(itertools.product(pairs, areas, (2, 4, 6, 8, 12, 16, 18, 24, 36, 48, 72)))
    boxes = {(b.topology, b.dc_out_count) for b in of(all_parts, Box) if isinstance(b, Box)}
    assert boxes == {("straight", n) for n in (2, 3, 4, 6, 9, 12)} | {("bussed", n) for n in (3, 6, 9, 12)}
    ratings = sorted(b.rated_a for b in of(all_parts, Breaker) if isinstance(b, Breaker))
    assert ratings == [6, 10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125]
    assert len(of(all_parts, RadioPart)) == 9
    assert sorted(len(a.ports) for a in of(all_parts, AntennaPart) if isinstance(a, AntennaPart))[::7] == [2, 12]
    assert {c.use for c in of(all_parts, ControlCable) if isinstance(c, ControlCable)} == {"tilt", "alarm", "timing"}


# ---- cables against physics


def test_cable_mass_lies_between_its_copper_and_a_solid_of_its_size(all_parts: Catalogue) -> None:
    for cable in every_cable(all_parts):
        copper_mm2 = 2 * cable.pairs_count * (cable.conductor_area_mm2 or 0)
        metal = COPPER_KG_PER_MM2_M * copper_mm2
        section_mm2 = math.pi / 4 * cable.diameter_mm**2
        solid = POLYMER_KG_PER_MM2_M * (section_mm2 - copper_mm2) + COPPER_KG_PER_MM2_M * (
            copper_mm2 + cable.shield_area_mm2
        )
        assert metal < cable.mass_kg_per_m < solid, cable.id


def test_cable_is_thicker_than_its_conductors_and_strands_can_be_packed(all_parts: Catalogue) -> None:
    for cable in every_cable(all_parts):
        conductor_mm2 = cable.conductor_area_mm2 or 0
        strands_mm2 = cable.strands_count * math.pi / 4 * 0.25**2  # coated strand 250 um (IEC 60793-2-50)
        least = math.sqrt(4 / math.pi * (2 * cable.pairs_count * conductor_mm2 + strands_mm2) / DENSEST_PACKING)
        assert cable.diameter_mm > least, cable.id
        if cable.pairs_count:
            core = math.sqrt(4 / math.pi * conductor_mm2) + 2 * 0.7  # wall 0.7 mm: IEC 60502-1 for XLPE to 16 mm2
            assert cable.diameter_mm > 2 * core, cable.id


def test_the_largest_trunk_is_heavy_but_fits_a_clamp(all_parts: Catalogue) -> None:
    for cable in (all_parts.get("trunk-12x25-72f", Cable), all_parts.get("hybrid-12x25-72f", Cable)):
        assert cable.mass_kg_per_m > 6.5
        assert cable.diameter_mm < 75


def test_more_copper_or_strands_never_make_a_trunk_lighter_thinner_or_cheaper(all_parts: Catalogue) -> None:
    for key in ("pairs_count", "conductor_area_mm2", "strands_count"):
        others = [k for k in ("pairs_count", "conductor_area_mm2", "strands_count") if k != key]
        groups: dict[tuple[object, ...], list[Cable]] = {}
        for cable in all_parts.cables("trunk"):
            if cable.longest_stock_of:
                groups.setdefault((cable.longest_stock_of, *(getattr(cable, k) for k in others)), []).append(cable)
        for group in groups.values():
            group.sort(key=lambda cable: getattr(cable, key))
            for smaller, larger in itertools.pairwise(group):
                assert smaller.mass_kg_per_m < larger.mass_kg_per_m
                assert smaller.diameter_mm <= larger.diameter_mm  # rounded to 0.1 mm
                assert smaller.cost_per_m < larger.cost_per_m


def test_a_stocked_trunk_is_quicker_and_not_dearer_than_one_made_to_length(all_parts: Catalogue) -> None:
    stocked, made = all_parts.get("trunk-9x10-24f", Cable), all_parts.get("hybrid-9x10-24f", Cable)
    assert (stocked.lead_time_d, made.lead_time_d) == (10, 42)
    assert 35 <= stocked.cost_per_m <= made.cost_per_m <= 45


def test_hoisting_pull_of_every_long_cable_is_known_and_carries_its_own_sixty_metres(all_parts: Catalogue) -> None:
    for cable in all_parts.cables("trunk", "dc-cable", "fibre-cable"):
        assert cable.maximum_pull_n is not None, cable.id
        assert cable.maximum_pull_n > 60 * cable.mass_kg_per_m * 9.81, cable.id


def test_attenuation_is_that_of_itu_t_g_657_category_a(all_parts: Catalogue) -> None:
    for cable in every_cable(all_parts):
        if cable.strands_count:
            assert (cable.attenuation_1310_db_per_km, cable.attenuation_1550_db_per_km) == (0.40, 0.30)
            assert cable.source_of("attenuation_1310_db_per_km").document.startswith("ITU-T G.657")


def test_ends_take_the_conductors_and_hold_whole_connectors(all_parts: Catalogue) -> None:
    for cable in every_cable(all_parts):
        if cable.pairs_count and cable.conductor_area_mm2:
            for name in (cable.dc_foot, cable.dc_head):
                end = all_parts.connector(name or "")
                assert end.family == "dc"
                assert (end.smallest_area_mm2 or 0) <= cable.conductor_area_mm2 <= (end.largest_area_mm2 or 0), cable.id
        if cable.strands_count:
            for name in (cable.fibre_foot, cable.fibre_head):
                end = all_parts.connector(name or "")
                assert end.family == "fibre"
                assert cable.strands_count % end.positions_count == 0, cable.id


# ---- joints


def test_a_connector_mates_with_its_counterpart_and_with_nothing_of_another_interface(all_parts: Catalogue) -> None:
    connectors = [c for c in of(all_parts, Connector) if isinstance(c, Connector)]
    for a in connectors:
        partners = [b for b in connectors if mate(a, b)]
        assert partners, a.id
        assert {b.interface for b in partners} == {a.interface}


def test_array_ends_need_exactly_one_set_of_pins(all_parts: Catalogue) -> None:
    plug, pinned = all_parts.connector("mpo-12-apc-plug"), all_parts.connector("mpo-12-apc-plug-pinned")
    jack, pinned_jack = all_parts.connector("mpo-12-apc-jack"), all_parts.connector("mpo-12-apc-jack-pinned")
    assert mate(plug, pinned_jack)
    assert mate(pinned, jack)
    assert not mate(plug, jack)
    assert not mate(pinned, pinned_jack)
    assert not mate(plug, all_parts.connector("mpo-12-upc-jack-pinned"))
    assert not mate(plug, all_parts.connector("mpo-24-apc-jack-pinned"))


def test_every_array_cable_fits_a_box_and_a_fanout(all_parts: Catalogue) -> None:
    for cable in all_parts.cables("trunk", "fibre-cable"):
        foot, head = all_parts.connector(cable.fibre_foot or "lc-duplex-plug"), cable.fibre_head
        if foot.positions_count > 2:
            assert any(mate(foot, all_parts.connector(f.array)) for f in of(all_parts, Fanout) if isinstance(f, Fanout))
            inlets = [b.fibre_in for b in of(all_parts, Box) if isinstance(b, Box) and b.fibre_in]
            assert any(mate(all_parts.connector(head or ""), all_parts.connector(inlet)) for inlet in inlets), cable.id
    for fanout in of(all_parts, Fanout):
        assert isinstance(fanout, Fanout)
        assert all_parts.connector(fanout.array).positions_count == 2 * fanout.duplex_count


def test_every_trunk_fits_the_breaker_and_some_box(all_parts: Catalogue) -> None:
    breaker = all_parts.connector("dc-breaker-terminal")
    for cable in all_parts.cables("trunk"):
        assert mate(all_parts.connector(cable.dc_foot or ""), breaker)
        boxes = [b for b in of(all_parts, Box) if isinstance(b, Box)]
        fitting = [
            b
            for b in boxes
            if mate(all_parts.connector(cable.dc_head or ""), all_parts.connector(b.dc_in))
            and mate(all_parts.connector(cable.fibre_head or ""), all_parts.connector(b.fibre_in or ""))
        ]
        assert fitting, cable.id


def test_every_box_takes_some_stocked_trunk(all_parts: Catalogue) -> None:
    trunks = [t for t in all_parts.of_kind("trunk") if isinstance(t, Cable)]
    for box in of(all_parts, Box):
        assert isinstance(box, Box)
        power, light = all_parts.connector(box.dc_in), all_parts.connector(box.fibre_in or "")
        assert any(
            mate(all_parts.connector(t.dc_head or ""), power) and mate(all_parts.connector(t.fibre_head or ""), light)
            for t in trunks
        ), box.id


def test_every_box_output_and_radio_is_joined_by_some_jumper(all_parts: Catalogue) -> None:
    dc = [c for c in all_parts.cables("dc-jumper") if c.stock_lengths_m]
    fibre = [c for c in all_parts.cables("fibre-jumper") if c.stock_lengths_m]
    hybrid = [c for c in all_parts.cables("hybrid-jumper") if c.stock_lengths_m]
    for box, radio in itertools.product(of(all_parts, Box), of(all_parts, RadioPart)):
        assert isinstance(box, Box)
        assert isinstance(radio, RadioPart)

        def by_dc(cable: Cable, box: Box = box, radio: RadioPart = radio) -> bool:
            foot, head = all_parts.connector(cable.dc_foot or ""), all_parts.connector(cable.dc_head or "")
            return mate(foot, all_parts.connector(box.dc_out)) and mate(head, all_parts.connector(radio.dc_connector))

        def by_fibre(cable: Cable, box: Box = box, radio: RadioPart = radio) -> bool:
            foot, head = all_parts.connector(cable.fibre_foot or ""), all_parts.connector(cable.fibre_head or "")
            outlet = all_parts.connector(box.fibre_out or "")
            return mate(foot, outlet) and mate(head, all_parts.connector(radio.fibre_connector))

        assert any(by_dc(c) for c in dc)
        assert any(by_fibre(c) for c in fibre)
        assert any(by_dc(c) and by_fibre(c) for c in hybrid)


def test_a_link_can_cross_an_odd_number_of_times(all_parts: Catalogue) -> None:
    """What is sent must arrive at the receiver: one crossing, or three, between two duplex optics (TIA-568.3)."""

    def duplex(*kinds: str) -> list[Cable]:
        cables = [c for c in all_parts.cables(*kinds) if c.strands_count]
        return [c for c in cables if all_parts.connector(c.fibre_head or "").positions_count == 2]

    jumpers = [c for c in duplex("fibre-jumper", "hybrid-jumper") if not all_parts.connector(c.fibre_foot or "").indoor]
    patches = [c for c in duplex("fibre-jumper") if all_parts.connector(c.fibre_foot or "").indoor]
    assert {c.strands_count for c in jumpers} >= {2, 4}
    for long in duplex("trunk", "fibre-cable"):
        if all_parts.connector(long.fibre_head or "").indoor:  # ends in a box: a jumper follows
            assert long.duplex_kind == "A-A", long.id
        else:  # ends in a radio
            assert long.duplex_kind == "A-B", long.id
    assert all(c.duplex_kind == "A-B" for c in jumpers if c.id != "fibre-jumper-2f-a-a")
    assert {c.duplex_kind for c in patches} == {"A-A", "A-B"}  # a fan-out is followed by a patch lead of either kind


def test_every_radio_can_be_fed_straight_from_the_cabinet(all_parts: Catalogue) -> None:
    breaker, optic = all_parts.connector("dc-breaker-terminal"), all_parts.connector("lc-duplex-jack")
    for radio in of(all_parts, RadioPart):
        assert isinstance(radio, RadioPart)
        power, light = all_parts.connector(radio.dc_connector), all_parts.connector(radio.fibre_connector)
        assert any(
            mate(all_parts.connector(c.dc_foot or ""), breaker) and mate(all_parts.connector(c.dc_head or ""), power)
            for c in all_parts.cables("dc-cable")
        )
        heads = [
            all_parts.connector(c.fibre_head or "")
            for c in all_parts.cables("fibre-cable")
            if mate(all_parts.connector(c.fibre_foot or ""), optic)
        ]
        assert any(mate(head, light) and not head.indoor for head in heads)


def test_every_antenna_port_is_joined_to_every_radio_by_some_rf_jumper(all_parts: Catalogue) -> None:
    jumpers = [j for j in all_parts.of_kind("rf-jumper") if isinstance(j, RfCable)]
    for radio, antenna in itertools.product(of(all_parts, RadioPart), of(all_parts, AntennaPart)):
        assert isinstance(radio, RadioPart)
        assert isinstance(antenna, AntennaPart)
        assert any(
            mate(all_parts.connector(j.foot), all_parts.connector(radio.rf_connector))
            and mate(all_parts.connector(j.head), all_parts.connector(antenna.rf_connector))
            for j in jumpers
        ), (radio.id, antenna.id)


def test_every_feeder_end_takes_a_jumper(all_parts: Catalogue) -> None:
    jumpers = [j for j in all_parts.of_kind("rf-jumper") if isinstance(j, RfCable)]
    for feeder in all_parts.of_kind("feeder"):
        assert isinstance(feeder, RfCable)
        assert any(mate(all_parts.connector(j.head), all_parts.connector(feeder.foot)) for j in jumpers)
        assert any(mate(all_parts.connector(j.foot), all_parts.connector(feeder.head)) for j in jumpers)


def test_tilt_chain_goes_from_radio_to_antenna(all_parts: Catalogue) -> None:
    cable = all_parts.get("tilt-cable", ControlCable)
    for part in all_parts:
        if isinstance(part, RadioPart) and part.control_connector:
            assert mate(all_parts.connector(part.control_connector), all_parts.connector(cable.foot))
        if isinstance(part, AntennaPart) and part.control_connector:
            assert mate(all_parts.connector(cable.head), all_parts.connector(part.control_connector))


def test_outdoor_joints_are_sealed_when_mated(all_parts: Catalogue) -> None:
    for cable in all_parts.cables("dc-jumper", "hybrid-jumper", "fibre-jumper"):
        if cable.id.startswith("fibre-patch-"):
            continue  # stays in the cabinet
        for name in (cable.dc_foot, cable.dc_head, cable.fibre_foot, cable.fibre_head):
            if name is not None:
                end = all_parts.connector(name)
                assert not end.indoor, (cable.id, name)
                assert meets(end.ip_mated, "IP65"), (cable.id, name)  # jets of water: IP68 alone would not do


# ---- boxes, breakers, radios


def test_box_ratings_hold_together(all_parts: Catalogue) -> None:
    radios = [r for r in of(all_parts, RadioPart) if isinstance(r, RadioPart)]
    worst_a = max(radio.maximum_w / radio.minimum_v for radio in radios)
    for box in of(all_parts, Box):
        assert isinstance(box, Box)
        inlet, outlet = all_parts.connector(box.dc_in), all_parts.connector(box.dc_out)
        assert box.output_rated_a <= (outlet.rated_a or 0)
        assert worst_a <= box.output_rated_a
        assert box.output_rated_a <= box.total_rated_a <= box.dc_out_count * box.output_rated_a
        assert box.total_rated_a <= box.dc_in_count * (inlet.rated_a or 0)
        assert box.total_rated_a * 40.5 >= box.dc_out_count * 1100  # radios of 1.1 kW at the lowest service voltage
        if box.topology == "straight":
            assert box.dc_in_count == box.dc_out_count
        assert box.path_resistance_ohm * box.output_rated_a**2 < 5  # watts of heat in one path


def test_box_has_as_many_strands_in_as_out_and_no_spare_array(all_parts: Catalogue) -> None:
    for box in of(all_parts, Box):
        assert isinstance(box, Box)
        positions = all_parts.connector(box.fibre_in or "").positions_count
        out = box.fibre_out_count * all_parts.connector(box.fibre_out or "").positions_count
        assert positions * (box.fibre_in_count - 1) < out <= positions * box.fibre_in_count, box.id
        assert box.dc_out_count <= box.fibre_out_count <= 4 * box.dc_out_count


def test_breaker_heat_stays_below_the_pole_loss_of_iec_60898_1(all_parts: Catalogue) -> None:
    # IEC 60898-1, highest power loss per pole, from memory: In up to (A) -> W
    table = ((10, 3.0), (16, 3.5), (25, 4.5), (32, 6.0), (40, 7.5), (50, 9.0), (63, 13.0), (100, 15.0), (125, 20.0))
    breakers = sorted((b for b in of(all_parts, Breaker) if isinstance(b, Breaker)), key=lambda b: b.rated_a)
    for breaker in breakers:
        highest = next(watts for rated, watts in table if breaker.rated_a <= rated)
        assert breaker.resistance_ohm is not None
        assert 0 < breaker.resistance_ohm * breaker.rated_a**2 < highest
        assert breaker.rated_v > 60  # abnormal service voltage of ETSI EN 300 132-2
    assert [b.cost for b in breakers] == sorted(b.cost for b in breakers)


def test_radio_voltages_lie_about_the_service_range_of_en_300_132_2(all_parts: Catalogue) -> None:
    for radio in of(all_parts, RadioPart):
        assert isinstance(radio, RadioPart)
        assert 300 <= radio.maximum_w <= 1300
        assert radio.minimum_v <= 40.5
        assert radio.maximum_v == 57.0
        assert 36 <= radio.cut_out_v <= 38
        assert 42 <= radio.restart_v <= 44


# ---- RF


def test_rf_cable_loses_more_than_an_ideal_coax_of_its_outside_size(all_parts: Catalogue) -> None:
    # textbook coax of smooth copper: alpha = R'/(2 Z0), R' = Rs/(2 pi) (1/a + 1/b), Z0 = 60 v ln(b/a)
    f, mu, resistivity = 1e9, 4e-7 * math.pi, 17.241e-9  # IEC 60028 copper
    surface = math.sqrt(math.pi * f * mu * resistivity)
    for cable in (*all_parts.of_kind("rf-jumper"), *all_parts.of_kind("feeder")):
        assert isinstance(cable, RfCable)
        outer = cable.diameter_mm / 2000
        inner = outer / math.exp(cable.impedance_ohm / (60 * cable.velocity_fraction))
        ideal = 8.686 * surface / (2 * math.pi) * (1 / inner + 1 / outer) / (2 * cable.impedance_ohm)
        assert ideal < cable.a_db_per_m < 2 * ideal, cable.id
        assert cable.b_db_per_m < 0.1 * cable.a_db_per_m
        assert cable.maximum_hz <= min(all_parts.connector(end).maximum_hz or 0 for end in (cable.foot, cable.head))


def test_rf_frequency_limits_are_those_of_iec_61169(all_parts: Catalogue) -> None:
    for id, highest_hz in (("7-16-plug", 7.5e9), ("4.3-10-jack", 6e9), ("n-plug", 11e9)):
        connector = all_parts.connector(id)
        assert connector.maximum_hz == highest_hz
        assert connector.source_of("maximum_hz").mark is Mark.CONFIRMED
        assert connector.source_of("torque_nm").mark is Mark.MEMORY


def test_every_radio_with_rf_ports_has_an_antenna_with_ports_for_its_bands(all_parts: Catalogue) -> None:
    edges_mhz = {  # 3GPP TS 36.101 table 5.5-1 and TS 38.104 table 5.2-1
        "B1": (1920, 2170), "B3": (1710, 1880), "B7": (2500, 2690), "B8": (880, 960), "B20": (791, 862),
        "B28": (703, 803), "n78": (3300, 3800),
    }  # fmt: skip
    antennas = [a for a in of(all_parts, AntennaPart) if isinstance(a, AntennaPart)]
    for radio in of(all_parts, RadioPart):
        assert isinstance(radio, RadioPart)
        low = min(edges_mhz[band][0] for band in radio.bands) * 1e6
        high = max(edges_mhz[band][1] for band in radio.bands) * 1e6
        enough = [
            a for a in antennas if sum(p.low_hz <= low and high <= p.high_hz for p in a.ports) >= radio.rf_ports_count
        ]
        assert enough, radio.id


# ---- optics


def test_optic_powers_of_ieee_802_3(all_parts: Catalogue) -> None:
    optic = all_parts.get("optic-10g-lr", Optic)  # 10GBASE-LR: -8.2 / +0.5 sent, -14.4 / +0.5 received
    assert (optic.tx_minimum_dbm, optic.tx_maximum_dbm) == (-8.2, 0.5)
    assert (optic.rx_minimum_dbm, optic.rx_maximum_dbm) == (-14.4, 0.5)
    assert optic.source_of("rx_minimum_dbm").mark is Mark.CONFIRMED
    assert optic.channel_loss_db == pytest.approx(-8.2 + 14.4)  # what its own confirmed powers leave


def test_the_weakest_optic_is_still_heard_over_the_channel_of_its_class(all_parts: Catalogue) -> None:
    for optic in of(all_parts, Optic):
        assert isinstance(optic, Optic)
        assert optic.channel_loss_db is not None
        assert optic.tx_minimum_dbm - optic.channel_loss_db >= optic.rx_minimum_dbm - 1e-9, optic.id
        assert optic.tx_minimum_dbm < optic.tx_maximum_dbm
        assert optic.rx_minimum_dbm < optic.rx_maximum_dbm
        connector = all_parts.connector(optic.connector)
        assert connector.positions_count == optic.strands_count
        assert (optic.mark == "confirmed") == all(
            optic.source_of(f).mark is Mark.CONFIRMED
            for f in ("tx_minimum_dbm", "tx_maximum_dbm", "rx_minimum_dbm", "rx_maximum_dbm")
        )


def test_single_strand_optics_come_in_pairs(all_parts: Catalogue) -> None:
    singles = [o for o in of(all_parts, Optic) if isinstance(o, Optic) and o.strands_count == 1]
    assert len(singles) == 2
    a, b = singles
    assert a.tx_wavelength_nm_wave == b.rx_wavelength_nm_wave != a.rx_wavelength_nm_wave == b.tx_wavelength_nm_wave


# ---- hardware


def covers(ranges: list[tuple[float, float]], low: float, high: float) -> bool:
    """Whether ranges leave no gap between two diameters."""
    at = low
    for smallest, largest in sorted(ranges):
        if smallest > at:
            return False
        at = max(at, largest)
    return at >= high


@pytest.mark.parametrize("metal", [True, False])
def test_single_clamps_leave_no_gap_from_6_to_80_mm(all_parts: Catalogue, metal: bool) -> None:
    clamps = [c for c in of(all_parts, Clamp) if isinstance(c, Clamp)]
    assert covers([(c.smallest_mm, c.largest_mm) for c in clamps if c.runs_count == 1 and c.metal is metal], 6, 80)
    assert {c.runs_count for c in clamps if c.metal is metal} == {1, 2, 3, 6}


def test_every_cable_of_the_mast_has_a_clamp_and_every_trunk_a_grip_and_an_earth_kit(all_parts: Catalogue) -> None:
    clamps = [c for c in of(all_parts, Clamp) if isinstance(c, Clamp) and c.runs_count == 1]
    grips = [g for g in of(all_parts, Grip) if isinstance(g, Grip)]
    bonds = [b for b in of(all_parts, Bond) if isinstance(b, Bond) and b.use == "shield"]
    rf = [c for c in of(all_parts, RfCable) if isinstance(c, RfCable)]
    outdoor = [c for c in every_cable(all_parts) if not c.id.startswith("fibre-patch-")]  # stays in the cabinet
    for diameter in (*(c.diameter_mm for c in outdoor), *(c.diameter_mm for c in rf)):
        assert any(c.smallest_mm <= diameter <= c.largest_mm for c in clamps), diameter
    for cable in all_parts.cables("trunk", "dc-cable", "fibre-cable"):
        weight_n = 60 * cable.mass_kg_per_m * 9.81
        held = [g for g in grips if g.smallest_mm <= cable.diameter_mm <= g.largest_mm]
        assert any(g.rated_n > 1.3 * weight_n for g in held), cable.id
        if cable.shield_area_mm2:
            assert any(b.smallest_mm <= cable.diameter_mm <= b.largest_mm for b in bonds), cable.id


def test_every_port_that_may_stay_open_outdoors_has_a_cap(all_parts: Catalogue) -> None:
    caps = {s.interface for s in of(all_parts, Seal) if isinstance(s, Seal) and s.kind == "cap"}
    ports: set[str] = set()
    for part in all_parts:
        if isinstance(part, Box):
            ports |= {part.dc_out, part.fibre_out or part.dc_out}
        elif isinstance(part, RadioPart):
            ports |= {part.dc_connector, part.fibre_connector, part.rf_connector}
            ports |= {part.control_connector} if part.control_connector else set()
        elif isinstance(part, AntennaPart):
            ports |= {part.rf_connector}
    assert {all_parts.connector(port).interface for port in ports} <= caps


def test_every_rf_joint_outdoors_has_a_seal(all_parts: Catalogue) -> None:
    seals = {s.interface for s in of(all_parts, Seal) if isinstance(s, Seal) and s.kind == "seal"}
    outdoors = {
        c.interface for c in of(all_parts, Connector) if isinstance(c, Connector) and c.family == "rf" and not c.indoor
    }
    assert outdoors <= seals
    assert "any" in seals
