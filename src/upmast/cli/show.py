"""How findings, figures and workings look on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from upmast.codes import ROOM_TITLES, title
from upmast.number import number

if TYPE_CHECKING:
    from upmast.finding import Figure, Finding, Limit
    from upmast.proof.prove import Proof
    from upmast.working import Step

STYLES = {"passes": "green", "fails": "bold red", "not judged": "bold yellow"}
SIGNS = {"passes": "●", "fails": "◆", "not judged": "◇"}


def console(error: bool = False) -> Console:
    """A console that wraps at the terminal's width, or at 110 where there is no terminal."""
    stream = sys.stderr if error else sys.stdout
    width = None if stream.isatty() else 110
    return Console(file=stream, width=width, highlight=False, emoji=False, markup=False)


def verdict(value: str) -> Text:
    """A verdict with its sign and colour: never by colour alone."""
    return Text(f"{SIGNS[value]} {value}", style=STYLES[value])


def limit_words(finding: Finding) -> str:
    """`at least 38.40 V`, or a dash where there is none."""
    if finding.limit is None:
        return "-"
    return f"{finding.limit.sense} {number(finding.limit.value, finding.limit.unit)}"


def findings_table(findings: Iterable[Finding], heading: str = "") -> Table:
    """Findings as a table: what, where, value, limit, margin, scenario."""
    table = Table(
        title=heading or None, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0)
    )
    for name, side in (
        ("verdict", "left"),
        ("what", "left"),
        ("where", "left"),
        ("value", "right"),
        ("limit", "left"),
        ("margin", "right"),
        ("when", "left"),
    ):
        table.add_column(name, justify=side, header_style="dim", no_wrap=name in ("verdict", "value", "margin"))  # type: ignore[arg-type]
    for f in findings:
        table.add_row(
            verdict(str(f.verdict)),
            title(f.code),
            f.subject,
            number(f.value, f.unit),
            limit_words(f),
            number(f.margin, f.unit, signed=True) if f.margin is not None else "-",
            f.scenario or "-",
        )
    return table


def room_table(proof: Proof) -> Table:
    """One row a room: how many pass, fail and are not judged, and its tightest margin."""
    from upmast.finding import Stage, worst

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("room", "passes", "fails", "not judged", "tightest"):
        table.add_column(
            name, header_style="dim", justify="right" if name in ("passes", "fails", "not judged") else "left"
        )
    for room in proof.rooms:
        mine = tuple(f for f in proof.at(Stage.DESIGN) if f.room == room)
        count = {v: sum(str(f.verdict) == v for f in mine) for v in STYLES}
        tight = worst(mine)
        words = ""
        if tight is not None:
            margin = number(tight.margin, tight.unit, signed=True) if tight.margin is not None else "no margin"
            words = (
                f"{margin}  {title(tight.code)}, {tight.subject}"
                if tight.unit or count["passes"] < len(mine)
                else "all met"
            )
        table.add_row(
            ROOM_TITLES.get(room, room), str(count["passes"]),
            Text(str(count["fails"]), style=STYLES["fails"] if count["fails"] else "dim"),
            Text(str(count["not judged"]), style=STYLES["not judged"] if count["not judged"] else "dim"), words,
        )  # fmt: skip
    return table


def headline(proof: Proof, edited: bool = False) -> Text:
    """One line that says it all: the verdict, the site, the revision, the counts."""
    from upmast.finding import Verdict

    value = str(proof.verdict())
    text = verdict(value)
    text.append(f"  {proof.site.id}", style="bold")
    if proof.site.name:
        text.append(f" {proof.site.name}")
    text.append(f", line revision {proof.line.revision}" + (" (edited since)" if edited else ""))
    counts = [f"{proof.count(v)} {v}" for v in (Verdict.FAILS, Verdict.NOT_JUDGED, Verdict.PASSES) if proof.count(v)]
    text.append("  ·  " + ", ".join(counts), style="dim")
    return text


def tell(out: Console, found: Finding | Figure) -> None:
    """The note, what is missing and the remedy of a finding, indented."""
    note = getattr(found, "note", "")
    if note:
        out.print(f"    {note}", style="dim")
    for lacking in getattr(found, "missing", ()):
        out.print(f"    missing: {lacking}", style="yellow")
    remedy = getattr(found, "remedy", "")
    if remedy and str(getattr(found, "verdict", "")) == "fails":
        out.print(f"    do: {remedy}")


def show_steps(out: Console, steps: Iterable[Step]) -> None:
    """A working, step by step: formula, values with origin and source, result."""
    from upmast.working import ChoiceStep, FormulaStep, LookupStep, SolvedStep

    for n, step in enumerate(steps, 1):
        if isinstance(step, FormulaStep):
            out.print(f"{n}. {step.result.meaning}", style="bold")
            _formula(out, step)
        elif isinstance(step, LookupStep):
            out.print(f"{n}. {step.result.meaning}", style="bold")
            out.print(f"     {symbol(step.result.symbol)} = {_value(step.result)}   read in {step.table}: {step.key}")
            out.print(f"     source: {step.result.source}", style="dim")
        elif isinstance(step, SolvedStep):
            names = ", ".join(f"{symbol(q.symbol)} = {_value(q)}" for q in step.results)
            out.print(f"{n}. {step.results[0].meaning}", style="bold")
            out.print(f"     {names}")
            out.print(f"     solved: {step.method}", style="dim")
            out.print(f"     residual {step.residual}; {step.certificate}", style="dim")
            for check in step.checks:
                out.print("     check:")
                _formula(out, check)
        elif isinstance(step, ChoiceStep):
            out.print(f"{n}. {step.chosen}", style="bold")
            out.print(f"     {step.rule}")
            for one in step.among[:40]:
                out.print(f"       {one}", style="dim")
        out.print()


def _formula(out: Console, step: Any) -> None:
    out.print(f"     {symbol(step.result.symbol)} = {step.expression.text()}")
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for _ in range(4):
        table.add_column()
    for q in step.inputs:
        table.add_row(f"       {symbol(q.symbol)}", _value(q), q.meaning, Text(f"{q.origin}: {q.source}", style="dim"))
    out.print(table)
    out.print(f"     {symbol(step.result.symbol)} = {_value(step.result)}", style="bold")


def symbol(name: str) -> str:
    from upmast.formula import Sym

    return Sym(name).text()


def _value(q: Any) -> str:
    """A value with enough digits to follow a working; hertz are shown in MHz."""
    if q.unit == "Hz":
        return f"{q.value / 1e6:.7g} MHz"
    if q.unit in ("", "Ω", "Ω/km", "dB", "dB/km", "1/K") or abs(q.value) < 0.1:
        text = f"{q.value:.6g}"
    else:
        text = f"{q.value:,.5g}".replace(",", "")
    return f"{text} {q.unit}".rstrip()


def finding_data(found: Finding | Figure) -> dict[str, object]:
    """A finding or figure as plain data."""
    limit: Limit | None = getattr(found, "limit", None)
    data: dict[str, object] = {
        "key": found.key, "code": found.code, "subject": found.subject, "title": title(found.code), "value": found.value, "unit": found.unit,
        "scenario": found.scenario, "note": found.note, "items": list(found.items),
    }  # fmt: skip
    from upmast.finding import Finding

    if isinstance(found, Finding):
        data |= {
            "verdict": str(found.verdict), "margin": found.margin, "stage": str(found.stage), "remedy": found.remedy, "missing": list(found.missing),
            "limit": None if limit is None else {
                "value": limit.value, "unit": limit.unit, "sense": str(limit.sense), "authority": str(limit.authority),
                "source": str(limit.source), "mark": str(limit.source.mark),
            },
        }  # fmt: skip
    return data


def steps_data(steps: Iterable[Step]) -> list[dict[str, object]]:
    """A working as plain data, formulas as text, Typst and MathML."""
    from dataclasses import is_dataclass

    def plain(value: object) -> object:
        if hasattr(value, "typst"):
            return {"text": value.text(), "typst": value.typst(), "mathml": value.mathml()}  # type: ignore[attr-defined]
        if is_dataclass(value) and not isinstance(value, type):
            return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
        if isinstance(value, tuple | list):
            return [plain(v) for v in value]
        return value if value is None or isinstance(value, bool | int | float | str) else str(value)

    return [{"step": type(step).__name__, **plain(step)} for step in steps]  # type: ignore[dict-item]
