"""How a cable lies on its legs: lengths along it, heights, and steel clamps that stay out of the zone however slack the leg is."""

from __future__ import annotations

import importlib.util
from itertools import pairwise
from pathlib import Path

import pytest

from upmast.catalogue.part import Clamp
from upmast.line.clamp_places import clamp_places
from upmast.line.hardware import KEEP_OUT_M
from upmast.line.way import held_length_m, length_above_m, stretches_of

_spec = importlib.util.spec_from_file_location("make", Path(__file__).parents[1] / "sites" / "make.py")
assert _spec is not None
assert _spec.loader is not None
make = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make)
TEXT = make.text("three_radios")


def built(leg_m: float, antenna_m: float = 29.0):
    text = TEXT.replace("kind: vertical, length_m: 26}", f"kind: vertical, length_m: {leg_m}, tolerance_m: 1}}")
    site = make.site(text.replace("height_m: 29}", f"height_m: {antenna_m}}}"))
    return site, make.line(site)


def test_lengths_add_up_and_lie_in_order() -> None:
    site, line = built(32.5)
    trunk = line.by_id["T1"]
    way = stretches_of(site, trunk)
    assert sum(one.length_m for one in way) == held_length_m(site, trunk) == 6 + 32.5
    assert all(a.high_m == b.low_m for a, b in pairwise(way))
    assert way[-1].high_m == pytest.approx(trunk.high_m)
    # 26 m of rise by 32.5 m of cable: 1.25 m for each metre
    assert length_above_m(site, trunk, 22.0) == pytest.approx(
        4 * 32.5 / (trunk.high_m - trunk.low_m) * (trunk.high_m - 22.0) / 4
    )
    assert length_above_m(site, trunk, trunk.high_m) == 0.0
    assert length_above_m(site, trunk, -1.0) == held_length_m(site, trunk)


@pytest.mark.parametrize("leg_m", [26.0, 28.0, 32.5, 40.0])
@pytest.mark.parametrize("antenna_m", [27.0, 28.4])
def test_no_steel_clamp_hangs_within_the_zone(leg_m: float, antenna_m: float) -> None:
    site, line = built(leg_m, antenna_m)
    zone = antenna_m - KEEP_OUT_M
    trunk = line.by_id["T1"]
    clamps = [item for item in line.of_kind("clamp") if item.on == "T1"]
    assert len(clamps) == 2
    for place in clamp_places(site, trunk, clamps):
        part = line.parts[place.item.part]
        assert isinstance(part, Clamp)
        if part.metal:
            assert place.height_m.max() <= zone + 1e-9
        else:
            assert place.height_m.min() > zone
            assert place.height_m.max() == pytest.approx(trunk.high_m)
