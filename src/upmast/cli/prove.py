"""`upmast prove`: does the line of this folder hold?"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from upmast.cli.folder import CatalogueOption, FolderArgument, JsonOption, open_folder

if TYPE_CHECKING:
    from upmast.finding import Finding
    from upmast.proof.prove import Proof

CODES = {"passes": 0, "fails": 1, "not judged": 3}
SHOWN = 12


NO_WIND = "No wind is told (climate.wind, or climate.calm where there is none): no clamp is judged, and forces on the mast are left out."
CALM = "No wind, as declared (climate.calm): side loads of clamps and forces on the mast are left out of this proof."


def register(app: typer.Typer) -> None:
    @app.command("prove")
    def prove(
        folder: Path = FolderArgument,
        as_json: bool = JsonOption,
        every: bool = typer.Option(
            False, "--all", help="Show every finding and figure, not only what fails or is not judged."
        ),
        power: bool = typer.Option(
            False,
            "--power",
            help="Show the DC supply: volts, minutes and margins, who drops first, what other sizes would buy.",
        ),
        fibre: bool = typer.Option(
            False,
            "--fibre",
            help="Show the fibre: where light ends and why, budget and delay of each link, every way to lay each slack loop.",
        ),
        rf: bool = typer.Option(
            False,
            "--rf",
            help="Show the RF lines: would cutting a jumper to frequency help, what each takes, what its sweep will show.",
        ),
        pim: bool = typer.Option(
            False,
            "--pim",
            help="Show intermodulation: which product, in whose uplink, how loud, from which joint, what would help.",
        ),
        weather: bool = typer.Option(
            False,
            "--weather",
            help="Show the joints: torque and closure of each, caps, what boxes breathe, how often to look.",
        ),
        support: bool = typer.Option(
            False,
            "--support",
            help="Show the support: every clamp by height, what governs it, pull, swings, heat, and the loads for the structural engineer.",
        ),
        earth: bool = typer.Option(
            False,
            "--earth",
            help="Show earthing: every bond with its lead, the share of a stroke in each shield and its volts, protectors, tests.",
        ),
        built: bool = typer.Option(
            False, "--built", help="Prove the line as built: line.yaml with the changes of built.yaml."
        ),
        catalogue: list[Path] = CatalogueOption,
    ) -> None:
        """Prove the line of a site: volts, light, reflections, intermodulation, support, earthing, weather."""
        from upmast.proof.prove import prove as prove_line

        opened = open_folder(folder, catalogue)
        saved = opened.line()
        line = saved.line
        differences = None
        if built:
            from upmast.line.built import BUILT_FILE, load
            from upmast.line.compare import compare

            line = load(opened.path / BUILT_FILE, line, opened.catalogue)
            differences = compare(saved.line, line)
        proof = prove_line(opened.site, line)
        supply = None
        if power or as_json:
            from upmast.proof.supply import has_supply, supply_of

            supply = supply_of(proof, opened.catalogue) if has_supply(proof) else None
        light = None
        if fibre or as_json:
            from upmast.proof.light import has_light, light_of

            light = light_of(proof) if has_light(proof) else None
        jumpers = None
        if rf or as_json:
            from upmast.proof.jumpers import has_jumpers, jumpers_of

            jumpers = jumpers_of(proof) if has_jumpers(proof) else None
        mixes = None
        if pim or as_json:
            from upmast.proof.mixes import has_mixes, mixes_of

            mixes = mixes_of(proof) if has_mixes(proof) else None
        closings = None
        if weather or as_json:
            from upmast.proof.closing import closings_of, has_closings

            closings = closings_of(proof) if has_closings(proof) else None
        lines = None
        if support or as_json:
            from upmast.proof.mast_lines import has_mast_lines, mast_lines_of

            lines = mast_lines_of(proof) if has_mast_lines(proof) else None
        ground = None
        if earth or as_json:
            from upmast.proof.earth_plan import earth_of, has_earth

            ground = earth_of(proof) if has_earth(proof) else None
        if as_json:
            data = as_data(proof)
            if closings is not None:
                from upmast.proof.closing import closings_data

                data["weather"] = closings_data(closings)
            if lines is not None:
                from upmast.proof.mast_lines import mast_data

                data["support"] = mast_data(lines)
            if ground is not None:
                from upmast.proof.earth_words import earth_data

                data["earth"] = earth_data(ground)
            if mixes is not None:
                from upmast.proof.mixes import mixes_data

                data["pim"] = mixes_data(mixes)
            if jumpers is not None:
                from upmast.proof.jumpers import jumpers_data

                data["rf"] = jumpers_data(jumpers)
            if light is not None:
                from upmast.proof.light_words import light_data

                data["fibre"] = light_data(light)
            if supply is not None:
                from upmast.proof.supply_words import supply_data

                data["supply"] = supply_data(supply)
            data["edited"] = saved.edited
            if differences is not None:
                data["differences"] = [{"item": d.item, "field": d.field, "words": d.words} for d in differences]
            typer.echo(json.dumps(data, ensure_ascii=False, indent=1))
        else:
            if differences is not None:
                _differences(differences)
            if supply is not None:
                from upmast.cli.show import console
                from upmast.cli.supply import show_supply

                show_supply(console(), supply)
            if light is not None:
                from upmast.cli.light import show_light
                from upmast.cli.show import console

                show_light(console(), light, every)
            if jumpers is not None:
                from upmast.cli.jumpers import show_jumpers
                from upmast.cli.show import console

                show_jumpers(console(), jumpers, every)
            if mixes is not None:
                from upmast.cli.mixes import show_mixes
                from upmast.cli.show import console

                show_mixes(console(), mixes, every)
            if closings is not None:
                from upmast.cli.closings import show_closings
                from upmast.cli.show import console

                show_closings(console(), closings, every)
            if lines is not None:
                from upmast.cli.mast_lines import show_mast_lines
                from upmast.cli.show import console

                show_mast_lines(console(), lines, every)
            if ground is not None:
                from upmast.cli.earth import show_earth
                from upmast.cli.show import console

                show_earth(console(), ground, every)
            show(proof, saved.edited, every)
        raise typer.Exit(CODES[str(proof.verdict())])


def _differences(differences: tuple[object, ...]) -> None:
    from upmast.cli.show import console
    from upmast.line.compare import summary

    out = console()
    out.print(f"As built against as designed: {summary(differences)}", style="bold")  # type: ignore[arg-type]
    for one in differences[:40]:
        out.print(f"  {one.words}")  # type: ignore[attr-defined]
    out.print()


def show(proof: Proof, edited: bool = False, every: bool = False) -> None:
    """Print a proof: the verdict, the rooms, what needs a person, and the cautions."""
    from rich.table import Table
    from rich.text import Text

    from upmast.cli.show import console, findings_table, headline, room_table, tell
    from upmast.codes import ROOM_TITLES
    from upmast.finding import Verdict
    from upmast.number import number

    out = console()
    out.print(headline(proof, edited))
    out.print()
    out.print(room_table(proof))
    out.print()
    for figure in proof.figures:
        if figure.code == "power.first-drop":
            out.print(
                f"First to drop: {figure.subject}, at a bus voltage of {number(figure.value, figure.unit)}. The DC supply in full: upmast prove --power",
                style="dim",
            )
            out.print()

    def share(f: object) -> float:
        value = getattr(f, "normalised_margin", None)
        return float(value) if value is not None else -9.0

    for verdict in (Verdict.FAILS, Verdict.NOT_JUDGED):
        mine = _alike(sorted((f for f in proof.at() if f.verdict is verdict), key=share))
        shown = mine if every else mine[:SHOWN]
        for n, (f, where) in enumerate(shown):
            table = findings_table([replace(f, subject=where)])
            table.show_header = n == 0
            out.print(table)
            tell(out, f)
        if len(mine) > len(shown):
            out.print(f"    and {len(mine) - len(shown)} more that are {verdict}: upmast prove --all", style="dim")
        if mine:
            out.print()
    if every:
        out.print(findings_table([f for f in proof.at() if f.verdict is Verdict.PASSES], "Passes"))
        out.print()
        out.print("Figures (values without a limit)", style="bold")
        for figure in proof.figures:
            out.print(f"  {figure.key:44} {number(figure.value, figure.unit):>14}  {figure.note}")
        out.print()
    if "support" in proof.rooms and proof.site.climate.wind is None:
        out.print(f"{NO_WIND}\n", style="yellow")
    elif "support" in proof.rooms and proof.site.climate.calm:
        out.print(f"{CALM}\n", style="dim")
    for words in own_limits(proof):
        out.print(words, style="yellow" if "not in force" in words or "looser" in words else "dim")
    if proof.site.limits:
        out.print()
    out.print("Cautions", style="bold")
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 2))
    for room, cautions in proof.cautions.items():
        for n, caution in enumerate(cautions if every else cautions[:1]):
            more = (
                f" (and {len(cautions) - 1} more: --all, and in every document)"
                if len(cautions) > 1 and not every
                else ""
            )
            table.add_row(
                Text(ROOM_TITLES.get(room, room) if n == 0 else "", style="dim"), Text(caution + more, style="dim")
            )
    out.print(table)
    key = proof.worst.key if proof.worst is not None else "CODE@ITEM"
    out.print(f"\nThe working of any number: upmast explain {key}", style="dim")


def _alike(findings: list[Finding]) -> list[tuple[Finding, str]]:
    """Findings of one code that say the same about several items, with all their items named once."""
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for f in findings:
        value = round(f.value, 4) if f.value is not None else None
        limit = round(f.limit.value, 4) if f.limit is not None else None
        groups.setdefault(
            (f.code, value, limit, f.scenario, f.note if f.value is None or f.missing else "", f.missing), []
        ).append(f)
    out = []
    for same in groups.values():
        names = sorted(f.subject for f in same)
        out.append(
            (
                same[0],
                names[0]
                if len(names) == 1
                else f"{names[0]} and {len(names) - 1} more"
                if len(names) > 4
                else ", ".join(names),
            )
        )
    return out


def own_limits(proof: Proof) -> list[str]:
    """What became of each limit that the site gives: in force, or overruled by a tighter one."""
    from upmast.codes import codes
    from upmast.number import number

    out = []
    for asked in proof.site.limits:
        mine = [f for f in proof.findings if f.code == asked.code and f.limit is not None]
        unit = codes()[asked.code].unit
        name = f"limit of the site: {asked.code}" + (
            f" {number(asked.value, unit)}" if asked.value is not None else " confirmed"
        )
        held = [f for f in mine if f.limit is not None and (asked.value is None or f.limit.value == asked.value)]
        if asked.value is None or len(held) == len(mine):
            looser = sum("looser than" in f.note for f in held)
            out.append(name + (f", looser than the data sheet of {looser} radio(s)" if looser else ""))
        else:
            tighter = next(f for f in mine if f not in held)
            assert tighter.limit is not None
            out.append(
                f"{name} is not in force at {len(mine) - len(held)} of {len(mine)}: {number(tighter.limit.value, unit)} is tighter, {tighter.limit.source}"
            )
    return out


def as_data(proof: Proof) -> dict[str, object]:
    """A proof as plain data."""
    from upmast.cli.show import finding_data

    return {
        "site": proof.site.id, "revision": proof.line.revision, "layer": str(proof.line.layer), "digest": proof.line.digest,
        "verdict": str(proof.verdict()), "findings": [finding_data(f) for f in proof.findings],
        "figures": [finding_data(f) for f in proof.figures], "cautions": {room: list(c) for room, c in proof.cautions.items()}, "own_limits": own_limits(proof),
        "scenarios": [{"id": s.id, "title": s.title, "bus_v": s.bus_v, "ambient_c": s.ambient_c, "load_fraction": s.load_fraction} for s in proof.scenarios],
    }  # fmt: skip
