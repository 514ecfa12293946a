"""A small line made by hand from parts declared here, and sweeps of it made by scikit-rf, an independent reference."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from upmast import yamlfile
from upmast.catalogue.catalogue import Catalogue, from_text
from upmast.field.measurement import Sweep
from upmast.field.readers.touchstone import read_sweep
from upmast.limits import Limits
from upmast.line.line import Item, Joint, Line, used_parts
from upmast.proof.limits import standing
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign, path_designs
from upmast.proof.scenarios import scenarios_of
from upmast.site.site import Site

COMMON = "lead_time_d: 5, source: invented"
CABLE = "cost_per_m: 1, mass_kg_per_m: 0.2, diameter_mm: 13"
BODY = "height_mm: 500, width_mm: 300, depth_mm: 150"
PARTS = f"""
parts:
  - {{id: rf-plug, kind: connector, title: plug, family: rf, interface: 4.3-10, gender: plug, return_loss_db: 32, return_loss_at_hz: 2.0e9,
     loss_db: 0.05, pim_dbc: -160, {COMMON}}}
  - {{id: rf-jack, kind: connector, title: jack, family: rf, interface: 4.3-10, gender: jack, return_loss_db: 32, return_loss_at_hz: 2.0e9,
     loss_db: 0.05, pim_dbc: -158, {COMMON}}}
  - {{id: dc-plug, kind: connector, title: dc plug, family: dc, interface: dc-x, gender: plug, {COMMON}}}
  - {{id: dc-jack, kind: connector, title: dc jack, family: dc, interface: dc-x, gender: jack, {COMMON}}}
  - {{id: lc-plug, kind: connector, title: lc plug, family: fibre, interface: lc, gender: plug, polish: upc, positions_count: 2,
     loss_db: 0.25, typical_loss_db: 0.12, {COMMON}}}
  - {{id: lc-jack, kind: connector, title: lc jack, family: fibre, interface: lc, gender: jack, polish: upc, positions_count: 2,
     loss_db: 0.25, typical_loss_db: 0.12, {COMMON}}}
  - {{id: jumper, kind: rf-jumper, title: jumper, a_db_per_m: 0.1, b_db_per_m: 0.005, velocity_fraction: 0.82, foot: rf-plug,
     head: rf-plug, pim_dbc: -155, {CABLE}, {COMMON}}}
  - {{id: feeder, kind: feeder, title: feeder, a_db_per_m: 0.04, b_db_per_m: 0.002, velocity_fraction: 0.89, foot: rf-jack,
     head: rf-jack, length_tolerance_m: 0.05, {CABLE}, {COMMON}}}
  - {{id: radio, kind: radio, title: radio, maximum_w: 500, typical_w: 300, minimum_v: 40, cut_out_v: 38, restart_v: 43,
     dc_connector: dc-jack, fibre_connector: lc-jack, optical_ports_count: 1, rf_connector: rf-jack, rf_ports_count: 2,
     bands: [B1, B3], {BODY}, {COMMON}}}
  - {{id: antenna, kind: antenna, title: antenna, ports: [{{name: Y1, low_hz: 1.695e9, high_hz: 2.69e9}},
     {{name: Y2, low_hz: 1.695e9, high_hz: 2.69e9}}], rf_connector: rf-jack, {BODY}, {COMMON}}}
  - {{id: trunk, kind: trunk, title: trunk, cost_per_m: 1, mass_kg_per_m: 1, pairs_count: 2, conductor_area_mm2: 10,
     strands_count: 4, dc_foot: dc-plug, dc_head: dc-plug, fibre_foot: lc-plug, fibre_head: lc-plug, duplex_kind: A-A,
     diameter_mm: 25, {COMMON}}}
  - {{id: optic, kind: optic, title: optic, optic_class: 10GBASE-LR, tx_minimum_dbm: -8.2, tx_maximum_dbm: 0.5,
     rx_minimum_dbm: -14.4, rx_maximum_dbm: 0.5, connector: lc-jack, {COMMON}}}
  - {{id: bond, kind: bond, title: bond, use: case, conductor_area_mm2: 16, lead_length_m: 1, joint_ohm: 0.005, {COMMON}}}
"""
SITE = """
version: 1
id: S1
cabinet: {plant: {float_v: 54.5, on_battery_v: 50, end_of_discharge_v: 44, source_resistance_ohm: 0.005}}
route: {legs: [{name: mast, kind: vertical, length_m: 30}]}
mast: {kind: lattice, height_m: 40}
sectors: [{id: A, azimuth_deg: 0}]
radios: [{id: A2, sector: A, part: radio, height_m: 30}]
"""


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    return from_text(yamlfile.parse(PARTS, "parts.yaml"))


@pytest.fixture(scope="session")
def site() -> Site:
    return Site.model_validate(yamlfile.parse(SITE, "site.yaml").data)


@pytest.fixture(scope="session")
def line(catalogue: Catalogue) -> Line:
    items = (
        Item("BB1", "baseband", "", equipment=(("s1", "optic"),)),
        Item("T1", "trunk", "trunk", 40.0, 0.2),
        Item("A2", "radio", "radio", equipment=(("opt1", "optic"),)),
        Item("A2-J1", "rf-jumper", "jumper", 3.0, 0.01),
        Item("A2-J2", "rf-jumper", "jumper", 5.0, 0.01),
        Item("B1", "radio", "radio"),
        Item("B1-J1", "rf-jumper", "jumper", 2.0, 0.01),
        Item("B1-FD1", "feeder", "feeder", 20.0, 0.05),
        Item("B1-J2", "rf-jumper", "jumper", 1.5, 0.01),
        Item("A-ANT", "antenna", "antenna"),
        Item("B-ANT", "antenna", "antenna"),
        Item("A2-E1", "bond", "bond", on="A2", low_m=30.0, count=2),
    )
    joints = (
        Joint("A2.rf1", "A2-J1.foot"), Joint("A2-J1.head", "A-ANT.Y1"), Joint("A2.rf2", "A2-J2.foot"),
        Joint("A2-J2.head", "A-ANT.Y2"), Joint("B1.rf1", "B1-J1.foot"), Joint("B1-J1.head", "B1-FD1.foot"),
        Joint("B1-FD1.head", "B1-J2.foot"), Joint("B1-J2.head", "B-ANT.Y1"), Joint("BB1.s1", "T1.foot.f1"),
        Joint("T1.head.f1", "A2.opt1"), Joint("T1.head.dc1", "A2.dc"),
    )  # fmt: skip
    from upmast.line.line import Link

    parts = used_parts(items[1:], {part.id: part for part in catalogue} | {"": next(iter(catalogue))})
    parts |= {"optic": catalogue.part("optic"), "lc-jack": catalogue.part("lc-jack")}
    return Line("S1", items, joints, parts, (Link("A2-L1", "BB1.s1", "A2.opt1", "service", "A2"),))


@pytest.fixture(scope="session")
def proof(site: Site, line: Line) -> Proof:
    return Proof(site, line, scenarios_of(site), Limits(standing()), {})


@pytest.fixture(scope="session")
def designs(line: Line) -> dict[str, PathDesign]:
    return {design.id: design for design in path_designs(line)}


Make = Callable[..., Sweep]


@pytest.fixture(scope="session")
def make() -> Make:
    """
    A sweep of a path by scikit-rf: joints as shunt capacitors of a return loss at 2 GHz, lossy lines, load, short or antenna.
    """
    import skrf

    def build(
        design: PathDesign, end: str = "load", *, joints_db: dict[int, float] | None = None, low_hz: float = 1.6e9,
        high_hz: float = 2.3e9, points: int = 1001, noise_db: float = -75.0, seed: int = 1, file: str = "sweep.s1p",
        length_error_m: float = 0.0, good_db: float = 36.0, end_db: float | None = None, magnitude_only: bool = False,
    ) -> Sweep:  # fmt: skip
        f = np.linspace(low_hz, high_hz, points)
        frequency = skrf.Frequency.from_f(f, unit="hz")
        media: Any = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=1j * 2 * np.pi * f / 299_792_458.0)
        chain = None
        for k in range(len(design.joints)):
            rl = (joints_db or {}).get(k, good_db)
            r = 10 ** (-rl / 20)
            c = 2 * r / np.sqrt(1 - r * r) / (2 * np.pi * 2e9 * 50.0)
            one = media.shunt_capacitor(c)
            chain = one if chain is None else chain**one
            if k < len(design.sections):
                s = design.sections[k]
                a = s.a_db_per_m * np.sqrt(f / 1e9) + s.b_db_per_m * f / 1e9
                gamma = a / (20 / np.log(10)) + 1j * 2 * np.pi * f / (s.velocity_fraction * 299_792_458.0)
                cable = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=gamma)
                chain = chain ** cable.line(s.length_m + (length_error_m if k == 0 else 0.0), "m")
        if end == "antenna":  # matched in 1.69 to 2.7 GHz, wholly reflecting far outside
            inside = (f > 1.69e9) & (f < 2.7e9)
            size = np.where(inside, 10 ** (-(16.0 if end_db is None else end_db) / 20), 0.8)
            load = size * np.exp(-4j * np.pi * f * 1.5e-9)
        else:
            values = {"load": 10 ** (-(42.0 if end_db is None else end_db) / 20), "short": -1.0, "open": 1.0}
            load = np.full(f.shape, values[end], dtype=complex)
        assert chain is not None
        seen = (chain ** skrf.Network(frequency=frequency, s=load[:, None, None], z0=50.0)).s[:, 0, 0]
        rng = np.random.default_rng(seed)
        level = 10 ** (noise_db / 20) / np.sqrt(2)
        seen = seen + level * (rng.standard_normal(points) + 1j * rng.standard_normal(points))
        if magnitude_only:
            rows = "\n".join(f"{a:.1f} {abs(b):.9f} 0" for a, b in zip(f, seen, strict=True))
            return read_sweep(f"# Hz S MA R 50\n{rows}\n".encode(), file)
        rows = "\n".join(f"{a:.1f} {b.real:.9f} {b.imag:.9f}" for a, b in zip(f, seen, strict=True))
        return read_sweep(f"# Hz S RI R 50\n{rows}\n".encode(), file)

    return build


@pytest.fixture(scope="session")
def renamed() -> Callable[[Sweep, str], Sweep]:
    return lambda sweep, name: replace(sweep, file=name)
