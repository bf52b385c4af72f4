"""The spread between worlds, freed of what few histories in each add to it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]
_EQUAL = 1e-9  # of the largest value: what rounding leaves of equal values


def contract(values: Array, noise: Array) -> Array:
    """Draw values together about their mean until only the spread between worlds is left.

    Parameters
    ----------
    values : array (worlds, k)
        Of each design in each world.
    noise : array (k, k)
        Covariance of a world's values from its few histories, mean over worlds.

    Returns
    -------
    array (worlds, k)
        With the same mean, and with the covariance of ``values`` less ``noise``; directions in
        which there is no more spread than noise have none left.

    Examples
    --------
    >>> contract(np.array([[0.0], [2.0]]), np.array([[2.0]])).tolist()
    [[1.0], [1.0]]
    """
    centre = values.mean(axis=0)
    if len(values) < 2:
        return values
    away = values - centre
    size, directions = np.linalg.eigh(away.T @ away / (len(values) - 1))
    kept = size > 1e-12 * max(float(size[-1]), 0.0)
    root = np.sqrt(size[kept])
    to_unit, from_unit = directions[:, kept] / root, directions[:, kept] * root
    share, turn = np.linalg.eigh(to_unit.T @ noise @ to_unit)
    left = np.sqrt(np.clip(1.0 - share, 0.0, 1.0))
    return np.asarray(centre + away @ (to_unit @ turn * left @ turn.T @ from_unit.T))


def best_shares(costs: Array) -> Array:
    """Return in which share of the worlds each design costs least; equal ones share a world.

    Parameters
    ----------
    costs : array (worlds, k)

    Examples
    --------
    >>> best_shares(np.array([[1.0, 2.0], [3.0, 3.0]])).tolist()
    [0.75, 0.25]
    """
    slack = _EQUAL * np.abs(costs).max(initial=0.0)
    least = costs <= costs.min(axis=1, keepdims=True) + slack
    return np.asarray((least / least.sum(axis=1, keepdims=True)).mean(axis=0))


def chance_below_zero(differences: Array, error: float, scale: float) -> float:
    """Return the chance that a difference is below zero, over worlds.

    Parameters
    ----------
    differences : array (worlds,)
        Freed of noise.
    error : float
        Standard error of their mean, which is left of the noise: it moves all of them together.
    scale : float
        Size of the values that were subtracted; what is far smaller is zero.

    Examples
    --------
    >>> chance_below_zero(np.array([-1.0, 1.0, 0.0, -2.0]), 0.0, 1.0)
    0.625
    """
    zero = np.abs(differences) <= _EQUAL * scale
    found = np.where(zero, 0.0, differences)
    if error <= _EQUAL * scale:
        return float(np.mean(np.where(zero, 0.5, found < 0.0)))
    return float(np.mean(special.ndtr(-found / error)))
