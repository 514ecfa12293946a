"""`upmast pack`: the documents of a site."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import typer

from upmast.cli.folder import CatalogueOption, FolderArgument, JsonOption, open_folder
from upmast.errors import UsageError


def clock() -> datetime:
    """Now; or the time that SOURCE_DATE_EPOCH gives, so that a pack can be made again byte for byte."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    if fixed:
        try:
            return datetime.fromtimestamp(int(fixed), UTC)
        except (ValueError, OverflowError, OSError):
            raise UsageError(
                f"SOURCE_DATE_EPOCH is {fixed[:40]!r}: give seconds since 1970 as a whole number"
            ) from None
    return datetime.now(UTC).replace(microsecond=0)


def _stale(folder: Path) -> list[str]:
    """Whether the pack was issued from another line than the one that stands in the folder now."""
    from upmast.documents.pack import FOLDER, MANIFEST
    from upmast.line.save import LINE_FILE, load

    try:
        issued = json.loads((folder / FOLDER / MANIFEST).read_text("utf-8"))
        was = str(issued["line_digest"])
        if not (folder / LINE_FILE).exists():
            return []
        line = load(folder).line
    except (OSError, ValueError, KeyError, TypeError):
        return []
    if line.digest == was:
        return []
    return [
        f"issued from line revision {issued.get('line_revision')}; the folder now holds another line, revision {line.revision}: make the pack again"
    ]


def register(app: typer.Typer) -> None:
    @app.command("pack")
    def pack(
        folder: Path = FolderArgument,
        as_json: bool = JsonOption,
        check: bool = typer.Option(
            False, "--check", help="Compare the files of the pack with its manifest; make nothing."
        ),
        catalogue: list[Path] = CatalogueOption,
    ) -> None:
        """Make the pack: kit list, port map, drawing, calculation sheet, test plan, manifest."""
        from upmast.cli.progress import progress
        from upmast.cli.prove import CODES
        from upmast.cli.show import console
        from upmast.documents.pack import FOLDER, verify_pack, write_pack
        from upmast.proof.prove import prove

        out = console()
        if check:
            differences = [*verify_pack(folder / FOLDER), *_stale(folder)]
            if as_json:
                typer.echo(json.dumps({"differences": differences}, ensure_ascii=False, indent=1))
            elif differences:
                out.print(f"{len(differences)} difference(s) from the manifest:", style="bold red")
                for one in differences:
                    out.print(f"  {one}")
            else:
                out.print("every file is as the manifest says", style="green")
            raise typer.Exit(1 if differences else 0)
        opened = open_folder(folder, catalogue)
        proof = prove(opened.site, opened.line().line)
        with progress(not as_json) as tell:
            manifest = write_pack(opened.path, proof, clock=clock, progress=tell, catalogue=opened.catalogue)
        verdict = str(proof.verdict())
        if as_json:
            typer.echo(
                json.dumps({"folder": str(opened.path / FOLDER), "manifest": manifest}, ensure_ascii=False, indent=1)
            )
        else:
            out.print(
                f"pack of {opened.site.id}, line revision {proof.line.revision}, in {opened.path / FOLDER}/",
                style="bold",
            )
            for name, row in manifest["files"].items():
                out.print(f"  {name:28} {row['bytes'] / 1000:8.1f} kB  {row['sha256'][:12]}")
            if verdict != "passes":
                out.print(f"  stamped 'not for issue': the design verdict is {verdict}", style="bold yellow")
        raise typer.Exit(CODES[verdict])
