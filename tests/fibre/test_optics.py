"""The table of optical classes: ordered, marked, consistent."""

from __future__ import annotations

import pytest

from upmast.fibre import loss_default, loss_defaults, optic, optics


def test_every_class_is_in_order() -> None:
    for name in optics():
        o = optic(name)
        assert o.channel_limit_db is not None
        assert o.reach_m is not None
        assert o.wavelength_nm_wave is not None
        if o.tx_min_dbm and o.tx_max_dbm and o.rx_min_dbm and o.rx_max_dbm:
            assert o.tx_min_dbm.value < o.tx_max_dbm.value
            assert o.rx_min_dbm.value < o.rx_max_dbm.value
            # penalties lie between the difference of powers and the channel; 0.05 for rounding in the standard
            assert o.channel_limit_db.value <= o.tx_min_dbm.value - o.rx_min_dbm.value + 0.05


def test_marks_belong_to_values() -> None:
    lr = optic("10GBASE-LR")
    assert lr.tx_min_dbm is not None
    assert lr.channel_limit_db is not None
    assert str(lr.tx_min_dbm.source.mark) == "confirmed"
    assert str(lr.channel_limit_db.source.mark) == "memory"
    assert "tx_min_dbm" in str(lr.tx_min_dbm.source)


def test_losses() -> None:
    for item in loss_defaults():
        found = loss_default(item)
        assert found.largest is not None
        assert found.largest > (found.mean or 0)
        assert found.unit in {"db", "db_per_km"}


def test_unknown_names() -> None:
    with pytest.raises(ValueError, match="10GBASE-LR"):
        optic("10GBASE-XX")
    with pytest.raises(ValueError, match="mated_pair"):
        loss_default("glue")
