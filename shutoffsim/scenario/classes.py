"""Classes of actuator in the library: their data sheets, and which suit a valve and a supply."""

from __future__ import annotations

import math
from functools import cache

from shutoffsim.model import layout
from shutoffsim.scenario.library import entries, presets
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.closing import Actuator

_ALIKE = 0.12  # exponents of torque that make two classes one kind
VOLTAGE = 0.25  # a class whose rated voltage is further from the supply's does not suit it


@cache
def sheets() -> dict[str, Actuator]:
    """Return the data sheets of all classes that are for sale alone, by name."""
    shared = {path[1]: entry.value for path, entry in entries().items() if path[0] == "actuator"}
    return {
        name: Actuator.model_validate(
            {**shared, **{key: entry["value"] for key, entry in sheet.items()}, "class": name}
        )
        for name, sheet in presets("actuator_classes").items()
        if not name.startswith("valve drive")  # part of a motorised valve
    }


def suits(actuator: Actuator, system: System) -> bool:
    """Return whether it turns the valve far enough and is made for a voltage like the supply's."""
    turns_enough = actuator.travel >= system.valve.turns * (1.0 - 1e-9)
    return turns_enough and abs(system.supply.voltage / actuator.rated_voltage - 1.0) <= VOLTAGE


def next_classes(system: System) -> list[Actuator]:
    """Return the classes that may take the place of the design's actuator, weakest first.

    They are of the same kind, stronger, and suit the valve and the supply that is there.
    """
    own = system.actuator
    up_to = system.commissioning.up_to
    most = sheets()[up_to].stall_torque if up_to in sheets() else float("inf")
    found = [
        sheet
        for sheet in sheets().values()
        if own.stall_torque * 1.03 < sheet.stall_torque <= most
        and abs(sheet.torque_exponent - own.torque_exponent) < _ALIKE
        and math.isfinite(sheet.travel) == math.isfinite(own.travel)
        and suits(sheet, system)
    ]
    return sorted(found, key=lambda sheet: sheet.stall_torque)[: layout.MAX_RUNGS - 1]
