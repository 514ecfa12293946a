"""
The reflection of each joint of a known line, fitted to a complex sweep: sharper than any transform, because the design says where they are.

First with joints that are flat over the band, which finds the delays without false minima; then with the slope that lumps have. Each
size comes with a 95 % interval. Joints that the sweep can't tell apart are one group, and only their sum is given.
Valid for joints up to |g| = 0.2 on a line whose loss is known to some per cent; `Fit.why_not` says why a fit is not judged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.descent import LEAST_VARIANCE, descend, residual_variance, scan, settle, thinning
from upmast.rf.distance import frequency_step_hz
from upmast.rf.loss import DB_PER_NEPER, attenuation_db_per_m, velocity_m_per_s
from upmast.rf.lumped import DIRECTIVITY_DB, ENDS, LOAD_DB, End, LumpedLine, Model
from upmast.rf.residual import Unexplained, left_around, misfit_of, noise_of, strongest_left

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

Z95 = 1.959964  # two-sided 95 % of the normal distribution
SYSTEMATIC_DB = 0.1  # drift since calibration, shape of real joints: added to each interval; common practice, no source
# the rest by own trials on simulated lines, `tests/rf/test_fit.py`
MOST_GAMMA = (
    0.2  # of a lump whose reflection still goes with f; sizes hold up to here, 0.3 on a real stepped line did not
)
MOST_UNEXPLAINED = 0.25  # of the sweep's size, left over beyond noise: then another line was swept
MOST_MISFIT = 2.0  # residual over noise: something that the design does not know
RETRY_MISFIT = 1.6  # worth a second look for a better minimum
LEAST_SHARE = 0.95  # of v/(2 B), nearer joints are one group; below 1, since lengths are known to some millimetres only
SEPARABLE_SHARE = 0.5  # of the two sizes' root of squares: a wider interval makes one group
MUTUAL = 2.0  # times wider than with the neighbour known
LEAST_POINTS = 51


@dataclass(frozen=True, slots=True)
class JointGroup:
    """
    One joint, or several that this sweep can't tell apart.

    joints: numbers in `LumpedLine.joint_at`, port first. distance_m: of the first and the last, as designed.
    gamma: size at the middle of the sweep, of a group the size of the sum as it is seen there; low, high: its 95 % interval.
    resistive, reactive: of one joint in its own plane, `g = r - j x f/f0`; NaN for a group. kind: `shunt C`, `series L`, `series R`,
    `shunt R` where the interval allows to tell, else empty.
    loss_db: one way from the port. with_end: the antenna or the short stands in the same cell; then gamma is NaN, nothing is known.
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
        raise ValueError(
            f"the line is longer than the range v/(2 df) of the sweep by {1 / share:.2f}: take more points"
        )
    known = None if end_gamma is None else np.broadcast_to(np.asarray(end_gamma, np.complex128), f.shape)
    data = np.ascontiguousarray(g, np.complex128)
    apart = line.end_delay_s[-1] - line.end_delay_s[list(line.joint_at)]
    free = apart >= least_share / (2.0 * float(f[-1] - f[0]))
    if end == "load" or known is not None:
        free[:] = True
    if not free.any():
        raise ValueError(f"all joints stand within v/(2 B) of the {end}: sweep wider")
    hidden = _hidden(line, np.flatnonzero(~free), 0.5 * float(f[0] + f[-1]))
    line = replace(line, joint_at=line.joint_at[: int(free.sum())])
    model = Model(f, line, end, directivity_db, load_db, known)
    skip = thinning(model)
    thin, some = model.thinned(skip), np.ascontiguousarray(data[::skip])
    slope, thin.slope = thin.slope, np.ones_like(thin.slope)
    theta, variance = scan(thin, some)
    flat, _, rest = descend(thin, some, theta, max(variance, LEAST_VARIANCE))
    thin.slope = slope
    theta, _, rest, variance = settle(thin, some, flat, residual_variance(rest, flat.size))
    if not misfit_of(thin, rest) <= RETRY_MISFIT:
        # resistance and reactance change places with a quarter turn of the far joints: false minima where something is not modelled
        quarter = 0.5 * np.pi / thin.late_by[-1, 0]
        for turns in (-2, -1, 1, 2):
            start = theta.copy()
            start[thin.at_v] += turns * quarter
            other, _, other_rest, left = settle(thin, some, start, variance)
            if left < variance:
                theta, rest, variance = other, other_rest, left
            if misfit_of(thin, rest) <= RETRY_MISFIT:
                break
    theta, normal, rest, variance = settle(model, data, theta, variance)
    cover = _inverse(normal)
    absorbs = _absorbing(model, theta, cover)
    if absorbs.any():
        model.absorbs = absorbs
        theta, normal, rest, variance = settle(model, data, theta, variance)
        cover = _inverse(normal)
    return _read(model, data, theta, flat, cover, rest, least_share, hidden)


def _hidden(line: LumpedLine, joints: NDArray[np.int64], frequency_hz: float) -> tuple[JointGroup, ...]:
    """Joints in one cell with an antenna or a short: they belong to its reflection, nothing is said of them."""
    if not joints.size:
        return ()
    at = [line.joint_at[int(k)] for k in joints]
    places, nan = line.end_distance_m[at], float("nan")
    loss = float(line.end_loss_db(frequency_hz)[at[0]])
    numbers = tuple(int(k) for k in joints)
    return (JointGroup(numbers, (float(places[0]), float(places[-1])), nan, 0.0, 1.0, nan, nan, "", loss, True),)


def _inverse(normal: Floats) -> Floats:
    """Covariance from the normal matrix, whose unknowns differ in size by orders."""
    scale = 1.0 / np.sqrt(np.diag(normal))
    return np.asarray(np.linalg.inv(normal * np.outer(scale, scale)) * np.outer(scale, scale), np.float64)


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
    sigma = float(np.sqrt(max(float(row @ cover @ row), 0.0)))
    skin = 0.0
    if not model.line.skin_phase:
        line, b = model.line, model.line.joint_at[k]
        root = attenuation_db_per_m(model.f0, line.root_db_per_m[:b], 0.0, line.temperature_c)
        # half of the phase goes with f like a delay, and is taken for one
        skin = float((root * line.section_length_m[:b]).sum()) / DB_PER_NEPER
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
    hidden: tuple[JointGroup, ...],
) -> Fit:
    """Groups, intervals and doubts from the solution."""
    line, n = model.line, model.n
    f, width = model.f, float(model.f[-1] - model.f[0])
    places = line.end_distance_m[list(line.joint_at)]
    delays = line.end_delay_s[list(line.joint_at)]
    losses = line.end_loss_db(model.f0)
    own = model.own(theta)
    left = np.abs(left_around(f, rest, delays)) * 10.0 ** (losses[list(line.joint_at)] / 10.0)
    residual = float(np.sqrt(np.mean(np.abs(rest) ** 2)))
    noise = noise_of(f, rest, float(line.end_delay_s[-1]))
    misfit = misfit_of(model, rest)
    groups = []
    for members in _members(model, theta, cover, least_share):
        ks = list(members)
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
        sure = lone and half < 0.5 * size and not misfit > MOST_MISFIT
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
                False,
            )
        )
    beyond = np.sqrt(max(residual**2 - (noise**2 if noise > 0 else 0.0), 0.0))
    share = float(beyond / max(float(np.sqrt(np.mean(np.abs(data) ** 2))), 1e-30))
    worst = max(one.gamma / len(one.joints) for one in groups)
    why = []
    if worst > MOST_GAMMA:
        why.append(
            f"a reflection of {worst:.2f} is more than the {MOST_GAMMA:g} up to which a joint is a lump that goes with f"
        )
    if share > MOST_UNEXPLAINED and not misfit <= MOST_MISFIT:
        why.append(
            f"{100 * share:.0f} % of the sweep's size is not explained by this line: another line, or wrong lengths"
        )
    deviation = np.sqrt(np.diag(cover))
    v_far = float(velocity_m_per_s(line.section_velocity_factor[-1]))
    return Fit(
        (*groups, *hidden),
        v_far / (2.0 * width),
        model.f0,
        (float(theta[model.at_v]), float(deviation[model.at_v])),
        (float(theta[model.at_l]), float(deviation[model.at_l])),
        float(np.hypot(theta[model.at_d], theta[model.at_d + 1])),
        float(np.abs((theta[model.re] + 1j * theta[model.im]) @ model.shapes[:, f.size // 2])),
        residual,
        noise,
        misfit,
        strongest_left(model, rest) if misfit > MOST_MISFIT else None,
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
    axis = _axis(block)
    if size <= 2.0 * axis:
        return size, axis
    u = np.array([total.real, total.imag]) / size
    return size, float(np.sqrt(u @ block @ u))


def _axis(block: Floats) -> float:
    """Largest standard deviation of a joint's p and q in any direction."""
    return float(np.sqrt(max(float(np.linalg.eigvalsh(block)[-1]), 0.0)))


def _members(model: Model, theta: Floats, cover: Floats, least_share: float) -> list[tuple[int, ...]]:
    """Joints that can't be told apart, port first: too near for the band, or with intervals too wide for their sizes."""
    n, line = model.n, model.line
    delays = line.end_delay_s[list(line.joint_at)]
    cell = 1.0 / (2.0 * float(model.f[-1] - model.f[0]))
    sizes = np.hypot(theta[:n], theta[n : 2 * n])
    out: list[tuple[int, ...]] = [(0,)]
    for k in range(1, n):
        apart = delays[k] - delays[k - 1]
        at = [k - 1, n + k - 1, k, n + k]
        both = cover[np.ix_(at, at)]
        given = np.linalg.inv(both)  # its blocks, inverted, are the covariances with the other joint known
        pairs = [(_axis(both[b, b]), _axis(np.linalg.inv(given[b, b]))) for b in (slice(0, 2), slice(2, 4))]
        wide = Z95 * max(p[0] for p in pairs) >= SEPARABLE_SHARE * float(np.hypot(sizes[k], sizes[k - 1]))
        # a joint that stays wide with its neighbour known has another cause: directivity at the port, the load at the end
        mutual = max(p[0] / p[1] for p in pairs) > MUTUAL
        if apart < least_share * cell or (wide and mutual and apart < 2.0 * cell):
            out[-1] = (*out[-1], k)
        else:
            out.append((k,))
    return out


def _return_loss_db(gamma: float) -> float:
    return float(-20.0 * np.log10(gamma)) + 0.0 if not gamma <= 0 else float("inf")
