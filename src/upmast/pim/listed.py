"""
Density of the listed products of one order over frequency: each with its own level and shape, carriers with both signs left out.

Where the transform of `upmast.pim.spectrum` holds every term of an order, this holds what a list of products holds. The two agree where
no carrier is taken with both signs; the list is what findings count.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import carriers_hz
from upmast.pim.level import product_level_dbm
from upmast.pim.products import all_products, product_count
from upmast.pim.spectrum import RASTER_HZ

__all__ = ["listed_dbm"]

Floats = NDArray[np.float64]
MOST_LISTED = 20_000  # products; more are not drawn one by one


def listed_dbm(
    frequency_hz: ArrayLike,
    centres_hz: ArrayLike,
    widths_hz: ArrayLike,
    carrier_dbm: ArrayLike,
    specified_dbm: float,
    order: int,
    raster_hz: int = RASTER_HZ,
) -> Floats:
    """
    Level of all listed products of one order in cells of a raster.

    Parameters
    ----------
    frequency_hz [Hz]: middles of cells, whole multiples of raster_hz, rising in steps of it. centres_hz, widths_hz [Hz], carrier_dbm [dBm]:
    (N,). specified_dbm [dBm]: two-tone level of the order. order: n. raster_hz [Hz]: a carrier is put into whole cells of it.

    Returns
    -------
    Level of each cell [dBm], -inf where nothing falls. Raises ValueError for cells off the raster and for more than 20 000 products.

    Source: own derivation: a product is as wide as its carriers convolved, each as often as it is taken; level by `product_level_dbm`.

    >>> import numpy as np
    >>> f = np.arange(17_500, 18_100) * 100_000
    >>> found = listed_dbm(f, [1_810_000_000, 1_850_000_000], [9_000_000] * 2, [43.0, 43.0], -107.0, 3)
    >>> float((10 * np.log10(np.sum(10 ** (found / 10)))).round(2))  # 2 f1 - f2 whole
    -103.99
    """
    f = np.asarray(frequency_hz, dtype=np.int64)
    if f.ndim != 1 or f.size < 1 or np.any(f % raster_hz) or np.any(np.diff(f) != raster_hz):
        raise ValueError("cells on the raster, each once and rising")
    centres, widths = carriers_hz(centres_hz, widths_hz)
    if product_count(centres.size, order) > MOST_LISTED:
        raise ValueError(f"more than {MOST_LISTED} products of order {order}")
    found = all_products(centres, widths, [order])
    level = product_level_dbm(found.coefficients, carrier_dbm, specified_dbm)
    boxes = [np.full(max(round(w / raster_hz), 1), 1.0 / max(round(w / raster_hz), 1)) for w in widths]
    shapes: dict[tuple[int, ...], Floats] = {}
    first = int(f[0] // raster_hz)
    out = np.zeros(f.size)
    for row, centre, dbm in zip(found.coefficients.tolist(), found.centre_hz.tolist(), level.tolist(), strict=True):
        key = tuple(abs(c) for c in row)
        shape = shapes.get(key)
        if shape is None:
            shape = np.ones(1)
            for times, box in zip(key, boxes, strict=True):
                for _ in range(times):
                    shape = np.convolve(shape, box)
            shapes[key] = shape
        start = round(centre / raster_hz - (shape.size - 1) / 2) - first
        low, high = max(start, 0), min(start + shape.size, f.size)
        if low < high:
            out[low:high] += 10.0 ** (dbm / 10.0) * shape[low - start : high - start]
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(out))
