"""Fits of lives and trends beyond the published ones: limits, errors, use in a scenario."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest
from checks import perfect
from scipy import stats

from shutoffsim.errors import ModelError
from shutoffsim.estimate.lifedata import PARAMETERS, fit_life
from shutoffsim.estimate.trend import fit_trend
from shutoffsim.model.quantiles import quantile

FAMILIES = tuple(PARAMETERS)
LIVES = [0.8, 1.7, 2.5, 3.0, 4.4, 5.7, 7.1, 9.9, 14.0, 22.0]


def even_sample(family: str, n: int = 4000) -> np.ndarray:
    """Return the quantiles of a distribution in even steps: a sample without chance."""
    u = (np.arange(n) + 0.5) / n
    laws = {
        "weibull": stats.weibull_min(1.7, scale=600),
        "lognormal": stats.lognorm(0.5, scale=60),
        "exponential": stats.expon(scale=12),
        "gamma": stats.gamma(2.2, scale=5),
    }
    return laws[family].ppf(u)


EXPECTED = {
    "weibull": (1.7, 600.0),
    "lognormal": (math.log(60.0), 0.5),
    "exponential": (12.0,),
    "gamma": (2.2, 5.0),
}


@pytest.mark.parametrize("family", FAMILIES)
def test_a_fit_finds_what_made_the_sample(family):
    fit = fit_life(even_sample(family), family=family)
    found = [p.value for p in fit.parameters.values()]
    assert found == pytest.approx(EXPECTED[family], rel=0.01)
    assert fit.failures == 4000
    assert fit.censored == 0


@pytest.mark.parametrize("family", FAMILIES)
def test_limits_and_ranges_tell_the_same(family):
    """Some values known exactly, some as a range, some as an upper or a lower limit."""
    sample = even_sample(family)
    low, high = np.quantile(sample, [0.2, 0.8])
    inside = sample[(sample > low) & (sample < high)]
    exact, ranged = inside[::2], inside[1::2]
    fit = fit_life(
        exact,
        left=[low] * int((sample <= low).sum()),
        right=[high] * int((sample >= high).sum()),
        between=[(0.9 * x, 1.1 * x) for x in ranged],
        family=family,
    )
    found = [p.value for p in fit.parameters.values()]
    assert found == pytest.approx(EXPECTED[family], rel=0.03)
    assert fit.censored == 4000 - len(exact)
    whole = fit_life(sample, family=family)
    name = PARAMETERS[family][0]
    assert fit.parameters[name].std_error > whole.parameters[name].std_error
    # taken for failures, the survivors would have told something else
    wrong = fit_life([*sample[sample < high], *[high] * 800], family=family)
    assert [p.value for p in wrong.parameters.values()] != pytest.approx(EXPECTED[family], rel=0.03)


def test_a_range_from_a_limit_on_gives_the_limit():
    """A very wide range is a lower limit, a range from next to nothing an upper one."""
    wide = fit_life(LIVES, between=[(6.0, 1e12), (1e-12, 3.0)])
    limits = fit_life(LIVES, right=[6.0], left=[3.0])
    assert wide.log_likelihood == pytest.approx(limits.log_likelihood, abs=1e-7)
    assert wide.parameters["shape"].value == pytest.approx(limits.parameters["shape"].value)


def test_the_exponential_fit_is_total_time_over_failures():
    fit = fit_life([100, 200, 300], right=[1000, 1000], family="exponential")
    mean = fit.parameters["mean"]
    assert mean.value == pytest.approx(2600 / 3, rel=1e-9)
    assert mean.std_error == pytest.approx(2600 / 3 / math.sqrt(3), rel=1e-6)
    assert fit.mean.value == fit.sd.value == pytest.approx(2600 / 3)
    assert fit.quantile(0.5).value == pytest.approx(math.log(2) * 2600 / 3)
    assert fit.survival(2600 / 3) == pytest.approx(math.exp(-1))


def test_the_lognormal_fit_is_mean_and_deviation_of_logarithms():
    logs = np.log(LIVES)
    fit = fit_life(LIVES, family="lognormal")
    assert fit.parameters["log_mean"].value == pytest.approx(logs.mean())
    assert fit.parameters["log_sd"].value == pytest.approx(logs.std())
    assert fit.parameters["log_mean"].std_error == pytest.approx(
        logs.std() / math.sqrt(10), rel=1e-5
    )


def test_a_fit_does_not_depend_on_the_unit():
    hours = fit_life(LIVES, right=[25, 30])
    seconds = fit_life([x * 3600 for x in LIVES], right=[25 * 3600, 30 * 3600])
    assert seconds.parameters["shape"].value == pytest.approx(hours.parameters["shape"].value)
    assert seconds.mean.low == pytest.approx(3600 * hours.mean.low, rel=1e-6)


@pytest.mark.parametrize("family", ["weibull", "lognormal", "exponential"])
def test_a_scenario_takes_the_fit_and_draws_its_mean_and_spread(family):
    """The fragment in a scenario file, drawn by the simulator: mean, deviation, survival."""
    fit = fit_life(LIVES, right=[25.0], family=family)
    scenario = perfect(f"actuator.repair = {fit.fragment('h')}")
    repair = scenario.parameters()["actuator_repair"][0]
    u = (np.arange(200_000) + 0.5) / 200_000
    hours = np.array([quantile(repair, x) for x in u]) / 3600
    assert hours.mean() == pytest.approx(fit.mean.value, rel=2e-3)
    assert hours.std() == pytest.approx(fit.sd.value, rel=2e-2)
    assert (hours > 5.0).mean() == pytest.approx(fit.survival(5.0), abs=1e-4)
    assert np.quantile(hours, 0.9) == pytest.approx(fit.quantile(0.9).value, rel=1e-4)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: fit_life([5.0]), "at least 2 failures for a weibull"),
        (lambda: fit_life([], right=[3.0]), "0 failures and 1 survivor"),
        (lambda: fit_life([], family="exponential"), "too few failures"),
        (lambda: fit_life([], left=[1, 2, 3]), "upper limits only"),
        (lambda: fit_life([5, 5, 5]), "do not determine a weibull"),
        (lambda: fit_life([5, 5, 5], family="lognormal"), "do not determine a lognormal"),
        (lambda: fit_life([5, 5, 5], family="gamma"), "do not determine a gamma"),
        (lambda: fit_life([1, -2]), "failures, value 2"),
        (lambda: fit_life([1, 0]), "failures, value 2"),
        (lambda: fit_life([1, math.nan]), "failures, value 2"),
        (lambda: fit_life([1, math.inf]), "failures, value 2"),
        (lambda: fit_life([1, "3 h"]), "failures, value 2"),
        (lambda: fit_life([1, True]), "failures, value 2"),
        (lambda: fit_life([1, 2], right=[-1]), "right, value 1"),
        (lambda: fit_life([1, 2], left=[0]), "left, value 1"),
        (lambda: fit_life([1, 2], between=[(3, 2)]), "between, pair 1: not a range"),
        (lambda: fit_life([1, 2], between=[(3, 3)]), "between, pair 1: not a range"),
        (lambda: fit_life([1, 2], between=[(1, 2, 3)]), "between, pair 1: not a range"),
        (lambda: fit_life([1, 2], between=[3]), "between, pair 1: not a range"),
        (lambda: fit_life([1, 2], between=[(0, 3)]), "between, pair 1, value 1"),
        (lambda: fit_life([1, 2], family="normal"), "no such family"),
        (lambda: fit_life([1, 2, 3]).quantile(1.0), "no such quantile"),
        (lambda: fit_life([1, 2, 3], family="gamma").fragment("h"), "no gamma distribution"),
        (lambda: fit_life([1, 1.01, 1.02]).fragment("h"), "takes no such shape"),
        (lambda: fit_trend([1, 2, 3], 2.5), "after the end of the observation"),
        (lambda: fit_trend([1, 2], 3), "too few failures for a trend"),
        (lambda: fit_trend([], 3), "too few failures for a trend"),
        (lambda: fit_trend([3, 3, 3], 3), "too few failures for a trend"),
        (lambda: fit_trend([1, 2, -3], 5), "times, value 3"),
        (lambda: fit_trend([1, 2, 3], math.inf), "after the end of the observation"),
    ],
)
def test_what_cannot_be_fitted_is_told(call, match):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(ModelError, match=match):
            call()


def test_a_trend_without_one_has_shape_one():
    fit = fit_trend((np.arange(400) + 0.5) / 400 * 1000, 1000)
    assert fit.shape.value == pytest.approx(1.0, abs=0.01)
    assert fit.chance > 0.5
    assert fit.number(1000) == pytest.approx(400)
    assert fit.gap_at_end == pytest.approx(2.5, rel=0.01)


def test_a_trend_that_ends_with_a_failure_knows_less():
    times = [100.0, 350.0, 540.0, 700.0, 810.0, 900.0]
    at_failure = fit_trend(times, 900.0, unbiased=True)
    later = fit_trend(times, 900.0 + 1e-9, unbiased=True)
    assert at_failure.shape.value == pytest.approx(later.shape.value * 4 / 5, rel=1e-6)
    assert at_failure.shape.high - at_failure.shape.low < later.shape.high - later.shape.low
    assert fit_trend(reversed(times), 900.0) == fit_trend(times, 900.0)


@pytest.mark.slow
def test_intervals_hold_the_truth_as_often_as_they_say():
    """500 samples of 40 lives, a third of them censored: the share of intervals that hold.

    Run with: pytest -m slow tests/published
    """
    generator = np.random.default_rng(1)
    law = stats.weibull_min(2.0, scale=10.0)
    held = np.zeros(3)
    for _ in range(500):
        lives = law.rvs(size=40, random_state=generator)
        fit = fit_life(lives[lives < 10.5], right=[10.5] * int((lives >= 10.5).sum()))
        truth = (2.0, 10.0, law.ppf(0.1))
        found = (*fit.parameters.values(), fit.quantile(0.1))
        held += [e.low <= x <= e.high for e, x in zip(found, truth, strict=True)]
    # 95 % less a little for the small sample; 3 standard errors are 2.9 %
    assert np.all(np.abs(held / 500 - 0.94) < 0.035), held / 500
