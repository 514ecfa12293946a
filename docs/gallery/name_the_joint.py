"""
Read a sweep and name the joint to open first.

The sweep is made here: a jumper of the demonstration's line, its far joint loose, as a cascade of two-ports. Then it goes through
the same steps as a file from an instrument: match, set-up, limit, distance, joint. Give files to judge those instead.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from upmast.catalogue.catalogue import standard
from upmast.field.judge import judge_sweep
from upmast.field.match import match_sweep
from upmast.field.readers.touchstone import read_file, read_sweep
from upmast.line.save import load as load_line
from upmast.proof.prove import Proof, prove
from upmast.proof.rf_path import path_designs
from upmast.rf import input_gamma, join_s, joint_s, line_s, propagation_per_m
from upmast.site.load import load as load_site

ROOT = Path(__file__).resolve().parents[2]


def made(proof: Proof, path: str = "C2-J3", far_db: float = 14.0) -> bytes:
    """A one-port file of that path: a sound joint, the cable, a loose joint, a load of 42 dB."""
    cable = next(d for d in path_designs(proof.line) if d.id == path).sections[0]
    f = np.linspace(1.7e9, 2.7e9, 401)
    gamma = propagation_per_m(f, cable.velocity_fraction, cable.a_db_per_m, cable.b_db_per_m)
    chain = join_s(joint_s("shunt C", f, 36.0, 2e9), line_s(gamma, cable.length_m), joint_s("series L", f, far_db, 2e9))
    s11 = input_gamma(chain, np.full(f.size, 10 ** (-42 / 20)))
    rows = "\n".join(f"{hz:.0f} {g.real:.8f} {g.imag:.8f}" for hz, g in zip(f, s11, strict=True))
    return f"# Hz S RI R 50\n{rows}\n".encode()


def main(files: list[str] | None = None) -> None:
    folder = ROOT / "demo" / "site"
    proof = prove(load_site(folder / "site.yaml", standard()), load_line(folder).line, rooms=("rf",))
    sweeps = [read_file(Path(one)) for one in files or ()]
    for sweep in sweeps or [read_sweep(made(proof), "C2-J3.rl.load.s1p")]:
        match = match_sweep(proof, sweep)
        if match.decided is None:
            print(f"{sweep.file}: {match.question}")
            continue
        judged = judge_sweep(proof, sweep, match.decided.test_id)
        print(f"{sweep.file}, as {judged.test_id}: {judged.verdict}\n  {judged.sentence}")
        for peak in judged.located.peaks:
            print(f"  peak: {peak.words}")


if __name__ == "__main__":
    main(sys.argv[1:])
