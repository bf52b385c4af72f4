"""A leak that trips the earth-leakage breaker takes the power away: mixtures, races, the reset."""

import numpy as np
import pytest
from checks import Finding, assert_agrees, leaking, perfect

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.model import layout as L

#: The sensor is wet at 1 mm2, which is at once; the valve then shuts at once.
AT_ONCE = 'breaker_area = "0.5 mm2"'
BATTERY = (
    'battery = {fitted = true, capacity = "100 Ah", life = "1000000 years", resistance = "0 ohm"}\n'
)
SOLENOID = 'element.kind = "solenoid, powered open"\nsolenoid.failure_rate = "0 per year"\n'


def failing(design, histories=256):
    found = shutoffsim.compare(perfect(design, life="10 years"), histories=histories).designs[0]
    return found.probability_of_failure_on_demand, found.failure_modes


def test_without_a_battery_the_breaker_s_chance_is_that_of_failure():
    share, modes = failing(f"mains = {{breaker_chance = 0.3, {AT_ONCE}}}\n")
    assert_agrees(Finding(share.value, share.std_error, 0.3), 0.02)
    assert set(modes) == {"no power"}


def test_with_a_battery_it_fails_no_more():
    share, _ = failing(f"mains = {{breaker_chance = 0.3, {AT_ONCE}}}\n" + BATTERY, 64)
    assert share.value == 0.0


def test_with_another_source_of_failure_they_mix():
    """p + (1 - p) q, as an actuator that sticks is found out only where there is power."""
    share, modes = failing(
        f"mains = {{breaker_chance = 0.3, {AT_ONCE}}}\nactuator.stick_chance = 0.2\n"
    )
    assert_agrees(Finding(share.value, share.std_error, 0.3 + 0.7 * 0.2), 0.02)
    assert modes["no power"].value == pytest.approx(0.3, abs=0.02)


def test_where_the_sensor_is_wet_first_the_valve_is_shut_in_time():
    """At 6 L/min, sensors at 1 mm2 and the breaker at 10 m2, which then never is wet."""
    share, _ = failing('mains = {breaker_chance = 1, breaker_area = "10 m2"}\n', 64)
    assert share.value == 0.0


def test_the_breaker_waits_for_its_area():
    """A film of 2 mm at 6 L/min covers 1.5 m2 in 30 s: before the 60 s of the person, not at once.

    The sensor reports at 3 m2, after 60 s, to a dark controller.
    """
    design = (
        'mains = {{breaker_chance = 1, breaker_area = "{} m2"}}\nsensors.a.reach_area = "2 m2"\n'
    )
    early, _ = failing(design.format(1.5), 64)
    late, _ = failing(design.format(2.5), 64)
    assert (early.value, late.value) == (1.0, 0.0)


def test_what_falls_shut_without_power_shuts_when_the_breaker_trips():
    share, _ = failing(f"mains = {{breaker_chance = 1, {AT_ONCE}}}\n" + SOLENOID, 64)
    assert share.value == 0.0


def test_power_is_back_when_the_leak_is_over():
    """Were it not, a valve that falls shut would stay so, and later leaks would find it shut."""
    design = f"mains = {{breaker_chance = 1, {AT_ONCE}}}\n" + SOLENOID
    params = leaking(perfect(design, life="10 years").parameters(), 2.0)
    rows = np.concatenate([chunk.natural for chunk in run_chunks(Setup.of(params, 3), 0, 64)])
    by = np.bincount(rows["stopped_by"], minlength=len(L.STOPPERS))
    assert by[L.BY_AUTOMATION] > 0.99 * len(rows) > 900
