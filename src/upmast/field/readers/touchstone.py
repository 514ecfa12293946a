"""
Touchstone 1.x and 2.0, one and two ports: strict, fast, and every fault with its line.

A file is taken as it is or refused with reasons; nothing is guessed silently. Where every row is plain numbers of the right
count, they are converted in one go; only a file that fails this is looked at line by line, to say what is wrong with it.
Source: IBIS Open Forum, Touchstone File Format Specification, versions 1.1 and 2.0.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from upmast.errors import FaultList, InputFaults
from upmast.field.grid import keep_grid, known_grid
from upmast.field.measurement import SYSTEM_OHM, Complexes, Floats, Sweep, TwoPort
from upmast.field.readers.convert import to_scattering
from upmast.field.readers.touchstone_head import MOST_BYTES, MOST_FAULTS, Head, lines_of, sections_of, within_bounds
from upmast.field.readers.touchstone_rows import MORE_ROWS, noise_rows, parted, quick_table, table_of
from upmast.rf.cascade import renormalise_gamma, renormalise_s

BLOCK_BYTES = 1 << 20  # read at a time, of what is not a plain file
HIGHEST_HZ = 1e13  # beyond any instrument: the unit of the option line must be wrong
_FIRST_ROW = re.compile(rb"^[+-]?[0-9.]", re.MULTILINE)
_KEYWORD = re.compile(rb"^\s*\[", re.MULTILINE)
_MARKS = (b"\xef", b"\xff", b"\xfe")  # a text may begin with a mark of its encoding
LARGEST = 1e6  # size of a reflection or transmission that no passive or active part has


def read_sweep(data: bytes, file: str, *, repair: bool = False) -> Sweep:
    """
    A reflection sweep from the bytes of a one-port file; of a two-port file the reflection S11 is taken, and said.

    Parameters
    ----------
    file : its name; the ending .s1p or .s2p tells the number of ports of a version 1 file.
    repair : sort frequencies and merge repeated ones, and list it in `mended`. Without it both are faults.

    Raises
    ------
    InputFaults
        With every fault found, at most twenty; never anything else, whatever the bytes are.
    """
    faults = FaultList(file)
    head, f, s, _ = _read(data, file, repair, faults)
    gamma = s[:, 0, 0]
    if head.ports == 2:
        head.mended.append("two-port file: its reflection S11 is taken")
    only = _phase_is_missing(gamma, head)
    if head.reference_ohm != SYSTEM_OHM:
        if only:
            faults.add(
                "option line", f"reference {head.reference_ohm:g} ohm, no phase", "phase, or a reference of 50 ohm",
                "without phase it can't be referred to 50 ohm: export the sweep again with phase", head.option_line,
            )  # fmt: skip
            faults.raise_if_any()
        gamma = renormalise_gamma(gamma, head.reference_ohm, SYSTEM_OHM)
        head.mended.append(f"referred from {head.reference_ohm:g} ohm to 50 ohm")
    magnitude = np.abs(gamma)
    if only:
        gamma = np.full(gamma.shape, complex(np.nan, np.nan))
        head.mended.append("every angle is 0: taken as size without phase")
    return Sweep(
        file, hashlib.sha256(data).hexdigest(), f, np.ascontiguousarray(gamma), magnitude, only, head.reference_ohm,
        head.format, tuple(head.comments), tuple(head.mended),
    )  # fmt: skip


def read_two_port(data: bytes, file: str, *, repair: bool = False) -> TwoPort:
    """A two-port part from the bytes of a file. Raises InputFaults, also for a one-port file."""
    faults = FaultList(file)
    head, f, s, noise = _read(data, file, repair, faults)
    if head.ports != 2:
        faults.add("", "one port", "a file of two ports (.s2p)", "measure the part through, both ports", 0)
        faults.raise_if_any()
    if head.reference_ohm != SYSTEM_OHM:
        s = renormalise_s(s, head.reference_ohm, SYSTEM_OHM)
        head.mended.append(f"referred from {head.reference_ohm:g} ohm to 50 ohm")
    return TwoPort(
        file, hashlib.sha256(data).hexdigest(), f, s, head.reference_ohm, head.format, noise, tuple(head.comments),
        tuple(head.mended),
    )  # fmt: skip


def read_file(path: Path, *, repair: bool = False) -> Sweep:
    """A sweep from a file, not more than 32 MB of it. Raises InputFaults, and OSError if it can't be opened."""
    with path.open("rb", buffering=0) as stream:
        size = min(os.fstat(stream.fileno()).st_size, MOST_BYTES)
        data = stream.read(size + 1) or b""
        while (
            len(data) != size
        ):  # it grows, is no plain file, or came in parts; room for 32 MB costs more than a usual file
            more = stream.read(min(MOST_BYTES + 1 - len(data), BLOCK_BYTES))
            if not more:
                break
            data += more
    return read_sweep(data, path.name, repair=repair)


def _read(data: bytes, file: str, repair: bool, faults: FaultList) -> tuple[Head, Floats, Complexes, Floats]:
    head = Head()
    lower = file.lower()
    known = 2 if lower.endswith(".s2p") else 1 if lower.endswith(".s1p") else 0
    head.ports = known or 1
    at: Sequence[int]
    quick = _quickly(data, known, faults)
    if quick is not None:
        head, table, first = quick
        noise_at, at = 0, range(first + 1, first + 1 + len(table))
    else:
        lines = lines_of(data, head, faults)
        first, last, noise_at = sections_of(lines, head, bool(known), faults)
        table, at = table_of(lines, first, last, head, bool(known), faults)
    f, rows, noise = parted(table, at, head, faults)
    if noise_at and head.ports == 2:
        noise = noise_rows(lines, noise_at, faults)
    faults.raise_if_any()
    if head.declared is not None and head.declared != f.size:
        faults.add(
            "[Number of Frequencies]", f"{f.size} frequencies", f"{head.declared}, as the file says itself",
            "the file is cut off or was edited: save it again", 0,
        )  # fmt: skip
        faults.raise_if_any()
    with np.errstate(over="ignore"):  # infinity is refused below
        f, noise = f * head.unit, noise * np.array([head.unit, 1, 1, 1, 1])
    if not (noise[:, 0] <= HIGHEST_HZ).all():
        faults.add("noise data", "a frequency beyond 10 THz", "0 Hz to 10 THz", "check the unit in the option line")
    at = at[: f.size]
    f, rows, at = _order(f, rows, at, head, repair, faults)
    s = _scattering(f, rows, at, head, faults)
    faults.raise_if_any()
    return head, f, s, noise


def _quickly(data: bytes, known: int, faults: FaultList) -> tuple[Head, Floats, int] | None:
    """
    Head, table and line of the first row of a plain version 1 file; None where it takes a closer look.

    Only the lines of the head are looked at one by one. A fault in them ends it here too: the closer look names it with the rest.
    """
    if not known or not within_bounds(data):
        return None
    plain = data.replace(b"\r\n", b"\n") if b"\r" in data else data
    begins = _FIRST_ROW.search(plain)
    if begins is None:
        return None
    before, block = plain[: begins.start()], plain[begins.start() :]
    if b"\r" in before or b"\0" in before or before[:1] in _MARKS or _KEYWORD.search(before):
        return None
    if block[-2:-1].isspace() or block[-1:] != b"\n":
        block = block.rstrip(b" \t\n") + b"\n"
    head = Head()
    head.ports = known
    table = quick_table(block, head.numbers)
    if table is None:
        return None
    lines = before.splitlines()
    own = FaultList(faults.file)
    try:
        first, _, _ = sections_of([*lines, b"0"], head, True, own)
    except InputFaults:
        return None
    return (head, table, first) if first == len(lines) else None


def _order(
    f: Floats, rows: Floats, at: Sequence[int], head: Head, repair: bool, faults: FaultList
) -> tuple[Floats, Floats, Sequence[int]]:
    known = known_grid(f)
    if known is not None:
        return known, rows, at
    bad = np.flatnonzero((f < 0) | ~(f <= HIGHEST_HZ))
    for k in bad[:MOST_FAULTS]:
        below = "the first number of a row is the frequency: look whether the columns were exchanged"
        remedy = below if f[k] < 0 else "check the unit in the option line"
        faults.add("frequency", f"{f[k]:g} Hz", "0 Hz to 10 THz", remedy, at[k])
    _count_rest(faults, bad, at)
    faults.raise_if_any()
    step = np.diff(f)
    wrong = np.flatnonzero(step <= 0)
    if not wrong.size:
        keep_grid(f)
        return f, rows, at
    if not repair:
        for k in wrong[:MOST_FAULTS]:
            same = "the same again" if step[k] == 0 else "lower"
            faults.add(
                "frequency", f"{f[k + 1] / 1e6:.6f} MHz, {same} than in the row before" if step[k] else f"{f[k + 1] / 1e6:.6f} MHz, {same}",
                "frequencies that rise from row to row",
                "save the sweep again; or read it with repair, which sorts and merges and says so", at[k + 1],
            )  # fmt: skip
        _count_rest(faults, wrong, at)
        faults.raise_if_any()
    place = np.argsort(f, kind="stable")
    f, rows, at = f[place], rows[place], [at[k] for k in place]
    fell = int(np.count_nonzero(step < 0))
    if fell:
        head.mended.append(f"rows sorted by frequency (it fell {fell} times)")
    unique, first = np.unique(f, return_index=True)
    if unique.size < f.size:
        head.mended.append(f"{f.size - unique.size} repeated frequencies: the first row of each is kept")
        f, rows, at = unique, rows[first], [at[k] for k in first]
    return f, rows, at


def _count_rest(faults: FaultList, bad: NDArray[np.intp], at: Sequence[int]) -> None:
    """Rows with faults beyond those that are told one by one."""
    if bad.size > MOST_FAULTS:
        last = at[int(bad[-1])]
        faults.add("", f"{bad.size - MOST_FAULTS}{MORE_ROWS}", "the same", "export the sweep again", last)


def _scattering(f: Floats, rows: Floats, at: Sequence[int], head: Head, faults: FaultList) -> Complexes:
    a, b = rows[:, 0::2], rows[:, 1::2]
    values: Complexes
    with np.errstate(all="ignore"):
        if head.format == "RI":
            values = np.ascontiguousarray(rows).view(dtype=np.complex128)
        else:
            if head.format == "MA" and (a < 0).any():
                k = int(np.argmax((a < 0).any(axis=1)))
                faults.add(
                    "", f"a negative size at {f[k] / 1e6:.6f} MHz", "sizes of 0 or more (MA)",
                    "the option line may be wrong: DB or RI?", at[k],
                )  # fmt: skip
                faults.raise_if_any()
            size = a if head.format == "MA" else 10.0 ** (a / 20.0)
            values = np.asarray(size * np.exp(1j * np.deg2rad(b)), dtype=np.complex128)
        matrix = _matrix(values, head)
        s = to_scattering(matrix, head.network, head.reference_ohm, normalised=head.version == 1)
        fine = np.abs(s) <= LARGEST
    if not fine.all():
        for k in np.flatnonzero(~fine.all(axis=(1, 2)))[:MOST_FAULTS]:
            faults.add(
                "", f"no usable value at {f[k] / 1e6:.6f} MHz", "values of a real part", "calibrate and sweep again",
                at[k],
            )  # fmt: skip
        faults.raise_if_any()
    return s


def _matrix(values: Complexes, head: Head) -> Complexes:
    """Pairs of one row placed in the matrix: version 1 two ports are 11, 21, 12, 22."""
    if head.ports == 1:
        return values[:, :, None]
    if head.matrix != "FULL":
        one, two, three = values[:, 0], values[:, 1], values[:, 2]
        return np.stack([np.stack([one, two], -1), np.stack([two, three], -1)], -2)
    if head.order == "12_21":
        return values.reshape(-1, 2, 2)
    return values[:, [0, 2, 1, 3]].reshape(-1, 2, 2)


def _phase_is_missing(gamma: Complexes, head: Head) -> bool:
    """Every angle 0: an instrument's way to save a size alone."""
    if gamma.size < 2 or head.network != "S" or gamma[-1].imag != 0:
        return False
    return bool(np.all(gamma.imag == 0) and np.all(gamma.real >= 0))
