"""
Coverage-guided fuzzing of the field readers; run by hand, not by the test suite.

    python -m venv /tmp/fuzz && /tmp/fuzz/bin/pip install atheris -e .
    /tmp/fuzz/bin/python tests/fuzz/fuzz_readers.py tables -max_total_time=60 -max_len=600
    /tmp/fuzz/bin/python tests/fuzz/fuzz_readers.py workbooks|archives|memories|touchstone|two-ports|columns -max_total_time=60

Anything but faults in words, a sweep or reading that is not sound, or a quick way that gives something else than the slow one, is a
crash, and the input is kept by the fuzzer.
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
from unittest.mock import patch

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
    "touchstone": (
        b"# MHz S RI R 50\n700 0.1 0.2\n701 0.1 0.2\n",
        b"! said\n# GHz S MA R 75\r\n0.7\t0.5\t-10\r\n0.701\t1e-2\t20 ! more\r\n",
        b"[Version] 2.0\n# Hz S DB\n[Number of Ports] 1\n[Reference] 50\n[Network Data]\n7e8 -20 0\n7.1e8 -21 3\n[End]\n",
    ),
    "two-ports": (
        b"# MHz S RI R 50\n700 0.1 0.2 0.9 0 0.9 0 0.1 0\n701 0.1 0.2 0.9 0 0.9 0 0.1 0\n",
        b"# MHz S MA R 50\n700 .1 0 .9 0 .9 0 .1 0\n800 .1 0 .9 0 .9 0 .1 0\n700 1 .3 20 .2\n",
        b"[Version] 2.0\n# MHz Z RI\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n[Reference]\n50 50\n[Matrix Format] Lower\n"
        b"[Network Data]\n700 1 0 2 0 3 0\n[Noise Data]\n700 1 .3 20 .2\n[End]\n",
    ),
    "columns": (b"Frequency (MHz);RL (dB)\n698,50;17,25\n700,00;18,10\n", b"f [GHz]\tVSWR\n1.70\t1.20\n1.80\t1.30\n"),
    "memories": (b'{"version": 1, "tables": {"' + b"0" * 64 + b'": {"form": "trace", "headers": ["f", "VSWR"]}}}',),
    "workbooks": (),
    "archives": (),
}  # fmt: skip


NAMES = ("tables", "workbooks", "touchstone", "two-ports", "columns", "memories", "archives")


def targets() -> dict[str, Callable[[bytes], None]]:
    """The targets; the readers are imported here, so that the fuzzer can instrument them."""
    from upmast import yamlfile
    from upmast.errors import InputFaults, UsageError
    from upmast.field.measurement import Sweep
    from upmast.field.readers import touchstone, trace_columns, trace_table
    from upmast.field.readers.archive import read_archive
    from upmast.field.readers.mapping_memory import Memory, parse
    from upmast.field.readers.table import read_table
    from upmast.field.readers.touchstone import read_sweep, read_two_port
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

    def told(sweep: Sweep) -> tuple[object, ...]:
        arrays = (sweep.frequency_hz, sweep.gamma, sweep.magnitude)
        assert np.isfinite(sweep.magnitude).all()
        assert (np.diff(sweep.frequency_hz) > 0).all()
        assert sweep.magnitude_only or np.isfinite(sweep.gamma).all()
        return (*(a.tobytes() for a in arrays), sweep.reference_ohm, sweep.format, sweep.comments, sweep.mended)

    def outcome(read: Callable[[], object]) -> object:
        try:
            return read()
        except InputFaults as faults:
            return str(faults)

    def sweeps(raw: bytes) -> None:
        for name in ("x.s1p", "x.s2p", "x.txt"):
            for repair in (False, True):
                quick = outcome(lambda: told(read_sweep(raw, name, repair=repair)))  # noqa: B023, called at once
                with patch.object(touchstone, "_quickly", lambda *_: None):
                    assert outcome(lambda: told(read_sweep(raw, name, repair=repair))) == quick  # noqa: B023

    def two_ports(raw: bytes) -> None:
        with suppress(InputFaults):
            part = read_two_port(raw, "x.s2p", repair=True)
            assert np.isfinite(part.s).all()
            assert part.s.shape == (part.points, 2, 2)

    def columns(raw: bytes) -> None:
        def traces() -> object:
            table = read_table(raw, "x.csv")
            mapping = guess_trace(table)
            return mapping.as_data(), [told(one) for one in read_trace(table, mapping)]

        quick = outcome(traces)
        none = lambda *_: None  # noqa: E731
        with patch.object(trace_table, "plain_floats", none), patch.object(trace_columns, "plain_floats", none):
            assert outcome(traces) == quick

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
        "tables": tables, "workbooks": lambda raw: tables(raw, "x.xlsx"), "touchstone": sweeps, "two-ports": two_ports,
        "columns": columns, "memories": memories, "archives": archives,
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
