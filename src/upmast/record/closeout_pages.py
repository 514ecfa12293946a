"""The closeout on paper: the verdict on page one, then what has to be looked at, then results and evidence."""

from __future__ import annotations

from datetime import datetime

from upmast.documents.sheet import Block, Bullets, Document, Facts, Heading, Paragraph, Picture, Table
from upmast.errors import shorten
from upmast.field.reading_judge import _CAUTIONS as READING_CAUTIONS
from upmast.field.setup import CAUTIONS
from upmast.record.closeout import Closeout, State
from upmast.record.closeout_matters import GRADES, KINDS, Matter, Review
from upmast.record.closeout_picture import progress_svg, words_of
from upmast.record.closeout_sheets import (
    again_table,
    counts_table,
    evidence_table,
    instruments_table,
    matters_table,
    missing_table,
    reports_table,
    results_table,
    signatures_table,
    tightest_table,
    waivers_table,
)
from upmast.record.words import is_are, many

MOST_MATTERS = 200  # of one kind on paper; the workbook has all
STAMPS = {"fails": "not accepted", "not judged": "not complete", "passes": ""}
SHOWN_DIGITS = 16
FIRST = (
    "fails",
    "not judged",
    "unreadable",
    "asked",
    "same evidence twice",
    "between files",
    "order of days",
    "measured again",
    "built otherwise",
)  # named on page one
MOST_FIRST, MOST_WORDS = 3, 170
OWN_CAUTIONS = (
    "A closeout tells what was measured and judged. It releases no line: who may switch on decides by the rules of the site.",
    "Nobody climbs for a missing test alone: the work is planned, with a rescue plan, by those who are trained for it.",
)


def closeout_document(review: Review, made: datetime, program: str) -> Document:
    """The document. Names and words of files are data in it, and nothing of them is read as markup."""
    closeout = review.closeout
    site, line = closeout.proof.site, closeout.proof.line
    return Document(
        f"Closeout of {site.id}", "What every test of the line shows, what is open, and what it rests on",
        f"{site.id} {site.name}".strip() + f"  ·  line revision {line.revision}  ·  {closeout.on.isoformat()}",
        STAMPS[str(closeout.verdict)],
        (*_page_one(review, made, program), *_exceptions(review), *_around(review)),
        (
            Heading("Results"), results_table(closeout, judged_only=True), *_unlisted(review), Heading("Evidence"),
            evidence_table(review, SHOWN_DIGITS),
        ),
    )  # fmt: skip


def _unlisted(review: Review) -> tuple[Block, ...]:
    count = sum(row.state is State.MISSING for row in review.closeout.shown)
    return (
        (
            Paragraph(
                f"{many(count, 'missing test')} {'has' if count == 1 else 'have'} no row here, and {is_are(count)} in the exceptions.",
                "note",
            ),
        )
        if count
        else ()
    )


def _page_one(review: Review, made: datetime, program: str) -> tuple[Block, ...]:
    closeout = review.closeout
    site, line = closeout.proof.site, closeout.proof.line
    counts = closeout.counts
    adds = " + ".join(f"{counts[state]} {state}" for state in State)
    grades = ", ".join(f"{count} of grade {grade} ({GRADES[grade]})" for grade, count in review.grades.items())
    since = (("Since", str(closeout.since)),) if closeout.since is not None else ()
    open_ = ", ".join(f"{count} {place}" for place, count in closeout.open_at.items())
    return (
        Heading(closeout.words),
        Facts(
            (
                ("Site", f"{site.id} {site.name}".strip() + f", radio plan revision {site.revision or 'not named'}"),
                ("Line", f"revision {line.revision}, digest {line.digest[:SHOWN_DIGITS]}"),
                ("Still to do", open_ or "nothing"),
                ("Made", f"{made:%Y-%m-%d %H:%M} {made.tzname() or ''}".strip() + f" by {program}; waivers as of {closeout.on.isoformat()}"),
                ("Head of the record", str(closeout.head)),
                *since,
            )
        ),
        Picture(progress_svg(closeout), words_of(closeout), wide=True),
        *_first(review),
        counts_table(closeout),
        Heading("Counts that agree", 2),
        Bullets(
            (
                f"{len(closeout.rows)} tests = {adds}.",
                f"Evidence: {grades}.",
                f"Built against designed: {review.layers.words}.",
                f"Waivers: {len(review.waivers)}, in force {sum(state == 'holds' for _, state in review.waivers)}. "
                f"Signatures: {len(review.signatures)}. Factory reports: {len(review.reports)}.",
            )
        ),
        Paragraph(
            "The same verdicts follow from the raw files in closeout.zip: upmast record recheck closeout.zip judges them again.", "note"
        ),
    )  # fmt: skip


def _first(review: Review) -> tuple[Block, ...]:
    """What to look at first, and the tightest of what passes. Matters that one thing settles are told once."""
    groups: dict[tuple[str, str], list[Matter]] = {}
    for one in review.matters:
        if one.kind in FIRST:
            groups.setdefault((one.kind, one.remedy), []).append(one)
    told = []
    for (kind, _), some in list(groups.items())[:MOST_FIRST]:
        more = f" and {len(some) - 1} more" if len(some) > 1 else ""
        told.append(shorten(f"{some[0].subject}{more}, {kind}: {some[0].words}", MOST_WORDS))
    tightest = tightest_table(review.closeout)
    first: tuple[Block, ...] = (Heading("First to look at", 2), Bullets(tuple(told))) if told else ()
    margins: tuple[Block, ...] = (Heading(tightest.title, 2), tightest) if tightest.rows else ()
    return (*first, *margins, Heading("Tests by state", 2))


def _exceptions(review: Review) -> tuple[Block, ...]:
    out: list[Block] = [Heading("Exceptions", new_page=True)]
    for kind in KINDS:
        matters = review.of(kind)
        if not matters:
            continue
        table = _table(review, kind, matters)
        words = f"{table.title}: {len(matters)}" + (
            ", what needs somebody at the top first" if kind == "missing" else ""
        )
        out += [Heading(words, 2), table]
        if kind != "missing" and len(matters) > MOST_MATTERS:
            out.append(Paragraph(f"{len(matters) - MOST_MATTERS} more stand in the workbook.", "note"))
    if len(out) == 1:
        out.append(Paragraph("None."))
    return tuple(out)


def _table(review: Review, kind: str, matters: tuple[Matter, ...]) -> Table:
    if kind == "missing":
        return missing_table(review.closeout)
    if kind == "measured again" and len(matters) <= MOST_MATTERS:
        return again_table(review)
    return matters_table(kind, matters[:MOST_MATTERS])


def _around(review: Review) -> tuple[Block, ...]:
    without = review.serials_without
    layers = review.layers
    out: list[Block] = [Heading("Built against designed", new_page=True), Paragraph(f"Differences: {layers.words}.")]
    if layers.differences:
        out.append(Bullets(layers.differences))
    for table in (instruments_table(review), reports_table(review), waivers_table(review), signatures_table(review)):
        out += [Heading(table.title, 2), table if table.rows else Paragraph("None in the record.")]
        if table.title.startswith("Factory") and without:
            out.append(Paragraph(f"Serial numbers of the line without a report: {', '.join(without)}", "note"))
    out += [Heading("Cautions", 2), Bullets(cautions_of(review.closeout), "caution")]
    return tuple(out)


def cautions_of(closeout: Closeout) -> tuple[str, ...]:
    """What can hurt somebody in the tests that are still to be done or done again: of sweeps always, of each kind of readings that is open."""
    kinds = (row.test.id.split(".")[1:2] for row in closeout.rows if row.without is not State.PASSES)
    open_ = dict.fromkeys(kind for some in kinds for kind in some)
    own = (words for kind, some in READING_CAUTIONS.items() if kind in open_ for words in some)
    return tuple(dict.fromkeys((*OWN_CAUTIONS, *CAUTIONS, *own)))
