"""Write a document as PDF/UA-1. Content goes to the typesetter as JSON data; only formulas of our own trees are evaluated."""

from __future__ import annotations

import json
from datetime import datetime
from importlib import resources
from typing import Any

from upmast.documents.maths import checked
from upmast.documents.sheet import Bullets, Document, Facts, Formula, Heading, Paragraph, Picture, Table, shown
from upmast.documents.to_svg import clean

STANDARD = "ua-1"


def pdf_bytes(document: Document, created: datetime) -> bytes:
    """The file as bytes; equal content and an equal `created` give equal bytes."""
    import typst

    compile: Any = typst.compile  # its stubs leave out sources given by name

    pictures: dict[str, bytes] = {}
    blocks = [_block(block, pictures) for block in document.blocks]
    annex = [_block(block, pictures) for block in document.annex]
    data = {
        "title": clean(document.title), "subject": clean(document.subject), "header": clean(document.header),
        "stamp": clean(document.stamp), "blocks": blocks, "annex": annex,
    }  # fmt: skip
    folder = resources.files("upmast.documents")
    with (
        resources.as_file(folder.joinpath("templates")) as templates,
        resources.as_file(folder.joinpath("fonts")) as fonts,
    ):
        sources: dict[str, bytes] = {"main.typ": (templates / "document.typ").read_bytes(), **pictures}
        made = compile(
            sources, font_paths=[str(fonts)], ignore_system_fonts=True, format="pdf", pdf_standards=STANDARD,
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)}, timestamp=int(created.timestamp()),
        )  # fmt: skip
    return bytes(made)


def _block(block: object, pictures: dict[str, bytes]) -> dict[str, Any]:
    if isinstance(block, Heading):
        return {"kind": "heading", "text": clean(block.text), "level": block.level, "new_page": block.new_page}
    if isinstance(block, Paragraph):
        return {"kind": "paragraph", "text": clean(block.text), "style": block.style}
    if isinstance(block, Bullets):
        return {"kind": "bullets", "items": [clean(text) for text in block.items], "style": block.style}
    if isinstance(block, Facts):
        return {"kind": "facts", "rows": [[clean(name), clean(text)] for name, text in block.rows]}
    if isinstance(block, Table):
        return {
            "kind": "table", "widths": [column.width for column in block.columns],
            "heads": [clean(column.heading) for column in block.columns],
            "numbers": [column.kind in ("count", "number", "money") for column in block.columns],
            "rows": [[clean(shown(cell, column)) for cell, column in zip(row, block.columns, strict=True)] for row in block.rows],
            "note": clean(block.note),
        }  # fmt: skip
    if isinstance(block, Formula):
        return {
            "kind": "formula", "maths": checked(block.maths), "text": clean(block.text), "result": clean(block.result),
            "meaning": clean(block.result_meaning), "source": clean(block.result_source),
            "rows": [[checked(row[0]), *(clean(text) for text in row[1:])] for row in block.rows],
        }  # fmt: skip
    if isinstance(block, Picture):
        name = f"picture-{len(pictures) + 1}.svg"
        pictures[name] = block.svg.encode()
        return {
            "kind": "picture", "file": name, "alt": clean(block.alt), "caption": clean(block.caption), "landscape": block.landscape,
            "wide": block.wide,
        }  # fmt: skip
    raise TypeError(f"no way to print {type(block).__name__}")
