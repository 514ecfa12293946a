"""Surge protectors and their leads: worked numbers, limits, inverses, arrays against scalars."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast import earth
from upmast.source import Mark


def test_protector_with_long_leads() -> None:
    """Handbook, open check 4: U_p 900 V, 0.4 m, 8 kA, 8 us, U_w 1500 V at 4 m: drop 400, 1300 > 1200 V, longest 0.30 m."""
    drop = earth.lead_drop_v(0.4, 8e3, 8e-6)
    assert drop == pytest.approx(400.0)
    left, limit = earth.effective_protection_v(900.0, drop), earth.protection_limit_v(1500.0, 4.0)
    assert left == pytest.approx(1300.0)
    assert limit == pytest.approx(1200.0)
    assert earth.protection_margin_v(left, limit) == pytest.approx(-100.0)
    assert earth.longest_lead_m(900.0, limit, 8e3, 8e-6) == pytest.approx(0.30)


def test_lead_inductance_grows_with_length() -> None:
    """Handbook, open check 2: 0.5 m of 3 mm radius 0.4815 uH, 1.0 m of 4 mm 1.0437 uH; so 0.9 to 1.3 uH a metre."""
    exact = earth.lead_inductance_h([0.5, 1.0], [0.003, 0.004])
    np.testing.assert_allclose(exact, [0.4815e-6, 1.0437e-6], atol=5e-11)
    per_m = earth.lead_inductance_h([0.3, 0.5, 1.0, 2.0], 0.003) / np.array([0.3, 0.5, 1.0, 2.0])
    assert np.all(np.diff(per_m) > 0)
    assert per_m[0] > 0.8e-6
    assert per_m[-1] < 1.3e-6


def test_v_connection_leaves_the_protector_alone() -> None:
    """With a V connection the lead does not count, whatever its length; two sides add up without."""
    both = earth.counted_lead_m(0.2, 0.3, [False, True])
    np.testing.assert_allclose(earth.effective_protection_v(900.0, earth.lead_drop_v(both, 8e3, 8e-6)), [1400.0, 900.0])


def test_switching_type_takes_the_higher_of_both() -> None:
    np.testing.assert_array_equal(earth.effective_protection_v([900.0, 300.0], 400.0, True), [900.0, 400.0])
    # the drop alone may reach the limit
    assert earth.longest_lead_m(900.0, 1200.0, 8e3, 8e-6, switching=True) == pytest.approx(1.2)


def test_criterion_iec62305_4() -> None:
    """IEC 62305-4, annex C, from memory: U_w at the terminals, 0.8 U_w to 10 m, half of what induction leaves beyond."""
    found = earth.protection_limit_v(1500.0, [0.0, 0.1, 10.0, 10.1, 30.0], [0.0, 0.0, 500.0, 0.0, 500.0])
    np.testing.assert_allclose(found, [1500.0, 1200.0, 1200.0, 750.0, 500.0])
    assert earth.protection_limit_v(1500.0, 30.0, 2000.0) == 0
    assert earth.CRITERION_SOURCE.mark is Mark.MEMORY


@given(
    st.floats(0.0, 2000.0),
    st.floats(1.0, 3000.0),
    st.floats(100.0, 5e4),
    st.floats(2.5e-7, 1e-5),
    st.booleans(),
    st.booleans(),
)
def test_longest_lead_reaches_the_limit(
    up: float, limit: float, current: float, front: float, switching: bool, exact: bool
) -> None:
    radius = 0.003 if exact else None
    length = earth.longest_lead_m(up, limit, current, front, switching, radius)
    if up > limit:
        assert np.isnan(length)
        return
    left = earth.effective_protection_v(up, earth.lead_drop_v(length, current, front, radius), switching)
    assert left == pytest.approx(limit, rel=1e-9, abs=1e-6)


def test_lead_without_current_may_be_any_length() -> None:
    assert earth.longest_lead_m(900.0, 1200.0, 0.0, 8e-6) == np.inf
    assert earth.longest_lead_m(900.0, 1200.0, 0.0, 8e-6, radius_m=0.003) == np.inf
    assert earth.longest_lead_m(1200.0, 1200.0, 8e3, 8e-6, radius_m=0.003) == 0


def test_impulse_current() -> None:
    """IEC 62305-1, annex E, from memory: half of 200 kA to earth, half over one service of four conductors: 25 kA each."""
    assert earth.impulse_needed_a(200e3, 0.5, 4) == pytest.approx(25e3)
    # cores in parallel with the shield: all currents together are the cable's
    core = earth.core_impulse_a(10e3, 60e-3, [60e-3, 120e-3], [1, 2])
    np.testing.assert_allclose(core, [5e3, 2.5e3])
    np.testing.assert_allclose(
        core, 10e3 * np.array([earth.tail_share([60e-3] * 2)[1], earth.tail_share([60e-3, 120e-3, 120e-3])[1]])
    )


def test_array_equals_scalar() -> None:
    lead, current = np.array([0.1, 0.6]), np.array([[5e3], [2e4]])
    up, far = np.array([800.0, 1300.0]), np.array([0.0, 20.0])
    drop, limit = earth.lead_drop_v(lead, current, 8e-6, 0.003), earth.protection_limit_v(1500.0, far, 100.0)
    longest = earth.longest_lead_m(up, limit, current, 8e-6, False, 0.003)
    for a in range(2):
        for b in range(2):
            assert drop[a, b] == earth.lead_drop_v(lead[b], current[a, 0], 8e-6, 0.003)
            one = earth.longest_lead_m(
                up[b], earth.protection_limit_v(1500.0, far[b], 100.0), current[a, 0], 8e-6, False, 0.003
            )
            np.testing.assert_allclose(longest[a, b], one, rtol=1e-14)
            assert earth.impulse_needed_a(current, lead, 2)[a, b] == earth.impulse_needed_a(current[a, 0], lead[b], 2)


def test_nonsense() -> None:
    nan = float("nan")
    for call in (
        lambda: earth.counted_lead_m(-0.1, 0),
        lambda: earth.lead_inductance_h(nan),
        lambda: earth.lead_inductance_h(1.0, 0.0),
        lambda: earth.lead_drop_v(1.0, 1.0, 0.0),
        lambda: earth.lead_drop_v(1.0, nan, 1e-6),
        lambda: earth.effective_protection_v(-1.0, 0.0),
        lambda: earth.protection_limit_v(0.0, 1.0),
        lambda: earth.protection_limit_v(1500.0, nan),
        lambda: earth.protection_margin_v(nan, 1.0),
        lambda: earth.longest_lead_m(nan, 1.0, 1.0, 1.0),
        lambda: earth.longest_lead_m(1.0, 1.0, 1.0, 0.0),
        lambda: earth.impulse_needed_a(1.0, 0.5, 0.5),
        lambda: earth.core_impulse_a(1.0, 1.0, 0.0, 1),
    ):
        with pytest.raises(ValueError, match=r"."):
            call()
