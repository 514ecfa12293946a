"""The closeout as plain data: what the pack says of every test, with limits and versions of rules, for programs and for a second party."""

from __future__ import annotations

from typing import Any

from upmast.documents.pack import limit_data
from upmast.record.closeout import Row
from upmast.record.closeout_matters import Review
from upmast.record.evidence import reading_rules, rules
from upmast.record.whole import Stands

FORMAT = "upmast closeout 1"


def results_data(review: Review, program: str) -> dict[str, Any]:
    """Everything that a closeout says, as plain data. `results` has one row for each test, and their states add up to `counts`."""
    closeout = review.closeout
    proof = closeout.proof
    codes = sorted({f.code for row in closeout.rows if row.stands for f in row.stands.judgement.findings})
    limits = {code: proof.limits.get(code) for code in codes}
    return {
        "format": FORMAT,
        "program": program,
        "rules": [rules(), reading_rules()],
        "site": proof.site.id,
        "name": proof.site.name,
        "radio_plan_revision": proof.site.revision,
        "line": {"revision": proof.line.revision, "digest": proof.line.digest},
        "on": closeout.on.isoformat(),
        "head": str(closeout.head),
        "since": str(closeout.since) if closeout.since is not None else None,
        "verdict": str(closeout.verdict),
        "words": closeout.words,
        "tests": len(closeout.rows),
        "counts": {str(state): count for state, count in closeout.counts.items()},
        "open_at": closeout.open_at,
        "evidence": {"grades": review.grades, "holds": review.holds},
        "instruments": review.instruments,
        "elsewhere": elsewhere_data(review),
        "limits": [limit_data(limit) for limit in limits.values() if limit is not None],
        "results": [row_data(row) for row in closeout.shown],
        "exceptions": [
            {"kind": one.kind, "subject": one.subject, "where": one.where, "words": one.words, "do": one.remedy} for one in review.matters
        ],
        "measured_again": [again_data(row, one) for row in closeout.shown for one in row.earlier],
        "built_against_designed": {"known": review.layers.known, "differences": list(review.layers.differences)},
        "factory_reports": [{"serial": one.serial, "part": one.part, "file": one.name, "sha256": one.content} for one in review.reports],
        "waivers": [
            {"subject": one.subject, "by": one.name, "reason": one.reason, "from": one.granted, "until": one.expires, "state": state}
            for one, state in review.waivers
        ],
        "signatures": [
            {"by": one.name, "role": one.role, "company": one.company, "statement": one.statement, "entries": one.entries, "signed": one.signed}
            for one in review.signatures
        ],
    }  # fmt: skip


def elsewhere_data(review: Review) -> dict[str, list[str]]:
    """By digest of a raw file that stands here, the other sites that have it, too; a second party can't follow this from one site."""
    have = {row.stands.measurement.content for row in review.closeout.rows if row.stands}
    found = review.closeout.elsewhere or {}
    return {content: sorted(found[content]) for content in sorted(have & set(found))}


def again_data(row: Row, one: Stands) -> dict[str, Any]:
    """An earlier judgement with another verdict than the one that stands."""
    first, kept = one.judgement.findings[0], one.measurement
    return {
        "test": row.test.id, "earlier": first.verdict, "value": first.value, "unit": first.unit,
        "limit": first.limit.model_dump(mode="json") if first.limit else None, "file": kept.name, "sha256": kept.content,
        "measured": kept.measured, "filed": one.measured.time, "instrument": kept.instrument, "judgement": one.entry.key,
        "line": one.judgement.line, "now": str(row.without),
    }  # fmt: skip


def row_data(row: Row) -> dict[str, Any]:
    """One test as plain data."""
    first, stands = row.first, row.stands
    return {
        "test": row.test.id, "title": row.test.title, "where": row.test.where, "state": str(row.state), "without_waiver": str(row.without),
        "value": first.value if first else None, "unit": first.unit if first else row.test.unit,
        "code": first.code if first else None,
        "limit": first.limit.model_dump(mode="json") if first and first.limit else None,
        "margin": first.margin if first else None, "reason": row.reason, "do": row.remedy,
        "differs_from_design": row.differs.note if row.differs else None,
        "file": row.file or None,
        "sha256": stands.measurement.content if stands else None,
        "evidence": stands.measurement.evidence if stands else None,
        "measured": stands.measurement.measured if stands else None,
        "instrument": stands.measurement.instrument if stands else None,
        "judgement": stands.entry.key if stands else None,
        "rules": stands.judgement.rules if stands else None,
        "program": stands.judgement.program if stands else None,
        "waived": {"by": row.waiver.name, "until": row.waiver.expires, "reason": row.waiver.reason} if row.waiver else None,
        "changed": row.changed,
    }  # fmt: skip
