"""Names of the site that is judged and of its line: whether a file of the field says another site, and what names this line has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from upmast.errors import shorten
from upmast.field.measurement import Sweep
from upmast.field.readers.cell_value import NOTHING, folded
from upmast.field.readers.site_words import is_other, site_in_lines, site_of_name
from upmast.field.reading_words import FOOT_WORDS, TOP_WORDS, parts_of
from upmast.proof.prove import Proof
from upmast.site.site import Site

MOST_PARTS = 6  # pieces of a name with words behind it, as `T1-F06.head`


@dataclass(frozen=True, slots=True)
class Place:
    """Names of one site, its id first, every name of its line in pieces (`reading_words.parts_of`), the ids of its tests."""

    own: tuple[str, ...]
    names: frozenset[tuple[str, ...]] = frozenset()
    tests: frozenset[str] = frozenset()  # in lower case

    def known(self, text: str) -> bool:
        """Whether a short text is, or begins with, a name of the line: `T1-F06.head`."""
        parts = parts_of(text)
        return 0 < len(parts) <= MOST_PARTS and any(parts[:n] in self.names for n in range(1, len(parts) + 1))

    def elsewhere(self, said: str) -> bool:
        """Whether words for a site are those of another one; an item of the line, its top or its foot is no site."""
        if folded(said) in NOTHING or folded(said) in FOOT_WORDS | TOP_WORDS or self.known(said):
            return False
        return is_other(said, self.own)

    def other(self, file: str, lines: Iterable[str] = ()) -> str:
        """The other site that the name of a file or its own words say, '' if none."""
        said = site_in_lines(lines)
        if said:
            return said if self.elsewhere(said) else ""
        return site_of_name(file, self.own, self.known)

    def asks(self, sweep: Sweep) -> str:
        """The question about a sweep that says another site, '' for one that does not."""
        other = self.other(sweep.file, sweep.comments)
        if not other:
            return ""
        return f"it says site {shorten(other, 60)!r}, and this site is {self.own[0]}: leave it out, or say that it is of this site"


def names_of_site(site: Site) -> tuple[str, ...]:
    """What a site is called, its id first."""
    return tuple(dict.fromkeys(one for one in (site.id, site.name, site.name.partition(",")[0].strip()) if one))


_last: tuple[Proof, Place] | None = None


def place_of(proof: Proof) -> Place:
    """The names of a proven site, and of the items, tests and things tested of its line; those of the last proof are kept."""
    global _last
    last = _last
    if last is not None and last[0] is proof:
        return last[1]
    made = _place_of(proof)
    _last = (proof, made)
    return made


def _place_of(proof: Proof) -> Place:
    names = {item.id for item in proof.line.items}
    for one in proof.expectations:
        names |= {one.id, one.id.partition(".")[0]}
    tests = frozenset(one.id.casefold() for one in proof.expectations)
    return Place(names_of_site(proof.site), frozenset(parts_of(one) for one in names), tests)


__all__ = ["Place", "names_of_site", "place_of"]
