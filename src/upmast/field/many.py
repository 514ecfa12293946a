"""
Many sweeps against one proof, on several processes: what was found in each, without its samples, so that thousands fit in memory.

    for one in judge_each(proof, paths, processes=2):
        print(one.file, one.words)

Each file is read, matched, judged and let go; the same comes out as for a file alone. The samples are read again for whoever looks.
"""

from __future__ import annotations

import gc
import multiprocessing
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import Literal

from upmast.errors import Fault, InputFaults
from upmast.field.fitted import Fitted
from upmast.field.judge import Uncertainty, judge_sweep, test_of
from upmast.field.locate import Peak
from upmast.field.match import Candidate, Match, match_sweep
from upmast.field.measurement import Sweep
from upmast.field.place import place_of
from upmast.field.prepare import prepare, prepare_matched
from upmast.field.readers.touchstone import read_file
from upmast.field.setup import Remark
from upmast.finding import Finding, Verdict
from upmast.proof.prove import Proof
from upmast.proof.rf_path import path_designs

State = Literal["judged", "asked", "unreadable"]
FIT_NONE, FIT_DOUBTFUL, FIT_ALL = "none", "doubtful", "all"
Fits = Literal["none", "doubtful", "all"]
CHUNK, LEAST_CHUNK = 50, 10  # files that a process takes at a time
HELD_POINTS = 200_000  # of sweeps that are held at a time, some 100 bytes each
FEW = 50  # files that are not worth the start of processes
MOST_CANDIDATES = 4


@dataclass(frozen=True, slots=True)
class Settings:
    """How every file is taken: mended on reading or not, whose joints are fitted, and how far readings may be off."""

    repair: bool = False
    fit: Fits = "none"
    uncertainty: Uncertainty | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """
    What was found in one file: `judged`, `asked` where a person has to say which test it is, or `unreadable` with its faults.

    words: the sentence, the question or the faults. findings: the first decides acceptance. fitted: None where it was not asked for.
    """

    file: str
    state: State
    words: str
    digest: str = ""
    test_id: str = ""
    candidates: tuple[Candidate, ...] = ()  # best first, at most four
    findings: tuple[Finding, ...] = ()
    remarks: tuple[Remark, ...] = ()
    peaks: tuple[Peak, ...] = ()
    open_first: tuple[Peak, ...] = ()
    fitted: Fitted | None = None
    faults: tuple[Fault, ...] = ()

    @property
    def verdict(self) -> Verdict | None:
        return self.findings[0].verdict if self.findings else None


def judge_file(proof: Proof, path: Path, settings: Settings | None = None) -> Told:
    """Read, match and judge one file. A file that can't be read, or opened, is told as such; nothing is raised for it."""
    return judge_some(proof, [path], settings)[0]


def judge_some(proof: Proof, paths: Sequence[Path], settings: Settings | None = None) -> list[Told]:
    """Some files as `judge_file` would, in their order; what they need alike is computed together."""
    how = settings or Settings()
    out: list[Told] = []
    held: list[tuple[Path, Sweep | Told]] = []
    points = 0
    for path in paths:
        one = _read(path, how.repair)
        held.append((path, one))
        points += one.points if isinstance(one, Sweep) else 0
        if points > HELD_POINTS:
            out += _judged_together(proof, held, how)
            held, points = [], 0
    return out + _judged_together(proof, held, how)


def _judged_together(proof: Proof, held: Sequence[tuple[Path, Sweep | Told]], how: Settings) -> list[Told]:
    sweeps = [one for _, one in held if isinstance(one, Sweep)]
    prepare(sweeps)
    matches = {id(sweep): match_sweep(proof, sweep) for sweep in sweeps}
    prepare_matched(
        (sweep, test_of(proof, found.test_id)[0])
        for sweep in sweeps
        if (found := matches[id(sweep)].decided) is not None
    )
    return [
        _judged(proof, path, one, matches[id(one)], how) if isinstance(one, Sweep) else one for path, one in held
    ]  # fmt: skip


def _read(path: Path, repair: bool) -> Sweep | Told:
    try:
        return read_file(path, repair=repair)
    except InputFaults as error:
        return Told(str(path), "unreadable", str(error), faults=tuple(error.faults))
    except OSError as error:
        why = error.strerror or "it can't be opened"
        fault = Fault(path.name, "", why, "a file that can be read", "check the path and the rights to it")
        return Told(str(path), "unreadable", str(InputFaults([fault])), faults=(fault,))


def _judged(proof: Proof, path: Path, sweep: Sweep, match: Match, how: Settings) -> Told:
    candidates = match.candidates[:MOST_CANDIDATES]
    if match.decided is None:
        return Told(str(path), "asked", match.question, sweep.digest, "", candidates)
    judged = judge_sweep(proof, sweep, match.decided.test_id, how.uncertainty)
    fit = how.fit == FIT_ALL or (how.fit == FIT_DOUBTFUL and judged.doubtful)
    return Told(
        str(path), "judged", judged.sentence, sweep.digest, judged.test_id, candidates, judged.findings, judged.remarks,
        judged.located.peaks, judged.open_first, judged.fitted if fit else None,
    )  # fmt: skip


def judge_many(
    proof: Proof, paths: Sequence[Path], settings: Settings | None = None, *, processes: int = 2
) -> tuple[Told, ...]:
    """All of `judge_each`, in the order of the paths."""
    return tuple(judge_each(proof, paths, settings, processes=processes))


def judge_each(
    proof: Proof, paths: Sequence[Path], settings: Settings | None = None, *, processes: int = 2
) -> Iterator[Told]:
    """
    What was found in each file, in the order of the paths, as it comes.

    Parameters
    ----------
    processes : that share the work; fifty files or fewer, or one process, are judged in this one.

    Raises
    ------
    ValueError
        For fewer than one process.
    """
    with standing_by(proof, settings, processes=processes if len(paths) > FEW else min(processes, 1)) as judge:
        yield from judge(paths)


@contextmanager
def standing_by(
    proof: Proof, settings: Settings | None = None, *, processes: int = 2
) -> Iterator[Callable[[Sequence[Path]], Iterator[Told]]]:
    """
    Processes that stand ready for files of one site which come in from time to time; they are started once.

        with standing_by(proof, processes=2) as judge:
            for one in judge(paths):
                print(one.words)

    Raises
    ------
    ValueError
        For fewer than one process.
    """
    if processes < 1:
        raise ValueError("processes is 1 or more")
    how = settings or Settings()
    if processes == 1:
        yield lambda paths: chain.from_iterable(judge_some(proof, some, how) for some in _chunks(paths, 1))
        return
    path_designs(proof.line), place_of(proof)  # made once, before they are handed on
    method = _start_method()
    given = proof if method == "fork" else replace(proof, rooms={})  # findings of the design are not asked for
    context = multiprocessing.get_context(method)
    with ProcessPoolExecutor(processes, context, _begin, (given, how)) as pool:
        yield lambda paths: chain.from_iterable(pool.map(_some, _chunks(paths, processes)))


def _chunks(paths: Sequence[Path], processes: int) -> Iterator[Sequence[Path]]:
    """Files that a process takes at a time: fewer towards the end, so that none is left alone with many."""
    first = 0
    while first < len(paths):
        size = max(LEAST_CHUNK, min(CHUNK, (len(paths) - first) // (3 * processes)))
        yield paths[first : first + size]
        first += size


def _start_method() -> str:
    """A fork is at hand in a moment, where no other thread could be caught holding a lock; else a new interpreter."""
    return "fork" if sys.platform == "linux" and threading.active_count() == 1 else "spawn"


_work: tuple[Proof, Settings] | None = None


def _begin(proof: Proof, settings: Settings) -> None:
    global _work
    _work = (proof, settings)
    gc.freeze()  # a proof is large, and nothing of it goes while this process lives


def _some(paths: Sequence[Path]) -> list[Told]:
    assert _work is not None
    proof, settings = _work
    return judge_some(proof, paths, settings)
