"""Upkeep: what is known to have failed, and what a repair puts right and costs."""

from __future__ import annotations

import numpy as np

from shutoffsim.model import layout as L
from shutoffsim.model import valve
from shutoffsim.model.commissioning import take_class, take_off
from shutoffsim.model.compiled import kernel, part
from shutoffsim.model.fitted import is_clamped
from shutoffsim.model.quantiles import quantile, waiting
from shutoffsim.model.streams import ACTUATOR_DRAWS, PER_REPAIR, REPAIR_DRAWS, next_draw, uniform

# Draws of one repair in REPAIR_DRAWS.
WAIT, UNIT, CREEP, NEW_VALVE, KIND = np.arange(5)

# Bits of what can tell a failed closing, in the order of modes.SENSES.
BY_CONTROLLER, BY_CURRENT, BY_MOTOR_END, BY_STEM_END, BY_FLOW, BY_PERSON = 1, 2, 4, 8, 16, 32
TOLD = L.TOLD


@kernel
def repair_draw(s, which):
    """Return the uniform number ``which`` of the present repair, or of the time before it."""
    return uniform(s.seed, s.history, REPAIR_DRAWS, s.n_repairs * PER_REPAIR + which)


@kernel
def watched(p):
    """Return the bits of what watches a stroke at the closing element."""
    bits = BY_CONTROLLER
    if p.actuator_current_sensed == 1:
        bits |= BY_CURRENT
    if p.actuator_end_of_travel == L.END_AT_MOTOR:
        bits |= BY_MOTOR_END
    elif p.actuator_end_of_travel == L.END_AT_STEM:
        bits |= BY_STEM_END
    return bits


@kernel
def is_told(s, outcome, bits):
    """Return whether what watches can tell that a closing ended so.

    A stem that has sheared lets the motor turn on freely, as a mount that slips.
    """
    if outcome == L.MODE_SEIZED and s.broken == L.SHEARED:
        outcome = L.MODE_MOUNT_SLIPPED
    for sense in range(len(TOLD)):
        if (bits >> sense) & 1 == 1 and (TOLD[sense] >> outcome) & 1 == 1:
            return True
    return False


@kernel
def failure_is_known(p, s, outcome):
    """Return whether the controller can tell that this closing failed; else it takes it for shut.

    The meter's pulses tell where a leak runs on above its starting flow.
    """
    bits = watched(p)
    for slot in range(s.slots):
        running = s.leak_on[slot] == 1 and s.leak_stopped[slot] == 0
        counted = p.flow_rule_fitted == 1 and s.pickup_ok == 1
        if running and counted and s.leak_flow[slot] >= p.flow_rule_starting_flow:
            bits |= BY_FLOW
    return is_told(s, outcome, bits)


@kernel
def is_found(p, s, outcome, by_person):
    """Return whether an exercise that ended so finds the fault, as things are until its repair.

    A stated coverage is the share of faults, by kind, that exercises find. Otherwise what is fitted
    tells, and of random failures, which may show only under load, the share that goes with it.
    """
    if not by_person and p.exercise_coverage >= 0.0:
        return s.fault_kind < p.exercise_coverage
    bits = watched(p)
    if by_person:
        bits |= BY_PERSON
    if outcome != L.MODE_ACTUATOR_FAILED or s.failed == 0:
        return is_told(s, outcome, bits)
    share = p.coverage_nothing
    if bits & (BY_CURRENT | BY_MOTOR_END):
        share = p.coverage_current
    if bits & BY_STEM_END:
        share = p.coverage_position
    if bits & BY_PERSON:
        share = p.coverage_flow
    return s.fault_kind < share


@kernel
def note_stiffness(s, outcome):
    """Remember that the valve itself was what failed."""
    if (L.STIFF_VALVE >> outcome) & 1 == 1:
        s.stiff = 1


@kernel
def schedule_repair(p, s, delay):
    """A fault is known: have it put right."""
    if s.repair_due != L.NO_REPAIR:
        return
    s.repair_due = L.REPAIR_ORDERED
    delay[L.REPAIR] = quantile(p.actuator_repair, repair_draw(s, WAIT))


@kernel
def fail_element(p, s, delay):
    """Random failure: detected at once with the diagnostic coverage, else dormant."""
    s.failed = 1
    if next_draw(s, ACTUATOR_DRAWS) < p.actuator_diagnostic:
        schedule_repair(p, s, delay)
    delay[L.ACTUATOR] = L.NEVER


@part
def mend(p, s, now, delay):
    """Put right what is found to be wrong; each act is one of its own, and is paid.

    A like unit keeps its class, and what made it stall stays, unless the valve is freed or renewed.
    """
    s.repair_due = L.NO_REPAIR
    s.n_repairs += 1
    s.fault_kind = repair_draw(s, KIND)
    s.stall_findings += s.stiff
    plumber = mend_valve(p, s, now)
    s.tries = 0
    wanted = p.repairs_next_class_after
    if is_clamped(p) and 0 < wanted <= s.stall_findings:
        next_class(p, s, now)
        delay[L.ACTUATOR] = waiting(p.actuator_failure_rate, next_draw(s, ACTUATOR_DRAWS))
    elif s.failed == 1 or s.burnt == 1 or s.stripped == 1:
        replace_element(p, s, now)
        s.repairs[L.REPLACED] += 1
        s.repair_cost += p.repairs_part
        delay[L.ACTUATOR] = waiting(p.actuator_failure_rate, next_draw(s, ACTUATOR_DRAWS))
    elif s.slipped == 1:
        tighten_mount(p, s, now)
        s.repairs[L.RETIGHTENED] += 1
    elif not plumber and s.stiff == 0:
        s.repairs[L.ADJUSTED] += 1
    if plumber or not is_clamped(p):
        s.mended_by = L.PLUMBER
        s.repair_cost += p.repairs_plumber
    elif p.repairs_by_owner == 1:
        s.mended_by = L.OWNER
        s.repair_cost += p.repairs_owner
    else:
        s.mended_by = L.INSTALLER
        s.repair_cost += p.repairs_installer
    s.stiff = 0
    valve.move(p, s, now)


@part
def next_class(p, s, now):
    """What was found to stall so often is not tried for ever: the next class, or none."""
    if s.rung + 1 >= p.n_rungs:
        take_off(s)
        return
    replace_element(p, s, now)
    take_class(p, s, s.rung + 1)


@kernel
def mend_valve(p, s, now):
    """Free a valve that is stiff or stuck, or renew it; return whether that took a plumber.

    A stem that has sheared is renewed, with the valve in the street shut meanwhile.
    """
    if s.broken == L.SHEARED:
        s.repair_cost += p.repairs_street_valve
        renew_valve(p, s, now)
        return True
    stuck = valve.is_seized(s, now)
    if not stuck and s.stiff == 0:
        return False
    s.stiff_findings += 1
    if p.valve_renew_after > 0 and s.stiff_findings >= p.valve_renew_after:
        renew_valve(p, s, now)
        return True
    s.broken = L.SOUND
    s.repairs[L.FREED] += 1
    return stuck


@kernel
def renew_valve(p, s, now):
    """A new valve of the same kind takes the place of this one."""
    valve.renew(p, s, now, repair_draw(s, NEW_VALVE))
    s.repairs[L.RENEWED] += 1
    s.repair_cost += p.repairs_valve


@part
def replace_element(p, s, now):
    """Fit a new unit, on a mount that is tightened with it."""
    s.failed = 0
    s.burnt = 0
    s.stripped = 0
    s.strokes = 0.0
    s.winding = 0.0
    s.winding_at = now
    s.unit = quantile(p.actuator_unit_spread, repair_draw(s, UNIT))
    tighten_mount(p, s, now)


@kernel
def tighten_mount(p, s, now):
    """Tighten the mount anew."""
    s.slipped = 0
    s.mounted_at = now
    s.creep = quantile(p.mount_creep, repair_draw(s, CREEP))


@kernel
def retighten(p, s, now):
    """People tighten the mount on their schedule; that takes their time."""
    s.n_repairs += 1
    tighten_mount(p, s, now)
    s.repairs[L.RETIGHTENED] += 1
    s.repair_cost += p.repairs_owner
    s.mended_by = L.OWNER


@kernel
def plumber_is_there(p, s, now, delay):
    """A plumber who mends a leak leaves no valve behind that cannot be turned.

    A repair that was ordered falls away if nothing else is wrong.

    Returns
    -------
    bool
        Whether that was all there was to mend.
    """
    if not valve.is_seized(s, now):
        return False
    s.n_repairs += 1
    mend_valve(p, s, now)
    s.stiff = 0
    valve.move(p, s, now)
    s.mended_by = L.PLUMBER
    if s.failed == 1 or s.burnt == 1 or s.stripped == 1 or s.slipped == 1:
        return False
    s.repair_due = L.NO_REPAIR
    delay[L.REPAIR] = L.NEVER
    return True
