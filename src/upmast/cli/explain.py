"""`upmast explain`: the working of one finding or figure."""

from __future__ import annotations

import json
from pathlib import Path

import typer

from upmast.cli.folder import CatalogueOption, JsonOption, open_folder


def register(app: typer.Typer) -> None:
    @app.command("explain")
    def explain(
        key: str = typer.Argument(
            help="Key of a finding, CODE@ITEM, e.g. power.voltage-at-radio@C3; CODE or ITEM alone if only one has it; cost for the life cost."
        ),
        folder: Path = typer.Option(
            Path("."), "--folder", "-f", help="Folder of the site.", show_default="this folder"
        ),
        as_json: bool = JsonOption,
        catalogue: list[Path] = CatalogueOption,
    ) -> None:
        """Show how one number was made: formulas, values, origin and source of each."""
        from upmast.cli.show import console, finding_data, findings_table, show_steps, steps_data, tell
        from upmast.codes import codes
        from upmast.finding import Finding
        from upmast.number import number
        from upmast.proof.prove import prove

        opened = open_folder(folder, catalogue)
        proof = prove(opened.site, opened.line().line)
        out = console()
        if key == "cost":
            from upmast.plan.cost import working
            from upmast.plan.plan import cost_of_line

            cost = cost_of_line(opened.site, proof.line, proof)
            steps = working(opened.site, cost)
            if as_json:
                typer.echo(json.dumps({"key": "cost", "working": steps_data(steps)}, ensure_ascii=False, indent=1))
            else:
                out.print(f"Life cost of the line: {number(cost.life_cost, 'cost units')}\n", style="bold")
                show_steps(out, steps)
            raise typer.Exit
        found = proof.find(key)
        made = proof.working(found)
        if as_json:
            typer.echo(json.dumps(finding_data(found) | {"working": steps_data(made)}, ensure_ascii=False, indent=1))
            raise typer.Exit
        code = codes()[found.code]
        out.print(f"{found.key}", style="bold")
        out.print(f"{code.title}. {code.meaning}\n")
        if isinstance(found, Finding):
            out.print(findings_table([found]))
            tell(out, found)
            if found.limit is not None:
                limit = found.limit
                out.print(
                    f"    limit: {limit.sense} {number(limit.value, limit.unit)}, set by {limit.authority}; {limit.source}",
                    style="dim",
                )
        else:
            out.print(f"{number(found.value, found.unit)}  {found.note}")
        scenario = next((s for s in proof.scenarios if s.id == found.scenario), None)
        if scenario is not None:
            out.print(
                f"    {scenario.id}: {scenario.title}; plant {scenario.bus_v:g} V, air {scenario.ambient_c:g} °C, load {scenario.load_fraction:.0%}",
                style="dim",
            )
        out.print()
        show_steps(out, made)
