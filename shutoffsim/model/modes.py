"""Failure modes: the links of the chain from the water to the shut valve, one row each, in order.

A row says at which stage the link stands, when its failure is known, what mends it, and what it
means to take it out. Words for people stand in :mod:`shutoffsim.report.modes`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, Final, Literal, NamedTuple, get_args

import numpy as np

#: Nothing that could close; until the controller knows; until it asks the closing element; the
#: element itself; what hangs on its torque; time.
Stage = Literal["not fitted", "sensing", "logic", "element", "torque", "time"]
#: What can tell that a closing failed: the controller itself; the current of the motor; the end of
#: travel, sensed at the motor or at the stem; flow that goes on at the meter; a person at a tap.
Sense = Literal[
    "controller", "motor current", "end at the motor", "end at the stem", "flow", "person"
]
SENSES: Final[tuple[Sense, ...]] = get_args(Sense)
# Where the motor turns on freely, only what is beyond the fault sees that the valve did not move.
_BEYOND: tuple[Sense, ...] = ("end at the stem", "flow", "person")
_EACH: tuple[Sense, ...] = ("motor current", "end at the motor", *_BEYOND)
#: What is mended after an incident in which it was the furthest broken link.
Mended = Literal["nothing", "sensors", "battery", "element"]

_AMPLE = 1e3  # times the rated torque
_ENDLESS = 1e15  # J
_AT_ONCE = 1e-6


class Change(NamedTuple):
    """How a failure mode is taken out of a design: it is run again without it.

    Parameters
    ----------
    how : str
        In words.
    apply : callable
        Changes a parameter record in place.
    remains : str
        Why the mode can occur all the same; empty: it cannot.
    """

    how: str
    apply: Callable[[Any], None]
    remains: str = ""


class Mode(NamedTuple):
    """A failure mode: the first broken link.

    Attributes
    ----------
    stage : str
        Where it stands.
    without : Change or str
        What it means to take it out, or why that cannot be done.
    mends : str
        What is mended after it.
    told_by : tuple of str
        What can tell, of :data:`SENSES`; matters where a closing can end so.
    stiff : bool
        The valve itself was what failed: found so often enough, it is renewed.
    """

    stage: Stage
    without: Change | str
    mends: Mended = "nothing"
    told_by: tuple[Sense, ...] = ()
    stiff: bool = False


def _always(value: float) -> tuple[float, float, float, float]:
    """Return the four numbers of a distribution that is one value."""
    from shutoffsim.model.quantiles import FIXED  # which compiles, and this need not

    return (float(FIXED), value, 0.0, 0.0)


def _sense_all(p: Any) -> None:
    sensors = range(int(p.n_sensors))
    for k in sensors:
        if p.sensor_reach_chance[k] > 0.0:
            p.sensor_reach_chance[k] = 1.0
    p.source_out_of_reach[:] = 0.0
    covered = {int(p.sensor_zone[k]) for k in sensors if p.sensor_reach_chance[k] > 0.0}
    for zone in sorted({int(p.source_zone[i]) for i in range(int(p.n_sources))} - covered):
        _add_sensor(p, zone)


def _add_sensor(p: Any, zone: int) -> None:
    """Put a sensor that cannot fail into a zone that has none."""
    unused = [k for k in range(int(p.n_sensors)) if p.sensor_reach_chance[k] <= 0.0]
    k = unused[0] if unused else int(p.n_sensors)
    if k >= len(p.sensor_zone):
        return
    p.n_sensors = max(int(p.n_sensors), k + 1)
    p.sensor_zone[k] = zone
    p.sensor_reach_chance[k] = 1.0
    p.sensor_reach_area[k] = _always(1.0)
    p.sensor_failure_rate[k] = 0.0
    p.sensor_battery_life[k] = _always(math.inf)
    p.sensor_attempt_success[k] = 1.0
    p.sensor_attempts[k] = 1


def _keep_sensors(p: Any) -> None:
    p.sensor_failure_rate[:] = 0.0
    p.sensor_battery_life[:] = _always(math.inf)
    p.flow_rule_failure_rate = 0.0


def _deliver_all(p: Any) -> None:
    p.sensor_attempt_success[:] = 1.0


def _pass_by_gateway(p: Any) -> None:
    p.detection_via_gateway = 0
    p.controller_decides_via_gateway = 0


def _keep_controller(p: Any) -> None:
    p.controller_hang_rate = 0.0
    p.controller_restart_time = 0.0


def _keep_on(p: Any) -> None:
    p.nuisance_switch_off_chance = 0.0


def _power_always(p: Any) -> None:
    p.battery_fitted = 1
    p.battery_energy = _ENDLESS
    p.battery_fade = 0.0
    p.battery_voltage = p.supply_voltage
    p.battery_resistance = p.supply_resistance
    p.battery_life = _always(math.inf)
    p.battery_change = math.inf


def _keep_element(p: Any) -> None:
    p.actuator_failure_rate = 0.0
    p.actuator_stick_chance = 0.0


def _own_rail(p: Any) -> None:
    p.controller_shares_rail = 0


def _cool_winding(p: Any) -> None:
    p.actuator_winding_limit = 1e12


def _strong_gears(p: Any) -> None:
    p.actuator_strip_chance = 0.0


def _firm_mount(p: Any) -> None:
    p.mount_slip_torque = math.inf


def _ample_torque(p: Any) -> None:
    p.actuator_stall_torque *= _AMPLE
    p.actuator_wear = 0.0
    p.actuator_temperature_derating = 0.0


def _free_valve(p: Any) -> None:
    p.valve_seize_time = _always(math.inf)
    p.valve_stem_limit = math.inf


def _full_travel(p: Any) -> None:
    p.actuator_short_chance = 0.0


def _at_once(p: Any) -> None:
    p.sensor_reach_area[:] = _always(_AT_ONCE)
    p.actuator_no_load_speed /= _AT_ONCE


FAILURE_MODES: Final[Mapping[str, Mode]] = {
    "no automation": Mode(
        "not fitted", "nothing closes by itself in this design; compare it with one that does"
    ),
    "not sensed": Mode(
        "sensing",
        Change(
            "the water of every leak meets a sensor; a zone without one gets one that cannot fail",
            _sense_all,
            "a person noticed a slow leak before any sensor was wet, and ordered it shut by "
            "telephone",
        ),
    ),
    "sensor dead": Mode(
        "sensing",
        Change("sensors, their batteries and the pickup never fail", _keep_sensors),
        mends="sensors",
    ),
    "message lost": Mode(
        "sensing", Change("every radio report arrives at the first attempt", _deliver_all)
    ),
    "gateway down": Mode(
        "logic",
        Change(
            "sensors and controller decide without the gateway; messages to people still need it",
            _pass_by_gateway,
        ),
    ),
    "controller down": Mode(
        "logic",
        Change("the controller never hangs, and a restart takes no time", _keep_controller),
    ),
    "automation switched off": Mode(
        "logic", Change("nobody switches it off after a false alarm", _keep_on)
    ),
    "no power": Mode(
        "logic",
        Change(
            "a battery that never fails or empties takes over, as strong as the supply",
            _power_always,
        ),
        mends="battery",
        told_by=("controller",),
    ),
    "actuator failed": Mode(
        "element",
        Change("the closing element never fails by itself or sticks", _keep_element),
        mends="element",
        told_by=_EACH,
    ),
    "brown-out": Mode(
        "torque",
        Change("the controller has a supply of its own", _own_rail),
        mends="element",
        told_by=("controller",),
    ),
    "motor burnt": Mode(
        "torque", Change("the winding bears any heat", _cool_winding), "element", _EACH
    ),
    "gears stripped": Mode(
        "torque", Change("the gears bear any stall", _strong_gears), "element", _BEYOND
    ),
    "mount slipped": Mode(
        "torque", Change("the mount holds any torque", _firm_mount), "element", _BEYOND
    ),
    "undersized torque": Mode(
        "torque",
        Change(
            f"the actuator gives {_AMPLE:,.0f} times its torque and does not wear", _ample_torque
        ),
        mends="element",
        told_by=_EACH,
        stiff=True,
    ),
    "valve seized": Mode(
        "torque",
        Change("the valve never seizes and its stem bears any torque", _free_valve),
        "element",
        _EACH,
        stiff=True,
    ),
    "closed short": Mode(
        "element",
        Change("the travel always ends at the shut valve", _full_travel),
        "element",
        _BEYOND,
    ),
    "late": Mode(
        "time",
        Change(
            "sensors are wet at once and the motor takes no time",
            _at_once,
            "a flow rule, repeated reports and further attempts stay as slow as they are, and "
            "water stored above the leak still runs out",
        ),
    ),
}

#: Names by number.
MODES: Final = ("none", *FAILURE_MODES)
(
    MODE_NONE,
    MODE_NO_AUTOMATION,
    MODE_NOT_SENSED,
    MODE_SENSOR_DEAD,
    MODE_MESSAGE_LOST,
    MODE_GATEWAY_DOWN,
    MODE_CONTROLLER_DOWN,
    MODE_SWITCHED_OFF,
    MODE_NO_POWER,
    MODE_ACTUATOR_FAILED,
    MODE_BROWN_OUT,
    MODE_MOTOR_BURNT,
    MODE_GEARS_STRIPPED,
    MODE_MOUNT_SLIPPED,
    MODE_UNDERSIZED,
    MODE_SEIZED,
    MODE_CLOSED_SHORT,
    MODE_LATE,
) = np.arange(len(MODES))


def modes_that(have: Callable[[Mode], bool]) -> tuple[int, ...]:
    """Return the numbers of the modes that have a trait."""
    return tuple(MODES.index(name) for name, mode in FAILURE_MODES.items() if have(mode))


def _told_by(sense: Sense) -> int:
    return _bits(lambda mode: sense in mode.told_by)


def _bits(have: Callable[[Mode], bool]) -> int:
    return sum(1 << number for number in modes_that(have))


# One bit per mode, for compiled rules: bit n tells whether mode n has the trait.
MENDS_SENSORS: Final = _bits(lambda mode: mode.mends == "sensors")
MENDS_BATTERY: Final = _bits(lambda mode: mode.mends == "battery")
MENDS_ELEMENT: Final = _bits(lambda mode: mode.mends == "element")
#: By sense: which modes it can tell.
TOLD: Final = tuple(_told_by(sense) for sense in SENSES)
STIFF_VALVE: Final = _bits(lambda mode: mode.stiff)
