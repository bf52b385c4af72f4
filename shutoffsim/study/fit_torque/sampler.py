"""Draws from a posterior whose prior is standard normal: importance sampling that adapts.

A multivariate Student's t is laid over the posterior, first by its mode and curvature, then by the
mean and covariance of weighted draws. Some draws are from the prior all the same (a defensive
mixture). The last draws are resampled by their weights. Everything comes from scrambled Sobol'
sequences, so one seed gives one result.

A. B. Owen, "Monte Carlo theory, methods and examples" (artowen.su.domains/mc), chapters 9 and 10
(importance sampling, adaptive importance sampling); effective sample size as in section 9.3.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize, special
from scipy.stats import qmc

from shutoffsim.study.fit_torque.belief import Array

Density = Callable[[Array], Array]

DRAWS = 4096  # handed out
ENOUGH = 400.0  # effective draws, for 95 % limits known to a tenth of the standard deviation
_ROUND, _FINAL, _MOST = 2048, 8192, 65536
_ROUNDS = 5
#: Share of draws from the prior. It bounds the weights, and finds what a sharp edge hides from the
#: mode: limits without exact values cut the prior off.
_FROM_PRIOR = 0.25
_STEP = 1e-3
_WIDEST = 4.0  # variance: nothing is wider than a few times the prior


@dataclass(frozen=True)
class Sample:
    """Equally weighted draws.

    Attributes
    ----------
    z : float array (DRAWS, d)
    effective : float
        Effective sample size: as good as so many independent draws.
    tried : int
        Draws that the weights were given to.
    """

    z: Array
    effective: float
    tried: int


def sample(log_likelihood: Density, d: int, seed: int) -> Sample:
    """Draw from standard normal prior times likelihood.

    Parameters
    ----------
    log_likelihood : callable
        Of an array (N, d), returns (N,).
    d : int
        Number of coordinates.
    seed : int
        Not negative.
    """

    def log_density(z: Array) -> Array:
        found = log_likelihood(z) + _log_normal(z)
        return np.where(np.isfinite(found), found, -np.inf)

    middle, covariance = _lay(log_density, d)
    best = 0.0
    chosen = middle, covariance
    for number in range(_ROUNDS):
        z, log_weight = _try(log_density, middle, covariance, _ROUND, [seed, 11, number])
        effective = _effective(log_weight)
        if effective > best:
            best, chosen = effective, (middle, covariance)
        if effective > 0.7 * _ROUND:
            break
        middle, covariance = _moments(z, log_weight, covariance)
    n = _FINAL
    while True:
        z, log_weight = _try(log_density, *chosen, n, [seed, 12, n])
        effective = _effective(log_weight)
        if effective >= 2.0 * ENOUGH or n >= _MOST:
            break
        n *= 4
    picked = _resample(log_weight, np.random.default_rng([seed, 13]).random())
    return Sample(z[picked], effective, n)


def _lay(log_density: Density, d: int) -> tuple[Array, Array]:
    """Return mode and covariance of the normal distribution that fits there."""

    def slope(z: Array) -> Array:
        steps = _STEP * np.eye(d)
        values = log_density(np.concatenate([z + steps, z - steps]))
        return np.asarray(-(values[:d] - values[d:]) / (2.0 * _STEP))

    found = optimize.minimize(
        lambda z: -float(log_density(z[None, :])[0]), np.zeros(d), jac=slope, method="BFGS"
    )
    mode = np.asarray(found.x, float)
    curve = _curvature(slope, mode, d)
    values, vectors = np.linalg.eigh(0.5 * (curve + curve.T))
    variances = 1.0 / np.clip(values, 1.0 / _WIDEST, None)
    return mode, (vectors * variances) @ vectors.T


def _curvature(slope: Callable[[Array], Array], at: Array, d: int) -> Array:
    h = 10.0 * _STEP
    return np.array([(slope(at + h * e) - slope(at - h * e)) / (2.0 * h) for e in np.eye(d)])


def _try(
    log_density: Density,
    middle: Array,
    covariance: Array,
    n: int,
    seed: list[int],
) -> tuple[Array, Array]:
    """Return draws (n, d) of t distribution and prior, and the logarithms of their weights (n,)."""
    d = len(middle)
    u = qmc.Sobol(d + 2, rng=np.random.default_rng(seed)).random(n)
    u = np.clip(u, 1e-12, 1.0 - 1e-12)
    normal = special.ndtri(u[:, :d])
    freedom = _freedom(d)
    stretch = np.sqrt(0.5 * freedom / special.gammaincinv(0.5 * freedom, u[:, d]))
    root = np.asarray(np.linalg.cholesky(covariance), np.float64)
    z = middle + (normal * stretch[:, None]) @ root.T
    z = np.where(u[:, [d + 1]] < _FROM_PRIOR, normal, z)
    log_proposal = np.logaddexp(
        math.log(_FROM_PRIOR) + _log_normal(z),
        math.log(1.0 - _FROM_PRIOR) + _log_t(z - middle, root),
    )
    return z, log_density(z) - log_proposal


def _log_normal(z: Array) -> Array:
    return np.asarray(-0.5 * np.sum(z**2, axis=1) - 0.5 * z.shape[1] * math.log(2.0 * math.pi))


def _freedom(d: int) -> float:
    """Return the degrees of freedom: wide tails in few dimensions, where they cost little."""
    return 5.0 + d


def _log_t(apart: Array, root: Array) -> Array:
    """Return the logarithm of the density of the t distribution, at distances (n, d)."""
    d = len(root)
    freedom = _freedom(d)
    standard = linalg.solve_triangular(root, apart.T, lower=True)
    constant = (
        math.lgamma(0.5 * (freedom + d))
        - math.lgamma(0.5 * freedom)
        - 0.5 * d * math.log(math.pi * freedom)
        - float(np.sum(np.log(np.diag(root))))
    )
    squared = np.sum(standard**2, axis=0)
    return np.asarray(constant - 0.5 * (freedom + d) * np.log1p(squared / freedom))


def _weights(log_weight: Array) -> Array:
    weight = np.exp(log_weight - np.max(log_weight))
    return np.asarray(weight / np.sum(weight))


def _effective(log_weight: Array) -> float:
    if not np.any(np.isfinite(log_weight)):
        return 0.0
    return float(1.0 / np.sum(_weights(log_weight) ** 2))


def _moments(z: Array, log_weight: Array, before: Array) -> tuple[Array, Array]:
    """Return mean and covariance of weighted draws; few effective draws change it less."""
    weight = _weights(log_weight)
    middle = weight @ z
    apart = z - middle
    covariance = (weight[:, None] * apart).T @ apart
    trust = min(_effective(log_weight) / (5.0 * z.shape[1]), 1.0) * 0.9
    return middle, trust * covariance + (1.0 - trust) * before


def _resample(log_weight: Array, start: float) -> NDArray[np.int64]:
    """Return the numbers of DRAWS draws, each in proportion to its weight."""
    edges = np.cumsum(_weights(log_weight))
    places = (np.arange(DRAWS) + start) / DRAWS * edges[-1]
    return np.minimum(np.searchsorted(edges, places), len(edges) - 1)
