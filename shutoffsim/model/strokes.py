"""Strokes: orders taken up, how a stroke ends, further attempts, and who gets told."""

from __future__ import annotations

from shutoffsim.model import actuator, power, reopening, upkeep, valve
from shutoffsim.model import layout as L
from shutoffsim.model.commissioning import in_use
from shutoffsim.model.compiled import kernel
from shutoffsim.model.fitted import falls_shut
from shutoffsim.model.gateway import notify
from shutoffsim.model.incident import propose_to_demanded, reopen_if_free, set_position
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import NUISANCE_DRAWS, OTHER_STROKES, next_draw


@kernel
def control_fault(p, s):
    """Return the link that keeps the controller from acting at all; MODE_NONE when it can."""
    if s.controller == 0:
        return L.MODE_CONTROLLER_DOWN
    return L.MODE_NO_POWER if power.power_source(p, s) == power.DARK else L.MODE_NONE


@kernel
def start_stroke(p, s, now, purpose, draw, delay):
    """Set the closing element in motion."""
    s.stroke = purpose
    s.stroke_draw = draw
    s.demands += 1
    outcome, lasting = actuator.begin_stroke(p, s, now, delay)
    s.outcome = outcome
    if purpose == L.EXERCISING or purpose == L.TESTING:
        lasting = max(2.0 * lasting, p.exercise_outage)
    elif purpose == L.HOLDING_PRESSURE:
        lasting = 2.0 * lasting + p.pressure_test_hold
    delay[L.STROKE] = lasting


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
        in_use(p, s)
        and s.switched_off == 0
        and s.stroke == L.IDLE
        and s.position == L.OPEN
        and control_fault(p, s) == L.MODE_NONE
    )


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
def end_stroke(p, s, now, delay):
    """The stroke under way ends; a leak that waited for it is served next."""
    purpose = s.stroke
    s.stroke = L.IDLE
    if not falls_shut(p) and s.outcome == L.MODE_NONE and power.power_source(p, s) == power.DARK:
        s.outcome = L.MODE_NO_POWER
    if purpose == L.EXERCISING or purpose == L.TESTING or purpose == L.HOLDING_PRESSURE:
        end_exercise(p, s, now, purpose, delay)
    else:
        end_closing(p, s, now, purpose, delay)
    if s.pending == 1:
        s.pending = 0
        order_again(p, s, now, delay)


@kernel
def end_exercise(p, s, now, purpose, delay):
    """An open-close-open cycle is over: it moved the valve, or may have found a fault."""
    outcome = s.outcome
    if outcome == L.MODE_NONE or outcome == L.MODE_CLOSED_SHORT:
        valve.move(p, s, now)
        s.strokes += 2.0
    if outcome == L.MODE_NONE and not reopening.opens(p, s, now):
        s.stuck_shut = 1
        set_position(p, s, now, L.SHUT, L.BY_AUTOMATION)
        reopening.somebody_must_act(p, s, now, delay)
    if outcome == L.MODE_NONE or outcome == L.MODE_NO_POWER:
        return
    if outcome == L.MODE_BROWN_OUT:
        restart_controller(p, s, delay)
    if upkeep.is_found(p, s, outcome, purpose == L.TESTING):
        upkeep.note_stiffness(s, outcome)
        upkeep.schedule_repair(p, s, delay)


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
        reopen_if_free(p, s, now, False, delay)  # what wanted it shut may have ended meanwhile
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
    if not upkeep.failure_is_known(p, s, outcome):
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
def restart_controller(p, s, delay):
    """The controller has lost its rail and comes up again."""
    s.controller = 0
    delay[L.CONTROLLER] = p.controller_restart_time


@kernel
def give_up(p, s, now, purpose, delay):
    """All attempts failed and the controller knows: call people, have it repaired."""
    if purpose != L.CLOSE_LEAK:
        upkeep.note_stiffness(s, s.last_outcome)
        upkeep.schedule_repair(p, s, delay)
        s.tries = 0  # taken up again, its order is a new demand
    if p.policies_escalate == 0:
        return
    for slot in range(s.slots):
        if s.leak_on[slot] == 1 and s.leak_stopped[slot] == 0:
            s.leak_siren[slot] = 1
            notify(p, s, now, slot)


@kernel
def after_nuisance(p, s, now, delay):
    """The water is off for a false alarm; people may switch the automation off."""
    if s.last_outcome == L.MODE_NONE:
        s.nuisance_closings += 1
        s.hold_nuisance = 1
        reopening.somebody_must_act(p, s, now, delay)
    s.believed_shut = 0
    reopen_if_free(p, s, now, False, delay)
    u = next_draw(s, NUISANCE_DRAWS)
    v = next_draw(s, NUISANCE_DRAWS)
    if u < p.nuisance_switch_off_chance:
        s.switched_off = 1
        delay[L.SWITCH_ON] = quantile(p.nuisance_switch_off_time, v)


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
def finish_repair(p, s, now, delay):
    """Somebody comes to mend it, once people are there to let them in."""
    if s.trip == 1:
        s.repair_due = L.REPAIR_WAITS
        return
    upkeep.mend(p, s, now, delay)
    reopen_if_free(p, s, now, True, delay)
    order_again(p, s, now, delay)
