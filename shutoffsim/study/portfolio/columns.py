"""The columns of a table of dwellings: which key of the scenario each one sets."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import UnionType
from typing import TYPE_CHECKING, Any, Union, get_args, get_origin

from shutoffsim.errors import Problem, UnitError
from shutoffsim.records import Column, Header, Kind
from shutoffsim.records.cells import is_missing, with_point, with_unit
from shutoffsim.records.header import split_unit
from shutoffsim.scenario import library
from shutoffsim.scenario.fill import ONLY_ZONE
from shutoffsim.scenario.problems import dotted
from shutoffsim.scenario.quantities import Quantity
from shutoffsim.scenario.resolve import FIXED_KEYS
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, parts

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario
    from shutoffsim.scenario.resolve import Design

IDENTIFIER, DESIGN, REGION = "dwelling", "design", "region"
_WHOLE_NUMBER = re.compile(r"[+-]?[0-9]+")
_BRACKETS = re.compile(r"^(?P<key>.*\S)\s*[(\[](?P<unit>[^()\[\]]*)[)\]]$")


@dataclass(frozen=True)
class Key:
    """A key that a column sets.

    Attributes
    ----------
    path : tuple of str
    model : type of Section
        The section that the key is in.
    field : str
        Name of the section's attribute.
    alone : bool
        Whether the value decides nothing but itself: it picks no set of defaults, displaces no
        alternative and makes no section.
    unit : str or None
        Of plain numbers in the column.
    """

    path: Path
    model: type[Section]
    field: str
    alone: bool
    unit: str | None = None

    @property
    def name(self) -> str:
        """The key as it is written in a scenario file."""
        return dotted(self.path)

    @property
    def dimension(self) -> str | None:
        """What its values are measured in, None for money, words and counts."""
        kinds = _kinds(self.model, self.field)
        return next((kind.dimension for kind in kinds if isinstance(kind, Quantity)), None)


@cache
def _kinds(model: type[Section], name: str) -> tuple[Any, ...]:
    """Return the types of a key's values, and what the schema says of them."""
    field = model.model_fields[name]
    union = get_origin(field.annotation) in (Union, UnionType)
    one_of = get_args(field.annotation) if union else (field.annotation,)
    annotated = [kind for kind in one_of if hasattr(kind, "__metadata__")]
    return (*field.metadata, *one_of, *(part for kind in annotated for part in get_args(kind)))


def find_keys(scenario: Scenario) -> dict[str, Key]:
    """Return every key that may differ between dwellings, by its name."""
    return {key.name: key for key in _keys(System, (), True, scenario)}


def dwellings_kind(known: Mapping[str, Key]) -> Kind:
    """Return what a table of dwellings is, given the keys that may have a column."""

    def match(raw: str) -> Column | None:
        name = raw.strip()
        if name in (IDENTIFIER, DESIGN, REGION):
            return Column(name)
        stem, stated = (name, "") if _path(name) else split_unit(name)
        key = known.get(dotted(_path(stem) or ()))
        if key is None:
            return None
        return Column(key.name, stated, key.dimension) if stated else Column(key.name)

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


def keys_of(header: Header, known: Mapping[str, Key]) -> tuple[Key, ...]:
    """Return the keys that the columns of a table of dwellings set, in their order."""
    columns = header.columns.values()
    return tuple(replace(known[c.role], unit=c.unit) for c in columns if c.role in known)


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
    kinds = _kinds(key.model, key.field)
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


def _keys(model: type[Section], above: Path, alone: bool, scenario: Scenario) -> Iterator[Key]:
    """Yield the keys of a section; ``alone`` says whether all above them are there anyway."""
    for name, part in parts(model).items():
        path = (*above, name)
        if path[0] in FIXED_KEYS:
            continue
        if part.model is None:
            chooses = model.preset is not None and model.preset.field == name
            displaces = any(name in group for group in model.alternatives)
            decides = chooses or displaces or _makes_zone(path, scenario)
            yield Key(path, model, part.field, alone and not decides)
        elif part.kind == "section":
            yield from _keys(part.model, path, alone and not part.optional, scenario)
        else:
            entries = [getattr(design.system, name) for design in scenario.resolved]
            for entry in sorted({entry for there in entries for entry in there}):
                everywhere = all(entry in there for there in entries)
                yield from _keys(part.model, (*path, entry), alone and everywhere, scenario)


def has_made_zone(design: Design) -> bool:
    """Whether the file names no zone, so that one as large as the dwelling was made."""
    origin = design.origins.get(("zones", ONLY_ZONE, "area"))
    return origin is not None and origin != library.find("zone", "area")


def _makes_zone(path: Path, scenario: Scenario) -> bool:
    return path == ("dwelling", "floor_area") and any(map(has_made_zone, scenario.resolved))


def _unknown(name: str, known: Mapping[str, Key]) -> Problem:
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
