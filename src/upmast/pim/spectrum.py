"""
The whole spectrum of intermodulation of noise-like carriers, every product at once, without listing one.

The pure order-n term of a nonlinearity without memory, driven by Gaussian noise of two-sided spectrum S, has the spectrum n! times
the n-fold convolution of S with itself. On a raster this is one transform, a power, and one transform back: the time does not depend
on the number of carriers. The row of order n also holds terms in which a carrier is taken with both signs, such as
2 f1 - f2 + f3 - f3: of order 5, as wide as order 5, at the place of a product of order 3. No list of products names them, and they are
not small: in an invented plan of eight carriers a receive range gets 2 to 5 dB more of order 5, and 5 to 8 dB more of order 7, than the list says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.pim.hertz import Ints, carriers_hz
from upmast.pim.level import TEST_CARRIER_DBM

__all__ = ["RASTER_HZ", "Spectrum", "intermod_spectrum"]

Floats = NDArray[np.float64]
RASTER_HZ = 100_000  # own choice: the grid of carrier centres in most bands is a multiple of it or a part of it
HIGHEST_ORDER = 11
MOST_CELLS = 4_000_000  # of one transform; with all ten orders about 0.5 GB at most
_FLOOR = 64.0  # times the rounding of the transform, below which a cell is set to none


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """
    Power in cells of one raster: row i is the order `orders[i]`, cell k goes from (k - 1/2) to (k + 1/2) times `raster_hz`.

    cell_mw: shape (orders, cells). Frequencies count once (one-sided); the part of cell 0 below 0 Hz is folded onto its upper half.
    whole: nothing falls beyond the axis.
    """

    raster_hz: int
    orders: tuple[int, ...]
    cell_mw: Floats
    whole: bool = False

    @property
    def frequency_hz(self) -> Ints:
        """Middle of each cell, shape (cells,)."""
        return np.arange(self.cell_mw.shape[1], dtype=np.int64) * self.raster_hz

    @property
    def cell_dbm(self) -> Floats:
        """Level of each cell [dBm per raster cell], -inf where nothing falls."""
        return _dbm(self.cell_mw)

    @property
    def density_dbm_per_hz(self) -> Floats:
        """The same as a density [dBm/Hz]."""
        return _dbm(self.cell_mw / self.raster_hz)

    def power_dbm(self, low_hz: ArrayLike, high_hz: ArrayLike) -> Floats:
        """
        Power of each order between two edges, dBm; cells cut by an edge count by the part inside.

        Parameters
        ----------
        low_hz, high_hz [Hz]: broadcast to shape s; low not above high.

        Returns
        -------
        Level [dBm], shape (orders, *s); -inf where nothing falls. Add orders by `power_sum_dbm` over axis 0.

        Raises
        ------
        ValueError
            For edges out of order, below 0 Hz, or beyond an axis that was cut off.
        """
        low, high = np.broadcast_arrays(np.asarray(low_hz, dtype=np.float64), np.asarray(high_hz, dtype=np.float64))
        if not np.all((low >= 0) & (low <= high) & np.isfinite(high)):
            raise ValueError("a range has 0 <= low_hz <= high_hz")
        end = (self.cell_mw.shape[1] - 0.5) * self.raster_hz
        if self.whole:
            low, high = np.minimum(low, end), np.minimum(high, end)
        elif np.any(high > end):
            raise ValueError(f"the spectrum ends at {end / 1e6:.6g} MHz: ask for a higher up_to_hz")
        out = np.zeros((len(self.orders), low.size))
        for i, (a, b) in enumerate(zip(low.ravel(), high.ravel(), strict=True)):
            if a == b:
                continue
            first, last = (int(np.floor(x / self.raster_hz + 0.5)) for x in (a, b))
            first, last = (min(k, self.cell_mw.shape[1] - 1) for k in (first, last))
            part = self.cell_mw[:, first : last + 1]
            weight = np.ones(part.shape[1])
            for cell, cut, side in ((first, a, 1.0), (last, b, -1.0)):
                lower = max((cell - 0.5) * self.raster_hz, 0.0)
                upper = (cell + 0.5) * self.raster_hz
                outside = (cut - lower if side > 0 else upper - cut) / (upper - lower)
                weight[cell - first] -= outside
            out[:, i] = part @ np.maximum(weight, 0.0)
        return _dbm(out.reshape(len(self.orders), *low.shape))


def intermod_spectrum(
    centres_hz: ArrayLike,
    widths_hz: ArrayLike,
    carrier_dbm: ArrayLike,
    specified_dbm: ArrayLike,
    orders: Sequence[int] = (3, 5, 7),
    slope_db_per_db: ArrayLike | None = None,
    raster_hz: int = RASTER_HZ,
    up_to_hz: float | None = None,
    test_carrier_dbm: float = TEST_CARRIER_DBM,
) -> Spectrum:
    """
    Spectrum of all products of noise-like carriers by order.

    PSD_n(f) = K_n n! (S * S * ... * S)(f), n factors, S two-sided: each carrier flat over its width, half of P_i at f_i and half at -f_i.
    K_n = P_spec(n) 2^(n-1) / (M_ref^2 P_0^n) sets the level: the integral over a product is its `product_level_dbm`, modulated.

    Parameters
    ----------
    centres_hz, widths_hz [Hz]: whole numbers, shape (N,). A width below the raster, 0 too, stands for noise one cell wide, not for a
        tone: tones have no 10 log10 prod |c_i|!, see `product_level_dbm`.
    carrier_dbm [dBm]: P_i at the source, shape (N,).
    specified_dbm [dBm]: two-tone level P_spec of each order, a number or shape (orders,), see `specified_dbm`.
    orders: any of 2 ... 11, each once.
    slope_db_per_db [dB/dB]: s, a number or shape (orders,); None is the theory, s = n. Other slopes take each carrier as
        P_0 (P_i / P_0)^(s/n), as `product_level_dbm` does.
    raster_hz [Hz]: width of a cell.
    up_to_hz [Hz]: the axis ends there; None is the upper end of the highest order.

    Returns
    -------
    `Spectrum`, one row per order, rising.

    Valid range
    -----------
    Raster: a carrier is put into cells by the part of each cell that it covers, and a cell of a product is the n-fold convolution of
    whole cells, integrated exactly (B-spline). So nothing is lost in total, and cells are exact for carriers whose edges are edges of
    cells. Else every edge of a carrier is off by at most half a cell; the power between two edges d apart is then off by at most
    about n raster / d, and far less in the middle of a product. Rounding: a cell weaker than about 1e-14 of the strongest one of its
    order is set to none.

    Raises
    ------
    ValueError
        For an order outside 2 ... 11, shapes that do not fit, levels that are not finite, or more cells than fit into memory.

    Source: own derivation (Price's theorem); checked against the sum over listed products.

    >>> one = intermod_spectrum([1_810_000_000, 1_850_000_000], [9_000_000] * 2, [43.0, 43.0], -107.0, [3])
    >>> float(one.power_dbm(1_750_000_000, 1_790_000_000)[0].round(2))  # 2 f1 - f2 alone: -107 dBm and 10 log10 2!
    -103.99
    """
    centres, widths = carriers_hz(centres_hz, widths_hz)
    if not len(orders) or not all(int(n) == n and 2 <= n <= HIGHEST_ORDER for n in orders):
        raise ValueError(f"orders are whole numbers between 2 and {HIGHEST_ORDER}")
    wanted = tuple(int(n) for n in sorted(orders))
    if len(set(wanted)) != len(wanted):
        raise ValueError("orders names each order once")
    rank = np.argsort(np.asarray(orders), kind="stable")
    power = np.asarray(carrier_dbm, dtype=np.float64)
    if power.shape != centres.shape or not np.all(np.isfinite(power)):
        raise ValueError("carrier_dbm holds one finite level per carrier")
    level = _per_order(specified_dbm, rank, "specified_dbm")
    slope = np.array(wanted, float) if slope_db_per_db is None else _per_order(slope_db_per_db, rank, "slope_db_per_db")
    if not np.all(slope > 0):
        raise ValueError("slope_db_per_db lies above 0")
    if int(raster_hz) != raster_hz or raster_hz <= 0:
        raise ValueError("raster_hz is a whole number of hertz above 0")
    if up_to_hz is not None and not (up_to_hz > 0 and np.isfinite(up_to_hz)):
        raise ValueError("up_to_hz lies above 0 and is finite; None is the whole")
    raster = int(raster_hz)
    reach = int(np.max(2 * centres + np.maximum(widths, raster)) // (2 * raster)) + 1  # highest cell of a carrier
    top = wanted[-1] * (reach + 1)
    whole = up_to_hz is None or int(up_to_hz / raster) + 1 >= top
    if up_to_hz is not None and not whole:
        top = int(up_to_hz / raster) + 1
    # The n-fold convolution ends at n * reach; what wraps round must stay above the axis.
    size = _smooth(wanted[-1] * (reach + 1) + top + HIGHEST_ORDER)
    if size > MOST_CELLS:
        raise ValueError(
            f"{size} cells of {raster} Hz are too many (at most {MOST_CELLS}): give a coarser raster_hz, lower orders or a lower up_to_hz"
        )
    cells = np.zeros((len(wanted), top + 1))
    transform, raised, times, of = np.empty(0), np.empty(0), 1, np.nan
    for i, n in enumerate(wanted):
        excess = (slope[i] / n) * (power - test_carrier_dbm)
        if of != slope[i] / n:
            # In units of all carriers together, so that no power of it runs out of range.
            total = float(np.sum(10.0 ** (excess / 10.0)))
            side = _one_sided(centres, widths, 10.0 ** (excess / 10.0) / total, raster, reach)
            transform, of = np.fft.hfft(side, size)[: size // 2 + 1], slope[i] / n
            raised, times = transform, 1
        for _ in range(n - times):
            raised = raised * transform
        times = n
        end = min(top, n * (reach + 1)) + 1
        folded = np.fft.hfft(raised, size)[: end + n // 2] / size
        floor = _FLOOR * np.finfo(float).eps * float(folded.max())
        folded[folded < floor] = 0.0
        ways = factorial((n + 1) // 2) * factorial(n // 2)  # n!/M_ref
        # K_n n! with S in units of P_0: both sides together make 2 * 2^(n-1) / 2^n = 1.
        gain_db = level[i] + 10.0 * n * np.log10(total) + 20.0 * np.log10(ways) - 10.0 * np.log10(float(factorial(n)))
        cells[i, :end] = _smeared(folded, n) * 10.0 ** (gain_db / 10.0)
    # The part of cell 0 on both sides of 0 Hz is in it once already.
    cells[:, 0] *= 0.5
    cells.setflags(write=False)
    return Spectrum(raster, wanted, cells, whole)


def _dbm(power_mw: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(power_mw))


def _per_order(value: ArrayLike, rank: NDArray[np.intp], name: str) -> Floats:
    """One value for each order, by rising order."""
    given = np.asarray(value, dtype=np.float64)
    if given.shape not in ((), (1,), rank.shape) or not np.all(np.isfinite(given)):
        raise ValueError(f"{name} is one finite number, or one for each order")
    return np.asarray(np.broadcast_to(given, rank.shape)[rank])


def _one_sided(centres: Ints, widths: Ints, share: Floats, raster: int, reach: int) -> Floats:
    """Cells 0 ... reach of a symmetric two-sided spectrum whose both sides hold `share` each."""
    out = np.zeros(2 * reach + 1)  # from -reach to reach: a carrier may be wide enough to touch 0
    for f, w, p in zip(centres.tolist(), widths.tolist(), share.tolist(), strict=True):
        wide = max(w, raster)
        # Twice the edges, in whole numbers.
        low, high = 2 * f - wide, 2 * f + wide
        first, last = (low + raster) // (2 * raster), (high + raster) // (2 * raster)
        k = np.arange(first, last + 1)
        covered = np.minimum(high, (2 * k + 1) * raster) - np.maximum(low, (2 * k - 1) * raster)
        np.add.at(out, k + reach, p * np.maximum(covered, 0) / (2.0 * wide))
    return np.asarray(out[reach:] + out[reach::-1])


def _smeared(cells: Floats, order: int) -> Floats:
    """
    Power in cells of a sum of `order` whole cells: the B-spline of order + 1 boxes at whole numbers, a kernel that sums to 1.

    Below 0 the spectrum is its mirror image; at the upper end half a kernel of cells is used up.
    """
    kernel = _b_spline(order + 1)
    half = kernel.size // 2
    return np.asarray(np.convolve(np.concatenate([cells[half:0:-1], cells]), kernel, mode="valid"))


def _b_spline(boxes: int) -> Floats:
    """Values at whole numbers of the density of a sum of `boxes` numbers, each uniform between -1/2 and 1/2."""
    half = (boxes - 1) // 2
    at = np.arange(-half, half + 1, dtype=np.float64)
    value = np.zeros(at.size)
    for k in range(boxes + 1):
        sign = factorial(boxes) // (factorial(k) * factorial(boxes - k)) * (-1) ** k
        value += sign * np.maximum(at + boxes / 2.0 - k, 0.0) ** (boxes - 1)
    return np.asarray(value / value.sum())


def _smooth(least: int) -> int:
    """The next even number without prime factors above 5: transforms of that length are quick."""
    best = 1 << (least - 1).bit_length()
    five = 1
    while five < best:
        three = five
        while three < best:
            two = three * max(2, 1 << (-(-least // three) - 1).bit_length())
            best = min(best, two)
            three *= 3
        five *= 5
    return best
