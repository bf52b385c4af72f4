"""From a dwelling's cells to the record that its histories run on.

Resolving a whole scenario takes some milliseconds, too long to do for each of 100,000 dwellings.
Cells that pick defaults, displace alternatives or make a section are resolved in full, once for
each combination of them. Any other cell decides nothing but its own value, which is read by the
schema's own rule for that key and put into the resolved scenario; what must hold between values is
then checked as for a file. :meth:`Resolver.record_in_full` is the long way to the same record.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import TypeAdapter, ValidationError

from shutoffsim.errors import Problem, ScenarioError
from shutoffsim.scenario import checks
from shutoffsim.scenario.parameters import compile_parameters
from shutoffsim.scenario.resolve import resolve
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import merge, parts
from shutoffsim.study.portfolio.columns import Column, has_made_zone

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario
    from shutoffsim.scenario.resolve import Design
    from shutoffsim.study.portfolio.dwellings import Row

_MOST_KEPT = 4096  # systems, and as many values a column


@dataclass(frozen=True)
class Base:
    """What rows are laid over: the scenario as plain tables, one for each design.

    Attributes
    ----------
    name, currency : str
    designs : dict of str to dict
        All that the file says of a design, its changes laid over the common part.
    design : str
        The design of rows that name none.
    sources, sensors, zones : tuple of str
        Names over all designs; their order fixes the indices.
    columns : tuple of Column
    region : bool
        Whether dwellings share weather and mains.
    """

    name: str
    currency: str
    designs: Mapping[str, dict[str, Any]]
    design: str
    sources: tuple[str, ...]
    sensors: tuple[str, ...]
    zones: tuple[str, ...]
    columns: tuple[Column, ...]
    region: bool

    @classmethod
    def of(
        cls, scenario: Scenario, columns: tuple[Column, ...], design: str | None, region: bool
    ) -> Base:
        """Return the base that a scenario gives."""
        return cls(
            scenario.name,
            scenario.currency,
            {design.name: own_tables(design) for design in scenario.resolved},
            scenario.reference if design is None else scenario.design(design).name,
            scenario.source_names,
            scenario.sensor_names,
            scenario.zone_names,
            columns,
            region,
        )


def own_tables(design: Design) -> dict[str, Any]:
    """Return the tables that resolve to a design: all values but those from the library."""
    tables: dict[str, Any] = {}
    for path, value in design.written.items():
        table = tables
        for key in path[:-1]:
            table = table.setdefault(key, {})
        if path not in design.origins:
            table[path[-1]] = value
    if has_made_zone(design):
        del tables["zones"]
    return tables


class Resolver:
    """Makes records; keeps what it has resolved, so that like dwellings cost little.

    Parameters
    ----------
    base : Base
    """

    def __init__(self, base: Base) -> None:
        self.base = base
        self._systems: dict[tuple[Any, ...], System] = {}
        self._values: list[dict[str, Any]] = [{} for _ in base.columns]
        self._adapters = [_adapter(column) for column in base.columns]

    def record(self, row: Row) -> Any:
        """Return the parameters of one dwelling.

        Returns
        -------
        record array (1,)

        Raises
        ------
        ScenarioError
            With every problem found in the row; its keys are names of columns.
        """
        if row.trouble is not None:
            raise ScenarioError([row.trouble])
        try:
            system = self._patched(row)
        except (ScenarioError, ValidationError):
            return self.record_in_full(row)  # tells all problems, in words
        if next(iter(checks.check(system)), None) is not None:
            return self.record_in_full(row)
        return self._compile(system)

    def record_in_full(self, row: Row) -> Any:
        """Return the same as :meth:`record`, by resolving the whole scenario for this row."""
        cells = zip(self.base.columns, row.cells, strict=True)
        return self._compile(
            self._resolve(row, [(column, raw) for column, raw in cells if raw is not None])
        )

    def _patched(self, row: Row) -> System:
        chosen: list[tuple[Column, Any]] = []
        alone: list[tuple[int, Any]] = []
        for place, (column, raw) in enumerate(zip(self.base.columns, row.cells, strict=True)):
            if raw is None:
                continue
            if column.alone:
                alone.append((place, raw))
            else:
                chosen.append((column, raw))
        key = (row.design, *((column.path, repr(raw)) for column, raw in chosen))
        system = self._systems.get(key)
        if system is None:
            system = self._resolve(row, chosen)
            if len(self._systems) >= _MOST_KEPT:
                self._systems.clear()
            self._systems[key] = system
        changes: dict[str, Any] = {}
        for place, raw in alone:
            column = self.base.columns[place]
            table = changes
            for step in column.path[:-1]:
                table = table.setdefault(step, {})
            table[column.path[-1]] = self._value(place, raw)
        return _replaced(system, changes) if changes else system

    def _value(self, place: int, raw: Any) -> Any:
        kept = self._values[place]
        key = repr(raw)
        if key not in kept:
            value = self._adapters[place].validate_python(
                raw, context={"currency": self.base.currency}
            )
            if len(kept) >= _MOST_KEPT:
                kept.clear()
            kept[key] = value
            return value
        return kept.get(key)

    def _resolve(self, row: Row, cells: list[tuple[Column, Any]]) -> System:
        name = row.design or self.base.design
        if name not in self.base.designs:
            raise ScenarioError(
                [
                    Problem(
                        "there is no such design",
                        key="design",
                        found=f"“{name[:80]}”",
                        expected="one of " + ", ".join(f"“{known}”" for known in self.base.designs),
                    )
                ]
            )
        changes: dict[str, Any] = {}
        for column, raw in cells:
            table = changes
            for step in column.path[:-1]:
                table = table.setdefault(step, {})
            table[column.path[-1]] = raw
        tables = merge(System, self.base.designs[name], changes)
        tables |= {"name": self.base.name, "currency": self.base.currency, "designs": {name: {}}}
        return resolve(tables, "", "")[1][0].system

    def _compile(self, system: System) -> Any:
        base = self.base
        records = compile_parameters([system], base.sources, base.sensors, base.zones)
        records["region"] = int(base.region)
        return records


def _adapter(column: Column) -> TypeAdapter[Any]:
    """Return the rule by which the schema reads one key alone."""
    field = column.model.model_fields[column.field]
    kind: Any = field.annotation
    for item in field.metadata:
        kind = Annotated[kind, item]
    return TypeAdapter(kind)


def _replaced(section: Any, changes: Mapping[str, Any]) -> Any:
    """Return a section in which some values are others; the section itself stays as it is."""
    model: type[Section] = type(section)
    known = parts(model)
    update: dict[str, Any] = {}
    for key, value in changes.items():
        part = known[key]
        old = getattr(section, part.field)
        if part.kind == "value":
            update[part.field] = value
        elif part.kind == "section":
            update[part.field] = _replaced(old, value)
        else:
            entries = {name: _replaced(old[name], change) for name, change in value.items()}
            update[part.field] = {**old, **entries}
    return section.model_copy(update=update)
