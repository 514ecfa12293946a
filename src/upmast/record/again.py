"""Everything that stands judged again from its raw files: for a second party, and for what several files say together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from upmast.errors import InputFaults, UsageError, shorten
from upmast.field.across import across
from upmast.field.judge import Judged, judge_sweep
from upmast.field.match import match_among, name_says
from upmast.field.reading_judge import JudgedReading, judge_readings
from upmast.field.told import Told
from upmast.proof.prove import Proof
from upmast.proof.rf_path import path_designs
from upmast.record.closeout import Closeout
from upmast.record.evidence import doubt_of, sweep_from
from upmast.record.kinds import Matching, Measurement, TablesKept
from upmast.record.tables_read import readings_again

Contents = Callable[[str], bytes]
GONE = "no reading is matched to it any more"


@dataclass
class JudgedAgain:
    """By test id what is found now; `faults` say why a test can't be judged again."""

    sweeps: dict[str, Judged] = field(default_factory=dict)
    readings: dict[str, JudgedReading] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)

    def found(self, test: str) -> tuple[str, float | None] | None:
        """Verdict and value of a test; None where it can't be judged again."""
        one = self.sweeps.get(test) or self.readings.get(test)
        return (str(one.verdict), one.findings[0].value) if one is not None else None


def judge_again(closeout: Closeout, contents: Contents) -> JudgedAgain:
    """
    Judge every test that has a result again, by the line and limits of the closeout.

    Parameters
    ----------
    contents : gives the bytes of a raw file by its digest, checked.
    """
    out = JudgedAgain()
    kept = {entry.key: what for entry, what in closeout.whole.of(TablesKept)}
    tables: dict[str, dict[str, JudgedReading] | str] = {}
    for row in closeout.rows:
        if row.stands is None:
            continue
        test, judgement, measurement = row.test.id, row.stands.judgement, row.stands.measurement
        if judgement.together:
            if judgement.together not in tables:
                tables[judgement.together] = _tables(closeout.proof, kept[judgement.together], contents)
            some = tables[judgement.together]
            if isinstance(some, str) or test not in some:
                out.faults[test] = some if isinstance(some, str) else GONE
            else:
                out.readings[test] = some[test]
            continue
        try:
            sweep = sweep_from(contents(measurement.content), measurement)
            out.sweeps[test] = judge_sweep(closeout.proof, sweep, test, doubt_of(judgement))
        except UsageError as error:
            out.faults[test] = shorten(str(error), 300)
    return out


def _tables(proof: Proof, kept: TablesKept, contents: Contents) -> dict[str, JudgedReading] | str:
    """Tables of readings read and judged together again; a text where they can't be."""
    try:
        tables = [readings_again(contents(one.content), one.name, one.read_as) for one in kept.tables]
        judged, _ = judge_readings(proof, tables, said=dict(kept.said) or None, only=[one.only for one in kept.tables])
    except (InputFaults, UsageError) as error:
        return shorten(str(error).replace("\n", " "), 200)
    return {one.test_id: one for one in judged}


def between(closeout: Closeout, contents: Contents, again: JudgedAgain | None = None) -> tuple[Told, ...]:
    """What the files that stand, and those that are asked about, say together: lengths, likeness, exchanges, changes."""
    again = again or judge_again(closeout, contents)
    sweeps = (*again.sweeps.values(), *_doubted(closeout, contents))
    return tuple(across(closeout.proof, sweeps, tuple(again.readings.values())))


def _doubted(closeout: Closeout, contents: Contents) -> Iterator[Judged]:
    """Sweeps that no test was found for, as the tests that their names say: that shows what was exchanged."""
    matched = {what.measurement for _, what in closeout.whole.of(Matching)}
    designs = path_designs(closeout.proof.line)
    for entry, measurement in closeout.whole.of(Measurement):
        if measurement.sort != "rf.sweep" or entry.key in matched:
            continue
        try:
            sweep = sweep_from(contents(measurement.content), measurement)
        except UsageError:
            continue  # it is told as asked; nothing more can be said of it
        candidates = match_among(designs, sweep).candidates
        named = [one.test_id for one in candidates if one.named]
        named += [test for d in designs if name_says(sweep.file, test := f"{d.id}.rl.load", d.id)[1]]
        if named:
            yield judge_sweep(closeout.proof, sweep, named[0])
