"""
What one sweep of a day shows before any fit: its worst return loss in the bands, and the reflection at each joint by transform.

A fit holds for joints up to |g| = 0.2; a joint beyond it is itself the news, and this tells it where the fit can't.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from upmast.field.locate import locate
from upmast.field.measurement import Sweep
from upmast.field.told import Swept, Told
from upmast.number import number
from upmast.proof.rf_path import PathDesign
from upmast.rf.ageing import JOINT_FALL_DB, Reading, reading_of
from upmast.rf.fit import fit_joints
from upmast.rf.lumped import LumpedLine

__all__ = ["ENDS", "Look", "look_of", "refused"]

ENDS = ("load", "antenna")  # what may stand at the end where joints are compared; never one against the other
LEAST_RISE = 0.01  # of |g| at a joint: a smaller one is the day's calibration; common practice, no source
END_WORDS = {"load": "a load", "antenna": "the antenna"}


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """
    One sweep with its end: worst return loss in the bands [dB], return loss of each joint seen by transform [dB], and the fit.

    gamma, gamma_sigma [n]: of the fit, NaN where it can't tell; `why` says why there is no fit, empty if there is one.
    """

    end: str
    worst_db: float
    joints_db: Mapping[str, float]
    gamma: NDArray[np.float64]
    gamma_sigma: NDArray[np.float64]
    why: str
    one: Swept = field(repr=False)


def look_of(one: Swept, design: PathDesign, line: LumpedLine | None) -> Look:
    """A sweep with a load or the antenna as a look."""
    count = len(design.joints)
    gamma, sigma, why = np.full(count, np.nan), np.full(count, np.nan), ""
    if one.sweep.magnitude_only:
        why = "the file has no phase"
    elif line is None:
        why = "a section of the path has no length"
    else:
        try:
            fit = fit_joints(one.sweep.frequency_hz, one.sweep.gamma, line, "load" if one.test == "load" else "antenna")
            if fit.judged:
                found: Reading = reading_of(fit, 0.0, 20.0)
                gamma[: found.gamma.size], sigma[: found.gamma.size] = found.gamma, found.gamma_sigma
            else:
                why = "; ".join(text.partition(" is more than ")[0] for text in fit.why_not)
        except ValueError as error:
            why = str(error)
    seen = locate(one.sweep, design, one.test).peaks if not one.sweep.magnitude_only else ()
    last = design.joints[-1].name if design.joints else ""
    # with the antenna the last joint's peak is mainly the antenna
    joints = {p.joint: p.return_loss_db for p in seen if p.joint and (one.test == "load" or p.joint != last)}
    return Look(one.test, _worst(one.sweep, design), joints, gamma, sigma, why, one)


def _worst(sweep: Sweep, design: PathDesign) -> float:
    """Least return loss within the bands, dB; of the whole sweep where it holds none of them."""
    inside = np.zeros(sweep.points, bool)
    for low, high in design.ranges:
        inside |= (sweep.frequency_hz >= low) & (sweep.frequency_hz <= high)
    level = sweep.bounded_db[inside] if inside.any() else sweep.bounded_db
    return float(np.min(level))


def refused(path: str, days: tuple[datetime.date, datetime.date], looks: tuple[Look, Look], also: str = "") -> Told:
    """
    Two looks with one end of which at least one can't be fitted, held against each other by what can be seen without a fit.

    Parameters
    ----------
    also : what else was compared of these days, in words.
    """
    older, newer = looks
    lacking = [
        f"joints of {day} can't be fitted ({look.why})" for day, look in zip(days, looks, strict=True) if look.why
    ]
    rises = {
        name: 10 ** (-db / 20) - 10 ** (-older.joints_db[name] / 20) if name in older.joints_db else 10 ** (-db / 20)
        for name, db in newer.joints_db.items()
        if older.joints_db.get(name, np.inf) - db >= JOINT_FALL_DB
    }
    rises = {name: rise for name, rise in rises.items() if rise >= LEAST_RISE}
    fell = older.worst_db - newer.worst_db
    worse = fell >= JOINT_FALL_DB or (bool(rises) and bool(newer.joints_db) and bool(older.joints_db))
    better = not worse and -fell >= JOINT_FALL_DB
    what = "changed: " if worse else "changed for the better: " if better else "no change seen: "
    words = (
        f"{path} from {days[0]} to {days[1]}: {what}worst return loss {number(older.worst_db, 'dB')} to {number(newer.worst_db, 'dB')} "
        f"with {END_WORDS[newer.end]}"
    )
    first = max(rises, key=lambda name: rises[name], default="") if older.joints_db else ""
    if first:
        before = older.joints_db.get(first)
        words += f"; {first} {'below what is seen' if before is None else number(before, 'dB')} to {number(newer.joints_db[first], 'dB')}"
    words += "".join(f"; {text}" for text in (*lacking, *([also] if also else [])))
    if worse:
        place = first or min(
            newer.joints_db, key=lambda name: newer.joints_db[name], default="the joints in turn, from the foot"
        )
        remedy = f"open {place} first: look whether it is loose, damaged or wet; torque it, and sweep again"
    elif better:
        remedy = "keep both files, and write down what was repaired in between"
    else:
        remedy = "look at the pictures over distance of both days: sizes of joints are not compared"
    return Told(
        "changes", "warn" if worse else "note", words, remedy,
        tuple(dict.fromkeys(look.one.test_id for look in looks)), tuple(dict.fromkeys(look.one.sweep.file for look in looks)),
    )  # fmt: skip
