"""`upmast judge`: everything that came from the field, against the limits and against this very line."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from upmast.cli.folder import CatalogueOption, JsonOption, SiteFolder, open_folder
from upmast.errors import UsageError

if TYPE_CHECKING:
    from upmast.field.intake import Taken
    from upmast.field.judge import Judged
    from upmast.field.readers.mapping_memory import Memory
    from upmast.field.say import Words
    from upmast.field.session import Judging, Session

MOST_FILES = 10_000
ENDINGS = (".s1p",)
MOST_COMPARED = 300  # files that a watch compares with each other each time one comes; beyond, at its end
MEMORY = "field-columns.yaml"


def register(app: typer.Typer) -> None:
    @app.command("judge")
    def judge(
        files: list[Path] = typer.Argument(help="Files, folders or zips: sweeps, tables, photos, whatever came."),
        folder: Path = typer.Option(
            Path("."), "--folder", "-f", help="Folder of the site.", show_default="this folder"
        ),
        test: str = typer.Option(
            "", "--test", help="Test id where the match is asked, e.g. A2-J1.rl.load; for one file."
        ),
        say: list[str] = typer.Option(
            [], "--say", help="Answer what is asked, e.g. 'volts.csv: C is voltage in V'; may be repeated."
        ),
        confirm: bool = typer.Option(
            False, "--confirm", help="Agree to the columns as they are guessed, and remember them with the site."
        ),
        repair: bool = typer.Option(False, "--repair", help="Read damaged files too, and say what was mended."),
        watching: bool = typer.Option(
            False, "--watch", help="Stay, and judge files as they come into the folder; end it with Ctrl-C."
        ),
        pictures: Path | None = typer.Option(
            None,
            "--pictures",
            help="Folder to which a picture of each sweep is written (SVG), in doubt as the test of its name.",
        ),
        every: bool = typer.Option(False, "--all", help="Show what passes, every finding and every file, too."),
        as_json: bool = JsonOption,
        catalogue: list[Path] = CatalogueOption,
    ) -> None:
        """Judge what came from the field: match it to the tests of the line, judge, locate, compare; most urgent first."""
        from upmast.cli.judge_show import show
        from upmast.cli.progress import progress
        from upmast.field.intake import take_in
        from upmast.field.say import words_of
        from upmast.field.session import judge_files

        opened = open_folder(folder, catalogue)
        memory = memory_of(opened)
        words = words_of(say)
        with progress(not as_json) as tell:
            if watching:
                judging = judging_of(opened, words, memory, confirm, repair)
                session = _watch(judging, files, as_json)
            else:
                taken = take_in(files)
                _only_test(words, taken, test)
                judging = judging_of(opened, words, memory, confirm, repair)
                judging.tell = tell
                session = judge_files(judging, taken)
        keep_memory(opened, memory, session)
        drawn = _draw((*session.sweeps, *session.doubted), pictures) if pictures is not None else []
        if as_json:
            data = session.as_data() | {"pictures": drawn}
            typer.echo(
                json.dumps({"session": data} if watching else data, ensure_ascii=False, indent=None if watching else 1)
            )
        else:
            show(session, every=every, drawn=drawn)
            if session.memory != memory:
                typer.echo(f"the columns are remembered in {opened.path / MEMORY}")
        raise typer.Exit(session.exit_code)


def judging_of(opened: SiteFolder, words: Words, memory: Memory, confirm: bool, repair: bool) -> Judging:
    """What judges the files of a site. Of the rooms only power is proven: expectations need no other."""
    from upmast.field.session import Judging
    from upmast.proof.prove import prove

    proof = prove(opened.site, opened.line().line, rooms=("power",))
    return Judging(proof, words=words, memory=memory, confirm=confirm, repair=repair)


def memory_of(opened: SiteFolder) -> Memory:
    """What was decided about the columns of tables, kept with the site."""
    from upmast.field.readers.mapping_memory import Memory, load

    place = opened.path / MEMORY
    return load(place) if place.is_file() else Memory()


def keep_memory(opened: SiteFolder, before: Memory, session: Session) -> None:
    from upmast.field.readers.mapping_memory import save

    if session.memory != before:
        save(opened.path / MEMORY, session.memory)


def _only_test(words: Words, taken: Taken, test: str) -> None:
    """`--test` is the short way to say the test of the one file that is given."""
    if not test:
        return
    if len(taken.files) != 1:
        raise UsageError("--test names one test, so give one file with it; for more say --say 'FILE: test is TEST'")
    from upmast.field.say import Said

    words.by_file.setdefault(taken.files[0].name, Said()).whole["test"] = test


def _watch(judging: Judging, files: list[Path], as_json: bool, stop: Callable[[], bool] = lambda: False) -> Session:
    """Judge files as they come, until the person ends it; what several of them say together is told as soon as it shows."""
    from upmast.cli.judge_show import show_cautions, show_left, show_rows
    from upmast.cli.show import console
    from upmast.field.intake import take_in
    from upmast.field.row import TOLD
    from upmast.field.session_data import row_data
    from upmast.field.setup import CAUTIONS
    from upmast.field.watch import watch

    if not as_json:
        show_cautions(CAUTIONS)
        console().print("watching; Ctrl-C ends it\n", style="dim")
    told: set[str] = set()
    try:
        for ready in watch(files, stop=stop):
            try:
                taken = take_in(ready)
            except UsageError:
                continue  # it went away between two looks
            rows = list(judging.add(taken))
            if judging.count <= MOST_COMPARED:
                rows += [row for row in judging.session().rows if row.state == TOLD and row.what not in told]
            told |= {row.what for row in rows if row.state == TOLD}
            if as_json:
                for row in rows:
                    typer.echo(json.dumps({"row": row_data(row)}, ensure_ascii=False))
                for left in taken.left_out:
                    typer.echo(json.dumps({"left_out": left.as_data()}, ensure_ascii=False))
            else:
                show_rows(rows)
                show_left(taken.left_out)
    except KeyboardInterrupt:
        if not as_json:
            console().print()
    return judging.session()


def sweeps_in(given: list[Path]) -> list[Path]:
    """The sweeps named, and those in the folders named, in order of name."""
    out: list[Path] = []
    for path in given:
        if path.is_dir():
            out += sorted(
                p for p in path.rglob("*") if p.suffix.lower() in ENDINGS and p.is_file() and not p.is_symlink()
            )
        elif path.exists():
            out.append(path)
        else:
            raise UsageError(f"{path} does not exist")
        if len(out) > MOST_FILES:
            raise UsageError(f"more than {MOST_FILES} files: judge them folder by folder")
    if not out:
        raise UsageError("no sweeps (.s1p) there")
    return out


def _draw(sweeps: Sequence[Judged], folder: Path) -> list[str]:
    """Draw each sweep over frequency and over distance; of two of one name the second carries its digest, too."""
    from upmast.atomic import write_text
    from upmast.documents.chart import chart_svg
    from upmast.field.picture import distance_picture, frequency_picture

    out: list[str] = []
    taken: set[str] = set()
    for one in sweeps:
        stem = _stem(one)
        if stem.casefold() in taken:
            stem = f"{stem}-{one.test_id}-{one.sweep.digest[:8]}"
        taken.add(stem.casefold())
        for kind, spec in (("frequency", frequency_picture(one)), ("distance", distance_picture(one))):
            if spec is not None:
                place = folder / f"{stem}.{kind}.svg"
                write_text(place, chart_svg(spec))
                out.append(str(place))
    return out


def _stem(one: Judged) -> str:
    """A file name for the pictures of a sweep, made of its own: no folder, and nothing that a disk may not take."""
    name = one.sweep.file.replace("\\", "/").rsplit("/", 1)[-1]
    stem = name.rsplit(".", 1)[0] if "." in name else name
    return "".join(ch if ch.isalnum() or ch in "-._ " else "_" for ch in stem)[:150] or one.test_id
