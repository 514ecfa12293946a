"""
A second party judges a closeout again, from its zip alone: every verdict from the raw files, and each compared with what the pack says.

Three things are held together: what results.json says, what the chain of the record says, and what this program finds now. The zip is
read as if its maker meant harm.
"""

from __future__ import annotations

import json
import math
import re
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from upmast import __version__, yamlfile
from upmast.catalogue.catalogue import Catalogue, from_text, standard
from upmast.errors import InputFaults, UsageError, shorten
from upmast.line.save import LINE_FILE, PARTS_FILE, parse
from upmast.proof.prove import Proof, prove
from upmast.record.again import Contents, judge_again
from upmast.record.archive import Archive
from upmast.record.canonical import canonical, sha256
from upmast.record.chain import Head
from upmast.record.closeout import Closeout, State, closeout_of
from upmast.record.closeout_data import FORMAT
from upmast.record.closeout_write import BUNDLE, CSV, JSON, MANIFEST, PDF, SITE, XLSX
from upmast.record.contents import MOST_BYTES
from upmast.record.evidence import reading_rules, rules
from upmast.record.guarded import GuardedZip
from upmast.record.intake import check_bundle, entries_in
from upmast.record.kinds import FileKept, LineKept
from upmast.record.whole import Stands, Whole
from upmast.site.load import from_text as site_from_text

SITE_FILES = re.compile(r"site/(site|line|parts|built|catalogue-[0-9]{1,2})\.yaml\Z")
MOST_BUNDLE = 4_000_000_000
MOST_TOTAL = 5_000_000_000
ROOMS = ("power",)  # expectations need no other room
CLOSE = 1e-6  # platforms may differ in the last digits of a value


@dataclass(frozen=True, slots=True)
class Again:
    """One test judged again: what the pack says, what its record says, what is found now; `why` where they are not equal."""

    test: str
    pack: str
    kept: str
    found: str
    kept_value: float | None
    found_value: float | None
    why: str = ""

    @property
    def equal(self) -> bool:
        return not self.why


@dataclass(frozen=True, slots=True)
class Rechecked:
    """All of it. `told` is what is wrong with the pack itself, beside single tests."""

    site: str
    head: str
    program: str
    tests: tuple[Again, ...]
    told: tuple[str, ...]
    verdict: str = ""

    @property
    def equal(self) -> bool:
        return not self.told and all(one.equal for one in self.tests)

    @property
    def words(self) -> str:
        if self.equal:
            return (
                f"equal: {len(self.tests)} verdicts follow again from the raw files, and all that the pack says agrees"
            )
        off = sum(not one.equal for one in self.tests)
        return (
            f"not equal: {off} of {len(self.tests)} tests differ, and {len(self.told)} things are not as the pack says"
        )


class CloseoutZip(GuardedZip):
    """The zip of a closeout whose outside was checked. Raises InputFaults when it is opened or read."""

    WHAT = "the zip of a closeout"
    NAMES = "the files of a closeout"

    def most_bytes(self, name: str) -> int | None:
        """How large a file of this name may be; None where the name is not known."""
        if name == BUNDLE:
            return MOST_BUNDLE
        if name in (MANIFEST, PDF, XLSX, CSV, JSON):
            return MOST_BYTES
        return 8_000_000 if SITE_FILES.match(name) else None

    def data(self, name: str) -> dict[str, Any]:
        """A member that holds an object of JSON in our one form."""
        if name not in self.members:
            self.refuse(name, "nothing", "a file of a closeout", "ask for a whole one")
        raw = self.read(name)
        try:
            found = json.loads(raw)
            good = isinstance(found, dict) and canonical(found).encode() + b"\n" == raw
        except (ValueError, RecursionError):
            good = False
        if not good or found.get("format") != FORMAT:
            self.refuse(name, "something else", f"a file of the format {FORMAT!r}", "a newer upmast may read it")
        return dict(found)


def recheck(place: Path) -> Rechecked:
    """
    Judge everything in the zip of a closeout again.

    Raises
    ------
    InputFaults
        If it is no such zip, or made to do harm. What was merely changed in it is told in the result.
    """
    with CloseoutZip(place, MOST_TOTAL) as pack, tempfile.TemporaryDirectory(prefix="upmast-recheck-") as folder:
        manifest, results = pack.data(MANIFEST), pack.data(JSON)
        told = list(_changed(pack, manifest))
        site, program = str(manifest.get("site", ""))[:40], shorten(str(manifest.get("program", "")))
        head = shorten(str(results.get("head", "")), 160)
        made = Rechecked(site, head, program, (), tuple(told), shorten(str(results.get("verdict", ""))))
        bundle = Path(folder) / BUNDLE
        if BUNDLE not in pack.members:
            pack.refuse(BUNDLE, "nothing", "the bundle of the record", "ask for a whole closeout")
        with bundle.open("wb") as file:
            pack.copy(BUNDLE, file)
        try:
            check_bundle(bundle)
            proof = proof_of(
                {name.removeprefix(SITE): pack.read(name) for name in pack.members if name.startswith(SITE)}
            )
            with Archive(bundle) as archive:
                whole = Whole(site, tuple(entries_in(archive, site) if site in archive.sites else ()))
                closeout = closeout_of(proof, whole.until(Head.parse(head)), _day(results))
                tests, more = _compare(closeout, results, archive.content)
                told += [*more, *_inputs(pack, proof, whole), *_heads(manifest, results, whole)]
        except (InputFaults, UsageError) as error:
            told.append(shorten(str(error).replace("\n", " "), 600))
            return Rechecked(site, head, program, (), tuple(told), made.verdict)
        return Rechecked(site, head, program, tests, tuple(told), made.verdict)


def _day(results: Mapping[str, Any]) -> date:
    try:
        return date.fromisoformat(str(results.get("on")))
    except ValueError:
        raise UsageError("results.json names no day on which waivers were looked at") from None


def _changed(pack: CloseoutZip, manifest: Mapping[str, Any]) -> Iterator[str]:
    """Files that are not what the manifest names."""
    files = manifest.get("files")
    if not isinstance(files, dict) or not all(isinstance(one, dict) for one in files.values()):
        pack.refuse(MANIFEST, "no list of files", "the digest of each file", "ask for another")
    for name in sorted(set(pack.members) - {MANIFEST} - set(files)):
        yield f"{name}: not in the manifest"
    for name, one in sorted(files.items()):
        if name not in pack.members:
            yield f"{shorten(name)}: missing"
        elif (name != BUNDLE and sha256(pack.read(name)) != one.get("sha256")) or (
            name == BUNDLE and pack.digest(name) != one.get("sha256")
        ):
            yield f"{name}: changed since the closeout was made"


def proof_of(files: Mapping[str, bytes]) -> Proof:
    """
    The proof of a site from its files alone.

    Raises
    ------
    InputFaults
        If a file can't be read.
    UsageError
        If one is missing, or the line can't be proven.
    """
    for name in ("site.yaml", LINE_FILE, PARTS_FILE):
        if name not in files:
            raise UsageError(f"{SITE}{name} is missing: without it nothing can be judged again")

    def text(name: str) -> yamlfile.YamlText:
        try:
            return yamlfile.parse(files[name].decode("utf-8"), name)
        except UnicodeDecodeError:
            raise UsageError(f"{SITE}{name} is no text in UTF-8") from None

    catalogue = standard()
    for name in sorted(one for one in files if one.startswith("catalogue-")):
        catalogue = catalogue.merged(from_text(text(name)))
    parts = from_text(text(PARTS_FILE))
    lacking = {part.id: part for part in parts if part.id not in catalogue}
    site = site_from_text(text("site.yaml"), catalogue.merged(Catalogue(lacking, {})))
    return prove(site, parse(text(LINE_FILE), parts).line, rooms=ROOMS)


def _inputs(pack: CloseoutZip, proof: Proof, whole: Whole) -> Iterator[str]:
    """Whether the files of the site are those that the record names."""
    sites = [kept.content for _, kept in whole.of(FileKept) if kept.sort == "site"]
    if sites and sha256(pack.read(f"{SITE}site.yaml")) != sites[-1]:
        yield "site/site.yaml: not the one that was last filed in the record; its limits may be others"
    lines = [kept.digest for _, kept in whole.of(LineKept)]
    if lines and proof.line.digest not in lines:
        yield "site/line.yaml: a line that the record does not know"


def _heads(manifest: Mapping[str, Any], results: Mapping[str, Any], whole: Whole) -> Iterator[str]:
    """Whether manifest, results and record end at the same entry: an older head would leave out what was found later."""
    for name in ("head", "verdict", "site"):
        if manifest.get(name) != results.get(name):
            yield f"manifest.json: its {name} is not that of results.json"
    later = whole.head.entries - Head.parse(str(results.get("head"))).entries
    if later:
        yield f"record.zip: it has {later} entries after the head that the closeout names"


# --- comparing --------------------------------------------------------------------------------------------------------


def _compare(closeout: Closeout, results: Mapping[str, Any], contents: Contents) -> tuple[tuple[Again, ...], list[str]]:
    told: list[str] = []
    counts = {str(state): count for state, count in closeout.counts.items()}
    if results.get("counts") != counts or results.get("verdict") != str(closeout.verdict):
        told.append("results.json: its counts or its verdict do not follow from the record in the pack")
    listed = results.get("results")
    listed = listed if isinstance(listed, list) and all(isinstance(one, dict) for one in listed) else []
    says = {str(one.get("test")): one for one in listed}
    known = {row.test.id for row in closeout.rows}
    told += [f"results.json: {shorten(test)} is no test of this line" for test in sorted(set(says) - known)[:20]]
    if not results.get("since") and set(says) != known:
        told.append(f"results.json: {len(known - set(says))} tests of the line are not in it")
    found = judge_again(closeout, contents)
    out = []
    for row in closeout.rows:
        one = says.get(row.test.id)
        pack = _said(one, row.state)
        why = _pack_differs(one, row.state, row.first.value if row.first else None)
        if row.stands is None:
            if why:
                out.append(Again(row.test.id, pack, str(State.MISSING), "", None, None, why))
            continue
        kept, kept_value = row.stands.judgement.verdict, row.stands.judgement.findings[0].value
        again = found.found(row.test.id)
        if again is None:
            out.append(Again(row.test.id, pack, kept, "", kept_value, None, why or found.faults[row.test.id]))
            continue
        if again[0] != kept or not _close(again[1], kept_value):
            why = why or _why(row.stands)
        out.append(Again(row.test.id, pack, kept, again[0], kept_value, again[1], why))
    return tuple(out), told


def _said(one: Mapping[str, Any] | None, state: State) -> str:
    return shorten(str(one.get("state")), 40) if one is not None else str(state)


def _pack_differs(one: Mapping[str, Any] | None, state: State, value: float | None) -> str:
    if one is None:
        return ""
    if one.get("state") != str(state):
        return f"the pack says {shorten(str(one.get('state')), 40)}, its record says {state}"
    said = one.get("value")
    if not _close(float(said) if isinstance(said, int | float) else None, value):
        return f"the pack says {shorten(str(said), 40)}, its record says {value}"
    return ""


def _close(a: float | None, b: float | None) -> bool:
    if a is None or b is None or not (math.isfinite(a) and math.isfinite(b)):
        return a is b or a == b
    return abs(a - b) <= CLOSE * max(1.0, abs(a), abs(b))


def _why(stands: Stands) -> str:
    """Why a verdict does not follow again: other rules, another program, or neither."""
    judgement = stands.judgement
    mine = rules() if stands.measurement.sort == "rf.sweep" else reading_rules()
    if judgement.rules != mine:
        return f"other rules: then {judgement.rules}, here {mine}"
    if judgement.program != f"upmast {__version__}":
        return f"another program: then {judgement.program}, here upmast {__version__}"
    return f"entry {stands.entry.number} of the record does not follow from its raw file and the files of the site"
