from __future__ import annotations

import io
import re
from collections.abc import Callable
from datetime import UTC, datetime

import pypdf
import pytest

from upmast.documents.calc_sheet import calc_sheet, step_blocks
from upmast.documents.chart import margin_spec, voltage_spec
from upmast.documents.maths import checked, maths, maths_of_symbol
from upmast.documents.sheet import Column, Document, Formula, Heading, Paragraph, Picture, Table
from upmast.documents.to_pdf import pdf_bytes
from upmast.finding import Stage
from upmast.formula import Func, Num, Sym, abs_, ceil, exp, ln, log10, max_, min_, sqrt, symbols
from upmast.proof.prove import Proof
from upmast.source import Origin, Source
from upmast.working import ChoiceStep, FormulaStep, LookupStep, Quantity

MakeProof = Callable[..., Proof]
NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
QUOTED = '"); panic("'  # one quoted text to the typesetter, however it reads to people
HOSTILE = (
    '#read("/etc/passwd")', 'read("main.typ")', "$x$", "x\\u{41}", QUOTED, "a#b", "std", "sys", "eval(x)", "x @ y", "[b]", "link(x)",
)  # fmt: skip


def text_of(content: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)


def simple(*blocks: object) -> Document:
    return Document("Title", "Subject", "Head", "", (Heading("Part"), *blocks))  # type: ignore[arg-type]


def test_the_sheet_of_a_proof_is_tagged_titled_and_complete(proof_of: MakeProof) -> None:
    proof = proof_of(3)
    content = pdf_bytes(calc_sheet(proof, charts=False, issued="2026-03-01"), NOW)
    reader = pypdf.PdfReader(io.BytesIO(content))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert reader.metadata is not None
    assert "HF-01" in str(reader.metadata.title)
    text = text_of(content)
    for found in proof.at(Stage.DESIGN):
        assert found.subject in text.replace("\u200b", "")
    for word in (
        "NOT FOR ISSUE",
        "page 1 of",
        "Cautions",
        "Scenarios",
        "Limits in force",
        "Test plan",
        "Choices",
        "Fibre port map",
    ):
        assert word in text, word
    assert proof.line.digest[:12] in text


def test_the_same_content_and_time_give_the_same_bytes(proof_of: MakeProof) -> None:
    document = calc_sheet(proof_of(2), charts=False)
    assert pdf_bytes(document, NOW) == pdf_bytes(document, NOW)


def test_only_the_governing_finding_of_each_code_is_worked_out(proof_of: MakeProof, fake_rooms: object) -> None:
    proof = proof_of(6)
    calc_sheet(proof, charts=False)
    asked = fake_rooms.asked  # type: ignore[attr-defined]
    assert len(asked) == len({f.code for f in proof.at(Stage.DESIGN)})
    assert "power.voltage-at-radio@A1" in asked


def test_hostile_text_is_printed_as_it_stands() -> None:
    words = '#panic("no") $x$ *b* _i_ <script> \\u{41} @x [y] https://example.org'
    content = pdf_bytes(simple(Paragraph(words), Table("", (Column(words),), ((words,),))), NOW)
    assert '#panic("no") $x$ *b* _i_ <script>' in text_of(content).replace("\u200b", "").replace("\n", " ")


@pytest.mark.parametrize("word", HOSTILE)
def test_hostile_notation_is_never_evaluated(word: str) -> None:
    assert checked(word) in ("", QUOTED)
    formula = Formula(word, "plain words", "1 V", "result", "source", ((word, "symbol", "m", "1", "listed", "s"),))
    text = text_of(pdf_bytes(simple(formula), NOW))
    assert ("plain words" in text) is (word != QUOTED)


@pytest.mark.parametrize("word", HOSTILE)
def test_hostile_symbols_are_quoted_or_refused(word: str) -> None:
    for made in (
        maths_of_symbol(word),
        maths_of_symbol(f"V_{word}"),
        maths(Sym(word) + 1),
        maths(Func(word, (Sym("x"),))),
    ):
        outside = re.split(r'"[^"]*"', made)
        assert all(mark not in part for part in outside for mark in "#$\\@[")
        assert all(name not in part for part in outside for name in ("read", "eval", "panic", "std", "sys", "link"))


def test_every_function_of_the_grammar_is_set(proof_of: MakeProof) -> None:
    a, b_min, rho = symbols("a b_min rho_20")
    whole = (
        sqrt(a)
        + ln(b_min) * log10(rho)
        - exp(-a) / max_(a, b_min, 2) ** min_(a, 1)
        + ceil(a) * abs_(b_min - 1)
        + Num(1.5e-7)
    )
    whole = whole + Func("asinh", (a,))
    notation = maths(whole)
    assert notation == whole.typst()
    values = {"a": 1.0, "b_min": 2.0, "rho_20": 3.0}
    source = Source("own derivation")
    inputs = tuple(Quantity(k, v, "", "meaning", Origin.LISTED, source) for k, v in values.items())
    step = FormulaStep(Quantity("y", whole.value(values), "", "result", Origin.EXPECTED, source), whole, inputs)
    (block,) = step_blocks(step)
    assert isinstance(block, Formula)
    assert block.maths == f"y = {notation}"
    assert pdf_bytes(simple(block), NOW)


def test_other_steps_in_words() -> None:
    source = Source("IEC 60228", "table 3")
    q = Quantity("r", 1.21, "Ω/km", "resistance", Origin.LISTED, source)
    (looked,) = step_blocks(LookupStep(q, "class 5", "16 mm²"))
    assert isinstance(looked, Paragraph)
    assert "1.210 Ω/km, from class 5 at 16 mm²" in looked.text
    (choice,) = step_blocks(ChoiceStep("x", "the smallest", ("x", "y")))
    assert isinstance(choice, Paragraph)
    assert choice.text == "Chosen: x, the smallest. Among: x, y."


def test_pictures_need_words_and_get_them(proof_of: MakeProof) -> None:
    picture = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect width="5" height="5"/></svg>'
    assert pdf_bytes(simple(Picture(picture, "a square")), NOW)


def test_charts_show_the_worst_of_each_room(proof_of: MakeProof) -> None:
    proof = proof_of(6)
    bars = margin_spec(proof)
    assert bars is not None
    shares = {row["room"]: row["share"] for row in bars["data"]["values"]}
    for name, room in proof.rooms.items():
        known = [f.normalised_margin for f in room.result.findings if f.normalised_margin is not None]
        assert shares[name] == pytest.approx(100 * min(known), abs=0.01)
    dots = voltage_spec(proof)
    assert dots is not None
    assert [row["radio"] for row in dots["data"]["values"]] == [r.id for r in proof.line.of_kind("radio")]
