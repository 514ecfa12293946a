"""What a length buys in a chain of joints: two joints as the exact solution has them, three against a random search."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.rf.certify import Joints, worst_squared
from upmast.rf.chain_worth import worth_of_chain
from upmast.rf.length import Bands, best_length

BAND = ([880e6, 925e6], [915e6, 960e6])


def test_two_joints_as_the_exact_solution_has_them() -> None:
    low, high = BAND
    two = Joints([0.0, 0.0], [0.0, 1.0], [0.03, 0.03], [0.0, 0.0], low, high, 0.85, 0.003, 0.003)
    found = worth_of_chain(two, 0.2, 1.2, 0.2, 0.2)
    exact = best_length(Bands(low, high, 0.85, 0.003, 0.003), 0.2, 1.2)
    assert found.certificate.closed
    assert found.worth.gain_db == pytest.approx(float(exact.gain_db.min()), abs=0.06)
    assert found.worth.length_m == pytest.approx(exact.length_m, abs=0.003)


def test_no_point_of_a_fine_random_search_beats_the_certificate() -> None:
    rng = np.random.default_rng(11)
    low, high = BAND
    for _ in range(12):
        places = np.concatenate([[0.0], np.sort(rng.uniform(0.05, 0.6, 2)), [0.0]])
        places[-1] = places[-2]
        joints = Joints(
            places, [0.0, 0.0, 0.0, 1.0], rng.uniform(0.01, 0.05, 4), rng.choice([0.0, np.pi], 4), low, high, 0.83, 0.004, 0.005
        )  # fmt: skip
        found = worth_of_chain(joints, 0.3, 1.3, 0.2, 0.3)
        lengths = rng.uniform(0.3, 1.3, 400)
        best = min(float(worst_squared(joints, [length], 0.05)[0][0]) for length in lengths)  # from below, by samples
        assert np.sqrt(best) >= found.certificate.least_gamma * (1 - 2e-3)
        assert found.worth.gain_db >= 0
        assert found.worth.after_db >= found.worth.before_db - 1e-9
        assert found.worth.over_worst_db >= -1e-6


def test_wide_bands_gain_nothing_and_the_shortest_is_as_good() -> None:
    three = Joints(
        [0.0, 0.1, 0.1], [0, 0, 1], [0.03] * 3, [0.0] * 3, [700e6, 1700e6], [960e6, 2700e6], 0.82, 0.01, 0.01
    )
    found = worth_of_chain(three, 4.0, 5.0, 0.2, 0.5)
    assert found.worth.gain_db == pytest.approx(0.0, abs=0.3)
