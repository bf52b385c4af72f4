"""How often torque fails on demand, rating by rating, and for which share of valves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.estimate.estimate import Estimate, with_interval
from shutoffsim.model import layout as L
from shutoffsim.study.size.supply import alter, share_on_battery
from shutoffsim.study.size.valves import Demands, Tries, try_all
from shutoffsim.study.torque import SHARES, quantile_of
from shutoffsim.study.valves import UNIT, Valves

VALVES = 1024
LEAST_DEMANDS, MOST_DEMANDS = 256, 2048
_TRIES = VALVES * LEAST_DEMANDS
_BAD_DAY_DEMANDS = 64

UNDERSIZED, BROWN_OUT, SLIPPED, SHEARED, NO_ENERGY, SEIZED = (
    "undersized torque",
    "brown-out",
    "mount slips",
    "stem shears",
    "battery too small",
    "seized",
)
_MODES = {
    int(L.MODE_UNDERSIZED): UNDERSIZED,
    int(L.MODE_BROWN_OUT): BROWN_OUT,
    int(L.MODE_MOUNT_SLIPPED): SLIPPED,
    int(L.MODE_SEIZED): SHEARED,
    int(L.MODE_NO_POWER): NO_ENERGY,
}


@dataclass(frozen=True)
class Shortfall:
    """How one rating fares, as far as torque goes.

    Attributes
    ----------
    rating : float
        N*m.
    available : float
        Torque at stall on the supply, a unit in the middle of the spread in mid-life, N*m.
    failure : Estimate
        Probability that torque fails on demand, mean over valves, with the interval of the
        simulation. Seized valves are not in it.
    valves_low, valves_high : float
        Its 5 and 95 % quantiles over valves: what not knowing the valve leaves open.
    parts : dict of str to float
        What makes it up, by how it fails.
    seized : float
        Share of demands that meet a seized valve, whatever the rating.
    meets : Estimate
        Share of valves on which it stays at or below the target.
    bad_day : float
        The same probability as ``failure`` if every demand came on a bad day.
    headroom : tuple of float
        Torque available over the torque that 50, 95 and 99 % of the demands need.
    stuck : float
        Share of the demands after which the shut valve cannot be opened again.
    """

    rating: float
    available: float
    failure: Estimate
    valves_low: float
    valves_high: float
    parts: Mapping[str, float]
    seized: float
    meets: Estimate
    bad_day: float
    headroom: tuple[float, ...]
    stuck: float


@dataclass(frozen=True)
class Trial:
    """All closings tried: by rating, valve and demand.

    Attributes
    ----------
    rows : tuple of Shortfall
        One a rating.
    needed_rating : float
        Smallest rating [N*m] that meets the target with the confidence, from undersized torque
        alone, as the design's own data sheet scales on its supply.
    needed_torque : float
        The same as torque at the shaft, N*m.
    battery_share : float
        Share of demands served from the battery.
    """

    rows: tuple[Shortfall, ...]
    needed_rating: float
    needed_torque: float
    battery_share: float


def sizes(target: float) -> tuple[int, int]:
    """Return how many valves and demands of each resolve a target probability."""
    wanted = 2.0 ** math.ceil(math.log2(2.0 / target))
    m = int(min(max(wanted, LEAST_DEMANDS), MOST_DEMANDS))
    n = max(_TRIES // m, 512)
    return n, m


def failures(tries: Tries) -> dict[str, NDArray[np.bool_]]:
    """Return arrays (k, n, m) that say how each closing failed, seized valves apart."""
    seized = np.isinf(tries.required)[None]
    found = {name: (tries.outcomes == number) & ~seized for number, name in _MODES.items()}
    found[SEIZED] = np.broadcast_to(seized, tries.outcomes.shape)
    return found


def try_ladder(
    params: Any,
    ratings: tuple[float, ...],
    own: int,
    valves: Valves,
    demands: Demands,
    seed: int,
    target: float,
    confidence: float,
    worn: float,
) -> Trial:
    """Try every demand on every valve with every rating.

    Parameters
    ----------
    params : record array (k,)
        One a rating; number ``own`` is the design as it is.
    ratings : tuple of float
        N*m.
    own : int
    valves, demands : Valves, Demands
        What is tried.
    seed : int
    target, confidence : float
        Wanted probability of failure on demand, and share of valves that shall meet it.
    worn : float
        Strokes that an actuator has made at the end of its life.
    """
    battery = share_on_battery(params[own])
    tried = try_all(params, valves, demands, seed, mains=True)
    by_valve = {name: flags.mean(axis=2) for name, flags in failures(tried).items()}
    if battery > 0.0:
        on_battery = try_all(params, valves, demands, seed, mains=False)
        for name, flags in failures(on_battery).items():
            by_valve[name] = (1.0 - battery) * by_valve[name] + battery * flags.mean(axis=2)
    worst = _bad_day_failures(params, own, valves, demands, seed, worn)
    rows = tuple(
        _row(rating, r, by_valve, tried, float(worst[r]), target)
        for r, rating in enumerate(ratings)
    )
    seized = np.isinf(tried.required)
    with np.errstate(divide="ignore"):  # a supply that gives no torque: no rating is enough
        rating_needed = tried.required * (ratings[own] / tried.available[own])
    return Trial(
        rows=rows,
        needed_rating=_needed(rating_needed, seized, target, confidence),
        needed_torque=_needed(tried.required, seized, target, confidence),
        battery_share=battery,
    )


def _row(
    rating: float,
    r: int,
    by_valve: Mapping[str, NDArray[np.float64]],
    tried: Tries,
    worst: float,
    target: float,
) -> Shortfall:
    parts = {name: float(values[r].mean()) for name, values in by_valve.items() if name != SEIZED}
    failing = np.sum([v[r] for name, v in by_valve.items() if name != SEIZED], axis=0)
    n = len(failing)
    error = float(failing.std(ddof=1) / math.sqrt(n))
    met = float(np.mean(failing <= target + 1e-12))
    met_error = math.sqrt(max(met * (1.0 - met), 0.0) / n)
    available = float(np.median(tried.available[r]))
    finite = tried.required[np.isfinite(tried.required)]
    needed = [quantile_of(finite, share) for share in SHARES]
    low, high = np.quantile(failing, (0.05, 0.95))
    failure = with_interval(float(failing.mean()), error, n, 0.0, 1.0)
    if failure.value == 0.0:
        failure = Estimate(0.0, math.nan, 0.0, min(3.0 / n, 1.0))
    return Shortfall(
        rating=rating,
        available=available,
        failure=failure,
        valves_low=float(low),
        valves_high=float(high),
        parts={name: share for name, share in parts.items() if share > 0.0},
        seized=float(by_valve[SEIZED][r].mean()),
        meets=with_interval(met, met_error, n, 0.0, 1.0),
        bad_day=worst,
        headroom=tuple(available / x for x in needed),
        stuck=float(tried.stuck[r].mean()),
    )


def _bad_day_failures(
    params: Any, own: int, valves: Valves, demands: Demands, seed: int, worn: float
) -> NDArray[np.float64]:
    """Return the mean probability by rating (k,) if every demand came on a bad day."""
    changed = alter(params)
    changed["actuator_wear"] = 0.0
    # Worn out from the start: the unit's torque is lowered by what a service life takes.
    left = np.maximum(1.0 - params["actuator_wear"][own] * worn, 0.0)
    aged = valves.changed(UNIT, valves.table[:, UNIT] * left)
    few = Demands(
        *(part[:, :: max(part.shape[1] // _BAD_DAY_DEMANDS, 1)] for part in vars(demands).values())
    )
    shares = []
    for mains in (True, False) if params["battery_fitted"][own] == 1 else (True,):
        found = failures(try_all(changed, aged, few, seed, mains=mains))
        failing = np.sum([v for name, v in found.items() if name != SEIZED], axis=0)
        shares.append(failing.mean(axis=(1, 2)))
    worst: NDArray[np.float64] = np.max(shares, axis=0)
    return worst


def _needed(
    required: NDArray[np.float64], seized: NDArray[np.bool_], target: float, confidence: float
) -> float:
    """Return the ``confidence`` quantile over valves of the torque that meets the target."""
    m = required.shape[1]
    finite = np.sort(np.where(seized, -np.inf, required), axis=1)
    allowed = math.floor(target * m + 1e-9)
    enough = finite[:, m - 1 - allowed]
    needed = np.sort(np.maximum(enough, 0.0))
    at = min(max(math.ceil(confidence * len(needed)) - 1, 0), len(needed) - 1)
    return float(needed[at])
