"""Passive intermodulation: which products fall into receive ranges, and at what level. Pure functions on arrays."""

from __future__ import annotations

from upmast.pim.level import (
    STEP_PER_TWO_ORDERS_DB,
    TEST_CARRIER_DBM,
    THEORY_SLOPE,
    channel_share,
    dbc_from_dbm,
    dbm_from_dbc,
    noise_floor_dbm,
    noise_rise_db,
    power_sum_dbm,
    product_level_dbm,
    specified_dbm,
    voltage_sum_dbm,
)
from upmast.pim.products import (
    MOST_LISTED,
    ODD_ORDERS,
    Products,
    all_products,
    product_count,
    product_text,
    products_in,
)
from upmast.pim.spectrum import RASTER_HZ, Spectrum, intermod_spectrum

__all__ = [
    "MOST_LISTED",
    "ODD_ORDERS",
    "RASTER_HZ",
    "STEP_PER_TWO_ORDERS_DB",
    "TEST_CARRIER_DBM",
    "THEORY_SLOPE",
    "Products",
    "Spectrum",
    "all_products",
    "channel_share",
    "dbc_from_dbm",
    "dbm_from_dbc",
    "intermod_spectrum",
    "noise_floor_dbm",
    "noise_rise_db",
    "power_sum_dbm",
    "product_count",
    "product_level_dbm",
    "product_text",
    "products_in",
    "specified_dbm",
    "voltage_sum_dbm",
]
