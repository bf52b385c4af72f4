"""Power worked out by hand: what strokes and coils take, new batteries, exercises put off."""

from __future__ import annotations

import pytest
from staged import HOUR, MINUTE, NOBODY, OUTAGE, Stage

from shutoffsim.model import layout as L

#: 10 Wh, 1 W for the controller and 4 W for a powered coil.
BATTERY = """
controller.standby_power = "1 W"
battery = {fitted = true, voltage = "12 V", resistance = "0 ohm", usable = 1, \
capacity = "10 Wh", fade = "0 % per year", life = "1e9 h", change = "never", test = "never"}
"""
COIL = """
solenoid = {coil_power = "4 W", failure_rate = "0 per h", stick_chance = 0}
"""
POWERED_OPEN = OUTAGE + BATTERY + COIL + 'element.kind = "solenoid, powered open"\n'
POWERED_SHUT = OUTAGE + BATTERY + COIL + 'element.kind = "solenoid, powered shut"\n'


def test_a_solenoid_powered_open_empties_the_battery_and_falls_shut():
    """5 W from the start of the outage: 10 Wh last two hours. It opens when the mains return."""
    stage = Stage(POWERED_OPEN).ring(L.OUTAGE, 1 * HOUR)
    assert stage.to(3 * HOUR - 1).state.position == L.OPEN
    assert stage.to(3 * HOUR + 1).state.position == L.SHUT
    assert stage.state.nuisance_closings == 1
    assert stage.to(6 * HOUR - 1).state.position == L.SHUT
    assert stage.to(6 * HOUR + 1).state.position == L.OPEN


def test_a_solenoid_powered_open_that_was_shut_before_draws_for_the_controller_alone():
    """Shut by a leak before the outage: 1 W, ten hours, longer than the outage."""
    stage = Stage(POWERED_OPEN + NOBODY).leak(0.5 * HOUR).ring(L.OUTAGE, 1 * HOUR)
    stage.to(3 * HOUR + 1)
    assert stage.state.position == L.SHUT
    assert stage.state.battery_draw == 1.0
    assert stage.to(6 * HOUR - 1).state.battery_empty == 0


def test_a_solenoid_powered_open_that_shuts_on_battery_no_longer_draws_for_its_coil():
    """An hour of outage at 5 W leaves 5 Wh; shut, the controller's 1 W lasts the outage out."""
    stage = Stage(POWERED_OPEN + NOBODY).ring(L.OUTAGE, 1 * HOUR).leak(2 * HOUR)
    assert stage.to(6 * HOUR - 1).state.battery_empty == 0
    assert stage.state.battery_draw == 1.0


def test_a_solenoid_powered_open_that_opens_on_battery_draws_for_its_coil_again():
    """Shut from 2:00 to 2:30, when the leak is found: 4.5 Wh at 5 W last until 3:24."""
    stage = Stage(POWERED_OPEN + 'people.notice_burst = "30 min"\n')
    stage.ring(L.OUTAGE, 1 * HOUR).leak(2 * HOUR)
    assert stage.to(3.4 * HOUR - 2).state.position == L.OPEN
    assert stage.to(3.4 * HOUR + 2).state.position == L.SHUT


def test_a_solenoid_powered_open_does_not_open_in_the_dark():
    """Shut by a leak before an outage, on a battery that dies: it opens when the mains are back."""
    stage = Stage(POWERED_OPEN + 'people.notice_burst = "3 h"\n').leak(0.5 * HOUR)
    stage.ring(L.OUTAGE, 1 * HOUR).ring(L.BATTERY_LIFE, 2 * HOUR)
    assert len(stage.to(3.6 * HOUR).rows) == 1
    assert stage.to(6 * HOUR - 1).state.position == L.SHUT
    assert stage.to(6 * HOUR + 1).state.position == L.OPEN


@pytest.mark.parametrize("fitted", ["true", "false"])
def test_a_solenoid_powered_shut_stays_shut_on_the_mains(fitted):
    """What its coil takes there is nothing to a battery, fitted or not."""
    changes = POWERED_SHUT.replace("{fitted = true", f"{{fitted = {fitted}") + NOBODY
    stage = Stage(changes).leak(1 * HOUR)
    assert stage.to(1 * HOUR + 1).state.position == L.SHUT
    assert stage.to(30 * HOUR).state.position == L.SHUT
    assert (stage.state.demands, stage.state.battery_empty) == (1, 0)


def test_a_solenoid_passes_what_its_seat_lets_by():
    """Shut after 0.2 s at 6 L/min; nobody notices for an hour: 2 L by the seat of 2 L/h."""
    seat = 'valve.seat_leak = "2 L/h"\npeople.notice_burst = "1 h"\n'
    row = Stage(POWERED_OPEN + seat).leak(1 * HOUR).over(3 * HOUR)
    assert row["stopped_by"] == L.BY_AUTOMATION
    assert row["volume"] * 1000 == pytest.approx(0.2 / 60 * 6 + 2, rel=1e-3)


def test_a_solenoid_that_has_failed_open_does_not_fall_shut():
    stage = Stage(POWERED_OPEN).ring(L.ACTUATOR, 0.5 * HOUR).ring(L.OUTAGE, 1 * HOUR)
    assert stage.to(3 * HOUR + 1).state.position == L.OPEN


def test_a_solenoid_powered_shut_draws_only_while_it_is_shut():
    """Open for an hour of outage at 1 W, shut by a leak at 5 W: 9 Wh last 1.8 h more.

    Then it falls open and the leak runs again, until the mains are back and it shuts anew.
    """
    stage = Stage(POWERED_SHUT + NOBODY).ring(L.OUTAGE, 1 * HOUR).leak(2 * HOUR)
    assert stage.to(2 * HOUR + 1).state.position == L.SHUT
    assert stage.to(3.8 * HOUR - 2).state.position == L.SHUT
    assert stage.to(3.8 * HOUR + 2).state.position == L.OPEN
    assert stage.to(6 * HOUR - 1).state.position == L.OPEN
    assert stage.to(6 * HOUR + 2).state.position == L.SHUT
    litres = (6 - 3.8) * 60 * 6
    assert stage.state.leak_volume[0] * 1000 == pytest.approx(litres, abs=0.2)


def test_a_solenoid_powered_shut_stays_open_through_an_outage():
    """At 1 W the battery holds, and nothing closes."""
    stage = Stage(POWERED_SHUT).ring(L.OUTAGE, 1 * HOUR).to(6 * HOUR - 1)
    assert (stage.state.position, stage.state.battery_empty) == (L.OPEN, 0)


def test_a_solenoid_powered_shut_that_shuts_when_the_mains_go_carries_its_coil_at_once():
    """Shut before the outage: 5 W from its start, open after two hours."""
    stage = Stage(POWERED_SHUT + NOBODY).leak(0.5 * HOUR).ring(L.OUTAGE, 1 * HOUR)
    assert stage.to(3 * HOUR - 1).state.position == L.SHUT
    assert stage.to(3 * HOUR + 1).state.position == L.OPEN


#: Torque 10 N*m at 1 A, 0.2 A without load: against 5 N*m it draws 0.6 A and turns at half of
#: 1 rpm, a quarter turn in 30 s. At 12 V: 216 J.
STROKE = 12 * 0.6 * 30  # J
DRIVE = """
controller.standby_power = "0 W"
valve.breakaway = "BREAKAWAY N*m"
actuator = {no_load_current = "0.2 A", no_load_speed = "1 rpm", stall_cutoff = "3 s"}
people.notice_burst = "10 min"
"""


def drive(energy: float, breakaway: float = 5.0) -> str:
    battery = BATTERY.replace("10 Wh", f"{energy / 3600} Wh").replace('"1 W"', '"0 W"')
    mains = OUTAGE.replace("5 h", "500 h")
    return (
        mains
        + battery
        + DRIVE.partition("\n")[2].partition("\n")[2].replace("BREAKAWAY", str(breakaway))
    )


@pytest.mark.parametrize(("strokes", "stopped"), [(2.999, 2), (3.001, 3), (0.999, 0)])
def test_energy_of_strokes(strokes, stopped):
    """Four leaks in one outage: the battery serves as many as it holds strokes; opening is free."""
    stage = Stage(drive(strokes * STROKE)).ring(L.OUTAGE, 1 * HOUR)
    for k in range(4):
        stage.leak((2 + k) * HOUR)
    rows = stage.to(7 * HOUR).rows
    assert len(rows) == 4
    by = [L.BY_AUTOMATION] * stopped + [L.BY_HAND] * (4 - stopped)
    assert list(rows["stopped_by"]) == by
    modes = [L.MODE_NONE] * stopped + [L.MODE_NO_POWER] * (4 - stopped)
    assert list(rows["mode"]) == modes
    assert rows["stopped"][:stopped] == pytest.approx(30, rel=1e-4)


def test_energy_of_a_stall():
    """1 A at 12 V for 3 s, then the controller cuts off."""
    stage = Stage(drive(500.0, breakaway=50.0)).ring(L.OUTAGE, 1 * HOUR).leak(2 * HOUR)
    row = stage.over(3 * HOUR)
    assert row["mode"] == L.MODE_UNDERSIZED
    assert stage.state.battery_energy == pytest.approx(500 - 12 * 1 * 3, rel=1e-9)


def test_a_stroke_on_mains_takes_nothing_from_the_battery():
    stage = Stage(drive(500.0)).leak(1 * HOUR).ring(L.OUTAGE, 2 * HOUR)
    assert stage.to(3 * HOUR).state.battery_energy == pytest.approx(500, rel=1e-9)


def test_a_battery_renewed_during_an_outage_carries_from_then_on():
    """A leak finds the battery dead an hour into the outage; it is replaced when the leak is over.

    10 Wh at 5 W for the controller last two hours from then: a second leak within them is stopped,
    a third one after them is not.
    """
    changes = OUTAGE + BATTERY.replace('"1 W"', '"5 W"')
    stage = Stage(changes).ring(L.BATTERY_LIFE, 0.5 * HOUR).ring(L.OUTAGE, 1 * HOUR)
    for at in (2.0, 3.9, 4.1):
        stage.leak(at * HOUR)
    rows = stage.to(5 * HOUR).rows
    assert list(rows["mode"]) == [L.MODE_NO_POWER, L.MODE_NONE, L.MODE_NO_POWER]
    assert list(rows["stopped_by"]) == [L.BY_HAND, L.BY_AUTOMATION, L.BY_HAND]
    assert stage.state.battery_new_at == pytest.approx(2 * HOUR + MINUTE, abs=1e-3)


def test_a_battery_that_dies_during_an_outage_leaves_all_dark_at_once():
    stage = Stage(OUTAGE + BATTERY).ring(L.OUTAGE, 1 * HOUR).ring(L.BATTERY_LIFE, 2 * HOUR)
    stage.leak(1.5 * HOUR).leak(2.5 * HOUR)
    assert list(stage.to(3 * HOUR).rows["mode"]) == [L.MODE_NONE, L.MODE_NO_POWER]


def test_a_battery_change_in_an_outage_is_put_off():
    """The dead battery is changed at the next date, when there is power."""
    changes = OUTAGE + BATTERY.replace('change = "never"', 'change = "4 h"')
    stage = Stage(changes).ring(L.BATTERY_LIFE, 0.5 * HOUR).ring(L.OUTAGE, 1 * HOUR)
    assert stage.to(4 * HOUR + 1).state.battery_ok == 0
    assert stage.to(8 * HOUR + 1).state.battery_ok == 1


def test_a_self_test_finds_a_dead_battery_at_its_next_date():
    changes = OUTAGE + BATTERY.replace('test = "never"', 'test = "3 h"')
    stage = Stage(changes).ring(L.BATTERY_LIFE, 4 * HOUR)
    assert stage.to(6 * HOUR - 1).state.battery_ok == 0
    assert stage.to(6 * HOUR + 1).state.battery_ok == 1


EXERCISED = BATTERY + OUTAGE + 'exercise.interval = "10 h"\nsupply.repair = "7 h"\n'


def test_an_exercise_while_the_supply_unit_is_broken_is_put_off_to_the_next():
    """Broken from 8 to 15 h, on battery: none at 10 h, one at 20 h."""
    stage = Stage(EXERCISED).ring(L.SUPPLY, 8 * HOUR)
    assert stage.to(10 * HOUR + 1).state.supply_ok == 0
    assert stage.state.demands == 0
    assert stage.to(15 * HOUR + 1).state.supply_ok == 1
    assert stage.to(20 * HOUR + 1).state.demands == 1
    assert stage.to(30 * HOUR + 1).state.demands == 2


@pytest.mark.parametrize("clock", [L.OUTAGE, L.SUPPLY])
def test_an_exercise_in_an_outage_is_put_off_as_well(clock):
    stage = Stage(EXERCISED).ring(clock, 9 * HOUR)
    assert stage.to(10 * HOUR + 1).state.demands == 0
    assert stage.to(20 * HOUR + 1).state.demands == 1
    assert stage.state.moved_at == pytest.approx(20 * HOUR, abs=1)
