"""Designs as they are in a world: drawn values put into what is resolved already, and checked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.scenario.checks import check
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import Path, nested
from shutoffsim.scenario.variants import put
from shutoffsim.study.worlds.unknowns import Unknown

_HALVINGS = 20

Array = NDArray[np.float64]


def systems(
    designs: Sequence[Design], unknowns: Sequence[Unknown], steps: Array
) -> tuple[list[System], set[int]]:
    """Return the designs of one world.

    A value that the schema refuses goes back toward the value in use, as far as it must. Values
    that contradict each other go back together, by the same share of their steps.

    Parameters
    ----------
    designs : sequence of Design
    unknowns : sequence of Unknown
        Of these designs.
    steps : array (unknowns,)

    Returns
    -------
    systems : list of System
    moved_back : set of int
        Numbers of the unknowns that are not where they were drawn.
    """
    values: list[Any] = []
    moved_back: set[int] = set()
    steps = np.array(steps)

    def move_back(number: int, part: float) -> None:
        steps[number] *= part
        values[number] = unknowns[number].at(steps[number])
        moved_back.add(number)

    for number, unknown in enumerate(unknowns):
        values.append(unknown.at(steps[number]))
        if values[number] is None:
            drawn = float(steps[number])
            move_back(number, _greatest(partial(_allowed, unknown, drawn)))
    made = _put(designs, unknowns, values)
    while clash := _clash(made, unknowns):
        before = list(values)

        def agrees(part: float, clash: list[int] = clash, before: list[Any] = before) -> bool:
            """Whether this contradiction is gone at a part of the steps."""
            tried = list(before)
            for number in clash:
                tried[number] = unknowns[number].at(part * steps[number])
            return _clash(_put(designs, unknowns, tried), unknowns) != clash

        part = _greatest(agrees)
        for number in clash:
            move_back(number, part)
        made = _put(designs, unknowns, values)
    return made, moved_back


def _allowed(unknown: Unknown, drawn: float, part: float) -> bool:
    return unknown.at(part * drawn) is not None


def _put(
    designs: Sequence[Design], unknowns: Sequence[Unknown], values: Sequence[Any]
) -> list[System]:
    changes: list[dict[Path, Any]] = [{} for _ in designs]
    for unknown, value in zip(unknowns, values, strict=True):
        for d, path in unknown.places:
            changes[d][path] = value
    return [put(design.system, nested(own)) for design, own in zip(designs, changes, strict=True)]


def _clash(made: Sequence[System], unknowns: Sequence[Unknown]) -> list[int]:
    """Return the unknowns that the first contradiction comes from; none when all is well."""
    for d, system in enumerate(made):
        for complaint in check(system):
            paths = {(d, path) for path in (complaint.path, *complaint.related)}
            found = [number for number, each in enumerate(unknowns) if paths & set(each.places)]
            return found or list(range(len(unknowns)))
    return []


def _greatest(holds: Callable[[float], bool]) -> float:
    """Return the greatest share, nearly, for which something holds; it does for 0."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
