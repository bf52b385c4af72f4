"""The actuator: what a stroke gives at the shaft, and how it ends."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import entry, part
from shutoffsim.model.fitted import falls_open, has_coil
from shutoffsim.model.motor import (
    available_torque,
    heat,
    running_current,
    stall_current,
    stroke_time,
    time_to_burn,
)
from shutoffsim.model.mount import slip_capacity
from shutoffsim.model.power import DARK, ON_SUPPLY, power_source, spend
from shutoffsim.model.streams import PER_ATTEMPT, PER_STROKE, STROKE_DRAWS, uniform
from shutoffsim.model.valve import closing_torque, is_seized

# Draws of one demand in STROKE_DRAWS: by stroke_draw and attempt.
SHARE, STICK, STRIP, TRAVEL = np.arange(4)
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
    if s.broken == L.SHEARED:
        return L.MODE_SEIZED, 1.0
    required = closing_torque(p, s, now, stroke_draw(s, SHARE))
    available = available_torque(p, s, now, voltage, resistance)
    transmitted = min(required, available)
    if transmitted > slip_capacity(p, s, now):
        s.slipped = 1
        return L.MODE_MOUNT_SLIPPED, 1.0
    if transmitted > p.valve_stem_limit:
        s.broken = L.SHEARED
        return L.MODE_SEIZED, 1.0
    stalled = required > available or available <= 0.0
    if stalled:
        current = stall_current(p, s, voltage, resistance)
    else:
        current = running_current(p, s, required, available, voltage, resistance)
    if p.controller_shares_rail == 1 and voltage - current * resistance < p.controller_brown_out:
        return L.MODE_BROWN_OUT, 0.5
    if stalled:
        lasting = stall(p, s, now, current)
        if source != ON_SUPPLY:
            spend(p, s, now, voltage * current * lasting, delay, L.BATTERY_EMPTY)
        if is_seized(s, now):
            s.broken = L.STUCK
            return L.MODE_SEIZED, lasting
        return L.MODE_UNDERSIZED, lasting
    lasting = stroke_time(p, s, required, available, voltage)
    if source != ON_SUPPLY and not spend(
        p, s, now, voltage * current * lasting, delay, L.BATTERY_EMPTY
    ):
        return L.MODE_NO_POWER, 1.0
    if stroke_draw(s, TRAVEL) < p.actuator_short_chance:
        return L.MODE_CLOSED_SHORT, lasting
    return L.MODE_NONE, lasting
