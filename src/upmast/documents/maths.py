"""Formulas in the typesetter's notation: only what our own trees can make is let through."""

from __future__ import annotations

import re

from upmast.formula import Expr, Sym

# words that our trees print, and nothing else that the typesetter would take for a command
WORDS = frozenset({"frac", "sqrt", "abs", "ceil", "log_10", "ln", "exp", "max", "min", "dot", "op"})
TOKEN = re.compile(
    r'\s+|"[^"\\\x00-\x1f]*"|[0-9]+(?:\.[0-9]+)?|log_10|[A-Za-z]+|[α-ωΑ-Ωµ]|[_^()+\-*/,=]',
)


def checked(text: str) -> str:
    """
    The notation unchanged if it is made of numbers, single letters, quoted text, operators and our functions; else empty.

    >>> checked("sqrt(V_\\"s\\"^(2) - 4 dot R)"), checked("read(\\"/x\\")"), checked("#panic()")
    ('sqrt(V_"s"^(2) - 4 dot R)', '', '')
    """
    at = 0
    while at < len(text):
        token = TOKEN.match(text, at)
        if token is None:
            return ""
        word = token.group()
        if word[0].isascii() and word[0].isalpha() and len(word) > 1 and word not in WORDS:
            return ""
        at = token.end()
    return text


def maths(expression: Expr) -> str:
    """An expression for the typesetter; empty where it holds a name that we would not make."""
    return checked(expression.typst())


def maths_of_symbol(symbol: str) -> str:
    return checked(Sym(symbol).typst())
