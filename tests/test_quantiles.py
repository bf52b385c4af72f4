"""Quantile functions against those of scipy.stats, and their order."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from shutoffsim.model.quantiles import (
    EXPONENTIAL,
    FIXED,
    LOGNORMAL,
    TRIANGULAR,
    UNIFORM,
    WEIBULL,
    chance,
    limited_mean,
    normal_quantile,
    quantile,
    waiting,
)

U = np.concatenate(
    [
        [2.0**-53, 1e-12, 1e-6, 1e-3],
        np.linspace(0.01, 0.99, 99),
        [1 - 1e-3, 1 - 1e-6, 1 - 1e-12, 1 - 2.0**-53],
    ]
)

DISTRIBUTIONS = [
    ((UNIFORM, 2.0, 7.0, 0.0), stats.uniform(2, 5)),
    ((LOGNORMAL, math.log(3.0), 0.8, 0.0), stats.lognorm(0.8, scale=3.0)),
    ((LOGNORMAL, -4.0, 2.5, 0.0), stats.lognorm(2.5, scale=math.exp(-4.0))),
    ((LOGNORMAL, math.log(0.5), 0.7, 1.0), stats.lognorm(0.7, 1.0, scale=0.5)),
    ((EXPONENTIAL, 40.0, 0.0, 0.0), stats.expon(scale=40.0)),
    ((WEIBULL, 0.7, 5.0, 0.0), stats.weibull_min(0.7, scale=5.0)),
    ((WEIBULL, 3.5, 5.0, 0.0), stats.weibull_min(3.5, scale=5.0)),
    ((TRIANGULAR, 1.0, 2.0, 6.0), stats.triang(0.2, 1, 5)),
    ((TRIANGULAR, 1.0, 1.0, 6.0), stats.triang(0.0, 1, 5)),
    ((TRIANGULAR, 1.0, 6.0, 6.0), stats.triang(1.0, 1, 5)),
]


@pytest.mark.parametrize(("numbers", "law"), DISTRIBUTIONS)
def test_quantiles_equal_those_of_scipy(numbers, law):
    got = np.array([quantile(np.array(numbers), u) for u in U])
    # Near the ends scipy itself loses digits of 1 - u: compare there by what u comes back.
    middle = (U > 1e-4) & (U < 1 - 1e-4)
    assert got[middle] == pytest.approx(law.ppf(U[middle]), rel=1e-11)
    assert law.cdf(got) == pytest.approx(U, rel=1e-6, abs=1e-13)


@pytest.mark.parametrize(("numbers", "law"), DISTRIBUTIONS)
def test_limited_means_are_integrals_of_the_chance_of_more(numbers, law):
    for x in (*law.ppf([1e-6, 0.01, 0.3, 0.5, 0.9, 0.9999]), 0.5 * law.ppf(1e-9)):
        knots = (law.support()[0], *law.ppf(np.linspace(1e-4, 0.999, 60)))
        steps = [0.0, *(at for at in knots if 0.0 < at < x), x]
        exact = sum(
            integrate.quad(law.sf, low, high, epsabs=0.0, epsrel=1e-11)[0]
            for low, high in pairwise(steps)
        )
        assert limited_mean(np.array(numbers), x) == pytest.approx(exact, rel=1e-9)
    assert limited_mean(np.array(numbers), math.inf) == pytest.approx(law.mean(), rel=1e-12)


def test_limited_mean_of_what_is_fixed():
    assert limited_mean(np.array((FIXED, 2.0, 0.0, 0.0)), 3.0) == 2.0
    assert limited_mean(np.array((FIXED, 2.0, 0.0, 0.0)), 1.5) == 1.5


@pytest.mark.parametrize(("numbers", "law"), DISTRIBUTIONS)
def test_chances_equal_those_of_scipy(numbers, law):
    places = np.concatenate([law.ppf(U), [-1.0, 0.0, 1e9]])
    got = [chance(np.array(numbers), x) for x in places]
    assert got == pytest.approx(law.cdf(places), rel=1e-11, abs=1e-15)


def test_a_fixed_value_is_not_exceeded():
    fixed = np.array([FIXED, 4.25, 0.0, 0.0])
    assert [chance(fixed, x) for x in (4.2, 4.25, 4.3)] == [0.0, 1.0, 1.0]
    assert chance(np.array([FIXED, np.inf, 0.0, 0.0]), 1e30) == 0.0


def test_a_fixed_value_is_fixed():
    assert {quantile(np.array([FIXED, 4.25, 0.0, 0.0]), u) for u in U} == {4.25}
    assert quantile(np.array([FIXED, np.inf, 0.0, 0.0]), 0.5) == np.inf


def test_a_triangle_without_width():
    assert quantile(np.array([TRIANGULAR, 2.0, 2.0, 2.0]), 0.3) == 2.0


def test_normal_quantile_over_its_whole_range():
    got = np.array([normal_quantile(u) for u in U])
    assert got == pytest.approx(stats.norm.ppf(U), rel=1e-13, abs=1e-15)
    assert np.array([normal_quantile(1 - u) for u in U[:50]]) == pytest.approx(
        -np.array([normal_quantile(u) for u in U[:50]]), rel=1e-3
    )


def test_another_law_is_told_apart():
    """The comparison would notice a spread that is off by one per mille."""
    numbers = np.array([LOGNORMAL, 0.0, 0.8008, 0.0])
    got = np.array([quantile(numbers, u) for u in U[10:90]])
    assert got != pytest.approx(stats.lognorm(0.8).ppf(U[10:90]), rel=1e-9)


def test_waiting_times_are_exponential():
    got = np.array([waiting(0.02, u) for u in U])
    assert stats.expon(scale=50.0).cdf(got) == pytest.approx(U, rel=1e-6, abs=1e-13)
    assert waiting(0.0, 0.5) == math.inf
    assert waiting(-1.0, 0.5) == math.inf


unit = st.floats(2.0**-53, 1 - 2.0**-53)
positive = st.floats(1e-3, 1e3)


@st.composite
def distributions(draw):
    kind = draw(st.sampled_from([FIXED, UNIFORM, LOGNORMAL, EXPONENTIAL, WEIBULL, TRIANGULAR]))
    a, b, c = sorted(draw(st.tuples(positive, positive, positive)))
    if kind == LOGNORMAL:
        return np.array([kind, draw(st.floats(-20, 20)), draw(st.floats(0, 4)), 0.0])
    if kind == WEIBULL:
        return np.array([kind, draw(st.floats(0.1, 20)), b, 0.0])
    return np.array([kind, a, b, c])


@given(distributions(), unit, unit)
def test_a_larger_uniform_never_gives_less(dist, u, v):
    """What common random numbers rest on: a design with more of a quantity has more of it."""
    low, high = sorted((u, v))
    assert quantile(dist, low) <= quantile(dist, high)


@given(distributions(), unit)
def test_quantiles_are_finite(dist, u):
    assert math.isfinite(quantile(dist, u))
