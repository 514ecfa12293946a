"""Damaged, foreign and hostile files, one a case: each is refused with its place, what was got, what was expected and what to do."""

from __future__ import annotations

import importlib.util
import io
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from upmast import yamlfile
from upmast.errors import InputFaults
from upmast.field.readers.archive import read_archive
from upmast.field.readers.mapping_memory import parse
from upmast.field.readers.table import read_table
from upmast.field.readers.trace_table import guess_trace, read_trace
from upmast.field.readers.values_table import guess_values, read_values

_spec = importlib.util.spec_from_file_location("field_books", Path(__file__).parent / "books.py")
assert _spec is not None
assert _spec.loader is not None
books = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(books)

GOOD_BOOK = books.book([["Frequency (MHz)", "VSWR"], [700, 1.2], [701, 1.3]])
F = "Frequency (MHz),VSWR\n"
R = "Frequency (MHz);Return loss (dB)\n"


def sheet(change: Callable[[bytes], bytes]) -> bytes:
    def change_part(parts: dict[str, bytes]) -> None:
        parts["xl/worksheets/sheet1.xml"] = change(parts["xl/worksheets/sheet1.xml"])

    return bytes(books.rezip(GOOD_BOOK, change_part))


def part(name: str, data: bytes) -> bytes:
    return bytes(books.rezip(GOOD_BOOK, lambda parts: parts.update({name: data})))


def without(name: str) -> bytes:
    return bytes(books.rezip(GOOD_BOOK, lambda parts: parts.pop(name)))


def encrypted(raw: bytes) -> bytes:
    made = bytearray(raw)
    made[made.find(b"PK\x01\x02") + 8] |= 1
    return bytes(made)


TABLES: dict[str, tuple[bytes | str, str]] = {
    # name: (bytes, words that the message must hold)
    "empty": ("", "an empty file"),
    "blanks": (" \n\t\r\n", "an empty file"),
    "zeros": (bytes(500), "an empty file"),
    "only-delimiters": (";;;\n;;\n", "no filled cell"),
    "zero-bytes": (b"a,b\n1,2\n" * 50 + b"\0", "no text"),
    "random": (bytes(range(256)) * 4, "a .xlsx or .csv file"),
    "broken-utf-16": ("a;b\n1;2\n".encode("utf-16") + b"\x00", "UTF-16"),
    "lone-surrogate": (b"\xff\xfe\x00\xd8a\x00", "UTF-16"),
    "control": ("a,b\n1,\x1b[31m2\n", "control character"),
    "bell": ("a,b\n1,\x072\n", "control character"),
    "open-quote": ('a,b\n1,"2\n3,4\n', "never closed"),
    "stray-quote": ('a,b\n"1"x,2\n', "not closed rightly"),
    "too-many-columns": (",".join("x" * 300) + "\n", "at most 200 columns"),
    "long-cell": ("a,b\n" + "x" * 3000 + ",2\n", "at most 2000 characters"),
    "endless-line": ("1," * 300_000, "a line of 600000 characters"),
    "endless-cell": ("a,b\n" + "x" * 200_000 + ",2\n", "a cell without end"),
    "too-many-rows": ("1\n" * 200_001, "at most 200000 rows"),
    "split-decimals": ("f,RL\n698,5,17,2\n699,5,18,1\n", "commas either between cells or inside numbers"),
    "split-decimals-of-one-column": (
        "f,RL,Limit\n698,17,2,\n699,18,1,\n",
        "commas either between cells or inside numbers",
    ),
    "pdf": (b"%PDF-1.4\n1,2\n", "a document or picture"),
    "png": (b"\x89PNG\r\n\x1a\n1,2", "a document or picture"),
    "jpeg": (b"\xff\xd8\xff\xe0 1,2", "a document or picture"),
    "heif": (b"\0\0\0\x18ftypheic 1,2", "a document or picture"),
    "html": ("<html><table><tr><td>1</td></tr></table>", "marked-up text"),
    "rtf": ("{\\rtf1 1,2}", "marked-up text"),
    "old-workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1" + bytes(300), "old or encrypted workbook"),
    "gzip": (b"\x1f\x8b\x08" + bytes(30), "a packed file"),
    "too-large": (b"1," * (17 * 1024 * 1024), "at most 32 MB"),
    "zip-cut": (GOOD_BOOK[:-40], "can't be read"),
    "zip-without-book": (books.zipped({"a.csv": b"a,b\n1,2\n"}), "no workbook"),
    "book-encrypted": (encrypted(GOOD_BOOK), "without a password"),
    "book-bomb": (part("xl/worksheets/sheet9.xml", bytes(5_000_000)), "times its size"),
    "book-huge": (part("xl/media/x", bytes(101_000_000)), "MB unpacked"),
    "book-huge-texts": (part("xl/sharedStrings.xml", b"<si/>" * 4_000_000), "at most 16 MB"),
    "book-links": (part("xl/externalLinks/externalLink1.xml", b"<a/>"), "links to other files"),
    "book-macros": (part("xl/vbaProject.bin", b"x"), "macros"),
    "book-entity": (sheet(lambda raw: b'<!DOCTYPE a [<!ENTITY b "c">]>' + raw), "a document type"),
    "book-utf-16": (sheet(lambda raw: raw.decode().encode("utf-16")), "not in UTF-8"),
    "book-no-sheet": (without("xl/worksheets/sheet1.xml"), "no visible sheet"),
    "book-no-workbook": (without("xl/workbook.xml"), "can't be read"),
    "book-cut-xml": (sheet(lambda raw: raw[: len(raw) // 2]), "can't be read"),
    "book-far-row": (
        sheet(lambda raw: raw.replace(b'r="3"', b'r="900000"').replace(b'"A3"', b'"A900000"')),
        "at most 200000 rows",
    ),
    "book-far-column": (sheet(lambda raw: raw.replace(b'"B3"', b'"ZZ3"')), "at most 200 columns"),
    "book-empty": (books.book([[None]]), "no visible sheet"),
    "book-two-sheets": (books.book([["a", "b"]], ("x", [["c", "d"]])), "say which sheet"),
}
TRACES: dict[str, tuple[bytes | str, str]] = {
    "no-header": ("700,1.2\n701,1.3\n", "may be return-loss, vswr"),
    "no-frequency": ("Point,VSWR\n1,1.2\n2,1.3\n", "one column of frequencies"),
    "no-values": ("Frequency (MHz),Phase\n700,1\n701,2\n", "a column of return loss or standing wave ratio"),
    "two-frequencies": ("Frequency (MHz),Freq (MHz),VSWR\n700,700,1.2\n", "frequency, too"),
    "header-only": (F, "a row for each frequency"),
    "unit-unknown": ("Frequency,VSWR\n30,1.2\n40,1.3\n", "its unit is not given"),
    "frequency-of-another-name": ("Curve x,VSWR\n700,1.2\n710,1.3\n", "it may be the frequency in MHz"),
    "unit-of-another": ("Frequency (dB),VSWR\n700,1.2\n", "its unit"),
    "word": (F + "700,1.2\n701,abc\n", "B3"),
    "empty-cell": (F + "700,1.2\n701,\n", "an empty cell"),
    "over": (F + "700,1.2\n701,OL\n", "in every row"),
    "bound": (F + "700,1.2\n701,>50\n", "in every row"),
    "nan": (F + "700,1.2\n701,nan\n", "finite number"),
    "formula": (F + "700,1.2\n701,=1+1\n", "formulas are not worked out"),
    "falling": (F + "701,1.2\n700,1.3\n", "lower than in the row before"),
    "repeated": (F + "700,1.2\n700,1.3\n", "the same as in the row before"),
    "below-one": (F + "700,0.8\n701,1.3\n", "1 or more"),
    "both-signs": (R + "700;20\n701;-20\n", "one sign throughout"),
    "decimal-unsaid": (R + "700;17,250\n701;18,100\n", "it can be 17250 or 17"),
    "decimals-mixed": (R + "700,5;17.2\n701,5;18,1\n", "decimal signs are mixed"),
    "thousands": (R + "1.700,5;17,2\n1.701;18,1\n", "as elsewhere in the table"),
    "too-wide": (F + "700,1.2\n701,1,3\n", "2, as the header has"),
    "too-high": ("Frequency (GHz),VSWR\n700,1.2\n7000,1.3\n", "1 kHz to 1 THz"),
    "return-loss-of-300": (R + "700;300\n701;20\n", "at most 150 dB"),
    "unit-in-cell": (F + "700,1.2\n701 dB,1.3\n", "does not measure that"),
    "two-tables": (F + "700,1.2\n\nFrequency (MHz),Return loss (dB)\n701,20\n", "one table under one header"),
    "numbers-above": ("1,2\n3,4\n" + F + "700,1.2\n", "numbers above the header"),
    "size-not-decibels": ("Frequency (MHz),S11\n700,0.1\n701,0.2\n", "a size instead of dB"),
    "book-formula": (books.book([["Frequency (MHz)", "VSWR"], [700, 1.2], [701, "=1+1"]]), "no value is stored"),
    "book-date": (
        books.book([["Frequency (MHz)", "VSWR"], [700, 1.2], [701, __import__("datetime").date(2025, 1, 2)]]),
        "not a date",
    ),
    "book-truth": (books.book([["Frequency (MHz)", "VSWR"], [700, 1.2], [701, True]]), "B3"),
}
VALUES: dict[str, tuple[bytes | str, str]] = {
    "no-reading-column": ("a,b\n1,2\n", "a column of readings"),
    "no-subject": ("Voltage (V),Date\n53,2025-01-01\n", "declare the subject"),
    "no-row": ("Radio,Voltage (V)\n", "at least one row"),
    "only-dashes": ("Radio,Voltage (V)\nA1,-\n", "at least one row"),
    "no-unit": ("Joint,Torque\nJ1,44\n", "its unit is not given"),
    "case-hidden": ("Pair,Insulation (MOHM)\nP1,44\n", "thousandth or a million"),
    "milli-insulation": ("Pair,Insulation (mohm)\nP1,44\n", "does not suit insulation-resistance"),
    "wrong-unit-in-cell": ("Radio,Voltage (V)\nA1,53 A\n", "does not suit it"),
    "two-units": ("Item,Test,Value,Unit\nA1,Voltage,53 V,mV\n", "one unit"),
    "unknown-kind": ("Item,Test,Value,Unit\nA1,Weight,53,V\n", "a kind of reading"),
    "kind-unsaid": ("Item,Value\nA1,53\n", "kind of the readings"),
    "voltage-twice": ("Pair,Insulation (MΩ),Voltage (V)\nP1,500,250\n", "test voltage or a voltage"),
    "coax-or-fibre": ("Line,Loss (dB)\nA1,0.4\n", "coaxial cable"),
    "plus-pim": ("Line,PIM (dBc)\nA1,153\n", "a level below 0"),
    "dbm-as-loss": ("Strand,Wavelength (nm),Loss (dB)\nF1,1310,-3 dBm\n", "does not suit it"),
    "pim-over": ("Line,PIM (dBc)\nA1,OL\n", "over range is no reading"),
    "wavelength-of-13": ("Strand,Wavelength (nm),Loss (dB)\nF1,13,0.4\n", "600 to 1700"),
    "wavelengths-differ": ("Strand,Wavelength (nm),1310 nm loss (dB)\nF1,1550,0.4\n", "one of them"),
    "temperature-without-unit": ("Pair,Loop resistance (ohm),Temperature\nP1,0.2,20\n", "its unit is not given"),
    "hot": ("Pair,Loop resistance (ohm),Temperature (°C)\nP1,0.2,900\n", "-80 to 150"),
    "negative-resistance": ("Pair,Loop resistance (ohm)\nP1,-0.2\n", "loop resistance from 0"),
    "card-colour": ("Box,Spot 30 %\nB1,pink\n", "say changed or unchanged"),
    "card-unsaid": ("Box,Spot (%),Changed\nB1,30,pink\n", "say changed or unchanged"),
    "mode-unknown": ("Line,PIM (dBc),Test mode\nA1,-150,turbo\n", "swept, fixed or dynamic"),
    "order-even": ("Line,PIM (dBc),Order\nA1,-150,4\n", "an odd order"),
    "range-backwards": ("Line,PIM (dBc),F1 (MHz)\nA1,-150,1990-1930\n", "a lower and a higher"),
    "long-name": ("Radio,Voltage (V)\n" + "A" * 300 + ",53\n", "at most 200 characters"),
    "open-reading": ("Radio,Voltage (V)\nA1,tbc\n", "left open"),
    "name-made-a-date": (books.book([["Strand", "Voltage (V)"], [__import__("datetime").date(2025, 1, 2), 53]]), "made something else of it"),
    "name-shortened": ("Radio,Voltage (V)\n1.23E+12,53\n", "made something else of it"),
    "second-table": ("Radio,Voltage (V)\nA1,53\nJoint,Torque (N·m)\nJ1,25\n", "one table under one header"),
}  # fmt: skip
MEMORIES: dict[str, tuple[str, str]] = {
    "no-map": ("[1, 2]", "expected"),
    "unknown-key": ('{"version": 1, "rules": {}}', "expected"),
    "wrong-key": ('{"version": 1, "tables": {"x": {"form": "trace", "headers": ["a"]}}}', "expected"),
    "wrong-fingerprint": ('{"version": 1, "tables": {"' + "0" * 64 + '": {"form": "trace", "headers": ["a"]}}}', "fingerprint of its headers"),
    "cut": ('{"version": 1, "tables": {', "expected"),
}  # fmt: skip


def test_there_are_enough_of_them() -> None:
    assert len(TABLES) + len(TRACES) + len(VALUES) + len(MEMORIES) >= 100


def clear(caught: pytest.ExceptionInfo[InputFaults], words: str, remedy: bool = True) -> None:
    text = str(caught.value)
    assert words in text, text
    assert len(text) < 60_000
    for fault in caught.value.faults:
        assert fault.file
        assert fault.expected
        assert fault.remedy or not remedy
        assert fault.expected.isprintable()
        assert fault.got.isprintable()
        assert fault.place.isprintable()


def raw_of(made: bytes | str) -> bytes:
    return made.encode() if isinstance(made, str) else made


@pytest.mark.parametrize("name", TABLES)
def test_tables(name: str) -> None:
    made, words = TABLES[name]
    with pytest.raises(InputFaults) as caught:
        read_table(raw_of(made), "field.csv")
    clear(caught, words)


@pytest.mark.parametrize("name", TRACES)
def test_traces(name: str) -> None:
    made, words = TRACES[name]
    table = read_table(raw_of(made), "field.csv")
    mapping = guess_trace(table)
    with pytest.raises(InputFaults) as caught:
        read_trace(table, mapping)
    clear(caught, words)


@pytest.mark.parametrize("name", VALUES)
def test_values(name: str) -> None:
    made, words = VALUES[name]
    table = read_table(raw_of(made), "field.csv")
    mapping = guess_values(table)
    with pytest.raises(InputFaults) as caught:
        read_values(table, mapping, strict=True)
    clear(caught, words)


@pytest.mark.parametrize("name", MEMORIES)
def test_memories(name: str) -> None:
    made, words = MEMORIES[name]
    with pytest.raises(InputFaults) as caught:
        parse(yamlfile.parse(made, "tables.json"))
    clear(caught, words, remedy=False)


def test_a_zip_that_says_more_than_it_holds(tmp_path: Path) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("a.csv", b"a,b\n1,2\n")
    raw = bytearray(out.getvalue())
    at = raw.find(b"PK\x01\x02")
    raw[at + 20 : at + 28] = struct.pack("<LL", 8, 5_000_000)
    path = tmp_path / "a.zip"
    path.write_bytes(raw)
    with pytest.raises(InputFaults) as caught:
        read_archive(path)
    clear(caught, "times its size")
