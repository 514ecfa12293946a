"""The quick ways of the readers give what the slow ways give, number for number and fault for fault."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from upmast.errors import InputFaults
from upmast.field.measurement import Sweep
from upmast.field.readers import touchstone, trace_columns, trace_table
from upmast.field.readers.cell_value import Unread, read_value
from upmast.field.readers.plain_numbers import plain_floats
from upmast.field.readers.table import read_table
from upmast.field.readers.touchstone import read_file, read_sweep
from upmast.field.readers.touchstone_rows import quick_table

QUICK = settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def told(sweep: Sweep) -> tuple[object, ...]:
    """All of a sweep, to the last bit."""
    arrays = (sweep.frequency_hz, sweep.gamma, sweep.magnitude)
    rest = (
        sweep.file,
        sweep.digest,
        sweep.magnitude_only,
        sweep.reference_ohm,
        sweep.format,
        sweep.comments,
        sweep.mended,
    )
    return (*(a.tobytes() for a in arrays), *rest)


# --- Touchstone --------------------------------------------------------------------------------------------------------

NUMBERS = st.one_of(
    st.floats(-1.0, 1.0).map(repr), st.floats(-1.0, 1.0).map(lambda x: f"{x:.9f}"), st.floats(-1.0, 1.0).map(lambda x: f"{x:.6E}"),
    st.sampled_from(["0", "-0", "-0.0", "+1", ".5", "1.", "007", "1e400", "-1e-400", "nan", "1,5", "1.2.3", "1-2", "--1", "", "0.25", "1e5", "-0e3"]),
)  # fmt: skip


@st.composite
def touchstones(draw: st.DrawFn) -> bytes:
    count = draw(st.integers(1, 8))
    width = draw(st.sampled_from([3, 3, 3, 9]))
    odd = draw(st.integers(0, 3))  # how many cells may be odd; most files are sound
    rows = [[str(700 + k), *(["0.125"] * (width - 1))] for k in range(count)]
    for _ in range(odd):
        rows[draw(st.integers(0, count - 1))][draw(st.integers(0, width - 1))] = draw(NUMBERS)
    blank = draw(st.sampled_from([" ", " ", "\t", "  "]))
    end = draw(st.sampled_from(["\n", "\n", "\r\n", "\r", " \n"]))
    lines = [blank.join(row) for row in rows]
    if draw(st.integers(0, 4)) == 0:
        lines.insert(
            draw(st.integers(0, len(lines))),
            draw(st.sampled_from(["", "! said", "# GHz", "[End]", "701", "1 2 3 4", "\f", "words"])),
        )
    head = draw(st.sampled_from(["# MHz S RI R 50", "! made\n! by a test\n# MHz S MA R 50", "#", "# MHz S DB R 75", "", "# MHz oops", "1 2\n# MHz S RI R 50",
                                 "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 1\n[Network Data]", "! [odd]\n# MHz S RI R 50\n\n", "\ufeff# MHz S RI R 50"]))  # fmt: skip
    return (head + "\n" + end.join(lines) + draw(st.sampled_from(["\n", "", "\n\n \n", "\r\n"]))).encode()


def outcome(data: bytes, name: str, repair: bool) -> object:
    try:
        return told(read_sweep(data, name, repair=repair))
    except InputFaults as faults:
        return str(faults)


@QUICK
@given(touchstones(), st.sampled_from(["a.s1p", "a.s2p", "a.txt"]), st.booleans())
@example(b"# MHz S RI R 50\n700 0.1 0.2\n701 0.1\n0.2 702 0.1 0.2\n703 0.1 0.2\n", "a.s1p", False)
@example(b"# MHz S RI R 50\n700 -0 -0\n701 1 -0\n", "a.s1p", False)
@example(b"# MHz S RI R 50\n700 -0 -0\n701 -1 -0\n", "a.s1p", False)
def test_a_touchstone_file_reads_the_same(data: bytes, name: str, repair: bool) -> None:
    quick = outcome(data, name, repair)
    with patch.object(touchstone, "_quickly", lambda *_: None):
        assert outcome(data, name, repair) == quick


@settings(QUICK, max_examples=400)
@given(
    st.lists(
        st.one_of(
            st.floats(allow_nan=False, allow_infinity=False).map(repr),
            st.decimals(-1, 1, allow_nan=False, places=20).map(str),
        ),
        min_size=1,
        max_size=20,
    )
)
def test_numbers_are_rounded_as_python_does(words: list[str]) -> None:
    block = "".join(f"{word}\n" for word in words).encode()
    table = quick_table(block, 1)
    if table is not None:
        assert table[:, 0].tolist() == [float(word) for word in words]
    assert table is not None or any("+" in w.lstrip("+-") or "E" in w or float(w) == 0 for w in words)


def test_samples_take_the_quick_way(tmp_path: Path) -> None:
    """Where every file took the slow way, the tests above would show nothing."""
    plain = b"! said\n# MHz S RI R 50\n" + b"".join(b"%d 0.125 -0.25\n" % k for k in range(700, 760))
    for data in (
        plain,
        plain.replace(b"\n", b"\r\n"),
        plain.replace(b" ", b"\t").replace(b"#\tMHz\tS\tRI\tR\t50", b"# MHz S RI R 50"),
        plain + b"\n\n",
    ):
        with patch.object(touchstone, "lines_of", side_effect=AssertionError("the slow way")):
            assert read_sweep(data, "a.s1p").points == 60
    path = tmp_path / "a.s1p"
    path.write_bytes(plain)
    assert read_file(path).digest == read_sweep(plain, "a.s1p").digest


# --- tables ------------------------------------------------------------------------------------------------------------

CELLS = st.one_of(
    st.floats(-99.0, 99.0).map(lambda x: f"{x:.2f}"), st.integers(-50, 5000).map(str), st.floats(0.001, 30.0).map(lambda x: f"{x:.5f}"),
    st.sampled_from(["", "-", "+17.2", "-17.2", "1.2e1", "17.2 dB", "700 MHz", "1:1.3", "1.3:1", "OL", "<-20", "nan", "=1+1", "'1", "1 000.5", "1.000", "0", "-0", "007",
                     ".5", "5.", "1.2.3", "--1", "12345678901234567890.5", "9" * 45, "\u221217.2", "17.2\u200b", "Frequency (MHz)", "abc"]),
)  # fmt: skip
HEADS = st.sampled_from(["Frequency (MHz)", "Freq [GHz]", "Frequency", "freq_kHz", "Point"])


@st.composite
def tables(draw: st.DrawFn) -> bytes:
    count, comma = draw(st.integers(1, 10)), draw(st.booleans())
    delimiter = draw(st.sampled_from([";", "\t"] if comma else [";", "\t", ","]))
    start = draw(st.sampled_from([700, 1710.5, 0.7, 7e5]))
    sound = st.floats(1.0, 60.0).map(lambda x: f"{x:.{draw(st.sampled_from([0, 2, 3]))}f}")
    rows = [[f"{start * (1 + k / 1000):.4f}", draw(sound)] for k in range(count)]
    for _ in range(draw(st.integers(0, 2))):
        rows[draw(st.integers(0, count - 1))][draw(st.integers(0, 1))] = draw(CELLS)
    if draw(st.integers(0, 5)) == 0:
        rows.insert(
            draw(st.integers(0, len(rows))),
            draw(st.sampled_from([[""], ["a", "b"], ["1", "2", "3"], ["703"], ["Total", ""]])),
        )
    head = [draw(HEADS), draw(st.sampled_from(["Return loss (dB)", "VSWR", "S11 (dB)", "RL"]))]
    if draw(st.integers(0, 4)) == 0:
        for n, row in enumerate(rows):
            row.insert(0, str(n))
        head.insert(0, "Point")
    lines = [delimiter.join(row) for row in rows]
    text = "\n".join([line.replace(".", ",") if comma else line for line in lines])
    return f"{delimiter.join(head)}\n{text}\n".encode()


def traces(raw: bytes, repair: bool) -> object:
    try:
        table = read_table(raw, "t.csv", repair=repair)
        mapping = trace_table.guess_trace(table)
        return mapping.as_data(), [told(one) for one in trace_table.read_trace(table, mapping, repair=repair)]
    except InputFaults as faults:
        return str(faults)


@settings(QUICK, max_examples=500)
@given(tables(), st.booleans())
@example(b"Frequency (MHz);VSWR\n700;1,2\n701;1,3\n", False)
@example(b"Frequency (MHz);Return loss (dB)\n700,5;0\n701,5;-0\n", False)
def test_a_table_reads_the_same(raw: bytes, repair: bool) -> None:
    quick = traces(raw, repair)
    none = lambda *_: None  # noqa: E731
    with patch.object(trace_table, "plain_floats", none), patch.object(trace_columns, "plain_floats", none):
        assert traces(raw, repair) == quick


def test_a_usual_table_takes_the_quick_way() -> None:
    rows = "".join(f"{700 + k / 8:.3f};{17 + k / 100:.2f}\n".replace(".", ",") for k in range(50))
    with patch.object(trace_table, "_value", side_effect=AssertionError("the slow way")):
        table = read_table(f"Frequency (MHz);Return loss (dB)\n{rows}".encode(), "t.csv")
        (sweep,) = trace_table.read_trace(table, trace_table.guess_trace(table))
    assert sweep.frequency_hz.tolist() == [(700 + k / 8) * 1e6 for k in range(50)]


@QUICK
@given(st.lists(CELLS, min_size=1, max_size=6), st.sampled_from([".", ","]), st.sampled_from([0, 3, 6, 9]))
@example(["703", "-0.5"], ".", 6)
@example(["1;2", "3"], ".", 0)
@example(["1;2"], ".", 0)
def test_columns_are_the_same_as_cells(texts: list[str], decimal: str, power: int) -> None:
    if decimal == ",":
        texts = [text.replace(".", ",") for text in texts]
    found = plain_floats(texts, decimal, power)
    if found is None:
        return
    for text, value in zip(texts, found, strict=True):
        read = read_value(text, decimal)
        assert read.number is not None
        assert value == float(read.number * Decimal(10) ** power)
        assert (read.comparator, read.state, read.unit) == ("", "", "")


def test_what_is_not_plain_is_left() -> None:
    for texts in (
        ["1.5", "1,5"],
        ["+1"],
        ["1e3"],
        ["1 "],
        [" 1"],
        ["1.2 dB"],
        ["0x10"],
        ["٣"],
        [""],
        ["1" * 21],
        ["-0"],
        ["1;2", "3"],
    ):
        assert plain_floats(texts, ".") is None, texts
    assert plain_floats(["1"], "both") is None
    assert plain_floats([], ".") is None
    with pytest.raises(Unread):
        read_value("1.2.3", ".")
