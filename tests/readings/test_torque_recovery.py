"""Known parameters come back: 95 % intervals hold them in 95 of 100 made-up sets of readings."""

from __future__ import annotations

import numpy as np
import pytest
from checks import perfect
from scipy import stats
from torque_made import WEEK, YEAR, a_prior, even, fixed, lognormal, make_up

from shutoffsim.model import layout as L
from shutoffsim.model import quantiles
from shutoffsim.model.valve import closing_torque
from shutoffsim.study.fit_torque import law, valves
from shutoffsim.study.fit_torque.belief import Belief, at_normal
from shutoffsim.study.fit_torque.fit import draw
from shutoffsim.study.fit_torque.likelihood import fit_likeliest

NAMES = ("level", "age_factor", "idle_growth", "closing_share", "scatter", "torque")


def torque(level, age_factor, growth, share):
    """Torque to close at 20 years, after half a year of rest."""
    grown = level * (1.0 + (age_factor - 1.0) * 20.0 / 15.0)
    return grown * np.minimum(1.0 + growth * np.log(27.0), 3.0) * share


def coverage(sets, *, bias=1.0, seed=5):
    """Return the share of sets whose 95 % interval holds the truth, by parameter."""
    prior = a_prior()
    rng = np.random.default_rng(seed)
    held = np.zeros((sets, len(NAMES)), bool)
    for number in range(sets):
        z = rng.standard_normal((1, 5))
        truth = [
            float(at_normal(getattr(prior, name), z[:, k])[0]) for k, name in enumerate(NAMES[:5])
        ]
        data = make_up(rng, int(rng.integers(3, 25)), truth, bias=bias)
        at = draw(data, prior, number)[1]
        draws = [at.level[:, 0], at.age_factor, at.idle_growth, at.closing_share, at.scatter]
        draws.append(torque(*draws[:4]))
        for k, true in enumerate([*truth, torque(*truth[:4])]):
            low, high = np.quantile(draws[k], [0.025, 0.975])
            held[number, k] = low <= true <= high
    return dict(zip(NAMES, held.mean(axis=0), strict=True))


def test_intervals_hold_the_truth():
    # 4 standard errors of 120 sets are 8 %.
    assert min(coverage(120).values()) >= 0.87


@pytest.mark.slow
def test_intervals_hold_the_truth_in_500_sets():
    found = coverage(500, seed=6)
    assert all(0.92 <= share <= 0.98 for share in found.values()), found


def coverage_of_valves(sets, seed=9):
    """Return the share of sets whose 95 % interval holds the level of a valve, and of another."""
    prior = a_prior()
    rng = np.random.default_rng(seed)
    held = np.zeros((sets, 2), bool)
    for number in range(sets):
        common = rng.standard_normal(4)
        share = [
            float(at_normal(getattr(prior, name), common[k])) for k, name in enumerate(NAMES[1:5])
        ]
        r, g = rng.random(), rng.standard_normal()
        own = np.sqrt(1.0 - r) * g + np.sqrt(r) * rng.standard_normal(6)
        levels = at_normal(prior.level, own)
        made = [make_up(rng, 2, [level, *share]) for level in levels[:5]]
        names = ("low", "high", "closing", "gauge", "idle", "age")
        data = law.Data(
            **{name: np.concatenate([getattr(d, name) for d in made]) for name in names},
            valve=np.repeat(np.arange(5), 2),
            valves=tuple("abcde"),
        )
        found, at = draw(data, prior, number)
        another = at_normal(prior.level, valves.draw_another(found.z, number))
        for k, (draws, true) in enumerate([(at.level[:, 0], levels[0]), (another, levels[5])]):
            low, high = np.quantile(draws, [0.025, 0.975])
            held[number, k] = low <= true <= high
    return held.mean(axis=0)


def test_intervals_of_several_valves_hold_the_truth():
    # 4 standard errors of 25 sets are 17 %.
    assert np.all(coverage_of_valves(25) >= 0.78)


@pytest.mark.slow
def test_intervals_of_several_valves_hold_the_truth_in_400_sets():
    found = coverage_of_valves(400)
    assert np.all(np.abs(found - 0.95) <= 0.035), found


def test_readings_in_another_unit_are_not_covered():
    # Negative control: the same count fails when torques are a third too high.
    assert coverage(40, bias=1.33)["torque"] < 0.8


def test_many_readings_find_the_parameters_without_a_prior():
    truth = (5.0, 1.6, 0.2, 0.65, 0.1)
    data = make_up(np.random.default_rng(2), 400, truth)
    found = fit_likeliest(data, a_prior()).parameters
    names = ("level", "age_factor", "idle_growth", "closing_share", "scatter")
    for name, true in zip(names, truth, strict=True):
        estimate = found[name]
        assert abs(estimate.value - true) < 4.5 * estimate.std_error, name
        assert estimate.std_error < 0.1 * true, name


def test_posterior_and_likeliest_agree_on_many_readings():
    data = make_up(np.random.default_rng(3), 400, (5.0, 1.6, 0.2, 0.65, 0.1))
    prior = a_prior()
    at = draw(data, prior, 1)[1]
    alone = fit_likeliest(data, prior).parameters
    assert np.median(at.scatter) == pytest.approx(alone["scatter"].value, rel=0.02)
    assert np.std(at.scatter) == pytest.approx(alone["scatter"].std_error, rel=0.15)
    assert np.median(at.idle_growth) == pytest.approx(alone["idle_growth"].value, rel=0.05)


def test_law_is_that_of_the_model():
    p = perfect("").parameters()[:1]
    p.valve_breakaway, p.valve_closing_share = fixed(4.0), fixed(0.6)
    p.valve_age_reference, p.valve_idle_growth, p.valve_idle_cap = 15 * YEAR, 0.2, 3.0
    s = np.zeros(1, L.STATE).view(np.recarray)
    s.breakaway, s.age_factor, s.seize_after = 4.0, 1.7, np.inf
    belief = Belief(*(np.array([x]) for x in (4.0, 1.7, 0.2, 0.6, 0.1)), 15 * YEAR, 3.0, "made up")
    for years, weeks in ((0.0, 0.0), (12.0, 50.0), (30.0, 1500.0), (30.0, 1e6)):
        s.born_at, s.moved_at = -years * YEAR, -weeks * WEEK
        expected = closing_torque(p[0], s[0], 0.0, 0.5)
        found = belief.torque(years * YEAR, weeks * WEEK, closing=True)[0]
        assert found == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    "dist",
    [
        fixed(2.0),
        lognormal(2.0, 1.5),
        even(1.0, 3.0),
        (float(quantiles.EXPONENTIAL), 3.0, 0.0, 0.0),
        (float(quantiles.WEIBULL), 2.0, 5.0, 0.0),
        (float(quantiles.TRIANGULAR), 1.0, 2.0, 6.0),
        (float(quantiles.TRIANGULAR), 1.0, 5.0, 6.0),
    ],
)
def test_quantiles_are_those_of_the_model(dist):
    z = np.array([-3.0, -1.0, -0.2, 0.0, 0.7, 2.5])
    expected = [quantiles.quantile(np.array(dist), u) for u in stats.norm.cdf(z)]
    assert at_normal(dist, z) == pytest.approx(expected, rel=1e-9)


def test_readings_that_fall_with_age_tell_of_no_valve_that_gets_easier():
    data = make_up(np.random.default_rng(4), 400, (5.0, 0.6, 0.2, 0.65, 0.1))
    prior = a_prior()
    assert "age_factor" not in fit_likeliest(data, prior).parameters
    assert draw(data, prior, 1)[1].age_factor.min() >= 1.0
