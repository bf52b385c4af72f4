"""Control: from a report to an ordered closing, its strokes and retries, and who gets told."""

from __future__ import annotations

import math

from shutoffsim.model import actuator, detection, override, power, valve
from shutoffsim.model import layout as L
from shutoffsim.model.compiled import entry, kernel
from shutoffsim.model.fitted import closes_itself, falls_shut, has_coil
from shutoffsim.model.incident import (
    propose,
    propose_to_demanded,
    reopen_if_free,
    set_position,
)
from shutoffsim.model.quantiles import quantile, waiting
from shutoffsim.model.streams import (
    ACTUATOR_DRAWS,
    GATEWAY_DRAWS,
    LOOKS_OF_ONE,
    NUISANCE_DRAWS,
    OTHER_STROKES,
    PER_REPAIR,
    REPAIR_DRAWS,
    next_draw,
    uniform,
)


@kernel
def gateway_is_up(p, s, now):
    """Return whether gateway and outside line work now.

    A two-state Markov process looked at only when needed: given the last look, the chance to be up
    relaxes to the availability with the rate of failure plus repair.
    """
    if p.gateway_fitted == 0 or (s.mains == 0 and p.gateway_backed_up == 0):
        return False
    if p.gateway_availability >= 1.0:
        return True
    chance = p.gateway_availability
    if s.gateway_at >= 0.0:
        restore = 1.0 / p.gateway_outage
        fail = (
            restore * (1.0 - p.gateway_availability) / p.gateway_availability
            if p.gateway_availability > 0.0
            else math.inf
        )
        fade = math.exp(-(restore + fail) * (now - s.gateway_at))
        chance += (s.gateway - p.gateway_availability) * fade
    count = s.n_gateway % LOOKS_OF_ONE
    if s.focus != L.EVERY_LEAK:
        count += s.focus * LOOKS_OF_ONE  # each probe looks for itself
    u = uniform(s.seed, s.history, GATEWAY_DRAWS, count)
    s.n_gateway += 1
    s.gateway = 1 if u < chance else 0
    s.gateway_at = now
    return s.gateway == 1


@kernel
def notify(p, s, now, slot):
    """Send a notification about this leak, if it gets out."""
    if s.leak_phone[slot] == 0 and gateway_is_up(p, s, now):
        s.leak_phone[slot] = 1


@kernel
def start_stroke(p, s, now, purpose, draw, delay):
    """Set the closing element in motion."""
    s.stroke = purpose
    s.stroke_draw = draw
    s.demands += 1
    outcome, lasting = actuator.begin_stroke(p, s, now, delay)
    s.outcome = outcome
    if purpose == L.EXERCISING:
        lasting = max(2.0 * lasting, p.exercise_outage)
    delay[L.STROKE] = lasting


@kernel
def control_fault(p, s):
    """Return the link that keeps the controller from acting at all; MODE_NONE when it can."""
    if s.controller == 0:
        return L.MODE_CONTROLLER_DOWN
    return L.MODE_NO_POWER if power.power_source(p, s) == power.DARK else L.MODE_NONE


@kernel
def other_stroke(p, s, now, purpose, delay):
    """Start a stroke that is not a leak's own."""
    s.tries = 0
    start_stroke(p, s, now, purpose, OTHER_STROKES + s.n_exercise, delay)
    s.n_exercise += 1


@kernel
def ready_to_close(p, s):
    """Return whether automation would act on an order that is not about a leak."""
    return (
        closes_itself(p)
        and s.switched_off == 0
        and s.stroke == L.IDLE
        and s.position == L.OPEN
        and control_fault(p, s) == L.MODE_NONE
    )


@entry
def impairments(p, s, now):
    """Return how many things are not in order that a leak now would need.

    Only where to look harder hangs on this, never a result; a stiff valve counts when torque to
    close in the upper part of its range exceeds what the actuator has.
    """
    if not closes_itself(p):
        return 0
    count = 0
    if s.switched_off == 1 or s.controller == 0:
        count += 1
    if s.failed == 1 or s.burnt == 1 or s.stripped == 1 or s.slipped == 1:
        count += 1
    if s.believed_shut == 1 and s.position != L.SHUT:
        count += 1
    for k in range(p.n_sensors):
        if s.sensor_ok[k] == 0 and p.sensor_reach_chance[k] > 0.0:
            count += 1
    source = power.power_source(p, s)
    if source == power.DARK:
        return count if falls_shut(p) else count + 1
    if has_coil(p):
        return count
    if valve.is_seized(s, now):
        return count + 1
    voltage, resistance = p.battery_voltage, p.battery_resistance
    if source == power.ON_SUPPLY:
        voltage, resistance = p.supply_voltage, p.supply_resistance
    torque = valve.closing_torque(p, s, now, 0.98)
    if torque > actuator.available_torque(p, s, voltage, resistance):
        count += 1
    return count


@kernel
def serve(p, s, now, delay):
    """Act on the order to close because of a leak."""
    if s.switched_off == 1:
        propose_to_demanded(s, L.MODE_SWITCHED_OFF)
        return
    if s.position == L.SHUT:
        s.hold_leak = 1
        return
    if s.believed_shut == 1:
        propose_to_demanded(s, s.last_outcome)
        return
    if s.stroke != L.IDLE:
        s.pending = 1
        return
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_demanded[slot] == 1 and s.leak_stopped[slot] == 0:
            delay[L.RETRY] = L.NEVER
            start_stroke(p, s, now, L.CLOSE_LEAK, s.leak_key[slot], delay)
            return


@kernel
def order_again(p, s, now, delay):
    """Take up orders that still stand, or let them wait for controller and power."""
    if s.stroke != L.IDLE or s.believed_shut == 1:
        return
    fault = control_fault(p, s)
    if fault != L.MODE_NONE:
        propose_to_demanded(s, fault)
        return
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_demanded[slot] == 1 and s.leak_stopped[slot] == 0:
            serve(p, s, now, delay)
            return
    if s.position == L.SHUT or s.switched_off == 1:
        return
    if s.hold_leak == 1:  # a solenoid has fallen open
        purpose = L.CLOSE_LEAK
    elif s.hold_away == 1:
        purpose = L.CLOSE_AWAY
    elif s.hold_power == 1:
        purpose = L.CLOSE_POWER
    else:
        return
    delay[L.RETRY] = L.NEVER
    if s.tries > 0 and s.stroke_draw >= OTHER_STROKES:  # attempts of one demand go on
        start_stroke(p, s, now, purpose, s.stroke_draw, delay)
    else:
        other_stroke(p, s, now, purpose, delay)


@kernel
def raise_alarm(p, s, now, slot, delay):
    """The controller knows of this leak: tell people, order the valve shut."""
    if math.isnan(s.leak_sensed_at[slot]):
        s.leak_sensed_at[slot] = now
    if p.siren_fitted == 1:
        s.leak_siren[slot] = 1
    notify(p, s, now, slot)
    if p.controller_decides_via_gateway == 1 and not gateway_is_up(p, s, now):
        propose(s, slot, L.MODE_GATEWAY_DOWN)
        return
    order_shut(p, s, now, slot, delay)


@kernel
def order_shut(p, s, now, slot, delay):
    """Order the valve shut because of this leak, where there is something to order."""
    if closes_itself(p):
        s.leak_demanded[slot] = 1
        s.tries = 0
        serve(p, s, now, delay)


@kernel
def receive_report(p, s, now, slot, delay):
    """A wet sensor reports; follow the report to the controller."""
    k = s.leak_next[slot]
    if s.sensor_ok[k] == 0:
        s.report[slot, k] = L.DONE
        propose(s, slot, L.MODE_SENSOR_DEAD)
        return
    if p.siren_fitted == 1:
        s.leak_siren[slot] = 1
    if detection.report_is_lost(p, s, slot, k):
        propose(s, slot, L.MODE_MESSAGE_LOST)
    elif p.detection_via_gateway == 1 and not gateway_is_up(p, s, now):
        propose(s, slot, L.MODE_GATEWAY_DOWN)
    elif control_fault(p, s) != L.MODE_NONE:
        propose(s, slot, control_fault(p, s))
    else:
        s.report[slot, k] = L.DONE
        s.leak_votes[slot] += 1
        if s.leak_votes[slot] >= p.detection_votes:
            raise_alarm(p, s, now, slot, delay)
        return
    s.report[slot, k] = L.REPORTING
    s.report_tries[slot, k] += 1
    s.report_left[slot, k] = p.detection_report_interval
    if s.report_tries[slot, k] > p.detection_report_repeats:
        s.report[slot, k] = L.DONE


@kernel
def trip_rule(p, s, now, slot, delay):
    """The flow rule has tripped on this leak; a controller that is down starts counting anew."""
    fault = control_fault(p, s)
    if fault != L.MODE_NONE:
        propose(s, slot, fault)
        detection.forget_flow(s, slot)
        return
    s.leak_rule[slot] = 1
    raise_alarm(p, s, now, slot, delay)


@kernel
def schedule_repair(p, s, delay):
    """A fault is known: have it put right."""
    if s.repair_due == 1:
        return
    s.repair_due = 1
    u = uniform(s.seed, s.history, REPAIR_DRAWS, s.n_repairs * PER_REPAIR)
    delay[L.REPAIR] = quantile(p.actuator_repair, u)


@kernel
def note_stiffness(s, outcome):
    """Remember that the valve itself was what failed."""
    if (L.STIFF_VALVE >> outcome) & 1 == 1:
        s.stiff = 1


@kernel
def finish_repair(p, s, now, delay):
    """New closing element fitted, mount tightened, valve freed or, if often stiff, renewed."""
    s.repair_due = 0
    s.n_repairs += 1
    unit = uniform(s.seed, s.history, REPAIR_DRAWS, s.n_repairs * PER_REPAIR + 1)
    preload = uniform(s.seed, s.history, REPAIR_DRAWS, s.n_repairs * PER_REPAIR + 2)
    actuator.renew_element(p, s, now, unit, preload)
    s.stiff_findings += s.stiff
    s.stiff = 0
    if p.valve_renew_after > 0 and s.stiff_findings >= p.valve_renew_after:
        u = uniform(s.seed, s.history, REPAIR_DRAWS, s.n_repairs * PER_REPAIR + 3)
        valve.renew(p, s, now, u)
    valve.move(p, s, now)
    delay[L.ACTUATOR] = waiting(p.actuator_failure_rate, next_draw(s, ACTUATOR_DRAWS))
    reopen_if_free(p, s, now, delay)
    order_again(p, s, now, delay)


@kernel
def fail_element(p, s, delay):
    """Random failure: detected at once with the diagnostic coverage, else dormant."""
    s.failed = 1
    if next_draw(s, ACTUATOR_DRAWS) < p.actuator_diagnostic:
        schedule_repair(p, s, delay)
    delay[L.ACTUATOR] = L.NEVER


@kernel
def failure_is_known(p, outcome):
    """Return whether the controller can tell that this closing failed.

    End-of-travel feedback tells all; without it a stall is told by the current that was cut off,
    and a missing supply by itself. Anything else is taken for a closed valve.
    """
    if p.actuator_feedback == 1 or (L.KNOWN_ALWAYS >> outcome) & 1 == 1:
        return True
    return (L.KNOWN_AT_CUTOFF >> outcome) & 1 == 1 and p.actuator_stall_cutoff < math.inf


@kernel
def end_exercise(p, s, now, delay):
    """An open-close-open cycle is over: it moved the valve, or may have found a fault."""
    outcome = s.outcome
    if outcome == L.MODE_NONE or outcome == L.MODE_CLOSED_SHORT:
        valve.move(p, s, now)
        s.strokes += 2.0
    if outcome != L.MODE_NONE and outcome != L.MODE_NO_POWER:
        if outcome == L.MODE_BROWN_OUT:
            restart_controller(p, s, delay)
        if actuator.stroke_draw(s, actuator.FOUND) < p.exercise_coverage:
            note_stiffness(s, outcome)
            schedule_repair(p, s, delay)


@kernel
def restart_controller(p, s, delay):
    """The controller has lost its rail and comes up again."""
    s.controller = 0
    delay[L.CONTROLLER] = p.controller_restart_time


@kernel
def end_closing(p, s, now, purpose, delay):
    """A closing is over: shut, shut short, or failed."""
    outcome = s.outcome
    if outcome == L.MODE_NONE:
        valve.move(p, s, now)
        s.strokes += 1.0
        s.last_outcome = L.MODE_NONE
        s.believed_shut = 1
        if purpose == L.CLOSE_POWER:
            s.nuisance_closings += 1
        set_position(p, s, now, L.SHUT, L.BY_AUTOMATION)
        power.coil_switched(p, s, now, delay, L.BATTERY_EMPTY)
        if purpose == L.CLOSE_NUISANCE:
            after_nuisance(p, s, now, delay)
        reopen_if_free(p, s, now, delay)  # what wanted it shut may have ended during the stroke
        return
    s.last_outcome = outcome
    propose_to_demanded(s, outcome)
    if outcome == L.MODE_BROWN_OUT:
        s.tries += 1
        restart_controller(p, s, delay)
    if outcome == L.MODE_CLOSED_SHORT:
        valve.move(p, s, now)
        s.strokes += 1.0
        set_position(p, s, now, L.SHORT, L.BY_NOBODY)
    if purpose == L.CLOSE_NUISANCE:
        after_nuisance(p, s, now, delay)
        return
    if not failure_is_known(p, outcome):
        s.believed_shut = 1
        return
    if outcome == L.MODE_NO_POWER or outcome == L.MODE_BROWN_OUT:
        return  # taken up again when power or controller is back
    if s.tries < p.actuator_retries:
        s.tries += 1
        delay[L.RETRY] = p.actuator_retry_pause
        return
    give_up(p, s, now, purpose, delay)


@kernel
def give_up(p, s, now, purpose, delay):
    """All attempts failed and the controller knows: call people, have it repaired."""
    if purpose != L.CLOSE_LEAK:
        note_stiffness(s, s.last_outcome)
        schedule_repair(p, s, delay)
        s.tries = 0  # taken up again, its order is a new demand
    if p.policies_escalate == 0:
        return
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_stopped[slot] == 0:
            if p.siren_fitted == 1:
                s.leak_siren[slot] = 1
            notify(p, s, now, slot)


@kernel
def after_nuisance(p, s, now, delay):
    """People open the water again after a false alarm, and may switch the automation off."""
    if s.last_outcome == L.MODE_NONE:
        s.nuisance_closings += 1
    s.believed_shut = 0
    reopen_if_free(p, s, now, delay)
    u = next_draw(s, NUISANCE_DRAWS)
    v = next_draw(s, NUISANCE_DRAWS)
    if u < p.nuisance_switch_off_chance:
        s.switched_off = 1
        delay[L.SWITCH_ON] = quantile(p.nuisance_switch_off_time, v)


@kernel
def end_stroke(p, s, now, delay):
    """The stroke under way ends; a leak that waited for it is served next."""
    purpose = s.stroke
    s.stroke = L.IDLE
    if not falls_shut(p) and s.outcome == L.MODE_NONE and power.power_source(p, s) == power.DARK:
        s.outcome = L.MODE_NO_POWER
    if purpose == L.EXERCISING:
        end_exercise(p, s, now, delay)
    else:
        end_closing(p, s, now, purpose, delay)
    if s.pending == 1:
        s.pending = 0
        order_again(p, s, now, delay)


@kernel
def retry_stroke(p, s, now, delay):
    """Try the last closing once more, for a leak that still runs or a standing order."""
    if s.stroke != L.IDLE or s.position == L.SHUT or s.switched_off == 1:
        return
    if control_fault(p, s) != L.MODE_NONE:
        return
    wanted = s.hold_away == 1 or s.hold_power == 1
    purpose = L.CLOSE_AWAY if s.hold_away == 1 else L.CLOSE_POWER
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_demanded[slot] == 1 and s.leak_stopped[slot] == 0:
            wanted = True
            purpose = L.CLOSE_LEAK
    if wanted:
        start_stroke(p, s, now, purpose, s.stroke_draw, delay)


@kernel
def tell_person(p, s, now, slot, delay):
    """Somebody responsible learns of the leak by telephone."""
    if s.leak_found[slot] == 1:
        return
    if s.presence == L.AWAKE or s.presence == L.ASLEEP:
        find_leak(p, s, now, slot)
        return
    if s.leak_coming[slot] == L.NOT_COMING:
        s.leak_coming[slot] = L.TRAVELLING
        s.leak_hands[slot] = override.travel_time(p, s, slot)
    remote = p.policies_remote_command == 1 and s.leak_demanded[slot] == 0
    if remote and control_fault(p, s) == L.MODE_NONE and gateway_is_up(p, s, now):
        propose(s, slot, L.MODE_NOT_SENSED)
        if math.isnan(s.leak_sensed_at[slot]):
            s.leak_sensed_at[slot] = now
        order_shut(p, s, now, slot, delay)


@kernel
def find_leak(p, s, now, slot):
    """A person stands before the leak; if water runs, they go to the valve."""
    if s.leak_found[slot] == 0:
        s.leak_found[slot] = 1
        s.leak_found_at[slot] = now
    if s.leak_stopped[slot] == 0:
        override.work(p, s, now, slot)
    else:
        s.leak_coming[slot] = L.NOT_COMING


@kernel
def hands_done(p, s, now, slot):
    """A person has arrived, or has finished at the valve."""
    if s.leak_coming[slot] == L.TRAVELLING:
        find_leak(p, s, now, slot)
        return
    s.leak_coming[slot] = L.NOT_COMING
    if s.leak_stopped[slot] == 1:
        return
    by = s.leak_hands_by[slot]
    if by == L.BY_HAND:
        valve.move(p, s, now)
    s.hold_leak = 1
    set_position(p, s, now, L.SHUT, by)
