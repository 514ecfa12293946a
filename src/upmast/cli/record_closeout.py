"""`upmast record closeout` and `recheck`: is everything there, and does a second party find the same?"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from upmast.cli.folder import CatalogueOption, JsonOption, SiteFolder, open_folder
from upmast.cli.record import PLACE, broken_in, open_place, say_broken

if TYPE_CHECKING:
    from upmast.record.closeout import Closeout
    from upmast.record.closeout_matters import Review
    from upmast.record.record import Record

CODES = {"passes": 0, "fails": 1, "not judged": 3}
MOST_SHOWN = 12  # of one kind, on a terminal


def register(records: typer.Typer) -> None:
    records.command("closeout")(closeout)
    records.command("recheck")(recheck)


def day_of(text: str) -> date:
    """A day as people write it here. Raises UsageError."""
    from upmast.errors import UsageError

    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"{text[:40]!r} is no day: write it as 2026-12-31") from None


def closeout_in(record: Record, opened: SiteFolder, since: str = "", on: str = "") -> Closeout:
    """The closeout of a site folder, as its record stands now. Raises UsageError."""
    from upmast.cli.pack import clock
    from upmast.errors import UsageError
    from upmast.proof.prove import prove
    from upmast.record.chain import Head
    from upmast.record.closeout import SINCE_SIGNED, closeout_of, last_signed
    from upmast.record.query import repeated
    from upmast.record.recheck import ROOMS
    from upmast.record.whole import whole_of

    site = opened.site.id
    proof = prove(opened.site, opened.line().line, rooms=ROOMS)
    whole = whole_of(record, site)
    head = None
    if since == SINCE_SIGNED:
        head = last_signed(whole)
        if head is None:
            raise UsageError(f"nobody has signed for {site} yet: give a head instead")
    elif since:
        head = Head.parse(since)
    elsewhere: dict[str, tuple[str, ...]] = {}
    for one in repeated(record):
        others = tuple(sorted({s for s, _ in one.uses} - {site}))
        if others:
            elsewhere[one.content] = others
    return closeout_of(proof, whole, day_of(on) if on else clock().date(), since=head, elsewhere=elsewhere)


def review_in(record: Record, opened: SiteFolder, made: Closeout) -> Review:
    """Everything around the tests, too."""
    from upmast.record.review import review_of
    from upmast.record.site_files import site_digest

    return review_of(made, record.content, site_digest(opened.path))


def closeout(
    folder: Path = typer.Option(Path("."), "--folder", "-f", help="Folder of the site.", show_default="this folder"),
    where: Path = PLACE,
    to: Path | None = typer.Option(None, "--out", "-o", help="Folder to write it to; without it, it is only shown."),
    since: str = typer.Option(
        "", "--since", help="List only what changed since this head, or since the last signature: signed."
    ),
    on: str = typer.Option("", "--on", help="Day on which waivers are looked at; today if not given."),
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """
    Is every test of the line done, and what is open? Writes the closeout: document, workbook, results, and a zip that anybody re-runs.

    Exit code 0 if all pass or are waived, 1 if something fails or the chain is broken, 3 if something is missing or not judged.
    """
    from upmast.cli.pack import clock
    from upmast.record.closeout_data import results_data

    opened = open_folder(folder, catalogue)
    with open_place(where) as record:
        made = closeout_in(record, opened, since, on)
        review = review_in(record, opened, made)
        files: dict[str, tuple[str, int]] = {}
        if to is not None:
            from upmast.record.closeout_write import write_closeout
            from upmast.record.site_files import site_files

            files = dict(write_closeout(review, record, site_files(opened.path, catalogue), to, made=clock()).files)
        program = record.program
        broken = broken_in(record, opened.site.id)
    if as_json:
        data = results_data(review, program) | {
            "broken": list(broken),
            "files": {n: {"sha256": d, "bytes": b} for n, (d, b) in files.items()},
        }
        typer.echo(json.dumps(data, ensure_ascii=False, indent=1))
    else:
        _show(review, to, files)
        say_broken(broken)
    raise typer.Exit(1 if broken else CODES[str(made.verdict)])


def _show(review: Review, to: Path | None, files: dict[str, tuple[str, int]]) -> None:
    from upmast.cli.show import STYLES, console, verdict
    from upmast.record.closeout import State
    from upmast.record.closeout_matters import KINDS
    from upmast.record.closeout_sheets import KIND_TITLES, missing_table

    made = review.closeout
    out = console()
    site = made.proof.site
    out.print(verdict(str(made.verdict)).append(f"  {site.id}", style="bold").append(f" {site.name}  {made.words}"))
    out.print(
        f"{len(made.rows)} tests = " + " + ".join(f"{made.counts[state]} {state}" for state in State), style="dim"
    )
    if made.open_at:
        out.print(
            "still to do: " + ", ".join(f"{count} {place}" for place, count in made.open_at.items()), style="bold"
        )
    if made.since is not None:
        out.print(
            f"changed since {made.since}: {len(made.changed)} of {len(made.rows)} tests; listed is only what changed or came since",
            style="bold",
        )
    for kind in KINDS:
        matters = review.of(kind)
        if not matters:
            continue
        out.print(f"\n{KIND_TITLES[kind]}: {len(matters)}", style=STYLES.get(kind, "bold"))
        if kind == "missing":
            for place, what, test, count, items in missing_table(made).rows:
                out.print(f"  {place}: {count} of {what}, {test}", style="bold")
                out.print(f"    {_first(str(items))}", style="dim")
            continue
        for one in matters[:MOST_SHOWN]:
            out.print(f"  {one.subject}  {one.where}".rstrip(), style="bold")
            out.print(f"    {one.words}")
            if one.remedy:
                out.print(f"    do: {one.remedy}", style="dim")
        if len(matters) > MOST_SHOWN:
            out.print(f"  and {len(matters) - MOST_SHOWN} more: in the workbook, or with --json", style="dim")
    grades = ", ".join(f"{count} of grade {grade}" for grade, count in review.grades.items())
    out.print(f"\nevidence: {grades}; built against designed: {review.layers.words}")
    out.print(f"head {made.head}")
    for name, (digest, size) in files.items():
        out.print(f"  {to}/{name:16} {size / 1000:9.1f} kB  {digest}", style="dim")


def _first(tests: str, most: int = 100) -> str:
    return tests if len(tests) <= most else tests[:most].rpartition(",")[0] + ", ..."


def recheck(
    pack: Path = typer.Argument(help="closeout.zip of `upmast record closeout`.", exists=True, dir_okay=False),
    as_json: bool = JsonOption,
) -> None:
    """
    Judge everything in a closeout again, from its zip alone, and compare each verdict, sentence and file with what the pack says.

    Exit code 0 if all of it is equal, 1 if anything differs, 3 if what was compared is equal and something could not be compared.
    """
    from dataclasses import asdict

    from upmast.cli.show import console
    from upmast.record.recheck import recheck as again

    found = again(pack)
    if as_json:
        data = asdict(found) | {"equal": found.equal, "all_compared": found.all_compared, "words": found.words}
        typer.echo(json.dumps(data, ensure_ascii=False, indent=1))
    else:
        out = console()
        style = "bold red" if not found.equal else "bold green" if found.all_compared else "bold yellow"
        out.print(f"{pack.name}: {found.words}", style=style)
        out.print(f"  site {found.site}, made by {found.program}, verdict in the pack: {found.verdict}")
        for words in found.told:
            out.print(f"  {words}", style="red")
        for words in found.not_compared:
            out.print(f"  not compared: {words}", style="yellow")
        for one in found.tests:
            if not one.equal:
                out.print(
                    f"  {one.test}: pack {one.pack}, record {one.kept}, now {one.found or 'not found'}", style="bold"
                )
                out.print(f"    {one.why}")
        out.print(f"head {found.head}", style="dim")
        out.print(
            "compare this head with one that was kept elsewhere: a record that was rewritten as a whole shows only so",
            style="dim",
        )
    raise typer.Exit(1 if not found.equal else 0 if found.all_compared else 3)
