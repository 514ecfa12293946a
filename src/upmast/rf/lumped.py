"""
A line as lumps between lossy sections, with the derivatives of its reflection: what a fit of a sweep descends on.

Each joint is one lump `g = r - j x f/f0` (r resistive, x reactive: above 0 a shunt capacitance, below 0 a series inductance), all
multiple reflections are included. Shared unknowns: a relative error of the velocity and of the loss, an error of each length.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.rf.loss import DB_PER_NEPER, attenuation_db_per_m, velocity_m_per_s

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
End = Literal["load", "short", "antenna"]
ENDS = ("load", "short", "antenna")

VELOCITY_SIGMA = 0.01  # relative; common practice, no source
LOSS_SIGMA = (
    0.01  # relative; a wider one confuses loss with the slope of the joints and spoils far sizes by 0.2 dB: own trials
)
LENGTH_SIGMA_M = 0.005  # common practice, no source
DIRECTIVITY_DB = 42.0  # of a calibrated port: common practice, no source
LOAD_DB = 40.0  # least return loss of a good load: common practice, no source
SHORT_SIGMA = 0.01  # of the size of its reflection, about 0.1 dB of drift since calibration: common practice, no source
KNOWN_END_SIGMA = 0.02  # of a measured end as a factor: common practice, no source
WEAK_SIGMA = 0.5  # of joints and antenna: says nothing, keeps the equations solvable
ANTENNA_ORDER = 8  # Chebyshev terms of an antenna's own reflection over the sweep: own trials
MOST_JOINTS = 24


@dataclass(frozen=True, slots=True, eq=False, init=False)
class LumpedLine:
    """
    The line as designed, test port first.

    section_length_m [m], section_velocity_factor, root_db_per_m, linear_db_per_m [dB/m at 1 GHz, 20 C], length_sigma_m [m]:
    of each section, shape (s,) or one for all. length_sigma_m is a standard deviation; a jumper whose velocity is not that of the
    feeder gets a wider one (1 per cent of 2 m is 20 mm).
    joint_at: at which ends of sections joints stand, 0 is the test port, s the far end; None: at all of them.
    velocity_sigma, loss_sigma: relative standard deviations, shared by all sections. skin_phase: as in `propagation_per_m`.
    """

    section_length_m: Floats
    section_velocity_factor: Floats
    root_db_per_m: Floats
    linear_db_per_m: Floats
    length_sigma_m: Floats
    joint_at: tuple[int, ...]
    velocity_sigma: float
    loss_sigma: float
    temperature_c: float
    skin_phase: bool

    def __init__(
        self,
        section_length_m: ArrayLike,
        section_velocity_factor: ArrayLike,
        root_db_per_m: ArrayLike = 0.0,
        linear_db_per_m: ArrayLike = 0.0,
        length_sigma_m: ArrayLike = LENGTH_SIGMA_M,
        joint_at: tuple[int, ...] | None = None,
        velocity_sigma: float = VELOCITY_SIGMA,
        loss_sigma: float = LOSS_SIGMA,
        temperature_c: float = 20.0,
        skin_phase: bool = False,
    ) -> None:
        length = np.atleast_1d(np.asarray(section_length_m, np.float64))
        if length.ndim != 1 or not length.size or not np.all((length > 0) & np.isfinite(length)):
            raise ValueError("section_length_m is a row of lengths above 0")
        spread = {
            "section_velocity_factor": section_velocity_factor,
            "root_db_per_m": root_db_per_m,
            "linear_db_per_m": linear_db_per_m,
            "length_sigma_m": length_sigma_m,
        }
        object.__setattr__(self, "section_length_m", length)
        for name, value in spread.items():
            given = np.asarray(value, np.float64)
            if given.shape not in ((), (1,), length.shape) or not np.all(np.isfinite(given) & (given >= 0)):
                raise ValueError(f"{name} is one number, or one for each section, none of them negative")
            object.__setattr__(self, name, np.broadcast_to(given, length.shape).copy())
        velocity_m_per_s(self.section_velocity_factor)
        if not np.all(self.length_sigma_m > 0):
            raise ValueError("length_sigma_m lies above 0: no length is known exactly")
        if not (0 < velocity_sigma < 0.2 and 0 < loss_sigma < 1):
            raise ValueError("velocity_sigma lies between 0 and 0.2, loss_sigma between 0 and 1")
        if not np.isfinite(temperature_c):
            raise ValueError("temperature_c is a number")
        at = tuple(range(length.size + 1)) if joint_at is None else tuple(joint_at)
        ends_ok = all(0 <= k <= length.size for k in at)
        if not at or not ends_ok or any(a >= b for a, b in pairwise(at)):
            raise ValueError(f"joint_at names ends of sections, 0 to {length.size}, rising")
        if len(at) > MOST_JOINTS:
            raise ValueError(f"a fit takes {MOST_JOINTS} joints at most")
        object.__setattr__(self, "joint_at", at)
        object.__setattr__(self, "velocity_sigma", float(velocity_sigma))
        object.__setattr__(self, "loss_sigma", float(loss_sigma))
        object.__setattr__(self, "temperature_c", float(temperature_c))
        object.__setattr__(self, "skin_phase", bool(skin_phase))

    @property
    def length_m(self) -> float:
        """Of the whole line, m."""
        return float(self.section_length_m.sum())

    @property
    def end_distance_m(self) -> Floats:
        """Distance of each end of a section from the test port, m, the port first."""
        return np.concatenate([[0.0], np.cumsum(self.section_length_m)])

    @property
    def end_delay_s(self) -> Floats:
        """One-way delay of each end of a section from the test port, s, the port first."""
        delay = self.section_length_m / velocity_m_per_s(self.section_velocity_factor)
        return np.concatenate([[0.0], np.cumsum(delay)])

    def end_loss_db(self, frequency_hz: float) -> Floats:
        """One-way loss from the test port to each end of a section, dB, the port first."""
        a = attenuation_db_per_m(frequency_hz, self.root_db_per_m, self.linear_db_per_m, self.temperature_c)
        return np.concatenate([[0.0], np.cumsum(a * self.section_length_m)])


class Model:
    """
    Reflection of a `LumpedLine` over frequency and its derivatives by all unknowns.

    Unknowns in one row: p [n], q [n] of the joints, directivity (2), end (2 for each of its shapes), velocity, loss, lengths [s].
    `p + j q` is what a joint shows at f0 if it stood where the design says: `r - j x = (p + j q) exp(j late)`. A wrong length then
    moves only the envelope of a joint, not its phase; else length and phase would be one narrow curved valley, with false minima.

    Source: Pozar, Microwave Engineering, chapter 4 (signal flow); own derivatives, checked against differences.
    """

    def __init__(
        self,
        frequency_hz: Floats,
        line: LumpedLine,
        end: End,
        directivity_db: float = DIRECTIVITY_DB,
        load_db: float = LOAD_DB,
        end_gamma: Complexes | None = None,
    ) -> None:
        f = self.f = frequency_hz
        self.line, self.end = line, end
        self.f0 = 0.5 * float(f[0] + f[-1])
        self.n, self.s = len(line.joint_at), line.section_length_m.size
        self.slope = f / self.f0
        self.absorbs = np.zeros(self.n, np.bool_)
        v = velocity_m_per_s(line.section_velocity_factor)
        root, linear = line.root_db_per_m[:, None], line.linear_db_per_m[:, None]
        exponent = attenuation_db_per_m(f, root, linear, line.temperature_c).astype(np.complex128)
        if line.skin_phase:
            exponent += 1j * attenuation_db_per_m(f, root, 0.0, line.temperature_c)
        self.loss = -2.0 * exponent * line.section_length_m[:, None] / DB_PER_NEPER  # there and back
        self.turn = -4.0 * np.pi * f / v[:, None]  # rad per m, there and back
        known = end_gamma is not None
        order = ANTENNA_ORDER if end == "antenna" and not known else 0
        u = 2.0 * (f - f[0]) / (f[-1] - f[0]) - 1.0
        shapes = end_gamma[None] if end_gamma is not None else np.polynomial.chebyshev.chebvander(u, order).T
        self.shapes = np.ascontiguousarray(shapes, np.complex128)
        e = self.shapes.shape[0]
        self.at_d, self.at_end = 2 * self.n, 2 * self.n + 2
        self.at_v = self.at_end + 2 * e
        self.at_l, self.at_s = self.at_v + 1, self.at_v + 2
        self.re, self.im = slice(self.at_end, self.at_v, 2), slice(self.at_end + 1, self.at_v, 2)
        self.mean = np.zeros(self.at_s + self.s)
        self.whole_end = end == "short" and not known  # its size is known, its phase is not
        self.mean[self.at_end] = 1.0 if known else 0.0
        of_end = KNOWN_END_SIGMA if known else 10.0 ** (-load_db / 20.0) if end == "load" else 2.0 * WEAK_SIGMA
        self.sigma = np.concatenate([
            np.full(2 * self.n, WEAK_SIGMA), np.full(2, 10.0 ** (-directivity_db / 20.0)), np.full(2 * e, of_end),
            [line.velocity_sigma, line.loss_sigma], line.length_sigma_m,
        ])  # fmt: skip
        self.place = {b: k for k, b in enumerate(line.joint_at)}
        self.late_by = np.zeros((self.n + 1, 2 + self.s))  # rad at f0, by velocity, loss and length error
        for k, b in enumerate([*line.joint_at, self.s]):
            per_m = 4.0 * np.pi * self.f0 / v[:b]
            self.late_by[k, 0] = float(per_m @ line.section_length_m[:b])
            self.late_by[k, 2 : 2 + b] = per_m

    def thinned(self, skip: int) -> Model:
        """The same over every skip-th frequency."""
        other = copy(self)
        other.f, other.slope = self.f[::skip], self.slope[::skip]
        other.loss, other.turn = self.loss[:, ::skip].copy(), self.turn[:, ::skip].copy()
        other.shapes = self.shapes[:, ::skip].copy()
        return other

    def late(self, theta: Floats) -> Floats:
        """Phase at f0 by which each joint comes later than designed, there and back, rad; the end of the line last."""
        return np.asarray(self.late_by @ theta[self.at_v :])

    def own(self, theta: Floats) -> Floats:
        """The same unknowns with joints and end in their own planes: r [n], x [n] in place of p and q."""
        out, n, turn = theta.copy(), self.n, np.exp(1j * self.late(theta))
        lumps = (theta[:n] + 1j * theta[n : 2 * n]) * turn[:-1]
        out[:n], out[n : 2 * n] = lumps.real, -lumps.imag
        ends = (theta[self.re] + 1j * theta[self.im]) * turn[-1]
        out[self.re], out[self.im] = ends.real, ends.imag
        return out

    def seen(self, own: Floats) -> Floats:
        """The inverse of `own`."""
        out, n, turn = own.copy(), self.n, np.exp(-1j * self.late(own))
        lumps = (own[:n] - 1j * own[n : 2 * n]) * turn[:-1]
        out[:n], out[n : 2 * n] = lumps.real, lumps.imag
        ends = (own[self.re] + 1j * own[self.im]) * turn[-1]
        out[self.re], out[self.im] = ends.real, ends.imag
        return out

    def evaluate(self, theta: Floats) -> tuple[Complexes, Complexes]:
        """Reflection at the test port (nf,) and its derivatives by all unknowns (unknowns, nf)."""
        model, jac = self.by_lump(self.own(theta))
        return model, np.asarray(self.turned(theta) @ jac)

    def turned(self, theta: Floats) -> Floats:
        """Matrix that makes derivatives by p and q, lengths and all from those by r and x with the lumps held."""
        own, n, late = self.own(theta), self.n, self.late(theta)
        out = np.eye(theta.size)
        c, s = np.cos(late), np.sin(late)
        k = np.arange(n)
        out[k, k], out[k, n + k] = c[:-1], -s[:-1]
        out[n + k, k], out[n + k, n + k] = -s[:-1], -c[:-1]
        re, im = np.arange(self.at_end, self.at_v, 2), np.arange(self.at_end + 1, self.at_v, 2)
        out[re, re], out[re, im] = c[-1], s[-1]
        out[im, re], out[im, im] = -s[-1], c[-1]
        by_late = self.late_by.T
        out[self.at_v :, :n] = by_late[:, :-1] * own[n : 2 * n]
        out[self.at_v :, n : 2 * n] = -by_late[:, :-1] * own[:n]
        out[self.at_v :, re] = -by_late[:, -1:] * own[im]
        out[self.at_v :, im] = by_late[:, -1:] * own[re]
        return out

    def by_lump(self, own: Floats) -> tuple[Complexes, Complexes]:
        """The same for unknowns in their own planes: from the far end to the port, then the chain rule from the port on."""
        n, slope = self.n, self.slope
        jac = np.empty((own.size, self.f.size), np.complex128)
        length = self.line.section_length_m * (1.0 + own[self.at_v]) + own[self.at_s :]
        through = np.exp(self.loss * (1.0 + own[self.at_l]) + 1j * self.turn * length[:, None])
        now = ((own[self.re] + 1j * own[self.im])[:, None] * self.shapes).sum(axis=0)
        # of a joint: k, -1, by g, by T^2, passes on; of a section: -1, its number, what stands behind it, -, passes on
        steps: list[tuple[int, int, Complexes, Complexes, Complexes]] = []
        for b in range(self.s, -1, -1):
            if b in self.place:
                k = self.place[b]
                r, x = own[k], own[n + k]
                g = r - 1j * x * slope
                square = r * r + (x * slope) ** 2
                # what is lost on the way through a resistance in series or in parallel: 2 |r| - 2 |g|^2
                t2 = 1.0 - 2.0 * abs(r) + square if self.absorbs[k] else 1.0 - square
                inverse = 1.0 / (1.0 - g * now)
                echo = now * inverse
                steps.append((k, -1, 1.0 + t2 * echo * echo, echo, t2 * inverse * inverse))
                now = g + t2 * echo
            if b > 0:
                now = now * through[b - 1]
                steps.append((-1, b - 1, now, now, through[b - 1]))
        chain = np.ones(self.f.size, np.complex128)
        jac[self.at_v : self.at_s] = 0.0
        for k, section, one, two, on in reversed(steps):
            if k < 0:
                moved = chain * one
                turned = 1j * self.turn[section] * moved
                jac[self.at_s + section] = turned
                jac[self.at_v] += self.line.section_length_m[section] * turned
                jac[self.at_l] += self.loss[section] * moved
            else:
                r, x = own[k], own[n + k]
                by_g, by_t = chain * one, chain * two
                sign = 1.0 if self.absorbs[k] else -1.0
                jac[k] = by_g + (sign * 2.0 * r - (2.0 * np.sign(r) if self.absorbs[k] else 0.0)) * by_t
                jac[n + k] = -1j * slope * by_g + (sign * 2.0 * x) * slope**2 * by_t
            chain = chain * on
        jac[self.at_d], jac[self.at_d + 1] = 1.0, 1j
        ends = chain * self.shapes
        jac[self.re], jac[self.im] = ends, 1j * ends
        return now + own[self.at_d] + 1j * own[self.at_d + 1], jac
