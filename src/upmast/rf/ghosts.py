"""
Peaks of a distance picture that are no joints: echoes between reflections, places folded back by the range, residue of the calibration.

An echo goes to one reflection, back to a nearer one, and out again to a third: it shows at `tau_i + tau_k - tau_j`. What lies beyond the
range v/(2 df) is folded back into it. The rest of the calibration stands at the port, as wide as the window. A peak at such a place
is not called a joint; that a place is explained does not prove that nothing else stands there.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.constants import SPEED_OF_LIGHT_M_PER_S
from upmast.rf.distance import (
    DEFAULT_BETA,
    distance_from_delay_m,
    frequency_step_hz,
    loss_to_distance_db,
    resolution_m,
    response_at,
)
from upmast.rf.loss import attenuation_db_per_m, velocity_m_per_s
from upmast.rf.lumped import LumpedLine
from upmast.rf.reflection import gamma_from_return_loss, return_loss_db
from upmast.rf.sweep_plan import window_width

Floats = NDArray[np.float64]

FLOOR = 1e-4  # -80 dB, below any field instrument's noise
EXPLAINS = 0.7  # of a peak's size, 3 dB: loss and sizes are not known better; common practice, no source
PORT, END = -1, -2  # in `Ghost.path`


class Ghost(NamedTuple):
    """
    A place where a picture shows something that is not there.

    distance_m: where it shows, counted from the test port with the design's velocities. gamma: size as read from a picture freed of the
    loss to that place, at most. path: joints that it went to, -1 the port itself, -2 the end; one of them alone is a place that was
    folded. folded: how often the range was exceeded, 0 for a plain echo.
    """

    distance_m: float
    gamma: float
    path: tuple[int, ...]
    folded: int


class Explained(NamedTuple):
    """Ghosts near a peak, strongest first, their sum in phase, and whether they are strong enough to be all of it."""

    ghosts: tuple[Ghost, ...]
    gamma: float
    ghost: bool


class VelocityFactor(NamedTuple):
    """Velocity factor from the end of the line, and its standard deviation."""

    velocity_factor: float
    sigma: float


def ghost_places(
    line: LumpedLine,
    gamma: ArrayLike,
    frequency_hz: float,
    step_hz: float,
    end_gamma: float = 0.0,
    port_gamma: float = 0.0,
    floor: float = FLOOR,
) -> tuple[Ghost, ...]:
    """
    Where a distance picture of this line shows echoes and folded places, strongest first.

    Echo i, j, k with j before i and k: `|g_i g_j g_k| exp(-2 (a_i + a_k - a_j))` at `tau_i + tau_k - tau_j`, twice that for i other
    than k, since both ways round arrive together. Folded: delay modulo 1/(2 df).

    Parameters
    ----------
    line: as designed. gamma [n]: size of each joint, as found or at its limit. frequency_hz [Hz]: middle of the sweep.
    step_hz [Hz]: of the sweep. end_gamma: size at the end (1 for a short). port_gamma: of the test port, looking back into it.
    floor: ghosts smaller than this are left out.

    Returns
    -------
    Ghosts of three reflections; those of five are smaller by two more reflections, beyond a short up to |g|^2 of the first.

    Source: Pozar, Microwave Engineering, chapter 4 (signal flow: paths and loops); sampling theorem (folding).
    """
    sizes = np.atleast_1d(np.asarray(gamma, np.float64))
    n = len(line.joint_at)
    if sizes.shape != (n,) or not np.all((sizes >= 0) & (sizes < 1)):
        raise ValueError("gamma holds one size a joint, from 0 to below 1")
    if not (0 <= end_gamma <= 1 and 0 <= port_gamma < 1 and floor > 0 and step_hz > 0 and frequency_hz > 0):
        raise ValueError("end_gamma and port_gamma lie between 0 and 1; floor, step and frequency above 0")
    at = [0, *line.joint_at, line.section_length_m.size]
    delay, loss = line.end_delay_s[at], line.end_loss_db(frequency_hz)[at]
    size = np.concatenate([[port_gamma], sizes, [end_gamma]])
    names = [PORT, *range(n), END]
    keep = [k for k in range(size.size) if size[k] > 0]
    period = 1.0 / (2.0 * step_hz)
    out = []
    for k in keep:
        if delay[k] >= period and names[k] != PORT:
            out.append(_ghost(line, frequency_hz, float(delay[k]), float(loss[k]), float(size[k]), (names[k],), period))
    for j in keep:
        for a, i in enumerate(keep):
            for k in keep[a:]:
                if not (delay[j] < delay[i] and delay[j] < delay[k]):
                    continue
                product = float(size[i] * size[j] * size[k]) * (1.0 if i == k else 2.0)
                if product < floor:
                    continue
                tau, lost = float(delay[i] + delay[k] - delay[j]), float(loss[i] + loss[k] - loss[j])
                out.append(_ghost(line, frequency_hz, tau, lost, product, (names[i], names[j], names[k]), period))
    seen = [g for g in out if g.gamma >= floor]
    return tuple(sorted(seen, key=lambda g: (-g.gamma, g.distance_m)))


def _ghost(
    line: LumpedLine, f0: float, tau: float, lost_db: float, size: float, path: tuple[int, ...], period: float
) -> Ghost:
    """Where it shows and how strong, after the picture has been freed of the loss to that place."""
    folded = int(tau // period)
    shown = tau - folded * period
    place = float(distance_from_delay_m(shown, line.section_length_m, line.section_velocity_factor))
    a = attenuation_db_per_m(f0, line.root_db_per_m, line.linear_db_per_m, line.temperature_c)
    freed = float(loss_to_distance_db(place, line.section_length_m, a))
    return Ghost(place, size * 10.0 ** ((freed - lost_db) / 10.0), path, folded)


def explained(
    distance_m: float, gamma: float, known: tuple[Ghost, ...], within_m: float, share: float = EXPLAINS
) -> Explained:
    """
    Whether a peak can be a ghost: the ghosts within reach of it add up to enough of its size.

    Parameters
    ----------
    distance_m [m], gamma: place and size of the peak. known: of `ghost_places`. within_m [m]: how far the place may be off, about the width
    of the window. share: of the size that they must make, in phase.

    Source: own rule.

    >>> one = Ghost(12.0, 0.004, (2, 1, 2), 0)
    >>> explained(12.2, 0.005, (one,), 0.5).ghost, explained(12.2, 0.02, (one,), 0.5).ghost
    (True, False)
    """
    if not (within_m > 0 and gamma >= 0 and 0 < share <= 1 and np.isfinite(distance_m)):
        raise ValueError("within_m lies above 0, gamma is not negative, share lies between 0 and 1")
    near = tuple(g for g in known if abs(g.distance_m - distance_m) <= within_m)
    total = float(sum(g.gamma for g in near))
    return Explained(near, total, bool(near and total >= share * gamma))


def sweep_faults(
    frequency_hz: ArrayLike, line: LumpedLine, beta: float = DEFAULT_BETA, echoes: bool = True
) -> tuple[str, ...]:
    """
    What a sweep can't do for this line, in words; empty if it sees the whole line and tells all joints apart.

    Range against the line and, for `echoes`, against the whole way of an echo, twice the line, so that none is folded onto a joint;
    width of the window against the least spacing of two joints.

    Parameters
    ----------
    frequency_hz [Hz]: even grid. line: as designed. beta: of the Kaiser window.

    Source: `range_m` and `resolution_m`.

    >>> sweep_faults(np.linspace(1.7e9, 2.2e9, 1001), LumpedLine([2.0, 30.0, 2.0], 0.84))
    ()
    """
    f = np.asarray(frequency_hz, np.float64)
    step = frequency_step_hz(f)
    out = []
    whole, period = float(line.end_delay_s[-1]), 1.0 / (2.0 * step)
    v = float(velocity_m_per_s(line.section_velocity_factor.max()))
    reach = v * period
    need = int(np.ceil((f[-1] - f[0]) * 2.0 * whole * (2.0 if echoes else 1.0))) + 2
    if whole >= period:
        out.append(
            f"range {reach:.1f} m is less than the line of {line.length_m:.1f} m: places beyond are folded back; {need} points or more"
        )
    elif echoes and 2.0 * whole >= period:
        out.append(
            f"range {reach:.1f} m is less than twice the line of {line.length_m:.1f} m: echoes may be folded onto joints; {need} points"
        )
    if len(line.joint_at) > 1:
        apart = np.diff(line.end_delay_s[list(line.joint_at)])
        nearest = int(np.argmin(apart))
        width = float(window_width(beta)) / (2.0 * float(f[-1] - f[0]))
        if width > apart[nearest]:
            span = float(window_width(beta)) / (2.0 * float(apart[nearest]))
            out.append(
                f"joints {nearest} and {nearest + 1} stand nearer than the window's width of {width * v:.2f} m: one peak; "
                f"a span of {span / 1e6:.0f} MHz would part them, or a fit"
            )
    return tuple(out)


def velocity_factor_from_end(
    end_delay_s: ArrayLike,
    length_m: ArrayLike,
    other_delay_s: ArrayLike = 0.0,
    length_sigma_m: ArrayLike = 0.0,
    delay_sigma_s: ArrayLike = 0.0,
) -> VelocityFactor:
    """
    Velocity factor of a cable whose end is known: vf = L/((tau - tau_other) c_0). Any shapes that broadcast.

    Parameters
    ----------
    end_delay_s [s]: one-way delay to the end, from `upmast.rf.ageing.end_delay_s` or a fit. length_m [m]: of the cable.
    other_delay_s [s]: of what else lies on the way (jumpers). length_sigma_m [m], delay_sigma_s [s]: standard deviations.

    Source: definition.

    >>> round(float(velocity_factor_from_end(7.61844e-9, 1.85).velocity_factor), 4)
    0.81
    """
    tau = np.asarray(end_delay_s, np.float64) - np.asarray(other_delay_s, np.float64)
    length = np.asarray(length_m, np.float64)
    ds, dl = np.asarray(delay_sigma_s, np.float64), np.asarray(length_sigma_m, np.float64)
    if not (np.all(tau > 0) and np.all(length > 0) and np.all(ds >= 0) and np.all(dl >= 0)):
        raise ValueError("delay beyond the other parts and length lie above 0; deviations are not negative")
    vf = length / (tau * SPEED_OF_LIGHT_M_PER_S.value)
    if np.any(vf > 1):
        raise ValueError("that is faster than light: the delay is too short for this length, or another end was taken")
    sigma = vf * np.hypot(dl / length, ds / tau)
    return VelocityFactor(vf, sigma)  # type: ignore[arg-type]


def port_residue_gamma(
    distance_m: ArrayLike, span_hz: float, velocity_factor: float, directivity_db: float, beta: float = DEFAULT_BETA
) -> Floats:
    """
    What the calibration's residue may show near the port: 10^(-D/20) times the window's picture at that distance.

    A peak at the port below this is no joint; a weak joint within the width of the window is hidden by it.

    Parameters
    ----------
    distance_m [m]: any shape. span_hz [Hz]. velocity_factor. directivity_db [dB]: effective directivity after calibration. beta.

    Source: Harris, On the use of windows, 1978 (window); definition of directivity.

    >>> port_residue_gamma([0.0, 5.0], 250e6, 0.84, 42.0).round(4)
    array([0.0079, 0.    ])
    """
    if not directivity_db > 0:
        raise ValueError("directivity_db lies above 0")
    x = np.asarray(distance_m, np.float64)
    resolution_m(span_hz, velocity_factor)
    points = 1024
    f = np.linspace(0.0, span_hz, points)
    delay = np.abs(x).ravel() / float(velocity_m_per_s(velocity_factor))
    picture = np.abs(response_at(f, np.ones(points, np.complex128), delay, beta)).reshape(x.shape)
    return np.asarray(float(gamma_from_return_loss(directivity_db)) * picture)


def port_interval_db(measured_db: ArrayLike, directivity_db: ArrayLike) -> tuple[Floats, Floats]:
    """
    Return loss that a joint at the port may truly have, dB: least and greatest, -20 log10(|g| +- 10^(-D/20)).

    Parameters
    ----------
    measured_db, directivity_db [dB]: any shapes that broadcast. The greatest is infinite where the residue alone may be all of it.

    Source: definition of directivity; both phases are free.

    >>> least, greatest = port_interval_db(26.0, 42.0)
    >>> round(float(least), 2), round(float(greatest), 2)
    (24.72, 27.5)
    """
    g, d = gamma_from_return_loss(measured_db), gamma_from_return_loss(directivity_db)
    return return_loss_db(np.minimum(g + d, 1.0)), return_loss_db(np.maximum(g - d, 0.0))
