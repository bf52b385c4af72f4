"""The sum of a year's losses, a compound Poisson variable.

Years with so few losses that all their sums can be listed are taken one by one: always those with
none and with one, and all of them where there are few different losses. The distribution of the sum
of more losses is the inverse Fourier transform of exp(rate x (transform of one loss - 1)), less the
terms of few, over a grid of equal losses. How far each loss lies from its point of the grid is
carried along as a derivative of the transform, so that each point knows the mean and the spread of
the sums that it stands for.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from shutoffsim.errors import ModelError
from shutoffsim.estimate.quantiles import EQUAL, Levels

Array = NDArray[np.float64]
Places = NDArray[np.int64]

_GRID = 1 << 16
_NOISE = 1e-15  # of the transform: a smaller chance is none
_REST = 1e-13  # chance of more losses than are listed, below which there is no need of a grid
_MOST_LISTED = 1 << 17  # sums, before equal ones are joined
_LEAST_LOG = 28.0  # of a chance that may fall off the end of the grid


class SumOfYear:
    """The sum of a year's losses.

    Parameters
    ----------
    sizes, blur : array (m,)
        Losses [money], rising, and the standard deviation of what each stands for.
    rates : array (m,)
        Yearly rates [1/year] that decide the grid and the levels.
    points : int
        Of the grid.

    Raises
    ------
    ModelError
        When the losses are too large for numbers.
    """

    def __init__(self, sizes: Array, blur: Array, rates: Array, points: int = _GRID) -> None:
        self.points = points
        step = _grid_step(sizes, rates, points)
        self.place = np.rint(sizes / step).astype(np.int64)
        apart = sizes - self.place * step
        at, square = [np.zeros(1)], [np.zeros(1)]
        self.ways: list[Places] = []  # from the sums of one loss less, with each loss, to the sums
        listed = 0
        while len(sizes) and not self._all_listed(rates):
            if self.ways and listed + len(at[-1]) * len(sizes) > _MOST_LISTED:
                break
            listed += len(at[-1]) * len(sizes)
            sums, way = joined((at[-1][:, None] + sizes).ravel())
            wide = np.zeros(len(sums))
            np.maximum.at(wide, way, (square[-1][:, None] + blur**2).ravel())
            self.ways.append(way)
            at.append(sums)
            square.append(wide)
        self.kept = np.zeros(0, np.int64)
        if len(sizes) and not self._all_listed(rates):
            many, first, second = self._many(rates, apart, apart**2 + blur**2)
            self.kept = np.flatnonzero(many > _NOISE)
            many, first, second = (values[self.kept] for values in (many, first, second))
            mean = first / many
            spread = second / many - mean**2
            spread[spread < step * step * (1e-10 + 10.0 * _NOISE / many)] = 0.0  # rounding
            at.append(np.maximum(self.kept * step + mean, 0.0))
            square.append(spread)
        levels, self.level = joined(np.concatenate(at))
        chances = self._every(rates)
        whole = np.bincount(self.level, chances)
        blurs = np.bincount(self.level, chances * np.concatenate(square))
        self.levels = Levels(levels, np.sqrt(blurs / np.maximum(whole, _NOISE)))

    def _all_listed(self, rates: Array) -> bool:
        return bool(special.pdtrc(len(self.ways), float(rates.sum())) < _REST)

    def _many(self, rates: Array, *apart: Array) -> list[Array]:
        """Return chances on the grid of more losses than listed, and moments of what is apart."""

        def transform(values: Array) -> Array:
            return np.asarray(np.fft.rfft(np.bincount(self.place, values, minlength=self.points)))

        one, none = transform(rates), math.exp(-float(rates.sum()))
        whole = np.exp(one - float(rates.sum()))
        less = [whole]  # without the first 0, 1, 2 ... terms of the series
        term = np.full_like(one, none)
        for number in range(len(self.ways) + 1):
            less.append(less[-1] - term)
            term = term * one / (number + 1)
        found = [less[-1]]
        if apart:
            first, second = (transform(rates * values) for values in apart)
            found.append(less[-2] * first)
            found.append(less[-2] * second + less[-3] * first**2)
        return [np.fft.irfft(values, self.points) for values in found]

    def _every(self, rates: Array) -> Array:
        now = np.array([math.exp(-float(rates.sum()))])
        found = [now]
        for number, way in enumerate(self.ways, start=1):
            now = np.bincount(way, (now[:, None] * (rates / number)).ravel())
            found.append(now)
        if len(self.kept):
            (many,) = self._many(rates)
            found.append(many[self.kept].clip(0.0))
        return np.concatenate(found)

    def chances(self, rates: Array) -> Array:
        """Return the chance of each level, for yearly rates (m,) of the losses."""
        counted = np.bincount(self.level, self._every(rates), minlength=len(self.levels.at))
        return np.asarray(counted, float)


def joined(values: Array) -> tuple[Array, Places]:
    """Return the different values, rising, and which of them each value is.

    Sums that are equal but for rounding are one; the first of them stands for all.
    """
    order = np.argsort(values, kind="stable")
    new = np.diff(values[order], prepend=-math.inf) > EQUAL * values[order]
    which = np.empty(len(values), np.int64)
    which[order] = np.cumsum(new) - 1
    return values[np.minimum.reduceat(order, np.flatnonzero(new))], which


def _grid_step(sizes: Array, rates: Array, points: int) -> float:
    if len(sizes) == 0:
        return 1.0
    largest = float(sizes.max())
    # Beyond this lies less than exp(-_LEAST_LOG), by the bound of H. Chernoff for each tilt.
    tilts = np.geomspace(1e-3, 100.0, 60)
    grown = np.array([np.expm1(tilt * (sizes / largest)) @ rates for tilt in tilts])
    reach = float(np.min((grown + _LEAST_LOG) / tilts)) * largest
    if not math.isfinite(reach):
        raise ModelError("losses are too large to be added up", found=f"up to {largest:.3g}")
    step = reach / points
    # so that the largest loss, mostly a cap, lies on the grid
    return largest / math.floor(largest / step) if largest > step else step
