"""Batteries as curves: Peukert's law against published examples, energy against quadrature, shapes that must hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from upmast.power.cells import (
    LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K,
    Battery,
    Chemistry,
    cell_source,
    emf_v,
    energy_wh,
    inner_ohm,
    linear,
    peukert_hours,
    string,
    temperature_factor,
    usable_ah,
)
from upmast.source import Mark

CHEMISTRIES: tuple[Chemistry, ...] = ("lead-acid", "lithium-iron-phosphate")


@pytest.mark.parametrize(
    ("current", "capacity", "exponent", "printed"),
    [
        # public tutorial "How to Calculate Battery Capacity, Discharge Time using Peukert's Law"
        (20.0, 250.0, 1.3, 5.088631644),
        # public article "Peukert's Law and discharge of lead acid batteries", January 2010, one decimal
        (5.0, 100.0, 1.2, 14.5),
    ],
)
def test_peukert_against_printed_hours(current: float, capacity: float, exponent: float, printed: float) -> None:
    """Both print `T = C / I^k`, with C at the rate of 1 A: the rate lasts as many hours as the capacity has Ah."""
    digits = len(str(printed).split(".")[1])
    assert peukert_hours(current, capacity, capacity, exponent) == pytest.approx(printed, abs=0.51 * 10.0**-digits)


def test_peukert_with_the_hour_rate_is_the_other_usual_form() -> None:
    """`T = C (C/R)^(k-1) / I^k`, as public articles on the 20-hour rate write it."""
    current, capacity, rate, k = 12.0, 100.0, 20.0, 1.3
    assert peukert_hours(current, capacity, rate, k) == pytest.approx(
        capacity * (capacity / rate) ** (k - 1) / current**k
    )


@given(st.floats(0.1, 200.0), st.floats(1.0, 2000.0), st.floats(1.0, 100.0), st.floats(1.0, 1.5))
def test_peukert_limits(current: float, capacity: float, rate: float, k: float) -> None:
    assert peukert_hours(capacity / rate, capacity, rate, k) == pytest.approx(rate, rel=1e-12)
    assert peukert_hours(current, capacity, rate, 1.0) == pytest.approx(capacity / current, rel=1e-12)
    # twice the current lasts 2^-k as long
    ratio = peukert_hours(2 * current, capacity, rate, k) / peukert_hours(current, capacity, rate, k)
    assert ratio == pytest.approx(2**-k, rel=1e-12)


def test_linear_is_a_line() -> None:
    battery = linear(51.0, 46.0, 0.012, 100.0)
    dod = np.linspace(0.0, 1.0, 11)
    assert emf_v(battery, dod) == pytest.approx(51.0 - 5.0 * dod, abs=1e-12)
    assert np.all(inner_ohm(battery, dod) == 0.012)
    flat = linear(50.0, 50.0, 0.0, 100.0)
    assert energy_wh(flat, 0.0, 1.0) == pytest.approx(5000.0)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_curves_are_monotone(chemistry: Chemistry) -> None:
    battery = string(chemistry, 16, 100.0)
    dod = np.linspace(0.0, 1.0, 1001)
    assert np.all(np.diff(emf_v(battery, dod)) <= 0)
    assert np.all(np.diff(inner_ohm(battery, dod)) >= -1e-15)
    assert np.all(np.diff(energy_wh(battery, 0.0, dod)) > 0)
    # held beyond the ends
    assert emf_v(battery, [-1.0, 2.0]).tolist() == [battery.emf_v[0], battery.emf_v[-1]]


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_cell_curves_stay_within_the_chemistry(chemistry: Chemistry) -> None:
    """Cell voltages of the trade (common practice, no source): 1.75 to 2.15 V lead-acid, 2.5 to 3.65 V lithium iron phosphate."""
    low, high = {"lead-acid": (1.75, 2.15), "lithium-iron-phosphate": (2.5, 3.65)}[chemistry]
    one = string(chemistry, 1, 100.0)
    assert low <= one.emf_v.min() < one.emf_v.max() <= high
    assert cell_source(chemistry).mark is Mark.MEMORY


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
@pytest.mark.parametrize(("start", "end"), [(0.0, 1.0), (0.0, 0.37), (0.13, 0.92), (0.85, 0.86), (0.4, 0.4)])
def test_energy_against_quadrature(chemistry: Chemistry, start: float, end: float) -> None:
    battery = string(chemistry, 24, 200.0, 2)
    knots = [d for d in battery.dod if start < d < end]
    area, _ = quad(lambda d: float(emf_v(battery, d)), start, end, points=knots or None, epsabs=1e-12)
    assert energy_wh(battery, start, end) == pytest.approx(400.0 * area, rel=1e-10, abs=1e-9)


def test_energy_adds_up_and_turns_round() -> None:
    battery = string("lead-acid", 24, 200.0)
    whole = energy_wh(battery, 0.0, 1.0)
    assert energy_wh(battery, 0.0, 0.3) + energy_wh(battery, 0.3, 1.0) == pytest.approx(whole, rel=1e-12)
    assert energy_wh(battery, 1.0, 0.0) == -whole
    # between the lowest and the highest emf times the capacity
    assert 200.0 * battery.emf_v[-1] < whole < 200.0 * battery.emf_v[0]


def test_cells_in_series_and_strings_in_parallel() -> None:
    one = string("lead-acid", 1, 100.0)
    many = string("lead-acid", 24, 100.0, 3, lead_ohm=0.002, resistance_factor=1.5)
    assert many.emf_v == pytest.approx(24 * one.emf_v)
    assert many.source_ohm == pytest.approx(1.5 * 24 / 3 * one.source_ohm + 0.002)
    assert many.capacity_ah == 300.0
    # one string of thrice the capacity is the same
    big = string("lead-acid", 24, 300.0, 1, lead_ohm=0.002, resistance_factor=1.5)
    assert big.source_ohm == pytest.approx(many.source_ohm)


def test_temperature_and_age() -> None:
    """At the reference nothing changes; 0.6 % per kelvin is a line through it (coefficient from memory, as it says itself)."""
    c = LEAD_ACID_TEMPERATURE_COEFFICIENT_PER_K
    assert c.source.mark is Mark.MEMORY
    assert temperature_factor(20.0, c.value) == 1.0
    assert temperature_factor(25.0, 0.008, 25.0) == 1.0
    cold = temperature_factor([-10.0, 0.0, 10.0, 20.0, 30.0], c.value)
    assert np.diff(cold) == pytest.approx(10 * c.value)
    assert usable_ah(180.0) == 180.0
    assert usable_ah(180.0, 0.8, 0.9) == pytest.approx(180.0 * 0.72)


def test_array_equals_scalar() -> None:
    battery = string("lithium-iron-phosphate", 16, 100.0)
    dod = np.array([[0.0, 0.07, 0.33], [0.81, 0.97, 1.0]])
    for function in (emf_v, inner_ohm):
        grid = function(battery, dod)
        assert grid.shape == dod.shape
        assert grid.tolist() == [[float(function(battery, x)) for x in row] for row in dod]
    energy = energy_wh(battery, 0.05, dod)
    assert energy.tolist() == [[float(energy_wh(battery, 0.05, x)) for x in row] for row in dod]
    current, k = np.array([5.0, 20.0]), np.array([[1.0], [1.1], [1.25]])
    hours = peukert_hours(current, 100.0, 10.0, k)
    assert hours.shape == (3, 2)
    theta = temperature_factor([0.0, 30.0], 0.006)
    usable = usable_ah(100.0, k[:, 0] / 2, 0.9)
    for i in range(3):
        assert usable[i] == usable_ah(100.0, k[i, 0] / 2, 0.9)
        for j in range(2):
            assert hours[i, j] == peukert_hours(current[j], 100.0, 10.0, k[i, 0])
            assert theta[j] == temperature_factor(30.0 * j, 0.006)


def test_nonsense() -> None:
    two = np.array([0.0, 1.0])
    for call, words in (
        (lambda: Battery(np.array([0.0, 0.9]), two + 1, two, 100.0), "rise from 0 to 1"),
        (lambda: Battery(two, np.array([46.0, 51.0]), two, 100.0), "can't rise with the discharge"),
        (lambda: Battery(two, np.array([51.0, np.nan]), two, 100.0), "can't rise with the discharge"),
        (lambda: Battery(two, np.array([51.0, 46.0]), -two, 100.0), "source_ohm"),
        (lambda: Battery(two, np.array([51.0, 46.0, 45.0]), two, 100.0), "same length"),
        (lambda: linear(51.0, 46.0, 0.012, 0.0), "capacity_ah must be positive"),
        (lambda: linear(51.0, 46.0, 0.012, np.inf), "capacity_ah must be positive"),
        (lambda: linear(51.0, 46.0, 0.012, 100.0, np.nan), "rate_hours_h must be positive"),
        (lambda: linear(51.0, 46.0, 0.012, 100.0, peukert=0.9), "peukert can't be below 1"),
        (lambda: linear(51.0, 46.0, 0.012, 100.0, charge_fraction=1.1), "charge_fraction"),
        (lambda: string("nickel", 24, 100.0), "not known"),  # type: ignore[arg-type]
        (lambda: string("lead-acid", 0, 100.0), "at least one cell"),
        (lambda: string("lead-acid", 24, np.nan), "must be positive"),
        (lambda: energy_wh(linear(51.0, 46.0, 0.0, 100.0), 0.0, np.nan), "dod can't be missing"),
        (lambda: peukert_hours(0.0, 100.0, 10.0, 1.1), "must be positive"),
        (lambda: peukert_hours(5.0, 100.0, 10.0, 0.99), "exponent"),
        (lambda: temperature_factor(-200.0, 0.006), "no capacity"),
        (lambda: temperature_factor(np.nan, 0.006), "missing"),
        (lambda: usable_ah(100.0, 1.2), "health at most 1"),
        (lambda: usable_ah(np.nan), "must be positive"),
    ):
        with pytest.raises(ValueError, match=words):
            call()
