"""Where the record is more than a copy of the scenario: what is fitted, what is worked out.

Everything else in the record has the name of its key in the scenario, dots written as underscores,
and is copied by :mod:`shutoffsim.scenario.parameters`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from shutoffsim.model import layout
from shutoffsim.model.elements import NUMBERS
from shutoffsim.scenario import calendar
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.fill import TAKES_A_TOOL
from shutoffsim.scenario.pipes import pipe_fields
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.closing import Actuator, Solenoid
from shutoffsim.scenario.schema.people import People
from shutoffsim.scenario.schema.sensing import Sensor
from shutoffsim.scenario.schema.water import Leak

_STATES = {
    calendar.AWAKE: layout.AWAKE,
    calendar.ASLEEP: layout.ASLEEP,
    calendar.OUT: layout.OUT,
    calendar.PERHAPS_OUT: layout.PERHAPS_OUT,
}
_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_NOTHING = Distribution("fixed", 0.0)
_ENDLESS = Distribution("fixed", math.inf)
_ONE = Distribution("fixed", 1.0)

_TESTS = {
    "none": layout.TEST_NONE,
    "close": layout.TEST_CLOSE,
    "close and reopen": layout.TEST_CLOSE_AND_REOPEN,
}
_IF_IT_FAILS = {
    "next class": layout.IF_NEXT_CLASS,
    "give up": layout.IF_GIVE_UP,
    "keep": layout.IF_KEEP,
}
_SIRENS = {
    "own battery": layout.SIREN_ON_BATTERY,
    "mains": layout.SIREN_ON_MAINS,
    "controller": layout.SIREN_ON_CONTROLLER,
}
_ENDS = {
    "not sensed": layout.END_NOT_SENSED,
    "at the motor": layout.END_AT_MOTOR,
    "at the stem": layout.END_AT_STEM,
}

#: Fields that a solenoid gives in the place of the motor.
_OF_THE_PART = (
    "failure_rate",
    "diagnostic",
    "stick_chance",
    "current_sensed",
    "repair",
)


def in_force(system: System) -> System:
    """The design with the valve and the drive that are in use in the place of the old ones."""
    if not system.element.traits.own_valve:
        return system
    new = system.motorised_valve
    return system.model_copy(update={"valve": new.valve, "actuator": new.drive})


def system_fields(system: System) -> dict[str, Any]:
    """Fields that are no copies.

    Parameters
    ----------
    system : System
        As :func:`in_force` gives it.
    """
    return {
        **_water(system),
        **_people(system),
        **_sensing(system),
        **_control(system),
        **_power(system),
        **_closing(system),
    }


def _water(system: System) -> dict[str, Any]:
    dwelling = system.dwelling
    return {
        "dwelling_full_bore_flow": dwelling.full_bore_flow or 0.0,
        "region": 0,  # set by a portfolio whose dwellings share weather and mains
        **pipe_fields(dwelling.supply_pipe, dwelling.water_temperature),
    }


def _people(system: System) -> dict[str, Any]:
    people = system.people
    days = days_of_week(people)
    pattern = tuple(_STATES[state] for day in days for state in day.half_hours)
    start_away = away_share(people) if people.start_away is None else people.start_away
    return {
        "people_week": pattern,
        "people_week_stays": _stays(pattern),
        "people_out_chance": [day.out_chance for day in days],
        "people_start_away": start_away if people.trips else 0.0,
        "people_awake_share": awake_share(people) * (1.0 - away_share(people)),
        "people_notice_log_spread": math.log(people.notice_spread),
        "notification_log_spread": math.log(system.notification.spread),
        "neighbour_notices": system.neighbour.notices and system.dwelling.units_below > 0,
    }


@cache
def _stays(pattern: tuple[int, ...]) -> list[int]:
    """Return for each half hour how many of like kind follow it, itself included.

    The day's draw ends with the day, so PERHAPS_OUT counts no further than midnight.
    """
    length = len(pattern)
    stays = [0] * length
    for at in reversed(range(2 * length)):  # twice round, as the week goes on into the next
        here, ahead = pattern[at % length], pattern[(at + 1) % length]
        ends = here != ahead or (here == layout.PERHAPS_OUT and (at + 1) % 48 == 0)
        stays[at % length] = 1 if ends else min(stays[(at + 1) % length] + 1, length)
    return stays


def days_of_week(people: People) -> list[calendar.Day]:
    """Return the seven days, from Monday on."""
    return [getattr(people.week, day) or people.week.weekdays for day in _DAYS]


def awake_share(people: People) -> float:
    """Return the share of an ordinary week in which somebody is awake at home."""
    share = 0.0
    for day in days_of_week(people):
        likely = {calendar.AWAKE: 1.0, calendar.PERHAPS_OUT: 1.0 - day.out_chance}
        share += sum(likely.get(state, 0.0) for state in day.half_hours)
    return share / (7 * calendar.HALF_HOURS_A_DAY)


def away_share(people: People) -> float:
    """Long-run share of time on trips."""
    return people.trip.mean / (people.trip.mean + people.stay.mean) if people.trips else 0.0


def _sensing(system: System) -> dict[str, Any]:
    present = system.element.traits.automated
    number = sum(sensor.fitted for sensor in system.sensors.values())
    rule_used = system.flow_rule.fitted and present
    nuisance, test, closes = system.nuisance, system.pressure_test, system.element.traits.closes
    return {
        "siren_fitted": system.siren.fitted and present,
        "siren_power": _SIRENS[system.siren.power],
        "detection_test_interval": system.detection.test_interval if present else math.inf,
        "flow_rule_fitted": rule_used,
        "flow_rule_failure_rate": system.flow_rule.failure_rate if rule_used else 0.0,
        "pressure_test_interval": test.interval if test.fitted and closes else math.inf,
        "nuisance_sensor_rate": nuisance.rate_per_sensor * number if present else 0.0,
        "nuisance_rule_rate": nuisance.rule_rate if rule_used else 0.0,
    }


def _control(system: System) -> dict[str, Any]:
    traits, policies = system.element.traits, system.policies
    return {
        "controller_hang_rate": system.controller.hang_rate if traits.automated else 0.0,
        "gateway_fitted": system.gateway.fitted and traits.automated,
        "policies_remote_command": policies.remote_command and traits.closes,
        "policies_away_mode": policies.away_mode if traits.automated else 0.0,
        "policies_close_when_away": policies.close_when_away and traits.closes,
        "policies_close_on_power_loss": policies.close_on_power_loss and traits.closes,
        "policies_escalate": policies.escalate and traits.automated,
    }


def _power(system: System) -> dict[str, Any]:
    traits, battery = system.element.traits, system.battery
    content = battery.capacity.joules + battery.capacity.coulombs * battery.voltage
    return {
        "supply_failure_rate": system.supply.failure_rate if traits.automated else 0.0,
        "battery_fitted": battery.fitted and traits.automated,
        "battery_energy": content * battery.usable,
        "solenoid_coil_power": _coil(system).coil_power if traits.drive == "coil" else 0.0,
    }


def _coil(system: System) -> Solenoid:
    """The section of what a coil moves."""
    part: Solenoid = getattr(system, system.element.traits.section)
    return part


def _closing(system: System) -> dict[str, Any]:
    traits, mount = system.element.traits, system.mount
    part: Actuator | Solenoid = _coil(system) if traits.drive == "coil" else system.actuator
    release: Any = mount
    if traits.own_valve:
        release = system.motorised_valve
    elif traits.drive == "coil":
        release = part
    screwed = traits.clamped and mount.fasteners > 0
    rubs = traits.clamped and mount.reaction == "friction"
    return {
        "element_kind": NUMBERS[system.element.kind],
        # Whoever fits a motor moves the valve; otherwise nobody has for a long time.
        "valve_idle_start": 0.0 if traits.drive == "motor" else system.valve.untouched,
        **{f"actuator_{name}": getattr(part, name) for name in _OF_THE_PART},
        "actuator_end_of_travel": _ENDS[part.end_of_travel],
        "actuator_failure_rate": part.failure_rate if traits.closes else 0.0,
        "mount_kind": layout.MOUNT_SCREWS if screwed else layout.MOUNT_QUICK_RELEASE,
        "mount_fasteners": mount.fasteners if traits.clamped else 0,
        "mount_release_time": release.release_time,
        "mount_slip_torque": mount.slip_torque if rubs else math.inf,
        "mount_retightening": mount.retightening if rubs else math.inf,
        "override_tool_fits": system.override.grip in TAKES_A_TOOL,
        "commissioning_test": _TESTS[system.commissioning.test],
        "commissioning_if_it_fails": _IF_IT_FAILS[system.commissioning.if_it_fails],
        "exercise_interval": system.exercise.interval if traits.closes else math.inf,
        "exercise_coverage": -1.0 if system.exercise.coverage is None else system.exercise.coverage,
        "owner_test_interval": system.owner_test.interval if traits.closes else math.inf,
    }


#: A source that a design lacks has rate zero and is a sound one otherwise.
_NO_LEAK: dict[str, Any] = {
    name: _ONE if kind == layout.DIST else 0.0 for name, kind, *_ in layout.SOURCE_FIELDS
} | {
    "replace_at": math.inf,
    "spell_factor": 1.0,
    "trip_factor": 1.0,
    "discharge": 1.0,
    "open_end_pressure": 1e5,
    "hidden": 1.0,
}

#: A sensor that a design lacks is never met by water.
_NO_SENSOR: dict[str, Any] = {
    "zone": 0,
    "reach_chance": 0.0,
    "reach_area": _ONE,
    "failure_rate": 0.0,
    "battery_life": _ENDLESS,
    "supervised": 0,
    "attempt_success": 1.0,
    "attempts": 1,
    "false_alarm_rate": 0.0,
}


def leak_fields(leak: Leak | None, zones: Sequence[str]) -> Mapping[str, Any]:
    """Fields of a source that are no copies; all of them where there is none."""
    if leak is None or not leak.fitted:
        return _NO_LEAK
    hole = _NOTHING
    if leak.hole_area is not None:
        hole = leak.hole_area
    elif leak.hole_diameter is not None:
        hole = leak.hole_diameter.power(math.pi / 4, 2.0)
    ages = leak.life is not None
    return {
        "zone": zones.index(leak.zone),
        "rate": 0.0 if leak.rate is None else leak.rate * leak.parts,
        "life_shape": leak.life_shape if ages else 0.0,
        "life": leak.life if ages else 0.0,
        # A part that is already older than its replacement age is replaced at commissioning.
        "age": 0.0 if leak.age >= leak.replace_at else leak.age,
        "winter": float(leak.season == "winter"),
        "in_use": leak.starts == "in use",
        "hole_area": hole,
        "open_end_flow": leak.open_end_flow or _NOTHING,
        "grey": leak.water == "grey",
    }


def sensor_fields(
    sensor: Sensor | None, zones: Sequence[str], false_alarms: float
) -> Mapping[str, Any]:
    """Fields of a sensor that are no copies; all of them where there is none."""
    if sensor is None or not sensor.fitted:
        return _NO_SENSOR
    return {"zone": zones.index(sensor.zone), "false_alarm_rate": false_alarms}
