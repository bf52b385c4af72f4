"""Commissioning: the fitting test on the day, the next class of actuator, and giving up."""

from __future__ import annotations

from shutoffsim.model import layout as L
from shutoffsim.model.compiled import kernel
from shutoffsim.model.fitted import closes_itself, is_clamped
from shutoffsim.model.motor import available_torque, running_current
from shutoffsim.model.mount import slip_capacity
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import FITTING_DRAWS, uniform
from shutoffsim.model.valve import closing_torque, opening_torque

UNIT, SHARE = 0, 8  # + class: draws of the fitting test


@kernel
def in_use(p, s):
    """Return whether something that closes the water by itself is fitted, and was left there."""
    return closes_itself(p) and s.gave_up == 0


@kernel
def fitting_test(p, s):
    """Try the actuator on the day, on the valve that was just moved; fit the next class or not."""
    s.fitted_as = L.FITTED_UNTRIED
    if not is_clamped(p) or p.commissioning_test == L.TEST_NONE:
        return
    for rung in range(max(p.n_rungs, 1)):
        if rung > 0:
            u = uniform(s.seed, s.history, FITTING_DRAWS, UNIT + rung)
            s.unit = quantile(p.actuator_unit_spread, u)
            take_class(p, s, rung)
        if passes(p, s, uniform(s.seed, s.history, FITTING_DRAWS, SHARE + rung)):
            s.fitted_as = L.FITTED_AS_BOUGHT if rung == 0 else L.FITTED_NEXT
            return
        if p.commissioning_if_it_fails != L.IF_NEXT_CLASS:
            break
    if p.commissioning_if_it_fails == L.IF_KEEP:
        s.fitted_as = L.FITTED_FAILING
    else:
        s.fitted_as = L.FITTED_NOT
        take_off(s)


@kernel
def passes(p, s, u):
    """Return whether actuator, mount and supply turn the valve now; ``u`` draws the closing."""
    needed = closing_torque(p, s, 0.0, u)
    if p.commissioning_test == L.TEST_CLOSE_AND_REOPEN:
        needed = max(needed, opening_torque(p, s, 0.0))
    voltage, resistance = p.supply_voltage, p.supply_resistance
    given = available_torque(p, s, 0.0, voltage, resistance)
    if needed > given or given <= 0.0:
        return False
    if needed > slip_capacity(p, s, 0.0) or needed > p.valve_stem_limit:
        return False
    current = running_current(p, s, needed, given, voltage, resistance)
    return p.controller_shares_rail == 0 or voltage - current * resistance >= p.controller_brown_out


@kernel
def take_class(p, s, rung):
    """Fit another class; the one before it cannot be given back."""
    s.rung = rung
    s.stall_findings = 0
    s.repairs[L.NEXT_CLASS] += 1
    s.repair_cost += p.repairs_part


@kernel
def take_off(s):
    """Take the actuator off again: from now on a person closes."""
    s.gave_up = 1
    s.repairs[L.TAKEN_OFF] += 1
