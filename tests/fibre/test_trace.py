"""Walking chains: a slow walk of every fibre, composition, parity, batches of lines."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.fibre import (
    array_cable,
    array_mate,
    duplex_patch,
    end_positions,
    fanin,
    fanout,
    inverse_map,
    lane_of,
    lane_swaps,
    method_stages,
    port_of,
    walk_positions,
)


def slow_walk(stages: list[np.ndarray], start: int) -> int:
    at = start
    for stage in stages:
        at = int(stage[at - 1]) if at else 0
    return at


@pytest.mark.parametrize("seed", range(10))
def test_against_a_slow_walk(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stages, n = [], 12
    for _ in range(int(rng.integers(1, 8))):
        m = int(rng.integers(n, 25))
        stage = rng.permutation(m)[:n] + 1
        stage[rng.random(n) < 0.1] = 0
        stages.append(stage)
        n = m
    np.testing.assert_array_equal(end_positions(stages), [slow_walk(stages, p) for p in range(1, 13)])


@pytest.mark.parametrize("method", ["A", "B", "C"])
@pytest.mark.parametrize("n", [12, 24])
@pytest.mark.parametrize("ports", [1, 3, 6])
def test_methods_join_senders_and_receivers(method: str, n: int, ports: int) -> None:
    """From both ends, by an odd number of swaps; A and C keep the port, B does not."""
    stages = method_stages(method, ports, n)  # type: ignore[arg-type]
    end = end_positions(stages)
    start = np.arange(1, 2 * ports + 1)
    assert np.all(end > 0)
    np.testing.assert_array_equal(lane_of(end), 1 - lane_of(start))
    assert np.all(lane_swaps(stages) % 2 == 1)
    assert np.unique(port_of(end)).size == ports
    if method == "B":
        np.testing.assert_array_equal(port_of(end), n // 2 + 1 - port_of(start))
    else:
        np.testing.assert_array_equal(port_of(end), port_of(start))


def test_parity_is_where_the_lane_ends() -> None:
    rng = np.random.default_rng(3)
    stages = [rng.permutation(12) + 1 for _ in range(5)]
    start = np.arange(1, 13)
    np.testing.assert_array_equal(lane_swaps(stages) % 2, lane_of(end_positions(stages)) ^ lane_of(start))


def test_there_and_back() -> None:
    stages = list(method_stages("C", 6))
    back = [inverse_map(stage, 12) for stage in reversed(stages)]
    np.testing.assert_array_equal(end_positions(stages + back), np.arange(1, 13))


def test_an_odd_number_of_opposed_mates_of_24_shifts_the_ports() -> None:
    mate = array_mate("opposed", 24)
    chain = [fanout(6, 24), mate, array_cable("A", 24), fanin(12, 24)]
    np.testing.assert_array_equal(port_of(end_positions(chain))[::2], np.arange(7, 13))


def test_many_lines_at_once() -> None:
    patch = np.stack([duplex_patch("A-B", 6), duplex_patch("A-A", 6)])
    stages = [duplex_patch("A-B", 6), fanout(6), array_cable("A"), fanin(6), patch]
    many = end_positions(stages)
    assert many.shape == (2, 12)
    for line in range(2):
        np.testing.assert_array_equal(many[line], end_positions([*stages[:-1], patch[line]]))


def test_lost_light_stays_lost() -> None:
    stages = [[2, 0, 1], [3, 2, 1]]
    np.testing.assert_array_equal(walk_positions(stages), [[1, 2, 3], [2, 0, 1], [2, 0, 3]])
    np.testing.assert_array_equal(lane_swaps(stages), [1, -1, 0])


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one stage"):
        end_positions([])
    with pytest.raises(ValueError, match="stage 2 has 2 positions"):
        end_positions([[1, 2, 3], [1, 2]])
    with pytest.raises(ValueError, match="negative"):
        end_positions([[-1, 2]])
    with pytest.raises(ValueError, match="whole"):
        end_positions([[1.0, 2.0]])
    with pytest.raises(ValueError, match="methods"):
        method_stages("D", 6)  # type: ignore[arg-type]
