"""Estimates from the readings alone, without any prior: maximum likelihood."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from shutoffsim.estimate.estimate import CONFIDENCE, Estimate
from shutoffsim.model.layout import YEAR
from shutoffsim.study.fit_torque.belief import Array, Prior, at_normal
from shutoffsim.study.fit_torque.law import Data, Parameters, log_likelihood

Height = Callable[[Array], Array]

_Z = float(stats.norm.ppf(0.5 + CONFIDENCE / 2.0))
#: In the order in which they are given up when the readings are too few for all.
_OPTIONAL = ("gauge", "age_factor", "idle_growth", "closing_share")
_LEAST = {"age_factor": 1.0}  # what a parameter exceeds; others exceed zero
_STEP = 1e-4
_EACH = 2  # readings of known torque for each parameter, or intervals come out far too narrow
_VAGUE = 1.5  # standard error of a logarithm, from which nothing is said to be known
_LEAST_AGES = 2 * YEAR  # readings closer in age do not show how torque grows with it


@dataclass(frozen=True)
class Likeliest:
    """Parameters that make the readings most probable.

    Attributes
    ----------
    parameters : dict of str to Estimate
        What the readings determine: ``level`` (of one valve, or the geometric mean of several),
        ``scatter``, and of ``age_factor``, ``idle_growth``, ``closing_share`` those that they
        tell. Intervals are normal on the logarithm, of an age factor on that of its excess over 1.
    held : dict of str to float
        What they do not determine, held at the median of the prior.
    log_likelihood : float
        Of torques in N*m.
    """

    parameters: dict[str, Estimate]
    held: dict[str, float]
    log_likelihood: float


def fit_likeliest(data: Data, prior: Prior) -> Likeliest | None:
    """Fit by maximum likelihood what the readings determine; None when that is nothing.

    Parameters
    ----------
    data : Data
    prior : Prior
        Gives the law's constants, and the values at which other parameters are held.
    """
    free = [name for name in _OPTIONAL if _is_told(name, data, prior)]
    while True:
        found = _fit(data, prior, free)
        if found is not None or not free:
            return found
        free.pop(0)


def _is_told(name: str, data: Data, prior: Prior) -> bool:
    """Return whether the readings differ in what a parameter acts on."""
    known = np.isfinite(data.low)
    if name == "gauge":
        return bool(np.any(data.gauge) and not np.all(data.gauge))
    if name == "closing_share":
        return bool(np.any(data.closing) and not np.all(data.closing))
    if name == "age_factor":
        return bool(np.ptp(data.age) >= _LEAST_AGES) and _middle(prior.age_factor) > 1.0
    rests = np.log1p(data.idle[known] / (7 * 86400.0))
    return len(rests) > 0 and bool(np.ptp(rests) > 0.5) and _middle(prior.idle_growth) > 0.0


def _middle(dist: tuple[float, float, float, float]) -> float:
    return float(at_normal(dist, np.zeros(1))[0])


def _fit(data: Data, prior: Prior, free: list[str]) -> Likeliest | None:
    valves = len(data.valves)
    pinned = np.isfinite(data.low) & np.isfinite(data.high)
    if np.sum(pinned) < _EACH * (valves + 1 + len(free)):
        return None
    middles = {name: _middle(getattr(prior, name)) for name in _OPTIONAL}

    def parameters(theta: Array) -> Parameters:
        values = {name: np.full(len(theta), middles[name]) for name in _OPTIONAL}
        for number, name in enumerate(free):
            values[name] = _LEAST.get(name, 0.0) + np.exp(theta[:, valves + 1 + number])
        return Parameters(
            level=np.exp(theta[:, :valves]), scatter=np.exp(theta[:, valves]), **values
        )

    def height(theta: Array) -> Array:
        return log_likelihood(data, parameters(np.clip(theta, -30.0, 30.0)), prior)

    start = np.array(
        [math.log(_middle(prior.level))] * valves
        + [math.log(0.3)]
        + [math.log(middles[name] - _LEAST.get(name, 0.0)) for name in free]
    )
    theta = _climb(height, start)
    if theta is None:
        return None
    information = -_curvature(height, theta)
    if not np.all(np.isfinite(information)) or np.any(np.linalg.eigvalsh(information) <= 0.0):
        return None
    covariance = np.linalg.inv(information)
    errors = np.sqrt(np.diag(covariance))
    if np.any(errors > _VAGUE):
        return None
    mean = np.zeros(len(theta))
    mean[:valves] = 1.0 / valves
    found = {"level": _positive(float(mean @ theta), math.sqrt(mean @ covariance @ mean))}
    found["scatter"] = _positive(theta[valves], errors[valves])
    for number, name in enumerate(free):
        found[name] = _positive(
            theta[valves + 1 + number], errors[valves + 1 + number], _LEAST.get(name, 0.0)
        )
    held = {name: middles[name] for name in _OPTIONAL if name not in free}
    if not np.any(data.gauge):
        held.pop("gauge", None)
    return Likeliest(found, held, float(height(theta[None, :])[0]))


def _positive(log_value: float, error: float, least: float = 0.0) -> Estimate:
    """Return what exceeds ``least`` by a number whose logarithm is known so well."""
    low, value, high = (math.exp(log_value + _Z * k * float(error)) for k in (-1.0, 0.0, 1.0))
    return Estimate(least + value, value * float(error), least + low, least + high)


def _climb(height: Height, start: Array) -> Array | None:
    """Return the top of the hill, or None where the search does not settle."""
    d = len(start)
    steps = _STEP * np.eye(d)

    def down(theta: Array) -> float:
        return -float(height(theta[None, :])[0])

    def slope(theta: Array) -> Array:
        values = height(np.concatenate([theta + steps, theta - steps]))
        return np.asarray(-(values[:d] - values[d:]) / (2.0 * _STEP))

    found = optimize.minimize(down, start, jac=slope, method="BFGS", options={"gtol": 1e-6})
    theta = np.asarray(found.x, float)
    if not np.isfinite(found.fun) or np.max(np.abs(slope(theta))) > 1e-2:
        return None
    if np.any(np.abs(theta) > 25.0) or theta[d - 1] < -9.0:
        return None
    return theta


def _curvature(height: Height, at: Array) -> Array:
    d, h = len(at), 1e-3
    pairs = [(i, j) for i in range(d) for j in range(i, d)]
    unit = h * np.eye(d)
    points = np.array(
        [at + s * unit[i] + t * unit[j] for i, j in pairs for s in (1, -1) for t in (1, -1)]
    )
    values = height(points).reshape(-1, 4)
    curve = np.zeros((d, d))
    for (i, j), (pp, pm, mp, mm) in zip(pairs, values, strict=True):
        curve[i, j] = curve[j, i] = (pp - pm - mp + mm) / (4.0 * h * h)
    return curve
