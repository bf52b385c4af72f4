"""Where the rules can be broken, and how: small changes of the source text, found by its syntax.

A change is one of: another comparison, arithmetic or logical operator, another number, a condition
turned round, ``min`` for ``max``, another name of the same family (a parameter, a state, a stream,
a constant), a statement or an entry left out.
"""

from __future__ import annotations

import ast
import random
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

#: What is mutated, relative to the package; what holds no rules is left out.
MUTATED = (
    "model/*.py",
    "engine/batch.py",
    "engine/schedule.py",
    "engine/placement.py",
    "estimate/tally.py",
    "scenario/parameters.py",
    "scenario/devices.py",
)
LEFT_OUT = ("__init__.py", "compiled.py", "kernel_store.py")

_COMPARISONS = {
    ast.Lt: ("<=", ">="),
    ast.LtE: ("<", ">"),
    ast.Gt: (">=", "<="),
    ast.GtE: (">", "<"),
    ast.Eq: ("!=",),
    ast.NotEq: ("==",),
}
_ARITHMETIC = {
    ast.Add: ("-",),
    ast.Sub: ("+",),
    ast.Mult: ("/",),
    ast.Div: ("*",),
    ast.Mod: ("*",),
    ast.Pow: ("*",),
    ast.FloorDiv: ("*",),
    ast.LShift: (">>",),
    ast.RShift: ("<<",),
    ast.BitAnd: ("|",),
    ast.BitOr: ("&",),
    ast.BitXor: ("|",),
}
_TWINS = {"min": "max", "max": "min", "log1p": "log", "exp": "expm1", "expm1": "exp"}


@dataclass(frozen=True)
class Mutant:
    """One change: between two positions of a file stands another text."""

    file: str  # relative to the package
    line: int
    start: int  # position in the file's text
    end: int
    kind: str
    old: str
    new: str

    def apply(self, text: str) -> str:
        """Return the changed text of the file."""
        assert text[self.start : self.end] == self.old, f"{self.file} has changed"
        return text[: self.start] + self.new + text[self.end :]

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)

    def __str__(self) -> str:
        def short(code: str) -> str:
            return " ".join(code.split())[:60] or "nothing"

        return f"{self.file}:{self.line} {self.kind}: {short(self.old)} -> {short(self.new)}"


class _Finder(ast.NodeVisitor):
    """Collects, for one file, the alternatives at each place."""

    def __init__(self, file: str, text: str) -> None:
        self.file = file
        self.text = text
        self.starts = [0]
        for row in text.encode().split(b"\n"):
            self.starts.append(self.starts[-1] + len(row.decode()) + 1)
        self.places: list[list[Mutant]] = []
        self.families = _families(ast.parse(text))

    def at(self, line: int, column: int) -> int:
        row = self.text.split("\n")[line - 1].encode()[:column].decode()
        return self.starts[line - 1] + len(row)

    def span(self, node: Any) -> tuple[int, int]:
        return (
            self.at(node.lineno, node.col_offset),
            self.at(node.end_lineno, node.end_col_offset),
        )

    def add(self, node: Any, kind: str, start: int, end: int, *news: str) -> None:
        old = self.text[start:end]
        mutants = [Mutant(self.file, node.lineno, start, end, kind, old, new) for new in news]
        if mutants:
            self.places.append(mutants)

    def between(self, node: Any, left: Any, right: Any, kind: str, news: tuple[str, ...]) -> None:
        """Replace the operator between two operands, whatever brackets and breaks stand there."""
        start, end = self.span(left)[1], self.span(right)[0]
        gap = self.text[start:end]
        operator = gap.replace("(", " ").replace(")", " ").replace("\\", " ").split()
        if len(operator) == 1:
            at = start + gap.index(operator[0])
            self.add(node, kind, at, at + len(operator[0]), *news)

    def visit_Compare(self, node: ast.Compare) -> None:
        operands = [node.left, *node.comparators]
        for left, operator, right in zip(operands, node.ops, operands[1:], strict=False):
            if type(operator) in _COMPARISONS:
                self.between(node, left, right, "comparison", _COMPARISONS[type(operator)])
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in _ARITHMETIC:
            self.between(node, node.left, node.right, "operator", _ARITHMETIC[type(node.op)])
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        new = "or" if isinstance(node.op, ast.And) else "and"
        for left, right in zip(node.values, node.values[1:], strict=False):
            self.between(node, left, right, "logic", (new,))
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, bool) or not isinstance(node.value, int | float):
            return
        number = node.value
        news = [repr(number + 1)]
        if number not in (0, 1):
            news.append(repr(number * 2 if isinstance(number, int) else number * 1.1))
        self.add(node, "number", *self.span(node), *news)

    def visit_If(self, node: ast.If) -> None:
        start, end = self.span(node.test)
        self.add(node.test, "condition", start, end, f"not ({self.text[start:end]})")
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        start, end = self.span(node.test)
        self.add(node.test, "condition", start, end, f"not ({self.text[start:end]})")
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        function = node.func
        name = function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")
        if name in _TWINS and len(node.args) > (name in ("min", "max")):
            end = self.span(function)[1]
            self.add(node, "function", end - len(name), end, _TWINS[name])
        self.generic_visit(node)

    def visit_Attribute(self, node: ast.Attribute) -> None:
        if isinstance(node.value, ast.Name) and isinstance(node.ctx, ast.Load):
            others = self.families.get(node.value.id, set()) - {node.attr}
            end = self.span(node)[1]
            if others and node.attr in self.families[node.value.id]:
                self.add(node, "name", end - len(node.attr), end, *sorted(others))
        self.generic_visit(node)

    def visit_Name(self, node: ast.Name) -> None:
        if node.id not in self.families[""] or not isinstance(node.ctx, ast.Load):
            return
        others = self.families[""] - {node.id}
        streams = {other for other in others if other.endswith("_DRAWS")}
        if node.id.endswith("_DRAWS"):
            self.add(node, "name", *self.span(node), f"({node.id} + 1)", *sorted(streams))
        else:
            self.add(node, "name", *self.span(node), *sorted(others - streams))

    def visit_Assign(self, node: ast.Assign) -> None:
        if all(isinstance(target, ast.Attribute | ast.Subscript) for target in node.targets):
            self.add(node, "left out", *self.span(node), "pass")
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self.add(node, "left out", *self.span(node), "pass")
        if isinstance(node.op, ast.Add | ast.Sub | ast.Mult | ast.Div):
            news = {ast.Add: "-=", ast.Sub: "+=", ast.Mult: "/=", ast.Div: "*="}
            self.between(node, node.target, node.value, "operator", (news[type(node.op)],))
        self.generic_visit(node)

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Call):
            self.add(node, "left out", *self.span(node), "pass")
            self.generic_visit(node)

    def visit_Dict(self, node: ast.Dict) -> None:
        if self.file.startswith("scenario/"):
            for key, value in zip(node.keys, node.values, strict=True):
                if key is not None and isinstance(key, ast.Constant):
                    start, end = self.span(key)[0], self.span(value)[1]
                    after = self.text[end:]
                    end += len(after) - len(after.lstrip(" ,")) if "," in after[:2] else 0
                    self.add(key, "left out", start, end, "")
        for value in node.values:
            self.visit(value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for statement in node.body:  # not decorators, defaults and annotations
            self.visit(statement)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for statement in node.body:
            self.visit(statement)


def _families(tree: ast.Module) -> dict[str, set[str]]:
    """Return which names of a file are alike: attributes by their owner, constants under ''."""
    found: dict[str, set[str]] = {"": set()}
    called = {id(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if id(node) not in called and node.value.id not in ("math", "np", "self"):
                found.setdefault(node.value.id, set()).add(node.attr)
        elif isinstance(node, ast.Name) and re.fullmatch(r"[A-Z][A-Z_]+", node.id):
            found[""].add(node.id)
    return found


def places(package: Path) -> Iterator[list[Mutant]]:
    """Yield, place by place, the changes that are possible there."""
    for pattern in MUTATED:
        for path in sorted(package.glob(pattern)):
            if path.name not in LEFT_OUT:
                text = path.read_text(encoding="utf-8")
                finder = _Finder(path.relative_to(package).as_posix(), text)
                finder.visit(ast.parse(text))
                yield from sorted(finder.places, key=lambda place: (place[0].start, place[0].end))


def sample(package: Path, number: int, seed: int) -> list[Mutant]:
    """Return so many changes at places that lie evenly over the source, by a seed.

    Every place is as likely as any other; of what can be changed there, each change is.
    """
    chance = random.Random(seed)
    every = list(places(package))
    step = len(every) / number
    first = chance.random() * step
    chosen = [every[int(first + k * step)] for k in range(number)]
    mutants = [chance.choice(place) for place in chosen]
    chance.shuffle(mutants)
    return mutants
