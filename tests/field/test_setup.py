"""Set-up mistakes are put into sweeps; each has to be found, with what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from upmast.field.judge import judge_sweep
from upmast.field.measurement import Sweep
from upmast.field.readers.touchstone import read_sweep
from upmast.field.setup import CAUTIONS, check_setup, termination, uncovered
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]


def keys(sweep: Sweep, design: PathDesign, test: str = "load") -> dict[str, str]:
    remarks = check_setup(sweep, design, test)
    assert all(r.words and r.remedy for r in remarks)
    return {r.key: r.level for r in remarks}


@pytest.mark.parametrize("path", ["A2-J1", "A2-J2", "B1-J1"])
@pytest.mark.parametrize("end", ["load", "antenna", "short", "open"])
def test_end_of_the_line_is_told(designs: dict[str, PathDesign], make: Make, path: str, end: str) -> None:
    for seed in range(3):
        assert termination(make(designs[path], end, seed=seed), designs[path]).kind == end


def test_antenna_told_by_its_bands_even_without_phase(designs: dict[str, PathDesign], make: Make) -> None:
    sweep = make(designs["A2-J1"], "antenna", low_hz=1.3e9, high_hz=2.6e9, magnitude_only=True)
    assert termination(sweep, designs["A2-J1"]).kind == "antenna"


def test_short_without_phase_may_be_open(designs: dict[str, PathDesign], make: Make) -> None:
    seen = termination(make(designs["A2-J1"], "short", magnitude_only=True), designs["A2-J1"])
    assert seen.kind == "short-open"
    assert seen.fits("short")
    assert not seen.fits("load")


def test_sound_sweep_has_no_remark(designs: dict[str, PathDesign], make: Make) -> None:
    assert keys(make(designs["A2-J1"]), designs["A2-J1"]) == {}


@pytest.mark.parametrize(
    ("end", "test", "words"),
    [
        ("antenna", "load", "the antenna at the end of the line, not a load"),
        ("short", "load", "a short at the end of the line, not a load"),
        ("load", "antenna", "a load at the end of the line, not the antenna"),
        ("open", "short", "an open end at the end of the line, not a short"),
        ("load", "short", "a load at the end of the line, not a short"),
    ],
)
def test_wrong_end_stops(designs: dict[str, PathDesign], make: Make, end: str, test: str, words: str) -> None:
    first = check_setup(make(designs["A2-J2"], end), designs["A2-J2"], test)[0]
    assert (first.key, first.level) == ("end", "stop")
    assert words in first.words


def test_span(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["A2-J1"]
    partly = make(design, high_hz=1.9e9)
    assert uncovered(partly, design) == ("B1 uplink (1920 to 1980 MHz)", "B1 downlink (2110 to 2170 MHz)")
    assert keys(partly, design)["span"] == "warn"
    assert keys(make(design, low_hz=7e8, high_hz=9.6e8), design)["span"] == "stop"


def test_phase_range_steps_resolution(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["B1-J1"]
    assert keys(make(design, magnitude_only=True), design)["phase"] == "warn"
    coarse = next(r for r in check_setup(make(design, points=101), design, "load") if r.key == "range")
    assert "17.56 m; the line is 23.50 m long" in coarse.words
    advised = int(coarse.remedy.split()[2])
    assert "range" not in keys(make(design, points=advised), design)
    narrow = next(
        r for r in check_setup(make(design, low_hz=1.7e9, high_hz=1.8e9), design, "load") if r.key == "resolution"
    )
    assert "B1-FD1.head/B1-J2.foot and B1-J2.head/B-ANT.Y1" in narrow.words


def test_uneven_steps(designs: dict[str, PathDesign]) -> None:
    rows = "\n".join(f"{1600 + k + 0.3 * (k % 3)} 0.01 0.01" for k in range(600))
    assert keys(read_sweep(f"# MHz S RI R 50\n{rows}\n".encode(), "a.s1p"), designs["A2-J1"])["steps"] == "warn"


def test_impossible_values_stop(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["A2-J1"]
    gain = read_sweep(b"# MHz S DB R 50\n" + b"".join(b"%d 20 %d\n" % (1600 + k, k) for k in range(700)), "a.s1p")
    first = check_setup(gain, design, "load")[0]
    assert (first.key, first.level) == ("gain", "stop")
    assert "20.00 dB more comes back than was sent" in first.words
    assert keys(make(design, good_db=90.0, end_db=60.0), design)["nothing"] == "stop"


def test_cautions_are_there() -> None:
    assert any("antenna" in c for c in CAUTIONS)
    assert any("open port" in c for c in CAUTIONS)


def without(sweep: Sweep, low_hz: float, high_hz: float) -> Sweep:
    """The same sweep with the points of a range taken out."""
    keep = ~((sweep.frequency_hz > low_hz) & (sweep.frequency_hz < high_hz))
    f, g = sweep.frequency_hz[keep], sweep.gamma[keep]
    return replace(sweep, frequency_hz=f, gamma=g, magnitude=sweep.magnitude[keep])


def test_a_hole_in_a_band_is_not_swept(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    """Points at both of its edges do not cover a band."""
    design = designs["A2-J1"]
    band = design.bands[0]
    sweep = without(make(design), band.low_hz + 2e6, band.high_hz - 2e6)
    (gap,) = uncovered(sweep, design)
    assert gap.endswith(f"MHz of {band.name} ({band.low_hz / 1e6:g} to {band.high_hz / 1e6:g} MHz)")
    judged = judge_sweep(proof, sweep, "A2-J1.rl.load")
    assert str(judged.verdict) == "not judged"
    assert band.name in judged.findings[0].missing[0]
    bad = without(make(design, joints_db={0: 9.0}), band.low_hz + 2e6, band.high_hz - 2e6)
    assert str(judge_sweep(proof, bad, "A2-J1.rl.load").verdict) == "fails", "what was swept can still fail"


def test_lost_points_and_gaps_between_bands_are_no_hole(designs: dict[str, PathDesign], make: Make) -> None:
    design = designs["A2-J1"]
    sweep = make(design)
    middle = 0.5 * (design.bands[0].low_hz + design.bands[0].high_hz)
    step = sweep.step_hz
    assert uncovered(without(sweep, middle - 0.9 * step, middle + 0.9 * step), design) == ()
    edges = sorted((b.low_hz, b.high_hz) for b in design.bands)
    assert edges[0][1] < edges[1][0], "its bands lie apart"
    assert uncovered(without(sweep, edges[0][1] + step, edges[1][0] - step), design) == ()


@pytest.mark.parametrize(("times", "words"), [(1e3, "divided by 1000"), (1e-3, "times 1000"), (1e-6, "times 1e+06")])
def test_a_wrong_unit_of_frequency_is_told(
    designs: dict[str, PathDesign], make: Make, times: float, words: str
) -> None:
    sweep = make(designs["A2-J1"])
    first = check_setup(replace(sweep, frequency_hz=sweep.frequency_hz * times), designs["A2-J1"], "load")
    told = next(one for one in first if one.key == "unit")
    assert told.level == "stop"
    assert words in told.words


def test_another_band_is_no_wrong_unit(designs: dict[str, PathDesign], make: Make) -> None:
    told = keys(make(designs["A2-J1"], low_hz=7e8, high_hz=9e8), designs["A2-J1"])
    assert "unit" not in told
    assert told["span"] == "stop"
