"""Age makes no valve easier to turn: the law, what it is drawn from, and what a file may say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import perfect
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

import shutoffsim
from shutoffsim.errors import ScenarioError
from shutoffsim.model import layout as L
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.valve import age_growth, closing_torque, idle_growth
from shutoffsim.study.fit_torque.belief import prior_belief

YEAR = L.YEAR
LEAST, MOST = 2.0**-53, 1.0 - 2.0**-53
HOSE = '[leaks.hose]\nkind = "appliance hose"\n[designs.one]\n'


def torque_to_close(p, u, years):
    """Return what the model asks to close a valve of 4 N*m new that was just moved."""
    s = np.zeros(1, L.STATE).view(np.recarray)[0]
    s.breakaway, s.age_factor, s.seize_after = 4.0, quantile(p.valve_age_factor, u), np.inf
    s.born_at = -years * YEAR
    return closing_torque(p, s, 0.0, 0.5)


def test_growth_by_hand():
    # Half as much again at 15 years: as much again at 30 years.
    assert age_growth(1.5, 15 * YEAR, 15 * YEAR) == 1.5
    assert age_growth(1.5, 30 * YEAR, 15 * YEAR) == 2.0
    assert age_growth(1.5, 0.0, 15 * YEAR) == 1.0
    # After e^2 - 1 weeks the logarithm is 2.
    assert idle_growth(0.25, math.expm1(2.0) * 7 * 86400, 3.0) == pytest.approx(1.5, rel=1e-14)
    assert idle_growth(0.25, 1e12, 3.0) == 3.0


def test_numbers_arrays_and_histories_use_one_law():
    p = perfect("valve.closing_share = 0.5\nvalve.age_factor = 1.7").parameters()[0]
    years = np.array([0.0, 3.0, 15.0, 61.5])
    grown = age_growth(np.full(4, 1.7), years * YEAR, float(p.valve_age_reference))
    assert grown.tolist() == [torque_to_close(p, 0.5, y) / 2.0 for y in years]


def test_default_valves_never_get_easier():
    p = shutoffsim.loads(HOSE).parameters()[0]
    new = torque_to_close(p, 0.5, 0.0)
    for u in (LEAST, 1e-6, 0.025, 0.12, 0.5, 0.99, MOST):
        assert torque_to_close(p, u, 60.0) >= torque_to_close(p, u, 15.0) >= new
    factors = np.array([quantile(p.valve_age_factor, u) for u in (0.5, stats.norm.cdf(1.0))])
    assert factors == pytest.approx([1.5, 2.0], rel=1e-12)  # the middle; one valve in six
    believed = prior_belief(p, 1024)
    assert believed.torque(60 * YEAR, 0.0).min() > 0.0
    assert np.all(believed.torque(60 * YEAR, 0.0) >= believed.torque(0.0, 0.0))


@pytest.mark.parametrize(
    ("value", "found"),
    [
        ("0.5", "0.5"),
        ("{median = 1.5, spread = 1.42}", "median = 1.5, spread = 1.42"),
        ('{low = 0.9, high = 2, shape = "even"}', "low = 0.9, high = 2, shape = even"),
        ("{least = 0.5, median = 1.5, spread = 2}", "least = 0.5, median = 1.5, spread = 2"),
        ("{mean = 1.5}", "mean = 1.5"),
    ],
)
@pytest.mark.parametrize("where", ["valve", "designs.one.motorised_valve.valve"])
def test_a_factor_that_may_fall_below_one_is_refused(value, found, where):
    with pytest.raises(ScenarioError) as caught:
        shutoffsim.loads(f"{HOSE}\n[{where}]\nage_factor = {value}\n")
    (problem,) = caught.value.problems
    assert problem.key == f"{where}.age_factor"
    assert problem.message == "out of range: age never makes a valve easier to turn"
    assert problem.found == found
    assert problem.expected == "at least 1"
    varies = value != "0.5"
    assert (problem.hint is not None) == varies
    if varies:
        assert "{least = 1, median = ..., spread = ...}" in problem.hint


@pytest.mark.parametrize(
    "value",
    [
        "1",
        "2.5",
        "{least = 1, median = 1.01, spread = 5}",
        '{low = 1, high = 2, shape = "even"}',
        "{least = 1, likely = 1, most = 3}",
    ],
)
def test_what_stays_above_one_is_taken(value):
    p = shutoffsim.loads(f"{HOSE}\n[valve]\nage_factor = {value}\n").parameters()[0]
    assert quantile(p.valve_age_factor, LEAST) >= 1.0


@given(st.floats(1.0, 100.0), st.floats(0.0, 200.0), st.floats(0.0, 200.0))
def test_torque_only_grows_with_age(factor, one, other):
    young, old = sorted((one, other))
    assert 1.0 <= age_growth(factor, young, 15.0) <= age_growth(factor, old, 15.0)
