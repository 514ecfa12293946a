"""`upmast record trend` and `spares`: one path over its days, and what is known of everything that is kept for later."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from upmast.cli.folder import CatalogueOption, JsonOption, open_folder
from upmast.cli.record import PLACE, broken_in, open_place, said_id, say_broken

if TYPE_CHECKING:
    from upmast.record.over_time import OverTime

SITE_FOLDER = typer.Option(Path("."), "--folder", "-f", help="Folder of the site.", show_default="this folder")


def register(records: typer.Typer) -> None:
    records.command("trend")(trend)
    records.command("spares")(kept)


def trend(
    path: str = typer.Argument(help="An RF path, e.g. A2-J1.", callback=said_id),
    folder: Path = SITE_FOLDER,
    where: Path = PLACE,
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """
    All sweeps of a path, oldest first, and what has changed between its days: water, a bad contact, a loose joint, or the weather.

    What stands and fails is told first. A sweep whose day is not known is listed, and compared with none.
    """
    from upmast.proof.prove import prove
    from upmast.record.over_time import over_time
    from upmast.record.whole import whole_of

    opened = open_folder(folder, catalogue)
    proof = prove(opened.site, opened.line().line, rooms=("power",))
    with open_place(where) as record:
        found = over_time(proof, whole_of(record, opened.site.id), record.content, path)
        broken = broken_in(record, opened.site.id)
    if as_json:
        data = {
            "site": opened.site.id, "path": found.path, "broken": list(broken), "sweeps": [asdict(one) for one in found.sweeps],
            "fails": [one.test for one in found.failing], "told": [one.as_data() for one in found.told],
            "order_of_days": [{"test": test, "words": words} for test, words in found.doubts], "unreadable": [{"file": f, "why": w} for f, w in found.faults],
        }  # fmt: skip
        typer.echo(json.dumps(data, ensure_ascii=False, indent=1))
    else:
        _show(found)
        say_broken(broken)
    if broken:
        raise typer.Exit(1)


def _show(found: OverTime) -> None:
    """What stands and fails, then every sweep, then what has changed."""
    from rich.text import Text

    from upmast.cli.show import console, verdict
    from upmast.number import number
    from upmast.record.words import many

    out = console()
    for one in found.failing:
        day = one.day or "day unknown"
        out.print(
            Text(f"◆ {one.test} fails as it stands: {number(one.value, one.unit)}, {one.file}, {day}", style="bold red")
        )
    for one in found.sweeps:
        warm = "" if one.temperature_c is None else f"  {number(one.temperature_c, '°C')}"
        by = "" if one.day_by == "the file" else f" ({one.day_by})"
        day = f"{one.day}{by}" if one.day else f"day unknown, not in the trend (filed {one.filed})"
        line = verdict(one.verdict).append(f"  {day}  {one.test}", style="bold")
        out.print(line.append(f"  {number(one.value, one.unit)}{warm}  {one.file}", style="dim"))
    for file, why in found.faults:
        out.print(Text(f"◇ {file}: {why}", style="yellow"))
    for test, words in found.doubts:
        out.print(Text(f"look: {test}: {words}", style="bold yellow"))
    for told in found.told:
        out.print(Text(told.words, style="bold" if told.level != "note" else ""))
        if told.remedy:
            out.print(Text(f"  do: {told.remedy}"))
    days = found.days
    if len(days) < 2:
        out.print(f"{many(len(days), 'day')} of {found.path} in the record: a change needs two", style="yellow")
    elif not found.told:
        out.print(
            f"not compared: no two of the {many(len(days), 'day')} have sweeps with the same end that can be read",
            style="yellow",
        )


def kept(
    folder: Path = SITE_FOLDER,
    where: Path = PLACE,
    as_json: bool = JsonOption,
    catalogue: list[Path] = CatalogueOption,
) -> None:
    """Every strand and pair that is kept for later: what for, how many of its tests are done, and the last one."""
    from upmast.cli.show import STYLES, console, verdict
    from upmast.proof.prove import prove
    from upmast.record.over_time import spares
    from upmast.record.whole import whole_of

    opened = open_folder(folder, catalogue)
    proof = prove(opened.site, opened.line().line, rooms=("power",))
    with open_place(where) as record:
        found = spares(proof, whole_of(record, opened.site.id))
    if as_json:
        typer.echo(
            json.dumps({"site": opened.site.id, "spares": [asdict(one) for one in found]}, ensure_ascii=False, indent=1)
        )
        return
    from rich.text import Text

    out = console()
    for one in found:
        head = verdict(one.verdict) if one.verdict else Text("◇ never tested", style=STYLES["not judged"])
        by = f" ({one.day_by})" if one.day_by != "the measurement" else ""
        last = f", last {one.last_test} on {one.last_day}{by}" if one.last_test else ""
        out.print(
            head.append(f"  {one.name}", style="bold").append(
                f"  {one.what}, {one.kept_for}: {one.done} of {one.tests} tests done{last}", style="dim"
            )
        )
    untested = sum(not one.done for one in found)
    out.print(
        f"{len(found)} kept for later, {untested} never tested: a spare that nobody measured is a hope" if found
        else "nothing is kept for later on this line",
        style="bold",
    )  # fmt: skip


__all__ = ["kept", "register", "trend"]
