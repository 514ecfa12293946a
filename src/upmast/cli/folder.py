"""A site folder as the commands read it: site, catalogue, line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from upmast.errors import Fault, InputFaults, UsageError

if TYPE_CHECKING:
    from upmast.catalogue.catalogue import Catalogue
    from upmast.line.save import Saved
    from upmast.site.site import Site

FolderArgument = typer.Argument(Path("."), help="Folder of the site (holds site.yaml).", show_default="this folder")
JsonOption = typer.Option(False, "--json", help="Print data for programs instead of text.")
CatalogueOption = typer.Option(
    [], "--catalogue", help="A catalogue of your own, laid over the generic one; may be repeated."
)
MOST_CATALOGUES = 50


@dataclass(frozen=True)
class SiteFolder:
    """What stands in the folder of one site."""

    path: Path
    site: Site
    catalogue: Catalogue

    def line(self) -> Saved:
        """The line of the folder. Raises UsageError where there is none yet."""
        from upmast.line.save import LINE_FILE, load

        if not (self.path / LINE_FILE).exists():
            raise UsageError(f"{self.path} has no {LINE_FILE} yet: make one with: upmast plan {self.path}")
        saved = load(self.path)
        if saved.line.site != self.site.id:
            got = f"a line of site {saved.line.site}"
            raise InputFaults(
                [
                    Fault(
                        str(self.path / LINE_FILE),
                        "site",
                        got,
                        f"a line of {self.site.id}",
                        "put it into its own folder",
                    )
                ]
            )
        return saved


def open_folder(path: Path, catalogues: list[Path]) -> SiteFolder:
    """Read site and catalogue. Raises InputFaults with the faults of all files, or UsageError."""
    from upmast.catalogue.catalogue import load as load_catalogue
    from upmast.catalogue.catalogue import standard
    from upmast.site.load import load as load_site

    if not path.is_dir():
        raise UsageError(f"{path} is not a folder; make one with: upmast start {path}")
    if not (path / "site.yaml").exists():
        raise UsageError(f"{path} holds no site.yaml; make a site folder with: upmast start NAME")
    own = sorted((path / "catalogue").glob("*.yaml"))[:MOST_CATALOGUES]
    catalogue = standard()
    files = [*own, *catalogues]
    if files:
        catalogue = catalogue.merged(load_catalogue(*files))
        from upmast.catalogue.catalogue import check_references

        check_references(catalogue, ", ".join(str(f) for f in files))
    try:
        site = load_site(path / "site.yaml", catalogue)
    except InputFaults:
        kept = _kept(path, catalogue)
        if kept is None:
            raise
        catalogue = catalogue.merged(kept)
        site = load_site(path / "site.yaml", catalogue)
    _check_limits(path / "site.yaml", site)
    return SiteFolder(path, site, catalogue)


def _check_limits(path: Path, site: Site) -> None:
    """The limits of a site against what they may be, each fault with its line."""
    from dataclasses import replace

    from upmast import yamlfile
    from upmast.proof.limits import limits_of

    try:
        limits_of(site, str(path))
    except InputFaults as error:
        text = yamlfile.read(path)
        found = []
        for fault in error.faults:
            head, _, field = fault.place.partition(".")
            number = int(head.removeprefix("limits[").removesuffix("]")) - 1
            line, column = text.position(("limits", number, field) if field else ("limits", number))
            found.append(replace(fault, line=line, column=column))
        raise InputFaults(found) from None


def _kept(path: Path, catalogue: Catalogue) -> Catalogue | None:
    """
    Parts that site.yaml names, that no catalogue has, and that stand in parts.yaml: so a copy of the folder, or the files of
    a pack, can be proven without the catalogue that they came from.

    Nothing that a catalogue has is replaced, and no part that only the old line used is offered to a new plan.
    """
    from upmast import yamlfile
    from upmast.catalogue.catalogue import Catalogue as Parts
    from upmast.catalogue.catalogue import from_text
    from upmast.catalogue.part import Connector, Part
    from upmast.line.save import PARTS_FILE

    if not (path / PARTS_FILE).is_file():
        return None
    try:
        parts = from_text(yamlfile.read(path / PARTS_FILE))
        stack: list[object] = [yamlfile.read(path / "site.yaml").data]
    except InputFaults:
        return None
    named: set[str] = set()
    while stack:
        value = stack.pop()
        if isinstance(value, dict):
            stack += value.values()
        elif isinstance(value, list):
            stack += value
        elif isinstance(value, str):
            named.add(value)
    missing: dict[str, Part] = {
        part.id: part
        for part in parts
        if part.id not in catalogue and (part.id in named or isinstance(part, Connector))
    }
    return Parts(missing, {}) if named & set(missing) else None
