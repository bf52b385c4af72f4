"""The motor: torque, current, speed and heat on the supply that is there."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model.compiled import entry, kernel, law, part


@kernel
def sheet(p, s):
    """Return the data sheet of the class that is fitted.

    Returns
    -------
    volts, torque, current, free, speed : float
        Rated voltage [V]; at it torque [N*m] and current [A] at stall, current [A] and speed
        [turns/s] without load.
    """
    r = s.rung
    if r == 0:
        return (
            p.actuator_rated_voltage,
            p.actuator_stall_torque,
            p.actuator_stall_current,
            p.actuator_no_load_current,
            p.actuator_no_load_speed,
        )
    return (
        p.rung_rated_voltage[r],
        p.rung_stall_torque[r],
        p.rung_stall_current[r],
        p.rung_no_load_current[r],
        p.rung_no_load_speed[r],
    )


@law
def by_voltage(reference, volts, rated, exponent):
    """Return a quantity at ``volts`` that is ``reference`` at the rated voltage; a power law."""
    return reference * (volts / rated) ** exponent


@kernel
def terminal_voltage(voltage, resistance, rated, current, exponent):
    """Return the voltage [V] at a stalled motor behind a supply of ``resistance`` [ohm].

    Solves v + resistance current (v / rated)^exponent = voltage by I. Newton's method.
    """
    v = voltage / (1.0 + resistance * current / rated)
    if resistance <= 0.0 or v <= 0.0:
        return v
    for _ in range(4):
        draws = resistance * by_voltage(current, v, rated, exponent)
        v -= (v + draws - voltage) / (1.0 + exponent * draws / v)
    return v


@kernel
def at_stall(p, s, voltage, resistance):
    """Return torque [N*m] of a unit of factor one and current [A] at stall on this supply.

    Both follow a power of the voltage at the motor; a driver, or a supply, that limits the current
    cuts the torque in proportion to what exceeds the current without load.
    """
    rated, torque, current, free, _speed = sheet(p, s)
    v = terminal_voltage(voltage, resistance, rated, current, p.actuator_current_exponent)
    drawn = by_voltage(current, v, rated, p.actuator_current_exponent)
    given = by_voltage(torque, v, rated, p.actuator_torque_exponent)
    limit = p.actuator_current_limit
    if drawn > limit:
        given *= max(limit - free, 0.0) / (drawn - free) if drawn > free else 0.0
        drawn = limit
    return given, drawn


@part
def stall_current(p, s, voltage, resistance):
    """Return the current [A] at stall on this supply, within the driver's limit."""
    return at_stall(p, s, voltage, resistance)[1]


@law
def share_left(strokes, wear, temperature, derating):
    """Return the share of a new unit's torque left by wear and temperature; numbers or arrays.

    ``wear`` is the share lost a stroke, ``derating`` that lost per degree away from 20 degC.
    """
    worn = np.maximum(1.0 - wear * strokes, 0.0)
    return worn * np.maximum(1.0 - derating * np.abs(temperature - 20.0), 0.0)


@kernel
def unit_factor(p, s, now):
    """Return the factor on torque of this unit: spread, wear, and the winding's temperature."""
    temperature = p.actuator_ambient + winding_rise(p, s, now)
    return s.unit * share_left(
        s.strokes, p.actuator_wear, temperature, p.actuator_temperature_derating
    )


@entry
def available_torque(p, s, now, voltage, resistance):
    """Return the torque [N*m] at the shaft at stall on this supply."""
    return at_stall(p, s, voltage, resistance)[0] * unit_factor(p, s, now)


@part
def running_current(p, s, torque, available, voltage, resistance):
    """Return the current [A] drawn while delivering ``torque`` of the ``available`` [N*m].

    It grows in proportion to torque, from that without load to that at stall.
    """
    free = sheet(p, s)[3]
    return free + max(stall_current(p, s, voltage, resistance) - free, 0.0) * torque / available


@part
def stroke_time(p, s, torque, available, voltage):
    """Return the time [s] to turn the valve against ``torque``: speed falls linearly to stall."""
    rated, _torque, _current, _free, no_load = sheet(p, s)
    speed = no_load * voltage / rated * (1.0 - torque / available)
    return p.valve_turns / max(speed, no_load * 0.01)


@kernel
def heat_at(p, s, current):
    """Return how far [K] above ambient the winding would come if this current stayed."""
    rated, _torque, stall, _free, _speed = sheet(p, s)
    return current * current * (rated / stall) * p.actuator_thermal_resistance


@part
def time_to_burn(p, s, now, current):
    """Return the time [s] at stall after which the winding burns; inf when it never does.

    First-order heating towards ambient + I^2 R R_th, from where the last stall left the winding.
    """
    rise = heat_at(p, s, current)
    room = p.actuator_winding_limit - p.actuator_ambient
    if rise <= room:
        return math.inf
    start = winding_rise(p, s, now)
    if start >= room:
        return 0.0
    return p.actuator_thermal_time * math.log((rise - start) / (rise - room))


@kernel
def winding_rise(p, s, now):
    """Return how far [K] the winding is above ambient."""
    return s.winding * math.exp(-(now - s.winding_at) / p.actuator_thermal_time)


@part
def heat(p, s, now, current, lasting):
    """Leave the winding as it is after ``lasting`` seconds at stall from ``now``."""
    rise = heat_at(p, s, current)
    start = winding_rise(p, s, now)
    s.winding = rise + (start - rise) * math.exp(-lasting / p.actuator_thermal_time)
    s.winding_at = now + lasting
