"""Torque and current by voltage: data sheets with more than one voltage, and a worked circuit."""

from __future__ import annotations

import pytest
from staged import Stage

from shutoffsim.model import motor

KGF_CM = 0.0980665  # N*m


@pytest.mark.parametrize(
    ("reference", "rated", "volts", "sheet", "law"),
    [
        (21.5, 6.8, 5.0, 18.0, 17.3),  # a 20 class known at 6.8 V
        (18.0, 5.0, 6.8, 21.5, 22.3),  # the same known at 5 V
        (10.8, 7.4, 4.8, 7.9, 7.98),  # a 10 class
    ],
)
def test_torque_goes_with_the_voltage_to_the_power_of_seven_tenths(
    reference, rated, volts, sheet, law
):
    """Within 5 % of three printed data sheets, where a linear law is off by up to 17 %."""
    found = motor.by_voltage(reference, volts, rated, 0.7)
    assert found == pytest.approx(law, rel=5e-3)
    assert found == pytest.approx(sheet, rel=0.05)
    assert abs(reference * volts / rated / sheet - 1) > 0.08


def test_a_20_class_on_a_usb_supply():
    """5.13 V behind 0.133 + 0.25 ohm, 2.2 A at 6.8 V: by hand 1.48 A and 4.56 V at the motor."""
    v = motor.terminal_voltage(5.13, 0.383, 6.8, 2.2, 1.0)
    assert v == pytest.approx(5.13 / (1 + 0.383 * 2.2 / 6.8), rel=1e-12)
    assert motor.by_voltage(2.2, v, 6.8, 1.0) == pytest.approx(1.48, rel=5e-3)
    assert v == pytest.approx(4.56, rel=5e-3)
    # With the exponent of the data sheets a little more is drawn, and the circuit closes.
    v = motor.terminal_voltage(5.13, 0.383, 6.8, 2.2, 0.93)
    drawn = motor.by_voltage(2.2, v, 6.8, 0.93)
    assert v + 0.383 * drawn == pytest.approx(5.13, rel=1e-9)
    assert drawn > 1.48


def test_a_limited_supply_cuts_the_torque():
    """1 A of the 1 A at stall without a limit; 0.4 A give four tenths of 10 N*m."""
    stage = Stage('actuator.current_limit = "0.4 A"\n')
    torque, current = motor.at_stall(stage.p, stage.state, 12.0, 0.0)
    assert (torque, current) == (pytest.approx(4.0), pytest.approx(0.4))


def test_a_hot_winding_gives_less():
    """100 K above 20 degC at 0.3 % per kelvin leave seven tenths; after a time constant 0.89."""
    stage = Stage('actuator = {temperature_derating = "0.3 % per K", thermal_time = "20 s"}\n')
    s = stage.state
    s.winding = 100.0
    assert motor.available_torque(stage.p, s, 0.0, 12.0, 0.0) == pytest.approx(7.0)
    later = motor.available_torque(stage.p, s, 20.0, 12.0, 0.0)
    assert later == pytest.approx(10 * (1 - 0.3 * 0.36788), rel=1e-4)
