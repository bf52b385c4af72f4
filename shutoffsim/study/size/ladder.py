"""The ratings to choose from, and the data sheet that goes with each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from shutoffsim import units
from shutoffsim.errors import ModelError, UnitError
from shutoffsim.model import layout as L
from shutoffsim.scenario import Scenario
from shutoffsim.scenario.classes import suits
from shutoffsim.scenario.library import entries, presets
from shutoffsim.scenario.parameters import compile_parameters
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.schema.closing import Actuator

Scale = Literal["gears", "motor"]

OWN = "the design's own data sheet"
SCALED = {
    "gears": "the design's data sheet with other gears: torque up, speed down, current the same",
    "motor": "the design's data sheet with another motor: torque and current up, speed the same",
}
#: Round stall torques, N*m, between and beyond those of the library's classes. Common practice:
#: small drives are named after a round torque; that these are the steps is an assumption.
ROUND = (
    *(1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0),
    *(10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 40.0, 60.0),
)
LONGEST = 8  # rungs of the default ladder
_BELOW, _ABOVE = 1.6, 1.7  # how far it goes beyond the ratings of interest
_ALIKE = 0.15  # ratings closer than this are one rung
SAME = 0.03  # a data sheet's torque in round numbers of another unit is still the same rating
_MOST_RATINGS = 20


@dataclass(frozen=True)
class Rung:
    """One rating of the ladder.

    Attributes
    ----------
    rating : float
        Stall torque at rated voltage, N*m.
    sheet : str
        Where its data sheet comes from: a class of the library, or the design's own, scaled.
    own : bool
        It is what the design has.
    """

    rating: float
    sheet: str
    own: bool = False


def is_same(rating: float, other: float) -> bool:
    """Return whether two ratings [N*m] are one, but for rounding."""
    return math.isclose(rating, other, rel_tol=SAME)


def read_ratings(texts: Sequence[str | float]) -> tuple[float, ...]:
    """Return ratings [N*m], each once, smallest first.

    Raises
    ------
    ModelError
        When one is not a torque above zero, or there are too many.
    """
    found = set()
    for text in texts:
        try:
            value = float(text) if isinstance(text, int | float) else units.parse(text, "torque")
        except UnitError as error:
            raise ModelError(
                "a rating is not a torque",
                where="--rating",
                found=error.found,
                expected=error.expected,
                hint=error.hint,
            ) from None
        if not 0.01 <= value <= 10_000.0:
            raise ModelError(
                "a rating is out of range",
                where="--rating",
                found=str(text),
                expected="a stall torque from 0.01 N*m to 10,000 N*m",
            )
        found.add(value)
    if len(found) > _MOST_RATINGS:
        raise ModelError(
            "too many ratings", where="--rating", found=str(len(found)), expected="at most 20"
        )
    return tuple(sorted(found))


def classes_for(design: Design) -> dict[str, Actuator]:
    """Return the library's actuator classes that turn far enough and suit the supply's voltage."""
    # What is stated stays, where no data sheet states it: temperature, retries ...
    shared = {path[1]: entry.value for path, entry in entries().items() if path[0] == "actuator"}
    base = {**shared, **design.stated.get("actuator", {})}
    system = design.system
    found = {}
    for name, sheet in presets("actuator_classes").items():
        values = {key: entry["value"] for key, entry in sheet.items()}
        actuator = Actuator.model_validate({**base, **values, "class": name})
        drives_valves = name.startswith("valve drive")  # part of a motorised valve, not for sale
        if suits(actuator, system) and not drives_valves:
            found[name] = actuator
    return found


def default_ratings(design: Design, about: float) -> tuple[float, ...]:
    """Return ratings [N*m] from below to above both the own rating and the needed one.

    They are those of the library's classes that suit, and round ones between and beyond.

    Parameters
    ----------
    design : Design
    about : float
        Needed rating, N*m.
    """
    own = design.system.actuator.stall_torque
    low, high = min(own, about) / _BELOW, max(own, about) * _ABOVE
    known = sorted(sheet.stall_torque for sheet in classes_for(design).values())
    steps: list[float] = [own]
    for value in (*known, *ROUND):
        fits = low <= value <= high
        if fits and all(abs(math.log(value / other)) > _ALIKE for other in steps):
            steps.append(value)
    others = sorted(steps[1:])
    if len(others) >= LONGEST:
        # Thinned out evenly, but never at the needed rating, where the answer lies.
        at = [round(i * (len(others) - 1) / (LONGEST - 2)) for i in range(LONGEST - 1)]
        above = next((i for i, value in enumerate(others) if value >= about), len(others) - 1)
        at[min(range(LONGEST - 1), key=lambda i: abs(at[i] - above))] = above
        others = [others[i] for i in sorted(set(at))]
    return tuple(sorted({own, *others}))


def scaled(actuator: Actuator, rating: float, scale: Scale) -> Actuator:
    """Return a data sheet with another stall torque.

    ``gears``: the same motor behind other gears: torque times r, speed divided by r, losses in
    the gears taken as the same share. ``motor``: a motor r times as strong behind the same gears:
    torque and currents times r; its winding sheds r times the heat.
    """
    r = rating / actuator.stall_torque
    changes: dict[str, float] = {"stall_torque": rating}
    if scale == "gears":
        changes["no_load_speed"] = actuator.no_load_speed / r
    else:
        changes["stall_current"] = actuator.stall_current * r
        changes["no_load_current"] = actuator.no_load_current * r
        changes["current_limit"] = actuator.current_limit * r
        changes["thermal_resistance"] = actuator.thermal_resistance / r
    return actuator.model_copy(update=changes)


def build(
    scenario: Scenario, design: Design, ratings: Sequence[float], scale: Scale
) -> tuple[tuple[Rung, ...], Any]:
    """Return the rungs and their parameters.

    Parameters
    ----------
    scenario : Scenario
    design : Design
        What is on the valve; all but the actuator stays.
    ratings : sequence of float
        N*m.
    scale : {"gears", "motor"}
        How a rating without a class of its own changes the design's data sheet.

    Returns
    -------
    rungs : tuple of Rung
    params : record array (number of rungs,)
    """
    own = design.system.actuator
    known = classes_for(design)
    rungs, systems = [], []
    for rating in ratings:
        sheet, text = scaled(own, rating, scale), SCALED[scale]
        near = [name for name, a in known.items() if is_same(a.stall_torque, rating)]
        is_own = is_same(own.stall_torque, rating)
        if is_own:
            sheet, text = own, OWN
        elif near:
            name = min(near, key=lambda n: abs(known[n].stall_torque - rating))
            sheet, text = known[name], f"class “{name}”"
        rungs.append(Rung(float(sheet.stall_torque), text, is_own))
        systems.append(design.system.model_copy(update={"actuator": sheet}))
    params: np.recarray = compile_parameters(
        systems, scenario.source_names, scenario.sensor_names, scenario.zone_names
    )
    params["commissioning_test"] = L.TEST_NONE  # the question is what to buy
    params["repairs_next_class_after"] = 0
    return tuple(rungs), params
