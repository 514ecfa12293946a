"""The working of a sheath in the sun, told the same way in every room that needs its temperature."""

from __future__ import annotations

from upmast.constants import STEFAN_BOLTZMANN
from upmast.formula import Num, symbols
from upmast.source import PRACTICE, Mark, Origin, Source
from upmast.weather.sun import ROUND_RATIO, STILL_AIR_W_PER_M2_K, surface
from upmast.working import FormulaStep, Quantity, SolvedStep

BALANCE = Source("own derivation: heat balance of a round cable", "sun in, convection and radiation out")
AIR = {"float-light": ("cold_c", "coldest air"), "mean": ("mean_c", "mean air")}  # in all other scenarios the hottest


def sheath_working(
    site: str,
    scenario: str,
    sheath_c: float,
    ambient_c: float,
    sun_w_per_m2: float,
    words: str,
) -> SolvedStep:
    """
    The sheath's temperature with the balance that it solves: h (T - T_a) + eps sigma (T^4 - T_a^4) = a G / pi.

    Parameters
    ----------
    site, scenario : their ids; they say which field of the site the air and the sun came from.
    sheath_c [degC] : the temperature that was found; the check shows what is left of the balance with it.
    """
    black = surface("black_sheath")
    field, air = AIR.get(scenario, ("hot_c", "hottest air"))
    if sun_w_per_m2 > 0 or not AIR.get(scenario):
        clause = "climate.sun_w_per_m2"
        sun_of = (Origin.DECLARED, Source(f"site {site}", clause, mark=Mark.DECLARED))
    else:
        sun_of = (Origin.DEFAULT, Source(f"scenario {scenario}, which has no sun", mark=Mark.PRACTICE))
    air_of = Source(f"site {site}", f"climate.{field}", mark=Mark.DECLARED)
    inputs = (
        Quantity("a", black.absorptivity, "", "absorptivity of a black sheath", Origin.DEFAULT, black.source),
        Quantity("epsilon", black.emissivity, "", "emissivity of a black sheath", Origin.DEFAULT, black.source),
        Quantity("h", STILL_AIR_W_PER_M2_K, "W/(m²·K)", "convection in calm air", Origin.DEFAULT, PRACTICE),
        Quantity("G", sun_w_per_m2, "W/m²", "sun", *sun_of),
        Quantity("T_a", ambient_c + 273.15, "K", air, Origin.DECLARED, air_of),
        Quantity("T", sheath_c + 273.15, "K", "sheath", Origin.EXPECTED, BALANCE),
        Quantity(
            "sigma",
            STEFAN_BOLTZMANN.value,
            "W/(m²·K⁴)",
            "Stefan-Boltzmann constant",
            Origin.LISTED,
            STEFAN_BOLTZMANN.source,
        ),
    )
    a, eps, h, sun, ta, t, sigma = symbols("a epsilon h G T_a T sigma")
    balance = h * (t - ta) + eps * sigma * (t**4 - ta**4) - a * sun / Num(ROUND_RATIO)
    rest = balance.value({q.symbol: q.value for q in inputs})
    result = Quantity("q_rest", rest, "W/m²", "heat balance of the sheath, must be 0", Origin.EXPECTED, BALANCE)
    return SolvedStep(
        (Quantity("theta_s", sheath_c, "°C", words, Origin.EXPECTED, BALANCE),),
        "Newton's method on the heat balance of a round cable",
        f"{rest:.1e} W/m²",
        "the balance rises with T, so there is one root",
        (FormulaStep(result, balance, inputs),),
    )
