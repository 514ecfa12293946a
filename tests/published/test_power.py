"""Published numbers and ngspice operating points for the power room."""

from __future__ import annotations

import numpy as np
import pytest

from upmast import power
from upmast.power.cells import linear
from upmast.power.discharge import discharge
from upmast.table import read


class Wires:
    """Collects branches by node name; the source lies between 'source' and 'return'."""

    def __init__(self, emf_v: float, source_ohm: float) -> None:
        self.names = {"source": 0, "return": 1}
        self.ends: list[tuple[int, int]] = []
        self.ohm: list[float] = []
        self.ports: list[tuple[int, int]] = []
        self.emf_v = emf_v
        self.join("source", "bar", source_ohm)

    def node(self, name: str) -> int:
        return self.names.setdefault(name, len(self.names))

    def join(self, a: str, b: str, ohm: float) -> int:
        self.ends.append((self.node(a), self.node(b)))
        self.ohm.append(float(ohm))
        return len(self.ohm) - 1

    def pair(
        self, length_m: float, area: float, cls: int, t_c: float, a: str, b: str, c: str, d: str, extra: bool
    ) -> tuple[int, int]:
        """Line from a to b, return from c to d; a trunk pair has 3 and 1 mohm of joints."""
        wire = float(power.resistance_ohm(power.conductor_ohm_per_km(area, cls), length_m, t_c))
        return self.join(a, b, wire + 0.003 * extra), self.join(c, d, wire + 0.001 * extra)

    def load(self, plus: str, minus: str) -> None:
        self.ports.append((self.node(plus), self.node(minus)))

    def network(self) -> power.Network:
        ends, ports = np.array(self.ends), np.array(self.ports)
        return power.Network(
            len(self.names),
            ends[:, 0],
            ends[:, 1],
            np.array(self.ohm),
            0,
            1,
            np.array(self.emf_v),
            ports[:, 0],
            ports[:, 1],
        )


def test_one_pair_ngspice() -> None:
    """One 50 m 10 mm2 pair at 50 C, 5 m jumper of 4 mm2, 800 W: ngspice operating point."""
    wires = Wires(48.0, 0.0)
    wires.pair(50, 10, 2, 50, "bar", "box+", "return", "box-", True)
    wires.pair(5, 4, 5, 50, "box+", "radio+", "box-", "radio-", False)
    wires.load("radio+", "radio-")
    loop = sum(wires.ohm)
    assert loop == pytest.approx(0.2639118, abs=5e-8)
    flow = power.single(48.0, loop, 800.0)
    net = power.solve(wires.network(), [800.0])
    for v, i, loss in (
        (flow.voltage_v, flow.current_a, flow.loss_w),
        (net.port_v[0], net.port_a[0], net.source_w - 800.0),
    ):
        assert v == pytest.approx(43.1016, abs=6e-5)
        assert i == pytest.approx(18.5608, abs=6e-5)
        assert loss == pytest.approx(90.92, abs=6e-3)
    assert flow.largest_power_w == pytest.approx(2182.55, abs=6e-3)
    wires.emf_v = 43.2
    low = power.solve(wires.network(), [800.0])
    assert low.port_v[0] == pytest.approx(37.5822, abs=6e-5)
    assert low.port_a[0] == pytest.approx(21.2867, abs=6e-5)
    assert power.collapse_factor(wires.network(), [800.0]) == pytest.approx(2.2098, abs=6e-5)
    p_max = float(power.largest_power_w(43.2, loop))
    assert power.solve(wires.network(), [p_max * 0.9999]).exists
    beyond = power.solve(wires.network(), [p_max * 1.0001])
    assert not beyond.exists
    assert beyond.certified
    assert not power.single(43.2, loop, p_max * 1.0001).exists


def test_bussed_box_unequal_pairs_ngspice() -> None:
    """Three unequal pairs in parallel to a bussed box, 80 m at 45 C, three radios: ngspice operating point."""
    wires = Wires(46.0, 0.010)
    lines, returns = zip(
        *(wires.pair(80, area, 2, 45, "bar", "box+", "return", "box-", True) for area in (16, 16, 10)), strict=True
    )
    for k, length in enumerate((2, 4, 6)):
        wires.pair(length, 4, 5, 45, "box+", f"r{k}+", "box-", f"r{k}-", False)
        wires.load(f"r{k}+", f"r{k}-")
    found = power.solve(wires.network(), [500.0, 900.0, 700.0])
    assert found.exists
    assert found.certified
    np.testing.assert_allclose(found.port_v, [41.1673, 40.4641, 40.2983], atol=6e-5)
    np.testing.assert_allclose(found.branch_a[list(lines)], [19.6408, 19.6408, 12.4763], atol=6e-5)
    np.testing.assert_allclose(-found.branch_a[list(returns)], [19.6745, 19.6745, 12.4089], atol=6e-5)
    assert power.collapse_factor(wires.network(), [500.0, 900.0, 700.0]) == pytest.approx(2.386, abs=6e-4)


@pytest.mark.parametrize(
    ("common", "volts", "return_a", "shield_a"),
    [(True, [43.8589, 43.9733], 8.5970, 6.7197), (False, [43.4061, 43.5217], 12.0813, 0.0)],
    ids=["DC-C", "DC-I"],
)
def test_shield_as_return_ngspice(common: bool, volts: list[float], return_a: float, shield_a: float) -> None:
    """Two pairs to a bussed box with the shield bonded at both ends or at one: ngspice operating points."""
    wires = Wires(47.0, 0.005)
    returns = [wires.pair(60, 10, 2, 50, "bar", "box+", "return", "box-", True)[1] for _ in range(2)]
    for k in range(2):
        wires.pair(3, 4, 5, 50, "box+", f"r{k}+", "box-", f"r{k}-", False)
        wires.load(f"r{k}+", f"r{k}-")
    metal = float(power.resistance_ohm(2.4, 60, 40)) + 0.003
    shield = wires.join("box-", "return", metal if common else np.inf)
    found = power.solve(wires.network(), [600.0, 450.0])
    np.testing.assert_allclose(found.port_v, volts, atol=6e-5)
    np.testing.assert_allclose(-found.branch_a[returns], [return_a] * 2, atol=6e-5)
    assert found.branch_a[shield] == pytest.approx(shield_a, abs=6e-5)
    if common:  # one of two returns open: the radios lose little and the shield takes 10.6 A
        wires.ohm[returns[0]] = np.inf
        broken = power.solve(wires.network(), [600.0, 450.0])
        assert np.max(found.port_v - broken.port_v) == pytest.approx(0.65, abs=6e-3)
        assert broken.branch_a[shield] == pytest.approx(10.6, abs=0.06)


def test_voltage_raised_at_the_base_ngspice() -> None:
    """A 56 V converter (0.96, 10 W) feeding two straight 80 m pairs from a 44 V plant: ngspice operating point."""
    wires = Wires(56.0, 0.0)
    for k in range(2):
        wires.pair(80, 6, 2, 50, "bar", f"b{k}+", "return", f"b{k}-", True)
        wires.pair(4, 4, 5, 50, f"b{k}+", f"r{k}+", f"b{k}-", f"r{k}-", False)
        wires.load(f"r{k}+", f"r{k}-")
    out = power.solve(wires.network(), [700.0, 900.0])
    np.testing.assert_allclose(out.port_v, [47.0940, 43.6444], atol=6e-5)
    assert out.source_w / 56.0 == pytest.approx(35.4851, abs=6e-5)
    plant = power.single(44.0, 0.010, out.source_w / 0.96 + 10.0)
    assert plant.voltage_v == pytest.approx(43.5221, abs=6e-5)
    assert plant.current_a == pytest.approx(47.7910, abs=6e-5)


def test_battery_time_quadrature() -> None:
    """E = 51 - 5 dod, 12 mohm, 100 Ah, one 900 W load behind 0.30 ohm until 40.5 V: independent quadrature."""
    line = power.Network(4, [0, 1], [2, 3], [0.15, 0.15], 0, 1, 51.0, [2], [3])  # type: ignore[arg-type]
    run = discharge(linear(51.0, 46.0, 0.012, 100.0), line, [900.0], 40.5)
    assert run.event_radio.tolist() == [0]
    assert run.first_a == pytest.approx(20.1247, abs=6e-5)
    assert run.event_a[0] == pytest.approx(22.2222, abs=6e-5)
    assert run.stop_dod == pytest.approx(0.713333, abs=6e-7)
    assert run.minutes[0] * 60 == pytest.approx(12161.9, abs=0.06)


def test_drop_per_ampere_and_metre_bs7671() -> None:
    """BS 7671 appendix 4, two-core DC at 70 C: 29, 18, 11, 7.3, 4.4, 2.8 mV/A/m."""
    for area, printed in ((1.5, 29), (2.5, 18), (4, 11), (6, 7.3), (10, 4.4), (16, 2.8)):
        loop = 2 * power.resistance_ohm(power.conductor_ohm_per_km(area, 2), 1.0, 70.0)
        assert 1000 * loop == pytest.approx(printed, rel=0.025)


@pytest.mark.parametrize("insulation", ["pvc70", "xlpe90"])
def test_ambient_factors_iec60364(insulation: str) -> None:
    """IEC 60364-5-52, table B.52.14: the closed form gives each value to its two decimals."""
    table = read("upmast.power", "ambient_iec60364")
    seen = 0
    for ambient, printed in zip(table.numbers("ambient_c"), table.numbers(insulation), strict=True):
        if not np.isnan(printed):
            assert power.ambient_factor(ambient, insulation) == pytest.approx(printed, abs=0.00501)  # type: ignore[arg-type]
            seen += 1
    assert seen >= 11


def test_derated_capacity_iec60364() -> None:
    """16 mm2 XLPE, 45 C, three circuits on a perforated tray: 115 x 0.87 x 0.82 = 82.0 A from the rounded table factors."""
    base, group = power.reference_ampacity_a(16), power.grouping_factor(3, "perforated_tray")
    assert (base, group) == (115.0, 0.82)
    assert base * round(float(power.ambient_factor(45.0)), 2) * group == pytest.approx(82.04, abs=0.05)
    # unrounded factor: within the half digit of the printed one
    assert power.ampacity_a(16, "xlpe90", 45, 3, "perforated_tray") == pytest.approx(82.04, abs=0.005 * 115 * 0.82)


def test_adiabatic_k_iec60364() -> None:
    """IEC 60364-5-54: copper 115 for PVC, 143 for XLPE; aluminium 76 and 94."""
    np.testing.assert_allclose(power.adiabatic_k([70, 90], [160, 250]), [115, 143], atol=0.3)
    np.testing.assert_allclose(power.adiabatic_k([70, 90], [160, 250], "aluminium"), [76, 94], atol=0.5)


def test_float_voltage_of_a_string() -> None:
    """A -48 V battery plant engineering manual of the 1990s: 24 cells at 2.27 V."""
    assert power.float_v(24, 2.27) == pytest.approx(54.48, abs=0.005)


def test_constant_power_feeder_below_the_interface_limit() -> None:
    """43.2 V, 1000 W, 0.138 ohm (60 m of 16 mm2): below the -40.5 V of ETSI EN 300 132-2."""
    loop = 2 * power.resistance_ohm(power.conductor_ohm_per_km(16), 60.0, 20.0)
    assert loop == pytest.approx(0.138)
    flow = power.single(43.2, loop, 1000.0)
    assert flow.voltage_v == pytest.approx(39.726, abs=0.005)
    assert flow.current_a == pytest.approx(25.172, abs=0.005)
    assert flow.largest_power_w == pytest.approx(3380.87, abs=0.005)
    assert flow.voltage_v < 40.5
    assert power.largest_loop_ohm(43.2, 40.5, 1000.0) < loop


def test_awg_nec_and_astm() -> None:
    """NFPA 70 chapter 9 table 8 areas (1 cmil = 5.067e-4 mm2) against the ASTM B258 equation."""
    for row in read("upmast.power", "conductors_awg").rows:
        assert power.awg_area_mm2(row["awg"]) == pytest.approx(float(row["circular_mils"]) * 5.067075e-4, rel=2e-3)
    assert power.awg_ohm_per_km("4/0") == pytest.approx(0.164, abs=5e-5)
    assert power.awg_ohm_per_km(14, stranded=False) == pytest.approx(8.282, abs=5e-4)
