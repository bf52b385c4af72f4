"""How a valve is used: its rests and its actuator's strokes at a demand, off whole histories.

The histories are those of the design with a valve that nothing holds: it moves at every command
and its actuator works. So the use of a valve does not hang on how stiff it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.look import look
from shutoffsim.engine.placement import CELLS, fill_rates
from shutoffsim.model import layout as L
from shutoffsim.model.quantiles import FIXED

Array = NDArray[np.float64]

YEARS = (0.0, 1.0, 3.0, 5.0, 10.0, 20.0)
HISTORIES = 2048
_UNEXERCISED = 30.0 * 86400.0  # s: how long before a year to look where nothing is exercised
_LIVES, _LOOKS = 512, 16  # histories, and looks into each, for demands over the whole life


@dataclass(frozen=True)
class Use:
    """Valves that stand open before some year, one of each history.

    Attributes
    ----------
    years : float
        Since commissioning.
    age, rest, strokes : float arrays (n,)
        Of those that can be turned: age and time since the last movement, s; strokes that the
        actuator has made.
    seized : float
        Share of those that cannot.
    """

    years: float
    age: Array
    rest: Array
    strokes: Array
    seized: float


@dataclass(frozen=True)
class Rests:
    """When demands come over the service life, as leaks do, and what the valve did before.

    Attributes
    ----------
    at, rest, strokes : float arrays (n, m)
        Time since commissioning and since the last movement, s; strokes that the actuator has made.
    """

    at: Array
    rest: Array
    strokes: Array


def years_of(p: Any) -> tuple[float, ...]:
    """Return the years that are reported: :data:`YEARS` within its life, and its end."""
    life = float(p.service_life) / L.YEAR
    return (*(year for year in YEARS if year < life * (1.0 - 1e-9)), life)


def uses(params: Any, seed: int) -> tuple[Use, ...]:
    """Return what histories look like before each of :func:`years_of`.

    Each is looked at once within one exercise interval before the year, so that all of the interval
    counts alike.

    Parameters
    ----------
    params : record array (1,)
        The design.
    seed : int
        0 to 2**64 - 1.
    """
    p = params[0]
    years = np.array(years_of(p))
    interval = float(p.exercise_interval) if math.isfinite(p.exercise_interval) else _UNEXERCISED
    spans = np.minimum(np.diff(years, prepend=0.0) * L.YEAR, min(interval, L.YEAR))
    seen = look(_freed(params), seed, years * L.YEAR, spans, HISTORIES)
    found = []
    for i, year in enumerate(years):
        s, rest = seen.states[0, :, i], seen.at[:, i] - seen.states[0, :, i].moved_at
        stuck = (s.broken != L.SOUND) | (rest > s.seize_after)
        is_open = _open(s.position)
        kept = is_open & ~stuck
        found.append(
            Use(
                years=float(year),
                age=(year * L.YEAR - s.born_at)[kept],
                rest=rest[kept],
                strokes=s.strokes[kept],
                seized=float(np.mean(stuck[is_open])),
            )
        )
    return tuple(found)


def rests_of_life(params: Any, seed: int, shape: tuple[int, int]) -> Rests:
    """Return what demands (n, m) meet over the service life; each row has them as leaks come.

    Seizing is left out: valves here never do.

    Parameters
    ----------
    params : record array (1,)
        The design.
    seed : int
    shape : tuple of int
    """
    free = _freed(params)
    free["valve_seize_time"] = (FIXED, math.inf, 0.0, 0.0)
    life = float(params["service_life"][0])
    ends = life * np.arange(1, _LOOKS + 1) / _LOOKS
    seen = look(free, seed, ends, np.full(_LOOKS, life / _LOOKS), _LIVES)
    s = seen.states[0]
    kept = _open(s.position)
    at, rest, strokes = seen.at[kept], (seen.at - s.moved_at)[kept], s.strokes[kept]
    order = np.argsort(at, kind="stable")
    weight = _leaks_at(params, at[order])
    edges = np.cumsum(weight) / weight.sum()
    n, m = shape
    u = (np.arange(m) + np.random.default_rng([seed, 3]).random((n, m))) / m
    pick = order[np.minimum(np.searchsorted(edges, u), len(order) - 1)]
    return Rests(at[pick], rest[pick], strokes[pick])


def _freed(params: Any) -> Any:
    free = params.copy()
    free["valve_breakaway"] = (FIXED, 1e-9, 0.0, 0.0)
    free["actuator_failure_rate"] = 0.0
    return free


def _open(position: Any) -> NDArray[np.bool_]:
    """Return which valves a demand can close; all, where none is open."""
    found = np.asarray(position == L.OPEN)
    return found if found.any() else np.ones(found.shape, bool)


def _leaks_at(params: Any, at: Array) -> Array:
    """Return how often leaks come at each time, but for a factor; alike where none do."""
    life = float(params["service_life"][0])
    rates = np.zeros((1, int(params["n_sources"][0]), CELLS))
    fill_rates(params, life / CELLS, rates)
    found = rates[0].sum(axis=0)[np.minimum((at / life * CELLS).astype(np.int64), CELLS - 1)]
    return found if found.sum() > 0.0 else np.ones(len(at))
