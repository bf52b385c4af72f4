"""What is not known of the valve and its actuator, and what meets them: draws of both."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from shutoffsim.engine.placement import CELLS, fill_rates
from shutoffsim.model import layout as L
from shutoffsim.model.quantiles import FIXED, LOGNORMAL, quantile
from shutoffsim.model.valve import age_growth
from shutoffsim.study.sizing.strokes import closing_torques, fill_quantiles, try_strokes

Array = NDArray[np.float64]

FROM_SCENARIO = "the scenario's distributions, without measurements"


class BeliefLike(Protocol):
    """What measurements leave to believe of a valve: equally likely draws, arrays of one length."""

    @property
    def level(self) -> Any:
        """Breakaway torque when new, N*m."""

    @property
    def age_factor(self) -> Any:
        """Factor on it at the reference age."""

    @property
    def idle_growth(self) -> Any:
        """Growth c of 1 + c ln(1 + weeks)."""

    @property
    def closing_share(self) -> Any:
        """Torque to close as a share of breakaway."""

    @property
    def scatter(self) -> Any:
        """Log standard deviation of single strokes about the law."""

    @property
    def source(self) -> str:
        """Where it comes from."""


@dataclass(frozen=True)
class Valves:
    """Draws of one valve with one actuator on it, equally likely.

    Attributes
    ----------
    table : float array (n, 9)
        New breakaway torque [N*m], age factor, idle growth, unit factor, preload kept, and the
        four numbers of the distribution of the closing share, drawn per demand.
    source : str
        Where what concerns the valve comes from.
    """

    table: Array
    source: str

    @property
    def n(self) -> int:
        """Number of draws."""
        return len(self.table)

    def changed(self, column: int, values: Any) -> Valves:
        """Return the same draws with one column replaced."""
        table = self.table.copy()
        table[:, column] = values
        return Valves(table, self.source)


LEVEL, AGE_FACTOR, IDLE_GROWTH, UNIT, PRELOAD = range(5)
SHARE = slice(5, 9)


@dataclass(frozen=True)
class Demands:
    """Demands to close, ``m`` for each of ``n`` valves.

    Attributes
    ----------
    at, idle, seize_after, share : float arrays (n, m)
        Time since commissioning, time since the valve last moved, idle time after which it
        seizes, s; uniform number of the share of breakaway torque that closing takes.
    """

    at: Array
    idle: Array
    seize_after: Array
    share: Array


def quantiles_of(distribution: Any, u: Array) -> Array:
    """Return the quantiles at ``u`` of a distribution as the model draws it."""
    values = np.empty(u.size)
    fill_quantiles(np.asarray(distribution, float), u.ravel(), values)
    return values.reshape(u.shape)


def draw_valves(p: Any, n: int, seed: int, belief: BeliefLike | None = None) -> Valves:
    """Draw valves and actuators from a scrambled Sobol' sequence.

    Parameters
    ----------
    p : record
        Parameters of the design.
    n : int
        How many, a power of two.
    seed : int
        Of the scrambling.
    belief : BeliefLike, optional
        Draws to take in place of the scenario's distributions of the valve.
    """
    u = qmc.Sobol(4, rng=np.random.default_rng([seed, 1])).random(n)
    u = np.clip(u, 1e-9, 1.0 - 1e-9)
    unit, preload = quantiles_of(p.unit_spread, u[:, 2]), quantiles_of(p.preload_kept, u[:, 3])
    if belief is None:
        level = quantiles_of(p.breakaway, u[:, 0])
        age_factor = quantiles_of(p.age_factor, u[:, 1])
        growth, source = np.full(n, float(p.idle_growth)), FROM_SCENARIO
        share = np.tile(np.asarray(p.closing_share, float), (n, 1))
    else:
        draws = len(belief.level)
        pick = np.minimum((u[:, 0] * draws).astype(np.int64), draws - 1)
        level = np.asarray(belief.level, float)[pick]
        age_factor = np.asarray(belief.age_factor, float)[pick]
        growth, source = np.asarray(belief.idle_growth, float)[pick], belief.source
        share = np.zeros((n, 4))
        share[:, 0] = LOGNORMAL
        share[:, 1] = np.log(np.asarray(belief.closing_share, float)[pick])
        share[:, 2] = np.asarray(belief.scatter, float)[pick]
    return Valves(np.column_stack([level, age_factor, growth, unit, preload, share]), source)


def believed(params: Any, belief: BeliefLike | None) -> Any:
    """Return parameters (k,) whose distributions of the valve are those of a belief.

    Histories draw the valve's properties independently, while in a belief they hang together. So
    age factor and idle growth are fixed at their medians, and new torque is log-normal with the
    mean and spread that torque has in mid-life.
    """
    if belief is None:
        return params
    params = params.copy()
    factor = np.asarray(belief.age_factor, float)
    middle = params["valve_age"][0] + params["horizon"][0] / 2.0
    typical = float(np.median(factor))
    reference = float(params["age_reference"][0])
    growth = age_growth(factor, middle, reference) / age_growth(typical, middle, reference)
    level = np.log(np.asarray(belief.level, float) * growth)
    share = np.log(np.asarray(belief.closing_share, float))
    scatter = math.hypot(float(np.std(share)), float(np.median(belief.scatter)))
    params["breakaway"] = (LOGNORMAL, float(np.mean(level)), float(np.std(level)), 0.0)
    params["age_factor"] = (FIXED, typical, 0.0, 0.0)
    params["idle_growth"] = float(np.median(belief.idle_growth))
    params["closing_share"] = (LOGNORMAL, float(np.mean(share)), scatter, 0.0)
    return params


def other_closings(p: Any) -> float:
    """Return the rate [1/s] of closings besides exercise: nuisance, and being away."""
    rate = float(p.nuisance_rate + p.rule_nuisance_rate)
    if p.close_when_away == 1 and p.trips == 1:
        cycle = quantile(p.stay, 0.5) + quantile(p.trip, 0.5)
        rate += float(p.away_mode) / cycle
    return rate


def stroke_rate(p: Any) -> float:
    """Return strokes of the actuator per second: two an exercise, one a closing."""
    exercises = 2.0 / p.exercise if p.exercise < np.inf else 0.0
    return float(exercises) + other_closings(p)


def draw_demands(params: Any, n: int, m: int, seed: int, *, year: float | None = None) -> Demands:
    """Draw demands over the service life as leaks come, or all at one age.

    The time since the last movement is that since the last exercise or other closing, each taken
    to have succeeded; before the first one, it counts from commissioning.

    Parameters
    ----------
    params : record array (1,)
        The design.
    n, m : int
        Valves, and demands of each.
    seed : int
    year : float, optional
        All demands come so many years after commissioning.
    """
    p = params[0]
    rng = np.random.default_rng([seed, 2])
    stratum = (np.arange(m) + rng.random((n, m))) / m
    if year is None:
        at = _leak_times(params, stratum)
        since = np.where(at < p.exercise, at, np.fmod(at, p.exercise))
        since = at if p.exercise == np.inf else since
    else:
        at = np.full((n, m), year * L.YEAR)
        at = np.maximum(at, 1e-6)
        since = at if p.exercise == np.inf else np.minimum(stratum * p.exercise, at)
    since = np.where(since >= at, at + p.idle_start, since)
    rate = other_closings(p)
    draws = rng.random((3, n, m))
    if rate > 0.0:
        since = np.minimum(since, -np.log1p(-draws[0]) / rate)
    share = rng.permuted((np.arange(m) + draws[1]) / m * np.ones((n, 1)), axis=1)
    seize_after = quantiles_of(p.seize_time, draws[2])
    return Demands(at, since, seize_after, share)


def _leak_times(params: Any, u: Array) -> Array:
    """Return times [s] at the quantiles ``u`` of the expected leaks' distribution over life."""
    horizon = float(params["horizon"][0])
    rates = np.zeros((1, int(params["n_sources"][0]), CELLS))
    fill_rates(params, horizon / CELLS, rates)
    mass = rates[0].sum(axis=0)
    if mass.sum() <= 0.0:
        return u * horizon
    edges = np.concatenate([[0.0], np.cumsum(mass) / mass.sum()])
    return np.interp(u, edges, np.linspace(0.0, horizon, CELLS + 1))


@dataclass(frozen=True)
class Tries:
    """How closings ended.

    Attributes
    ----------
    outcomes : int8 array (k, n, m)
        MODE_... by actuator, valve and demand.
    required : float array (n, m)
        Torque to close [N*m]; inf: seized.
    available : float array (k, n, m)
        Torque at stall [N*m].
    """

    outcomes: NDArray[np.int8]
    required: Array
    available: Array


def try_all(params: Any, valves: Valves, demands: Demands, seed: int, *, mains: bool) -> Tries:
    """Try each demand on each valve with each actuator in ``params`` (record array (k,)).

    What happens by chance whatever the torque (sticking, travel that ends short) is left out.
    """
    params = params.copy()
    for name in ("stick_chance", "short_chance", "strip_chance"):
        params[name] = 0.0
    k, (n, m) = len(params), demands.at.shape
    outcomes = np.zeros((k, n, m), np.int8)
    required, available = np.zeros((n, m)), np.zeros((k, n, m))
    try_strokes(
        params,
        valves.table,
        demands.at,
        demands.idle,
        demands.seize_after,
        stroke_rate(params[0]),
        int(mains),
        np.uint64(seed),
        outcomes,
        required,
        available,
    )
    return Tries(outcomes, required, available)


def torques(params: Any, valves: Valves, demands: Demands) -> Array:
    """Return torque to close [N*m], shape (n, m); inf when the valve has seized."""
    required = np.zeros(demands.at.shape)
    closing_torques(
        params,
        valves.table,
        demands.at,
        demands.idle,
        demands.seize_after,
        demands.share,
        required,
    )
    return required
