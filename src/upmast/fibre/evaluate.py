"""Budgets, reflections, delays and loops of a line's ways: arrays over ways and loops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from upmast.fibre.bend import bend_bound_db
from upmast.fibre.budget import (
    best_loss_db,
    chain_return_loss_db,
    low_margin_db,
    overload_margin_db,
    statistical_loss_db,
    worst_loss_db,
)
from upmast.fibre.delay import wave_delay_s
from upmast.fibre.state import Inputs, Life, Loop, Way
from upmast.fibre.strain import bend_strain, break_probability, break_probability_bent

Array = NDArray[np.float64]
SIGMA_SHARE = 1.88  # 97 % of a normal spread lie below mean + 1.88 sigma: highest losses are 97 % points
LONG_WAVE_NM = 1450.0  # from here on the attenuation at 1550 nm is taken
YEAR_S = 365.25 * 86400


@dataclass(frozen=True, eq=False)
class Budget:
    """Losses, margins and delays of every way, in dB and s; NaN where they can't be told."""

    worst_db: Array
    best_db: Array
    mean_db: Array
    sigma_db: Array
    likely_db: Array
    bend_db: Array
    low_db: Array
    over_db: Array
    return_loss_db: Array
    delay_s: Array


def loop_bend_db(loops: tuple[Loop, ...], wavelength_nm_wave: float) -> Array:
    """Bound of the bending loss of each loop at one wavelength; NaN where the class has no limit for its radius."""
    return np.array(
        [
            float(bend_bound_db(x.fibre_class, strand_radius_mm(x), x.turns + x.exit_turn, wavelength_nm_wave).loss_db)
            for x in loops
        ],
        np.float64,
    )


def strand_radius_mm(loop: Loop) -> float:
    """Least radius of a strand in a coil: that of the inside of the cable's bend."""
    return max(1000 * loop.radius_m - loop.diameter_mm / 2, 1e-6)


def budget(inputs: Inputs) -> Budget:
    """
    The budget of every way: `A_max = sum(a L) + sum(A_i) + bends + repairs`, and the rest from it.

    Bends count as bound at the wavelength sent. The strongest light is reckoned with the lowest attenuation of the glass and no
    loss in joints; the likely loss with mean joints and `sigma = (highest - mean) / 1.88`.
    """
    ways = inputs.ways
    n = len(ways)
    most = max((len(w.events) for w in ways), default=0)
    loss, typical = np.zeros((n, most)), np.zeros((n, most))
    glass, least, delay = np.zeros(n), np.zeros(n), np.zeros(n)
    reflected = np.full((n, most), -np.inf)
    before = np.zeros((n, most))
    bends = {wave: loop_bend_db(inputs.loops, wave) for wave in {w.sent_nm_wave for w in ways} if wave == wave}
    bend = np.zeros(n)
    for row, way in enumerate(ways):
        loss[row, : len(way.events)] = [e.loss_db for e in way.events]
        typical[row, : len(way.events)] = [e.typical_db for e in way.events]
        glass[row] = sum(g.attenuation_db_per_km * g.length_m for g in way.glass)
        least[row] = sum(g.least_db_per_km * g.shortest_m for g in way.glass)
        bend[row] = (
            sum(float(bends[way.sent_nm_wave][k]) for k in way.loops)
            if way.loops and way.sent_nm_wave in bends
            else 0.0
        )
        passed = 0.0
        for kind, k in way.order:
            if kind == "glass":
                passed += way.glass[k].least_db_per_km * way.glass[k].shortest_m / 1000
            else:
                back_db = way.events[k].return_loss_db
                reflected[row, k] = -back_db if back_db is not None else np.nan
                before[row, k] = passed
    flat = [
        (row, g.length_m, way.sent_nm_wave, g.index_1310, g.index_1550)
        for row, way in enumerate(ways)
        for g in way.glass
    ]
    if flat:
        at, length, wave, short, long = (np.array(column, np.float64) for column in zip(*flat, strict=True))
        np.add.at(delay, at.astype(int), wave_delay_s(length, np.where(np.isnan(wave), 1310.0, wave), short, long))
    # lengths are summed with their attenuation already: one dB/km over a metre-equivalent of glass
    worst = worst_loss_db(1.0, glass, loss, 1.0, bend, inputs.repair_db)
    best = best_loss_db(1.0, least)
    sigma = np.maximum(loss - typical, 0.0) / SIGMA_SHARE
    likely = statistical_loss_db(1.0, glass, typical, sigma)
    known = ~np.isnan(reflected).any(-1) if most else np.ones(n, bool)
    back = (
        chain_return_loss_db(np.where(np.isnan(reflected), -np.inf, reflected), before) if most else np.full(n, np.inf)
    )
    c = inputs.column
    return Budget(
        worst,
        best,
        likely.mean_db,
        likely.sigma_db,
        likely.loss_db,
        bend,
        low_margin_db(c("tx_minimum_dbm"), worst, c("rx_minimum_dbm")),
        overload_margin_db(c("rx_maximum_dbm"), c("tx_maximum_dbm"), best),
        np.where(known, back, np.nan),
        delay,
    )


def of(inputs: Inputs) -> Budget:
    """The budget, reckoned once."""
    found = inputs.__dict__.get("_budget")
    if found is None:
        found = budget(inputs)
        inputs.__dict__["_budget"] = found
    return cast(Budget, found)


def group_db(way: Way) -> float:
    """Highest loss of the glass of a way."""
    return sum(g.attenuation_db_per_km * g.length_m / 1000 for g in way.glass)


@dataclass(frozen=True, slots=True)
class Bent:
    """Strain of the strands of a loop at the outside of their bend, and the chance that one of them breaks in its life."""

    strain: float
    uniform: float
    averaged: float
    strand_m: float


def bent(loop: Loop, life: Life) -> Bent:
    """
    Strain and life of all strands of a loop: power law of a proof-tested fibre over the strand metres in it.

    `uniform` takes the outermost strain all round, which is the safe side; `averaged` goes round the section.
    """
    strain = float(bend_strain(strand_radius_mm(loop)))
    length = loop.stored_m * loop.strands
    law = (life.proof_strain, life.proof_s, life.stress_exponent, life.weibull_exponent, life.breaks_per_m)
    time = life.years * YEAR_S
    return Bent(
        strain,
        float(break_probability(strain, length, time, *law)),
        float(break_probability_bent(strain, length, time, *law)),
        length,
    )


__all__ = [
    "LONG_WAVE_NM",
    "SIGMA_SHARE",
    "YEAR_S",
    "Bent",
    "Budget",
    "bent",
    "budget",
    "group_db",
    "loop_bend_db",
    "of",
    "strand_radius_mm",
]
