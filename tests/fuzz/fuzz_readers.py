"""
Coverage-guided fuzzing of the field readers; run by hand, not by the test suite.

    python -m venv /tmp/fuzz && /tmp/fuzz/bin/pip install atheris -e .
    /tmp/fuzz/bin/python tests/fuzz/fuzz_readers.py tables -max_total_time=60 -max_len=600
    /tmp/fuzz/bin/python tests/fuzz/fuzz_readers.py workbooks|archives|memories|touchstone -max_total_time=60

Anything but faults in words, or a sweep or reading that is not sound, is a crash, and the input is kept by the fuzzer.
"""

from __future__ import annotations

import io
import math
import sys
import tempfile
import warnings
import zipfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import numpy as np

SEEDS: dict[str, tuple[bytes, ...]] = {
    "tables": (
        b"Frequency (MHz);RL (dB)\n698,5;-17,25\n700,0;-18,1\n",
        b"f [GHz]\tVSWR\n1.7\t1.2\n1.8\t1.3:1\n",
        b"sep=,\n\"Strand\",\"1310 nm A-B (dB)\",Date\nT1-F01,0.42,29.11.2025 14:03\nT1-F02,-,\n",
        b"Carrier power;43 dBm\nF1;1930 MHz\n\nPort;IM3 (dBm);Temp (C)\nA2;<-120;21\n",
        "Pair;Insulation @ 250 V (GΩ);Loop resistance (mΩ)\nP1;OL;229\n".encode("utf-16"),
        b"Item,Test,Value,Unit\nJ1,Torque,44,in-lb\nE1,Bond resistance,0.004,ohm\n",
    ),
    "touchstone": (b"# MHz S RI R 50\n700 0.1 0.2\n701 0.1 0.2\n",),
    "memories": (b'{"version": 1, "tables": {"' + b"0" * 64 + b'": {"form": "trace", "headers": ["f", "VSWR"]}}}',),
    "workbooks": (),
    "archives": (),
}  # fmt: skip


NAMES = ("tables", "workbooks", "touchstone", "memories", "archives")


def targets() -> dict[str, Callable[[bytes], None]]:
    """The targets; the readers are imported here, so that the fuzzer can instrument them."""
    from upmast import yamlfile
    from upmast.errors import InputFaults, UsageError
    from upmast.field.readers.archive import read_archive
    from upmast.field.readers.mapping_memory import Memory, parse
    from upmast.field.readers.table import read_table
    from upmast.field.readers.touchstone import read_sweep
    from upmast.field.readers.trace_table import guess_trace, read_trace
    from upmast.field.readers.values_table import guess_values, read_values

    def tables(raw: bytes, name: str = "x.csv") -> None:
        for repair in (False, True):
            with suppress(InputFaults):
                table = read_table(raw, name, repair=repair)
                trace, values = guess_trace(table), guess_values(table)
                for mapping in (trace, values):
                    mapping.shown()
                    with suppress(UsageError):
                        Memory().remember(mapping.confirmed())
                with suppress(InputFaults):
                    for sweep in read_trace(table, trace, repair=repair):
                        assert np.isfinite(sweep.magnitude).all()
                        assert (np.diff(sweep.frequency_hz) > 0).all()
                for one in read_values(table, values, repair=repair).readings:
                    assert one.value is None or math.isfinite(one.value)

    def touchstone(raw: bytes) -> None:
        with suppress(InputFaults):
            read_sweep(raw, "x.s1p", repair=True)

    def memories(raw: bytes) -> None:
        with suppress(InputFaults, UnicodeDecodeError):
            parse(yamlfile.parse(raw.decode("utf-8"), "tables.json"))

    def archives(raw: bytes) -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "x.zip"
            path.write_bytes(raw)
            with suppress(InputFaults):
                found = read_archive(path, repair=True)
                for entry in found.entries:
                    with suppress(InputFaults, UsageError):
                        assert len(found.read(entry)) == entry.size

    return {
        "tables": tables, "workbooks": lambda raw: tables(raw, "x.xlsx"), "touchstone": touchstone, "memories": memories,
        "archives": archives,
    }  # fmt: skip


def seeds(target: str) -> tuple[bytes, ...]:
    """Sound inputs to start from."""
    if target == "workbooks":
        import openpyxl

        made = openpyxl.Workbook()
        sheet = made.active
        assert sheet is not None
        for row in (["Frequency (MHz)", "VSWR"], [700, 1.2], [701, "1,3"]):
            sheet.append(row)
        out = io.BytesIO()
        made.save(out)
        return (out.getvalue(),)
    if target == "archives":
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("a/b.csv", SEEDS["tables"][0])
            archive.writestr("c", b"\xff\xd8\xff\xe0")
        return (out.getvalue(),)
    return SEEDS[target]


def main(arguments: list[str]) -> None:
    """Fuzz one target; the rest of the arguments go to the fuzzer."""
    import atheris

    if len(arguments) < 2 or arguments[1] not in NAMES:
        raise SystemExit(f"name a target: {', '.join(NAMES)}")
    warnings.simplefilter("ignore")
    with atheris.instrument_imports(include=["upmast.field.readers", "upmast.site.sheet_read"]):
        found = targets()
    with tempfile.TemporaryDirectory() as corpus:
        for k, seed in enumerate(seeds(arguments[1])):
            (Path(corpus) / f"seed{k}").write_bytes(seed)
        atheris.Setup([arguments[0], corpus, *arguments[2:]], found[arguments[1]])
        atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv)
