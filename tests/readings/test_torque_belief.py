"""What is believed before and after readings, and whether doubt comes where it should."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special, stats
from torque_made import YEAR, a_prior, make_up, to_readings

from shutoffsim.errors import ModelError
from shutoffsim.scenario import loads
from shutoffsim.scenario import starter as template
from shutoffsim.study.fit_torque import prior_belief
from shutoffsim.study.fit_torque.agreement import check_agreement
from shutoffsim.study.fit_torque.fit import draw
from shutoffsim.study.fit_torque.sampler import sample

HEAD = "date,valve,direction,torque,outcome,idle,age\n"


def line(torque, outcome="moved", valve="cellar"):
    return f"2026-01-10,{valve},closing,{torque:g} N*m,{outcome},0 days,15 years\n"


def middle(fit, row=0):
    return fit.predictions[row].closing.value


def test_prior_draws_are_the_scenarios_distributions(starter):
    p = starter.parameters(["mains only"])[0]
    belief = prior_belief(p, 4096, 1)
    u = [0.025, 0.5, 0.975]
    expected = np.exp(math.log(4.0) + math.log(1.8) * stats.norm.ppf(u))
    assert np.quantile(belief.level, u) == pytest.approx(expected, rel=0.02)
    expected = 1.0 + 0.5 * np.exp(math.log(2.0) * stats.norm.ppf(u))
    assert np.quantile(belief.age_factor, u) == pytest.approx(expected, rel=0.02)
    assert np.quantile(belief.closing_share, u) == pytest.approx(
        [0.70375, 0.775, 0.84625], rel=0.01
    )
    assert np.median(belief.idle_growth) == pytest.approx(0.15, rel=0.01)
    assert np.corrcoef(belief.level, belief.age_factor)[0, 1] == pytest.approx(0.0, abs=0.03)
    with pytest.raises(ModelError, match="number of draws"):
        prior_belief(p, 1000, 1)


def test_readings_that_say_nothing_leave_the_prior(fit):
    found = fit(HEAD + line(0.001, "did not move") + line(10000, "moved below"))
    for row in found.parameters:
        assert row.after.value == pytest.approx(row.before.value, rel=0.03), row.name
        assert row.after.low == pytest.approx(row.before.low, rel=0.1), row.name
        assert row.after.high == pytest.approx(row.before.high, rel=0.1), row.name


def test_several_valves_have_each_the_prior():
    data = to_readings(right=[1e-4] * 3, valve=np.array([0, 1, 2]), valves=("a", "b", "c"))
    prior = a_prior()
    at = draw(data, prior, 1)[1]
    for number in range(3):
        logs = np.log(at.level[:, number])
        assert np.mean(logs) == pytest.approx(math.log(4.0), abs=0.05)
        assert np.std(logs) == pytest.approx(math.log(1.8), rel=0.06)


def test_limits_alone_move_the_belief_the_right_way(fit):
    nothing = fit(HEAD + line(0.001, "did not move"))
    more = fit(HEAD + line(8, "did not move"))
    much_more = fit(HEAD + line(8, "did not move") + line(14, "did not move"))
    less = fit(HEAD + line(2, "moved below"))
    assert middle(less) < 0.5 * middle(nothing) < middle(nothing)
    assert middle(nothing) < 0.7 * middle(more) < middle(more) < 0.8 * middle(much_more)
    assert any("No reading moved the valve" in note for note in more.notes)
    assert any("All readings are upper limits" in note for note in less.notes)


def test_each_reading_narrows_the_interval(fit):
    widths = []
    for count in (1, 3, 9):
        found = fit(HEAD + "".join(line(4.0 + 0.1 * (k % 3)) for k in range(count)))
        closing = found.predictions[0].closing
        widths.append(math.log(closing.high / closing.low))
        assert closing.low < 4.1 < closing.high
    assert widths[0] > 1.3 * widths[1] > 1.3 * 1.2 * widths[2]
    assert any("One reading" in note for note in fit(HEAD + line(4)).notes)


def test_a_stiff_valve_says_less_of_another_one_than_of_itself(fit):
    text = HEAD + "".join(line(12) for _ in range(4))
    text += "".join(line(11, valve="attic") for _ in range(4))
    own, other = fit(text, valve="cellar"), fit(text)
    before = middle(fit(HEAD + line(0.001, "did not move")))
    assert before < 0.7 * middle(other) < middle(other) < middle(own)
    assert other.whose == "another valve like these"
    spread = [math.log(f.predictions[0].closing.high / f.predictions[0].closing.low)
              for f in (own, other)]  # fmt: skip
    assert spread[1] > 2.0 * spread[0]


def test_far_readings_are_called_so(fit):
    assert any("far above" in note for note in fit(HEAD + line(90) * 3).notes)
    assert not any("far above" in note for note in fit(HEAD + line(5) * 3).notes)


def test_a_scenario_that_leaves_no_doubt_is_called_so(fit):
    certain = template().replace(
        'breakaway = {median = "4 N*m", spread = 1.8}', 'breakaway = "4 N*m"'
    )
    assert 'breakaway = "4 N*m"' in certain
    found = fit(HEAD + line(9) * 5, loads(certain))
    assert found.parameters[0].after.low == found.parameters[0].after.high == 4.0
    assert any("states breakaway as one number" in note for note in found.notes)
    assert not any("states breakaway" in note for note in fit(HEAD + line(9) * 5).notes)


def test_one_seed_gives_one_result_and_seeds_agree(fit):
    text = HEAD + line(4) + line(5) + line(9, "did not move")
    first, again, other = fit(text), fit(text), fit(text, seed=2)
    assert first.as_dict()["predictions"] == again.as_dict()["predictions"]
    assert np.array_equal(first.belief.level, again.belief.level)
    assert not np.array_equal(first.belief.level, other.belief.level)
    assert middle(other) == pytest.approx(middle(first), rel=0.02)


def test_draws_are_of_the_target():
    # A normal likelihood on correlated coordinates: the posterior is normal in closed form.
    a = np.array([[1.0, 0.8, 0.0], [0.0, 1.0, -0.5]])
    seen, error = np.array([1.0, -2.0]), 0.1

    def log_likelihood(z):
        return -0.5 * np.sum((z @ a.T - seen) ** 2, axis=1) / error**2

    found = sample(log_likelihood, 3, 1)
    covariance = np.linalg.inv(np.eye(3) + a.T @ a / error**2)
    mean = covariance @ a.T @ seen / error**2
    errors = np.sqrt(np.diag(covariance) / found.effective)
    assert np.all(np.abs(found.z.mean(axis=0) - mean) < 4.5 * errors)
    assert np.cov(found.z.T) == pytest.approx(covariance, abs=0.05 * np.max(covariance))
    assert found.effective > 2000


def test_an_edge_far_from_the_prior_is_reached():
    # Only z > 4 is possible: the draws must lie there, as the tail of a normal distribution does.
    found = sample(lambda z: special.log_ndtr((z[:, 0] - 4.0) / 1e-3), 1, 1)
    expected = stats.norm.pdf(4.0) / stats.norm.sf(4.0)
    assert np.mean(found.z) == pytest.approx(expected, abs=4.5 * 0.22 / math.sqrt(found.effective))


def checks_of(data, prior):
    at = draw(data, prior, 1)[1]
    found, _ = check_agreement(data, at, prior, 1)
    return {check.feature: check.p for check in found}


TRUTH = (5.0, 1.6, 0.2, 0.65, 0.1)


def test_readings_made_by_the_law_are_not_doubted():
    doubted = 0
    for seed in range(20):
        data = make_up(np.random.default_rng(seed), 30, TRUTH)
        doubted += min(checks_of(data, a_prior()).values()) < 0.01
    assert doubted <= 2


def test_an_outlier_is_doubted():
    data = make_up(np.random.default_rng(1), 40, TRUTH)
    exact = int(np.flatnonzero(data.exact)[3])
    data.low[exact] += 1.5
    data.high[exact] += 1.5
    assert checks_of(data, a_prior())["farthest reading"] < 0.05


def test_a_trend_is_doubted():
    data = make_up(np.random.default_rng(1), 40, TRUTH)
    drift = np.linspace(-0.4, 0.4, 40)
    data.low[:], data.high[:] = data.low + drift, data.high + drift
    assert checks_of(data, a_prior())["trend over the readings"] < 0.05


def test_growth_with_another_law_is_doubted():
    idle = np.repeat([0.0, 0.1, 0.3, 1.0, 3.0], 5) * YEAR
    torque = 4.0 * np.exp(-1.5 * idle / YEAR) * np.tile([0.98, 1.0, 1.02, 1.01, 0.99], 5)
    data = to_readings(torque, idle=idle)
    assert checks_of(data, a_prior())["curvature with rest time"] < 0.05


def test_few_readings_are_not_checked(fit):
    found = fit(HEAD + line(4) * 3)
    assert found.checks == ()
    assert any("Too few readings to check" in note for note in found.notes)
