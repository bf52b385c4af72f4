"""What an event sets back or draws anew, by hand: supply, battery, rest of the valve, siren."""

from __future__ import annotations

import pytest
from staged import DAY, HOUR, MINUTE, NOBODY, OUTAGE, Stage

from shutoffsim.model import layout as L
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import PER_REPAIR, REPAIR_DRAWS, VALVE_DRAWS, uniform

BATTERY = """
controller.standby_power = "1 W"
battery = {fitted = true, voltage = "12 V", resistance = "0 ohm", usable = 1, \
capacity = "10 Wh", fade = "0 % per year", life = "1e9 h", change = "never", test = "never"}
"""
SUPPLY = 'supply.repair = "30 min"\n'


def test_an_order_that_waits_for_a_broken_supply_is_taken_up_when_that_is_replaced():
    """It breaks at 0:40 and is replaced at 1:10; the leak of 1:00 is then shut off."""
    stage = Stage(SUPPLY + NOBODY + 'detection = {report_repeats = 9, report_interval = "5 min"}\n')
    stage.ring(L.SUPPLY, 40 * MINUTE).leak(1 * HOUR)
    assert stage.to(70 * MINUTE - 1).state.position == L.OPEN
    assert stage.to(76 * MINUTE).state.position == L.SHUT


def test_what_is_shut_for_a_loss_of_power_opens_when_the_supply_is_replaced():
    """The supply breaks at 0:40, the valve shuts ten minutes later, and opens again at 1:10."""
    policy = 'policies = {close_on_power_loss = true, power_loss_wait = "10 min"}\n'
    stage = Stage(SUPPLY + BATTERY + policy).ring(L.SUPPLY, 40 * MINUTE)
    assert stage.to(50 * MINUTE - 1).state.position == L.OPEN
    assert stage.to(50 * MINUTE + 1).state.position == L.SHUT
    assert stage.to(70 * MINUTE - 1).state.position == L.SHUT
    assert stage.to(70 * MINUTE + 1).state.position == L.OPEN


def test_mains_that_return_stop_the_battery_from_running_empty():
    """Ten hours would empty it, but the outage ends after five; nothing is empty later."""
    stage = Stage(OUTAGE + BATTERY).ring(L.OUTAGE, 1 * HOUR)
    assert stage.to(6 * HOUR - 1).state.battery_empty == 0
    assert stage.to(12 * HOUR).state.battery_empty == 0


def test_a_battery_fades_from_the_day_it_was_put_in():
    """A tenth a year, changed after one: half a year later 9.5 of 10 Wh are left, 9.5 h at 1 W."""
    fading = BATTERY.replace("0 % per year", "10 % per year")
    fading = fading.replace('change = "never"', 'change = "365.25 days"')
    start = 1.5 * 365.25 * DAY
    stage = Stage(OUTAGE.replace("5 h", "11 h") + fading).to(start).ring(L.OUTAGE, start)
    assert stage.to(start + 9.49 * HOUR).state.battery_empty == 0
    assert stage.to(start + 9.51 * HOUR).state.battery_empty == 1


def test_a_valve_that_was_moved_seizes_after_a_time_drawn_anew():
    """Each movement draws the time of rest after which it would seize, by its own number."""
    stage = Stage('valve.seize_time = {mean = "30 years"}\n')
    before = stage.state.seize_after
    stage.leak(1 * HOUR).to(2 * HOUR)
    state = stage.state
    assert state.n_moves == 1
    expected = quantile(
        stage.p.valve_seize_time, uniform(state.seed, state.history, VALVE_DRAWS, 1)
    )
    assert (state.seize_after, state.seize_after == before) == (pytest.approx(expected), False)


def test_every_renewed_valve_is_drawn_by_the_number_of_its_repair():
    """Two valves that are renewed in one history are not the same valve."""
    stage = Stage('valve = {renew_after = 1, breakaway = {median = "1 mN*m", spread = 2}}\n')
    for number in (1, 2):
        stage.state.stiff = 1
        stage.ring(L.REPAIR, number * HOUR).to(number * HOUR + 1)
        assert stage.state.n_repairs == number
        u = uniform(stage.state.seed, stage.state.history, REPAIR_DRAWS, number * PER_REPAIR + 3)
        assert stage.state.breakaway == pytest.approx(quantile(stage.p.valve_breakaway, u))


def test_a_wet_sensor_sounds_the_siren_whatever_the_controller_does():
    """The siren is the sensor's own: it sounds while the controller hangs."""
    hung = 'controller = {watchdog = true, restart_time = "2 h"}\nsiren.fitted = true\n'
    stage = Stage(hung + NOBODY).ring(L.CONTROLLER, 50 * MINUTE).leak(1 * HOUR)
    state = stage.to(1 * HOUR + MINUTE).state
    assert (state.controller, state.leak_siren[0], state.demands) == (0, 1, 0)
