"""The columns of a table of dwellings: which key of the scenario each one sets."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import UnionType
from typing import TYPE_CHECKING, Any, Union, get_args, get_origin

from shutoffsim import units
from shutoffsim.errors import Problem, UnitError
from shutoffsim.records import Column, Header, Kind
from shutoffsim.records.cells import is_missing, with_point, with_unit
from shutoffsim.records.header import split_unit
from shutoffsim.scenario.entries import dimension_of
from shutoffsim.scenario.problems import dotted
from shutoffsim.scenario.resolve import FIXED_KEYS
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, find, parts
from shutoffsim.scenario.variants import decides

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

IDENTIFIER, DESIGN, REGION = "dwelling", "design", "region"
_WHOLE_NUMBER = re.compile(r"[+-]?[0-9]+")


@dataclass(frozen=True)
class Key:
    """A key that a column sets.

    Attributes
    ----------
    path : tuple of str
    alone : bool
        Whether the value decides nothing but itself, whatever the design.
    unit : str or None
        Of plain numbers in the column.
    """

    path: Path
    alone: bool = False
    unit: str | None = None

    @property
    def name(self) -> str:
        """The key as it is written in a scenario file."""
        return dotted(self.path)


def find_keys(scenario: Scenario) -> dict[str, Path]:
    """Return every key that may differ between dwellings, by the name of its column."""
    return {dotted(path): path for path in _paths(System, (), scenario)}


def dwellings_kind(known: Mapping[str, Path]) -> Kind:
    """Return what a table of dwellings is, given the keys that may have a column."""

    def match(raw: str) -> Column | None:
        name = raw.strip()
        if name in (IDENTIFIER, DESIGN, REGION):
            return Column(name)
        stem, stated = (name, "") if _path(name) else split_unit(name)
        path = known.get(dotted(_path(stem) or ()))
        if path is None:
            return None
        dimension = dimension_of(path)
        known_one = dimension if dimension in units.dimensions() else None
        return Column(dotted(path), stated or None, known_one)

    return Kind(
        described="a table of dwellings",
        row="dwelling",
        expected="a header and one row a dwelling",
        match=match,
        choose=lambda roles, _: ("dwellings", roles, None),
        unknown=lambda raw: _unknown(raw.strip(), known),
        joined=True,
        suffixes=(".csv", ".parquet", ".csv.gz"),
        most_rows=2**31 - 1,
    )


def keys_of(header: Header, known: Mapping[str, Path], scenario: Scenario) -> tuple[Key, ...]:
    """Return the keys that the columns of a table of dwellings set, in their order."""
    return tuple(
        Key(path, not any(decides(design, path) for design in scenario.resolved), column.unit)
        for column in header.columns.values()
        if (path := known.get(column.role))
    )


def read_cell(key: Key, cell: Any, *, comma: bool = False) -> Any:
    """Return a cell's value as it would stand in a scenario file; None for a missing one.

    A text is taken as it is, so ``12 years`` needs no quotes; one that begins with a bracket,
    a brace or a quote is read as TOML. Whole numbers and true or false are read where they are
    asked for, and a plain number gets the unit of the header.

    Parameters
    ----------
    key : Key
    cell : object
    comma : bool
        Whether a comma may be a decimal mark.

    Raises
    ------
    UnitError
        When a text begins like TOML but is not, or a number may be meant in two ways.
    """
    if is_missing(cell):
        return None
    kinds = _kinds(key.path)
    if isinstance(cell, str):
        text = cell.strip()
        if text[0] in "{[\"'":
            return _read_toml(text)
        if bool in kinds and text.lower() in ("true", "false"):
            return text.lower() == "true"
        if int in kinds and _WHOLE_NUMBER.fullmatch(text) and len(text) < 16:
            return int(text)
        return with_unit(with_point(text) if comma else text, key.unit)
    if isinstance(cell, float) and int in kinds and cell.is_integer():
        return int(cell)  # a column of whole numbers with gaps is stored as one of floats
    if isinstance(cell, Mapping):
        return {name: value for name, value in cell.items() if value is not None}
    if key.unit is not None and isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return f"{cell} {key.unit}"
    return cell


@cache
def _kinds(path: Path) -> frozenset[Any]:
    """Return which of bool and int a key may be."""
    place = find(path, System)
    assert place is not None
    annotation = place[0].model_fields[place[1].field].annotation
    union = get_origin(annotation) in (Union, UnionType)
    found = get_args(annotation) if union else (annotation,)
    plain = [get_args(kind)[0] if hasattr(kind, "__metadata__") else kind for kind in found]
    return frozenset(kind for kind in plain if kind in (bool, int))


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


def _paths(model: type[Section], above: Path, scenario: Scenario) -> Iterator[Path]:
    """Yield every key of a section that may differ between dwellings."""
    for key, part in parts(model).items():
        path = (*above, key)
        if path[0] in FIXED_KEYS:
            continue
        if part.model is None:
            yield path
        elif part.kind == "section":
            yield from _paths(part.model, path, scenario)
        else:
            for name in sorted({n for d in scenario.resolved for n in getattr(d.system, key)}):
                yield from _paths(part.model, (*path, name), scenario)


def _unknown(name: str, known: Mapping[str, Path]) -> Problem:
    path = _path(name)
    if path is not None and path[0] in FIXED_KEYS:
        return Problem(
            f"{path[0]} cannot differ between dwellings",
            found=f"column {name[:80]}",
            hint="remove the column"
            + ("; write “design” for the design of a dwelling" if path[0] == "designs" else ""),
        )
    choices = [*known, IDENTIFIER, DESIGN, REGION]
    close = difflib.get_close_matches(name[:200], choices, n=1, cutoff=0.5)
    return Problem(
        "a column that names no key of the scenario",
        found=f"column {name[:80]}" if name else "a column without a name",
        expected='keys in dotted form, such as valve.age or leaks."kitchen hose".age, or one of '
        f"{IDENTIFIER}, {DESIGN}, {REGION}",
        hint=f"did you mean {close[0]}?" if close else "remove it",
    )
