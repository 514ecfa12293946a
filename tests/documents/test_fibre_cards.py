"""The cards for those who join fibres and lay loops, and the fibre in the calculation sheet."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from upmast.catalogue.catalogue import standard
from upmast.documents.fibre_cards import BLANK, carried, fibre_cards, strands_at
from upmast.documents.light_pages import kept_words, light_blocks
from upmast.documents.sheet import Block, Bullets, Document, Facts, Heading, Paragraph, Table
from upmast.documents.to_pdf import pdf_bytes
from upmast.line.build import build
from upmast.line.choice import Choice, RadioChoice
from upmast.line.line import Joint, Line
from upmast.line.optical import optical
from upmast.proof.light import light_of
from upmast.proof.prove import Proof, prove
from upmast.site.load import load as load_site
from upmast.site.site import Site

ROOT = Path(__file__).parent.parent.parent
CATALOGUE = standard()
SITE = load_site(ROOT / "demo" / "site" / "site.yaml", CATALOGUE)
RADIO = RadioChoice("breaker-40", "hybrid-jumper-1x10-4f", "", "rf-jumper-12-43-43")


@pytest.fixture(autouse=True)
def fake_rooms() -> None:
    """The rooms here are the real ones."""


def line_of(site: Site) -> Line:
    return build(
        site, CATALOGUE, Choice("hybrid", (RADIO,) * len(site.radios), "trunk-9x16-36f", 1, "box-straight-9-lc")
    )


def proven(line: Line, site: Site = SITE) -> Proof:
    return prove(site, line, rooms=("fibre",))


LINE = line_of(SITE)
PROOF = proven(LINE)


def tables(document: Document) -> dict[str, Table]:
    """Tables by the heading before them."""
    out: dict[str, Table] = {}
    heading = ""
    for block in document.blocks:
        if isinstance(block, Heading):
            heading = block.text
        elif isinstance(block, Table):
            out[heading] = block
    return out


def words(blocks: tuple[Block, ...]) -> str:
    out: list[str] = []
    for block in blocks:
        if isinstance(block, Paragraph | Heading):
            out.append(block.text)
        elif isinstance(block, Bullets):
            out += block.items
        elif isinstance(block, Facts):
            out += [f"{name}: {text}" for name, text in block.rows]
        elif isinstance(block, Table):
            out += [" ".join(str(cell) for cell in row) for row in block.rows]
    return "\n".join(out)


def test_every_joint_and_every_dark_end_stands_once() -> None:
    told = tables(fibre_cards(PROOF))
    joints = [row for name, table in told.items() if name.startswith("At ") for row in table.rows]
    fibre = [j for j in LINE.joints if j.a in optical(LINE).first]
    assert {frozenset((str(row[0]), str(row[1]))) for row in joints} == {frozenset((j.a, j.b)) for j in fibre}
    assert len(joints) == len(fibre)
    dark = {str(row[0]) for row in told["Ends that stay dark"].rows}
    open_ends = {
        f"{i.id}.{name}"
        for i in LINE.items
        for name, port in LINE.ports.get(i.id, {}).items()
        if port.family == "fibre" and f"{i.id}.{name}" not in LINE.joined and i.kind in ("trunk", "hybrid-jumper")
    }
    assert dark == open_ends
    assert all(row.count(BLANK) == 3 for row in joints)
    assert [name.partition(" BX")[0] for name in told if name.startswith("At ")] == [
        "At the cabinet",
        "At the box",
        "At the radios",
    ]


def test_a_row_names_link_strands_and_colours_in_words() -> None:
    row = next(r for r in tables(fibre_cards(PROOF))["At the box BX1"].rows if r[0] == "T1.head.f7")
    # TIA-598: the thirteenth strand is blue in the second tube, which is orange
    assert row[1:4] == ("BX1.in.f7", "A2-L1", "13 blue, 14 orange; tube orange")
    assert strands_at(LINE, "BX1.in.f7", None) == ""
    assert carried(LINE)["T1.head.f2"] == ("A1-S1",)


def test_arrays_and_exchanged_halves_are_told() -> None:
    choice = Choice("hybrid", (RADIO,) * 6, "trunk-6x16-24f-mpo24", 1, "box-straight-6-mpo24", fanout="fanout-mpo-24")
    six = SITE.model_copy(update={"radios": SITE.radios[:6]})
    arrays = build(six, CATALOGUE, choice)
    text = words(fibre_cards(proven(arrays, six)).blocks)
    assert "keys opposed" in text or "keys aligned" in text
    first = next(j for j in LINE.joints if "T1.head.f1" in (j.a, j.b))
    crossed = replace(LINE, joints=tuple(replace(j, keys="crossed") if j is first else j for j in LINE.joints))
    assert "T1.head.f1, halves exchanged" in words(fibre_cards(proven(crossed)).blocks)


def test_each_loop_has_its_card() -> None:
    document = fibre_cards(PROOF)
    text = words(document.blocks)
    loops = LINE.of_kind("loop")
    assert loops
    for loop in loops:
        assert f"Slack loop {loop.id} of {loop.on}" in text
    assert (
        "never below 490 mm at rest, 980 mm while it is pulled" in text
    )  # ten and twenty diameters of 49 mm, common practice
    assert "one over, the next under" in text
    assert "Invisible laser light" in text
    assert "these cards tell nobody to climb" in text


def test_the_cards_are_a_pdf_and_equal_bytes() -> None:
    when = datetime(2026, 11, 27, tzinfo=UTC)
    one, two = (pdf_bytes(fibre_cards(PROOF, "now"), when) for _ in range(2))
    assert one.startswith(b"%PDF")
    assert one == two


def test_the_calculation_sheet_tells_the_fibre() -> None:
    light = light_of(PROOF)
    text = words(tuple(light_blocks(light)))
    assert "links end where they are meant to, both ways" in text
    assert "T1-LP1 2 turns of 0.517 m" in text
    assert kept_words(light) in text
    swap = {"T1.head.f1": "T1.head.f3", "T1.head.f3": "T1.head.f1"}
    joints = (Joint(swap.get(j.a, j.a), swap.get(j.b, j.b), j.keys, j.lane) for j in LINE.joints)
    wrong = tuple(light_blocks(light_of(proven(replace(LINE, joints=tuple(joints))))))
    assert "then all light is right" in words(wrong)
    table = next(b for b in wrong if isinstance(b, Table))
    assert sum("fails" in row for row in table.rows) == 2


def test_hostile_text_stays_text() -> None:
    site = SITE.model_copy(update={"name": '#eval("1") <script> =cmd()'})
    made = pdf_bytes(fibre_cards(prove(site, LINE, rooms=("fibre",))), datetime(2026, 11, 27, tzinfo=UTC))
    assert made.startswith(b"%PDF")
