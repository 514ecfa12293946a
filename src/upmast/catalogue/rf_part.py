"""Parts that carry radio frequency: coaxial cables, two-ports in the way, and antennas."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from upmast.catalogue.base import WITHSTANDS, Part, PartId
from upmast.catalogue.held_cable import HELD_LATER, HeldCable
from upmast.declare import Declared

MOST_ROWS = 1001
Hertz = Annotated[float, Field(gt=0, lt=1e12)]
Decibel = Annotated[float, Field(ge=0, le=200)]
TwoPortRow = tuple[Hertz, Decibel, Decibel, Decibel, Decibel]
OnePortRow = tuple[Hertz, Decibel]


def _rising(rows: tuple[tuple[float, ...], ...], what: str) -> None:
    if any(b[0] <= a[0] for a, b in pairwise(rows)):
        raise ValueError(f"expected rows of {what} with frequencies that rise | put them in order, each frequency once")


class RfCable(HeldCable):
    """A coaxial jumper or feeder: loss = a sqrt(f / 1 GHz) + b (f / 1 GHz) per metre at 20 °C."""

    later = WITHSTANDS | HELD_LATER | frozenset({"rated_w", "rated_hz", "rated_ambient_c", "hottest_c", "rated_peak_w"})
    kind: Literal["rf-jumper", "feeder"] = Field(description="kind of part")
    cost_per_m: float = Field(ge=0, description="price of one metre")
    mass_kg_per_m: float = Field(gt=0, description="mass of one metre")
    a_db_per_m: float = Field(
        gt=0, le=3, description="loss of one metre at 1 GHz that grows with the root of frequency"
    )
    b_db_per_m: float = Field(0.0, ge=0, le=1, description="loss of one metre at 1 GHz that grows with frequency")
    velocity_fraction: float = Field(gt=0.4, lt=1, description="velocity of propagation against that of light")
    impedance_ohm: float = Field(50.0, gt=0, description="characteristic impedance")
    foot: PartId = Field(description="connector at the foot (radio side)")
    head: PartId = Field(description="connector at the head (antenna side)")
    diameter_mm: float = Field(gt=0, le=100, description="outside diameter")
    bend_static_mm: float | None = Field(
        None, gt=0, description="smallest bend radius at rest; 10 diameters if not given"
    )
    maximum_hz: float = Field(6e9, gt=0, description="highest frequency")
    pim_dbc: float | None = Field(
        None, lt=0, description="passive intermodulation of the made cable, two carriers of 43 dBm"
    )
    stock_lengths_m: tuple[float, ...] = Field((), description="lengths that are kept; empty if made to length")
    length_tolerance_m: float = Field(0.01, ge=0, description="how far a made length may be off")
    longest_m: float = Field(100.0, gt=0, description="longest made length")
    rated_w: float | None = Field(
        None, gt=0, description="average power that it bears at `rated_hz`, matched, at sea level"
    )
    rated_hz: float = Field(2.0e9, gt=0, description="frequency of the average rating")
    rated_ambient_c: float = Field(40.0, ge=-50, le=100, description="air temperature of the average rating")
    hottest_c: float = Field(85.0, ge=0, le=300, description="hottest temperature of its inner conductor")
    rated_peak_w: float | None = Field(None, gt=0, description="peak power that it bears, matched, at sea level")

    @model_validator(mode="after")
    def _rating(self) -> RfCable:
        if self.hottest_c <= self.rated_ambient_c:
            raise ValueError("expected hottest_c above rated_ambient_c | correct one of them")
        return self


class RfInline(Part):
    """
    A two-port in an RF path: arrestor, filter, one way of a combiner, or an amplifier while it is bypassed.

    Its foot looks to the radio, its head to the antenna. What it reflects and loses is known as bounds over its band, or as rows of a
    measurement.
    """

    kind: Literal["rf-inline"] = Field(description="kind of part")
    use: Literal["arrestor", "filter", "combiner", "amplifier", "attenuator", "adapter"] = Field(
        description="what it is; an arrestor gets a bond, an amplifier is taken as bypassed"
    )
    foot: PartId = Field(description="connector at the foot (radio side)")
    head: PartId = Field(description="connector at the head (antenna side)")
    low_hz: float = Field(gt=0, description="lowest frequency")
    high_hz: float = Field(gt=0, description="highest frequency")
    return_loss_db: float | None = Field(
        None, gt=0, le=90, description="lowest return loss of both ports in its band, the other one matched"
    )
    loss_db: float = Field(ge=0, le=60, description="highest insertion loss in its band")
    least_loss_db: float = Field(0.0, ge=0, le=60, description="lowest insertion loss in its band")
    electrical_m: float = Field(0.1, ge=0, le=50, description="length of air that delays as much as it does")
    pim_dbc: float | None = Field(None, lt=0, description="passive intermodulation, two carriers of 43 dBm")
    rated_w: float | None = Field(
        None,
        gt=0,
        description="average power that it bears in its whole band at `rated_ambient_c`, matched, at sea level",
    )
    rated_ambient_c: float = Field(40.0, ge=-50, le=100, description="air temperature of the average rating")
    hottest_c: float = Field(85.0, ge=0, le=300, description="hottest temperature inside")
    rated_peak_w: float | None = Field(None, gt=0, description="peak power that it bears, matched, at sea level")
    measured: tuple[TwoPortRow, ...] = Field(
        (),
        max_length=MOST_ROWS,
        description="rows of a measurement, in place of the bounds: frequency in Hz, lowest return loss of foot and head, lowest and "
        "highest insertion loss in dB",
    )

    @model_validator(mode="after")
    def _bounds(self) -> RfInline:
        if self.high_hz <= self.low_hz:
            raise ValueError("expected high_hz above low_hz | correct one of them")
        if self.hottest_c <= self.rated_ambient_c:
            raise ValueError("expected hottest_c above rated_ambient_c | correct one of them")
        if self.least_loss_db > self.loss_db:
            raise ValueError("expected least_loss_db at most loss_db | correct one of them")
        _rising(self.measured, "measured")
        if any(row[3] > row[4] for row in self.measured):
            raise ValueError("expected the lowest insertion loss of each row at most the highest | correct the rows")
        return self


class AntennaPort(Declared):
    """One RF port of an antenna."""

    name: str = Field(pattern=r"^[A-Z0-9][A-Z0-9-]*$", max_length=12, description="label of the port, e.g. R1")
    low_hz: float = Field(gt=0, description="lowest frequency")
    high_hz: float = Field(gt=0, description="highest frequency")
    vswr: float = Field(1.5, ge=1, lt=5, description="highest VSWR in its band")


class AntennaPart(Part):
    """A sector antenna with its ports."""

    later = frozenset({"gain_dbi", "measured", "rf_pitch_mm"})
    kind: Literal["antenna"] = Field(description="kind of part")
    ports: tuple[AntennaPort, ...] = Field(min_length=1, max_length=64, description="its RF ports")
    rf_connector: PartId = Field(description="connector of its ports")
    rf_pitch_mm: float | None = Field(
        None, gt=0, le=500, description="least distance between the axes of neighbouring RF ports"
    )
    pim_dbc: float | None = Field(None, lt=0, description="passive intermodulation, two carriers of 43 dBm")
    control_connector: PartId | None = Field(None, description="connector of the tilt control input")
    height_mm: float = Field(gt=0, le=6000, description="height")
    width_mm: float = Field(gt=0, le=3000, description="width")
    depth_mm: float = Field(gt=0, le=3000, description="depth")
    gain_dbi: dict[str, float] = Field(
        default_factory=dict,
        description="highest gain by port, dBi; a port without an entry has that of `any`, if there is one",
    )
    measured: dict[str, tuple[OnePortRow, ...]] = Field(
        default_factory=dict,
        description="by port: rows of a measurement, frequency in Hz and return loss in dB; they go before its VSWR",
    )

    @model_validator(mode="after")
    def _by_port(self) -> AntennaPart:
        names = {port.name for port in self.ports}
        for field, some, more in (("gain_dbi", self.gain_dbi, {"any"}), ("measured", self.measured, set())):
            unknown = sorted(set(some) - names - more)
            if unknown:
                raise ValueError(f"{field}: no port {', '.join(unknown)} | its ports are {', '.join(sorted(names))}")
        for name, gain in self.gain_dbi.items():
            if not -10 <= gain <= 40:
                raise ValueError(f"expected a gain of {name} from -10 to 40 dBi | correct it")
        for name, rows in self.measured.items():
            if not 2 <= len(rows) <= MOST_ROWS:
                raise ValueError(f"expected 2 to {MOST_ROWS} rows of measured.{name} | thin them out")
            _rising(rows, f"measured.{name}")
        return self

    def port_gain_dbi(self, port: str) -> float | None:
        """Highest gain of one port; None where it is not given."""
        return self.gain_dbi.get(port, self.gain_dbi.get("any"))
