"""Closures over joints: which fit the cables and the nut, which fit between neighbours, and which suit the work."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.amounts import amounts
from upmast.source import Mark, Source
from upmast.table import read

__all__ = [
    "BEYOND_MM",
    "SHRINK_GRIP",
    "SHRINK_SLIP",
    "SHRINK_SOURCE",
    "ClosureFit",
    "ClosureKind",
    "closure",
    "closure_fit",
    "closure_objections",
    "closures",
    "covered_length_mm",
    "neighbour_room_mm",
    "separate_room_mm",
    "shrink_fit",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
BEYOND_MM = 30.0  # common practice, no source: the first layers stop 20 to 50 mm beyond the nut
SHRINK_SLIP = 1.1
SHRINK_GRIP = 0.8
SHRINK_SOURCE = Source(
    "common practice, no source",
    clause="slips over 1.1 times the nut, shrinks to 0.8 times the thinner cable",
    mark=Mark.PRACTICE,
)


@dataclass(frozen=True, slots=True)
class ClosureKind:
    """One kind of closure: whether it opens again, needs heat, must be slipped on before mating, and the room it takes."""

    kind: str
    opens_again: bool
    needs_heat: bool
    before_mating: bool
    room_mm: float
    source: Source


@dataclass(frozen=True, slots=True, eq=False)
class ClosureFit:
    """
    Which closures fit which joints, all of one broadcast shape.

    ends: both cables lie in the ranges of the two ends. turned: they do so only with the closure turned round.
    nut: goes into the body. length: the joint goes in. fits: all of these.
    """

    ends: Flags
    turned: Flags
    nut: Flags
    length: Flags

    @property
    def fits(self) -> Flags:
        """Ends, nut and length fit."""
        return np.asarray(self.ends & self.nut & self.length)


def closures() -> tuple[str, ...]:
    """Kinds of closure in the table."""
    return tuple(row["closure"] for row in read("upmast.weather", "closures").rows)


def closure(kind: str) -> ClosureKind:
    """
    What a kind of closure needs, from the table.

    >>> closure("gel").opens_again, closure("shrink").before_mating, str(closure("tape").source.mark)
    (True, True, 'practice')
    """
    table = read("upmast.weather", "closures")
    for row in table.rows:
        if row["closure"] == kind:
            opens, heat, before = (row[key] == "yes" for key in ("opens_again", "needs_heat", "before_mating"))
            return ClosureKind(kind, opens, heat, before, float(row["room_mm"]), table.source)
    raise ValueError(f"closure {kind!r} is not known; there are {', '.join(closures())}")


def closure_objections(
    kind: str, *, must_open_again: bool = False, heat_allowed: bool = True, already_mated: bool = False
) -> tuple[str, ...]:
    """
    Why a kind of closure does not suit the work; empty if it does.

    >>> closure_objections("shrink", already_mated=True)
    ('it must be slipped on before the joint is mated',)
    """
    one = closure(kind)
    objections = []
    if must_open_again and not one.opens_again:
        objections.append("it does not open again: opening means a new one")
    if one.needs_heat and not heat_allowed:
        objections.append("it needs heat, which is not allowed here")
    if one.before_mating and already_mated:
        objections.append("it must be slipped on before the joint is mated")
    return tuple(objections)


def closure_fit(
    cable_1_mm: ArrayLike,
    cable_2_mm: ArrayLike,
    nut_mm: ArrayLike,
    joint_mm: ArrayLike,
    *,
    end_1_low_mm: ArrayLike,
    end_1_high_mm: ArrayLike,
    end_2_low_mm: ArrayLike,
    end_2_high_mm: ArrayLike,
    body_mm: ArrayLike,
    inside_mm: ArrayLike,
) -> ClosureFit:
    """
    Which closures of a firm shape (wrap, gel) fit which joints.

    Parameters
    ----------
    cable_1_mm, cable_2_mm [mm]: over the sheaths. nut_mm [mm]: largest diameter of the joint.
    joint_mm [mm]: length to be covered, see `covered_length_mm`.
    end_1_low_mm, end_1_high_mm, end_2_low_mm, end_2_high_mm [mm]: range of each end, both bounds included; an end that sits
    on a bulkhead has the range 0 to 0 and its cable 0. body_mm [mm]: inside diameter. inside_mm [mm]: inside length.
    All broadcast: joints of shape (j, 1) and closures of shape (p,) give (j, p).

    Returns
    -------
    `ClosureFit`. Source: own definition; the ranges are the part's.

    >>> found = closure_fit(
    ...     [[12.0], [28.0]], 12.0, 30.0, 90.0,
    ...     end_1_low_mm=[8, 20], end_1_high_mm=[16, 30], end_2_low_mm=[8, 8], end_2_high_mm=[16, 16], body_mm=34, inside_mm=100,
    ... )
    >>> found.fits
    array([[ True, False],
           [False,  True]])
    """
    sizes = amounts(
        cable_1_mm=cable_1_mm,
        cable_2_mm=cable_2_mm,
        nut_mm=nut_mm,
        joint_mm=joint_mm,
        end_1_low_mm=end_1_low_mm,
        end_1_high_mm=end_1_high_mm,
        end_2_low_mm=end_2_low_mm,
        end_2_high_mm=end_2_high_mm,
        body_mm=body_mm,
        inside_mm=inside_mm,
    )
    one, two, nut, joint, low_1, high_1, low_2, high_2, body, inside = np.broadcast_arrays(*sizes)
    if np.any(low_1 > high_1) or np.any(low_2 > high_2):
        raise ValueError("the range of an end begins above its upper bound")
    straight = (low_1 <= one) & (one <= high_1) & (low_2 <= two) & (two <= high_2)
    round_about = (low_1 <= two) & (two <= high_1) & (low_2 <= one) & (one <= high_2)
    return ClosureFit(
        straight | round_about, round_about & ~straight, np.asarray(nut <= body), np.asarray(joint <= inside)
    )


def shrink_fit(
    cable_1_mm: ArrayLike,
    cable_2_mm: ArrayLike,
    nut_mm: ArrayLike,
    joint_mm: ArrayLike,
    *,
    expanded_mm: ArrayLike,
    recovered_mm: ArrayLike,
    inside_mm: ArrayLike,
) -> ClosureFit:
    """
    Which shrink sleeves fit which joints: over the nut as supplied, tight on the thinner cable when shrunk.

    `expanded >= 1.1 nut` and `recovered <= 0.8 min(cable)`

    Parameters
    ----------
    cable_1_mm, cable_2_mm, nut_mm, joint_mm [mm]: as `closure_fit`; both cables are cables here.
    expanded_mm, recovered_mm [mm]: inside diameters before and after. inside_mm [mm]: length after shrinking. All broadcast.

    Returns
    -------
    `ClosureFit`, never turned. Source: `SHRINK_SOURCE`; the instruction of the sleeve goes before it.

    >>> shrink_fit(12.0, 28.0, 34.0, 120.0, expanded_mm=[40.0, 40.0], recovered_mm=[8.0, 13.0], inside_mm=150.0).fits
    array([ True, False])
    """
    sizes = amounts(
        cable_1_mm=cable_1_mm,
        cable_2_mm=cable_2_mm,
        nut_mm=nut_mm,
        joint_mm=joint_mm,
        expanded_mm=expanded_mm,
        recovered_mm=recovered_mm,
        inside_mm=inside_mm,
    )
    one, two, nut, joint, wide, narrow, inside = np.broadcast_arrays(*sizes)
    if np.any(narrow > wide):
        raise ValueError("a sleeve is not wider when it is shrunk")
    widest = np.maximum(nut, np.maximum(one, two))
    ends = narrow <= SHRINK_GRIP * np.minimum(one, two)
    return ClosureFit(
        ends, np.zeros(ends.shape, bool), np.asarray(wide >= SHRINK_SLIP * widest), np.asarray(joint <= inside)
    )


def covered_length_mm(nuts_mm: ArrayLike, between_mm: ArrayLike = 0.0, beyond_mm: ArrayLike = BEYOND_MM) -> Array:
    """
    Length that one closure must cover: `sum(nuts) + between + 2 beyond`; two nuts for joints back to back.

    Parameters
    ----------
    nuts_mm [mm]: length of each nut or body under the closure, shape (..., n): one for a joint, two back to back.
    between_mm [mm]: adapter or bare piece between them. beyond_mm [mm]: bare sheath at each end. Shape (...).

    Returns
    -------
    Length [mm], shape (...). Source: common practice, no source.

    >>> float(covered_length_mm([40.0])), float(covered_length_mm([40.0, 40.0], 25.0))
    (100.0, 165.0)
    """
    nuts, between, beyond = amounts(nuts_mm=nuts_mm, between_mm=between_mm, beyond_mm=beyond_mm)
    if nuts.ndim == 0 or nuts.shape[-1] == 0:
        raise ValueError("nuts_mm needs one length for each nut")
    return np.asarray(nuts.sum(axis=-1) + between + 2 * beyond)


def separate_room_mm(
    apart_mm: ArrayLike, closure_1_mm: ArrayLike, closure_2_mm: ArrayLike, room_mm: ArrayLike = 0.0
) -> Array:
    """
    Room along the cable between two closures of neighbouring joints: `apart - (l_1 + l_2) / 2 - room`; negative: use one for both.

    Parameters
    ----------
    apart_mm [mm]: between the middles of the joints. closure_1_mm, closure_2_mm [mm]: outside lengths. room_mm [mm]: asked.

    Returns
    -------
    Room [mm]. Source: own definition.

    >>> float(separate_room_mm(200.0, 150.0, 150.0))
    50.0
    """
    apart, one, two, room = amounts(
        apart_mm=apart_mm, closure_1_mm=closure_1_mm, closure_2_mm=closure_2_mm, room_mm=room_mm
    )
    return np.asarray(apart - (one + two) / 2 - room)


def neighbour_room_mm(
    pitch_mm: ArrayLike, outer_1_mm: ArrayLike, outer_2_mm: ArrayLike, room_mm: ArrayLike = 0.0
) -> Array:
    """
    Room between neighbouring ports once both are sealed: `pitch - (D_1 + D_2) / 2 - room`; negative: it does not fit.

    Parameters
    ----------
    pitch_mm [mm]: between the axes of the ports. outer_1_mm, outer_2_mm [mm]: outside diameters of the closures, for tape of
    `layer_diameter_mm` over the nut, for an open neighbour its nut. room_mm [mm]: for the hands, as `closure` gives it. Broadcast.

    Returns
    -------
    Room [mm]. Source: own definition.

    >>> neighbour_room_mm([40.0, 55.0], 38.0, 38.0, closure("gel").room_mm)
    array([-8.,  7.])
    """
    pitch, one, two, room = amounts(pitch_mm=pitch_mm, outer_1_mm=outer_1_mm, outer_2_mm=outer_2_mm, room_mm=room_mm)
    return np.asarray(pitch - (one + two) / 2 - room)
