"""Rates from counts, with exact Poisson intervals."""

from __future__ import annotations

import math
from typing import NamedTuple

from scipy.special import gammaincinv

YEAR_DAYS = 365.25


class Rate(NamedTuple):
    """A yearly rate and its 95 % interval."""

    per_year: float
    low: float
    high: float


def estimate_rate(count: int, days: float) -> Rate:
    """Estimate a yearly rate from events counted in some days.

    Parameters
    ----------
    count : int
        Events seen.
    days : float
        Time watched, above zero.

    Returns
    -------
    Rate
        With events: the count over the time and the exact two-sided 95 % interval (Garwood,
        Fiducial limits for the Poisson distribution, Biometrika 28, 1936). With none seen, which
        does not make the rate zero: the rate that would show an event with even chances (0.69
        over the time), and from 0 to the one-sided 95 % bound, the "rule of three" (3.00 over
        the time).

    Notes
    -----
    Takes the events to be independent of each other; watering on a schedule is not.

    Examples
    --------
    >>> rate = estimate_rate(0, 365.25)
    >>> round(rate.per_year, 2), rate.low, round(rate.high, 2)
    (0.69, 0.0, 3.0)
    """
    years = days / YEAR_DAYS
    if count == 0:
        return Rate(math.log(2) / years, 0.0, -math.log(0.05) / years)
    low = float(gammaincinv(count, 0.025))
    high = float(gammaincinv(count + 1, 0.975))
    return Rate(count / years, low / years, high / years)
