"""The closeout as tables: results, exceptions, missing tests, evidence, and what stands around them. No file format here."""

from __future__ import annotations

from collections import Counter

from upmast.documents.sheet import Cell, Column, Sheet, Table, Workbook, joined
from upmast.field.reading_case import margin_unit, value_words
from upmast.number import number
from upmast.record.closeout import Closeout, Row, State, limit_words, place_rank
from upmast.record.closeout_matters import GRADES, Matter, Review, day_of
from upmast.record.kinds import FileKept, Judgement, Measurement, Photo

MOST_TESTS = 400  # that one cell names
KIND_TITLES = {
    "fails": "Fails", "not judged": "Not judged", "missing": "Missing", "unreadable": "Unreadable", "kept only": "Kept, and judged as no test", "asked": "Asked: it belongs to no test yet",
    "same evidence twice": "Same evidence twice?", "between files": "What several files say together",
    "order of days": "Which measurement is the last, by its day", "measured again": "Measured again, with another verdict", "differs from design": "Differs from design, and decides nothing", "waived": "Waived",
    "built otherwise": "Built otherwise than designed", "instrument": "Instruments", "inputs": "Limits, rules and files of the site",
    "changed": "Changed since the last review",
}  # fmt: skip

RESULTS = (
    Column("Test", width=20), Column("What", width=30), Column("Where", width=11), Column("State", width=11),
    Column("Value", width=13), Column("Limit", width=16), Column("Margin", width=12), Column("File", width=26), Column("Grade", width=7),
    Column("Measured", width=14),
)  # fmt: skip


def shown_value(row: Row) -> str:
    first = row.first
    return value_words(first) if first is not None and first.value is not None else ""


def margin_words(row: Row) -> str:
    first = row.first
    return (
        number(first.margin, margin_unit(first.unit), signed=True)
        if first is not None and first.margin is not None
        else ""
    )


def limit_of(row: Row) -> str:
    """The limit that it was judged against; that of the test where it was not judged."""
    limit = row.first.limit if row.first is not None else row.test.limit
    return limit_words(limit) if limit is not None else ""


def results_table(closeout: Closeout, judged_only: bool = False) -> Table:
    """One row a test: what it is, how it stands, value, limit, margin and file; the most urgent first."""
    rows: list[tuple[Cell, ...]] = []
    for row in closeout.shown:
        if judged_only and row.stands is None:
            continue
        state = str(row.state) if row.waiver is None else f"{row.state} ({row.without})"
        measured = row.stands.measurement if row.stands else None
        rows.append(
            (
                row.test.id, row.test.title, row.test.where, state, shown_value(row), limit_of(row), margin_words(row), row.file,
                measured.evidence if measured else "", measured.measured if measured else "",
            )
        )  # fmt: skip
    since = f" Only what changed since {closeout.since}." if closeout.since is not None else ""
    return Table("Results", RESULTS, tuple(rows), f"A margin above zero is on the good side.{since}")


def full_table(closeout: Closeout) -> Table:
    """The same for programs and spreadsheets: numbers as numbers, with digests and reasons."""
    columns = (
        Column("Test", width=20), Column("What", width=34), Column("Where", width=12), Column("State", width=12),
        Column("Without waiver", width=12), Column("Value", width=10, kind="number", places=4), Column("Unit", width=8),
        Column("Limit", width=16), Column("Margin", width=10, kind="number", places=4), Column("Reason", width=50), Column("What to do", width=50),
        Column("File", width=28), Column("SHA-256 of the file", width=24), Column("Grade", width=8), Column("Measured", width=16),
        Column("Instrument", width=22), Column("Judged by", width=30), Column("Waived by", width=16), Column("Waived until", width=12),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for row in closeout.shown:
        first, measured = row.first, row.stands.measurement if row.stands else None
        rows.append(
            (
                row.test.id, row.test.title, row.test.where, str(row.state), str(row.without), first.value if first else None,
                first.unit if first else row.test.unit, limit_of(row), first.margin if first else None, row.reason, row.remedy, row.file,
                measured.content if measured else "", measured.evidence if measured else "", measured.measured if measured else "",
                measured.instrument if measured else "", f"{row.stands.judgement.rules}, {row.stands.judgement.program}" if row.stands else "",
                row.waiver.name if row.waiver else "", row.waiver.expires if row.waiver else "",
            )
        )  # fmt: skip
    return Table("Results", columns, tuple(rows))


def counts_table(closeout: Closeout) -> Table:
    """How many tests are in each state, by what is measured and where; the last row sums them."""
    columns = (
        Column("What is measured", width=30), Column("Where", width=14),
        *(Column(str(state), width=9, kind="count") for state in State), Column("tests", width=9, kind="count"),
    )  # fmt: skip
    groups: dict[tuple[int, str, str], Counter[State]] = {}
    for row in closeout.rows:
        key = (place_rank(row.test.where), row.test.where, row.test.quantity)
        groups.setdefault(key, Counter())[row.state] += 1
    rows: list[tuple[Cell, ...]] = [
        (quantity, where, *(counts[state] for state in State), sum(counts.values()))
        for (_, where, quantity), counts in sorted(groups.items(), key=lambda pair: pair[0])
    ]
    rows.append(("all tests", "", *(closeout.counts[state] for state in State), len(closeout.rows)))
    return Table("Tests by state", columns, tuple(rows))


def missing_table(closeout: Closeout) -> Table:
    """What is missing, what needs somebody at the top first: before anyone comes down. Tests of one kind and condition in a row."""
    groups: dict[tuple[int, str, str, str], list[str]] = {}
    for row in closeout.shown:
        if row.state is not State.MISSING:
            continue
        item, _, kind = row.test.id.partition(".")
        groups.setdefault((place_rank(row.test.where), row.test.where, row.test.quantity, kind), []).append(item)
    rows: list[tuple[Cell, ...]] = [
        (where, quantity, f".{kind}", len(some), joined(some, MOST_TESTS))
        for (_, where, quantity, kind), some in sorted(groups.items(), key=lambda pair: pair[0])
    ]
    columns = (
        Column("Where", width=11), Column("What", width=19), Column("Test", width=11), Column("How many", width=8, kind="count"),
        Column("Of", width=66),
    )  # fmt: skip
    return Table("Missing", columns, tuple(rows), "How each is set up stands in the test plan and in the workbook.")


TIGHTEST = 3


def tightest_table(closeout: Closeout) -> Table:
    """The results that pass with the least margin, as a share of their limit: the ones that a second look pays for."""
    passing = [
        row for row in closeout.of(State.PASSES) if row.first and row.first.limit and row.first.margin is not None
    ]

    def share(row: Row) -> float:
        first = row.first
        assert first is not None
        assert first.limit is not None
        return (first.margin or 0.0) / (abs(first.limit.value or 0.0) or 1.0)

    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (row.test.id, row.test.title, shown_value(row), limit_of(row), margin_words(row), row.file)
        for row in sorted(passing, key=share)[:TIGHTEST]
    )
    columns = (
        Column("Test", width=20), Column("What", width=36), Column("Value", width=14), Column("Limit", width=18), Column("Margin", width=14),
        Column("File", width=28),
    )  # fmt: skip
    return Table("Tightest margins that pass", columns, rows)


MATTERS = (
    Column("Test or file", width=24), Column("Where", width=12), Column("What is so", width=52), Column("What settles it", width=48),
)  # fmt: skip


def matters_table(kind: str, matters: tuple[Matter, ...]) -> Table:
    rows: tuple[tuple[Cell, ...], ...] = tuple((one.subject, one.where, one.words, one.remedy) for one in matters)
    return Table(KIND_TITLES[kind], MATTERS, rows)


def exceptions_table(review: Review) -> Table:
    """Every exception in one table, the gravest first."""
    columns = (Column("Kind", width=20), *MATTERS)
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (one.kind, one.subject, one.where, one.words, one.remedy) for one in review.matters
    )
    return Table("Exceptions", columns, rows)


def again_table(review: Review) -> Table:
    """Every earlier judgement that says otherwise than what stands, with its file, day and instrument."""
    columns = (
        Column("Test", width=20), Column("Earlier", width=10), Column("Value", width=12), Column("Limit", width=16), Column("File", width=26),
        Column("Day", width=12), Column("Instrument", width=22), Column("Stands now", width=11), Column("Value now", width=12),
        Column("File now", width=26),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for row in review.closeout.shown:
        for one in row.earlier:
            first = one.judgement.findings[0]
            rows.append(
                (
                    row.test.id, first.verdict, value_words(first) if first.value is not None else "",
                    limit_words(first.limit), one.measurement.name, day_of(one), one.measurement.instrument or "not named",
                    str(row.without), shown_value(row), row.file,
                )
            )  # fmt: skip
    note = "The last measurement stands. An earlier one is not unsaid by it: look what was changed between the two."
    return Table("Measured again, with another verdict", columns, tuple(rows), note)


def evidence_table(review: Review, digits: int = 64) -> Table:
    """Every raw file with its digest, what it holds, its grade, and the tests that were judged by it."""
    whole = review.closeout.whole
    tests: dict[str, list[str]] = {}
    for _, judged in whole.of(Judgement):
        tests.setdefault(judged.measurement, []).append(judged.test)
    rows: dict[tuple[str, str], list[str]] = {}
    days: dict[tuple[str, str], list[str]] = {}
    about: dict[tuple[str, str], tuple[str, str, str]] = {}
    for entry, one in whole.of(Measurement):
        key = (one.name, one.content)
        rows.setdefault(key, []).extend(tests.get(entry.key, ()))
        days.setdefault(key, []).append(one.measured[:10] or "not known")
        about.setdefault(key, (one.sort, one.evidence, one.instrument))
    for _, photo in whole.of(Photo):
        rows.setdefault((photo.name, photo.content), []).append(photo.subject)
        days.setdefault((photo.name, photo.content), []).append(photo.taken[:10] or "not known")
        about.setdefault((photo.name, photo.content), ("photo", "C", photo.shows))
    for _, kept in whole.of(FileKept):
        about.setdefault((kept.name, kept.content), (kept.sort, "", kept.note))
        rows.setdefault((kept.name, kept.content), [])
    columns = (
        Column("File", width=30), Column("SHA-256", width=20 if digits < 64 else 40), Column("Holds", width=15), Column("Measured", width=12), Column("Grade", width=7),
        Column("Tests", width=40), Column("Instrument or note", width=26),
    )  # fmt: skip
    cells: tuple[tuple[Cell, ...], ...] = tuple(
        (
            name,
            content[:digits],
            about[name, content][0],
            joined(sorted(dict.fromkeys(days.get((name, content), ()))), 3),
            about[name, content][1],
            joined(dict.fromkeys(some), 12),
            about[name, content][2][:160],
        )
        for (name, content), some in sorted(rows.items())
    )
    grades = "; ".join(f"{grade}: {words}" for grade, words in GRADES.items())
    return Table("Evidence", columns, cells, f"Grades. {grades}.")


def waivers_table(review: Review) -> Table:
    columns = (
        Column("Test or finding", width=22), Column("State", width=10), Column("By", width=18), Column("From", width=11),
        Column("Until", width=11), Column("Reason", width=50),
    )  # fmt: skip
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (one.subject, state, one.name + (f", {one.role}" if one.role else ""), one.granted, one.expires, one.reason)
        for one, state in review.waivers
    )
    return Table(
        "Waivers", columns, rows, "A waiver accepts a finding by name until a day. The verdict itself stays what it is."
    )


def signatures_table(review: Review) -> Table:
    columns = (
        Column("Name", width=20), Column("Role", width=16), Column("Signed", width=18), Column("Over entries", width=10, kind="count"),
        Column("Statement", width=56),
    )  # fmt: skip
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (one.name, ", ".join(p for p in (one.role, one.company) if p), one.signed, one.entries, one.statement)
        for one in review.signatures
    )
    return Table(
        "Signatures", columns, rows, "Declared, not cryptographic: they show who was named, and over which entries."
    )


def reports_table(review: Review) -> Table:
    columns = (
        Column("Serial number", width=18), Column("Part", width=24), Column("Made", width=11), Column("File", width=30), Column("SHA-256", width=26),
    )  # fmt: skip
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (one.serial, one.part, one.made, one.name, one.content[:16]) for one in review.reports
    )
    return Table("Factory test reports", columns, rows)


def instruments_table(review: Review) -> Table:
    rows: tuple[tuple[Cell, ...], ...] = tuple(review.instruments.items())
    return Table(
        "Instruments",
        (Column("Instrument and serial, as declared", width=50), Column("Measurements", width=12, kind="count")),
        rows,
    )


def results_book(review: Review, program: str) -> Workbook:
    """The workbook: results, exceptions, counts, evidence, waivers, signatures."""
    closeout = review.closeout
    site = closeout.proof.site
    head = (
        f"Site {site.id} {site.name}".strip() + f", line revision {closeout.proof.line.revision}, on {closeout.on.isoformat()}",
        closeout.words, f"Head of the record: {closeout.head}", f"Made by {program}",
    )  # fmt: skip
    tables = {
        "Results": full_table(closeout), "Exceptions": exceptions_table(review), "Counts": counts_table(closeout),
        "Measured again": again_table(review), "Evidence": evidence_table(review), "Waivers": waivers_table(review), "Signatures": signatures_table(review),
        "Reports": reports_table(review), "Instruments": instruments_table(review),
    }  # fmt: skip
    return Workbook(
        f"Closeout {site.id}, line revision {closeout.proof.line.revision}", "What every test shows, and what is open",
        tuple(Sheet(name, table, head) for name, table in tables.items()),
    )  # fmt: skip
