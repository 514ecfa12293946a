"""The same evidence twice: copies, rounded copies, one port swept twice; and the rates at which the statements are wrong."""

from __future__ import annotations

import importlib.util
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from upmast.field.twin_model import Grid, differences_db, fingerprints, nearest_db, population
from upmast.field.twins import samples_digest, twins
from upmast.proof.rf_path import PathDesign

_spec = importlib.util.spec_from_file_location("field_swept", Path(__file__).parent / "swept.py")
assert _spec is not None
assert _spec.loader is not None
swept = importlib.util.module_from_spec(_spec)
sys.modules["field_swept"] = swept
_spec.loader.exec_module(swept)
Own, own, specimen, sweep_of, without_phase = swept.Own, swept.own, swept.specimen, swept.sweep_of, swept.without_phase

GRID = Grid(501, 1.65e9, 2.25e9, True)


def site(design: PathDesign, rng: np.random.Generator, count: int = 8, test: str = "load") -> list[Own]:
    """Sweeps of like paths."""
    every = [replace(design, id=f"P{k}") for k in range(count)]
    return [own(d, sweep_of(d, specimen(d, rng), rng, test, file=f"{d.id}.s1p"), test) for d in every]


def test_copies_under_two_names(designs: dict[str, PathDesign]) -> None:
    rng = np.random.default_rng(1)
    for design in designs.values():
        one, other, *rest = site(design, rng, 4)
        copy = replace(
            other,
            sweep=replace(
                one.sweep,
                file="other name.s1p",
                digest="other",
                gamma=one.sweep.gamma.copy(),
                magnitude=one.sweep.magnitude.copy(),
                frequency_hz=one.sweep.frequency_hz.copy(),
            ),
        )
        told = [t for t in twins([one, copy, *rest]) if t.level == "warn"]
        assert len(told) == 1
        assert told[0].tests == (one.test_id, copy.test_id)
        assert told[0].files == ("P0.s1p", "other name.s1p")
        assert "same samples" in told[0].words
        assert "swept twice" in told[0].remedy
        bare = [replace(o, sweep=without_phase(o.sweep)) for o in (one, copy, *rest)]
        assert [t.tests for t in twins(bare) if t.level == "warn"] == [told[0].tests]


def test_a_copy_under_two_tests_of_one_path(designs: dict[str, PathDesign]) -> None:
    one = site(designs["A2-J1"], np.random.default_rng(1), 1)[0]
    other = replace(one, test="antenna", test_id="P0.rl.antenna")
    assert [t.tests for t in twins([one, other])] == [("P0.rl.load", "P0.rl.antenna")]
    assert twins([one, one]) == ()  # the same test of the same path twice is no twin


@pytest.mark.parametrize("test", ["load", "short"])
def test_a_copy_that_was_rounded(designs: dict[str, PathDesign], test: str) -> None:
    """One file with four places, the other with nine: the noise at -65 dB is still the same."""
    rng = np.random.default_rng(2)
    one, other, *rest = site(designs["B1-J1"], rng, 5, test)
    g = np.round(one.sweep.gamma.real, 4) + 1j * np.round(one.sweep.gamma.imag, 4)
    copy = replace(
        other,
        sweep=replace(
            one.sweep, gamma=g, magnitude=np.abs(g), file="P1.s1p", frequency_hz=one.sweep.frequency_hz.copy()
        ),
    )
    told = [t for t in twins([one, copy, *rest]) if t.level == "warn"]
    assert [t.tests for t in told] == [(one.test_id, copy.test_id)]
    assert "same noise" in told[0].words


def test_one_port_swept_twice_among_many(designs: dict[str, PathDesign]) -> None:
    """
    Feeder lines with a load: at least 14 of 20 are found, with and without phase; among the pairs that are not twins (20 x 28 pairs
    of like paths each way) at most one is told wrongly.
    """
    design, rng = designs["B1-J1"], np.random.default_rng(5)
    found = {True: 0, False: 0}
    wrong = 0
    for _ in range(20):
        built = specimen(design, rng)
        sweeps = site(design, rng)
        first = own(sweeps[0].design, sweep_of(design, built, rng, file="P0.s1p"))
        again = own(sweeps[1].design, sweep_of(design, built, rng, file="P1.s1p"))
        for phase in (True, False):
            rows = [first, again, *sweeps[2:]]
            if not phase:
                rows = [replace(o, sweep=without_phase(o.sweep)) for o in rows]
            told = [t for t in twins(rows) if t.level == "warn"]
            hit = [t for t in told if set(t.tests) == {first.test_id, again.test_id}]
            found[phase] += bool(hit)
            wrong += len(told) - len(hit)
            assert all("as alike as two sweeps of one path" in t.words for t in hit)
    assert found[True] >= 14
    assert found[False] >= 10
    assert wrong <= 1


def test_sound_sites_say_nothing(designs: dict[str, PathDesign]) -> None:
    """40 sites of 8 like paths, 1,120 pairs: one wrong statement would be more than is aimed at (0.02 a site)."""
    rng = np.random.default_rng(6)
    wrong = 0
    for k in range(40):
        design = list(designs.values())[k % 3]
        wrong += sum(t.level == "warn" for t in twins(site(design, rng, 8, ("load", "antenna", "short")[k % 3])))
    assert wrong <= 1


def test_short_lines_are_said_to_be_untold(designs: dict[str, PathDesign]) -> None:
    (told,) = twins(site(designs["A2-J1"], np.random.default_rng(1), 3))
    assert told.level == "note"
    assert "too alike to tell" in told.words
    assert "P0, P1, P2" in told.words


def test_same_second_and_serial(designs: dict[str, PathDesign]) -> None:
    rng = np.random.default_rng(1)
    words = ("Date: 2025-11-29 14:03:05", "Serial: 1234567")
    rows = [replace(o, sweep=replace(o.sweep, comments=words)) for o in site(designs["A2-J1"], rng, 2)]
    assert any(t.level == "note" and "same second" in t.words for t in twins(rows))
    columns = [replace(o, sweep=replace(o.sweep, digest="one file")) for o in rows]
    assert not any("same second" in t.words for t in twins(columns))


def test_ten_thousand_sweeps_in_seconds(designs: dict[str, PathDesign]) -> None:
    """Rows made from a few specimens with noise of their own; one copy among them is found."""
    design, rng = designs["A2-J2"], np.random.default_rng(7)
    base = [sweep_of(design, specimen(design, rng), rng, points=201) for _ in range(50)]
    rows = []
    for k in range(10_000):
        one = base[k % 50]
        g = one.gamma * np.exp(2j * np.pi * rng.uniform()) + 1e-3 * (rng.normal(size=201) + 1j * rng.normal(size=201))
        rows.append(
            own(
                replace(design, id=f"P{k}"),
                replace(one, gamma=g, magnitude=np.abs(g), frequency_hz=one.frequency_hz.copy(), file=f"{k}.s1p"),
            )
        )
    rows[9_999] = replace(rows[9_999], sweep=rows[17].sweep)
    start = time.perf_counter()
    told = [t for t in twins(rows) if t.level == "warn"]
    assert time.perf_counter() - start < 30.0  # 3 s on a free machine of two cores
    assert any(set(t.tests) == {"P17.rl.load", "P9999.rl.load"} for t in told)


def test_many_sites_share_names(designs: dict[str, PathDesign]) -> None:
    one = site(designs["A2-J1"], np.random.default_rng(1), 1)[0]
    assert [t.level for t in twins([one, one], sites=["S1", "S2"])] == ["warn"]
    with pytest.raises(ValueError, match="one name"):
        twins([one, one], sites=["S1"])


def test_rows_compared_at_once_and_one_by_one() -> None:
    rng = np.random.default_rng(1)
    rows = rng.normal(size=(5, 128)) + 1j * rng.normal(size=(5, 128))
    prints = fingerprints(rows, (3, 20))
    table = differences_db(prints, prints)
    for a in range(5):
        assert table[a, a] <= -120.0
        for b in range(5):
            if a != b:
                plain = np.sum(np.abs(prints[a] - prints[b]) ** 2) / np.sum(
                    np.abs(prints[a]) ** 2 + np.abs(prints[b]) ** 2
                )
                assert table[a, b] == pytest.approx(10 * np.log10(plain), abs=1e-9)
                near = nearest_db(prints[a : a + 1], prints[b : b + 1], (3, 20), Grid(128, 1e9, 1.1e9, True))[0]
                assert near <= table[a, b] + 1e-9


def test_population_repeats_and_is_ordered(designs: dict[str, PathDesign]) -> None:
    one, other = (population(GRID, designs["B1-J1"], "load", 200) for _ in range(2))
    assert one is not None
    assert other is not None
    assert np.array_equal(one.twin_db, other.twin_db)
    assert np.median(one.again_db) < np.median(one.twin_db) - 10.0
    assert one.threshold_db(1e-4) < one.threshold_db(1e-2) <= np.quantile(one.again_db, 0.98) + 1e-9
    assert one.twin_chance(one.threshold_db(1e-4)) == pytest.approx(1e-4, rel=0.05)
    assert population(Grid(21, 1.9e9, 1.905e9, True), designs["A2-J1"], "load") is None


def test_digest_minds_numbers_not_names(designs: dict[str, PathDesign]) -> None:
    one, other = site(designs["A2-J1"], np.random.default_rng(1), 2)
    assert samples_digest(one) == samples_digest(replace(one, path_id="Q")) != samples_digest(other)


def test_one_path_with_the_same_samples_on_two_days_is_told(designs: dict[str, PathDesign]) -> None:
    design, rng = designs["B1-J1"], np.random.default_rng(1)
    first = own(design, sweep_of(design, specimen(design, rng), rng, file="a.s1p", comments=("Date: 2026-01-02",)))
    again = replace(first, sweep=replace(first.sweep, file="b.s1p", comments=("Date: 2026-09-01",)))
    (told,) = twins([again, first])
    assert told.level == "warn"
    assert "a.s1p (2026-01-02) and b.s1p (2026-09-01)" in told.words.replace(", b.s1p", " and b.s1p")
    assert "hold the same samples, noise included: two sweeps never do, and their days differ" in told.words
    assert "saved twice" in told.remedy
    same_day = replace(again, sweep=replace(again.sweep, comments=first.sweep.comments))
    assert twins([first, same_day]) == ()
