"""Parts that carry radio frequency: coaxial cables, and the ports of antennas."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from upmast.catalogue.base import Part, PartId
from upmast.declare import Declared


class RfCable(Part):
    """A coaxial jumper or feeder: loss = a sqrt(f / 1 GHz) + b (f / 1 GHz) per metre at 20 °C."""

    later = frozenset({"rated_w", "rated_hz", "rated_ambient_c", "hottest_c", "rated_peak_w"})
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


class AntennaPort(Declared):
    """One RF port of an antenna."""

    name: str = Field(pattern=r"^[A-Z0-9][A-Z0-9-]*$", max_length=12, description="label of the port, e.g. R1")
    low_hz: float = Field(gt=0, description="lowest frequency")
    high_hz: float = Field(gt=0, description="highest frequency")
    vswr: float = Field(1.5, ge=1, lt=5, description="highest VSWR in its band")


class AntennaPart(Part):
    """A sector antenna with its ports."""

    kind: Literal["antenna"] = Field(description="kind of part")
    ports: tuple[AntennaPort, ...] = Field(min_length=1, max_length=64, description="its RF ports")
    rf_connector: PartId = Field(description="connector of its ports")
    pim_dbc: float | None = Field(None, lt=0, description="passive intermodulation, two carriers of 43 dBm")
    control_connector: PartId | None = Field(None, description="connector of the tilt control input")
    height_mm: float = Field(gt=0, le=6000, description="height")
    width_mm: float = Field(gt=0, le=3000, description="width")
    depth_mm: float = Field(gt=0, le=3000, description="depth")
