"""What it is worth to find out what nobody knows: expected values of information.

A choice made now is the design with the best mean over worlds. Who knew the world could choose
another one in some of them; the mean gain is the expected value of perfect information. Who knew
one unknown alone gains the expected value of partial perfect information: the differences between
designs are fitted by splines of that unknown, and the choice goes by the fit (M. Strong, J. E.
Oakley, A. Brennan, "Estimating multiparameter partial expected value of perfect information from a
probabilistic sensitivity analysis sample: a nonparametric regression approach", Medical Decision
Making 34, 2014).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

Array = NDArray[np.float64]
_SHUFFLES = 2000
_FALSE = 0.2  # unknowns without effect that are named all the same, mean
_DEGREE = 3


def gain(benefits: Array) -> float:
    """Return the mean over worlds of the best benefit, less the best mean.

    Parameters
    ----------
    benefits : array (worlds, k)
        Of each design.
    """
    return max(float(benefits.max(axis=1).mean() - benefits.mean(axis=0).max()), 0.0)


def perfect(benefits: Array, halves: tuple[Array, Array]) -> tuple[float, float]:
    """Return a lower and an upper bound of the expected value of perfect information.

    Parameters
    ----------
    benefits : array (worlds, k)
        From all histories of each world. The best of noisy values is too good, so they give the
        upper bound.
    halves : tuple of two arrays (worlds, k)
        From the first and from the second half of each world's histories. To choose by one half
        and to count the other is a policy that one could have, so it gives the lower bound.
    """
    everywhere = np.arange(len(benefits))
    policy = [
        float(counted[everywhere, seen.argmax(axis=1)].mean())
        for seen, counted in (halves, halves[::-1])
    ]
    high = gain(benefits)
    low = max(sum(policy) / 2.0 - float(benefits.mean(axis=0).max()), 0.0)
    return min(low, high), high


def single(steps: Array, benefits: Array) -> Array:
    """Return the expected value of knowing each unknown alone.

    A fit to chance gains as well: what as many unknowns without any effect would reach (draws
    shuffled over worlds) counts as nothing, and its mean is taken off the others.

    Parameters
    ----------
    steps : array (worlds, unknowns)
        Draws.
    benefits : array (worlds, k)

    Returns
    -------
    array (unknowns,)
    """
    worlds, number = steps.shape
    least = 2 * (_DEGREE + 1)
    if number == 0 or worlds < least or benefits.shape[1] < 2:
        return np.zeros(number)
    found = np.array([_fitted_gain(_basis(column), benefits) for column in steps.T])
    rng = np.random.default_rng(worlds)  # of its own: the same draws, the same figures
    basis = _basis(steps[:, 0])
    chance = np.array(
        [_fitted_gain(basis, benefits[rng.permutation(worlds)]) for _ in range(_SHUFFLES)]
    )
    reached = np.quantile(chance, 1.0 - _FALSE / number)
    return np.where(found > reached, np.maximum(found - chance.mean(), 0.0), 0.0)


def _basis(draws: Array) -> Array:
    """Return an orthonormal basis (worlds, terms) of the cubic splines of some draws."""
    inner = min(max(len(draws) // 64, 0), 6)
    cuts = np.quantile(draws, np.linspace(0.0, 1.0, inner + 2))
    knots = np.concatenate([[cuts[0]] * _DEGREE, cuts, [cuts[-1]] * _DEGREE])
    matrix = BSpline.design_matrix(draws, knots, _DEGREE).toarray()
    return np.asarray(np.linalg.qr(matrix)[0])


def _fitted_gain(basis: Array, benefits: Array) -> float:
    """Return the gain of who chooses by the fit, which has the same means."""
    return gain(basis @ (basis.T @ benefits))
