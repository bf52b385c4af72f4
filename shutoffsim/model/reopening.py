"""Reopening: what an actuator must turn to give the water back, and who does it if it cannot."""

from __future__ import annotations

from shutoffsim.model import layout as L
from shutoffsim.model import override, power, valve
from shutoffsim.model.compiled import kernel
from shutoffsim.model.fitted import falls_shut, has_motor
from shutoffsim.model.motor import available_torque
from shutoffsim.model.mount import slip_capacity
from shutoffsim.model.occupancy import presence_at, until_presence_changes
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import REOPENING_DRAWS, next_draw


@kernel
def opens(p, s, now):
    """Return whether the actuator gets the shut valve open; a coil always does, with power."""
    if not has_motor(p) or s.gave_up == 1:
        return True
    source = power.power_source(p, s)
    if source == power.DARK or s.failed == 1 or s.burnt == 1 or s.stripped == 1 or s.slipped == 1:
        return False
    voltage, resistance = p.battery_voltage, p.battery_resistance
    if source == power.ON_SUPPLY:
        voltage, resistance = p.supply_voltage, p.supply_resistance
    return turns_open(p, s, now, voltage, resistance)


@kernel
def turns_open(p, s, now, voltage, resistance):
    """Return whether the motor turns the shut valve open on this supply, and nothing gives way."""
    needed = valve.opening_torque(p, s, now)
    if needed > available_torque(p, s, now, voltage, resistance):
        return False
    return needed <= slip_capacity(p, s, now) and needed <= p.valve_stem_limit


@kernel
def somebody_must_act(p, s, now, delay):
    """The water stays off until somebody who is there and awake gives it back."""
    if s.water_back != L.NOBODY_ACTS:
        return
    s.water_back = L.WAITS_FOR_PEOPLE
    delay[L.WATER_BACK] = until_somebody(p, s, now)


@kernel
def until_somebody(p, s, now):
    """Return the delay [s] to the next look whether somebody is there and awake; 0: they are."""
    if s.trip == 1:
        return L.NEVER  # looked at when they are back
    s.presence = presence_at(p, s, now)
    return 0.0 if s.presence == L.AWAKE else until_presence_changes(p, s, now)


@kernel
def look_for_people(p, s, now, delay):
    """Somebody may be there now: they notice and act after a drawn time."""
    if s.trip == 0 and presence_at(p, s, now) == L.AWAKE:
        s.water_back = L.AT_IT
        delay[L.WATER_BACK] = quantile(p.reopening_notice, next_draw(s, REOPENING_DRAWS))
    else:
        delay[L.WATER_BACK] = until_somebody(p, s, now)


@kernel
def hand_opens(p, s, now):
    """Return whether a hand gets the valve open; it may shear the stem."""
    needed = valve.opening_torque(p, s, now)
    torque = override.hand_torque(p, needed, next_draw(s, REOPENING_DRAWS))
    if override.shears(p, needed, torque):
        s.broken = L.SHEARED
        return False
    return needed <= torque


@kernel
def count_dry(p, s, now):
    """Count the time that people who are not on a trip have been without water for no leak."""
    passed = now - s.dry_at
    s.dry_at = now
    if s.position != L.SHUT or s.trip == 1 or s.open_leaks > 0:
        return
    cause = L.DRY_NUISANCE
    if s.stuck_shut == 1:
        cause = L.DRY_STUCK
    elif s.hold_power == 1 and falls_shut(p):
        cause = L.DRY_COIL
    elif s.hold_power == 1 or s.hold_away == 1:
        cause = L.DRY_POLICY
    s.dry[cause] += passed
