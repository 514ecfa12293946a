"""
A formula as a small tree: evaluated from stored inputs, printed as text, Typst and MathML.

The shown working and the computed value come from one tree, so they can't drift apart.

>>> V_s, R, P = symbols("V_s R P")
>>> f = (V_s + sqrt(V_s**2 - 4 * R * P)) / 2
>>> f.text()
'(V_s + √(V_s² - 4·R·P)) / 2'
>>> round(f.value({"V_s": 43.2, "R": 0.138, "P": 1000.0}), 3)
39.726
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

_SUPERSCRIPT = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_GREEK = {
    "alpha": "α", "beta": "β", "gamma": "γ", "Gamma": "Γ", "delta": "δ", "Delta": "Δ", "epsilon": "ε",
    "eta": "η", "theta": "θ", "lambda": "λ", "mu": "µ",
    "pi": "π", "rho": "ρ", "sigma": "σ", "tau": "τ", "phi": "φ", "psi": "ψ", "kappa": "κ",
}  # fmt: skip


class Expr(ABC):
    """A node. Arithmetic on nodes builds the tree."""

    precedence = 9

    @abstractmethod
    def value(self, inputs: Mapping[str, float]) -> float:
        """The value for some inputs."""

    @abstractmethod
    def text(self) -> str:
        """As plain text."""

    @abstractmethod
    def typst(self) -> str:
        """As Typst mathematics."""

    @abstractmethod
    def mathml(self) -> str:
        """As MathML."""

    def names(self) -> tuple[str, ...]:
        """The symbols used, each once, in order of appearance."""
        return ()

    def __add__(self, other: Expr | float) -> Expr:
        return Op("+", self, _expr(other))

    def __radd__(self, other: float) -> Expr:
        return Op("+", _expr(other), self)

    def __sub__(self, other: Expr | float) -> Expr:
        return Op("-", self, _expr(other))

    def __rsub__(self, other: float) -> Expr:
        return Op("-", _expr(other), self)

    def __mul__(self, other: Expr | float) -> Expr:
        return Op("*", self, _expr(other))

    def __rmul__(self, other: float) -> Expr:
        return Op("*", _expr(other), self)

    def __truediv__(self, other: Expr | float) -> Expr:
        return Op("/", self, _expr(other))

    def __rtruediv__(self, other: float) -> Expr:
        return Op("/", _expr(other), self)

    def __pow__(self, other: Expr | float) -> Expr:
        return Op("^", self, _expr(other))

    def __rpow__(self, other: float) -> Expr:
        return Op("^", _expr(other), self)

    def __neg__(self) -> Expr:
        return Op("*", Num(-1), self)


def _expr(x: Expr | float) -> Expr:
    return x if isinstance(x, Expr) else Num(x)


def _merge(*groups: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for group in groups for name in group))


class Num(Expr):
    """A number. A minus sign or a power of ten makes it a product, which needs brackets inside a power."""

    __slots__ = ("number", "precedence")

    def __init__(self, number: float) -> None:
        self.number = number
        self.precedence = 2 if number < 0 or self._parts()[1] else 9

    def _parts(self) -> tuple[str, str]:
        """Mantissa and power of ten as text: ('1.5', '-7'), or ('12', '')."""
        mantissa, _, power = f"{self.number:.12g}".partition("e")
        return mantissa, str(int(power)) if power else ""

    def value(self, inputs: Mapping[str, float]) -> float:
        return float(self.number)

    def text(self) -> str:
        mantissa, power = self._parts()
        return f"{mantissa}·10{power.translate(_SUPERSCRIPT)}" if power else mantissa

    def typst(self) -> str:
        mantissa, power = self._parts()
        return f"{mantissa} dot 10^({power})" if power else mantissa

    def mathml(self) -> str:
        mantissa, power = self._parts()
        mantissa, power = mantissa.replace("-", "−"), power.replace("-", "−")
        ten = f"<mo>⋅</mo><msup><mn>10</mn><mn>{power}</mn></msup>" if power else ""
        return f"<mrow><mn>{mantissa}</mn>{ten}</mrow>" if power else f"<mn>{mantissa}</mn>"


@dataclass(frozen=True, slots=True)
class Sym(Expr):
    """A symbol; one underscore starts the subscript: `V_min`, `theta_a`."""

    name: str

    def value(self, inputs: Mapping[str, float]) -> float:
        return float(inputs[self.name])

    def text(self) -> str:
        stem, _, sub = self.name.partition("_")
        stem = _GREEK.get(stem, stem)
        return f"{stem}_{sub}" if sub else stem

    def typst(self) -> str:
        stem, _, sub = self.name.partition("_")
        stem = _GREEK.get(stem) or (stem if len(stem) == 1 else f'"{stem}"')
        return f'{stem}_"{sub}"' if sub else stem

    def mathml(self) -> str:
        stem, _, sub = self.name.partition("_")
        mi = f"<mi>{escape(_GREEK.get(stem, stem))}</mi>"
        return f"<msub>{mi}<mtext>{escape(sub)}</mtext></msub>" if sub else mi

    def names(self) -> tuple[str, ...]:
        return (self.name,)


_PRECEDENCE = {"+": 1, "-": 1, "*": 2, "/": 2, "^": 4}


class Op(Expr):
    """A sum, difference, product, quotient or power of two nodes."""

    __slots__ = ("left", "operator", "precedence", "right")

    def __init__(self, operator: str, left: Expr, right: Expr) -> None:
        self.operator, self.left, self.right = operator, left, right
        self.precedence = _PRECEDENCE[operator]

    def names(self) -> tuple[str, ...]:
        return _merge(self.left.names(), self.right.names())

    def value(self, inputs: Mapping[str, float]) -> float:
        a, b = self.left.value(inputs), self.right.value(inputs)
        if self.operator == "+":
            return a + b
        if self.operator == "-":
            return a - b
        if self.operator == "*":
            return a * b
        if self.operator == "/":
            return a / b
        return float(a**b)

    def _side(self, node: Expr, right: bool) -> str:
        inner = node.text()
        weaker = node.precedence < self.precedence or (
            right and node.precedence == self.precedence and self.operator in "-/"
        )
        signed = right and inner.startswith("-")  # never two signs in a row
        return f"({inner})" if weaker or signed or (self.operator == "^" and node.precedence <= 4) else inner

    def text(self) -> str:
        if self.operator == "^":
            base = self._side(self.left, False)
            if isinstance(self.right, Num) and float(self.right.number).is_integer():
                return base + str(int(self.right.number)).translate(_SUPERSCRIPT)
            return f"{base}^{self._side(self.right, True)}"
        if self.operator == "*":
            if isinstance(self.left, Num) and self.left.number == -1:
                return f"-{self._side(self.right, True)}"
            return f"{self._side(self.left, False)}·{self._side(self.right, True)}"
        return f"{self._side(self.left, False)} {self.operator} {self._side(self.right, True)}"

    def _wrapped(self, node: Expr, right: bool, made: str, brackets: tuple[str, str]) -> str:
        weaker = node.precedence < self.precedence or (
            right and node.precedence == self.precedence and self.operator == "-"
        )
        weaker = weaker or (right and node.text().startswith("-"))  # never two signs in a row
        return brackets[0] + made + brackets[1] if weaker else made

    def typst(self) -> str:
        a, b = self.left.typst(), self.right.typst()
        if self.operator == "/":
            return f"frac({a}, {b})"
        if self.operator == "^":
            base = f"({a})" if self.left.precedence <= 4 else a
            return f"{base}^({b})"
        a = self._wrapped(self.left, False, a, ("(", ")"))
        b = self._wrapped(self.right, True, b, ("(", ")"))
        if self.operator == "*":
            return f"-{b}" if isinstance(self.left, Num) and self.left.number == -1 else f"{a} dot {b}"
        return f"{a} {self.operator} {b}"

    def mathml(self) -> str:
        a, b = self.left.mathml(), self.right.mathml()
        if self.operator == "/":
            return f"<mfrac><mrow>{a}</mrow><mrow>{b}</mrow></mfrac>"
        if self.operator == "^":
            base = f"<mrow><mo>(</mo>{a}<mo>)</mo></mrow>" if self.left.precedence <= 4 else a
            return f"<msup>{base}<mrow>{b}</mrow></msup>"
        brackets = ("<mrow><mo>(</mo>", "<mo>)</mo></mrow>")
        a = self._wrapped(self.left, False, a, brackets)
        b = self._wrapped(self.right, True, b, brackets)
        if self.operator == "*" and isinstance(self.left, Num) and self.left.number == -1:
            return f"<mrow><mo>−</mo>{b}</mrow>"
        sign = {"*": "⋅", "+": "+", "-": "−"}[self.operator]
        return f"<mrow>{a}<mo>{sign}</mo>{b}</mrow>"


_FUNCTIONS = {
    "sqrt": math.sqrt, "log10": math.log10, "ln": math.log, "exp": math.exp, "max": max, "min": min, "ceil": math.ceil, "abs": abs,
    "asinh": math.asinh, "cos": math.cos,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Func(Expr):
    """A named function of one or more nodes."""

    name: str
    arguments: tuple[Expr, ...]

    def value(self, inputs: Mapping[str, float]) -> float:
        return float(_FUNCTIONS[self.name](*(a.value(inputs) for a in self.arguments)))  # type: ignore[operator]

    def names(self) -> tuple[str, ...]:
        return _merge(*(a.names() for a in self.arguments))

    def text(self) -> str:
        inner = ", ".join(a.text() for a in self.arguments)
        if self.name == "sqrt":
            return f"√({inner})"
        return f"|{inner}|" if self.name == "abs" else f"{self.name}({inner})"

    def typst(self) -> str:
        inner = ", ".join(a.typst() for a in self.arguments)
        if self.name in ("sqrt", "abs", "ceil"):
            return f"{self.name}({inner})"
        name = {"log10": "log_10", "ln": "ln", "exp": "exp", "cos": "cos", "max": "max", "min": "min"}.get(
            self.name, f'op("{self.name}")'
        )
        return f"{name}({inner})"

    def mathml(self) -> str:
        inner = "<mo>,</mo>".join(a.mathml() for a in self.arguments)
        if self.name == "sqrt":
            return f"<msqrt>{inner}</msqrt>"
        return f"<mrow><mi>{self.name}</mi><mo>(</mo>{inner}<mo>)</mo></mrow>"


def symbols(names: str) -> tuple[Sym, ...]:
    """Symbols from a text of names with spaces between."""
    return tuple(Sym(name) for name in names.split())


def sqrt(x: Expr) -> Expr:
    return Func("sqrt", (x,))


def log10(x: Expr) -> Expr:
    return Func("log10", (x,))


def ln(x: Expr) -> Expr:
    return Func("ln", (x,))


def cos(x: Expr) -> Expr:
    """Cosine of an angle in radians."""
    return Func("cos", (x,))


def exp(x: Expr) -> Expr:
    return Func("exp", (x,))


def ceil(x: Expr) -> Expr:
    return Func("ceil", (x,))


def abs_(x: Expr) -> Expr:
    return Func("abs", (x,))


def max_(*xs: Expr | float) -> Expr:
    return Func("max", tuple(_expr(x) for x in xs))


def min_(*xs: Expr | float) -> Expr:
    return Func("min", tuple(_expr(x) for x in xs))


def sum_(xs: list[Expr] | tuple[Expr, ...]) -> Expr:
    """The sum of a list of nodes; an empty list is 0."""
    total: Expr | None = None
    for x in xs:
        total = x if total is None else total + x
    return total if total is not None else Num(0)
