"""Write docs/sources.md from the tables and the sources in the code; with --check only say whether it is stale."""

from __future__ import annotations

import argparse
import ast
import csv
import re
import sys
from collections import Counter, defaultdict
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent
PAGE = "docs/sources.md"
OURS = re.compile(r"(invented|site|line|part|radios|connectors|catalogue)\b")  # inputs that are no documents
HEAD = """\
# Sources

Made from the tables and the code by `make docs`: change those, not this page.

Every number of upmast carries its document, edition and clause where they are known, and a mark:

- **confirmed**: seen in a public text, or reproduced by a calculation of our own. Most standards are sold, not published, so
  this usually means a public reproduction, not the standard itself;
- **practice**: common practice in the trade, no standard behind it;
- **memory**: from memory of the named document. Nothing is judged against such a limit until a site confirms it by name;
- **invented**: made up for a demonstration or a generic part.

The functions name equation and clause in their docstrings, too. Nothing here stands in for the documents themselves.
"""


class Cited(NamedTuple):
    """One citation: what is cited, how far it can be trusted, and where it is used."""

    document: str
    edition: str
    clause: str
    mark: str
    where: str


def from_table(path: Path, room: str) -> list[Cited]:
    """The citations of one table: of its head, or of its rows where they name documents of their own."""
    lines = path.read_text("utf-8").splitlines()
    parts = [line[1:].partition(":") for line in lines if line.startswith("#")]
    head = {key.strip(): value.strip() for key, _, value in parts}
    rows = list(csv.DictReader(line for line in lines if line.strip() and not line.startswith("#")))
    where = f"{room}, table {path.stem}"
    usual = head.get("mark", "confirmed")
    found: dict[tuple[str, str, str], Counter[str]] = defaultdict(Counter)
    for row in rows:
        if row.get("document"):
            key = (row["document"], row.get("edition") or "", row.get("clause") or "")
        else:
            key = (head.get("document", ""), head.get("edition", ""), head.get("clause", ""))
        found[key][row.get("mark") or usual] += 1
    return [Cited(*key, mark, where) for key, marks in found.items() for mark in sorted(marks)]


def from_module(path: Path, room: str) -> list[Cited]:
    """Every source that a module spells out."""
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Source":
            given: dict[str, str] = {}
            named = [
                *zip(("document", "clause", "edition"), node.args, strict=False),
                *((k.arg, k.value) for k in node.keywords),
            ]
            for name, value in named:
                if name == "mark" and isinstance(value, ast.Attribute):
                    given["mark"] = value.attr.lower()
                elif name and isinstance(value, ast.Constant):
                    given[name] = str(value.value)
            if given.get("document"):
                found.append(
                    Cited(
                        given["document"],
                        given.get("edition", ""),
                        given.get("clause", ""),
                        given.get("mark", "confirmed"),
                        f"{room}, {path.stem}",
                    )
                )
    return found


def cited() -> list[Cited]:
    """All citations, sorted, each once."""
    source = ROOT / "src" / "upmast"
    found: list[Cited] = []
    for path in source.rglob("*.py"):
        parts = path.relative_to(source).parts
        found += from_module(path, parts[0] if len(parts) > 1 else "kernel")
    for path in source.glob("*/tables/*.csv"):
        found += from_table(path, path.parent.parent.name)
    return sorted(
        {one for one in found if one.document and not OURS.match(one.document)},
        key=lambda one: (*map(str.lower, one), *one),
    )


def page() -> str:
    """The text of the page."""
    everything = cited()
    lines = [HEAD]
    for mark, title in (
        ("confirmed", "Confirmed"),
        ("practice", "Common practice"),
        ("memory", "From memory"),
        ("invented", "Invented"),
    ):
        rows = [one for one in everything if one.mark == mark]
        if rows:
            lines += [f"## {title}\n", "| document | edition | what | where |", "|---|---|---|---|"]
            for one in rows:
                cells = (one.document, one.edition, one.clause, one.where)
                lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
            lines.append("")
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Write the page of sources.")
    parser.add_argument("--check", action="store_true", help="write nothing; exit with 1 if the page is stale")
    asked = parser.parse_args(arguments)
    path = ROOT / PAGE
    text = page()
    if path.exists() and path.read_text("utf-8") == text:
        print("upmast: the page of sources is up to date")
        return 0
    print(f"{PAGE}: {'stale: run make docs' if asked.check else 'written'}")
    if not asked.check:
        path.write_text(text, "utf-8")
    return 1 if asked.check else 0


if __name__ == "__main__":
    sys.exit(main())
