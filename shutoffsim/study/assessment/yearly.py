"""Exceedance curves of a year's losses, and the losses and tail averages at return periods.

Leaks are a Poisson stream whose rates are those of the tally. The largest loss of a year follows
at once. The sum of a year is a compound Poisson variable; its distribution is the inverse Fourier
transform of exp(rate x (transform of one loss - 1)) over a grid of equal losses.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.study.assessment.losses import Array, LossTally, jackknife, loss_bin
from shutoffsim.study.assessment.result import CurvePoint, PeriodLoss, YearlyLoss

PERIODS: Final = (2.0, 5.0, 10.0, 25.0, 50.0, 100.0, 250.0)
_STEPS = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)  # losses shown in each decade
_GRID = 1 << 16
_NEAR = 1.1  # levels closer than this ratio are bins of something continuous, else atoms
_FEW = 30.0  # incidents' worth of information beyond a loss, below which it is not resolved


def yearly_losses(tally: LossTally) -> tuple[YearlyLoss, ...]:
    """Return the exceedance curves of all designs on common losses."""
    thresholds = _thresholds(tally)
    return tuple(_yearly_loss(tally, d, thresholds) for d in range(len(tally.rate)))


def _thresholds(tally: LossTally) -> Array:
    """Return round losses from below the smallest that matter to beyond the largest."""
    rate = tally.rate.sum(axis=(0, 1))
    loss = tally.loss.sum(axis=(0, 1))
    with_loss = rate[1:] > 0.0
    if not with_loss.any():
        return np.zeros(0)
    sizes = loss[1:][with_loss] / rate[1:][with_loss]
    shares = np.cumsum(loss[1:][with_loss]) / loss.sum()
    first = max(float(sizes[int(np.searchsorted(shares, 1e-3))]), 1e-3 * float(sizes.max()))
    decades = range(math.floor(math.log10(first)), math.ceil(math.log10(sizes.max())) + 1)
    round_losses = np.array([step * 10.0**decade for decade in decades for step in _STEPS])
    end = int(np.searchsorted(round_losses, sizes.max())) + 1
    start = max(int(np.searchsorted(round_losses, first)) - 1, 0)
    return np.asarray(round_losses[start:end])


def _yearly_loss(tally: LossTally, d: int, thresholds: Array) -> YearlyLoss:
    q = len(thresholds)
    sums = np.stack([tally.rate[d], tally.loss[d]], axis=1)  # (groups, 2, bins)

    def figure(total: Array, count: float) -> Array:
        sizes, rates = _table(total, count * tally.years)
        parts = (
            _largest(sizes, rates, thresholds),
            _sum_of_year(sizes, rates, thresholds),
        )
        return np.concatenate([values for part in parts for values in part])

    found = jackknife(sums, tally.n, figure, least=0.0)
    p = len(PERIODS)
    by_name = np.split(np.arange(len(found)), np.cumsum([q, p, p, q, p]))
    occurrence, largest, largest_tail, aggregate, sums_at, sums_tail = (
        [found[i] for i in part] for part in by_name
    )
    curve = tuple(
        CurvePoint(float(at), _share(occurrence[i]), _share(aggregate[i]))
        for i, at in enumerate(thresholds)
    )
    periods = tuple(
        PeriodLoss(
            period,
            largest[i],
            sums_at[i],
            largest_tail[i],
            sums_tail[i],
            _information_beyond(tally, d, largest[i].value) >= _FEW,
        )
        for i, period in enumerate(PERIODS)
    )
    return YearlyLoss(curve, periods)


def _share(estimate: Estimate) -> Estimate:
    low, high = min(estimate.low, 1.0), min(estimate.high, 1.0)
    return Estimate(estimate.value, estimate.std_error, low, high)


def _information_beyond(tally: LossTally, d: int, loss: float) -> float:
    """Return how many equally weighted leaks would carry what is known of losses beyond."""
    first = int(loss_bin(np.array([loss]))[0]) if loss > 0.0 else 1
    rate = float(tally.rate[d, :, max(first, 1) :].sum())
    if not tally.rate[d].any():
        return math.inf  # nothing leaks: nothing is uncertain
    squares = float(tally.squares[d, :, max(first, 1) :].sum())
    return rate * rate / squares if squares > 0.0 else 0.0


def _table(total: Array, years: float) -> tuple[Array, Array]:
    """Return sizes of losses, rising, and their yearly rates."""
    rate, loss = total[0][1:], total[1][1:]
    there = rate > 0.0
    return loss[there] / rate[there], rate[there] / years


def _largest(sizes: Array, rates: Array, thresholds: Array) -> tuple[Array, Array, Array]:
    """Return curve, losses at return periods and tail averages of the largest loss of a year."""
    beyond = np.concatenate([np.cumsum(rates[::-1])[::-1], [0.0]])
    curve = -np.expm1(-beyond[np.searchsorted(sizes, thresholds, side="right")])
    levels = np.concatenate([[0.0], sizes])
    below = np.exp(-beyond)  # probability that the largest is at most each level
    return curve, *_at_periods(levels, np.diff(below, prepend=0.0))


def _sum_of_year(sizes: Array, rates: Array, thresholds: Array) -> tuple[Array, Array, Array]:
    """Return the same of the sum over a year."""
    levels, chances = distribution_of_sum(sizes, rates)
    beyond = np.concatenate([np.cumsum(chances[::-1])[::-1], [0.0]])
    curve = beyond[np.searchsorted(levels, thresholds, side="right")]
    losses, tails = _at_periods(*_in_bins(levels, chances))
    return np.asarray(np.clip(curve, 0.0, 1.0)), losses, tails


def _in_bins(levels: Array, chances: Array) -> tuple[Array, Array]:
    """Return mean levels and chances in the bins of losses.

    On the fine grid each bin of losses is an atom. A loss at a return period would sit on one of
    them, whatever the rates are, and its interval would be far too narrow.
    """
    bins = loss_bin(levels)
    mass = np.bincount(bins, chances)
    there = mass > 0.0
    means = np.bincount(bins, levels * chances)[there] / mass[there]
    return means, np.asarray(mass[there], float)


def distribution_of_sum(losses: Array, rates: Array, points: int = _GRID) -> tuple[Array, Array]:
    """Return the distribution of the sum of a year's losses, a compound Poisson variable.

    Parameters
    ----------
    losses, rates : array (n,)
        Loss [money] and yearly rate [1/year] of each kind of incident.
    points : int
        Of the grid; the losses are laid on it so that their mean is kept.

    Returns
    -------
    levels, chances : array (points,)
        Sum [money], rising, and its probability.

    Examples
    --------
    >>> levels, chances = distribution_of_sum(np.array([100.0]), np.array([0.5]))
    >>> round(float(chances[0]), 4), round(float((levels * chances).sum()), 4)
    (0.6065, 50.0)
    """
    if len(losses) == 0:
        return np.zeros(1), np.ones(1)
    mean = float(losses @ rates)
    spread = math.sqrt(float((losses * losses) @ rates))
    reach = max(3.0 * float(losses.max()), mean + 12.0 * spread)
    if not math.isfinite(reach):
        raise ModelError("losses are too large to be added up", found=f"up to {losses.max():.3g}")
    step = reach / points
    if (largest := float(losses.max())) > step:
        step = largest / math.floor(largest / step)  # so that a loss cap lies on the grid
    at = losses / step
    first = np.floor(at + 1e-9).astype(np.int64)
    upper = np.clip(at - first, 0.0, 1.0)
    one = np.bincount(first, rates * (1.0 - upper), minlength=points)
    one += np.bincount(first + 1, rates * upper, minlength=points)[:points]
    transform = np.fft.rfft(one)
    chances = np.fft.irfft(np.exp(transform - float(rates.sum())), points)
    return np.asarray(np.arange(points) * step, float), np.asarray(chances, float).clip(0.0)


def _at_periods(levels: Array, chances: Array) -> tuple[Array, Array]:
    """Return the losses at the return periods, and the means of the worst of the years."""
    beyond = np.cumsum(chances[::-1])[::-1]  # of being at this level or above it
    above = np.concatenate([beyond[1:], [0.0]])
    carried = np.concatenate([np.cumsum((levels * chances)[::-1])[::-1], [0.0]])
    losses, tails = [], []
    for period in PERIODS:
        share = 1.0 / period
        # rounding of sums must not shift it to the next level
        i = int(np.argmax(above <= share * (1.0 + 1e-9)))
        losses.append(_within(levels, i, (share - above[i]) / chances[i] if chances[i] else 0.0))
        tails.append((carried[i + 1] + levels[i] * (share - above[i])) / share)
    return np.array(losses), np.array(tails)


def _within(levels: Array, i: int, depth: float) -> float:
    """Return the loss at ``depth`` (0: top, 1: bottom) of the stretch that level ``i`` stands for.

    Between levels that are near each other the chance is spread evenly, so that a loss at a return
    period does not jump from bin to bin; a level that stands alone is taken as it is.
    """
    here = float(levels[i])
    low = high = here
    if i > 0 and here <= _NEAR * levels[i - 1]:
        low = 0.5 * (here + float(levels[i - 1]))
    if i + 1 < len(levels) and levels[i + 1] <= _NEAR * here:
        high = 0.5 * (here + float(levels[i + 1]))
    return high - min(max(depth, 0.0), 1.0) * (high - low)
