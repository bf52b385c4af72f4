"""What a comparison over worlds says."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import InstanceOf

Decision = Literal["expected annual damage", "total cost"]


@dataclass(frozen=True)
class OverWorlds:
    """A figure over worlds: how far off it may be by what nobody knows.

    No interval of the simulation: what few histories in each world add is taken off.

    Attributes
    ----------
    mean, p5, p50, p95 : float
        Mean, and the values below which it is in 5, 50 and 95 % of the worlds.
    """

    mean: float
    p5: float
    p50: float
    p95: float

    @classmethod
    def of(cls, values: NDArray[np.float64]) -> OverWorlds:
        """Return the figures of values, one a world."""
        ends = np.quantile(values, (0.05, 0.5, 0.95))
        return cls(float(values.mean()), *map(float, ends))


@dataclass(frozen=True)
class DesignOverWorlds:
    """One design over worlds, in the scenario's currency per year.

    Attributes
    ----------
    name : str
    expected_annual_damage : OverWorlds
    least_damage : float
        Share of the worlds in which it has the least expected annual damage.
    difference : OverWorlds or None
        Its expected annual damage minus the reference's; None for the reference.
    chance_of_improvement : float or None
        That this difference is below zero, given what nobody knows.
    total_cost : OverWorlds or None
        Damage, repairs, upkeep, and the price spread over the service life; None where the
        scenario does not state what each automated design costs.
    least_cost : float or None
        Share of the worlds in which its total cost is the least.
    """

    name: str
    expected_annual_damage: OverWorlds
    least_damage: float
    difference: OverWorlds | None = None
    chance_of_improvement: float | None = None
    total_cost: OverWorlds | None = None
    least_cost: float | None = None


@dataclass(frozen=True)
class UnknownWorth:
    """What it is worth to find out one unknown.

    Attributes
    ----------
    key : str
        Where it stands, with ``*`` for the name of a leak, sensor or zone.
    entries : tuple of str
        Names of leaks or sensors that it stands at.
    value, low, high : str
        In use, and the ends that it passes with 5 % each.
    evidence, source : str
    worth_per_year : float
        Expected value of knowing it alone before the choice, in currency a year.
    """

    key: str
    entries: tuple[str, ...]
    value: str
    low: str
    high: str
    evidence: str
    source: str
    worth_per_year: float


@dataclass(frozen=True, kw_only=True)
class Worlds:
    """A comparison over worlds.

    Attributes
    ----------
    worlds : int
        Each with one draw of everything that nobody knows.
    histories, probes : int
        Of each world, and of each history.
    unknowns : int
        Values drawn.
    moved_back : dict of str to int
        Values that could not stay where they were drawn, as the schema or another value forbids
        it, with the number of worlds in which they were moved back just as far as needed.
    designs : tuple of DesignOverWorlds
    decision : str
        By which figure a design is chosen where the worth of knowledge is told.
    information : tuple of float
        Lower and upper bound of what it is worth to know everything, in currency a year.
    first : tuple of UnknownWorth
        The most worthwhile to find out, at most five; none that is not told from chance.
    reduction : float
        Largest mean reduction of expected annual damage.
    steps : array (worlds, unknowns), optional
        Draws: 0 is the value in use, -1 and 1 are the ends.
    keys : tuple of str
        Of the unknowns.
    damage, cost : array (worlds, designs), optional
        Means over each world's histories, as they came.
    """

    worlds: int
    histories: int
    probes: int
    unknowns: int
    moved_back: dict[str, int]
    designs: tuple[DesignOverWorlds, ...]
    decision: Decision
    information: tuple[float, float]
    first: tuple[UnknownWorth, ...]
    reduction: float
    keys: tuple[str, ...] = field(default=(), repr=False, compare=False)
    steps: InstanceOf[np.ndarray[Any, Any]] | None = field(default=None, repr=False, compare=False)
    damage: InstanceOf[np.ndarray[Any, Any]] | None = field(default=None, repr=False, compare=False)
    cost: InstanceOf[np.ndarray[Any, Any]] | None = field(default=None, repr=False, compare=False)

    def design(self, name: str) -> DesignOverWorlds:
        """Return one design."""
        return next(design for design in self.designs if design.name == name)
