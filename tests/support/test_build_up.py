"""A cable by what it is made of: by hand, and bands that hold what they must."""

from __future__ import annotations

import math

import numpy as np
import pytest

from upmast.support.build_up import Element, along, bending_nm2, built_mass_kg_per_m, guessed

# 96 mm2 of copper (110 GPa) and 260 mm2 of polyethylene (0.8 GPa): EA 10.77 MN, alpha 20.15e-6
CABLE = (Element("copper", 6, 16.0, 6.0, 400.0), Element("hdpe", 1, 260.0, outer_mm=28.0))


def test_stiffness_and_expansion_by_hand() -> None:
    found = along(CABLE)
    assert found.stiffness_n[0] == found.stiffness_n[1] == pytest.approx(10.768e6)
    assert found.expansion_per_k[0] == pytest.approx(20.15e-6, abs=5e-9)


def test_mass_by_hand() -> None:
    lay = math.hypot(1, 2 * math.pi * 6 / 400)
    assert built_mass_kg_per_m(CABLE) == pytest.approx(96e-6 * 8960 * lay + 260e-6 * 955)


def test_a_tube_bends_as_outer_less_inner() -> None:
    inner = math.sqrt(28**2 - 4 * 260 / math.pi)
    assert CABLE[1].own_mm4 == pytest.approx(math.pi * (28**4 - inner**4) / 64)
    low, high = bending_nm2(CABLE)
    # copper: 6 x 16^2 / (4 pi) slips, 6 x 16 x 6^2 / 2 more when solid
    assert high - low == pytest.approx(110e9 * 6 * 16 * 36 / 2 * 1e-12)


def test_a_guess_holds_every_build_up_of_the_same_copper() -> None:
    found = guessed(28.0, 6, 16.0, 5, 0.0)
    assert found is not None
    (low, high), axis = found
    wires = (Element("copper", 6 * 127, 16.0 / 127, 4.0), Element("hdpe", 1, 150.0, outer_mm=28.0))
    real = bending_nm2(wires)
    assert low < real[0] * 1.2
    assert real[1] < high * 1.2
    assert axis.expansion_per_k[0] == pytest.approx(17e-6)
    assert axis.expansion_per_k[1] > axis.expansion_per_k[0]
    assert np.all(np.diff(axis.stiffness_n) > 0)


def test_no_copper_or_too_much_is_no_guess() -> None:
    assert guessed(10.0, 0, 0.0, 5, 0.0) is None
    assert guessed(5.0, 6, 16.0, 5, 0.0) is None
