"""
The reflection of each joint of a known line, fitted to a complex sweep: sharper than any transform, because the design says where they are.

First with joints that are flat over the band, which finds the delays without false minima; then with the slope that lumps have. Each
size comes with a 95 % interval. Joints that the sweep can't tell apart are one group, and only their sum is given.
Valid for joints up to |g| = 0.1 on a line whose loss is known to some per cent; `Fit.why_not` says why a fit is not judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.distance import delay_response, frequency_step_hz, response_at
from upmast.rf.loss import DB_PER_NEPER, attenuation_db_per_m, velocity_m_per_s
from upmast.rf.lumped import DIRECTIVITY_DB, ENDS, LOAD_DB, SHORT_SIGMA, End, LumpedLine, Model

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

Z95 = 1.959964  # two-sided 95 % of the normal distribution
SYSTEMATIC_DB = 0.1  # drift since calibration, shape of real joints: added to each interval; common practice, no source
MOST_GAMMA = 0.1  # of a lump whose reflection still goes with f: own trials, `tests/rf/test_fit.py`
MOST_UNEXPLAINED = 0.1  # of the sweep's size, left over beyond noise: then another line was swept; own trials
MOST_MISFIT = 2.0  # residual over noise: something that the design does not know; own trials
LEAST_SHARE = 0.95  # of v/(2 B): joints nearer than this are one group; below 1, since lengths are known to some millimetres only
SEPARABLE_SHARE = 0.5  # of the two sizes' root of squares: wider intervals than this make one group; own trials
LEAST_POINTS = 51
SCAN_SIGMAS = 2.5  # of the velocity, both sides
SCAN_PER_CELL, MOST_SCAN, SCAN_POINTS = 8, 160, 128  # tries while the farthest joint moves by v/(2 B)
SCAN_NOISE = 3e-4  # weighs priors against data in the scan, only to keep it solvable
MOST_STEPS, LEAST_GAIN = 30, 0.01  # of the descent; gain in units of chi squared
NOISE_CELLS = 16


@dataclass(frozen=True, slots=True)
class JointGroup:
    """
    One joint, or several that this sweep can't tell apart.

    joints: numbers in `LumpedLine.joint_at`, port first. distance_m: of the first and the last, as designed.
    gamma: size at the middle of the sweep, of a group the size of the sum as it is seen there; low, high: its 95 % interval.
    resistive, reactive: of one joint in its own plane, `g = r - j x f/f0`; NaN for a group. kind: `shunt C`, `series L`, `series R`,
    `shunt R` where the interval allows to tell, else empty.
    loss_db: one way from the port. with_end: the antenna or the short stands in the same place, nothing is said of the joint.
    """

    joints: tuple[int, ...]
    distance_m: tuple[float, float]
    gamma: float
    low: float
    high: float
    resistive: float
    reactive: float
    kind: str
    loss_db: float
    with_end: bool

    @property
    def return_loss_db(self) -> float:
        return _return_loss_db(self.gamma)

    @property
    def least_db(self) -> float:
        """Lower end of the return loss, dB: the joint may be as bad as this."""
        return _return_loss_db(self.high)

    @property
    def greatest_db(self) -> float:
        """Upper end of the return loss, dB; infinite where nothing may be there."""
        return _return_loss_db(self.low)


class Unexplained(NamedTuple):
    """The strongest place of what the fit leaves over: distance from the port [m], size freed of the line's loss."""

    distance_m: float
    gamma: float


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """
    What a sweep says of the joints of a line.

    groups: port first. cell_m: v/(2 B) at the far end. frequency_hz: f0, where sizes hold.
    velocity_error, loss_error: relative to the design, each with its standard deviation.
    directivity: size of the constant part at the port. end: size of the end's reflection at f0.
    residual, noise: root mean square sizes; noise from delays beyond the line, NaN where the sweep does not reach beyond it.
    misfit: residual over noise. unexplained: where and how strong, if the misfit is above 2, else None.
    why_not: why nothing is judged, empty if it is.
    """

    groups: tuple[JointGroup, ...]
    cell_m: float
    frequency_hz: float
    velocity_error: tuple[float, float]
    loss_error: tuple[float, float]
    directivity: float
    end: float
    residual: float
    noise: float
    misfit: float
    unexplained: Unexplained | None
    why_not: tuple[str, ...]

    @property
    def judged(self) -> bool:
        return not self.why_not

    def of_joint(self, joint: int) -> JointGroup:
        """The group that a joint belongs to."""
        for group in self.groups:
            if joint in group.joints:
                return group
        raise ValueError(f"joint {joint} is not one of this fit")


def fit_joints(
    frequency_hz: ArrayLike,
    gamma: ArrayLike,
    line: LumpedLine,
    end: End = "load",
    directivity_db: float = DIRECTIVITY_DB,
    load_db: float = LOAD_DB,
    end_gamma: ArrayLike | None = None,
    least_share: float = LEAST_SHARE,
) -> Fit:
    """
    Size of each joint's reflection from a sweep of the line, with intervals.

    Least squares of `G(f) - model(f)` over noise, plus priors of lengths, velocity, loss, directivity and end; the noise is the
    residual's own. Covariance from the normal matrix at the solution, the interval widened by 0.1 dB, by what the residual still holds
    at the joint's place, and to the answer of a flat joint where that lies outside.

    Parameters
    ----------
    frequency_hz [Hz]: even grid, shape (nf,), 51 points or more. gamma: complex reflection at the test port, shape (nf,).
    line: as designed. end: what stands at its end.
    directivity_db [dB]: of the calibrated port. load_db [dB]: least return loss of the load; used for `load` only.
    end_gamma: reflection of the end where it was measured, shape (nf,) or one number.
    least_share: joints nearer than this share of v/(2 B) are one group. Below 1 intervals are too narrow; not below 0.4.

    Returns
    -------
    Fit. Sizes hold at the middle of the sweep.

    Raises
    ------
    ValueError
        For magnitude alone, an uneven grid, too few points, or a line longer than the sweep's range v/(2 df).

    Source: Pozar, Microwave Engineering, chapter 4 (model); Golub and Pereyra 1973 (separable least squares, the scan); Marquardt 1963
    (descent). Accuracy by own simulation, see the tests.

    >>> line = LumpedLine([3.0, 20.0], 0.85)
    >>> f = np.linspace(1.8e9, 2.0e9, 201)
    >>> g = 0.03 * np.exp(-4j * np.pi * f * 3.0 / (0.85 * 299792458.0)) * -1j * f / 1.9e9
    >>> found = fit_joints(f, g, line)
    >>> round(found.of_joint(1).gamma, 3), found.of_joint(1).kind
    (0.03, 'shunt C')
    """
    f, g = np.asarray(frequency_hz, np.float64), np.asarray(gamma)
    step = frequency_step_hz(f)
    if not np.iscomplexobj(g):
        raise ValueError("a fit of joints needs complex reflection; magnitude alone has lost the distance")
    if g.shape != f.shape or not np.all(np.isfinite(g)):
        raise ValueError("gamma holds one complex number per frequency, no gaps")
    if f.size < LEAST_POINTS:
        raise ValueError(f"a fit needs {LEAST_POINTS} points or more, got {f.size}")
    if end not in ENDS:
        raise ValueError(f"end {end!r} is not known; {', '.join(ENDS)}")
    if not (directivity_db > 0 and load_db > 0 and 0.4 <= least_share <= 10):
        raise ValueError("directivity_db and load_db lie above 0, least_share is 0.4 or more")
    reach = 1.0 / (2.0 * step)
    if line.end_delay_s[-1] >= reach:
        share = reach / float(line.end_delay_s[-1])
        raise ValueError(f"the line is longer than the range v/(2 df) of the sweep by {1 / share:.2f}: take more points")
    known = None if end_gamma is None else np.broadcast_to(np.asarray(end_gamma, np.complex128), f.shape)
    data = np.ascontiguousarray(g, np.complex128)
    model = Model(f, line, end, directivity_db, load_db, known)
    slope = model.slope
    model.slope = np.ones_like(f)
    theta, variance = _scan(model, data)
    theta, _, rest = _descend(model, data, theta, max(variance, 1e-16))
    flat = theta
    model.slope = slope
    theta, normal, rest, variance = _settle(model, data, theta, _variance(rest, theta.size))
    cover = np.linalg.inv(normal)
    absorbs = _absorbing(model, theta, cover)
    if absorbs.any():
        model.absorbs = absorbs
        theta, normal, rest, variance = _settle(model, data, theta, variance)
        cover = np.linalg.inv(normal)
    return _read(model, data, theta, flat, cover, rest, least_share)


def _variance(rest: Complexes, unknowns: int) -> float:
    """Of the real part of the noise, from the residual."""
    return max(float(np.vdot(rest, rest).real) / max(2 * rest.size - unknowns, 1), 1e-20)


def _scan(model: Model, data: Complexes) -> tuple[Floats, float]:
    """Start of the descent: the best of a row of velocities, all else by linear least squares of the first-order sum; and its variance."""
    line, n = model.line, model.n
    delay, width = line.end_delay_s, float(model.f[-1] - model.f[0])
    reach = (model.f.size - 1) / (2.0 * width * delay[-1])
    skip = max(1, min(int(reach / 2.0), model.f.size // SCAN_POINTS))
    f, slope = model.f[::skip], model.slope[::skip]
    wide = SCAN_SIGMAS * line.velocity_sigma
    half = int(np.clip(np.ceil(wide * delay[-1] * 2.0 * width * SCAN_PER_CELL), 2, MOST_SCAN // 2))
    tries = wide * np.arange(-half, half + 1) / half
    down = np.concatenate([np.zeros((1, f.size)), np.cumsum(model.loss[:, ::skip], axis=0)])
    at = [*line.joint_at, model.s]
    now = np.exp(down[at] - 4j * np.pi * (1.0 + tries[0]) * delay[at, None] * f)
    step = np.exp(-4j * np.pi * (tries[1] - tries[0]) * delay[at, None] * f)
    shapes = model.shapes[:, ::skip]
    fixed = np.vstack([np.ones(f.size), 1j * np.ones(f.size)])
    weight = (SCAN_NOISE / model.sigma[: model.at_v]) ** 2
    mean = model.mean[: model.at_v]
    target = np.ascontiguousarray(data[::skip]).view(np.float64)
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
    normal = rows @ rows.T / variance
    right = rows @ rest.view(np.float64) / variance - prior * (theta - model.mean)
    normal[np.diag_indices_from(normal)] += prior
    if model.whole_end:
        at = slice(model.at_end, model.at_end + 2)
        size = max(float(np.hypot(*theta[at])), 1e-12)
        row = theta[at] / size / SHORT_SIGMA
        normal[at, at] += np.outer(row, row)
        right[at] -= row * (size - 1.0) / SHORT_SIGMA
    return normal, right


def _descend(model: Model, data: Complexes, theta: Floats, variance: float) -> tuple[Floats, Floats, Complexes]:
    """Levenberg-Marquardt to the least cost: unknowns, normal matrix there, residual."""
    prior = 1.0 / model.sigma**2
    damping = 1e-4
    value, jac = model.evaluate(theta)
    rest = data - value
    cost = _cost(model, rest, theta, variance, prior)
    normal, right = _normal(model, jac, rest, theta, variance, prior)
    for _ in range(MOST_STEPS):
        while True:
            damped = normal.copy()
            damped[np.diag_indices_from(damped)] *= 1.0 + damping
            tried = theta + np.linalg.solve(damped, right)
            value, jac = model.evaluate(tried)
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


def _settle(
    model: Model, data: Complexes, theta: Floats, variance: float
) -> tuple[Floats, Floats, Complexes, float]:
    """Descend until the noise that weighs the residual is the residual's own."""
    for _ in range(4):
        theta, normal, rest = _descend(model, data, theta, variance)
        own = _variance(rest, theta.size)
        near = abs(own / variance - 1.0) < 0.1
        variance = own
        if near:
            break
    return theta, normal, rest, variance


def _absorbing(model: Model, theta: Floats, cover: Floats) -> NDArray[np.bool_]:
    """Joints that are resistive beyond doubt: what lies behind them is weaker by what they absorb."""
    own = model.own(theta)
    n = model.n
    out = np.zeros(n, np.bool_)
    for k in range(n):
        r, x = abs(own[k]), abs(own[n + k])
        out[k] = _angle(r, x) - _angle_doubt(model, theta, cover, k) > np.pi / 4
    return out


def _angle(r: float, x: float) -> float:
    """0 for a pure reactance, 90 degrees for a pure resistance, rad."""
    return float(np.arctan2(r, x))


def _angle_doubt(model: Model, theta: Floats, cover: Floats, k: int) -> float:
    """95 % of a joint's angle in its own plane, rad: from p, q, from its delay, and from the skin's phase where it is not modelled."""
    n = model.n
    p, q = theta[k], theta[n + k]
    size2 = max(p * p + q * q, 1e-30)
    row = np.zeros(theta.size)
    row[k], row[n + k] = -q / size2, p / size2
    row[model.at_v :] = model.late_by[k]
    sigma = float(np.sqrt(max(row @ cover @ row, 0.0)))
    skin = 0.0
    if not model.line.skin_phase:
        line, b = model.line, model.line.joint_at[k]
        root = attenuation_db_per_m(model.f0, line.root_db_per_m[:b], 0.0, line.temperature_c)
        # half of the phase goes with f like a delay, and is taken for one
        skin = float(root @ line.section_length_m[:b]) / DB_PER_NEPER
    return Z95 * sigma + skin


def _kind(model: Model, theta: Floats, own: Floats, cover: Floats, k: int, sure: bool) -> str:
    r, x = float(own[k]), float(own[model.n + k])
    doubt = _angle_doubt(model, theta, cover, k)
    angle = _angle(abs(r), abs(x))
    if sure and angle + doubt < np.pi / 4:
        return "shunt C" if x > 0 else "series L"
    if sure and angle - doubt > np.pi / 4:
        return "series R" if r > 0 else "shunt R"
    return ""


def _read(
    model: Model,
    data: Complexes,
    theta: Floats,
    flat: Floats,
    cover: Floats,
    rest: Complexes,
    least_share: float,
) -> Fit:
    """Groups, intervals and doubts from the solution."""
    line, n = model.line, model.n
    f, width = model.f, float(model.f[-1] - model.f[0])
    places = line.end_distance_m[list(line.joint_at)]
    delays = line.end_delay_s[list(line.joint_at)]
    losses = line.end_loss_db(model.f0)
    own = model.own(theta)
    left = np.abs(_around(f, rest, delays)) * 10.0 ** (losses[list(line.joint_at)] / 10.0)
    groups = []
    for members in _members(model, theta, cover, least_share):
        ks = list(members)
        near_end = line.end_delay_s[-1] - delays[ks[-1]] < least_share / (2.0 * width)
        with_end = bool(near_end and model.end != "load")
        # the sum as seen at f0 from the plane of the first
        lag = np.exp(-4j * np.pi * model.f0 * (delays[ks] - delays[ks[0]]))
        weak = 10.0 ** (-(losses[[line.joint_at[k] for k in ks]] - losses[line.joint_at[ks[0]]]) / 10.0)
        turn = lag * weak
        size, sigma = _sum(theta, cover, n, ks, turn)
        size_flat, _ = _sum(flat, cover, n, ks, turn)
        half = Z95 * sigma + size * (10.0 ** (SYSTEMATIC_DB / 20.0) - 1.0) + float(left[ks].max())
        half = max(half, abs(size_flat - size))
        lone = len(ks) == 1
        k = ks[0]
        sure = lone and not with_end and half < 0.5 * size
        groups.append(
            JointGroup(
                members,
                (float(places[ks[0]]), float(places[ks[-1]])),
                size,
                max(size - half, 0.0),
                size + half,
                float(own[k]) if lone else float("nan"),
                float(own[n + k]) if lone else float("nan"),
                _kind(model, theta, own, cover, k, sure) if lone else "",
                float(losses[line.joint_at[k]]),
                with_end,
            )
        )
    residual = float(np.sqrt(np.mean(np.abs(rest) ** 2)))
    noise = _noise(f, rest, float(line.end_delay_s[-1]))
    misfit = residual / noise if noise > 0 else float("nan")
    beyond = np.sqrt(max(residual**2 - (noise**2 if noise > 0 else 0.0), 0.0))
    share = float(beyond / max(float(np.sqrt(np.mean(np.abs(data) ** 2))), 1e-30))
    worst = max((g.gamma / len(g.joints) for g in groups if not g.with_end), default=0.0)
    why = []
    if worst > MOST_GAMMA:
        why.append(
            f"a reflection of {worst:.2f} is more than the {MOST_GAMMA:g} up to which a joint is a lump that goes with f"
        )
    if share > MOST_UNEXPLAINED and not misfit <= MOST_MISFIT:
        why.append(f"{100 * share:.0f} % of the sweep's size is not explained by this line: another line, or wrong lengths")
    sigma = np.sqrt(np.diag(cover))
    v_far = float(velocity_m_per_s(line.section_velocity_factor[-1]))
    return Fit(
        tuple(groups),
        v_far / (2.0 * width),
        model.f0,
        (float(theta[model.at_v]), float(sigma[model.at_v])),
        (float(theta[model.at_l]), float(sigma[model.at_l])),
        float(np.hypot(theta[model.at_d], theta[model.at_d + 1])),
        float(np.abs((theta[model.re] + 1j * theta[model.im]) @ model.shapes[:, f.size // 2])),
        residual,
        noise,
        misfit,
        _unexplained(model, rest) if misfit > MOST_MISFIT else None,
        tuple(why),
    )


def _sum(theta: Floats, cover: Floats, n: int, ks: list[int], turn: Complexes) -> tuple[float, float]:
    """Size of a weighted sum of joints and its standard deviation; where the size is not above its doubt, that of the widest direction."""
    total = complex(((theta[ks] + 1j * theta[[n + k for k in ks]]) * turn).sum())
    at = [*ks, *(n + k for k in ks)]
    re, im = np.concatenate([turn.real, -turn.imag]), np.concatenate([turn.imag, turn.real])
    both = np.vstack([re, im])
    block = both @ cover[np.ix_(at, at)] @ both.T
    size = abs(total)
    axis = float(np.sqrt(np.linalg.eigvalsh(block)[-1]))
    if size <= 2.0 * axis:
        return size, axis
    u = np.array([total.real, total.imag]) / size
    return size, float(np.sqrt(u @ block @ u))


def _members(model: Model, theta: Floats, cover: Floats, least_share: float) -> list[tuple[int, ...]]:
    """Joints that can't be told apart, port first: too near for the band, or with intervals too wide for their sizes."""
    n, line = model.n, model.line
    delays = line.end_delay_s[list(line.joint_at)]
    cell = 1.0 / (2.0 * float(model.f[-1] - model.f[0]))
    sizes = np.hypot(theta[:n], theta[n : 2 * n])
    axes = np.array([np.sqrt(np.linalg.eigvalsh(cover[np.ix_([k, n + k], [k, n + k])])[-1]) for k in range(n)])
    out: list[tuple[int, ...]] = [(0,)]
    for k in range(1, n):
        apart = delays[k] - delays[k - 1]
        both = float(np.hypot(sizes[k], sizes[k - 1]))
        wide = Z95 * float(max(axes[k], axes[k - 1])) >= SEPARABLE_SHARE * both
        # far apart, a wide interval has another cause: directivity at the port, the load at the end
        if apart < least_share * cell or (wide and apart < 2.0 * cell):
            out[-1] = (*out[-1], k)
        else:
            out.append((k,))
    return out


def _around(f: Floats, rest: Complexes, delay_s: Floats) -> Complexes:
    """The most that a residual shows within half a cell of each delay, less nothing for noise."""
    cell = 1.0 / (2.0 * float(f[-1] - f[0]))
    at = (delay_s[:, None] + np.array([-0.5, 0.0, 0.5]) * cell).ravel()
    seen = response_at(f, rest, at, 0.0).reshape(-1, 3)
    return np.asarray(np.take_along_axis(seen, np.abs(seen).argmax(axis=1)[:, None], axis=1)[:, 0])


def _noise(f: Floats, rest: Complexes, end_s: float) -> float:
    """Root mean square noise from delays beyond the line, where no first or second echo lies; NaN where the sweep has none."""
    count = f.size
    taper = np.hanning(count)
    bins = np.fft.ifft(rest * taper)
    step = (f[-1] - f[0]) / (count - 1)
    delay = np.arange(count) / (2.0 * count * step)
    margin = 4.0 / (2.0 * count * step)
    free = (delay > 1.1 * end_s + margin) & (delay < delay[-1] - margin)
    if np.count_nonzero(free) < NOISE_CELLS:
        return float("nan")
    # white noise of variance s^2 gives s^2 sum(taper^2) / count^2 in each bin; the median of an exponential is ln 2 of its mean
    middle = float(np.median(np.abs(bins[free]) ** 2)) / np.log(2.0)
    return float(np.sqrt(middle * count**2 / float((taper**2).sum())))


def _unexplained(model: Model, rest: Complexes) -> Unexplained:
    line, f = model.line, model.f
    stop = float(line.end_delay_s[-1])
    count = int(np.clip(16.0 * stop * float(f[-1] - f[0]), 64, 4096))
    seen = np.abs(delay_response(f, rest, 0.0, stop / (count - 1), count))
    delay = np.linspace(0.0, stop, count)
    loss = np.interp(delay, line.end_delay_s, line.end_loss_db(model.f0))
    strongest = int(np.argmax(seen * 10.0 ** (loss / 10.0)))
    place = float(np.interp(delay[strongest], line.end_delay_s, line.end_distance_m))
    return Unexplained(place, float(seen[strongest] * 10.0 ** (loss[strongest] / 10.0)))


def _return_loss_db(gamma: float) -> float:
    return float(-20.0 * np.log10(gamma)) if gamma > 0 else float("inf")
