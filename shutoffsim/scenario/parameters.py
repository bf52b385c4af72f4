"""From a resolved design to the flat record that a history runs on.

A field of the record that has the name of a key in the scenario, dots written as underscores, is
copied; :mod:`shutoffsim.scenario.rules` has the others.
"""

from __future__ import annotations

import keyword
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from operator import attrgetter
from typing import Any

import numpy as np

from shutoffsim.model import layout, quantiles
from shutoffsim.scenario import rules
from shutoffsim.scenario.classes import next_classes
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, parts

_KINDS = {
    "fixed": quantiles.FIXED,
    "uniform": quantiles.UNIFORM,
    "lognormal": quantiles.LOGNORMAL,
    "exponential": quantiles.EXPONENTIAL,
    "weibull": quantiles.WEIBULL,
    "triangular": quantiles.TRIANGULAR,
}


def encode(value: Distribution) -> tuple[float, float, float, float]:
    """A distribution as the four numbers of :mod:`shutoffsim.model.quantiles`.

    Examples
    --------
    >>> encode(Distribution("uniform", 1.0, 2.0))
    (1.0, 1.0, 2.0, 0.0)
    """
    return (float(_KINDS[value.kind]), value.a, value.b, value.c)


@cache
def paths() -> Mapping[str, Path]:
    """Paths of the scenario's single values by their name in the record.

    Examples
    --------
    >>> paths()["mains_outage_rate"]
    ('mains', 'outage_rate')
    """
    return {"_".join(path): path for path in _single(System, ())}


def _single(model: type[Section], path: Path) -> Iterator[Path]:
    for key, part in parts(model).items():
        if part.model is None:
            yield (*path, key)
        elif part.kind == "section":
            yield from _single(part.model, (*path, key))


@cache
def _copies() -> Mapping[str, Callable[[System], Any]]:
    """How to read the values of :func:`paths`."""
    return {name: attrgetter(".".join(map(_attribute, path))) for name, path in paths().items()}


def _attribute(key: str) -> str:
    return f"{key}_" if keyword.iskeyword(key) else key


def compile_parameters(
    systems: Sequence[System],
    sources: Sequence[str],
    sensors: Sequence[str],
    zones: Sequence[str],
) -> np.recarray:
    """One record per design.

    Parameters
    ----------
    systems : sequence of System
        The designs, resolved.
    sources, sensors, zones : sequence of str
        Names over all designs; their order fixes the indices. What a design lacks is there, but
        does nothing.

    Returns
    -------
    numpy.recarray, shape (number of systems,)
        Of dtype ``layout.PARAMETERS``, SI.
    """
    records = np.zeros(len(systems), layout.PARAMETERS)
    inner = [rules.in_force(system) for system in systems]
    numbers = {"n_sources": len(sources), "n_sensors": len(sensors)}
    fields = [rules.system_fields(system) | numbers for system in inner]
    for name, *_ in layout.PARAMETER_FIELDS:
        if name in fields[0]:
            records[name] = [_number(own[name]) for own in fields]
        elif name not in ("zone_area", "n_rungs"):  # below
            records[name] = [_number(_copies()[name](system)) for system in inner]
    for at, system in enumerate(inner):
        areas = [system.zones[name].area if name in system.zones else 1.0 for name in zones]
        records["zone_area"][at, : len(zones)] = areas
        ladder = [system.actuator]  # the first is not read: it stands as actuator_...
        if system.element.traits.clamped:
            ladder += next_classes(system)
        records["n_rungs"][at] = len(ladder)
        for field, *_ in layout.RUNG_FIELDS:
            values = [getattr(sheet, field) for sheet in ladder]
            records[f"rung_{field}"][at] = values + [0.0] * (layout.MAX_RUNGS - len(ladder))
    leaks = [[system.leaks.get(name) for name in sources] for system in inner]
    known = [[rules.leak_fields(leak, zones) for leak in row] for row in leaks]
    _fill(records, "source", layout.SOURCE_FIELDS, leaks, known)
    fitted = [
        [system.sensors.get(name) if system.element.traits.automated else None for name in sensors]
        for system in inner
    ]
    known = [
        [rules.sensor_fields(sensor, zones, system.nuisance.rate_per_sensor) for sensor in row]
        for row, system in zip(fitted, inner, strict=True)
    ]
    _fill(records, "sensor", layout.SENSOR_FIELDS, fitted, known)
    return records.view(np.recarray)


def _fill(
    records: Any,
    kind: str,
    fields: Sequence[tuple[Any, ...]],
    things: Sequence[Sequence[Section | None]],
    known: Sequence[Sequence[Mapping[str, Any]]],
) -> None:
    """Fill the fields of all sources or sensors, design by design: what is known, and copies."""
    number = len(things[0])
    for field, *_ in fields:
        if number:
            records[f"{kind}_{field}"][:, :number] = [
                [
                    _number(own[field] if field in own else getattr(thing, field))
                    for thing, own in zip(*row, strict=True)
                ]
                for row in zip(things, known, strict=True)
            ]


def _number(value: Any) -> Any:
    return encode(value) if isinstance(value, Distribution) else value
