"""Opening takes torque, power and people: by hand, and how long the water stays off."""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import perfect
from scipy import stats
from staged import DAY, HOUR, MINUTE, OUTAGE, Stage

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L

TEN = 'reopening = {notice = "10 min", urgent = "6 h"}\n'
#: Closes with 6 of 10 N*m, and needs 12 to open.
STIFF = 'valve = {breakaway = "12 N*m", closing_share = 0.5, opening_share = 1}\n'
MONTHLY = 'exercise.interval = "30 days"\nactuator.repair = "900 days"\n'


def dry(stage: Stage, cause: int) -> float:
    return float(stage.state.dry[cause]) / HOUR


def test_a_false_alarm_leaves_the_water_off_until_somebody_acts():
    """At 1:00, somebody is there and awake; ten minutes later they press the button."""
    stage = Stage(TEN).ring(L.NUISANCE, 1 * HOUR)
    assert stage.to(1 * HOUR + 9 * MINUTE).state.position == L.SHUT
    assert stage.to(1 * HOUR + 11 * MINUTE).state.position == L.OPEN
    assert dry(stage, L.DRY_NUISANCE) == pytest.approx(1 / 6, rel=1e-3)


def test_nobody_who_sleeps_or_is_out_gives_it_back():
    """Out until 18:00: then they come home to dry taps."""
    day = '{wake = "00:00", leave = "08:00", return = "18:00", sleep = "24:00", out_chance = 1}'
    week = f"people.week = {{weekdays = {day}, saturday = {day}, sunday = {day}}}\n"
    stage = Stage(TEN + week).ring(L.NUISANCE, 10 * HOUR)
    assert stage.to(18 * HOUR + 9 * MINUTE).state.position == L.SHUT
    assert stage.to(18 * HOUR + 11 * MINUTE).state.position == L.OPEN
    assert dry(stage, L.DRY_NUISANCE) == pytest.approx(8 + 1 / 6, rel=1e-3)


def test_time_on_a_trip_is_not_time_without_water():
    """A false alarm on a trip of 5 days; back on day 7, ten minutes later it runs."""
    trip = 'people = {trip = "5 days", stay = "900 days"}\n'
    trip += 'nuisance.rate_per_sensor = "1e-6 per year"\n'
    stage = Stage(TEN + trip).ring(L.TRIP, 2 * DAY)
    stage.to(3 * DAY).ring(L.NUISANCE, 3 * DAY + HOUR)
    stage.to(7 * DAY + HOUR)
    assert stage.state.position == L.OPEN
    assert dry(stage, L.DRY_NUISANCE) == pytest.approx(1 / 6, rel=1e-2)


@pytest.mark.parametrize(("hand", "hours"), [("20 N*m", 1 / 6), ("8 N*m", 6 + 1 / 6)])
def test_an_exercise_may_leave_the_valve_stuck_shut(hand, hours):
    """It shuts with 6 N*m and cannot open with 12; a hand can after ten minutes, or a plumber."""
    stage = Stage(TEN + STIFF + MONTHLY + f'override.hand_torque = "{hand}"\n')
    stage.to(30 * DAY + 60)
    assert (stage.state.position, stage.state.stuck_shut) == (L.SHUT, 1)
    stage.to(30 * DAY + 9 * HOUR)
    assert (stage.state.position, stage.state.stuck_shut) == (L.OPEN, 0)
    assert dry(stage, L.DRY_STUCK) == pytest.approx(hours, rel=1e-2)
    assert stage.state.repair_due == L.REPAIR_ORDERED
    assert stage.state.repair_cost == (0 if hand == "20 N*m" else 150)


def test_without_power_a_person_opens_and_nothing_is_to_repair():
    """Shut for a trip; they are back in an outage, and the actuator cannot open."""
    away = "policies = {away_mode = 1, close_when_away = true}\n"
    away += 'people = {trip = "2 h", stay = "900 days"}\n'
    stage = Stage(TEN + OUTAGE + away).ring(L.TRIP, 1 * HOUR).to(2 * HOUR)
    stage.ring(L.OUTAGE, 2.5 * HOUR).to(3 * HOUR + 60)
    assert (stage.state.position, stage.state.stuck_shut) == (L.SHUT, 1)
    stage.to(3 * HOUR + 11 * MINUTE)
    assert (stage.state.position, stage.state.repair_due) == (L.OPEN, L.NO_REPAIR)


def test_after_a_leak_people_open_it_with_whatever_it_takes():
    stage = Stage(TEN + STIFF).leak(1 * HOUR).to(2 * HOUR)
    assert (stage.state.position, stage.state.stuck_shut) == (L.OPEN, 0)
    assert stage.state.dry.sum() == 0.0


def test_the_share_stuck_shut_is_that_of_torque_over_strength():
    """Closed with half of the torque that opens: stuck where that lies between 10 and 20 N*m."""
    changes = (
        TEN + 'valve = {breakaway = {median = "8 N*m", spread = 1.5}, closing_share = 0.5, '
        'opening_share = 1}\nexercise.interval = "2 days"\nactuator.repair = "900 days"\n'
    )
    params = perfect(changes, life="3 days").parameters()
    n = 10_000
    summary = run_chunk(Setup.of(params, 5, probes=1), 0, n).summary[0]
    stuck = float(np.mean(summary["dry"][:, L.DRY_STUCK] > 0.0))
    law = stats.lognorm(math.log(1.5), scale=8.0)
    expected = law.cdf(20.0) - law.cdf(10.0)
    assert stuck == pytest.approx(expected, abs=4 * math.sqrt(expected * (1 - expected) / n))
