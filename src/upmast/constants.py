"""Physical constants: value, unit in the name, and source."""

from __future__ import annotations

from dataclasses import dataclass

from upmast.source import Mark, Source


@dataclass(frozen=True, slots=True)
class Constant:
    """A number that does not change from site to site. Its source can't be left out."""

    symbol: str
    value: float
    unit: str
    source: Source
    uncertainty: float = 0.0


SI = Source("SI Brochure", clause="2.2", edition="9th edition, 2019")
CODATA = Source("CODATA recommended values", edition="2022")
SPEED_OF_LIGHT_M_PER_S = Constant("c_0", 299792458.0, "m/s", SI)
BOLTZMANN_J_PER_K = Constant("k", 1.380649e-23, "J/K", SI)
STEFAN_BOLTZMANN = Constant("sigma", 5.670374419e-8, "W/(m²·K⁴)", CODATA)
STANDARD_GRAVITY_M_PER_S2 = Constant(
    "g_n", 9.80665, "m/s²", Source("ISO 80000-3", clause="standard acceleration of free fall")
)
COPPER_TEMPERATURE_COEFFICIENT_PER_K = Constant(
    "alpha_20", 0.00393, "1/K", Source("IEC 60287-1-1", clause="table 1, copper", mark=Mark.CONFIRMED)
)
