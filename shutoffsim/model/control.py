"""Control: from a report to the order to close, and the people who are told."""

from __future__ import annotations

import math

from shutoffsim.model import detection, override, valve
from shutoffsim.model import layout as L
from shutoffsim.model.commissioning import in_use
from shutoffsim.model.compiled import kernel
from shutoffsim.model.gateway import gateway_is_up, notify
from shutoffsim.model.incident import propose, reopen_if_free, set_position
from shutoffsim.model.occupancy import presence_at
from shutoffsim.model.streams import HABIT_DRAWS, HOLD_DRAWS, next_draw
from shutoffsim.model.strokes import control_fault, other_stroke, ready_to_close, serve


@kernel
def raise_alarm(p, s, now, slot, delay):
    """The controller knows of this leak: tell people, order the valve shut."""
    if math.isnan(s.leak_sensed_at[slot]):
        s.leak_sensed_at[slot] = now
    s.leak_siren[slot] = 1
    notify(p, s, now, slot)
    if p.controller_decides_via_gateway == 1 and not gateway_is_up(p, s, now):
        propose(s, slot, L.MODE_GATEWAY_DOWN)
        return
    order_shut(p, s, now, slot, delay)


@kernel
def order_shut(p, s, now, slot, delay):
    """Order the valve shut because of this leak, where there is something to order."""
    if in_use(p, s):
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
    if p.siren_power != L.SIREN_ON_CONTROLLER:
        s.leak_siren[slot] = 1
    fault = control_fault(p, s)
    if detection.report_is_lost(p, s, slot, k):
        fault = L.MODE_MESSAGE_LOST
    elif p.detection_via_gateway == 1 and not gateway_is_up(p, s, now):
        fault = L.MODE_GATEWAY_DOWN
    if fault == L.MODE_NONE:
        s.report[slot, k] = L.DONE
        s.leak_siren[slot] = 1
        s.leak_votes[slot] += 1
        if s.leak_votes[slot] >= p.detection_votes:
            raise_alarm(p, s, now, slot, delay)
        return
    propose(s, slot, fault)
    s.report[slot, k] = L.REPORTING
    s.report_tries[slot, k] += 1
    s.report_left[slot, k] = p.detection_report_interval
    if s.report_tries[slot, k] > p.detection_report_repeats:
        unheard = p.sensor_supervised[k] == 1 and fault != L.MODE_MESSAGE_LOST
        s.report[slot, k] = L.UNHEARD if unheard else L.DONE


@kernel
def trip_rule(p, s, now, slot, delay):
    """The flow rule has tripped on this leak; a controller that is down starts counting anew.

    It has not, where nothing has counted the meter's pulses.
    """
    if s.pickup_ok == 0:
        s.leak_rule[slot] = 1
        propose(s, slot, L.MODE_SENSOR_DEAD)
        return
    fault = control_fault(p, s)
    if fault != L.MODE_NONE:
        propose(s, slot, fault)
        detection.forget_flow(s, slot)
        return
    s.leak_rule[slot] = 1
    raise_alarm(p, s, now, slot, delay)


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
    elif s.leak_shears[slot] == 1:
        s.broken = L.SHEARED
    s.hold_leak = 1
    set_position(p, s, now, L.SHUT, by)


@kernel
def judge_pressure(p, s, now, delay):
    """A pressure test is over: what fell too fast is a leak, unless somebody drew water.

    Between valve and taps the pressure falls with the water that is lost, less what the worn seat
    lets by.
    """
    if s.outcome != L.MODE_NONE or s.stroke != L.IDLE or s.position != L.OPEN:
        return
    lost = -s.seat_leak
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_stopped[slot] == 0:
            lost += s.leak_flow[slot]
    if lost < p.pressure_test_least_flow:
        return
    disturbed = next_draw(s, HOLD_DRAWS) < p.pressure_test_disturbed
    if disturbed and presence_at(p, s, now) == L.ASLEEP:
        return
    set_position(p, s, now, L.SHUT, L.BY_AUTOMATION)
    for slot in range(s.slots):
        if s.leak_on[slot] == 1:
            raise_alarm(p, s, now, slot, delay)
    reopen_if_free(p, s, now, False, delay)


@kernel
def shut_on_leaving(p, s, now, delay):
    """People leave on a trip and shut the water first: by the button, where something closes it.

    By hand they do without if the valve is too stiff for them.
    """
    if in_use(p, s):
        if ready_to_close(p, s):
            s.hold_away = 1
            other_stroke(p, s, now, L.CLOSE_AWAY, delay)
        return
    needed = valve.closing_torque(p, s, now, next_draw(s, HABIT_DRAWS))
    strength = override.hand_torque(p, needed, next_draw(s, HABIT_DRAWS))
    if s.position == L.OPEN and needed <= min(strength, p.valve_stem_limit):
        valve.move(p, s, now)
        s.hold_away = 1
        set_position(p, s, now, L.SHUT, L.BY_HAND)
