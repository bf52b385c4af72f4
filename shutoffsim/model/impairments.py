"""What is not in order at a time: where rare failures are sampled, it says where to look harder."""

from __future__ import annotations

from shutoffsim.model import layout as L
from shutoffsim.model import motor, power, valve
from shutoffsim.model.compiled import entry
from shutoffsim.model.fitted import closes_itself, falls_shut, has_coil


@entry
def impairments(p, s, now):
    """Return how many things are not in order that a leak now would need.

    Only where to look harder hangs on this, never a result; a stiff valve counts when torque to
    close in the upper part of its range exceeds what the actuator has.
    """
    if not closes_itself(p) or s.gave_up == 1:
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
    if p.flow_rule_fitted == 1 and s.pickup_ok == 0:
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
    if torque > motor.available_torque(p, s, now, voltage, resistance):
        count += 1
    return count
