"""Where failures are rare: histories aimed at them, and the weights that put that right.

Half of the histories run as ever. The others take one of the looks that a design has: a random
failure of the closing element within the service life; a valve stiffer than usual; dead sensors,
as many as leave a zone blind; a dead battery. The weight of a history is the ratio of the plain
density of what it met so far to that of this mixture (J. M. Hammersley, D. C. Handscomb, "Monte
Carlo Methods", 1964, section 5.4, importance sampling; E. Veach, L. J. Guibas, "Optimally combining
sampling techniques for Monte Carlo rendering", SIGGRAPH 1995: the balance heuristic; both from
memory). So weighted means stay unbiased, and as half is plain no weight exceeds 2.

What dies unnoticed and is found at tests stays dead from then on to the next test. The service life
is cut into windows between tests. A history that looks for dead parts picks a window evenly over
time, and lets the parts that are alive at its start die within it: at shares u of the chance to die
in it, even up to a bound v whose density is proportional to v to the power of the number of parts.
That is the plain law times the time for which all of them are dead, in proportion, so that every
such history carries much the same. What a part has lived so far is known at the start of the
window, so the rest of its life may be drawn anew there.
"""

from __future__ import annotations

import math

import numpy as np

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.detection import shock_rate
from shutoffsim.model.fitted import closes_itself, falls_shut, has_motor
from shutoffsim.model.power import outage_rate, until_outage
from shutoffsim.model.quantiles import FIXED, chance, quantile
from shutoffsim.model.streams import AIM_DRAWS, even_uniform, uniform

NO_LOOK, FAILED_ELEMENT, STIFF_VALVE, DEAD_SENSORS, DEAD_BATTERY = np.arange(5)
STIFF_REACH = 1e-10  # how rare the stiffest valves are that aimed histories come to
AFTER_TESTS = 1.0  # s from a test to the next window: what is replaced at once is alive by then
REPLACED_WINDOW = 8.0  # times the usual time until a sensor is replaced that is known to be dead

# Draws of an aimed history in AIM_DRAWS: the first are even over a block of histories.
WINDOW, PICK, BOUND, OUTAGE, OUTAGE_LEFT = np.arange(1, 6)
CHOOSE, DIE = 8, 32  # + number of the sensor


@kernel
def aim_draw(s, which):
    """Return the uniform number ``which`` of this history's aim."""
    if which < CHOOSE:
        return even_uniform(s.seed, s.history, AIM_DRAWS, which)
    return uniform(s.seed, s.history, AIM_DRAWS, which)


# --- looks ------------------------------------------------------------------------------------


@kernel
def has_look(p, look):
    """Return whether failures of this kind can be looked for in this design."""
    if not closes_itself(p):
        return False
    if look == FAILED_ELEMENT:
        return p.actuator_failure_rate > 0.0
    if look == STIFF_VALVE:
        return has_motor(p) and p.valve_breakaway[0] != FIXED
    if look == DEAD_SENSORS:
        return sensor_targets(p) > 0
    if p.battery_fitted == 0 or p.battery_life[0] == FIXED:
        return False
    losses = p.mains_outage_rate + p.mains_major_rate + p.mains_dip_rate + p.supply_failure_rate
    return losses > 0.0 and not falls_shut(p)


@kernel
def share_of(p, look):
    """Return the share of the histories that take a look: half of all, in even parts of 32nds."""
    looks = 0
    place = 0
    for other in range(FAILED_ELEMENT, DEAD_BATTERY + 1):
        if has_look(p, other):
            if other < look:
                place += 1
            looks += 1
    if looks == 0 or not has_look(p, look):
        return 0.0
    return (16 // looks + (1 if place < 16 % looks else 0)) / 32.0


@part
def aim_site(p, s, u, rarity, failure):
    """Choose the look by ``u`` in (0, 1); return the valve's rarity and the failure's uniform.

    ``rarity`` is the chance of a stiffer valve. A history that looks for stiff ones draws it
    log-uniformly, each power of ten as often as the next, down to STIFF_REACH.
    """
    s.weight = 1.0
    s.aim = NO_LOOK
    if s.tilt == 0:
        return rarity, failure
    up_to = 0.0
    for look in range(FAILED_ELEMENT, DEAD_BATTERY + 1):
        share = share_of(p, look)
        if up_to <= u < up_to + share:
            s.aim = look
        up_to += share
    within = -math.expm1(
        -p.actuator_failure_rate * p.service_life
    )  # chance to fail within the service life
    depth = -math.log(STIFF_REACH)
    if s.aim == FAILED_ELEMENT:
        failure *= within
    elif s.aim == STIFF_VALVE:
        rarity = math.exp(depth * (rarity - 1.0))
    s.aim_density = 1.0 - up_to  # of the mixture over the plain one
    if failure < within:
        s.aim_density += share_of(p, FAILED_ELEMENT) / within
    if rarity > STIFF_REACH:
        s.aim_density += share_of(p, STIFF_VALVE) / (depth * rarity)
    return rarity, failure


@kernel
def set_weight(p, s):
    """Set the weight from what the history has met so far."""
    density = s.aim_density
    density += share_of(p, DEAD_SENSORS) * (s.sensors_past + s.sensors_now + s.sensors_ahead)
    density += share_of(p, DEAD_BATTERY) * (s.battery_past + s.battery_now + s.battery_ahead)
    s.weight = 1.0 / density


@part
def begin_aim(p, s, delay):
    """Start the windows of a history, once all lives are drawn."""
    if s.tilt == 0:
        return
    s.sensors_ahead = 1.0
    s.battery_ahead = 1.0
    set_weight(p, s)
    if has_look(p, DEAD_SENSORS):
        delay[L.AIM_SENSORS] = AFTER_TESTS
    if has_look(p, DEAD_BATTERY):
        aim_at_battery(p, s, 0.0, delay)


# --- lives ------------------------------------------------------------------------------------


@kernel
def chance_to_die(rate, life, age, time):
    """Return the chance that what has lived for ``age`` [s] dies within ``time`` [s].

    It fails at ``rate`` [1/s], and at the end of a ``life`` (a distribution) at the latest.
    """
    by_rate = -math.expm1(-rate * time)
    lived = chance(life, age)
    if lived >= 1.0:
        return by_rate
    by_life = (chance(life, age + time) - lived) / (1.0 - lived)
    return by_rate + (1.0 - by_rate) * by_life


@kernel
def time_to_die(rate, life, age, time, wanted):
    """Return within which time [s], up to ``time``, it dies with the chance ``wanted``."""
    low, high = 0.0, time
    for _ in range(60):
        middle = 0.5 * (low + high)
        if chance_to_die(rate, life, age, middle) < wanted:
            low = middle
        else:
            high = middle
    return high


@kernel
def sensor_chance(p, s, k, now, time):
    """Return the chance that sensor ``k``, alive now, dies by itself within ``time`` [s].

    Zero where a life of fixed length ends within that time: there is nothing to draw.
    """
    age = now - s.sensor_new_at[k]
    life = p.sensor_battery_life[k]
    if life[0] == FIXED and age + time >= life[1]:
        return 0.0
    return chance_to_die(own_rate(p, k), life, age, time)


@kernel
def own_rate(p, k):
    """Return the rate [1/s] at which sensor ``k`` fails alone."""
    return p.sensor_failure_rate[k] * (1.0 - p.detection_common_cause)


@kernel
def battery_chance(p, s, now, time):
    """Return the chance that the battery, alive now, dies within ``time`` [s]."""
    return chance_to_die(0.0, p.battery_life, now - s.battery_new_at, time)


# --- sensors ----------------------------------------------------------------------------------


@kernel
def is_first_of_zone(p, k):
    """Return whether sensor ``k`` is the first that water can meet in its zone."""
    if p.sensor_reach_chance[k] <= 0.0:
        return False
    for other in range(k):
        if p.sensor_zone[other] == p.sensor_zone[k] and p.sensor_reach_chance[other] > 0.0:
            return False
    return True


@kernel
def is_beside(p, k, other):
    """Return whether ``other`` watches the zone of sensor ``k``."""
    return p.sensor_zone[other] == p.sensor_zone[k] and p.sensor_reach_chance[other] > 0.0


@kernel
def can_go_blind(p, k):
    """Return whether ``k`` is the first sensor of a zone that sensors watch and that can die."""
    if not is_first_of_zone(p, k):
        return False
    there = 0
    mortal = False
    for other in range(p.n_sensors):
        if is_beside(p, k, other):
            there += 1
            if own_rate(p, other) > 0.0 or p.sensor_battery_life[other, 0] != FIXED:
                mortal = True
    return mortal and there >= p.detection_votes


@kernel
def sensor_targets(p):
    """Return how many things one can aim at: zones to go blind, and the common cause."""
    targets = 1 if shock_rate(p) > 0.0 else 0
    for k in range(p.n_sensors):
        if can_go_blind(p, k):
            targets += 1
    return targets


@part
def sensor_window(p):
    """Return the width [s] of the windows in which sensors are let die."""
    supervised = True
    for k in range(p.n_sensors):
        if p.sensor_reach_chance[k] > 0.0 and p.sensor_supervised[k] == 0:
            supervised = False
    width = min(p.detection_test_interval, p.service_life)
    if supervised:  # found long before a test
        usual = REPLACED_WINDOW * quantile(p.detection_replacement, 0.5)
        width = min(width, max(usual, p.service_life / 1000.0))
    return width


@kernel
def to_die(p, s, k, now, time):
    """Return how many sensors of ``k``'s zone are to die to leave it blind, and of how many.

    The first is 0 when that is not to be had within ``time`` [s].
    """
    lacking = 1 - p.detection_votes
    able = 0
    for other in range(p.n_sensors):
        if is_beside(p, k, other) and s.sensor_ok[other] == 1:
            lacking += 1
            if sensor_chance(p, s, other, now, time) > 0.0:
                able += 1
    return (lacking if 0 < lacking <= able else 0), able


@kernel
def blind_density(p, s, k, now, time):
    """Return the density of the look at ``k``'s zone in this window over the plain one.

    It is a mean over all choices of as many sensors as have to die.
    """
    lacking, able = to_die(p, s, k, now, time)
    if lacking == 0:
        return 1.0
    dying = 0  # as bits
    count = 0
    for other in range(p.n_sensors):
        dies = s.sensor_dies_at[other] <= now + time
        if is_beside(p, k, other) and s.sensor_ok[other] == 1 and dies:
            if sensor_chance(p, s, other, now, time) > 0.0:
                dying |= 1 << other
                count += 1
    if count < lacking:
        return 0.0
    choices = 1.0
    for j in range(lacking):
        choices *= (able - j) / (j + 1.0)
    total = 0.0
    chosen = dying
    while chosen > 0:
        number = 0
        product = 1.0
        last = 0.0
        for other in range(p.n_sensors):
            if (chosen >> other) & 1 == 1:
                number += 1
                whole = sensor_chance(p, s, other, now, time)
                passed = s.sensor_dies_at[other] - now
                product /= whole
                last = max(last, sensor_chance(p, s, other, now, passed) / whole)
        if number == lacking:
            total += product * (lacking + 1.0) * (1.0 - last)
        chosen = (chosen - 1) & dying
    return total / choices


@part
def shock_density(p, s, now, time):
    """Return the density of the look at the common cause in this window over the plain one."""
    if s.shock_at > now + time:
        return 0.0
    whole = -math.expm1(-shock_rate(p) * time)
    share = -math.expm1(-shock_rate(p) * (s.shock_at - now)) / whole
    return 2.0 * (1.0 - share) / whole


@part
def let_sensors_die(p, s, now, time, delay):
    """Draw anew when sensors die that this history aims at."""
    target = int(aim_draw(s, PICK) * sensor_targets(p))
    for k in range(p.n_sensors):
        if not can_go_blind(p, k):
            continue
        if target == 0:
            left, able = to_die(p, s, k, now, time)
            bound = aim_draw(s, BOUND) ** (1.0 / (left + 1.0))
            for other in range(p.n_sensors):
                if not is_beside(p, k, other) or s.sensor_ok[other] == 0:
                    continue
                whole = sensor_chance(p, s, other, now, time)
                if whole <= 0.0:
                    continue
                if aim_draw(s, CHOOSE + other) * able < left:
                    left -= 1
                    wanted = aim_draw(s, DIE + other) * bound * whole
                    age = now - s.sensor_new_at[other]
                    life = p.sensor_battery_life[other]
                    dies = time_to_die(own_rate(p, other), life, age, time, wanted)
                    s.sensor_dies_at[other] = now + dies
                    delay[L.FIRST_SOURCE + p.n_sources + other] = dies
                able -= 1
            return
        target -= 1
    whole = -math.expm1(-shock_rate(p) * time)
    wanted = aim_draw(s, DIE) * math.sqrt(aim_draw(s, BOUND)) * whole
    delay[L.SENSOR_SHOCK] = -math.log1p(-wanted) / shock_rate(p)
    s.shock_at = now + delay[L.SENSOR_SHOCK]


@kernel
def aim_at_sensors(p, s, now, delay):
    """A window begins: let sensors die if it is the one, and see what that does to the weight."""
    if s.focus != L.EVERY_LEAK:
        return  # a probe has the weight of its history
    width = sensor_window(p)
    time = min(width, p.service_life - now)
    span = p.service_life - AFTER_TESTS
    if s.aim == DEAD_SENSORS and int(aim_draw(s, WINDOW) * span / width) == s.sensors_window:
        let_sensors_die(p, s, now, time, delay)
    density = shock_density(p, s, now, time) if shock_rate(p) > 0.0 else 0.0
    for k in range(p.n_sensors):
        if can_go_blind(p, k):
            density += blind_density(p, s, k, now, time)
    s.sensors_past += s.sensors_now
    s.sensors_now = density / sensor_targets(p) * time / span
    s.sensors_ahead = max(p.service_life - now - time, 0.0) / span
    s.sensors_window += 1
    delay[L.AIM_SENSORS] = width
    set_weight(p, s)


# --- battery ----------------------------------------------------------------------------------


@part
def battery_window(p):
    """Return the width [s] of the windows in which the battery is let die."""
    return min(p.battery_test, p.battery_change, p.service_life)


@kernel
def aim_at_battery(p, s, now, delay):
    """A window begins: let the battery die if it is the one, and see what that does to the weight.

    Half of the histories that do so also let mains fail before the window ends.
    """
    if s.focus != L.EVERY_LEAK:
        return
    width = battery_window(p)
    time = min(width, p.service_life - now)
    aimed = s.aim == DEAD_BATTERY
    aimed = aimed and int(aim_draw(s, WINDOW) * p.service_life / width) == s.battery_window
    density = 1.0
    s.dark_until = -1.0
    s.let_outage = 0
    whole = battery_chance(p, s, now, time) if s.battery_ok == 1 else 0.0
    if whole > 0.0:
        if aimed:
            wanted = aim_draw(s, DIE) * math.sqrt(aim_draw(s, BOUND)) * whole
            age = now - s.battery_new_at
            delay[L.BATTERY_LIFE] = time_to_die(0.0, p.battery_life, age, time, wanted)
            s.battery_dies_at = now + delay[L.BATTERY_LIFE]
            s.let_outage = 1 if aim_draw(s, OUTAGE) < 0.5 else 0
        density = 0.0
        if s.battery_dies_at <= now + time:
            share = battery_chance(p, s, now, s.battery_dies_at - now) / whole
            density = 2.0 * (1.0 - share) / whole
            s.dark_until = now + time
    s.battery_past += s.battery_now
    s.battery_now = density * time / p.service_life
    s.battery_ahead = max(p.service_life - now - time, 0.0) / p.service_life
    s.battery_window += 1
    delay[L.AIM_BATTERY] = width
    set_weight(p, s)


@part
def aim_at_outage(p, s, now, delay):
    """The battery has died: let mains fail before the window ends, if that is this history's aim.

    What is left of the hazard to the next outage has no memory and may be drawn anew.
    """
    if s.tilt == 0 or s.focus != L.EVERY_LEAK or s.dark_until <= now or s.mains == 0:
        return
    rate = outage_rate(p, s)
    hazard = rate * (s.dark_until - now)
    if hazard > 0.0:
        within = -math.expm1(-hazard)
        s.outage_left = max(s.outage_left - (now - s.outage_seen) * rate, 0.0)
        if s.let_outage == 1:
            s.outage_left = -math.log1p(-aim_draw(s, OUTAGE_LEFT) * within)
        s.battery_now *= 0.5 + (0.5 / within if s.outage_left < hazard else 0.0)
        delay[L.OUTAGE] = until_outage(p, s, now)
        set_weight(p, s)
    s.dark_until = -1.0
