"""Tape: limits, and the area that the tape must cover."""

from __future__ import annotations

import numpy as np
import pytest

from upmast.weather import layer_diameter_mm, tape_length_m


def test_a_narrow_thin_tape_covers_the_area() -> None:
    """Edge to edge and without thickness, tape area equals joint area as the pitch goes to zero."""
    length = tape_length_m(30.0, 0.5, 0.5, 0.0, overlap=0.0)
    assert length * 0.5e-3 == pytest.approx(np.pi * 0.03 * 0.5, rel=1e-4)


def test_half_lapped_needs_twice_the_turns() -> None:
    assert tape_length_m(30.0, 0.2, 20.0, 0.0, overlap=0.5) == pytest.approx(
        float(2 * tape_length_m(30.0, 0.2, 10.0, 0.0, overlap=0.0) / 2)
    )


def test_layers_add_up() -> None:
    two = tape_length_m(28.0, 0.25, 50.0, 0.8, layers=2)
    second = tape_length_m(layer_diameter_mm(28.0, 0.8, 1), 0.25, 50.0, 0.8)
    assert two == pytest.approx(float(tape_length_m(28.0, 0.25, 50.0, 0.8) + second))
    assert tape_length_m(28.0, 0.25, 50.0, 0.8, layers=0) == 0


def test_volume_of_tape_equals_volume_of_the_layer() -> None:
    """Half lapped, the ring between the two diameters holds the tape that was wound, but for the small pitch."""
    d, t, w, length = 28.0, 0.8, 10.0, 0.3
    ring = np.pi / 4 * (layer_diameter_mm(d, t, 1) ** 2 - d**2) * length * 1e3
    tape = tape_length_m(d + t, length, w, t) * 1e3 * w * t  # the middle of two plies lies at D + 2 t
    assert tape == pytest.approx(float(ring), rel=0.01)


def test_arrays_equal_scalars_and_allowance() -> None:
    d = np.array([10.0, 28.0, 50.0])
    many = tape_length_m(d, 0.25, 50.0, 0.8, 2, allowance=0.1)
    np.testing.assert_allclose(many, [1.1 * float(tape_length_m(x, 0.25, 50.0, 0.8, 2)) for x in d])


@pytest.mark.parametrize(
    "args", [(0.0, 1, 1, 1), (1, -1, 1, 1), (1, 1, 0, 1), (1, 1, 1, -1), (1, 1, 1, 1, -1), (1, 1, 1, 1, 1, 1.0)]
)
def test_nonsense_is_refused(args: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match=r"must|can't"):
        tape_length_m(*args)  # type: ignore[arg-type]


def test_negative_layers() -> None:
    with pytest.raises(ValueError, match="layers"):
        layer_diameter_mm(10.0, 1.0, -1)
