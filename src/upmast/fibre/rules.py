"""What can be wrong with fibre links, mates and spares: a word for each fault, over arrays of links."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from upmast.fibre.position import port_of

__all__ = [
    "FAULT_WORDS",
    "Hint",
    "LinkFault",
    "LinkFaults",
    "Role",
    "link_faults",
    "mate_faults",
    "pair_faults",
    "spare_faults",
]

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


class Role(IntEnum):
    """What stands at a far end."""

    NONE = 0
    TX = 1
    RX = 2


class LinkFault(StrEnum):
    """Code words of the faults."""

    DARK = "dark"
    TX_ON_TX = "tx-on-tx"
    TX_ON_NOTHING = "tx-on-nothing"
    WRONG_PORT = "wrong-port"
    RX_SHARED = "rx-shared"
    STRAND_TWICE = "same-strand-twice"
    SPARE_LIT = "spare-lit"
    SPARE_OPEN = "spare-uncapped"
    ONE_STRAND = "one-strand-for-two"
    TWO_STRANDS = "two-strands-for-one"
    SAME_MODULE = "same-module-both-ends"
    WAVELENGTH = "wavelength-mismatch"
    POSITIONS = "position-count"
    POLISH = "polish"
    PINS = "pins"


FAULT_WORDS: dict[LinkFault, str] = {
    LinkFault.DARK: "the light gets lost on the way",
    LinkFault.TX_ON_TX: "two senders face each other",
    LinkFault.TX_ON_NOTHING: "the light comes out where no transceiver is planned",
    LinkFault.WRONG_PORT: "the light reaches a receiver, but of another port or radio",
    LinkFault.RX_SHARED: "two senders light one receiver",
    LinkFault.STRAND_TWICE: "one strand is used twice",
    LinkFault.SPARE_LIT: "a spare strand is lit or connected at an end",
    LinkFault.SPARE_OPEN: "a spare strand has an uncapped end",
    LinkFault.ONE_STRAND: "a two-fibre link has both directions on one strand",
    LinkFault.TWO_STRANDS: "a single-fibre link has its directions on two strands",
    LinkFault.SAME_MODULE: "a single-fibre link has the same module at both ends",
    LinkFault.WAVELENGTH: "what one end sends is not what the other receives",
    LinkFault.POSITIONS: "the two connectors differ in the number of positions",
    LinkFault.POLISH: "a flat and an angled end face",
    LinkFault.PINS: "array connectors need pins on exactly one of the two",
}


class Hint(StrEnum):
    """The likely single cause of many faults."""

    NONE = ""
    EVEN_SWAPS = "even number of lane swaps: one patch is of the wrong kind"
    OFFSET = "constant port offset: a connector is shifted or plugged into the next place"
    EXCHANGED = "constant port offset, both ways: two array connectors are exchanged"
    REVERSED = "port order reversed: a type B cable or an aligned mate too many or too few"


@dataclass(frozen=True, slots=True, eq=False)
class LinkFaults:
    """
    Faults of a set of senders in one direction.

    of: for each code, which senders have it. unlit: far ends that should be lit and are not. hint and offset: the likely
    common cause, and by how many ports.
    """

    of: dict[LinkFault, Bools]
    unlit: Ints
    hint: Hint
    offset: int

    @property
    def any(self) -> Bools:
        """Senders with at least one fault."""
        return np.asarray(np.logical_or.reduce(list(self.of.values())), np.bool_)


def _ints(values: ArrayLike, what: str) -> Ints:
    raw = np.asarray(values)
    if raw.size == 0:
        raw = raw.astype(np.int64)
    if raw.dtype.kind not in "iu" or np.any(raw < 0):
        raise ValueError(f"{what} must be whole numbers from 0 up")
    return raw.astype(np.int64)


def _hint(lit: Bools, tx_on_tx: Bools, reached: Ints, intended: Ints) -> tuple[Hint, int]:
    if lit.any() and tx_on_tx[lit].all():
        return Hint.EVEN_SWAPS, 0
    have, want = port_of(reached[lit]), port_of(intended[lit])
    shift = have - want
    wrong = shift[shift != 0]
    if wrong.size < 2:
        return Hint.NONE, 0
    if lit.sum() >= 3 and np.unique(have + want).size == 1:
        return Hint.REVERSED, 0
    if np.unique(wrong).size == 1:
        return Hint.OFFSET, int(wrong[0])
    if np.unique(np.abs(wrong)).size == 1:
        return Hint.EXCHANGED, int(abs(wrong[0]))
    return Hint.NONE, 0


def link_faults(
    reached: ArrayLike, intended: ArrayLike, role: ArrayLike, strands: ArrayLike | None = None
) -> LinkFaults:
    """
    Judge where the light of a set of senders comes out, in one direction (all far ends on one side).

    Parameters
    ----------
    reached: duplex end that each sender reaches, 0 for nowhere; shape (K,). intended: the end it must reach, shape (K,).
    role: `Role` of each far end, entry e - 1 for end e. A sender must be meant for a receiver, each receiver once.
    strands: numbers of the strands that each sender uses, shape (K, S), 0 where there is none.

    Returns
    -------
    `LinkFaults` with the codes DARK, TX_ON_TX, TX_ON_NOTHING, WRONG_PORT, RX_SHARED and STRAND_TWICE.

    Source: TIA-568.3, polarity: every sender to exactly one receiver, on the port that is meant.

    >>> found = link_faults([4, 6, 1], [2, 4, 6], [1, 2, 1, 2, 1, 2])
    >>> [(str(code), list(map(int, mask))) for code, mask in found.of.items() if mask.any()]
    [('tx-on-tx', [0, 0, 1]), ('wrong-port', [1, 1, 0])]
    """
    at, want, roles = _ints(reached, "reached ends"), _ints(intended, "intended ends"), _ints(role, "roles")
    if at.shape != want.shape or at.ndim != 1 or roles.ndim != 1:
        raise ValueError("reached and intended need one entry a sender, role one a far end")
    if np.any(at > roles.size) or np.any(want > roles.size):
        raise ValueError(f"there are {roles.size} far ends; a larger one is named")
    known = np.concatenate([[int(Role.NONE)], roles])
    if np.any(known[want] != Role.RX) or np.unique(want).size != want.size:
        raise ValueError("every sender must be meant for a receiver, and each receiver for one sender")
    there = known[at]
    dark = np.asarray(at == 0)
    on_rx = there == Role.RX
    lights = np.bincount(at, minlength=roles.size + 1)
    tx_on_tx = there == Role.TX
    twice = np.zeros(at.shape, np.bool_)
    if strands is not None:
        used = _ints(strands, "strands")
        if used.ndim != 2 or used.shape[0] != at.size:
            raise ValueError("strands need one row a sender")
        count = np.bincount(used.ravel(), minlength=1)
        count[0] = 0
        twice = np.asarray((count[used] > 1).any(-1), np.bool_)
    hint, offset = _hint(~dark, tx_on_tx, at, want)
    return LinkFaults(
        {
            LinkFault.DARK: dark,
            LinkFault.TX_ON_TX: tx_on_tx,
            LinkFault.TX_ON_NOTHING: (there == Role.NONE) & ~dark,
            LinkFault.WRONG_PORT: on_rx & (at != want),
            LinkFault.RX_SHARED: on_rx & (lights[at] > 1),
            LinkFault.STRAND_TWICE: twice,
        },
        np.setdiff1d(want, at),
        hint,
        offset,
    )


def spare_faults(
    lit_near: ArrayLike, lit_far: ArrayLike, capped_near: ArrayLike, capped_far: ArrayLike
) -> dict[LinkFault, Bools]:
    """
    Spare strands must be dark and capped at both ends.

    Parameters
    ----------
    lit_near, lit_far: whether each spare is connected at that end. capped_near, capped_far: whether it is capped. Broadcast.

    >>> [int(mask[0]) for mask in spare_faults([False], [True], [True], [False]).values()]
    [1, 1]
    """
    near, far, cap_near, cap_far = (np.asarray(x, np.bool_) for x in (lit_near, lit_far, capped_near, capped_far))
    return {
        LinkFault.SPARE_LIT: np.asarray(near | far),
        LinkFault.SPARE_OPEN: np.asarray(~(cap_near & cap_far) & np.ones_like(near | far)),
    }


def pair_faults(
    single: ArrayLike,
    strand_up: ArrayLike,
    strand_down: ArrayLike,
    near_tx_nm_wave: ArrayLike,
    near_rx_nm_wave: ArrayLike,
    far_tx_nm_wave: ArrayLike,
    far_rx_nm_wave: ArrayLike,
    tolerance_nm_wave: ArrayLike = 15.0,
) -> dict[LinkFault, Bools]:
    """
    The two directions of a link: strands and wavelengths.

    Parameters
    ----------
    single: True for a single-fibre link. strand_up, strand_down: strand of each direction.
    near_tx_nm_wave ... far_rx_nm_wave [nm]: nominal wavelengths that the two modules send and receive.
    tolerance_nm_wave [nm]: how far two nominal values may differ and be one; our default. All broadcast.

    Returns
    -------
    ONE_STRAND, TWO_STRANDS, SAME_MODULE and WAVELENGTH, each in the broadcast shape.

    >>> found = pair_faults(True, 7, 7, 1270.0, 1330.0, 1270.0, 1330.0)
    >>> sorted(str(code) for code, mask in found.items() if mask)
    ['same-module-both-ends', 'wavelength-mismatch']
    """
    alone = np.asarray(single, np.bool_)
    up, down = _ints(strand_up, "strands"), _ints(strand_down, "strands")
    waves = (near_tx_nm_wave, near_rx_nm_wave, far_tx_nm_wave, far_rx_nm_wave, tolerance_nm_wave)
    near_tx, near_rx, far_tx, far_rx, tolerance = (np.asarray(x, float) for x in waves)
    if any(np.any(~(w > 0)) for w in (near_tx, near_rx, far_tx, far_rx)) or np.any(tolerance < 0):
        raise ValueError("wavelengths must be positive and the tolerance can't be negative")
    apart = (np.abs(near_tx - far_rx) > tolerance) | (np.abs(far_tx - near_rx) > tolerance)
    found = {
        LinkFault.ONE_STRAND: ~alone & (up == down),
        LinkFault.TWO_STRANDS: alone & (up != down),
        LinkFault.SAME_MODULE: alone & (np.abs(near_tx - far_tx) <= tolerance),
        LinkFault.WAVELENGTH: apart,
    }
    shape = np.broadcast_shapes(*(mask.shape for mask in found.values()))
    return {code: np.asarray(np.broadcast_to(mask, shape)) for code, mask in found.items()}


def mate_faults(
    positions_one: ArrayLike,
    positions_other: ArrayLike,
    angled_one: ArrayLike,
    angled_other: ArrayLike,
    pinned_one: ArrayLike = False,
    pinned_other: ArrayLike = False,
) -> dict[LinkFault, Bools]:
    """
    Two connectors that are to be mated: same number of positions, same end face, pins on exactly one (arrays only).

    Parameters
    ----------
    positions_one, positions_other: count; more than 2 is an array connector. angled_*: end face. pinned_*: pins. Broadcast.

    Returns
    -------
    POSITIONS, POLISH and PINS, each in the broadcast shape. Source: IEC 61754-7 for the pins.

    >>> sorted(str(code) for code, mask in mate_faults(12, 12, True, False, True, True).items() if mask)
    ['pins', 'polish']
    """
    n, m = _ints(positions_one, "positions"), _ints(positions_other, "positions")
    a, b, p, q = (np.asarray(x, np.bool_) for x in (angled_one, angled_other, pinned_one, pinned_other))
    found = {
        LinkFault.POSITIONS: np.asarray(n != m),
        LinkFault.POLISH: np.asarray(a != b),
        LinkFault.PINS: np.asarray((n > 2) & (m > 2) & (p == q)),
    }
    shape = np.broadcast_shapes(*(mask.shape for mask in found.values()))
    return {code: np.asarray(np.broadcast_to(mask, shape)) for code, mask in found.items()}
