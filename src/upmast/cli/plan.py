"""`upmast plan`: the best line for a site, and why."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from upmast.cli.folder import CatalogueOption, FolderArgument, JsonOption, SiteFolder, open_folder
from upmast.errors import UsageError
from upmast.finding import Verdict

if TYPE_CHECKING:
    from upmast.line.line import Line
    from upmast.plan.plan import Plan

SHOWN = 14


def register(app: typer.Typer) -> None:
    @app.command("plan")
    def plan(
        folder: Path = FolderArgument,
        as_json: bool = JsonOption,
        dry_run: bool = typer.Option(False, "--dry-run", help="Show the ranking; write nothing."),
        replace: bool = typer.Option(False, "--replace", help="Overwrite a line.yaml that was edited by hand."),
        every: bool = typer.Option(False, "--all", help="Show every kind of line that was left out."),
        catalogue: list[Path] = CatalogueOption,
    ) -> None:
        """Find the best line that passes every limit, rank the others, and write line.yaml."""
        from upmast.cli.progress import progress
        from upmast.plan.plan import plan as make_plan

        opened = open_folder(folder, catalogue)
        before, edited = _before(opened)
        if edited and not replace and not dry_run:
            raise UsageError(
                f"{folder / 'line.yaml'} was edited by hand since it was planned; nothing was changed. Keep it, or overwrite it with --replace"
            )
        with progress(not as_json) as tell:
            made = make_plan(opened.site, opened.catalogue, tell)
        line = None
        if made.best is not None:
            from upmast.line.save import revised, save

            line = revised(made.best.line, before)
            if not dry_run:
                save(line, opened.path)
        if as_json:
            typer.echo(json.dumps(as_data(made, line, before), ensure_ascii=False, indent=1))
        else:
            show(made, line, before, opened.path, dry_run, every)
        raise typer.Exit(0 if made.best is not None else 1)


def _before(opened: SiteFolder) -> tuple[Line | None, bool]:
    """The line that stands in the folder, and whether a person edited it."""
    from upmast.line.save import LINE_FILE

    if not (opened.path / LINE_FILE).exists():
        return None, False
    saved = opened.line()
    return saved.line, saved.edited or not saved.written_digest


def show(made: Plan, line: Line | None, before: Line | None, folder: Path, dry_run: bool, every: bool) -> None:
    """Print a plan: what was chosen and why, the ranking, what was left out."""
    from rich.table import Table
    from rich.text import Text

    from upmast.cli.show import console, findings_table, tell
    from upmast.number import number
    from upmast.plan.plan import WORDS, advice

    out = console()
    word = WORDS[made.objective]
    if made.best is None:
        out.print(Text("◆ no line passes every limit", style="bold red"))
        if made.nearest is not None:
            out.print(f"\nNearest: {made.nearest.choice.words}", style="bold")
            for n, finding in enumerate(advice(made.nearest)[:8]):
                table = findings_table([finding])
                table.show_header = n == 0
                out.print(table)
                tell(out, finding)
        _left_out(out, made)
    else:
        cost = made.best.cost
        out.print(Text("● planned", style="green").append(f"  {made.best.choice.words}", style="bold"))
        out.print(
            f"  {word} {number(made.value, made.unit)}: parts {cost.capital_cost:.0f}, labour {number(cost.labour_h, 'h')}, "
            f"{number(cost.energy_kwh, 'kWh')} a year lost, {cost.cables_on_mast} cable(s) on the mast, {number(cost.mass_kg, 'kg')}, "
            f"{number(cost.lead_time_d, 'd')} to delivery"
        )
        out.print(f"  why: {made.why}")
        for words in not_judged(made):
            out.print(f"  ◇ {words}", style="yellow")
        out.print()
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name, side in (
        ("", "left"),
        ("kind of line", "left"),
        (word, "right"),
        ("dearer by", "right"),
        ("best of the kind, or what stops it", "left"),
    ):
        table.add_column(name, justify=side, header_style="dim")  # type: ignore[arg-type]
    groups = made.groups if every else made.groups[:SHOWN]
    styles = {"chosen": "green", "feasible": "", "bound": "dim", "fails": "red"}
    signs = {"chosen": "● chosen", "feasible": "○ passes", "bound": "○ not below", "fails": "◆ fails"}
    for g in groups:
        table.add_row(
            Text(signs[g.state], style=styles[g.state]), g.name, f"{g.value:.0f}" if g.value is not None else "-",
            f"{g.dearer:.0f}" if g.dearer else "-", g.words or g.title,
        )  # fmt: skip
    out.print(table)
    if len(made.groups) > len(groups):
        out.print(f"  and {len(made.groups) - len(groups)} more kinds: upmast plan --all --dry-run", style="dim")
    out.print()
    proven = (
        "gap 0: no line of this catalogue passes for less"
        if made.exact
        else f"not exhausted: a better line could be at most {number(made.gap, made.unit)} below"
        if made.best is not None
        else "stopped, since none of these passed"
    )
    out.print(
        f"  {made.counted} combinations of trunk and box, {made.dominated} never better than another, {made.sieved_out} of {made.systems} stopped by a bound, "
        f"{made.proofs} lines proven; {proven}",
        style="dim",
    )
    if made.best is not None:
        _left_out(out, made)
    if made.best is not None and line is not None:
        if before is not None:
            from upmast.line.compare import compare, summary

            out.print(f"  against revision {before.revision}: {summary(compare(before, line))}")
        if dry_run:
            out.print("  dry run: nothing was written", style="dim")
        else:
            out.print(
                f"  wrote {folder / 'line.yaml'} revision {line.revision} and {folder / 'parts.yaml'}; next: upmast prove {folder}"
            )


def not_judged(made: Plan) -> list[str]:
    """What the chosen line is not judged by, one line for each thing that is missing."""
    if made.best is None:
        return []
    lacking: dict[str, list[str]] = {}
    for f in made.best.proof.at():
        if f.verdict is Verdict.NOT_JUDGED:
            lacking.setdefault(f.missing[0] if f.missing else "no limit", []).append(f.key)
    return [
        f"not judged: {len(keys)} finding(s), {keys[0]}{' ...' if len(keys) > 1 else ''}; missing: {words}"
        for words, keys in lacking.items()
    ]


def _left_out(out: Any, made: Plan) -> None:
    for why, count in sorted(made.left_out.items(), key=lambda row: -row[1]):
        out.print(f"  {count} left out: {why}", style="dim")


def as_data(made: Plan, line: Line | None, before: Line | None) -> dict[str, object]:
    """A plan as plain data."""
    from upmast.cli.show import finding_data
    from upmast.plan.plan import advice

    best = made.best
    return {
        "objective": made.objective, "unit": made.unit, "value": made.value,
        "chosen": None if best is None else best.choice.words,
        "revision": None if line is None else line.revision, "revision_before": None if before is None else before.revision,
        "cost": None if best is None else {name: getattr(best.cost, name) for name in best.cost.__slots__},
        "groups": [{name: getattr(g, name) for name in g.__slots__} for g in made.groups],
        "counted": made.counted, "systems": made.systems, "dominated": made.dominated, "stopped_by_bound": made.sieved_out,
        "proofs": made.proofs, "gap": made.gap, "exact": made.exact, "left_out": made.left_out, "rf": list(made.rf_words), "why": made.why,
        "reasons": {} if line is None else {i.id: i.reason for i in line.items if i.reason},
        "not_judged": not_judged(made),
        "nearest": None if made.nearest is None else {"choice": made.nearest.choice.words, "fails": [finding_data(f) for f in advice(made.nearest)]},
    }  # fmt: skip
