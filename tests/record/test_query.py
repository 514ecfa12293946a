"""What the record answers: histories, what stands, what is waived, what is there twice."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from upmast.errors import UsageError
from upmast.record import query
from upmast.record.canonical import sha256
from upmast.record.database import sa
from upmast.record.days import doubts_in, standing_number
from upmast.record.kept import Kept, item_of
from upmast.record.kinds import (
    FactoryReport,
    FileKept,
    FindingKept,
    Judgement,
    LimitKept,
    LineKept,
    Matching,
    Measurement,
    Photo,
    ReportResult,
    Signature,
    TableKept,
    TablesKept,
    Waiver,
    Withdrawal,
    kinds,
    make,
    read,
)
from upmast.record.read_as import ReadAs
from upmast.record.record import Record, Writing
from upmast.record.verify import verify
from upmast.record.whole import whole_of

from .conftest import LINE, judged, photo


def add(record: Record, *said: object, site: str = "S1") -> list[str]:
    with record.writing(site, "K. Ode") as writing:
        return [writing.add(one) for one in said]  # type: ignore[arg-type]


def waiver(**changed: object) -> Waiver:
    fields = {
        "subject": "A2-J1.rl.load", "name": "R. Holm", "role": "design authority", "reason": "spare radio, replaced in June",
        "granted": "2026-05-04", "expires": "2026-06-30",
    }  # fmt: skip
    return make(Waiver, **(fields | changed))


def test_the_history_of_a_path_has_all_that_was_said_of_it(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"one", verdict="fails", value=12.0)
        judged(writing, b"other", "A3-J1.rl.load")
        photo(writing, b"joint")
        writing.add(waiver())
    kinds_ = [e.kind for e in query.history(record, "S1", "A2-J1")]
    assert kinds_ == ["verdict", "photo", "waiver"]
    assert query.history(record, "S1", "A2-J1.rl.load") == query.history(record, "S1", "A2-J1")
    assert query.history(record, "S1", "A9-J1") == ()
    assert query.history(record, "S2", "A2-J1") == ()


@pytest.mark.parametrize(
    ("subject", "item"),
    [
        ("A2-J1.rl.load", "A2-J1"),
        ("A2-J1", "A2-J1"),
        ("power.drop@A2", "A2"),
        ("T1-F07.ol.1310-up", "T1-F07"),
        ("rf.x@A2.rf1", "A2"),
    ],
)
def test_every_subject_has_its_item(subject: str, item: str) -> None:
    assert item_of(subject) == item


def test_the_last_measurement_stands_and_its_last_judgement(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"first", value=12.0, verdict="fails")
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"second", value=21.0)
    with record.writing("S1", "K. Ode") as writing:  # the older measurement judged again does not come back to life
        judged(writing, b"first", value=12.0, verdict="fails", rules="rules 2")
    with record.writing("S2", "K. Ode") as writing:
        judged(writing, b"third", value=10.0, verdict="fails")
        judged(writing, b"fourth", "A3-J1.rl.load", 17.6, verdict="not judged", line="2" * 64)
    (row,) = query.standing(record, "S1")
    assert (row.value, row.verdict) == (21.0, "passes")
    assert [(r.site, r.verdict) for r in query.standing(record)] == [
        ("S2", "fails"),
        ("S2", "not judged"),
        ("S1", "passes"),
    ]
    assert [r.test for r in query.standing(record, "S2", LINE)] == ["A2-J1.rl.load"]
    assert query.untested(record, "S2", ["A2-J1.rl.load", "A2-J1.rl.antenna"]) == ("A2-J1.rl.antenna",)


def test_a_waiver_holds_until_its_day_and_the_verdict_stays(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"one", value=12.0, verdict="fails")
        writing.add(waiver())
    for day, held in (("2026-05-03", 0), ("2026-05-04", 1), ("2026-06-30", 1), ("2026-07-01", 0)):
        assert len(query.waivers(record, "S1", date.fromisoformat(day))) == held
        assert len(query.waived(record, "S1", date.fromisoformat(day))) == held
    assert query.standing(record, "S1")[0].verdict == "fails"
    (key,) = [e.key for e in query.entries(record, "S1", "waiver")]
    add(record, make(Withdrawal, waiver=key, name="R. Holm", reason="the radio was replaced", day="2026-06-01"))
    assert len(query.waivers(record, "S1", date(2026, 5, 31))) == 1
    assert query.waivers(record, "S1", date(2026, 6, 1)) == ()


def test_a_waiver_of_one_verdict_does_not_cover_the_next(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        first = judged(writing, b"one", value=12.0, verdict="fails")
        writing.add(waiver(verdict=first))
    assert set(query.waived(record, "S1", date(2026, 5, 10))) == {"A2-J1.rl.load"}
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"two", value=3.0, verdict="fails")
    assert query.waived(record, "S1", date(2026, 5, 10)) == {}


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"name": ""}, "name"),
        ({"reason": "ok"}, "reason"),
        ({"expires": "2026-02-30"}, "expires"),
        ({"expires": "2026-05-03"}, "it expires on 2026-05-03, before it was granted on 2026-05-04"),
        ({"subject": "../x"}, "subject"),
        ({"name": "R\u202eHolm"}, "name"),
    ],
)
def test_a_waiver_needs_a_name_a_reason_and_an_end(changed: dict[str, object], words: str) -> None:
    with pytest.raises(UsageError, match=f"not a waiver: .*{words}"):
        waiver(**changed)


def test_a_waiver_of_what_is_not_there_is_refused(record: Record) -> None:
    with pytest.raises(UsageError, match="a waiver refers to a verdict"):
        add(record, waiver(verdict="a" * 64))
    with pytest.raises(UsageError, match="a withdrawal refers to a waiver"):
        add(record, make(Withdrawal, waiver="a" * 64, name="R. Holm", reason="a mistake", day="2026-06-01"))


def test_a_factory_report_is_found_by_serial_number(record: Record) -> None:
    for site in ("S1", "S2"):
        with record.writing(site, "K. Ode") as writing:
            writing.add(
                make(
                    FactoryReport, serial="T-000123", part="hybrid-12x10", content=writing.keep(b"%PDF report"), name="report.pdf",
                    made="2026-03-01", results=(ReportResult(quantity="loop of pair 1", value=0.229, unit="ohm"),),
                )
            )  # fmt: skip
    found = query.reports(record, "T-000123")
    assert [e.site for e, _ in found] == ["S1", "S2"]
    assert found[0][1].results[0].value == 0.229
    assert record.content(found[0][1].content) == b"%PDF report"
    assert query.reports(record, "T-000124") == ()


def test_a_signature_is_declared_over_a_head(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"one")
    head = record.head("S1")
    add(
        record,
        make(
            Signature, name="A. Lind", role="reviewer", statement="Accepted as it stands.", entries=head.entries, head=head.digest,
            signed="2026-05-10T09:00:00Z",
        ),
    )  # fmt: skip
    ((entry, signature),) = query.said(record, "S1", Signature)
    assert (signature.head, signature.entries) == (head.digest, entry.number - 1)
    assert verify(record, printed=[head]) == ()


def test_a_signature_over_another_head_is_refused(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"one")
    said = {"name": "A. Lind", "role": "reviewer", "statement": "Accepted.", "signed": "2026-05-10"}
    for entries, digest in ((2, "0" * 64), (3, record.head("S1").digest), (1, record.head("S1").digest)):
        with pytest.raises(UsageError, match="which has another digest: read the head of S1 again"):
            add(record, make(Signature, **said, entries=entries, head=digest))
    add(record, make(Signature, **said, entries=2, head=record.head("S1").digest))
    assert verify(record) == ()


def test_the_same_file_for_two_tests_is_seen(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        judged(writing, b"same", "A2-J1.rl.load", name="a.s1p")
        judged(writing, b"same", "A3-J1.rl.load", name="b.s1p")
        judged(writing, b"alone", "A4-J1.rl.load")
    with record.writing("S2", "K. Ode") as writing:
        judged(writing, b"same", "B2-J1.rl.load", name="c.s1p")
        photo(writing, b"alone")
    (one,) = query.repeated(record)
    assert one.content == sha256(b"same")
    assert one.uses == (("S1", "A2-J1.rl.load"), ("S1", "A3-J1.rl.load"), ("S2", "B2-J1.rl.load"))


def test_entries_are_read_in_parts(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        for n in range(10):
            photo(writing, b"%d" % n)
    first = query.entries(record, "S1", most=4)
    assert [e.number for e in query.entries(record, "S1", after=first[-1].number)] == [5, 6, 7, 8, 9, 10]


D = "0" * 64
FOUND = FindingKept(
    code="rf.sweep-return-loss", subject="A2-J1.rl.load", verdict="not judged", value=-0.1, unit="dB", margin=1e-300,
    limit=LimitKept(
        code="rf.sweep-return-loss", value=17.7, unit="dB", sense="at least", authority="practice", source="§ 4 “x”", mark="practice",
        stage="acceptance",
    ),
    missing=("a surer reading",), note="worst at 1842.5 MHz\nsecond line",
)  # fmt: skip
EXAMPLES: tuple[Kept, ...] = (
    FileKept(name="naïve Ω.s1p", content=D, sort="sweep", note="as it came"),
    Measurement(
        sort="rf.sweep", name="a", content=D, evidence="B", samples=D, reader="touchstone", mended=("sorted",), measured="2026-05-04T09:30Z",
        facts={"points": 1001, "lowest_hz": 1.7e9, "swept": True, "note": "x", "none": None},
    ),
    TablesKept(
        tables=(TableKept(name="a.csv", content=D, read_as=ReadAs(form="values", roles={"A": "subject"}, units={"B": "dB"})),),
        said={"a.csv#7.2": "T1-F03"},
    ),
    Matching(measurement=D, test="A2-J1.rl.load", line=D, way="content", confidence=1 / 3, reasons=("it fits",)),
    Judgement(
        measurement=D, test="A2-J1.rl.load", line=D, verdict="not judged", findings=(FOUND,), remarks=("note: x",), uncertainty="42 dB",
        inputs=D, rules="r", program="p",
    ),
    FactoryReport(serial="T/1", part="x", content=D, name="a.pdf", results=(ReportResult(quantity="loop", value=0.1),)),
    waiver(),
    Withdrawal(waiver=D, name="R. Holm", reason="a mistake", day="2026-06-01"),
    Signature(name="A. Lind", role="reviewer", statement="Accepted.", entries=4, head=D, signed="2026-05-10", content=D),
    Photo(content=D, name="a.jpg", subject="A2-J1", shows="x", looks="heic", taken="2026-05-04T10:00+02:00"),
    LineKept(layer="built", revision=2, digest=D, line=D, parts=D, against=D, summary="1 longer", differences=("A2-J1 is longer",)),
)  # fmt: skip


@pytest.mark.parametrize("one", EXAMPLES, ids=lambda one: one.KIND)
def test_every_kind_comes_back_as_it_was_said(one: Kept) -> None:
    assert read(one.KIND, one.body()) == one
    assert read(one.KIND, one.body()).body() == one.body()
    assert set(one.contents()) <= {value for name, value in one.handles() if name == "content"}


def test_every_kind_has_an_example() -> None:
    assert {one.KIND for one in EXAMPLES} == set(kinds())


@settings(max_examples=300, deadline=None)
@given(
    st.text(max_size=40), st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=40),
    st.dictionaries(st.text(max_size=6), st.one_of(st.booleans(), st.integers(-(2**63), 2**63), st.floats(), st.text(max_size=9))),
)  # fmt: skip
def test_any_words_and_numbers_are_kept_or_refused(
    name: str, value: float, note: str, facts: dict[str, object]
) -> None:
    """Whatever is taken comes back as it was, in bytes that any database and zip takes."""
    from upmast.record.canonical import clean_name

    for model, fields in (
        (FileKept, {"name": clean_name(name), "content": D, "note": note}),
        (FileKept, {"name": name, "content": D}),
        (ReportResult, {"quantity": note, "value": value}),
        (
            Measurement,
            {"sort": "x", "name": "a", "content": D, "evidence": "A", "samples": D, "reader": "r", "facts": facts},
        ),
    ):
        try:
            one = model(**fields)  # type: ignore[arg-type]
        except ValidationError:
            continue
        if isinstance(one, Kept):
            assert one.body().encode("utf-8").decode("utf-8") == one.body()
            assert "\0" not in one.body()
            assert read(one.KIND, one.body()) == one


def test_questions_use_an_index(lone: Record) -> None:
    """No question of daily use walks through the whole record."""
    with lone.writing("S1", "K. Ode") as writing:
        judged(writing, b"one")
    asked: list[tuple[str, object]] = []

    @sa.event.listens_for(lone.database.engine, "before_cursor_execute")
    def note(_: object, __: object, statement: str, parameters: object, *___: object) -> None:
        if statement.startswith("SELECT"):
            asked.append((statement, parameters))

    query.history(lone, "S1", "A2-J1")
    query.found(lone, "serial", "1")
    query.verdicts(lone, "S1", "A2-J1")
    query.standing(lone, "S1")
    query.entries(lone, "S1", after=3, most=10)
    lone.head("S1")
    sa.event.remove(lone.database.engine, "before_cursor_execute", note)
    assert len(asked) == 6
    with lone.database.reading() as connection:
        for statement, parameters in asked:
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters).fetchall()  # type: ignore[arg-type]
            tables = [row[3] for row in plan if "SCAN" in row[3] and "anon" not in row[3] and "subquery" not in row[3]]
            assert tables == [], (statement, plan)


@pytest.mark.parametrize(
    ("kind", "body", "words"),
    [
        ("gossip", "{}", "an entry of kind 'gossip' is not known"),
        ("file", "", "not a file"),
        ("file", "[]", "not a file"),
        ("file", "[" * 100_000, "not a file"),
        ("file", '{"content": "' + "0" * 64 + '", "name": "a"}', "not written in the one form"),
        ("file", '{"content":"' + "0" * 64 + '","name":"a","name":"b"}', "not written in the one form"),
        ("file", '{"content":"' + "0" * 64 + '","name":"a","more":1}', "more: Extra inputs"),
        ("file", '{"content":"' + "0" * 64 + '","name":"\\u0000"}', "not a file: name"),
        ("file", '{"content":"' + "0" * 63 + 'g","name":"a"}', "not a file: content"),
        ("file", '{"content":"' + "0" * 64 + '\\n","name":"a"}', "not a file: content"),
        ("photo", '{"content":1e999}', "not a photo"),
        ("file", "x" * 600_000, "at most 500000"),
    ],
)
def test_what_is_no_entry_is_refused_in_words(kind: str, body: str, words: str) -> None:
    with pytest.raises(UsageError) as error:
        read(kind, body)
    assert words in str(error.value)


def test_a_judgement_can_not_contradict_its_findings() -> None:
    found = FindingKept(code="rf.x", subject="A2", verdict="fails")
    with pytest.raises(UsageError, match="the verdict is passes, but its first finding says fails"):
        make(
            Judgement, measurement="0" * 64, test="A2", line=LINE, verdict="passes", findings=(found,), inputs="0" * 64, rules="r",
            program="p",
        )  # fmt: skip


def test_hostile_words_do_no_harm_in_a_question(record: Record) -> None:
    with record.writing("S1", "K. Ode") as writing:
        photo(writing, b"one")
        writing.add(
            Photo(
                content=writing.keep(b"two"),
                name="'; DROP TABLE entries; --",
                subject="A2-J1",
                shows="<script>%s{0}",
                looks="png",
            )
        )
    assert query.found(record, "item", "' OR 1=1 --") == ()
    assert query.found(record, "' OR 1=1 --", "x") == ()
    with pytest.raises(UsageError):
        query.history(record, "S1' OR '1'='1", "A2-J1")
    assert verify(record) == ()
    assert query.entries(record, "S1")[1].said.shows == "<script>%s{0}"  # type: ignore[attr-defined]


def measured_on(writing: Writing, data: bytes, day: str, verdict: str) -> None:
    """A measurement of a day, empty if not known, and its judgement."""
    content = writing.keep(data)
    key = writing.add(
        make(
            Measurement, sort="rf.sweep", name=f"{data.decode()}.s1p", content=content, evidence="A", samples=content,
            reader="touchstone", measured=day,
        )
    )  # fmt: skip
    found = FindingKept(code="rf.sweep-return-loss", subject="A2-J1.rl.load", verdict=verdict, value=20.0, unit="dB")  # type: ignore[arg-type]
    writing.add(
        make(
            Judgement, measurement=key, test="A2-J1.rl.load", line=LINE, verdict=verdict, findings=(found,), inputs=content,
            rules="rules 1", program="upmast 0.1",
        )
    )  # fmt: skip


@pytest.mark.parametrize(
    ("filed", "stands", "doubts"),
    [
        ([("new", "2026-11-01", "fails"), ("old", "2026-10-01", "passes")], "fails", "filed later and measured earlier"),
        ([("old", "2026-10-01", "fails"), ("new", "2026-11-01", "passes")], "passes", ""),
        ([("am", "2026-10-01T08:00Z", "fails"), ("pm", "2026-10-01", "passes")], "passes", ""),
        ([("new", "2026-11-01", "fails"), ("some", "", "passes")], "passes", "which was measured first is not known"),
        ([("new", "", "passes"), ("some", "2026-11-01", "fails")], "fails", ""),
        # three of which one has no day: the latest known day, and over it what was filed after it without a day
        ([("new", "2026-11-01", "fails"), ("some", "", "not judged"), ("old", "2026-10-01", "passes")], "not judged", ""),
        ([("some", "", "passes"), ("new", "2026-11-01", "fails"), ("old", "2026-10-01", "passes")], "fails", "filed later"),
    ],
)  # fmt: skip
def test_the_day_of_measurement_decides(
    record: Record, filed: list[tuple[str, str, str]], stands: str, doubts: str
) -> None:
    """The question to the database and the whole that was read follow one rule."""
    for name, day, verdict in filed:
        with record.writing("S1", "K. Ode") as writing:
            measured_on(writing, name.encode(), day, verdict)
    (row,) = query.standing(record, "S1")
    whole = whole_of(record, "S1")
    held = whole.standing(LINE)["A2-J1.rl.load"]
    assert row.verdict == held.judgement.verdict == stands
    assert row.number == held.entry.number
    told = doubts_in(whole, LINE, ["A2-J1.rl.load"]).get("A2-J1.rl.load", ())
    if doubts:
        assert doubts in " ".join(told)
    elif stands != "not judged":
        assert told == ()


days = st.sampled_from(["", "2026-01-01", "2026-02-02", "2026-03-03"])


@given(st.lists(days, min_size=1, max_size=8))
def test_no_measurement_of_an_earlier_day_ever_stands(of: list[str]) -> None:
    held = standing_number(enumerate(of))
    if of[held]:
        assert of[held] == max(of)
    assert all(day for day in of[held + 1 :])
