"""Designs as they are in a world: drawn values put into what is resolved already, and checked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shutoffsim.scenario.checks import check
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import Path, nested, parts
from shutoffsim.scenario.variants import put
from shutoffsim.study.worlds.unknowns import Unknown

_HALVINGS = 20

Array = NDArray[np.float64]


class _Shared(NamedTuple):
    """A section of the scenario that one or more designs have alike."""

    section: Any
    places: tuple[tuple[Path, int], ...]  # paths in it, and numbers of unknowns


class Maker:
    """Makes the designs of worlds.

    A section that several designs have alike is made once a world.

    Parameters
    ----------
    designs : sequence of Design
    unknowns : sequence of Unknown
        Of these designs.
    """

    def __init__(self, designs: Sequence[Design], unknowns: Sequence[Unknown]) -> None:
        self.unknowns = unknowns
        self.plain = [design.system for design in designs]
        self.shared: list[_Shared] = []
        self.uses: list[dict[str, int]] = []  # by field, for each design
        known: dict[tuple[Any, ...], int] = {}
        for d, system in enumerate(self.plain):
            inside: dict[str, list[tuple[Path, int]]] = {}
            for number, unknown in enumerate(unknowns):
                for path in (path for at, path in unknown.places if at == d):
                    inside.setdefault(path[0], []).append((path[1:], number))
            uses = {}
            for key, places in inside.items():
                field = parts(System)[key].field
                section = getattr(system, field)
                alike = (field, repr(section), *places)
                if alike not in known:
                    known[alike] = len(self.shared)
                    self.shared.append(_Shared(section, tuple(places)))
                uses[field] = known[alike]
            self.uses.append(uses)

    def systems(self, steps: Array) -> tuple[list[System], set[int]]:
        """Return the designs of one world.

        A value that the schema refuses goes back toward the value in use, as far as it must.
        Values that contradict each other go back together, by the same share of their steps.

        Parameters
        ----------
        steps : array (unknowns,)

        Returns
        -------
        systems : list of System
        moved_back : set of int
            Numbers of the unknowns that are not where they were drawn.
        """
        unknowns = self.unknowns
        steps = np.array(steps)
        values: list[Any] = []
        moved_back: set[int] = set()

        def move_back(number: int, part: float) -> None:
            steps[number] *= part
            values[number] = unknowns[number].at(steps[number])
            moved_back.add(number)

        for number, unknown in enumerate(unknowns):
            values.append(unknown.at(steps[number]))
            if values[number] is None:
                drawn = float(steps[number])
                move_back(number, _greatest(partial(_allowed, unknown, drawn)))
        made = self._put(values)
        while clash := self._clash(made):
            before = list(values)

            def agrees(part: float, clash: list[int] = clash, before: list[Any] = before) -> bool:
                """Whether this contradiction is gone at a part of the steps."""
                tried = list(before)
                for number in clash:
                    tried[number] = unknowns[number].at(part * steps[number])
                return self._clash(self._put(tried)) != clash

            part = _greatest(agrees)
            for number in clash:
                move_back(number, part)
            made = self._put(values)
        return made, moved_back

    def _put(self, values: Sequence[Any]) -> list[System]:
        made = [
            put(section, nested({path: values[number] for path, number in places}))
            for section, places in self.shared
        ]
        return [
            system.model_copy(update={field: made[i] for field, i in uses.items()})
            for system, uses in zip(self.plain, self.uses, strict=True)
        ]

    def _clash(self, made: Sequence[System]) -> list[int]:
        """Return the unknowns that the first contradiction comes from; none when all is well."""
        for d, system in enumerate(made):
            for complaint in check(system):
                paths = {(d, path) for path in (complaint.path, *complaint.related)}
                found = [i for i, each in enumerate(self.unknowns) if paths & set(each.places)]
                return found or list(range(len(self.unknowns)))
        return []


def _allowed(unknown: Unknown, drawn: float, part: float) -> bool:
    return unknown.at(part * drawn) is not None


def _greatest(holds: Callable[[float], bool]) -> float:
    """Return the greatest share, nearly, for which something holds; it does for 0."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
