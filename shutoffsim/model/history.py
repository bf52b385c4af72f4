"""The system as clocks and reactions: THE definition that both engines drive.

``start`` sets the state and says when each clock first rings; ``react`` changes the state after a
clock has rung and says, per clock, ring after this delay, NEVER, or KEEP; ``close`` settles what
is open at the end. Only delays go out, never absolute times.
"""

from __future__ import annotations

import math

from shutoffsim.model import (
    aim,
    commissioning,
    control,
    detection,
    leak,
    override,
    power,
    reopening,
    strokes,
    upkeep,
    valve,
)
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import entry, kernel
from shutoffsim.model.fitted import falls_open, falls_shut
from shutoffsim.model.incident import (
    advance,
    begin_leak,
    end_leak,
    first_leak_clock,
    leak_wants_shut,
    plan,
    reopen_if_free,
    set_flow,
    set_position,
)
from shutoffsim.model.occupancy import presence_at, until_presence_changes
from shutoffsim.model.quantiles import quantile, waiting
from shutoffsim.model.site import FIRST_TRIP, draw_site, site_draw
from shutoffsim.model.streams import (
    CONTROLLER_DRAWS,
    HABIT_DRAWS,
    NATURAL_KEYS,
    NUISANCE_DRAWS,
    OUTAGE_DRAWS,
    OWNER_DRAWS,
    PER_CANDIDATE,
    PICKUP_DRAWS,
    REOPENING_DRAWS,
    SHOCK_DRAWS,
    SOURCES_DRAWS,
    SUPPLY_DRAWS,
    SWITCH_DRAWS,
    TRIP_DRAWS,
    VALVE_DRAWS,
    WEATHER_DRAWS,
    next_draw,
    next_regional_draw,
    uniform,
)

A_DAY = 86400.0  # s
AN_HOUR = 3600.0  # s
AT_NIGHT = 3.0 * AN_HOUR  # s after midnight: the least is drawn from pipes then


@entry
def start(p, s, delay):
    """Set the state at commissioning (``s`` comes zeroed but for seed, history, focus)."""
    s.spell = 0
    s.mains = 1
    s.supply_ok = 1
    s.battery_ok = 1
    s.controller = 1
    s.gateway_at = -1.0
    failure = draw_site(p, s)
    s.moved_at = -p.valve_idle_start
    s.born_at = -p.valve_age
    s.seize_after = quantile(p.valve_seize_time, uniform(s.seed, s.history, VALVE_DRAWS, 0))
    s.fault_kind = upkeep.repair_draw(s, upkeep.KIND)
    commissioning.fitting_test(p, s)
    s.limit = first_leak_clock(p)

    delay.fill(L.NEVER)
    delay[L.WEATHER] = next_spell(p, s)
    delay[L.OUTAGE] = power.next_outage(p, s, 0.0)
    if p.people_trips == 1:
        s.trip = 1 if site_draw(s, FIRST_TRIP) < p.people_start_away else 0
        delay[L.TRIP] = 0.0
        s.trip = 1 - s.trip  # the trip clock turns it at once
    for k in range(p.n_sensors):
        s.sensor_ok[k] = 1
        delay[L.FIRST_SOURCE + p.n_sources + k] = detection.next_sensor_death(p, s, k, 0.0)
    s.pickup_ok = 1
    if p.flow_rule_fitted == 1:
        delay[L.PICKUP] = waiting(p.flow_rule_failure_rate, next_draw(s, PICKUP_DRAWS))
    for i in range(p.n_sources):
        delay[L.FIRST_SOURCE + i] = waiting(leak.greatest_rate(p, i), source_draw(s, i, 0))
    if p.n_sensors > 0:
        delay[L.SENSOR_CHECK] = p.detection_test_interval
        delay[L.SENSOR_SHOCK] = next_shock(p, s, 0.0)
    if not commissioning.in_use(p, s):
        return
    delay[L.EXERCISE] = p.exercise_interval
    delay[L.OWNER_TEST] = p.owner_test_interval
    delay[L.RETIGHTEN] = p.mount_retightening
    if p.pressure_test_interval < math.inf:
        delay[L.PRESSURE_TEST] = AT_NIGHT
    delay[L.NUISANCE] = waiting(
        p.nuisance_sensor_rate + p.nuisance_rule_rate, next_draw(s, NUISANCE_DRAWS)
    )
    delay[L.ACTUATOR] = waiting(p.actuator_failure_rate, failure)
    delay[L.CONTROLLER] = waiting(p.controller_hang_rate, next_draw(s, CONTROLLER_DRAWS))
    delay[L.SUPPLY] = waiting(p.supply_failure_rate, next_draw(s, SUPPLY_DRAWS))
    if p.battery_fitted == 1:
        delay[L.BATTERY_LIFE] = power.next_battery_failure(p, s)
        delay[L.BATTERY_CHANGE] = p.battery_change
    aim.begin_aim(p, s, delay)


@kernel
def next_shock(p, s, now):
    """Return the delay [s] until all sensors die at once."""
    delay = waiting(detection.shock_rate(p), next_draw(s, SHOCK_DRAWS))
    s.shock_at = now + delay
    return delay


@kernel
def source_draw(s, i, which):
    """Return a uniform of the present candidate of source ``i``: 0 waiting, 1 thinning."""
    return uniform(s.seed, s.history, SOURCES_DRAWS + i, s.n_source[i] * PER_CANDIDATE + which)


@kernel
def next_spell(p, s):
    """Return the delay [s] to the next candidate of a severe spell."""
    return waiting(4.0 * p.weather_spell_rate, next_regional_draw(p, s, WEATHER_DRAWS))


@kernel
def on_weather(p, s, now, delay):
    """A severe spell starts (winter half only, by thinning) or ends."""
    begins = s.spell == 0 and next_regional_draw(p, s, WEATHER_DRAWS) * 4.0 < leak.winter_share(
        p, now
    )
    if s.spell == 1 or begins:
        power.weather_changes(p, s, now, 1 if begins else 0)
        if s.mains == 1:
            delay[L.OUTAGE] = power.until_outage(p, s, now)
    if begins:
        delay[L.WEATHER] = quantile(
            p.weather_spell_duration, next_regional_draw(p, s, WEATHER_DRAWS)
        )
    else:
        delay[L.WEATHER] = next_spell(p, s)


@kernel
def on_outage(p, s, now, delay):
    """Mains fail or return."""
    if s.mains == 0:
        s.mains = 1
        delay[L.OUTAGE] = power.next_outage(p, s, now)
        if power.is_supplied(s):
            supply_is_back(p, s, now, delay)
        return
    pick = next_regional_draw(p, s, OUTAGE_DRAWS)
    was_supplied = power.is_supplied(s)
    s.mains = 0
    delay[L.OUTAGE] = power.outage_length(p, s, pick, next_regional_draw(p, s, OUTAGE_DRAWS))
    if was_supplied:
        supply_is_lost(p, s, now, delay)


@kernel
def trip_breaker(p, s, now, slot, delay):
    """Water has reached something live: the earth-leakage breaker takes the power away."""
    s.leak_breaker[slot] = math.inf
    was_supplied = power.is_supplied(s)
    s.tripped = 1
    if was_supplied:
        supply_is_lost(p, s, now, delay)


@kernel
def reset_breaker(p, s, now, delay):
    """Whoever has found and stopped the leak switches the power on again."""
    s.tripped = 0
    if power.is_supplied(s):
        supply_is_back(p, s, now, delay)


@kernel
def leave_power(p, s, now, delay):
    """People on their way out may cut the power, once the valve no longer moves."""
    if (
        s.main_switch == L.SWITCH_ON_NOW
        and next_draw(s, SWITCH_DRAWS) < p.people_power_off_on_leaving
    ):
        s.main_switch = L.SWITCH_OFF_SOON
    cut_power(p, s, now, delay)


@kernel
def cut_power(p, s, now, delay):
    """Throw the main switch if people wait to do so and nothing moves."""
    if s.main_switch == L.SWITCH_OFF_SOON and s.stroke == L.IDLE:
        was_supplied = power.is_supplied(s)
        s.main_switch = L.SWITCH_OFF
        if was_supplied:
            supply_is_lost(p, s, now, delay)


@kernel
def restore_power(p, s, now, delay):
    """People who are back switch the power on."""
    was_supplied = power.is_supplied(s)
    s.main_switch = L.SWITCH_ON_NOW
    if power.is_supplied(s) and not was_supplied:
        supply_is_back(p, s, now, delay)


@kernel
def on_supply(p, s, now, delay):
    """The power supply unit fails, or has been replaced."""
    if s.supply_ok == 1:
        s.supply_ok = 0
        delay[L.SUPPLY] = quantile(p.supply_repair, next_draw(s, SUPPLY_DRAWS))
        if power.house_is_live(s):
            supply_is_lost(p, s, now, delay)
        return
    s.supply_ok = 1
    delay[L.SUPPLY] = waiting(p.supply_failure_rate, next_draw(s, SUPPLY_DRAWS))
    if power.is_supplied(s):
        supply_is_back(p, s, now, delay)


@kernel
def supply_is_lost(p, s, now, delay):
    """No more power from the mains: the battery carries on, or all goes dark."""
    if not commissioning.in_use(p, s):
        return
    power.leave_supply(p, s, now, delay, L.BATTERY_EMPTY)
    if power.power_source(p, s) == power.DARK:
        all_dark(p, s, now, delay)
    elif p.policies_close_on_power_loss == 1:
        delay[L.POLICY] = p.policies_power_loss_wait


@kernel
def supply_is_back(p, s, now, delay):
    """Power from the mains again: orders that stand are taken up, policies let go."""
    if not commissioning.in_use(p, s):
        return
    was_dark = p.battery_fitted == 0 or s.battery_ok == 0 or s.battery_empty == 1
    s.battery_empty = 0
    delay[L.BATTERY_EMPTY] = L.NEVER
    delay[L.POLICY] = L.NEVER
    s.hold_power = 0
    if was_dark and s.controller == 0:  # the controller starts anew, hung or not
        s.controller = 1
        delay[L.CONTROLLER] = waiting(p.controller_hang_rate, next_draw(s, CONTROLLER_DRAWS))
    reopen_if_free(p, s, now, False, delay)
    s.tries = 0
    detection.ask_again(p, s)
    strokes.order_again(p, s, now, delay)


@kernel
def all_dark(p, s, now, delay):
    """Neither mains nor battery: what falls shut or open without power does so."""
    delay[L.POLICY] = L.NEVER
    if falls_shut(p) and s.failed == 0:
        s.hold_power = 1  # also when it was shut before: without power it does not open
        if s.position != L.SHUT:
            s.believed_shut = 1
            s.strokes += 1.0
            s.nuisance_closings += 1
            valve.move(p, s, now)
            set_position(p, s, now, L.SHUT, L.BY_AUTOMATION)
    if falls_open(p):
        s.believed_shut = 0
        if s.position == L.SHUT:
            set_position(p, s, now, L.OPEN, L.BY_NOBODY)


@kernel
def on_trip(p, s, now, delay):
    """People leave on a trip or come back."""
    s.trip = 1 - s.trip
    if s.trip == 1:
        delay[L.TRIP] = quantile(p.people_trip, next_draw(s, TRIP_DRAWS))
        delay[L.VISIT] = p.people_visits
        s.away_mode = 1 if next_draw(s, TRIP_DRAWS) < p.policies_away_mode else 0
        if s.away_mode == 1 and p.policies_close_when_away == 1 and strokes.ready_to_close(p, s):
            s.hold_away = 1
            strokes.other_stroke(p, s, now, L.CLOSE_AWAY, delay)
        elif next_draw(s, HABIT_DRAWS) < p.people_shut_on_leaving:
            control.shut_on_leaving(p, s, now, delay)
        leave_power(p, s, now, delay)
    else:
        restore_power(p, s, now, delay)
        delay[L.TRIP] = quantile(p.people_stay, next_draw(s, TRIP_DRAWS))
        delay[L.VISIT] = L.NEVER
        s.away_mode = 0
        s.hold_away = 0
        if s.repair_due == L.REPAIR_WAITS:
            strokes.finish_repair(p, s, now, delay)
        reopen_if_free(p, s, now, False, delay)
        if s.water_back == L.WAITS_FOR_PEOPLE:
            delay[L.WATER_BACK] = 0.0
        for slot in range(s.slots):
            if s.leak_coming[slot] == L.TRAVELLING:
                s.leak_hands[slot] = 0.0  # who was told on the trip is there
    on_presence(p, s, now, delay)


@kernel
def on_visit(p, s, now, delay):
    """A caretaker looks after the empty building: finds leaks that show, and a dead battery."""
    delay[L.VISIT] = p.people_visits
    s.repair_cost += p.people_visit_cost
    if s.battery_ok == 0 and p.battery_fitted == 1 and power.is_supplied(s):
        renew_battery(p, s, now, delay)
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_found[slot] == 0 and override.shows(p, s, slot):
            control.find_leak(p, s, now, slot)


@kernel
def on_presence(p, s, now, delay):
    """People wake, leave, return or go to bed; looked at only while a leak is open."""
    s.presence = presence_at(p, s, now)
    delay[L.PRESENCE] = L.NEVER
    if s.open_leaks > 0:
        delay[L.PRESENCE] = until_presence_changes(p, s, now)


@kernel
def on_policy(p, s, now, delay):
    """Power has been away long enough: shut the valve while energy lasts."""
    if strokes.ready_to_close(p, s) and not power.is_supplied(s):
        s.hold_power = 1
        strokes.other_stroke(p, s, now, L.CLOSE_POWER, delay)


@kernel
def on_exercise(p, s, now, delay):
    """A scheduled exercise; put off to the next one when it cannot be done."""
    delay[L.EXERCISE] = p.exercise_interval
    if strokes.ready_to_close(p, s) and s.open_leaks == 0 and power.is_supplied(s):
        strokes.other_stroke(p, s, now, L.EXERCISING, delay)


@kernel
def on_owner_test(p, s, now, delay):
    """People try it with a tap open, if they are there and think of it."""
    if s.stroke != L.IDLE:  # often: the day of an exercise
        delay[L.OWNER_TEST] = AN_HOUR
        return
    delay[L.OWNER_TEST] = p.owner_test_interval
    if next_draw(s, OWNER_DRAWS) >= p.owner_test_done or s.trip == 1 or s.open_leaks > 0:
        return
    if s.switched_off == 1:
        s.switched_off = 0
        delay[L.SWITCH_ON] = L.NEVER
    if s.controller == 0:
        on_controller(p, s, now, delay)
    if strokes.ready_to_close(p, s):
        strokes.other_stroke(p, s, now, L.TESTING, delay)


@kernel
def on_water_back(p, s, now, delay):
    """Somebody looks, acts by hand, or calls a plumber, where the water is off for no leak."""
    if s.water_back == L.WAITS_FOR_PEOPLE:
        reopening.look_for_people(p, s, now, delay)
        return
    called = s.water_back == L.PLUMBER_COMES
    s.hold_nuisance = 0
    if s.stuck_shut == 0:
        s.water_back = L.NOBODY_ACTS
        reopen_if_free(p, s, now, False, delay)
        return
    if not called and not reopening.hand_opens(p, s, now):
        s.water_back = L.PLUMBER_COMES
        delay[L.WATER_BACK] = quantile(p.reopening_urgent, next_draw(s, REOPENING_DRAWS))
        return
    if called:
        s.repair_cost += p.repairs_plumber
        upkeep.plumber_is_there(p, s, now, delay)
    valve.move(p, s, now)
    reopen_if_free(p, s, now, True, delay)
    if power.power_source(p, s) != power.DARK:
        s.stiff = 1
        upkeep.schedule_repair(p, s, delay)


@kernel
def on_nuisance(p, s, now, delay):
    """A false alarm of a sensor, or an ordinary use that trips the flow rule."""
    total = p.nuisance_sensor_rate + p.nuisance_rule_rate
    at = next_draw(s, NUISANCE_DRAWS) * total
    delay[L.NUISANCE] = waiting(total, next_draw(s, NUISANCE_DRAWS))
    if at < p.nuisance_sensor_rate:
        if not detection.is_alive(p, s, at):
            return
    elif s.pickup_ok == 0 or presence_at(p, s, now) == L.AWAY:
        return
    if strokes.ready_to_close(p, s) and s.open_leaks == 0:
        strokes.other_stroke(p, s, now, L.CLOSE_NUISANCE, delay)


@kernel
def on_controller(p, s, now, delay):
    """The controller hangs, or runs again."""
    if s.controller == 1:
        s.controller = 0
        if p.controller_watchdog == 1:
            delay[L.CONTROLLER] = p.controller_restart_time
        else:
            delay[L.CONTROLLER] = quantile(p.controller_hang_notice, next_draw(s, CONTROLLER_DRAWS))
        return
    s.controller = 1
    delay[L.CONTROLLER] = waiting(p.controller_hang_rate, next_draw(s, CONTROLLER_DRAWS))
    detection.ask_again(p, s)
    if s.tries <= p.actuator_retries:
        strokes.order_again(p, s, now, delay)
    else:
        upkeep.schedule_repair(p, s, delay)  # it lost its rail again and again


@kernel
def on_battery_life(p, s, now, delay):
    """The battery fails, unnoticed until a test, a change or an outage."""
    s.battery_ok = 0
    aim.aim_at_outage(p, s, now, delay)
    if p.battery_test < math.inf:  # tests of a good battery change nothing: they need no clock
        delay[L.BATTERY_TEST] = p.battery_test - now % p.battery_test
    delay[L.BATTERY_LIFE] = L.NEVER
    if not power.is_supplied(s):
        delay[L.BATTERY_EMPTY] = L.NEVER
        if s.battery_empty == 0:
            all_dark(p, s, now, delay)


@kernel
def renew_battery(p, s, now, delay):
    """A new battery is put in."""
    if s.battery_ok == 0:
        s.repairs[L.NEW_BATTERY] += 1
        s.repair_cost += p.repairs_battery
    s.battery_ok = 1
    s.battery_new_at = now
    delay[L.BATTERY_TEST] = L.NEVER
    delay[L.BATTERY_LIFE] = power.next_battery_failure(p, s)
    if not power.is_supplied(s):
        power.leave_supply(p, s, now, delay, L.BATTERY_EMPTY)


@kernel
def nobody_there(s, clock, delay):
    """Return whether everybody is on a trip; what takes a person is then tried a day later."""
    if s.trip == 1:
        delay[clock] = A_DAY
    return s.trip == 1


@kernel
def on_battery_test(p, s, now, delay):
    """The self-test finds the battery that has failed; it is replaced."""
    if nobody_there(s, L.BATTERY_TEST, delay):
        return
    delay[L.BATTERY_TEST] = p.battery_test
    if power.is_supplied(s):
        renew_battery(p, s, now, delay)


@kernel
def on_battery_change(p, s, now, delay):
    """The battery is replaced on schedule."""
    if nobody_there(s, L.BATTERY_CHANGE, delay):
        return
    delay[L.BATTERY_CHANGE] = p.battery_change
    if power.is_supplied(s):
        renew_battery(p, s, now, delay)


@kernel
def on_sensor(p, s, k, now, delay):
    """Sensor ``k`` dies, or a dead one is replaced."""
    clock = L.FIRST_SOURCE + p.n_sources + k
    if s.sensor_ok[k] == 0:
        s.sensor_ok[k] = 1
        s.sensor_ordered[k] = 0
        s.repairs[L.NEW_SENSOR] += 1
        s.repair_cost += p.repairs_sensor
        delay[clock] = detection.next_sensor_death(p, s, k, now)
        return
    s.sensor_ok[k] = 0
    delay[clock] = L.NEVER
    if p.sensor_supervised[k] == 1:
        order_sensor(p, s, k, delay)


@kernel
def order_sensor(p, s, k, delay):
    """Sensor ``k`` is known to be dead: another is bought and put in."""
    s.sensor_ordered[k] = 1
    clock = L.FIRST_SOURCE + p.n_sources + k
    delay[clock] = quantile(p.detection_replacement, detection.sensor_draw(s, k))


@kernel
def order_sensors(p, s, delay):
    """All sensors were looked at: those that are dead will be replaced."""
    for k in range(p.n_sensors):
        if s.sensor_ok[k] == 0 and s.sensor_ordered[k] == 0:
            order_sensor(p, s, k, delay)


@kernel
def on_pickup(p, s, delay):
    """Pulses of the meter are no longer counted, or the pickup is replaced."""
    if s.pickup_ok == 1:
        s.pickup_ok = 0
        if p.flow_rule_supervised == 1:
            order_pickup(p, s, p.flow_rule_silence, delay)
        return
    if nobody_there(s, L.PICKUP, delay):
        return
    s.pickup_ok = 1
    s.pickup_ordered = 0
    s.repairs[L.NEW_PICKUP] += 1
    s.repair_cost += p.repairs_sensor
    delay[L.PICKUP] = waiting(p.flow_rule_failure_rate, next_draw(s, PICKUP_DRAWS))


@kernel
def order_pickup(p, s, missed_after, delay):
    """The pickup is missed after some time [s], then bought and put in."""
    if s.pickup_ok == 0 and s.pickup_ordered == 0:
        s.pickup_ordered = 1
        delay[L.PICKUP] = missed_after + quantile(
            p.detection_replacement, next_draw(s, PICKUP_DRAWS)
        )


@kernel
def on_retighten(p, s, now, delay):
    """People tighten the mount, as planned."""
    if s.gave_up == 1 or nobody_there(s, L.RETIGHTEN, delay):
        return
    delay[L.RETIGHTEN] = p.mount_retightening
    upkeep.retighten(p, s, now)


@kernel
def on_pressure_test(p, s, now, delay):
    """The valve is shut for a while at night, if nobody is up and no leak is known."""
    delay[L.PRESSURE_TEST] = p.pressure_test_interval
    ready = strokes.ready_to_close(p, s) and power.is_supplied(s)
    quiet = s.believed_shut == 0 and not leak_wants_shut(s)
    if ready and quiet and presence_at(p, s, now) != L.AWAKE:
        strokes.other_stroke(p, s, now, L.HOLDING_PRESSURE, delay)


@kernel
def on_sensor_shock(p, s, now, delay):
    """One event kills all sensors."""
    for k in range(p.n_sensors):
        if s.sensor_ok[k] == 1:
            on_sensor(p, s, k, now, delay)
    delay[L.SENSOR_SHOCK] = next_shock(p, s, now)


@kernel
def on_source(p, s, i, now, delay):
    """A candidate of source ``i``: a leak starts with the chance rate / bound (thinning)."""
    bound = leak.greatest_rate(p, i)
    rate = leak.leak_rate(p, s, i, now, presence_at(p, s, now))
    number = s.n_source[i]
    accepted = source_draw(s, i, 1) * bound < rate
    s.n_source[i] += 1
    delay[L.FIRST_SOURCE + i] = waiting(bound, source_draw(s, i, 0))
    if accepted:
        s.leaks += 1
        key = (i << NATURAL_KEYS) + (number & ((1 << NATURAL_KEYS) - 1))
        begin_leak(p, s, now, i, key, delay)


@kernel
def on_leak_clock(p, s, now, slot, what, delay):
    """Something happens to an open leak."""
    if what == L.GROW:
        s.leak_burst[slot] = 1
        s.leak_grow[slot] = math.inf
        s.leak_full[slot] = max(
            s.leak_full[slot],
            leak.burst_flow(p, s, s.leak_source[slot], s.leak_key[slot]),
        )
        set_flow(p, s, slot)
    elif what == L.REPORT:
        control.receive_report(p, s, now, slot, delay)
    elif what == L.RULE:
        control.trip_rule(p, s, now, slot, delay)
    elif what == L.HOME:
        s.leak_home_need[slot] = 0.0
        control.find_leak(p, s, now, slot)
    elif what == L.NEAR:
        s.leak_near_need[slot] = math.inf
        control.tell_person(p, s, now, slot, delay)
    elif what == L.BREAKER:
        trip_breaker(p, s, now, slot, delay)
    elif what == L.CALL:
        s.leak_phone[slot] = 2
        control.tell_person(p, s, now, slot, delay)
    else:
        control.hands_done(p, s, now, slot)


@kernel
def settle(p, s, now, rows, delay):
    """End the leaks that are stopped and found, mend what their incident brought to light."""
    for slot in range(s.slots):
        if s.leak_on[slot] == 0 or s.leak_stopped[slot] == 0 or s.leak_found[slot] == 0:
            continue
        mode = s.leak_mode[slot]
        end_leak(p, s, now, slot, rows)
        mended = upkeep.plumber_is_there(p, s, now, delay)
        if (L.MENDS_ELEMENT >> mode) & 1 == 1 and not mended:
            upkeep.note_stiffness(s, mode)
            upkeep.schedule_repair(p, s, delay)
        elif (L.MENDS_SENSORS >> mode) & 1 == 1:
            order_sensors(p, s, delay)
            order_pickup(p, s, 0.0, delay)
        elif (L.MENDS_BATTERY >> mode) & 1 == 1 and s.battery_ok == 0:
            renew_battery(p, s, now, delay)
        if not leak_wants_shut(s):
            s.hold_leak = 0
        if s.stroke == L.IDLE or s.position == L.SHUT:
            reopen_if_free(p, s, now, True, delay)
    if s.tripped == 1 and s.open_leaks == 0:
        reset_breaker(p, s, now, delay)


@entry
def react(clock, now, p, s, delay, rows):
    """Change the state after ``clock`` has rung at ``now`` [s] and set delays.

    Parameters
    ----------
    clock : int
        Number of the clock.
    now : float
        Time since commissioning, s.
    p, s : record
        Parameters (read) and state (changed).
    delay : float64 array, one per clock
        Comes filled with KEEP; entries are set to a delay in s or NEVER.
    rows : array of incident records
        Rows of leaks that end are written here.
    """
    s.events += 1
    reopening.count_dry(p, s, now)
    had_leaks = s.open_leaks > 0
    if had_leaks:
        advance(p, s, now)
    sensors = L.FIRST_SOURCE + p.n_sources
    if clock >= sensors + p.n_sensors:
        number = clock - (sensors + p.n_sensors)
        delay[clock] = L.NEVER
        on_leak_clock(p, s, now, number // L.CLOCKS_PER_LEAK, number % L.CLOCKS_PER_LEAK, delay)
    elif clock >= sensors:
        k = clock - sensors
        if s.sensor_ok[k] == 1 or not nobody_there(s, clock, delay):
            on_sensor(p, s, k, now, delay)
    elif clock >= L.FIRST_SOURCE:
        on_source(p, s, clock - L.FIRST_SOURCE, now, delay)
    else:
        delay[clock] = L.NEVER
        if clock == L.EXERCISE:
            on_exercise(p, s, now, delay)
        elif clock == L.STROKE:
            purpose = s.stroke
            strokes.end_stroke(p, s, now, delay)
            if purpose == L.HOLDING_PRESSURE:
                control.judge_pressure(p, s, now, delay)
            cut_power(p, s, now, delay)
        elif clock == L.TRIP:
            on_trip(p, s, now, delay)
        elif clock == L.OUTAGE:
            on_outage(p, s, now, delay)
        elif clock == L.WEATHER:
            on_weather(p, s, now, delay)
        elif clock == L.NUISANCE:
            on_nuisance(p, s, now, delay)
        elif clock == L.CONTROLLER:
            on_controller(p, s, now, delay)
        elif clock == L.PRESENCE:
            on_presence(p, s, now, delay)
        elif clock == L.RETRY:
            strokes.retry_stroke(p, s, now, delay)
        elif clock == L.POLICY:
            on_policy(p, s, now, delay)
        elif clock == L.SWITCH_ON:
            s.switched_off = 0
        elif clock == L.ACTUATOR:
            upkeep.fail_element(p, s, delay)
        elif clock == L.SUPPLY:
            on_supply(p, s, now, delay)
        elif clock == L.BATTERY_LIFE:
            on_battery_life(p, s, now, delay)
        elif clock == L.BATTERY_CHANGE:
            on_battery_change(p, s, now, delay)
        elif clock == L.BATTERY_TEST:
            on_battery_test(p, s, now, delay)
        elif clock == L.BATTERY_EMPTY:
            s.battery_empty = 1
            all_dark(p, s, now, delay)
        elif clock == L.REPAIR:
            strokes.finish_repair(p, s, now, delay)
        elif clock == L.SENSOR_CHECK:
            if not nobody_there(s, L.SENSOR_CHECK, delay):
                delay[L.SENSOR_CHECK] = p.detection_test_interval
                order_sensors(p, s, delay)
        elif clock == L.SENSOR_SHOCK:
            on_sensor_shock(p, s, now, delay)
        elif clock == L.AIM_SENSORS:
            aim.aim_at_sensors(p, s, now, delay)
        elif clock == L.AIM_BATTERY:
            aim.aim_at_battery(p, s, now, delay)
        elif clock == L.VISIT:
            on_visit(p, s, now, delay)
        elif clock == L.OWNER_TEST:
            on_owner_test(p, s, now, delay)
        elif clock == L.WATER_BACK:
            on_water_back(p, s, now, delay)
        elif clock == L.RETIGHTEN:
            on_retighten(p, s, now, delay)
        elif clock == L.PICKUP:
            on_pickup(p, s, delay)
        elif clock == L.PRESSURE_TEST:
            on_pressure_test(p, s, now, delay)
    if had_leaks or s.open_leaks > 0:
        settle(p, s, now, rows, delay)
        plan(p, s, delay)


@entry
def add_leak(p, s, now, source, key, delay):
    """Place a probe: a leak of ``source`` at ``now`` in a fork; False when it is dropped."""
    if s.open_leaks > 0:
        advance(p, s, now)
    added = begin_leak(p, s, now, source, key, delay)
    plan(p, s, delay)
    return added


@entry
def close(p, s, now, rows):
    """End the history at ``now``: leaks still open are settled as they stand."""
    reopening.count_dry(p, s, now)
    if s.open_leaks == 0:
        return
    advance(p, s, now)
    for slot in range(s.slots):
        if s.leak_on[slot] == 1:
            end_leak(p, s, now, slot, rows)
