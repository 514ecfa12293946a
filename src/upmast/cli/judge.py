"""`upmast judge`: field files against the limits and against this very line."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from upmast.cli.folder import CatalogueOption, JsonOption, open_folder
from upmast.errors import InputFaults, UsageError

if TYPE_CHECKING:
    from upmast.field.judge import Judged

MOST_FILES = 10_000
ENDINGS = (".s1p",)


def register(app: typer.Typer) -> None:
    @app.command("judge")
    def judge(
        files: list[Path] = typer.Argument(help="Sweeps (.s1p), or folders of them."),
        folder: Path = typer.Option(
            Path("."), "--folder", "-f", help="Folder of the site.", show_default="this folder"
        ),
        test: str = typer.Option(
            "", "--test", help="Test id where the match is asked, e.g. A2-J1.rl.load; for one file."
        ),
        pictures: Path | None = typer.Option(
            None, "--pictures", help="Folder to which a picture of each sweep is written (SVG)."
        ),
        repair: bool = typer.Option(False, "--repair", help="Read damaged files too, and say what was mended."),
        as_json: bool = JsonOption,
        catalogue: list[Path] = CatalogueOption,
    ) -> None:
        """Judge sweeps: match each to its RF path, compare with limit and expectation, name the joint to open first."""
        from upmast.cli.progress import progress
        from upmast.field.judge import judge_sweep
        from upmast.field.match import match_sweep
        from upmast.field.readers.touchstone import read_file
        from upmast.proof.prove import prove

        opened = open_folder(folder, catalogue)
        proof = prove(opened.site, opened.line().line, rooms=("rf",))
        paths = sweeps_in(files)
        if test and len(paths) != 1:
            raise UsageError("--test names one test, so give one file with it")
        rows: list[dict[str, Any]] = []
        judged: list[Judged] = []
        with progress(not as_json) as tell:
            for n, path in enumerate(paths):
                tell("sweeps", n, len(paths))
                row: dict[str, Any] = {"file": str(path)}
                rows.append(row)
                try:
                    sweep = read_file(path, repair=repair)
                except InputFaults as error:
                    row |= {"state": "unreadable", "faults": [f.as_data() for f in error.faults], "words": str(error)}
                    continue
                match = match_sweep(proof, sweep)
                row["match"] = [
                    {"test": c.test_id, "confidence": round(c.confidence, 3), "reasons": list(c.reasons)}
                    for c in match.candidates[:4]
                ]
                wanted = test or (match.decided.test_id if match.decided is not None else "")
                if not wanted:
                    row |= {"state": "asked", "words": match.question}
                    continue
                one = judge_sweep(proof, sweep, wanted)
                judged.append(one)
                row |= _data(one)
                if pictures is not None:
                    row["pictures"] = _draw(one, path, pictures)
        order = {"fails": 0, "not judged": 1, "unreadable": 2, "asked": 2, "passes": 3}
        rows.sort(key=lambda r: order[r.get("verdict", r.get("state", "asked"))])
        if as_json:
            typer.echo(json.dumps({"site": opened.site.id, "sweeps": rows}, ensure_ascii=False, indent=1))
        else:
            _show(rows, judged)
        states = {r.get("verdict", r.get("state")) for r in rows}
        if "fails" in states:
            raise typer.Exit(1)
        if "unreadable" in states:
            raise typer.Exit(2)
        raise typer.Exit(3 if states - {"passes"} else 0)


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


def _data(one: Judged) -> dict[str, Any]:
    from upmast.cli.show import finding_data

    return {
        "verdict": str(one.verdict), "test": one.test_id, "sentence": one.sentence, "findings": [finding_data(f) for f in one.findings],
        "remarks": [{"level": r.level, "words": r.words, "do": r.remedy} for r in one.remarks],
        "open_first": [p.words for p in one.open_first],
        "fit": {
            "words": one.fitted.sentence, "why_not": one.fitted.why_not, "margin_db": _plain(one.fitted.margin_db), "sure": one.fitted.sure,
            "joints": [
                {
                    "joints": list(r.joints), "distance_m": list(r.distance_m), "return_loss_db": _plain(r.return_loss_db), "least_db": _plain(r.least_db),
                    "most_db": _plain(r.most_db), "allowed_db": _plain(r.allowed_db), "excess_db": _plain(r.excess_db), "kind": r.kind, "suspect": r.suspect,
                }
                for r in one.fitted.rows
            ],
        },
        "peaks": [
            {"distance_m": p.distance_m, "tolerance_m": p.tolerance_m, "return_loss_db": p.return_loss_db, "joint": p.joint, "specified_db": p.specified_db,
             "excess_db": p.excess_db, "suspect": p.suspect, "words": p.words}
            for p in one.located.peaks
        ],
        "grade": str(one.sweep.evidence), "sha256": one.sweep.digest,
    }  # fmt: skip


def _plain(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _draw(one: Judged, path: Path, folder: Path) -> list[str]:
    """Draw the sweep over frequency and over distance."""
    from upmast.atomic import write_text
    from upmast.documents.chart import chart_svg
    from upmast.field.picture import distance_picture, frequency_picture

    out = []
    for kind, spec in (("frequency", frequency_picture(one)), ("distance", distance_picture(one))):
        if spec is not None:
            place = folder / f"{path.stem}.{kind}.svg"
            write_text(place, chart_svg(spec))
            out.append(str(place))
    return out


def _show(rows: list[dict[str, Any]], judged: list[Judged]) -> None:
    from rich.text import Text

    from upmast.cli.show import STYLES, console, limit_words, verdict
    from upmast.codes import title
    from upmast.number import number

    out = console()
    made = {(one.test_id, one.sweep.digest): one for one in judged}  # two sweeps may be of one test
    for row in rows:
        name = Path(row["file"]).name
        if "verdict" not in row:
            out.print(Text(f"◇ {row['state']}", style=STYLES["not judged"]).append(f"  {name}", style="bold"))
            out.print(f"    {row['words']}")
            continue
        one = made[row["test"], row["sha256"]]
        out.print(verdict(row["verdict"]).append(f"  {name}", style="bold").append(f"  as {row['test']}", style="dim"))
        out.print(f"    {one.sentence}")
        if row["verdict"] != "passes":
            for f in one.findings:
                margin = number(f.margin, f.unit, signed=True) if f.margin is not None else "-"
                out.print(
                    f"    {title(f.code)}: {number(f.value, f.unit)}, {limit_words(f)}, margin {margin}", style="dim"
                )
            for peak in one.open_first[1:3]:
                out.print(f"    then: {peak.words}", style="bold")
            if one.test != "short":
                out.print(f"    {one.fitted.sentence}", style="" if one.fitted.rows else "dim")
        for remark in one.remarks:
            words = f"    {remark.words}" + (f"; {remark.remedy}" if remark.remedy else "")
            out.print(words, style="yellow" if remark.level != "note" else "dim")
    drawn = sorted({str(Path(p).parent) for row in rows for p in row.get("pictures", ())})
    if drawn:
        out.print(f"\npictures, one over frequency and one over distance for each sweep, in {', '.join(drawn)}/")
    if judged:
        out.print("\nCautions", style="bold")
        for caution in judged[0].cautions:
            out.print(f"  {caution}", style="dim")
