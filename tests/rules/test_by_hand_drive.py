"""The drive and the valve by hand: wear, heat, mounts, rest, exercises, repairs, restarts."""

from __future__ import annotations

import math

import pytest
from staged import DAY, HOUR, Stage

from shutoffsim.model import layout as L
from shutoffsim.model.mount import preload_left

WEEK = 7 * DAY
LATE_REPAIR = 'actuator.repair = "900 days"\n'


def modes_of(changes: str, *leaks: float) -> list[int]:
    """Return the failure modes of leaks at these times, in a system with such changes."""
    stage = Stage(changes)
    for at in leaks:
        stage.leak(at)
    rows = stage.to(leaks[-1] + HOUR).rows
    assert list(rows["onset"]) == list(leaks)
    return rows["mode"].tolist()


def test_strokes_wear_the_drive():
    """1 % a stroke; a leak costs two, shut and open: 10, 9.8, 9.6 and then 9.4 N*m for 9.5."""
    changes = 'valve.breakaway = "9.5 N*m"\nactuator.wear = 0.01\n' + LATE_REPAIR
    leaks = [k * HOUR for k in (1, 3, 5, 7)]
    assert modes_of(changes, *leaks) == [L.MODE_NONE] * 3 + [L.MODE_UNDERSIZED]


def test_exercises_wear_it_as_well():
    """Two strokes each: a leak after two exercises meets 9.6 N*m, after three 9.4."""
    changes = 'valve.breakaway = "9.5 N*m"\nexercise.interval = "10 h"\n'
    stage = Stage(changes + 'actuator = {wear = 0.01, repair = "900 days"}\n')
    assert stage.to(21 * HOUR).state.strokes == 4
    assert stage.to(31 * HOUR).state.strokes == 6
    stage.leak(32 * HOUR)
    assert stage.over(33 * HOUR)["mode"] == L.MODE_UNDERSIZED


CUTOFF, PAUSE, TAU, RISE = 8.0, 5.0, 20.0, 240.0  # s, s, s, K: 1 A^2 x 12 ohm x 20 K/W


@pytest.mark.parametrize(("factor", "burnt"), [(0.999, 1), (1.001, 0)])
def test_a_second_stall_finds_the_winding_warm(factor, burnt):
    """Heated towards 240 K for 8 s, cooled for 5 s, heated for 8 s again: first-order each time."""
    first = RISE * (1 - math.exp(-CUTOFF / TAU))
    start = first * math.exp(-PAUSE / TAU)
    second = RISE + (start - RISE) * math.exp(-CUTOFF / TAU)
    assert second > first
    stage = Stage(
        f"""
        valve.breakaway = "50 N*m"
        actuator = {{stall_cutoff = "{CUTOFF} s", retries = 1, retry_pause = "{PAUSE} s", \
thermal_resistance = "20 K/W", thermal_time = "{TAU} s", repair = "900 days", \
winding_limit = "{20 + second * factor} degC"}}
        """
    )
    row = stage.leak(HOUR).over(2 * HOUR)
    assert (stage.state.stalls, stage.state.burnt) == (2, burnt)
    assert row["mode"] == L.MODE_UNDERSIZED
    stage.leak(3 * HOUR).to(4 * HOUR)
    assert stage.rows["mode"][1] == (L.MODE_MOTOR_BURNT if burnt else L.MODE_UNDERSIZED)


def test_gears_that_strip_at_a_stall_stay_stripped():
    changes = 'valve.breakaway = "50 N*m"\nactuator = {strip_chance = 1, repair = "900 days"}\n'
    assert modes_of(changes, HOUR, 3 * HOUR) == [L.MODE_UNDERSIZED, L.MODE_GEARS_STRIPPED]


#: An hour after tightening it holds 6 N*m, after t hours 6 N*m x t^-0.025: 5 N*m until t is 1.2^40.
HOLDS = 1.2**40 * HOUR
MOUNT = """
valve.breakaway = "5 N*m"
mount = {reaction = "friction", slip_torque = "6 N*m", creep = 0.025}
"""


@pytest.mark.parametrize(
    ("creep", "hours", "left"),
    [
        (0.0592, 24, 0.828),
        (0.0592, 8766, 0.584),
        (0.0592, 87660, 0.510),
        (0.0592, 0.5, 1.0),
        (0.026, 8766, 0.79),
        (0.0, 87660, 1.0),
    ],
)
def test_preload_relaxes_as_creep_moduli_say(creep, hours, left):
    """Moulded polyamide and polycarbonate, by their moduli after 1 h and 1,000 h."""
    assert preload_left(creep, hours * HOUR) == pytest.approx(left, abs=0.0006)


def test_a_mount_slips_once_its_preload_has_gone():
    assert modes_of(MOUNT + LATE_REPAIR, 0.99 * HOLDS) == [L.MODE_NONE]
    late = modes_of(MOUNT + LATE_REPAIR, 1.01 * HOLDS, 1.01 * HOLDS + 2 * HOUR)
    assert late == [L.MODE_MOUNT_SLIPPED] * 2


def test_a_repair_tightens_the_mount_anew():
    """Repaired at once after the first leak: it holds as long as a new one."""
    again = 1.01 * HOLDS
    modes = modes_of(MOUNT, again, again + 0.99 * HOLDS, 2 * again + 0.1 * HOLDS)
    assert modes == [L.MODE_MOUNT_SLIPPED, L.MODE_NONE, L.MODE_MOUNT_SLIPPED]


#: 8 N*m x (1 + 0.1 ln(1 + weeks)) passes 10 N*m after e^2.5 - 1 weeks.
STANDS = math.expm1(2.5) * WEEK
IDLE = 'valve = {breakaway = "8 N*m", idle_growth = 0.1, idle_cap = CAP}\n'


def test_a_valve_stiffens_from_its_last_movement():
    idle = IDLE.replace("CAP", "2") + LATE_REPAIR
    assert modes_of(idle, 0.99 * STANDS, 1.98 * STANDS) == [L.MODE_NONE] * 2
    assert modes_of(idle, 0.99 * STANDS, 2.01 * STANDS) == [L.MODE_NONE, L.MODE_UNDERSIZED]


def test_a_valve_stiffens_no_more_than_to_its_cap():
    assert modes_of(IDLE.replace("CAP", "1.24"), 9 * STANDS) == [L.MODE_NONE]


def test_a_valve_that_a_person_has_turned_is_free_again():
    """Stalled after too long a rest, shut by hand, and closed by the drive a while later."""
    idle = IDLE.replace("CAP", "2") + LATE_REPAIR
    late = 1.01 * STANDS
    assert modes_of(idle, late, late + 0.98 * STANDS) == [L.MODE_UNDERSIZED, L.MODE_NONE]


def test_a_valve_seizes_after_a_rest_and_hands_do_not_turn_it():
    stage = Stage('valve.seize_time = "100 days"\noverride.upstream = "10 min"\n' + LATE_REPAIR)
    stage.leak(99 * DAY).leak(198 * DAY).leak(299 * DAY)
    rows = stage.to(300 * DAY).rows
    assert list(rows["mode"]) == [L.MODE_NONE, L.MODE_NONE, L.MODE_SEIZED]
    assert rows["stopped_by"][2] == L.BY_UPSTREAM
    assert rows["stopped"][2] == pytest.approx(660, rel=1e-6)


FAULT = """
actuator = {diagnostic = DIAGNOSTIC, repair = "5 h"}
exercise = {interval = "10 h", coverage = COVERAGE}
"""


@pytest.mark.parametrize(
    ("diagnostic", "coverage", "repaired"),
    [("0", "1", 15), ("1", "1", 7), ("0", "0", None), ("1", "0", 7)],
)
def test_a_random_failure_is_found_and_repaired(diagnostic, coverage, repaired):
    """At 2:00; found at once or by the exercise at 10:00, repaired five hours later, or never."""
    changes = FAULT.replace("DIAGNOSTIC", diagnostic).replace("COVERAGE", coverage)
    stage = Stage(changes).ring(L.ACTUATOR, 2 * HOUR)
    assert stage.to(2 * HOUR + 1).state.failed == 1
    if repaired is None:
        assert stage.to(99 * HOUR).state.failed == 1
        return
    assert stage.to(repaired * HOUR - 1).state.failed == 1
    assert stage.to(repaired * HOUR + 9).state.failed == 0
    assert stage.state.n_repairs == 1


def test_a_leak_that_starts_during_an_exercise_is_served_at_its_end():
    """Exercised from 10:00 for a minute; the leak ten seconds later waits for fifty."""
    stage = Stage('exercise = {interval = "10 h", outage = "60 s"}\npeople.notice_burst = "1 h"\n')
    row = stage.leak(10 * HOUR + 10).over(12 * HOUR)
    assert row["stopped"] == pytest.approx(50, abs=0.01)
    assert (row["stopped_by"], row["mode"]) == (L.BY_AUTOMATION, L.MODE_NONE)
    assert stage.state.pending == 0


def test_an_exercise_finds_a_stiff_valve_and_the_second_time_it_is_renewed():
    """9.9 N*m when new, 10.1 after half a year: found at each exercise, freed, then replaced."""
    stage = Stage(
        """
        valve = {breakaway = "9.9 N*m", age_factor = 1.1, age_reference = "5 years", \
renew_after = 2}
        exercise.interval = "365.25 days"
        """
    )
    year = 365.25 * DAY
    stage.to(1.5 * year)
    assert (stage.state.stiff_findings, stage.state.born_at) == (1, 0.0)
    stage.to(2.5 * year)
    assert stage.state.stiff_findings == 0
    assert stage.state.born_at == pytest.approx(2 * year, rel=1e-6)


BROWN_OUT = """
people.notice_burst = "1 h"
supply = {voltage = "12 V", resistance = "6 ohm"}
valve.breakaway = "2 N*m"
controller = {shares_rail = true, brown_out = "11 V", restart_time = "20 s", watchdog = true}
actuator = {retries = RETRIES, end_of_travel = "END", repair = "900 days"}
"""


@pytest.mark.parametrize("end", ["at the stem", "not sensed"])
@pytest.mark.parametrize("retries", [0, 2])
def test_a_controller_that_browns_out_restarts_and_tries_again(retries, end):
    """0.2 A through 6 ohm leave 10.8 V. It fails after half a second and is back 20 s later.

    A controller that has lost its rail knows so whatever senses the end of travel.
    """
    changes = BROWN_OUT.replace("RETRIES", str(retries)).replace("END", end)
    stage = Stage(changes).leak(HOUR)
    assert stage.to(HOUR + 1).state.controller == 0
    assert stage.to(HOUR + 20).state.controller == 0
    assert stage.to(HOUR + 20.6).state.controller == 1
    row = stage.over(3 * HOUR)
    assert stage.state.demands == 1 + retries
    assert (row["mode"], row["stopped_by"]) == (L.MODE_BROWN_OUT, L.BY_HAND)


@pytest.mark.parametrize(
    ("watched", "known"),
    [
        ('end_of_travel = "at the motor"', True),
        ('end_of_travel = "not sensed"', False),
        ('end_of_travel = "not sensed", stall_cutoff = "3 s"', False),
        ('end_of_travel = "not sensed", current_sensed = true', True),
    ],
)
def test_what_the_controller_can_tell_of_a_stall(watched, known):
    """By the end of travel or the current; a time limit tells nothing: it takes it for shut."""
    stage = Stage(
        f"""
        valve.breakaway = "50 N*m"
        people.notice_burst = "1 h"
        actuator = {{{watched}, thermal_resistance = \
"0.01 K/W", retries = 1, retry_pause = "10 s", repair = "900 days"}}
        """
    ).leak(HOUR)
    stage.to(1.5 * HOUR)
    assert stage.state.believed_shut == (not known)
    assert stage.state.demands == (2 if known else 1)
    assert stage.over(3 * HOUR)["mode"] == L.MODE_UNDERSIZED


def test_a_closing_that_ends_short_is_tried_again_where_that_is_known():
    """Half of the flow passes after 30 s at the valve, and again until the person comes."""
    stage = Stage(
        """
        people.notice_burst = "10 min"
        actuator = {short_chance = 1, short_flow = 0.5, retries = 1, retry_pause = "30 s", \
repair = "900 days"}
        """
    )
    assert stage.leak(HOUR).to(HOUR + 60).state.strokes == 2  # a short one wears the drive, too
    row = stage.over(2 * HOUR)
    assert stage.state.demands == 2
    assert row["mode"] == L.MODE_CLOSED_SHORT
    assert row["volume"] * 1000 == pytest.approx(10 * 6 * 0.5, rel=1e-3)
