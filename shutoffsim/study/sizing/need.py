"""The torque that this valve needs, over its service life and by how often it is exercised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from shutoffsim.model.layout import YEAR
from shutoffsim.study.sizing.valves import (
    AGE_FACTOR,
    LEVEL,
    Demands,
    Valves,
    draw_demands,
    torques,
)

YEARS = (0.0, 1.0, 3.0, 5.0, 10.0, 20.0)
SHARES = (0.5, 0.95, 0.99)
DAY = 86400.0
INTERVALS = (("never", np.inf), ("yearly", YEAR), ("monthly", 30.0 * DAY), ("weekly", 7.0 * DAY))
IN_USE = "in use"
_DEMANDS = 16


@dataclass(frozen=True)
class Need:
    """Torque needed at a leak demand, at one time and exercise interval.

    Attributes
    ----------
    exercise : str
        "in use", "never", "yearly", "monthly" or "weekly".
    interval, years : float
        Exercise interval, s; time since commissioning, years.
    quantiles : tuple of float
        Torque [N*m] that 50, 95 and 99 % of the demands do not exceed, seized valves left out.
    seized : float
        Share of demands that meet a seized valve: infinite torque.
    """

    exercise: str
    interval: float
    years: float
    quantiles: tuple[float, ...]
    seized: float


@dataclass(frozen=True)
class Makeup:
    """What makes up the torque of a stiff demand (95 %), with the exercise in use.

    Attributes
    ----------
    years : float
        Since commissioning.
    typical : float
        A new valve in the middle of the spread, N*m.
    spread, age, idle : float
        What each adds to it, in this order, N*m; they add up to ``total`` with ``typical``.
    total : float
        Torque that 95 % of the demands do not exceed, N*m.
    seized : float
        Share of demands that meet a seized valve.
    """

    years: float
    typical: float
    spread: float
    age: float
    idle: float
    total: float
    seized: float


def needs(params: Any, valves: Valves, seed: int) -> tuple[Need, ...]:
    """Return the torque needed by exercise interval and time; ``params`` is a record array (1,)."""
    found = []
    for name, interval in ((IN_USE, float(params["exercise"][0])), *INTERVALS):
        changed = params.copy()
        changed["exercise"] = interval
        for years in YEARS:
            demands = draw_demands(changed, valves.n, _DEMANDS, seed, year=years)
            required = torques(changed, valves, demands)
            found.append(
                Need(name, interval, years, quantiles(required, SHARES), _seized(required))
            )
    return tuple(found)


def makeup(params: Any, valves: Valves, seed: int) -> tuple[Makeup, ...]:
    """Return what spread, age and idle time add to the torque needed (95 %), year by year."""
    typical_level = float(np.median(valves.table[:, LEVEL]))
    found = []
    for years in YEARS:
        demands = draw_demands(params, valves.n, _DEMANDS, seed, year=years)
        fresh = Demands(demands.at, np.zeros_like(demands.idle), demands.seize_after, demands.share)
        new = valves.changed(AGE_FACTOR, 1.0)
        middle = new.changed(LEVEL, typical_level)
        steps = [
            quantiles(torques(params, middle, fresh), (0.5,))[0],
            *(
                quantiles(torques(params, chosen, moved), (0.95,))[0]
                for chosen, moved in ((new, fresh), (valves, fresh), (valves, demands))
            ),
        ]
        spread, age, idle = (float(x) for x in np.diff(steps))
        seized = _seized(torques(params, valves, demands))
        found.append(Makeup(years, steps[0], spread, age, idle, steps[-1], seized))
    return tuple(found)


def quantiles(required: Any, shares: Sequence[float]) -> tuple[float, ...]:
    """Return quantiles of the finite torques; nan when all have seized."""
    finite = required[np.isfinite(required)]
    if len(finite) == 0:
        return tuple(float("nan") for _ in shares)
    return tuple(float(x) for x in np.quantile(finite, shares))


def _seized(required: Any) -> float:
    return float(np.mean(np.isinf(required)))
