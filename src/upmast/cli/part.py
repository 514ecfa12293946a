"""`upmast part`: a part as text for parts.yaml, from the generic catalogue or from a measurement."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer
from pydantic import ValidationError

from upmast.cli.folder import CatalogueOption

if TYPE_CHECKING:
    from upmast.catalogue.catalogue import Catalogue
    from upmast.catalogue.part import Part

MOST_ROWS = 101
MOST_GAIN = 1.02  # size of S21 of something passive, and what an instrument is off by


def register(app: typer.Typer) -> None:
    @app.command("part")
    def part(
        id: str = typer.Argument(help="Part of the catalogue, or the name of the new one."),
        measured: Path | None = typer.Option(
            None,
            "--measured",
            help="Sweep of an antenna port (.s1p), or of a two-port (.s2p).",
            exists=True,
            dir_okay=False,
        ),
        like: str = typer.Option(
            "", "--like", help="Part of the catalogue that gives all other values of the new one."
        ),
        port: str = typer.Option("", "--port", help="Antennas: the port that was measured, e.g. R1."),
        catalogue: list[Path] = CatalogueOption,
    ) -> None:
        """Print a part for parts.yaml: one of the catalogue with its connectors, or one made from a measurement."""
        from upmast import yamlfile
        from upmast.catalogue import catalogue as catalogues

        known = catalogues.load(*catalogue) if catalogue else catalogues.standard()
        rows = _measured(known, id, measured, like, port) if measured is not None else _listed(known, id)
        for row in rows:
            typer.echo(f"  - {yamlfile.flow(row)}")


def _listed(known: Catalogue, id: str) -> list[dict[str, Any]]:
    """A part, and the connectors that it names."""
    found = known.part(id)
    names = [v for v in found.model_dump().values() if isinstance(v, str) and v in known and v != id]
    return [
        one.model_dump(mode="json", exclude_unset=True)
        for one in (found, *(known.part(n) for n in dict.fromkeys(names)))
    ]


def _measured(known: Catalogue, id: str, file: Path, like: str, port: str) -> list[dict[str, Any]]:
    from upmast.catalogue.part import AntennaPart, RfInline
    from upmast.errors import UsageError
    from upmast.field.readers.touchstone import read_sweep, read_two_port
    from upmast.field.readers.touchstone_head import MOST_BYTES
    from upmast.rf.inline import inline_rows, reflection_rows

    base: Part = known.part(like or id)
    with file.open("rb") as stream:
        data = stream.read(MOST_BYTES + 1)
    values = base.model_dump(mode="json", exclude_unset=True) | {"id": id}
    sources = dict(values.get("sources", {}))
    if isinstance(base, RfInline):
        found = read_two_port(data, file.name)
        through = max(float(abs(found.s[:, 1, 0]).max()), float(abs(found.s[:, 0, 1]).max()))
        if through > MOST_GAIN:
            raise UsageError(
                f"{file.name} amplifies: {20 * math.log10(through):.1f} dB from port to port at its best. A two-port of the line is passive: measure "
                "it bypassed, or check the calibration and the option line of the file"
            )
        rows = inline_rows(found.frequency_hz, found.s, MOST_ROWS)
        values["measured"] = [
            [float(f"{x:.10g}") if n == 0 else round(float(x), 4) for n, x in enumerate(row)] for row in rows
        ]
        digest = found.digest
    elif isinstance(base, AntennaPart):
        names = [one.name for one in base.ports]
        if port not in names:
            raise UsageError(f"say which port was measured: --port, one of {', '.join(names)}")
        sweep = read_sweep(data, file.name)
        if file.suffix.lower() == ".s2p":
            typer.echo("# S11 of the file, the rest of it left out", err=True)
        rows = reflection_rows(sweep.frequency_hz, sweep.magnitude, MOST_ROWS)
        shown = [[float(f"{f:.10g}"), round(float(loss), 4)] for f, loss in rows]
        values["measured"] = {**values.get("measured", {}), port: shown}
        digest = sweep.digest
    else:
        raise UsageError(
            f"{base.id} is no antenna and no two-port (rf-inline): --like names the part whose other values hold"
        )
    sources["measured"] = f"{file.name}, SHA-256 {digest[:16]}"
    values |= {"sources": sources, "title": f"{values.get('title', base.id)}, as measured"}
    try:
        made = type(base).model_validate(values)
    except ValidationError as reason:
        first = reason.errors()[0]
        at = ".".join(str(x) for x in first["loc"])
        raise UsageError(f"{id} can't be made: {at or 'the part'}: {first['msg']}") from None
    return [made.model_dump(mode="json", exclude_unset=True)]


__all__ = ["register"]
