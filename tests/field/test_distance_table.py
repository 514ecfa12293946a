"""Traces over distance as instruments export them: read in metres or feet, never judged, and the velocity that was set is told."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.errors import InputFaults
from upmast.field.distance_set import distance_remarks, set_velocity
from upmast.field.measurement import Sweep
from upmast.field.readers.distance_table import DistanceTable, is_distance, read_distance
from upmast.field.readers.table import read_table
from upmast.proof.rf_path import PathDesign
from upmast.rf.distance import delay_response

Make = Callable[..., Sweep]
C0 = 299_792_458.0


def screen(sweep: Sweep, fraction: float, stop_m: float, points: int = 301) -> tuple[np.ndarray, np.ndarray]:
    """What an instrument shows with one velocity fraction for all."""
    distance = np.linspace(0.0, stop_m, points)
    step_s = distance[1] / (fraction * C0)
    return distance, -20 * np.log10(np.abs(delay_response(sweep.frequency_hz, sweep.gamma, 0.0, step_s, points)))


def text(distance: np.ndarray, values: np.ndarray, head: str, above: str = "") -> bytes:
    return (
        above + head + "\n" + "\n".join(f"{a:.4f},{b:.3f}" for a, b in zip(distance, values, strict=True)) + "\n"
    ).encode()


def read(raw: bytes, **more: object) -> DistanceTable:
    return read_distance(read_table(raw, "dtf.csv"), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("set_to", [0.66, 0.75, 0.82, 0.88])
@pytest.mark.parametrize(
    ("path", "end"), [("A2-J1", "short"), ("A2-J2", "antenna"), ("B1-J1", "short"), ("B1-J1", "load")]
)
def test_velocity_that_was_set(designs: dict[str, PathDesign], make: Make, path: str, end: str, set_to: float) -> None:
    design = designs[path]
    right = 0
    for seed in range(5):
        x, rl = screen(make(design, end, seed=seed, noise_db=-65.0), set_to, 1.6 * design.length_m)
        seen = set_velocity(read(text(x, rl, "Distance (m),Return Loss (dB)")), design)
        if seen is None:
            continue
        # an antenna reflects from inside, so it seems a little farther
        assert seen.fraction == pytest.approx(set_to, rel=0.12 if end == "antenna" else 0.025)
        assert seen.factor == pytest.approx(seen.due / seen.fraction)
        right += 1
    assert right >= 4


def test_remarks(designs: dict[str, PathDesign], make: Make) -> None:
    """60 m at 0.88 read with 0.85 show 58.0 m (handbook of the trade); here 23.5 m in the same way."""
    design = designs["B1-J1"]
    due = design.length_m / (design.delay_s * C0)
    x, rl = screen(make(design, "short"), 0.80, 40.0, 801)
    stop, velocity = distance_remarks(read(text(x, rl, "Distance (m),Return Loss (dB)")), design)
    assert (stop.key, stop.level) == ("distance-trace", "stop")
    assert "export the sweep over frequency with phase" in stop.remedy
    assert velocity.level == "warn"
    assert f"in place of {due:.3f}" in velocity.words
    x, rl = screen(make(design, "short"), due, 40.0, 801)
    assert distance_remarks(read(text(x, rl, "Distance (m),Return Loss (dB)")), design)[1].level == "note"
    flat = read(text(x, np.full(x.size, 40.0), "Distance (m),Return Loss (dB)"))
    assert [r.key for r in distance_remarks(flat, design)] == ["distance-trace"]


def test_feet_signs_and_ratios(designs: dict[str, PathDesign], make: Make) -> None:
    x, rl = screen(make(designs["A2-J2"], "short"), 0.82, 10.0, 101)
    metres = read(text(x, rl, "Distance (m),Return Loss (dB)", "Date: 2025-11-29\nSerial: 123\n"))
    assert metres.unit == "m"
    assert "Date: 2025-11-29" in metres.comments
    feet = read(text(x / 0.3048, -rl, "Distance (ft),DTF Return Loss (dB)"))
    assert feet.distance_m == pytest.approx(metres.distance_m, abs=1e-4)
    assert feet.return_loss_db == pytest.approx(metres.return_loss_db)
    assert "feet turned into metres" in feet.mended
    g = 10 ** (-rl / 20)
    ratio = read(text(x, (1 + g) / (1 - g), "Distance [m],VSWR"))
    assert 10 ** (-ratio.return_loss_db / 20) == pytest.approx(g, abs=5e-4)  # three places of a ratio
    size = read(text(x, g, "Position (meters),rho"))
    assert size.format == "size"
    comma = "\n".join(f"{a:.4f};{b:.3f}".replace(".", ",") for a, b in zip(x, rl, strict=True))
    assert read(f"Distance (m);Return Loss (dB)\n{comma}\n".encode()).return_loss_db == pytest.approx(rl, abs=1e-3)


def test_units_under_the_header(designs: dict[str, PathDesign]) -> None:
    rows = "\n".join(f"{k * 0.5},{30 + k}" for k in range(20))
    assert read(f"Distance,Return Loss\nft,dB\n{rows}\n".encode()).unit == "ft"


def test_what_is_refused(designs: dict[str, PathDesign]) -> None:
    rows = "\n".join(f"{k * 0.5},{30 + k}" for k in range(20))
    with pytest.raises(InputFaults, match="metres or feet"):
        read(f"Distance,Return Loss (dB)\n{rows}\n".encode())
    assert read(f"Distance,Return Loss (dB)\n{rows}\n".encode(), unit="m").points == 20
    with pytest.raises(InputFaults, match="number in every row"):
        read(f"Distance (m),Return Loss (dB)\n{rows}\n9.9,OL\n".encode())
    assert read(f"Distance (m),Return Loss (dB)\n{rows}\n9.9,OL\n".encode(), repair=True).points == 20
    for bad in ("Distance (m),Return Loss (dB)\n1,2\n", f"Distance (m),VSWR\n{rows}\n0.1,3\n"):
        with pytest.raises(InputFaults):
            read(bad.encode())
    with pytest.raises(InputFaults):
        read(f"Frequency (MHz),Return Loss (dB)\n{rows}\n".encode())


def test_what_it_is() -> None:
    rows = "\n".join(f"{k * 0.5},{30 + k}" for k in range(20))
    assert is_distance(read_table(f"Distance (m),Return Loss (dB)\n{rows}\n".encode(), "a.csv"))
    assert not is_distance(read_table(f"Frequency (MHz),Return Loss (dB)\n{rows}\n".encode(), "a.csv"))
    assert not is_distance(read_table(f"Cable length,Voltage (V)\n{rows}\n".encode(), "a.csv"))


@given(st.text(alphabet="Distance(m) ,;.0123456789-+eERLdB\n\tft", max_size=400))
def test_any_text_is_read_or_refused(body: str) -> None:
    raw = f"Distance (m),Return Loss (dB)\n{body}".encode()
    try:
        table = read_table(raw, "x.csv")
        is_distance(table)
        read_distance(table, repair=True)
    except InputFaults:
        pass
