"""Orders that stand, by hand: what they wait for, who takes them up, what holds the valve shut."""

from __future__ import annotations

import pytest
from staged import HOUR, MINUTE, NOBODY, OUTAGE, Stage

from shutoffsim.model import layout as L

#: The controller hangs, and mains fail, for forty minutes when the test lets them.
DOWN = OUTAGE.replace("5 h", "40 min") + (
    'controller.watchdog = true\ncontroller.restart_time = "40 min"\n'
)
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
        'solenoid = {failure_rate = "0 per h", stick_chance = 1, end_of_travel = "at the stem"}\n'
    )
    stage = Stage(DOWN + NOBODY + solenoid).leak(1 * HOUR).ring(L.OUTAGE, 70 * MINUTE)
    assert stage.to(70 * MINUTE - 1).state.position == L.OPEN
    assert stage.to(110 * MINUTE - 1).state.position == L.SHUT
    assert stage.to(3 * HOUR).state.position == L.SHUT
    assert stage.state.leak_volume[0] * 1000 == pytest.approx(60, rel=1e-3)


#: On the battery's resistance a stroke drags down the controller's rail; on mains it does not.
RAIL = 'controller.shares_rail = true\ncontroller.brown_out = "4 V"\n'
WEAK_BATTERY = RAIL + ENDLESS_BATTERY.replace("0 ohm", "1e6 ohm")
EMPTY_BATTERY = ENDLESS_BATTERY.replace("}", ', usable = 1, capacity = "1e-5 Wh"}') + (
    'controller.standby_power = "0 W"\n'
)


@pytest.mark.parametrize(
    ("power", "leaves", "shuts"),
    [
        (WEAK_BATTERY, 70 * MINUTE, 110 * MINUTE + 0.5 + 100),  # brown-out; runs again at 1:50
        (EMPTY_BATTERY, 70 * MINUTE, 100 * MINUTE + 100),  # mains are back at 1:40
        ("", 1 * HOUR - 50, 100 * MINUTE + 100),  # dark in mid-stroke
    ],
)
def test_a_closing_for_a_trip_is_tried_again_when_power_is_back(power, leaves, shuts):
    """They leave; the closing fails for want of power in an outage from 1:00 to 1:40."""
    changes = DOWN + power + AWAY + SLOW + NOBODY + "actuator.retries = 1\n"

    def left() -> Stage:
        stage = Stage(changes).ring(L.OUTAGE, 1 * HOUR)
        return stage.ring(L.TRIP, leaves).to(75 * MINUTE)

    stage = left()
    assert (stage.state.position, stage.state.hold_away) == (L.OPEN, 1)
    assert stage.to(shuts - 0.1).state.position == L.OPEN
    assert stage.to(shuts + 0.1).state.position == L.SHUT
    assert stage.state.demands == 2
    stage = left().ring(L.TRIP, 90 * MINUTE).to(3 * HOUR)  # they are back before power is
    assert (stage.state.position, stage.state.demands) == (L.OPEN, 1)


def test_a_closing_for_a_trip_is_not_tried_again_for_ever():
    """Each attempt is a brown-out: the first and two further ones, as for a leak."""
    stage = Stage(DOWN + RAIL + 'supply.resistance = "1e6 ohm"\n' + AWAY + "actuator.retries = 2\n")
    stage.ring(L.TRIP, 1 * HOUR).to(30 * HOUR)
    assert (stage.state.position, stage.state.demands) == (L.OPEN, 3)


FAULTY = 'actuator = {repair = "30 min"}\n'


def test_a_closing_for_a_trip_that_failed_waits_for_people_to_let_somebody_in():
    """They leave at 1:00 and it fails; the repair is due at 1:30 and done when they are back."""
    stage = Stage(DOWN + FAULTY + AWAY).ring(L.ACTUATOR, 50 * MINUTE).ring(L.TRIP, 1 * HOUR)
    assert stage.to(3 * HOUR - 1).state.repair_due == L.REPAIR_WAITS
    stage.ring(L.TRIP, 3 * HOUR).to(3 * HOUR + 5)
    assert (stage.state.position, stage.state.repairs[L.REPLACED]) == (L.OPEN, 1)
    assert stage.state.demands == 1


def test_a_closing_for_a_loss_of_power_is_made_up_for_after_the_repair():
    """Out from 1:00 to 6:00: it fails at 1:10, is repaired at 1:40, and opens at 6:00."""
    policy = 'policies = {close_on_power_loss = true, power_loss_wait = "10 min"}\n'
    stage = Stage(OUTAGE + ENDLESS_BATTERY + FAULTY + policy)
    stage.ring(L.ACTUATOR, 50 * MINUTE).ring(L.OUTAGE, 1 * HOUR)
    assert stage.to(100 * MINUTE - 1).state.position == L.OPEN
    assert stage.to(100 * MINUTE + 5).state.position == L.SHUT
    assert stage.to(6 * HOUR + 1).state.position == L.OPEN


def test_people_who_switched_automation_off_are_not_overruled_by_a_trip():
    stage = Stage(DOWN + FAULTY + AWAY).ring(L.ACTUATOR, 50 * MINUTE).ring(L.TRIP, 1 * HOUR)
    stage.to(70 * MINUTE).state.switched_off = 1
    assert stage.to(3 * HOUR).state.position == L.OPEN


def test_a_solenoid_whose_coil_lost_power_is_not_taken_for_shut():
    """It sticks unseen as they leave at 1:00, and is powered anew after the outage."""
    solenoid = (
        'element.kind = "solenoid, powered shut"\n'
        'solenoid = {failure_rate = "0 per h", stick_chance = 1, end_of_travel = "not sensed"}\n'
    )
    stage = Stage(DOWN + AWAY + solenoid).ring(L.TRIP, 1 * HOUR).to(65 * MINUTE)
    assert (stage.state.believed_shut, stage.state.demands) == (1, 1)
    assert stage.ring(L.OUTAGE, 70 * MINUTE).to(2 * HOUR).state.demands == 2


def test_where_nothing_closes_nothing_is_ordered_and_nothing_held():
    """The leak is sensed at once, a person shuts it, and no order stands after it."""
    stage = Stage('element.kind = "alarm only"\n')
    stage.leak(1 * HOUR).to(1 * HOUR + 5)
    state = stage.state
    assert state.leak_sensed_at[0] == pytest.approx(1 * HOUR, abs=1.0)
    assert (state.leak_demanded[0], state.demands, state.hold_leak) == (0, 0, 0)
    stage.to(2 * HOUR)
    assert (stage.state.hold_leak, stage.state.position) == (0, L.OPEN)
