"""The limits in force for a site: the table of upmast, with what the site says laid over it."""

from __future__ import annotations

import csv
import difflib
from dataclasses import replace
from functools import lru_cache
from importlib import resources

from upmast.codes import Code, codes
from upmast.errors import Fault, InputFaults
from upmast.finding import Authority, Limit, Sense
from upmast.limits import Limits
from upmast.site.site import Site, SiteLimit
from upmast.source import Mark, Source

FIGURES = {"rf.loss": "limit rf.insertion-loss instead"}
RETURN_LOSSES = ("rf.return-loss", "rf.sweep-return-loss", "rf.sweep-antenna")
LEAST_HZ = 1e6


@lru_cache(maxsize=1)
def standing() -> dict[str, Limit]:
    """The limits that hold where a site says nothing."""
    text = resources.files("upmast.proof").joinpath("tables", "limits.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#"))
    out: dict[str, Limit] = {}
    for row in rows:
        code = codes()[row["code"]]
        source = Source(row["document"], row["clause"], mark=Mark(row["mark"]))
        sense = code.sense or Sense.AT_LEAST
        out[code.code] = Limit(
            code.code, float(row["value"]), code.unit, sense, Authority(row["authority"]), source, code.stage
        )
    return out


def limits_of(site: Site, file: str = "site.yaml") -> Limits:
    """
    The limits of a site.

    Raises
    ------
    InputFaults
        If the site names a code that does not exist, loosens a safety limit, or confirms what has no limit.
    """
    table = dict(standing())
    faults: list[Fault] = []
    for index, asked in enumerate(site.limits):
        place = f"limits[{index + 1}]"
        code = codes().get(asked.code)
        if code is None or code.kind != "finding":
            near = difflib.get_close_matches(asked.code, [c for c in codes() if codes()[c].kind == "finding"], 1, 0.4)
            remedy = f"did you mean {near[0]!r}?" if near else "see docs/codes.md"
            if code is not None:
                remedy = f"{asked.code} is a figure: it is shown and takes no limit; " + FIGURES.get(
                    asked.code, "see docs/codes.md"
                )
            faults.append(Fault(file, f"{place}.code", asked.code, "the code of a finding", remedy))
            continue
        table_limit = table.get(asked.code)
        if asked.value is None:
            if table_limit is None:
                faults.append(Fault(file, place, asked.code, "a value: this code has no limit to confirm", "add value"))
            else:
                table[asked.code] = replace(table_limit, source=_confirmed(asked))
            continue
        wrong = _not_sensible(code, asked.value)
        if wrong:
            faults.append(Fault(file, f"{place}.value", f"{asked.value:g}", *wrong))
            continue
        made = Limit(
            asked.code,
            asked.value,
            code.unit,
            code.sense or Sense.AT_LEAST,
            Authority(asked.authority),
            _confirmed(asked),
            code.stage,
        )
        if table_limit is not None and table_limit.authority is Authority.SAFETY:
            if table_limit.tightens(made):
                got = f"{asked.value:g} {code.unit}".strip()
                expected = f"{made.sense} {table_limit.value:g} or tighter: {asked.code} is a safety limit"
                faults.append(Fault(file, f"{place}.value", got, expected, "take the limit out, or tighten it"))
                continue
            made = replace(made, authority=Authority.SAFETY)
        table[asked.code] = made
    if faults:
        raise InputFaults(faults)
    return Limits(table)


def _not_sensible(code: Code, value: float) -> tuple[str, str] | None:
    """What was expected and what to do, where a value can't be meant: another sign, another unit."""
    if code.unit == "Hz" and abs(value) < LEAST_HZ:
        return "a frequency in Hz", f"write {value:g}e6 if these are MHz"
    if code.unit == "dB" and code.code.startswith(RETURN_LOSSES) and value <= 0:
        return (
            "a return loss, which is a positive number of dB",
            f"write {-value:g}" if value < 0 else "write it as a positive number",
        )
    if (
        code.sense is Sense.AT_MOST
        and value < 0
        and not code.unit.startswith("dBc")
        and code.unit not in ("dBm", "°C", "V")
    ):
        return "a number of 0 or more, as this is at most allowed", f"write {-value:g}"
    if code.code.startswith("pim.level") and value >= 0:
        return (
            "a level below the carriers, which is a negative number of dBc",
            f"write {-value:g}" if value else "e.g. -150",
        )
    return None


def _confirmed(asked: SiteLimit) -> Source:
    who = f"confirmed by {asked.confirmed_by}" if asked.confirmed_by else ""
    return Source(asked.source, who, mark=Mark.DECLARED)
