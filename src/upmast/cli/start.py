"""`upmast start`: a new site folder, empty or from a radio list."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from upmast.cli.folder import JsonOption
from upmast.errors import UsageError

if TYPE_CHECKING:
    from upmast.catalogue.catalogue import Catalogue
    from upmast.errors import Fault
    from upmast.site.sheet_sites import Drafts
    from upmast.site.spreadsheet import Preview

MEMORY_FILE = "import.yaml"
MOST_SHOWN = 20


def register(app: typer.Typer) -> None:
    @app.command("start")
    def start(
        folder: Path = typer.Argument(
            help="Folder to be made. Its name becomes the id of the site; with several sites it holds one folder each."
        ),
        radios: Path | None = typer.Option(
            None, "--radios", help="Radio list (.xlsx or .csv) to bring in; shows how it is read, writes with --yes."
        ),
        yes: bool = typer.Option(False, "--yes", help="The reading that was shown is right: write the sites."),
        column: list[str] = typer.Option(
            [], "--column", help="Decide a column: F=maximum_w, or G= for not used; may be repeated."
        ),
        model: list[str] = typer.Option(
            [], "--model", help="Decide a model name: 'Type A=radio-mid-4t4r'; may be repeated."
        ),
        skip_faulty: bool = typer.Option(False, "--skip-faulty", help="Leave faulty rows out, and say which."),
        antennas: bool = typer.Option(
            False,
            "--stand-in-antennas",
            help="Give radios without an antenna one of the catalogue that fits, and say so.",
        ),
        catalogue: list[Path] = typer.Option([], "--catalogue", help="A catalogue of your own; may be repeated."),
        as_json: bool = JsonOption,
    ) -> None:
        """Make a new site folder with a commented site.yaml, or several from a radio list."""
        if radios is None:
            if column or model or skip_faulty or antennas or yes:
                raise UsageError("--yes, --column, --model, --skip-faulty and --stand-in-antennas go with --radios")
            _empty(folder, as_json)
            return
        known = _catalogue(catalogue)
        seen, drafts, faults = _read(radios, folder, column, model, known, skip_faulty, antennas, yes)
        written = _write(folder, seen, drafts) if yes and drafts is not None else []
        if as_json:
            data: dict[str, Any] = {"preview": seen.as_data(), "written": [str(path) for path in written]}
            data["faults"] = [fault.as_data() for fault in faults]
            if drafts is not None:
                data["sites"] = [draft.as_data() for draft in drafts.values()]
                data["left_out"] = list(drafts.left_out)
            typer.echo(json.dumps(data, ensure_ascii=False, indent=1, default=str))
        else:
            _show(seen, drafts, written, faults)
        raise typer.Exit(0 if drafts is not None else 2)


def _empty(folder: Path, as_json: bool) -> None:
    """A folder with the commented example."""
    from upmast.atomic import write_text
    from upmast.site.sheet_ids import make_id
    from upmast.site.template import template

    place = folder / "site.yaml"
    if place.exists():
        raise UsageError(f"{place} is there already; nothing was changed. Take another folder, or edit that file")
    name = folder.resolve().name
    id = make_id(name) or "S1TE"
    write_text(place, template(id, name if id != name else ""))
    if as_json:
        typer.echo(json.dumps({"written": [str(place)], "site": id}))
        return
    typer.echo(
        f"wrote {place}, site id {id}" + ("" if id == name else f" (made of {name!r}: an id has no I, O or lower case)")
    )
    typer.echo("  1  put the site's own values in: each line says what it is")
    typer.echo(f"  2  upmast plan {folder}     finds the best line and says why")
    typer.echo(f"  3  upmast prove {folder}    does it hold?")


def _catalogue(own: list[Path]) -> Catalogue:
    from upmast.catalogue.catalogue import load, standard

    return standard().merged(load(*own)) if own else standard()


def _pairs(given: list[str], what: str) -> dict[str, str]:
    out = {}
    for one in given:
        key, sign, value = one.partition("=")
        if not sign or not key.strip():
            raise UsageError(f"{one!r}: write {what}")
        out[key.strip()] = value.strip()
    return out


def _read(
    radios: Path, folder: Path, column: list[str], model: list[str], known: Catalogue, skip_faulty: bool, antennas: bool, strict: bool
) -> tuple[Preview, Drafts | None, tuple[Fault, ...]]:  # fmt: skip
    """The reading, and the drafts; none where faults stop them and only the preview is wanted."""
    from upmast.errors import InputFaults
    from upmast.site.spreadsheet import Memory, load_memory, read, to_sites

    memory_file = folder / MEMORY_FILE
    memory = load_memory(memory_file) if memory_file.exists() else Memory()
    models = _pairs(model, "the name of the list, =, and a part of the catalogue")
    if models:
        memory = Memory.model_validate({**memory.model_dump(), "models": {**memory.models, **models}})
    mapping = {key: value or None for key, value in _pairs(column, "a column letter, =, and a field").items()}
    seen = read(radios, known, memory, mapping)
    try:
        return seen, to_sites(seen, known, skip_faulty=skip_faulty, stand_in_antennas=antennas), ()
    except InputFaults as error:
        if strict:
            raise
        return seen, None, error.faults


def _write(folder: Path, seen: Preview, drafts: Drafts) -> list[Path]:
    """All sites or none: every text is made and every place looked at before the first is written."""
    from upmast.atomic import write_text
    from upmast.site.spreadsheet import save_memory
    from upmast.site.template import template

    if not drafts:
        raise UsageError("the list has no radio that could be read; nothing was written")
    places = {id: (folder if len(drafts) == 1 else folder / id) / "site.yaml" for id in drafts}
    taken = [str(place) for place in places.values() if place.exists()]
    if taken:
        raise UsageError(f"{', '.join(taken[:5])} there already; nothing was changed. Take another folder")
    texts = {id: template(id, draft.name, draft) for id, draft in drafts.items()}
    for id, text in texts.items():
        write_text(places[id], text)
    save_memory(folder / MEMORY_FILE, seen.remembered())
    return [*places.values(), folder / MEMORY_FILE]


def _show(seen: Preview, drafts: Drafts | None, written: list[Path], faults: tuple[Fault, ...]) -> None:
    from upmast.cli.show import console

    out = console()
    for line in seen.lines():
        out.print(line, soft_wrap=True)
    out.print()
    if drafts is None:
        out.print(
            f"{len(faults)} fault(s), so nothing was written. Mend the list, decide columns with --column F=maximum_w and models with "
            "--model 'NAME=PART', or leave faulty rows out with --skip-faulty:",
            style="bold yellow",
        )
        for fault in faults[:MOST_SHOWN]:
            out.print(f"  {fault}", soft_wrap=True)
        if len(faults) > MOST_SHOWN:
            out.print(f"  and {len(faults) - MOST_SHOWN} more: --json has all", style="dim")
        return
    for line in drafts.lines():
        out.print(line, soft_wrap=True)
    if written:
        out.print(
            f"\nwrote {len(written)} file(s): {', '.join(str(p) for p in written[:6])}"
            + (" ..." if len(written) > 6 else ""),
            style="green",
        )
        out.print(
            "Plant, route and mast in them are examples: put the site's own values in before anything is judged by them."
        )
    else:
        out.print(
            "\nnothing was written yet. If the reading is right, give the same command with --yes added",
            style="bold",
        )
