"""What each rating and each exercise interval is worth: whole histories, the same ones for all."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from shutoffsim.engine.run import Chunk, Setup
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate, with_interval
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.scenario.schema.money import Costs
from shutoffsim.study.options import Progress
from shutoffsim.study.runs import run_histories

PROBES = 16
DAY = 86400.0
INTERVALS = tuple(days * DAY for days in (3, 7, 14, 30, 90, 180, 365.25))
WORN_OUT = 0.2  # share of torque lost at which an actuator is written off, assumption
FLAT = 0.02


#: Links that hang on torque, and those that come before the closing element is asked.
TORQUE = L.modes_that(lambda mode: mode.stage == "torque")
EARLIER = L.modes_that(lambda mode: mode.stage in ("not fitted", "sensing", "logic"))


@dataclass(frozen=True)
class RatingWorth:
    """What whole histories say of one rating.

    Attributes
    ----------
    rating : float
        N*m.
    failure : Estimate
        Share of the demands of leaks that torque or what it broke left open: undersized torque,
        seized or broken valve, brown-out, burnt motor, stripped gears, slipped mount.
    modes : dict of str to float
        What makes it up.
    damage : Estimate
        Expected annual damage.
    step : Estimate or None
        Reduction of it by the step up from the rating below.
    gain : Estimate
        Reduction of it against the rating in use; negative: it is more.
    price : float or None
        Price, if stated.
    step_price : float or None
        What the step costs a year of the service life, if both prices are stated.
    """

    rating: float
    failure: Estimate
    modes: Mapping[str, float]
    damage: Estimate
    step: Estimate | None
    gain: Estimate
    price: float | None
    step_price: float | None


@dataclass(frozen=True)
class IntervalCost:
    """One exercise interval.

    Attributes
    ----------
    interval : float
        s; inf: never.
    damage : Estimate
        Expected annual damage.
    wear : float
        What exercising costs a year: as stated for an exercise, else the share of the actuator's
        price that its strokes use up.
    total : Estimate
        Damage, upkeep and exercising a year.
    excess : Estimate
        ``total`` less the least one, paired history by history.
    """

    interval: float
    damage: Estimate
    wear: float
    total: Estimate
    excess: Estimate


@dataclass(frozen=True)
class IntervalCurve:
    """Cost by exercise interval.

    Attributes
    ----------
    rows : tuple of IntervalCost
        Shortest interval first.
    best : float
        Interval of the least total, s.
    flat : tuple of float
        Shortest and longest interval of the run around ``best`` that stays within 2 % of it.
    alike : tuple of float
        The same for the run that is not distinguishable from the minimum (95 %).
    upkeep : float
        Stated upkeep a year, the same for all intervals.
    wear_from : str
        Where the cost of exercising comes from; empty when there is none.
    histories : int
    """

    best: float
    flat: tuple[float, float]
    alike: tuple[float, float]
    upkeep: float = field(metadata={"key": "upkeep_per_year"})
    wear_from: str
    histories: int
    rows: tuple[IntervalCost, ...]


def run(
    params: Any,
    histories: int,
    seed: int,
    workers: int,
    progress: Progress | None = None,
    name: str = "",
) -> tuple[Tally, Any]:
    """Run histories; return the tally and the mean number of strokes a year of each design.

    The records are variants of the design ``name``.
    """
    setup = Setup.of(params, seed, "batch", PROBES, [name] * len(params))
    years = float(params["service_life"][0]) / L.YEAR
    tally = Tally(len(params), years, params=params)
    strokes = np.zeros(len(params))

    def take(chunk: Chunk) -> None:
        tally.add(chunk)
        strokes[:] += chunk.summary["strokes"].sum(axis=1)

    run_histories(setup, histories, take, workers=workers, progress=progress)
    return tally, strokes / tally.n / years


def share(tally: Tally, d: int, top: Sequence[int], less: Sequence[int] = ()) -> Estimate:
    """Return leaks of the modes ``top`` over all leaks less those of ``less``, linearised."""
    upper, lower = np.zeros(T.FIGURES), np.zeros(T.FIGURES)
    upper[[T.FIRST_MODE + mode for mode in top]] = 1.0
    lower[T.LEAKS] = 1.0
    lower[[T.FIRST_MODE + mode for mode in less]] = -1.0
    whole = float(lower @ tally.total[d])
    if whole <= 0.0 or tally.blocks < 2:
        return Estimate(math.nan, math.nan, 0.0, 1.0)
    value = float(upper @ tally.total[d]) / whole
    if value <= 0.0:
        return Estimate(0.0, math.nan, 0.0, min(3.0 / tally.n, 1.0))
    if value >= 1.0 - 1e-12:
        return Estimate(1.0, math.nan, max(1.0 - 3.0 / tally.n, 0.0), 1.0)
    gap = upper - value * lower
    square = max(float(gap @ tally.products[d] @ gap), 0.0)
    error = tally.error_of(square, whole)
    return with_interval(value, error, tally.blocks, 0.0, 1.0)


def rate_ladder(
    tally: Tally, ratings: Sequence[float], own: int, prices: Mapping[float, float], years: float
) -> tuple[RatingWorth, ...]:
    """Return what the tally of a ladder (one design a rating) amounts to."""
    rows = []
    for d, rating in enumerate(ratings):
        modes = {L.MODES[mode]: share(tally, d, (mode,), EARLIER).value for mode in TORQUE}
        step, step_price = None, None
        price, before = prices.get(rating), None
        if d > 0:
            step = -tally.difference(d, T.LOSS, d - 1)
            before = prices.get(ratings[d - 1])
        if price is not None and before is not None:
            step_price = (price - before) / years
        rows.append(
            RatingWorth(
                rating=rating,
                failure=share(tally, d, TORQUE, EARLIER),
                modes={mode: value for mode, value in modes.items() if value > 0.0},
                damage=tally.mean(d, T.LOSS, 0.0),
                step=step,
                gain=-tally.difference(d, T.LOSS, own),
                price=price,
                step_price=step_price,
            )
        )
    return tuple(rows)


def interval_curve(
    params: Any,
    histories: int,
    seed: int,
    workers: int,
    costs: Costs,
    price: float | None,
    progress: Progress | None = None,
    name: str = "",
) -> IntervalCurve:
    """Return cost by exercise interval for the design ``params`` (record array (1,)).

    Where no cost of an exercise is stated, an actuator is written off when its strokes have taken
    a fifth of its torque (assumption), and each stroke costs its share of the price.
    """
    own = float(params["exercise_interval"][0])
    wanted = {
        x for x in (*INTERVALS, own, math.inf) if x < params["service_life"][0] or x == math.inf
    }
    fits = sorted(x for x in wanted if x > params["exercise_outage"][0])
    designs = np.concatenate([params] * len(fits)).view(np.recarray)
    designs["exercise_interval"] = fits
    tally, strokes = run(designs, histories, seed, workers, progress, name)
    exercises = L.YEAR / np.array(fits)
    upkeep = costs.upkeep_per_year or 0.0
    if costs.per_exercise is not None:
        wear, source = costs.per_exercise * exercises, "the stated cost of an exercise"
    elif price is not None:
        # An exercise is there and back.
        share_a_stroke = float(params["actuator_wear"][0]) / WORN_OUT
        wear = price * share_a_stroke * (strokes + exercises)
        source = "wear: price times the share of the actuator's life used up by its strokes"
    else:
        wear, source = np.zeros(len(fits)), ""
    damages = [tally.mean(d, T.LOSS, 0.0) for d in range(len(fits))]
    totals = [e.linear(1.0, upkeep + w) for e, w in zip(damages, wear, strict=True)]
    least = min(range(len(fits)), key=lambda d: totals[d].value)
    rows = tuple(
        IntervalCost(
            interval=fits[d],
            damage=damages[d],
            wear=float(wear[d]),
            total=totals[d],
            excess=tally.difference(d, T.LOSS, least).linear(1.0, float(wear[d] - wear[least])),
        )
        for d in range(len(fits))
    )
    return IntervalCurve(
        rows=rows,
        best=fits[least],
        flat=_run(rows, least, lambda row: row.excess.value <= FLAT * rows[least].total.value),
        alike=_run(rows, least, lambda row: row.excess.low <= 0.0),
        upkeep=upkeep,
        wear_from=source,
        histories=tally.n,
    )


def _run(
    rows: Sequence[IntervalCost], least: int, holds: Callable[[IntervalCost], bool]
) -> tuple[float, float]:
    """Return the ends of the unbroken run of intervals about ``least`` for which ``holds``."""
    first = last = least
    while first > 0 and holds(rows[first - 1]):
        first -= 1
    while last < len(rows) - 1 and holds(rows[last + 1]):
        last += 1
    return rows[first].interval, rows[last].interval
