"""The calculation sheet: verdict, margins, scenarios, limits, findings by room, the working behind each code, tests, choices."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from upmast.catalogue.catalogue import Catalogue
from upmast.codes import ROOM_TITLES, codes
from upmast.documents.acceptance import axis_text, band_text, limit_text
from upmast.documents.chart import margin_chart, voltage_chart
from upmast.documents.colour import share_text
from upmast.documents.earth_pages import earth_blocks
from upmast.documents.fibre_pages import sheet_pictures
from upmast.documents.jumper_pages import jumper_blocks
from upmast.documents.light_pages import light_blocks
from upmast.documents.marks import share_of, stamp_of, title_of, verdict_words
from upmast.documents.maths import maths, maths_of_symbol
from upmast.documents.pim_pages import pim_blocks
from upmast.documents.port_map import tables as port_tables
from upmast.documents.power_pages import power_blocks
from upmast.documents.sheet import (
    Block,
    Bullets,
    Cell,
    Column,
    Document,
    Facts,
    Formula,
    Heading,
    Paragraph,
    Picture,
    Table,
    joined,
)
from upmast.documents.supply_pages import supply_blocks
from upmast.documents.support_pages import support_blocks
from upmast.finding import Finding, Stage, Verdict, worst
from upmast.number import number
from upmast.proof.earth_plan import earth_of, has_earth
from upmast.proof.jumpers import has_jumpers, jumpers_of
from upmast.proof.light import has_light, light_of
from upmast.proof.mast_lines import has_mast_lines, mast_lines_of
from upmast.proof.mixes import has_mixes, mixes_of
from upmast.proof.prove import Proof
from upmast.proof.supply import has_supply, supply_of
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity, SolvedStep, Step

TOP = 10


def calc_sheet(
    proof: Proof, picture: str = "", issued: str = "", charts: bool = True, catalogue: Catalogue | None = None
) -> Document:
    """
    The document of a proof. `catalogue` prices the other sizes of cable that it compares.

    `picture` is the drawing as SVG text; `charts` False leaves out the charts, which take the longest to draw.
    """
    site, line = proof.site, proof.line
    stamp = stamp_of(proof)
    name = f" {site.name}" if site.name else ""
    blocks: list[Block] = [
        *_cover(proof, issued), *(_charts(proof) if charts else ()), *_supply(proof, catalogue, charts), *_light(proof, charts), *_jumpers(proof, charts), *_mixes(proof, charts), *_mast_lines(proof, charts), *_earth(proof, charts), *_cautions(proof), *_scenarios(proof), *_limits(proof),
        *_findings(proof), *_workings(proof), *_figures(proof), *_choices(proof),
    ]  # fmt: skip
    annex: list[Block] = [*_expectations(proof), *_maps(proof)]
    if picture:
        alt = f"The antenna line of {site.id} from the cabinet to the antennas. Its parts and margins are in the tables of this sheet."
        annex += [Picture(picture, alt, "The line as it stands", landscape=True)]
    return Document(
        f"Calculation sheet, antenna line {site.id}{name}", "Proof of the antenna line, with the working of every governing result",
        f"{site.id} · line revision {line.revision} · {line.digest[:12]}", stamp, tuple(blocks), tuple(annex),
    )  # fmt: skip


def _cover(proof: Proof, issued: str) -> Iterable[Block]:
    site, line = proof.site, proof.line
    yield Heading("Summary")
    yield Facts(
        (
            ("Site", f"{site.id}{', ' + site.name if site.name else ''}"),
            ("Radio plan", f"revision {site.revision}{', ' + site.author if site.author else ''}"),
            ("Line", f"revision {line.revision}, {line.layer}"),
            ("Digest of the line", line.digest),
            ("Issued", issued or "not issued"),
            ("Design verdict", verdict_words(proof)),
        )
    )
    if site.note:
        yield Paragraph(f"Note of the site: {site.note}", "note")
    yield Heading("The smallest margins", 2)
    yield _top_table(proof)
    yield Paragraph(
        "The worst of each kind, at most ten. A margin is signed, and positive is good; a share is the margin against the limit, "
        "or against the scale that the limit names. A value against a limit that is only remembered is not judged until the site "
        "confirms the limit.",
        "note",
    )
    unjudged = Counter(f.code for f in proof.at(Stage.DESIGN) if f.verdict is Verdict.NOT_JUDGED)
    if unjudged:
        yield Paragraph("Not judged: " + joined(f"{title_of(code)} ({n})" for code, n in unjudged.items()) + ".")


def _top_table(proof: Proof) -> Table:
    """The worst finding of each code, worst first, with how many of its kind fail."""
    by_code = _by_code(proof)
    tops = _smallest(worst(tuple(founds)) or founds[0] for founds in by_code.values())[:TOP]
    columns = (*FINDING_COLUMNS, Column("Fails", width=11))
    rows = []
    for found, row in zip(tops, _finding_table("", tops).rows, strict=True):
        mine = by_code[found.code]
        rows.append((*row, f"{sum(f.verdict is Verdict.FAILS for f in mine)} of {len(mine)}"))
    return Table("", columns, tuple(rows))


def _by_code(proof: Proof) -> dict[str, list[Finding]]:
    by_code: dict[str, list[Finding]] = {}
    for found in proof.at(Stage.DESIGN):
        by_code.setdefault(found.code, []).append(found)
    return by_code


def _by_margin(findings: Iterable[Finding]) -> list[Finding]:
    """Failures first, then what is not judged, then the smallest share."""
    left = list(findings)
    order = {Verdict.FAILS: 0, Verdict.NOT_JUDGED: 1, Verdict.PASSES: 2}
    share = {f.key: f.normalised_margin for f in left}

    def rank(found: Finding) -> tuple[int, float, str]:
        known = share[found.key]
        return order[found.verdict], known if known is not None else float("inf"), found.key

    return sorted(left, key=rank)


def _smallest(findings: Iterable[Finding]) -> list[Finding]:
    """Failures first, then everything that has a margin, the smallest share first."""
    known = [f for f in findings if f.verdict is Verdict.FAILS or share_of(f) is not None]
    fails = [f for f in _by_margin(known) if f.verdict is Verdict.FAILS]
    rest = sorted(
        (f for f in known if f.verdict is not Verdict.FAILS), key=lambda f: (f.normalised_margin or 0.0, f.key)
    )
    return fails + rest


FINDING_COLUMNS = (
    Column("Finding", width=26), Column("Subject", width=13), Column("Value", width=12), Column("Limit", width=16),
    Column("Margin", width=12), Column("Share", width=9), Column("Scenario", width=12), Column("Verdict", width=12),
)  # fmt: skip


def _finding_table(title: str, findings: Iterable[Finding]) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for f in findings:
        rows.append(
            (
                title_of(f.code), f.subject, number(f.value, f.unit) if f.value is not None else "", limit_text(f.limit),
                number(f.margin, f.unit, signed=True) if f.margin is not None else "",
                share_text(share_of(f)) if share_of(f) is not None else "", f.scenario, str(f.verdict),
            )
        )  # fmt: skip
    return Table(title, FINDING_COLUMNS, tuple(rows))


def _charts(proof: Proof) -> Iterable[Block]:
    bars = margin_chart(proof)
    if bars is not None:
        yield Picture(
            bars,
            "Bars: the smallest margin of each room, as a share of its limit; the numbers are in the tables.",
            "Smallest margin by room",
        )
    dots = voltage_chart(proof)
    if dots is not None:
        yield Picture(
            dots,
            "Dots: the lowest voltage at each radio beside its limit; the numbers are in the tables.",
            "Lowest voltage at each radio",
        )


def _supply(proof: Proof, catalogue: Catalogue | None, charts: bool) -> Iterable[Block]:
    if has_supply(proof):
        supply = supply_of(proof, catalogue)
        yield from supply_blocks(supply)
        if charts:
            yield from power_blocks(proof, supply, catalogue)


def _light(proof: Proof, charts: bool) -> Iterable[Block]:
    if has_light(proof):
        yield from light_blocks(light_of(proof))
        if charts:
            yield from sheet_pictures(proof)


def _mixes(proof: Proof, charts: bool) -> Iterable[Block]:
    if has_mixes(proof):
        yield from pim_blocks(proof, mixes_of(proof), charts)


def _mast_lines(proof: Proof, charts: bool) -> Iterable[Block]:
    if has_mast_lines(proof):
        yield from support_blocks(proof, mast_lines_of(proof), charts)


def _earth(proof: Proof, charts: bool) -> Iterable[Block]:
    if has_earth(proof):
        yield from earth_blocks(earth_of(proof), charts)


def _jumpers(proof: Proof, charts: bool) -> Iterable[Block]:
    if has_jumpers(proof):
        yield from jumper_blocks(proof, jumpers_of(proof), charts)


def _cautions(proof: Proof) -> Iterable[Block]:
    texts = list(dict.fromkeys(text for room in proof.cautions.values() for text in room))
    if texts:
        yield Heading("Cautions", new_page=True)
        yield Bullets(tuple(texts), "caution")


def _scenarios(proof: Proof) -> Iterable[Block]:
    columns = (
        Column("Scenario", width=14), Column("What it is", width=44), Column("Bus", "V", 9), Column("Air", "°C", 9),
        Column("Sun", "W/m²", 9), Column("Load", "%", 9),
    )  # fmt: skip
    yield Heading("Scenarios")
    yield Table(
        "", columns,
        tuple((s.id, s.title, f"{s.bus_v:g}", f"{s.ambient_c:g}", f"{s.sun_w_per_m2:g}", f"{100 * s.load_fraction:g}") for s in proof.scenarios),
    )  # fmt: skip


def _limits(proof: Proof) -> Iterable[Block]:
    """The limits that a finding of this proof was judged by, a part's own among them."""
    columns = (
        Column("Code", width=28), Column("What", width=32), Column("Limit", width=18), Column("Set by", width=14),
        Column("Source", width=44), Column("Mark", width=11),
    )  # fmt: skip
    used = {(f.code, f.limit.value): f.limit for f in proof.findings if f.limit is not None}
    rows: list[tuple[Cell, ...]] = [
        (code, title_of(code), limit_text(limit), str(limit.authority), str(limit.source), str(limit.source.mark))
        for (code, _), limit in sorted(used.items())
    ]
    yield Heading("Limits in force")
    yield Table("", columns, tuple(rows))


def _findings(proof: Proof) -> Iterable[Block]:
    yield Heading("Findings by room", new_page=True)
    for name, room in proof.rooms.items():
        if room.result.findings:
            yield Heading(ROOM_TITLES.get(name, name), 2)
            yield _finding_table("", _by_margin(room.result.findings))
            actions = _actions(room.result.findings)
            if actions:
                yield Paragraph("What to do:")
                yield Bullets(actions)


def _actions(findings: Iterable[Finding]) -> tuple[str, ...]:
    """What to do about each finding that does not pass; equal advice once, with the subjects that it is for."""
    subjects: dict[tuple[str, str], list[str]] = {}
    for f in _by_margin(findings):
        advice = (
            "; ".join(f.missing) if f.verdict is Verdict.NOT_JUDGED else f.remedy if f.verdict is Verdict.FAILS else ""
        )
        if advice:
            subjects.setdefault((f"{title_of(f.code)}, {f.verdict}", advice), []).append(f.subject)
    return tuple(f"{what}: {advice} ({joined(ids, 24)})" for (what, advice), ids in subjects.items())


# --- workings -------------------------------------------------------------------------------------------------------


def _workings(proof: Proof) -> Iterable[Block]:
    """For each code, the whole working of the finding that governs."""
    by_code = _by_code(proof)
    if by_code:
        yield Heading("Workings of the governing findings", new_page=True)
    for code, founds in by_code.items():
        found = worst(tuple(founds)) or founds[0]
        yield Heading(f"{title_of(code)}: {found.subject}", 2)
        known = codes().get(code)
        meaning = f"{known.meaning} " if known else ""
        limit = f", {limit_text(found.limit)}" if found.limit else ""
        value = number(found.value, found.unit) if found.value is not None else "no value"
        yield Paragraph(f"{meaning}Here {value}{limit}: {found.verdict}. {found.note}".strip())
        for step in proof.working(found):
            yield from step_blocks(step)


def _where(q: Quantity) -> str:
    return f"{q.origin}: {q.source}"


def _row(q: Quantity) -> tuple[str, str, str, str, str, str]:
    return maths_of_symbol(q.symbol), q.symbol, q.meaning, number(q.value, q.unit), str(q.origin), str(q.source)


def step_blocks(step: Step) -> Iterable[Block]:
    """The blocks of one step of a working."""
    if isinstance(step, FormulaStep):
        left, right = maths_of_symbol(step.result.symbol), maths(step.expression)
        yield Formula(
            f"{left} = {right}" if left and right else "", f"{step.result.symbol} = {step.expression.text()}",
            number(step.result.value, step.result.unit), step.result.meaning, str(step.result.source),
            tuple(_row(q) for q in step.inputs),
        )  # fmt: skip
    elif isinstance(step, LookupStep):
        q = step.result
        yield Paragraph(
            f"Looked up: {q.meaning}, {q.symbol} = {number(q.value, q.unit)}, from {step.table} at {step.key} ({_where(q)})."
        )
    elif isinstance(step, SolvedStep):
        yield Paragraph(f"Solved together by {step.method}; residual {step.residual}; {step.certificate}.")
        columns = (
            Column("Symbol", width=12),
            Column("Meaning", width=44),
            Column("Value", width=16),
            Column("Origin and source", width=44),
        )
        yield Table("", columns, tuple((q.symbol, q.meaning, number(q.value, q.unit), _where(q)) for q in step.results))
        if step.checks:
            yield Paragraph("The solution is checked by:")
        for check in step.checks:
            yield from step_blocks(check)
    elif isinstance(step, ChoiceStep):
        among = f" Among: {joined(step.among, 24)}." if step.among else ""
        yield Paragraph(f"Chosen: {step.chosen}, {step.rule}.{among}")


# --- the rest -------------------------------------------------------------------------------------------------------


def _figures(proof: Proof) -> Iterable[Block]:
    if proof.figures:
        columns = (
            Column("Figure", width=32), Column("Subject", width=16), Column("Value", width=16), Column("Scenario", width=14),
            Column("Note", width=60),
        )  # fmt: skip
        yield Heading("Figures without a limit")
        yield Table(
            "",
            columns,
            tuple((title_of(f.code), f.subject, number(f.value, f.unit), f.scenario, f.note) for f in proof.figures),
        )
        sources = dict.fromkeys((title_of(f.code), str(f.source)) for f in proof.figures)
        yield Paragraph("Sources:")
        yield Bullets(tuple(f"{name}: {source}" for name, source in sources))


def _expectations(proof: Proof) -> Iterable[Block]:
    if proof.expectations:
        columns = (
            Column("Test", width=20), Column("What and set-up", width=86), Column("Expected", width=24), Column("Limit", width=20),
            Column("Reading", width=14), Column("Instrument serial", width=16), Column("Name and date", width=20),
        )  # fmt: skip
        rows: list[tuple[Cell, ...]] = []
        for one in sorted(proof.expectations, key=lambda e: e.where):
            low, high = band_text(one)
            over = f" Over {axis_text(one)}." if one.axis else ""
            where = f" ({one.where})" if one.where else ""
            what = f"{one.title}{where}. {one.set_up}{over}"
            rows.append((one.id, what, f"lowest {low}; highest {high}", limit_text(one.limit), "", "", ""))
        yield Heading("Test plan")
        yield Table("", columns, tuple(rows))


def _choices(proof: Proof) -> Iterable[Block]:
    reasons: dict[tuple[str, str], list[str]] = {}
    for item in proof.line.items:
        if item.reason:
            reasons.setdefault((item.part, item.reason), []).append(item.id)
    if reasons:
        columns = (Column("Items", width=40), Column("Part", width=26), Column("Why", width=60))
        yield Heading("Choices and their reasons")
        yield Table("", columns, tuple((joined(ids, 24), part, why) for (part, why), ids in reasons.items()))


def _maps(proof: Proof) -> Iterable[Block]:
    yield Heading("Port maps")
    for _, table in port_tables(proof.line, proof.site):
        yield Heading(table.title, 2)
        yield Table("", table.columns, table.rows, table.note)
