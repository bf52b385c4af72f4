"""The columns of a table of dwellings: which key of the scenario each one sets."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import UnionType
from typing import TYPE_CHECKING, Any, Union, get_args, get_origin

from shutoffsim.errors import LISTED_PROBLEMS, Problem, ScenarioError, UnitError
from shutoffsim.scenario import library
from shutoffsim.scenario.fill import ONLY_ZONE
from shutoffsim.scenario.problems import dotted
from shutoffsim.scenario.resolve import FIXED_KEYS
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, parts

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario
    from shutoffsim.scenario.resolve import Design

IDENTIFIER, DESIGN, REGION = "dwelling", "design", "region"
_WHOLE_NUMBER = re.compile(r"[+-]?[0-9]+")


@dataclass(frozen=True)
class Column:
    """A column that sets one key.

    Attributes
    ----------
    path : tuple of str
        The key.
    place : int
        Number of the column in the file, from 0.
    model : type of Section
        The section that the key is in.
    field : str
        Name of the section's attribute.
    alone : bool
        Whether the value decides nothing but itself: it picks no set of defaults, displaces no
        alternative and makes no section.
    """

    path: Path
    place: int
    model: type[Section]
    field: str
    alone: bool

    @property
    def name(self) -> str:
        """The key as it is written in a scenario file."""
        return dotted(self.path)


@dataclass(frozen=True)
class Header:
    """What the columns of a file mean; a place is None where there is no such column."""

    columns: tuple[Column, ...]
    identifier: int | None
    design: int | None
    region: int | None
    width: int


def read_header(names: Sequence[str], scenario: Scenario, where: str) -> Header:
    """Return what the columns mean.

    Raises
    ------
    ScenarioError
        With every column that names no key, or one that cannot differ between dwellings.
    """
    problems: list[Problem] = []
    unlisted = 0
    special: dict[str, int] = {}
    columns: dict[Path, Column] = {}
    known = {dotted(path): path for path in _keys(System, (), scenario)}
    for place, raw in enumerate(names):
        name = raw.strip()
        if name in (IDENTIFIER, DESIGN, REGION):
            twice = special.setdefault(name, place) != place
        else:
            path = _path(name)
            if path is None or dotted(path) not in known:
                if len(problems) < LISTED_PROBLEMS:  # the search for alike names takes time
                    problems.append(_unknown(name, path, known, where))
                else:
                    unlisted += 1
                continue
            twice = path in columns
            columns.setdefault(path, _column(path, place, scenario))
        if twice:
            problems.append(
                Problem(
                    "two columns set the same key",
                    where=where,
                    found=f"{name[:80]}, column {place + 1}",
                    expected="each key once",
                    hint="remove one of them",
                )
            )
    if problems:
        raise ScenarioError(problems, unlisted)
    return Header(
        tuple(columns.values()),
        special.get(IDENTIFIER),
        special.get(DESIGN),
        special.get(REGION),
        len(names),
    )


def read_cell(column: Column, cell: Any) -> Any:
    """Return a cell's value as it would stand in a scenario file; None for an empty cell.

    A text is taken as it is, so ``12 years`` needs no quotes; one that begins with a bracket,
    a brace or a quote is read as TOML. Whole numbers and true or false are read where they are
    asked for.

    Raises
    ------
    UnitError
        When a text begins like TOML but is not.
    """
    if cell is None or cell != cell:  # a number that is none stands for an empty cell
        return None
    kinds = _kinds(column)
    if isinstance(cell, str):
        text = cell.strip()
        if not text:
            return None
        if text[0] in "{[\"'":
            return _read_toml(text)
        if bool in kinds and text.lower() in ("true", "false"):
            return text.lower() == "true"
        if int in kinds and _WHOLE_NUMBER.fullmatch(text) and len(text) < 16:
            return int(text)
        return text
    if isinstance(cell, float) and int in kinds and cell.is_integer():
        return int(cell)  # a column of whole numbers with gaps is stored as one of floats
    if isinstance(cell, Mapping):
        return {key: value for key, value in cell.items() if value is not None}
    return cell


def _kinds(column: Column) -> set[Any]:
    annotation = column.model.model_fields[column.field].annotation
    found = [annotation]
    if get_origin(annotation) in (Union, UnionType):
        found = list(get_args(annotation))
    plain = [get_args(kind)[0] if hasattr(kind, "__metadata__") else kind for kind in found]
    return {kind for kind in plain if kind in (bool, int)}


def _read_toml(text: str) -> Any:
    try:
        return tomllib.loads(f"cell = {text}")["cell"]
    except (ValueError, KeyError, RecursionError):
        raise UnitError(
            "not a value",
            found=text[:100],
            expected="a value as in a scenario file",
            hint='write tables as {low = "2 bar", high = "4 bar", shape = "even"}',
        ) from None


def _path(name: str) -> Path | None:
    """Split a dotted key by the rules of TOML; None where it is no key."""
    if not name or "\n" in name or "=" in name:
        return None
    try:
        table: Any = tomllib.loads(f"{name} = 0")
    except (ValueError, RecursionError):
        return None
    path: list[str] = []
    while isinstance(table, dict) and len(table) == 1:
        key, table = next(iter(table.items()))
        path.append(key)
    return tuple(path) if table == 0 else None


def _keys(model: type[Section], path: Path, scenario: Scenario) -> Iterator[Path]:
    """Yield every key that may differ between dwellings."""
    for key, part in parts(model).items():
        here = (*path, key)
        if here[0] in FIXED_KEYS:
            continue
        if part.model is None:
            yield here
        elif part.kind == "section":
            yield from _keys(part.model, here, scenario)
        else:
            for name in _names(key, scenario):
                yield from _keys(part.model, (*here, name), scenario)


def _names(kind: str, scenario: Scenario) -> tuple[str, ...]:
    return tuple(sorted({n for d in scenario.resolved for n in getattr(d.system, kind)}))


def _column(path: Path, place: int, scenario: Scenario) -> Column:
    model: type[Section] = System
    alone = True
    walk = iter(path)
    for key in walk:
        part = parts(model)[key]
        if part.model is None:
            chooses = model.preset is not None and model.preset.field == key
            displaces = any(key in group for group in model.alternatives)
            alone = alone and not (chooses or displaces or _makes_zone(path, scenario))
            return Column(path, place, model, part.field, alone)
        if part.kind == "named":
            name = next(walk)
            everywhere = all(name in getattr(d.system, key) for d in scenario.resolved)
            alone = alone and everywhere
        alone = alone and not (part.kind == "section" and part.optional)
        model = part.model
    raise AssertionError("a key ends in a value")


def has_made_zone(design: Design) -> bool:
    """Whether the file names no zone, so that one as large as the dwelling was made."""
    origin = design.origins.get(("zones", ONLY_ZONE, "area"))
    return origin is not None and origin != library.find("zone", "area")


def _makes_zone(path: Path, scenario: Scenario) -> bool:
    return path == ("dwelling", "floor_area") and any(map(has_made_zone, scenario.resolved))


def _unknown(name: str, path: Path | None, known: Mapping[str, Path], where: str) -> Problem:
    if path is not None and path[0] in FIXED_KEYS:
        return Problem(
            f"{path[0]} cannot differ between dwellings",
            where=where,
            found=f"column {name[:80]}",
            hint="remove the column"
            + ("; write “design” for the design of a dwelling" if path[0] == "designs" else ""),
        )
    choices = [*known, IDENTIFIER, DESIGN, REGION]
    close = difflib.get_close_matches(name[:200], choices, n=1, cutoff=0.5)
    return Problem(
        "a column that names no key of the scenario",
        where=where,
        found=f"column {name[:80]}" if name else "a column without a name",
        expected='keys in dotted form, such as valve.age or leaks."kitchen hose".age, or one of '
        f"{IDENTIFIER}, {DESIGN}, {REGION}",
        hint=f"did you mean {close[0]}?" if close else "remove it",
    )
