"""Rules of links: each fault alone, hints, and that a sound site has none."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.fibre import (
    FAULT_WORDS,
    Hint,
    LinkFault,
    Role,
    array_cable,
    array_mate,
    duplex_patch,
    end_positions,
    fanin,
    fanout,
    link_faults,
    mate_faults,
    method_stages,
    pair_faults,
    spare_faults,
)

SIX = [Role.TX, Role.RX] * 6
SENDERS = np.arange(1, 12, 2)


def codes(faults: dict[LinkFault, np.ndarray]) -> set[str]:
    return {str(code) for code, mask in faults.items() if mask.any()}


def test_every_fault_has_words() -> None:
    assert set(FAULT_WORDS) == set(LinkFault)


def test_a_sound_method_has_no_faults() -> None:
    end = end_positions(method_stages("A", 6))[SENDERS - 1]
    found = link_faults(end, SENDERS + 1, SIX, np.arange(1, 13).reshape(6, 2))
    assert not found.any.any()
    assert found.unlit.size == 0
    assert found.hint is Hint.NONE


def test_wrong_patch_gives_senders_on_senders() -> None:
    stages = [*method_stages("A", 6)[:-1], duplex_patch("A-B", 6)]
    found = link_faults(end_positions(stages)[SENDERS - 1], SENDERS + 1, SIX)
    assert codes(found.of) == {"tx-on-tx"}
    assert found.of[LinkFault.TX_ON_TX].all()
    assert found.hint is Hint.EVEN_SWAPS
    np.testing.assert_array_equal(found.unlit, SENDERS + 1)


def test_method_b_reverses_the_ports() -> None:
    found = link_faults(end_positions(method_stages("B", 6))[SENDERS - 1], SENDERS + 1, SIX)
    assert codes(found.of) == {"wrong-port"}
    assert found.hint is Hint.REVERSED


def test_two_array_connectors_exchanged() -> None:
    """Twelve ports on two trunks whose connectors are swapped at the far end: right polarity, wrong radios."""
    reached = np.concatenate([np.arange(14, 25, 2), np.arange(2, 13, 2)])
    found = link_faults(reached, np.arange(2, 25, 2), [Role.TX, Role.RX] * 12)
    assert codes(found.of) == {"wrong-port"}
    assert (found.hint, found.offset) == (Hint.EXCHANGED, 6)


def test_a_shifted_row_is_a_constant_offset() -> None:
    chain = [duplex_patch("A-B", 6), fanout(6, 24), array_mate("opposed", 24), array_cable("A", 24), fanin(12, 24)]
    end = end_positions(chain)[SENDERS - 1]
    found = link_faults(end, SENDERS + 1, [Role.TX, Role.RX] * 12)
    assert (found.hint, found.offset) == (Hint.OFFSET, 6)


def test_single_faults() -> None:
    none = [*SIX[:8], Role.NONE, Role.NONE, *SIX[10:]]
    found = link_faults([0, 4, 10, 9, 2], [2, 4, 6, 8, 12], none)
    np.testing.assert_array_equal(found.of[LinkFault.DARK], [1, 0, 0, 0, 0])
    np.testing.assert_array_equal(found.of[LinkFault.TX_ON_NOTHING], [0, 0, 1, 1, 0])
    np.testing.assert_array_equal(found.of[LinkFault.WRONG_PORT], [0, 0, 0, 0, 1])
    np.testing.assert_array_equal(found.any, [1, 0, 1, 1, 1])
    np.testing.assert_array_equal(found.unlit, [6, 8, 12])
    assert found.hint is Hint.NONE


def test_shared_receiver_and_strand_used_twice() -> None:
    found = link_faults([2, 2, 6], [2, 4, 6], SIX, [[1, 7], [2, 7], [3, 0]])
    np.testing.assert_array_equal(found.of[LinkFault.RX_SHARED], [1, 1, 0])
    np.testing.assert_array_equal(found.of[LinkFault.WRONG_PORT], [0, 1, 0])
    np.testing.assert_array_equal(found.of[LinkFault.STRAND_TWICE], [1, 1, 0])
    alone = link_faults([2], [2], SIX, [[5, 5]])
    assert alone.of[LinkFault.STRAND_TWICE].all()


def test_no_senders_no_faults() -> None:
    assert link_faults([], [], SIX).any.size == 0


def test_spares() -> None:
    found = spare_faults([0, 1, 0, 0], [0, 0, 0, 0], [1, 1, 0, 1], [1, 1, 1, 1])
    np.testing.assert_array_equal(found[LinkFault.SPARE_LIT], [0, 1, 0, 0])
    np.testing.assert_array_equal(found[LinkFault.SPARE_OPEN], [0, 0, 1, 0])


def test_pairs() -> None:
    two = pair_faults(False, [1, 1], [2, 1], 1310.0, 1310.0, 1310.0, 1310.0)
    np.testing.assert_array_equal(two[LinkFault.ONE_STRAND], [0, 1])
    assert codes(two) == {"one-strand-for-two"}
    assert codes(pair_faults(True, 1, 1, 1270.0, 1330.0, 1330.0, 1270.0)) == set()
    assert codes(pair_faults(True, 1, 2, 1270.0, 1330.0, 1330.0, 1270.0)) == {"two-strands-for-one"}
    assert codes(pair_faults(False, 1, 2, 1310.0, 1310.0, 1550.0, 1550.0)) == {"wavelength-mismatch"}


def test_mates() -> None:
    found = mate_faults([12, 12, 24, 2], [12, 24, 24, 2], [1, 0, 0, 0], [0, 0, 0, 0], [1, 1, 0, 0], [0, 0, 0, 0])
    np.testing.assert_array_equal(found[LinkFault.POLISH], [1, 0, 0, 0])
    np.testing.assert_array_equal(found[LinkFault.POSITIONS], [0, 1, 0, 0])
    np.testing.assert_array_equal(found[LinkFault.PINS], [0, 0, 1, 0])


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (([2], [1], SIX), "meant for a receiver"),
        (([2, 4], [2, 2], SIX), "meant for a receiver"),
        (([13], [2], SIX), "far ends"),
        (([2], [2, 4], SIX), "one entry"),
        (([2.5], [2], SIX), "whole"),
        (([2], [2], SIX, [1]), "one row"),
    ],
)
def test_nonsense_is_refused(args: tuple[list[int], ...], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        link_faults(*args)


def test_pairs_refuse_nonsense() -> None:
    with pytest.raises(ValueError, match="wavelength"):
        pair_faults(True, 1, 1, 0.0, 1.0, 1.0, 1.0)
