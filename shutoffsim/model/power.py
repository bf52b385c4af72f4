"""Power: mains, supply and battery, and what they give the motor."""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model.compiled import entry, kernel, part
from shutoffsim.model.fitted import falls_open, falls_shut, has_coil
from shutoffsim.model.layout import NEVER, SHUT, SWITCH_OFF
from shutoffsim.model.quantiles import quantile, waiting
from shutoffsim.model.streams import BATTERY_DRAWS, OUTAGE_DRAWS, next_draw, next_regional_draw

DARK, ON_SUPPLY, ON_BATTERY = np.arange(3)


@kernel
def house_is_live(s):
    """Return whether there is mains voltage in the house."""
    return s.mains == 1 and s.tripped == 0 and s.main_switch != SWITCH_OFF


@kernel
def is_supplied(s):
    """Return whether the power supply gives anything."""
    return house_is_live(s) and s.supply_ok == 1


@entry
def power_source(p, s):
    """Return ON_SUPPLY, ON_BATTERY or DARK."""
    if is_supplied(s):
        return ON_SUPPLY
    if p.battery_fitted == 1 and s.battery_ok == 1 and s.battery_empty == 0:
        return ON_BATTERY
    return DARK


@part
def fresh_energy(p, s, now):
    """Return the usable energy [J] of the battery at its age, fully charged."""
    left = 1.0 - p.battery_fade * (now - s.battery_new_at)
    return p.battery_energy * max(left, 0.0)


@part
def battery_left(s, now):
    """Return the usable energy [J] left while off the supply."""
    return s.battery_energy - s.battery_draw * (now - s.off_mains_at)


@kernel
def leave_supply(p, s, now, delay, empty_clock):
    """The supply has gone: start drawing on the battery, if it works."""
    s.battery_empty = 0
    s.battery_energy = fresh_energy(p, s, now)
    s.off_mains_at = now
    if p.battery_fitted == 1 and s.battery_ok == 1:
        draw_on(p, s, delay, empty_clock)


@kernel
def draw_on(p, s, delay, empty_clock):
    """Set what is drawn from the battery from now on, and when that empties it."""
    open_coil = falls_shut(p) and s.position != SHUT
    shut_coil = falls_open(p) and s.position == SHUT
    s.battery_draw = p.controller_standby_power
    if open_coil or shut_coil:
        s.battery_draw += p.solenoid_coil_power
    delay[empty_clock] = s.battery_energy / s.battery_draw if s.battery_draw > 0.0 else NEVER


@kernel
def spend(p, s, now, energy, delay, empty_clock):
    """Take ``energy`` [J] from the battery for a stroke; False when it no longer holds it."""
    left = battery_left(s, now) - energy
    if left < 0.0:
        return False
    s.battery_energy = left
    s.off_mains_at = now
    draw_on(p, s, delay, empty_clock)
    return True


@kernel
def coil_switched(p, s, now, delay, empty_clock):
    """The valve is in another position: on battery, draw from now on what its coil takes there."""
    if has_coil(p) and power_source(p, s) == ON_BATTERY:
        spend(p, s, now, 0.0, delay, empty_clock)


@kernel
def next_battery_failure(p, s):
    """Return the delay [s] until the battery of today fails unnoticed."""
    lives = quantile(p.battery_life, next_draw(s, BATTERY_DRAWS))
    s.battery_dies_at = s.battery_new_at + lives
    return lives


@kernel
def outage_rate(p, s):
    """Return the rate [1/s] of outages and dips in this weather."""
    factor = p.mains_spell_factor if s.spell == 1 else 1.0
    return (p.mains_outage_rate + p.mains_major_rate) * factor + p.mains_dip_rate


@kernel
def until_outage(p, s, now):
    """Return the time [s] to the next outage if the weather stays as it is."""
    rate = outage_rate(p, s)
    s.outage_seen = now
    return s.outage_left / rate if rate > 0.0 else math.inf


@kernel
def next_outage(p, s, now):
    """Return the time [s] to the next outage, drawn anew.

    What is drawn is the hazard that passes until then (unit exponential), so that weather can
    change the rate on the way without a further draw.
    """
    s.outage_left = waiting(1.0, next_regional_draw(p, s, OUTAGE_DRAWS))
    return until_outage(p, s, now)


@part
def weather_changes(p, s, now, spell):
    """Count the hazard of outages that has passed, and set the weather."""
    s.outage_left = max(s.outage_left - (now - s.outage_seen) * outage_rate(p, s), 0.0)
    s.spell = spell


@part
def outage_length(p, s, pick, u):
    """Return the duration [s] of an outage.

    ``pick`` in (0, 1) chooses, in this order, dip, ordinary or major outage.
    """
    at = pick * outage_rate(p, s)
    if at < p.mains_dip_rate:
        return quantile(p.mains_dip_duration, u)
    factor = p.mains_spell_factor if s.spell == 1 else 1.0
    if at - p.mains_dip_rate < p.mains_outage_rate * factor:
        return quantile(p.mains_outage_duration, u)
    return quantile(p.mains_major_duration, u)
