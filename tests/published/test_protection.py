"""Published numbers for protection: k of conductors, heating, inductance, rules and bands; ngspice results as recorded."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.power.inrush import inrush_a2s, pair_inductance_h_per_m, peak_a, peak_time_s, stability
from upmast.power.protection import adiabatic_k, breaker_window, parallel_fault
from upmast.power.trip import INSTANTANEOUS_DC, TripCurve, continuous_rule, derate_fraction, overload, trip_band_s
from upmast.power.withstand import (
    adiabatic_fraction,
    final_temperature_c,
    service_k,
    time_to_limit_s,
    transient_temperature_c,
)


def test_k_of_conductors_bs7671() -> None:
    """BS 7671 and IEC 60364-5-54, table of k, from a public reproduction: copper, aluminium, steel."""
    for start, end, printed in (
        (70, 160, (115, 76, 42)),
        (70, 140, (103, 68, 37)),
        (90, 160, (100, 66, 36)),
        (90, 140, (86, 57, 31)),
        (90, 250, (143, 94, 52)),
        (60, 200, (141, 93, 51)),
        (85, 220, (134, 89, 48)),
        (180, 350, (132, 87, 47)),
    ):
        found = [float(adiabatic_k(start, end, m)) for m in ("copper", "aluminium", "steel")]
        np.testing.assert_allclose(found, printed, atol=0.65, err_msg=f"{start} to {end}")
    assert round(service_k("pvc70")) == 115
    assert round(service_k("xlpe90")) == 143


def test_least_section_of_a_worked_example() -> None:
    """A public worked example of the adiabatic equation: 13.6 kA for 2.6 s needs 154 mm2 of copper with k = 143."""
    area = np.sqrt(float(adiabatic_fraction(13600.0, 2.6, 1.0, 143.0)))
    assert area == pytest.approx(154, abs=0.75)
    assert adiabatic_fraction(13600.0, 2.6, 154.0, 143.0) <= 1
    assert adiabatic_fraction(13600.0, 2.6, 150.0, 143.0) > 1
    # another: 12 kA for 0.02 s and k = 143 needs 11.9 mm2
    assert adiabatic_fraction(12000.0, 0.02, 11.9, 143.0) == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize(("start", "end"), [(75.0, 150.0), (90.0, 250.0), (60.0, 200.0)])
def test_final_temperature_by_the_american_equation(start: float, end: float) -> None:
    """ICEA P-32-382 (from memory): (I / A)^2 t = 0.0297 log10((T2 + 234) / (T1 + 234)), A in circular mils, copper."""
    area_mm2, time = 33.6, 0.4
    mils = area_mm2 / 5.067075e-4
    current = mils * np.sqrt(0.0297 * np.log10((end + 234) / (start + 234)) / time)
    found = final_temperature_c(start, current, time, area_mm2)
    assert found - start == pytest.approx(end - start, rel=0.03)  # their K is 224 A sqrt(s)/mm2, that of IEC 226
    assert found < end


def test_fusing_by_onderdonk() -> None:
    """Onderdonk (from memory): 33 t (I / A)^2 = log10((1083 - Ta) / (234 + Ta) + 1), A in circular mils: copper melts."""
    area_mm2, ambient, time = 10.0, 40.0, 1.0
    current = area_mm2 / 5.067075e-4 * np.sqrt(np.log10((1083 - ambient) / (234 + ambient) + 1) / (33 * time))
    assert time_to_limit_s(current, area_mm2, ambient, 1083.0, ambient, 0.0, 90.0) == pytest.approx(time, rel=0.01)


@pytest.mark.parametrize(
    ("insulation", "x", "y", "known"), [("pvc70", 0.29, 0.06, (60.0, 70.0)), ("xlpe90", 0.41, 0.12, (75.0, 90.0))]
)
def test_a_core_that_loses_heat_iec60949(insulation: str, x: float, y: float, known: tuple[float, float]) -> None:
    """
    IEC 60949 (from memory): I = I_ad sqrt(1 + X sqrt(t / S) + Y t / S), X 0.29, Y 0.06 for PVC, 0.41 and 0.12 for XLPE.

    With the conductor alone as the store the temperature at that current lies above the limit: what we allow is less.
    """
    limit = {"pvc70": 160.0, "xlpe90": 250.0}[insulation]
    start, area = known[1], 10.0
    for time in (0.5, 1.0, 5.0, 20.0):
        allowed = service_k(insulation) * area / np.sqrt(time)
        factor = np.sqrt(1 + x * np.sqrt(time / area) + y * time / area)
        assert transient_temperature_c(time, allowed, area, start, 30.0, *known) < limit
        assert transient_temperature_c(time, allowed * factor, area, start, 30.0, *known) > limit


def test_inductance_of_a_line_in_a_textbook() -> None:
    """Single-phase line of a textbook: 2 m apart, 1.2 cm thick, 2.423 mH/km of loop, cut off; handbook form 4e-7 ln(d / r')."""
    assert 1e6 * pair_inductance_h_per_m(2.0, 0.006) == pytest.approx(2.423, abs=1e-3)
    assert pair_inductance_h_per_m(1.0, 0.01) == pytest.approx(4e-7 * np.log(1.0 / (0.01 * np.exp(-0.25))), rel=1e-12)
    # 1.482 log10(d / r') mH per mile, as handbooks print it
    per_mile = 1e3 * 1609.344 * pair_inductance_h_per_m(1.0, 0.01)
    assert per_mile == pytest.approx(1.482 * np.log10(1.0 / (0.7788 * 0.01)), rel=1e-3)


def test_charging_peaks_ngspice() -> None:
    """54 V on 50, 200, 500 mohm, 40, 50, 30 uH, 4, 5, 3 mF at rest: ngspice transient, 0.1 us steps."""
    r, l, c = [0.05, 0.2, 0.5], [40e-6, 50e-6, 30e-6], [4e-3, 5e-3, 3e-3]  # noqa: E741
    np.testing.assert_allclose(peak_a(54.0, r, l, c), [384.2268, 198.6549, 97.71461], rtol=1e-6)
    np.testing.assert_allclose(peak_time_s(r, l, c), [544.53e-6, 500.03e-6, 205.13e-6], atol=2e-7)


def test_critically_damped_discharge_of_the_handbooks() -> None:
    """Handbooks of pulsed power (from memory) print 0.736 E / R at t = 2 L / R for a critically damped discharge."""
    resistance = 2 * np.sqrt(50e-6 / 5e-3)
    assert peak_a(1.0, resistance, 50e-6, 5e-3) * resistance == pytest.approx(0.736, abs=5e-4)
    # and half the energy of the source is lost whatever the resistance: the classic of charging a capacitor
    for r in (0.01, 1.0, 100.0):
        assert inrush_a2s(12.0, r, 1e-3) * r == pytest.approx(0.5 * 1e-3 * 144)


def test_fault_on_one_of_three_pairs_ngspice() -> None:
    """Three unlike pairs joined at both ends, a short at 0.3 of the second, 50.4 V behind 12 mohm: ngspice operating point."""
    found = parallel_fault(50.4, 0.012, [0.004, 0.005, 0.004], [0.12, 0.18, 0.2], [0.11, 0.17, 0.21], 1, 0.3)
    assert found.total_a == pytest.approx(514.389070, abs=5e-6)
    np.testing.assert_allclose(found.breaker_a, [72.0106407, 398.607256, 43.7711738], rtol=1e-8)
    np.testing.assert_allclose(found.return_a, [71.0852508, 406.068688, 37.2351314], rtol=1e-8)


def test_bands_for_direct_current_are_those_for_alternating_times_root_two() -> None:
    """IEC 60898-1: type B 3 to 5 In, type C 5 to 10 In, rms (public texts); a magnet sees the peak."""
    for letter, low, high in (("B", 3, 5), ("C", 5, 10)):
        band = INSTANTANEOUS_DC[letter]
        assert band.low_multiple == pytest.approx(low * np.sqrt(2), rel=0.07)
        assert band.high_multiple == pytest.approx(high * np.sqrt(2), rel=0.07)


def test_overload_factors_bs7671() -> None:
    """BS 7671, 433.1: a rewirable fuse (I2 = 2 In) needs In <= 0.725 Iz; a breaker (I2 = 1.45 In) In <= Iz. From memory."""
    fuse = overload(10.0, 0.725 * 40.0, 40.0, 2 * 0.725 * 40.0)
    assert fuse.conventional_fraction == pytest.approx(1.0)
    assert fuse.rating_fraction == pytest.approx(0.725)
    breaker = overload(10.0, 40.0, 40.0, 1.45 * 40.0)
    assert breaker.conventional_fraction == 1.0


def test_continuous_load_of_the_nec() -> None:
    """NFPA 70: a 20 A breaker carries a continuous load of 16 A, 80 % (common practice)."""
    factor = continuous_rule("nec_125").factor
    assert breaker_window(16.0, 20.0, 40.0, factor)
    assert not breaker_window(16.1, 20.0, 40.0, factor)


def test_derating_of_switchgear() -> None:
    """ANSI/IEEE C37.20.1, public text: sqrt((105 - theta) / 65), 0.92 at 50 C; the straight law with its slope at 40 C."""
    assert derate_fraction(50.0, 40.0, 1 / 130, 1.0) == pytest.approx(0.92, abs=0.005)
    theta = np.array([40.0, 45.0, 50.0, 55.0])
    np.testing.assert_allclose(derate_fraction(theta, 40.0, 1 / 130, 1.0), np.sqrt((105 - theta) / 65), atol=0.008)


def test_a_standard_inverse_curve_read_off_at_points() -> None:
    """IEC 60255-151, extremely inverse: t = 80 / (m^2 - 1); ten points a decade give it back to 2 % between them."""
    points = np.geomspace(1.5, 20.0, 24)
    times = 80 / (points**2 - 1)
    curve = TripCurve(points, times, 1.2 * times, 1.1)
    between = np.sqrt(points[1:] * points[:-1])
    shortest, longest = trip_band_s(curve, between, 1.0)
    np.testing.assert_allclose(shortest, 80 / (between**2 - 1), rtol=0.02)
    assert np.all(shortest >= 80 / (between**2 - 1))  # a chord lies above a curve that bends upwards
    np.testing.assert_allclose(longest, 1.2 * shortest)


def test_a_constant_power_load_is_a_negative_resistance() -> None:
    """
    The criterion of input filters (Middlebrook, from memory): stable where the source is stiffer than the load, sqrt(L / C)
    of a filter with small losses against V^2 / P; with R = sqrt(L / C) both conditions read sqrt(L / C) < V^2 / P.
    """
    l, v, p = 60e-6, 42.0, 1100.0  # noqa: E741
    for factor in (0.9, 1.1):
        surge = factor * v * v / p
        found = stability(p, v, surge, l, l / surge**2)
        assert found.capacitance_fraction == pytest.approx(factor)
        assert found.resistance_fraction == pytest.approx(factor)
