"""Combinations of faults in two stages: a count that can be told beforehand, and networkx on samples."""

from __future__ import annotations

import networkx
import numpy as np
import pytest

from upmast.fibre.combination import check_combinations, stage_faults
from upmast.fibre.position import array_cable


def wrong_by_networkx(cable: np.ndarray, one: np.ndarray, two: np.ndarray) -> int:
    """A graph with an edge for each strand and each mate; count what ends elsewhere than with two sound stages."""
    net = networkx.Graph()
    for p in range(cable.size):
        net.add_edge(("near", p), ("foot", int(one[p])))
        net.add_edge(("foot", p), ("head", int(cable[p]) - 1))
        net.add_edge(("head", p), ("far", int(two[p])))
    return sum(not networkx.has_path(net, ("near", p), ("far", int(cable[p]) - 1)) for p in range(cable.size))


@pytest.mark.parametrize("kind", ["A", "B", "C"])
def test_samples_agree_with_networkx(kind: str) -> None:
    cable = array_cable(kind, 24)  # type: ignore[arg-type]
    faults = stage_faults(24)
    rng = np.random.default_rng(5)
    for _ in range(40):
        one, two = faults[rng.integers(len(faults), size=2)]
        found = check_combinations(cable, one[None], two[None])
        assert found.by_wrong.nonzero()[0].tolist() == [wrong_by_networkx(cable, one, two)]


def test_the_count_is_that_of_the_choices_and_only_opposite_faults_cancel() -> None:
    """(1 + 24 x 23 / 2) exchanges x 2 flips x 2 rows = 1108 a stage. Each fault has one opposite that undoes it."""
    found = check_combinations(array_cable("A", 24))
    assert found.total == 1108**2 == 1_227_664
    assert found.by_wrong.sum() == found.total
    assert found.right == 1108
    assert found.by_wrong[1] == 0  # one position can't be wrong alone
    assert check_combinations(array_cable("A", 24), stage_faults(24)[:1], stage_faults(24)[:1]).right == 1


def test_maps_are_permutations_and_the_first_is_sound() -> None:
    for size in (12, 24):
        maps = stage_faults(size)
        assert maps[0].tolist() == list(range(size))
        assert (np.sort(maps, axis=1) == np.arange(size)).all()
        assert len(np.unique(maps, axis=0)) == len(maps)


def test_what_is_no_cable_is_refused() -> None:
    with pytest.raises(ValueError, match="one of its own"):
        check_combinations([1, 1, *range(3, 13)])
    with pytest.raises(ValueError, match="12 or 24"):
        stage_faults(8)
