"""
Worked numbers of constant-power feeders, not through the functions but through a line that is built and the whole power room.

The tables of resistance, the walk through the line, contacts, breakers, the solver and the verdict all take part. The rise of
temperature by current is taken out (no ampacity bounds it), since the numbers are given for a conductor temperature.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import from_text
from upmast.finding import Finding, Verdict
from upmast.line.line import Item, Joint, Line, used_parts
from upmast.power import check
from upmast.power.state import Inputs, evaluate
from upmast.proof.limits import limits_of
from upmast.proof.scenarios import LOW_HOT, scenarios_of
from upmast.site.site import Site

GIVEN = "lead_time_d: 1, source: a test"
BODY = "height_mm: 300, width_mm: 300, depth_mm: 150"
CABLE = f"cost_per_m: 1, mass_kg_per_m: 1, pairs_count: 1, diameter_mm: 20, dc_head: plug, {GIVEN}"
# each pair has 3 mohm in its line wire and 1 mohm in its return wire: a contact of 1 mohm in both, a breaker of 2 mohm in one
PARTS = f"""
parts:
  - {{id: plug, kind: connector, title: p, family: dc, interface: d, gender: plug, {GIVEN}}}
  - {{id: jack, kind: connector, title: j, family: dc, interface: d, gender: jack, {GIVEN}}}
  - {{id: bare, kind: connector, title: b, family: dc, interface: terminal-25, gender: plug, resistance_ohm: RESISTANCE, {GIVEN}}}
  - {{id: breaker, kind: breaker, title: b, rated_a: 63, rated_v: 80, resistance_ohm: BREAKER, breaking_ka: 10, trip_low_multiple: 4,
     trip_high_multiple: 7, {GIVEN}}}
  - {{id: pair-10, kind: trunk, title: t, conductor_area_mm2: 10, conductor_class: 2, dc_foot: bare, {CABLE}}}
  - {{id: pair-16, kind: trunk, title: t, conductor_area_mm2: 16, conductor_class: 2, dc_foot: bare, {CABLE}}}
  - {{id: jumper, kind: dc-jumper, title: j, conductor_area_mm2: 4, conductor_class: 5, dc_foot: plug, {CABLE}}}
  - {{id: box, kind: box, title: b, topology: bussed, dc_in_count: 3, dc_in: jack, dc_out_count: 3, dc_out: jack, output_rated_a: 60,
     total_rated_a: 200, {BODY}, {GIVEN}}}
  - {{id: radio, kind: radio, title: r, maximum_w: 1000, typical_w: 100, minimum_v: 36, cut_out_v: 35, restart_v: 42, dc_connector: jack,
     fibre_connector: jack, optical_ports_count: 0, rf_connector: jack, rf_ports_count: 0, bands: [B3], {BODY}, {GIVEN}}}
"""


def site(emf_v: float, source_ohm: float, air_c: float, powers_w: tuple[float, ...], minimum_v: float = 36.0) -> Site:
    return Site.model_validate(
        {
            "version": 1, "id": "S1",
            "cabinet": {
                "plant": {
                    "float_v": emf_v, "on_battery_v": emf_v, "end_of_discharge_v": emf_v, "source_resistance_ohm": source_ohm,
                }
            },
            "route": {"legs": [{"name": "mast", "kind": "vertical", "length_m": 30}]},
            "mast": {"kind": "lattice", "height_m": 40},
            "climate": {"hot_c": air_c, "mean_c": min(air_c, 40), "cold_c": min(air_c, 20), "sun_w_per_m2": 0},
            "sectors": [{"id": "A", "azimuth_deg": 0}],
            "radios": [
                {"id": f"A{n}", "sector": "A", "part": "radio", "height_m": 30, "maximum_w": p, "typical_w": p, "minimum_v": minimum_v}
                for n, p in enumerate(powers_w, 1)
            ],
        }
    )  # fmt: skip


def line(
    items: tuple[Item, ...], joints: tuple[tuple[str, str], ...], contact_ohm: float = 0.001, breaker_ohm: float = 0.002
) -> Line:
    text = PARTS.replace("RESISTANCE", str(contact_ohm)).replace("BREAKER", str(breaker_ohm))
    parts = {part.id: part for part in from_text(yamlfile.parse(text, "parts.yaml"))}
    whole = (Item("PLANT", "plant", ""), *items)
    return Line("S1", whole, tuple(Joint(a, b) for a, b in joints), used_parts(whole, parts))


def cold_inputs(made: Line, asked: Site) -> Inputs:
    """What the room sees, with conductors at the temperature of the air whatever they carry."""
    seen = check.inputs(made, asked, scenarios_of(asked))
    return replace(seen, reference_a=np.full(seen.reference_a.shape, np.inf))


def findings(seen: Inputs, asked: Site) -> dict[str, Finding]:
    return {f.key: f for f in check.check(seen, limits_of(asked)).findings}


def test_feeder_below_the_service_voltage() -> None:
    """
    43.2 V, 1000 W, 60 m of 16 mm² class 2 at 20 °C: loop 0.138 ohm, 39.726 V, 25.172 A, at most 3380.87 W.

    ETSI EN 300 132-2, 4.2: at least 40.5 V; IEC 60228, table 2: 1.15 ohm/km. So it fails.
    """
    asked = site(43.2, 0.0, 20.0, (1000.0,), minimum_v=40.5)
    made = line(
        (Item("A1-CB", "breaker", "breaker"), Item("T1", "trunk", "pair-16", 60.0), Item("A1", "radio", "radio")),
        (("A1-CB.out", "T1.foot.dc1"), ("T1.head.dc1", "A1.dc")),
        0.0,
        0.0,
    )
    seen = cold_inputs(made, asked)
    found = findings(seen, asked)
    volts = found["power.voltage-at-radio@A1"]
    assert volts.value == pytest.approx(39.726, abs=0.005)
    assert volts.verdict is Verdict.FAILS
    assert volts.limit is not None
    assert volts.limit.value == 40.5
    assert volts.margin == pytest.approx(39.726 - 40.5, abs=0.005)
    assert evaluate(seen).flow.port_a[seen.scenarios.index(LOW_HOT), 0] == pytest.approx(25.172, abs=0.005)
    assert found["power.operating-point@S1"].value == pytest.approx(3380.87 / 1000, abs=5e-5)


@pytest.mark.parametrize(
    ("emf_v", "volts", "amps", "factor"), [(48.0, 43.1016, 18.5608, 2182.55 / 800), (43.2, 37.5822, 21.2867, 2.2098)]
)
def test_one_pair_and_a_jumper_ngspice(emf_v: float, volts: float, amps: float, factor: float) -> None:
    """50 m of 10 mm² class 2 and 5 m of 4 mm² class 5 at 50 °C, 800 W: ngspice operating points."""
    asked = site(emf_v, 0.0, 50.0, (800.0,))
    made = line(
        (
            Item("A1-CB", "breaker", "breaker"), Item("T1", "trunk", "pair-10", 50.0), Item("BX1", "box", "box"),
            Item("A1-D1", "dc-jumper", "jumper", 5.0), Item("A1", "radio", "radio"),
        ),
        (("A1-CB.out", "T1.foot.dc1"), ("T1.head.dc1", "BX1.in.dc1"), ("BX1.out.dc1", "A1-D1.foot.dc1"), ("A1-D1.head.dc1", "A1.dc")),
    )  # fmt: skip
    seen = cold_inputs(made, asked)
    found, state = findings(seen, asked), evaluate(seen)
    row = seen.scenarios.index(LOW_HOT)
    assert found["power.voltage-at-radio@A1"].value == pytest.approx(volts, abs=6e-5)
    assert state.flow.port_a[row, 0] == pytest.approx(amps, abs=6e-5)
    assert state.branch_ohm[row].sum() == pytest.approx(0.2639118, abs=5e-8)
    if emf_v == 43.2:
        assert found["power.operating-point@S1"].value == pytest.approx(factor, abs=6e-5)
    else:
        assert found["power.operating-point@S1"].value == pytest.approx(factor, rel=3e-5)


def test_unequal_pairs_on_one_bar_ngspice() -> None:
    """46 V behind 10 mohm; 80 m of 16, 16 and 10 mm² at 45 °C to a bussed box; jumpers of 2, 4, 6 m; 500, 900, 700 W: ngspice."""
    asked = site(46.0, 0.010, 45.0, (500.0, 900.0, 700.0))
    items: list[Item] = [Item("BX1", "box", "box")]
    joints: list[tuple[str, str]] = []
    for n, (part, run) in enumerate((("pair-16", 2.0), ("pair-16", 4.0), ("pair-10", 6.0)), 1):
        items += [
            Item(f"T{n}-CB", "breaker", "breaker"), Item(f"T{n}", "trunk", part, 80.0),
            Item(f"A{n}-D1", "dc-jumper", "jumper", run), Item(f"A{n}", "radio", "radio"),
        ]  # fmt: skip
        joints += [
            (f"T{n}-CB.out", f"T{n}.foot.dc1"), (f"T{n}.head.dc1", f"BX1.in.dc{n}"),
            (f"BX1.out.dc{n}", f"A{n}-D1.foot.dc1"), (f"A{n}-D1.head.dc1", f"A{n}.dc"),
        ]  # fmt: skip
    seen = cold_inputs(line(tuple(items), tuple(joints)), asked)
    found = findings(seen, asked)
    volts = [found[f"power.voltage-at-radio@A{n}"].value for n in (1, 2, 3)]
    assert volts == pytest.approx([41.1673, 40.4641, 40.2983], abs=6e-5)
    flow = evaluate(seen).flow.branch_a[seen.scenarios.index(LOW_HOT)]
    by = {(item, kind): abs(a) for item, kind, a in zip(seen.item, seen.kind, flow, strict=True)}
    np.testing.assert_allclose([by[f"T{n}", "line"] for n in (1, 2, 3)], [19.6408, 19.6408, 12.4763], atol=6e-5)
    np.testing.assert_allclose([by[f"T{n}", "return"] for n in (1, 2, 3)], [19.6745, 19.6745, 12.4089], atol=6e-5)
    np.testing.assert_allclose([by[f"T{n}-CB", "breaker"] for n in (1, 2, 3)], [19.6408, 19.6408, 12.4763], atol=6e-5)
    assert found["power.operating-point@S1"].value == pytest.approx(2.386, abs=6e-4)
