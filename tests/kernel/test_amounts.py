from __future__ import annotations

import numpy as np
import pytest

from upmast.amounts import amounts, positive


def test_arrays_come_back_in_order() -> None:
    one, two = amounts(one=1, two=[2, 3])
    assert one.shape == ()
    np.testing.assert_array_equal(two, [2.0, 3.0])
    assert positive(length_m=4)[0] == 4.0


@pytest.mark.parametrize("value", [-1.0, float("nan"), float("inf"), [1.0, -1.0]])
def test_refused_with_the_name(value: object) -> None:
    for check in (amounts, positive):
        with pytest.raises(ValueError, match="length_m must be a number and can't be negative"):
            check(width_m=1.0, length_m=value)  # type: ignore[arg-type]


def test_zero_is_an_amount_but_not_positive() -> None:
    assert amounts(length_m=0)[0] == 0
    with pytest.raises(ValueError, match="length_m must be positive"):
        positive(length_m=0)
