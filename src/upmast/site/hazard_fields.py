"""What people declare of the hazards of a leg or of the mast."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from upmast.declare import Declared


class Hazards(Declared):
    """Hazards to the cables, as far as somebody has looked: only what is declared is judged."""

    sun: bool | None = Field(None, description="sun falls on the sheath")
    corrosion: Literal["", "C1", "C2", "C3", "C4", "C5", "CX"] | None = Field(
        None, description="corrosivity category of ISO 9223, near the sea C4 to CX; empty for none"
    )
    gnawing: bool | None = Field(None, description="rodents or birds gnaw here")
    impact_j: float | None = Field(None, ge=0, le=1000, description="blow that the cable must withstand, in joules")
    tread_n: float | None = Field(
        None, ge=0, le=50_000, description="load of a boot or a wheel over 100 mm of cable, in newtons"
    )
    ice_fall_j: float | None = Field(
        None, ge=0, le=5000, description="blow of falling ice in joules: its mass times 9.8 times its fall in metres"
    )
    vibration: bool | None = Field(None, description="the mast or a machine shakes it")
