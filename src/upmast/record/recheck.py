"""
A second party judges a closeout again, from its zip alone: every verdict from the raw files, and each compared with what the pack says.

Three things are held together: what results.json says, what the chain of the record says, and what this program finds now. The zip is
read as if its maker meant harm.
"""

from __future__ import annotations

import json
import re
import tempfile
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from upmast import __version__, yamlfile
from upmast.catalogue.catalogue import Catalogue, from_text, standard
from upmast.errors import InputFaults, UsageError, shorten
from upmast.line.built import BUILT_FILE
from upmast.line.built import apply as apply_built
from upmast.line.line import Layer
from upmast.line.save import LINE_FILE, PARTS_FILE, parse
from upmast.proof.prove import Proof, prove
from upmast.record.again import JudgedAgain, judge_again
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
from upmast.record.remade import close, documents_off, elsewhere_in, held
from upmast.record.review import review_of
from upmast.record.whole import Stands, Whole
from upmast.record.words import is_are, many
from upmast.site.load import from_text as site_from_text

SITE_FILES = re.compile(r"site/(site|line|parts|built|catalogue-[0-9]{1,2})\.yaml\Z")
MOST_BUNDLE = 4_000_000_000
MOST_TOTAL = 5_000_000_000
OWN = frozenset((PDF, XLSX, CSV, JSON, BUNDLE))
RECORD_SITE = frozenset(("sites",))  # a folder of a bundle
ROOMS = ("power",)  # expectations need no other room


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
    not_compared: tuple[str, ...] = ()  # what the pack says and nothing here can be held against

    @property
    def equal(self) -> bool:
        """Whether all that was compared agrees."""
        return not self.told and all(one.equal for one in self.tests)

    @property
    def all_compared(self) -> bool:
        """Whether there was something to judge, and nothing was left uncompared."""
        return bool(self.tests) and not self.not_compared

    @property
    def words(self) -> str:
        follow = (
            f"{many(len(self.tests), 'verdict')} follow{'s' if len(self.tests) == 1 else ''} again from the raw files"
        )
        if self.equal and not self.tests:
            return (
                "nothing could be judged: no test has a result in this closeout; what it says beside that was compared, and is "
                "what its record says"
            )
        if self.equal and self.all_compared:
            return f"equal: {follow}, and document, workbook, table and results say what the record in the pack says"
        if self.equal:
            return f"equal as far as it was compared: {follow}; {many(len(self.not_compared), 'thing')} not compared"
        off = sum(not one.equal for one in self.tests)
        words = f"not equal: {off} of {many(len(self.tests), 'test')} differ{'s' if off == 1 else ''}"
        if self.told:
            words += f", and {many(len(self.told), 'thing')} in the pack {is_are(len(self.told))} not as it should be"
        return words


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
        raw, ask = self.read(name), "do not trust it: ask for another, from whoever made the closeout"
        try:
            found = json.loads(raw)
        except (ValueError, RecursionError):
            self.refuse(name, "no JSON", "the file as a closeout wrote it", ask)
        form = found.get("format") if isinstance(found, dict) else None
        if isinstance(form, str) and form != FORMAT and form.startswith(FORMAT.rstrip("0123456789")):
            self.refuse(
                name, f"the format {shorten(form, 40)!r}", f"the format {FORMAT!r}", "a newer upmast may read it"
            )
        try:
            same = canonical(found).encode() + b"\n" == raw
        except (ValueError, RecursionError):
            same = False
        if form != FORMAT or not same:
            self.refuse(
                name,
                "text that no closeout writes: it was changed since it was made",
                "the file as a closeout wrote it",
                ask,
            )
        return dict(found)

    def _checked(self, size: int, most_total: int) -> dict[str, zipfile.ZipInfo]:
        """A zip of something else is told in one sentence, not file by file."""
        names = {info.filename for info in self._zip.infolist()}
        if MANIFEST not in names or names.isdisjoint(OWN):
            of = "a bundle of a record: upmast record bring-in takes it" if RECORD_SITE.intersection(name.split("/")[0] for name in names) else "no closeout"  # fmt: skip
            self.refuse("", of, f"the closeout.zip of upmast record closeout, with its {MANIFEST}", "give that one")
        return super()._checked(size, most_total)


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
            files = {name.removeprefix(SITE): pack.read(name) for name in pack.members if name.startswith(SITE)}
            proof = proof_of(files)
            with Archive(bundle) as archive:
                whole = Whole(site, tuple(entries_in(archive, site) if site in archive.sites else ()))
                closeout = closeout_of(
                    proof, whole.until(Head.parse(head)), _day(results), since=_since(results), elsewhere=elsewhere_in(results)
                )  # fmt: skip
                found = judge_again(closeout, archive.content)
                review = review_of(closeout, archive.content, sha256(files["site.yaml"]), found)
                against = held(review, results)
                documents = {name: pack.read(name) for name in (PDF, XLSX, CSV) if name in pack.members}
                documents_off(review, against, results, manifest, documents)
                tests = _compare(closeout, results, against.rows, found)
                told += [*against.told, *_inputs(files, proof, whole), *_heads(manifest, results, whole)]
        except (InputFaults, UsageError) as error:
            told.append(shorten(str(error).replace("\n", " "), 600))
            return Rechecked(site, head, program, (), tuple(told), made.verdict)
        return Rechecked(site, head, program, tests, tuple(told), made.verdict, tuple(against.not_compared))


def _day(results: Mapping[str, Any]) -> date:
    try:
        return date.fromisoformat(str(results.get("on")))
    except ValueError:
        raise UsageError("results.json names no day on which waivers were looked at") from None


def _since(results: Mapping[str, Any]) -> Head | None:
    said = results.get("since")
    return Head.parse(shorten(str(said), 160)) if said is not None else None


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

    parts = from_text(_text(files, PARTS_FILE))
    site = site_from_text(_text(files, "site.yaml"), _catalogue(files, parts))
    return prove(site, parse(_text(files, LINE_FILE), parts).line, rooms=ROOMS)


def _text(files: Mapping[str, bytes], name: str) -> yamlfile.YamlText:
    try:
        return yamlfile.parse(files[name].decode("utf-8"), name)
    except UnicodeDecodeError:
        raise UsageError(f"{SITE}{name} is no text in UTF-8") from None


def _catalogue(files: Mapping[str, bytes], parts: Catalogue) -> Catalogue:
    """The parts of a site: ours, those of its own catalogues, and those that its line alone names."""
    catalogue = standard()
    for name in sorted(one for one in files if one.startswith("catalogue-")):
        catalogue = catalogue.merged(from_text(_text(files, name)))
    return catalogue.merged(Catalogue({part.id: part for part in parts if part.id not in catalogue}, {}))


def _inputs(files: Mapping[str, bytes], proof: Proof, whole: Whole) -> Iterator[str]:
    """Whether the files of the site are those that the record names."""
    if BUILT_FILE in files:
        built = apply_built(
            _text(files, BUILT_FILE), proof.line, _catalogue(files, from_text(_text(files, PARTS_FILE)))
        )
        if built.digest not in {kept.digest for _, kept in whole.of(LineKept) if kept.layer == str(Layer.BUILT)}:
            yield f"{SITE}{BUILT_FILE}: a built line that the record does not know"
    sites = [kept.content for _, kept in whole.of(FileKept) if kept.sort == "site"]
    if sites and sha256(files["site.yaml"]) != sites[-1]:
        yield "site/site.yaml: not the one that was last filed in the record; its limits may be others"
    lines = [kept.digest for _, kept in whole.of(LineKept)]
    if lines and proof.line.digest not in lines:
        yield "site/line.yaml: a line that the record does not know"


def _heads(manifest: Mapping[str, Any], results: Mapping[str, Any], whole: Whole) -> Iterator[str]:
    """Whether manifest, results and record end at the same entry: an older head would leave out what was found later."""
    for name in ("head", "verdict", "site", "program", "made"):
        if manifest.get(name) != results.get(name):
            yield f"manifest.json: its {name} is not that of results.json"
    later = whole.head.entries - Head.parse(str(results.get("head"))).entries
    if later:
        yield f"record.zip: it has {many(later, 'entry', 'entries')} after the head that the closeout names"


# --- comparing --------------------------------------------------------------------------------------------------------


def _compare(closeout: Closeout, results: Mapping[str, Any], off: Mapping[str, str], found: JudgedAgain) -> tuple[Again, ...]:  # fmt: skip
    """Each test that has a result or a row that differs: the pack, its record, and what is found now."""
    listed = results.get("results")
    listed = listed if isinstance(listed, list) else []
    says = {str(one.get("test")): one for one in listed if isinstance(one, dict)}
    out = []
    for row in closeout.rows:
        pack = _said(says.get(row.test.id), row.state)
        why = off.get(row.test.id, "")
        if row.stands is None:
            if why:
                out.append(Again(row.test.id, pack, str(State.MISSING), "", None, None, why))
            continue
        kept, kept_value = row.stands.judgement.verdict, row.stands.judgement.findings[0].value
        again = found.found(row.test.id)
        if again is None:
            out.append(Again(row.test.id, pack, kept, "", kept_value, None, why or found.faults[row.test.id]))
            continue
        if again[0] != kept or not close(again[1], kept_value):
            why = f"{_why(row.stands)}; {why}" if why else _why(row.stands)
        out.append(Again(row.test.id, pack, kept, again[0], kept_value, again[1], why))
    return tuple(out)


def _said(one: Mapping[str, Any] | None, state: State) -> str:
    return shorten(str(one.get("state")), 40) if one is not None else str(state)


def _why(stands: Stands) -> str:
    """Why a verdict does not follow again: other rules, another program, or neither."""
    judgement = stands.judgement
    mine = rules() if stands.measurement.sort == "rf.sweep" else reading_rules()
    if judgement.rules != mine:
        return f"other rules: then {judgement.rules}, here {mine}"
    if judgement.program != f"upmast {__version__}":
        return f"another program: then {judgement.program}, here upmast {__version__}"
    return f"entry {stands.entry.number} of the record does not follow from its raw file and the files of the site"
