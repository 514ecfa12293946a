"""What the joints of the design reflect by a fit to the whole sweep, with intervals: surer than a peak of the transform where it holds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from upmast.field.locate import line_of
from upmast.field.measurement import Sweep
from upmast.number import number
from upmast.proof.rf_path import PathDesign
from upmast.rf.fit import Fit, JointGroup, fit_joints
from upmast.rf.joint import joint_gamma
from upmast.rf.rank import open_first
from upmast.rf.reflection import return_loss_db

__all__ = ["FitRow", "Fitted", "fit_sweep"]

FLOOR_DB = 45.0  # what is weaker is not told from directivity: common practice, no source
SAME_DB = 0.5  # less than this over its specification is no word against a joint: common practice, no source


@dataclass(frozen=True, slots=True)
class FitRow:
    """
    One joint of the design, or several that this sweep can't tell apart.

    return_loss_db with its 95 % interval; allowed_db: least that it may have; excess_db: positive is worse, low and high of its interval.
    kind: what it reflects as, where that is told. suspect: worse than it may be, beyond doubt.
    """

    joints: tuple[str, ...]
    distance_m: tuple[float, float]
    return_loss_db: float
    least_db: float
    most_db: float
    allowed_db: float | None
    excess_db: float | None
    kind: str
    suspect: bool

    @property
    def words(self) -> str:
        name = " and ".join(self.joints)
        text = f"{name}: {number(self.return_loss_db, 'dB')} ({number(self.least_db, 'dB')} to {number(self.most_db, 'dB')})"
        if len(self.joints) > 1:
            text += ", together"
        if self.kind:
            text += f", as {self.kind}"
        if self.excess_db is not None and self.suspect:
            text += f", {number(self.excess_db, 'dB')} worse than the {number(self.allowed_db, 'dB')} that it may have"
        return text


@dataclass(frozen=True, slots=True)
class Fitted:
    """Joints, the one to open first at the head; by how much it leads, and whether that is sure; or why there is no fit."""

    rows: tuple[FitRow, ...]
    margin_db: float
    sure: bool
    misfit: float
    elsewhere: str  # what the joints of the design don't explain
    why_not: str = ""

    @property
    def sentence(self) -> str:
        """The result for a person on a mast."""
        if self.why_not:
            return f"no fit of the joints: {self.why_not}"
        first = next((r for r in self.rows if r.suspect), None)
        if first is None:
            told = "no joint is worse than it may be, beyond doubt"
        else:
            lead = (
                ""
                if math.isnan(self.margin_db)
                else f"; it leads by {number(self.margin_db, 'dB')}" + ("" if self.sure else ", which is not sure")
            )
            told = f"{first.words}{lead}"
        return f"by a fit of all joints: {told}" + (f". {self.elsewhere}" if self.elsewhere else "")


def fit_sweep(sweep: Sweep, design: PathDesign, test: str) -> Fitted:
    """
    Fit the joints of a path to its sweep.

    test: what stands at the end: load or antenna; of a short the last joint can't be told from it and nothing is fitted here.
    """
    if sweep.magnitude_only:
        return _none("the file has no phase")
    if test not in ("load", "antenna"):
        return _none("of a short at the end only the loss is read")
    line = line_of(design)
    if line is None:
        return _none("the design has a part without a length")
    try:
        fit = fit_joints(sweep.frequency_hz, sweep.gamma, line, "load" if test == "load" else "antenna")
    except ValueError as reason:
        return _none(str(reason))
    if not fit.judged:
        return _none("; ".join(fit.why_not))
    return _told(fit, design)


def _none(why: str) -> Fitted:
    return Fitted((), math.nan, False, math.nan, "", why)


def _told(fit: Fit, design: PathDesign) -> Fitted:
    specified = [
        math.nan
        if math.isnan(j.return_loss_db)
        else float(return_loss_db(joint_gamma(fit.frequency_hz, j.return_loss_db, j.reference_hz)))
        for j in design.joints
    ]
    known = not any(math.isnan(s) for s in specified)
    ranking = open_first(fit, specified if known else None)
    rows = tuple(
        _row(
            r.group,
            design,
            r.allowed_db if known else None,
            r.excess_db if known else None,
            r.low_db if known else None,
        )
        for r in ranking.order
    )
    elsewhere = ""
    place = fit.unexplained
    if place is not None and float(return_loss_db(place.gamma)) < FLOOR_DB:
        elsewhere = f"The joints don't explain all: look at {place.distance_m:.2f} m, where {number(float(return_loss_db(place.gamma)), 'dB')} come back"
    return Fitted(rows, ranking.margin_db, ranking.sure, fit.misfit, elsewhere)


def _row(
    group: JointGroup, design: PathDesign, allowed: float | None, excess: float | None, low: float | None
) -> FitRow:
    names = tuple(design.joints[n].name for n in group.joints)
    most = float(return_loss_db(np.float64(max(group.low, 1e-10))))
    suspect = low is not None and low > SAME_DB
    return FitRow(
        names, group.distance_m, group.return_loss_db, group.least_db, most, allowed, excess, group.kind, suspect
    )
