"""Do the readings look like the law? Posterior predictive checks that know of limits.

For each draw of the posterior, the distances of readings from the law, in units of the scatter,
should be standard normal. A reading that is only a limit gets a distance drawn within its limits.
A feature of these distances is compared with that of as many fresh normal numbers; if almost no
draw has more of the feature in the fresh ones, the law does not fit in that respect.

A. Gelman, X.-L. Meng and H. Stern, "Posterior predictive assessment of model fitness via realized
discrepancies", Statistica Sinica 6 (1996) 733-807.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from shutoffsim.estimate.plain import plain_fields
from shutoffsim.model.valve import WEEK
from shutoffsim.study.fit_torque.belief import Array, Prior
from shutoffsim.study.fit_torque.law import Data, Parameters, expected

DOUBTFUL = 0.05
_LEAST = 4  # readings below which nothing can be checked
_DRAWS = 1000


@dataclass(frozen=True)
class Check:
    """One feature of the readings.

    Attributes
    ----------
    feature : str
    p : float
        Share of what the law makes that has at least as much of it.
    if_small : str
        What a small share means.
    """

    feature: str
    p: float
    if_small: str

    @property
    def doubtful(self) -> bool:
        """Whether the law should be doubted here."""
        return self.p < DOUBTFUL

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data."""
        return {**plain_fields(self), "doubtful": self.doubtful}


@dataclass(frozen=True)
class Residuals:
    """How far readings are from the law, in units of the scatter, by draws of the posterior.

    Attributes
    ----------
    middle, low, high : float array (n,)
        Median and 95 % interval over draws; limits spread over what they allow.
    """

    middle: Array
    low: Array
    high: Array


def check_agreement(
    data: Data, at: Parameters, prior: Prior, seed: int
) -> tuple[tuple[Check, ...], Residuals]:
    """Compare readings with the law.

    Parameters
    ----------
    data : Data
    at : Parameters
        Draws of the posterior.
    prior : Prior
    seed : int

    Returns
    -------
    checks : tuple of Check
        Empty for fewer than four readings.
    residuals : Residuals
    """
    step = max(len(at.scatter) // _DRAWS, 1)
    some = Parameters(*(value[::step] for value in at))
    rng = np.random.default_rng([seed, 17])
    seen = _distances(data, some, prior, rng)
    fresh = rng.standard_normal(seen.shape)
    residuals = Residuals(*np.quantile(seen, [0.5, 0.025, 0.975], axis=0))
    if len(data.low) < _LEAST:
        return (), residuals
    checks = [
        _compare(
            "farthest reading",
            seen,
            fresh,
            lambda r: np.max(np.abs(r), axis=1),
            "one reading is far from the others: look for a slip of the pen or a wrong unit",
        )
    ]
    rest = np.log1p(data.idle / WEEK)
    trends = [
        (
            "curvature with rest time",
            rest,
            "torque does not grow with the logarithm of the idle time as the law assumes",
        ),
        (
            "trend over the readings",
            np.arange(len(data.low), dtype=float),
            "torque drifts from reading to reading: moving the valve may free it or wear it",
        ),
    ]
    for feature, along, meaning in trends:
        if len(np.unique(along)) < 3:
            continue
        checks.append(_compare(feature, seen, fresh, _slope(along), meaning))
    return tuple(checks), residuals


def _slope(along: Array) -> Callable[[Array], Array]:
    """Return what measures how steeply distances (draws, n) rise or fall along ``along`` (n,)."""
    apart = along - np.mean(along)
    apart = apart / np.linalg.norm(apart)
    return lambda r: np.abs(r @ apart)


def _compare(
    feature: str, seen: Array, fresh: Array, measure: Callable[[Array], Array], if_small: str
) -> Check:
    more = measure(fresh) >= measure(seen)
    return Check(feature, float((np.sum(more) + 0.5) / (len(more) + 1.0)), if_small)


def _distances(data: Data, at: Parameters, prior: Prior, rng: np.random.Generator) -> Array:
    """Return distances (draws, n) in units of the scatter; limits drawn within what they allow."""
    law = expected(data, at, prior)
    scatter = at.scatter[:, None]
    low, high = (data.low - law) / scatter, (data.high - law) / scatter
    u = rng.random(law.shape)
    # In the upper tail differences vanish: mirror it into the lower one.
    mirrored = low > 0.0
    a, b = np.where(mirrored, -high, low), np.where(mirrored, -low, high)
    below, above = special.ndtr(a), special.ndtr(b)
    drawn = special.ndtri(np.clip(below + u * (above - below), 1e-300, 1.0 - 1e-16))
    drawn = np.clip(np.where(mirrored, -drawn, drawn), low, high)
    return np.where(data.exact, low, drawn)
