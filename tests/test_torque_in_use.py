"""How a valve is used, off whole histories, and the torque that follows, worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import TOLERANCE, perfect
from scipy import stats

from shutoffsim.engine.look import look
from shutoffsim.engine.trace import History, new_state
from shutoffsim.model import layout as L
from shutoffsim.study.fit_torque.belief import Belief
from shutoffsim.study.torque import torque_over_years
from shutoffsim.study.use import HISTORIES, rests_of_life, uses

DAY, YEAR = 86400.0, L.YEAR
TEN_YEARS = "3652.5 days"
MONTHLY = 'exercise.interval = "30 days"\n'
#: False alarms that close the valve for minutes, six a year.
ALARMS = 'nuisance = {rate_per_sensor = "6 per year", switch_off_chance = 0}\n'
#: Half as much again at 15 years, a fifth more with each factor e of rest, three quarters to close.
BY_HAND = """
valve = {breakaway = "8 N*m", age = "5 years", age_factor = 1.5, age_reference = "15 years", \
idle_growth = 0.2, idle_cap = 9, closing_share = 0.75}
"""


def of(changes: str):
    return perfect(changes, life=TEN_YEARS).parameters()


def test_rests_of_an_exercised_valve_fill_the_interval():
    first, *later = uses(of(MONTHLY), 1)
    assert np.all(first.rest == 0.0)
    assert np.all(first.strokes == 0.0)
    for use in later:
        rests = use.rest / (30 * DAY)
        assert stats.kstest(rests, "uniform").pvalue > 1e-5
        assert use.seized == 0.0
        done = math.floor(use.years * YEAR / (30 * DAY))
        assert set(use.strokes / 2) <= {done - 1.0, float(done)}  # there and back each time


def test_false_alarms_alone_leave_exponential_rests():
    last = uses(of(ALARMS), 1)[-1]
    # The valve opens again at once, or as good as.
    apart = stats.kstest(last.rest / YEAR, stats.expon(scale=1 / 6).cdf)
    assert apart.pvalue > 1e-5
    assert stats.kstest(last.rest / YEAR, stats.expon(scale=1 / 7).cdf).pvalue < 1e-5


def test_strokes_count_what_happened():
    last = uses(of(MONTHLY + ALARMS), 1)[-1]
    # There and back at each of 121 exercises, or 120 where the look falls before the last one, and
    # at each of 60 false alarms, a Poisson number.
    assert 121 * 30 * DAY < 10 * YEAR < 122 * 30 * DAY
    share = (10 * YEAR - 121 * 30 * DAY) / (30 * DAY)
    expected = 2 * (120 + share) + 2 * 60
    variance = 4 * 60 + 4 * share * (1 - share)
    assert abs(np.mean(last.strokes) - expected) < TOLERANCE * math.sqrt(variance / HISTORIES)
    assert np.var(last.strokes) == pytest.approx(variance, rel=0.15)


def test_use_does_not_hang_on_how_stiff_the_valve_is():
    weak = of(BY_HAND + MONTHLY + 'actuator.stall_torque = "1 N*m"')
    strong = of(BY_HAND + MONTHLY + 'actuator.stall_torque = "100 N*m"')
    for one, other in zip(torque_over_years(weak, 1), torque_over_years(strong, 1), strict=True):
        assert one.needed == other.needed
        assert one.short == 1.0
        assert other.short == 0.0


def test_a_seized_valve_stays_seized_until_it_is_found():
    # Never tried: all of a Weibull life that is over by then, half of it after the median.
    never = uses(of('valve.seize_time = {life = "5 years", shape = 2}'), 1)
    for use in never[1:]:
        exact = -math.expm1(-((use.years / 5.0) ** 2))
        error = math.sqrt(exact * (1 - exact) / HISTORIES)
        assert abs(use.seized - exact) < TOLERANCE * error + 0.005  # looked at up to a month before


def test_torque_by_hand():
    rows = {row.years: row for row in torque_over_years(of(BY_HAND), 1)}
    # On the day of fitting it has just been moved: 8 x (1 + 0.5 x 5/15) x 0.75.
    assert rows[0.0].needed == pytest.approx((7.0, 7.0, 7.0), rel=1e-12)
    # Ten years on nobody has moved it: 8 x (1 + 0.5) x (1 + 0.2 ln(1 + 521.8 weeks)) x 0.75.
    assert rows[10.0].needed[1] == pytest.approx(9.0 * (1 + 0.2 * math.log(522.8)), rel=1e-3)
    typical, spread, age, rest = rows[10.0].makeup
    assert (typical, spread, age) == pytest.approx((6.0, 0.0, 3.0), rel=1e-12)
    assert rest == pytest.approx(9.0 * 0.2 * math.log(522.8), rel=1e-3)
    assert rows[10.0].supply == 10.0
    assert rows[10.0].short == 1.0
    assert math.isnan(rows[10.0].turned)


def test_a_belief_takes_the_place_of_the_scenarios_valve():
    n = 512
    level = np.linspace(3.0, 5.0, n)
    half = np.full(n, 0.5)
    belief = Belief(
        level, 12.0 / level, np.zeros(n), half, np.full(n, 1e-6), 15 * YEAR, 9.0, "made up"
    )
    years = {row.years: row for row in torque_over_years(of(BY_HAND), 1, belief)}
    # The valve is 15 years old after ten: by then all of these take 12 N*m, and half to close.
    assert years[10.0].needed == pytest.approx((6.0, 6.0, 6.0), rel=1e-3)
    middle = np.median(level + (12.0 - level) / 3.0) / 2
    assert years[0.0].needed[0] == pytest.approx(middle, rel=2e-3)


def test_demands_come_as_leaks_do():
    worn = 'leaks.hose = {life = "60 years", life_shape = 3, age = "0 days"}\n'
    found = rests_of_life(of(MONTHLY + worn), 1, (64, 256))
    # A Weibull rate goes with the square of the age: half of the leaks after 10 x 0.5^(1/3) years.
    assert np.median(found.at) / YEAR == pytest.approx(10 * 0.5 ** (1 / 3), rel=0.01)
    assert np.median(found.rest) / DAY == pytest.approx(15.0, rel=0.05)
    assert np.all(found.rest <= 30 * DAY * (1 + 1e-9))


def test_looks_change_no_history():
    params = of(MONTHLY + ALARMS + 'actuator.failure_rate = "1 per year"')
    alone = look(params, 3, [10 * YEAR], [0.0], 64).states[0, :, 0]
    among = look(params, 3, [2 * YEAR, 7 * YEAR, 10 * YEAR], [YEAR, YEAR, 0.0], 64).states[0, :, 2]
    assert alone.tobytes() == among.tobytes()
    assert len(set(alone.strokes.tolist())) > 8


def test_what_is_seen_is_what_the_other_engine_has_then():
    params = of(MONTHLY + ALARMS + 'actuator.failure_rate = "1 per year"')
    seen = look(params, 3, [4 * YEAR, 9 * YEAR], [YEAR, 2 * YEAR], 4)
    for h in range(4):
        history = History(params[0], new_state(3, h), np.zeros(16, L.INCIDENT))
        history.begin()
        for i in range(2):
            history.run_to(float(seen.at[h, i]))
            now, then = history.state[0], seen.states[0, h, i]
            for name in ("moved_at", "strokes", "position", "unit", "failed", "born_at", "events"):
                assert now[name] == then[name], name
