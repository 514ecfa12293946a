"""Echoes of a path as it was found, and which of its peaks they may be: so that nobody opens a joint for an echo of another one."""

from __future__ import annotations

import math
from collections.abc import Mapping

from upmast.field.measurement import Sweep
from upmast.number import number
from upmast.proof.rf_path import PathDesign
from upmast.rf.ghosts import END, PORT, Ghost, explained, ghost_places
from upmast.rf.joint import joint_gamma
from upmast.rf.lumped import LumpedLine
from upmast.rf.reflection import gamma_from_return_loss, return_loss_db

__all__ = ["echo_at_joint", "echoes_of", "way_words"]

NEARLY_ALL_DB = 0.1  # echoes of more are reckoned as of this: nothing passive sends back more than all


def echoes_of(
    line: LumpedLine, design: PathDesign, seen_db: Mapping[str, float], sweep: Sweep, test: str
) -> tuple[Ghost, ...]:
    """
    Echoes and folded places of a path, strongest first.

    Parameters
    ----------
    seen_db : return loss of each joint as it was found [dB]; joints that were not seen count with their limit.
    test : what stands at the end.
    """
    sizes = []
    for joint in design.joints:
        level = seen_db.get(joint.name)
        if level is not None:
            sizes.append(float(gamma_from_return_loss(max(level, NEARLY_ALL_DB))))
        elif math.isnan(joint.return_loss_db):
            sizes.append(0.0)
        else:
            sizes.append(float(joint_gamma(sweep.middle_hz, joint.return_loss_db, joint.reference_hz)))
    end = design.end_return_loss_db(test)
    step = sweep.width_hz / max(sweep.points - 1, 1)
    far = 0.0 if end is None else float(gamma_from_return_loss(end))
    return ghost_places(line, sizes, sweep.middle_hz, step, far)


def echo_at_joint(
    joint: str, distance_m: float, level_db: float, design: PathDesign, echoes: tuple[Ghost, ...], within_m: float
) -> str:
    """
    Words where an echo of other joints falls onto a joint and is strong enough to be its peak; '' where none is.

    An echo that goes to the joint itself is no excuse for it.
    """
    own = next(k for k, j in enumerate(design.joints) if j.name == joint)
    others = tuple(g for g in echoes if own not in g.path)
    told = explained(distance_m, float(gamma_from_return_loss(max(level_db, NEARLY_ALL_DB))), others, within_m)
    if not told.ghost:
        return ""
    strongest = told.ghosts[0]
    return (
        f"an echo ({way_words(strongest, design)}) of up to {number(float(return_loss_db(told.gamma)), 'dB')} falls onto it: "
        "see to the joints on its way first, then sweep again"
    )


def way_words(ghost: Ghost, design: PathDesign) -> str:
    """The joints that an echo went to, in its order."""
    names = {PORT: "the test port", END: "the end"}
    way = " to ".join(names.get(k, design.joints[k].name if 0 <= k < len(design.joints) else "?") for k in ghost.path)
    return way + (f", folded back by the range {ghost.folded} time(s)" if ghost.folded else "")
