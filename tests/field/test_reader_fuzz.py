"""
Whatever the bytes are, the readers end in data or in words; and a table that they read has the numbers that were written.

Round trips over units, signs, decimal signs, delimiters and encodings; one wrong character may spoil a reading, never move or bend
another one.
"""

from __future__ import annotations

import importlib.util
import io
import math
import random
import tempfile
from contextlib import suppress
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from upmast.errors import InputFaults, UsageError
from upmast.field.measurement import Sweep
from upmast.field.readers.archive import read_archive
from upmast.field.readers.mapping_memory import Memory, parse
from upmast.field.readers.reading import KINDS, Readings
from upmast.field.readers.table import Table, read_table
from upmast.field.readers.trace_table import guess_trace, read_trace
from upmast.field.readers.values_table import guess_values, read_values
from upmast.yamlfile import parse as parse_yaml

_spec = importlib.util.spec_from_file_location("field_books", Path(__file__).parent / "books.py")
assert _spec is not None
assert _spec.loader is not None
books = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(books)

FUZZ = settings(
    max_examples=300, deadline=timedelta(seconds=10),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture, HealthCheck.data_too_large],
)  # fmt: skip
TRIPS = settings(FUZZ, max_examples=150)
WORDS = (
    "Frequency (MHz)", "Freq", "f [GHz]", "VSWR", "RL (dB)", "S11", "Return loss", "Phase", "Strand", "Port", "PIM (dBc)", "IM3 (dBm)", "F1 (MHz)",
    "Carrier power (W)", "1310 nm A-B (dB)", "Loss (dB)", "Voltage (V)", "Insulation (MΩ)", "IR @ 250 V (GΩ)", "Loop resistance (mΩ)", "Bond (MOHM)",
    "Torque (in-lb)", "Torque (N·m)", "End face", "Spot 30 %", "Spot (%)", "Changed", "Temperature (°F)", "Date", "Time", "Test", "Value", "Unit", "Limit",
    "Serial", "Mode", "Order", "Wavelength (nm)", "Direction", "Remark",
)  # fmt: skip
CELLS = (
    "", "-", "OL", "O.L", "<-120", ">500", "< 0,5", "1,234", "1.234", "17,25", "17.25", "1.234,5", "1,234.5", "1 234,5", "-17", "+3", "1e3", "1e999", "nan",
    "inf", "=1+1", "@x", "#REF!", "700", "701", "702.5", "1.2", "0.99", "0", "-0", "43 dBm", "20 W", "1930-1990", "yes", "pink", "pass", "FAIL", "B", "29.11.2025",
    "03/04/2025", "14:03", "swept", "IM3", "IM4", "up", "a-b", "A2-J1", "T1-F01", "kHz", "MHz", "mΩ", "MΩ", "V", "tbc", "٣", "５", "−5", "\u200b7", '"', "'", "x" * 2100,
    "1" * 60, ",", ";", "\t", "\n", "\r", "\0", "\x1b[31m", "700 MHz", "0.7 GHz", "1.25:1", "5 %",
)  # fmt: skip


def sound_sweeps(found: tuple[Sweep, ...]) -> None:
    for sweep in found:
        assert sweep.points > 0
        assert np.isfinite(sweep.frequency_hz).all()
        assert (np.diff(sweep.frequency_hz) > 0).all()
        assert np.isfinite(sweep.magnitude).all()
        assert (sweep.magnitude >= 0).all()
        assert sweep.magnitude_only
        assert np.isnan(sweep.gamma).all()


def sound_readings(found: Readings) -> None:
    for one in found.readings:
        kind = KINDS[one.kind]
        assert one.subject
        assert one.comparator in ("", "<", ">")
        if one.value is not None:
            assert math.isfinite(one.value)
            if one.unit == kind.unit and one.kind != "pim":
                assert kind.low <= one.value <= kind.high
        else:
            assert one.comparator or one.kind == "end-face-grade"
        for _, value in one.conditions:
            assert isinstance(value, str) or math.isfinite(value)


def everything(raw: bytes, name: str = "x.csv") -> None:
    """Every way through the readers; only faults in words may come out."""
    for repair in (False, True):
        table: Table | None = None
        with suppress(InputFaults):
            table = read_table(raw, name, repair=repair)
        if table is None:
            continue
        trace, values = guess_trace(table), guess_values(table)
        for mapping in (trace, values):
            assert len(mapping.columns) == table.columns_count
            mapping.shown()
            mapping.as_data()
            with suppress(UsageError):
                memory = Memory().remember(mapping.confirmed())
                assert memory.of(mapping.fingerprint) is not None
        with suppress(InputFaults):
            sound_sweeps(read_trace(table, trace, repair=repair))
        with suppress(InputFaults):
            sound_readings(read_values(table, values, repair=repair))
        with suppress(InputFaults):
            sound_readings(
                read_values(table, guess_values(table, "voltage"), declared={"subject": "A2"}, repair=repair)
            )
        with suppress(InputFaults, UsageError):
            decided = trace.decide(
                columns={"A": "frequency", "B": "return-loss"}, units={"A": "MHz", "B": "dB"}, decimal="."
            )
            sound_sweeps(read_trace(table, decided, repair=repair))


@FUZZ
@given(st.binary(max_size=400))
@example(b"\xff\xfe\x00\xd8")
@example(b"PK\x05\x06" + bytes(18))
@example(b"f,RL\n" + b"1," * 300)
def test_any_bytes(raw: bytes) -> None:
    everything(raw)


@st.composite
def messy_tables(draw: st.DrawFn) -> bytes:
    width = draw(st.integers(1, 6))
    delimiter = draw(st.sampled_from(",;\t"))
    rows = draw(st.lists(st.lists(st.sampled_from(CELLS), min_size=0, max_size=width + 1), max_size=8))
    head = draw(st.lists(st.sampled_from(WORDS), min_size=width, max_size=width))
    rows.insert(draw(st.integers(0, min(2, len(rows)))), head)
    text = "\n".join(delimiter.join(row) for row in rows)
    return text.encode(draw(st.sampled_from(["utf-8", "utf-16", "utf-8-sig"])))


@FUZZ
@given(messy_tables())
def test_messy_tables(raw: bytes) -> None:
    everything(raw)


@settings(FUZZ, max_examples=60)
@given(
    st.lists(
        st.lists(st.sampled_from([*WORDS, *CELLS[:-20], 700, 1.2, True, None, 0.3]), max_size=5), min_size=1, max_size=6
    )
)
def test_messy_workbooks(rows: list[list[object]]) -> None:
    try:
        raw = books.book(rows)
    except Exception:  # text that a workbook can't hold
        return
    everything(raw, "x.xlsx")


GOOD_BOOK: bytes = books.book([["Frequency (MHz)", "VSWR"], *([700 + k, 1.2 + k / 100] for k in range(5))])
GOOD_ZIP: bytes = books.zipped(
    {
        "a.csv": b"Frequency (MHz),VSWR\n700,1.2\n",
        "b/c.jpg": b"\xff\xd8\xff" + bytes(50),
        "d.zip": books.zipped({"e": b"1"}),
    }
)


def spoilt(raw: bytes, seed: int) -> bytes:
    """The bytes with a few of them changed, cut out or doubled."""
    rng = random.Random(seed)
    made = bytearray(raw)
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(made)) if made else 0
        match rng.randrange(4):
            case 0 if made:
                made[at] = rng.randrange(256)
            case 1:
                made[at : at + rng.randint(1, 30)] = b""
            case 2:
                made[at:at] = made[at : at + rng.randint(1, 30)]
            case _:
                made[at : at + 4] = rng.choice([b"\xff\xff\xff\xff", bytes(4), b"\x01\0\0\0", b"PK\x01\x02"])
    return bytes(made)


@settings(FUZZ, max_examples=200)
@given(st.integers(0, 2**32))
def test_spoilt_workbooks(seed: int) -> None:
    everything(spoilt(GOOD_BOOK, seed), "x.xlsx")


@settings(FUZZ, max_examples=200)
@given(st.integers(0, 2**32), st.booleans())
def test_spoilt_zips(seed: int, repair: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.zip"
        path.write_bytes(spoilt(GOOD_ZIP, seed))
        with suppress(InputFaults):
            found = read_archive(path, repair=repair)
            for entry in found.entries:
                with suppress(InputFaults, UsageError):
                    assert len(found.read(entry)) == entry.size


@FUZZ
@given(st.text(max_size=200))
@example('{"version": 1, "tables": {"' + "0" * 64 + '": {"form": "values"}}}')
def test_any_memory(text: str) -> None:
    with suppress(InputFaults):
        parse(parse_yaml(text, "tables.json"))


# --- round trips -------------------------------------------------------------------------------------------------------

UNITS = {"Hz": 0, "kHz": 3, "MHz": 6, "GHz": 9}


def written(number: Decimal, decimal: str) -> str:
    return f"{number:f}".replace(".", decimal)


@st.composite
def traces(draw: st.DrawFn) -> tuple[bytes, list[float], list[float], str, str]:
    """A trace as bytes, with its frequencies in Hz and values as they must come out; quantity; decimal sign."""
    count = draw(st.integers(2, 12))
    unit = draw(st.sampled_from(sorted(UNITS)))
    decimal = draw(st.sampled_from([".", ","]))
    delimiter = draw(st.sampled_from([";", "\t"] if decimal == "," else [";", "\t", ","]))
    start = draw(st.integers(130_000_00, 3_000_000_00))
    steps = draw(st.lists(st.integers(1, 50_000), min_size=count - 1, max_size=count - 1))
    hundreds = np.cumsum([start, *steps]).tolist()  # of 10 Hz
    frequency = [Decimal(one * 10).scaleb(-UNITS[unit]) for one in hundreds]
    quantity = draw(st.sampled_from(["rl+", "rl-", "s11", "vswr"]))
    digits = draw(st.integers(1, 4))
    if quantity == "vswr":
        value = [Decimal(draw(st.integers(10**digits, 30 * 10**digits))).scaleb(-digits) for _ in range(count)]
        header = "VSWR"
    else:
        value = [Decimal(draw(st.integers(1 * 10**digits, 60 * 10**digits))).scaleb(-digits) for _ in range(count)]
        header = "S11 (dB)" if quantity == "s11" else "Return loss (dB)"
        if quantity != "rl+":
            value = [-one for one in value]
    head = f"Frequency ({unit})" if draw(st.booleans()) else f"freq_{unit}"
    lines = [delimiter.join((head, header))]
    lines += [delimiter.join((written(a, decimal), written(b, decimal))) for a, b in zip(frequency, value, strict=True)]
    if draw(st.booleans()):
        lines.insert(0, "made by a test")
    raw = (
        draw(st.sampled_from(["\n", "\r\n"]))
        .join(lines)
        .encode(draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"])))
    )
    return raw, [float(one * 10) for one in hundreds], [abs(float(one)) for one in value], quantity, decimal


@TRIPS
@given(traces(), st.booleans())
def test_a_trace_comes_out_as_it_was_written(
    made: tuple[bytes, list[float], list[float], str, str], said: bool
) -> None:
    raw, frequency, value, quantity, decimal = made
    table = read_table(raw, "t.csv", decimal=decimal if said else "")
    mapping = guess_trace(table)
    try:
        (sweep,) = read_trace(table, mapping)
    except InputFaults as faults:
        words = str(faults)
    else:
        words = ""
    if words:  # only a comma that may part thousands is asked
        assert not said
        assert decimal == ","
        assert "it can be" in words
        return
    assert sweep.frequency_hz.tolist() == frequency
    got = (1 + sweep.magnitude) / (1 - sweep.magnitude) if quantity == "vswr" else sweep.return_loss_db
    np.testing.assert_allclose(got, value, rtol=1e-10)


@TRIPS
@given(traces(), st.data())
def test_one_wrong_character_never_moves_or_bends_another_row(
    made: tuple[bytes, list[float], list[float], str, str], data: st.DataObject
) -> None:
    raw, frequency, value, quantity, decimal = made
    text = raw.decode("utf-16") if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else raw.decode("utf-8-sig")
    lines = text.replace("\r\n", "\n").split("\n")
    first = len(lines) - len(frequency)
    row = data.draw(st.integers(0, len(frequency) - 1))
    line = lines[first + row]
    at = data.draw(st.integers(0, len(line) - 1))
    new = data.draw(st.sampled_from(list("0123456789.,;-+ eE\t<>'\"xO")))
    changed = {
        "swap": line[:at] + new + line[at + 1 :],
        "insert": line[:at] + new + line[at:],
        "cut": line[:at] + line[at + 1 :],
    }[data.draw(st.sampled_from(["swap", "insert", "cut"]))]
    lines[first + row] = changed
    try:
        table = read_table("\n".join(lines).encode(), "t.csv", decimal=decimal)
        (sweep,) = read_trace(table, guess_trace(table))
    except InputFaults:
        return
    delimiter = next(one for one in ("\t", ";", ",") if one in lines[first - 1])
    cells = [cell.strip() for cell in changed.split(delimiter)]
    assert len([cell for cell in cells if cell]) == 2
    plain = [oracle(cell, decimal) for cell in cells[:2]]
    got = (1 + sweep.magnitude) / (1 - sweep.magnitude) if quantity == "vswr" else sweep.return_loss_db
    assert sweep.points == len(frequency)
    for k in range(sweep.points):
        if k != row:
            assert sweep.frequency_hz[k] == frequency[k]
            assert abs(got[k]) == pytest.approx(value[k], rel=1e-9)
    unit = next(one for one in ("kHz", "MHz", "GHz", "Hz") if one in lines[first - 1])
    assert sweep.frequency_hz[row] == pytest.approx(plain[0] * 10 ** UNITS[unit], rel=1e-12)
    assert abs(got[row]) == pytest.approx(abs(plain[1]), rel=1e-8)


def oracle(cell: str, decimal: str) -> float:
    """A cell by Python's own reading of numbers: blanks and quotes between groups of three, the other sign between thousands."""
    plain = cell.strip().strip('"').replace("'", "").replace(" ", "")
    other = "." if decimal == "," else ","
    return float(plain.replace(other, "").replace(decimal, "."))


CASES = {
    # header, dimension factor to the unit of the kind
    "optical-loss": ("1310 nm A-B (dB)", 1.0, 0, 60), "voltage": ("Voltage (V)", 1.0, -60, 60), "loop-resistance": ("Loop resistance (mΩ)", 1e-3, 0, 900),
    "insulation-resistance": ("Insulation @ 250 V (GΩ)", 1e3, 0, 900), "bond-resistance": ("Bond resistance (ohm)", 1e3, 0, 900),
    "torque": ("Torque (N·m)", 1.0, 0, 99), "pim": ("PIM (dBc)", 1.0, -190, -60),
}  # fmt: skip


@TRIPS
@given(st.sampled_from(sorted(CASES)), st.sampled_from([".", ","]), st.data())
def test_readings_come_out_as_they_were_written(kind: str, decimal: str, data: st.DataObject) -> None:
    header, factor, low, high = CASES[kind]
    delimiter = data.draw(st.sampled_from([";", "\t"]))
    digits = data.draw(st.sampled_from([1, 2, 4]))  # three digits may be thousands, and are asked
    size = 10**digits
    numbers = data.draw(st.lists(st.integers(low * size + 1, high * size - 1), min_size=1, max_size=8))
    marks = data.draw(st.lists(st.sampled_from(["", "<", ">"]), min_size=len(numbers), max_size=len(numbers)))
    lines = [delimiter.join(("Item", header))]
    for k, (number, mark) in enumerate(zip(numbers, marks, strict=True)):
        lines.append(delimiter.join((f"X{k}", mark + written(Decimal(number).scaleb(-digits), decimal))))
    table = read_table("\n".join(lines).encode(data.draw(st.sampled_from(["utf-8", "utf-16"]))), "v.csv")
    found = read_values(table, guess_values(table))
    assert [one.kind for one in found.readings] == [kind] * len(numbers)
    for one, number, mark in zip(found.readings, numbers, marks, strict=True):
        assert one.value == pytest.approx(number / size * factor, rel=1e-12)
        assert one.comparator == mark
        assert one.unit == KINDS[kind].unit


@settings(FUZZ, max_examples=25)
@given(st.lists(st.floats(1.0, 50.0), min_size=2, max_size=20))
def test_a_workbook_comes_out_as_it_was_written(ratios: list[float]) -> None:
    raw = books.book([["Frequency (MHz)", "VSWR"], *([700 + k / 8, one] for k, one in enumerate(ratios))])
    table = read_table(raw, "x.xlsx")
    (sweep,) = read_trace(table, guess_trace(table))
    assert sweep.frequency_hz.tolist() == [(700 + k / 8) * 1e6 for k in range(len(ratios))]
    np.testing.assert_allclose(sweep.magnitude, [(s - 1) / (s + 1) for s in ratios], rtol=1e-12, atol=1e-15)
    assert io.BytesIO(raw).read(2) == b"PK"
