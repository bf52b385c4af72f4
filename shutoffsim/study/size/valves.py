"""What is not known of the valve and its actuator, and what meets them: draws of both."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.model.quantiles import FIXED, LOGNORMAL
from shutoffsim.model.valve import age_growth
from shutoffsim.study.size.strokes import try_strokes
from shutoffsim.study.use import rests_of_life
from shutoffsim.study.valves import Valves, quantiles_of

if TYPE_CHECKING:
    from shutoffsim.study.fit_torque.belief import Belief

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Demands:
    """Demands to close, ``m`` for each of ``n`` valves.

    Attributes
    ----------
    at, idle, strokes, seize_after, share : float arrays (n, m)
        Time since commissioning, time since the valve last moved, s; strokes that the actuator
        has made; idle time after which the valve seizes, s; uniform number of the share of
        breakaway torque that closing takes.
    """

    at: Array
    idle: Array
    strokes: Array
    seize_after: Array
    share: Array


def believed(params: Any, belief: Belief | None) -> Any:
    """Return parameters (k,) whose distributions of the valve are those of a belief.

    Histories draw the valve's properties independently, while in a belief they hang together. So
    age factor and idle growth are fixed at their medians, and new torque is log-normal with the
    mean and spread that torque has in mid-life.
    """
    if belief is None:
        return params
    params = params.copy()
    factor = np.asarray(belief.age_factor, float)
    middle = params["valve_age"][0] + params["service_life"][0] / 2.0
    typical = float(np.median(factor))
    reference = float(params["valve_age_reference"][0])
    growth = age_growth(factor, middle, reference) / age_growth(typical, middle, reference)
    level = np.log(np.asarray(belief.level, float) * growth)
    share = np.log(np.asarray(belief.closing_share, float))
    scatter = math.hypot(float(np.std(share)), float(np.median(belief.scatter)))
    params["valve_breakaway"] = (LOGNORMAL, float(np.mean(level)), float(np.std(level)), 0.0)
    params["valve_age_factor"] = (FIXED, typical, 0.0, 0.0)
    params["valve_idle_growth"] = float(np.median(belief.idle_growth))
    params["valve_closing_share"] = (LOGNORMAL, float(np.mean(share)), scatter, 0.0)
    return params


def draw_demands(params: Any, n: int, m: int, seed: int) -> Demands:
    """Draw demands over the service life as leaks come, with the rests that histories show.

    Parameters
    ----------
    params : record array (1,)
        The design.
    n, m : int
        Valves, and demands of each.
    seed : int
    """
    p = params[0]
    found = rests_of_life(params, seed, (n, m))
    draws = np.random.default_rng([seed, 2]).random((2, n, m))
    share = (np.arange(m) + draws[0]) / m
    share = np.random.default_rng([seed, 4]).permuted(share, axis=1)
    seize_after = quantiles_of(p.valve_seize_time, draws[1])
    return Demands(found.at, found.rest, found.strokes, seize_after, share)


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
    opening : float array (n, m)
        Torque to open it again [N*m].
    stuck : int8 array (k, n, m)
        1: it was shut, and cannot be opened again.
    """

    outcomes: NDArray[np.int8]
    required: Array
    available: Array
    opening: Array
    stuck: NDArray[np.int8]


def try_all(params: Any, valves: Valves, demands: Demands, seed: int, *, mains: bool) -> Tries:
    """Try each demand on each valve with each actuator in ``params`` (record array (k,)).

    What happens by chance whatever the torque (sticking, travel that ends short) is left out.
    """
    params = params.copy()
    for name in ("actuator_stick_chance", "actuator_short_chance", "actuator_strip_chance"):
        params[name] = 0.0
    k, (n, m) = len(params), demands.at.shape
    outcomes = np.zeros((k, n, m), np.int8)
    required, available, opening = np.zeros((n, m)), np.zeros((k, n, m)), np.zeros((n, m))
    stuck = np.zeros((k, n, m), np.int8)
    try_strokes(
        params,
        valves.table,
        demands.at,
        demands.idle,
        demands.seize_after,
        demands.strokes,
        int(mains),
        np.uint64(seed),
        outcomes,
        required,
        available,
        opening,
        stuck,
    )
    return Tries(outcomes, required, available, opening, stuck)
