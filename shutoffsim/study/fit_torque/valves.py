"""Several valves at once: each has a level of its own, which is integrated out or drawn.

The level of valve v is a standard normal x_v, put through the prior's quantiles, so that each valve
by itself has the prior. With g and e_v standard normal and r even from 0 to 1,

    x_v = sqrt(1 - r) g + sqrt(r) e_v:

r is the share of what is not known of one valve that lies between these valves. Given g, r and what
the valves have in common, each x_v is alone in its readings, so its integral is one of one
dimension: a sum over a fine grid about where its readings put it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import special

from shutoffsim.study.fit_torque import law
from shutoffsim.study.fit_torque.belief import Array, Prior, log_at_normal
from shutoffsim.study.fit_torque.law import Data, log_between

SHARE = law.LEVEL + 1  # the coordinate of r; that of g is law.LEVEL
_POINTS, _REACH = 31, 4.5  # points of a grid, and standard deviations to either side
_LEAST_SHARE = 1e-6
_LEAST_SLOPE = 1e-6
_ROOM = 1 << 20  # numbers in one array at a time
_TABLE = np.linspace(-9.0, 9.0, 1801)


class _Grid(NamedTuple):
    """Coordinates x of levels (N, V, points), and the logarithm of their density."""

    x: Array
    log_density: Array


def dimensions(data: Data) -> int:
    """Return how many standard normal coordinates a fit has."""
    return law.LEVEL + (1 if len(data.valves) == 1 else 2)


def log_likelihood(z: Array, data: Data, prior: Prior) -> Array:
    """Return the logarithm of the likelihood at coordinates ``z`` (N, d), levels integrated out."""
    if len(data.valves) == 1:
        at = law.from_normal(z, z[:, [law.LEVEL]], prior)
        return law.log_likelihood(data, at, prior)
    found = [_integrated(_lay(part, data, prior)) for part in _parts(z, data)]
    return np.concatenate(found)


def draw_levels(z: Array, data: Data, prior: Prior, seed: int) -> Array:
    """Draw the coordinates x of the level of each valve, shape (N, V), given all others."""
    if len(data.valves) == 1:
        return z[:, [law.LEVEL]]
    rng = np.random.default_rng([seed, 29])
    return np.concatenate([_drawn(_lay(part, data, prior), rng) for part in _parts(z, data)])


def draw_another(z: Array, seed: int) -> Array:
    """Draw the coordinate x of another valve of the kind, shape (N,)."""
    n = len(z)
    shuffled = np.random.default_rng([seed, 23]).permutation((np.arange(n) + 0.5) / n)
    r = between(z)
    return np.asarray(np.sqrt(1.0 - r) * z[:, law.LEVEL] + np.sqrt(r) * special.ndtri(shuffled))


def between(z: Array) -> Array:
    """Return the share r, shape (N,)."""
    return np.clip(special.ndtr(z[:, SHARE]), _LEAST_SHARE, 1.0)


def _parts(z: Array, data: Data) -> list[Array]:
    widest = max(len(data.valves), int(np.sum(~data.exact))) * _POINTS
    step = max(_ROOM // widest, 1)
    return [z[start : start + step] for start in range(0, len(z), step)]


def _lay(z: Array, data: Data, prior: Prior) -> _Grid:
    """Lay a grid over the level of each valve, and return the density of its readings there."""
    at = law.from_normal(z, z[:, [law.LEVEL]], prior)
    rest = law.above_level(data, at, prior)
    scatter = at.scatter[:, None]
    of_valve = np.eye(len(data.valves))[data.valve]  # (n, V)
    r = between(z)[:, None]
    mean = np.sqrt(1.0 - r) * z[:, [law.LEVEL]]

    exact = data.exact
    count = of_valve[exact].sum(axis=0)
    seen = np.where(exact, data.low, 0.0)[exact] - rest[:, exact]  # logarithms of levels
    middle = seen @ of_valve[exact] / np.maximum(count, 1.0)
    squares = seen**2 @ of_valve[exact] - count * middle**2

    x = _place(data, rest, of_valve, mean, r, scatter, prior)
    level = log_at_normal(prior.level, x)
    # What is the same at all points of a grid stays out of the large arrays.
    same = -0.5 * squares / scatter**2 - 0.5 * np.log(r) - count * np.log(scatter)
    same -= 0.5 * (count + 1.0) * np.log(2.0 * np.pi)
    log_density = (x - mean[:, :, None]) ** 2 * (-0.5 / r[:, :, None])
    log_density += (level - middle[:, :, None]) ** 2 * (-0.5 * count / scatter**2)[:, :, None]
    log_density += same[:, :, None]
    for i in np.flatnonzero(~exact):
        v = data.valve[i]
        law_there = level[:, v] + rest[:, [i]]
        low, high = ((limit - law_there) / scatter for limit in (data.low[i], data.high[i]))
        log_density[:, v] += log_between(low, high)
    return _Grid(x, log_density)


def _place(
    data: Data, rest: Array, of_valve: Array, mean: Array, r: Array, scatter: Array, prior: Prior
) -> Array:
    """Return grids (N, V, points) about where prior and readings, taken as normal, put levels."""
    bounded = np.isfinite(data.low) & np.isfinite(data.high)
    low, high = data.low[bounded], data.high[bounded]
    precision = 1.0 / (scatter**2 + (high - low) ** 2 / 12.0)
    total = precision @ of_valve[bounded]
    seen = (precision * (0.5 * (low + high) - rest[:, bounded])) @ of_valve[bounded]
    level = seen / np.maximum(total, 1e-300)
    table = log_at_normal(prior.level, _TABLE)
    there = np.interp(level, table, _TABLE) if np.ptp(table) > 0.0 else np.zeros(level.shape)
    slope = np.interp(there, _TABLE, np.gradient(table, _TABLE))
    known = total * np.maximum(slope, _LEAST_SLOPE) ** 2
    middle = (mean / r + known * there) / (1.0 / r + known)
    wide = 1.0 / np.sqrt(1.0 / r + known)
    return np.asarray(middle[:, :, None] + wide[:, :, None] * np.linspace(-_REACH, _REACH, _POINTS))


def _integrated(grid: _Grid) -> Array:
    """Return the logarithm of the product over valves of integrals over levels, shape (N,)."""
    step = grid.x[:, :, 1] - grid.x[:, :, 0]
    return np.asarray(np.sum(special.logsumexp(grid.log_density, axis=2) + np.log(step), axis=1))


def _drawn(grid: _Grid, rng: np.random.Generator) -> Array:
    weight = np.exp(grid.log_density - np.max(grid.log_density, axis=2, keepdims=True))
    edges = np.cumsum(weight, axis=2)
    u = rng.random(edges.shape[:2])[:, :, None] * edges[:, :, -1:]
    at = np.minimum(np.sum(edges < u, axis=2), _POINTS - 1)[:, :, None]
    step = grid.x[:, :, 1] - grid.x[:, :, 0]
    middle = np.take_along_axis(grid.x, at, axis=2)[:, :, 0]
    return np.asarray(middle + step * (rng.random(middle.shape) - 0.5))
