"""Where cores lie, what a shield adds, and what the heat of a cable refuses."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from upmast.line.build import build
from upmast.power.cable_heat import CableHeat, conductor_c, pair_ampacity_a
from upmast.power.section import laid_up, matrix
from upmast.power.state import evaluate
from upmast.power.warmth import ampacities_a, cable_heat_of, trunk_sun_w_per_m


def _lines() -> ModuleType:
    spec = importlib.util.spec_from_file_location("lines", Path(__file__).parent / "lines.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


lines = _lines()


def snug(pairs: int, area_mm2: float = 10.0) -> object:
    """The cable with the least diameter, in whole millimetres, that takes the cores."""
    for outer in range(8, 200):
        try:
            return laid_up(pairs, area_mm2, float(outer))
        except ValueError:
            continue
    raise AssertionError(pairs)


@pytest.mark.parametrize("pairs", range(1, 25))
def test_the_two_cores_of_a_pair_are_neighbours(pairs: int) -> None:
    """Also where a pair falls in two layers. A last layer that isn't full is spread evenly, so that its cores don't touch."""
    section = snug(pairs)
    z = section.centres  # type: ignore[attr-defined]
    apart = np.abs(z[:, None] - z) + np.where(np.eye(z.size, dtype=bool), np.inf, 0.0)
    for p in range(pairs):
        own = apart[2 * p, 2 * p + 1]
        nearest = max(apart[2 * p].min(), apart[2 * p + 1].min())
        assert own <= 1.75 * nearest, (p, own, nearest)
    assert np.all(np.abs(z) + section.conductor_m < section.inner_m)  # type: ignore[attr-defined]


def test_a_lower_order_for_many_cores_is_close() -> None:
    section = snug(36)
    default, fifth = matrix(section), matrix(section, 5)  # type: ignore[arg-type]
    assert np.abs(default - fifth).max() < 5e-4 * fifth.max()


def test_a_cable_that_no_section_fits_is_left_to_the_tables() -> None:
    assert cable_heat_of(6, 25.0, 20.0, 11.0, "hdpe") is None  # the cores don't fit
    assert cable_heat_of(80, 2.5, 150.0, 11.0, "hdpe") is None  # more cores than a section is made for


def test_a_current_in_the_shield_lowers_what_a_pair_may_carry() -> None:
    site = lines.SITE
    plant = site.cabinet.plant.model_copy(update={"dc_return": "common"})
    site = site.model_copy(update={"cabinet": site.cabinet.model_copy(update={"plant": plant})})
    line = build(site, lines.CATALOGUE, lines.choice("trunk-6x16-24f", "box-bussed-6-lc", pair_breaker="breaker-32"))
    inputs, _ = lines.checked(site, line)
    state = evaluate(inputs)
    (trunk,) = inputs.trunks
    assert trunk.shield >= 0
    amps = np.abs(state.flow.branch_a[0])
    assert amps[trunk.shield] > 1
    without = np.where(np.arange(amps.size) == trunk.shield, 0.0, amps)
    some = list(trunk.branches)
    real, bare = (ampacities_a(inputs, one, 38.0, 1000.0)[some] for one in (amps, without))
    assert np.all(real < bare)
    # at that current the hottest is at its limit, with the heat of the shield: the forward sum agrees
    heat = trunk.heat
    extra = amps[trunk.shield] ** 2 * inputs.ohm_per_km[trunk.shield] / 1000 * (1 + 0.00393 * 50)
    raised = amps[some].copy()
    raised[:2] = real[0]
    warm = conductor_c(heat, raised, inputs.ohm_per_km[some], 38.0, trunk_sun_w_per_m(heat, 1000.0), extra)
    assert warm.conductor_c.max() == pytest.approx(trunk.limit_c, abs=0.01)


def test_what_is_missing_or_negative_is_refused() -> None:
    heat = CableHeat(laid_up(2, 6.0, 17.5))
    for current, ohm, air, sun, extra, name in (
        ([np.nan] * 4, 3.0, 40.0, 0.0, 0.0, "current_a"), ([-1.0] * 4, 3.0, 40.0, 0.0, 0.0, "current_a"),
        ([np.inf] * 4, 3.0, 40.0, 0.0, 0.0, "current_a"), ([1.0] * 4, -3.0, 40.0, 0.0, 0.0, "ohm_per_km"),
        ([1.0] * 4, 3.0, np.nan, 0.0, 0.0, "air_c"), ([1.0] * 4, 3.0, 40.0, -1.0, 0.0, "sun_w_per_m"),
        ([1.0] * 4, 3.0, 40.0, 0.0, np.nan, "extra_w_per_m"),
    ):  # fmt: skip
        with pytest.raises(ValueError, match=name):
            conductor_c(heat, current, ohm, air, sun, extra)


def test_ampacities_beside_others_are_those_of_each_pair_raised_alone() -> None:
    heat = CableHeat(laid_up(4, 10.0, 30.0))
    amps = np.repeat([20.0, 5.0, 0.0, 12.0], 2)
    all_of_them = pair_ampacity_a(heat, amps, 1.91, 40.0, 90.0, 20.0)
    for p in range(4):
        raised = amps.copy()
        raised[2 * p : 2 * p + 2] = all_of_them[p]
        assert conductor_c(heat, raised, 1.91, 40.0, 20.0).conductor_c.max() == pytest.approx(90.0, abs=0.01)
