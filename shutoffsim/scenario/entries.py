"""One value of a design: where it stands, how it is written, what it is, and where it is from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from numbers import Real
from typing import Annotated, Any, Final, get_args

from pydantic import TypeAdapter

from shutoffsim import units
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.library import MONEY_WORD, Default, in_currency
from shutoffsim.scenario.problems import dotted
from shutoffsim.scenario.quantities import BatteryCapacity, Capacity, Given, Spread, Value
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, find, parts

YOURS: Final = "your scenario"
COMMON: Final = "the common part"


@dataclass(frozen=True)
class Entry:
    """One value of a design.

    Parameters
    ----------
    path : tuple of str
        Where it stands.
    written : object
        As it stands in the file or in the library; what was given as an SI number or a
        distribution is written to six digits in the unit that stood there before.
    value : object
        What it means: an SI number, a :class:`~shutoffsim.scenario.distributions.Distribution`, or
        a choice.
    dimension : str
        Kind of quantity, such as "time", "energy" or "money"; empty for a choice.
    default : Default or None
        Its entry in the library, if it is from there.
    stated_in : str
        Name of the design that states it, which may be one that this design is like; "the common
        part"; empty for a value from the library.
    """

    path: Path
    written: Any
    value: Any
    dimension: str
    default: Default | None
    stated_in: str

    @property
    def key(self) -> str:
        """Its path as it would be written in a file."""
        return dotted(self.path)

    @property
    def source(self) -> str:
        """What it rests on."""
        return YOURS if self.default is None else self.default.source

    @property
    def evidence(self) -> str:
        """How well founded it is: "your scenario", or one of the library's labels."""
        return YOURS if self.default is None else self.default.evidence

    @property
    def drives(self) -> str:
        """What it affects; empty for a value that is stated."""
        return "" if self.default is None else self.default.drives

    @property
    def columns(self) -> tuple[str, str]:
        """The value in words and its unit, for two columns of a table."""
        return columns(self.written, self.dimension)


def columns(written: Any, dimension: str) -> tuple[str, str]:
    """Return what stands in a file as words and unit, for two columns of a table.

    Examples
    --------
    >>> columns({"low": "2 L", "high": "20 L"}, "volume")
    ('low 2, high 20', 'L')
    >>> columns("60 kgf*cm class", "")
    ('60 kgf*cm class', '')
    """
    if isinstance(written, Mapping):
        pairs = {key: columns(value, dimension) for key, value in written.items()}
        found = {unit for _, unit in pairs.values() if unit}
        if len(found) == 1:
            return ", ".join(f"{key} {value}" for key, (value, _) in pairs.items()), found.pop()
    if isinstance(written, str) and dimension:
        return units.split(written)
    return words(written), ""


def words(written: Any) -> str:
    """Return what stands in a file in words.

    Examples
    --------
    >>> words({"median": "3 bar", "spread": 1.5})
    'median 3 bar, spread 1.5'
    """
    if isinstance(written, Mapping):
        return ", ".join(f"{key} {words(value)}" for key, value in written.items())
    if isinstance(written, bool):
        return "yes" if written else "no"
    return str(written)


@cache
def kind_of(path: Path) -> Value | None:
    """How the value at a path is read; None for a choice or a path that is no key.

    Examples
    --------
    >>> kind_of(("valve", "age")).dimension
    'time'
    """
    place = find(path, System)
    if place is None:
        return None
    field = place[0].model_fields[place[1].field]
    found = list(field.metadata)
    for argument in get_args(field.annotation):
        found += getattr(argument, "__metadata__", ())
    return next((item for item in found if isinstance(item, Value)), None)


def dimension_of(path: Path) -> str:
    """Kind of quantity at a path; empty for a choice."""
    return getattr(kind_of(path), "dimension", "")


@cache
def _reader(path: Path) -> TypeAdapter[Any]:
    """The rule by which the schema reads one key alone."""
    place = find(path, System)
    assert place is not None
    field = place[0].model_fields[place[1].field]
    kind: Any = field.annotation
    for item in field.metadata:
        kind = Annotated[kind, item]
    return TypeAdapter(kind)


def read(path: Path, raw: Any, currency: str) -> Any:
    """Return what a value means, read by the schema's rule for its key.

    Raises
    ------
    pydantic.ValidationError
        When it is not allowed there.
    """
    return _reader(path).validate_python(raw, context={"currency": currency})


def given(path: Path, value: Any, like: Any = None, currency: str = MONEY_WORD) -> Any:
    """Return what a program gives as tables hold it.

    Parameters
    ----------
    path : tuple of str
        Where it is to stand.
    value : object
        An SI number, a distribution of SI numbers, or what would stand in a file.
    like : object
        What stands there now; the new value is shown in its units.
    currency : str
        Of an amount where none stands yet.
    """
    kind = kind_of(path)
    if isinstance(value, Distribution) and value.kind == "fixed":
        value = value.a
    if isinstance(value, Distribution):
        fits = isinstance(kind, Spread)
    elif isinstance(value, Capacity):
        fits = isinstance(kind, BatteryCapacity)
    else:
        fits = bool(dimension_of(path)) and isinstance(value, Real) and not isinstance(value, bool)
    if kind is None or not fits:
        return value
    try:
        if isinstance(value, Real):
            value = float(value)
        return Given(value, in_currency(kind.write(value, like), currency))
    except (ArithmeticError, ValueError):  # the schema says what is wrong with it
        return Given(value, str(value))


def value_at(system: System, path: Path) -> Any:
    """Return the value at a path of a resolved design."""
    node: Any = system
    for key in path:
        if isinstance(node, Section):
            node = getattr(node, parts(type(node))[key].field)
        else:
            node = node[key]
    return node
