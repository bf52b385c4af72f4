"""From records of failures to the distributions that a scenario takes.

For hose lives, sensor and battery lives, repair times or breakaway torques: a fit by maximum
likelihood to values of which some are known only as limits.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from shutoffsim.errors import ModelError
from shutoffsim.estimate.estimate import CONFIDENCE, Estimate

Family = Literal["weibull", "lognormal", "exponential", "gamma"]
Array = NDArray[np.float64]

#: Names of the parameters of each family; "log_mean" may be negative, the others are positive.
PARAMETERS: dict[str, tuple[str, ...]] = {
    "weibull": ("shape", "scale"),
    "lognormal": ("log_mean", "log_sd"),
    "exponential": ("mean",),
    "gamma": ("shape", "scale"),
}
_LAWS = {
    "weibull": stats.weibull_min,
    "lognormal": stats.lognorm,
    "exponential": stats.expon,
    "gamma": stats.gamma,
}
_Z = float(stats.norm.ppf(0.5 + CONFIDENCE / 2.0))
_STEEPEST = 1e4  # a shape beyond this means that the likelihood has no maximum


def _arguments(family: str, theta: Array) -> tuple[float, ...]:
    """Return shapes, location and scale for ``theta``: log_mean, and logarithms of the others."""
    if family == "lognormal":
        return math.exp(theta[1]), 0.0, math.exp(theta[0])
    if family == "exponential":
        return 0.0, math.exp(theta[0])
    return math.exp(theta[0]), 0.0, math.exp(theta[1])


def _theta(family: str, arguments: Sequence[float]) -> Array:
    """Return the inverse of :func:`_arguments`."""
    scale = math.log(arguments[-1])
    if family == "exponential":
        return np.array([scale])
    shape = math.log(arguments[0])
    return np.array([scale, shape] if family == "lognormal" else [shape, scale])


@dataclass(frozen=True)
class LifeFit:
    """A distribution fitted by maximum likelihood.

    Attributes
    ----------
    family : str
    parameters : dict of str to Estimate
        By the names of :data:`PARAMETERS`, times in the unit of the data. Standard errors come
        from the observed information; intervals are normal on the logarithm (``log_mean``: plain).
    log_likelihood : float
    failures, censored : int
        How many values were known exactly, and how many only as a limit or a range.
    covariance : array (k, k)
        Of the parameters in the order of :data:`PARAMETERS`, positive ones as logarithms.
    """

    family: Family
    parameters: dict[str, Estimate]
    log_likelihood: float
    failures: int
    censored: int
    covariance: Array = field(repr=False, compare=False)

    @property
    def aic(self) -> float:
        """Akaike's criterion, 2 k - 2 ln L: of two families, the lower one fits better."""
        return 2.0 * len(self.parameters) - 2.0 * self.log_likelihood

    @property
    def deviance(self) -> float:
        """-2 ln L."""
        return -2.0 * self.log_likelihood

    @property
    def mean(self) -> Estimate:
        """Mean life, in the unit of the data."""
        return self._derived(lambda law: law.mean())

    @property
    def sd(self) -> Estimate:
        """Standard deviation of lives."""
        return self._derived(lambda law: law.std())

    def quantile(self, u: float) -> Estimate:
        """Return the life that a share ``u`` of the parts does not reach.

        Raises
        ------
        ModelError
            When ``u`` is not between 0 and 1.
        """
        if not 0.0 < u < 1.0:
            raise ModelError(
                "no such quantile", found=str(u), expected="a share between 0 and 1, without both"
            )
        return self._derived(lambda law: law.ppf(u))

    def survival(self, t: float) -> float:
        """Return the share of parts that live longer than ``t``."""
        return float(_LAWS[self.family].sf(t, *_arguments(self.family, self._theta)))

    def fragment(self, unit: str) -> str:
        """Return the distribution in the words of a scenario file.

        Parameters
        ----------
        unit : str
            Unit of the data, such as ``"h"``, ``"years"`` or ``"N*m"``.

        Raises
        ------
        ModelError
            For a gamma distribution, or where a number is beyond what a scenario takes.

        Examples
        --------
        >>> fit_life([2.0, 4.0, 9.0], family="exponential").fragment("years")
        '{mean = "5 years"}'
        """
        value = {name: found.value for name, found in self.parameters.items()}
        if self.family == "gamma":
            raise ModelError(
                "a scenario has no gamma distribution",
                expected="weibull, lognormal or exponential",
                hint="fit another family; compare them by their aic",
            )
        if self.family == "exponential":
            return f'{{mean = "{value["mean"]:.6g} {unit}"}}'
        if self.family == "weibull":
            _keep_within("shape", value["shape"], 0.1, 20.0)
            return f'{{life = "{value["scale"]:.6g} {unit}", shape = {value["shape"]:.6g}}}'
        spread = math.exp(value["log_sd"])
        _keep_within("spread", spread, 1.0, 100.0)
        median = math.exp(value["log_mean"])
        return f'{{median = "{median:.6g} {unit}", spread = {spread:.6g}}}'

    @property
    def _theta(self) -> Array:
        return np.array(
            [
                found.value if name == "log_mean" else math.log(found.value)
                for name, found in self.parameters.items()
            ]
        )

    def _derived(self, function: Callable[[Any], float]) -> Estimate:
        """Return a positive function of the distribution, by the delta method on its logarithm."""
        theta = self._theta

        def log_value(at: Array) -> float:
            return math.log(function(_LAWS[self.family](*_arguments(self.family, at))))

        slope = _gradient(log_value, theta)
        return _positive(
            math.exp(log_value(theta)), math.sqrt(max(float(slope @ self.covariance @ slope), 0.0))
        )


def fit_life(
    failures: Iterable[float],
    *,
    right: Iterable[float] = (),
    left: Iterable[float] = (),
    between: Iterable[tuple[float, float]] = (),
    family: Family = "weibull",
) -> LifeFit:
    """Fit a distribution to lives (or any positive values) by maximum likelihood.

    The lives must not depend on their order: gaps between failures of *one repaired part* that
    wears are no such lives, and their fit misleads (its shape comes out below 1 while the part
    gets worse). Use :func:`shutoffsim.estimate.trend.fit_trend` for these.

    Parameters
    ----------
    failures : iterable of float
        Values known exactly.
    right : iterable of float
        Still working at that value.
    left : iterable of float
        Failed at some time before that value.
    between : iterable of pairs
        Failed between two values, such as two inspections.
    family : {"weibull", "lognormal", "exponential", "gamma"}

    Raises
    ------
    ModelError
        When a value is not a positive number, or the values do not determine the fit.

    Examples
    --------
    >>> fit = fit_life([1500, 7000, 2250, 4000, 4300], right=[1750, 5000])
    >>> fit.fragment("h")
    '{life = "4900.11 h", shape = 2.25704}'
    """
    if family not in get_args(Family):
        raise ModelError(
            "no such family", found=repr(family), expected="one of " + ", ".join(get_args(Family))
        )
    data = _read(failures, right, left, between)
    _need_enough(data, family)

    def log_likelihood(at: Array) -> float:
        return _log_likelihood(family, at, data)

    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            found = _LAWS[family].fit(data.censored(), floc=0)
            theta = _polish(log_likelihood, _theta(family, found))
            information = -_hessian(log_likelihood, theta)
            settled = bool(np.all(np.linalg.eigvalsh(information) > 0.0))
        except (stats.FitError, ValueError, OverflowError, np.linalg.LinAlgError):
            settled = False
    if not settled or (
        len(theta) > 1 and abs(theta[1 if family == "lognormal" else 0]) > math.log(_STEEPEST)
    ):
        raise ModelError(
            f"these values do not determine a {family} distribution",
            found=f"{count(data.size, 'value')} without enough spread",
            expected="values that differ, and not mostly limits",
            hint='collect more, or fit family = "exponential"',
        )
    covariance = np.asarray(np.linalg.inv(information), np.float64)
    parameters = {}
    for name, at, variance in zip(PARAMETERS[family], theta, np.diag(covariance), strict=True):
        error = math.sqrt(variance)
        if name == "log_mean":
            low, high = float(at - _Z * error), float(at + _Z * error)
            parameters[name] = Estimate(float(at), error, low, high)
        else:
            parameters[name] = _positive(math.exp(at), error)
    return LifeFit(
        family=family,
        parameters=parameters,
        log_likelihood=log_likelihood(theta),
        failures=len(data.exact),
        censored=data.size - len(data.exact),
        covariance=covariance,
    )


def _positive(value: float, log_error: float) -> Estimate:
    """Return an estimate of a positive number whose logarithm has this standard error."""
    factor = math.exp(_Z * log_error) if _Z * log_error < 700.0 else math.inf
    return Estimate(float(value), float(value * log_error), value / factor, value * factor)


def read_numbers(name: str, values: Iterable[Any]) -> Array:
    """Return values as an array.

    Raises
    ------
    ModelError
        When one is not a positive number.
    """
    raw = list(values)
    for number, value in enumerate(raw, start=1):
        good = isinstance(value, (int, float, np.integer, np.floating))
        good = good and not isinstance(value, bool) and 0.0 < value < math.inf
        if not good:
            raise ModelError(
                "not a positive number",
                where=f"{name}, value {number}",
                found=repr(value)[:60],
                expected="numbers above zero, all in one unit",
            )
    return np.array(raw, float)


class _Data(NamedTuple):
    """Values by how they are known; ``ranges`` (n, 2)."""

    exact: Array
    right: Array
    left: Array
    ranges: Array

    @property
    def size(self) -> int:
        return sum(len(part) for part in self)

    def censored(self) -> stats.CensoredData:
        return stats.CensoredData(
            self.exact, left=self.left, right=self.right, interval=self.ranges
        )


def _read(
    failures: Iterable[float],
    right: Iterable[float],
    left: Iterable[float],
    between: Iterable[Sequence[float]],
) -> _Data:
    pairs = []
    for number, pair in enumerate(between, start=1):
        low_high = tuple(pair) if isinstance(pair, (Sequence, np.ndarray)) else (pair,)
        bounds = read_numbers(f"between, pair {number}", low_high)
        if len(bounds) != 2 or not bounds[0] < bounds[1]:
            raise ModelError(
                "not a range",
                where=f"between, pair {number}",
                found=repr(pair)[:60],
                expected="two values, the lower one first",
                hint="write what failed before the first inspection as left",
            )
        pairs.append(bounds)
    return _Data(
        exact=read_numbers("failures", failures),
        right=read_numbers("right", right),
        left=read_numbers("left", left),
        ranges=np.array(pairs).reshape(-1, 2),
    )


def _need_enough(data: _Data, family: str) -> None:
    seen, needed = data.size - len(data.right), len(PARAMETERS[family])
    if seen < needed:
        raise ModelError(
            "too few failures to fit a life",
            found=count(seen, "failure") + f" and {count(len(data.right), 'survivor')}",
            expected=f"at least {count(needed, 'failure')} for a {family} distribution",
            hint="survivors alone show only that lives are longer",
        )
    if len(data.left) == data.size:
        raise ModelError(
            "nothing bounds how short a life can be",
            found="upper limits only",
            expected="some exact values, ranges or survivors",
        )


def _log_likelihood(family: str, theta: Array, data: _Data) -> float:
    law, at = _LAWS[family], _arguments(family, theta)
    inside = law.cdf(data.ranges[:, 1], *at) - law.cdf(data.ranges[:, 0], *at)
    return float(
        np.sum(law.logpdf(data.exact, *at))
        + np.sum(law.logsf(data.right, *at))
        + np.sum(law.logcdf(data.left, *at))
        + np.sum(np.log(inside))
    )


def _polish(function: Callable[[Array], float], theta: Array) -> Array:
    """Return the top of the hill that ``theta`` is near: the library's search stops a bit early."""
    for _ in range(6):
        curve = _hessian(function, theta)
        if np.any(np.linalg.eigvalsh(curve) >= 0.0):
            break
        step = np.linalg.solve(curve, _gradient(function, theta))
        if np.max(np.abs(step)) > 0.5:
            break
        theta = theta - step
        if np.max(np.abs(step)) < 1e-10:
            break
    return theta


def _gradient(function: Callable[[Array], float], at: Array, h: float = 1e-5) -> Array:
    steps = h * np.eye(len(at))
    return np.array([(function(at + e) - function(at - e)) / (2.0 * h) for e in steps])


def _hessian(function: Callable[[Array], float], at: Array, h: float = 1e-3) -> Array:
    """Return second derivatives, from central differences with their error term removed."""

    def rough(h: float) -> Array:
        steps = h * np.eye(len(at))
        cells = [
            [
                (
                    function(at + a + b)
                    - function(at + a - b)
                    - function(at - a + b)
                    + function(at - a - b)
                )
                / (4.0 * h * h)
                for b in steps
            ]
            for a in steps
        ]
        return np.array(cells)

    return (4.0 * rough(h) - rough(2.0 * h)) / 3.0


def _keep_within(what: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ModelError(
            f"a scenario takes no such {what}",
            found=f"{what} = {value:.4g}",
            expected=f"{low:g} to {high:g}",
        )


def count(number: int, word: str) -> str:
    """Return "1 failure", "2 failures"."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
