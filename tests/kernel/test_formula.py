"""Formulas: what is shown is what is computed, in all three prints."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree

import pytest
import typst
from hypothesis import assume, given
from hypothesis import strategies as st

from upmast.formula import (
    Expr,
    Func,
    Num,
    Op,
    Sym,
    abs_,
    ceil,
    exp,
    ln,
    log10,
    max_,
    min_,
    sqrt,
    sum_,
    symbols,
)

NAMES = {"x": 0.7, "y": -2.5, "R_20": 3.25, "theta_a": 40.0, "eta": 0.92}
GREEK = {"θ_a": "theta_a", "η": "eta"}
NUMBERS = st.one_of(st.integers(-12, 12), st.sampled_from([0.5, -0.25, 1e-7, -3e-9, 2.5e15, 1 / 3]))
LEAVES = st.one_of(NUMBERS.map(Num), st.sampled_from(sorted(NAMES)).map(Sym))


def _grow(inner: st.SearchStrategy[Expr]) -> st.SearchStrategy[Expr]:
    return st.one_of(
        st.tuples(st.sampled_from("+-*/"), inner, inner).map(lambda t: Op(*t)),
        st.tuples(inner, st.sampled_from([2, 3, -1, -2, 0.5, -0.5])).map(lambda t: t[0] ** t[1]),
        st.tuples(LEAVES, inner).map(lambda t: t[0] ** t[1]),
        inner.map(lambda x: -x),
        st.sampled_from([sqrt, abs_, exp, ln, log10, ceil]).flatmap(lambda f: inner.map(f)),
        st.tuples(inner, inner).map(lambda t: max_(*t)),
        st.tuples(inner, inner, inner).map(lambda t: min_(*t)),
    )


TREES = st.recursive(LEAVES, _grow, max_leaves=10)
SUPER = "⁰¹²³⁴⁵⁶⁷⁸⁹⁻"
SCOPE: dict[str, Any] = {
    "__builtins__": {}, "sqrt": math.sqrt, "ln": math.log, "log10": math.log10, "exp": math.exp, "ceil": math.ceil, "max": max, "min": min,
    "absolute": abs,
}  # fmt: skip


def read_back(text: str) -> float:
    """The value of a printed formula by the ordinary rules of arithmetic, without our tree."""
    text = re.sub(f"[{SUPER}]+", lambda m: "**(" + m.group().translate(str.maketrans(SUPER, "0123456789-")) + ")", text)
    for greek, name in GREEK.items():
        text = text.replace(greek, name)
    text = text.replace("·", "*").replace("^", "**").replace("√", "sqrt")
    while "|" in text:  # innermost bars first: they hold no other bar between them
        text, count = re.subn(r"\|((?:[^|])+)\|", r"absolute(\1)", text, count=1)
        assert count, text
    return float(eval(text, SCOPE, dict(NAMES)))


def _has_nested_bars(tree: Expr, inside: bool = False) -> bool:
    """`|a + |b||` can't be read without the tree; print it with words then. Here such trees are left out."""
    if isinstance(tree, Func):
        bars = tree.name == "abs"
        return (bars and inside) or any(_has_nested_bars(a, inside or bars) for a in tree.arguments)
    return isinstance(tree, Op) and (_has_nested_bars(tree.left, inside) or _has_nested_bars(tree.right, inside))


def _near_a_step(tree: Expr) -> bool:
    """Printed digits are rounded to twelve: right at a step of `ceil` the two readings may differ by one."""
    if isinstance(tree, Func):
        if tree.name == "ceil":
            x = tree.arguments[0].value(NAMES)
            return abs(x - round(x)) < 1e-6 * max(1.0, abs(x)) or abs(x) > 1e9
        return any(map(_near_a_step, tree.arguments))
    return isinstance(tree, Op) and (_near_a_step(tree.left) or _near_a_step(tree.right))


def _well_conditioned(tree: Expr) -> bool:
    """Moving each number by a part in 10^11 (more than printing does) hardly moves the value."""

    def moved(node: Expr, by: float) -> Expr:
        if isinstance(node, Num):
            return (
                Num(node.number * (1 + by)) if not float(node.number).is_integer() or abs(node.number) > 1e11 else node
            )
        if isinstance(node, Op):
            return Op(node.operator, moved(node.left, by), moved(node.right, by))
        if isinstance(node, Func):
            return Func(node.name, tuple(moved(a, by) for a in node.arguments))
        return node

    here = tree.value(NAMES)
    return all(math.isclose(moved(tree, by).value(NAMES), here, rel_tol=1e-8) for by in (1e-11, -1e-11))


@given(TREES)
def test_the_printed_text_has_the_value_of_the_tree(tree: Expr) -> None:
    assume(not _has_nested_bars(tree))
    try:
        value = tree.value(NAMES)
        assume(math.isfinite(value) and 1e-30 < abs(value) < 1e30)
        assume(not _near_a_step(tree) and _well_conditioned(tree))
    except (ValueError, ZeroDivisionError, OverflowError, TypeError):
        assume(False)
    assert read_back(tree.text()) == pytest.approx(value, rel=1e-6)


@given(TREES)
def test_mathml_is_well_formed_and_names_every_symbol(tree: Expr) -> None:
    root = ElementTree.fromstring(f"<math>{tree.mathml()}</math>")
    shown = "".join(root.itertext())
    for name in tree.names():
        stem = Sym(name).text().partition("_")[0]
        assert stem in shown
    for power in (*root.iter("msup"), *root.iter("mfrac"), *root.iter("msub")):
        assert len(power) == 2


def test_typst_typesets_what_is_printed() -> None:
    """Every form once; the typesetter refuses a symbol that it does not know."""
    x, y, r20, theta = symbols("x y R_20 theta_a")
    forms: list[Expr] = [
        x + y - 3 * r20 / theta, (x + y) ** 2 / -x, sqrt(x**2 - 4 * r20 * y), abs_(x), ceil(x / 2), ln(x), exp(-x / y), log10(x), max_(x, y, 0),
        min_(x, 1e-7), Func("asinh", (x,)), 92 ** ((36 - x) / 39), *symbols("alpha lambda Delta_T rho I2t eta_box"), Num(-3) ** 2, 2.5e-9 * x,
    ]  # fmt: skip
    source = "\n\n".join(f"$ {form.typst()} $" for form in forms)
    assert typst.compile(source.encode()).startswith(b"%PDF")


X, Y = symbols("x y")


@pytest.mark.parametrize(
    ("tree", "text", "math_text"),
    [
        (X - (Y + 1), "x - (y + 1)", "x - (y + 1)"),
        (X - (Y - 1), "x - (y - 1)", "x - (y - 1)"),
        (X / (Y * 2), "x / (y·2)", "frac(x, y dot 2)"),
        ((X / Y) / 2, "x / y / 2", "frac(frac(x, y), 2)"),
        (-(X + Y), "-(x + y)", "-(x + y)"),
        ((-X) ** 2, "(-x)²", "(-x)^(2)"),
        (-(X**2), "-x²", "-x^(2)"),
        (Num(-3) ** 2, "(-3)²", "(-3)^(2)"),
        (X - (-Y), "x - (-y)", "x - (-y)"),
        (X ** (Y**2), "x^(y²)", "x^(y^(2))"),
        ((X**Y) ** 2, "(x^y)²", "(x^(y))^(2)"),
        (X**-2, "x⁻²", "x^(-2)"),
        (X / 1e-7, "x / (1·10⁻⁷)", "frac(x, 1 dot 10^(-7))"),
        (sqrt(X + Y) ** 3, "√(x + y)³", "sqrt(x + y)^(3)"),
        (2 - X, "2 - x", "2 - x"),
        (2 / X, "2 / x", "frac(2, x)"),
        (2**X, "2^x", "2^(x)"),
        (sum_([X, Y, X]), "x + y + x", "x + y + x"),
        (sum_([]), "0", "0"),
    ],
)  # fmt: skip
def test_brackets_stand_where_they_must(tree: Expr, text: str, math_text: str) -> None:
    assert tree.text() == text
    assert tree.typst() == math_text


@pytest.mark.parametrize(
    ("tree", "expected"),
    [
        (sqrt(X), math.sqrt(2)), (ln(X), math.log(2)), (log10(X), math.log10(2)), (exp(X), math.exp(2)), (abs_(-X), 2.0), (ceil(X / 3), 1.0),
        (max_(X, Y, 1), 3.0), (min_(X, Y, 1), 1.0), (X + Y, 5.0), (X - Y, -1.0), (X * Y, 6.0), (X / Y, 2 / 3), (X**Y, 8.0), (-X, -2.0),
        (Func("asinh", (X,)), math.asinh(2)),
    ],
)  # fmt: skip
def test_values(tree: Expr, expected: float) -> None:
    assert tree.value({"x": 2.0, "y": 3.0}) == pytest.approx(expected, rel=1e-15)


def test_names_come_once_in_order() -> None:
    a, b, c = symbols("b_1 a c")
    assert (a * b + max_(c, a) ** b).names() == ("b_1", "a", "c")


def test_a_symbol_without_a_value_is_an_error() -> None:
    with pytest.raises(KeyError, match="y"):
        (X + Y).value({"x": 1.0})


@pytest.mark.parametrize("make", [lambda: X / Y, lambda: ln(Y), lambda: sqrt(X - 5)])
def test_nonsense_raises(make: Callable[[], Expr]) -> None:
    with pytest.raises((ZeroDivisionError, ValueError)):
        make().value({"x": 1.0, "y": 0.0})


def test_text_in_a_symbol_can_not_become_markup() -> None:
    assert "<script>" not in Sym("a_<script>").mathml()
