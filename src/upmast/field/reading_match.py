"""
Which test of the line does a single reading belong to? By what its subject names, then by its kind and conditions, by its file name last.

Nothing is guessed: where a subject names two things, nothing of the line, or leaves the wavelength or the direction open, a person
is asked, with the nearest tests.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from upmast.errors import shorten
from upmast.field.place import Place, place_of
from upmast.field.readers.reading import KINDS, Reading
from upmast.field.readers.values_columns import wave_of, way_of
from upmast.field.reading_said import sentences
from upmast.field.reading_words import Found, find_names, is_numbered, parts_of, rest_of, tokens_of, way_words
from upmast.finding import Expectation
from upmast.line.walk import rf_paths
from upmast.proof.prove import Proof
from upmast.site.sheet_read import letter

# which tests a kind of reading can be: the part of a test id between its first and its second point
TESTS: Mapping[str, tuple[str, ...]] = {
    "pim": ("pim",), "optical-loss": ("ol",), "voltage": ("vdc",), "loop-resistance": ("rloop",), "insulation-resistance": ("ir",),
    "bond-resistance": ("bond", "shield"), "torque": ("torque",), "end-face-grade": ("ef",), "end-face-count": ("ef",), "closed-count": ("seal", "cap"), "humidity-spot": ("card",),
}  # fmt: skip
# the letter of what is numbered within a cable, an item or a radio
LETTERS: Mapping[str, str] = {
    "optical-loss": "F", "end-face-grade": "F", "end-face-count": "F", "loop-resistance": "P", "insulation-resistance": "P", "bond-resistance": "E", "pim": "J",
}  # fmt: skip
CARD = "card.spots"  # a humidity card has no expectation: its test is made from the item that it lies in
WAVELENGTHS = (1310, 1550)
SAME_NM = 15.0  # sources are within this of their name: common practice, no source
SHIELD_WORDS = frozenset({"SHIELD", "SCREEN", "SHEATH", "BRAID", "ARMOUR"})
BOND_WORDS = frozenset({"BOND", "BONDS", "EARTH", "GROUND", "KIT", "LUG"})
END_WORDS: Mapping[str, frozenset[str]] = {
    "foot": frozenset({"FOOT", "BOTTOM", "LOWER"}), "head": frozenset({"HEAD", "TOP", "UPPER"}),
}  # fmt: skip
# how much each way of naming a test counts
BY_TEST, BY_SUBJECT, BY_ALIAS, BY_BARE, BY_ITEM, BY_FILE = 1.0, 0.95, 0.9, 0.75, 0.6, 0.5
NEAR = 6  # candidates shown
# headers that a column of another kind is asked to have
HEADERS: Mapping[str, str] = {
    "pim": "IM3 (dBc)", "optical-loss": "Optical loss (dB)", "voltage": "Voltage (V)", "loop-resistance": "Loop resistance (Ω)",
    "insulation-resistance": "Insulation resistance (MΩ)", "bond-resistance": "Shield resistance (mΩ)", "torque": "Torque (N·m)",
    "end-face-grade": "End face", "end-face-count": "End faces clean", "closed-count": "Closed",
}  # fmt: skip
_GOES_ON = re.compile(r"[A-Z]{1,3}[0-9]+")
MOST_KNOWN = 50_000  # texts that are kept
# tests by id, each by its surest way of being named, and why
Named = dict[str, tuple[float, tuple[str, ...]]]


@dataclass(frozen=True, slots=True)
class ReadingCandidate:
    """One test that a reading may belong to: confidence 0 to 1 (all candidates add to 1), and why, in words."""

    test_id: str
    confidence: float
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReadingMatch:
    """Candidates, best first. `decided` is empty where a person has to say; `question` then asks."""

    candidates: tuple[ReadingCandidate, ...]
    decided: ReadingCandidate | None
    question: str = ""
    about: str = ""  # direction or wavelength, where that is what a person has to say


@dataclass(frozen=True, slots=True)
class Index:
    """The tests of a line by kind of reading, and every name that they can be called by."""

    tests: dict[str, tuple[Expectation, ...]]
    aliases: dict[str, tuple[tuple[str, str], ...]]  # by kind: other name, subject of the test
    items: tuple[str, ...]
    by_id: dict[str, Expectation] = field(default_factory=dict)
    place: Place | None = None  # what this site is called
    known: dict[tuple[str, str, str], Named] = field(default_factory=dict, repr=False)  # texts that were read already

    def subjects(self, kind: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(subject_of(one) for one in self.tests.get(kind, ())))


def subject_of(test: Expectation) -> str:
    """The item, strand, pair or path of a test: its id up to the first point."""
    return test.id.partition(".")[0]


def reading_key(reading: Reading) -> str:
    """How one reading of a file is called: `losses.csv#12.3` for row 12 and column 3."""
    return f"{reading.file}#{reading.row}.{reading.column}"


def index_of(proof: Proof) -> Index:
    """Every test of the line that a single reading can belong to; a humidity card may lie in any item that is no hardware."""
    tests: dict[str, list[Expectation]] = {kind: [] for kind in TESTS}
    for one in proof.expectations:
        suffix = one.id.split(".")[1] if one.id.count(".") else ""
        for kind, suffixes in TESTS.items():
            if suffix in suffixes:
                tests[kind].append(one)
    boxes = [item.id for item in proof.line.items if item.kind in ("box", "radio", "plant", "baseband")]
    tests["humidity-spot"] = [
        Expectation(
            f"{id}.{CARD}", id, f"Humidity card in {id}", "dew point of the air", "°C", (float("nan"),), (float("nan"),), "", items=(id,)
        )
        for id in boxes
    ]  # fmt: skip
    aliases: dict[str, tuple[tuple[str, str], ...]] = {}
    ports = []
    for path in rf_paths(proof.line):
        ports += [(f"{path.radio}.{path.radio_port}", path.id), *([(path.antenna, path.id)] if path.antenna else [])]
    aliases["pim"] = tuple(ports)
    aliases["voltage"] = tuple((f"{subject_of(one)}.dc", subject_of(one)) for one in tests["voltage"])
    made = {kind: tuple(some) for kind, some in tests.items()}
    return Index(
        made, aliases, tuple(item.id for item in proof.line.items), {one.id.upper(): one for some in made.values() for one in some},
        place_of(proof),
    )  # fmt: skip


def match_reading(index: Index, reading: Reading, said: Mapping[str, str] | None = None) -> ReadingMatch:
    """
    Find the test of a reading.

    Parameters
    ----------
    index : from `index_of`.
    said : what a person has answered: by `reading_key`, or by the subject as it is written, the id of a test or of what it is about.
    """
    answer = (said or {}).get(reading_key(reading)) or (said or {}).get(reading.subject)
    text = answer or reading.subject
    if answer and (kinds := kind_of_test(index, answer)) and reading.kind not in kinds:
        return _of_another(reading, answer, kinds[0])
    if not answer and (earthed := _earthed(index, reading)):
        names = list(earthed)
        return _asked(
            reading,
            earthed,
            f"{_quoted(reading.subject)} stands under {KINDS[reading.kind].title}: is it {_listed(names)}? Say so, or call the column '{HEADERS['bond-resistance']}'",
        )
    named = _named(index, reading, text)
    why = "a person said so" if answer else ""
    if not named and not any(ch.isdigit() for ch in text):  # a subject such as `loss` names nothing: the file may
        named = dict.fromkeys(_named(index, reading, _stem(reading)), (BY_FILE, ("its file name says so",)))
    other = str(reading.condition("site") or "")
    if other and not answer and index.place is not None and index.place.elsewhere(other):
        question = f"{_quoted(reading.subject)} stands in a row of site {_quoted(other)}, and this site is {index.place.own[0]}: say that the file is of this site ('site is {index.place.own[0]}'), which leaves other sites' rows out, or which test it is"
        return _asked(reading, named, question) if named else ReadingMatch((), None, question)
    if not named:
        return _lost(index, reading, text)
    best = max(weight for weight, _ in named.values())
    top = {test: found for test, found in named.items() if found[0] == best}
    if why:
        top = {test: (weight, (*reasons, why)) for test, (weight, reasons) in top.items()}
    subjects = list(dict.fromkeys(test.partition(".")[0] for test in top))
    if len(subjects) > 1:
        top, subjects = _by_file(reading, top, subjects)
    if len(subjects) > 1:
        return _asked(
            reading, top, f"{_quoted(reading.subject)} may be {_listed(subjects)}: which one was measured?"
        )  # fmt: skip
    more = _more_numbers(text, subjects[0], LETTERS.get(reading.kind, ""), best == BY_BARE)
    if more and not answer:
        return _asked(
            reading,
            top,
            f"{_quoted(reading.subject)} names {subjects[0]} and {more}: one reading belongs to one of them; which?",
        )
    return _by_conditions(index, reading, top, exact=best == BY_TEST)


def kind_of_test(index: Index, test: str) -> tuple[str, ...]:
    """The kinds of reading that the test of this id can have; empty for a text that is no such id."""
    found = index.by_id.get(test.strip().upper())
    suffix = found.id.split(".")[1] if found is not None else ""
    return tuple(kind for kind, some in TESTS.items() if suffix in some)


def as_said(index: Index, reading: Reading, answer: str) -> Reading:
    """A reading as one of the kind of the test that a person has named, where its unit allows it: `0.080 Ω` of a shield is 80 mΩ."""
    kinds = kind_of_test(index, answer) if answer else ()
    if not kinds or reading.kind in kinds:
        return reading
    have, want = KINDS[reading.kind], KINDS[kinds[0]]
    if not set(have.dimensions) & set(want.dimensions) or reading.unit != have.unit:
        return reading
    value = None if reading.value is None else float(Decimal(repr(reading.value)) * have.scale / want.scale)
    if value is not None and not want.low <= value <= want.high:
        return reading
    return replace(reading, kind=want.name, value=value, unit=want.unit)


def _of_another(reading: Reading, answer: str, kind: str) -> ReadingMatch:
    """A person named a test of another kind, and the unit of the reading is none of it."""
    header = HEADERS.get(kind, KINDS[kind].title.capitalize())
    question = f"{answer.strip()} is a test of {KINDS[kind].title}, and {_quoted(reading.written)} was read as {KINDS[reading.kind].title}: give it under a header such as '{header}'"
    return ReadingMatch((), None, question)


def _earthed(index: Index, reading: Reading) -> Named:
    """The shields or bonds that a row names though its column is one of pairs."""
    if reading.kind not in ("loop-resistance", "insulation-resistance"):
        return {}
    if not {token.text for token in tokens_of(reading.subject)} & (SHIELD_WORDS | {"BOND", "LUG", "KIT"}):
        return {}
    named = _named(index, replace(reading, kind="bond-resistance"), reading.subject)
    best = max((weight for weight, _ in named.values()), default=0.0)
    return {test: row for test, row in named.items() if row[0] == best}


def _stem(reading: Reading) -> str:
    return reading.file.replace("\\", "/").rsplit("/", 1)[-1]


def _more_numbers(text: str, subject: str, letter: str, bare: bool) -> str:
    """A second strand or pair that a text names beside the one that was found, though the line may have no test of it."""
    if letter not in ("F", "P") or not parts_of(subject)[-1].startswith(letter):
        return ""
    rest = rest_of(text, subject, letter)
    for k, one in enumerate(rest):
        second = one.isdigit() and (bare or (k > 0 and rest[k - 1] in ("AND", "OR", "TO", "UND")))
        if second and wave_of(one) is None:
            return f"{letter}{one}"
        if one[0] == letter and one[1:].isdigit() and one != parts_of(subject)[-1]:
            return one
    return ""


def _named(index: Index, reading: Reading, text: str) -> Named:
    """Tests of the kind that a text names, each by its surest way, and why; many rows of a file have one subject."""
    key = (reading.kind, text, str(reading.condition("part") or ""))
    if key not in index.known:
        if len(index.known) >= MOST_KNOWN:
            index.known.clear()
        index.known[key] = _read_names(index, reading, text)
    return index.known[key]


def _read_names(index: Index, reading: Reading, text: str) -> Named:
    tests, letter = index.tests.get(reading.kind, ()), LETTERS.get(reading.kind, "")
    words = {token.text for token in tokens_of(f"{text} {reading.condition('part') or ''}")}
    if reading.kind == "bond-resistance" and bool(words & SHIELD_WORDS) != bool(words & BOND_WORDS):
        wanted = "shield" if words & SHIELD_WORDS else "bond"
        tests = tuple(one for one in tests if one.id.split(".")[1] == wanted)
    subjects = {subject_of(one) for one in tests}
    aliases = [(name, subject) for name, subject in index.aliases.get(reading.kind, ()) if subject in subjects]
    links = {str(one.data["link"]) for one in tests if "link" in one.data}
    names = {*(one.id for one in tests), *subjects, *(name for name, _ in aliases), *index.items, *links}
    found = {one.name: one for one in find_names(text, sorted(names), letter)}
    if aliases:
        found |= {one.name: one for one in find_names(text, sorted({name for name, _ in aliases}), "RF") if one.name not in found and not one.bare}  # fmt: skip
    more, next_to = _left_over(text, found.values())
    out: Named = {}

    def give(test: str, weight: float, reason: str) -> None:
        if weight > out.get(test, (0.0, ()))[0]:
            out[test] = (weight, (reason,))

    for one in tests:
        subject = subject_of(one)
        if one.id in found:
            give(one.id, BY_TEST, f"its subject is the test {one.id}")
        # `T1-E9` is not T1 where the line has no such bond: a name that goes on is another name
        whole = is_numbered(subject, letter) or subject not in next_to
        if subject in found and not whole:
            continue
        if subject in found and not found[subject].bare:
            give(one.id, BY_SUBJECT, f"its subject names {subject}")
        elif subject in found:
            give(one.id, BY_BARE, f"its subject names the cable and a number, taken as {subject}")
        for name, target in aliases:
            if target == subject and name in found and name not in next_to:
                give(one.id, BY_ALIAS, f"its subject names {name}, an end of {subject}")
        for item in (*one.items, str(one.data.get("link", ""))):
            if item in found and not more:
                give(one.id, BY_ITEM, f"its subject names {item}, which {subject} belongs to")
    return out


def _left_over(text: str, found: Iterable[Found]) -> tuple[bool, frozenset[str]]:
    """Whether a text has a number beside all names found in it, and the names that go on with a letter and a number (`-E9`)."""
    tokens = tokens_of(text)
    names = list(found)
    taken = frozenset(k for one in names for k in one.at)
    left = {k: one.text for k, one in enumerate(tokens) if k not in taken and wave_of(one.text) is None}
    more = any(any(ch.isdigit() for ch in one) for one in left.values())
    return more, frozenset(one.name for one in names if _GOES_ON.fullmatch(left.get(max(one.at) + 1, "")))


def _by_file(reading: Reading, top: Named, subjects: list[str]) -> tuple[Named, list[str]]:
    """Where several things are named alike, the name of the file may tell them apart; it is asked last."""
    hit = {one.name for one in find_names(_stem(reading), subjects, LETTERS.get(reading.kind, ""))}
    if len(hit) != 1:
        return top, subjects
    (one,) = hit
    kept = {
        test: (BY_FILE, (*reasons, f"the file name says {one}"))
        for test, (_, reasons) in top.items()
        if test.partition(".")[0] == one
    }
    return kept, [one]


def _by_conditions(index: Index, reading: Reading, top: Named, exact: bool) -> ReadingMatch:
    """One of the tests of one subject, by wavelength and direction."""
    if reading.kind != "optical-loss":
        here = top if len(top) == 1 else _by_end(reading, top)
        if len(here) == 1:
            return _decided(here)
        return _asked(reading, top, f"{_quoted(reading.subject)} has {len(top)} tests alike ({_listed(list(top))}): which one was it?")  # fmt: skip
    wave, reason_wave = wavelength_of(reading)
    way, reason_way = direction_of(reading)
    subject = next(iter(top)).partition(".")[0]
    first = next(iter(top.values()))
    every = {one.id: top.get(one.id, first) for one in index.tests["optical-loss"] if subject_of(one) == subject}  # fmt: skip
    if exact and len(top) == 1:
        ((id, (weight, reasons)),) = top.items()
        told = id.rpartition(".")[2].split("-")
        against = [
            words
            for words, seen, said in (
                (f"measured at {wave} nm", str(wave or ""), told[0]),
                (f"measured {way}", way, told[-1]),
            )
            if seen and seen != said
        ]
        if against:
            return _asked(
                reading, every, f"{_quoted(reading.subject)} is called {id}, but it was {' and '.join(against)}: which is it?"
            )  # fmt: skip
        return _decided({id: (weight, reasons)})
    if wave is None:
        question = f"{subject}: at which wavelength was {_quoted(reading.written)} measured? {_alike(reading)}, {sentences(reading, of_column(reading, 'wavelength', '1310'))}"
        return replace(_asked(reading, every, question), about="wavelength")
    kept = {id: row for id, row in every.items() if id.rpartition(".")[2].startswith(f"{wave}-")}
    if not way:
        question = f"{subject}: which way was {_quoted(reading.written)} measured at {wave} nm, up (source at the foot) or down? {_alike(reading)}, {sentences(reading, of_column(reading, 'direction', 'up'))}"
        return replace(_asked(reading, kept, question), about="direction")
    last = {
        id: (weight, tuple(one for one in (*reasons, reason_wave, reason_way) if one))
        for id, (weight, reasons) in kept.items()
        if id.endswith(f"-{way}")
    }
    return _decided(last) if last else _asked(reading, every, f"{subject} has no test at {wave} nm {way}: which one was it?")  # fmt: skip


def _alike(reading: Reading) -> str:
    return f"If all of column {letter(reading.column)} is alike" if reading.column else "If all rows are alike"


def of_column(reading: Reading, about: str, what: str) -> str:
    """The words that decide a whole column: another column of the file may have been measured otherwise."""
    if reading.column:
        return f"{letter(reading.column)} {about} is {what}"
    return f"{'wavelength_nm' if about == 'wavelength' else about} is {what}"


def _by_end(reading: Reading, top: Named) -> Named:
    """Of tests at both ends of one thing (`.torque.foot`, `.torque.head`) the one whose end is named."""
    words = {token.text for token in tokens_of(f"{reading.subject} {reading.condition('side') or ''}")}
    ends = [end for end, spelled in END_WORDS.items() if words & spelled]
    return {id: row for id, row in top.items() if len(ends) == 1 and id.endswith(f".{ends[0]}")}


def wavelength_of(reading: Reading) -> tuple[int | None, str]:
    """The wavelength of the test that a loss belongs to, nm: its own, or the nearer one where it was measured at another; and why."""
    seen = _wave(reading)
    if seen is None:
        return None, ""
    nearest = min(WAVELENGTHS, key=lambda one: abs(one - seen))
    return nearest, f"measured at {seen:g} nm"


def _wave(reading: Reading) -> float | None:
    """The wavelength beside a reading, or in its subject (`T1-F01 1310 nm`)."""
    seen = reading.condition("wavelength_nm")
    return float(seen) if isinstance(seen, float | int) else wave_of(reading.subject)


def right_wavelength(reading: Reading) -> bool:
    """Whether a loss was measured at a wavelength of the tests; one that does not say it is not held to be wrong."""
    seen = _wave(reading)
    return seen is None or min(abs(one - seen) for one in WAVELENGTHS) <= SAME_NM


def direction_of(reading: Reading) -> tuple[str, str]:
    """up, down or '', and why. End a of a link of the line is in the cabinet: a-b is up."""
    text = str(reading.condition("direction") or way_of(reading.subject))
    if text in ("up", "down"):
        return text, f"measured {text}"
    if text in ("a-b", "b-a"):
        return (
            "up" if text == "a-b" else "down"
        ), f"measured {text}, end a taken as the foot as in the links of the line"
    found = way_words(text) or way_words(reading.subject)
    return found, f"measured {found} by its words" if found else ""


def _lost(index: Index, reading: Reading, text: str) -> ReadingMatch:
    """A subject that the line does not have, or that has no test of this kind: asked, with what is nearest."""
    kind = KINDS[reading.kind].title if reading.kind in KINDS else reading.kind
    subjects = index.subjects(reading.kind)
    in_file = [one.name for one in find_names(_stem(reading), subjects, LETTERS.get(reading.kind, ""))]
    known = [one.name for one in find_names(text, index.items)]
    if not subjects:
        return ReadingMatch((), None, f"{_quoted(reading.subject)}: this line has no test of {kind}")
    upper = {one.upper(): one for one in subjects}
    near = difflib.get_close_matches(text.upper()[:60], list(upper), NEAR, 0.5)
    shown = list(dict.fromkeys([*in_file, *(upper[one] for one in near)])) or list(subjects[:NEAR])
    ids = [one.id for one in index.tests[reading.kind] if subject_of(one) in shown[:NEAR]]
    ids.sort(key=lambda id: shown.index(id.partition(".")[0]))
    made = tuple(ReadingCandidate(id, 1.0 / len(ids), ("near by its name",)) for id in ids)
    if known:
        return ReadingMatch(
            made,
            None,
            f"{_quoted(reading.subject)}: {_listed(known)} has no test of {kind} by that name: is it {_listed(shown[:NEAR])}?",
        )
    return ReadingMatch(
        made, None, f"{_quoted(reading.subject)} is nothing of this line: is it {_listed(shown[:NEAR])}, or from another site?"
    )  # fmt: skip


def _decided(top: Named) -> ReadingMatch:
    ((id, (weight, reasons)),) = top.items()
    one = ReadingCandidate(id, weight, reasons)
    return ReadingMatch((one,), one)


def _asked(reading: Reading, top: Named, question: str) -> ReadingMatch:
    total = sum(weight for weight, _ in top.values())
    made = [ReadingCandidate(id, weight / total, reasons) for id, (weight, reasons) in sorted(top.items())]
    return ReadingMatch(tuple(made), None, question)


def _listed(names: list[str]) -> str:
    shown = ", ".join(names[:NEAR])
    return shown + (f" and {len(names) - NEAR} more" if len(names) > NEAR else "")


def _quoted(text: str) -> str:
    return repr(shorten(text, 60))


__all__ = [
    "CARD", "LETTERS", "Index", "ReadingCandidate", "ReadingMatch", "as_said", "direction_of", "index_of", "match_reading", "of_column", "reading_key",
    "right_wavelength", "subject_of", "wavelength_of",
]  # fmt: skip
