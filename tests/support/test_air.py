"""Wind at a site by either standard: by hand, identities, and that the two are never mixed."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from upmast.site.site import Mast
from upmast.support.air import EN, GUST, Wind, directionality, gust_effect
from upmast.support.wind import line_wind

MEAN = Wind(26.0, "II", 0.05, 2.0, "confirmed")
STORM = Wind(44.7, "", math.nan, math.nan, "memory", GUST, "B", 1.0, 0.85, 0.85)


def test_the_gust_form_by_hand() -> None:
    # 0.613 x 0.9338 x 0.85 x 44.7^2 = 972.2 Pa; times Gh 0.85, Ca 1.2, D 28 mm: 27.77 N/m
    assert float(STORM.pressure_pa(25.0)) == pytest.approx(972.2 * 0.85, rel=1e-4)
    assert float(STORM.pressure_pa(25.0) * STORM.coefficient(28.0, 25.0) * 0.028) == pytest.approx(27.77, abs=5e-3)
    assert float(STORM.coefficient(110.0, 25.0)) == pytest.approx(1.101, abs=1e-3)


def test_the_mean_form_is_that_of_the_profile() -> None:
    assert float(MEAN.pressure_pa(30.0)) == pytest.approx(1307.1, abs=0.05)
    found, plain = MEAN.line(2.0, 30.0, 28.0), line_wind(2.0, 30.0, 28.0, 26.0, 0.05, 2.0)
    assert (found.force_n, found.moment_nm) == (plain.force_n, plain.moment_nm)


def test_a_line_in_gusts_is_the_fine_sum_over_height() -> None:
    z = (np.arange(28000) + 0.5) / 1000 + 2
    f = STORM.pressure_pa(z) * STORM.coefficient(60.0, z) * 0.06 / 1000
    found = STORM.line(2.0, 30.0, 60.0)
    assert float(found.force_n) == pytest.approx(f.sum(), rel=2e-3)
    assert float(found.moment_nm) == pytest.approx((f * z).sum(), rel=2e-3)


def test_importance_and_row() -> None:
    more = Wind(44.7, "", math.nan, math.nan, "memory", GUST, "B", 1.15, 0.85, 0.85)
    assert float(more.pressure_pa(25.0)) == pytest.approx(1.15 * float(STORM.pressure_pa(25.0)))
    assert (MEAN.row(3), MEAN.row(1), STORM.row(3)) == (1.15, 1.0, 1.0)
    assert (gust_effect("roof", 20.0), directionality("lattice")) == (1.35, 0.85)


def test_words_say_which_speed_it_is() -> None:
    assert "vb 26 m/s" in MEAN.words
    assert EN in MEAN.words
    assert "three-second gust" in STORM.words
    assert GUST in STORM.words
    assert "vb" not in STORM.words


def test_the_page_has_the_factors_of_every_kind_of_mast() -> None:
    """Kd and Gh as the docs print them are those that the program uses, for each kind that a site may give."""
    page = (Path(__file__).parent.parent.parent / "docs" / "support.md").read_text("utf-8")
    rows = re.findall(r"(?m)^\| (\w+) \| ([\d.]+) \| ([\d.]+)(?: up to (\d+) m, ([\d.]+) above)? \|$", page)
    assert sorted(row[0] for row in rows) == sorted(get_args(Mast.model_fields["kind"].annotation))
    for kind, kd, gh, top, above in rows:
        assert directionality(kind) == float(kd)
        assert gust_effect(kind, float(top or 100.0)) == float(gh)
        assert gust_effect(kind, 1.001 * float(top or 500.0)) == float(above or gh)
