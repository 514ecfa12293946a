"""
How long a proof takes: cold commands, a whole proof in process, and a re-proof after each of twelve edits.

    python benchmarks/prove.py

Ratios are against the start of Python in the same run. Nothing is asserted: the targets stand beside the numbers.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from upmast.catalogue.catalogue import standard
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Line
from upmast.line.save import load as load_line
from upmast.line.save import save
from upmast.plan.plan import plan
from upmast.proof.prove import prove
from upmast.site.load import load as load_site
from upmast.site.site import Radio, Site, SiteLimit

ROOT = Path(__file__).resolve().parent.parent


def cold(arguments: list[str], runs: int = 7) -> float:
    """Median wall time of a new process, s."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def best(work: Callable[[], object], runs: int = 9) -> float:
    """Best of some runs in this process, s."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def radio(site: Site, id: str, **update: object) -> Site:
    radios: tuple[Radio, ...] = tuple(r.model_copy(update=update) if r.id == id else r for r in site.radios)
    return site.model_copy(update={"radios": radios})


def item(line: Line, id: str, **update: object) -> Line:
    return replace(line, items=tuple(replace(i, **update) if i.id == id else i for i in line.items))  # type: ignore[arg-type]


def edits(site: Site, line: Line) -> dict[str, Callable[[], tuple[Site, Line]]]:
    """Twelve edits that people make, each giving a new site and line."""
    catalogue = standard()
    legs = site.route.legs
    longer = site.route.model_copy(
        update={"legs": (*legs[:-1], legs[-1].model_copy(update={"length_m": legs[-1].length_m + 5}))}
    )
    parts = {
        p: catalogue.part(p) for p in ("breaker-50", "hybrid-jumper-1x6-2f", "rf-jumper-12-43-43", "hybrid-12x25-72f")
    }
    known = replace(line, parts={**line.parts, **parts})
    breaker = next(i.id for i in line.items if i.kind == "breaker")
    jumper = next(i.id for i in line.items if i.kind in ("hybrid-jumper", "dc-jumper"))
    rf = next(i.id for i in line.items if i.kind == "rf-jumper")
    carriers = site.radios[4].carriers
    moved = (carriers[0].model_copy(update={"centre_hz": carriers[0].centre_hz + 5e6}), *carriers[1:])
    limit = SiteLimit(code="rf.return-loss-load", value=18.5, source="agreed for this benchmark, invented")
    climate = site.climate
    antenna = tuple(
        a.model_copy(update={"height_m": a.height_m + 0.2}) if a.id == "A-ANT" else a for a in site.antennas
    )
    return {
        "route leg 5 m longer": lambda: (site.model_copy(update={"route": longer}), item(line, "T1", length_m=65.0)),
        "radio power 1100 to 1150 W": lambda: (radio(site, "C2", maximum_w=1150.0), line),
        "radio 0.5 m higher": lambda: (radio(site, "C2", height_m=40.5), item(line, "C2", low_m=40.5, high_m=41.0)),
        "another DC jumper": lambda: (site, item(known, jumper, part="hybrid-jumper-1x6-2f")),
        "another breaker": lambda: (site, item(known, breaker, part="breaker-50")),
        "another trunk": lambda: (site, item(known, "T1", part="hybrid-12x25-72f")),
        "hottest air 38 to 40 °C": lambda: (
            site.model_copy(update={"climate": climate.model_copy(update={"hot_c": 40.0})}),
            line,
        ),
        "weaker sun": lambda: (
            site.model_copy(update={"climate": climate.model_copy(update={"sun_w_per_m2": 800.0})}),
            line,
        ),
        "a carrier 5 MHz higher": lambda: (radio(site, "B2", carriers=moved), line),
        "antenna 0.2 m higher": lambda: (site.model_copy(update={"antennas": antenna}), line),
        "a limit of the operator": lambda: (site.model_copy(update={"limits": (*site.limits, limit)}), line),
        "another RF jumper": lambda: (site, item(known, rf, part="rf-jumper-12-43-43")),
    }


def twelve(site: Site) -> tuple[Site, Line]:
    """The demonstration's site with twelve radios, on a line of two trunks."""
    more = tuple(
        r.model_copy(
            update={"id": f"{r.id}X", "antenna": None, "antenna_ports": (), "part": "radio-n78-panel", "carriers": ()}
        )
        for r in site.radios[:3]
    )
    big = site.model_copy(update={"radios": (*site.radios, *more)})
    radios = tuple(RadioChoice("breaker-50", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43") for _ in big.radios)
    return big, build(big, standard(), Choice("hybrid", radios, "hybrid-12x25-72f", 1, "box-straight-12-lc"))


def row(name: str, seconds: float, start_up: float, target: str = "") -> None:
    print(f"{name:44} {1000 * seconds:9.1f} ms {seconds / start_up:8.2f} x   {target}")


def main() -> None:
    print(f"load average {os.getloadavg()[0]:.2f}; Python {sys.version.split()[0]}\n")
    start_up = cold(["-c", "pass"])
    row("python -c pass (the reference)", start_up, start_up)
    catalogue = standard()
    folder = Path(tempfile.mkdtemp(prefix="upmast-bench-"))
    shutil.copy(ROOT / "demo" / "site" / "site.yaml", folder)
    site = load_site(folder / "site.yaml", catalogue)
    planned = plan(site, catalogue).best
    if planned is None:
        sys.exit("the demonstration's site has no line: nothing to measure")
    save(planned.line, folder)
    line = load_line(folder).line
    row("upmast --help, cold", cold(["-m", "upmast", "--help"]), start_up, "target 400 ms")
    row("upmast prove, 9 radios, cold", cold(["-m", "upmast", "prove", str(folder)]), start_up, "target 1500 ms")
    prove(site, line)
    row("whole proof, 9 radios, in process", best(lambda: prove(site, line)), start_up, "target 100 ms")
    big, big_line = twelve(site)
    prove(big, big_line)
    row("whole proof, 12 radios, in process", best(lambda: prove(big, big_line)), start_up, "target 100 ms")
    before = prove(site, line)
    worst = ("", 0.0)
    print("\nre-proof after an edit, making of the edited site and line included")
    for name, edit in edits(site, line).items():
        seconds = best(lambda edit=edit: prove(*edit(), before), 7)  # type: ignore[misc]
        reused = ", ".join(prove(*edit(), before).reused) or "nothing"
        row(f"  {name}", seconds, start_up, f"reused: {reused}")
        worst = max(worst, (name, seconds), key=lambda r: r[1])
    row(f"worst: {worst[0]}", worst[1], start_up, "target 50 ms")
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()
