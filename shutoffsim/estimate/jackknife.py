"""Figures of sums over groups of histories, with intervals from leaving out a group at a time."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from shutoffsim.estimate.estimate import Estimate, t_factor

Array = NDArray[np.float64]

GROUPS = 32  # of blocks of histories


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
