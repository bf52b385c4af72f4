"""The fit of torque, where it is a plain log-normal fit, against published and closed answers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from torque_made import a_prior, fixed, lognormal, plain_prior, to_readings

from shutoffsim.estimate.lifedata import fit_life
from shutoffsim.study.fit_torque.fit import draw
from shutoffsim.study.fit_torque.likelihood import fit_likeliest

# NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3: 10 failures, 10 units running at 500 h.
FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
RUNNING = [500.0] * 10
# NASA/SP-2009-569, Bayesian Inference for NASA Probabilistic Risk and Reliability Analysis,
# examples 21-23: ten repair times, h.
REPAIRS = [0.8, 1.7, 0.5, 11.4, 0.1, 5.7, 3.0, 1.1, 2.5, 0.04]


def test_likeliest_is_the_handbooks_censored_fit():
    fit = fit_likeliest(to_readings(FAILED, RUNNING), plain_prior())
    # Torques have their density by the logarithm: the sum of logarithms stands between the two.
    log_likelihood = fit.log_likelihood - np.sum(np.log(FAILED))
    assert 4.0 - 2.0 * log_likelihood == pytest.approx(154.39, abs=0.005)  # printed AIC
    # Of the same fit, computed by an independent program.
    assert math.log(fit.parameters["level"].value) == pytest.approx(6.22602, abs=2e-5)
    assert fit.parameters["scatter"].value == pytest.approx(0.90891, abs=2e-5)


def test_taking_limits_for_values_misses_the_handbook():
    fit = fit_likeliest(to_readings([*FAILED, *RUNNING]), plain_prior())
    assert abs(math.log(fit.parameters["level"].value) - 6.22602) > 0.1


@pytest.mark.parametrize(
    "readings",
    [
        {"exact": [1500, 7000, 2250, 4000, 4300], "right": [1750, 5000]},
        {"exact": [30, 49, 82, 90], "left": [20, 96], "right": [45]},
        {"exact": [2.0, 5.0, 3.1, 4.4], "between": [(1.0, 2.0), (3.0, 6.0)], "left": [9.0]},
    ],
)
def test_likeliest_agrees_with_the_fit_of_lives(readings):
    fit = fit_likeliest(to_readings(**readings), plain_prior())
    life = fit_life(
        readings["exact"],
        right=readings.get("right", ()),
        left=readings.get("left", ()),
        between=readings.get("between", ()),
        family="lognormal",
    )
    level, scatter = fit.parameters["level"], fit.parameters["scatter"]
    assert math.log(level.value) == pytest.approx(life.parameters["log_mean"].value, abs=1e-5)
    assert scatter.value == pytest.approx(life.parameters["log_sd"].value, rel=1e-5)
    error = level.std_error / level.value
    assert error == pytest.approx(life.parameters["log_mean"].std_error, rel=1e-3)
    assert scatter.std_error == pytest.approx(life.parameters["log_sd"].std_error, rel=1e-3)


def test_posterior_is_the_handbooks_of_ten_repair_times():
    # Printed with a flat mu and an even sigma below 10, as mean and 90 % interval:
    # mu 3.6E-2 (-1.05, 1.12), tau = 1/sigma^2 0.29 (0.10, 0.57).
    data, prior = to_readings(REPAIRS), plain_prior()
    found, at = draw(data, prior, 1)
    mu, tau = np.log(at.level[:, 0]), at.scatter**-2
    assert found.effective > 2000
    assert np.mean(mu) == pytest.approx(0.036, abs=0.03)
    assert np.quantile(mu, [0.05, 0.95]) == pytest.approx([-1.05, 1.12], abs=0.03)
    assert np.mean(tau) == pytest.approx(0.29, abs=0.005)
    assert np.quantile(tau, [0.05, 0.95]) == pytest.approx([0.10, 0.57], abs=0.02)


def test_posterior_of_the_level_alone_is_the_normal_one_in_closed_form():
    # One unknown, log-normal before and measured with known scatter: precisions add.
    scatter, readings = 0.2, [6.0, 7.0, 8.5]
    prior = plain_prior(level=lognormal(4.0, 1.8), scatter=fixed(scatter))
    data = to_readings(readings)
    at = draw(data, prior, 1)[1]
    precision = [math.log(1.8) ** -2, len(readings) * scatter**-2]
    middle = np.average([math.log(4.0), np.mean(np.log(readings))], weights=precision)
    sd = sum(precision) ** -0.5
    found = np.log(at.level[:, 0])
    assert np.mean(found) == pytest.approx(middle, abs=4.5 * sd / 50)
    assert np.std(found) == pytest.approx(sd, rel=0.03)


def test_one_limit_gives_the_truncated_prior():
    # A reading without scatter that did not move the valve cuts the prior off below it.
    prior = plain_prior(level=lognormal(4.0, 1.8), scatter=fixed(1e-3))
    data = to_readings(right=[4.0])
    at = draw(data, prior, 1)[1]
    level = at.level[:, 0]
    assert np.min(level) > 3.9
    # Of a half normal distribution: mean sqrt(2/pi) standard deviations.
    expected = math.log(4.0) + math.sqrt(2.0 / math.pi) * math.log(1.8)
    assert np.mean(np.log(level)) == pytest.approx(expected, abs=0.02)


def test_likeliest_is_silent_where_readings_tell_nothing():
    assert fit_likeliest(to_readings(right=[1.0, 2.0, 3.0, 4.0, 5.0]), a_prior()) is None
    assert fit_likeliest(to_readings([4.0]), a_prior()) is None
    held = fit_likeliest(to_readings([4.0, 5.0, 6.0, 4.4]), a_prior()).held
    assert set(held) == {"age_factor", "idle_growth", "closing_share"}
