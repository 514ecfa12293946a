"""
One RF path as a test meets it: bands, joints with their places, and cable sections, as arrays for the physics.

Tests are made from the radio's side: the instrument stands in for the radio, so the first joint lies at the test port.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.catalogue.part import AntennaPart, RadioPart, RfCable, RfInline
from upmast.line.line import Line
from upmast.line.walk import RfPath, rf_paths
from upmast.rf.bands import band
from upmast.rf.distance import resolution_m
from upmast.rf.inline import InlineBounds, reflection_at, row_bounds
from upmast.rf.loss import C0_M_PER_S, line_loss_db
from upmast.rf.reflection import return_loss_db, return_loss_from_vswr_db
from upmast.rf.sweep import Expected, expected_return_loss_db
from upmast.rf.sweep_plan import SweepPlan, plan_sweep, window_width

Floats = NDArray[np.float64]
Range = tuple[float, float]
LOAD_RETURN_LOSS_DB = 40.0  # of a precision load: common practice, no source
CABLE_LOSS_SHARE = 0.05  # how far the loss of a cable may be off its data sheet: common practice, no source
SHORT_READING_DB = 0.3  # allowance on a loss read with a short: common practice, no source
TESTS = ("load", "antenna", "short")


@dataclass(frozen=True, slots=True)
class JointPlace:
    """A joint of the path: its name (both ends), its distance from the test port, and its specification."""

    name: str
    a: str
    b: str
    distance_m: float
    tolerance_m: float  # of the made lengths up to here
    return_loss_db: float  # least, at reference_hz; NaN where the parts do not say
    reference_hz: float
    loss_db: float  # highest


@dataclass(frozen=True, slots=True)
class Section:
    """One cable of the path, or a two-port: as long as it delays at the velocity of the cables, with bounds by rows."""

    item: str
    length_m: float
    tolerance_m: float
    velocity_fraction: float
    a_db_per_m: float
    b_db_per_m: float
    rows: tuple[
        tuple[float, ...], ...
    ] = ()  # of a two-port: Hz, least return loss of both ports, least and greatest loss

    def bounds(self, f: Floats) -> InlineBounds | None:
        """Of a two-port at some frequencies, the nearest row outside its rows; None for a cable."""
        if not self.rows:
            return None
        return row_bounds(np.clip(f, self.rows[0][0], self.rows[-1][0]), self.rows)

    @property
    def delay_s(self) -> float:
        return self.length_m / (self.velocity_fraction * C0_M_PER_S)


@dataclass(frozen=True, slots=True)
class BandRange:
    """One direction of one band."""

    name: str  # e.g. `B3 uplink`
    low_hz: float
    high_hz: float


@dataclass(frozen=True)
class PathDesign:
    """An RF path with all that its tests need."""

    id: str
    radio: str
    antenna: str  # end of the path; empty where it ends in nothing
    bands: tuple[BandRange, ...]
    joints: tuple[JointPlace, ...]
    sections: tuple[Section, ...]
    antenna_vswr: float | None
    antenna_rows: tuple[tuple[float, float], ...] = ()  # of its measurement: Hz, return loss

    @cached_property
    def items(self) -> tuple[str, ...]:
        ends = (self.radio, *(s.item for s in self.sections), self.antenna.partition(".")[0])
        return tuple(one for one in ends if one)

    @cached_property
    def alike(self) -> tuple[object, ...]:
        """All that an instrument could tell this path by: two paths with the same value differ in name only."""
        sections = tuple(
            (s.length_m, s.tolerance_m, s.velocity_fraction, s.a_db_per_m, s.b_db_per_m, s.rows) for s in self.sections
        )
        joints = tuple((j.distance_m, str(j.return_loss_db), j.reference_hz, j.loss_db) for j in self.joints)
        return sections, joints, self.bands, self.antenna_vswr, self.antenna_rows, bool(self.antenna)

    @cached_property
    def ranges(self) -> tuple[Range, ...]:
        return tuple((b.low_hz, b.high_hz) for b in self.bands)

    @cached_property
    def lowest_hz(self) -> float:
        return min(b.low_hz for b in self.bands)

    @cached_property
    def highest_hz(self) -> float:
        return max(b.high_hz for b in self.bands)

    @cached_property
    def middle_hz(self) -> float:
        """The middle of its bands."""
        return 0.5 * (self.lowest_hz + self.highest_hz)

    @cached_property
    def length_m(self) -> float:
        return sum(s.length_m for s in self.sections)

    @cached_property
    def tolerance_m(self) -> float:
        return sum(s.tolerance_m for s in self.sections)

    @cached_property
    def sweep(self) -> SweepPlan:
        """The sweep over its bands, or wider where that is needed to tell its joints apart; half to twice its frequencies at most."""
        places = sorted(j.distance_m for j in self.joints)
        apart = [b - a for a, b in pairwise(places) if b - a > 1e-3]
        slowest = min((s.velocity_fraction for s in self.sections), default=1.0)
        low, high = self.lowest_hz / 2, self.highest_hz * 2
        middle = (self.lowest_hz + self.highest_hz) / 2
        line = max(self.length_m, 0.1)
        # what the bands' own span tells apart with the usual window
        own = float(window_width(6.0) * resolution_m(max(self.highest_hz - self.lowest_hz, 1e6), slowest))
        return plan_sweep(line, min([*apart, own, line]), slowest, middle, low, high)

    @cached_property
    def delay_s(self) -> float:
        """One-way electrical length of the cables, s."""
        return sum(s.delay_s for s in self.sections)

    def loss_db(self, frequency_hz: ArrayLike) -> Floats:
        """One-way loss of the cables at 20 °C, dB."""
        f = np.asarray(frequency_hz, dtype=np.float64)
        return np.asarray(sum((self._loss(s, f) for s in self.sections), np.zeros(f.shape)))

    @staticmethod
    def _loss(section: Section, f: Floats) -> Floats:
        return line_loss_db(f, section.length_m, section.a_db_per_m, section.b_db_per_m)

    def end_return_loss_db(self, test: str) -> float | None:
        """Return loss of what stands at the end in a test; None where the path does not say."""
        if test == "load":
            return LOAD_RETURN_LOSS_DB
        if test == "short":
            return 0.0
        return None if self.antenna_vswr is None else float(return_loss_from_vswr_db(self.antenna_vswr))

    def _end(self, test: str, f: Floats) -> ArrayLike | None:
        """The same over frequency: of a measured antenna by its rows, as far as they go."""
        end = self.end_return_loss_db(test)
        if test != "antenna" or not self.antenna_rows or end is None:
            return end
        known = return_loss_db(reflection_at(f, self.antenna_rows))
        return np.where(np.isnan(known), end, known)

    def expected_db(self, frequency_hz: ArrayLike, test: str) -> Expected:
        """
        Return loss that a sweep of the sound path may show at each frequency, dB; NaN where a part gives no value.

        `least_db` is the exact worst case over all phases, with every joint at its specification.
        """
        f = np.asarray(frequency_hz, dtype=np.float64)
        end = self._end(test, f)
        specs = [j.return_loss_db for j in self.joints]
        if end is None or any(np.isnan(specs)):
            unknown = np.full(f.shape, np.nan)
            return Expected(unknown, unknown)
        losses: list[ArrayLike] = [self._loss(s, f) for s in self.sections[: len(self.joints)]]
        losses += [0.0] * (len(self.joints) - len(losses))
        two_ports = [s.bounds(f) for s in self.sections[: len(self.joints)]]
        two_ports += [None] * (len(self.joints) - len(two_ports))
        return expected_return_loss_db(
            f, specs, losses, end, [j.reference_hz for j in self.joints], test != "short", two_ports
        )

    def cable_loss_range_db(self, frequency_hz: ArrayLike) -> tuple[Floats, Floats]:
        """Lowest and highest one-way loss that a short should show, dB, at 20 °C."""
        line = self.loss_db(frequency_hz)
        found = [b for s in self.sections if (b := s.bounds(np.asarray(frequency_hz, dtype=np.float64))) is not None]
        low = (1.0 - CABLE_LOSS_SHARE) * line + sum(b.least_db for b in found)
        high = (1.0 + CABLE_LOSS_SHARE) * line + sum(j.loss_db for j in self.joints) + SHORT_READING_DB
        high = high + sum(b.most_db for b in found)
        return low, np.asarray(high)


def path_designs(line: Line) -> tuple[PathDesign, ...]:
    """Every RF path of a line that has cables, in the order of the line. Made once for a line, which never changes."""
    known: tuple[PathDesign, ...] | None = line.__dict__.get("_path_designs")
    if known is None:
        known = tuple(_design(line, path) for path in rf_paths(line) if path.cables)
        line.__dict__["_path_designs"] = known  # as functools.cached_property does
    return known


def _design(line: Line, path: RfPath) -> PathDesign:
    sections = []
    usual = next((p.velocity_fraction for id in path.cables if isinstance(p := line.part_of(id), RfCable)), 0.8)
    for id in path.passed:
        item, part = line.by_id[id], line.part_of(id)
        if isinstance(part, RfInline):
            sections.append(_two_port(id, part, id in path.turned, usual))
            continue
        assert isinstance(part, RfCable)
        sections.append(
            Section(
                id, item.length_m or 0.0, item.tolerance_m, part.velocity_fraction, part.a_db_per_m, part.b_db_per_m
            )
        )
    joints = []
    distance = tolerance = 0.0
    for k, (a, b) in enumerate(path.joints):
        joints.append(_joint(line, a, b, distance, tolerance))
        if k < len(sections):
            distance += sections[k].length_m
            tolerance += sections[k].tolerance_m
    port = _antenna_port(line, path.antenna)
    return PathDesign(
        path.id, path.radio, path.antenna, _bands(line, path, port), tuple(joints), tuple(sections),
        None if port is None else port[2], _antenna_rows(line, path.antenna),
    )  # fmt: skip


def _two_port(id: str, part: RfInline, turned: bool, velocity_fraction: float) -> Section:
    """A two-port as a section: its measured rows, or its bounds over its whole band."""
    rows: tuple[tuple[float, ...], ...] = part.measured
    if not rows:
        unknown = part.return_loss_db if part.return_loss_db is not None else 0.0
        bounds = (unknown, unknown, part.least_loss_db, part.loss_db)
        rows = ((part.low_hz, *bounds), (part.high_hz, *bounds))
    if turned:
        rows = tuple((f, head, foot, least, most) for f, foot, head, least, most in rows)
    return Section(id, part.electrical_m * velocity_fraction, 0.0, velocity_fraction, 0.0, 0.0, rows)


def _antenna_rows(line: Line, end: str) -> tuple[tuple[float, float], ...]:
    """The measurement of the antenna port at which the path ends, if there is one."""
    id, _, name = end.partition(".")
    part = line.part_of(id) if id else None
    return part.measured.get(name, ()) if isinstance(part, AntennaPart) else ()


def _joint(line: Line, a: str, b: str, distance: float, tolerance: float) -> JointPlace:
    pair = [line.connector(line.port(end).connector) for end in (a, b)]
    known = [c for c in pair if c.return_loss_db is not None]
    worst = min(known, key=lambda c: c.return_loss_db or 0.0, default=None)
    value = worst.return_loss_db if worst is not None and worst.return_loss_db is not None else float("nan")
    return JointPlace(
        f"{a}/{b}", a, b, distance, tolerance, value, worst.return_loss_at_hz if worst else 2e9,
        max(c.loss_db for c in pair),
    )  # fmt: skip


def _antenna_port(line: Line, end: str) -> tuple[float, float, float] | None:
    """Lowest and highest frequency and VSWR of the antenna port at which the path ends."""
    if not end:
        return None
    id, _, name = end.partition(".")
    part = line.part_of(id)
    if not isinstance(part, AntennaPart):
        return None
    return next(((p.low_hz, p.high_hz, p.vswr) for p in part.ports if p.name == name), None)


def _bands(line: Line, path: RfPath, port: tuple[float, float, float] | None) -> tuple[BandRange, ...]:
    """Uplink and downlink of each band of the radio; where the antenna port covers only some of them, those."""
    part = line.part_of(path.radio)
    assert isinstance(part, RadioPart)
    out: dict[Range, BandRange] = {}
    for name in part.bands:
        found = band(name)
        for way, edges in (("uplink", found.uplink_hz), ("downlink", found.downlink_hz)):
            if edges is None:
                continue
            low, high = float(edges[0]), float(edges[1])
            label = name if found.duplex == "TDD" else f"{name} {way}"
            out.setdefault((low, high), BandRange(label, low, high))
    every = tuple(sorted(out.values(), key=lambda b: (b.low_hz, b.high_hz)))
    covered = tuple(b for b in every if port is not None and port[0] <= b.low_hz and b.high_hz <= port[1])
    return covered or every
