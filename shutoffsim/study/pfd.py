"""Probability of failure on demand of one design, to a stated relative error, also when rare."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from shutoffsim.engine.run import Engine, Setup
from shutoffsim.errors import ModelError
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.plain import plain_fields
from shutoffsim.estimate.stopping import StoppingRule
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.study import failures, options
from shutoffsim.study.options import Progress, RunOptions, check_count
from shutoffsim.study.runs import run_histories
from shutoffsim.version import __version__

if TYPE_CHECKING:
    import pandas as pd

    from shutoffsim.scenario import Scenario

PROBES = 4
EXTRA_PROBES = 128
LEAST_HISTORIES = 2048
MOST_HISTORIES = 4_000_000
MOST_UNSEEN = 65_536  # histories without a failure after which to stop with an upper bound
RULE_OF_THREE = 3.0  # none of n: a chance above 3 / n would have shown with 95 %
HALF_PLAIN = 2.0  # of the histories one half runs as ever, and each of them carries leaks
METHOD = (
    "extra probes while automation is impaired; half of the histories aimed at stiff valves, "
    "random failures, dead sensors and dead batteries, with weights that keep the estimate unbiased"
)


@dataclass(frozen=True)
class FailureOnDemand:
    """The result of :func:`failure_on_demand`.

    Attributes
    ----------
    scenario, scenario_hash, version, design, method : str
    seed, histories : int
    horizon_years : float
    probability : Estimate
        Share of leaks that automation did not stop in time.
    modes : dict of str to Estimate
        Share of leaks by first broken link, largest first; they add up to ``probability``.
    subsystems : dict of str to Estimate
        The same by where the link stands: sensing, logic and power, closing element, time.
    given_a_demand : Estimate
        Of the leaks that sensing did not miss, the share that was not stopped in time.
    reached : bool
        Whether the asked-for relative error was reached.
    """

    scenario: str
    scenario_hash: str
    version: str
    design: str
    method: str
    seed: int
    histories: int
    horizon_years: float
    probability: Estimate = field(metadata={"key": "probability_of_failure_on_demand"})
    modes: dict[str, Estimate] = field(metadata={"key": "failure_modes"})
    subsystems: dict[str, Estimate] = field(metadata={"key": "failures_by_subsystem"})
    given_a_demand: Estimate = field(metadata={"key": "failure_given_a_demand"})
    reached: bool = field(metadata={"key": "precision_reached"})

    def as_dict(self) -> dict[str, Any]:
        """Return the result as plain data."""
        return plain_fields(self)

    def table(self) -> pd.DataFrame:
        """Return one row per failure mode, and their sum: share, its error and its interval."""
        import pandas as pd

        rows = {**self.modes, "all": self.probability}
        return pd.DataFrame(
            {
                mode: {"share": e.value, "std_error": e.std_error, "low": e.low, "high": e.high}
                for mode, e in rows.items()
            }
        ).T.rename_axis("failure mode")

    def _repr_html_(self) -> str:
        return str(self.table().to_html(float_format=lambda x: f"{x:.3g}"))


def failure_on_demand(
    scenario: Scenario,
    design: str,
    *,
    relative_error: float = 0.05,
    seed: int = 1,
    workers: int = 1,
    engine: Engine = "batch",
    most: int = MOST_HISTORIES,
    progress: Progress | None = None,
) -> FailureOnDemand:
    """Estimate the probability of failure on demand of one design.

    Parameters
    ----------
    scenario : Scenario
    design : str
        Its name.
    relative_error : float
        Wanted standard error over value.
    seed : int
        0 to 2**64 - 1.
    workers : int
        Threads.
    engine : {"batch", "trace"}
        Compiled loop, or SimPy (slow, same numbers).
    most : int
        Histories after which to stop all the same.
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.

    Returns
    -------
    FailureOnDemand

    Raises
    ------
    ScenarioError
        Unknown design.
    ModelError
        A number is out of range.

    Notes
    -----
    Two changes of where histories look, both exact: in stretches in which automation is impaired
    (no power, a dormant failure, a valve too stiff ...) further probes are placed as a Poisson
    process whose rate depends on the history so far, each weighted by leak rate over total probe
    density (Campbell-Mecke formula for a predictable intensity); and half of the histories aim at
    rare failures, weighted by the likelihood ratio, which is at most 2
    (:mod:`shutoffsim.model.aim`).

    A design that shows no failure in 65,536 histories gets an upper bound and no more histories.
    """
    RunOptions(
        seed, workers, precision=relative_error, precision_name="relative_error", engine=engine
    )
    check_count("most", most, 1, options.MOST_HISTORIES)
    setup = Setup.of(scenario.parameters([design]), seed, engine, PROBES, [design])
    setup = replace(setup, extra=EXTRA_PROBES, tilt=True)
    tally = Tally(1, scenario.service_life / L.YEAR, params=setup.params)
    rule = StoppingRule(relative_error, min(LEAST_HISTORIES, most), most)

    def target(done: int) -> int:
        found = tally.share(0, T.FAILED) if done else None
        if found is None or found.value > 0.0:
            return rule.next_target(done, math.inf if found is None else found.relative_error)
        if found.value == 0.0:
            return min(rule.next_target(done, math.inf), max(MOST_UNSEEN, done))
        return done  # no leaks

    run_histories(setup, target, tally.add, workers=workers, progress=progress)
    found = tally.share(0, T.FAILED)
    if not found.value >= 0.0:
        raise ModelError(
            "no leak ever starts in this design: there is no demand",
            where=f"design “{design}”",
            expected="a leak source whose rate is above zero",
        )
    if found.value == 0.0:
        bound = min(HALF_PLAIN * RULE_OF_THREE / tally.n, 1.0)
        found = Estimate(0.0, math.nan, 0.0, bound)
    return FailureOnDemand(
        scenario=scenario.name,
        scenario_hash=scenario.hash,
        version=__version__,
        design=design,
        method=METHOD,
        seed=seed,
        histories=tally.n,
        horizon_years=tally.years,
        probability=found,
        modes=failures.by_link(tally, 0),
        subsystems=failures.by_subsystem(tally, 0),
        given_a_demand=failures.given_a_demand(tally, 0),
        reached=rule.reached(found.relative_error),
    )
