"""What the structural engineer is given: each cable and box with its loads, bare and iced, the basis of the wind, and the sums."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from upmast.constants import STANDARD_GRAVITY_M_PER_S2
from upmast.support.hoist import top_tension_n
from upmast.support.state import BOX_COEFFICIENT, Inputs, Loads, State

__all__ = ["WHERE_LEFT_OUT", "HandOver", "HandOverSum", "basis", "hand_over", "hand_over_sum", "left_out"]

MOST_NAMED = 12
WHERE_LEFT_OUT = 'under "Figures without a limit" in the calculation sheet'
HARDWARE_WORDS = {
    "clamp": "clamps", "grip": "grips", "bond": "bonds", "loop": "loop brackets", "seal": "seals", "cap": "caps"
}  # fmt: skip
_G = STANDARD_GRAVITY_M_PER_S2.value


@dataclass(frozen=True, slots=True)
class HandOver:
    """
    One cable or box on the mast.

    length_m: what hangs there. dead_n, iced_n: weight bare and with ice. area, coefficient, line force, force and moment about the
    foot of the mast: of the wind, bare and iced, with row factor and with the reduced pressure on ice. hoist_n: pull at the top while
    it is hoisted, 0 for what is carried up.
    """

    item: str
    part: str
    kind: str
    low_m: float
    high_m: float
    length_m: float
    width_mm: float
    iced_width_mm: float
    dead_n: float
    ice_n: float
    bare_area_m2: float
    iced_area_m2: float
    bare_coefficient: float
    iced_coefficient: float
    bare_n_per_m: float
    iced_n_per_m: float
    bare_n: float
    iced_n: float
    bare_nm: float
    iced_nm: float
    hoist_n: float
    eccentricity_m: float

    @property
    def iced_weight_n(self) -> float:
        """Weight with ice."""
        return self.dead_n + self.ice_n


@dataclass(frozen=True, slots=True)
class HandOverSum:
    """
    Sums at the foot of the mast: weights, wind and its moment, the moment of the weights about the axis, all to one side.

    hardware_n: weight of the hardware on the mast, whose kinds hardware names; hardware_off what of it stands elsewhere, in words.
    """

    dead_n: float
    iced_weight_n: float
    bare_area_m2: float
    iced_area_m2: float
    bare_n: float
    iced_n: float
    bare_nm: float
    iced_nm: float
    dead_nm: float
    iced_weight_nm: float
    hardware_n: float
    hardware: str
    hardware_off: str

    @property
    def hardware_words(self) -> str:
        """The weight of the hardware with what is in it and what is not."""
        off = f"; not on the mast and not counted: {self.hardware_off}" if self.hardware_off else ""
        return (f"{self.hardware_n:.0f} N of {self.hardware}" if self.hardware else "no hardware") + off

    @property
    def governing(self) -> str:
        """The case with the larger moment of the wind; the engineer gets both."""
        return "iced" if self.iced_nm > self.bare_nm else "bare"


def hand_over(inputs: Inputs, eccentricity_m: float = 0.0) -> tuple[HandOver, ...]:
    """
    Each cable and box on the mast. All forces are 0 where the site gives no wind, all ice is 0 where it gives none.

    Parameters
    ----------
    eccentricity_m [m]: from the axis of the mast to the cables.
    """
    state = State(inputs)
    bare, iced = state.bare, state.iced
    rows = []
    cf, cf_iced = state.coefficient(False), state.coefficient(True)

    def of(loads: Loads | None, n: int) -> tuple[float, float, float]:
        if loads is None:
            return 0.0, 0.0, 0.0
        return float(loads.area_m2[n]), float(loads.force_n[n]), float(loads.moment_nm[n])

    def winds(n: int, length: float) -> tuple[float, float, float, float, float, float, float, float]:
        (a, f, m), (ai, fi, mi) = of(bare, n), of(iced, n)
        each = length if length > 0 else 1.0
        return a, ai, f / each, fi / each, f, fi, m, mi

    for n, item in enumerate(inputs.spans):
        length = float(state.exposed_m[n])
        a, ai, w, wi, f, fi, m, mi = winds(n, length)
        hoist = float(top_tension_n(inputs.mass_kg_per_m[n], inputs.hanging_m[n])) if inputs.run[n] else 0.0
        rows.append(
            HandOver(
                item, inputs.part[n], inputs.kind[n], float(inputs.low_m[n]), float(inputs.high_m[n]), length, float(inputs.diameter_mm[n]),
                float(state.iced_mm[n]), float(state.cable_kg[n]) * _G, float(state.cable_ice_kg[n]) * _G, a, ai, float(cf[n]), float(cf_iced[n]),
                w, wi, f, fi, m, mi, hoist, eccentricity_m,
            )
        )  # fmt: skip
    for n, b in enumerate(state.boxes, len(inputs.spans)):
        length = b.height_mm / 1000
        a, ai, w, wi, f, fi, m, mi = winds(n, length)
        rows.append(
            HandOver(
                b.item, b.part, b.kind, b.low_m, b.high_m, length, b.width_mm, state.body_mm(b)[1], b.mass_kg * _G, state.body_ice_kg(b) * _G,
                a, ai, BOX_COEFFICIENT, BOX_COEFFICIENT, w, wi, f, fi, m, mi, 0.0, eccentricity_m,
            )
        )  # fmt: skip
    return tuple(rows)


def hand_over_sum(inputs: Inputs, rows: tuple[HandOver, ...]) -> HandOverSum:
    """Sums of the rows; clamps, grips and the like on the mast are weights of their own."""
    hardware = sum(h.on_mast * h.mass_kg for h in inputs.hardware) * _G
    kinds = {h.kind for h in inputs.hardware if h.on_mast}
    names = [words for kind, words in HARDWARE_WORDS.items() if kind in kinds]

    def total(name: str) -> float:
        return float(sum(getattr(r, name) for r in rows))

    return HandOverSum(
        total("dead_n"), total("iced_weight_n"), total("bare_area_m2"), total("iced_area_m2"), total("bare_n"), total("iced_n"),
        total("bare_nm"), total("iced_nm"), sum(r.dead_n * r.eccentricity_m for r in rows),
        sum(r.iced_weight_n * r.eccentricity_m for r in rows), hardware, " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:]))), _off(inputs),
    )  # fmt: skip


def _off(inputs: Inputs) -> str:
    """Hardware on the way to the mast or in the cabinet, by item, with its weight."""
    rows = [(h, h.count - h.on_mast) for h in inputs.hardware if h.on_mast < h.count]
    if not rows:
        return ""
    weight = sum(count * h.mass_kg for h, count in rows) * _G
    return (
        f"{_named(f'{count} of {h.item}' if h.on_mast or h.count > 1 else h.item for h, count in rows)}, {weight:.0f} N"
    )


def basis(inputs: Inputs) -> tuple[str, ...]:
    """By what wind and ice were counted, in words."""
    state, wind, ice = State(inputs), inputs.wind, inputs.ice
    if wind is None:
        words = [
            "no wind on this line, as declared: all wind forces are 0"
            if inputs.calm
            else "no wind is given for this site: all wind forces are 0"
        ]
    elif wind.gust:
        words = [
            wind.words,
            "round lines: Ca by diameter, speed and height; each line by itself, no factor for a row: how lines in a cluster are counted is the engineer's choice",
        ]
    else:
        words = [
            wind.words,
            f"round lines: cf 1.2 (subcritical, no end effect); row factor {state.kappa:g} on each, none in the lee of another",
        ]
    words.append(f"boxes: coefficient {BOX_COEFFICIENT:g}, common practice, no source")
    if ice is None:
        words.append("no ice class is given for this site")
    else:
        words.append(f"ISO 12494, {ice.words}; wind with ice: pressure times {ice.wind_factor:g} (from memory)")
        if ice.rime:
            words.append(
                "rime: coefficient 2.0 on the vane from the side, common practice, no source; boxes by an own rule"
            )
    words.append("runs slice by slice over their height, shorter items at the pressure of their upper end")
    return tuple(words)


def left_out(inputs: Inputs) -> tuple[str, ...]:
    """What hangs on the mast and is in no row and no sum: radios, antennas, and what stands already and stays; in words, by mass."""
    words = []
    equipment = [b for b in inputs.bodies if b.kind != "box"]
    if equipment:
        kg = sum(b.mass_kg for b in equipment)
        words.append(f"radios and antennas ({_named(b.item for b in equipment)}; {kg:.1f} kg, EQUIPMENT)")
    kept = [e for e in inputs.existing if e.stays]
    if kept:
        kg = sum(e.count * e.mass_kg_per_m * (e.high_m - e.low_m) for e in kept)
        lacking = [e.item for e in kept if e.mass_kg_per_m <= 0]
        mass = f"{kg:.1f} kg" + (f" without {_named(lacking)}, whose mass is not given" if lacking else "")
        words.append(f"what stands already ({_named(e.item for e in kept)}; {mass}, EXISTING)")
    if not words:
        return ()
    names = " and ".join(name for name, some in (("EQUIPMENT", equipment), ("EXISTING", kept)) if some)
    return (f"NOT IN THESE TOTALS: {' and '.join(words)}: see {names} {WHERE_LEFT_OUT}, add their weight and wind",)


def _named(items: Iterable[str]) -> str:
    listed = list(items)
    more = f" and {len(listed) - MOST_NAMED} more" if len(listed) > MOST_NAMED else ""
    return ", ".join(listed[:MOST_NAMED]) + more
