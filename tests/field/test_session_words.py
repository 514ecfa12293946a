"""Answers that are offered do answer; hostile tables and sentences only ever give faults in words; order does not matter."""

from __future__ import annotations

from contextlib import suppress
from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from upmast.errors import UsageError
from upmast.field.intake import take_in
from upmast.field.readers.mapping_memory import Memory
from upmast.field.say import Said, words_of
from upmast.field.session import Judging
from upmast.field.tables import read_tables

TRACE = "\n".join(f"{700 + n};{30 + n / 10:.1f}" for n in range(20)).replace(".", ",")
OPEN = {  # tables with a question each, and how many sentences it takes
    "role.csv": "MHz;what\n" + TRACE,
    "kind.csv": "Radio;Value\nA1;53,1\nA2;52,9\n",
    "coax or light.csv": "Port;Loss (dB)\nA1-J1;0,51\nA2-J1;0,52\n",
    "unit.csv": "Joint;Torque\nA2-J1;5,1\nA2-J2;5,0\n",
    "volts.csv": "Radio;Foo (V)\nA1;53,1\nA2;52,9\n",
    "header.csv": "Strand;Loss 1310 nm (dB)\nFibre;Loss 1550 nm (dB)\nT1-F01;0,5\nT1-F02;0,6\n",
    "decimal.csv": "Radio;Voltage (V)\nA1;53,1\nA2;52.9\nA3;51,1\nB1;51.2\n",
}


@pytest.mark.parametrize("name", OPEN)
def test_the_answers_that_are_offered_lead_to_readings(name: str) -> None:
    raw = OPEN[name].encode()
    said: list[str] = []
    for _ in range(6):
        (found,) = read_tables(raw, name, words_of(said).of(name), Memory())
        if not found.questions:
            break
        assert found.answers, found.questions
        said.append(found.answers[0])
    assert not found.questions
    assert found.sweeps or found.readings or found.faults


def test_a_table_without_any_question_is_read_at_once() -> None:
    (found,) = read_tables(b"Radio;Voltage (V)\nA1;53,1\nA2;52,9\n", "volts.csv", Said(), Memory())
    assert found.readings is not None
    assert [one.value for one in found.readings.readings] == [53.1, 52.9]
    assert not found.known


def test_a_trace_over_distance_is_never_judged(proof, designs, tmp_path: Path) -> None:
    end = designs["B1-J1"].length_m
    rows = [f"{n / 10:.1f};{35 if abs(n / 10 - end * 1.1) > 0.3 else 22},0" for n in range(400)]
    text = "Distance (m);Return loss (dB)\n" + "\n".join(rows).replace(".", ",")
    (tmp_path / "B1-J1 over distance.csv").write_text(text)
    (tmp_path / "unnamed.csv").write_text(text + "\n")
    judging = Judging(proof)
    judging.add(take_in([tmp_path]))
    session = judging.session()
    rows_of = {row.file: row for row in session.rows}
    named = rows_of["B1-J1 over distance.csv"]
    assert named.verdict == "not judged"
    assert "export the sweep over frequency" in named.do
    assert rows_of["unnamed.csv"].state == "asked"
    assert session.exit_code == 3
    assert sum(len(one.tests) for one in session.missing) == len(proof.expectations)


def test_a_length_beside_a_loss_makes_no_trace_over_distance() -> None:
    raw = "Strand;Length (m);1310 nm (dB)\n" + "\n".join(f"T1-F{n:02d};60,{n};0,5{n % 10}" for n in range(1, 20))
    (found,) = read_tables(raw.encode(), "losses.csv", Said(), Memory())
    assert found.distance is None
    assert found.readings is not None


def test_form_and_sheet_can_be_said() -> None:
    raw = ("Frequency (MHz);Return loss (dB)\n" + TRACE).encode()
    assert read_tables(raw, "t.csv", Said(), Memory())[0].sweeps
    said = words_of(["form is values"]).of("t.csv")
    assert not read_tables(raw, "t.csv", said, Memory())[0].sweeps
    with pytest.raises(UsageError, match="header can't stand"):
        read_tables(raw, "t.csv", words_of(["header is 999"]).of("t.csv"), Memory())
    with pytest.raises(UsageError, match="no column"):
        read_tables(raw, "t.csv", words_of(["Z is frequency in MHz"]).of("t.csv"), Memory())


@given(st.text(max_size=200))
def test_sentences_give_words_or_a_reason(text: str) -> None:
    with suppress(UsageError):
        words_of([text])


CELLS = st.one_of(
    st.sampled_from(
        [
            "",
            "-",
            "OL",
            "<-120",
            "A1",
            "T1-F01",
            "Frequency",
            "RL (dB)",
            "Voltage",
            "MHz",
            "1,5",
            "2.5",
            "=1+1",
            "\x1b[31m",
        ]
    ),
    st.floats(-1e6, 1e6).map(lambda v: f"{v:.3f}"),
    st.text(max_size=12),
)


@given(
    st.lists(st.lists(CELLS, min_size=1, max_size=5), min_size=1, max_size=12), st.sampled_from(";,\t"), st.booleans()
)
@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow], deadline=None)
def test_any_table_is_read_asked_or_refused_in_words(rows: list[list[str]], delimiter: str, repair: bool) -> None:
    raw = "\n".join(delimiter.join(row) for row in rows).encode("utf-8", "replace")
    for found in read_tables(raw, "any.csv", Said(), Memory(), confirm=True, repair=repair):
        assert found.faults or found.questions or found.sweeps or found.readings
        assert "\x1b" not in found.words
        words_of(found.answers)


def test_the_order_of_files_does_not_matter(proof, tmp_path: Path) -> None:
    root = Path(__file__).resolve().parents[2] / "demo" / "field"
    files = [root / name for name in ("losses.csv", "A1-J1.rl.load.s1p", "A1-J2.rl.load.s1p")]
    seen = set()
    for some in permutations(files):
        judging = Judging(proof)
        for path in some:
            judging.add(take_in([path]))
        rows = judging.session().rows
        seen.add(tuple(sorted((row.state, row.verdict, row.test) for row in rows if row.state != "told")))
    assert len({tuple(one[0] for one in s) for s in seen}) == 1
