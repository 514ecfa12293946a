"""A cable over its clamps as a continuous beam: support moments and reactions."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["reactions_n", "support_moments_nm"]

Array = NDArray[np.float64]


def _inputs(
    span_m: ArrayLike, load: ArrayLike, before: ArrayLike, after: ArrayLike
) -> tuple[Array, Array, Array, Array]:
    span, load_array = np.broadcast_arrays(np.atleast_1d(np.asarray(span_m, float)), np.asarray(load, float))
    if np.any(~(span > 0)):
        raise ValueError("every span must be positive")
    a, b = np.asarray(before, float), np.asarray(after, float)
    if np.any(a < 0) or np.any(b < 0):
        raise ValueError("overhangs can't be negative")
    lead = np.broadcast_shapes(span.shape[:-1], a.shape, b.shape)
    shape = (*lead, span.shape[-1])
    return (
        np.broadcast_to(span, shape),
        np.broadcast_to(load_array, shape),
        np.broadcast_to(a, lead),
        np.broadcast_to(b, lead),
    )


def three_moments(span: Array, right: Array, first: Array, last: Array) -> Array:
    """Moments at all supports from the right-hand sides at the inner ones and the known moments at the outer ones."""
    n = span.shape[-1]
    moment = np.zeros((*span.shape[:-1], n + 1))
    moment[..., 0], moment[..., n] = first, last
    if n == 1:
        return moment
    diagonal, right = 2 * (span[..., :-1] + span[..., 1:]), right.copy()
    side = span[..., 1:-1]
    right[..., 0] -= span[..., 0] * moment[..., 0]
    right[..., -1] -= span[..., -1] * moment[..., n]
    # elimination of a tridiagonal system, one unknown after the other, all lines at once
    for i in range(1, n - 1):
        factor = side[..., i - 1] / diagonal[..., i - 1]
        diagonal[..., i] -= factor * side[..., i - 1]
        right[..., i] -= factor * right[..., i - 1]
    moment[..., n - 1] = right[..., -1] / diagonal[..., -1]
    for i in range(n - 3, -1, -1):
        moment[..., i + 1] = (right[..., i] - side[..., i] * moment[..., i + 2]) / diagonal[..., i]
    return moment


def support_moments_nm(
    span_m: ArrayLike, load_n_per_m: ArrayLike, before_m: ArrayLike = 0.0, after_m: ArrayLike = 0.0
) -> Array:
    """
    Bending moments at the supports of a continuous beam under a load uniform in each span.

    Three moments: `L_i M_(i-1) + 2 (L_i + L_(i+1)) M_i + L_(i+1) M_(i+1) = -(w_i L_i^3 + w_(i+1) L_(i+1)^3) / 4`,
    with `M_0 = -w_1 a^2 / 2` and `M_n = -w_n b^2 / 2` from the overhangs.

    Parameters
    ----------
    span_m [m]: L, spans along the last axis, other axes are other lines.
    load_n_per_m [N/m]: w, broadcast against the spans (one number, or one a span).
    before_m, after_m [m]: a and b, free overhangs with the load of the next span; shape without the last axis.

    Returns
    -------
    Moments [N m], sagging positive, one more than spans along the last axis.

    Valid for small deflection, equal stiffness EI and rigid supports. Source: Clapeyron's theorem, textbook.

    >>> support_moments_nm([1.0, 1.0, 1.0], 100.0)
    array([  0., -10., -10.,   0.])
    """
    span, w, a, b = _inputs(span_m, load_n_per_m, before_m, after_m)
    n = span.shape[-1]
    right = -(w[..., :-1] * span[..., :-1] ** 3 + w[..., 1:] * span[..., 1:] ** 3) / 4
    return three_moments(span, right, 0.0 - w[..., 0] * a**2 / 2, 0.0 - w[..., n - 1] * b**2 / 2)


def reactions_n(
    span_m: ArrayLike, load_n_per_m: ArrayLike, before_m: ArrayLike = 0.0, after_m: ArrayLike = 0.0
) -> Array:
    """
    Reactions of the clamps under a line load: `R = w L / 2` from both sides, corrected by `(M_right - M_left) / L`.

    Parameters
    ----------
    span_m [m], load_n_per_m [N/m], before_m, after_m [m]: as `support_moments_nm`.

    Returns
    -------
    Reactions [N], one more than spans along the last axis, positive against the load; their sum is the whole load.

    Valid as `support_moments_nm`. Source: Clapeyron's theorem, textbook.

    >>> reactions_n([1.0, 1.0, 1.0], 100.0)
    array([ 40., 110., 110.,  40.])
    """
    span, w, a, b = _inputs(span_m, load_n_per_m, before_m, after_m)
    moment = support_moments_nm(span, w, a, b)
    half, tilt = w * span / 2, np.diff(moment, axis=-1) / span
    reaction = np.zeros_like(moment)
    reaction[..., :-1] += half + tilt
    reaction[..., 1:] += half - tilt
    reaction[..., 0] += w[..., 0] * a
    reaction[..., -1] += w[..., -1] * b
    return reaction
