"""Assess a scenario: everything that a risk summary shows, computed once."""

from __future__ import annotations

import shlex
import warnings
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from shutoffsim.engine.placement import place
from shutoffsim.engine.run import PROBES, Chunk
from shutoffsim.errors import ModelError, PrecisionWarning
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import block_for
from shutoffsim.model import layout as L
from shutoffsim.study.assessment.ledger import collect_values, failure_on_demand
from shutoffsim.study.assessment.loss_parts import Removal, YearlyLoss
from shutoffsim.study.assessment.losses import LossTally
from shutoffsim.study.assessment.maintenance import maintenance
from shutoffsim.study.assessment.removals import NOT_REMOVABLE, run_removals
from shutoffsim.study.assessment.result import Assessment, DesignAssessment
from shutoffsim.study.assessment.sensitivity import vary_assumptions
from shutoffsim.study.assessment.shares import mode_shares, step_times
from shutoffsim.study.assessment.stories import tell
from shutoffsim.study.assessment.torque import torque_at_ages, torque_of
from shutoffsim.study.assessment.worth import worth
from shutoffsim.study.assessment.yearly import PERIODS, claims, yearly_losses
from shutoffsim.study.compare import LEAST_HISTORIES, compare
from shutoffsim.study.comparison import Comparison
from shutoffsim.study.incidents import in_order, incident_table
from shutoffsim.study.options import Progress, check_count
from shutoffsim.study.periods import checked_periods
from shutoffsim.study.steps import savings
from shutoffsim.study.surge import surge_of

if TYPE_CHECKING:
    import pyarrow as pa

    from shutoffsim.scenario import Scenario

REMOVAL_HISTORIES: Final = 512
SWING_HISTORIES: Final = 256
KEPT_HISTORIES: Final = 256  # whose incidents are kept
_MOST_KEPT = 100_000  # incidents
STAGES: Final = ("designs", "failure modes removed", "assumptions varied")

Stage = Callable[[str], None]


def assess(
    scenario: Scenario,
    designs: Sequence[str] | None = None,
    *,
    chosen: str | None = None,
    precision: float | None = 0.02,
    histories: int | None = None,
    worlds: int = 0,
    seed: int = 1,
    workers: int = 1,
    progress: Progress | None = None,
    stage: Stage | None = None,
    where: str | None = None,
    removal_histories: int = REMOVAL_HISTORIES,
    swing_histories: int = SWING_HISTORIES,
    return_periods: Sequence[float] | None = None,
) -> Assessment:
    """Compute everything that a risk summary shows of a scenario.

    Parameters
    ----------
    scenario : Scenario
        From :func:`shutoffsim.load`.
    designs : sequence of str, optional
        Designs to compare; the first is the reference. Default: all of the file.
    chosen : str, optional
        The design that the summary is about. Default: the best of the comparison, or the last
        where none is clearly better than the reference.
    precision, histories, worlds, seed, workers
        As for :func:`shutoffsim.compare`, whose figures come out the same.
    progress : callable, optional
        Called as ``progress(done, planned)``, anew in each stage.
    stage : callable, optional
        Called with the name of each stage as it begins, one of :data:`STAGES`.
    where : str, optional
        The scenario's file, for the command that computes the same again.
    removal_histories, swing_histories : int
        Most histories for each failure mode removed, and for each assumption varied; never more
        than the comparison took. 0 leaves that part out.
    return_periods : sequence of float, optional
        Years; return periods at which losses are reported. Default: 2 to 250.

    Returns
    -------
    Assessment

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
    >>> result = assess(scenario, histories=64, removal_histories=0, swing_histories=0)
    >>> result.designs[0].name == result.reference
    True
    """
    names = tuple(designs) if designs else scenario.designs
    _check(scenario, names, chosen, removal_histories, swing_histories)
    periods = checked_periods(PERIODS if return_periods is None else return_periods)
    begin = stage if stage is not None else _nothing
    block = block_for(histories if histories is not None else LEAST_HISTORIES)
    years = scenario.service_life / L.YEAR
    losses = LossTally(len(names), years, block, scenario.parameters(names))
    kept: list[Any] = []
    most_kept = min(KEPT_HISTORIES, max(_MOST_KEPT // (len(names) * PROBES), 1))

    def watch(chunk: Chunk) -> None:
        losses.add(chunk)
        if chunk.first < most_kept:
            kept.append(in_order(chunk.rows[:, : most_kept - chunk.first]))

    begin(STAGES[0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", PrecisionWarning)  # reported in the result instead
        comparison = compare(
            scenario,
            names,
            precision=precision,
            histories=histories,
            worlds=worlds,
            seed=seed,
            workers=workers,
            progress=progress,
            watch=watch,
        )
    about = chosen or comparison.best or names[-1]
    begin(STAGES[1])
    removals = _removals(scenario, names, losses, comparison, removal_histories, workers, progress)
    begin(STAGES[2])
    sensitivity = None
    if swing_histories and about != names[0]:
        least = min(swing_histories, comparison.histories)
        sensitivity = vary_assumptions(
            scenario,
            about,
            names[0],
            seed,
            least,
            placement=place(scenario.parameters(names)),
            workers=workers,
            progress=progress,
        )
    return Assessment(
        scenario=scenario.name,
        description=scenario.description,
        scenario_hash=scenario.hash,
        version=comparison.version,
        currency=scenario.currency,
        seed=seed,
        histories=comparison.histories,
        probes=comparison.probes,
        horizon_years=comparison.horizon_years,
        reference=names[0],
        chosen=about,
        question=_question(names),
        answer=comparison.answer(),
        command=_command(where, scenario, names, comparison, seed),
        comparison=comparison,
        designs=_designs(scenario, names, losses, comparison, removals, periods),
        stories=tuple(story for name in names for story in tell(scenario, name, seed)),
        sensitivity=sensitivity,
        values=collect_values(scenario, names),
        warnings=_warnings(comparison),
        incidents=_incidents(scenario, names, kept),
    )


def _nothing(_name: str) -> None:
    """Report nothing when a stage begins."""


def _check(scenario: Scenario, names: tuple[str, ...], chosen: str | None, *histories: int) -> None:
    for name in names:
        scenario.design(name)
    if len(set(names)) < len(names):
        raise ModelError(
            "a design is named twice", found=", ".join(names), expected="each design once"
        )
    if chosen is not None:
        scenario.design(chosen)
        if chosen not in names:
            raise ModelError(
                "the chosen design is not among those compared",
                found=f'"{chosen}"',
                expected="one of " + ", ".join(f'"{name}"' for name in names),
            )
    for name, value in zip(("removal_histories", "swing_histories"), histories, strict=True):
        check_count(name, value, 0, 1_000_000)


def _question(names: tuple[str, ...]) -> str:
    if len(names) == 1:
        return f"What water damage is expected with “{names[0]}”, and what causes it?"
    return (
        f"Which of {len(names)} designs reduces expected water damage against “{names[0]}”, by how "
        "much, and with what certainty?"
    )


def _command(
    where: str | None,
    scenario: Scenario,
    names: tuple[str, ...],
    comparison: Comparison,
    seed: int,
) -> str:
    parts = ["shutoffsim", "compare", where or "SCENARIO.toml"]
    if names != scenario.designs:
        for name in names:
            parts += ["--design", name]
    parts += ["--histories", str(comparison.histories), "--seed", str(seed)]
    return shlex.join(parts)


def _removals(
    scenario: Scenario,
    names: tuple[str, ...],
    losses: LossTally,
    comparison: Comparison,
    histories: int,
    workers: int,
    progress: Progress | None,
) -> list[tuple[Removal, ...]]:
    if histories == 0:
        return [() for _name in names]
    params = scenario.parameters(names)
    there = losses.mode_leaks.sum(axis=1) > 0.0
    modes = [
        [mode for number, mode in enumerate(L.MODES) if number and there[d, number]]
        for d in range(len(names))
    ]
    least = min(histories, comparison.histories)
    return run_removals(params, modes, place(params), comparison.seed, least, workers, progress)


def _designs(
    scenario: Scenario,
    names: tuple[str, ...],
    losses: LossTally,
    comparison: Comparison,
    removals: list[tuple[Removal, ...]],
    periods: Sequence[float],
) -> tuple[DesignAssessment, ...]:
    tally = comparison.tally
    assert tally is not None
    params = scenario.parameters(names)
    values = collect_values(scenario, names)
    curves: tuple[YearlyLoss, ...] = yearly_losses(losses, periods)
    reference = scenario.design(names[0]).system
    repairs = [tally.mean(d, T.RUNNING, 0.0).value for d in range(len(names))]
    found = []
    for d, name in enumerate(names):
        design = scenario.design(name)
        torque = torque_of(params[d], comparison.seed)
        modes = mode_shares(losses, d)
        benefit, reason = None, "it is the reference"
        if d > 0:
            benefit, reason = worth(
                design.system,
                reference,
                *savings(tally, d, 0),
                comparison.horizon_years,
                (repairs[d], repairs[0]),
            )
        found.append(
            DesignAssessment(
                name=name,
                description=design.description,
                element=design.system.element.kind,
                yearly_loss=curves[d],
                modes=modes,
                removals=removals[d],
                not_removable={
                    m.mode: NOT_REMOVABLE[m.mode] for m in modes if m.mode in NOT_REMOVABLE
                },
                times=step_times(losses, d),
                torque=torque_at_ages(torque),
                demand=failure_on_demand(tally, d, name, values),
                maintenance=maintenance(design.system, params[d], comparison.seed, torque),
                worth=benefit,
                no_worth=reason,
                surge=surge_of(design.system),
                claims=claims(losses, d),
            )
        )
    return tuple(found)


def _warnings(comparison: Comparison) -> tuple[str, ...]:
    told = [] if comparison.reached else ["the requested precision was not reached"]
    for design in comparison.designs:
        told += [f"“{design.name}”: {warning}" for warning in design.warnings]
    return tuple(told)


def _incidents(scenario: Scenario, names: tuple[str, ...], kept: list[Any]) -> pa.Table:
    rows = np.concatenate(kept)
    return incident_table(rows, scenario, names, scenario.parameters(names))
