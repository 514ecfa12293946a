from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from upmast.power import largest_loop_ohm, largest_power_w, single


@settings(deadline=None)
@given(v=st.floats(1, 100), r=st.floats(1e-6, 10), share=st.floats(1e-9, 0.999999))
def test_laws(v: float, r: float, share: float) -> None:
    p = share * float(largest_power_w(v, r))
    flow = single(v, r, p)
    assert flow.exists
    assert flow.voltage_v * flow.current_a == pytest.approx(p, rel=1e-12)
    assert v - flow.current_a * r == pytest.approx(float(flow.voltage_v), rel=1e-12)
    assert flow.voltage_v >= v / 2  # the high root
    assert flow.loss_w + p == pytest.approx(v * float(flow.current_a), rel=1e-12)
    assert largest_loop_ohm(v, flow.voltage_v, p) >= r * (1 - 1e-6)


@settings(deadline=None)
@given(v=st.floats(1, 100), r=st.floats(1e-6, 10), excess=st.floats(1.0001, 1e6))
def test_beyond_the_limit_is_a_result(v: float, r: float, excess: float) -> None:
    flow = single(v, r, excess * float(largest_power_w(v, r)))
    assert not flow.exists
    assert np.isnan(flow.voltage_v)
    assert np.isnan(flow.current_a)
    assert np.isnan(flow.loss_w)


def test_limits() -> None:
    edge = single(48.0, 1.0, 576.0)  # exactly V^2 / 4R: half the voltage, half lost
    assert edge.exists
    assert edge.voltage_v == 24
    assert edge.loss_w == pytest.approx(576.0)
    bare = single(48.0, 0.0, 480.0)
    assert bare.voltage_v == 48
    assert bare.current_a == 10
    assert np.isinf(bare.largest_power_w)
    idle = single(0.0, 1.0, 0.0)
    assert idle.exists
    assert idle.current_a == 0
    assert not single(0.0, 0.0, 1.0).exists


def test_small_power_keeps_its_digits() -> None:
    """(Vs - sqrt(Vs^2 - 4RP)) / 2R would lose half of them."""
    assert single(48.0, 1e-3, 1e-9).current_a == pytest.approx(1e-9 / 48, rel=1e-15)


def test_inverse() -> None:
    assert single(43.2, largest_loop_ohm(43.2, 40.5, 1000.0), 1000.0).voltage_v == pytest.approx(40.5)
    # below half the source voltage existence is the limit
    assert largest_loop_ohm(48.0, 10.0, 576.0) == pytest.approx(1.0)
    assert largest_loop_ohm(48.0, 50.0, 100.0) < 0
    assert np.isinf(largest_loop_ohm(48.0, 40.0, 0.0))
    assert largest_loop_ohm(48.0, 50.0, 0.0) == -np.inf


def test_array_equals_scalar() -> None:
    v, r, p = np.array([40.0, 48.0, 54.0]), np.array([[0.1], [0.5]]), np.array([500.0, 1500.0, 600.0])
    flow = single(v, r, p)
    assert flow.exists.tolist() == [[True, True, True], [True, False, True]]
    for i in range(2):
        for j in range(3):
            one = single(v[j], r[i, 0], p[j])
            np.testing.assert_array_equal(one.voltage_v, flow.voltage_v[i, j])
            np.testing.assert_array_equal(one.current_a, flow.current_a[i, j])
            assert largest_loop_ohm(v, 38.0, p)[j] == largest_loop_ohm(v[j], 38.0, p[j])


@pytest.mark.parametrize("bad", [(-1, 1, 1), (1, -1, 1), (1, 1, -1), (float("nan"), 1, 1)])
def test_nonsense(bad: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="negative or missing"):
        single(*bad)
