"""The actuator: what a stroke gives at the shaft, and how it ends."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import entry, kernel, law, part
from shutoffsim.model.fitted import falls_open, has_coil
from shutoffsim.model.power import DARK, ON_SUPPLY, power_source, spend
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import PER_ATTEMPT, PER_STROKE, STROKE_DRAWS, uniform
from shutoffsim.model.valve import closing_torque, is_seized

# Draws of one demand in STROKE_DRAWS: by stroke_draw and attempt.
SHARE, STICK, STRIP, TRAVEL, FOUND = np.arange(5)
GIVE_UP = 60.0  # s at stall with neither cut-off nor burning, assumption
SOLENOID_TIME = 0.2  # s, assumption: far below every other time here


@entry
def stroke_draw(s, which):
    """Return the uniform number ``which`` of the present attempt.

    The valve's torque is one draw a demand; chance on the way is drawn for each attempt.
    """
    attempt = 0 if which == SHARE else min(s.tries, PER_STROKE // PER_ATTEMPT - 1)
    return uniform(
        s.seed, s.history, STROKE_DRAWS, s.stroke_draw * PER_STROKE + attempt * PER_ATTEMPT + which
    )


@kernel
def torque_constant(p):
    """Return k = T_stall / (I_stall - I_0) [N*m/A], gears included."""
    return p.actuator_stall_torque / (p.actuator_stall_current - p.actuator_no_load_current)


@kernel
def stall_current(p, voltage, resistance):
    """Return the current [A] at stall behind a supply of ``resistance``, within the driver's limit.

    The winding has R = V_rated / I_stall.
    """
    winding = p.actuator_rated_voltage / p.actuator_stall_current
    return min(p.actuator_current_limit, voltage / (winding + resistance))


@law
def share_left(strokes, wear, ambient, derating):
    """Return the share of a new unit's torque left by wear and temperature; numbers or arrays.

    ``wear`` is the share lost a stroke, ``derating`` that lost per degree away from 20 degC.
    """
    worn = np.maximum(1.0 - wear * strokes, 0.0)
    return worn * np.maximum(1.0 - derating * np.abs(ambient - 20.0), 0.0)


@kernel
def unit_factor(p, s):
    """Return the factor on torque of this unit: spread, wear and temperature."""
    return s.unit * share_left(
        s.strokes, p.actuator_wear, p.actuator_ambient, p.actuator_temperature_derating
    )


@part
def nominal_torque(p, voltage, resistance):
    """Return the torque [N*m] at stall on this supply of a unit of factor one: k (I - I_0)."""
    spare = stall_current(p, voltage, resistance) - p.actuator_no_load_current
    return max(torque_constant(p) * spare, 0.0)


@entry
def available_torque(p, s, voltage, resistance):
    """Return the torque [N*m] at the shaft at stall on this supply."""
    return nominal_torque(p, voltage, resistance) * unit_factor(p, s)


@part
def running_current(p, s, torque):
    """Return the current [A] drawn while delivering ``torque`` [N*m]."""
    factor = torque_constant(p) * unit_factor(p, s)
    return p.actuator_no_load_current + torque / factor if factor > 0.0 else math.inf


@part
def stroke_time(p, torque, available, voltage):
    """Return the time [s] to turn the valve against ``torque``: speed falls linearly to stall."""
    speed = (
        p.actuator_no_load_speed * voltage / p.actuator_rated_voltage * (1.0 - torque / available)
    )
    return p.valve_turns / max(speed, p.actuator_no_load_speed * 0.01)


@part
def slip_capacity(p, s, now):
    """Return the torque [N*m] that the mount holds: preload falls with the logarithm of time.

    At preload_reference the share ``preload`` is left; one day counts as the start.
    """
    if p.mount_slip_torque == math.inf:
        return math.inf
    days = (now - s.mounted_at) / 86400.0
    whole = math.log1p(p.mount_preload_reference / 86400.0)
    return p.mount_slip_torque * max(1.0 - (1.0 - s.preload) * math.log1p(days) / whole, 0.0)


@part
def time_to_burn(p, s, now, current):
    """Return the time [s] at stall after which the winding burns; inf when it never does.

    First-order heating towards ambient + I^2 R R_th, from where the last stall left the winding.
    """
    rise = (
        current
        * current
        * (p.actuator_rated_voltage / p.actuator_stall_current)
        * p.actuator_thermal_resistance
    )
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
    rise = (
        current
        * current
        * (p.actuator_rated_voltage / p.actuator_stall_current)
        * p.actuator_thermal_resistance
    )
    start = winding_rise(p, s, now)
    s.winding = rise + (start - rise) * math.exp(-lasting / p.actuator_thermal_time)
    s.winding_at = now + lasting


@part
def solenoid_stroke(p, s):
    """Return how a solenoid's closing ends."""
    if falls_open(p) and power_source(p, s) == DARK:
        return L.MODE_NO_POWER
    if s.failed == 1 or stroke_draw(s, STICK) < p.actuator_stick_chance:
        return L.MODE_ACTUATOR_FAILED
    return L.MODE_NONE


@part
def stall(p, s, now, current):
    """Hold a stalled motor until cut-off or burning; return how long [s] that lasted."""
    s.stalls += 1
    burning = time_to_burn(p, s, now, current)
    lasting = min(p.actuator_stall_cutoff, burning)
    if lasting == math.inf:
        lasting = GIVE_UP
    if burning < p.actuator_stall_cutoff:
        s.burnt = 1
    heat(p, s, now, current, lasting)
    if stroke_draw(s, STRIP) < p.actuator_strip_chance:
        s.stripped = 1
    return lasting


@part
def begin_stroke(p, s, now, delay):
    """Decide how the closing that starts now ends.

    Returns
    -------
    outcome : int
        MODE_NONE when the valve shuts, else the broken link.
    lasting : float
        Time [s] until the end of the stroke.
    """
    if has_coil(p):
        return solenoid_stroke(p, s), SOLENOID_TIME
    source = power_source(p, s)
    if source == DARK:
        return L.MODE_NO_POWER, 0.0
    if s.failed == 1 or stroke_draw(s, STICK) < p.actuator_stick_chance:
        return L.MODE_ACTUATOR_FAILED, 1.0
    if s.burnt == 1:
        return L.MODE_MOTOR_BURNT, 1.0
    if s.stripped == 1:
        return L.MODE_GEARS_STRIPPED, 1.0
    if s.slipped == 1:
        return L.MODE_MOUNT_SLIPPED, 1.0
    voltage, resistance = p.battery_voltage, p.battery_resistance
    if source == ON_SUPPLY:
        voltage, resistance = p.supply_voltage, p.supply_resistance
    required = closing_torque(p, s, now, stroke_draw(s, SHARE))
    available = available_torque(p, s, voltage, resistance)
    transmitted = min(required, available)
    if transmitted > slip_capacity(p, s, now):
        s.slipped = 1
        return L.MODE_MOUNT_SLIPPED, 1.0
    if transmitted > p.valve_stem_limit:
        s.broken = 1
        return L.MODE_SEIZED, 1.0
    stalled = required > available or available <= 0.0
    if stalled:
        current = stall_current(p, voltage, resistance)
    else:
        current = running_current(p, s, required)
    if p.controller_shares_rail == 1 and voltage - current * resistance < p.controller_brown_out:
        return L.MODE_BROWN_OUT, 0.5
    if stalled:
        lasting = stall(p, s, now, current)
        if source != ON_SUPPLY:
            spend(p, s, now, voltage * current * lasting, delay, L.BATTERY_EMPTY)
        if is_seized(s, now):
            s.broken = 1
            return L.MODE_SEIZED, lasting
        return L.MODE_UNDERSIZED, lasting
    lasting = stroke_time(p, required, available, voltage)
    if source != ON_SUPPLY and not spend(
        p, s, now, voltage * current * lasting, delay, L.BATTERY_EMPTY
    ):
        return L.MODE_NO_POWER, 1.0
    if stroke_draw(s, TRAVEL) < p.actuator_short_chance:
        return L.MODE_CLOSED_SHORT, lasting
    return L.MODE_NONE, lasting


@part
def renew_element(p, s, now, unit_u, preload_u):
    """Put the closing element in order: a new unit on a tightened mount, the valve freed."""
    s.failed = 0
    s.burnt = 0
    s.stripped = 0
    s.slipped = 0
    s.broken = 0
    s.strokes = 0.0
    s.winding = 0.0
    s.winding_at = now
    s.mounted_at = now
    s.unit = quantile(p.actuator_unit_spread, unit_u)
    s.preload = quantile(p.mount_preload_kept, preload_u)
