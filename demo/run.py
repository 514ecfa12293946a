"""
The demonstration: an invented coast site goes from a line that fails to a planned, proven and documented one, and its files from
the mast are judged. It runs the same commands as a person would, in a copy of demo/site, and ends with 0 if each ends as it should.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
from pathlib import Path

from upmast.cli.run import run

HERE = Path(__file__).resolve().parent
OUT = HERE / "out"
RULE = "─" * 110


def step(title: str, arguments: list[str], expected: int, lines: int = 200, until: str = "") -> bool:
    """Run one command, show the first lines of what it prints (or those before a mark), and compare its exit code."""
    print(f"\n{RULE}\n{title}\n{RULE}\n$ upmast {' '.join(arguments)}\n")
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        code = run(arguments)
    text = said.getvalue()
    if until and until in text:
        text = text.split(until)[0].rstrip() + "\n"
    rows = text.splitlines()
    print("\n".join(rows[:lines]))
    if len(rows) > lines:
        print(f"  ... {len(rows) - lines} lines more")
    fine = code == expected
    print(f"\n[exit code {code}, {'as expected' if fine else f'but {expected} was expected'}]")
    return fine


def main() -> int:
    shutil.rmtree(OUT, ignore_errors=True)
    site = OUT / "NESS-PT"
    shutil.copytree(HERE / "site", site)
    folder = str(site.relative_to(Path.cwd())) if site.is_relative_to(Path.cwd()) else str(site)
    sweeps = str((HERE / "field").relative_to(Path.cwd())) if HERE.is_relative_to(Path.cwd()) else str(HERE / "field")
    print("upmast, the demonstration. Site, parts and files from the mast are invented.")
    shutil.copyfile(HERE / "as-built.yaml", site / "built.yaml")
    steps = [
        step(
            "1  The line that stands was planned from a radio plan that gave a typical draw as the highest. Does it hold?",
            ["prove", folder], 1,
        ),
        step(
            "2  Which radio drops out first, at what bus voltage, and how many battery minutes does this cable cost?",
            ["prove", folder, "--power"], 1, until="\n◆ fails",
        ),
        step("3  Plan it again from the plan put right: the best line that passes, and what was left out", ["plan", folder], 0),
        step("4  Does the new line hold?", ["prove", folder], 0, until="\nCautions"),
        step("5  Where does one number come from?", ["explain", "power.voltage-at-radio@C2", "-f", folder], 0, lines=34),
        step(
            "6  Would it help to cut the RF jumpers to frequency?", ["prove", folder, "--rf"], 0, until="\nWhat the line takes",
        ),
        step(
            "7  Which product of the carriers falls into whose uplink, and from which joint?", ["prove", folder, "--pim"], 0, until="\n● passes",
        ),
        step("8  The documents", ["pack", folder], 0),
        step("9  Sweeps, tables and a photo came back from the mast. What has to be done again while somebody is up?", ["judge", sweeps, "-f", folder, "--pictures", f"{folder}/pictures"], 1),
        step(
            "10  The crew wrote down how it joined the plugs. Does light still find its radio, and if not, what would put it right?",
            ["prove", folder, "--built", "--fibre"], 1, until="\nSlack loops",
        ),
    ]  # fmt: skip
    print(f"\n{RULE}")
    if not all(steps):
        print("The demonstration did not go as it should: see the exit codes above.")
        return 1
    print(
        "In short: the old line failed, and the proof said where and by how much; the plan found a line that passes, with"
    )
    print(
        "no gap to the best; cutting jumpers to frequency would gain nothing, and one product lies in an own uplink; one joint is"
    )
    print(
        "bad and named, a load was left on, two names exchanged, one velocity set wrongly; three links end at wrong ports, plugs named."
    )
    print(f"\n  site folder            {folder}/")
    print(f"  documents              {folder}/pack/        start with drawing.svg and calculation-sheet.pdf")
    print(f"  pictures of sweeps     {folder}/pictures/")
    print(f"  next                   upmast prove {folder} --all      (in .venv/bin)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
