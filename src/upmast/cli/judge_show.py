"""How a judging looks on a terminal: one screen, the most urgent first, what passes only counted."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.text import Text

from upmast.cli.show import SIGNS, STYLES, console
from upmast.codes import title
from upmast.field.queue import grouped
from upmast.field.reading_case import is_bound, margin_unit, places_of, shown_margin, value_words
from upmast.field.row import ASKED, TOLD, TOP, Urgency
from upmast.finding import Verdict
from upmast.number import number

if TYPE_CHECKING:
    from upmast.errors import Fault
    from upmast.field.intake import LeftOut
    from upmast.field.row import Row
    from upmast.field.session import Session
    from upmast.finding import Finding

HOW_READ = (
    "encoding: ",
    "delimiter: ",
    "decimal sign: ",
    "column ",
    "size without phase",
    "every angle is 0",
)  # nothing is mended by it
MOST_NOTED = 5
MOST_NAMED = 6  # photographs and documents
MOST_LISTED = 12  # of one kind on the screen; the rest is counted


def show(session: Session, *, every: bool = False, drawn: Sequence[str] = ()) -> None:
    """The whole session as text."""
    out = console()
    out.print(_headline(session))
    for heading, rows in grouped([row for row in session.rows if every or not _quiet(row)]):
        if rows[0].urgency >= Urgency.NOTED and not every:
            continue
        out.print(f"\n{heading}", style="bold")
        if every:
            show_rows(rows, every=True, out=out, word=False)
            continue
        alike = _alike(rows)
        for first, count in alike[:MOST_LISTED]:
            _row(out, first, count - 1)
        rest = sum(count for _, count in alike[MOST_LISTED:])
        if rest:
            out.print(f"  and {rest} more: --all", style="dim")
    out.print()
    _passes(session, out, every)
    _mendings(session, out, every)
    _tables(session, out, every)
    _others(session, out, every)
    _missing(session, out, every)
    if drawn:
        folders = sorted({place.replace("\\", "/").rpartition("/")[0] or "." for place in drawn})
        _line(out, f"pictures, one over frequency and one over distance of each sweep, in {', '.join(folders)}/", "dim")
    show_cautions(session.cautions, out)


def _quiet(row: Row) -> bool:
    """What another row says already, and notes about no file of its own: only --all shows them."""
    return row.folded or (row.state == TOLD and row.urgency is Urgency.NOTED and not row.files)


def show_cautions(cautions: Sequence[str], out: Console | None = None) -> None:
    _line(out or console(), f"Cautions: {' '.join(cautions)}", "dim")


def show_rows(rows: Sequence[Row], *, every: bool = False, out: Console | None = None, word: bool = True) -> None:
    """Rows one by one: what is the matter, and what to do; `word` where no heading says the verdict."""
    out = out or console()
    for row in rows:
        _row(out, row, 0, every, word)


def _row(out: Console, row: Row, alike: int, every: bool = False, word: bool = False) -> None:
    _print(out, _head(row, word, alike, every), 2)
    for text, style in _below(row, every):
        _line(out, text, style, 2)


def _short(out: Console, row: Row, alike: int) -> None:
    """A row on one line: what stands behind its end is listed with --all."""
    text = Text("  ").append_text(_head(row, False, alike))
    text.truncate(out.width, overflow="ellipsis")
    out.print(text, no_wrap=True, crop=False)


def _alike(rows: Sequence[Row]) -> list[tuple[Row, int]]:
    """Rows of the same files that say the same about different tests are shown once, the most urgent of them."""
    found: dict[object, list[Row]] = {}
    for n, row in enumerate(rows):
        item = row.test.partition(".")[0]
        key = (row.files, row.verdict, row.do.replace(item, "~")) if row.kind == "reading" and row.do else n
        found.setdefault(key, []).append(row)
    return [(some[0], len(some)) for some in found.values()]


def show_left(left_out: Sequence[LeftOut], out: Console | None = None) -> None:
    """What was not read, and why."""
    out = out or console()
    for left in left_out:
        words = f"not read: {left.name}: {left.why}" + (f"; {left.remedy}" if left.remedy else "")
        _line(out, words, "yellow" if left.loud else "dim")


def _headline(session: Session) -> Text:
    counts = session.counts()
    text = Text(session.proof.site.id, style="bold")
    text.append(f"  {len(session.files)} file{'s' * (len(session.files) != 1)}", style="dim")
    for word in ("fails", "not judged", "asked", "unreadable", "passes"):
        if counts[word]:
            style = STYLES.get(word, STYLES["not judged"])
            text.append(f"  {SIGNS.get(word, '◇')} {counts[word]} {word}", style=style)
    loud = sum(one.loud for one in session.left_out)
    if loud:
        text.append(f"  ◇ {loud} not read", style="bold yellow")
    return text


def _head(row: Row, word: bool, alike: int, every: bool = False) -> Text:
    """Sign, test or file, and in the same line what is the matter."""
    verdict = row.verdict or ("" if row.state == TOLD else "not judged")
    style = STYLES.get(verdict, "bold yellow" if row.urgency <= Urgency.BETWEEN else "dim")
    text = Text(f"{SIGNS.get(verdict, '◇')} ", style=style)
    if row.state == TOLD:
        return text.append(_plain(row.what), style="bold" if row.urgency <= Urgency.BETWEEN else "")
    if word:
        text.append(f"{row.verdict or row.state}  ", style=style)
    text.append(_plain(row.test or row.file), style="bold")
    if alike:
        text.append(f" and {alike} alike")
    if row.test and not row.file.upper().startswith(row.test.upper()):
        text.append(_plain(f"  {', '.join(row.files[:2])}"), style="dim")
    quiet = row.urgency is Urgency.NOTED and not word and not every  # its value is not what matters
    what = row.do if quiet and row.do else row.what.removeprefix(f"{row.file} ")
    return text.append(f"  {_plain(what)}")


def _below(row: Row, every: bool) -> list[tuple[str, str]]:
    out: list[tuple[str, str]] = []
    if row.do and (row.urgency is not Urgency.NOTED or row.state == TOLD):  # a remark stands in the head, or below
        more = (
            f" (or {len(row.answers) - 1} more: --all)"
            if row.state == ASKED and len(row.answers) > 1 and not every
            else " (what to --say: --all)"
            if row.state == TOLD and row.answers and not every
            else ""
        )
        out.append(
            (
                f"{row.do}{more}" if row.state == ASKED else f"do: {row.do}{more}",
                "bold" if row.urgency < Urgency.ASKED else "",
            )
        )
    if every:
        out += [(f"or: --say {shlex.quote(one)}", "dim") for one in row.answers[row.state == ASKED :]]
        out += _details(row)
    return out


def _details(row: Row) -> list[tuple[str, str]]:
    """What --all adds: every finding, remark and fault, the joints to open next, and what was mended."""
    out: list[tuple[str, str]] = []
    for f in row.findings:
        out.append((_finding(f, row.verdict), "dim"))
    if row.judged is not None and row.state != TOLD:
        out += [(f"then: {peak.words}", "") for peak in row.judged.open_first[1:3]]
        if row.judged.test != "short" and row.verdict != "passes":
            out.append((row.judged.fitted.sentence, "dim"))
    if row.state != TOLD:
        out += [
            (f"{one.words}; {one.remedy}" if one.remedy else one.words, "yellow" if one.level != "note" else "dim")
            for one in row.remarks
            if one.words not in row.what
        ]
    if row.faults is not None:
        out += [(text, "dim") for text in _faults(row.faults.faults)]
    out += [(f"mended: {words}", "dim") for words in _mended(row)]
    out += [(f"read: {words}", "dim") for words in row.mended if words.startswith(HOW_READ)]
    return out


def _faults(faults: Sequence[Fault]) -> list[str]:
    """Every fault; those that say the same of other lines are told once, with these lines."""
    alike: dict[tuple[str, str, str], list[Fault]] = {}
    for one in faults:
        alike.setdefault((_without_numbers(one.got), one.expected, one.remedy), []).append(one)
    out = []
    for some in alike.values():
        out.append(str(some[0]))
        lines = [str(one.line) for one in some[1:]]
        if lines:
            more = f" and {len(lines) - MOST_LISTED} more" if len(lines) > MOST_LISTED else ""
            out.append(f"and the like in line{'s' * (len(lines) > 1)} {', '.join(lines[:MOST_LISTED])}{more}")
    return out


def _without_numbers(got: str) -> str:
    return "".join("0" if ch.isdigit() else ch for ch in got)


def _mended(row: Row) -> list[str]:
    """What was changed on reading, for a person to know; how it was read is no part of it."""
    return [words for words in row.mended if not words.startswith(HOW_READ)]


def _mendings(session: Session, out: Console, every: bool) -> None:
    """What was mended in which file; with --all it stands with each."""
    mended = [(row.file, words) for row in session.rows if (words := _mended(row))]
    if every or not mended:
        return
    for file, words in mended[:MOST_LISTED]:
        _line(out, f"mended on reading: {file}: {'; '.join(words)}", "yellow")
    if len(mended) > MOST_LISTED:
        _line(out, f"and {len(mended) - MOST_LISTED} more files mended on reading: --all", "yellow")


def _finding(f: Finding, verdict: str) -> str:
    """One finding with value, limit and margin to the same digits; its own verdict and what it needs where that of the row is another."""
    places = places_of(f)
    margin = "-"
    if f.margin is not None:
        unit = margin_unit(f.unit)
        margin = number(shown_margin(f, places), unit, signed=True, places=places)
        margin += (
            (" or worse" if f.margin < 0 else " or more") if is_bound(f) and str(f.verdict) != "not judged" else ""
        )
    limit = f"{f.limit.sense} {number(f.limit.value, f.limit.unit, places=places)}" if f.limit is not None else "-"
    words = f"{title(f.code)}: {value_words(f, places)}, {limit}, margin {margin}"
    if str(f.verdict) != verdict:
        needs = f", it needs {f.missing[0]}" if f.verdict is Verdict.NOT_JUDGED and f.missing else ""
        words += f": {f.verdict}{needs}"
    return words


def _passes(session: Session, out: Console, every: bool) -> None:
    """How many pass, and in one line each what is to be known of them; with --all they stand above."""
    if every:
        return
    noted = [row for row in session.rows if row.urgency is Urgency.NOTED and not _quiet(row)]
    count = sum(row.verdict == "passes" for row in session.rows if row.urgency >= Urgency.NOTED)
    remarks = sum(row.verdict == "passes" for row in noted)
    if count:
        text = Text(f"● {count} pass{'es' * (count == 1)}", style="green")
        text.append(f", {remarks} with a remark" if remarks else "", style="green")
        out.print(text.append("  (--all lists them)", style="dim"))
    alike = _alike(noted)
    for row, more in alike[:MOST_NOTED]:
        _short(out, row, more - 1)
    if len(alike) > MOST_NOTED:
        out.print(f"  and {len(alike) - MOST_NOTED} more: --all", style="dim")


def _tables(session: Session, out: Console, every: bool) -> None:
    """What the columns of each table were taken for, and how to agree."""
    guessed = [one for one in session.tables if one.mapping is not None and not one.questions and not one.known]
    shown = session.tables if every else guessed[:MOST_LISTED]
    if guessed:
        _line(out, "Columns as guessed; --confirm agrees and remembers, --say decides otherwise", "")
    for one in shown:
        if one.mapping is None:
            continue
        how = ", as decided" if one.known else ", asked" if one.questions else ""
        _line(out, f"{one.file}{f', {one.sheet}' if one.sheet else ''}: {one.words}{how}", "dim", 2)
        if every:
            for row in one.mapping.shown():
                _line(out, row, "dim", 4)
        left = one.readings.left_out if one.readings is not None else ()
        if left:
            _line(out, f"{len(left)} rows hold no reading, the first in line {left[0][0]}: {left[0][1]}", "dim", 4)
    if len(guessed) > len(shown):
        _line(out, f"and {len(guessed) - len(shown)} more: --all", "dim", 2)


def _others(session: Session, out: Console, every: bool) -> None:
    """Photographs and documents, and what was not read."""
    if session.evidence:
        first = sorted(session.evidence, key=lambda one: not one.named)[:MOST_NAMED]
        count = len(session.evidence)
        words = (
            f"{count} photo or document for a person to look at"
            if count == 1
            else f"{count} photos or documents for a person to look at"
        )
        some = ", ".join(one.file.plain + (f" ({', '.join(one.named[:2])})" if one.named else "") for one in first)
        words += f": {some}" + (f" and {count - len(first)} more: --all" if count > len(first) and not every else "")
        _line(out, words, "dim")
        if every:
            for one in session.evidence:
                _line(out, f"{one.file.name}  {one.file.digest[:16]}  {', '.join(one.named)}", "dim", 4)
    shown = session.left_out if every else session.left_out[:MOST_LISTED]
    show_left(shown, out)
    if len(session.left_out) > len(shown):
        _line(out, f"and {len(session.left_out) - len(shown)} more not read: --all", "yellow")
    for note in session.notes if every else ():
        _line(out, note, "dim")


def _missing(session: Session, out: Console, every: bool) -> None:
    """Tests of the line that none of the files holds: at the top with what they need, the others counted."""
    if not session.missing:
        out.print("Every test of the line is in these files", style="green")
        return
    words = [one.words if every or one.where == TOP else f"{len(one.tests)} {one.where}" for one in session.missing]
    _line(out, f"Not in these files: {'; '.join(words)}", "")
    for one in session.missing if every else ():
        _line(out, f"{one.where}: {', '.join(one.tests)}", "dim", 2)


def _line(out: Console, text: str, style: str, indent: int = 0) -> None:
    _print(out, Text(" " * indent + _plain(text), style=style), indent)


def _print(out: Console, text: Text, indent: int) -> None:
    """A line that keeps its indent where it is wrapped, with no blanks behind it."""
    first, room = True, max(out.width - indent, 20)
    rows = text[indent:].wrap(out, room) if text.plain[:indent].isspace() else text.wrap(out, room)
    for row in rows:
        row.rstrip()
        lead = " " * indent if not first or text.plain[:indent].isspace() else ""
        out.print(Text(lead).append_text(row), no_wrap=True, crop=False, overflow="ignore")
        first = False


def _plain(text: str) -> str:
    """Text from outside without anything that a terminal would obey."""
    return "".join(ch if ch.isprintable() or ch == "\n" else "?" for ch in text)


__all__ = ["show", "show_cautions", "show_left", "show_rows"]
