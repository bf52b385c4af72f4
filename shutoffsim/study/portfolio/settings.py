"""From a dwelling's cells to the record that its histories run on.

Cells that pick defaults, displace alternatives or make a section have a whole design resolved,
which takes some milliseconds, too long to do for each of 100,000 dwellings: it is done once for
each combination of them. Any other cell decides nothing but its own value.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from shutoffsim.errors import Problem, ScenarioError
from shutoffsim.study.portfolio.columns import Key

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario
    from shutoffsim.scenario.structure import Path
    from shutoffsim.study.portfolio.dwellings import Row

_MOST_KEPT = 4096  # scenarios


@dataclass(frozen=True)
class Base:
    """What rows are laid over.

    Attributes
    ----------
    scenario : Scenario
    design : str
        The design of rows that name none.
    keys : tuple of Key
    region : bool
        Whether dwellings share weather and mains.
    """

    scenario: Scenario
    design: str
    keys: tuple[Key, ...]
    region: bool

    @classmethod
    def of(
        cls, scenario: Scenario, keys: tuple[Key, ...], design: str | None, region: bool
    ) -> Base:
        """Return the base that a scenario gives."""
        name = scenario.reference if design is None else scenario.design(design).name
        return cls(scenario, name, keys, region)


class Resolver:
    """Makes records; keeps what it has resolved, so that like dwellings cost little.

    Parameters
    ----------
    base : Base
    """

    def __init__(self, base: Base) -> None:
        self.base = base
        self._kept: dict[tuple[Any, ...], Scenario] = {}

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
        name = row.design or self.base.design
        if name not in self.base.scenario.designs:
            raise ScenarioError(
                [
                    Problem(
                        "there is no such design",
                        key="design",
                        found=f"“{name[:80]}”",
                        expected="one of "
                        + ", ".join(f"“{known}”" for known in self.base.scenario.designs),
                    )
                ]
            )
        cells: dict[bool, dict[Path, Any]] = {True: {}, False: {}}
        for key, raw in zip(self.base.keys, row.cells, strict=True):
            if raw is not None:
                cells[key.alone][key.path] = raw
        try:
            scenario = self._chosen(name, cells[False]).with_values(name, cells[True], si=False)
        except ScenarioError:  # what is wrong is reported for the row as a whole
            every = cells[False] | cells[True]
            scenario = self.base.scenario.with_values(name, every, si=False)
        records = scenario.parameters([name])
        records["region"] = int(self.base.region)
        return records

    def _chosen(self, name: str, cells: dict[Path, Any]) -> Scenario:
        """Return the scenario with the cells that decide more than themselves."""
        key = (name, repr(cells))
        found = self._kept.get(key)
        if found is None:
            found = self.base.scenario.with_values(name, cells, si=False)
            if len(self._kept) >= _MOST_KEPT:
                self._kept.clear()
            self._kept[key] = found
        return found
