"""The import order: a folder imports only what stands to its left, whether at the top of a module or inside a function."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

SRC = Path(__file__).parent.parent / "src" / "upmast"
DISCIPLINES = ("power", "fibre", "rf", "pim", "support", "earth", "weather")
# what a discipline may use beside the kernel and itself
NEIGHBOURS = {room: {"weather"} for room in DISCIPLINES} | {"weather": set(), "pim": {"weather", "rf"}}
LAYERS: tuple[tuple[str, ...], ...] = (
    ("kernel",),
    ("discipline functions",),
    ("catalogue",),
    ("site",),
    ("line",),
    ("discipline checks",),
    ("proof",),
    ("plan",),
    ("documents",),
    ("field",),
    ("record",),
    ("rollout",),
    ("web", "cli"),
)
RANK = {name: rank for rank, names in enumerate(LAYERS) for name in names}
ROOMS = {"discipline functions": DISCIPLINES, "discipline checks": tuple(f"{room}.check" for room in DISCIPLINES)}
MOST_LINES = 600
HEAVY = ("numpy", "scipy", "openpyxl", "xlsxwriter", "typst", "vl_convert")


def files() -> list[Path]:
    return sorted(SRC.rglob("*.py"))


def name_of(path: Path) -> str:
    """upmast.power.check for src/upmast/power/check.py."""
    parts = ["upmast", *path.relative_to(SRC).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(path) for path in files()}


def layer_of(module: str) -> str:
    """The layer that a module stands in."""
    parts = module.split(".")
    if len(parts) == 1 or parts[1] == "__main__":
        return "cli"  # `import upmast` and `python -m upmast` are faces, too
    if parts[1] in DISCIPLINES:
        return "discipline checks" if parts[2:3] == ["check"] else "discipline functions"
    if parts[1] in RANK:
        return parts[1]
    if not (SRC / parts[1]).is_dir():
        return "kernel"
    raise LookupError(f"folder {parts[1]} stands in no layer: give it a place in LAYERS")


def imports(source: str, module: str, package: bool) -> Iterator[tuple[int, str]]:
    """(line, module of ours) for every import in a source text."""
    here = module.split(".") if package else module.split(".")[:-1]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                base = ".".join([*here[: len(here) - node.level + 1], *([base] if base else [])])
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                if inner in MODULES:
                    yield node.lineno, inner
                elif base != "upmast" or alias.name != "__version__":
                    yield node.lineno, base
        elif isinstance(node, ast.Call):
            function = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if function in ("import_module", "__import__") and node.args:
                for target in _named_by(node.args[0]):
                    yield node.lineno, target


def _named_by(name: ast.expr) -> list[str]:
    """The modules that a computed name can mean: `f"upmast.{room}.check"` is the check of any room."""
    if isinstance(name, ast.Constant):
        return [str(name.value)]
    if isinstance(name, ast.JoinedStr):
        parts = [re.escape(str(part.value)) if isinstance(part, ast.Constant) else r"\w+" for part in name.values]
        found = [module for module in sorted(MODULES) if re.fullmatch("".join(parts), module)]
        if found:
            return found
    return ["upmast.?"]


def objection(module: str, target: str) -> str | None:
    """Why a module may not import another of ours; None if it may."""
    if target.split(".")[0] != "upmast" or module == target:
        return None
    if target == "upmast.?":
        return "imports a module by a name that is only known when it runs"
    mine, other = layer_of(module), layer_of(target)
    room, other_room = module.split(".")[1:2], target.split(".")[1:2]
    if target in ("upmast", "upmast.__main__"):
        return "imports the root package, which stands to the right of all"
    if other == "kernel" or module == "upmast":
        return None
    if other_room and other_room[0] in DISCIPLINES and room and room[0] in DISCIPLINES and room != other_room:
        if other == "discipline checks":
            return "imports the check of another discipline"
        if other_room[0] in NEIGHBOURS[room[0]]:
            return None
        return f"imports another discipline; {room[0]} may use {', '.join(sorted(NEIGHBOURS[room[0]])) or 'none'}"
    if module == "upmast.__main__" and other == "cli":
        return None
    if RANK[other] < RANK[mine] or (mine == other and room == other_room):
        return None
    return f"{mine} imports {other}, which does not stand to its left"


def objections(path: Path) -> list[str]:
    module = name_of(path)
    found = []
    for line, target in imports(path.read_text("utf-8"), module, path.name == "__init__.py"):
        why = objection(module, target)
        if why:
            found.append(f"{path.relative_to(SRC.parent)}:{line}: {module} -> {target}: {why}")
    return found


@pytest.mark.parametrize("path", files(), ids=name_of)
def test_module_keeps_the_import_order(path: Path) -> None:
    assert objections(path) == []


@pytest.mark.parametrize("path", files(), ids=name_of)
def test_module_is_short_and_says_what_it_is(path: Path) -> None:
    text = path.read_text("utf-8")
    lines = text.count("\n")
    assert lines <= MOST_LINES, f"{path} has {lines} lines: split it at a noun"
    assert ast.get_docstring(ast.parse(text)), f"{path} has no docstring"


@pytest.mark.parametrize(
    ("module", "source", "target"),
    [
        ("upmast.units", "import upmast.power", "upmast.power"),
        ("upmast.units", "from upmast import site", "upmast.site"),
        ("upmast.power.heating", "from upmast.fibre import loss_db", "upmast.fibre"),
        ("upmast.power.heating", "def f():\n    from upmast.rf import x", "upmast.rf"),
        ("upmast.rf.line", "from ..pim import x", "upmast.pim"),
        ("upmast.weather.air", "from upmast.power import x", "upmast.power"),
        ("upmast.line.graph", "from upmast.proof.prove import prove", "upmast.proof.prove"),
        ("upmast.proof.prove", "from upmast.plan import x", "upmast.plan"),
        ("upmast.plan.choices", "import importlib\nimportlib.import_module('upmast.cli')", "upmast.cli"),
        ("upmast.plan.choices", "from upmast import power, cli", "upmast.cli"),
        ("upmast.plan.choices", "import importlib\nimportlib.import_module(name)", "upmast.?"),
        (
            "upmast.line.graph",
            "import importlib\nimportlib.import_module(f'upmast.{room}.check')",
            "upmast.power.check",
        ),
        ("upmast.power.check", "import upmast.fibre.check", "upmast.fibre.check"),
        ("upmast.power.check", "import upmast.proof", "upmast.proof"),
        ("upmast.power", "from upmast.power.check import check", "upmast.power.check"),
        ("upmast.web.page", "import upmast.cli", "upmast.cli"),
        ("upmast.units", "from upmast import anything", "upmast"),
    ],
)
def test_a_wrong_import_is_seen(monkeypatch: pytest.MonkeyPatch, module: str, source: str, target: str) -> None:
    monkeypatch.setitem(globals(), "MODULES", MODULES | {target, "upmast.site", "upmast.cli", "upmast.power"})
    package = module.count(".") == 1 and module != "upmast.units"
    seen = {t: objection(module, t) for _, t in imports(source, module, package)}
    assert seen.get(target), seen


@pytest.mark.parametrize(
    ("module", "target"),
    [
        ("upmast.power.heating", "upmast.units"),
        ("upmast.power.heating", "upmast.power.resistance"),
        ("upmast.support.wind", "upmast.weather"),
        ("upmast.pim.levels", "upmast.rf.joint"),
        ("upmast.power.check", "upmast.line.graph"),
        ("upmast.power.check", "upmast.power"),
        ("upmast.pim.check", "upmast.rf"),
        ("upmast.proof.prove", "upmast.power.check"),
        ("upmast.plan.choices", "upmast.proof"),
        ("upmast.web.page", "upmast.rollout"),
        ("upmast.__main__", "upmast.cli"),
        ("upmast.cli.main", "numpy"),
    ],
)
def test_a_right_import_is_let_through(module: str, target: str) -> None:
    assert objection(module, target) is None


def order_as_text() -> str:
    """The import order and what disciplines may share, as the docs print it."""
    lines = []
    for names in LAYERS:
        rooms = ROOMS.get(names[0])
        lines.append(f"{names[0]:22}{' '.join(rooms)}" if rooms else ", ".join(names))
    lines.append("")
    shared = sorted(set.intersection(*(others for room, others in NEIGHBOURS.items() if room != "weather")))
    lines.append(f"every discipline may use {', '.join(shared)}; beyond that none uses another, but:")
    lines += [
        f"{room} may use {', '.join(sorted(others - set(shared)))}"
        for room, others in NEIGHBOURS.items()
        if others - set(shared)
    ]
    return "\n".join(lines)


def test_the_docs_print_this_order() -> None:
    assert order_as_text() in (SRC.parent.parent / "docs" / "flow.md").read_text("utf-8")


def _fresh(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, timeout=120, check=False)


def test_importing_upmast_is_light() -> None:
    done = _fresh("-c", "import sys, upmast; print(*sys.modules)")
    assert done.returncode == 0, done.stderr
    assert not {name.split(".")[0] for name in done.stdout.split()} & {*HEAVY, "pydantic", "yaml", "rich"}


def test_help_is_light() -> None:
    done = _fresh("-X", "importtime", "-m", "upmast", "--help")
    loaded = {line.rpartition("|")[2].strip().split(".")[0] for line in done.stderr.splitlines() if "|" in line}
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Usage" in done.stdout or "usage" in done.stdout
    assert not loaded & set(HEAVY)


def test_the_command_is_the_same_function() -> None:
    code = "import sys; from upmast.cli import main; sys.argv = ['upmast', '--help']; main()"
    done = _fresh("-c", code)
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout == _fresh("-m", "upmast", "--help").stdout
