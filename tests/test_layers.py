"""Imports go downward only, and a start is quick."""

from __future__ import annotations

import ast
import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "shutoffsim"

#: From low to high. A module may import from its own layer and from lower ones.
LAYERS = (
    "version",
    "errors",
    "units",
    "records",
    "model",
    "scenario",
    "engine",
    "estimate",
    "study",
    "report",
    "cli",
)

#: Files above all layers: the public surface, and what starts the command line.
ABOVE = {"__init__", "__main__"}


class _Imports(ast.NodeVisitor):
    """Collects the full names of modules that code imports when it runs.

    Imports in functions count; what stands under ``if TYPE_CHECKING`` does not.
    """

    def __init__(self, inside: str) -> None:
        self.inside = inside
        self.names: list[str] = []

    def visit_If(self, node: ast.If) -> None:
        only_types = "TYPE_CHECKING" in ast.dump(node.test)
        for part in node.orelse if only_types else [*node.body, *node.orelse]:
            self.visit(part)

    def visit_Import(self, node: ast.Import) -> None:
        self.names += [alias.name for alias in node.names]

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        base = node.module or ""
        if node.level:
            parents = self.inside.split(".")[: -node.level]
            base = ".".join([*parents, base] if base else parents)
        self.names += [base, *(f"{base}.{alias.name}" for alias in node.names)]


def layer(name: str) -> str | None:
    """Return the layer of a module of this package, None for any other."""
    parts = name.split(".")
    return parts[1] if parts[0] == "shutoffsim" and len(parts) > 1 else None


def upward(source: str, module: str) -> list[str]:
    """Return the imports in ``source`` that point to a higher layer, or to none that is known."""
    own = layer(module)
    wrong = []
    imports = _Imports(module)
    imports.visit(ast.parse(source))
    for name in imports.names:
        other = layer(name)
        if other is None or own in ABOVE or other == "__version__":
            continue
        if other not in LAYERS or LAYERS.index(other) > LAYERS.index(own):
            wrong.append(name)
    return wrong


def modules() -> list[tuple[str, Path]]:
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = ["shutoffsim", *path.relative_to(PACKAGE).with_suffix("").parts]
        found.append((".".join(parts), path))
    return found


def test_every_module_belongs_to_a_layer():
    assert {layer(name) for name, _ in modules()} - ABOVE <= set(LAYERS)


@pytest.mark.parametrize(("name", "path"), modules(), ids=lambda value: str(value)[-40:])
def test_imports_go_downward(name, path):
    assert upward(path.read_text(encoding="utf-8"), name) == []


@pytest.mark.parametrize(
    "source",
    [
        "from shutoffsim.engine import run",
        "import shutoffsim.study.compare",
        "def late():\n    from shutoffsim.report import compare",
        "from shutoffsim import cli",
        "from ..estimate import tally",
        "from shutoffsim.nowhere import thing",
        "if TYPE_CHECKING:\n    pass\nelse:\n    from shutoffsim.engine import run",
    ],
)
def test_an_upward_import_is_found(source):
    assert upward(source, "shutoffsim.scenario.read")


def test_what_is_only_for_type_checking_may_point_up():
    source = "if TYPE_CHECKING:\n    from shutoffsim.engine import run"
    assert upward(source, "shutoffsim.scenario.read") == []
    assert upward("from shutoffsim.model import layout", "shutoffsim.scenario.read") == []


#: Ready for commands to come; the page of published answers says so.
AWAITED = {"shutoffsim.estimate.lifedata", "shutoffsim.estimate.trend"}


def test_all_that_ships_is_reached_by_a_command_or_a_public_name():
    """Start at these and follow all imports, those within functions too.

    What only makes pages stands in docs/makers, what only tests use in tests/support.
    """
    sources = {name.removesuffix(".__init__"): path for name, path in modules()}
    reached: set[str] = set()
    waiting = ["shutoffsim", "shutoffsim.__main__"]
    waiting += [name for name in sources if layer(name) == "cli"]
    while waiting:
        name = waiting.pop()
        if name in reached or name not in sources:
            continue
        reached.add(name)
        source = sources[name].read_text(encoding="utf-8")
        if sources[name].stem == "__init__":  # names the homes of what it loads on first use
            source = source.replace("if TYPE_CHECKING:", "if True:")
        imports = _Imports(name)
        imports.visit(ast.parse(source))
        waiting += [*imports.names, name.rpartition(".")[0]]
    assert len(reached) > 100
    assert set(sources) - reached == AWAITED


HEAVY = ("numba", "pandas", "simpy", "pint", "scipy", "seaborn", "pyarrow")


@pytest.mark.parametrize("name", ["shutoffsim", "shutoffsim.scenario", "shutoffsim.cli"])
def test_a_start_loads_nothing_heavy(name):
    if importlib.util.find_spec(name) is None:
        pytest.skip(f"there is no {name}")
    code = f"import {name}, sys; print(*[m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=PACKAGE.parent
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == ""
    control = f"import shutoffsim.study.compare, sys; print({HEAVY[0]!r} in sys.modules)"
    if name == "shutoffsim":
        done = subprocess.run(
            [sys.executable, "-c", control], capture_output=True, text=True, cwd=PACKAGE.parent
        )
        assert done.stdout.strip() == "True"
