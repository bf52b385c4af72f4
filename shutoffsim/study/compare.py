"""Compare designs: expected annual damage of each, and the paired difference to the reference."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import special

from shutoffsim.engine.run import Chunk, Engine, Setup
from shutoffsim.errors import ModelError, PrecisionWarning
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.stopping import StoppingRule
from shutoffsim.estimate.tally import Tally, block_for
from shutoffsim.model import layout as L
from shutoffsim.study import failures
from shutoffsim.study.comparison import FIGURES, Comparison, DesignResult, Difference
from shutoffsim.study.options import Progress, RunOptions, check_count
from shutoffsim.study.runs import run_histories
from shutoffsim.study.steps import all_steps
from shutoffsim.study.worlds.run import MOST_WORLDS, run_worlds
from shutoffsim.version import __version__

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

LEAST_HISTORIES = 1024
MOST_HISTORIES = 1_000_000
LITRE = 1e-3
_FEW_INCIDENTS = 200.0
_LARGE_SHARE = 0.05
_BOUND = "its interval is a bound on what this many histories may miss"


def compare(
    scenario: Scenario,
    designs: Sequence[str] | None = None,
    *,
    precision: float | None = 0.02,
    histories: int | None = None,
    worlds: int = 0,
    seed: int = 1,
    engine: Engine = "batch",
    workers: int = 1,
    progress: Progress | None = None,
    watch: Callable[[Chunk], None] | None = None,
    cluster: Any = None,
    store: Path | None = None,
) -> Comparison:
    """Estimate and compare the expected annual damage of designs.

    Parameters
    ----------
    scenario : Scenario
        From :func:`shutoffsim.load`.
    designs : sequence of str, optional
        Names of the designs to compare; the first is the reference. Default: all of the file.
    precision : float
        Wanted relative standard error of each design's expected annual damage.
    histories : int, optional
        Run exactly so many histories instead.
    worlds : int
        Compare also in so many worlds that differ in everything nobody knows, with a block of
        histories in each; 0: not. They are always computed here, not on a cluster.
    seed : int
        0 to 2**64 - 1. One seed and one question give one result, however it is computed.
    engine : {"batch", "trace"}
        Compiled loop, or SimPy (slow, same numbers).
    workers : int
        Threads.
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.
    watch : callable, optional
        Called with each chunk of incidents, in order.
    cluster : distributed.Client or str, optional
        Compute there instead, with the same numbers; see docs/cluster.md.
    store : pathlib.Path, optional
        With a cluster: folder where finished pieces are kept, so that a run can be taken up again.

    Returns
    -------
    Comparison

    Raises
    ------
    ScenarioError
        Unknown design.
    ModelError
        A number is out of range.

    Examples
    --------
    >>> import shutoffsim
    >>> scenario = shutoffsim.load("scenarios/holiday_cottage.toml")
    >>> result = shutoffsim.compare(scenario, histories=64, seed=1)
    >>> result.histories
    64
    """
    if isinstance(designs, str):
        raise ModelError("designs are not a list", found=f'"{designs[:60]}"', expected="[names]")
    names = tuple(designs) if designs else scenario.designs
    for name in names:
        scenario.design(name)
    if precision is None and histories is None:
        raise ModelError("how long to run is not stated", expected="a precision or histories")
    RunOptions(seed, workers, histories, precision, engine=engine)
    check_count("worlds", worlds, 0, MOST_WORLDS)
    setup = Setup.of(scenario.parameters(names), seed, engine, names=names)
    rule = StoppingRule(precision, LEAST_HISTORIES, MOST_HISTORIES)
    if histories is not None:
        rule = StoppingRule(None, histories, histories)
    hour = scenario.costs(names[0]).per_hour_without_water or 0.0
    years = scenario.service_life / L.YEAR
    tally = Tally(len(names), years, block_for(rule.least), setup.params, hour)

    def take(chunk: Chunk) -> None:
        tally.add(chunk)
        if watch is not None:
            watch(chunk)

    run_histories(
        setup,
        lambda done: rule.next_target(done, largest_error(tally)),
        take,
        workers=workers,
        progress=progress,
        cluster=cluster,
        store=store,
    )
    result = summarise(scenario, names, setup, tally, rule)
    if worlds == 0:
        return result
    found = run_worlds(
        scenario, names, worlds, seed, engine=engine, workers=workers, progress=progress
    )
    return replace(result, worlds=found)


def largest_error(tally: Tally) -> float:
    """Return the largest relative standard error of the designs' expected annual damage.

    A design of which no damage was seen has none that is known, unless it can have no damage.
    """
    if tally.blocks < 2:
        return math.inf
    return max(_relative_error(tally.mean(d, T.LOSS, 0.0)) for d in range(len(tally.total)))


def _relative_error(e: Estimate) -> float:
    if e.bounded and e.value > 0.0 and not math.isfinite(e.high):
        return (e.value - e.low) / 2.0 / e.value  # no cap: what was not seen has no bound
    return e.relative_error


def summarise(
    scenario: Scenario,
    names: tuple[str, ...],
    setup: Setup,
    tally: Tally,
    rule: StoppingRule,
) -> Comparison:
    """Return the comparison that a tally amounts to."""
    results = [_design_result(name, d, tally) for d, name in enumerate(names)]
    differences = []
    for d, name in enumerate(names[1:], start=1):
        found = tally.difference(d, T.LOSS)
        differences.append(
            Difference(name, names[0], found, chance_below_zero(found, tally.blocks))
        )
        if found.bounded and found.value == 0.0 and tally.blocks > 1:
            note = f"no difference to “{names[0]}” was seen; {_BOUND}"
            results[d] = replace(results[d], warnings=(*results[d].warnings, note))
    reached = rule.reached(largest_error(tally))
    if not reached:
        warnings.warn(
            f"precision not reached after {tally.n:,} histories", PrecisionWarning, stacklevel=3
        )
    best, as_good = _best(names, tally)
    steps, totals = all_steps(scenario, names, tally)
    return Comparison(
        scenario=scenario.name,
        scenario_hash=scenario.hash,
        version=__version__,
        seed=setup.seed,
        histories=tally.n,
        probes=setup.probes,
        horizon_years=tally.years,
        currency=scenario.currency,
        engine=setup.engine,
        designs=tuple(results),
        differences=tuple(differences),
        steps=steps,
        totals=totals,
        assumptions=tuple(each._asdict() for each in scenario.assumptions(*names)),
        best=best,
        as_good=as_good,
        reached=reached,
        tally=tally,
    )


def _design_result(name: str, d: int, tally: Tally) -> DesignResult:
    volumes = {
        label: tally.volume_quantile(d, share).linear(1.0 / LITRE)
        for label, share in (("median", 0.5), ("p95", 0.95))
    }
    return DesignResult(
        name=name,
        escaped_volume_l=volumes,
        failure_modes=failures.by_link(tally, d),
        failures_by_subsystem=failures.by_subsystem(tally, d),
        hours_without_water_by_cause={
            name: tally.mean(d, T.FIRST_DRY + cause, 0.0)
            for cause, name in enumerate(L.DRY)
            if tally.total[d, T.FIRST_DRY + cause] > 0.0
        },
        fitting_test={
            name: tally.fitted_share(d, end)
            for end, name in enumerate(L.FITTED)
            if end != L.FITTED_UNTRIED and tally.fitted[d, 1:].sum() > 0
        },
        repairs={
            name: tally.mean(d, T.FIRST_REPAIR + kind, 0.0)
            for kind, name in enumerate(L.REPAIRS)
            if tally.total[d, T.FIRST_REPAIR + kind] > 0.0
        },
        repairs_in_service_life={
            "mean": float(tally.total[d, T.REPAIRS] / tally.n) * tally.years,
            "p95": float(tally.repairs_in_life(d, 0.95)),
        },
        warnings=_cautions(d, tally),
        **{key: known.of(tally, d) for key, known in FIGURES.items()},
    )


def _best(names: tuple[str, ...], tally: Tally) -> tuple[str | None, tuple[str, ...]]:
    """Return the best design, if clearly better than the reference, and those as good as it."""
    if len(names) < 2:
        return None, ()
    damage = tally.total[:, T.LOSS]
    least = int(np.argmin(damage[1:])) + 1
    if not tally.difference(least, T.LOSS).high < 0.0:
        return None, ()
    others = [d for d in range(1, len(names)) if d != least]
    close = [d for d in others if not tally.difference(d, T.LOSS, least).low > 0.0]
    return names[least], tuple(names[d] for d in close)


def _cautions(d: int, tally: Tally) -> tuple[str, ...]:
    notes = []
    incidents = tally.effective_incidents(d)
    damage = tally.mean(d, T.LOSS, 0.0)
    if damage.bounded and tally.blocks > 1:
        seen = "all histories gave the same damage" if damage.value > 0.0 else "no damage"
        notes.append(f"{seen}{'' if damage.value > 0.0 else ' was seen'}; {_BOUND}")
    if 0.0 < incidents < _FEW_INCIDENTS:
        notes.append(
            f"the damage rests on the information of about {incidents:.0f} incidents; "
            "its interval may be too narrow"
        )
    if tally.largest_share(d) > _LARGE_SHARE:
        notes.append(
            f"one incident carries {tally.largest_share(d):.0%} of the expected damage: heavy tail"
        )
    if tally.dropped > 0.0:
        notes.append(f"{tally.dropped:.0f} leaks left out: {L.SLOTS} others were open already")
    return tuple(notes)


def chance_below_zero(e: Estimate, n: int) -> float:
    """Return the chance that the true value is below zero, by the t that its interval has."""
    if e.certain:
        return 0.5 if e.value == 0.0 else float(e.value < 0.0)
    if e.bounded:  # nothing tells how likely what was not seen is
        return 1.0 if e.high < 0.0 else 0.0 if e.low > 0.0 else math.nan
    return float(special.stdtr(n - 1, -e.value / e.std_error))
