"""Distributions: the practitioner's words give the right numbers."""

import math

import numpy as np
import pytest
from scipy import stats

from shutoffsim.errors import UnitError
from shutoffsim.model import quantiles
from shutoffsim.scenario import distributions, parameters
from shutoffsim.scenario.distributions import Distribution


def read(raw):
    return distributions.read(raw, float)


def as_scipy(d):
    match d.kind:
        case "uniform":
            return stats.uniform(d.a, d.b - d.a)
        case "lognormal":
            return stats.lognorm(d.b, d.c, scale=math.exp(d.a))
        case "exponential":
            return stats.expon(scale=d.a)
        case "weibull":
            return stats.weibull_min(d.a, scale=d.b)
        case "triangular":
            return stats.triang((d.b - d.a) / (d.c - d.a), d.a, d.c - d.a)
    raise AssertionError(d.kind)


FORMS = [
    {"median": 4.0, "spread": 1.6},
    {"least": 1.0, "median": 1.5, "spread": 2.0},
    {"low": 2.0, "high": 30.0},
    {"low": 0.0, "high": 3.0, "shape": "even"},
    {"mean": 2.0},
    {"mean": 5.0, "spread": 2.0},
    {"least": 1.0, "likely": 2.0, "most": 6.0},
    {"life": 15.0, "shape": 2.0},
]


@pytest.mark.parametrize("raw", FORMS, ids=lambda raw: "-".join(raw))
def test_mean_agrees_with_scipy(raw):
    assert read(raw).mean == pytest.approx(as_scipy(read(raw)).mean(), rel=1e-12)


@pytest.mark.parametrize("raw", FORMS, ids=lambda raw: "-".join(raw))
def test_the_model_draws_from_the_same_distribution(raw):
    encoded = np.array(parameters.encode(read(raw)))
    for u in (0.001, 0.05, 0.3, 0.5, 0.9, 0.999):
        drawn = quantiles.quantile(encoded, u)
        assert drawn == pytest.approx(as_scipy(read(raw)).ppf(u), rel=1e-9, abs=1e-12)


def test_spread_holds_two_thirds():
    law = as_scipy(read({"median": 4.0, "spread": 1.6}))
    assert law.median() == pytest.approx(4.0)
    assert law.cdf(4.0 * 1.6) - law.cdf(4.0 / 1.6) == pytest.approx(0.6827, abs=1e-4)


def test_low_and_high_leave_five_percent_each():
    law = as_scipy(read({"low": 2.0, "high": 30.0}))
    assert law.cdf(2.0) == pytest.approx(0.05)
    assert law.sf(30.0) == pytest.approx(0.05)


def test_life_is_when_63_percent_are_over():
    assert as_scipy(read({"life": 15.0, "shape": 2.0})).cdf(15.0) == pytest.approx(0.6321, abs=1e-4)


def test_nothing_that_varies_is_fixed():
    assert read({"median": 4.0, "spread": 1}) == Distribution("fixed", pytest.approx(4.0))
    assert read({"low": 2.0, "high": 2.0, "shape": "even"}) == Distribution("fixed", 2.0)
    assert read({"least": 2.0, "likely": 2.0, "most": 2.0}) == Distribution("fixed", 2.0)


def test_area_of_a_varying_diameter():
    area = read({"median": 2.0, "spread": 1.5}).power(math.pi / 4, 2.0)
    assert as_scipy(area).median() == pytest.approx(math.pi)
    assert area.b == pytest.approx(2 * math.log(1.5))
    with pytest.raises(ValueError, match="no simple shape"):
        read({"mean": 2.0}).power(1.0, 2.0)


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        ({"median": 4.0}, "one of {median, spread}"),
        ({}, "an empty table"),
        ({"median": 4.0, "spread": 0.5}, "between 1 and 100"),
        ({"median": 4.0, "spread": "1.5"}, "without quotes"),
        ({"median": 4.0, "spread": True}, "plain number"),
        ({"median": 4.0, "spread": float("nan")}, "plain number"),
        ({"median": 4.0, "spread": 10**400}, "plain number"),
        ({"median": 0.0, "spread": 2}, "above zero"),
        ({"low": 3.0, "high": 2.0}, "swap"),
        ({"low": 0.0, "high": 2.0}, 'shape = "even"'),
        ({"low": 1.0, "high": 2.0, "shape": "flat"}, "or no shape"),
        ({"low": 1.0, "high": math.inf}, "finite"),
        ({"mean": -1.0}, "above zero"),
        ({"least": 1.0, "median": 1.0, "spread": 2.0}, "below the median"),
        ({"least": -1.0, "median": 1.0, "spread": 2.0}, "from zero on"),
        ({"least": 2.0, "likely": 1.0, "most": 3.0}, "least <= likely <= most"),
        ({"life": 3.0, "shape": 0}, "between 0.1 and 20"),
    ],
)
def test_numbers_that_do_not_fit_are_refused(raw, message):
    with pytest.raises(UnitError) as caught:
        read(raw)
    assert message in str(caught.value)


def test_every_form_of_the_reference_is_read():
    sample = {"median": 2.5, "mean": 2.0, "low": 1.0, "high": 3.0, "least": 1.0, "likely": 2.0}
    sample |= {"most": 3.0, "life": 2.0, "spread": 2, "shape": 2}
    for keys in distributions.FORMS:
        assert read({key: sample[key] for key in keys}).mean > 0
