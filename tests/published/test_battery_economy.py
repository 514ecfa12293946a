"""Published numbers for batteries, running backwards through a pair, and money over the years."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.power.appraisal import present_cost
from upmast.power.cells import Battery, emf_v, linear, peukert_hours
from upmast.power.crossing import crossing, seen_from_loads
from upmast.power.cutout import fall, first_drop, hunting
from upmast.power.discharge import discharge, price_tag
from upmast.power.economy import cheapest_currents, economic_area_mm2
from upmast.power.energy import life_factor, life_price, present_worth_factor
from upmast.power.headroom import largest_radio_w
from upmast.power.inverse import largest_load_w, longest_run_m
from upmast.power.network import Network


def pair(loop_ohm: float, emf_v: float = 0.0) -> Network:
    half = loop_ohm / 2
    return Network(4, [0, 1], [2, 3], [half, half], 0, 1, np.array(emf_v), [2], [3])  # type: ignore[arg-type]


# E = 51 - 5 dod, 12 mohm, 100 Ah, 900 W behind 0.30 ohm until 40.5 V: by an independent adaptive quadrature 22.2222 A at the
# cut-out, dod 0.713333, 12161.9 s (`test_battery_time_quadrature` has the currents).
BATTERY = linear(51.0, 46.0, 0.012, 100.0)


def test_worked_discharge_from_curve_and_cut_out() -> None:
    """The same in two steps: the emf of the first drop, and the depth at which the battery has it."""
    line = Network(5, [0, 2, 4], [2, 3, 1], [0.012, 0.15, 0.15], 0, 1, np.array(0.0), [3], [4])  # type: ignore[arg-type]
    drop = first_drop(line, [900.0], 40.5, (2, 1))
    assert drop.emf_v == pytest.approx(47.4333, abs=5e-5)
    dod = (51.0 - float(drop.emf_v)) / 5.0
    assert dod == pytest.approx(0.713333, abs=6e-7)
    assert emf_v(BATTERY, dod) == pytest.approx(float(drop.emf_v), abs=1e-9)
    assert fall(line, [900.0], 40.5, 51.0).emf_v[0] == pytest.approx(47.4333, abs=5e-5)
    h, z, _ = seen_from_loads(line)
    watts = np.array([[900.0, 0.0]])
    assert crossing(h, z, watts, np.array([[40.5, 0.0]]), watts > 0).emf[0] == pytest.approx(47.4333, abs=5e-5)
    # the bars stand at 40.5 + 0.30 x 22.2222 = 47.1667 V, and the radio jumps to the emf: it hunts below that only
    assert drop.bus_v == pytest.approx(47.1667, abs=5e-5)
    assert [bool(hunting(line, [900.0], 40.5, start, 51.0).hunts[0]) for start in (47.43, 47.44)] == [True, False]


def test_worked_discharge_as_a_price_tag() -> None:
    tag = price_tag(BATTERY, pair(0.30), [[0.15, 0.15], [0.10, 0.10]], [900.0], 40.5)
    assert 60 * tag.first_minutes[0] == pytest.approx(12161.9, abs=0.06)
    assert tag.first_minutes[1] > tag.first_minutes[0]


@pytest.mark.parametrize(
    ("current", "capacity", "exponent", "hours", "digits"),
    [
        # public tutorial "How to Calculate Battery Capacity, Discharge Time using Peukert's Law": 250 Ah, 20 A, 1.3
        (20.0, 250.0, 1.3, 5.088631644, 9),
        # public article "Peukert's Law and discharge of lead acid batteries", January 2010: 100 Ah, 5 A, 1.2
        (5.0, 100.0, 1.2, 14.5, 1),
    ],
)
def test_peukert_as_a_discharge(current: float, capacity: float, exponent: float, hours: float, digits: int) -> None:
    """Both with the capacity at 1 A. A flat emf of 50 V without resistance gives a constant-power load that very current."""
    assert peukert_hours(current, capacity, capacity, exponent) == pytest.approx(hours, abs=0.51 * 10.0**-digits)
    flat = Battery(
        np.array([0.0, 1.0]), np.array([50.0, 50.0]), np.zeros(2), capacity, rate_hours_h=capacity, peukert=exponent
    )
    run = discharge(flat, pair(0.0), [50.0 * current], 40.0)
    assert run.end_minutes / 60 == pytest.approx(hours, abs=max(0.51 * 10.0**-digits, 2e-6))


def test_exponent_of_two_ratings() -> None:
    """
    A public note on battery ratings: 100 Ah at the 20-hour rate is 5 A for 20 h, and 60 Ah at 20 A, that is 3 h; the exponent
    of these two ratings is log(20 / 3) / log(20 / 5), as the two-test formula of Peukert's law has it.
    """
    k = np.log(20.0 / 3.0) / np.log(20.0 / 5.0)
    assert peukert_hours(5.0, 100.0, 20.0, k) == pytest.approx(20.0)
    assert 20.0 * peukert_hours(20.0, 100.0, 20.0, k) == pytest.approx(60.0)


@pytest.mark.parametrize(
    ("percent", "years", "printed"),
    [
        # interest tables in the appendix of a public accounting textbook, present value of an ordinary annuity of 1
        (9, 10, 6.41766), (9, 20, 9.12855), (9, 30, 10.27365), (10, 5, 3.79079), (10, 20, 8.51356), (10, 40, 9.77905),
        (12, 15, 6.81086), (12, 25, 7.84314), (14, 3, 2.32163), (14, 35, 7.07005),
    ],
)  # fmt: skip
def test_annuity_tables(percent: int, years: int, printed: float) -> None:
    assert present_worth_factor(years, percent / 100) == pytest.approx(printed, abs=5.1e-6)


@pytest.mark.parametrize(
    ("percent", "years", "printed"),
    [(3, 10, 0.7441), (4.25, 20, 0.4350), (5, 10, 0.6139), (8, 20, 0.2145), (12, 8, 0.4039), (25, 20, 0.0115)],
)
def test_present_value_tables(percent: float, years: int, printed: float) -> None:
    """Present value of 1 (tables in the appendix of another public accounting textbook): one renewal at that date."""
    i = percent / 100
    worth = present_cost(0.0, 0.0, life_price(0.0, years + 1, i), years + 1, i, 1.0, years)
    assert worth == pytest.approx(printed, abs=5.1e-5)


def test_payments_that_grow() -> None:
    """A public chapter on life cycle analysis (equation 12.14): 1000 growing 5 % a year, the sixth is worth 761 at 9 %."""
    sixth = present_worth_factor(6, 0.09, 0.0, 0.05) - present_worth_factor(5, 0.09, 0.0, 0.05)
    assert round(1000 * float(sixth)) == 761
    assert life_factor(6, 0.09, 0.0, 0.05) - life_factor(5, 0.09, 0.0, 0.05) == pytest.approx(1.05**5 / 1.09**5)


def test_renewals_of_a_library() -> None:
    """EngrEcon 1.0.0, example of `om_distribute`: 1000 every 3 years in 50 years at 3 % are worth 8174.547."""
    worth = present_cost(0.0, 0.0, life_price(0.0, 50, 0.03), 50, 0.03, 1000.0, 3.0)
    assert worth == pytest.approx(8174.547, abs=6e-4)


def test_kelvins_law() -> None:
    """
    Chakrabarti and others, A Textbook on Power System Engineering, second edition, example 17.6: 1.7 cm2 for 144.34 A, 4000 h a
    year at 0.1, and 10 % a year on 15 per cm2 and metre of a three-core cable of 0.173 ohm for 1 km and 1 cm2.
    """
    area = economic_area_mm2(144.34, 0.0173, 4000 * 0.1 / 1000, 0.1 * 15 / 3 / 100)
    assert round(float(area) / 100, 1) == 1.7
    # of sizes of that price and copper the one next to it is the cheapest at that current, the purchase paid off each year
    sizes = np.array([95.0, 120.0, 150.0, 185.0, 240.0])
    found = cheapest_currents(0.1 * 15 / 3 / 100 * sizes, 0.0173 / sizes, 4000 * 0.1 / 1000)
    here = np.flatnonzero((found.low <= 144.34) & (found.high >= 144.34))
    assert sizes[here].tolist() == [185.0]


def test_backwards_through_a_pair() -> None:
    """
    A public training page on voltage drop by table 8 of chapter 9 of the NEC: 100 ft of two wires of 4.99 ohm in 1000 ft at 4 A
    drop 4.0 V. Length, load and room at the port, each asked for from the others.
    """
    per_km, loop = 4.99 / 0.3048, 2 * 4.99 / 10
    assert longest_run_m(24.0, 20.0, 80.0, per_km).value / 0.3048 == pytest.approx(100.0, rel=3e-3)
    assert largest_load_w(24.0, 20.0, loop).value == pytest.approx(80.0, rel=3e-3)
    assert largest_radio_w(pair(loop, 24.0), [0.0], [0], 20.0).value[0] == pytest.approx(80.0, rel=3e-3)
