"""Runs a comparison over worlds: a block of fresh histories in each, the same for all designs."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.run import Engine, Setup, in_order, run_chunk
from shutoffsim.model import layout as L
from shutoffsim.model.streams import BLOCK
from shutoffsim.scenario import Scenario
from shutoffsim.scenario.parameters import compile_parameters
from shutoffsim.scenario.schema import System
from shutoffsim.study.assessment.worth import annuity, exercise_cost
from shutoffsim.study.options import Progress
from shutoffsim.study.worlds import information
from shutoffsim.study.worlds.draw import steps
from shutoffsim.study.worlds.make import Maker
from shutoffsim.study.worlds.result import (
    Decision,
    DesignOverWorlds,
    OverWorlds,
    UnknownWorth,
    Worlds,
)
from shutoffsim.study.worlds.spread import best_shares, chance_below_zero, contract
from shutoffsim.study.worlds.unknowns import Unknown, unknowns

MOST_WORLDS = 100_000
PROBES = 16  # a history: worlds differ by far more than what more of them would settle
_FIRST = 5  # unknowns that are named
_HOUR = 3600.0

Array = NDArray[np.float64]


class _Made(NamedTuple):
    """A world to run."""

    number: int
    params: Any


def run_worlds(
    scenario: Scenario,
    names: Sequence[str],
    worlds: int,
    seed: int,
    *,
    engine: Engine = "batch",
    workers: int = 1,
    progress: Progress | None = None,
) -> Worlds:
    """Compare designs in worlds that differ in everything that nobody knows.

    Parameters
    ----------
    scenario : Scenario
    names : sequence of str
        Designs; the first is the reference.
    worlds : int
        1 to 100,000.
    seed, engine, workers, progress
        As of :func:`shutoffsim.compare`.
    """
    designs = [scenario.design(name) for name in names]
    found = unknowns(designs)
    drawn = steps([each.name for each in found], worlds, seed)
    maker = Maker(designs, found)
    moved_back: Counter[str] = Counter()

    def made() -> Iterator[_Made]:
        for number in range(worlds):
            own, back = maker.systems(drawn[number])
            moved_back.update({found[i].key for i in back})
            where = (scenario.source_names, scenario.sensor_names, scenario.zone_names)
            yield _Made(number, compile_parameters(own, *where))

    prices = [design.system.costs.per_hour_without_water or 0.0 for design in designs]
    years = scenario.service_life / L.YEAR

    def run(world: _Made, guard: Any) -> tuple[Array, Array]:
        """Return damage, and cost of repairs and dry hours, a year: arrays (k, histories)."""
        setup = Setup.of(world.params, seed, engine, PROBES, names)
        chunk = run_chunk(setup, world.number * BLOCK, BLOCK, guard)
        damage = (chunk.rows["weight"] * chunk.rows["mean_loss"]).sum(axis=2)
        dry = chunk.summary["dry"].sum(axis=2) / _HOUR
        upkeep = chunk.summary["repair_cost"] + dry * np.array(prices)[:, None]
        return damage / years, upkeep / years

    damages, upkeeps = [], []
    for world, (damage, upkeep) in in_order(run, made(), workers):
        damages.append(damage)
        upkeeps.append(upkeep)
        if progress is not None:
            progress((world.number + 1) * BLOCK, worlds * BLOCK)
    paid = _paid([design.system for design in designs], years)
    return summarise(
        names,
        found,
        drawn,
        np.array(damages),
        np.array(upkeeps),
        paid,
        dict(sorted(moved_back.items())),
    )


def summarise(
    names: Sequence[str],
    found: Sequence[Unknown],
    drawn: Array,
    damages: Array,
    upkeeps: Array,
    paid: Array | None,
    moved_back: dict[str, int],
) -> Worlds:
    """Return what worlds say.

    Parameters
    ----------
    names : sequence of str
        Designs (k).
    found : sequence of Unknown
    drawn : array (worlds, unknowns)
        Their steps.
    damages, upkeeps : array (worlds, k, histories)
        Yearly damage, and cost of repairs and dry hours.
    paid : array (k,), optional
        What each design costs a year besides; None where it is not stated.
    moved_back : dict
        See :class:`Worlds`.
    """
    worlds, _k, histories = damages.shape
    costs = damages if paid is None else damages + upkeeps + paid[:, None]
    damage, noise = _freed(damages, bool(found))
    cost, _ = _freed(costs, bool(found))
    least, cheapest = best_shares(damage), best_shares(cost)
    designs = [
        DesignOverWorlds(
            name,
            OverWorlds.of(damage[:, d]),
            float(least[d]),
            OverWorlds.of(damage[:, d] - damage[:, 0]) if d else None,
            _chance(damage, noise, d) if d else None,
            None if paid is None else OverWorlds.of(cost[:, d]),
            None if paid is None else float(cheapest[d]),
        )
        for d, name in enumerate(names)
    ]
    decision: Decision = "expected annual damage" if paid is None else "total cost"
    benefit = -costs
    middle = histories // 2
    halves = (benefit[..., :middle].mean(axis=2), benefit[..., middle:].mean(axis=2))
    whole = benefit.mean(axis=2)
    worth = information.single(drawn, whole)
    order = sorted(range(len(found)), key=lambda i: (-worth[i], found[i].name))[:_FIRST]
    return Worlds(
        worlds=worlds,
        histories=histories,
        probes=PROBES,
        unknowns=len(found),
        moved_back=moved_back,
        designs=tuple(designs),
        decision=decision,
        information=information.perfect(whole, halves) if found else (0.0, 0.0),
        first=tuple(_worth(found[i], float(worth[i])) for i in order if worth[i] > 0.0),
        reduction=max([0.0] + [-d.difference.mean for d in designs if d.difference is not None]),
        keys=tuple(each.key for each in found),
        steps=drawn,
        damage=damages.mean(axis=2),
        cost=None if paid is None else costs.mean(axis=2),
    )


def _freed(values: Array, varied: bool) -> tuple[Array, Array]:
    """Return the means (worlds, k) of worlds without noise, and the noise (k, k) of one."""
    worlds, _k, histories = values.shape
    means = values.mean(axis=2)
    away = values - means[:, :, None]
    noise = np.einsum("wih,wjh->ij", away, away) / (worlds * (histories - 1) * histories)
    if not varied:
        return np.repeat(means.mean(axis=0)[None, :], worlds, axis=0), noise
    return contract(means, noise), noise


def _chance(damage: Array, noise: Array, d: int) -> float:
    variance = noise[d, d] - 2.0 * noise[0, d] + noise[0, 0]
    error = math.sqrt(max(variance, 0.0) / len(damage))
    return chance_below_zero(damage[:, d] - damage[:, 0], error, float(damage.max(initial=0.0)))


def _worth(unknown: Unknown, worth: float) -> UnknownWorth:
    return UnknownWorth(
        unknown.key,
        unknown.entries,
        unknown.shown(0.0),
        unknown.shown(-1.0),
        unknown.shown(1.0),
        unknown.evidence,
        unknown.source,
        worth,
    )


def _paid(designs: Sequence[System], years: float) -> Array | None:
    """Return price, upkeep and exercises of designs a year; None where too little is stated."""
    found, stated = [], False
    for system in designs:
        costs = system.costs
        parts = (costs.purchase, costs.fitting, costs.upkeep_per_year)
        if all(part is None for part in parts):
            if system.element.traits.automated:
                return None
        else:
            stated = True
        first = (costs.purchase or 0.0) + (costs.fitting or 0.0)
        yearly = (costs.upkeep_per_year or 0.0) + exercise_cost(system)
        found.append(first / annuity(costs.discount_rate, years) + yearly)
    return np.array(found) if stated else None
