"""`upmast record waive`, `sign`, `report`, `photo`: what a person says or adds, each confirmed in plain words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from upmast.cli.folder import CatalogueOption, JsonOption, open_folder
from upmast.cli.record import PLACE, broken_in, open_place, refuse_broken, said, said_id, say_broken

if TYPE_CHECKING:
    from upmast.record.record import Writing

SITE_FOLDER = typer.Option(Path("."), "--folder", "-f", help="Folder of the site.", show_default="this folder")
BY = typer.Option(..., "--by", help="Your name, as declared.", callback=said)


def register(records: typer.Typer) -> None:
    for name, command in (("waive", waive), ("sign", sign), ("report", report), ("photo", photo)):
        records.command(name)(command)


def _confirm(as_json: bool, where: Path, site: Writing, head: str, words: list[str], **data: Any) -> None:
    """Say what was added, or that it was there already; and where the chain is broken."""
    added = len(site.added)
    with open_place(where) as record:
        broken = broken_in(record, site.site)
    if as_json:
        told = {"site": site.site, "added": added, "head": head, "broken": list(broken), **data}
        typer.echo(json.dumps(told, ensure_ascii=False, indent=1))
        if broken:
            raise typer.Exit(1)
        return
    from upmast.cli.show import console

    out = console()
    out.print("added" if added else "nothing added: the record says it already", style="bold")
    for line in words:
        out.print(f"  {line}")
    out.print(f"head {head}", style="dim")
    say_broken(broken)
    if broken:
        raise typer.Exit(1)


def waive(
    test: str = typer.Argument(help="Test id, e.g. A2-J1.rl.load.", callback=said_id),
    folder: Path = SITE_FOLDER,
    where: Path = PLACE,
    by: str = BY,
    role: str = typer.Option("", "--role", help="Your role.", callback=said),
    reason: str = typer.Option(..., "--reason", help="Why it is accepted as it is.", callback=said),
    until: str = typer.Option(..., "--until", help="Last day on which the waiver holds, e.g. 2026-12-31."),
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """
    Accept a test as it stands, by name, with a reason, until a day. The verdict stays what it is.

    The waiver holds for the verdict that stands now, and for no later one. Of a missing test it covers that it is missing.
    """
    from upmast.cli.record_closeout import closeout_in, day_of
    from upmast.errors import UsageError
    from upmast.record.closeout import State
    from upmast.record.kinds import Waiver, make

    day_of(until)
    opened = open_folder(folder, catalogue)
    with open_place(where) as record:
        refuse_broken(record, opened.site.id)
        closeout = closeout_in(record, opened)
        row = next((one for one in closeout.rows if one.test.id.upper() == test.upper()), None)
        if row is None:
            import difflib

            known = {one.test.id.upper(): one.test.id for one in closeout.rows}
            near = [known[one] for one in difflib.get_close_matches(test.upper(), list(known), 4, 0.5)]
            raise UsageError(f"this line has no test {test!r}" + (f"; near: {', '.join(near)}" if near else ""))
        if row.without is State.PASSES:
            raise UsageError(f"{row.test.id} passes: there is nothing to waive")
        waiver = make(
            Waiver, subject=row.test.id, name=by, role=role, reason=reason, granted=closeout.on.isoformat(), expires=until,
            verdict=row.stands.entry.key if row.stands else "", covers="" if row.stands else "missing",
        )  # fmt: skip
        with record.writing(closeout.whole.site, by) as site:
            site.add(waiver)
        head = str(record.head(site.site))
    what = (
        "that it was not done"
        if row.stands is None
        else f"the verdict of entry {row.stands.entry.number}, and no later one"
    )
    _confirm(
        as_json, where, site, head,
        [f"{row.test.id} {row.without}, accepted by {by} until {until}: {reason}", f"it covers {what}"],
        test=row.test.id, state=str(row.without), until=until,
    )  # fmt: skip


def sign(
    folder: Path = SITE_FOLDER,
    where: Path = PLACE,
    by: str = BY,
    role: str = typer.Option(..., "--role", help="Your role, e.g. reviewer.", callback=said),
    company: str = typer.Option("", "--company", help="Your company.", callback=said),
    statement: str = typer.Option(..., "--statement", help="What you sign, in a sentence.", callback=said),
    scan: Path | None = typer.Option(None, "--scan", help="A signed sheet, kept beside it."),
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """Put your name under the record of a site as it stands now. Declared, not cryptographic. A broken chain is not signed."""
    from upmast.record.canonical import timestamp
    from upmast.record.kinds import Signature, make
    from upmast.record.words import many

    opened = open_folder(folder, catalogue)
    with open_place(where) as record:
        refuse_broken(record, opened.site.id)
        over = record.head(opened.site.id)
        with record.writing(opened.site.id, by) as site:
            site.add(
                make(
                    Signature, name=by, role=role, company=company, statement=statement, entries=over.entries, head=over.digest,
                    signed=timestamp(record.clock()), content=site.keep(_bytes(scan)) if scan is not None else "",
                )
            )  # fmt: skip
        head = str(record.head(site.site))
    _confirm(
        as_json, where, site, head,
        [f"{by}, {role}: {statement}", f"over {many(over.entries, 'entry', 'entries')} up to {over}", "declared, not cryptographic: it shows who was named, not who wrote it"],
        over=str(over),
    )  # fmt: skip


def report(
    file: Path = typer.Argument(
        help="The factory test report, in whatever format it came.", exists=True, dir_okay=False
    ),
    folder: Path = SITE_FOLDER,
    where: Path = PLACE,
    by: str = BY,
    serial: str = typer.Option(..., "--serial", help="Serial number that it reports about.", callback=said_id),
    part: str = typer.Option(
        "", "--part", help="What the part is; by default that of the item with this serial number."
    ),
    made: str = typer.Option("", "--made", help="Day of the report, e.g. 2026-03-02."),
    laboratory: str = typer.Option("", "--laboratory", help="Who tested."),
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """Keep the factory test report of a serial number."""
    from upmast.record.canonical import clean_name
    from upmast.record.kinds import FactoryReport, make
    from upmast.record.site_files import built_line

    opened = open_folder(folder, catalogue)
    line = opened.line().line
    line = built_line(opened.path, line, opened.catalogue) or line
    items = [item for item in line.items if item.serial == serial]
    title = part or (line.parts[items[0].part].title if items and items[0].part else "")
    with open_place(where, create=True) as record:
        with record.writing(opened.site.id, by) as site:
            site.add(
                make(
                    FactoryReport, serial=serial, part=title, content=site.keep(_bytes(file)), name=clean_name(file.name), made=made,
                    laboratory=laboratory,
                )
            )  # fmt: skip
        head = str(record.head(site.site))
    known = (
        f"it is that of {', '.join(item.id for item in items)}"
        if items
        else "no item of the line has this serial number"
    )
    _confirm(
        as_json,
        where,
        site,
        head,
        [f"{file.name}: report of {serial} {title}".rstrip(), known],
        serial=serial,
        items=[i.id for i in items],
    )


def photo(
    file: Path = typer.Argument(help="The photograph.", exists=True, dir_okay=False),
    folder: Path = SITE_FOLDER,
    where: Path = PLACE,
    by: str = BY,
    of: str = typer.Option(..., "--of", help="Item or test that it is of, e.g. A2-J1.", callback=said_id),
    shows: str = typer.Option(..., "--shows", help="What it shows, e.g. sealed joint, label readable."),
    taken: str = typer.Option("", "--taken", help="When, e.g. 2026-05-14T15:20Z."),
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """Keep a photograph of an item or test. It is evidence of the lowest grade: a picture."""
    from upmast.errors import UsageError
    from upmast.record.evidence import file_photo
    from upmast.record.kept import item_of

    opened = open_folder(folder, catalogue)
    line = opened.line().line
    known = {item.id.upper(): item.id for item in line.items}
    base = item_of(of.upper())
    if base not in known and not any(base.startswith(f"{id}-") for id in known):
        raise UsageError(f"the line has no item {of!r}: a photograph is of an item or of a test")
    with open_place(where, create=True) as record:
        with record.writing(opened.site.id, by) as site:
            file_photo(site, _bytes(file), file.name, subject=known.get(of.upper(), of), shows=shows, taken=taken)
        head = str(record.head(site.site))
    _confirm(as_json, where, site, head, [f"{file.name}: {shows}, of {of}"], of=of)


def _bytes(path: Path) -> bytes:
    from upmast.errors import UsageError
    from upmast.record.contents import MOST_BYTES

    try:
        with path.open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise UsageError(f"{path} can't be read: {error.strerror}") from None
