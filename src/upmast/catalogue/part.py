"""
The kinds of part that an antenna line is made of.

Each class is the one declaration of its kind: the loader, the error texts, the schema for editors and the list of fields in
the docs are made from it. Every part carries cost, mass, lead time and the source of its values; where a value is made up,
the source is the word `invented`.
"""

from __future__ import annotations

import itertools
from typing import Annotated, Literal

from pydantic import Field, model_validator

from upmast.catalogue.base import WITHSTANDS
from upmast.catalogue.base import Count as Count
from upmast.catalogue.base import Part as Part
from upmast.catalogue.base import PartId as PartId
from upmast.catalogue.held_cable import HELD_LATER
from upmast.catalogue.held_cable import CableElement as CableElement
from upmast.catalogue.held_cable import HeldCable as HeldCable
from upmast.catalogue.rf_part import AntennaPart as AntennaPart
from upmast.catalogue.rf_part import AntennaPort as AntennaPort
from upmast.catalogue.rf_part import RfCable as RfCable
from upmast.catalogue.rf_part import RfInline as RfInline
from upmast.declare import Declared


class Connector(Part):
    """A connector, named by its standard interface. Two of one interface mate if their genders fit."""

    later = frozenset(
        {
            "nut_mm",
            "nut_length_mm",
            "reflects_as",
            "rated_w",
            "rated_hz",
            "rated_ambient_c",
            "hottest_c",
            "rated_peak_w",
        }
    )
    kind: Literal["connector"] = Field(description="kind of part")
    family: Literal["dc", "fibre", "rf", "control", "earth"] = Field(description="what passes through it")
    interface: str = Field(description="standard interface, e.g. 4.3-10, lc-duplex, mpo-12, lug-m8, terminal-25")
    gender: Literal["plug", "jack", "none"] = Field("none", description="plug mates with jack; none mates with none")
    polish: Literal["upc", "apc", "none"] = Field("none", description="end face of a fibre connector")
    positions_count: int = Field(1, ge=1, le=24, description="strands in one fibre connector")
    pinned: bool = Field(
        False, description="array connectors: has guide pins (IEC 61754-7); one of a mated pair has them"
    )
    loss_db: float = Field(0.0, ge=0, le=3, description="highest insertion loss of one mated pair")
    typical_loss_db: float = Field(0.0, ge=0, le=3, description="mean insertion loss of one mated pair")
    return_loss_db: float | None = Field(None, gt=0, le=90, description="lowest return loss of one mated pair")
    return_loss_at_hz: float = Field(
        2.0e9, gt=0, description="frequency for which the return loss of an RF joint is given"
    )
    reflects_as: Literal["unknown", "shunt C", "series L"] = Field(
        "unknown",
        description="what the mated RF joint reflects as, where it was measured: a data sheet bounds the size only",
    )
    resistance_ohm: float = Field(0.0, ge=0, le=0.1, description="contact resistance of one mated DC pole")
    rated_a: float | None = Field(None, gt=0, description="highest continuous current of one DC contact")
    rated_v: float | None = Field(None, gt=0, description="highest working voltage")
    smallest_area_mm2: float | None = Field(
        None, gt=0, le=120, description="smallest conductor that a DC contact takes"
    )
    largest_area_mm2: float | None = Field(None, gt=0, le=120, description="largest conductor that a DC contact takes")
    maximum_hz: float | None = Field(None, gt=0, description="highest frequency")
    pim_dbc: float | None = Field(
        None, lt=0, description="passive intermodulation, two carriers of 43 dBm, third order"
    )
    rated_w: float | None = Field(
        None, gt=0, description="average RF power that the mated joint bears at `rated_hz`, matched, at sea level"
    )
    rated_hz: float = Field(2.0e9, gt=0, description="frequency of the average rating; above it goes with 1 / sqrt(f)")
    rated_ambient_c: float = Field(40.0, ge=-50, le=100, description="air temperature of the average rating")
    hottest_c: float = Field(85.0, ge=0, le=300, description="hottest temperature of its inner conductor")
    rated_peak_w: float | None = Field(
        None, gt=0, description="peak RF power that the mated joint bears, matched, at sea level"
    )
    torque_nm: float | None = Field(None, gt=0, le=200, description="coupling torque")
    nut_mm: float | None = Field(None, gt=0, le=100, description="largest diameter of the mated joint")
    nut_length_mm: float | None = Field(None, gt=0, le=300, description="length of the mated joint, nut and body")
    ip_mated: str = Field("IPXX", description="ingress code when mated and torqued (IEC 60529)")
    ip_open: str = Field("IPXX", description="ingress code when open and uncapped")
    indoor: bool = Field(
        False, description="only for use inside the cabinet or a box, which then keeps the weather out"
    )

    @model_validator(mode="after")
    def _rating(self) -> Connector:
        if self.hottest_c <= self.rated_ambient_c:
            raise ValueError("expected hottest_c above rated_ambient_c | correct one of them")
        return self


class Cable(HeldCable):
    """
    A cable with DC pairs, fibre strands or both: trunk, separate cable or jumper.

    The foot is the end nearer to the cabinet. Strands are grouped in fibre connectors of equal size, in order.
    """

    later = WITHSTANDS | HELD_LATER | frozenset(
        {
            "conductor_ohm_per_km", "total_rated_a", "filler_k_m_per_w", "array_positions",
            "attenuation_1310_least_db_per_km", "attenuation_1550_least_db_per_km", "group_index_1310", "group_index_1550",
        }
    )  # fmt: skip
    kind: Literal["trunk", "dc-cable", "fibre-cable", "hybrid-jumper", "dc-jumper", "fibre-jumper"] = Field(
        description="kind of part"
    )
    cost_per_m: float = Field(ge=0, description="price of one metre")
    mass_kg_per_m: float = Field(gt=0, description="mass of one metre")
    pairs_count: Count = Field(0, description="DC pairs (supply and return)")
    conductor_area_mm2: float | None = Field(
        None, gt=0, le=120, description="cross-section of each conductor (IEC 60228 size)"
    )
    conductor_class: Literal[2, 5] = Field(5, description="IEC 60228 class: 2 stranded, 5 flexible")
    tinned: bool = Field(False, description="tinned copper")
    insulation: Literal["pvc", "xlpe"] = Field("xlpe", description="core insulation: sets the limiting temperature")
    strands_count: Count = Field(0, description="fibre strands")
    fibre_class: Literal["G.652.D", "G.657.A1", "G.657.A2", "G.657.B3"] = Field(
        "G.657.A2", description="ITU-T fibre class"
    )
    attenuation_1310_db_per_km: float = Field(0.40, ge=0, le=2, description="highest attenuation at 1310 nm")
    attenuation_1550_db_per_km: float = Field(0.30, ge=0, le=2, description="highest attenuation at 1550 nm")
    array_kind: Literal["A", "B", "C"] = Field(
        "A", description="array cable: how positions are led across (TIA-568.3 type)"
    )
    array_positions: tuple[Annotated[int, Field(ge=1, le=24)], ...] = Field(
        (),
        max_length=24,
        description="array cable led across otherwise: position at the head of each position at the foot",
    )
    attenuation_1310_least_db_per_km: float = Field(
        0.0, ge=0, le=2, description="lowest attenuation at 1310 nm, for the strongest light; 0 counts on none"
    )
    attenuation_1550_least_db_per_km: float = Field(
        0.0, ge=0, le=2, description="lowest attenuation at 1550 nm, for the strongest light; 0 counts on none"
    )
    group_index_1310: float = Field(
        1.4677, ge=1.3, le=1.6, description="group index at 1310 nm; from memory if not given"
    )
    group_index_1550: float = Field(
        1.4682, ge=1.3, le=1.6, description="group index at 1550 nm; from memory if not given"
    )
    duplex_kind: Literal["A-B", "A-A"] = Field("A-B", description="duplex cable: A-B crosses, A-A goes straight")
    dc_foot: PartId | None = Field(None, description="connector of each DC pair at the foot")
    dc_head: PartId | None = Field(None, description="connector of each DC pair at the head")
    fibre_foot: PartId | None = Field(None, description="fibre connector at the foot")
    fibre_head: PartId | None = Field(None, description="fibre connector at the head")
    diameter_mm: float = Field(gt=0, le=150, description="outside diameter")
    bend_static_mm: float | None = Field(
        None, gt=0, description="smallest bend radius at rest; 10 diameters if not given"
    )
    bend_pulling_mm: float | None = Field(
        None, gt=0, description="smallest bend radius under pull; 20 diameters if not given"
    )
    maximum_pull_n: float | None = Field(None, gt=0, description="highest pulling force")
    conductor_ohm_per_km: float | None = Field(
        None,
        gt=0,
        description="highest resistance of one conductor at 20 °C by its data sheet; that of the size if not given",
    )
    total_rated_a: float | None = Field(
        None, gt=0, description="highest current of all pairs together, where the data sheet gives one"
    )
    filler_k_m_per_w: float = Field(
        11.0,
        ge=2,
        le=20,
        description="thermal resistivity between the cores: 5 to 6 filled, 10 to 12 loosely filled with fibre tubes",
    )
    shield_area_mm2: float = Field(0.0, ge=0, description="copper-equivalent section of the shield; 0 if there is none")
    sheath: Literal["hdpe", "pvc", "lszh"] = Field("hdpe", description="outer sheath")
    stock_lengths_m: tuple[float, ...] = Field((), description="lengths that are kept; empty if made to length")
    shortest_m: float = Field(0.3, ge=0, description="shortest made length")
    longest_m: float = Field(500.0, gt=0, description="longest made length")
    longest_stock_of: PartId | None = Field(None, description="family that this was made from")

    @model_validator(mode="after")
    def _whole(self) -> Cable:
        if self.pairs_count and self.conductor_area_mm2 is None:
            raise ValueError("expected conductor_area_mm2 for a cable with DC pairs")
        if self.pairs_count and (self.dc_foot is None or self.dc_head is None):
            raise ValueError("expected dc_foot and dc_head for a cable with DC pairs")
        if self.strands_count and (self.fibre_foot is None or self.fibre_head is None):
            raise ValueError("expected fibre_foot and fibre_head for a cable with strands")
        if not self.pairs_count and not self.strands_count:
            raise ValueError("expected pairs_count or strands_count above 0")
        if len(set(self.array_positions)) != len(self.array_positions):
            raise ValueError("expected each position once in array_positions | measure which strand comes out where")
        return self


class TripPoint(Declared):
    """One point of a trip curve: at this multiple of the rating it opens within this band of times."""

    multiple: float = Field(gt=1, le=1000, description="current over the rated current")
    shortest_s: float = Field(gt=0, le=100_000, description="never sooner")
    longest_s: float = Field(gt=0, le=100_000, description="always by then")


def _falling(points: tuple[TripPoint, ...], name: str) -> None:
    """A trip curve in order: two points or more, rising multiples, times that fall."""
    if len(points) == 1:
        raise ValueError(f"expected two points or more in {name}, or none | read another point off the curve")
    for before, after in itertools.pairwise(points):
        if not before.multiple < after.multiple:
            raise ValueError(f"expected {name} in rising multiples | put them in order")
        if after.shortest_s > before.shortest_s or after.longest_s > before.longest_s:
            raise ValueError(f"expected times of {name} that fall with the current | check them against the data sheet")
    if any(point.shortest_s > point.longest_s for point in points):
        raise ValueError(f"expected shortest_s at most longest_s in each of {name} | check the two times")


class Box(Part):
    """A breakout box on the mast: where the trunk ends and the jumpers begin."""

    later = frozenset({"output_trip_points", "output_conventional_multiple", "array_keys", "fan_positions"})
    kind: Literal["box"] = Field(description="kind of part")
    topology: Literal["straight", "bussed"] = Field(
        description="straight: input n is output n; bussed: all on two bars"
    )
    dc_in_count: Count = Field(description="DC pairs that can come in")
    dc_in: PartId = Field(description="connector of the DC inputs")
    dc_out_count: Count = Field(description="DC outputs")
    dc_out: PartId = Field(description="connector of the DC outputs")
    fibre_in_count: Count = Field(0, description="fibre connectors that can come in")
    fibre_in: PartId | None = Field(None, description="fibre connector of the inputs")
    fibre_out_count: Count = Field(0, description="fibre outputs")
    fibre_out: PartId | None = Field(None, description="fibre connector of the outputs")
    array_keys: Literal["opposed", "aligned"] = Field(
        "opposed", description="array inputs: how the keys meet in their adapters, one up and one down or both up"
    )
    fan_positions: tuple[Annotated[int, Field(ge=1, le=24)], ...] = Field(
        (),
        max_length=24,
        description="array inputs: position behind each strand of the outputs in turn; 1, 2, 3 ... if not given",
    )
    output_rated_a: float = Field(gt=0, description="highest continuous current of one output")
    total_rated_a: float = Field(gt=0, description="highest continuous current of all outputs together")
    output_breaker_a: float | None = Field(
        None, gt=0, description="rating of the breaker or fuse in each output of a bussed box"
    )
    output_trip_points: tuple[TripPoint, ...] = Field(
        (), max_length=40, description="trip curve of the breaker in each output, in rising multiples"
    )
    output_conventional_multiple: float = Field(
        1.45, gt=1, description="I2 / In of the breaker in each output: trips within the conventional time"
    )
    path_resistance_ohm: float = Field(
        0.0, ge=0, le=0.05, description="resistance of the line path inside, surge protection included"
    )
    surge_protected: bool = Field(False, description="has surge protection on its DC paths")
    height_mm: float = Field(gt=0, le=3000, description="height")
    width_mm: float = Field(gt=0, le=3000, description="width")
    depth_mm: float = Field(gt=0, le=3000, description="depth")
    ip: str = Field("IPXX", description="ingress code of the closed box (IEC 60529)")

    @model_validator(mode="after")
    def _curve(self) -> Box:
        _falling(self.output_trip_points, "output_trip_points")
        return self


class Breaker(Part):
    """A DC circuit breaker in the cabinet."""

    later = frozenset({"trip_points", "principle", "derate_fraction_per_k", "reference_c", "neighbour_fraction"})
    kind: Literal["breaker"] = Field(description="kind of part")
    rated_a: float = Field(gt=0, description="rated current In")
    rated_v: float = Field(gt=0, description="rated DC voltage")
    resistance_ohm: float | None = Field(None, ge=0, description="resistance of one pole; 0.128 / In if not given")
    breaking_ka: float = Field(gt=0, description="breaking capacity")
    trip_low_multiple: float = Field(gt=0, description="instantaneous band: never below this multiple of In")
    trip_high_multiple: float = Field(gt=0, description="instantaneous band: always above this multiple of In")
    conventional_multiple: float = Field(1.45, gt=1, description="I2 / In: trips within the conventional time")
    trip_points: tuple[TripPoint, ...] = Field(
        (), max_length=40, description="trip curve by its data sheet, in rising multiples; without it no time is given"
    )
    principle: Literal["thermal-magnetic", "hydraulic-magnetic", "fuse"] = Field(
        "thermal-magnetic", description="how it acts; hydraulic-magnetic ones need no derating for warmth"
    )
    derate_fraction_per_k: float | None = Field(
        None, ge=0, le=0.05, description="rating lost for each kelvin above its reference temperature"
    )
    reference_c: float = Field(30.0, ge=0, le=60, description="temperature at which the rating holds")
    neighbour_fraction: float = Field(
        1.0, gt=0.3, le=1, description="share of the rating that is left beside loaded neighbours"
    )

    @model_validator(mode="after")
    def _curve(self) -> Breaker:
        _falling(self.trip_points, "trip_points")
        return self


class Clamp(Part):
    """A cable clamp (hanger, cleat) for a range of diameters."""

    later = frozenset({"bolts_count", "bolt_mm", "torque_nm", "pad_width_mm"})
    kind: Literal["clamp"] = Field(description="kind of part")
    smallest_mm: float = Field(gt=0, description="smallest cable diameter")
    largest_mm: float = Field(gt=0, description="largest cable diameter")
    runs_count: int = Field(1, ge=1, le=12, description="cables that one clamp holds side by side")
    slip_rating_n: float | None = Field(None, gt=0, description="tested axial slip force for one cable")
    side_rating_n: float | None = Field(None, gt=0, description="tested side force for one cable")
    spacing_m: float = Field(1.0, gt=0, le=3, description="rule spacing")
    metal: bool = Field(True, description="metal clamps stay out of the zone around antennas")
    bolts_count: int | None = Field(None, ge=1, le=12, description="bolts that press on the cable")
    bolt_mm: float | None = Field(None, gt=2, le=30, description="nominal diameter of a bolt, e.g. 8 for M8")
    torque_nm: float | None = Field(None, gt=0, le=500, description="torque of each bolt by its data sheet")
    pad_width_mm: float | None = Field(None, gt=0, le=500, description="length of cable that it presses on")


class Grip(Part):
    """A hoisting grip: lifts the cable and carries its weight on the mast."""

    kind: Literal["grip"] = Field(description="kind of part")
    smallest_mm: float = Field(gt=0, description="smallest cable diameter")
    largest_mm: float = Field(gt=0, description="largest cable diameter")
    rated_n: float = Field(gt=0, description="rated load")
    spacing_m: float = Field(60.0, gt=0, description="one grip for each started length of this")


class Bond(Part):
    """A bonding (earth) kit: clamps on a shield or case, with a lead and a lug."""

    later = frozenset({"torque_nm"})
    kind: Literal["bond"] = Field(description="kind of part")
    use: Literal["shield", "case"] = Field(description="shield: on a cable; case: on a box, radio or mount")
    smallest_mm: float = Field(0.0, ge=0, description="smallest cable diameter")
    largest_mm: float = Field(200.0, gt=0, description="largest cable diameter")
    conductor_area_mm2: float = Field(gt=0, description="section of the lead")
    lead_length_m: float = Field(gt=0, le=5, description="length of the lead")
    joint_ohm: float = Field(0.001, gt=0, description="highest resistance from lug to bar")
    torque_nm: float | None = Field(None, gt=0, le=500, description="torque of each bolt by its data sheet")


class LoopHolder(Part):
    """What holds a slack loop: a bracket or ties on which cable is laid in turns."""

    later = frozenset({"longest_mm"})
    kind: Literal["loop"] = Field(description="kind of part")
    smallest_mm: float = Field(gt=0, description="smallest cable diameter")
    largest_mm: float = Field(gt=0, description="largest cable diameter")
    least_radius_mm: float = Field(gt=0, description="smallest radius of a turn on it")
    most_radius_mm: float = Field(gt=0, le=3000, description="largest radius of a turn on it")
    most_turns_count: int = Field(6, ge=1, le=40, description="turns that it takes")
    longest_mm: float | None = Field(
        None,
        gt=0,
        le=6000,
        description="length of the longest oval on it, outside of its turns; round turns only if not given",
    )

    @model_validator(mode="after")
    def _order(self) -> LoopHolder:
        if self.most_radius_mm < self.least_radius_mm or self.largest_mm < self.smallest_mm:
            raise ValueError("expected the largest radius and diameter not below the smallest | check the four values")
        return self


class Seal(Part):
    """A cap for an unused port, or a sealing kit for a mated joint outdoors."""

    later = frozenset({"closure", "end_low_mm", "end_high_mm", "body_mm", "inside_mm", "outer_mm"})
    kind: Literal["cap", "seal"] = Field(description="kind of part")
    interface: str = Field(description="interface that it fits; `any` for a tape kit")
    ip: str = Field(description="ingress code that it keeps (IEC 60529)")
    closure: Literal["tape", "wrap", "shrink", "gel"] | None = Field(
        None, description="seals: how it closes; tape goes on any diameter, gel opens again"
    )
    end_low_mm: float | None = Field(None, ge=0, le=200, description="seals: thinnest cable that its end grips")
    end_high_mm: float | None = Field(None, ge=0, le=200, description="seals: thickest cable that its end grips")
    body_mm: float | None = Field(None, gt=0, le=300, description="seals: inside diameter of the body")
    inside_mm: float | None = Field(None, gt=0, le=2000, description="seals: inside length")
    outer_mm: float | None = Field(None, gt=0, le=400, description="seals: outside diameter once it is closed")


class Optic(Part):
    """A pluggable optical transceiver, by IEEE 802.3 class. Powers are averages."""

    later = frozenset({"least_return_loss_db"})
    kind: Literal["optic"] = Field(description="kind of part")
    optic_class: str = Field(description="IEEE 802.3 class, e.g. 10GBASE-LR")
    tx_minimum_dbm: float = Field(description="lowest launched power")
    tx_maximum_dbm: float = Field(description="highest launched power")
    rx_minimum_dbm: float = Field(description="lowest received power")
    rx_maximum_dbm: float = Field(description="highest received power")
    channel_loss_db: float | None = Field(None, gt=0, description="highest channel loss of the class")
    tx_wavelength_nm_wave: float = Field(1310.0, gt=600, lt=1700, description="wavelength sent, in nm")
    rx_wavelength_nm_wave: float = Field(1310.0, gt=600, lt=1700, description="wavelength received, in nm")
    strands_count: Literal[1, 2] = Field(2, description="2: duplex; 1: both directions on one strand")
    connector: PartId = Field(description="connector of its port")
    least_return_loss_db: float | None = Field(
        None,
        gt=0,
        le=60,
        description="lowest return loss of the way that it bears; without it reflections are a figure",
    )
    mark: Literal["confirmed", "practice", "memory", "invented"] = Field(
        "confirmed", description="how far the class values are checked"
    )


class RadioPart(Part):
    """A radio unit near the antenna, as its data sheet gives it."""

    later = frozenset(
        {
            "draws",
            "rated_v",
            "current_limit_a",
            "input_capacitance_uf",
            "inrush_peak_a",
            "inrush_s",
            "return_bonded",
            "rf_pitch_mm",
        }
    )
    kind: Literal["radio"] = Field(description="kind of part")
    maximum_w: float = Field(gt=0, le=5000, description="highest input power")
    typical_w: float = Field(gt=0, le=5000, description="mean input power over a day")
    minimum_v: float = Field(gt=20, lt=60, description="lowest input voltage for full service")
    cut_out_v: float = Field(gt=20, lt=60, description="input voltage at which it drops out")
    restart_v: float = Field(gt=20, lt=60, description="input voltage at which it starts again")
    maximum_v: float = Field(57.0, gt=40, le=75, description="highest input voltage")
    draws: Literal["power", "current", "resistance"] = Field(
        "power",
        description="power: constant (radios); current: constant (obstruction lights); resistance: heaters. The last two draw maximum_w at rated_v",
    )
    rated_v: float = Field(
        48.0, gt=20, le=75, description="voltage at which a constant current or a resistance draws maximum_w"
    )
    current_limit_a: float | None = Field(
        None, gt=0, le=500, description="highest input current; with less voltage it gives less than its power"
    )
    input_capacitance_uf: float | None = Field(
        None, gt=0, le=1e6, description="capacitance that is charged at start-up"
    )
    inrush_peak_a: float | None = Field(
        None, gt=0, le=5000, description="highest start-up current that its own limiter lets in"
    )
    inrush_s: float | None = Field(
        None, gt=0, le=10, description="how long the start-up current lasts by its data sheet"
    )
    return_bonded: bool = Field(False, description="its case is joined to its DC return")
    dc_connector: PartId = Field(description="connector of the DC input")
    fibre_connector: PartId = Field(description="connector of each optical port")
    optical_ports_count: int = Field(2, ge=0, le=4, description="optical ports")
    rf_connector: PartId = Field(description="connector of each RF port")
    rf_ports_count: int = Field(ge=0, le=64, description="RF ports")
    rf_pitch_mm: float | None = Field(
        None, gt=0, le=500, description="least distance between the axes of neighbouring RF ports"
    )
    port_vswr: float = Field(1.4, ge=1, lt=5, description="highest VSWR of an RF port")
    bands: tuple[str, ...] = Field(min_length=1, description="operating bands (3GPP), e.g. B3, n78")
    control_connector: PartId | None = Field(None, description="connector of the tilt control port")
    height_mm: float = Field(gt=0, le=3000, description="height")
    width_mm: float = Field(gt=0, le=3000, description="width")
    depth_mm: float = Field(gt=0, le=3000, description="depth")
    ip: str = Field("IP65", description="ingress code (IEC 60529)")

    @model_validator(mode="after")
    def _order(self) -> RadioPart:
        if self.typical_w > self.maximum_w:
            raise ValueError("expected typical_w at most maximum_w | check which of the two is the highest input power")
        if not self.cut_out_v <= self.minimum_v <= self.maximum_v:
            raise ValueError(
                "expected cut_out_v <= minimum_v <= maximum_v | check the three voltages of the data sheet"
            )
        if self.restart_v < self.cut_out_v:
            raise ValueError("expected restart_v at least cut_out_v | check the two voltages of the data sheet")
        return self


class Fanout(Part):
    """In the cabinet: one array connector to duplex connectors, positions 2p-1 and 2p to port p."""

    later = frozenset({"array_keys", "fan_positions"})
    kind: Literal["fanout"] = Field(description="kind of part")
    array: PartId = Field(description="array connector")
    duplex: PartId = Field(description="duplex connector")
    duplex_count: int = Field(ge=1, le=12, description="duplex connectors")
    array_keys: Literal["opposed", "aligned"] = Field(
        "opposed", description="how the keys meet in its adapter, one up and one down or both up"
    )
    fan_positions: tuple[Annotated[int, Field(ge=1, le=24)], ...] = Field(
        (),
        max_length=24,
        description="position behind each strand of the duplex ports in turn; 1, 2, 3 ... if not given",
    )

    @model_validator(mode="after")
    def _fan(self) -> Fanout:
        if self.fan_positions and len(set(self.fan_positions)) != 2 * self.duplex_count:
            raise ValueError(
                "expected two positions for each duplex port in fan_positions, each once | read them off the part"
            )
        return self


class ControlCable(HeldCable):
    """A control cable: tilt chain, alarm pair or timing antenna lead."""

    kind: Literal["control-cable"] = Field(description="kind of part")
    use: Literal["tilt", "alarm", "timing"] = Field(description="what it carries")
    foot: PartId = Field(description="connector at the foot")
    head: PartId = Field(description="connector at the head")
    diameter_mm: float = Field(gt=0, le=40, description="outside diameter")
    mass_kg_per_m: float = Field(gt=0, description="mass of one metre")
    cost_per_m: float = Field(ge=0, description="price of one metre")
    stock_lengths_m: tuple[float, ...] = Field((), description="lengths that are kept; empty if made to length")


class CableFamily(Declared):
    """
    A made-to-order cable: its options, and the rules for price, mass and diameter of each.

    cost_per_m = base + per_mm2 x copper area + per_strand x strands;  mass, diameter and pull likewise (see `catalogue.family`).
    """

    kind: Literal["cable-family"] = Field(description="kind of part")
    id: PartId = Field(description="name of the family; made parts are called ID-PAIRSxAREA-STRANDSf")
    title: str = Field(min_length=1, max_length=120, description="what it is, in words")
    makes: Literal["trunk", "dc-cable", "fibre-cable", "hybrid-jumper", "dc-jumper", "fibre-jumper"] = Field(
        description="kind of part"
    )
    pairs_count: tuple[Count, ...] = Field(description="pairs that can be ordered")
    conductor_area_mm2: tuple[float, ...] = Field((), description="conductor sections that can be ordered")
    strands_count: tuple[Count, ...] = Field(description="strands that can be ordered")
    base_cost: float = Field(ge=0, description="price of the two made ends without pairs and strands")
    pair_cost: float = Field(0.0, ge=0, description="price of the two ends of one pair")
    strand_cost: float = Field(0.0, ge=0, description="price of the two ends of one strand")
    base_cost_per_m: float = Field(ge=0, description="price of one metre without pairs and strands")
    mm2_cost_per_m: float = Field(0.0, ge=0, description="price of one metre of 1 mm2 of copper")
    strand_cost_per_m: float = Field(0.0, ge=0, description="price of one metre of one strand")
    sheath_mass_kg_per_m: float = Field(
        ge=0, description="mass of one metre of sheath and fillers for a cable of one square centimetre"
    )
    strand_mass_kg_per_m: float = Field(0.0, ge=0, description="mass of one metre of one strand in its unit")
    core_fill_fraction: float = Field(
        0.45, gt=0.1, lt=0.95, description="insulated cores and units as a share of the round section"
    )
    wall_mm: float = Field(gt=0, description="radial thickness of shield and sheath")
    strand_space_mm2: float = Field(1.0, ge=0, description="section taken by one strand in its unit")
    base_pull_n: float = Field(0.0, ge=0, description="highest pulling force of the strength member alone")
    mm2_pull_n: float = Field(0.0, ge=0, description="pulling force that 1 mm2 of copper adds")
    common: dict[str, object] = Field(default_factory=dict, description="fields that every made part shares")
    lead_time_d: float = Field(ge=0, le=1000, description="time from order to delivery")
    source: str = Field(min_length=2, max_length=200, description="where the values come from, or the word invented")


PartKind = (
    Connector
    | Cable
    | Box
    | RfCable
    | RfInline
    | Breaker
    | Clamp
    | Grip
    | Bond
    | LoopHolder
    | Seal
    | Optic
    | RadioPart
    | AntennaPart
    | Fanout
    | ControlCable
)
AnyPart = Annotated[PartKind | CableFamily, Field(discriminator="kind")]
KINDS: dict[str, type[Part] | type[CableFamily]] = {
    "connector": Connector, "trunk": Cable, "dc-cable": Cable, "fibre-cable": Cable, "hybrid-jumper": Cable, "dc-jumper": Cable,
    "fibre-jumper": Cable, "box": Box, "rf-jumper": RfCable, "feeder": RfCable, "rf-inline": RfInline, "breaker": Breaker, "clamp": Clamp, "grip": Grip,
    "bond": Bond, "loop": LoopHolder, "cap": Seal, "seal": Seal, "optic": Optic, "radio": RadioPart, "antenna": AntennaPart, "fanout": Fanout,
    "control-cable": ControlCable, "cable-family": CableFamily,
}  # fmt: skip
