"""Sizing against answers known in closed form, and torque alone against whole histories."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from checks import TOLERANCE, Finding, assert_agrees, perfect
from scipy import stats

from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.study.size import ladder, need, shortfall, supply, valves, window, worth
from shutoffsim.study.torque import SHARES, torque_over_years
from shutoffsim.study.valves import draw_valves

#: Valves whose new torque varies, on an actuator of 10 N*m; nothing else happens.
SPREAD = """
valve.breakaway = {median = "8 N*m", spread = 1.5}
actuator.stall_torque = "10 N*m"
"""
#: The same with age, idle time and a share per demand; an exercise that stalls is mended at once.
AGEING = """
valve.breakaway = {median = "5 N*m", spread = 1.5}
valve.age = "10 years"
valve.age_factor = {least = 1, median = 1.5, spread = 1.8}
valve.idle_growth = 0.3
valve.closing_share = {low = 0.5, high = 1.0, shape = "even"}
actuator.stall_torque = "10 N*m"
actuator.stall_cutoff = "1 s"
"""
MONTHLY = 'exercise.interval = "30 days"\n'


def tried(scenario, number="0", n=1024, m=256, seed=1, target=0.01, confidence=0.9):
    """Return parameters and the trial of one design as it is."""
    params = scenario.parameters([number])
    drawn = draw_valves(params[0], n, seed)
    demands = valves.draw_demands(params, n, m, seed)
    rating = (float(params["actuator_stall_torque"][0]),)
    asked = (drawn, demands, seed, target, confidence, 0.0)
    trial = shortfall.try_ladder(params, rating, 0, *asked)
    return params, trial


def in_histories(params, histories=4096, seed=2):
    """Return the share of demands that torque leaves open in whole histories."""
    tally = Tally(len(params), params["service_life"][0] / L.YEAR)
    for chunk in run_chunks(Setup.of(params, seed, probes=16), 0, histories):
        tally.add(chunk)
    return worth.share(tally, 0, worth.TORQUE, worth.EARLIER)


def test_torque_fails_as_often_as_the_log_normal_says():
    _params, trial = tried(perfect(SPREAD), n=4096)
    (row,) = trial.rows
    exact = stats.norm.sf(math.log(10.0 / 8.0) / math.log(1.5))
    found = Finding(row.failure.value, row.failure.std_error, exact)
    assert_agrees(found, 0.05)
    # Each valve either always fails or never: the spread is all between valves.
    assert (row.valves_low, row.valves_high) == (0.0, 1.0)
    assert row.meets.value == pytest.approx(1.0 - row.failure.value, abs=1e-12)


def test_needed_torque_is_the_quantile_of_valves():
    _params, trial = tried(perfect(SPREAD), n=4096, confidence=0.9)
    exact = stats.lognorm.ppf(0.9, math.log(1.5), scale=8.0)
    assert trial.needed_torque == pytest.approx(exact, rel=0.01)
    assert trial.needed_rating == pytest.approx(exact, rel=0.01)
    lower = tried(perfect(SPREAD), n=4096, confidence=0.6)[1].needed_torque
    assert lower == pytest.approx(stats.lognorm.ppf(0.6, math.log(1.5), scale=8.0), rel=0.01)


def test_needed_rating_counts_what_the_supply_leaves():
    weak = SPREAD + 'supply.resistance = "6 ohm"\n'  # as much as half of the winding's 12 ohm
    _params, trial = tried(perfect(weak), n=4096)
    assert trial.needed_rating == pytest.approx(1.5 * trial.needed_torque, rel=1e-9)


def test_headroom_is_torque_available_over_torque_needed():
    _params, trial = tried(perfect(SPREAD), n=4096)
    exact = [10.0 / stats.lognorm.ppf(q, math.log(1.5), scale=8.0) for q in SHARES]
    assert trial.rows[0].headroom == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize("exercise", ["", MONTHLY], ids=["never", "monthly"])
def test_torque_alone_and_whole_histories_agree(exercise):
    params, trial = tried(perfect(AGEING + exercise), n=4096, m=64)
    fast, slow = trial.rows[0].failure, in_histories(params)
    found = Finding(fast.value, fast.std_error, slow.value, slow.std_error)
    assert_agrees(found, 0.06)


def test_agreement_can_fail():
    params, trial = tried(perfect(AGEING + MONTHLY), n=4096, m=64)
    params["actuator_stall_torque"] *= 1.25
    fast, slow = trial.rows[0].failure, in_histories(params)
    assert Finding(fast.value, fast.std_error, slow.value, slow.std_error).apart > TOLERANCE


@pytest.mark.parametrize("exercise", ["", MONTHLY], ids=["never", "monthly"])
def test_seized_share_is_that_of_the_weibull(exercise):
    changes = 'valve.seize_time = {life = "3 years", shape = 2}\n' + exercise
    scenario = perfect(changes)
    _params, trial = tried(scenario, n=8192)
    idle = np.linspace(0.0, 10.0 * 0.99931 if not exercise else 30.0 / 365.25, 200001)
    exact = float(np.mean(-np.expm1(-((idle / 3.0) ** 2))))
    draws = 8192 * 256
    error = math.sqrt(exact * (1.0 - exact) / draws)
    assert_agrees(Finding(trial.rows[0].seized, error, exact), 0.1)


def test_seized_valves_are_no_shortfall_of_torque():
    _params, trial = tried(perfect('valve.seize_time = {life = "3 years", shape = 2}'))
    assert trial.rows[0].seized > 0.5
    assert trial.rows[0].failure.value == 0.0


def test_makeup_adds_up_and_grows():
    params = perfect(AGEING + MONTHLY, life="3652.5 days").parameters()
    rows = need.makeup(torque_over_years(params, 1))
    assert [row.years for row in rows] == [0.0, 1.0, 3.0, 5.0, 10.0]
    for row in rows:
        assert row.typical + row.spread + row.age + row.idle == pytest.approx(row.total)
    assert rows[0].idle == pytest.approx(0.0, abs=1e-6)  # moved when it was fitted
    assert rows[1].idle > 0.3
    totals = [row.total for row in rows]
    assert totals == sorted(totals)
    # A new valve in the middle, at the middle of the share per demand.
    assert rows[0].typical == pytest.approx(5.0 * 0.75, rel=0.03)


def test_more_exercise_needs_less_torque():
    params = perfect(AGEING + MONTHLY, life="3652.5 days").parameters()
    used = torque_over_years(params, 1)
    stiff = {(r.exercise, r.years): r.quantiles[1] for r in need.needs(params, used, 1)}
    late = [stiff[name, 10.0] for name in ("weekly", "monthly", "yearly", "never")]
    assert late == sorted(late)
    assert stiff["in use", 10.0] == pytest.approx(stiff["monthly", 10.0], rel=0.02)
    # Idle factors at the median idle time of each: the law itself.
    ratio = (1 + 0.3 * math.log1p(10 * 365.25 / 7)) / (1 + 0.3 * math.log1p(15 / 7))
    assert stiff["never", 10.0] / stiff["monthly", 10.0] == pytest.approx(ratio, rel=0.1)


def test_bad_day_is_lower_supply_and_cold():
    changes = SPREAD + 'actuator.temperature_derating = "0.5 % per K"\nactuator.wear = 0\n'
    params = perfect(changes).parameters()
    rows = {row.name: row for row in supply.conditions(params, 1.0, 2.0, 0.0)}
    assert rows["supply as stated"].torque == pytest.approx(10.0)
    assert rows["mains 10 % low"].torque == pytest.approx(9.0)
    assert rows["cold, 0 degC"].torque == pytest.approx(9.0)
    assert rows["hot, 40 degC"].torque == pytest.approx(9.0)
    assert rows["bad day"].torque == pytest.approx(8.1)
    assert rows["current limited"].torque == pytest.approx(10.0 * 2.0 / 3.0)
    assert rows["10 m of thin cable"].torque == pytest.approx(10.0 * 12.0 / 12.7)


def test_bad_day_fails_as_often_as_its_torque_says():
    changes = SPREAD + 'actuator.temperature_derating = "0.5 % per K"\n'
    _params, trial = tried(perfect(changes), n=4096)
    exact = stats.norm.sf(math.log(8.1 / 8.0) / math.log(1.5))
    assert_agrees(
        Finding(trial.rows[0].bad_day, math.sqrt(exact * (1 - exact) / 4096), exact), 0.05
    )


def test_wear_lowers_what_is_left():
    changes = SPREAD + 'actuator.wear = 0.001\nexercise.interval = "73.05 days"\n'
    params = perfect(changes, life="3652.5 days").parameters()
    last = torque_over_years(params, 1)[-1]
    assert last.strokes == 98.0  # 49 exercises, there and back; the 50th would come at the end
    rows = {row.name: row for row in supply.conditions(params, 1.0, 2.0, last.strokes)}
    assert rows["worn"].torque == pytest.approx(10.0 * (1.0 - 0.001 * 98.0), rel=1e-12)
    assert last.supply == rows["worn"].torque


def test_stall_times_are_those_of_the_heated_winding():
    changes = (
        SPREAD + 'actuator.thermal_resistance = "20 K/W"\nactuator.thermal_time = "30 s"\n'
        'actuator.winding_limit = "120 degC"\nactuator.stall_cutoff = "5 s"\n'
    )
    params = perfect(changes).parameters()
    row = supply.conditions(params, 5.0, 11.0, 0.0)[0]
    burning = 30.0 * math.log(240.0 / (240.0 - 100.0))  # 1 A through 12 ohm: 240 K in the end
    assert row.burning == pytest.approx(burning)
    assert row.margin == pytest.approx(burning - 5.0)
    assert row.closing_stiff == math.inf
    assert row.closing == pytest.approx(0.25 / (10000.0 / 60.0 * 0.5))
    curve = supply.stall_curve(params, 0.0)
    at = int(np.argmin(np.abs(curve.seconds - 5.0)))
    assert curve.supply[at] == pytest.approx(20.0 + 240.0 * -math.expm1(-5.0 / 30.0), abs=0.8)
    assert curve.raised[at] - 20.0 == pytest.approx(1.44 * (curve.supply[at] - 20.0), rel=1e-6)


def test_window_bounds():
    changes = (
        SPREAD
        + 'valve.stem_limit = "40 N*m"\nmount.reaction = "friction"\nmount.slip_torque = "25 N*m"\n'
        "mount.creep = 0.03\n"
        'controller = {shares_rail = true, brown_out = "4 V"}\nsupply.resistance = "0.5 ohm"\n'
    )
    params, trial = tried(perfect(changes))
    found = window.find_window(params, trial, 0.9)
    relaxed = 25.0 * 87600.0**-0.03
    assert found.upper[window.STEM] == 40.0
    assert found.upper[window.NEW_MOUNT] == pytest.approx(25.0)
    assert found.upper[window.OLD_MOUNT] == pytest.approx(relaxed)
    # The rail is at 4 of 12 V when the winding has half of the source's resistance.
    ratio = 12.0 / (0.5 * 0.5)
    assert found.upper[window.SUPPLY] == pytest.approx(10.0 * ratio * (8.0 / 0.5) / ratio, rel=1e-6)
    assert found.least_upper == (window.OLD_MOUNT, found.upper[window.OLD_MOUNT])
    assert found.lower == trial.needed_torque
    assert found.empty is (trial.needed_torque > relaxed)


def test_a_rail_of_its_own_knows_no_bound():
    params, trial = tried(perfect(SPREAD))
    found = window.find_window(params, trial, 0.9)
    assert found.upper[window.SUPPLY] == math.inf
    assert found.upper[window.OLD_MOUNT] == math.inf


def test_time_on_battery():
    changes = (
        'mains.outage_rate = "2 per year"\nmains.outage_duration = "3 h"\n'
        'battery = {fitted = true, capacity = "100 Wh", usable = 1.0, voltage = "12 V"}\n'
        'controller.standby_power = "50 W"\n'
    )
    params = perfect(changes).parameters()
    assert supply.share_on_battery(params[0]) == pytest.approx(2.0 * 2.0 / 8766.0, rel=1e-6)
    assert supply.share_on_battery(perfect("").parameters()[0]) == 0.0


def test_gears_and_motor_scale_a_data_sheet_differently():
    actuator = perfect(SPREAD).design("0").system.actuator
    geared, stronger = (
        ladder.scaled(actuator, 25.0, "gears"),
        ladder.scaled(actuator, 25.0, "motor"),
    )
    assert geared.stall_torque == stronger.stall_torque == 25.0
    assert geared.stall_current == actuator.stall_current
    assert geared.no_load_speed == pytest.approx(actuator.no_load_speed / 2.5)
    assert stronger.stall_current == pytest.approx(2.5 * actuator.stall_current)
    assert stronger.no_load_speed == actuator.no_load_speed
    # Both heat up alike: power goes up with the current, and so does what is shed.
    assert stronger.thermal_resistance * 2.5 == pytest.approx(actuator.thermal_resistance)


def test_share_of_modes_is_the_sum_of_its_parts():
    params = perfect(AGEING).parameters()
    tally, _strokes = worth.run(params, 256, 1, 1)
    whole = worth.share(tally, 0, worth.TORQUE)
    parts = sum(worth.share(tally, 0, (mode,)).value for mode in worth.TORQUE)
    assert whole.value == pytest.approx(parts)
    assert whole.value > 0.05
    # One mode over all leaks is what the tally itself says, error and all.
    mode = int(L.MODE_UNDERSIZED)
    same = tally.share(0, worth.T.FIRST_MODE + mode)
    mine = worth.share(tally, 0, (mode,))
    assert (mine.value, mine.std_error) == pytest.approx((same.value, same.std_error))


@dataclass(frozen=True)
class Belief:
    """Draws in which new torque and age factor hang together."""

    level: np.ndarray
    age_factor: np.ndarray
    idle_growth: np.ndarray
    closing_share: np.ndarray
    scatter: np.ndarray
    source: str = "readings"


def test_histories_believe_what_the_draws_do():
    rng = np.random.default_rng(5)
    level = rng.lognormal(math.log(5.0), 0.4, 20000)
    torque_now = rng.lognormal(math.log(7.0), 0.1, 20000)  # measured: the product is known well
    half = np.full(20000, 0.8)
    belief = Belief(level, torque_now / level, np.full(20000, 0.1), half, 0.1 * half)
    scenario = perfect(AGEING + MONTHLY + 'valve.age_reference = "15 years"\n')
    params = scenario.parameters()
    drawn = draw_valves(params[0], 4096, 1, belief)
    demands = valves.draw_demands(params, 4096, 64, 1)
    params["actuator_stall_torque"] = 7.0
    trial = shortfall.try_ladder(params, (7.0,), 0, drawn, demands, 1, 0.01, 0.9, 0.0)
    slow = in_histories(valves.believed(params, belief))
    fast = trial.rows[0].failure
    assert fast.value > 0.05
    # Histories take a simpler belief, so agreement is close, not exact.
    assert slow.value == pytest.approx(fast.value, rel=0.15)
    plain = in_histories(params)  # without the belief the answer is another one
    assert abs(plain.value - slow.value) > 0.25 * slow.value
