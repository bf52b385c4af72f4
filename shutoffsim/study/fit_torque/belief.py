"""Prior and posterior of a valve's torque: distributions and draws."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.stats import qmc

from shutoffsim.errors import ModelError
from shutoffsim.model import quantiles
from shutoffsim.model.valve import torque_to_open

Array = NDArray[np.float64]
Numbers = tuple[float, float, float, float]

#: The growth with idle time is one number in a scenario; how far off may it be? Assumption: a
#: factor of 2 (one standard deviation), so that 95 % lie between 0.04 and 0.6. What is quoted
#: lies within: twice the torque after years of rest (catalogue of top-entry ball valves, p. 39,
#: online.flipbuilder.com/zufy/avqv) is about 0.18, half as much again after a month
#: (hoyeevalve.com sizing guide) about 0.3.
IDLE_SPREAD = 2.0
#: Scatter of single readings about the law, a log standard deviation. Assumption: 0.15 within a
#: factor of 1.8, for a hanging scale read by eye and strokes that differ.
SCATTER = (float(quantiles.LOGNORMAL), math.log(0.15), math.log(1.8), 0.0)
_EDGE = 1e-12


def at_normal(dist: Numbers, z: Array) -> Array:
    """Return the values of a distribution that standard normal values ``z`` stand for.

    Parameters
    ----------
    dist : tuple of four numbers
        As in :mod:`shutoffsim.model.quantiles`.
    z : float array
        Any shape; a standard normal ``z`` gives a draw of the distribution.
    """
    kind, a, b, c = int(dist[0]), dist[1], dist[2], dist[3]
    if kind == quantiles.FIXED:
        return np.full(np.shape(z), a)
    if kind == quantiles.LOGNORMAL:
        return np.asarray(c + np.exp(a + b * np.asarray(z)))
    u = np.clip(special.ndtr(z), _EDGE, 1.0 - _EDGE)
    if kind == quantiles.UNIFORM:
        return np.asarray(a + (b - a) * u)
    if kind == quantiles.EXPONENTIAL:
        return np.asarray(-a * np.log1p(-u))
    if kind == quantiles.WEIBULL:
        return np.asarray(b * (-np.log1p(-u)) ** (1.0 / a))
    rising = a + np.sqrt(u * (c - a) * (b - a))
    falling = c - np.sqrt((1.0 - u) * (c - a) * (c - b))
    return np.where(u * (c - a) < b - a, rising, falling)


def log_at_normal(dist: Numbers, z: Array) -> Array:
    """Return the logarithm of :func:`at_normal`."""
    if int(dist[0]) == quantiles.LOGNORMAL and dist[3] == 0.0:
        return np.asarray(dist[1] + dist[2] * np.asarray(z))
    return np.log(at_normal(dist, z))


@dataclass(frozen=True)
class Prior:
    """The prior; each distribution as four numbers.

    Attributes
    ----------
    level : Numbers
        Breakaway torque when new [N*m], of one valve.
    age_factor, idle_growth, closing_share : Numbers
        As in a scenario's ``[valve]``.
    scatter : Numbers
        Log standard deviation of a reading about the law.
    gauge : Numbers
        True torque over that from motor current and data sheet: the spread between units.
    age_reference : float
        Age [s] at which ``age_factor`` holds.
    idle_cap : float
        Cap of the factor of idle time.
    """

    level: Numbers
    age_factor: Numbers
    idle_growth: Numbers
    closing_share: Numbers
    scatter: Numbers
    gauge: Numbers
    age_reference: float
    idle_cap: float


@dataclass(frozen=True)
class Belief:
    """Equally likely draws of what one valve is like; arrays of one length.

    Attributes
    ----------
    level : float array (n,)
        Breakaway torque when new, N*m.
    age_factor : float array (n,)
        Factor on it at the reference age.
    idle_growth : float array (n,)
        Growth c of 1 + c ln(1 + weeks).
    closing_share : float array (n,)
        Torque to close as a share of breakaway.
    scatter : float array (n,)
        Log standard deviation of single strokes and readings about the law.
    age_reference : float
        s.
    idle_cap : float
    source : str
        Where it comes from.
    """

    level: Array
    age_factor: Array
    idle_growth: Array
    closing_share: Array
    scatter: Array
    age_reference: float
    idle_cap: float
    source: str

    @property
    def n(self) -> int:
        """Number of draws."""
        return len(self.level)

    def torque(self, age: float, idle: float, *, closing: bool = False) -> Array:
        """Return torque [N*m] at an age [s] after so long a rest [s], shape (n,).

        Parameters
        ----------
        age, idle : float
            s.
        closing : bool
            To close; by default to open, which is breakaway.

        Examples
        --------
        >>> one = Belief(*(np.array([x]) for x in (4.0, 1.5, 0.15, 0.7, 0.1)), 4.7e8, 3.0, "you")
        >>> one.torque(age=4.7e8, idle=0.0)
        array([6.])
        """
        factor, reference = self.age_factor, self.age_reference
        value = torque_to_open(
            self.level, factor, age, reference, self.idle_growth, idle, self.idle_cap
        )
        return np.asarray(value * self.closing_share if closing else value)


def read_prior(p: Any) -> Prior:
    """Return what a design believes of its valve.

    Parameters
    ----------
    p : record
        Parameters of the design, of dtype ``shutoffsim.model.layout.PARAMETERS``.
    """

    def numbers(dist: Any) -> Numbers:
        kind, a, b, c = (float(x) for x in dist)
        return kind, a, b, c

    growth = float(p.valve_idle_growth)
    idle = (float(quantiles.FIXED), growth, 0.0, 0.0)
    if growth > 0.0:
        idle = (float(quantiles.LOGNORMAL), math.log(growth), math.log(IDLE_SPREAD), 0.0)
    return Prior(
        level=numbers(p.valve_breakaway),
        age_factor=numbers(p.valve_age_factor),
        idle_growth=idle,
        closing_share=numbers(p.valve_closing_share),
        scatter=SCATTER,
        gauge=numbers(p.actuator_unit_spread),
        age_reference=float(p.valve_age_reference),
        idle_cap=float(p.valve_idle_cap),
    )


def prior_belief(
    p: Any, n: int = 4096, seed: int = 1, source: str = "the scenario, without readings"
) -> Belief:
    """Draw what a design believes of its valve before any reading.

    Parameters
    ----------
    p : record
        Parameters of the design.
    n : int
        How many draws, a power of two.
    seed : int
        Of the scrambled Sobol' sequence that they come from.
    source : str
        What they rest on.

    Raises
    ------
    ModelError
        When ``n`` is no power of two.
    """
    if n < 1 or n & (n - 1):
        raise ModelError(
            "the number of draws is not usable", found=str(n), expected="a power of two"
        )
    return draw_prior(read_prior(p), n, seed, source)


def draw_prior(prior: Prior, n: int, seed: int, source: str) -> Belief:
    """Draw ``n`` times from ``prior``; as :func:`prior_belief`."""
    u = qmc.Sobol(5, rng=np.random.default_rng([seed, 7])).random(n)
    z = special.ndtri(np.clip(u, _EDGE, 1.0 - _EDGE))
    return Belief(
        level=at_normal(prior.level, z[:, 0]),
        age_factor=at_normal(prior.age_factor, z[:, 1]),
        idle_growth=at_normal(prior.idle_growth, z[:, 2]),
        closing_share=at_normal(prior.closing_share, z[:, 3]),
        scatter=at_normal(prior.scatter, z[:, 4]),
        age_reference=prior.age_reference,
        idle_cap=prior.idle_cap,
        source=source,
    )
