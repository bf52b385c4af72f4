"""Orders that stand, by hand: what they wait for, who takes them up, what holds the valve shut."""

from __future__ import annotations

import pytest
from staged import HOUR, MINUTE, NOBODY, OUTAGE, Stage

from shutoffsim.model import layout as L

#: The controller hangs, and mains fail, for forty minutes when the test lets them.
DOWN = 'controller = {watchdog = true, restart_time = "40 min"}\n' + OUTAGE.replace("5 h", "40 min")
ENDLESS_BATTERY = (
    'battery = {fitted = true, voltage = "12 V", resistance = "0 ohm", change = "never"}\n'
)


@pytest.mark.parametrize("clock", [L.CONTROLLER, L.OUTAGE])
def test_a_repair_sets_nothing_in_motion_while_the_controller_cannot_act(clock):
    """The leak at 1:00 finds it failed. Repaired at 1:20, it closes when all is back at 1:50."""
    stage = Stage(DOWN + NOBODY + 'actuator = {diagnostic = 1, repair = "30 min"}\n')
    stage.ring(L.ACTUATOR, 50 * MINUTE).leak(1 * HOUR).ring(clock, 70 * MINUTE)
    stage.to(110 * MINUTE - 1)
    assert (stage.state.repair_due, stage.state.demands) == (0, 1)
    stage.to(110 * MINUTE + 1)
    assert (stage.state.position, stage.state.demands) == (L.SHUT, 2)


@pytest.mark.parametrize(
    ("clock", "mode"), [(L.CONTROLLER, L.MODE_CONTROLLER_DOWN), (L.OUTAGE, L.MODE_NO_POWER)]
)
def test_an_order_that_waited_for_a_stroke_goes_on_waiting_for_the_controller(clock, mode):
    """The leak at 1:02 waits for the exercise, until 1:10; all is back at 1:45.

    A person who shuts the water at 1:22 finds that link broken.
    """
    exercised = DOWN + 'exercise = {interval = "1 h", outage = "10 min"}\n'
    stage = Stage(exercised + NOBODY).leak(62 * MINUTE).ring(clock, 65 * MINUTE)
    stage.to(105 * MINUTE - 1)
    assert (stage.state.stroke, stage.state.position, stage.state.demands) == (L.IDLE, L.OPEN, 1)
    assert stage.to(105 * MINUTE + 1).state.position == L.SHUT
    stage = Stage(exercised + 'people.notice_burst = "20 min"\n')
    row = stage.leak(62 * MINUTE).ring(clock, 65 * MINUTE).over(90 * MINUTE)
    assert (row["stopped_by"], row["mode"]) == (L.BY_HAND, mode)


def test_mains_that_return_wake_no_order_while_the_controller_hangs():
    """A battery carried it, so it does not start anew: it hangs from 1:30 to 2:10.

    The leak at 1:10 finds a failed actuator, and so does the order that is taken up.
    """
    stage = Stage(DOWN + ENDLESS_BATTERY + NOBODY)
    stage.ring(L.ACTUATOR, 50 * MINUTE).ring(L.OUTAGE, 1 * HOUR).leak(70 * MINUTE)
    stage.ring(L.CONTROLLER, 90 * MINUTE).to(130 * MINUTE - 1)
    assert (stage.state.mains, stage.state.demands) == (1, 1)
    assert stage.to(130 * MINUTE + 1).state.demands == 2


def test_no_further_attempt_in_the_dark():
    """It sticks at 1:00; the attempt due at 1:30 falls into an outage from 1:10 to 1:50."""
    sticks = 'actuator = {stick_chance = 1, retries = 1, retry_pause = "30 min"}\n'
    stage = Stage(DOWN + NOBODY + sticks).leak(1 * HOUR).ring(L.OUTAGE, 70 * MINUTE)
    assert stage.to(110 * MINUTE - 1).state.demands == 1
    assert stage.to(110 * MINUTE + 1).state.demands == 2


#: A stroke takes 100 s.
SLOW = 'actuator.no_load_speed = "0.15 rpm"\n'


def test_the_valve_stays_shut_while_another_leak_that_was_ordered_shut_is_open():
    """Shut at 1:01:40 for both; the first is found at 1:10:00, the second half a minute later."""
    stage = Stage(SLOW + 'people.notice_burst = "10 min"\n').leak(1 * HOUR).leak(1 * HOUR + 30)
    assert len(stage.to(70 * MINUTE + 1).rows) == 1
    assert stage.state.position == L.SHUT
    rows = stage.to(70 * MINUTE + 31).rows
    assert stage.state.position == L.OPEN
    assert rows["stopped"] == pytest.approx([100, 70], rel=1e-3)
    assert rows["volume"] * 1000 == pytest.approx([10, 7], rel=1e-3)


def test_the_valve_opens_on_a_leak_that_nobody_knows_of():
    """The second starts behind the shut valve, without water that a sensor could meet."""
    dry = 'people.notice_burst = "10 min"\nsensors.a.reach_area = "0.1 m2"\n'
    stage = Stage(dry).leak(1 * HOUR).leak(1 * HOUR + 30)
    stage.to(70 * MINUTE + 1)
    assert (len(stage.rows), stage.state.leak_stopped[1]) == (1, 0)


AWAY = "policies = {away_mode = 1, close_when_away = true}\n"


@pytest.mark.parametrize("clock", [L.TRIP, L.NUISANCE])
def test_a_valve_shut_for_another_reason_is_kept_shut_for_a_leak_that_waited(clock):
    """The leak, half a minute into the stroke, is ordered shut; the reason of the stroke passes."""
    stage = Stage(SLOW + AWAY + NOBODY).ring(clock, 1 * HOUR).leak(1 * HOUR + 30)
    assert stage.to(1 * HOUR + 101).state.position == L.SHUT
    if clock == L.TRIP:
        stage.ring(L.TRIP, 2 * HOUR)
    assert stage.to(3 * HOUR).state.position == L.SHUT
    assert stage.state.leak_volume[0] * 1000 == pytest.approx(7, rel=1e-3)


def test_a_solenoid_that_fell_shut_is_kept_shut_for_a_leak_that_was_ordered_shut():
    """It sticks at 1:00, falls shut at 1:10 without power, and has power again at 1:50."""
    solenoid = (
        'element.kind = "solenoid, powered open"\n'
        'solenoid = {failure_rate = "0 per h", stick_chance = 1, feedback = true}\n'
    )
    stage = Stage(DOWN + NOBODY + solenoid).leak(1 * HOUR).ring(L.OUTAGE, 70 * MINUTE)
    assert stage.to(70 * MINUTE - 1).state.position == L.OPEN
    assert stage.to(110 * MINUTE - 1).state.position == L.SHUT
    assert stage.to(3 * HOUR).state.position == L.SHUT
    assert stage.state.leak_volume[0] * 1000 == pytest.approx(60, rel=1e-3)
