"""A run without an earth conductor, with one inside its shield, and with one outside: what each does in a stroke and in a fault."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from upmast.earth.exposure import BESIDE_M, Exposure, beside_cable_m
from upmast.earth.retrofit import retrofit
from upmast.earth.sharing import inductance_matrix_h, leg_band_ohm, transient_share
from upmast.earth.shield import COPPER_OHM_M
from upmast.earth.surge import stroke_peak_a, wave
from upmast.earth.withstand import inner_earth_h
from upmast.proof.earth_dc import way_back_ohm
from upmast.proof.prove import Proof

SHEATH_M = 2e-3  # between the outside of a cable and its shield: common practice, no source
FAULT_A = 100.0


@dataclass(frozen=True, slots=True)
class Variant:
    """
    One way to run an earth conductor with a run. Volts of the shield at the lowest and highest resistance of the legs; None if it can't be.

    case_v: along the way back of a fault current of 100 A from a core to a case at the top, the mast left out: over way_m, the whole run
    to the plant with its bonds, while a stroke acts on the length on the mast. present: as the site says.
    """

    run: str
    place: str
    area_mm2: float
    low_v: float | None
    high_v: float | None
    case_v: float | None
    way_m: float
    present: bool
    note: str

    @property
    def way_words(self) -> str:
        """What lies in the volts at the case."""
        return f"over all {self.way_m:g} m of {self.run} back to the plant, with its bonds"


def variants_of(proof: Proof, seen: Exposure, n: int) -> tuple[Variant, ...]:
    """The three variants for one run, followed through a first positive stroke."""
    earth = proof.site.earthing
    assert earth is not None
    told, area, run = earth.functional_earth.place, earth.functional_earth.area_mm2, seen.cables[n]
    length, shield = float(seen.length_m[n]), float(seen.shield_ohm[n])
    conductor = COPPER_OHM_M * 1e6 / area * length * seen.warm
    ends = (0, len(seen.factors) - 1)
    peak = stroke_peak_a(seen.level, "first_positive")
    form = wave("first_positive")
    plain = _shield_peaks(seen, n, peak)
    way = proof.line.by_id[run].length_m or 0.0
    way_shield, way_conductor = (way_back_ohm(proof, run, mm2) for mm2 in (float(seen.area_mm2[n]), area))
    bare = [FAULT_A * way_shield, FAULT_A * way_shield * way_conductor / (way_shield + way_conductor)]
    out = [
        Variant(
            run, "none", 0.0, shield * plain[ends[0]], shield * plain[ends[1]], bare[0], way, told == "none", "the shield is the only way back of a fault"
        )
    ]  # fmt: skip
    inner, radius = float(seen.cable_radius_m[n]) - SHEATH_M, math.sqrt(area / math.pi) / 1000
    if inner > radius:
        loop = float(inner_earth_h(length, inner, radius))
        made = [
            retrofit(
                inductance_h=loop, shield_ohm=shield, conductor_ohm=conductor, surge_peak_a=plain[k] / _top(seen), form=form, fault_a=FAULT_A, return_a=0.0,
                return_ohm=conductor, way_shield_ohm=way_shield, way_conductor_ohm=way_conductor,
            )
            for k in ends
        ]  # fmt: skip
        relief = float(made[-1].surge.relief)
        note = f"the first peak falls by {100 * relief:.1f} % only, time constant {1e3 * loop / (shield + conductor):.2f} ms: it serves fault current and equal potential"
        volts = [float(one.surge.with_v) for one in made]
        out.append(
            Variant(run, "inside", area, volts[0], volts[1], made[0].case_voltage_v[1], way, told == "inside", note)
        )
    else:
        out.append(
            Variant(
                run,
                "inside",
                area,
                None,
                None,
                None,
                way,
                told == "inside",
                f"{area:g} mm² has no room inside the shield",
            )
        )
    try:
        beside = _shield_peaks(seen, n, peak, area)
    except ValueError as reason:
        out.append(
            Variant(run, "outside", area, None, None, None, way, told == "outside", f"no place beside it: {reason}")
        )
        return tuple(out)
    out.append(
        Variant(
            run, "outside", area, shield * beside[ends[0]], shield * beside[ends[1]], bare[1], way, told == "outside",
            f"shares the stroke like any other conductor, {BESIDE_M * 1e3:.0f} mm beside it",
        )
    )  # fmt: skip
    return tuple(out)


def _top(seen: Exposure) -> float:
    """The highest value of the wave of 1 A."""
    return seen.peak_a() / stroke_peak_a(seen.level, "first_positive")


def _shield_peaks(seen: Exposure, n: int, peak_a: float, outer_mm2: float = 0.0) -> list[float]:
    """Peak current of one shield for each factor of the legs, with a bare conductor beside it if it has a section."""
    if not math.isnan(seen.share):
        return [seen.share * seen.peak_a()] * len(seen.factors)
    legs = len(seen.legs_m)
    places = np.concatenate([seen.legs_m, seen.cable_m])
    radii = np.concatenate([np.full(legs, seen.leg_radius_m), seen.cable_radius_m])
    ohm = np.concatenate([np.full(legs, seen.leg_ohm_per_km), seen.ohm_per_km * seen.warm])
    if outer_mm2:
        places = np.vstack([places, beside_cable_m(seen.cable_m[n])])
        radii = np.append(radii, math.sqrt(outer_mm2 / math.pi) / 1000)
        ohm = np.append(ohm, COPPER_OHM_M * 1e9 / outer_mm2 * seen.warm)
    steel = np.arange(ohm.size) < legs
    matrix = inductance_matrix_h(places, radii, seen.run_m)
    found = transient_share(
        matrix, leg_band_ohm(ohm * 1e-3 * seen.run_m, steel, seen.factors), peak_a, wave("first_positive")
    )
    return [float(v) for v in found.peak_a[:, legs + n]]


__all__ = ["BESIDE_M", "FAULT_A", "Variant", "variants_of"]
