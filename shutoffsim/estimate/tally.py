"""Running sums over histories: everything a study needs, in memory that does not grow.

Each history gives one vector of yearly figures per design. The histories of a block share the
drawing of their sites, and the probes of a history share its course, so intervals come from the
spread *between blocks* alone: sums and cross products of the sums of blocks give means, ratios and
paired differences. A mean is the ratio of a figure to the number of histories, so blocks need not
be of one size.

Of a probe's loss the mean over the factor for what is not modelled is counted, not a draw of it:
the same expectation with less spread. Natural leaks keep their drawn losses.

Where all blocks say the same, their spread tells nothing: what is rare has not been seen yet. Then
the interval is a bound (the "rule of three": what was never seen in n histories is rarer than
3 / n, 95 times in 100), with no standard error, unless the parameters leave no other value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from shutoffsim.estimate.estimate import CONFIDENCE, Estimate, with_interval
from shutoffsim.estimate.jackknife import GROUPS, jackknife
from shutoffsim.estimate.quantiles import PIECES, Levels, quantile_estimate
from shutoffsim.model import layout as L
from shutoffsim.model.elements import NUMBERED
from shutoffsim.model.streams import BLOCK

# Figures per history and year, and the number of histories, in this order; the modes follow.
(
    LOSS,
    INSURED,
    OWN,  # loss less what the policy pays
    LEAKS,
    DAMAGING,
    FAILED,
    NUISANCE,
    NATURAL_LOSS,
    NATURAL_LEAKS,
    REPAIRS,
    REPAIR_COST,
    RUNNING,  # repairs, and hours without water at their price
    OUTLAY,  # loss and running cost
    DRY,
    COUNT,
) = range(15)
FIRST_MODE = COUNT + 1
FIRST_REPAIR = FIRST_MODE + len(L.MODES)
FIRST_DRY = FIRST_REPAIR + len(L.REPAIRS)
FIGURES = FIRST_DRY + len(L.DRY)
DRY_FIGURES = (DRY, *range(FIRST_DRY, FIGURES))  # hours without water
EVENTS = (NUISANCE, REPAIRS, *range(FIRST_REPAIR, FIRST_DRY))  # whole numbers in a history
COSTS = (REPAIR_COST, RUNNING, OUTLAY)  # what repairs cost is part of them
MOST_REPAIRS = 400  # in a service life, as far as their distribution is kept

_HOURS = 8766.0  # of a year
LEAST_BLOCKS = 8  # for a spread between them
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
    params : record array (k,), optional
        Parameters of the designs: what they leave open bounds what was not seen.
    hour : float
        What an hour without water is worth.
    """

    def __init__(
        self, k: int, years: float, block: int = BLOCK, params: Any = None, hour: float = 0.0
    ) -> None:
        self.years = years
        self.params = params
        self.hour = hour
        self.block = block
        self.n = 0
        self.blocks = 0
        self.total = np.zeros((k, FIGURES))
        self.products = np.zeros((k, FIGURES, FIGURES))
        self.pairs = np.zeros((FIGURES, k, k))  # products of the same figure of two designs
        self.volumes = np.zeros((k, GROUPS, _BINS))
        self.volume_ends = np.full((2, k, _BINS), -math.inf)  # negated least, and greatest
        self.rows = 0
        self.greatest = np.zeros(k)  # largest weight x loss of one incident
        self.squares = np.zeros(k)  # sum of (weight x loss)^2
        self.dropped = 0.0
        self.fitted = np.zeros((k, len(L.FITTED)), np.int64)  # histories by their fitting test
        self.repairs = np.zeros((k, MOST_REPAIRS + 1), np.int64)  # histories by their number

    def add(self, chunk: Any) -> None:
        """Add a chunk of histories (see :class:`shutoffsim.engine.run.Chunk`).

        A chunk starts with a block; only the last one may end within a block.
        """
        rows = chunk.rows
        k, n, m = rows.shape
        figures = np.zeros((k, n, FIGURES))
        weight = np.asarray(rows["weight"])
        parts = weight * rows["mean_loss"]
        figures[..., LOSS] = parts.sum(axis=2)
        figures[..., INSURED] = (weight * rows["mean_insured"]).sum(axis=2)
        figures[..., OWN] = figures[..., LOSS] - figures[..., INSURED]
        figures[..., LEAKS] = weight.sum(axis=2)
        figures[..., DAMAGING] = (weight * (rows["modelled"] > 0.0)).sum(axis=2)
        figures[..., FAILED] = (weight * (rows["mode"] > L.MODE_NONE)).sum(axis=2)
        at = np.arange(k * n)[:, None] * len(L.MODES) + rows["mode"].reshape(k * n, m)
        by_mode = np.bincount(at.ravel(), weight.ravel(), minlength=k * n * len(L.MODES))
        figures[..., FIRST_MODE:FIRST_REPAIR] = by_mode.reshape(k, n, len(L.MODES))
        figures[..., NUISANCE] = chunk.summary["nuisance_closings"]
        repairs = chunk.summary["repairs"]
        figures[..., FIRST_REPAIR:FIRST_DRY] = repairs
        dry = chunk.summary["dry"] / 3600.0
        figures[..., FIRST_DRY:] = dry
        figures[..., DRY] = dry.sum(axis=2)
        figures[..., REPAIRS] = repairs.sum(axis=2)
        figures[..., REPAIR_COST] = chunk.summary["repair_cost"]
        figures[..., RUNNING] = figures[..., REPAIR_COST] + self.hour * figures[..., DRY]
        figures[..., OUTLAY] = figures[..., LOSS] + figures[..., RUNNING]
        ends = chunk.summary["fitted_as"].astype(np.int64)
        np.add.at(self.fitted, (np.arange(k)[:, None], ends), 1)
        number = np.minimum(figures[..., REPAIRS].astype(np.int64), MOST_REPAIRS)
        np.add.at(self.repairs, (np.arange(k)[:, None], number), 1)
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
        exact = np.ascontiguousarray(rows["volume"])
        volume = np.clip(exact, _VOLUME_LEAST, _VOLUME_MOST)
        span = math.log(_VOLUME_MOST / _VOLUME_LEAST)
        cell = (np.log(volume / _VOLUME_LEAST) * (_BINS / span)).astype(np.int64)
        cell = np.minimum(cell, _BINS - 1)
        group = ((first + np.arange(n)) // self.block % GROUPS)[None, :, None]
        at = (np.arange(k)[:, None, None] * GROUPS + group) * _BINS + cell
        counts = np.bincount(at.ravel(), weight.ravel(), minlength=self.volumes.size)
        self.volumes += counts.reshape(self.volumes.shape)
        counted = weight > 0.0
        place = (np.arange(k)[:, None, None] * _BINS + cell)[counted]
        for sign, ends in zip((-1.0, 1.0), self.volume_ends, strict=True):
            np.maximum.at(ends.reshape(-1), place, sign * exact[counted])

    def mean(self, design: int, figure: int, least: float = -math.inf) -> Estimate:
        """Return the yearly mean of a figure."""
        value = float(self.total[design, figure] / self.n)
        error = self._ratio_error(self.products[design], figure, COUNT, value, self.n)
        if self.blocks < 2 and self._defined(design, figure):
            return Estimate.exact(value)
        if error == 0.0:
            return self._without_spread(design, figure, value)
        return with_interval(value, error, self.blocks, least)

    @property
    def _unseen(self) -> float:
        """Return how large a share of the histories may be of a kind that was never seen."""
        return min(3.0 / self.n, 1.0)

    def _without_spread(self, design: int, figure: int, value: float) -> Estimate:
        """Return the mean of a figure that was the same in all blocks."""
        if figure == COUNT or self._defined(design, figure):
            return Estimate.exact(value)
        if figure in EVENTS:
            return self._counted(value)
        if figure in DRY_FIGURES:
            return Estimate(value, math.nan, 0.0, min(3.0 / self.n, 1.0) * _HOURS)
        if figure in (REPAIR_COST, RUNNING):
            return Estimate(value, math.nan, 0.0, value + self._unseen_cost(design))
        leaks = float(self.total[design, LEAKS] / self.n)
        most = self._most(design, figure)
        share = self._unseen
        if figure in (NATURAL_LOSS, NATURAL_LEAKS):
            reach = _times(3.0 / (self.n * self.years), most)
            return Estimate(value, math.nan, max(value - reach, 0.0), value + reach)
        if figure == LEAKS:
            return Estimate(value, math.nan, 0.0, math.inf)
        low, high = (1.0 - share) * value, (1.0 - share) * value + _times(share * leaks, most)
        if figure == OUTLAY:
            high += self._unseen_cost(design)
        return Estimate(value, math.nan, low, max(high, value))

    def _counted(self, value: float) -> Estimate:
        """Return a yearly number of events that came equally often in all blocks."""
        span = self.n * self.years
        number = round(value * span)
        if number == 0:
            return Estimate(0.0, math.nan, 0.0, 3.0 / span)
        tail = 0.5 - CONFIDENCE / 2.0  # F. Garwood's interval of a Poisson number
        low, high = special.chdtri(2 * number, 1.0 - tail), special.chdtri(2 * number + 2, tail)
        return Estimate(value, math.nan, float(low) / 2.0 / span, float(high) / 2.0 / span)

    def _defined(self, design: int, figure: int) -> bool:
        """Whether the parameters leave a figure that was the same in all blocks no other value."""
        leaks = bool(self.total[design, LEAKS] > 0.0)
        if figure == LEAKS and leaks and self.blocks > 1:
            return True  # rates alone decide
        if self.params is None:
            return False
        own = self.params[design]
        if not (np.any(own["source_rate"] > 0.0) or np.any(own["source_life_shape"] > 0.0)):
            open_to_chance = (*EVENTS, *DRY_FIGURES, *COSTS)
            return figure not in open_to_chance or not NUMBERED[own["element_kind"]].closes
        if not NUMBERED[own["element_kind"]].closes:
            return figure in (NUISANCE, FAILED, *DRY_FIGURES) or (
                FIRST_MODE <= figure < FIRST_REPAIR
            )
        return False

    def _most(self, design: int, figure: int) -> float:
        """Return the most that one leak can add to a figure."""
        if figure not in (LOSS, INSURED, OWN, OUTLAY, NATURAL_LOSS):
            return 1.0
        if self.params is None:
            return math.inf
        own = self.params[design]
        cap = float(own["damage_loss_cap"])
        if figure == INSURED:
            return min(
                max(cap - float(own["insurance_deductible"]), 0.0), float(own["insurance_limit"])
            )
        return cap

    def alike(self, design: int, reference: int) -> bool:
        """Whether two designs are equal in all parameters, so that all their figures are."""
        if design == reference:
            return True
        if self.params is None:
            return False
        return bool(self.params[design].tobytes() == self.params[reference].tobytes())

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
        if self.alike(design, reference):
            return Estimate.exact(0.0)
        value = float((self.total[design, figure] - self.total[reference, figure]) / self.n)
        if self.blocks < 2:
            return with_interval(value, math.nan, self.blocks)
        pairs = self.pairs[figure]
        scale = pairs[design, design] + pairs[reference, reference]
        square = scale - 2.0 * pairs[design, reference]
        with_count = self.products[design, figure, COUNT] - self.products[reference, figure, COUNT]
        square += value * value * self.products[design, COUNT, COUNT] - 2.0 * value * with_count
        # Differences of large equal sums leave rounding behind; below that, it is zero.
        if square <= 1e-12 * scale:
            return self.equal_everywhere(design, figure, reference, value)
        error = self.error_of(square, self.n)
        return with_interval(value, error, self.blocks)

    def equal_everywhere(self, design: int, figure: int, reference: int, value: float) -> Estimate:
        """Return a difference that was the same in all blocks."""
        pair = (design, reference)
        if all(self._defined(d, figure) for d in pair):
            return Estimate.exact(value)
        if figure in (*EVENTS, *DRY_FIGURES, REPAIR_COST, RUNNING):
            parts = [self._without_spread(d, figure, 0.0).high for d in pair]
            return Estimate(value, math.nan, value - parts[1], value + parts[0])
        leaks = float(self.total[list(pair), LEAKS].max() / self.n)
        reach = _times(self._unseen * leaks, max(self._most(d, figure) for d in pair))
        if figure == OUTLAY:
            reach += sum(self._unseen_cost(d) for d in pair)
        return Estimate(value, math.nan, value - reach, value + reach)

    def share(
        self, design: int, figure: int | Sequence[int], of: int | Sequence[int] = LEAKS
    ) -> Estimate:
        """Return the ratio of two figures, or sums of some, with a standard error by linearisation.

        Where nothing, or nothing else, was seen the interval ends 3 / (histories) away from it.
        """
        parts, wholes = np.atleast_1d(figure), np.atleast_1d(of)
        whole = float(self.total[design, wholes].sum())
        if whole <= 0.0:
            return Estimate(math.nan, math.nan, 0.0, 1.0)
        value = float(self.total[design, parts].sum()) / whole
        if value >= 1.0 - 1e-12:
            value = 1.0
        if value in (0.0, 1.0) and all(self._defined(design, f) for f in parts.tolist()):
            return Estimate.exact(value)
        if self.blocks < 2:
            return Estimate(value, math.nan, 0.0, 1.0)
        sums = [[self._product(design, a, b) for b in (parts, wholes)] for a in (parts, wholes)]
        error = self._ratio_error(np.array(sums), 0, 1, value, whole)
        if error == 0.0 or value in (0.0, 1.0):
            low = (1.0 - self._unseen) * value
            return Estimate(value, math.nan, low, low + self._unseen)
        return with_interval(value, error, self.blocks, 0.0, 1.0)

    def _product(self, design: int, some: Any, others: Any) -> float:
        """Return the product of two sums of figures, summed over blocks."""
        return float(self.products[design][np.ix_(some, others)].sum())

    def _unseen_cost(self, design: int) -> float:
        """Return the yearly cost that repairs and dry hours may have where none were seen."""
        repairs = _times(self._counted(0.0).high, self._dearest(design))
        return repairs + self.hour * self._unseen * _HOURS

    def _dearest(self, design: int) -> float:
        """Return the most that a repair can cost."""
        if self.params is None:
            return math.inf
        own = self.params[design]
        parts = ("part", "valve", "sensor", "battery", "street_valve")
        prices = (*parts, "owner", "installer", "plumber")
        return float(sum(own[f"repairs_{name}"] for name in prices))

    def fitted_share(self, design: int, end: int) -> Estimate:
        """Return the share of dwellings in which the fitting test ended so, of those that tried."""
        tried = int(self.fitted[design, 1:].sum())
        count = int(self.fitted[design, end])
        if tried == 0:
            return Estimate(math.nan, math.nan, 0.0, 1.0)
        share = count / tried
        error = math.sqrt(share * (1.0 - share) / tried)
        if error == 0.0:
            reach = min(3.0 / tried, 1.0)
            low = (1.0 - reach) * share
            return Estimate(share, math.nan, low, low + reach)
        return with_interval(share, error, tried, 0.0, 1.0)

    def repairs_in_life(self, design: int, share: float) -> int:
        """Return the number of repairs in a service life that a share of histories does not pass.

        Numbers beyond :data:`MOST_REPAIRS` count as that.
        """
        reached = np.cumsum(self.repairs[design]) >= share * self.n
        return int(np.argmax(reached))

    def volume_quantile(self, design: int, share: float) -> Estimate:
        """Return the quantile of escaped volume [m3] over leaks.

        Between the least and the greatest volume of a bin of the histogram leaks are taken to lie
        evenly; how far that may be off is part of the error.
        """
        weights = self.volumes[design]
        filled = np.flatnonzero(weights.sum(axis=0) > 0.0)
        if len(filled) == 0:
            return Estimate(math.nan, math.nan, 0.0, math.inf)
        least, most = -self.volume_ends[0, design, filled], self.volume_ends[1, design, filled]
        most = np.where(most - least <= 1e-6 * most, least, most)  # alike but for rounding
        part = (np.arange(PIECES) + 0.5) / PIECES
        at = least[:, None] + (most - least)[:, None] * part
        levels = Levels(at.ravel(), np.repeat((most - least) / math.sqrt(12.0), PIECES))

        def chances(total: Array) -> Array:
            return levels.beyond(np.repeat(total[filled] / (PIECES * total.sum()), PIECES))

        beyond = chances(weights.sum(axis=0))
        i = levels.quantile(beyond, 1.0 - share)
        there = (weights.sum(axis=1) > 0.0).astype(float)

        def figure(total: Array, _count: float) -> Array:
            return chances(total)[[i, i + 1]]

        reached, exceeded = jackknife(weights, there, figure, 0.0, 1.0)
        return quantile_estimate(levels, beyond, 1.0 - share, reached, exceeded, int(there.sum()))

    def effective_incidents(self, design: int) -> float:
        """Return (sum of x)^2 / sum of x^2 over weighted losses: how many carry the result."""
        total = self.total[design, LOSS] * self.years
        return total * total / self.squares[design] if self.squares[design] > 0.0 else 0.0

    def largest_share(self, design: int) -> float:
        """Return the share of the expected loss that the largest single incident carries."""
        total = self.total[design, LOSS] * self.years
        return self.greatest[design] / total if total > 0.0 else 0.0


def _times(share: float, most: float) -> float:
    """Return a share of what may be infinite."""
    return share * most if share > 0.0 else 0.0
