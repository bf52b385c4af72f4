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
    records = np.zeros(len(systems), layout.PARAMETERS).view(np.recarray)
    copies = _copies()
    for record, given in zip(records, systems, strict=True):
        system = rules.in_force(given)
        fields = rules.system_fields(system)
        fields |= {"n_sources": len(sources), "n_sensors": len(sensors), "n_rungs": 1}
        for name, *_ in layout.PARAMETER_FIELDS:
            if name != "zone_area":
                value = fields[name] if name in fields else copies[name](system)
                record[name] = _number(value)
        for index, name in enumerate(zones):
            zone = system.zones.get(name)
            record["zone_area"][index] = zone.area if zone is not None else 1.0
        ladder = [system.actuator]  # the first is not read: it stands as actuator_...
        if system.element.traits.clamped:
            ladder += next_classes(system)
        record["n_rungs"] = len(ladder)
        for field, *_ in layout.RUNG_FIELDS:
            values = [getattr(sheet, field) for sheet in ladder]
            record[f"rung_{field}"] = values + [0.0] * (layout.MAX_RUNGS - len(ladder))
        for index, name in enumerate(sources):
            leak = system.leaks.get(name)
            own = rules.leak_fields(leak, zones)
            for field, *_ in layout.SOURCE_FIELDS:
                value = own[field] if field in own else getattr(leak, field)
                record[f"source_{field}"][index] = _number(value)
        automated = system.element.traits.automated
        for index, name in enumerate(sensors):
            sensor = system.sensors.get(name) if automated else None
            own = rules.sensor_fields(sensor, zones, system.nuisance.rate_per_sensor)
            for field, *_ in layout.SENSOR_FIELDS:
                value = own[field] if field in own else getattr(sensor, field)
                record[f"sensor_{field}"][index] = _number(value)
    return records


def _number(value: Any) -> Any:
    return encode(value) if isinstance(value, Distribution) else value
