"""Traces from tables: mapping guessed and said, either sign, either quantity, every unit; numbers as the Touchstone reader has them."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from upmast.errors import InputFaults, UsageError
from upmast.field.measurement import Evidence
from upmast.field.readers.mapping_memory import Memory, load, save
from upmast.field.readers.table import read_table
from upmast.field.readers.touchstone import read_sweep
from upmast.field.readers.trace_table import guess_trace, read_trace

_spec = importlib.util.spec_from_file_location("field_books", Path(__file__).parent / "books.py")
assert _spec is not None
assert _spec.loader is not None
books = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(books)


def sweeps(raw: bytes | str, name: str = "trace.csv", **kwargs: bool):  # type: ignore[no-untyped-def]
    table = read_table(raw.encode() if isinstance(raw, str) else raw, name, **kwargs)
    return read_trace(table, guess_trace(table), **kwargs)


def test_ratio_and_return_loss_agree_with_the_trade_table() -> None:
    """1.1 = 26.4, 1.2 = 20.8, 1.3 = 17.7, 1.4 = 15.6, 1.5 = 14.0 dB: the handbook's own table."""
    rows = {1.1: 26.4, 1.2: 20.8, 1.3: 17.7, 1.4: 15.6, 1.5: 14.0}
    text = "Frequency (MHz),VSWR\n" + "".join(f"{700 + k},{s}\n" for k, s in enumerate(rows))
    (sweep,) = sweeps(text)
    np.testing.assert_allclose(sweep.return_loss_db, list(rows.values()), atol=0.05)
    assert sweep.magnitude_only
    assert sweep.evidence is Evidence.B
    assert np.isnan(sweep.gamma).all()
    assert sweep.format == "VSWR"
    assert sweep.mended[0] == "size without phase"


def test_the_same_sweep_as_touchstone_and_as_table() -> None:
    f = np.linspace(1.7e9, 2.2e9, 101)
    gamma = 0.1 * np.exp(-4j * np.pi * f * 3e-8) + 0.02
    stone = read_sweep(
        (
            "# Hz S RI R 50\n"
            + "".join(f"{a!r} {b.real!r} {b.imag!r}\n" for a, b in zip(f.tolist(), gamma.tolist(), strict=True))
        ).encode(),
        "a.s1p",
    )
    loss = (-20 * np.log10(np.abs(gamma))).tolist()
    ratio = ((1 + np.abs(gamma)) / (1 - np.abs(gamma))).tolist()
    text = "f [GHz]\tS11 (dB)\tVSWR\n" + "".join(
        f"{a / 1e9!r}\t{-b!r}\t{c!r}\n" for a, b, c in zip(f.tolist(), loss, ratio, strict=True)
    )
    one, two = sweeps(text)
    for found in (one, two):
        np.testing.assert_allclose(found.frequency_hz, stone.frequency_hz, rtol=1e-12)
        np.testing.assert_allclose(found.magnitude, stone.magnitude, rtol=1e-9)
    assert one.file == "trace.csv, column B S11 (dB)"


@pytest.mark.parametrize("factor", [("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6), ("GHz", 1e9)], ids=lambda f: f[0])
@pytest.mark.parametrize("where", ["header", "cell", "range", "second row"])
def test_units_of_frequency(factor: tuple[str, float], where: str) -> None:
    unit, size = factor
    f = np.linspace(698e6, 2690e6, 5)
    numbers = [f"{a / size:.9g}" for a in f]
    head = {"header": f"Frequency ({unit})", "cell": "Frequency", "range": "Frequency", "second row": "Frequency"}[
        where
    ]
    units = f"{unit};dB\n" if where == "second row" else ""
    tail = f" {unit}" if where == "cell" else ""
    (sweep,) = sweeps(f"{head};Return loss\n{units}" + "".join(f"{a}{tail};20.5\n" for a in numbers))
    np.testing.assert_allclose(sweep.frequency_hz, f, rtol=1e-9)
    said = " ".join(sweep.mended)
    assert ("no unit given, read in " + unit in said) == (where == "range")


@pytest.mark.parametrize(
    ("header", "values", "loss"),
    [
        ("Return loss (dB)", [17.0, 20.0], [17.0, 20.0]), ("Return loss (dB)", [-17.0, -20.0], [17.0, 20.0]),
        ("S11 (dB)", [-17.0, -20.0], [17.0, 20.0]), ("S11 (dB)", [17.0, 20.0], [17.0, 20.0]), ("RL/dB", [-0.3, 20.0], [-0.3, 20.0]),
        ("S11 Log Mag(dB)", [-20.0, 0.3], [20.0, -0.3]), ("Rückflussdämpfung (dB)", [0.0, 20.0], [0.0, 20.0]),
    ],
)  # fmt: skip
def test_return_loss_comes_out_positive_whatever_sign_it_is_written_with(
    header: str, values: list[float], loss: list[float]
) -> None:
    (sweep,) = sweeps(f"Frequency (MHz);{header}\n" + "".join(f"{700 + k};{v}\n" for k, v in enumerate(values)))
    np.testing.assert_allclose(sweep.return_loss_db, loss, atol=1e-12)
    turned = [words for words in sweep.mended if "minus sign" in words]
    assert bool(turned) == (values[0] != loss[0])


def test_a_sign_that_the_numbers_do_not_tell_is_asked_and_may_be_said() -> None:
    text = b"Frequency (MHz),RL (dB)\n700,0.2\n701,-0.1\n"
    table = read_table(text, "short.csv")
    mapping = guess_trace(table)
    with pytest.raises(InputFaults, match="one sign throughout"):
        read_trace(table, mapping)
    (sweep,) = read_trace(table, mapping.decide(sign="+"))
    np.testing.assert_allclose(sweep.return_loss_db, [0.2, -0.1], atol=1e-12)
    (other,) = read_trace(table, mapping.decide(sign="-"))
    np.testing.assert_allclose(other.return_loss_db, [-0.2, 0.1], atol=1e-12)
    with pytest.raises(InputFaults, match="one sign throughout"):
        sweeps("Frequency (MHz),RL (dB)\n700,20\n701,-15\n")


def test_numbers_alone_do_not_tell_loss_from_ratio() -> None:
    table = read_table(b"698.1,17.1\n699.1,18.2\n", "a.csv")
    mapping = guess_trace(table)
    assert mapping.questions == ("column B '': its header does not say what it is",)
    with pytest.raises(InputFaults, match="may be return-loss, vswr"):
        read_trace(table, mapping)
    with pytest.raises(UsageError, match="first decide"):
        mapping.confirmed()
    (loss,) = read_trace(table, mapping.decide(columns={"B": "return-loss"}))
    (ratio,) = read_trace(table, mapping.decide(columns={"B": "vswr"}))
    assert loss.return_loss_db[0] == pytest.approx(17.1)
    assert ratio.magnitude[0] == pytest.approx(16.1 / 18.1)


def test_a_size_from_0_to_1_is_not_taken_for_decibels() -> None:
    table = read_table(b"Frequency (MHz),S11\n700,0.2\n701,0.1\n", "a.csv")
    assert guess_trace(table).questions == (
        "column B 'S11': its unit is not given, and numbers of 0 to 1 may be a size instead of dB",
    )


def test_other_columns_are_left_and_said() -> None:
    text = "Frequency (MHz),Return loss (dB),Phase (deg),Limit return loss (dB),Distance (m)\n700,20,1,17,3\n701,21,2,17,4\n"
    (sweep,) = sweeps(text)
    assert sweep.return_loss_db.tolist() == pytest.approx([20.0, 21.0])
    assert sum("not used" in words for words in sweep.mended) == 3


def test_lines_above_the_table_become_comments() -> None:
    (sweep,) = sweeps("Instrument;invented\nDate;29.11.2025\n\nFrequency (MHz);VSWR\n700,5;1,25\n701,5;1,30\n")
    assert sweep.comments == ("Instrument; invented", "Date; 29.11.2025", "column B: VSWR")


def test_repair_sorts_merges_and_leaves_out_and_says_so() -> None:
    text = "Frequency (MHz),VSWR\n702,1.3\n700,1.2\n700,1.25\n701,OL\n703,0.995\nend of data,\n"
    with pytest.raises(InputFaults) as caught:
        sweeps(text)
    assert {fault.place for fault in caught.value.faults} >= {"B5", "A7"}
    (sweep,) = sweeps(text, repair=True)
    assert sweep.frequency_hz.tolist() == [700e6, 702e6, 703e6]
    np.testing.assert_allclose(sweep.magnitude, [0.2 / 2.2, 0.3 / 2.3, 0.0], atol=1e-12)
    said = " | ".join(sweep.mended)
    for words in ("2 rows left out: no number in it", "sorted by frequency", "1 repeated frequencies", "just under 1"):
        assert words in said


def test_mixed_decimal_signs_are_asked_and_repair_reads_each_by_its_own() -> None:
    text = "Frequency (MHz);RL (dB)\n700,5;17.25\n701,5;18,1\n"
    with pytest.raises(InputFaults, match="decimal signs are mixed"):
        sweeps(text)
    (sweep,) = sweeps(text, repair=True)
    assert sweep.return_loss_db.tolist() == pytest.approx([17.25, 18.1])
    assert "decimal signs are mixed: each number is read by its own" in sweep.mended


def test_a_decimal_sign_that_nothing_shows_is_asked_and_may_be_said() -> None:
    raw = b"Frequency (MHz);RL (dB)\n698,500;17,250\n699,500;18,100\n"
    table = read_table(raw, "a.csv")
    with pytest.raises(InputFaults, match="it can be 698500 or 698"):
        read_trace(table, guess_trace(table))
    table = read_table(raw, "a.csv", decimal=",")
    (sweep,) = read_trace(table, guess_trace(table))
    assert sweep.frequency_hz[0] == 698.5e6
    mapping = guess_trace(read_table(raw, "a.csv")).decide(decimal=",")
    assert read_trace(read_table(raw, "a.csv"), mapping)[0].frequency_hz[0] == 698.5e6


def test_what_was_confirmed_is_known_again_by_its_headers(tmp_path: Path) -> None:
    table = read_table(b"F,Kurve 1\n700,20\n701,21\n", "one.csv")
    mapping = guess_trace(table)
    assert mapping.questions
    memory = Memory()
    with pytest.raises(UsageError, match="first decide"):
        memory.remember(mapping)
    decided = mapping.decide(columns={"B": "return-loss"}, units={"A": "MHz", "B": "dB"})
    memory = memory.remember(decided.confirmed())
    path = tmp_path / "tables.json"
    save(path, memory)
    again = load(path)
    assert again == memory

    other = read_table(b"f,kurve  1\n800,-20\n801,-21\n", "two.csv")
    known = guess_trace(other, again)
    assert known.questions == ()
    (sweep,) = read_trace(other, known)
    assert sweep.return_loss_db.tolist() == pytest.approx([20.0, 21.0])
    assert "columns and units as they were decided for an earlier table with these headers" in sweep.mended

    moved = guess_trace(read_table(b"Kurve 1,F\n20,700\n21,701\n", "three.csv"), again)
    assert moved.questions  # other headers: nothing is taken over
    giga = guess_trace(read_table(b"F,Kurve 1\n0.7,20\n0.8,21\n", "four.csv"), again)
    assert "remembered as MHz, but the numbers fit GHz" in giga.questions[0]


def test_a_guess_that_nobody_agreed_to_is_not_remembered() -> None:
    mapping = guess_trace(read_table(b"Frequency (MHz),VSWR\n700,1.2\n", "a.csv"))
    with pytest.raises(UsageError, match="first confirm"):
        Memory().remember(mapping)
    assert Memory().remember(mapping.confirmed()).of(mapping.fingerprint) is not None


def test_a_table_without_headers_is_not_remembered() -> None:
    table = read_table(b"700,20\n701,21\n", "a.csv")
    decided = guess_trace(table).decide(columns={"B": "return-loss"}, units={"B": "dB"}).confirmed()
    with pytest.raises(UsageError, match="without headers"):
        Memory().remember(decided)


def test_a_mapping_shows_itself_in_words_and_as_data() -> None:
    mapping = guess_trace(read_table(b"Frequency (MHz),VSWR A2\n700,1.2\n701,1.3\n", "a.csv"))
    first, second = mapping.shown()
    assert "frequency [MHz]" in first
    assert "vswr" in second
    assert "1.2, 1.3" in second
    data = mapping.as_data()
    assert data["fingerprint"] == mapping.fingerprint
    assert data["questions"] == []
    for wrong in (
        {"columns": {"Z": "vswr"}},
        {"columns": {"A": "colour"}},
        {"units": {"A": "parsec"}},
        {"decimal": "x"},
    ):
        with pytest.raises(UsageError):
            mapping.decide(**wrong)  # type: ignore[arg-type]


def test_a_mapping_of_another_table_is_refused() -> None:
    mapping = guess_trace(read_table(b"Frequency (MHz),VSWR\n700,1.2\n", "a.csv"))
    with pytest.raises(InputFaults, match="make the mapping from this table"):
        read_trace(read_table(b"Frequency (MHz),VSWR,x\n700,1.2,3\n", "b.csv"), mapping)


def test_a_workbook_is_read_like_a_text() -> None:
    rows = [
        ["Trace"],
        [],
        ["Frequency (MHz)", "Return loss (dB)"],
        *([700 + k * 0.2, -20 - 0.1 * k] for k in range(50)),
    ]
    (sweep,) = sweeps(books.book(rows), "a.xlsx")
    assert sweep.points == 50
    np.testing.assert_allclose(sweep.frequency_hz, [(700 + k * 0.2) * 1e6 for k in range(50)], rtol=1e-12)
    np.testing.assert_allclose(sweep.return_loss_db, [20 + 0.1 * k for k in range(50)], rtol=1e-12)


@pytest.mark.parametrize(("cell", "decimal"), [("20.13.", "."), ("20,13.", ","), ("1e1.", ".")])
def test_a_second_decimal_sign_at_the_end_is_a_fault(cell: str, decimal: str) -> None:
    rows = [f"{700 + k};{f'20.1{k}'.replace('.', decimal)}" for k in range(6)]
    rows[2] = f"702;{cell}"
    table = read_table(("Frequency (MHz);Return loss (dB)\n" + "\n".join(rows)).encode(), "t.csv", decimal=decimal)
    with pytest.raises(InputFaults) as caught:
        read_trace(table, guess_trace(table))
    assert [one.line for one in caught.value.faults] == [4]


def test_a_whole_number_may_end_with_its_decimal_sign() -> None:
    table = read_table(b"Frequency (MHz);Return loss (dB)\n700.;-20.\n701.;-21.\n702.;-22.\n", "t.csv")
    (sweep,) = read_trace(table, guess_trace(table))
    assert sweep.return_loss_db.round(9).tolist() == [20.0, 21.0, 22.0]
