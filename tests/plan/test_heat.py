"""Bounds by the least heat of a trunk: no built line is cooler, or bears more, than they say."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from upmast.catalogue.part import Cable
from upmast.line.build import build
from upmast.line.wire import ohm_per_km
from upmast.plan.heat import Air, least_heat
from upmast.power.seen import Seen
from upmast.power.state import evaluate
from upmast.power.warmth import cable_heat_of
from upmast.proof.limits import limits_of


def _lines() -> ModuleType:
    path = Path(__file__).parent.parent / "power" / "lines.py"
    spec = importlib.util.spec_from_file_location("lines", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


lines = _lines()


@pytest.mark.parametrize("common", [False, True])
@pytest.mark.parametrize(
    ("trunk", "box", "more", "each", "bussed"),
    [
        ("trunk-6x10-24f", "box-straight-3-lc", {}, 1, 0), ("trunk-6x16-24f", "box-straight-3-lc", {"pairs_each": 2}, 2, 0),
        ("trunk-6x16-24f", "box-bussed-6-lc", {"pair_breaker": "breaker-32"}, 1, 4),
    ],
)  # fmt: skip
def test_a_built_line_is_no_cooler_and_bears_no_more(
    common: bool, trunk: str, box: str, more: dict[str, object], each: int, bussed: int
) -> None:
    site = lines.SITE
    if common:
        plant = site.cabinet.plant.model_copy(update={"dc_return": "common"})
        site = site.model_copy(update={"cabinet": site.cabinet.model_copy(update={"plant": plant})})
    inputs, _ = lines.checked(site, build(site, lines.CATALOGUE, lines.choice(trunk, box, **more)))
    seen = Seen(inputs, limits_of(site), evaluate(inputs))
    part = lines.CATALOGUE.get(trunk, Cable)
    heat = cable_heat_of(
        part.pairs_count, part.conductor_area_mm2, part.diameter_mm, part.filler_k_m_per_w, part.sheath
    )
    assert heat is not None

    def air(s: int) -> Air:
        return Air(float(inputs.ambient_c[s]), float(inputs.sun_w_per_m2[s]), inputs.maximum_w / inputs.emf_v[s])

    (of,) = inputs.trunks
    bound = least_heat(
        heat, ohm_per_km(part)[0], of.limit_c, [range(3)], each, bussed, air(seen.low), air(seen.hot), not common
    )  # fmt: skip
    wires = [b for b in of.branches if inputs.kind[b] == "line"]
    for k in range(3):
        own = wires if bussed else wires[k * each : (k + 1) * each]
        if bussed:
            own = [b for b in own if seen.current[seen.low, b] > 0]
        assert len(own) == (bussed or each)
        warm = seen.state.temperature_c[seen.low, own]
        most = seen.iz[own].min() if bussed else seen.iz[own].sum()
        assert np.all(warm >= bound.theta_c[k] - 0.02)
        assert warm.min() < bound.theta_c[k] + 12  # and not so loose that it says nothing
        assert most <= bound.iz_a[k] * (1 + 1e-4)
        assert most > 0.8 * bound.iz_a[k]
