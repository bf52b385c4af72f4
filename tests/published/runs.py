"""How the checks run the product: scenarios that spoil the perfect system, through the public call.

Runs are kept, so that checks which read different designs of one scenario share it.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from checks import perfect, ratio
from support.agreement import Found

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunks


def words(text: str) -> list[str]:
    return text.split()


def numbers(text: str) -> list[float]:
    return [float(word) for word in words(text)]


@cache
def comparison(
    designs: tuple[str, ...], histories: int, life: str, seed: int = 1
) -> shutoffsim.Comparison:
    scenario = perfect(*designs, life=life)
    return shutoffsim.compare(scenario, histories=histories, seed=seed, workers=2)


def failing(
    designs: tuple[str, ...], number: int, histories: int, life: str
) -> Callable[[], Found]:
    """Return how to find the probability of failure on demand of one of these designs."""

    def find() -> Found:
        result = comparison(designs, histories, life).designs[number]
        share = result.probability_of_failure_on_demand
        return Found(share.value, share.std_error)

    return find


def over_probes(
    changes: str,
    values: Callable[[Any], Any],
    histories: int = 256,
    probes: int = 8,
    life: str = "10 years",
) -> Callable[[], Found]:
    """Return how to find the mean over leaks of a function of the incidents."""

    def find() -> Found:
        setup = Setup.of(perfect(changes, life=life).parameters(), 1, probes=probes)
        tops, bottoms = [], []
        for chunk in run_chunks(setup, 0, histories):
            rows = chunk.rows[0]
            tops.append((rows["weight"] * values(rows)).sum(axis=1))
            bottoms.append(rows["weight"].sum(axis=1))
        value, error = ratio(np.concatenate(tops), np.concatenate(bottoms))
        # what does not vary leaves only rounding
        return Found(value, error if error > 1e-9 * abs(value) else 0.0)

    return find
