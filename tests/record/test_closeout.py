"""The closeout: every test has one state, the counts agree, waivers end, and what changed since a head is told. All invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from upmast.documents.sheet import Heading
from upmast.errors import UsageError
from upmast.field.measurement import Sweep
from upmast.finding import Verdict
from upmast.limits import Limits
from upmast.line.line import Layer, Line
from upmast.proof.expect import BOTH, FOOT, TOP
from upmast.proof.limits import standing as limits_now
from upmast.proof.prove import Proof
from upmast.proof.rf_path import PathDesign
from upmast.record import query
from upmast.record.again import between
from upmast.record.chain import NOTHING, Entry, Head, following
from upmast.record.closeout import Closeout, State, closeout_of, last_signed, place_rank
from upmast.record.closeout_data import results_data
from upmast.record.closeout_matters import KINDS, Review
from upmast.record.closeout_pages import closeout_document
from upmast.record.closeout_picture import LEAST, progress_svg, widths
from upmast.record.closeout_sheets import KIND_TITLES, results_book
from upmast.record.evidence import file_sweep
from upmast.record.kept import Kept
from upmast.record.kinds import FindingKept, Judgement, Measurement, Signature, Waiver, Withdrawal, make
from upmast.record.layers import keep_line
from upmast.record.record import Record
from upmast.record.remade import elsewhere_in, held
from upmast.record.whole import Whole, whole_of

from .conftest import judged
from .test_evidence import text_of

Make = Callable[..., Sweep]
DAY = date(2026, 5, 4)
D = "a" * 64


def closed(record: Record, proof: Proof, on: date = DAY, since: Head | None = None) -> Closeout:
    return closeout_of(proof, whole_of(record, "S1"), on, since=since)


def waive(record: Record, test: str, *, until: str = "2026-06-30", verdict: str = "", covers: str = "") -> str:
    with record.writing("S1", "R. Holm") as writing:
        return writing.add(
            make(
                Waiver, subject=test, name="R. Holm", reason="agreed on site", granted="2026-05-04", expires=until, verdict=verdict,
                covers=covers,
            )
        )  # fmt: skip


def say(
    record: Record, proof: Proof, data: bytes, test: str = "A2-J1.rl.load", verdict: str = "fails", value: float = 12.0
) -> str:
    """Put a judgement of some verdict into the record; its key."""
    with record.writing("S1", "K. Ode") as writing:
        return judged(writing, data, test, value, verdict=verdict, line=proof.line.digest)


def state_of(closeout: Closeout, test: str = "A2-J1.rl.load") -> State:
    return next(row.state for row in closeout.rows if row.test.id == test)


def test_an_empty_record_misses_all(lone: Record, proof: Proof) -> None:
    whole = Whole("S1", ())
    closeout = closeout_of(proof, whole, DAY)
    assert closeout.counts[State.MISSING] == len(proof.expectations) == len(closeout.rows)
    assert closeout.verdict is Verdict.NOT_JUDGED
    assert sum(closeout.open_at.values()) == len(proof.expectations)


def test_what_needs_somebody_at_the_top_stands_first(proof: Proof) -> None:
    closeout = closeout_of(proof, Whole("S1", ()), DAY)
    places = [row.test.where for row in closeout.of(State.MISSING)]
    assert places == sorted(places, key=place_rank)
    assert [place_rank(one) for one in (TOP, BOTH, FOOT)] == [0, 1, 2]
    assert next(iter(closeout.open_at)) == TOP


def chained(said: list[Kept]) -> Whole:
    """A record of entries, without a database."""
    bodies = [(one.KIND, one.body()) for one in said]
    entries = following(Head("S1", 0, NOTHING), bodies, "2026-05-04T08:00:00Z", "K. Ode", "upmast 0.1")
    return Whole("S1", tuple((entry, entry.said) for entry in entries))


def verdict_on(proof: Proof, test: str, n: int, verdict: str, line: str = "") -> list[Kept]:
    measured = Measurement(
        sort="rf.sweep", name=f"{n}.s1p", content=f"{n:064x}", evidence="A", samples=f"{n:064x}", reader="x"
    )
    chain = Entry("S1", 1, NOTHING, "", "", "", "measurement", measured.body(), "")
    found = FindingKept(code="rf.sweep-return-loss", subject=test, verdict=verdict, value=1.0, unit="dB")  # type: ignore[arg-type]
    said = make(
        Judgement, measurement=chain.key, test=test, line=line or proof.line.digest, verdict=verdict, findings=(found,), inputs=D,
        rules="r", program="p",
    )  # fmt: skip
    return [measured, said]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_the_counts_add_up_whatever_was_judged_and_waived(proof: Proof, data: st.DataObject) -> None:
    """Every test has one state; done and missing and the others are all of them."""
    tests = [one.id for one in proof.expectations]
    some = data.draw(st.lists(st.tuples(st.sampled_from([*tests, "Z9-J1.rl.load"]), st.sampled_from(["passes", "fails", "not judged"]), st.booleans()), max_size=25))  # fmt: skip
    waived = data.draw(st.lists(st.sampled_from(tests), unique=True, max_size=8))
    said: list[Kept] = []
    last: dict[str, str] = {}
    for n, (test, verdict, mine) in enumerate(some):
        said += verdict_on(proof, test, n + 1, verdict, "" if mine else D)
        if mine:
            last[test] = verdict
    said += [
        Waiver(subject=test, name="R. Holm", reason="agreed", granted="2026-05-04", expires="2026-05-04")
        for test in waived
    ]
    closeout = closeout_of(proof, chained(said), DAY)
    assert sorted(row.test.id for row in closeout.rows) == sorted(tests)
    assert sum(closeout.counts.values()) == len(tests)
    for row in closeout.rows:
        without = last.get(row.test.id, "missing")
        assert str(row.without) == without
        expected = "waived" if row.test.id in waived and without != "passes" else without
        assert str(row.state) == expected
        assert (row.reason == "") is (without == "passes")
        assert (row.remedy == "") is (without == "passes")
    ranks = [row.state.rank for row in closeout.rows]
    assert ranks == sorted(ranks)
    passes = all(str(row.state) in ("passes", "waived") for row in closeout.rows)
    fails = any(row.state is State.FAILS for row in closeout.rows)
    assert closeout.verdict is (Verdict.FAILS if fails else Verdict.PASSES if passes else Verdict.NOT_JUDGED)


def test_what_stands_is_what_the_query_says(lone: Record, proof: Proof) -> None:
    """The last judgement of the last measurement, as the database finds it."""
    for n, verdict in enumerate(("passes", "fails", "not judged", "fails")):
        say(lone, proof, b"%d" % (n % 3), verdict=verdict, value=10.0 + n)
    (row,) = query.standing(lone, "S1", proof.line.digest)
    stands = whole_of(lone, "S1").standing(proof.line.digest)["A2-J1.rl.load"]
    assert (row.number, row.verdict, row.measurement) == (
        stands.entry.number,
        stands.judgement.verdict,
        stands.measured.key,
    )


def test_a_judgement_of_another_line_is_none_of_this_one(lone: Record, proof: Proof) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        judged(writing, b"x", "A2-J1.rl.load", line=D)
    row = next(one for one in closed(lone, proof).rows if one.test.id == "A2-J1.rl.load")
    assert row.state is State.MISSING
    assert row.reason == "judged as a test of another line or revision only"
    assert "record keep" in row.remedy


def test_a_waiver_ends_on_its_day(lone: Record, proof: Proof) -> None:
    say(lone, proof, b"bad")
    waive(lone, "A2-J1.rl.load", until="2026-06-30")
    assert state_of(closed(lone, proof, date(2026, 6, 30))) is State.WAIVED
    late = closed(lone, proof, date(2026, 7, 1))
    assert state_of(late) is State.FAILS
    assert [state for _, state in Review(late).waivers] == ["expired"]


def test_a_waiver_of_a_verdict_covers_no_later_one(lone: Record, proof: Proof) -> None:
    key = say(lone, proof, b"bad")
    waive(lone, "A2-J1.rl.load", verdict=key)
    assert state_of(closed(lone, proof)) is State.WAIVED
    say(lone, proof, b"worse", value=6.0)
    assert state_of(closed(lone, proof)) is State.FAILS


def test_a_waiver_of_what_is_missing_covers_no_verdict(lone: Record, proof: Proof) -> None:
    waive(lone, "A2-J1.rl.load", covers="missing")
    assert state_of(closed(lone, proof)) is State.WAIVED
    say(lone, proof, b"bad")
    assert state_of(closed(lone, proof)) is State.FAILS
    assert query.waived(lone, "S1", DAY) == {}


def test_a_waiver_taken_back_holds_no_longer(lone: Record, proof: Proof) -> None:
    say(lone, proof, b"bad")
    key = waive(lone, "rf.sweep-return-loss@A2-J1.rl.load")
    assert state_of(closed(lone, proof)) is State.WAIVED
    with lone.writing("S1", "R. Holm") as writing:
        writing.add(make(Withdrawal, waiver=key, name="R. Holm", reason="a mistake", day="2026-05-05"))
    assert state_of(closed(lone, proof, date(2026, 5, 4))) is State.WAIVED
    assert state_of(closed(lone, proof, date(2026, 5, 5))) is State.FAILS


@pytest.fixture
def good(designs: dict[str, PathDesign], make: Make) -> bytes:
    return text_of(make(designs["A2-J1"], "load"))


def test_a_limit_that_changed_asks_for_another_judgement(lone: Record, proof: Proof, good: bytes) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        file_sweep(writing, proof, good, "A2-J1.rl.load.s1p")
    assert state_of(closed(lone, proof)) is State.PASSES
    code = "rf.sweep-return-loss"
    tighter = replace(proof, limits=Limits({**limits_now(), code: replace(limits_now()[code], value=20.8)}))
    row = next(one for one in closed(lone, tighter).rows if one.test.id == "A2-J1.rl.load")
    assert row.state is State.NOT_JUDGED
    assert row.reason == "the limit was changed since it was judged: then at least 17.70 dB, now at least 20.80 dB"


def test_only_what_changed_is_told(lone: Record, proof: Proof) -> None:
    say(lone, proof, b"one", "A2-J1.rl.load", "passes", 30.0)
    say(lone, proof, b"two", "A2-J2.rl.load", "fails", 9.0)
    head = lone.head("S1")
    assert closed(lone, proof, since=head).changed == ()
    say(lone, proof, b"two again", "A2-J2.rl.load", "passes", 31.0)
    waive(lone, "B1-J1.rl.load")
    changed = {row.test.id: row.state for row in closed(lone, proof, since=head).changed}
    assert changed == {"A2-J2.rl.load": State.PASSES, "B1-J1.rl.load": State.WAIVED}
    told = {
        one.subject
        for kind in ("fails", "missing", "waived", "changed")
        for one in Review(closed(lone, proof, since=head)).of(kind)
    }
    assert told == {"A2-J2.rl.load", "B1-J1.rl.load"}
    everything = closed(lone, proof, since=Head("S1", 0, NOTHING)).changed
    assert {row.test.id for row in everything} == {"A2-J1.rl.load", "A2-J2.rl.load", "B1-J1.rl.load"}


@pytest.mark.parametrize(("where", "entries"), [("S1", 2), ("S1", 99), ("S2", 1)])
def test_a_head_of_another_chain_is_refused(lone: Record, proof: Proof, where: str, entries: int) -> None:
    say(lone, proof, b"one")
    with pytest.raises(UsageError):
        closed(lone, proof, since=Head(where, entries, D))


def test_the_last_signature_is_found(lone: Record, proof: Proof) -> None:
    say(lone, proof, b"one")
    assert last_signed(whole_of(lone, "S1")) is None
    head = lone.head("S1")
    with lone.writing("S1", "A. Lind") as writing:
        writing.add(
            make(
                Signature, name="A. Lind", role="reviewer", statement="Seen.", entries=head.entries, head=head.digest,
                signed="2026-05-04T10:00:00Z",
            )
        )  # fmt: skip
    assert last_signed(whole_of(lone, "S1")) == head


def test_a_failure_is_told_with_reason_and_remedy(
    lone: Record, proof: Proof, designs: dict[str, PathDesign], make: Make
) -> None:
    bad = text_of(make(designs["A2-J1"], "load", joints_db={1: 12.0}))
    with lone.writing("S1", "K. Ode") as writing:
        filed = file_sweep(writing, proof, bad, "A2-J1.rl.load.s1p")
    assert filed.verdict == "fails"
    (row,) = closed(lone, proof).of(State.FAILS)
    assert "limit at least 17.70 dB" in row.reason
    assert "beyond it" in row.reason
    assert row.remedy.startswith("open this first: A2-J1.head/A-ANT.Y1")
    assert row.differs is not None


def test_the_same_numbers_for_two_tests_are_told(lone: Record, proof: Proof, good: bytes) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        file_sweep(writing, proof, good, "A2-J1.s1p", test="A2-J1.rl.load")
        file_sweep(writing, proof, good.replace(b"invented", b"another head"), "A2-J2.s1p", test="A2-J2.rl.load")
        file_sweep(writing, proof, b"nonsense", "x.s1p")
    review = Review(closed(lone, proof))
    (twice,) = review.of("same evidence twice")
    assert set(twice.subject.split(", ")) == {"A2-J1.rl.load", "A2-J2.rl.load"}  # the second is too short for its path
    assert "accus" not in twice.words
    (unreadable,) = review.of("unreadable")
    assert unreadable.subject == "x.s1p"
    kinds = [KINDS.index(one.kind) for one in review.matters]
    assert kinds == sorted(kinds)
    assert review.grades == {"A": 2, "B": 0, "C": 0}
    assert review.instruments == {"not named": 2}


def test_a_file_of_another_site_is_told(lone: Record, proof: Proof, good: bytes) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        filed = file_sweep(writing, proof, good, "A2-J1.rl.load.s1p")
    closeout = closeout_of(proof, whole_of(lone, "S1"), DAY, elsewhere={filed.content: ("S7",)})
    (twice,) = Review(closeout).of("same evidence twice")
    assert "S7" in twice.words


def test_an_earlier_verdict_that_differs_is_told(lone: Record, proof: Proof) -> None:
    """A better file does not make the first one unsaid: document, sheets, results and matters name both."""
    say(lone, proof, b"bad", value=12.0)
    say(lone, proof, b"also bad", value=13.0)
    say(lone, proof, b"good", "A2-J1.rl.load", "passes", 21.0)
    say(lone, proof, b"only", "A2-J2.rl.load", "passes", 21.0)
    review = Review(closed(lone, proof))
    assert {one.subject for one in review.of("measured again")} == {"A2-J1.rl.load"}
    one, two = review.of("measured again")
    assert one.words == (
        "earlier fails: 12.00 dB; sweep.s1p, filed 2026-05-04, no instrument named; now passes: 21.00 dB; sweep.s1p, filed 2026-05-04"
    )
    assert "13.00 dB" in two.words
    data = results_data(review, "upmast")["measured_again"]
    assert [(row["test"], row["earlier"], row["value"], row["now"]) for row in data] == [
        ("A2-J1.rl.load", "fails", 12.0, "passes"), ("A2-J1.rl.load", "fails", 13.0, "passes"),
    ]  # fmt: skip
    again = [sheet for sheet in results_book(review, "upmast").sheets if sheet.name == "Measured again"]
    assert [row[:3] for row in again[0].table.rows] == [
        ("A2-J1.rl.load", "fails", "12.00 dB"), ("A2-J1.rl.load", "fails", "13.00 dB"),
    ]  # fmt: skip
    blocks = closeout_document(review, datetime(2026, 5, 4, tzinfo=UTC), "upmast").blocks
    assert "Measured again, with another verdict: 2" in [block.text for block in blocks if isinstance(block, Heading)]


def test_the_same_verdict_again_is_nothing_to_look_at(lone: Record, proof: Proof) -> None:
    say(lone, proof, b"one", "A2-J1.rl.load", "passes", 20.0)
    say(lone, proof, b"two", "A2-J1.rl.load", "passes", 21.0)
    assert Review(closed(lone, proof)).of("measured again") == ()


def test_what_other_sites_have_is_named_as_not_compared(lone: Record, proof: Proof, good: bytes) -> None:
    """Their records are not in the zip: a second party takes it as said, and says so."""
    with lone.writing("S1", "K. Ode") as writing:
        filed = file_sweep(writing, proof, good, "A2-J1.rl.load.s1p")
    closeout = closeout_of(proof, whole_of(lone, "S1"), DAY, elsewhere={filed.content: ("S7",), D: ("S8",)})
    said = results_data(Review(closeout), lone.program)
    assert elsewhere_in(said) == {filed.content: ("S7",)}
    found = held(Review(closeout_of(proof, whole_of(lone, "S1"), DAY, elsewhere=elsewhere_in(said))), said)
    assert (found.told, found.rows) == ([], {})
    assert [words.partition(":")[2].strip() for words in found.not_compared] == [
        "which files other sites have, too: their records are not in the zip"
    ]
    with pytest.raises(UsageError, match="no list of sites"):
        elsewhere_in(said | {"elsewhere": [1]})


def test_no_difference_is_computed_and_none_is_no_claim(lone: Record, proof: Proof) -> None:
    closeout = closeout_of(proof, Whole("S1", ()), DAY)
    assert not Review(closeout).layers.known
    assert "nothing shows" in Review(closeout).layers.words
    items = tuple(replace(i, length_m=3.5) if i.id == "A2-J1" else i for i in proof.line.items)
    assert Review(closeout, proof.line, proof.line).layers.differences == ()
    (words,) = Review(closeout, proof.line, replace(proof.line, items=items)).layers.differences
    assert "A2-J1" in words


def test_a_difference_that_was_there_at_the_head_is_not_listed_again(lone: Record, proof: Proof) -> None:
    def longer(*ids: str) -> Line:
        return replace(proof.line, layer=Layer.BUILT, items=tuple(replace(i, length_m=3.5) if i.id in ids else i for i in proof.line.items))  # fmt: skip

    with lone.writing("S1", "K. Ode") as writing:
        keep_line(writing, proof.line)
        keep_line(writing, longer("A2-J1"), proof.line)
    closeout = closed(lone, proof, since=lone.head("S1"))
    assert Review(closeout, proof.line, longer("A2-J1")).of("built otherwise") == ()
    (one,) = Review(closeout, proof.line, longer("A2-J1", "A2-J2")).of("built otherwise")
    assert "A2-J2" in one.words


@given(st.lists(st.integers(0, 400), min_size=5, max_size=5))
def test_the_bars_fill_their_room(counts: list[int]) -> None:
    from collections import Counter

    found = widths(Counter(dict(zip(State, counts, strict=True))), 300.0)
    assert set(found) == {state for state, count in zip(State, counts, strict=True) if count}
    if found:
        assert sum(found.values()) == pytest.approx(300.0)
        assert min(found.values()) >= LEAST


def test_every_kind_of_matter_has_a_title() -> None:
    assert set(KINDS) == set(KIND_TITLES)


def test_names_that_speak_against_the_content_show_an_exchange(
    lone: Record, proof: Proof, designs: dict[str, PathDesign], make: Make
) -> None:
    """Two sweeps under each other's names: no test is found for them, and the exchange is told all the same."""
    with lone.writing("S1", "K. Ode") as writing:
        for path, name in (("A2-J1", "A2-J2"), ("A2-J2", "A2-J1")):
            filed = file_sweep(writing, proof, text_of(make(designs[path], "load")), f"{name}.rl.load.s1p")
            assert filed.words.endswith("which is it?")
    closeout = closed(lone, proof)
    review = Review(closeout, told=between(closeout, lone.content))
    (one,) = review.of("between files")
    assert "seem exchanged" in one.words
    assert one.where == TOP
    assert len(review.of("asked")) == 2


def test_what_is_waived_counts_as_no_pass(lone: Record, proof: Proof) -> None:
    """A test that nobody measured is not done because it is waived."""
    test = next(one for one in proof.expectations if one.where == TOP).id
    say(lone, proof, b"good", test, "passes", 30.0)
    total = sum(one.where == TOP for one in proof.expectations)
    for one in proof.expectations:
        waive(lone, one.id, covers="missing")
    closeout = closed(lone, proof)
    assert f"1 of {total} pass" in progress_svg(closeout)
    count = len(proof.expectations)
    assert closeout.words == (
        f"Complete: of {count} tests 1 pass, {count - 1} waived by name, {count - 1} of them never measured."
    )


def test_the_picture_says_its_words(proof: Proof) -> None:
    text = progress_svg(closeout_of(proof, Whole("S1", ()), DAY))
    assert "at the top" in text
    assert "missing" in text


@pytest.mark.parametrize("missing", ["confirm the limit at least 4.5 N·m", "the torque of 2 more of 3"])
def test_what_is_not_judged_asks_for_what_it_lacks(
    lone: Record, proof: Proof, designs: dict[str, PathDesign], make: Make, missing: str
) -> None:
    with lone.writing("S1", "K. Ode") as writing:
        file_sweep(writing, proof, text_of(make(designs["A2-J1"], "load", joints_db={1: 12.0})), "A2-J1.rl.load.s1p")
    (row,) = closed(lone, proof).of(State.FAILS)
    assert row.stands is not None

    def with_remedy(remedy: str) -> str:
        finding = row.stands.judgement.findings[0].model_copy(
            update={"verdict": "not judged", "missing": (missing,), "remedy": remedy}
        )
        judgement = row.stands.judgement.model_copy(update={"findings": (finding,)})
        return replace(row, without=State.NOT_JUDGED, stands=replace(row.stands, judgement=judgement)).remedy

    assert with_remedy("a joint that was overtightened is opened") == missing
    assert with_remedy(f"{missing}; nobody needs to go up for it") == f"{missing}; nobody needs to go up for it"
