"""The pictures hold what they say, stay small, and are specifications that a renderer takes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from upmast.field.judge import judge_sweep
from upmast.field.measurement import Sweep
from upmast.field.picture import MOST_POINTS, decimate, distance_picture, frequency_picture
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign

Make = Callable[..., Sweep]


def values(spec: dict[str, Any]) -> Iterator[list[dict[str, Any]]]:
    for layer in spec["layer"]:
        yield layer["data"]["values"]


@given(st.lists(st.floats(-60, 60), min_size=1, max_size=5000), st.integers(4, 300))
def test_decimation_keeps_extremes_and_order(y: list[float], most: int) -> None:
    x = np.arange(len(y), dtype=float)
    a, b = decimate(x, np.array(y), most)
    assert a.size <= max(most, 1)
    assert (b.max(), b.min()) == (max(y), min(y))
    assert np.all(np.diff(a) > 0)
    assert all(y[int(k)] == v for k, v in zip(a, b, strict=True))


def test_frequency_picture(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["A2-J1"], joints_db={0: 15.0}, points=5001), "A2-J1")
    spec = frequency_picture(judged)
    assert all(len(rows) <= MOST_POINTS for rows in values(spec))
    assert " ".join(spec["title"]["subtitle"]) == judged.sentence
    measured = spec["layer"][-1]["data"]["values"]
    assert min(row["db"] for row in measured) == pytest.approx(judged.measured_db.min(), abs=1e-3)
    assert [row["name"] for row in spec["layer"][0]["data"]["values"]] == [b.name for b in judged.design.bands]
    text = json.dumps(spec, allow_nan=False)
    assert "frequency (MHz)" in text
    assert "return loss (dB)" in text
    assert "limit 17.70 dB" in text


def test_distance_picture(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["B1-J1"], joints_db={1: 15.0}), "B1-J1")
    spec = distance_picture(judged)
    assert spec is not None
    assert all(len(rows) <= MOST_POINTS for rows in values(spec))
    joints = spec["layer"][0]["data"]["values"]
    assert [(row["name"], row["m"]) for row in joints] == [(j.name, j.distance_m) for j in judged.design.joints]
    assert [m["state"] for m in spec["layer"][3]["data"]["values"]].count("open first") == 1
    json.dumps(spec, allow_nan=False)


def test_no_distance_picture_without_phase(proof: Proof, designs: dict[str, PathDesign], make: Make) -> None:
    judged = judge_sweep(proof, make(designs["A2-J1"], magnitude_only=True), "A2-J1")
    assert distance_picture(judged) is None
    assert frequency_picture(judged)["layer"]


@pytest.mark.parametrize("end", ["load", "short", "antenna"])
def test_a_renderer_takes_both(proof: Proof, designs: dict[str, PathDesign], make: Make, end: str) -> None:
    convert = pytest.importorskip("vl_convert")
    test = {"load": "rl.load", "short": "loss.short", "antenna": "rl.antenna"}[end]
    judged = judge_sweep(proof, make(designs["A2-J1"], end), f"A2-J1.{test}")
    for spec in (frequency_picture(judged), distance_picture(judged)):
        assert spec is not None
        svg = convert.vegalite_to_svg(spec)
        assert svg.startswith("<svg")
        assert "return loss (dB)" in svg
        assert "NaN" not in svg
