"""What a site says of its carriers, of other transmitters and metal on the mast, and of ports in space."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, StringConstraints, model_validator

from upmast.declare import Declared
from upmast.rf import route as cable_route
from upmast.rf.arfcn import channel_hz
from upmast.rf.bands import band

Name = Annotated[str, StringConstraints(max_length=120)]
Way = tuple[float, float, float]
BESIDE_M = 1e-3


class Carrier(Declared):
    """One transmitted carrier: by centre and width, by band, channel number and width, or a whole band for a study."""

    centre_hz: float = Field(
        0.0,
        gt=1e8,
        lt=1e11,
        description="centre frequency of the downlink; write centre_mhz. Or channel, or whole_band",
    )
    width_hz: float = Field(0.0, ge=10_000, le=2e9, description="channel width; write width_mhz")
    power_w: float = Field(gt=0, le=400, description="power at the radio port, per port")
    band: str = Field("", max_length=8, description="operating band (3GPP), where the centre alone does not tell it")
    channel: int | None = Field(
        None,
        ge=0,
        le=3_279_165,
        description="channel number of the centre in the downlink of band: EARFCN (B...) or NR-ARFCN (n...)",
    )
    whole_band: bool = Field(
        False, description="takes the whole downlink of band as one carrier: for a study before the plan exists"
    )
    move_from_hz: float | None = Field(
        None,
        gt=1e8,
        lt=1e11,
        description="lowest edge that the carrier may have: it may move within the block up to move_to",
    )
    move_to_hz: float | None = Field(None, gt=1e8, lt=1e11, description="highest edge that the carrier may have")

    @model_validator(mode="before")
    @classmethod
    def _by_band(cls, data: Any) -> Any:
        """Centre and width of a carrier that is named by its channel or its band."""
        if not isinstance(data, dict) or not isinstance(data.get("band"), str) or "centre_hz" in data:
            return data
        name, number = data["band"], data.get("channel")
        if number is None and data.get("whole_band") is not True:
            return data
        try:
            if isinstance(number, int) and not isinstance(number, bool):
                return data | {"centre_hz": float(channel_hz(number, name))}
            known = band(name).downlink_hz
        except ValueError as reason:
            raise ValueError(
                f"expected {_channel_words(number)} of {name}: {reason} | correct channel or band"
            ) from None
        if number is not None or known is None:
            return data
        return data | {"centre_hz": sum(known) / 2, "width_hz": float(known[1] - known[0])}

    @model_validator(mode="after")
    def _has_a_place(self) -> Carrier:
        if not self.centre_hz:
            raise ValueError(
                "expected a centre: centre_mhz, or band and channel, or band and whole_band: true | add one of them"
            )
        if not self.width_hz:
            raise ValueError("expected width_mhz | add the width of the channel")
        if (self.move_from_hz is None) != (self.move_to_hz is None):
            raise ValueError("expected move_from_mhz and move_to_mhz together | give both edges of the block")
        if self.move_from_hz is not None and self.move_to_hz is not None:
            half = self.width_hz / 2
            if not self.move_from_hz <= self.centre_hz - half <= self.centre_hz + half <= self.move_to_hz:
                raise ValueError(
                    "expected the carrier inside its block, from move_from to move_to | correct the block or the centre"
                )
        return self


def _channel_words(number: object) -> str:
    return "a channel" if number is not None else "the downlink"


class Metal(Declared):
    """Metal near the antennas of a sector that mixes: a fence, a loose clamp, rust. Its level is declared, or measured."""

    name: Name = Field(description="what it is, e.g. rusty guard rail")
    sector: str = Field(description="sector whose antennas light it")
    level_dbc: float = Field(
        lt=0,
        ge=-200,
        description="third order that it makes with two carriers of 43 dBm at the antenna input, as received there; more where several ports light it",
    )
    source: str = Field(min_length=3, max_length=200, description="who says so: a measurement, an assumption")


class Neighbour(Declared):
    """Another operator's transmitter on the same mast: its carriers can mix with ours."""

    name: Name = Field(description="who, in neutral words")
    height_m: float = Field(gt=0, le=600, description="height of its antennas")
    carriers: tuple[Carrier, ...] = Field(min_length=1, max_length=32, description="its carriers")
    weaker_db: float = Field(
        0.0,
        ge=0,
        le=100,
        description="how much weaker than ours its carriers reach metal near our antennas; 0 is the safe side",
    )


class Place(Declared):
    """A place in space, from any point of the mast."""

    east_m: float = Field(0.0, ge=-100, le=100, description="to the east")
    north_m: float = Field(0.0, ge=-100, le=100, description="to the north")
    up_m: float = Field(ge=-100, le=1000, description="height")

    @property
    def point(self) -> Way:
        return self.east_m, self.north_m, self.up_m


class RfWay(Declared):
    """Two ports in space, and how the jumper leaves and reaches them: gives the least length of a jumper between them."""

    start: Place = Field(description="radio port")
    start_way: Way = Field(
        (0.0, 0.0, -1.0), description="direction in which the jumper leaves it: east, north, up; down if not given"
    )
    end: Place = Field(description="antenna port")
    end_way: Way = Field((0.0, 0.0, 1.0), description="direction in which the jumper runs into it; up if not given")
    bend_m: float = Field(gt=0, le=2, description="least bend radius of the jumper")
    straight_m: float = Field(0.05, ge=0, le=1, description="straight behind each connector")
    drip_m: float = Field(0.1, ge=0, le=3, description="depth of the drip loop below the lower port; 0 for none")

    @model_validator(mode="after")
    def _found(self) -> RfWay:
        if not self.route().found:
            raise ValueError(
                "expected ports between which a jumper can run with that bend radius | move the ports apart, turn them, or take a smaller radius"
            )
        return self

    def route(self) -> cable_route.Route:
        """The least way: a drip loop where one is asked and the ports don't stand one above the other."""
        a, b = self.start.point, self.end.point
        if self.drip_m > 0 and max(abs(b[0] - a[0]), abs(b[1] - a[1])) > BESIDE_M:
            return cable_route.drip_route(a, self.start_way, b, self.end_way, self.bend_m, self.drip_m, self.straight_m)
        return cable_route.route_length([a, b], [self.start_way, self.end_way], self.bend_m, self.straight_m)
