"""What must hold between values that are each right by themselves."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from typing import NamedTuple

from shutoffsim import units
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.closing import Actuator, Valve
from shutoffsim.scenario.structure import Path


class Complaint(NamedTuple):
    """A contradiction, without the file it was found in.

    ``related`` are other keys that it may come from.
    """

    path: Path
    message: str
    found: str
    expected: str
    hint: str | None = None
    related: tuple[Path, ...] = ()


def check(system: System) -> Iterator[Complaint]:
    """Contradictions in one resolved design.

    Examples
    --------
    A stall current below the no-load current yields one complaint at ``actuator.stall_current``.
    """
    yield from _supply(system)
    yield from _zones(system)
    yield from _leaks(system)
    yield from _sensors(system)
    yield from _power(system)
    yield from _closing(system)
    if system.damage.wet_start >= system.damage.wet_full:
        yield Complaint(
            ("damage", "wet_full"),
            "wet_full must come after wet_start",
            units.format(system.damage.wet_full, "time"),
            f"more than {units.format(system.damage.wet_start, 'time')}",
            related=(("damage", "wet_start"),),
        )
    if system.exercise.outage >= system.exercise.interval:
        yield Complaint(
            ("exercise", "outage"),
            "an exercise must end before the next one",
            units.format(system.exercise.outage, "time"),
            f"less than {units.format(system.exercise.interval, 'time')}",
            related=(("exercise", "interval"),),
        )


def _supply(system: System) -> Iterator[Complaint]:
    pipe = system.dwelling.supply_pipe
    if pipe is None:
        return
    if system.dwelling.full_bore_flow is not None:
        yield Complaint(
            ("dwelling", "supply_pipe"),
            "two values for one thing",
            "full_bore_flow and supply_pipe",
            "only one of full_bore_flow or supply_pipe",
            "keep the measured flow",
        )
    if pipe.roughness is None:
        return
    if pipe.friction_factor is not None:
        yield Complaint(
            ("dwelling", "supply_pipe", "friction_factor"),
            "two values for one thing",
            "roughness and friction_factor",
            "only one of roughness or friction_factor",
            "keep the friction factor only if it was measured",
        )
    # Friction formulas for pipes hold up to a twentieth of the bore.
    if pipe.roughness > pipe.bore / 20:
        yield Complaint(
            ("dwelling", "supply_pipe", "roughness"),
            "the pipe is too rough for its bore",
            units.format(pipe.roughness, "length"),
            f"at most {units.format(pipe.bore / 20, 'length')}, a twentieth of the bore",
            related=(("dwelling", "supply_pipe", "bore"),),
        )


def _zones(system: System) -> Iterator[Complaint]:
    floor = system.dwelling.floor_area
    for name, zone in system.zones.items():
        if zone.fitted and zone.area > floor * (1 + 1e-9):
            yield Complaint(
                ("zones", name, "area"),
                "a zone cannot be larger than the dwelling",
                units.format(zone.area, "area"),
                f"at most {units.format(floor, 'area')} (dwelling.floor_area)",
                related=(("dwelling", "floor_area"),),
            )


def _place(system: System, kind: str, name: str, zone: str) -> Iterator[Complaint]:
    known = [key for key, value in system.zones.items() if value.fitted]
    if zone not in known:
        close = difflib.get_close_matches(zone, known, n=1)
        yield Complaint(
            (kind, name, "zone"),
            "there is no such zone",
            f'"{zone[:80]}"',
            "one of " + ", ".join(f'"{key}"' for key in known),
            f'did you mean "{close[0]}"?' if close else f"add [zones.{zone[:40]}] or change it",
        )


def _leaks(system: System) -> Iterator[Complaint]:
    for name, leak in system.leaks.items():
        if leak.fitted:
            yield from _place(system, "leaks", name, leak.zone)
        path = ("leaks", name)
        ways = {
            "rate": [k for k in ("rate", "life") if getattr(leak, k) is not None],
            "hole_area": [
                k
                for k in ("hole_diameter", "hole_area", "open_end_flow")
                if getattr(leak, k) is not None
            ],
        }
        choices = {"rate": "rate or life", "hole_area": "hole_diameter, hole_area or open_end_flow"}
        for key, given in ways.items():
            if not given:
                yield Complaint(
                    path,
                    f"{choices[key]} is missing",
                    "neither",
                    f"one of {choices[key]}",
                    "choose a kind, which gives all values, or state it",
                )
            elif len(given) > 1:
                yield Complaint(
                    (*path, given[1]),
                    "two values for one thing",
                    " and ".join(given),
                    f"only one of {choices[key]}",
                    "remove one of them",
                )
        hole = leak.hole_diameter
        shifted = hole is not None and hole.kind == "lognormal" and hole.least > 0.0
        if hole is not None and (shifted or hole.kind not in ("fixed", "lognormal")):
            yield Complaint(
                (*path, "hole_diameter"),
                "a diameter can be fixed or log-normal only",
                "log-normal above a least value" if shifted else hole.kind,
                '{median = "2 mm", spread = 1.5} or a plain value',
                "or state hole_area instead, in any form",
            )


def _sensors(system: System) -> Iterator[Complaint]:
    fitted = [name for name, sensor in system.sensors.items() if sensor.fitted]
    for name in fitted:
        yield from _place(system, "sensors", name, system.sensors[name].zone)
    votes = system.detection.votes
    if fitted and votes > len(fitted):
        yield Complaint(
            ("detection", "votes"),
            "more votes than sensors: it could never close",
            str(votes),
            f"at most {len(fitted)}, the number of sensors",
        )
    if system.flow_rule.fitted:
        yield from _flow_rule(system)


_SHORTEST_RULE, _SMALLEST_RULE = 10.0, 1e-4  # s, m3


def _flow_rule(system: System) -> Iterator[Complaint]:
    """A rule that trips within seconds would ring without end while it cannot close."""
    rule = system.flow_rule
    for key, value, least, kind in (
        ("time", rule.time, _SHORTEST_RULE, "time"),
        ("time_away", rule.time_away, _SHORTEST_RULE, "time"),
        ("volume", rule.volume, _SMALLEST_RULE, "volume"),
        ("volume_away", rule.volume_away, _SMALLEST_RULE, "volume"),
    ):
        if value < least:
            yield Complaint(
                ("flow_rule", key),
                "a flow rule this short trips whenever a tap is opened",
                units.format(value, kind),
                f"{units.format(least, kind)} or more",
            )


_OFF_RATING = 0.25  # data sheets state no more; beyond it windings burn or nothing turns


def _power(system: System) -> Iterator[Complaint]:
    brown_out = system.controller.brown_out
    sources = [("supply", system.supply.voltage)]
    if system.battery.fitted:
        sources.append(("battery", system.battery.voltage))
    for name, voltage in sources:
        if brown_out >= voltage:
            yield Complaint(
                ("controller", "brown_out"),
                f"the controller could never run from the {name}",
                units.format(brown_out, "voltage"),
                f"less than {units.format(voltage, 'voltage')} ({name}.voltage)",
                related=((name, "voltage"), (name, "chemistry"), (name, "fitted")),
            )
    path = system.element.traits.motor
    if not path:
        return
    motor = system.actuator if path == ("actuator",) else system.motorised_valve.drive
    for name, voltage in sources:
        if abs(voltage / motor.rated_voltage - 1.0) > _OFF_RATING and not motor.off_rating:
            yield Complaint(
                (name, "voltage"),
                "more than a quarter off the rated voltage of its motor",
                units.format(voltage, "voltage"),
                f"about {units.format(motor.rated_voltage, 'voltage')} "
                f"({'.'.join(path)}.rated_voltage)",
                f"choose a motor for this {name}, or say that it is meant: "
                f"{'.'.join(path)}.off_rating = true",
                related=((*path, "rated_voltage"), (*path, "class"), (name, "chemistry")),
            )


def _closing(system: System) -> Iterator[Complaint]:
    if system.policies.close_when_away and not system.element.traits.closes:
        yield Complaint(
            ("policies", "close_when_away"),
            "nothing in this design can close the valve",
            "true",
            f"false with element.kind = {system.element.kind!r}",
            "say how often people shut it themselves: people.shut_on_leaving",
            related=(("element", "kind"),),
        )
    yield from _actuator(system.actuator, ("actuator",))
    yield from _actuator(system.motorised_valve.drive, ("motorised_valve", "drive"))
    if system.element.traits.section == "actuator":
        yield from _travel(system.actuator, system.valve, ("actuator",), ("valve",))
    if system.element.traits.section == "motorised_valve":
        yield from _travel(
            system.motorised_valve.drive,
            system.motorised_valve.valve,
            ("motorised_valve", "drive"),
            ("motorised_valve", "valve"),
        )


def _actuator(actuator: Actuator, path: Path) -> Iterator[Complaint]:
    if actuator.no_load_current >= actuator.stall_current:
        yield Complaint(
            (*path, "stall_current"),
            "the stall current must be greater than the no-load current",
            units.format(actuator.stall_current, "current"),
            f"more than {units.format(actuator.no_load_current, 'current')} (no_load_current)",
            related=((*path, "no_load_current"), (*path, "class")),
        )
    if actuator.ambient >= actuator.winding_limit:
        yield Complaint(
            (*path, "winding_limit"),
            "the winding would burn at rest",
            units.format(actuator.winding_limit, "temperature"),
            f"more than {units.format(actuator.ambient, 'temperature')} (ambient)",
            related=((*path, "ambient"),),
        )


def _travel(actuator: Actuator, valve: Valve, path: Path, other: Path) -> Iterator[Complaint]:
    if actuator.travel < valve.turns * (1 - 1e-9) and math.isfinite(actuator.travel):
        yield Complaint(
            (*path, "travel"),
            "the actuator cannot turn far enough for this valve",
            units.format(actuator.travel, "turns"),
            f"at least {units.format(valve.turns, 'turns')} (valve.turns)",
            "choose a multi-turn class of actuator for a valve of several turns",
            ((*path, "class"), (*other, "turns"), (*other, "type"), ("element", "kind")),
        )
