"""Size the actuator: which rating still closes this valve after years, and at what price."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.optimize import brentq

from shutoffsim.errors import ModelError
from shutoffsim.model import layout as L
from shutoffsim.model.layout import YEAR
from shutoffsim.model.quantiles import quantile
from shutoffsim.scenario.resolve import Design
from shutoffsim.study.cautions import SIZING, surge_words
from shutoffsim.study.options import Progress, RunOptions
from shutoffsim.study.size import advice, ladder, need, prices, shortfall, supply, worth
from shutoffsim.study.size.result import Sizing
from shutoffsim.study.size.valves import believed, draw_demands
from shutoffsim.study.size.window import find_window
from shutoffsim.study.surge import surge_of
from shutoffsim.study.torque import source_of, stall_figures, torque_over_years
from shutoffsim.study.valves import draw_valves
from shutoffsim.version import __version__

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario
    from shutoffsim.study.fit_torque.belief import Belief

TARGET = 0.01
CONFIDENCE = 0.9
HISTORIES = 1024
MOST_HISTORIES = 1_000_000
CLAMP = "clamped actuator"


def choose_design(scenario: Scenario, name: str | None = None) -> Design:
    """Return the design to size: by name, or the last one with a clamped actuator.

    Raises
    ------
    ScenarioError
        When there is no design of that name.
    ModelError
        When nothing is clamped onto the valve in it, or in any design.
    """
    if name is not None:
        design = scenario.design(name)
        if not design.system.element.traits.clamped:
            raise ModelError(
                "there is no clamped actuator to size in this design",
                found=f'"{name}" with element.kind = "{design.system.element.kind}"',
                expected=f'a design with element.kind = "{CLAMP}"',
                hint=_others(scenario),
            )
        return design
    for design in reversed(scenario.resolved):
        if design.system.element.traits.clamped:
            return design
    raise ModelError(
        "no design of this scenario has a clamped actuator to size",
        found=", ".join(f'"{d.system.element.kind}"' for d in scenario.resolved),
        expected=f'a design with element.kind = "{CLAMP}"',
    )


def _others(scenario: Scenario) -> str | None:
    names = [f'"{d.name}"' for d in scenario.resolved if d.system.element.traits.clamped]
    return f"choose one of {', '.join(names)}" if names else None


def size(
    scenario: Scenario,
    design: str | None = None,
    *,
    target: float = TARGET,
    confidence: float = CONFIDENCE,
    measurements: str | Path | None = None,
    belief: Belief | None = None,
    ratings: Sequence[str | float] | None = None,
    scale: ladder.Scale = "gears",
    price: Sequence[str] = (),
    seed: int = 1,
    workers: int = 1,
    histories: int = HISTORIES,
    progress: Progress | None = None,
) -> Sizing:
    """Size the clamped actuator of a design.

    Parameters
    ----------
    scenario : Scenario
        From :func:`shutoffsim.load`.
    design : str, optional
        Its name; by default the last one with a clamped actuator.
    target : float
        Probability of failure on demand that torque may have.
    confidence : float
        Share of valves like this one on which it must hold.
    measurements : str or Path, optional
        Readings of this valve's torque, for :func:`shutoffsim.study.fit_torque.fit_torque`.
    belief : optional
        What to believe of the valve, in their place.
    ratings : sequence of str or float, optional
        Ratings to compare, such as ``"4 N*m"``; the design's own is added. Default: eight or so
        about the needed one.
    scale : {"gears", "motor"}
        How a rating that no class of the library has changes the design's data sheet.
    price : sequence of str
        Prices such as ``"6 N*m = 120 EUR"``.
    seed : int
        0 to 2**64 - 1.
    workers : int
        Threads; they never change a result.
    histories : int
        Of each rating and each exercise interval.
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.

    Returns
    -------
    Sizing

    Raises
    ------
    ScenarioError
        When there is no such design.
    ModelError
        When it has no clamped actuator, or a number is out of range.
    """
    chosen_design = choose_design(scenario, design)
    _check(target, confidence, scale)
    RunOptions(seed, workers, histories, least_histories=2, most_histories=MOST_HISTORIES)
    stated = prices.read_prices(price, scenario.currency)
    given = ladder.read_ratings(ratings) if ratings is not None else None
    if measurements is not None:
        from shutoffsim.study.fit_torque import fit_torque

        fit = fit_torque(measurements, scenario, chosen_design.name, seed=seed)
        belief = fit.belief

    surge = surge_of(chosen_design.system)
    assert surge is not None  # what is clamped on closes
    params = scenario.parameters([chosen_design.name])
    params["commissioning_test"] = L.TEST_NONE  # the question is what to buy
    params["repairs_next_class_after"] = 0
    n, m = shortfall.sizes(target)
    valves = draw_valves(params[0], n, seed, belief)
    demands = draw_demands(params, n, m, seed)
    used = torque_over_years(params, seed, belief)
    worn = used[-1].strokes
    asked = (valves, demands, seed, target, confidence, worn)
    rungs, on_rungs = _rungs(scenario, chosen_design, params, given, scale, asked)
    own = next(number for number, rung in enumerate(rungs) if rung.own)
    values = tuple(rung.rating for rung in rungs)
    trial = shortfall.try_ladder(on_rungs, values, own, *asked)
    window = find_window(params, trial, confidence)
    chosen = advice.choose(trial.rows, target, confidence)
    limit = None
    if chosen is not None:
        limit = _spare_the_stem(on_rungs[chosen : chosen + 1], values[chosen], asked)
    usual, closing, _ = used[-1].needed

    known = {
        rating: amount
        for rating, amount in prices.scenario_prices(scenario, chosen_design).items()
        if any(ladder.is_same(rating, value) for value in values)
    }
    paid = prices.on_rungs({**known, **stated}, values)
    step = _Steps(progress, 2 * histories)
    tally, _strokes = worth.run(
        believed(on_rungs, belief), histories, seed, workers, step, chosen_design.name
    )
    worths = worth.rate_ladder(tally, values, own, paid, params["service_life"][0] / YEAR)
    step.done = histories
    costs = chosen_design.system.costs
    curve = worth.interval_curve(
        believed(params, belief),
        histories,
        seed,
        workers,
        costs,
        paid.get(values[own], costs.purchase),
        step,
        chosen_design.name,
    )
    return Sizing(
        scenario=scenario.name,
        scenario_hash=scenario.hash,
        version=__version__,
        design=chosen_design.name,
        currency=scenario.currency,
        seed=seed,
        valves=n,
        demands=m,
        histories=histories,
        horizon_years=float(params["service_life"][0]) / YEAR,
        target=target,
        confidence=confidence,
        scale=scale,
        belief=valves.source,
        exercise=float(params["exercise_interval"][0]),
        stall_cutoff=float(params["actuator_stall_cutoff"][0]),
        attempts=int(params["actuator_retries"][0]) + 1,
        needs=need.needs(params, used, seed, belief),
        makeup=need.makeup(used),
        conditions=supply.conditions(params, usual, closing, worn),
        closing_torques=(usual, closing),
        stall=supply.stall_curve(params, worn),
        surge=surge,
        window=window,
        rungs=rungs,
        shortfalls=trial.rows,
        worths=worths,
        needed_rating=trial.needed_rating,
        battery_share=trial.battery_share,
        recommended=None
        if chosen is None or not (limit is None or limit.enough(target, confidence))
        else rungs[chosen].rating,
        current_limit=None if limit is None else limit.current,
        curve=curve,
        recommendation=advice.recommend(rungs, trial.rows, chosen, target, confidence, limit),
        reasons=advice.reason(
            rungs,
            trial.rows,
            chosen,
            window,
            _strong(on_rungs, own if chosen is None else chosen, confidence),
            target,
            confidence,
            limit,
        ),
        cautions=(*SIZING, surge_words(surge)),
        assumptions=tuple(row._asdict() for row in scenario.assumptions(chosen_design.name)),
    )


class _Steps:
    """Progress over several runs as one."""

    def __init__(self, progress: Progress | None, planned: int) -> None:
        self.progress = progress
        self.planned = planned
        self.done = 0

    def __call__(self, done: int, _planned: int) -> None:
        if self.progress is not None:
            self.progress(self.done + done, self.planned)


def _rungs(
    scenario: Scenario,
    design: Design,
    params: Any,
    given: tuple[float, ...] | None,
    scale: ladder.Scale,
    asked: tuple[Any, ...],
) -> tuple[tuple[ladder.Rung, ...], Any]:
    """Return the rungs: those given, or those about the rating that is needed."""
    own = design.system.actuator.stall_torque
    if given is None:
        first = shortfall.try_ladder(params, (own,), 0, *asked)
        about = first.needed_rating
        about = about if 0.0 < about < math.inf else own
        given = ladder.default_ratings(design, about)
    near = [r for r in given if not ladder.is_same(r, own)]
    return ladder.build(scenario, design, sorted({own, *near}), scale)


def _strong(params: Any, number: int, confidence: float, current: float = math.inf) -> float:
    """Return the torque [N*m] of a strong unit of rung ``number`` on its supply.

    ``current`` [A] limits that of the motor further.
    """
    limited = params[number : number + 1].copy()
    limited["actuator_current_limit"] = np.minimum(limited["actuator_current_limit"], current)
    p = limited[0]
    voltage, resistance = source_of(p)
    unit = quantile(p.actuator_unit_spread, confidence)
    return float(stall_figures(p, unit, 0.0, voltage, resistance, 0.0)[0])


def _spare_the_stem(params: Any, rating: float, asked: tuple[Any, ...]) -> advice.Limit | None:
    """Return the limit of current that a rating (record array (1,)) needs, or None.

    ``asked`` is what :func:`shutoffsim.study.size.shortfall.try_ladder` takes after the rungs.
    """
    confidence = asked[-2]
    bound, strong = float(params["valve_stem_limit"][0]), _strong(params, 0, confidence)
    if strong <= bound:
        return None
    idle, stall = (float(params[f"actuator_{name}_current"][0]) for name in ("no_load", "stall"))
    current = float(
        brentq(lambda x: _strong(params, 0, confidence, x) - bound, idle, 10.0 * stall, xtol=1e-6)
    )
    current = math.floor(current * 20.0) / 20.0  # as a person would set it, on the safe side
    limited = params.copy()
    limited["actuator_current_limit"] = current
    return advice.Limit(
        current, strong, bound, shortfall.try_ladder(limited, (rating,), 0, *asked).rows[0]
    )


def _check(target: float, confidence: float, scale: str) -> None:
    wrong: tuple[str, object, str] | None = None
    if not 0.001 <= target <= 0.5:
        wrong = ("target-pfd", target, "a probability from 0.1 % to 50 %")
    elif not 0.5 <= confidence <= 0.99:
        wrong = ("confidence", confidence, "a share of valves from 50 % to 99 %")
    elif scale not in ladder.SCALED:
        wrong = ("scale", scale, '"gears" or "motor"')
    if wrong is not None:
        raise ModelError(f"{wrong[0]} is out of range", found=str(wrong[1]), expected=wrong[2])
