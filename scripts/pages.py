"""
Write the pages that follow from a declaration; with --check only say whether they are stale.

    docs/commands.md  from the help of each command
    docs/codes.md     from the table of codes and the table of limits
    docs/parts.md     from the catalogue that comes with upmast
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from upmast.catalogue.catalogue import Catalogue, standard
from upmast.catalogue.part import KINDS, CableFamily, Part
from upmast.cli.run import app
from upmast.codes import Code, codes
from upmast.number import number
from upmast.proof.limits import standing
from upmast.proof.prove import ROOMS

ROOT = Path(__file__).resolve().parent.parent
WIDTH = 100
COMMANDS_HEAD = """\
# Commands

Made from the help of each command by `make docs`: change that, not this page.

Every command prints for people; where it has `--json` it prints one JSON document for programs instead. Nothing is written
before all input is read without a fault, and a file is replaced whole or not at all.

| exit code | meaning |
|---|---|
| 0 | everything passes, or what was asked is done |
| 1 | something fails; for `plan`, no line passes every limit; for `pack --check`, a file differs from the manifest |
| 2 | bad input or use: the message names file, line, place, what was got, what was expected and what to do |
| 3 | nothing fails, but something is not judged |
| 70 | an error of upmast itself, with a trace to report |
| 130 | stopped from the keyboard |

`prove` and `pack` count design findings only. `judge` counts its tests: 1 if one fails, else 2 if a file can't be read, else 3 if
something is not judged, asked, or to be measured again.
"""
CODES_HEAD = """\
# Codes

Made from the tables by `make docs`: change those, not this page.

A finding is a value against a limit; a figure is a value worth knowing that has none. The key `CODE@ITEM` names one of them, and
`upmast explain` takes that key. *Stage* says when it can be known: `design` at the desk, `acceptance` by a measurement.

*Standing limit* is what holds where nobody says otherwise, with who sets it and its mark (see [proof](proof.md)). A dash means
that the limit is made for each line: by the data sheet of a part, by what the site asks, or by the line's own expectation.
"""
PARTS_HEAD = """\
# Parts

Made from the catalogue that comes with upmast by `make docs`: change that, not this page.

These parts are **generic and invented**: sizes and interfaces are those of the trade and its standards, prices, masses, ratings
and losses are made up so that the flow can be tried. Put the values of your own data sheets into a
[catalogue of your own](catalogue.md). The first column is what `site.yaml` and a catalogue call the part.
"""
ROOM_TITLES = {
    "power": "DC power", "fibre": "Fibre", "rf": "RF", "pim": "Intermodulation", "support": "Support", "earth": "Earthing",
    "weather": "Weather",
}  # fmt: skip


def table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> list[str]:
    """A table of a page; bars inside a cell are escaped."""
    names = list(head)
    lines = ["| " + " | ".join(names) + " |", "|" + "---|" * len(names)]
    lines += ["| " + " | ".join(str(cell).replace("|", "\\|") for cell in row) + " |" for row in rows]
    return lines


# --- commands -----------------------------------------------------------------------------------------------------------


def help_of(*arguments: str) -> str:
    """The help of a command as a terminal of a fixed width shows it."""
    found = CliRunner().invoke(app, [*arguments, "--help"], prog_name="upmast", terminal_width=WIDTH, color=False)
    if found.exit_code != 0:
        raise RuntimeError(f"no help of upmast {' '.join(arguments)}: {found.output}")
    return "\n".join(line.rstrip() for line in found.output.strip("\n").splitlines())


def command_names() -> list[str]:
    """Every command, in the order in which they are used; those of a group after it, as two words."""
    names = [str(one.name) for one in app.registered_commands]
    for group in app.registered_groups:
        inner = group.typer_instance
        if inner is not None:
            names += [str(inner.info.name), *(f"{inner.info.name} {one.name}" for one in inner.registered_commands)]
    return names


def commands_page() -> str:
    lines = [COMMANDS_HEAD, "```text", help_of(), "```", ""]
    for name in command_names():
        lines += [f"## {name}", "", "```text", help_of(*name.split()), "```", ""]
    return "\n".join(lines)


# --- codes --------------------------------------------------------------------------------------------------------------


def codes_page() -> str:
    lines = [CODES_HEAD]
    for room in ROOMS:
        rows = [_code_row(code) for name, code in codes().items() if name.partition(".")[0] == room]
        head = ("code", "stage", "unit", "standing limit", "meaning")
        lines += [f"## {ROOM_TITLES[room]}", "", *table(head, rows), ""]
    return "\n".join(lines)


def _code_row(code: Code) -> tuple[str, ...]:
    limit = standing().get(code.code)
    if code.kind == "figure":
        stands = "figure"
    elif limit is None:
        stands = f"{code.sense} -"
    else:
        stands = f"{limit.sense} {number(limit.value, limit.unit)}; {limit.authority}, {limit.source.mark}"
    return f"`{code.code}`", str(code.stage), code.unit, stands, f"**{code.title}.** {code.meaning}"


# --- parts --------------------------------------------------------------------------------------------------------------


def _val(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        return ", ".join(_val(one) for one in value)
    return str(value)


def _ports(part: Any) -> str:
    """Ports of one range together: `R1 to R4 694-960`."""
    by_range: dict[str, list[str]] = {}
    for p in part.ports:
        by_range.setdefault(f"{p.low_hz / 1e6:g}-{p.high_hz / 1e6:g}", []).append(p.name)
    return ", ".join(f"{' '.join(names)}: {span}" for span, names in by_range.items())


def _size(part: Any) -> str:
    return f"{part.height_mm:g} x {part.width_mm:g} x {part.depth_mm:g}"


def _offer(part: Any) -> str:
    return f"{part.dc_in_count} / {part.dc_out_count} / {part.fibre_out_count}"


def _signed_range(low: str, high: str) -> Callable[[Any], str]:
    return lambda part: f"{getattr(part, low):g} to {getattr(part, high):g}"


CABLE = {
    "pairs": "pairs_count", "mm²": "conductor_area_mm2", "strands": "strands_count", "DC ends": "dc_head",
    "fibre foot": "fibre_foot", "fibre head": "fibre_head", "diameter mm": "diameter_mm", "lengths m": "stock_lengths_m",
}  # fmt: skip
COAX = {
    "foot": "foot", "head": "head", "a dB/m": "a_db_per_m", "b dB/m": "b_db_per_m", "velocity": "velocity_fraction",
    "diameter mm": "diameter_mm", "PIM dBc": "pim_dbc", "lengths m": "stock_lengths_m",
}  # fmt: skip
SEAL = {"interface": "interface", "keeps": "ip"}
COLUMNS: dict[str, dict[str, str | Callable[[Any], str]]] = {
    "radio": {
        "W": "maximum_w", "lowest V": "minimum_v", "RF ports": "rf_ports_count", "optical ports": "optical_ports_count",
        "bands": "bands", "RF": "rf_connector", "kg": "mass_kg",
    },
    "antenna": {"ports, MHz": _ports, "RF": "rf_connector", "kg": "mass_kg", "mm": _size},
    "trunk": dict(CABLE), "dc-cable": dict(CABLE), "fibre-cable": dict(CABLE), "hybrid-jumper": dict(CABLE),
    "dc-jumper": dict(CABLE), "fibre-jumper": dict(CABLE),
    "box": {
        "topology": "topology", "DC in / DC out / fibre out": _offer, "DC in": "dc_in", "DC out": "dc_out", "fibre in": "fibre_in",
        "fibre out": "fibre_out", "A each": "output_rated_a", "A all": "total_rated_a",
    },
    "rf-jumper": dict(COAX), "feeder": dict(COAX),
    "breaker": {"A": "rated_a", "V": "rated_v", "kA": "breaking_ka", "trips at x In": _signed_range("trip_low_multiple", "trip_high_multiple")},
    "connector": {
        "family": "family", "interface": "interface", "gender": "gender", "polish": "polish", "positions": "positions_count",
        "loss dB": "loss_db", "return loss dB": "return_loss_db", "A": "rated_a", "mated": "ip_mated",
    },
    "optic": {
        "class": "optic_class", "sends dBm": _signed_range("tx_minimum_dbm", "tx_maximum_dbm"),
        "receives dBm": _signed_range("rx_minimum_dbm", "rx_maximum_dbm"), "channel dB": "channel_loss_db",
        "strands": "strands_count", "connector": "connector",
    },
    "fanout": {"array": "array", "duplex": "duplex", "count": "duplex_count"},
    "clamp": {"mm": _signed_range("smallest_mm", "largest_mm"), "slip N": "slip_rating_n", "side N": "side_rating_n", "spacing m": "spacing_m", "metal": "metal"},
    "grip": {"mm": _signed_range("smallest_mm", "largest_mm"), "N": "rated_n"},
    "bond": {"use": "use", "mm": _signed_range("smallest_mm", "largest_mm"), "mm²": "conductor_area_mm2", "lead m": "lead_length_m"},
    "cap": dict(SEAL), "seal": dict(SEAL),
    "control-cable": {"use": "use", "foot": "foot", "head": "head", "lengths m": "stock_lengths_m"},
}  # fmt: skip


def parts_page(catalogue: Catalogue | None = None) -> str:
    known = catalogue if catalogue is not None else standard()
    kinds = [kind for kind in KINDS if kind != "cable-family"]
    order = [*COLUMNS, *(kind for kind in kinds if kind not in COLUMNS)]
    lines = [PARTS_HEAD]
    for kind in order:
        parts = sorted(known.of_kind(kind), key=lambda part: part.id)
        if not parts:
            continue
        columns = COLUMNS.get(kind, {})
        rows = [_part_row(part, columns) for part in parts]
        lines += [f"## {kind}", "", *table(("id", "what it is", *columns, "cost"), rows), ""]
    lines += [
        "## cable-family", "", "Made to order; the made part is called `ID-PAIRSxAREA-STRANDSf`, as in `hybrid-8x25-36f`.", "",
        *table(("id", "makes", "what it is", "pairs", "mm²", "strands", "example"), [_family_row(known, one) for one in known.families]), "",
    ]  # fmt: skip
    return "\n".join(lines)


def _part_row(part: Part, columns: dict[str, str | Callable[[Any], str]]) -> tuple[str, ...]:
    cells = [_val(getattr(part, how)) if isinstance(how, str) else how(part) for how in columns.values()]
    per_m = getattr(part, "cost_per_m", 0.0)
    price = f"{part.cost:g}" + (f" + {per_m:g}/m" if per_m else "")
    return f"`{part.id}`", part.title, *cells, price


def _family_row(known: Catalogue, family: CableFamily) -> tuple[str, ...]:
    example = next(one.id for one in known.cables(family.makes) if one.longest_stock_of == family.id)
    return (
        f"`{family.id}`", family.makes, family.title, _val(family.pairs_count), _val(family.conductor_area_mm2), _val(family.strands_count),
        f"`{example}`",
    )  # fmt: skip


def outputs() -> dict[Path, str]:
    """Every page with the text that it must have."""
    made = {"commands.md": commands_page, "codes.md": codes_page, "parts.md": parts_page}
    return {ROOT / "docs" / name: make() for name, make in made.items()}


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Write the pages of commands, codes and parts.")
    parser.add_argument("--check", action="store_true", help="write nothing; exit with 1 if a page is stale")
    asked = parser.parse_args(arguments)
    pages = outputs()
    stale = [path for path, text in pages.items() if not path.exists() or path.read_text("utf-8") != text]
    for path in stale:
        print(f"docs/{path.name}: {'stale: run make docs' if asked.check else 'written'}")
        if not asked.check:
            path.write_text(pages[path], "utf-8")
    if not stale:
        print("upmast: the pages of commands, codes and parts are up to date")
    return 1 if stale and asked.check else 0


if __name__ == "__main__":
    sys.exit(main())
