"""The trend of one part that is repaired over and over: does it get better or worse?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy import stats

from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import CONFIDENCE, Estimate
from shutoffsim.estimate.lifedata import count, read_numbers


@dataclass(frozen=True)
class TrendFit:
    """A power law of the number of failures of a repaired part: rate a, E[N(t)] = a t^shape.

    Attributes
    ----------
    shape : Estimate
        Above 1 failures come faster and faster, below 1 slower and slower.
    scale : float
        The coefficient a, per (unit of time)^shape.
    end : float
        End of the observation.
    failures : int
    chance : float
        Probability to see so much trend either way where there is none; small: there is one.
    """

    shape: Estimate
    scale: float
    end: float
    failures: int
    chance: float

    def number(self, t: float) -> float:
        """Return the expected number of failures until ``t``."""
        return self.scale * t**self.shape.value

    def rate(self, t: float) -> float:
        """Return the rate of failures at ``t``, per unit of time."""
        return self.shape.value * self.number(t) / t

    @property
    def gap_at_end(self) -> float:
        """Mean time between failures at the end of the observation."""
        return 1.0 / self.rate(self.end)


def fit_trend(times: Iterable[float], end: float, *, unbiased: bool = False) -> TrendFit:
    """Fit a power law to the times of failures of a part that is repaired each time.

    Minimal repair: a repaired part is as old as before (a non-homogeneous Poisson process).
    The maximum likelihood estimate is n / sum(ln(end / t)); the unbiased one has n - 1 in place of
    n, or n - 2 when the observation ends with a failure. Intervals and the test against no trend
    are the exact ones from chi-squared.

    Parameters
    ----------
    times : iterable of float
        Times of failures since new, at most ``end``.
    end : float
        End of the observation; the last time when it was stopped by that failure.
    unbiased : bool

    Raises
    ------
    ModelError
        When a time is not a positive number up to ``end``, or there are fewer than three.

    Examples
    --------
    >>> fit = fit_trend([100, 350, 540, 700, 810, 900], end=1000)
    >>> round(fit.shape.value, 2)
    1.29
    """
    values = np.sort(read_numbers("times", times))
    if not math.isfinite(end) or (len(values) and values[-1] > end):
        raise ModelError(
            "a failure after the end of the observation",
            found=f"end = {end:g}, last failure at {values[-1] if len(values) else math.nan:g}",
            expected="all times up to the end",
        )
    n = len(values)
    if n < 3 or values[0] >= end:
        raise ModelError(
            "too few failures for a trend",
            found=count(n, "time"),
            expected="at least three, not all at the end",
        )
    stopped_by_failure = bool(values[-1] == end)
    total = float(np.sum(np.log(end / values)))
    free = 2 * (n - 1) if stopped_by_failure else 2 * n
    plain = n / total
    shape = plain * ((n - 2 if stopped_by_failure else n - 1) / n if unbiased else 1.0)
    law = stats.chi2(free)
    tail = float(law.cdf(2.0 * total))
    return TrendFit(
        shape=Estimate(
            shape,
            shape / math.sqrt(n),
            float(law.ppf(0.5 - CONFIDENCE / 2.0)) / (2.0 * total),
            float(law.ppf(0.5 + CONFIDENCE / 2.0)) / (2.0 * total),
        ),
        scale=n / end**shape,
        end=float(end),
        failures=n,
        chance=2.0 * min(tail, 1.0 - tail),
    )
