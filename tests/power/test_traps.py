"""
Eighteen mistakes that people make when they size the DC of an antenna line, each with a test that would catch it.

Numbers of the first four are for 50 m of 10 mm2, 800 W, 43.2 V and conductors at 60 C; sources stand beside the checks.
"""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from upmast.catalogue.part import Breaker
from upmast.finding import Verdict
from upmast.line.build import build
from upmast.line.line import Line
from upmast.power import check as power
from upmast.power.cells import linear
from upmast.power.discharge import discharge
from upmast.power.energy import annual_loss_kwh
from upmast.power.load_flow import single
from upmast.power.network import Network, solve
from upmast.power.resistance import conductor_ohm_per_km, resistance_ohm
from upmast.power.state import yearly_loss_w
from upmast.power.trip import TripCurve, trip_band_s
from upmast.site.site import Converter, Site


def _lines() -> ModuleType:
    spec = importlib.util.spec_from_file_location("lines", Path(__file__).parent / "lines.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


_known = _lines()
SITE: Site = _known.SITE
LINE: Line = _known.LINE
CATALOGUE = _known.CATALOGUE
checked, choice, found = _known.checked, _known.choice, _known.found

E_LOW, WATTS, METRES, CUT_OUT_V = 43.2, 800.0, 50.0, 38.0


def wire(theta_c: float) -> float:
    return float(resistance_ohm(conductor_ohm_per_km(10.0), METRES, theta_c))


# the jumper and joints of the published case: 5 m of 4 mm2 class 5, a pair with 3 and 1 mohm of joints
def loop(theta_c: float, ways: int = 2) -> float:
    jumper = float(resistance_ohm(conductor_ohm_per_km(4.0, 5), 5.0, theta_c))
    return ways * (wire(theta_c) + jumper) + (0.004 if ways == 2 else 0.003)


TRUE_V = float(single(E_LOW, loop(60.0), WATTS).voltage_v)


def _with(site: Site, **plant: object) -> Site:
    cabinet = site.cabinet.model_copy(update={"plant": site.cabinet.plant.model_copy(update=plant)})
    return site.model_copy(update={"cabinet": cabinet})


def _policy(site: Site, **policy: object) -> Site:
    return site.model_copy(update={"policy": site.policy.model_copy(update=policy)})


def _parts(line: Line, id: str, **update: object) -> Line:
    part = line.parts[id]
    return replace(line, parts={**line.parts, id: part.model_copy(update=update)})


def bussed_line() -> Line:
    return build(SITE, CATALOGUE, choice("trunk-6x16-24f", "box-bussed-6-lc", pair_breaker="breaker-32"))


def test_the_truth_fails_where_four_shortcuts_pass() -> None:
    """1 to 4: 48 V nominal, 20 C resistance, one-way length and a constant current each say that 38.0 V is kept."""
    nominal = float(single(48.0, loop(60.0), WATTS).voltage_v)
    cold = float(single(E_LOW, loop(20.0), WATTS).voltage_v)
    one_way = float(single(E_LOW, loop(60.0, 1), WATTS).voltage_v)
    constant = E_LOW - loop(60.0) * WATTS / 48.0
    assert TRUE_V < CUT_OUT_V
    assert min(nominal, cold, one_way, constant) > CUT_OUT_V
    # worked example of our own, checked by ngspice: 37.5, 38.4, 38.8, 40.5 and 43.0 V
    for value, known in ((TRUE_V, 37.5), (cold, 38.4), (constant, 38.8), (one_way, 40.5), (nominal, 43.0)):
        assert value == pytest.approx(known, abs=0.3)


def test_1_the_room_sizes_at_the_lowest_voltage_not_at_nominal() -> None:
    inputs, result = checked(SITE, LINE)
    f = found(result, "power.voltage-at-radio", "A1")
    assert f.scenario == "low-hot"
    assert inputs.emf_v.min() == SITE.cabinet.plant.end_of_discharge_v < 48.0


def test_2_conductors_are_hot() -> None:
    inputs, _ = checked(SITE, LINE)
    state = power.evaluate(inputs)
    wires = inputs.length_m > 0
    assert np.all(state.used_c[0, wires] > SITE.climate.hot_c)
    at_20 = inputs.ohm_per_km * inputs.length_m / 1000 + inputs.fixed_ohm
    assert np.all(state.branch_ohm[0, wires] > 1.1 * at_20[wires] * (1 - inputs.fixed_ohm[wires] / at_20[wires]))


def test_3_line_and_return_both_drop() -> None:
    """The path of a radio has a line and a return wire of each cable, and the drops of both add up to what is lost."""
    inputs, _ = checked(SITE, LINE)
    flow = power.evaluate(inputs).flow
    state = power.evaluate(inputs)
    for kind in ("line", "return"):
        b = next(b for b, k in enumerate(inputs.kind) if k == kind and inputs.item[b] == "T1" and inputs.pair[b] == 1)
        assert abs(flow.branch_a[0, b]) * state.branch_ohm[0, b] > 0.3
    out = sum(abs(flow.branch_a[0, b]) for b, k in enumerate(inputs.kind) if k == "line" and inputs.item[b] == "T1")
    back = sum(abs(flow.branch_a[0, b]) for b, k in enumerate(inputs.kind) if k == "return" and inputs.item[b] == "T1")
    assert out == pytest.approx(back)


def test_4_the_current_rises_as_the_voltage_falls() -> None:
    inputs, _ = checked(SITE, LINE)
    flow = power.evaluate(inputs).flow
    low, high = int(np.argmin(inputs.emf_v)), int(np.argmax(inputs.emf_v * (inputs.load_fraction >= 1)))
    assert np.all(flow.port_a[low] > flow.port_a[high])
    assert np.allclose(flow.port_v[low] * flow.port_a[low], inputs.maximum_w)


def test_5_near_collapse_the_low_root_is_never_taken_and_nothing_is_nan() -> None:
    r, e = loop(60.0), E_LOW
    most = e * e / (4 * r)
    pair = Network(4, [0, 1], [2, 3], [r / 2, r / 2], 0, 1, e, [2], [3])
    flow = solve(pair, (most * np.array([0.9, 0.999, 0.999999, 1.000001, 1.1]))[:, None])
    assert flow.exists.tolist() == [True, True, True, False, False]
    assert np.all(flow.port_v[:3, 0] > e / 2)
    assert np.all(flow.certified)


def test_6_a_few_sweeps_are_not_enough_near_collapse() -> None:
    """After five sweeps at 0.98 of what the pair can give a fixed point is still 1.3 V off (own calculation); we are not."""
    r, e = 0.25, 42.0
    power_w = 0.98 * e * e / (4 * r)
    v = e
    for _ in range(5):
        v = e - r * power_w / v
    pair = Network(4, [0, 1], [2, 3], [r / 2, r / 2], 0, 1, e, [2], [3])
    exact = float(single(e, r, power_w).voltage_v)
    assert v - exact == pytest.approx(1.31, abs=0.01)
    assert float(solve(pair, [power_w]).port_v[0]) == pytest.approx(exact, abs=1e-9)


def test_7_unequal_pairs_share_unequally() -> None:
    """16 and 10 mm2 to one bus: currents go as the conductances, not half and half."""
    ohm = np.array([0.05, 0.08, 0.05, 0.08])
    two = Network(4, [0, 0, 3, 3], [2, 2, 1, 1], ohm, 0, 1, 46.0, [2], [3])
    flow = solve(two, [1000.0])
    assert flow.branch_a[0] / flow.branch_a[1] == pytest.approx(0.08 / 0.05)
    inputs, result = checked(SITE, bussed_line())
    assert inputs.breakers
    measured = SITE.model_copy(update={"measured_loops": (_loop("T1", 1, 0.35), _loop("T1", 2, 0.15))})
    uneven, judged = checked(measured, bussed_line())
    amps = [f.value for f in judged.findings if f.code == "power.design-current" and f.subject.startswith("T1-CB")]
    even = [f.value for f in result.findings if f.code == "power.design-current" and f.subject.startswith("T1-CB")]
    assert max(a for a in amps if a is not None) > 1.2 * max(a for a in even if a is not None)
    del uneven


def _loop(item: str, pair: int, ohm: float) -> object:
    from upmast.site.site import MeasuredLoop

    return MeasuredLoop(item=item, pair=pair, loop_ohm=ohm, at_c=20.0, source="invented for this test")


def test_8_a_spare_on_one_side_only_is_not_half_the_loop() -> None:
    base = Network(4, [0, 3], [2, 1], [0.1, 0.1], 0, 1, 46.0, [2], [3])
    one_side = Network(4, [0, 0, 3], [2, 2, 1], [0.1, 0.1, 0.1], 0, 1, 46.0, [2], [3])
    both = Network(4, [0, 3], [2, 1], [0.05, 0.05], 0, 1, 46.0, [2], [3])
    volts = [float(solve(n, [900.0]).port_v[0]) for n in (base, one_side, both)]
    assert volts[0] < volts[1] < volts[2]
    assert volts[1] == pytest.approx(float(single(46.0, 0.15, 900.0).voltage_v))


def test_9_battery_feeder_and_base_load_are_in_every_voltage() -> None:
    with_drop = _with(SITE, source_resistance_ohm=0.01, base_load_w=2000.0)
    for site in (_with(SITE, source_resistance_ohm=0.01), with_drop):
        assert _volts(site, "A1") < _volts(_with(SITE, source_resistance_ohm=0.0), "A1")
    assert _volts(with_drop, "A1") < _volts(_with(SITE, source_resistance_ohm=0.01), "A1") - 0.3


def _volts(site: Site, radio: str, line: Line = LINE) -> float:
    value = found(checked(site, line)[1], "power.voltage-at-radio", radio).value
    assert value is not None
    return value


def test_10_the_design_current_is_that_of_the_lowest_voltage() -> None:
    inputs, result = checked(SITE, LINE)
    breaker = next(f for f in result.findings if f.code == "power.design-current")
    assert breaker.scenario == "low-hot"
    assert breaker.value is not None
    assert breaker.value > 1.15 * float(inputs.maximum_w.max()) / 48.0


def test_11_a_far_end_fault_is_judged_by_what_the_breaker_takes_not_by_overload_alone() -> None:
    """A fault of a few times In is cleared by heat, in seconds to minutes: told, and the wire's heat in that time judged."""
    long = replace(LINE, items=tuple(replace(i, length_m=120.0) if i.id == "T1" else i for i in LINE.items))
    _, result = checked(SITE, long)
    fault = next(f for f in result.figures if f.code == "power.far-end-fault" and f.subject == "A1")
    breaker = long.parts["breaker-40"]
    assert isinstance(breaker, Breaker)
    assert fault.value < breaker.trip_high_multiple * breaker.rated_a
    assert "heat" in fault.note
    withstand = [f for f in result.findings if f.code == "power.fault-withstand"]
    assert withstand
    assert all(f.verdict is Verdict.PASSES for f in withstand)
    slow = _parts(long, "breaker-40", trip_points=_slow(breaker))
    _, judged = checked(SITE, slow)
    assert any(f.code == "power.fault-withstand" and f.verdict is Verdict.FAILS for f in judged.findings)
    blind = _parts(long, "breaker-40", trip_points=())
    _, unknown = checked(SITE, blind)
    lost = [f for f in unknown.findings if f.code == "power.fault-withstand"]
    assert all(f.verdict is Verdict.NOT_JUDGED and "trip curve" in f.missing[0] for f in lost)


def _slow(breaker: Breaker) -> tuple[object, ...]:
    return tuple(p.model_copy(update={"longest_s": max(p.longest_s, 900.0)}) for p in breaker.trip_points)


def test_12_a_cable_has_its_section_or_a_group_factor_never_both() -> None:
    by_section, _ = checked(SITE, LINE)
    by_table, _ = checked(_policy(SITE, trunk_heat="table"), LINE)
    trunk = [b for b, item in enumerate(by_section.item) if item == "T1"]
    assert np.all(np.isinf(by_section.reference_a[trunk]))
    assert {b for t in by_section.trunks for b in t.branches} == set(trunk)
    assert np.all(np.isfinite(by_table.reference_a[trunk]))
    assert not by_table.trunks
    # and one of them there must be: loaded neighbours warm a pair either way
    for inputs in (by_section, by_table):
        alone = power.evaluate(inputs).temperature_c[0, trunk].max()
        assert alone > SITE.climate.hot_c + 5


def test_13_the_shield_is_no_copper_without_its_bond() -> None:
    isolated = _volts(SITE, "A1", bussed_line())
    common, result = checked(_with(SITE, dc_return="common"), bussed_line())
    f = found(result, "power.voltage-at-radio", "A1")
    assert f.value is not None
    assert f.value > isolated
    assert any(k == "shield" for k in common.kind)
    shield = next(x for x in result.figures if x.code == "power.shield-current")
    assert shield.value > 0
    opened = next(x for x in result.figures if x.code == "power.bond-open-figure")
    same = _volts(SITE, opened.subject, bussed_line())
    assert opened.value == pytest.approx(same, abs=0.02)
    without, _ = checked(SITE, bussed_line())
    assert not any(k == "shield" for k in without.kind)


CONVERTER = Converter(set_v=54.0, maximum_v=57.0, efficiency_fraction=0.95, idle_w=20.0, limit_w=6000.0)


def test_14_the_converter_draws_its_current_at_the_lowest_battery() -> None:
    site = _with(SITE, converter=CONVERTER)
    inputs, result = checked(site, LINE)
    figure = next(f for f in result.figures if f.code == "power.converter-input")
    flow = power.evaluate(inputs).flow
    low = int(np.argmin(inputs.emf_v))
    assert figure.value == pytest.approx(float(flow.input_w[low] / flow.bars_v[low]))
    assert figure.value > float(flow.input_w[low]) / 48.0 * 1.05
    assert _volts(site, "A1") > _volts(SITE, "A1") + 5


def test_15_minutes_are_not_ampere_hours_times_48_over_power() -> None:
    """51 - 5 d V, 12 mohm, 100 Ah, 0.30 ohm, 900 W, cut-out 40.5 V: 12161.9 s by quadrature, 19200 s by the rule of thumb."""
    pair = Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, 51.0, [2], [3])
    run = discharge(linear(51.0, 46.0, 0.012, 100.0), pair, [900.0], 40.5)
    assert 60 * float(run.minutes[0]) == pytest.approx(12161.9, abs=0.05)
    assert pytest.approx(19200.0) == 100 * 48.0 / 900.0 * 3600


def test_16_losses_are_summed_state_by_state() -> None:
    """The loss of the mean load is always less: I^2 is convex."""
    inputs, result = checked(SITE, LINE)
    losses = yearly_loss_w(inputs)
    fractions, hours = (np.array(x) for x in zip(*inputs.load_states, strict=True))
    year = float((losses * hours).sum()) * 365.25 / 1000
    figure = next(f for f in result.figures if f.code == "power.energy")
    assert figure.value == pytest.approx(year)
    mean = float((fractions * hours).sum() / 24)
    flat = replace(inputs, load_states=((mean, 24.0),))
    assert float(yearly_loss_w(flat)[0]) * 24 * 365.25 / 1000 < 0.9 * year
    assert float(annual_loss_kwh(hours * 365, losses)) == pytest.approx(year * 365 / 365.25)


def test_17_a_bus_couples_the_radios() -> None:
    """On a bussed box one radio's power pulls the others down, so no radio has a verdict of its own."""
    more = SITE.model_copy(
        update={"radios": tuple(r.model_copy(update={"maximum_w": 1300.0}) if r.id == "A2" else r for r in SITE.radios)}
    )
    assert _volts(more, "A1", bussed_line()) < _volts(SITE, "A1", bussed_line()) - 0.05
    f = found(checked(SITE, bussed_line())[1], "power.voltage-at-radio", "A1")
    assert "T1" in f.items


def test_18_light_load_at_the_highest_voltage_is_judged_too() -> None:
    high = _with(SITE, float_v=57.5)
    f = found(checked(high, LINE)[1], "power.voltage-high", "A1")
    assert f.scenario == "float-light"
    assert f.verdict is Verdict.FAILS
    raised = _with(SITE, converter=CONVERTER.model_copy(update={"set_v": 56.5, "regulation_v": 0.8}))
    over = found(checked(raised, LINE)[1], "power.voltage-high", "A1")
    assert over.value == pytest.approx(56.5 + 0.8, abs=0.2)
    assert over.verdict is Verdict.FAILS
    touch = next(f for f in checked(raised, LINE)[1].findings if f.code == "power.converter-voltage")
    assert touch.verdict is Verdict.NOT_JUDGED  # 60 V is from memory until the site confirms it


def test_doubling_both_conductors_of_a_pair_never_lowers_a_voltage() -> None:
    """Two unequal pairs, line and return apart, to a bussed box with two jumpers; 200 random sets of resistances."""
    rng = np.random.default_rng(7)
    start, end = [0, 3, 0, 3, 2, 5, 2, 7], [2, 1, 2, 1, 4, 3, 6, 3]
    ohm = rng.uniform(0.01, 0.3, (200, 8))
    halved = ohm * np.where(np.arange(8) < 2, 0.5, 1.0)
    flow, better = (solve(Network(8, start, end, r, 0, 1, 48.0, [4, 6], [5, 7]), [500.0, 700.0]) for r in (ohm, halved))
    assert flow.exists.sum() > 100
    assert np.all(better.exists[flow.exists])
    assert np.all((better.port_v >= flow.port_v - 1e-9)[flow.exists])


def test_a_voltage_falls_with_length_power_and_temperature() -> None:
    inputs, _ = checked(SITE, bussed_line())
    base = power.evaluate(inputs)
    length, watts, warm = (
        power.evaluate(replace(inputs, **{name: getattr(inputs, name) * 1.1}))
        for name in ("length_m", "maximum_w", "ambient_c")
    )
    for worse in (length, watts, warm):
        assert np.all(worse.flow.port_v[0] < base.flow.port_v[0])


def test_trip_times_never_rise_with_the_current() -> None:
    curve = TripCurve([1.45, 2.55, 7], [60, 5, 0.002], [3600, 60, 0.1], 1.13)
    short, long = trip_band_s(curve, np.geomspace(1.0, 1000.0, 200), 20.0)
    assert all(a >= b for times in (short, long) for a, b in pairwise(times))
