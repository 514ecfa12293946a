"""
From a sweep to the unknowns of a `Model`: a scan over the velocity for a start, then descent with analytic derivatives.

The scan solves all else by linear least squares of the first-order sum; the descent is Levenberg-Marquardt with the priors as rows.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from upmast.rf.lumped import SHORT_SIGMA, Model

__all__ = ["descend", "residual_variance", "scan", "settle", "thinning"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SCAN_SIGMAS = 2.5  # of the velocity, both sides
SCAN_PER_CELL, MOST_SCAN, SCAN_POINTS = 8, 160, 128  # tries while the farthest joint moves by v/(2 B)
SCAN_NOISE = 3e-4  # weighs priors against data in the scan, only to keep it solvable
MOST_STEPS, LEAST_GAIN = 30, 0.03  # of the descent; gain in units of chi squared
LEAST_VARIANCE = 1e-11  # -107 dB, quieter than any instrument: keeps the equations solvable for sweeps without noise


def residual_variance(rest: Complexes, unknowns: int) -> float:
    """Of the real part of the noise, from the residual."""
    return max(float(np.vdot(rest, rest).real) / max(2 * rest.size - unknowns, 1), LEAST_VARIANCE)


def thinning(model: Model) -> int:
    """Every which frequency is enough for a start: twice the line stays within the range of the coarser step."""
    width = float(model.f[-1] - model.f[0])
    reach = (model.f.size - 1) / (2.0 * width * float(model.line.end_delay_s[-1]))
    return max(1, min(int(reach / 2.0), model.f.size // SCAN_POINTS))


def scan(model: Model, data: Complexes) -> tuple[Floats, float]:
    """Start of the descent: the best of a row of velocities, all else by linear least squares of the first-order sum; and its variance."""
    line = model.line
    delay, width = line.end_delay_s, float(model.f[-1] - model.f[0])
    f, slope = model.f, model.slope
    wide = SCAN_SIGMAS * line.velocity_sigma
    half = int(np.clip(np.ceil(wide * delay[-1] * 2.0 * width * SCAN_PER_CELL), 2, MOST_SCAN // 2))
    tries = wide * np.arange(-half, half + 1) / half
    down = np.concatenate([np.zeros((1, f.size)), np.cumsum(model.loss, axis=0)])
    at = [*line.joint_at, model.s]
    now = np.exp(down[at] - 4j * np.pi * (1.0 + tries[0]) * delay[at, None] * f)
    step = np.exp(-4j * np.pi * (tries[1] - tries[0]) * delay[at, None] * f)
    shapes = model.shapes
    fixed = np.vstack([np.ones(f.size), 1j * np.ones(f.size)])
    weight = (SCAN_NOISE / model.sigma[: model.at_v]) ** 2
    mean = model.mean[: model.at_v]
    target = data.view(np.float64)
    best, theta, variance = np.inf, model.mean.copy(), 0.0
    for error in tries:
        lumps, ends = now[:-1], now[-1] * shapes
        of_end = np.stack([ends, 1j * ends], 1).reshape(-1, f.size)
        columns = np.concatenate([lumps, (-1j * slope) * lumps, fixed, of_end]).view(np.float64)
        normal = columns @ columns.T
        normal[np.diag_indices_from(normal)] += weight
        found = np.linalg.solve(normal, columns @ target + weight * mean)
        rest = target - found @ columns
        left = float(rest @ rest)
        cost = left + float(weight @ (found - mean) ** 2) + (SCAN_NOISE * error / line.velocity_sigma) ** 2
        if cost < best:
            best, variance = cost, left / (2 * f.size)
            theta[: model.at_v], theta[model.at_v] = found, error
        now = now * step
    return model.seen(theta), variance


def _cost(model: Model, rest: Complexes, theta: Floats, variance: float, prior: Floats) -> float:
    cost = float(np.vdot(rest, rest).real) / variance + float(prior @ (theta - model.mean) ** 2)
    if model.whole_end:
        cost += ((float(np.hypot(theta[model.at_end], theta[model.at_end + 1])) - 1.0) / SHORT_SIGMA) ** 2
    return cost


def _normal(
    model: Model, jac: Complexes, rest: Complexes, theta: Floats, variance: float, prior: Floats
) -> tuple[Floats, Floats]:
    """Normal matrix and right side of one step."""
    rows = jac.view(np.float64)
    turned = model.turned(theta)
    normal = turned @ (rows @ rows.T / variance) @ turned.T
    right = turned @ (rows @ rest.view(np.float64)) / variance - prior * (theta - model.mean)
    normal[np.diag_indices_from(normal)] += prior
    if model.whole_end:
        at = slice(model.at_end, model.at_end + 2)
        size = max(float(np.hypot(*theta[at])), 1e-12)
        row = theta[at] / size / SHORT_SIGMA
        normal[at, at] += np.outer(row, row)
        right[at] -= row * (size - 1.0) / SHORT_SIGMA
    return normal, right


def descend(model: Model, data: Complexes, theta: Floats, variance: float) -> tuple[Floats, Floats, Complexes]:
    """Levenberg-Marquardt to the least cost: unknowns, normal matrix there, residual."""
    prior = 1.0 / model.sigma**2
    damping = 1e-4
    value, jac = model.by_lump(model.own(theta))
    rest = data - value
    cost = _cost(model, rest, theta, variance, prior)
    normal, right = _normal(model, jac, rest, theta, variance, prior)
    for _ in range(MOST_STEPS):
        while True:
            damped = normal.copy()
            damped[np.diag_indices_from(damped)] *= 1.0 + damping
            tried = theta + np.linalg.solve(damped, right)
            value, jac = model.by_lump(model.own(tried))
            new_rest = data - value
            new_cost = _cost(model, new_rest, tried, variance, prior)
            if new_cost <= cost or damping > 1e6:
                break
            damping *= 10.0
        if not new_cost <= cost:
            break
        gain, theta, rest, cost = cost - new_cost, tried, new_rest, new_cost
        normal, right = _normal(model, jac, rest, theta, variance, prior)
        damping = max(damping / 10.0, 1e-9)
        if gain < LEAST_GAIN:
            break
    return theta, normal, rest


def settle(model: Model, data: Complexes, theta: Floats, variance: float) -> tuple[Floats, Floats, Complexes, float]:
    """Descend until the noise that weighs the residual is the residual's own."""
    for _ in range(4):
        theta, normal, rest = descend(model, data, theta, variance)
        own = residual_variance(rest, theta.size)
        near = abs(own / variance - 1.0) < 0.1
        variance = own
        if near:
            break
    return theta, normal, rest, variance
