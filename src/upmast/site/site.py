"""
What is asked of a line: one site as people write it in `site.yaml`.

These classes are the one declaration: the loader, the error texts, the schema for editors and the list of fields in the docs
are made from them. Keys carry their unit; another unit of the same dimension is taken too (`length_ft: 131`, `width_mhz: 20`).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from upmast.catalogue.part import PartId
from upmast.declare import Declared
from upmast.site.earth_fields import Earthing as Earthing
from upmast.site.hazard_fields import Hazards as Hazards
from upmast.site.rf_fields import Carrier as Carrier
from upmast.site.rf_fields import Metal as Metal
from upmast.site.rf_fields import Neighbour as Neighbour
from upmast.site.rf_fields import RfWay as RfWay

Id = Annotated[str, StringConstraints(pattern=r"^[A-HJ-NP-Z0-9]+(?:-[A-HJ-NP-Z0-9]+)*$", max_length=24)]
ID_RULE = "upper case letters and digits with hyphens, without the letters I and O"
Name = Annotated[str, StringConstraints(max_length=120)]


class Battery(Declared):
    """The battery behind the plant."""

    capacity_ah: float = Field(gt=0, le=50_000, description="capacity at the ten-hour rate, all strings together")
    full_v: float | None = Field(
        None, gt=40, lt=60, description="emf just after mains failure; on_battery_v of the plant if not given"
    )
    peukert: float = Field(
        1.15,
        ge=1,
        le=1.5,
        description="Peukert exponent: less charge at a high current; 1.1 to 1.3 lead-acid, about 1 lithium",
    )
    health_fraction: float = Field(0.8, gt=0.2, le=1, description="usable share of the capacity at end of life")
    kind: Literal["linear", "lead-acid", "lithium-iron-phosphate"] = Field(
        "linear",
        description="curve of the emf: a straight line from full_v to end_of_discharge_v, or that of cells (from memory: a shape, not a limit)",
    )
    cells_count: int | None = Field(
        None, ge=1, le=40, description="cells in series; 24 lead-acid, 16 lithium if not given"
    )
    charge_fraction: float = Field(1.0, gt=0, le=1, description="charge at mains failure")
    temperature_c: float = Field(
        20.0, ge=-20, le=40, description="temperature of the cells for which the minutes are counted"
    )


class Converter(Declared):
    """A voltage-raising converter between the plant's bars and the breakers of the line."""

    set_v: float = Field(gt=40, le=75, description="output voltage without load")
    maximum_v: float = Field(gt=40, le=75, description="highest output voltage")
    compensation_ohm: float = Field(
        0.0, ge=0, le=1, description="rise of the output voltage with the output current, to make up for the line"
    )
    regulation_v: float = Field(0.0, ge=0, le=5, description="how far its output may stand above what it is set to")
    efficiency_fraction: float = Field(gt=0.5, le=1, description="output over input power above the idle power")
    idle_w: float = Field(0.0, ge=0, le=2000, description="input power without load")
    limit_w: float | None = Field(None, gt=0, le=100_000, description="largest output power")
    cost: float = Field(0.0, ge=0, description="price, for the comparison with thicker copper")
    years_count: int | None = Field(
        None, ge=1, le=40, description="years until it is renewed; as long as the line if not given"
    )

    @model_validator(mode="after")
    def _order(self) -> Converter:
        if self.maximum_v < self.set_v:
            raise ValueError("expected maximum_v at least set_v | check the two output voltages of the converter")
        return self


class Plant(Declared):
    """The -48 V plant. Voltages are magnitudes against the return bar."""

    float_v: float = Field(gt=40, le=60, description="voltage on mains")
    on_battery_v: float = Field(gt=36, le=60, description="voltage soon after mains failure")
    end_of_discharge_v: float = Field(gt=36, le=60, description="lowest voltage before the plant disconnects")
    source_resistance_ohm: float = Field(ge=0, le=0.5, description="battery, main leads and main fuse in series")
    short_circuit_ka: float = Field(10.0, gt=0, le=100, description="highest prospective fault current at the breakers")
    breaker_positions_count: int = Field(24, ge=0, le=200, description="free breaker positions")
    base_load_w: float = Field(
        0.0, ge=0, le=50_000, description="other load on the plant, drawn through the same battery"
    )
    battery: Battery | None = Field(None, description="the battery; without it no minutes are given")
    disconnect_v: float | None = Field(
        None,
        gt=36,
        le=60,
        description="voltage of the bars under load at which the plant disconnects, if it has such a device",
    )
    converter: Converter | None = Field(
        None, description="voltage-raising converter at the foot of the line, if there is one"
    )
    dc_return: Literal["isolated", "common"] = Field(
        "isolated", description="the return is bonded to earth at the plant only (isolated), or at both ends (common)"
    )
    return_bond_ohm: float = Field(
        0.001, ge=0, le=1, description="resistance of one bond between return and earth, where there is one"
    )

    @model_validator(mode="after")
    def _order(self) -> Plant:
        if not self.end_of_discharge_v <= self.on_battery_v <= self.float_v:
            raise ValueError(
                "expected end_of_discharge_v <= on_battery_v <= float_v | check the three voltages of the plant"
            )
        if self.disconnect_v is not None and self.disconnect_v > self.on_battery_v:
            raise ValueError("expected disconnect_v at most on_battery_v | check the disconnect of the plant")
        return self


class Cabinet(Declared):
    """Where the line begins."""

    height_m: float = Field(0.0, ge=-20, le=200, description="height of the cable entry above the foot of the mast")
    plant: Plant = Field(description="the -48 V plant")
    optic: PartId = Field("optic-10g-lr", description="optic in the cabinet, where a radio does not say otherwise")
    tail_m: float = Field(
        2.0, ge=0, le=50, description="cable inside the cabinet, from the entry to breakers and optics"
    )
    inside_hot_c: float | None = Field(
        None, ge=-10, le=80, description="hottest air at the breakers; without it their ratings are not derated"
    )


class Leg(Declared):
    """One leg of the cable route, from the cabinet outwards."""

    name: Name = Field(description="what people call it, e.g. ice bridge")
    kind: Literal["indoor", "duct", "horizontal", "bridge", "vertical"] = Field(
        description="how it runs; indoor and duct need no clamps. Heat is judged in free air and full sun whatever it is"
    )
    length_m: float = Field(gt=0, le=2000, description="length along the cable")
    tolerance_m: float = Field(0.5, ge=0, le=100, description="how far the survey may be off, either way")
    hazards: Hazards | None = Field(None, description="what the cables on it are exposed to, as far as it is known")
    bend_deg: float | None = Field(
        None,
        ge=0,
        le=360,
        description="bends at its end and along it, added up; a right angle before the next leg if not given",
    )
    bend_radius_m: float | None = Field(
        None, gt=0, le=20, description="radius of these bends; the smallest of the cable under pull if not given"
    )


class Route(Declared):
    """The way of the trunk from the cabinet to the breakout box."""

    legs: tuple[Leg, ...] = Field(min_length=1, max_length=40, description="legs in order, the first at the cabinet")
    slack_m: float = Field(3.0, ge=0, le=100, description="slack and drip loops along the route, all together")


class Mast(Declared):
    """What carries the line."""

    kind: Literal["lattice", "monopole", "guyed", "roof", "wall"] = Field(description="kind of structure")
    height_m: float = Field(gt=0, le=600, description="height of its top above its foot")
    box_height_m: float | None = Field(
        None, gt=0, le=600, description="height of the breakout box; 2 m below the lowest radio if not given"
    )
    hazards: Hazards | None = Field(None, description="what jumpers on the mast are exposed to, as far as it is known")
    face_m: float = Field(1.0, gt=0, le=30, description="width of the face along which the cables run at the top")
    material: Literal["steel", "aluminium"] = Field("steel", description="what it is made of: it grows with heat, too")


class Sector(Declared):
    """One direction that the site covers."""

    id: Annotated[str, StringConstraints(pattern=r"^[A-HJ-NP-Z0-9]{1,4}$")] = Field(
        description="short name, e.g. A (" + ID_RULE + ")"
    )
    azimuth_deg: float = Field(ge=0, lt=360, description="direction from north")


class Links(Declared):
    """The optical links of one radio."""

    links_count: int = Field(1, ge=0, le=4, description="links in service")
    standby_count: int = Field(0, ge=0, le=4, description="links kept ready to the same radio")
    optic: PartId | None = Field(None, description="optic at both ends; that of the cabinet if not given")
    radio_optic: PartId | None = Field(
        None,
        description="optic at the radio, where it differs: optics with both directions on one strand come in pairs",
    )
    pairs: tuple[Annotated[int, Field(ge=1, le=144)], ...] = Field(
        (),
        max_length=8,
        description="strand pairs of the trunk for its links, then its standby pairs; the next free ones if not given",
    )


class Radio(Declared):
    """One radio unit on the mast. Values given here go before those of its part."""

    id: Id = Field(description="name of the position, e.g. A1 (" + ID_RULE + ")")
    sector: str = Field(description="sector that it serves")
    part: PartId = Field(description="radio of the catalogue")
    height_m: float = Field(gt=0, le=600, description="height above the foot of the mast")
    box_run_m: float | None = Field(
        None, gt=0, le=100, description="way from the box to the radio; from the heights and 2 m if not given"
    )
    maximum_w: float | None = Field(
        None, gt=0, le=5000, description="highest input power, where it differs from the part"
    )
    typical_w: float | None = Field(None, gt=0, le=5000, description="mean input power, where it differs from the part")
    minimum_v: float | None = Field(
        None, gt=20, lt=60, description="lowest input voltage for full service, where it differs from the part"
    )
    cut_out_v: float | None = Field(
        None, gt=20, lt=60, description="input voltage at which it drops out, where it differs from the part"
    )
    restart_v: float | None = Field(
        None, gt=20, lt=60, description="input voltage at which it starts again, where it differs from the part"
    )
    maximum_v: float | None = Field(
        None, gt=40, le=75, description="highest input voltage, where it differs from the part"
    )
    fibre: Links = Field(default_factory=lambda: Links(), description="its optical links")
    antenna: str | None = Field(None, description="antenna that it feeds; none only for a radio without RF ports")
    antenna_ports: tuple[str, ...] = Field(
        (), max_length=64, description="antenna ports in the order of the radio's RF ports"
    )
    rf_run_m: float | None = Field(
        None, gt=0, le=100, description="way from radio port to antenna port; from the heights and 0.8 m if not given"
    )
    rf_way: RfWay | None = Field(
        None, description="where its RF port and the antenna port are in space; rf_run_m then follows from it"
    )
    joint_excess_db: float = Field(
        0.0,
        ge=0,
        le=60,
        description="how much more its joints mix than their data sheets say: 0 new, about 10 reopened, 30 corroded (common practice, no source)",
    )
    phase_match_deg: float | None = Field(
        None,
        gt=0,
        le=180,
        description="largest difference of phase between its RF jumpers, for beams; none asked if not given",
    )
    inline: tuple[PartId, ...] = Field(
        (),
        max_length=4,
        description="two-ports in the way from each of its RF ports, the nearest to the radio first: arrestor, filter, bypassed amplifier",
    )
    carriers: tuple[Carrier, ...] = Field((), max_length=32, description="carriers that it sends on each of its ports")


class Antenna(Declared):
    """One antenna on the mast."""

    id: Id = Field(description="name of the position, e.g. A-ANT (" + ID_RULE + ")")
    sector: str = Field(description="sector that it serves")
    part: PartId = Field(description="antenna of the catalogue")
    height_m: float = Field(gt=0, le=600, description="height of its lower end, where the ports are")


class Wind(Declared):
    """Wind for the line's own support. A gust and a ten-minute mean are never mixed: the standard says which it is."""

    standard: Literal["EN 1991-1-4", "ANSI/TIA-222"] = Field(
        "EN 1991-1-4",
        description="method: the speed of EN 1991-1-4 is a ten-minute mean, that of ANSI/TIA-222 a three-second gust",
    )
    basic_m_per_s: float = Field(
        gt=0,
        le=120,
        description="basic wind speed of the place: a ten-minute mean or a three-second gust, as the standard says",
    )
    terrain: Literal["0", "I", "II", "III", "IV"] = Field("II", description="terrain category of EN 1991-1-4")
    exposure: Literal["B", "C", "D"] | None = Field(
        None, description="exposure category of ANSI/TIA-222; must be given with that standard"
    )
    importance_fraction: float = Field(
        1.0,
        ge=0.5,
        le=1.5,
        description="importance factor on the pressure in edition G of ANSI/TIA-222; 1 in edition H",
    )
    confirmed_by: str = Field(
        "",
        max_length=200,
        description="who answers for the figures of terrain or exposure, where the standard was only known from memory",
    )

    @model_validator(mode="after")
    def _never_mixed(self) -> Wind:
        gust = self.standard == "ANSI/TIA-222"
        if gust and self.exposure is None:
            raise ValueError("expected exposure B, C or D with a gust speed | say which surroundings the site has")
        if gust and "terrain" in self.model_fields_set:
            raise ValueError("expected no terrain with a gust speed: it is of EN 1991-1-4 | take it out")
        if not gust and (self.exposure is not None or "importance_fraction" in self.model_fields_set):
            raise ValueError(
                "expected no exposure and no importance with EN 1991-1-4: they are of ANSI/TIA-222 | take them out, or name that standard"
            )
        if not gust and self.basic_m_per_s > 80:
            raise ValueError(
                "expected a ten-minute mean of at most 80 m/s | check the speed, or name the standard of the gust"
            )
        return self


class Climate(Declared):
    """The weather that the line lives in."""

    hot_c: float = Field(40.0, ge=-20, le=60, description="hottest ambient air")
    mean_c: float = Field(15.0, ge=-30, le=45, description="mean ambient air")
    cold_c: float = Field(-10.0, ge=-60, le=30, description="coldest ambient air")
    sun_w_per_m2: float = Field(1000.0, ge=0, le=1400, description="strongest sun")
    wind: Wind | None = Field(None, description="wind; without it no clamp is judged")
    calm: bool = Field(
        False,
        description="declared: all of the line stands indoors or in a lee, so that no wind loads it; instead of wind",
    )
    ice: Literal["none", "G1", "G2", "G3", "G4", "G5", "R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8", "R9"] = Field(
        "none", description="ice class of ISO 12494: glaze G1 to G5, rime R1 to R9"
    )
    ice_confirmed_by: str = Field(
        "",
        max_length=200,
        description="who answers for the figures of the ice class, where the standard was only known from memory",
    )
    coast: bool = Field(False, description="salt in the air: inspect yearly, tinned and stainless parts")
    altitude_m: float = Field(0.0, ge=-450, le=9000, description="height of the site above the sea")
    ingress: str = Field(
        "IP65",
        max_length=16,
        pattern=r"^IP([0-6X][0-9X][A-DHMSWf]*)(/IP[0-6X][0-9X][A-DHMSWf]*)*$",
        description="ingress code that every joint and port outdoors must keep",
    )

    @model_validator(mode="after")
    def _order(self) -> Climate:
        if not self.cold_c <= self.mean_c <= self.hot_c:
            raise ValueError("expected cold_c <= mean_c <= hot_c | check the three temperatures")
        if self.calm and self.wind is not None:
            raise ValueError("expected wind, or calm: true, not both | take one of them out")
        return self


class LoadState(Declared):
    """One state of the daily load."""

    load_fraction: float = Field(ge=0, le=1, description="share of the highest power")
    hours_h: float = Field(gt=0, le=24, description="hours a day")


class FibreLife(Declared):
    """With what the life of a bent strand is reckoned: power law after a proof test. Defaults are from memory."""

    years_count: int = Field(20, ge=1, le=60, description="years in the loop")
    proof_strain_fraction: float = Field(0.01, gt=0.001, le=0.05, description="strain of the proof test")
    proof_s: float = Field(1.0, gt=0, le=60, description="time of the proof test")
    stress_exponent: float = Field(20.0, gt=4, le=60, description="stress corrosion exponent n; lower for wet fibre")
    weibull_exponent: float = Field(3.0, gt=0.5, le=60, description="Weibull exponent m of the strength after the test")
    breaks_per_m: float = Field(1e-5, gt=0, le=0.1, description="breaks in the proof test for each metre")


class ClampCare(Declared):
    """How the clamping force falls with time, by tests or experience of the owner: it says when bolts are tightened again."""

    creep_fraction: float = Field(ge=0, le=1, description="share of the force lost in each tenfold of time, in days")
    vibration_fraction: float = Field(
        0.0, ge=0, le=1, description="share of the force lost each year as bolts work loose"
    )
    left_fraction: float = Field(
        0.7,
        gt=0,
        le=1,
        description="share of the force that must be left; 0.7, with which grip is counted, if not given",
    )
    source: str = Field(min_length=3, max_length=200, description="who declares it, from which tests")


class Policy(Declared):
    """What the owner wants beyond working: growth, spares, money, and which faults the site must survive."""

    jumper_lengths: Literal["routed", "coded"] = Field(
        "routed",
        description="RF jumpers as short as the way allows, or coded: of a length for each sector that tells it from the others on an instrument",
    )
    objective: Literal["life-cost", "capital", "mass", "lead-time"] = Field(
        "life-cost", description="what the plan minimises"
    )
    spare_pairs_count: int = Field(0, ge=0, le=24, description="DC pairs kept for growth")
    growth_strands_count: int = Field(0, ge=0, le=144, description="strands kept for growth")
    voltage_margin_v: float = Field(
        0.0, ge=0, le=5, description="kept at every radio above its minimum voltage, for what no survey knows"
    )
    must_survive: tuple[
        Literal["pair-open", "return-open", "breaker-open", "bond-open", "converter-bypass", "spare-in-use"], ...
    ] = Field((), max_length=6, description="faults in which every radio must still run; one at a time")
    repair_db: float = Field(0.0, ge=0, le=3, description="loss kept in each link for later repairs")
    fibre_life: FibreLife = Field(
        default_factory=lambda: FibreLife(), description="with what the life of strands in loops is reckoned"
    )
    clamp_care: ClampCare | None = Field(
        None, description="how the clamping force falls; without it no date for tightening again is given"
    )
    strand_colours: tuple[Annotated[str, StringConstraints(pattern=r"^[a-z][a-z ]{1,30}$")], ...] = Field(
        (), max_length=24, description="colours of strands and tubes in order, where they are not those of TIA-598"
    )
    continuous_load: Literal["iec", "nec-125"] = Field(
        "iec", description="breakers for the design current (iec), or for 1.25 times it (nec-125)"
    )
    trunk_heat: Literal["section", "table"] = Field(
        "section",
        description="heat of cables with several pairs: from their own section and real load, or from tables with a group factor",
    )
    trunks: tuple[Literal["hybrid", "separate"], ...] = Field(
        ("hybrid", "separate"), min_length=1, description="kinds of line to consider"
    )
    boxes: tuple[Literal["straight", "bussed"], ...] = Field(
        ("straight", "bussed"), min_length=1, description="kinds of box to consider"
    )
    most_trunks_count: int = Field(3, ge=1, le=6, description="most trunks side by side")
    years_count: int = Field(10, ge=1, le=40, description="years of the life cost")
    discount_fraction: float = Field(0.06, ge=0, lt=0.5, description="yearly discount")
    price_cost_per_kwh: float = Field(0.2, ge=0, description="price of energy")
    rectifier_fraction: float = Field(0.95, gt=0.5, le=1, description="efficiency of the rectifiers")
    rent_cost_per_year: float = Field(0.0, ge=0, description="rent for one cable on the vertical run")
    labour_cost_per_h: float = Field(60.0, ge=0, description="price of one hour of a rigger")
    load: tuple[LoadState, ...] = Field(
        (
            LoadState(load_fraction=1.0, hours_h=8),
            LoadState(load_fraction=0.6, hours_h=10),
            LoadState(load_fraction=0.3, hours_h=6),
        ),
        min_length=1,
        max_length=24,
        description="daily load; common practice if not given",
    )

    @model_validator(mode="after")
    def _day(self) -> Policy:
        if abs(sum(state.hours_h for state in self.load) - 24) > 1e-6:
            raise ValueError("expected hours_h that add up to 24 h | correct the load states")
        return self


class SiteLimit(Declared):
    """
    A limit of this site: another value for a code, or the confirmation by name of one that upmast has from memory only.

    A safety limit may be tightened, never loosened.
    """

    code: str = Field(max_length=60, description="finding code, e.g. rf.return-loss-at-radio")
    value: float | None = Field(
        None, description="the limit in the unit of the code; none to confirm the one that stands"
    )
    authority: Literal["contract", "operator", "standard", "practice"] = Field("operator", description="who sets it")
    source: str = Field(min_length=3, max_length=200, description="document and clause in which it is written")
    confirmed_by: str = Field(
        "", max_length=80, description="who read it there, by name; needed to confirm a limit from memory"
    )


class MeasuredLoop(Declared):
    """A loop resistance that was measured on the line: it goes before the data sheet."""

    item: Id = Field(description="cable of the line, e.g. T1")
    pair: int = Field(1, ge=1, le=144, description="which of its pairs")
    loop_ohm: float = Field(gt=0, le=100, description="line and return wire together, far end shorted")
    at_c: float = Field(ge=-40, le=90, description="temperature of the conductor while it was measured")
    source: str = Field(min_length=3, max_length=200, description="who measured it, when, with what")


class Existing(Declared):
    """Something that stands on the mast already and stays or goes."""

    id: Id = Field(description="name (" + ID_RULE + ")")
    title: Name = Field(description="what it is")
    count: int = Field(1, ge=1, le=200, description="how many alike")
    diameter_mm: float = Field(gt=0, le=3000, description="width across the wind")
    low_m: float = Field(ge=0, le=600, description="lower end")
    high_m: float = Field(gt=0, le=600, description="upper end")
    mass_kg_per_m: float = Field(0.0, ge=0, description="mass of one metre")
    stays: bool = Field(True, description="false if it is taken down with this work")


class Site(Declared):
    """One site: everything that is asked of its line."""

    version: Literal[1] = Field(description="version of this kind of file: 1")
    id: Id = Field(description="name of the site (" + ID_RULE + ")")
    name: Name = Field("", description="name for people")
    revision: Annotated[str, StringConstraints(max_length=24)] = Field("1", description="revision of the radio plan")
    author: Name = Field("", description="who answers for these values")
    note: str = Field("", max_length=2000, description="anything a person should know")
    cabinet: Cabinet = Field(description="where the line begins")
    route: Route = Field(description="the way of the trunk")
    mast: Mast = Field(description="what carries the line")
    sectors: tuple[Sector, ...] = Field(min_length=1, max_length=12, description="the directions covered")
    radios: tuple[Radio, ...] = Field(min_length=1, max_length=48, description="the radios on the mast")
    antennas: tuple[Antenna, ...] = Field((), max_length=48, description="the antennas on the mast")
    neighbours: tuple[Neighbour, ...] = Field((), max_length=12, description="other transmitters on the mast")
    metals: tuple[Metal, ...] = Field(
        (), max_length=24, description="metal near the antennas that mixes, as far as it is known"
    )
    earthing: Earthing | None = Field(
        None, description="how the mast takes a stroke; without it nothing is said of surges along the line"
    )
    climate: Climate = Field(default_factory=lambda: Climate(), description="the weather")
    policy: Policy = Field(default_factory=lambda: Policy(), description="what the owner wants")
    limits: tuple[SiteLimit, ...] = Field((), max_length=200, description="limits of this site")
    measured_loops: tuple[MeasuredLoop, ...] = Field(
        (), max_length=500, description="measured loop resistances, which go before the data sheets"
    )
    existing: tuple[Existing, ...] = Field((), max_length=100, description="what stands on the mast already")

    @property
    def box_height_m(self) -> float:
        """Height of the breakout box; 2 m below the lowest radio, but not below 1 m, where the mast does not say."""
        if self.mast.box_height_m is not None:
            return self.mast.box_height_m
        return max(1.0, min(radio.height_m for radio in self.radios) - 2.0)

    @property
    def route_length_m(self) -> float:
        """The drawn route with its slack, from the cable entry to the box."""
        return sum(leg.length_m for leg in self.route.legs) + self.route.slack_m

    @property
    def route_tolerance_m(self) -> float:
        """The legs' tolerances added up: the safe side, since a long trunk can be coiled and a short one can't be stretched."""
        return sum(leg.tolerance_m for leg in self.route.legs)

    def antenna(self, id: str) -> Antenna:
        for one in self.antennas:
            if one.id == id:
                return one
        raise KeyError(id)

    def box_run_m(self, radio: Radio) -> float:
        """Way from the box to a radio: as given, or the height between them and 2 m around the mast."""
        return radio.box_run_m if radio.box_run_m is not None else abs(radio.height_m - self.box_height_m) + 2.0

    def rf_run_m(self, radio: Radio) -> float:
        """Way from a radio port to its antenna port: as given, by its places in space, or the height between and 0.8 m of bends."""
        if radio.rf_run_m is not None:
            return radio.rf_run_m
        if radio.rf_way is not None:
            return radio.rf_way.route().length_m
        if radio.antenna is None:
            return 0.0
        return abs(self.antenna(radio.antenna).height_m - radio.height_m) + 0.8
