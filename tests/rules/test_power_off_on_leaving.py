"""People who cut the power when they leave on a trip: what is left is the battery."""

from checks import Finding, assert_agrees, perfect
from staged import DAY, Stage

import shutoffsim
from shutoffsim.model import layout as L

#: Six days at home, four away, over and over; leaks come evenly.
TRIPS = """
people = {{trips = true, start_away = 0, stay = "6 days", trip = "4 days", \
power_off_on_leaving = {share}}}
leaks.hose.trip_factor = 1
policies.away_mode = 0
"""
BATTERY = """
battery = {{fitted = true, capacity = "{hours} Wh", voltage = "12 V", resistance = "0 ohm", \
usable = 1, fade = "0 % per year", life = "1000000 years", change = "never", test = "never"}}
controller.standby_power = "1 W"
"""
AWAY = 0.4


def failing(design, histories=1000):
    found = shutoffsim.compare(perfect(design, life="1000 days"), histories=histories).designs[0]
    return found.probability_of_failure_on_demand, found.failure_modes


def test_without_a_battery_leaks_of_dark_trips_are_not_stopped():
    share, modes = failing(TRIPS.format(share=0.3))
    assert_agrees(Finding(share.value, share.std_error, 0.3 * AWAY), 0.02)
    assert set(modes) == {"no power"}


def test_another_source_of_failure_mixes_with_it():
    share, _ = failing(TRIPS.format(share=0.3) + "actuator.stick_chance = 0.2\n")
    dark = 0.3 * AWAY
    assert_agrees(Finding(share.value, share.std_error, dark + (1 - dark) * 0.2), 0.02)


def test_a_battery_carries_the_first_hours_of_each_trip():
    """24 h of 1 W: of each dark trip of four days the last three are without power."""
    share, _ = failing(TRIPS.format(share=0.3) + BATTERY.format(hours=24))
    assert_agrees(Finding(share.value, share.std_error, 0.3 * AWAY * 0.75), 0.03)


def test_closing_on_power_loss_makes_the_battery_s_size_unimportant():
    closing = 'policies = {close_on_power_loss = true, power_loss_wait = "0 s"}\n'
    share, _ = failing(
        TRIPS.format(share=1).replace("policies.away_mode = 0\n", "")
        + closing
        + BATTERY.format(hours=24),
        64,
    )
    assert share.value == 0.0


STAGED = """
people = {trip = "5 days", stay = "900 days", power_off_on_leaving = 1}
"""


def test_the_power_is_cut_on_leaving_and_restored_on_return():
    stage = Stage(STAGED).ring(L.TRIP, 2 * DAY)
    assert stage.to(2 * DAY - 1).state.main_switch == L.SWITCH_ON_NOW
    assert stage.to(2 * DAY + 1).state.main_switch == L.SWITCH_OFF
    assert stage.to(7 * DAY + 1).state.main_switch == L.SWITCH_ON_NOW


def test_they_wait_until_the_valve_that_they_order_shut_has_shut():
    stage = Stage(STAGED + "policies = {away_mode = 1, close_when_away = true}\n")
    stage.ring(L.TRIP, 2 * DAY)
    state = stage.to(2 * DAY + 60).state
    assert (state.position, state.main_switch) == (L.SHUT, L.SWITCH_OFF)
    assert stage.to(7 * DAY + 60).state.position == L.OPEN
