"""Running sums over histories for what the comparison's tally does not hold.

Losses by size and durations by length are counted in logarithmic bins, apart for 32 groups of
blocks of histories. A figure's standard error comes from leaving out one group at a time (the
delete-a-group jackknife), so that leaks of one block are never taken for independent ones, and
memory does not grow with the number of histories.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shutoffsim.estimate.estimate import Estimate, t_factor
from shutoffsim.model import layout as L
from shutoffsim.model.streams import BLOCK

Array = NDArray[np.float64]

GROUPS: Final = 32
LOSS_BINS: Final = 1600
_LEAST_LOSS, _MOST_LOSS = 0.1, 1e14  # any currency
TIME_BINS: Final = 480
_LEAST_TIME, _MOST_TIME = 1.0, 1e9  # s
STEPS: Final = ("onset to sensed", "sensed to stopped", "onset to stopped")


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

    Attributes
    ----------
    n : array (groups,)
        Histories so far.
    rate, loss, squares : array (k, groups, bins)
        Sum of weights, of weight x loss and of squared weights, by size of the loss; the first bin
        holds leaks without loss.
    mode_damage : array (k, groups, modes)
        Sum of weight x loss by failure mode.
    mode_leaks : array (k, groups, modes)
        Sum of weights by failure mode.
    own : array (k, groups)
        Sum of the yearly loss that the owner bears, less that of the first design.
    times : array (k, groups, steps, bins)
        Sum of weights by duration; the last bin: it never happened.
    """

    def __init__(self, k: int, years: float, block: int = BLOCK) -> None:
        self.years = years
        self.block = block
        self.n = np.zeros(GROUPS)
        self.rate = np.zeros((k, GROUPS, LOSS_BINS))
        self.loss = np.zeros((k, GROUPS, LOSS_BINS))
        self.squares = np.zeros((k, GROUPS, LOSS_BINS))
        self.mode_damage = np.zeros((k, GROUPS, len(L.MODES)))
        self.mode_leaks = np.zeros((k, GROUPS, len(L.MODES)))
        self.own = np.zeros((k, GROUPS))
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
        loss = np.ascontiguousarray(rows["loss"])
        bins = loss_bin(loss)
        self._count(self.rate, place, bins, weight)
        self._count(self.loss, place, bins, weight * loss)
        self._count(self.squares, place, bins, weight * weight)
        self._count(self.mode_leaks, place, rows["mode"], weight)
        self._count(self.mode_damage, place, rows["mode"], weight * loss)
        borne = (weight * (loss - rows["insured"])).sum(axis=2) / self.years
        for d in range(k):
            self.own[d] += np.bincount(group, borne[d] - borne[0], minlength=GROUPS)
        never = np.isnan(rows["sensed"]) & np.isfinite(weight)
        lasting = (rows["sensed"], rows["stopped"] - rows["sensed"], rows["stopped"])
        for step, duration in enumerate(lasting):
            counted = weight * ~never if step == 1 else weight
            at = place * len(STEPS) + step
            self._count(self.times, at, _time_bin(duration), counted)

    def own_difference(self, d: int) -> Estimate:
        """Return the yearly loss that the owner bears, design minus the first, paired."""
        return jackknife(self.own[d][:, None], self.n, lambda total, count: total / count)[0]

    @staticmethod
    def _count(into: Array, place: Any, bins: Any, weight: Array) -> None:
        at = place * into.shape[-1] + bins
        into += np.bincount(at.ravel(), weight.ravel(), minlength=into.size).reshape(into.shape)


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


def jackknife(
    sums: Array,
    n: Array,
    figure: Callable[[Array, float], Array],
    least: float = -math.inf,
    most: float = math.inf,
) -> list[Estimate]:
    """Return figures of sums over histories, with intervals from leaving out a group at a time.

    Parameters
    ----------
    sums : array (groups, ...)
        Sums over the histories of each group.
    n : array (groups,)
        Histories in each.
    figure : callable
        Of the sum over histories and their number; returns an array (q,), nan where it cannot be
        told.
    least, most : float
        Ends that no interval passes.
    """
    filled = np.flatnonzero(n > 0)
    total, count = sums.sum(axis=0), float(n.sum())
    values = figure(total, count)
    g = len(filled)
    if g < 2:
        return [Estimate(float(v), math.nan, least, most) for v in values]
    parts = np.array([figure(total - sums[i], count - float(n[i])) for i in filled])
    errors = np.sqrt((g - 1) / g * ((parts - parts.mean(axis=0)) ** 2).sum(axis=0))
    factor = t_factor(g)
    found = []
    for value, error in zip(values.tolist(), errors.tolist(), strict=True):
        if not math.isfinite(value) or not math.isfinite(error):
            found.append(Estimate(value, math.nan, least, most))
            continue
        if error < 1e-12 * abs(value):  # what is left of equal sums is rounding
            error = 0.0
        half = factor * error
        found.append(Estimate(value, error, max(value - half, least), min(value + half, most)))
    return found
