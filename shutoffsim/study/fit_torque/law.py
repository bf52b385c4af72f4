"""The torque law as a likelihood: how probable readings are, many sets of parameters at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from shutoffsim.model.valve import torque_to_open
from shutoffsim.study.fit_torque.belief import Array, Prior, at_normal
from shutoffsim.study.fit_torque.times import Complete

_HALF_LOG_2PI = 0.9189385332046727
LEAST_SCATTER = 1e-4
_ROOM = 1 << 20  # numbers in one array at a time

#: Standard normal coordinates of every fit; several valves have one more, see
#: :mod:`shutoffsim.study.fit_torque.valves`.
AGE_FACTOR, IDLE_GROWTH, CLOSING_SHARE, SCATTER, GAUGE, LEVEL = range(6)


class Parameters(NamedTuple):
    """Sets of parameters of the law, ``N`` at once.

    Attributes
    ----------
    level : float array (N, valves)
        Breakaway torque when new, N*m.
    age_factor, idle_growth, closing_share, scatter, gauge : float array (N,)
        See :class:`shutoffsim.study.fit_torque.belief.Prior`.
    """

    level: Array
    age_factor: Array
    idle_growth: Array
    closing_share: Array
    scatter: Array
    gauge: Array


@dataclass(frozen=True)
class Data:
    """Readings as arrays of length ``n``.

    Attributes
    ----------
    low, high : float array
        Logarithms of the limits of torque [N*m], infinite where there is none.
    valve : int array
        Number of the valve.
    closing, gauge : bool array
        Whether it was closed; whether the motor's current was the gauge.
    idle, age : float array
        s.
    valves : tuple of str
    """

    low: Array
    high: Array
    valve: NDArray[np.int64]
    closing: NDArray[np.bool_]
    gauge: NDArray[np.bool_]
    idle: Array
    age: Array
    valves: tuple[str, ...]

    @property
    def exact(self) -> NDArray[np.bool_]:
        """Whether the torque itself is known."""
        return self.low == self.high


def to_data(rows: Sequence[Complete]) -> Data:
    """Return readings as arrays."""
    valves = tuple(dict.fromkeys(row.reading.valve for row in rows))
    with np.errstate(divide="ignore"):
        low = np.log([row.reading.low for row in rows])
        high = np.log([row.reading.high for row in rows])
    return Data(
        low=low,
        high=high,
        valve=np.array([valves.index(row.reading.valve) for row in rows]),
        closing=np.array([row.reading.closing for row in rows]),
        gauge=np.array([row.reading.gauge for row in rows]),
        idle=np.array([row.idle for row in rows]),
        age=np.array([row.age for row in rows]),
        valves=valves,
    )


def expected(data: Data, at: Parameters, prior: Prior) -> Array:
    """Return the logarithm of the torque that each reading should show, shape (N, n)."""
    return np.asarray(np.log(at.level)[:, data.valve] + above_level(data, at, prior))


def above_level(data: Data, at: Parameters, prior: Prior) -> Array:
    """Return the logarithm of that torque over the level of the valve, shape (N, n)."""
    factor, c = at.age_factor[:, None], at.idle_growth[:, None]
    law = np.log(
        torque_to_open(1.0, factor, data.age, prior.age_reference, c, data.idle, prior.idle_cap)
    )
    law += np.where(data.closing, np.log(at.closing_share)[:, None], 0.0)
    if np.any(data.gauge):
        law -= np.where(data.gauge, np.log(at.gauge)[:, None], 0.0)
    return np.asarray(law)


def log_likelihood(data: Data, at: Parameters, prior: Prior) -> Array:
    """Return the logarithm of the likelihood of all readings, shape (N,)."""
    step = max(_ROOM // max(len(data.low), 1), 1)
    parts = []
    for start in range(0, len(at.scatter), step):
        some = Parameters(*(value[start : start + step] for value in at))
        parts.append(_log_likelihood(data, some, prior))
    return np.concatenate(parts)


def _log_likelihood(data: Data, at: Parameters, prior: Prior) -> Array:
    law = expected(data, at, prior)
    scatter = np.maximum(at.scatter, LEAST_SCATTER)[:, None]
    exact = data.exact
    distance = (data.low[exact] - law[:, exact]) / scatter
    found = np.sum(-0.5 * distance**2 - np.log(scatter) - _HALF_LOG_2PI, axis=1)
    if not np.all(exact):
        low = (data.low[~exact] - law[:, ~exact]) / scatter
        high = (data.high[~exact] - law[:, ~exact]) / scatter
        found += np.sum(log_between(low, high), axis=1)
    return found


def log_between(low: Array, high: Array) -> Array:
    """Return the logarithm of the standard normal probability between two limits."""
    # In the upper tail differences vanish: mirror it into the lower one.
    mirrored = low > 0.0
    a, b = np.where(mirrored, -high, low), np.where(mirrored, -low, high)
    upper, lower = special.log_ndtr(b), special.log_ndtr(a)
    with np.errstate(divide="ignore"):
        return np.asarray(upper + np.log1p(-np.exp(np.minimum(lower - upper, -1e-300))))


def from_normal(z: Array, x: Array, prior: Prior) -> Parameters:
    """Return parameters at standard normal coordinates.

    Parameters
    ----------
    z : float array (N, at least 6)
        Of what the valves have in common.
    x : float array (N, valves)
        Of the level of each valve.
    prior : Prior
    """
    return Parameters(
        level=at_normal(prior.level, x),
        age_factor=at_normal(prior.age_factor, z[:, AGE_FACTOR]),
        idle_growth=at_normal(prior.idle_growth, z[:, IDLE_GROWTH]),
        closing_share=at_normal(prior.closing_share, z[:, CLOSING_SHARE]),
        scatter=np.maximum(at_normal(prior.scatter, z[:, SCATTER]), LEAST_SCATTER),
        gauge=at_normal(prior.gauge, z[:, GAUGE]),
    )
