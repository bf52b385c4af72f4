"""Exceedance curves of a year's losses, and the losses and tail averages at return periods.

Leaks are a Poisson stream whose rates are those of the tally. The largest loss of a year follows
at once. The sum of a year is a compound Poisson variable, see
:mod:`shutoffsim.study.assessment.sums`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple, Protocol

import numpy as np

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.jackknife import jackknife
from shutoffsim.estimate.quantiles import Levels, quantile_estimate
from shutoffsim.study.assessment.factor import losses_of, share_beyond
from shutoffsim.study.assessment.loss_parts import Claims, CurvePoint, PeriodLoss, YearlyLoss
from shutoffsim.study.assessment.losses import Array, LossKinds, LossTally, loss_bin
from shutoffsim.study.assessment.sums import SumOfYear

PERIODS: Final = (2.0, 5.0, 10.0, 25.0, 50.0, 100.0, 250.0)
_STEPS = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)  # losses shown in each decade
_RAREST = 1e-5  # share of the losses beyond which no more are shown
_FEW = 30.0  # incidents' worth of information beyond a loss, below which it is not resolved


def yearly_losses(
    tally: LossTally, periods: Sequence[float] = PERIODS, losses: Sequence[float] | None = None
) -> tuple[YearlyLoss, ...]:
    """Return the exceedance curves of all designs on common losses, and losses at return periods.

    Parameters
    ----------
    tally : LossTally
    periods : sequence of float
        Years, each more than 1.
    losses : sequence of float, optional
        Where the curves are reported, rising; by default at round losses.
    """
    kinds = [losses_of(tally, d) for d in range(len(tally.rate))]
    thresholds = _thresholds(kinds) if losses is None else np.asarray(losses, float)
    return tuple(_yearly_loss(tally, d, own, thresholds, periods) for d, own in enumerate(kinds))


def _thresholds(kinds: Sequence[LossKinds]) -> Array:
    """Return round losses from below the smallest that matter to beyond the largest."""
    sizes = np.concatenate([each.sizes for each in kinds])
    rates = np.concatenate([each.weights.sum(axis=0) for each in kinds])
    order = np.argsort(sizes, kind="stable")
    sizes, rates = sizes[order], rates[order]
    beyond = np.cumsum(rates[::-1])[::-1]
    there = (rates > 0.0) & (beyond >= _RAREST * rates.sum())
    if not there.any():
        return np.zeros(0)
    largest = float(sizes[there].max())
    shares = np.cumsum(sizes * rates) / float(sizes @ rates)
    first = max(float(sizes[int(np.searchsorted(shares, 1e-3))]), 1e-3 * largest)
    # a decade lower, so that a smallest loss that is a power of ten is exceeded below itself
    decades = range(math.floor(math.log10(first)) - 1, math.ceil(math.log10(largest)) + 1)
    round_losses = np.array([step * 10.0**decade for decade in decades for step in _STEPS])
    end = int(np.searchsorted(round_losses, largest)) + 1
    start = max(int(np.searchsorted(round_losses, first)) - 1, 0)
    return np.asarray(round_losses[start:end])


def claims(tally: LossTally, d: int) -> Claims:
    """Return how often the losses of a design pass the deductible, and what is then paid.

    Parameters
    ----------
    tally : LossTally
        With the parameters of its designs.
    d : int
    """
    policy = tally.params[d]
    deductible, limit = float(policy["insurance_deductible"]), float(policy["insurance_limit"])
    kinds = losses_of(tally, d)
    claimed = kinds.sizes > deductible
    paid = np.minimum(kinds.sizes[claimed] - deductible, limit)

    def figure(total: Array, count: float) -> Array:
        often = float(total.sum())
        mean = float(total @ paid) / often if often > 0.0 else math.nan
        return np.array([often / (count * tally.years), mean])

    often, mean = jackknife(kinds.weights[:, claimed], tally.n, figure, least=0.0)
    return Claims(often, mean)


class Law(Protocol):
    """A law of a year's losses on levels that stay, whatever the rates are."""

    levels: Levels

    def chances(self, rates: Array) -> Array:
        """Return the chance of each level."""
        ...


def _yearly_loss(
    tally: LossTally, d: int, kinds: LossKinds, thresholds: Array, periods: Sequence[float]
) -> YearlyLoss:
    rates = kinds.weights.sum(axis=0) / (float(tally.n.sum()) * tally.years)
    there = rates > 0.0
    sizes, blur, rates = kinds.sizes[there], kinds.blur[there], rates[there]
    readings = [
        _Reading(law, rates, thresholds, periods)
        for law in (Largest(sizes, blur), SumOfYear(sizes, blur, rates))
    ]

    def figure(total: Array, count: float) -> Array:
        now = total / (count * tally.years)
        return np.concatenate([reading.figures(now) for reading in readings])

    found = jackknife(kinds.weights[:, there], tally.n, figure, least=0.0)
    half = len(found) // 2
    groups = int((tally.n > 0).sum())
    unseen = _Unseen(tally.unseen_rate(d), tally.cap(d))
    occurrence, largest, largest_tail = readings[0].told(found[:half], groups, unseen)
    aggregate, sums, sums_tail = readings[1].told(found[half:], groups, unseen)
    curve = tuple(
        CurvePoint(float(at), *(_share(found[i], at, unseen) for found in (occurrence, aggregate)))
        for i, at in enumerate(thresholds)
    )
    return YearlyLoss(
        curve,
        tuple(
            PeriodLoss(
                period,
                largest[i],
                sums[i],
                largest_tail[i],
                sums_tail[i],
                _information_beyond(tally, d, largest[i].value) >= _FEW,
            )
            for i, period in enumerate(periods)
        ),
    )


class _Reading:
    """What is read off a law: chances at thresholds, and losses and tails at return periods."""

    def __init__(self, law: Law, rates: Array, thresholds: Array, periods: Sequence[float]) -> None:
        self.law, self.levels = law, law.levels
        self.shares = [1.0 / period for period in periods]
        self.first = self.levels.above(thresholds)
        self.beyond = self.levels.beyond(law.chances(rates))
        self.at = np.array([self.levels.quantile(self.beyond, share) for share in self.shares])

    def figures(self, rates: Array) -> Array:
        """Return chances above thresholds, of reaching and passing the quantiles, and tails."""
        chances = self.law.chances(rates)
        beyond = self.levels.beyond(chances)
        carried = self.levels.beyond(chances * self.levels.at)
        passed, value = beyond[self.at + 1], self.levels.at[self.at]
        # the mean of the worst years is least for the quantile as the level: its error is nothing
        tails = value + (carried[self.at + 1] - value * passed) / np.array(self.shares)
        return np.concatenate([beyond[self.first], beyond[self.at], passed, tails])

    def told(
        self, found: list[Estimate], groups: int, unseen: _Unseen
    ) -> tuple[list[Estimate], list[Estimate], list[Estimate]]:
        """Return the estimates: curve, losses at return periods, tails."""
        q, p = len(self.first), len(self.shares)
        curve, reached, passed, tails = (
            [found[i] for i in part]
            for part in np.split(np.arange(len(found)), np.cumsum([q, p, p]))
        )
        losses = [
            quantile_estimate(self.levels, self.beyond, share, at, above, groups)
            for share, at, above in zip(self.shares, reached, passed, strict=True)
        ]
        if len(self.levels.at) == 1 and groups > 1:  # no loss was seen
            losses = [_nothing_seen(unseen, share, tail=False) for share in self.shares]
            tails = [_nothing_seen(unseen, share, tail=True) for share in self.shares]
        return curve, losses, tails


class _Unseen(NamedTuple):
    """What a loss larger than all that were seen may come to: yearly rate, and amount."""

    rate: float
    cap: float

    @property
    def chance(self) -> float:
        return -math.expm1(-self.rate)


def _share(estimate: Estimate, above: float, unseen: _Unseen) -> Estimate:
    """Return the chance of a loss above an amount; never certain below the greatest possible."""
    if estimate.value == 0.0 and above < unseen.cap:
        return Estimate(0.0, math.nan, 0.0, unseen.chance)
    low, high = min(estimate.low, 1.0), min(estimate.high, 1.0)
    return Estimate(estimate.value, estimate.std_error, low, high)


def _nothing_seen(unseen: _Unseen, share: float, *, tail: bool) -> Estimate:
    """Return the loss once in so many years, or the mean beyond it, where none was seen."""
    if tail:
        reach = min(unseen.chance / share, 1.0)
        return Estimate(0.0, math.nan, 0.0, reach * unseen.cap if reach > 0.0 else 0.0)
    if unseen.chance <= share:
        return Estimate.exact(0.0)
    return Estimate(0.0, math.nan, 0.0, unseen.cap)


def _information_beyond(tally: LossTally, d: int, loss: float) -> float:
    """Return how many equally weighted leaks would carry what is known of losses beyond."""
    rate, squares = (sums[d].sum(axis=0)[1:] for sums in (tally.rate, tally.squares))
    if not tally.rate[d].any():
        return math.inf  # nothing leaks: nothing is uncertain
    there = rate > 0.0
    sizes = tally.loss[d].sum(axis=0)[1:][there] / rate[there]
    if tally.params is None:
        share = (loss_bin(sizes) >= loss_bin(np.array([loss]))).astype(float)
    else:
        share = share_beyond(tally.params[d], sizes, loss)
    carried = float(squares[there] @ share**2)
    return float(rate[there] @ share) ** 2 / carried if carried > 0.0 else 0.0


class Largest:
    """The largest loss of a year.

    Parameters
    ----------
    sizes, blur : array (m,)
        Losses [money], rising, and the standard deviation of what each stands for.
    """

    def __init__(self, sizes: Array, blur: Array) -> None:
        self.levels = Levels(np.concatenate([[0.0], sizes]), np.concatenate([[0.0], blur]))

    def chances(self, rates: Array) -> Array:
        """Return the chance of each level, for yearly rates (m,) of the losses."""
        above = np.concatenate([np.cumsum(rates[::-1])[::-1], [0.0]])
        # of none above it and at least one of it, without the difference of nearly equal numbers
        at = -np.expm1(-np.concatenate([[math.inf], rates]))
        return np.asarray(np.exp(-above) * at)
