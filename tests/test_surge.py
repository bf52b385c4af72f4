"""Water hammer by hand: wave speeds, pressure rises, and what each design does to its pipe."""

import math

import numpy as np
import pytest
from checks import perfect

from shutoffsim.model.surge import pressure_rise, wave_speed
from shutoffsim.study.surge import SOLENOID_TIME, closing_time, surge_of

PIPE = (
    'surge = {length = "30 m", bore = "20 mm", wall = "1 mm", modulus = "120000 MPa", '
    'throttling = 0.3, limit = "10 bar"}\n'
    'dwelling.full_bore_flow = "18.85 L/min"\n'  # 1 m/s
    'dwelling.full_bore_pressure = "3 bar"\n'
)


def of(changes):
    return surge_of(perfect(PIPE + changes).design("0").system)


@pytest.mark.parametrize(
    ("bore", "wall", "modulus", "speed"),
    [
        (13.6e-3, 0.7e-3, 120e9, 1251.9),  # copper 15 x 0.7: sqrt(2.1e6 / 1.34)
        (20.4e-3, 2.3e-3, 0.9e9, 311.1),  # polyethylene 25 x 2.3: sqrt(2.1e6 / 21.70)
        (1e-3, 1.0, 1e15, 1449.1),  # a rigid pipe: the speed of sound in water
    ],
)
def test_speed_of_a_wave_in_a_pipe(bore, wall, modulus, speed):
    assert wave_speed(bore, wall, modulus) == pytest.approx(speed, rel=1e-4)


def test_a_wave_of_two_metres_a_second_in_copper():
    """About 380 psi, as a calculator of pipe flow prints for it (pipeflowlab.com)."""
    rise = pressure_rise(15.0, 2.0, 0.0, wave_speed(13.6e-3, 0.7e-3, 120e9))
    assert rise == pytest.approx(380 * 6894.76, rel=0.06)


def test_quick_and_slow_closing_meet_where_the_wave_is_back():
    """30 m at 1,200 m/s: 50 ms; 12 bar for 1 m/s until then, half of it in twice the time."""
    times = np.array([0.001, 0.049, 0.05, 0.1, 1.0])
    found = pressure_rise(30.0, 1.0, times, 1200.0) / 1e5
    assert found == pytest.approx([12.0, 12.0, 12.0, 6.0, 0.6])


def test_a_geared_drive_hardly_raises_the_pressure():
    """A quarter turn at 3 rpm takes 5 s, of which 1.5 s throttle: 2 x 1000 x 30 x 1 / 1.5."""
    found = of('actuator.no_load_speed = "3 rpm"\n')
    assert found.closing_time_s == pytest.approx(5.0)
    assert found.rise_bar == pytest.approx(0.4, rel=0.002)
    assert found.peak_bar == pytest.approx(3.4, rel=0.002)
    assert found.passes


def test_a_fast_drive_breaks_the_limit():
    """A quarter turn at 75 rpm takes 0.2 s, of which 0.06 s throttle: 2 x 1000 x 30 / 0.06."""
    found = of('actuator.no_load_speed = "75 rpm"\n')
    assert found.rise_bar == pytest.approx(10.0, rel=0.002)
    assert not found.passes


def test_half_the_voltage_turns_half_as_fast():
    slow = of('actuator.no_load_speed = "3 rpm"\nsupply.voltage = "9 V"\n')
    assert slow.closing_time_s == pytest.approx(5.0 * 12 / 9)


def test_a_solenoid_valve_closes_at_once():
    """2 x 1000 x 30 x 1 / 0.05 = 12 bar, just within the time of the wave at 1,256 m/s."""
    found = of('element.kind = "solenoid, powered open"\n')
    assert found.closing_time_s == SOLENOID_TIME
    assert found.rise_bar == pytest.approx(12.0, rel=0.05)


def test_pressure_on_the_day_of_the_bucket_test_need_not_be_the_mean():
    """The flow goes with the root of the pressure."""
    low = of('dwelling.pressure = "1.5 bar"\nactuator.no_load_speed = "3 rpm"\n')
    assert low.rise_bar == pytest.approx(0.4 * math.sqrt(0.5), rel=0.002)


def test_where_nothing_closes_there_is_no_surge():
    assert of('element.kind = "none"\n') is None
    assert closing_time(perfect('element.kind = "alarm only"\n').design("0").system) is None
