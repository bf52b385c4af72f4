"""Quantiles of a law on levels, with intervals that are honest at atoms and between them.

A quantile's uncertainty is that of the chances at it, carried over to the levels by the law itself
(R. S. Woodruff, "Confidence intervals for medians and other position measures", Journal of the
American Statistical Association 47, 1952). On an atom it may be exact although the chances are
not; where a chance lies near the edge of an atom, the next one is within the interval. Chances of
rare things are positive, so their errors are taken relative to them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from shutoffsim.estimate.estimate import Estimate, t_factor

Array = NDArray[np.float64]

EQUAL = 1e-9  # relative: levels and chances nearer than this differ by rounding only
_CERTAIN = 1e-15  # a chance below this is none
PIECES = 8  # into which what lies in a bin is spread, so that quantiles do not jump from bin to bin


@dataclass(frozen=True)
class Levels:
    """Levels of a law, rising.

    Attributes
    ----------
    at : array (n,)
    blur : array (n,)
        Standard deviation of what a level stands for; 0: exactly this value.
    """

    at: Array
    blur: Array

    def beyond(self, chances: Array) -> Array:
        """Return the chance of being at each level or above it, and 0 behind the last, (n + 1,)."""
        return np.concatenate([np.cumsum(chances[::-1])[::-1], [0.0]])

    def above(self, limits: Array) -> NDArray[np.int64]:
        """Return the first level above each limit."""
        return np.asarray(np.searchsorted(self.at, limits * (1.0 + EQUAL), side="right"))

    def quantile(self, beyond: Array, share: float) -> int:
        """Return the lowest level above which no more than ``share`` lies."""
        # rounding of sums must not shift it to the next level
        return int(np.argmax(beyond[1:] <= share * (1.0 + EQUAL)))


def quantile_estimate(
    levels: Levels, beyond: Array, share: float, reached: Estimate, exceeded: Estimate, groups: int
) -> Estimate:
    """Return the level above which ``share`` lies, with standard error and interval.

    Parameters
    ----------
    levels : Levels
    beyond : array (n + 1,)
        See :meth:`Levels.beyond`; the last of the first n need not be 1 in all.
    share : float
    reached, exceeded : Estimate
        Chance of being at the quantile or above it, and above it.
    groups : int
        Independent values that the errors of these rest on.
    """
    i = levels.quantile(beyond, share)
    value = float(levels.at[i])
    if groups < 2:
        return Estimate(value, math.nan, 0.0, math.inf)
    down, up = _relative(reached), _relative(exceeded)
    factor = t_factor(groups)
    low = levels.at[min(levels.quantile(beyond, share * math.exp(factor * down)), i)]
    high = levels.at[max(levels.quantile(beyond, share * math.exp(-factor * up)), i)]
    with np.errstate(divide="ignore"):
        apart = np.log(beyond) - math.log(share)
    square = 0.0
    for part, error, sign in ((slice(0, i), -down, -1.0), (slice(i + 1, None), up, 1.0)):
        if error:
            passed = special.ndtr(apart / error)  # of the tail: precise where it is small
            mass = sign * (passed[:-1] - passed[1:])[part]
            mass[mass < _CERTAIN] = 0.0
            square += float(mass @ (levels.at[part] - value) ** 2)
    blur = float(levels.blur[i])
    half = factor * blur
    return Estimate(
        value,
        math.hypot(math.sqrt(square), blur),
        max(value - math.hypot(value - float(low), half), 0.0),
        value + math.hypot(float(high) - value, half),
    )


def _relative(chance: Estimate) -> float:
    return chance.std_error / chance.value if chance.value > 0.0 else 0.0


def spread_evenly(mean: float, deviation: float, least: float, most: float) -> Array:
    """Return places that stand for something even of this mean and deviation within [least, most].

    >>> spread_evenly(10.0, 0.0, 9.0, 11.0)
    array([10.])
    """
    if deviation <= 1e-6 * abs(mean):
        return np.array([mean])
    half = min(math.sqrt(3.0) * deviation, mean - least, most - mean)
    return np.asarray(mean + half * ((2.0 * np.arange(PIECES) + 1.0) / PIECES - 1.0))
