"""Yearly losses of the whole portfolio, and the curves of how often they exceed an amount.

The losses of a year are those of the natural leaks of all dwellings in that year of one history
number: plain counting, which is unbiased whatever the dwellings have in common.

Dwellings that share nothing allow more: history 3 of one may stand beside history 7 of another, so
the same histories are combined anew many times over, each dwelling's by a shift of its own. Each
combination is as good a portfolio year as any other. Histories are only exchanged within small
groups; the groups stay independent, and intervals come from the spread between them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import Estimate, t_factor
from shutoffsim.model import layout as L

Array = NDArray[np.float64]

PERIODS: Final = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
#: Losses of a region that begin within one of these windows are one event.
WINDOW = 168 * 3600.0
WINDOWS = math.ceil(L.YEAR / WINDOW)

_WANTED_YEARS = 20_000  # combined years of independent dwellings
_PAGE = 1024  # dwellings whose shifts are drawn together
_STREAM = 0x79656172  # sets these draws apart from any other use of a seed
_MOST_CELLS = 2**24
_POINTS = 400  # of a curve
_RESOLVED = 0.5  # largest relative standard error of a probability that is worth reporting


@dataclass(frozen=True)
class Curve:
    """How likely a year is to bring a loss above an amount.

    Attributes
    ----------
    name : str
        ``"aggregate"``: the sum of a year; ``"occurrence"``: the largest event of a year.
    losses : array (n,)
        Amounts, ascending, in the scenario's currency.
    probabilities : tuple of Estimate
        Of a year above each amount.
    at_periods : dict of float to Estimate
        By return period in years: the amount exceeded once in so many years on average. Periods
        that the simulated years cannot resolve are left out. No standard error is given.
    """

    name: str
    losses: Array
    probabilities: tuple[Estimate, ...]
    at_periods: dict[float, Estimate]

    def as_dict(self) -> dict[str, Any]:
        """Return the curve as plain data."""
        return {
            "at_periods": {f"{years:g}": e.as_dict() for years, e in self.at_periods.items()},
            "points": [
                {"loss": float(loss), "probability": e.as_dict()}
                for loss, e in zip(self.losses, self.probabilities, strict=True)
            ],
        }


class Years:
    """Yearly losses, added up dwelling by dwelling.

    Parameters
    ----------
    histories : int
        Per dwelling.
    years : int
        Whole years of a history.
    regions : int or None
        How many regions share weather and mains; None: dwellings share nothing.
    seed : int

    Raises
    ------
    ModelError
        When so many regions and histories do not fit into memory.
    """

    def __init__(self, histories: int, years: int, regions: int | None, seed: int) -> None:
        self.histories, self.years, self.seed = histories, years, seed
        self.shared = regions is not None
        self.groups = histories
        self.rounds = 1
        if not self.shared and histories >= 4 and years > 0:
            self.groups = histories // 2
            self.rounds = max(1, math.ceil(_WANTED_YEARS / (histories * years)))
        cells = histories * years * (WINDOWS * (regions or 0) + 2 * self.rounds)
        if cells > _MOST_CELLS:
            raise ModelError(
                "too many histories and regions for the curves",
                found=f"{histories:,} histories of {years} years, {regions or 1} regions",
                expected=f"at most {_MOST_CELLS:,} cells of histories x years x windows x regions",
                hint="ask for fewer histories, or join regions",
            )
        self._sums = np.zeros(histories * years * self.rounds)
        self._largest = np.zeros(0 if self.shared else len(self._sums))
        self._windows = np.zeros((regions or 0) * histories * years * WINDOWS)
        self._page: tuple[int, NDArray[np.int64]] = (-1, np.zeros((0, 0), np.int64))

    @property
    def distinct(self) -> int:
        """Years simulated of each dwelling."""
        return self.histories * self.years

    @property
    def combined(self) -> int:
        """Years of the portfolio that the curves rest on."""
        return self.distinct * self.rounds

    def add(self, arrays: dict[str, NDArray[Any]]) -> None:
        """Add the natural leaks of a block, see :func:`run_block`."""
        year = np.floor(arrays["onset"] / L.YEAR).astype(np.int64)
        within = (year < self.years) & (year >= 0)
        year = year[within]
        dwelling, region, history, onset, loss = (
            arrays[name][within] for name in ("dwelling", "region", "history", "onset", "loss")
        )
        if self.shared:
            at = history * self.years + year
            np.add.at(self._sums, at, loss)
            window = ((onset - year * L.YEAR) / WINDOW).astype(np.int64)
            place = (region * self.distinct + at) * WINDOWS + np.minimum(window, WINDOWS - 1)
            np.add.at(self._windows, place, loss)
            return
        for number in np.unique(dwelling):
            own = dwelling == number
            at = self._shifted(int(number), history[own]) * self.years + year[own, None]
            at = (at * self.rounds + np.arange(self.rounds)).ravel()
            repeated = np.repeat(loss[own], self.rounds)
            np.add.at(self._sums, at, repeated)
            np.maximum.at(self._largest, at, repeated)

    def _shifted(self, number: int, history: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return where a dwelling's histories stand in each round, shape (histories, rounds)."""
        group, position = history % self.groups, history // self.groups
        size = (self.histories - 1 - group) // self.groups + 1
        moved = (position[:, None] + self._shifts(number)) % size[:, None]
        return group[:, None] + self.groups * moved

    def _shifts(self, number: int) -> NDArray[np.int64]:
        """Return a dwelling's shifts, one a round: a function of seed and number alone."""
        page, line = divmod(number, _PAGE)
        if self._page[0] != page:
            generator = np.random.Generator(np.random.Philox(key=[self.seed, _STREAM + page]))
            drawn = generator.integers(0, 2**32, (_PAGE, self.rounds), np.int64)
            self._page = (page, drawn)
        return self._page[1][line]

    def curves(self, periods: Sequence[float] = PERIODS) -> tuple[Curve, ...]:
        """Return the occurrence and the aggregate curve; none without a whole year."""
        if self.distinct == 0:
            return ()
        if self.shared:
            split = self._windows.reshape(-1, self.distinct, WINDOWS)
            largest = split.max(axis=(0, 2))
        else:
            largest = self._largest
        return (
            _curve("occurrence", self._grouped(largest), self.distinct, periods),
            _curve("aggregate", self._grouped(self._sums), self.distinct, periods),
        )

    def _grouped(self, values: Array) -> list[Array]:
        by_history = values.reshape(self.histories, -1)
        return [by_history[group :: self.groups].ravel() for group in range(self.groups)]


def _curve(name: str, groups: list[Array], distinct: int, periods: Sequence[float]) -> Curve:
    everything = np.sort(np.concatenate(groups))
    points = _points(everything)
    estimates = _exceeding(groups, points, distinct)
    at_periods = {}
    for period in periods:
        rank = len(everything) - 1 - math.floor(len(everything) / period * (1.0 + 1e-12))
        loss = float(everything[rank])
        just_below = np.nextafter(loss, -math.inf)
        reached, beyond = _exceeding(groups, np.array([just_below, loss]), distinct)
        rare = beyond.high <= 1.0 / period  # where no loss is that frequent
        if not (rare if loss == 0.0 else reached.std_error <= _RESOLVED * reached.value):
            continue
        at_periods[period] = Estimate(
            loss, math.nan, *_inverted(points, estimates, 1.0 / period, loss)
        )
    return Curve(name, points, tuple(estimates), at_periods)


def _points(ordered: Array) -> Array:
    """Return amounts where the curve is reported: all rare ones, fewer of the common ones."""
    n = len(ordered)
    ranks = np.unique(np.geomspace(1.0, n, _POINTS).astype(np.int64))
    return np.unique(np.concatenate([[0.0], ordered[n - ranks]]))


def _exceeding(groups: list[Array], amounts: Array, distinct: int) -> list[Estimate]:
    """Return the share of years above each amount, its interval from the spread between groups."""
    sizes = np.array([len(group) for group in groups], float)
    above = np.array(
        [len(g) - np.searchsorted(np.sort(g), amounts, side="right") for g in groups], float
    )
    share = above.sum(axis=0) / sizes.sum()
    count = len(groups)
    if count < 2:
        return [Estimate(float(p), math.nan, 0.0, 1.0) for p in share]
    gaps = above / sizes[:, None] - share
    parts = (sizes / sizes.sum())[:, None] * gaps
    error = np.sqrt((parts**2).sum(axis=0) * count / (count - 1))
    half = t_factor(count) * error
    bound = min(3.0 / distinct, 1.0)  # never or always seen: the rule of three
    low = np.where(share >= 1.0, 1.0 - bound, np.maximum(share - half, 0.0))
    high = np.where(share <= 0.0, bound, np.minimum(share + half, 1.0))
    return [
        Estimate(float(p), float(e), float(a), float(b))
        for p, e, a, b in zip(share, error, low, high, strict=True)
    ]


def _inverted(
    points: Array, estimates: list[Estimate], share: float, loss: float
) -> tuple[float, float]:
    """Return the amounts at which the ends of the probability's interval pass ``share``."""
    low = next((x for x, e in zip(points, estimates, strict=True) if e.low <= share), 0.0)
    high = next((x for x, e in zip(points, estimates, strict=True) if e.high <= share), math.inf)
    return min(float(low), loss), max(float(high), loss)
