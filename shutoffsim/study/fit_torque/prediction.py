"""What the valve will need: now, after rest, and in years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.model.layout import YEAR
from shutoffsim.model.valve import WEEK
from shutoffsim.study.fit_torque.belief import Array, Belief

#: In words, when and after what rest; years from the last reading; rest [s].
TIMES = (
    ("now, none", 0.0, 0.0),
    ("now, a month", 0.0, YEAR / 12.0),
    ("now, a year", 0.0, YEAR),
    ("in 10 years, a month", 10.0, YEAR / 12.0),
    ("in 10 years, a year", 10.0, YEAR),
)


@dataclass(frozen=True)
class Prediction:
    """Torque at one time, N*m.

    Attributes
    ----------
    when : str
    years, rest_weeks : float
        From the last reading; rest before the stroke.
    opening, closing : Estimate
        Typical torque, with the 95 % interval of what is not known.
    stroke : float
        One closing stroke in twenty needs more than this: not known and scatter together.
    """

    when: str
    years: float
    rest_weeks: float
    opening: Estimate
    closing: Estimate
    stroke: float


def summarise(draws: Array) -> Estimate:
    """Return the median of draws with their standard deviation and 95 % interval."""
    low, middle, high = (float(x) for x in np.quantile(draws, [0.025, 0.5, 0.975]))
    return Estimate(middle, float(np.std(draws)), low, high)


def predict(belief: Belief, age: float, seed: int) -> tuple[Prediction, ...]:
    """Predict the torque of a valve that is ``age`` seconds old now."""
    rng = np.random.default_rng([seed, 19])
    shuffled = rng.permutation((np.arange(belief.n) + 0.5) / belief.n)
    scatter = np.exp(belief.scatter * special.ndtri(shuffled))
    found = []
    for when, years, rest in TIMES:
        opening = belief.torque(age + years * YEAR, rest)
        closing = opening * belief.closing_share
        found.append(
            Prediction(
                when,
                years,
                rest / WEEK,
                summarise(opening),
                summarise(closing),
                float(np.quantile(closing * scatter, 0.95)),
            )
        )
    return tuple(found)
