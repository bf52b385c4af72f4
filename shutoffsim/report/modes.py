"""Failure modes in words, keyed by their names; the glossary takes its table from here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple


class Meaning(NamedTuple):
    """A failure mode in words.

    Parameters
    ----------
    happened : str
        What went wrong.
    remedy : str
        What makes it rarer.
    """

    happened: str
    remedy: str


#: Each failure mode: the first broken link of the chain from the water to the shut valve.
MODES: Final[Mapping[str, Meaning]] = {
    "no automation": Meaning("nothing is fitted that could close", "fit something that closes"),
    "not sensed": Meaning(
        "the water met no sensor, and no flow rule could see it",
        "sensors where water collects, or a flow rule at the meter",
    ),
    "sensor dead": Meaning(
        "the sensor that the water reached had failed or its battery was empty",
        "supervised sensors, batteries changed in time, tests with water",
    ),
    "message lost": Meaning(
        "the sensor's radio report did not arrive", "a shorter radio path, or a wire"
    ),
    "gateway down": Meaning(
        "the report or the decision had to pass a gateway that did not work",
        "a controller that decides locally",
    ),
    "controller down": Meaning(
        "the controller hung or was restarting", "a watchdog that restarts it"
    ),
    "automation switched off": Meaning(
        "people had switched the automation off after a false alarm",
        "fewer false alarms, and a reminder to switch it on again",
    ),
    "no power": Meaning(
        "neither mains nor battery, or too little energy for the stroke",
        "a battery that is tested and changed, or closing when the mains fail",
    ),
    "actuator failed": Meaning(
        "a random failure of the closing element, unrelated to its load",
        "exercise it more often, so that dormant failures are found",
    ),
    "brown-out": Meaning(
        "the motor pulled the shared supply down and the controller reset",
        "a stronger supply, or a separate one for the motor",
    ),
    "motor burnt": Meaning(
        "the winding had burnt at an earlier stall", "a cut-off at stall, and more torque"
    ),
    "gears stripped": Meaning(
        "the gears had stripped at an earlier stall", "stronger gears, and a cut-off at stall"
    ),
    "mount slipped": Meaning(
        "the clamp turned on the valve instead of turning it",
        "a metal clamp, retightened after the first weeks",
    ),
    "undersized torque": Meaning(
        "the valve needed more torque than the actuator gave on its supply",
        "more torque, a stronger supply, or more frequent exercise",
    ),
    "valve seized": Meaning(
        "the valve could not be turned at all", "exercise, or a new valve; not more torque"
    ),
    "closed short": Meaning(
        "the travel ended before the valve was shut", "an end-of-travel switch and an alarm"
    ),
    "late": Meaning(
        "every link held, but too much water had escaped before the valve was shut",
        "sensors nearer to the source, and a stricter flow rule",
    ),
}
