"""Lengths by delay, resistance and light; wrong ones are put in, and the explanations have to name what was done."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.field.comment_words import words_of
from upmast.field.lengths import (
    Interval,
    disagree,
    lengths,
    loop_length_m,
    off_design,
    optical_length_m,
    rf_length_m,
    seen_end,
)
from upmast.field.readers.reading import Reading
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

_spec = importlib.util.spec_from_file_location("field_swept", Path(__file__).parent / "swept.py")
assert _spec is not None
assert _spec.loader is not None
swept = importlib.util.module_from_spec(_spec)
sys.modules["field_swept"] = swept
_spec.loader.exec_module(swept)
own, specimen, sweep_of = swept.own, swept.specimen, swept.sweep_of


def test_loop_of_the_handbook() -> None:
    """10 mm2, 60 m: 0.229 ohm by the handbook of the trade; 1.91 ohm/km by IEC 60228 is the largest resistance."""
    found = loop_length_m(0.229, 1.91)
    assert found.low_m < 60.0 < found.high_m
    assert loop_length_m(0.229 * (1 + 0.00393 * 30), 1.91, 50.0).low_m == pytest.approx(found.low_m, rel=1e-3)


@given(st.floats(1.0, 500.0), st.floats(0.3, 8.0))
def test_loop_of_a_cable_holds_its_length(length_m: float, per_km: float) -> None:
    for share in (0.905, 1.0, 1.045):
        found = loop_length_m(2 * share * per_km * length_m / 1000, per_km)
        assert found.low_m <= length_m * 1.0001
        assert found.high_m >= length_m * 0.9999


def test_light_goes_a_hundred_metres_in_half_a_microsecond() -> None:
    """n = 1.468: 100 m take 489.7 ns, definition of the group index."""
    found = optical_length_m(489.67e-9, 1.468)
    assert found.low_m < 100.0 <= found.high_m
    with pytest.raises(ValueError, match="group_index"):
        optical_length_m(1e-7, 0.9)


def test_intervals() -> None:
    assert disagree(Interval(1, 2), Interval(2.1, 3))
    assert not disagree(Interval(1, 2), Interval(2, 3))


@pytest.mark.parametrize("test", ["load", "antenna", "short"])
def test_no_false_alarm_on_sound_paths(designs: dict[str, PathDesign], test: str) -> None:
    """400 clean sweeps, made with the spreads of real parts: none is told to have a wrong length (at most 1 % would be allowed)."""
    rng = np.random.default_rng(11)
    told = 0
    for k in range(135):
        design = list(designs.values())[k % 3]
        sweep = sweep_of(design, specimen(design, rng), rng, test, points=int(rng.choice([401, 801])))
        told += off_design(sweep, design, test) is not None
    assert told <= 1


@pytest.mark.parametrize(("path", "off_m", "test", "least"), [
    ("A2-J1", 0.2, "short", 20), ("A2-J2", -0.3, "short", 20), ("B1-J1", 0.6, "short", 20), ("A2-J1", 0.2, "load", 15),
    ("A2-J1", 1.0, "load", 10), ("B1-J1", -0.6, "load", 15),
])  # fmt: skip
def test_a_wrong_length_is_found(
    designs: dict[str, PathDesign], path: str, off_m: float, test: str, least: int
) -> None:
    design, rng = designs[path], np.random.default_rng(3)
    found = 0
    for _ in range(20):
        built = specimen(design, rng)
        built["length"][-1 if len(design.sections) == 1 else 1] += off_m
        seen = off_design(sweep_of(design, built, rng, test), design, test)
        if seen is not None:
            found += 1
            span = rf_length_m(seen, design)
            assert span.low_m < design.length_m + off_m < span.high_m
    assert found >= least


def test_length_and_velocity_are_both_named(proof: Proof, designs: dict[str, PathDesign]) -> None:
    """A jumper of 3 m with a velocity fraction of 0.75 in place of 0.82 is 3.28 m long by the design's velocity."""
    design, rng = designs["A2-J1"], np.random.default_rng(1)
    built = specimen(design, rng)
    built["velocity"] = np.array(0.75 / 0.82)
    (told,) = lengths(proof, [own(design, sweep_of(design, built, rng, "short"), "short")])
    assert told.level == "warn"
    assert told.tests == ("A2-J1.loss.short",)
    assert "3.28 m long at the design's velocity fraction 0.820; or 3.00 m long with 0.75" in told.words
    assert "A2-J1 has velocity fraction 0.7" in told.words


def test_the_other_jumper_is_named(proof: Proof, designs: dict[str, PathDesign]) -> None:
    """The jumper of 5 m on the port of the one of 3 m: its place is named, and the loss speaks for a length."""
    rng = np.random.default_rng(1)
    long = replace(designs["A2-J2"], id="A2-J1")
    (told,) = lengths(proof, [own(designs["A2-J1"], sweep_of(long, specimen(long, rng), rng, "short"), "short")])
    assert "A2-J2 in place of A2-J1" in told.words


def test_loss_tells_length_from_velocity(proof: Proof, designs: dict[str, PathDesign]) -> None:
    """A feeder 5 m longer loses more; a feeder of another velocity does not."""
    design = designs["B1-J1"]
    for velocity, longer, words in (
        (1.0, 6.0, "speaks for another length"),
        (20.0 / 26.0, 0.0, "speaks for the designed length"),
    ):
        rng = np.random.default_rng(4)
        built = specimen(design, rng)
        built["length"][1] += longer
        sections = (
            design.sections[0],
            replace(design.sections[1], velocity_fraction=0.89 * velocity),
            design.sections[2],
        )
        real = replace(design, sections=sections)
        lossy = replace(
            real, sections=tuple(replace(s, a_db_per_m=2 * s.a_db_per_m, b_db_per_m=2 * s.b_db_per_m) for s in sections)
        )
        bought = replace(
            design,
            sections=tuple(
                replace(s, a_db_per_m=2 * s.a_db_per_m, b_db_per_m=2 * s.b_db_per_m) for s in design.sections
            ),
        )
        (told,) = lengths(proof, [own(bought, sweep_of(lossy, built, rng, "short", points=1001), "short")])
        assert words in told.words


def reading(kind: str, value: float, **conditions: float) -> Reading:
    return Reading(kind, "", value, "", "", tuple(conditions.items()), "", "", "", 1, file="loops.csv")


def test_pairs_of_a_trunk(proof: Proof) -> None:
    """40 m of 10 mm2: 0.153 ohm at 20 C. Twice as much fits 6 mm2 or a contact; a reel of 80 m as well."""
    good = SimpleNamespace(test_id="T1-P01.rloop.20", readings=(reading("loop-resistance", 0.150, temperature_c=20.0),))
    assert lengths(proof, [], [good]) == ()
    bad = SimpleNamespace(test_id="T1-P02.rloop.20", readings=(reading("loop-resistance", 0.262, temperature_c=20.0),))
    (told,) = lengths(proof, [], [good, bad])
    assert told.tests == ("T1-P02.rloop.20",)
    assert told.files == ("loops.csv",)
    assert "the pair is 6 mm², not 10 mm²" in told.words
    assert "65.32 to 76.21 m" in told.words
    untold = SimpleNamespace(test_id="T1-P02.rloop.20", readings=(reading("loop-resistance", 0.262),))
    assert lengths(proof, [], [untold]) == ()  # no temperature: it is asked for elsewhere


def test_light_and_copper_agree_on_another_reel(proof: Proof) -> None:
    loop = SimpleNamespace(test_id="T1-P01.rloop.20", readings=(reading("loop-resistance", 0.188, temperature_c=20.0),))
    light = SimpleNamespace(test_id="T1-F01.ol.1310-up", readings=(reading("optical-length", 50.2),))
    told = lengths(proof, [], [loop, light])
    assert len(told) == 2
    assert all("says the same length" in one.words for one in told)


def test_nothing_is_read_from_a_short_line(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["A2-J1"], np.random.default_rng(1)
    narrow = sweep_of(design, specimen(design, rng), rng, "short", span=(1.9e9, 1.92e9))
    assert seen_end(narrow, design, "short") is None


def test_words_of_a_file(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["A2-J1"], np.random.default_rng(1)
    text = (
        "Calibrated: 2025-01-02 08:00",
        "Date: 2025-11-29 14:03:05",
        "Serial Number: AB-1234",
        "Temperature: 12.5 C",
        "VF=85%",
        "velocity factor 0.85",
    )
    said = words_of(sweep_of(design, specimen(design, rng), rng, comments=text))
    assert said.time == "2025-11-29T14:03:05"
    assert said.day == "2025-11-29"
    assert said.serial == "AB-1234"
    assert said.temperature_c == 12.5
    assert said.velocity_fraction == 0.85
    two = words_of(
        sweep_of(
            design, specimen(design, rng), rng, comments=("velocity 0.66", "velocity 0.88", "temp 54 F", "2 ports")
        )
    )
    assert two.velocity_fraction is None
    assert two.temperature_c == 12.2
    assert two.time == ""


@given(st.text(max_size=300))
def test_no_word_breaks_it(text: str) -> None:
    sweep = SimpleNamespace(comments=(text, f"velocity {text}", f"temp {text}", f"date {text}"))
    words_of(sweep)  # type: ignore[arg-type]
