"""Running sums over histories for what the comparison's tally does not hold.

Modelled losses (before the factor for what is not modelled, which has a law of its own) and
durations are counted in logarithmic bins, apart for 32 groups of blocks of histories. A figure's
standard error comes from leaving out one group at a time (the delete-a-group jackknife), so that
leaks of one block are never taken for independent ones, and memory does not grow with the number of
histories. As long as there are few different losses, each is counted apart; and each bin knows its
least and its greatest loss apart from the rest. So fixed parts and other losses that come again and
again keep their exact values.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shutoffsim.estimate.jackknife import GROUPS
from shutoffsim.estimate.quantiles import spread_evenly
from shutoffsim.model import layout as L
from shutoffsim.model.streams import BLOCK

Array = NDArray[np.float64]

LOSS_BINS: Final = 1600
_LEAST_LOSS, _MOST_LOSS = 0.1, 1e14  # any currency
TIME_BINS: Final = 480
_LEAST_TIME, _MOST_TIME = 1.0, 1e9  # s
_MOST_APART = 256  # different losses
_ROUNDING = 1e-9  # share of a bin that may be left by subtracting equal sums
STEPS: Final = ("onset to sensed", "sensed to stopped", "onset to stopped")


@dataclass(frozen=True)
class LossKinds:
    """Losses that occur.

    Attributes
    ----------
    sizes : array (m,)
        Rising.
    blur : array (m,)
        Standard deviation of the losses that a size stands for; 0: exactly these.
    weights : array (groups, m)
        Sum of weights.
    """

    sizes: Array
    blur: Array
    weights: Array


class LossTally:
    """Weighted counts of incidents of ``k`` designs.

    Parameters
    ----------
    k : int
        Number of designs.
    years : float
        Service life of one history.
    block : int
        Histories in a block, see :class:`shutoffsim.estimate.tally.Tally`.
    params : record array (k,), optional
        Parameters of the designs: what they leave open bounds what was not seen.

    Attributes
    ----------
    n : array (groups,)
        Histories so far.
    rate, loss, loss_square, squares : array (k, groups, bins)
        Sum of weights, of weight x loss, of weight x loss squared and of squared weights, by size
        of the loss; the first bin holds leaks without loss.
    ends : array (2, k, bins)
        Negated least loss and greatest loss seen in each bin; -inf: none.
    at_ends : array (2, k, groups, bins)
        Sum of weights of the leaks with exactly these losses.
    apart : list of (dict of float to array (groups,), or None)
        For each design the sums of weights of each different loss; None: there are too many.
    mode_damage : array (k, groups, modes)
        Sum of weight x loss by failure mode.
    mode_leaks : array (k, groups, modes)
        Sum of weights by failure mode.
    times : array (k, groups, steps, bins)
        Sum of weights by duration; the last bin: it never happened.
    """

    def __init__(self, k: int, years: float, block: int = BLOCK, params: Any = None) -> None:
        self.params = params
        self.years = years
        self.block = block
        self.n = np.zeros(GROUPS)
        self.rate = np.zeros((k, GROUPS, LOSS_BINS))
        self.loss = np.zeros((k, GROUPS, LOSS_BINS))
        self.loss_square = np.zeros((k, GROUPS, LOSS_BINS))
        self.squares = np.zeros((k, GROUPS, LOSS_BINS))
        self.ends = np.full((2, k, LOSS_BINS), -math.inf)
        self.at_ends = np.zeros((2, k, GROUPS, LOSS_BINS))
        self.apart: list[dict[float, Array] | None] = [{} for _design in range(k)]
        self.mode_damage = np.zeros((k, GROUPS, len(L.MODES)))
        self.mode_leaks = np.zeros((k, GROUPS, len(L.MODES)))
        self.times = np.zeros((k, GROUPS, len(STEPS), TIME_BINS + 1))

    def add(self, chunk: Any) -> None:
        """Add a chunk of histories (see :class:`shutoffsim.engine.run.Chunk`)."""
        rows = chunk.rows
        k, n, _m = rows.shape
        group = (chunk.first + np.arange(n)) // self.block % GROUPS
        self.n += np.bincount(group, minlength=GROUPS)
        place = (np.arange(k)[:, None, None] * GROUPS + group[None, :, None]) + np.zeros(
            rows.shape, np.int64
        )
        weight = np.ascontiguousarray(rows["weight"])
        loss = np.ascontiguousarray(rows["modelled"])
        bins = loss_bin(loss)
        self._count(self.rate, place, bins, weight)
        self._count(self.loss, place, bins, weight * loss)
        self._count(self.loss_square, place, bins, weight * loss * loss)
        self._count(self.squares, place, bins, weight * weight)
        self._keep_ends(place, bins, weight, loss)
        for d, apart in enumerate(self.apart):
            if apart is not None:
                self.apart[d] = _counted_apart(apart, loss[d], weight[d], group)
        self._count(self.mode_leaks, place, rows["mode"], weight)
        self._count(self.mode_damage, place, rows["mode"], weight * rows["mean_loss"])
        never = np.isnan(rows["sensed"]) & np.isfinite(weight)
        lasting = (rows["sensed"], rows["stopped"] - rows["sensed"], rows["stopped"])
        for step, duration in enumerate(lasting):
            counted = weight * ~never if step == 1 else weight
            at = place * len(STEPS) + step
            self._count(self.times, at, _time_bin(duration), counted)

    def _keep_ends(self, place: Any, bins: Any, weight: Array, loss: Array) -> None:
        """Keep the least and the greatest loss of each bin, and how often exactly these occur."""
        design = place // GROUPS * LOSS_BINS + bins
        counted = weight > 0.0
        for sign, ends, at_ends in zip((-1.0, 1.0), self.ends, self.at_ends, strict=True):
            before = ends.copy()
            np.maximum.at(ends.reshape(-1), design[counted], sign * loss[counted])
            d, passed = np.nonzero(ends > before)
            at_ends[d, :, passed] = 0.0
            here = counted & (sign * loss == ends.reshape(-1)[design])
            self._count(at_ends, place, bins, np.where(here, weight, 0.0))

    def cap(self, d: int) -> float:
        """Return the greatest possible loss of a design; inf where it is not known."""
        return math.inf if self.params is None else float(self.params[d]["damage_loss_cap"])

    @property
    def unseen(self) -> float:
        """Return how large a share of the leaks may be of a kind that was never seen."""
        return min(3.0 / float(self.n.sum()), 1.0)

    def unseen_rate(self, d: int) -> float:
        """Return the yearly rate that leaks of a kind may have that was never seen."""
        return self.unseen * float(self.rate[d].sum()) / (float(self.n.sum()) * self.years)

    def kinds(self, d: int) -> LossKinds:
        """Return the modelled losses of a design that occur, each with how often it does."""
        if (apart := self.apart[d]) is not None:
            found = sorted(apart)
            weights = np.array([apart[loss] for loss in found]).reshape(-1, GROUPS).T
            return LossKinds(np.array(found), np.zeros(len(found)), weights)
        pieces = []
        for b in np.flatnonzero(self.rate[d].sum(axis=0)[1:] > 0.0) + 1:
            least, most = -float(self.ends[0, d, b]), float(self.ends[1, d, b])
            rate, low, high = (
                sums[:, b] for sums in (self.rate[d], self.at_ends[0, d], self.at_ends[1, d])
            )
            if least == most:
                pieces.append((np.array([least]), 0.0, rate))
                continue
            pieces += [(np.array([least]), 0.0, low), (np.array([most]), 0.0, high)]
            rest = np.maximum(rate - low - high, 0.0)
            rest[rest < _ROUNDING * rate] = 0.0
            if (whole := float(rest.sum())) <= 0.0:
                continue
            ends = np.array([low.sum(), high.sum()])
            mean = (self.loss[d, :, b].sum() - ends @ (least, most)) / whole
            square = (self.loss_square[d, :, b].sum() - ends @ (least**2, most**2)) / whole
            mean = min(max(float(mean), least), most)
            deviation = math.sqrt(max(float(square) - mean * mean, 0.0))
            places = spread_evenly(mean, deviation, least, most)
            pieces.append((places, deviation if len(places) > 1 else 0.0, rest / len(places)))
        sizes = np.concatenate([places for places, _, _ in pieces])
        order = np.argsort(sizes, kind="stable")
        blur = np.concatenate([np.full(len(places), width) for places, width, _ in pieces])
        weights = np.concatenate(
            [np.repeat(own[:, None], len(places), axis=1) for places, _, own in pieces], axis=1
        )
        return LossKinds(sizes[order], blur[order], weights[:, order])

    @staticmethod
    def _count(into: Array, place: Any, bins: Any, weight: Array) -> None:
        at = place * into.shape[-1] + bins
        into += np.bincount(at.ravel(), weight.ravel(), minlength=into.size).reshape(into.shape)


def _counted_apart(
    apart: dict[float, Array], loss: Array, weight: Array, group: NDArray[np.int64]
) -> dict[float, Array] | None:
    """Return the sums of weights of each different loss with those of more histories."""
    counted = (weight > 0.0) & (loss > 0.0)
    found, number = np.unique(loss[counted], return_inverse=True)
    sums = dict(apart)
    if len(found) > _MOST_APART:
        return None
    at = number * GROUPS + np.broadcast_to(group[:, None], loss.shape)[counted]
    more = np.bincount(at, weight[counted], minlength=len(found) * GROUPS).reshape(-1, GROUPS)
    for value, own in zip(found.tolist(), more.astype(float), strict=True):
        sums[value] = sums[value] + own if value in sums else own
    return sums if len(sums) <= _MOST_APART else None


def loss_bin(loss: Array) -> NDArray[np.int64]:
    """Return the bin of each loss; 0: no loss."""
    span = math.log(_MOST_LOSS / _LEAST_LOSS)
    clipped = np.clip(loss, _LEAST_LOSS, _MOST_LOSS)
    found = 1 + (np.log(clipped / _LEAST_LOSS) * ((LOSS_BINS - 1) / span)).astype(np.int64)
    return np.where(loss > 0.0, np.minimum(found, LOSS_BINS - 1), 0)


def _time_bin(duration: Array) -> NDArray[np.int64]:
    never = np.isnan(duration)
    span = math.log(_MOST_TIME / _LEAST_TIME)
    clipped = np.clip(np.where(never, _MOST_TIME, duration), _LEAST_TIME, _MOST_TIME)
    found = np.ceil(np.log(clipped / _LEAST_TIME) * ((TIME_BINS - 1) / span)).astype(np.int64)
    return np.where(never, TIME_BINS, np.minimum(found, TIME_BINS - 1))


def time_edges() -> Array:
    """Return the greatest duration [s] of each bin."""
    return np.geomspace(_LEAST_TIME, _MOST_TIME, TIME_BINS)
