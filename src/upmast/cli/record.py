"""`upmast record`: keep evidence, show what stands, check the chain, take sites out and bring them in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from upmast.cli.folder import CatalogueOption, JsonOption, open_folder

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from upmast.record.evidence import Filed
    from upmast.record.record import Record

# the states of filed results in the order in which they are counted
COUNTED = {
    "fails": "fails",
    "not judged": "not judged",
    "asked": "asked",
    "kept": "kept, judged as no test",
    "passes": "passes",
}
AGAIN = ", judged again"
MOST_BROKEN = 5  # things that are not as written, named on a terminal


def said(text: str) -> str:
    """What a person gives, without characters of no width."""
    from upmast.record.canonical import seen

    return seen(text)


def said_id(text: str) -> str:
    """An id or head, as it may be copied out of a document."""
    from upmast.record.canonical import seen_id

    return seen_id(text)


PLACE = typer.Option(
    Path("upmast.record"),
    "--record",
    "-r",
    help="The record: a file, or a URL of PostgreSQL.",
    show_default="upmast.record",
)
records = typer.Typer(
    name="record",
    help="The record of evidence: keep files and verdicts, show what stands, check the chain, take out and bring in.",
    no_args_is_help=True,
)


def register(app: typer.Typer) -> None:
    from upmast.cli import record_closeout, record_say, record_time

    for module in (record_say, record_closeout, record_time):
        module.register(records)
    app.add_typer(records)


def open_place(where: Path, create: bool = False) -> Record:
    """Open the record at a path or URL. Raises UsageError."""
    from upmast.errors import UsageError

    try:
        from upmast.record.record import open_record
    except ModuleNotFoundError as reason:
        from upmast.record.words import MISSING

        raise UsageError(MISSING) from reason
    text = str(where)
    # Path turns `postgresql://` into `postgresql:/`
    if text.startswith("postgresql:/"):
        text = "postgresql://" + text.removeprefix("postgresql:/").lstrip("/")
    return open_record(text if "://" in text else where, create=create)


def broken_in(record: Record, site: str = "") -> tuple[str, ...]:
    """What is not as it was written in the chain of a site, or of all, in words; empty if nothing."""
    from upmast.record.verify import chain_breaks

    return tuple(str(one) for one in chain_breaks(record, site))


def say_broken(broken: Sequence[str]) -> None:
    """Say at the end, loudly, that a chain is broken and where."""
    from rich.text import Text

    from upmast.cli.show import console

    if not broken:
        return
    out = console()
    out.print(Text(f"THE CHAIN OF THIS RECORD IS BROKEN: {broken[0]}", style="bold red"))
    for words in broken[1:MOST_BROKEN]:
        out.print(Text(f"  {words}", style="red"))
    if len(broken) > MOST_BROKEN:
        out.print(Text(f"  and {len(broken) - MOST_BROKEN} more", style="red"))
    out.print(
        Text(
            "  what is shown here can't be relied on: upmast record check tells all of it; restore the record from a backup",
            style="red",
        )
    )


def refuse_broken(record: Record, site: str) -> None:
    """Raises UsageError where the chain of a site is broken: nobody puts a name under it."""
    from upmast.errors import UsageError

    broken = broken_in(record, site)
    if broken:
        raise UsageError(f"the record is not whole: {broken[0]}; nothing was changed; upmast record check tells more")


@records.command("keep")
def keep(
    files: list[Path] = typer.Argument(help="Files, folders or zips of them: sweeps, tables, photographs, anything."),
    folder: Path = typer.Option(Path("."), "--folder", "-f", help="Folder of the site.", show_default="this folder"),
    where: Path = PLACE,
    by: str = typer.Option(..., "--by", help="Name of who files them, as declared.", callback=said),
    instrument: str = typer.Option(
        "", "--instrument", help="Instrument and serial number, as declared.", callback=said
    ),
    measured: str = typer.Option(
        "", "--measured", help="When, as declared, e.g. 2026-05-14; where the files do not say it."
    ),
    test: str = typer.Option(
        "", "--test", help="Test id where the match is asked, e.g. A2-J1.rl.load; for one file.", callback=said_id
    ),
    say: list[str] = typer.Option(
        [], "--say", help="Answer what is asked, e.g. 'volts.csv: C is voltage in V'; may be repeated."
    ),
    confirm: bool = typer.Option(
        False, "--confirm", help="Agree to the columns as they are guessed, and remember them with the site."
    ),
    repair: bool = typer.Option(False, "--repair", help="Read damaged files too, and say what was mended."),
    every: bool = typer.Option(False, "--all", help="List what passes, too."),
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """
    File everything with the line that it was judged by: raw files, matches, verdicts. The same file again adds nothing.

    Exit code 0, or 1 if the chain of the record was broken: the files are kept, and it says so.
    """
    from upmast.cli.judge import judging_of, keep_memory, memory_of
    from upmast.cli.show import console
    from upmast.errors import UsageError
    from upmast.field.intake import take_in
    from upmast.field.say import Said, words_of
    from upmast.field.session import judge_files
    from upmast.record.canonical import check_author

    check_author(by)
    opened = open_folder(folder, catalogue)
    line = opened.line().line
    memory, words, taken = memory_of(opened), words_of([said(one) for one in say]), take_in(files)
    if test:
        if len(taken.files) != 1:
            raise UsageError("--test names one test, so give one file with it; for more: --say 'FILE: test is TEST'")
        words.by_file.setdefault(taken.files[0].name, Said()).whole["test"] = test
    session = judge_files(judging_of(opened, words, memory, confirm, repair), taken)
    with open_place(where, create=True) as record:
        from upmast.record.filing import file_session
        from upmast.record.layers import keep_line
        from upmast.record.site_files import built_line, keep_site

        with record.writing(opened.site.id, by) as site:
            keep_line(site, line)
            built = built_line(opened.path, line, opened.catalogue)
            if built is not None:
                keep_line(site, built, line)
            keep_site(site, opened.path)
            filed = file_session(site, session, taken, words, instrument=instrument, measured=measured, repair=repair)
        head = str(record.head(opened.site.id))
        added = len(site.added)
        broken = broken_in(record, opened.site.id)
        from upmast.record.days import doubts_in
        from upmast.record.whole import whole_of

        doubts = doubts_in(whole_of(record, opened.site.id), line.digest, [f.test for f in filed if f.test])

    keep_memory(opened, memory, session)
    rows = [
        {"file": f.name, "test": f.test, "verdict": f.verdict, "words": f.words, "again": f.again} for f in filed
    ]  # fmt: skip
    if as_json:
        typer.echo(
            json.dumps(
                {
                    "site": opened.site.id,
                    "files": rows,
                    "added": added,
                    "head": head,
                    "order_of_days": [{"test": test, "words": list(words)} for test, words in doubts.items()],
                    "broken": list(broken),
                },
                ensure_ascii=False,
                indent=1,
            )
        )
    else:
        _kept(filed, doubts, added, where, every)
        console().print(f"head {head}")
        say_broken(broken)
    if broken:
        raise typer.Exit(1)


def _kept(
    filed: Sequence[Filed], doubts: Mapping[str, Sequence[str]], added: int, where: Path, every: bool
) -> None:  # fmt: skip
    """What became of the files: what does not pass one by one, then counts, then what the days of measurement leave open."""
    from collections import Counter

    from rich.text import Text

    from upmast.cli.show import STYLES, console
    from upmast.record.words import many

    out = console()
    states = [one.verdict or ("asked" if one.measurement and not one.judgement else "kept") for one in filed]
    for one, state in zip(filed, states, strict=True):
        if state != "passes" or every:
            out.print(
                Text(
                    f"  {one.name}: {state}  {one.test}{AGAIN if one.again else ''}".rstrip(),
                    style="" if state == "passes" else STYLES.get(state, ""),
                )
            )
        if state != "passes":
            out.print(Text(f"    {one.words}", style="dim"))
    count = Counter(states)
    told = ", ".join(f"{count[state]} {word}" for state, word in COUNTED.items() if count[state])
    hint = "" if every or not count["passes"] else "; those that pass are not listed: --all"
    again = sum(one.again for one in filed)
    before = f"; {again} of them kept before, and judged again with what came now" if again else ""
    out.print(Text(f"{many(len(filed), 'result')}: {told or 'none'}{before}{hint}", style="bold"))
    for test, words in doubts.items():
        for text in words:
            out.print(Text(f"look: {test}: {text}", style="bold yellow"))
    out.print(
        Text(
            f"{many(added, 'new entry', 'new entries')} in {where}" if added
            else f"nothing new: all of it stands in {where} already", style="bold",
        )
    )  # fmt: skip


@records.command("standing")
def standing(
    where: Path = PLACE,
    site: str = typer.Option("", "--site", help="One site; all if not given.", callback=said_id),
    as_json: bool = JsonOption,
) -> None:
    """What stands for each test, the worst first; exit code 1 if something fails or a chain is broken, 3 if something is not judged."""
    from dataclasses import asdict

    from upmast.cli.show import console, verdict
    from upmast.field.reading_case import margin_unit
    from upmast.number import number

    with open_place(where) as record:
        from upmast.record.query import standing as standing_rows

        rows = standing_rows(record, site)
        heads = [str(record.head(one)) for one in record.sites() if not site or one == site]
        broken = broken_in(record, site)
    if as_json:
        data = {"verdicts": [asdict(r) for r in rows], "heads": heads, "broken": list(broken)}
        typer.echo(json.dumps(data, ensure_ascii=False, indent=1))
    else:
        out = console()
        for r in rows:
            margin = "" if r.margin is None else f", margin {number(r.margin, margin_unit(r.unit), signed=True)}"
            out.print(
                verdict(r.verdict)
                .append(f"  {r.site}  {r.test}", style="bold")
                .append(f"  {number(r.value, r.unit)}{margin}  {r.time}", style="dim")
            )
        for head in heads:
            out.print(f"head {head}", style="dim")
        say_broken(broken)
    states = {r.verdict for r in rows}
    raise typer.Exit(1 if "fails" in states or broken else 3 if "not judged" in states else 0)


@records.command("history")
def history(
    item: str = typer.Argument(help="A path, item or test, e.g. A2-J1 or A2-J1.rl.load.", callback=said_id),
    site: str = typer.Option(..., "--site", help="Its site.", callback=said_id),
    where: Path = PLACE,
    as_json: bool = JsonOption,
) -> None:
    """All that was ever said of a path, item or test, oldest first: test, value against limit, file, and by whom."""
    from upmast.cli.show import console

    with open_place(where) as record:
        from upmast.record.history import history_of

        found = history_of(record, site, item)
    if as_json:
        rows = [
            {
                "number": one.entry.number, "time": one.entry.time, "author": one.entry.author, "program": one.entry.program,
                "kind": one.entry.kind, "words": one.words, "says": json.loads(one.entry.body), "digest": one.entry.digest,
            }
            for one in found
        ]  # fmt: skip
        typer.echo(json.dumps({"site": site, "item": item, "entries": rows}, ensure_ascii=False, indent=1))
        return
    from rich.text import Text

    out = console()
    for one in found:
        told = Text(f"  {one.entry.number:>5}  {one.entry.time[:16].replace('T', ' ')}  ", style="dim")
        told.append(f"{one.entry.kind:<12} ", style="").append(one.words).append(
            f"  by {one.entry.author}", style="dim"
        )
        out.print(told)
    if not found:
        out.print(f"  nothing was said of {item} at {site}")


@records.command("check")
def check(
    where: Path = PLACE,
    heads: list[str] = typer.Option([], "--head", help="A head that a pack printed; may be repeated."),
    as_json: bool = JsonOption,
) -> None:
    """Walk every chain and read every raw file: what was removed, edited, replaced or cut off. Exit code 1 if anything was."""
    from upmast.cli.show import console

    with open_place(where) as record:
        from upmast.record.chain import Head
        from upmast.record.verify import verify
        from upmast.record.words import is_are, many

        found = verify(record, printed=[Head.parse(h) for h in heads])
        now = [str(record.head(one)) for one in record.sites()]
    if as_json:
        typer.echo(json.dumps({"breaks": [str(b) for b in found], "heads": now}, ensure_ascii=False, indent=1))
    else:
        out = console()
        for b in found:
            out.print(f"  {b}", style="bold red")
        out.print(
            "every chain and every raw file is as it was written"
            if not found
            else f"{many(len(found), 'thing')} {is_are(len(found))} not as written",
            style="bold",
        )
        for head in now:
            out.print(f"head {head}", style="dim")
        out.print(
            "a chain that was rewritten as a whole shows only against a head that was kept elsewhere: --head",
            style="dim",
        )
    raise typer.Exit(1 if found else 0)


@records.command("take-out")
def take_out(
    bundle: Path = typer.Argument(help="Zip to be written."),
    where: Path = PLACE,
    sites: list[str] = typer.Option([], "--site", help="A site; all if none is given; may be repeated."),
) -> None:
    """Take whole sites out into one zip with a manifest: for a second party, or as a backup."""
    from upmast.cli.show import console

    with open_place(where) as record:
        from upmast.record.bundle import backup, write_bundle

        heads = write_bundle(record, bundle, [said_id(one) for one in sites]) if sites else backup(record, bundle)
    for head in heads:
        console().print(f"  {head}")


@records.command("bring-in")
def bring_in(
    bundle: Path = typer.Argument(help="Zip of `upmast record take-out`.", exists=True, dir_okay=False),
    where: Path = PLACE,
) -> None:
    """Bring every site of a zip into the record: all is checked first, then all of it is written, or nothing."""
    from upmast.cli.show import console

    with open_place(where, create=True) as record:
        from upmast.record.intake import read_bundle
        from upmast.record.words import many

        brought = read_bundle(record, bundle)
    out = console()
    for head in brought.heads:
        out.print(f"  {head}: {many(brought.new.get(head.site, 0), 'new entry', 'new entries')}")
    out.print(f"  {many(brought.contents, 'new raw file')}")


__all__ = ["records", "register"]
