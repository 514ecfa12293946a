"""Ice of one class on cables and boxes."""

from __future__ import annotations

import pytest

from upmast.support.coat import Ice
from upmast.support.ice import ice_classes


def test_glaze_by_hand() -> None:
    ice = Ice.of("G2")
    assert not ice.rime
    assert float(ice.kg_per_m(28.0)) == pytest.approx(2.714, abs=5e-4)
    assert float(ice.side_mm(28.0)) == float(ice.front_mm(28.0)) == 68.0
    # faces 2 (0.7 x 0.4 + 0.4 x 0.2 + 0.2 x 0.7) = 1.0 m2, 20 mm, 900 kg/m3
    assert ice.body_kg(700.0, 400.0, 200.0) == pytest.approx(18.0)
    assert ice.body_mm(700.0, 400.0, 200.0) == (740.0, 440.0)


def test_rime_by_hand() -> None:
    ice = Ice.of("R3")
    assert ice.rime
    assert float(ice.kg_per_m(28.0)) == 1.6
    assert float(ice.side_mm(30.0)) == pytest.approx(30 + 82, abs=0.5)  # table: 82 mm on a bar of 30 mm
    assert ice.body_kg(700.0, 250.0, 200.0) == pytest.approx(1.6 * 0.7)
    assert ice.body_kg(700.0, 600.0, 200.0) == pytest.approx(2 * 1.6 * 0.7)
    high, wide = ice.body_mm(700.0, 400.0, 390.0)
    assert high == 700.0
    assert wide > 400.0


@pytest.mark.parametrize("name", ice_classes())
def test_every_class_can_be_asked(name: str) -> None:
    ice = Ice.of(name)
    assert ice.name in ice.words
    assert float(ice.side_mm(28.0)) >= float(ice.front_mm(28.0)) > 28.0
    assert 0 < ice.wind_factor <= 1
