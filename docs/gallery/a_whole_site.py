"""
A whole site in ten lines of Python: load, prove, the worst finding, its working.

The site is the demonstration's. Its line was planned from a radio plan with a wrong power, so its proof fails on purpose.
To plan a line instead of loading one: `from upmast.plan.plan import plan; line = plan(site, catalogue).best.line` (some seconds).
"""

from __future__ import annotations

import sys
from pathlib import Path

from upmast.catalogue.catalogue import standard
from upmast.line.save import load as load_line
from upmast.proof.prove import prove
from upmast.site.load import load as load_site
from upmast.working import FormulaStep, SolvedStep, Step

FOLDER = Path(__file__).resolve().parents[2] / "demo" / "site"


def tell(step: Step) -> None:
    """One step of a working in one line."""
    if isinstance(step, FormulaStep):
        r = step.result
        print(f"  {r.symbol} = {step.expression.text()} = {r.value:.5g} {r.unit}   ({r.meaning})")
    elif isinstance(step, SolvedStep):
        print(f"  solved: {', '.join(f'{q.symbol} = {q.value:.5g} {q.unit}' for q in step.results)}   ({step.method})")


def main(folder: Path = FOLDER) -> None:
    catalogue = standard()
    site = load_site(folder / "site.yaml", catalogue)
    line = load_line(folder).line
    proof = prove(site, line)
    worst = proof.worst
    assert worst is not None
    print(f"{site.id}, line revision {line.revision}: {proof.verdict()}, {len(proof.findings)} findings")
    print(
        f"worst: {worst.key} {worst.verdict}: {worst.value:.2f} {worst.unit}, margin {worst.margin:+.2f} {worst.unit}"
    )
    for step in proof.working(worst):
        tell(step)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
