"""Exceedance curves: how likely a year is to bring a loss above a threshold.

Both curves start from a table of losses with yearly rates: incidents of a run, each with rate
weight / (histories x years), or an event table. Leaks are a Poisson stream given these rates.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import Estimate, with_interval

Array = NDArray[np.float64]

YEARS = 200_000
_PIECE = 20_000  # years simulated at once
_STREAM = 0x6C6F7373  # sets these draws apart from any other use of a seed


def average_annual_loss(losses: ArrayLike, rates: ArrayLike) -> float:
    """Return the expected loss of a year, the sum of rate x loss.

    Parameters
    ----------
    losses, rates : array (n,)
        Loss [money] and yearly rate [1/year] of each incident.

    Examples
    --------
    >>> average_annual_loss([1000.0, 200.0], [0.01, 0.1])
    30.0
    """
    loss, rate = _table(losses, rates)
    return float(loss @ rate)


def occurrence_probability(losses: ArrayLike, rates: ArrayLike, thresholds: ArrayLike) -> Array:
    """Return the probability that the largest loss of a year exceeds each threshold.

    1 - exp(-sum of the rates of losses above it), for a Poisson stream.

    Parameters
    ----------
    losses, rates : array (n,)
        Loss [money] and yearly rate [1/year] of each incident.
    thresholds : array (k,)
        Money.

    Returns
    -------
    array (k,)

    Raises
    ------
    ModelError
        When the table is not one of losses and rates of zero or more.

    Examples
    --------
    >>> occurrence_probability([1000.0, 200.0], [0.01, 0.1], [0.0, 500.0]).round(4).tolist()
    [0.1042, 0.01]
    """
    return np.asarray(-np.expm1(-_rate_above(*_table(losses, rates), _thresholds(thresholds))))


def occurrence_curve(
    losses: ArrayLike,
    rates: ArrayLike,
    histories: ArrayLike,
    count: int,
    thresholds: ArrayLike,
) -> list[Estimate]:
    """Return :func:`occurrence_probability` with intervals from the spread between histories.

    Parameters
    ----------
    losses, rates : array (n,)
        Of the incidents of a run; rates are weight / (count x years).
    histories : int array (n,)
        Number of the history of each incident, from 0.
    count : int
        How many histories were run, at least 2.
    thresholds : array (k,)
    """
    loss, rate = _table(losses, rates)
    own = np.asarray(histories, np.int64)
    if (
        count < 2
        or own.shape != loss.shape
        or (len(own) and not 0 <= own.min() <= own.max() < count)
    ):
        raise ModelError(
            "histories that do not fit the incidents",
            found=f"{len(own)} numbers of histories for {len(loss)} incidents of {count} histories",
            expected="one number from 0 to count - 1 per incident, of at least two histories",
        )
    curve = []
    for threshold in _thresholds(thresholds):
        above = loss > threshold
        sums = np.bincount(own[above], rate[above], minlength=count) * count
        keeps = math.exp(-float(sums.mean()))
        error = keeps * float(sums.std(ddof=1)) / math.sqrt(count)
        curve.append(with_interval(1.0 - keeps, error, count, 0.0, 1.0))
    return curve


def aggregate_probability(
    losses: ArrayLike,
    rates: ArrayLike,
    thresholds: ArrayLike,
    *,
    years: int = YEARS,
    seed: int = 1,
) -> list[Estimate]:
    """Return the probability that the losses of a year sum up to more than each threshold.

    By simulated years: a Poisson number of losses, each drawn in proportion to its rate. The
    standard errors are those of this simulation alone.

    Parameters
    ----------
    losses, rates : array (n,)
        Loss [money] and yearly rate [1/year] of each incident.
    thresholds : array (k,)
        Money.
    years : int
        How many years are simulated.
    seed : int
        0 to 2**64 - 1.
    """
    sums = yearly_sums(losses, rates, years=years, seed=seed)
    curve = []
    for threshold in _thresholds(thresholds):
        share = float(np.mean(sums > threshold))
        error = math.sqrt(share * (1.0 - share) / years)
        if error > 0.0:
            curve.append(with_interval(share, error, years, 0.0, 1.0))
        else:  # never or always seen: the rule of three
            end = min(3.0 / years, 1.0)
            low, high = (0.0, end) if share == 0.0 else (1.0 - end, 1.0)
            curve.append(Estimate(share, 0.0, low, high))
    return curve


def yearly_sums(losses: ArrayLike, rates: ArrayLike, *, years: int = YEARS, seed: int = 1) -> Array:
    """Return simulated yearly sums of loss, shape (years,); the same for the same seed.

    Each year is drawn from its own uniforms by quantile functions, so tables that differ a little
    give years that differ a little.
    """
    loss, rate = _table(losses, rates)
    if not 1 <= years <= 100_000_000 or not 0 <= seed < 2**64:
        raise ModelError(
            "years or seed out of range",
            found=f"years = {years}, seed = {seed}",
            expected="years from 1 to 100,000,000, seed from 0 to 2**64 - 1",
        )
    total = float(rate.sum())
    sums = np.zeros(years)
    if total == 0.0:
        return sums
    order = np.argsort(loss, kind="stable")
    loss, edges = loss[order], np.cumsum(rate[order]) / total
    for piece, first in enumerate(range(0, years, _PIECE)):
        generator = np.random.Generator(np.random.Philox(key=[seed, _STREAM + piece]))
        n = min(_PIECE, years - first)
        number = stats.poisson.ppf(generator.random(_PIECE)[:n], total).astype(np.int64)
        drawn = np.searchsorted(edges, generator.random(int(number.sum())), side="right")
        parts = loss[np.minimum(drawn, len(loss) - 1)]
        year = np.repeat(np.arange(n), number)
        sums[first : first + n] = np.bincount(year, parts, minlength=n)
    return sums


def return_period_loss(losses: ArrayLike, rates: ArrayLike, periods: ArrayLike) -> Array:
    """Return the loss that the largest of a year exceeds with probability 1 / period at most.

    Parameters
    ----------
    losses, rates : array (n,)
        Loss [money] and yearly rate [1/year] of each incident.
    periods : array (k,)
        Years, above 1.

    Returns
    -------
    array (k,)
        Money; 0 where no loss is that frequent.

    Examples
    --------
    >>> return_period_loss([1000.0, 200.0], [0.01, 0.1], [5.0, 50.0, 1000.0]).tolist()
    [0.0, 200.0, 1000.0]
    """
    loss, rate = _table(losses, rates)
    wanted = np.atleast_1d(np.asarray(periods, float))
    if not np.all(wanted > 1.0):
        raise ModelError("a return period is too short", expected="more than one year")
    order = np.argsort(loss, kind="stable")
    levels = np.concatenate([[0.0], loss[order]])
    beyond = _rate_above(loss, rate, levels)
    allowed = -np.log1p(-1.0 / wanted)
    # the first level beyond which losses are rare enough; rounding of sums must not shift it
    return np.array([levels[np.argmax(beyond <= a * (1.0 + 1e-12))] for a in allowed])


def _rate_above(loss: Array, rate: Array, thresholds: Array) -> Array:
    order = np.argsort(loss, kind="stable")
    below = np.searchsorted(loss[order], thresholds, side="right")
    from_above = np.concatenate([np.cumsum(rate[order][::-1])[::-1], [0.0]])
    return from_above[below]


def _thresholds(values: ArrayLike) -> Array:
    thresholds = np.atleast_1d(np.asarray(values, float))
    if thresholds.ndim != 1 or np.any(np.isnan(thresholds)):
        raise ModelError("thresholds that are no amounts", expected="numbers, in money")
    return thresholds


def _table(
    losses: ArrayLike | Iterable[Any], rates: ArrayLike | Sequence[Any]
) -> tuple[Array, Array]:
    loss, rate = np.asarray(losses, float), np.asarray(rates, float)
    if loss.ndim != 1 or loss.shape != rate.shape:
        raise ModelError(
            "losses and rates do not pair",
            found=f"shapes {loss.shape} and {rate.shape}",
            expected="one rate for each loss",
        )
    for name, values in (("losses", loss), ("rates", rate)):
        bad = np.flatnonzero(~(np.isfinite(values) & (values >= 0.0)))
        if len(bad):
            raise ModelError(
                f"no amount or rate among the {name}",
                where=f"{name}, row {bad[0] + 1}",
                found=str(values[bad[0]]),
                expected="zero or more",
            )
    return loss, rate
