"""What tells a failed closing, by what is fitted; what exercises and owners find; what is paid."""

from __future__ import annotations

import math

import numpy as np
import pytest
from staged import DAY, HOUR, MINUTE, Stage

from shutoffsim.model import layout as L
from shutoffsim.model import upkeep
from shutoffsim.model.modes import SENSES

YES, NO = True, False
#: Fault, then: motor current, end at the motor, end at the stem, flow at the meter, a person.
TABLE = {
    L.MODE_UNDERSIZED: (YES, YES, YES, YES, YES),
    L.MODE_SEIZED: (YES, YES, YES, YES, YES),
    L.MODE_MOTOR_BURNT: (YES, YES, YES, YES, YES),
    L.MODE_ACTUATOR_FAILED: (YES, YES, YES, YES, YES),
    L.MODE_GEARS_STRIPPED: (NO, NO, YES, YES, YES),
    L.MODE_MOUNT_SLIPPED: (NO, NO, YES, YES, YES),
    L.MODE_CLOSED_SHORT: (NO, NO, YES, YES, YES),
}


@pytest.mark.parametrize("mode", TABLE)
def test_who_can_tell_each_fault(mode):
    """A motor that turns on freely looks like one that shuts the valve; only beyond it is seen."""
    state = Stage().state
    told = [upkeep.is_told(state, mode, 1 << k) for k in range(len(SENSES))]
    assert tuple(told) == (NO, *TABLE[mode])


def test_a_sheared_stem_is_seen_only_beyond_it():
    state = Stage().state
    state.broken = L.SHEARED
    told = [upkeep.is_told(state, L.MODE_SEIZED, 1 << k) for k in range(len(SENSES))]
    assert told == [NO, NO, NO, YES, YES, YES]


@pytest.mark.parametrize("mode", [L.MODE_NO_POWER, L.MODE_BROWN_OUT])
def test_the_controller_itself_knows_that_it_lost_its_power(mode):
    state = Stage().state
    assert upkeep.is_told(state, mode, upkeep.BY_CONTROLLER)


RULE = 'flow_rule = {fitted = true, starting_flow = "STARTS", flow = "100 L/min", time = "9 h"}\n'
SHORT = (
    'actuator = {short_chance = 1, short_flow = 0.5, end_of_travel = "not sensed", retries = 1}\n'
    'people.notice_burst = "1 h"\n'
)


@pytest.mark.parametrize(("starts", "known"), [("2 L/min", True), ("4 L/min", False)])
def test_the_meter_tells_a_leak_that_runs_on_above_its_starting_flow(starts, known):
    """Closed short, half of 6 L/min runs on."""
    stage = Stage(RULE.replace("STARTS", starts) + SHORT).leak(HOUR)
    assert stage.to(HOUR + 50).state.believed_shut == (not known)
    assert stage.state.demands == (2 if known else 1)


#: No coverage is stated.
MONTHLY = 'drop = ["exercise.coverage"]\nexercise.interval = "30 days"\n'
SLIPS = (
    'mount = {reaction = "friction", slip_torque = "1 N*m", creep = 0}\nvalve.breakaway = "2 N*m"\n'
)


@pytest.mark.parametrize(
    ("watched", "found"),
    [
        ('end_of_travel = "not sensed"', False),
        ('end_of_travel = "not sensed", current_sensed = true', False),
        ('end_of_travel = "at the motor"', False),
        ('end_of_travel = "at the stem"', True),
    ],
)
def test_an_exercise_finds_a_slipped_mount_only_by_the_stem(watched, found):
    """It slips at the first exercise, day 30; where that is seen it is tightened on day 32."""
    stage = Stage(MONTHLY + SLIPS + f'actuator = {{{watched}, repair = "2 days"}}\n').to(33 * DAY)
    assert stage.state.repairs[L.RETIGHTENED] == found
    assert stage.state.repairs.sum() == found
    assert stage.state.repair_cost == (90 if found else 0)


#: A random failure on day 10. The draw of its kind is the same for all coverages.
FAILS = 'actuator = {end_of_travel = "END", diagnostic = 0, repair = "9 days"}\n'


@pytest.mark.parametrize(
    ("end", "level"), [("not sensed", 0.15), ("at the motor", 0.4), ("at the stem", 0.6)]
)
def test_of_random_failures_an_exercise_finds_the_share_that_goes_with_what_is_watched(end, level):
    """And what it does not find the first time it never finds: the kind is drawn once a fault."""
    kinds = []
    for seed in range(40):
        stage = Stage(MONTHLY + FAILS.replace("END", end), seed=seed).ring(L.ACTUATOR, 10 * DAY)
        stage.to(20 * DAY)
        kind = float(stage.state.fault_kind)
        found = stage.to(31 * DAY).state.repair_due != L.NO_REPAIR
        assert found == (kind < level)
        if not found:
            assert stage.to(400 * DAY).state.failed == 1
        kinds.append(kind)
    assert len(kinds) > 10


def test_a_stated_coverage_stands_above_what_is_fitted():
    """Nothing is sensed, and exercises are said to find every kind of fault."""
    stated = 'exercise = {interval = "30 days", coverage = 1}\n'
    blind = 'actuator = {end_of_travel = "not sensed", repair = "2 days"}\n'
    stage = Stage(stated + SLIPS + blind).to(33 * DAY)
    assert stage.state.repairs[L.RETIGHTENED] == 1


OWNER = (
    'owner_test = {interval = "30 days", done = 1}\n'
    'actuator = {end_of_travel = "not sensed", repair = "2 days"}\n'
)


def test_somebody_at_an_open_tap_sees_that_the_mount_slips():
    stage = Stage(OWNER + SLIPS).to(33 * DAY)
    assert stage.state.repairs[L.RETIGHTENED] == 1


def test_a_test_on_the_day_of_an_exercise_comes_an_hour_after_it():
    """Both fall due on day 30; the exercise cannot tell that the mount slips."""
    stage = Stage(MONTHLY + OWNER + SLIPS)
    assert stage.to(30 * DAY + HOUR - 1).state.repair_due == L.NO_REPAIR
    assert stage.to(30 * DAY + HOUR + MINUTE).state.repair_due == L.REPAIR_ORDERED


def test_who_tests_switches_the_automation_on_again():
    stage = Stage(OWNER)
    stage.to(29 * DAY).state.switched_off = 1
    state = stage.to(30 * DAY + HOUR).state
    assert (state.switched_off, state.demands) == (0, 1)


def test_a_test_that_is_not_done_tells_nothing():
    stage = Stage((OWNER + SLIPS).replace("done = 1", "done = 0")).to(400 * DAY)
    assert (stage.state.demands, stage.state.repairs.sum()) == (0, 0)


# --- repairs are acts of their own --------------------------------------------------------------

STALLS = 'valve = {breakaway = "50 N*m", seize_time = "never"}\n'
SEEN = 'actuator = {end_of_travel = "at the stem", repair = "2 days", thermal_resistance = "R"}\n'


def test_a_valve_that_stalled_the_motor_is_freed_and_the_unit_stays():
    """50 N*m stay 50 N*m; nothing was burnt, so the unit is the old one."""
    stage = Stage(MONTHLY + STALLS + SEEN.replace("R", "0.01 K/W"))
    unit = stage.to(20 * DAY).state.unit
    state = stage.to(33 * DAY).state
    assert list(np.flatnonzero(state.repairs)) == [L.FREED]
    assert (state.unit, state.breakaway, state.repair_cost) == (unit, 50.0, 90.0)


def test_a_burnt_motor_is_replaced_by_a_like_one_and_what_made_it_stall_stays():
    stage = Stage(MONTHLY + STALLS + SEEN.replace("R", "900 K/W"))
    assert stage.to(31 * DAY).state.burnt == 1
    state = stage.to(33 * DAY).state
    assert list(np.flatnonzero(state.repairs)) == [L.REPLACED, L.FREED]
    assert (state.burnt, state.breakaway, state.repair_cost) == (0, 50.0, 60.0 + 90.0)
    assert stage.to(61 * DAY).state.burnt == 1  # and the next one burns as well


def test_an_owner_who_mends_it_gives_time_for_it():
    mine = MONTHLY + STALLS + SEEN.replace("R", "900 K/W")
    state = Stage(mine + "repairs.by_owner = true\n").to(33 * DAY).state
    assert state.repair_cost == 60.0 + 20.0
    assert state.mended_by == L.OWNER


def test_a_plumber_who_is_there_anyway_leaves_nothing_to_come_for():
    """Found seized on day 30, repair due on day 32; a leak on day 31 brings a plumber before."""
    seized = 'valve.seize_time = "20 days"\npeople.notice_burst = "10 min"\n'
    stage = Stage(MONTHLY + seized + SEEN.replace("R", "0.01 K/W")).leak(31 * DAY)
    state = stage.to(31 * DAY - 1).state
    assert (state.broken, state.repair_due) == (L.STUCK, L.REPAIR_ORDERED)
    state = stage.to(40 * DAY).state
    assert list(np.flatnonzero(state.repairs)) == [L.FREED]
    assert (state.repairs.sum(), state.repair_due, state.repair_cost) == (1, L.NO_REPAIR, 0.0)
    assert state.mended_by == L.PLUMBER


def test_nobody_is_let_in_while_everybody_is_away():
    """Found on day 30, due on day 32; away from day 31 to day 41."""
    away = 'people = {trip = "10 days", stay = "900 days"}\n'
    seen = 'actuator = {end_of_travel = "at the stem", repair = "2 days"}\n'
    stage = Stage(MONTHLY + SLIPS + away + seen)
    stage.ring(L.TRIP, 31 * DAY)
    assert stage.to(41 * DAY - 1).state.repairs.sum() == 0
    assert stage.to(41 * DAY + 1).state.repairs[L.RETIGHTENED] == 1


def test_a_controller_that_lost_its_rail_at_every_attempt_has_it_looked_at():
    """Two attempts on leaving; then somebody is called and adjusts it."""
    rail = 'supply = {voltage = "12 V", resistance = "6 ohm"}\nvalve.breakaway = "2 N*m"\n'
    rail += 'controller = {shares_rail = true, brown_out = "11 V", restart_time = "20 s"}\n'
    rail += (
        'actuator = {retries = 1, repair = "2 days"}\npeople = {trip = "1 h", stay = "900 days"}\n'
    )
    rail += "policies = {away_mode = 1, close_when_away = true}\n"
    stage = Stage(rail).ring(L.TRIP, 1 * DAY).to(1 * DAY + 30 * MINUTE)
    assert (stage.state.demands, stage.state.repair_due) == (2, L.REPAIR_ORDERED)
    assert stage.to(4 * DAY).state.repairs[L.ADJUSTED] == 1


def test_dead_sensors_and_batteries_are_paid_for():
    stage = Stage('sensors.a.supervised = true\ndetection.replacement = "2 days"\n')
    stage.ring(int(L.FIRST_SOURCE) + 1, 5 * DAY).to(8 * DAY)
    assert stage.state.repairs[L.NEW_SENSOR] == 1
    assert stage.state.repair_cost == pytest.approx(25.0)
    assert not math.isnan(stage.state.repair_cost)


@pytest.mark.parametrize("away", [False, True])
def test_a_dead_sensor_waits_until_somebody_is_at_home(away):
    """Dead on day 5, due on day 7; away from day 6 to half past day 10, so put in on day 11."""
    text = 'sensors.a.supervised = true\ndetection.replacement = "2 days"\n'
    stage = Stage(text + 'people = {trip = "4.5 days", stay = "900 days"}\n')
    stage.ring(int(L.FIRST_SOURCE) + 1, 5 * DAY)
    if away:
        stage.ring(L.TRIP, 6 * DAY)
    put_in = 11 * DAY if away else 7 * DAY
    assert stage.to(put_in - 1).state.sensor_ok[0] == 0
    assert stage.to(put_in + 1).state.sensor_ok[0] == 1


@pytest.mark.parametrize(("away", "new_at"), [(False, 40), (True, 43)])
def test_a_battery_is_not_changed_while_everybody_is_away(away, new_at):
    """Change due on day 40; away from day 39 to half past day 42."""
    text = 'battery = {fitted = true, change = "40 days"}\n'
    stage = Stage(text + 'people = {trip = "3.5 days", stay = "900 days"}\n')
    if away:
        stage.ring(L.TRIP, 39 * DAY)
    assert stage.to(50 * DAY).state.battery_new_at == new_at * DAY
