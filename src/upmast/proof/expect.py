"""
What every test of a line should show before anyone measures: made once; documents print it, field results are judged by it.

Each expectation has the id of its test (item.kind.condition), a band of values, how to set the test up, and from where.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from upmast.catalogue.part import Bond, Cable, Connector
from upmast.earth.bond_test import parallel_path_ohm, shield_expected_ohm, shield_limit_ohm
from upmast.earth.shield import COPPER_OHM_M
from upmast.fibre.acceptance import REFERENCE_UNCERTAINTY_DB, glass_floor_db
from upmast.fibre.bend import bend_bound_db
from upmast.fibre.graph import follow_light
from upmast.finding import Authority, Expectation, Limit, Sense, Stage
from upmast.line.line import RUNS, Item, Line
from upmast.line.optical import Optical, optical
from upmast.line.walk import Strand, rf_paths
from upmast.line.wire import ohm_per_km
from upmast.pim.check import sources_of
from upmast.pim.level import voltage_sum_dbm
from upmast.power.resistance import resistance_ohm
from upmast.proof.bonds import bond_places
from upmast.proof.expect_hardware import hardware_expectations
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.proof.scenarios import FLOAT_HOT
from upmast.proof.two_tones import tones_of_radio
from upmast.source import Mark, Source

if TYPE_CHECKING:
    from upmast.proof.prove import Proof

POINTS = 41  # of an expected trace in one band range
FOOT, TOP, BOTH = "at the foot", "at the top", "at both ends"
TEST_C = 20.0
INSULATION_NEW_MEGOHM = 100.0  # a new cable shows more: common practice, no source
LOOP_LOW, LOOP_HIGH = 0.90, 1.05  # of the largest resistance by IEC 60228: common practice, no source
BOND_LOW_MOHM = 0.0
SHIELD_JOINTS = 2  # one at each end of a run
NAN = float("nan")
# the reader refers a copper resistance by the temperature beside it: who refers it too would refer it twice
AS_READ = (
    "Write the reading as it is read, and the temperature of the cable under Conditions, as 35 °C: it is referred to 20 °C "
    "here, where limit and expectation hold."
)


def expectations_of(proof: Proof) -> tuple[Expectation, ...]:
    """Every expectation of a line: RF paths, strands, DC pairs, voltages, bonds, shields, torque, seals and caps."""
    return (
        *_rf(proof), *_fibre(proof), *_pairs(proof), *_voltages(proof), *_bonds(proof), *_shields(proof), *hardware_expectations(proof),
    )  # fmt: skip


def own_limit(code: str, value: float, unit: str, sense: Sense, how: str) -> Limit:
    """A limit that comes from what the line itself should show, where neither the site nor the table has one."""
    source = Source(f"this line's own expectation: {how}", mark=Mark.PRACTICE)
    return Limit(code, value, unit, sense, Authority.DEFAULT, source, Stage.ACCEPTANCE)


# --- RF ---------------------------------------------------------------------------------------------------------------


def _rf(proof: Proof) -> Iterator[Expectation]:
    for design in path_designs(proof.line):
        axis = band_axis(design)
        f = np.array(axis)
        yield _return_loss(proof, design, axis, f, "load")
        if design.antenna:
            yield _return_loss(proof, design, axis, f, "antenna")
        yield _short(proof, design, axis, f)
        pim = _pim(proof, design)
        if pim is not None:
            yield pim


def band_axis(design: PathDesign) -> tuple[float, ...]:
    """Frequencies over the bands of a path, both edges of each range included."""
    return tuple(sorted({float(f) for b in design.bands for f in np.linspace(b.low_hz, b.high_hz, POINTS)}))


def _rf_data(design: PathDesign, test: str) -> dict[str, object]:
    return {
        "test": test,
        "bands": tuple(b.name for b in design.bands),
        "joints": tuple((j.name, j.distance_m, j.return_loss_db) for j in design.joints),
        "cables": tuple((s.item, s.length_m, s.velocity_fraction) for s in design.sections),
    }


_SET_UP = {
    "load": "Calibrate at the end of the test lead, at the temperature of the day. Test lead on the radio end of {first}, "
    "precision load on the antenna end of {last}. Sweep {low:.0f} to {high:.0f} MHz, size and phase.",
    "antenna": "Calibrate at the end of the test lead. Test lead on the radio end of {first}, antenna connected. Sweep "
    "{low:.0f} to {high:.0f} MHz, size and phase. Keep people and metal away from the front of the antenna.",
    "short": "Calibrate at the end of the test lead. Test lead on the radio end of {first}, short on the antenna end of "
    "{last}. Sweep {low:.0f} to {high:.0f} MHz, size and phase. Note the temperature.",
}  # fmt: skip


def _rf_set_up(design: PathDesign, test: str) -> str:
    words = _SET_UP[test].format(
        first=design.sections[0].item, last=design.sections[-1].item, low=design.lowest_hz / 1e6,
        high=design.highest_hz / 1e6,
    )  # fmt: skip
    plan = design.sweep
    if test != "load":
        return f"{words} {plan.points} points or more."
    wider = plan.low_hz < design.lowest_hz - 1e6 or plan.high_hz > design.highest_hz + 1e6
    wide = f" To tell its joints apart {plan.low_hz / 1e6:.0f} to {plan.high_hz / 1e6:.0f} MHz," if wider else ""
    reach = f" {plan.points} points or more: tells joints {plan.resolution_m:.2f} m apart, over {plan.range_m:.0f} m of line"
    return words + wide + reach + ("." if plan.enough_span else "; nearer ones merge.")


def _return_loss(proof: Proof, design: PathDesign, axis: tuple[float, ...], f: np.ndarray, test: str) -> Expectation:
    expected = design.expected_db(f, test)
    code = "rf.sweep-return-loss" if test == "load" else "rf.sweep-antenna"
    words = "with a load" if test == "load" else "with the antenna"
    limit, least = proof.limits.get(code), float(np.min(expected.least_db))
    below = (
        f" Parts at their limits may show as little as {least:.1f} dB, less than the limit of {limit.value:g} dB: agree on a limit that they can keep."
        if limit is not None and least < limit.value
        else ""
    )
    return Expectation(
        f"{design.id}.rl.{test}", design.id, f"Return loss of {design.id} {words}", "return loss", "dB",
        tuple(expected.least_db.tolist()), tuple(expected.greatest_db.tolist()), _rf_set_up(design, test) + below,
        "frequency", "Hz", axis, limit, design.items, Stage.ACCEPTANCE, TOP, _rf_data(design, test),
    )  # fmt: skip


def short_limit(proof: Proof, design: PathDesign) -> Limit:
    """
    The limit of the cable loss that a sweep with a short gives: that of the site, or this line's own highest loss.

    The reading is half of the mean in dB over the bands, which belongs to their middle; so does the line's own limit.
    """
    code = "rf.sweep-cable-loss"
    _, high = design.cable_loss_range_db(design.middle_hz)
    return proof.limits.get(code) or own_limit(
        code, float(high), "dB", Sense.AT_MOST,
        f"cable loss by data sheet at 20 °C and 5 % at {design.middle_hz / 1e6:g} MHz, highest loss of the joints, 0.3 dB",
    )  # fmt: skip


def _short(proof: Proof, design: PathDesign, axis: tuple[float, ...], f: np.ndarray) -> Expectation:
    low, high = design.cable_loss_range_db(f)
    limit = short_limit(proof, design)
    how = (
        f" The reading is half of the mean of the return loss in dB over the bands, over whole ripples; it belongs to "
        f"{design.middle_hz / 1e6:g} MHz and may be {limit.value:.2f} {limit.unit} at most."
    )
    return Expectation(
        f"{design.id}.loss.short", design.id, f"Cable loss of {design.id}, from a sweep with a short", "cable loss, one way",
        "dB", tuple(low.tolist()), tuple(high.tolist()), _rf_set_up(design, "short") + how, "frequency", "Hz", axis, limit,
        design.items, Stage.ACCEPTANCE, TOP, _rf_data(design, "short"),
    )  # fmt: skip


def _pim(proof: Proof, design: PathDesign) -> Expectation | None:
    """Highest third order of a path on a low-PIM load: all joints, cables and two-ports in phase, each as its data sheet allows."""
    line = proof.line
    path = {one.id: one for one in rf_paths(line)}[design.id]
    radio = next((one for one in proof.site.radios if one.id == path.radio), None)
    sources, lacking = sources_of(line, path, radio.joint_excess_db if radio is not None else 0.0)
    levels = [one.level_dbc for one in sources if one.what != "antenna"]
    if not levels:
        return None
    high = float(voltage_sum_dbm(levels))
    tones, _ = tones_of_radio(line, radio, path)
    limit = proof.limits.get("pim.level")
    told = f" For the site's own bands {tones.words()}." if tones is not None else ""
    unknown = f" Of {', '.join(lacking[:4])} nothing is known." if lacking else ""
    above = (
        f" All sources in phase may reach {high:.1f} dBc, more than the limit of {limit.value:g} dBc: sound parts alone may fail it, agree on a limit."
        if limit is not None and high > limit.value
        else ""
    )
    return Expectation(
        f"{design.id}.pim.im3", design.id, f"Intermodulation of {design.id} with a low-PIM load", "third-order product", "dBc",
        (NAN,), (high,),
        f"Two carriers of 43 dBm into the radio end of {design.sections[0].item}, low-PIM load in place of the antenna: nothing open, nothing "
        f"radiates.{told}{unknown}{above} Joints are tapped while reading only where the procedure of the site lets someone stay at the line with the carriers "
        "on, within the exposure limits there; else carriers off between readings. Note the highest value; under Conditions both frequencies, and the power if it is another.",
        limit=limit, items=design.items, where=TOP, data={"carriers_dbm": (43.0, 43.0)},
    )  # fmt: skip


# --- fibre ------------------------------------------------------------------------------------------------------------


def _fibre(proof: Proof) -> Iterator[Expectation]:
    """Every strand once: end faces first, then its loss at two wavelengths both ways; strands in service, then kept ones."""
    line = proof.line
    graph = optical(line)
    seen: set[str] = set()
    for link in sorted(line.links, key=lambda k: k.state != "service"):
        service = link.state == "service"
        starts = [graph.node(link.a, n) for n in range(1, line.port(link.a).positions + 1)]
        light = follow_light(graph.mate, graph.through, starts, inward=not service)
        for column in range(len(starts)):
            nodes = [int(n) for n in light.nodes[:, column] if n >= 0]
            name = strand_name(line, graph, nodes)
            if name and name not in seen:
                seen.add(name)
                yield from _strand(proof, link.id, name, graph, nodes, service)


def strand_name(line: Line, graph: Optical, nodes: Sequence[int]) -> str:
    """Name of a strand: its run (trunk or fibre cable) and number there, `T1-F07`; empty where it passes no cable."""
    cables = [(graph.name(n).partition(".")[0], int(graph.strand[n])) for n in nodes if graph.strand[n] and ".foot." in graph.name(n)]  # fmt: skip
    if not cables:
        return ""
    runs = [row for row in cables if line.by_id[row[0]].kind in RUNS]
    id, number = runs[0] if runs else max(cables, key=lambda row: line.by_id[row[0]].length_m or 0.0)
    return f"{id}-F{number:02d}"


def strand_id(line: Line, found: Strand) -> str:
    """Name of a strand that was walked, see `strand_name`."""
    graph = optical(line)
    ends = [(f"{h.item}.{port}", at) for h in found.hops for port, at in ((h.enter, h.enter_position), (h.leave, h.leave_position))]  # fmt: skip
    return strand_name(line, graph, [graph.node(end, at) for end, at in ends])


def _pair_loss(line: Line, ends: Iterable[str]) -> tuple[float, float]:
    """Mean and highest loss of a mated pair: the worse of its two connectors."""
    pair = [c for end in ends if isinstance(c := line.parts.get(line.port(end).connector), Connector)]
    return max((c.typical_loss_db for c in pair), default=0.0), max((c.loss_db for c in pair), default=0.0)


def _strand(
    proof: Proof, link: str, name: str, graph: Optical, nodes: Sequence[int], service: bool
) -> Iterator[Expectation]:
    line = proof.line
    names = [graph.name(n) for n in nodes]
    # a kept strand begins inside a part; the cords of the test mate with both of its ends
    pairs = [(a, b) for a, b in zip(names[::2], names[1::2], strict=False)] if service else [
        (names[0],), *zip(names[1::2], names[2::2], strict=False), (names[-1],)
    ]  # fmt: skip
    losses = [_pair_loss(line, pair) for pair in pairs]
    typical, highest = (sum(row[side] for row in losses) for side in (0, 1))
    items = tuple(dict.fromkeys(end.partition(".")[0] for end in (names[1:-1] if service else names)))
    loops = [loop for id in items for loop in line.of_kind("loop") if loop.on == id]
    faces = 2 * len(pairs)
    yield Expectation(
        f"{name}.ef.record", name, f"End faces of strand {name}: inspected, clean, recorded", "end faces with a record", "",
        (float(faces),), (float(faces),),
        "Lasers off and proved dark first. Inspect both faces of every mated pair on its way by the zones of IEC 61300-3-35, clean, "
        "inspect again, keep the picture; then mate once. No loss is measured before that.",
        limit=proof.limits.get("fibre.end-faces")
        or own_limit("fibre.end-faces", float(faces), "", Sense.AT_LEAST, "every end face before its loss is measured"), items=items, where=BOTH, data={"link": link, "faces": faces},
    )  # fmt: skip
    for wavelength in (1310, 1550):
        glass = floor = bend = 0.0
        for id in items:
            part, item = line.part_of(id), line.by_id[id]
            if isinstance(part, Cable):
                length, off = item.length_m or 0.0, item.tolerance_m
                glass += getattr(part, f"attenuation_{wavelength}_db_per_km") * (length + off) / 1000
                least = getattr(part, f"attenuation_{wavelength}_least_db_per_km") * (length - off) / 1000
                floor += max(least, float(glass_floor_db(max(length - off, 0.0), wavelength)))
        for loop in loops:
            part = line.part_of(loop.on)
            if isinstance(part, Cable):
                inside = 1000 * loop.radius_m - part.diameter_mm / 2
                bound = bend_bound_db(part.fibre_class, inside, loop.turns + loop.exit_turn, wavelength).loss_db
                bend += float(np.nan_to_num(bound))
        high = glass + highest + bend
        limit = proof.limits.get("fibre.loss") or own_limit(
            "fibre.loss", high, "dB", Sense.AT_MOST, "highest loss of the glass, of every mated pair and of the loops"
        )
        off_db = REFERENCE_UNCERTAINTY_DB.value
        for way in ("up", "down"):
            start, end = (FOOT, TOP) if way == "up" else (TOP, FOOT)
            yield Expectation(
                f"{name}.ol.{wavelength}-{way}", name, f"Loss of strand {name} at {wavelength} nm, {way}", "optical loss", "dB",
                (floor,), (high,),
                f"End faces first. Reference with one cord; source {start}, meter {end}, {wavelength} nm. Below {floor - off_db:.2f} dB "
                f"the reference is wrong; up and down within {2 * off_db:g} dB. More at 1550 nm alone: a bend. Never look into a fibre.",
                limit=limit, items=items, where=BOTH,
                data={
                    "link": link, "glass_db": glass, "mated_pairs": len(pairs), "wavelength_nm": wavelength,
                    "expected_db": glass + typical, "floor_db": floor, "bend_db": bend, "uncertainty_db": off_db,
                    "reference": "one cord",
                },
            )  # fmt: skip


# --- DC ---------------------------------------------------------------------------------------------------------------


def _pairs(proof: Proof) -> Iterator[Expectation]:
    for item in proof.line.of_kind("trunk", "dc-cable"):
        part = proof.line.part_of(item)
        if not isinstance(part, Cable) or not part.pairs_count or part.conductor_area_mm2 is None:
            continue
        try:
            per_km, _ = ohm_per_km(part)
        except ValueError:
            continue  # no published resistance for this size: nothing to expect
        for n in range(1, part.pairs_count + 1):
            name = f"{item.id}-P{n:02d}" if part.pairs_count > 1 else item.id
            yield _loop(proof, item, name, per_km)
            yield _insulation(proof, item, name)


def _loop(proof: Proof, item: Item, name: str, per_km: float) -> Expectation:
    length = item.length_m or 0.0
    shortest, longest = max(0.0, length - item.tolerance_m), length + item.tolerance_m
    low = LOOP_LOW * 2.0 * float(resistance_ohm(per_km, shortest, TEST_C))
    high = LOOP_HIGH * 2.0 * float(resistance_ohm(per_km, longest, TEST_C))
    code = "power.loop-resistance"
    limit = proof.limits.get(code) or own_limit(
        code, high, "Ω", Sense.AT_MOST, "largest resistance by IEC 60228 at 20 °C over the longest made length, and 5 %"
    )
    return Expectation(
        f"{name}.rloop.20", name, f"Loop resistance of {name}, as read", "loop resistance", "Ω", (low,), (high,),
        f"Pair disconnected at both ends and proved dead. Short at the far end; zero the leads, or four wires. {AS_READ} Remove the short.",
        limit=limit, items=(item.id,), where=BOTH, data={"length_m": length, "ohm_per_km": per_km},
    )  # fmt: skip


def _insulation(proof: Proof, item: Item, name: str) -> Expectation:
    return Expectation(
        f"{name}.ir.250", name, f"Insulation resistance of {name} at 250 V", "insulation resistance", "MΩ",
        (INSULATION_NEW_MEGOHM,), (float("inf"),),
        "Disconnect radios, breakers and surge protection first: 250 V harms them. Line to return, then each to earth, one "
        "minute, 250 V d.c. Write it as it is read; another test voltage under Conditions. Discharge the cable afterwards.",
        limit=proof.limits.get("power.insulation"), items=(item.id,), where=FOOT, data={"test_voltage_v": 250.0},
    )  # fmt: skip


def _voltages(proof: Proof) -> Iterator[Expectation]:
    room = proof.rooms.get("power")
    if room is None:
        return
    high = {f.subject: f for f in room.result.findings if f.code == "power.voltage-high" and f.value is not None}
    lowest = {f.subject: f.limit for f in room.result.findings if f.code == "power.voltage-at-radio"}
    loaded = _loaded_on_float(proof)
    code = "power.voltage-on-site"
    for radio, finding in high.items():
        assert finding.value is not None
        limit = proof.limits.get(code) or lowest.get(radio) or proof.limits.get("power.voltage-at-radio")
        yield Expectation(
            f"{radio}.vdc.float", radio, f"Voltage at {radio} on float", "voltage", "V", (loaded.get(radio, NAN),), (finding.value,),
            "On mains, battery full. Read at the radio's own terminals, and note the load of the moment under Conditions, as 6 A. The low value belongs "
            "to full load on the hottest day, the high one to hardly any load.",
            limit=None if limit is None else replace(limit, code=code, stage=Stage.ACCEPTANCE), items=(radio,), where=TOP,
        )  # fmt: skip


def _loaded_on_float(proof: Proof) -> dict[str, float]:
    """Voltage of each radio on float at full load on the hottest day; empty where the power room can't be asked."""
    from upmast.power.state import Inputs, evaluate

    inputs = proof.rooms["power"].inputs
    if not isinstance(inputs, Inputs) or FLOAT_HOT not in inputs.scenarios:
        return {}
    flow = evaluate(inputs).flow
    row = inputs.scenarios.index(FLOAT_HOT)
    if not flow.exists[row]:
        return {}
    return {radio: float(v) for radio, v in zip(inputs.radios, flow.port_v[row], strict=True) if v > 0}


# --- earth ------------------------------------------------------------------------------------------------------------


def _bonds(proof: Proof) -> Iterator[Expectation]:
    """Each bond, told apart by its height and by where it sits; `where` only sorts the visit."""
    places = bond_places(proof)
    for item in proof.line.of_kind("bond"):
        part = proof.line.part_of(item)
        if not isinstance(part, Bond):
            continue
        many = f", each of {item.count}" if item.count > 1 else ""
        place = places.get(item.id, "")
        on = place if place == f"case of {item.on}" else ", ".join(filter(None, (item.on, place)))
        at = f"at {item.low_m:g} m" + (f", {place}" if place else "")
        yield Expectation(
            f"{item.id}.bond.r", item.id, f"Resistance of bond {item.id} on {on}, at {item.low_m:g} m{many}", "resistance, lug to bar", "mΩ",
            (BOND_LOW_MOHM,), (1000.0 * part.joint_ohm,),
            f"The bond {at}. Four wires, from lug to bar; never open an earth on a live line. Bare metal, then torque, then seal.",
            limit=proof.limits.get("earth.bond-resistance"), items=(item.id, item.on), where=TOP if item.low_m > 2 else FOOT,
            data={"count": item.count},
        )  # fmt: skip


def shield_band_mohm(ohm_per_km: float, item: Item, at_c: float = TEST_C) -> tuple[float, float]:
    """
    Between what a shield of a run should read, to 0.1 mΩ, over the shortest and the longest length that it may be made with.

    Below the first the mast is still in parallel, above the second there is an open or a bad joint.
    """
    length, off = item.length_m or 0.0, item.tolerance_m
    low = float(parallel_path_ohm(shield_expected_ohm(ohm_per_km, max(length - off, 0.0), at_c)))
    high = float(shield_limit_ohm(ohm_per_km, length + off, SHIELD_JOINTS, at_c))
    return round(1e3 * low, 1), round(1e3 * high, 1)


def _shields(proof: Proof) -> Iterator[Expectation]:
    """Continuity of the shield of each run on the mast; what is expected holds at 20 °C."""
    for item in proof.line.of_kind(*RUNS):
        part = proof.line.part_of(item)
        if not isinstance(part, Cable) or part.shield_area_mm2 <= 0 or item.on == "CAB":
            continue
        per_km, length = COPPER_OHM_M * 1e9 / part.shield_area_mm2, item.length_m or 0.0
        low, high = shield_band_mohm(per_km, item)
        code = "earth.shield-resistance"
        limit = proof.limits.get(code) or own_limit(
            code,
            high,
            "mΩ",
            Sense.AT_MOST,
            "copper over its section at 20 °C and the longest made length, 15 %, 1 mΩ a joint",
        )
        yield Expectation(
            f"{item.id}.shield.r20", item.id, f"Resistance of the shield of {item.id}, as read", "shield resistance", "mΩ",
            (low,), (high,),
            "Before the line carries load and before the bonds of the run are closed: four wires from end to end, one end lifted. "
            f"Below {low:.1f} mΩ the mast is still in parallel. Not with thunder in sight or hearing. {AS_READ}",
            limit=limit, items=(item.id,), where=BOTH, data={"length_m": length, "ohm_per_km": per_km},
        )  # fmt: skip


__all__ = [
    "POINTS",
    "band_axis",
    "expectations_of",
    "own_limit",
    "shield_band_mohm",
    "short_limit",
    "strand_id",
    "strand_name",
]
