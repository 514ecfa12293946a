"""From field to record: single readings out of tables, judged together, each group as the measurement of one test of the line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from upmast.digest import digest
from upmast.errors import shorten
from upmast.field.readers.reading import Reading, Readings
from upmast.field.reading_judge import AskedReading, JudgedReading, judge_readings
from upmast.proof.prove import Proof
from upmast.record.evidence import MOMENT, Filed, finding_of, reading_rules
from upmast.record.kinds import Judgement, Matching, Measurement, TableKept, TablesKept, make
from upmast.record.record import Writing
from upmast.record.strands import Joined, Part, beside_words, joined_with_earlier

# what a measurement of each kind of reading is called in the record
SORTS = {
    "pim": "pim.level", "optical-loss": "fibre.loss", "end-face-grade": "fibre.end-face", "end-face-count": "fibre.end-face", "voltage": "power.voltage",
    "loop-resistance": "power.loop", "insulation-resistance": "power.insulation", "bond-resistance": "earth.bond",
    "torque": "install.torque", "humidity-spot": "weather.humidity",
}  # fmt: skip
Said = Mapping[str, str]


def samples_of(readings: Iterable[Reading]) -> str:
    """Digest of readings as they were read: what, of what, value, bound and conditions. The name of the file is no part of it."""
    return digest(
        [
            (one.kind, one.subject, one.value, one.comparator, one.unit, sorted((k, str(v)) for k, v in one.conditions), one.row, one.column)
            for one in readings
        ]
    )  # fmt: skip


def measurement_of(judged: JudgedReading, table: TableKept, instrument: str = "", measured: str = "") -> Measurement:
    """The readings of one test as an entry, with the raw file of the first; `measured` as declared, where no reading has a time."""
    readings = judged.readings
    first = readings[0]
    values = [one.value for one in readings if one.value is not None]
    told = ", ".join(dict.fromkeys(_instrument(one) for one in readings if _instrument(one)))
    times = sorted(one.time for one in readings if MOMENT.match(one.time))
    return make(
        Measurement, sort=SORTS.get(first.kind, "reading"), name=table.name, content=table.content, evidence="B",
        samples=samples_of(readings), reader="table", measured=times[-1] if times else measured,
        instrument=shorten(told or instrument, 400),
        facts={
            "readings": len(readings), "first_row": first.row, "unit": first.unit,
            "lowest": min(values) if values else None, "highest": max(values) if values else None,
        },
    )  # fmt: skip


def _instrument(reading: Reading) -> str:
    serial = f"serial {reading.serial}" if reading.serial else ""
    return shorten(" ".join(part for part in (reading.instrument, serial) if part), 120)


def file_readings(
    site: Writing, proof: Proof, tables: Sequence[tuple[Readings, TableKept]], *, said: Said | None = None,
    instrument: str = "", measured: str = "",
) -> tuple[Filed, ...]:  # fmt: skip
    """
    Judge tables of readings together, and keep of each test its readings, match and judgement. Their raw files are kept already.

    Parameters
    ----------
    said : what a person said of single readings, by `reading_key`; passed on to the judge and kept.
    instrument, measured : as declared, where the tables do not say it.
    """
    if not tables:
        return ()
    together = make(TablesKept, tables=tuple(kept for _, kept in tables), said=dict(said or {}))
    judged, asked = judge_readings(proof, [readings for readings, _ in tables], said=said or None)
    parts = [Part(readings, kept, said or {}) for readings, kept in tables]
    joined = joined_with_earlier(site.record, site.site, proof, parts, judged)
    where = _places(tables)
    inputs = digest(*(samples_of(readings.readings) for readings, _ in tables), dict(said or {}))
    alone = [one for one in judged if joined is None or one.test_id not in joined.given]
    key = site.add(together) if alone or asked or joined is None else ""
    out = [_file_one(site, proof, one, where, key, inputs, instrument, measured) for one in alone]
    if joined is not None:
        out += _file_joined(site, proof, joined, instrument, measured)
    return (*out, *(_asked(one, where) for one in asked))


def _file_joined(site: Writing, proof: Proof, joined: Joined, instrument: str, measured: str) -> Iterator[Filed]:
    """Strands that were judged with what was kept of them before; that is judged again, too, as a loss one way tells of the other."""
    key, program = site.add(joined.tables), site.record.program
    given = {
        id: measurement_of(one, _table_of(joined.places, one.readings[0]), instrument, measured)
        for id, one in joined.given.items()
    }
    every = {**joined.measured, **given}
    for id, one in joined.given.items():
        beside = beside_words(id, every)
        yield _file_one(site, proof, one, joined.places, key, joined.inputs, instrument, measured, beside)
    for id, (one, measurement) in joined.earlier.items():
        said = joined.measured[id]
        made = site.add(judgement_of(proof, one, measurement, key, joined.inputs, program, beside_words(id, every)))
        yield Filed(
            said.name, said.content, measurement, id, made, str(one.verdict), one.sentence, said.sort, again=True
        )


def _places(tables: Sequence[tuple[Readings, TableKept]]) -> dict[tuple[str, int, int], TableKept]:
    return {(r.file, one.row, one.column): kept for r, kept in tables for one in r.readings}


def _table_of(where: Mapping[tuple[str, int, int], TableKept], one: Reading) -> TableKept:
    return where[one.file, one.row, one.column]


def _file_one(
    site: Writing, proof: Proof, judged: JudgedReading, where: Mapping[tuple[str, int, int], TableKept], together: str,
    inputs: str, instrument: str, measured: str, beside: str = "",
) -> Filed:  # fmt: skip
    table = _table_of(where, judged.readings[0])
    said = measurement_of(judged, table, instrument, measured)
    key = site.add(said)
    person = any("said" in one for one in judged.reasons)
    site.add(
        make(
            Matching, measurement=key, test=judged.test_id, line=proof.line.digest, way="person" if person else "content",
            confidence=round(min(max(judged.confidence, 0.0), 1.0), 6),
            reasons=tuple(shorten(one, 400) for one in judged.reasons[:40]),
        )
    )  # fmt: skip
    made = site.add(judgement_of(proof, judged, key, together, inputs, site.record.program, beside))
    return Filed(
        table.name, table.content, key, judged.test_id, made, str(judged.verdict), judged.sentence, said.sort
    )  # fmt: skip


def judgement_of(
    proof: Proof, judged: JudgedReading, measurement: str, together: str, seen: str, program: str, beside: str = ""
) -> Judgement:  # fmt: skip
    """Judged readings as an entry. `seen` is the digest of all readings that were judged together, `beside` tells of those from before."""
    limits = {f.code: proof.limits.get(f.code) for f in judged.findings}
    return make(
        Judgement, measurement=measurement, test=judged.test_id, line=proof.line.digest, verdict=str(judged.verdict),
        findings=tuple(finding_of(f) for f in judged.findings),
        remarks=(
            *(shorten(f"{r.level}: {r.words}; {r.remedy}", 4_000) for r in judged.remarks[:99]),
            *([shorten(f"note: {beside}", 4_000)] if beside else []),
        ),
        inputs=digest(seen, judged.test_id, proof.line.digest, limits), rules=reading_rules(), program=program,
        together=together,
    )  # fmt: skip


def _asked(one: AskedReading, where: Mapping[tuple[str, int, int], TableKept]) -> Filed:
    table = _table_of(where, one.reading)
    return Filed(table.name, table.content, words=one.question, sort=SORTS.get(one.reading.kind, "reading"))
