"""A scenario as the rest of the program sees it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any

from shutoffsim.errors import Problem, ScenarioError
from shutoffsim.scenario import read
from shutoffsim.scenario.names import check_counts
from shutoffsim.scenario.problems import Problems, dotted, undotted
from shutoffsim.scenario.resolve import Design, Heading, check_whole, resolve
from shutoffsim.scenario.structure import Path
from shutoffsim.scenario.variants import vary

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd

    from shutoffsim.scenario.ledger import Assumption
    from shutoffsim.scenario.schema.money import Costs

HASH_LENGTH = 16


@dataclass(frozen=True)
class Scenario:
    """A dwelling, its leaks and its people, and the designs to compare. Cannot be changed.

    Made by :func:`load` and :func:`loads`.

    Parameters
    ----------
    heading : Heading
        Name, description and currency.
    resolved : tuple of Design
        The designs, resolved; the first is the reference.
    """

    heading: Heading
    resolved: tuple[Design, ...]

    @property
    def name(self) -> str:
        """What the scenario is called."""
        return self.heading.name

    @property
    def description(self) -> str:
        """What it is about; may be empty."""
        return self.heading.description

    @property
    def currency(self) -> str:
        """Three letters; all amounts are in it."""
        return self.heading.currency

    @property
    def service_life(self) -> float:
        """Time simulated, s."""
        return self.resolved[0].system.service_life

    @property
    def designs(self) -> tuple[str, ...]:
        """Names of the designs, in the order of the file."""
        return tuple(design.name for design in self.resolved)

    @property
    def reference(self) -> str:
        """Name of the design that the others are compared with: the first."""
        return self.resolved[0].name

    @property
    def source_names(self) -> tuple[str, ...]:
        """Leak sources of all designs, sorted; their order gives the indices of results."""
        return self._union("leaks")

    @property
    def sensor_names(self) -> tuple[str, ...]:
        """Sensors of all designs, sorted."""
        return self._union("sensors")

    @property
    def zone_names(self) -> tuple[str, ...]:
        """Zones of all designs, sorted."""
        return self._union("zones")

    def _union(self, kind: str) -> tuple[str, ...]:
        names = {name for d in self.resolved for name in getattr(d.system, kind)}
        return tuple(sorted(names))

    def design(self, name: str) -> Design:
        """One design by name.

        Raises
        ------
        ScenarioError
            When there is none of that name.
        """
        for design in self.resolved:
            if design.name == name:
                return design
        raise ScenarioError(
            [
                Problem(
                    "there is no such design",
                    found=f'"{str(name)[:80]}"',
                    expected="one of " + ", ".join(f'"{key}"' for key in self.designs),
                )
            ]
        )

    def costs(self, name: str) -> Costs:
        """What a design costs its owner, as far as it is stated."""
        return self.design(name).system.costs

    @property
    def hash(self) -> str:
        """16 hexadecimal digits over the whole content with its defaults.

        Comments, spaces, the order of keys and the unit in which a value is written do not
        count; the order of the designs does, as the first is the reference.
        """
        content = [
            self.name,
            self.currency,
            [[d.name, d.system.model_dump(mode="python")] for d in self.resolved],
        ]
        text = json.dumps(content, sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()[:HASH_LENGTH]

    def with_values(
        self,
        design: str | None,
        values: Mapping[str, Any] | Mapping[Path, Any],
        *,
        si: bool = True,
    ) -> Scenario:
        """Return the scenario with other values in one design.

        They are checked as in a file. A change of numbers costs a small part of reading the
        file again.

        Parameters
        ----------
        design : str or None
            Its name; None: in every design.
        values : mapping
            By key, dotted as in a file (``'leaks."wash basin".rate'``) or as a tuple of its parts.
            A number is in SI (temperatures in degrees Celsius, turns and turns per second, money
            in the scenario's currency); a value may also be a
            :class:`~shutoffsim.scenario.distributions.Distribution` of SI numbers, or whatever
            would stand in a file: a text with a unit, a table, a choice. None takes back what is
            stated, so that the default holds again. Who changes a choice that gives other values
            (a class, kind, type, pattern, chemistry or grip) says of each of these that is stated
            what becomes of it.
        si : bool
            False: a number is read as in a file, which wants a unit with most of them.

        Returns
        -------
        Scenario
            This one stays as it is.

        Raises
        ------
        ScenarioError
            With every problem found, by the keys that were given.

        Examples
        --------
        >>> from shutoffsim.scenario import loads, starter
        >>> scenario = loads(starter())
        >>> older = scenario.with_values("plus battery", {"valve.age": "30 years"})
        >>> weaker = older.with_values("plus battery", {"actuator.stall_torque": 4.0})
        >>> weaker.design("plus battery").entries["actuator", "stall_torque"].written
        '4 N*m'
        """
        changes = {_path(key): value for key, value in values.items()}
        chosen = self.designs if design is None else (self.design(design).name,)
        where = self.name if design is None else f"{self.name}, “{design}”"
        problems = Problems(where, "")
        ordered = sorted(changes)
        for first, second in pairwise(ordered):
            if second[: len(first)] == first:
                problems.add(second, "it is a part of another key", found=dotted(first))
        if design is not None and ("service_life",) in changes:
            problems.add(
                ("service_life",),
                "service_life cannot differ between designs",
                hint="change it in every design",
            )
        problems.stop_if_any()
        varied = [
            vary(each, changes, self.currency, problems, si=si) if each.name in chosen else each
            for each in self.resolved
        ]
        problems.stop_if_any()
        made = tuple(each for each in varied if each is not None)
        check_counts({}, {each.name: each.stated for each in made}, problems)
        check_whole(made, problems)
        return Scenario(self.heading, made)

    def parameters(self, names: Sequence[str] | None = None) -> np.recarray:
        """The numbers that histories run on.

        Parameters
        ----------
        names : sequence of str, optional
            Designs, in the wanted order; all by default.

        Returns
        -------
        numpy.recarray, shape (number of designs,)
            Of dtype ``shutoffsim.model.layout.PARAMETERS``, SI. A source, sensor or zone has the
            same index in all designs.

        Raises
        ------
        ScenarioError
            When a name is unknown.
        """
        from shutoffsim.scenario.parameters import compile_parameters

        chosen = self.resolved if names is None else [self.design(name) for name in names]
        return compile_parameters(
            [design.system for design in chosen],
            self.source_names,
            self.sensor_names,
            self.zone_names,
        )

    def ledger(self, design: str | None = None, *, used: bool = False) -> pd.DataFrame:
        """Every value with its source.

        Parameters
        ----------
        design : str, optional
            One design. By default the first, and below it what differs in the others, with keys
            that start with ``designs.``.
        used : bool
            Only values that have an effect.

        Returns
        -------
        pandas.DataFrame
            Columns key, value, unit, stated_in (the design that states it, which may be one that
            this design is like, or "the common part"; empty for a default), source, evidence,
            drives.

        Raises
        ------
        ScenarioError
            When the name is unknown.
        """
        from shutoffsim.scenario.ledger import ledger

        return ledger(self.resolved if design is None else [self.design(design)], used=used)

    def assumptions(self, *designs: str) -> list[Assumption]:
        """Values that these designs use and that rest on an assumption or on memory, each once.

        Without names: all designs.

        Raises
        ------
        ScenarioError
            When the name is unknown.
        """
        from shutoffsim.scenario.ledger import assumptions

        return assumptions(*(self.design(name) for name in designs or self.designs))


def _path(key: str | Path) -> Path:
    path = undotted(key) if isinstance(key, str) else None
    if isinstance(key, tuple):
        path = tuple(map(str, key))
    if not path:
        raise ScenarioError(
            [
                Problem(
                    "this is not a key",
                    found=str(key)[:80],
                    expected="a dotted key such as valve.age",
                    hint='put names that are not plain into quotes: leaks."wash basin".rate',
                )
            ]
        )
    return path


def load(path: str | FilePath) -> Scenario:
    """Read a scenario file.

    Parameters
    ----------
    path : str or pathlib.Path
        A TOML file, see the scenario reference.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        With every problem found: file, line and key, what was found, expected, and what to do.
    """
    file = FilePath(path)
    return loads(read.read_text(file), where=str(file))


def loads(text: str | bytes, where: str = "scenario") -> Scenario:
    """Read a scenario from a text.

    Parameters
    ----------
    text : str or bytes
        The TOML text.
    where : str
        Name of its origin, for messages.

    Returns
    -------
    Scenario

    Raises
    ------
    ScenarioError
        With every problem found.

    Examples
    --------
    >>> scenario = loads('''
    ... [leaks.hose]
    ... kind = "appliance hose"
    ... [designs."no automation"]
    ... element.kind = "none"
    ... ''')
    >>> scenario.designs
    ('no automation',)
    """
    data: Any = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    content = read.decode(data, where)
    heading, designs = resolve(read.read_tables(content, where), where, content)
    return Scenario(heading, tuple(designs))
