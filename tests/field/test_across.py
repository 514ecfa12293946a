"""Everything at once, on sweeps of any kind: nothing breaks it, and the same files give the same list."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from upmast.field.across import Told, across
from upmast.field.judge import judge_sweep
from upmast.field.measurement import Sweep
from upmast.field.setup import check_setup
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

_spec = importlib.util.spec_from_file_location("field_swept", Path(__file__).parent / "swept.py")
assert _spec is not None
assert _spec.loader is not None
swept = importlib.util.module_from_spec(_spec)
sys.modules["field_swept"] = swept
_spec.loader.exec_module(swept)


def odd(kind: str) -> Sweep:
    """Sweeps that a file may hold and no line gives."""
    rng = np.random.default_rng(1)
    points = {"one": 1, "two": 2, "few": 17}.get(kind, 301)
    f = np.linspace(1.7e9, 2.2e9, points) if points > 1 else np.array([1.9e9])
    if kind == "from zero":
        f = np.linspace(0.0, 2.2e9, points)
    if kind == "uneven":
        f = f + 4e5 * np.sin(np.arange(points))
    g = 0.05 * (rng.normal(size=points) + 1j * rng.normal(size=points))
    if kind == "nothing":
        g = np.zeros(points, complex)
    if kind == "all":
        g = np.ones(points, complex)
    if kind == "gain":
        g = g * 1e5
    size = np.abs(g)
    bare = kind == "size"
    return Sweep(
        f"{kind}.s1p",
        kind,
        f,
        np.full(points, complex(np.nan, np.nan)) if bare else g,
        size,
        bare,
        50.0,
        "RI",
        ("Date: 2025-01-01 10:00:00",),
    )


KINDS = ("one", "two", "few", "uneven", "from zero", "nothing", "all", "gain", "size", "noise")


@pytest.mark.parametrize("test", ["rl.load", "rl.antenna", "loss.short"])
def test_nothing_breaks_it(proof: Proof, designs: dict[str, PathDesign], test: str) -> None:
    judged = []
    for k, kind in enumerate(KINDS):
        design = list(designs.values())[k % 3]
        sweep = odd(kind)
        assert all(
            r.words and r.remedy
            for r in check_setup(sweep, design, {"rl.load": "load", "rl.antenna": "antenna"}.get(test, "short"))
        )
        judged.append(judge_sweep(proof, sweep, f"{design.id}.{test}"))
    later = [judge_sweep(proof, replace(odd(k), comments=("Date: 2026-01-01",)), f"A2-J1.{test}") for k in KINDS]
    told = across(proof, [*judged, *later])
    assert all(isinstance(t, Told) and t.words and t.remedy for t in told)
    assert told == across(proof, [*judged, *later])
    levels = [("stop", "warn", "note").index(t.level) for t in told]
    assert levels == sorted(levels)


def test_judged_sweeps_go_in_as_they_are(proof: Proof, designs: dict[str, PathDesign]) -> None:
    """A whole site, sound: only that two paths might be told apart is said, nothing above a note."""
    rng = np.random.default_rng(3)
    rows = []
    for design in designs.values():
        built = swept.specimen(design, rng)
        for test, suffix in (("load", "rl.load"), ("short", "loss.short"), ("antenna", "rl.antenna")):
            sweep = swept.sweep_of(design, built, rng, test, points=801, file=f"{design.id}.{suffix}.s1p")
            rows.append(judge_sweep(proof, sweep, f"{design.id}.{suffix}"))
    assert [t for t in across(proof, rows) if t.level != "note"] == []
