"""The torque that this valve needs, over its service life and by how often it is exercised."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from shutoffsim.model.layout import YEAR
from shutoffsim.study.torque import Torque, torque_over_years

if TYPE_CHECKING:
    from shutoffsim.study.fit_torque.belief import Belief

DAY = 86400.0
INTERVALS = (("never", np.inf), ("yearly", YEAR), ("monthly", 30.0 * DAY), ("weekly", 7.0 * DAY))
IN_USE = "in use"


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


def needs(
    params: Any, used: Sequence[Torque], seed: int, belief: Belief | None = None
) -> tuple[Need, ...]:
    """Return the torque needed by exercise interval and time.

    Parameters
    ----------
    params : record array (1,)
        The design.
    used : sequence of Torque
        Of the design as it is.
    seed : int
    belief : optional
        What is believed of the valve, in place of what ``params`` say.
    """
    own = float(params["exercise_interval"][0])
    found = [_need(IN_USE, own, row) for row in used]
    for name, interval in INTERVALS:
        changed = params.copy()
        changed["exercise_interval"] = interval
        rows = torque_over_years(changed, seed, belief)
        found += [_need(name, interval, row) for row in rows]
    return tuple(found)


def _need(name: str, interval: float, row: Torque) -> Need:
    return Need(name, interval, row.years, row.needed, row.seized)


def makeup(used: Sequence[Torque]) -> tuple[Makeup, ...]:
    """Return what spread, age and idle time add to the torque needed (95 %), year by year."""
    found = []
    for row in used:
        typical, spread, age, idle = row.makeup
        found.append(Makeup(row.years, typical, spread, age, idle, row.needed[1], row.seized))
    return tuple(found)
