"""The automation's part of the flat record: sensing, control, power, valve and actuator."""

from __future__ import annotations

import math
from typing import Any

from shutoffsim.model import layout
from shutoffsim.model.elements import NUMBERS
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.closing import Actuator, Solenoid


def automated(system: System) -> bool:
    """Whether there are sensors, messages and a controller in this design."""
    return system.element.traits.automated


def closes_itself(system: System) -> bool:
    """Whether something besides a person can close the water."""
    return system.element.traits.closes


def sensing(system: System) -> dict[str, Any]:
    """Fields of sensing and false alarms."""
    detection, rule, nuisance = system.detection, system.flow_rule, system.nuisance
    present = automated(system)
    number = sum(sensor.fitted for sensor in system.sensors.values())
    in_use = rule.fitted and present
    return {
        "votes": detection.votes,
        "sensor_common": detection.common_cause,
        "sensor_check": detection.test_interval if present else math.inf,
        "sensor_replacement": detection.replacement,
        "report_repeats": detection.report_repeats,
        "report_interval": detection.report_interval,
        "sensors_via_gateway": detection.via_gateway,
        "flow_rule": in_use,
        "pulse_volume": rule.pulse_volume,
        "starting_flow": rule.starting_flow,
        "rule_flow": rule.flow,
        "rule_time": rule.time,
        "rule_volume": rule.volume,
        "rule_time_away": rule.time_away,
        "rule_volume_away": rule.volume_away,
        "nuisance_rate": nuisance.rate_per_sensor * number if present else 0.0,
        "rule_nuisance_rate": nuisance.rule_rate if in_use else 0.0,
        "switch_off_chance": nuisance.switch_off_chance,
        "switch_off_time": nuisance.switch_off_time,
    }


def control(system: System) -> dict[str, Any]:
    """Fields of controller, gateway and policies."""
    controller, gateway, policies = system.controller, system.gateway, system.policies
    acts = closes_itself(system)
    return {
        "hang_rate": controller.hang_rate if automated(system) else 0.0,
        "watchdog": controller.watchdog,
        "restart_time": controller.restart_time,
        "hang_notice": controller.hang_notice,
        "decide_via_gateway": controller.decides_via_gateway,
        "gateway_fitted": gateway.fitted and automated(system),
        "gateway_up": gateway.availability,
        "gateway_outage": gateway.outage,
        "gateway_backed": gateway.backed_up,
        "remote_command": policies.remote_command and acts,
        "away_mode": policies.away_mode if automated(system) else 0.0,
        "close_when_away": policies.close_when_away and acts,
        "close_on_power_loss": policies.close_on_power_loss and acts,
        "power_loss_wait": policies.power_loss_wait,
        "escalate": policies.escalate and automated(system),
    }


def power(system: System) -> dict[str, Any]:
    """Fields of mains, supply and battery."""
    mains, supply, battery = system.mains, system.supply, system.battery
    capacity = battery.capacity
    content = capacity.joules + capacity.coulombs * battery.voltage
    return {
        "outage_rate": mains.outage_rate,
        "outage_duration": mains.outage_duration,
        "major_rate": mains.major_rate,
        "major_duration": mains.major_duration,
        "dip_rate": mains.dip_rate,
        "dip_duration": mains.dip_duration,
        "outage_spell_factor": mains.spell_factor,
        "supply_voltage": supply.voltage,
        "supply_resistance": supply.resistance,
        "supply_failure_rate": supply.failure_rate if automated(system) else 0.0,
        "supply_repair": supply.repair,
        "battery_fitted": battery.fitted and automated(system),
        "battery_energy": content * battery.usable,
        "battery_fade": battery.fade,
        "battery_voltage": battery.voltage,
        "battery_resistance": battery.resistance,
        "battery_life": battery.life,
        "battery_change": battery.change,
        "battery_test": battery.test,
        "standby_power": system.controller.standby_power,
        "coil_power": _coil(system).coil_power if system.element.traits.drive == "coil" else 0.0,
    }


def _coil(system: System) -> Solenoid:
    """The section of what a coil moves."""
    part: Solenoid = getattr(system, system.element.traits.section)
    return part


def valve_fields(system: System) -> dict[str, Any]:
    """Fields of the valve that is closed."""
    traits = system.element.traits
    valve = system.motorised_valve.valve if traits.own_valve else system.valve
    # Whoever fits a motor moves the valve; otherwise nobody has for a long time.
    moved = traits.drive == "motor"
    return {
        "breakaway": valve.breakaway,
        "valve_age": valve.age,
        "age_factor": valve.age_factor,
        "age_reference": valve.age_reference,
        "idle_growth": valve.idle_growth,
        "idle_cap": valve.idle_cap,
        "idle_start": 0.0 if moved else valve.untouched,
        "seize_time": valve.seize_time,
        "closing_share": valve.closing_share,
        "turns": valve.turns,
        "seat_leak": valve.seat_leak,
        "stem_limit": valve.stem_limit,
        "renew_after": valve.renew_after,
    }


def closing(system: System) -> dict[str, Any]:
    """Fields of what closes it."""
    traits = system.element.traits
    motor = system.motorised_valve.drive if traits.own_valve else system.actuator
    part: Actuator | Solenoid = _coil(system) if traits.drive == "coil" else motor
    acts = closes_itself(system)
    return {
        "element": NUMBERS[system.element.kind],
        "rated_voltage": motor.rated_voltage,
        "stall_torque": motor.stall_torque,
        "stall_current": motor.stall_current,
        "no_load_current": motor.no_load_current,
        "no_load_speed": motor.no_load_speed,
        "current_limit": motor.current_limit,
        "unit_spread": motor.unit_spread,
        "wear": motor.wear,
        "ambient": motor.ambient,
        "cold_torque": motor.temperature_derating,
        "thermal_resistance": motor.thermal_resistance,
        "thermal_time": motor.thermal_time,
        "winding_limit": motor.winding_limit,
        "stall_cutoff": motor.stall_cutoff,
        "retries": motor.retries,
        "retry_pause": motor.retry_pause,
        "shares_rail": system.controller.shares_rail,
        "brown_out": system.controller.brown_out,
        "failure_rate": part.failure_rate if acts else 0.0,
        "diagnostic": part.diagnostic,
        "stick_chance": part.stick_chance,
        "strip_chance": motor.strip_chance,
        "short_chance": part.short_chance,
        "short_flow": part.short_flow,
        "feedback": part.feedback,
        "repair": part.repair,
    }


def mounting(system: System) -> dict[str, Any]:
    """Fields of mount and exercise."""
    traits, mount = system.element.traits, system.mount
    clamped = traits.clamped
    release = mount.release_time
    if traits.own_valve:
        release = system.motorised_valve.release_time
    elif traits.drive == "coil":
        release = _coil(system).release_time
    screwed = clamped and mount.fasteners > 0
    exercise = system.exercise
    return {
        "mount": layout.MOUNT_SCREWS if screwed else layout.MOUNT_QUICK_RELEASE,
        "fasteners": mount.fasteners if clamped else 0,
        "fastener_time": mount.fastener_time,
        "tool_at_hand": mount.tool_at_hand,
        "tool_search": mount.tool_search,
        "release_time": release,
        "slip_torque": mount.slip_torque if clamped else math.inf,
        "preload_kept": mount.preload_kept,
        "preload_reference": mount.preload_reference,
        "exercise": exercise.interval if closes_itself(system) else math.inf,
        "exercise_coverage": exercise.coverage,
        "exercise_outage": exercise.outage,
    }
