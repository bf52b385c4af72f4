"""Running sums over histories: everything a study needs, in memory that does not grow.

Each history gives one vector of yearly figures per design. The histories of a block share the
drawing of their sites, and the probes of a history share its course, so intervals come from the
spread *between blocks* alone: sums and cross products of the sums of blocks give means, ratios and
paired differences. A mean is the ratio of a figure to the number of histories, so blocks need not
be of one size.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shutoffsim.estimate.estimate import Estimate, t_factor, with_interval
from shutoffsim.model import layout as L
from shutoffsim.model.streams import BLOCK

# Figures per history and year, and the number of histories, in this order; the modes follow.
(LOSS, INSURED, LEAKS, DAMAGING, FAILED, NUISANCE, NATURAL_LOSS, NATURAL_LEAKS, COUNT) = range(9)
FIRST_MODE = 9
FIGURES = FIRST_MODE + len(L.MODES)

LEAST_BLOCKS = 8  # for a spread between them
GROUPS = 32  # of blocks, for the intervals of quantiles
_BINS = 1600
_VOLUME_LEAST, _VOLUME_MOST = 1e-7, 1e5  # m3

Array = NDArray[np.float64]


def block_for(histories: int) -> int:
    """Return how many histories make a block in a run of so many.

    With fewer than :data:`LEAST_BLOCKS` blocks the spread between single histories must do.
    """
    return BLOCK if histories >= LEAST_BLOCKS * BLOCK else 1


class Tally:
    """Sums over the histories of ``k`` designs.

    Parameters
    ----------
    k : int
        Number of designs.
    years : float
        Service life of one history.
    block : int
        Histories in a block; 1 where there are too few blocks, which makes intervals too wide
        rather than too narrow.
    """

    def __init__(self, k: int, years: float, block: int = BLOCK) -> None:
        self.years = years
        self.block = block
        self.n = 0
        self.blocks = 0
        self.total = np.zeros((k, FIGURES))
        self.products = np.zeros((k, FIGURES, FIGURES))
        self.pairs = np.zeros((FIGURES, k, k))  # products of the same figure of two designs
        self.volumes = np.zeros((k, GROUPS, _BINS))
        self.rows = 0
        self.greatest = np.zeros(k)  # largest weight x loss of one incident
        self.squares = np.zeros(k)  # sum of (weight x loss)^2
        self.dropped = 0.0

    def add(self, chunk: Any) -> None:
        """Add a chunk of histories (see :class:`shutoffsim.engine.run.Chunk`).

        A chunk starts with a block; only the last one may end within a block.
        """
        rows = chunk.rows
        k, n, m = rows.shape
        figures = np.zeros((k, n, FIGURES))
        weight = np.asarray(rows["weight"])
        parts = weight * rows["loss"]
        figures[..., LOSS] = parts.sum(axis=2)
        figures[..., INSURED] = (weight * rows["insured"]).sum(axis=2)
        figures[..., LEAKS] = weight.sum(axis=2)
        figures[..., DAMAGING] = (weight * (rows["loss"] > 0.0)).sum(axis=2)
        figures[..., FAILED] = (weight * (rows["mode"] > L.MODE_NONE)).sum(axis=2)
        at = np.arange(k * n)[:, None] * len(L.MODES) + rows["mode"].reshape(k * n, m)
        by_mode = np.bincount(at.ravel(), weight.ravel(), minlength=k * n * len(L.MODES))
        figures[..., FIRST_MODE:] = by_mode.reshape(k, n, len(L.MODES))
        figures[..., NUISANCE] = chunk.summary["nuisance_closings"]
        natural = chunk.natural
        place = natural["design"] * n + (natural["history"] - chunk.first)
        figures[..., NATURAL_LOSS] = np.bincount(place, natural["loss"], minlength=k * n).reshape(
            k, n
        )
        figures[..., NATURAL_LEAKS] = np.bincount(place, minlength=k * n).reshape(k, n)
        figures /= self.years
        figures[..., COUNT] = 1.0
        sums = np.add.reduceat(figures, np.arange(0, n, self.block), axis=1)

        self.n += n
        self.blocks += sums.shape[1]
        self.rows += n * m
        self.total += sums.sum(axis=1)
        self.products += np.einsum("dbi,dbj->dij", sums, sums)
        self.pairs += np.einsum("dbi,ebi->ide", sums, sums)
        self.greatest = np.maximum(self.greatest, parts.max(axis=(1, 2)))
        self.squares += (parts**2).sum(axis=(1, 2))
        self.dropped += float(chunk.summary["dropped"].sum())
        self._count_volumes(rows, weight, chunk.first)

    def _count_volumes(self, rows: Any, weight: Array, first: int) -> None:
        k, n, _m = rows.shape
        volume = np.clip(rows["volume"], _VOLUME_LEAST, _VOLUME_MOST)
        span = math.log(_VOLUME_MOST / _VOLUME_LEAST)
        cell = (np.log(volume / _VOLUME_LEAST) * (_BINS / span)).astype(np.int64)
        cell = np.minimum(cell, _BINS - 1)
        group = ((first + np.arange(n)) // self.block % GROUPS)[None, :, None]
        at = (np.arange(k)[:, None, None] * GROUPS + group) * _BINS + cell
        counts = np.bincount(at.ravel(), weight.ravel(), minlength=self.volumes.size)
        self.volumes += counts.reshape(self.volumes.shape)

    def mean(self, design: int, figure: int, least: float = -math.inf) -> Estimate:
        """Return the yearly mean of a figure."""
        value = self.total[design, figure] / self.n
        error = self._ratio_error(self.products[design], figure, COUNT, value, self.n)
        return with_interval(value, error, self.blocks, least)

    def _ratio_error(self, p: Array, figure: int, of: int, value: float, whole: float) -> float:
        """Return the standard error of a ratio of sums over blocks, by linearisation."""
        if self.blocks < 2:
            return math.nan
        square = p[figure, figure] - 2.0 * value * p[figure, of] + value * value * p[of, of]
        # Equal sums leave rounding behind; below that, the spread is zero.
        if square < 1e-12 * p[figure, figure]:
            return 0.0
        return self.error_of(square, float(whole))

    def error_of(self, square: float, whole: float) -> float:
        """Return the standard error of a sum over blocks, divided by ``whole``.

        ``square`` is the sum over blocks of its squared deviations.
        """
        return math.sqrt(square * self.blocks / (self.blocks - 1)) / whole

    def difference(self, design: int, figure: int, reference: int = 0) -> Estimate:
        """Return the mean of design minus reference, paired block by block."""
        value = (self.total[design, figure] - self.total[reference, figure]) / self.n
        if self.blocks < 2:
            return with_interval(value, math.nan, self.blocks)
        pairs = self.pairs[figure]
        scale = pairs[design, design] + pairs[reference, reference]
        square = scale - 2.0 * pairs[design, reference]
        with_count = self.products[design, figure, COUNT] - self.products[reference, figure, COUNT]
        square += value * value * self.products[design, COUNT, COUNT] - 2.0 * value * with_count
        # Differences of large equal sums leave rounding behind; below that, it is zero.
        if square < 1e-12 * scale:
            square = 0.0
        error = self.error_of(square, self.n)
        return with_interval(value, error, self.blocks)

    def share(self, design: int, figure: int, of: int = LEAKS) -> Estimate:
        """Return the ratio of two figures, with a standard error by linearisation.

        Where nothing was seen the interval ends at 3 / (independent histories that leaked), the
        "rule of three".
        """
        whole = self.total[design, of]
        if whole <= 0.0:
            return Estimate(math.nan, math.nan, 0.0, 1.0)
        value = float(self.total[design, figure] / whole)
        if self.blocks < 2:
            return Estimate(value, math.nan, 0.0, 1.0)
        if value <= 0.0:
            return Estimate(0.0, 0.0, 0.0, min(3.0 / self.n, 1.0))
        if value >= 1.0 - 1e-12:
            return Estimate(1.0, 0.0, max(1.0 - 3.0 / self.n, 0.0), 1.0)
        error = self._ratio_error(self.products[design], figure, of, value, whole)
        return with_interval(value, error, self.blocks, 0.0, 1.0)

    def volume_quantile(self, design: int, share: float) -> Estimate:
        """Return the quantile of escaped volume [m3] over leaks.

        The interval comes from the same quantile of at most 32 independent groups of blocks.
        """
        value = _quantile(self.volumes[design].sum(axis=0), share)
        filled = self.volumes[design].sum(axis=1) > 0.0
        groups = [_quantile(counts, share) for counts in self.volumes[design][filled]]
        if len(groups) < 2 or not math.isfinite(value):
            return Estimate(value, math.nan, 0.0, math.inf)
        error = float(np.std(groups, ddof=1)) / math.sqrt(len(groups))
        half = t_factor(len(groups)) * error
        return Estimate(value, error, max(value - half, 0.0), value + half)

    def effective_incidents(self, design: int) -> float:
        """Return (sum of x)^2 / sum of x^2 over weighted losses: how many carry the result."""
        total = self.total[design, LOSS] * self.years
        return total * total / self.squares[design] if self.squares[design] > 0.0 else 0.0

    def largest_share(self, design: int) -> float:
        """Return the share of the expected loss that the largest single incident carries."""
        total = self.total[design, LOSS] * self.years
        return self.greatest[design] / total if total > 0.0 else 0.0


def _quantile(counts: Array, share: float) -> float:
    """Return a quantile from counts over logarithmic bins (geometric middle of the bin)."""
    total = counts.sum()
    if total <= 0.0:
        return math.nan
    cell = int(np.searchsorted(np.cumsum(counts), share * total))
    ratio = (_VOLUME_MOST / _VOLUME_LEAST) ** ((min(cell, _BINS - 1) + 0.5) / _BINS)
    return float(_VOLUME_LEAST * ratio)
