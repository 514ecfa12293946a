"""A session as plain data, for programs: the schema that docs/field.md tells."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from upmast.documents.pack import finding_data
from upmast.field.row import TOLD, Row

if TYPE_CHECKING:
    from upmast.field.judge import Judged
    from upmast.field.session import Session

VERSION = 1


def session_data(session: Session) -> dict[str, object]:
    """Everything of a session. Numbers that are not finite become null."""
    return {
        "version": VERSION,
        "site": session.proof.site.id,
        "line": session.proof.line.digest,
        "exit": session.exit_code,
        "counts": session.counts(),
        "rows": [row_data(row) for row in session.rows],
        "tables": [one.as_data() for one in session.tables],
        "evidence": [one.as_data() for one in session.evidence],
        "files": [one.as_data() for one in session.files],
        "left_out": [one.as_data() for one in session.left_out],
        "missing": [{"where": one.where, "count": len(one.tests), "tests": list(one.tests)} for one in session.missing],
        "notes": list(session.notes),
    }


def row_data(row: Row) -> dict[str, object]:
    """One row of the queue; a sweep brings its peaks and the fit of its joints along."""
    data: dict[str, object] = {
        "kind": row.kind, "state": row.state, "verdict": row.verdict, "urgency": row.urgency.name.lower().replace("_", "-"),
        "test": row.test, "where": row.where, "files": list(row.files), "what": row.what, "do": row.do,
        "sentence": row.sentence, "share": _plain(row.share), "differs": row.differs, "folded": row.folded,
        "findings": [finding_data(one) for one in row.findings],
        "remarks": [{"key": r.key, "level": r.level, "words": r.words, "do": r.remedy} for r in row.remarks],
        "candidates": list(row.candidates), "answers": list(row.answers), "grade": row.grade, "sha256": row.digest,
        "mended": list(row.mended),
        "faults": [one.as_data() for one in row.faults.faults] if row.faults is not None else [],
    }  # fmt: skip
    if row.judged is not None and row.state != TOLD:
        data |= sweep_data(row.judged)
    if row.reading is not None:
        data["readings"] = [one.as_data() for one in row.reading.readings]
    return data


def sweep_data(one: Judged) -> dict[str, object]:
    """What only a sweep has: what to open first, the fit of its joints, its peaks over distance."""
    return {
        "open_first": [p.words for p in one.open_first],
        "fit": {
            "words": one.fitted.sentence, "why_not": one.fitted.why_not, "margin_db": _plain(one.fitted.margin_db),
            "sure": one.fitted.sure,
            "joints": [
                {
                    "joints": list(r.joints), "distance_m": list(r.distance_m), "return_loss_db": _plain(r.return_loss_db),
                    "least_db": _plain(r.least_db), "most_db": _plain(r.most_db), "allowed_db": _plain(r.allowed_db),
                    "excess_db": _plain(r.excess_db), "kind": r.kind, "suspect": r.suspect,
                }
                for r in one.fitted.rows
            ],
        },
        "peaks": [
            {
                "distance_m": p.distance_m, "tolerance_m": p.tolerance_m, "return_loss_db": p.return_loss_db, "joint": p.joint,
                "specified_db": p.specified_db, "excess_db": p.excess_db, "suspect": p.suspect, "words": p.words,
            }
            for p in one.located.peaks
        ],
    }  # fmt: skip


def _plain(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


__all__ = ["VERSION", "row_data", "session_data"]
