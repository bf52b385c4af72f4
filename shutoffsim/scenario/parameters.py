"""From a resolved design to the flat record that a history runs on."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from shutoffsim.model import layout, quantiles
from shutoffsim.scenario import calendar, devices
from shutoffsim.scenario.devices import automated
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.pipes import pipe_fields
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.people import People
from shutoffsim.scenario.schema.sensing import Sensor
from shutoffsim.scenario.schema.water import Leak

_KINDS = {
    "fixed": quantiles.FIXED,
    "uniform": quantiles.UNIFORM,
    "lognormal": quantiles.LOGNORMAL,
    "exponential": quantiles.EXPONENTIAL,
    "weibull": quantiles.WEIBULL,
    "triangular": quantiles.TRIANGULAR,
}
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


def encode(value: Distribution) -> tuple[float, float, float, float]:
    """A distribution as the four numbers of :mod:`shutoffsim.model.quantiles`.

    Examples
    --------
    >>> encode(Distribution("uniform", 1.0, 2.0))
    (1.0, 1.0, 2.0, 0.0)
    """
    return (float(_KINDS[value.kind]), value.a, value.b, value.c)


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
    for record, system in zip(records, systems, strict=True):
        for field, value in _fields(system).items():
            record[field] = encode(value) if isinstance(value, Distribution) else value
        record["n_sources"] = len(sources)
        record["n_sensors"] = len(sensors)
        for index, name in enumerate(zones):
            zone = system.zones.get(name)
            record["zone_area"][index] = zone.area if zone is not None else 1.0
        for index, name in enumerate(sources):
            _put(record, "source", index, _leak(system.leaks.get(name), zones))
        for index, name in enumerate(sensors):
            sensor = system.sensors.get(name) if automated(system) else None
            _put(record, "sensor", index, _sensor(sensor, zones))
    return records


def _put(record: Any, prefix: str, index: int, values: Mapping[str, Any]) -> None:
    for name, value in values.items():
        encoded = encode(value) if isinstance(value, Distribution) else value
        record[f"{prefix}_{name}"][index] = encoded


def _leak(leak: Leak | None, zones: Sequence[str]) -> dict[str, Any]:
    """A source; one that is absent has rate zero."""
    if leak is None or not leak.fitted:
        absent = dict.fromkeys((name for name, *_ in layout.SOURCE_FIELDS), 0.0)
        for name, kind, *_ in layout.SOURCE_FIELDS:
            if kind == layout.DIST:
                absent[name] = _ONE  # type: ignore[assignment]
        return absent | {
            "replace_age": math.inf,
            "spell_factor": 1.0,
            "trip_factor": 1.0,
            "discharge": 1.0,
            "open_end_pressure": 1e5,
            "hidden": 1.0,
        }
    hole = _NOTHING
    if leak.hole_area is not None:
        hole = leak.hole_area
    elif leak.hole_diameter is not None:
        hole = leak.hole_diameter.power(math.pi / 4, 2.0)
    ages = leak.life is not None
    # A part that is already older than its replacement age is replaced at commissioning.
    age = 0.0 if leak.age >= leak.replace_at else leak.age
    return {
        "zone": zones.index(leak.zone),
        "rate": 0.0 if leak.rate is None else leak.rate * leak.parts,
        "life_shape": leak.life_shape if ages else 0.0,
        "life_scale": leak.life if ages else 0.0,
        "life_count": leak.parts,
        "age": age,
        "replace_age": leak.replace_at,
        "winter": float(leak.season == "winter"),
        "spell_factor": leak.spell_factor,
        "trip_factor": leak.trip_factor,
        "in_use": leak.starts == "in use",
        "seep_share": leak.seep_share,
        "seep_flow": leak.seep_flow,
        "seep_growth": leak.seep_growth,
        "hole_area": hole,
        "discharge": leak.discharge,
        "open_end_flow": leak.open_end_flow or _NOTHING,
        "open_end_pressure": leak.open_end_pressure,
        "hidden": leak.hidden,
        "hidden_path": leak.out_of_reach,
        "grey": leak.water == "grey",
    }


def _sensor(sensor: Sensor | None, zones: Sequence[str]) -> dict[str, Any]:
    """A sensor; one that is absent is never met by water."""
    if sensor is None or not sensor.fitted:
        return {
            "zone": 0,
            "meets": 0.0,
            "reach_area": _ONE,
            "failure_rate": 0.0,
            "battery_life": _ENDLESS,
            "supervised": 0,
            "attempt_success": 1.0,
            "attempts": 1,
        }
    return {
        "zone": zones.index(sensor.zone),
        "meets": sensor.reach_chance,
        "reach_area": sensor.reach_area,
        "failure_rate": sensor.failure_rate,
        "battery_life": sensor.battery_life,
        "supervised": sensor.supervised,
        "attempt_success": sensor.attempt_success,
        "attempts": sensor.attempts,
    }


def _fields(system: System) -> dict[str, Any]:
    parts: tuple[Callable[[System], dict[str, Any]], ...] = (
        _water,
        _presence,
        _reaction,
        devices.sensing,
        devices.control,
        devices.power,
        devices.valve_fields,
        devices.closing,
        devices.mounting,
        _override,
        _damage,
    )
    fields: dict[str, Any] = {"horizon": system.service_life}
    for part in parts:
        fields |= part(system)
    return fields


def _water(system: System) -> dict[str, Any]:
    dwelling, weather = system.dwelling, system.weather
    return {
        "pressure": dwelling.pressure,
        "full_bore_flow": dwelling.full_bore_flow or 0.0,
        "full_bore_pressure": dwelling.full_bore_pressure,
        "drain_down": dwelling.drain_down,
        "film": dwelling.film,
        "coldest_day": weather.coldest_day,
        "spell_rate": weather.spell_rate,
        "spell_duration": weather.spell_duration,
        "region": 0,  # set by a portfolio whose dwellings share weather and mains
        **pipe_fields(dwelling.supply_pipe, dwelling.water_temperature),
    }


def _presence(system: System) -> dict[str, Any]:
    people = system.people
    week = people.week
    days = [getattr(week, day) or week.weekdays for day in _DAYS]
    start_away = people.start_away
    if start_away is None:
        start_away = away_share(people)
    pattern = [_STATES[state] for day in days for state in day.half_hours]
    return {
        "week": pattern,
        "week_stays": _stays(pattern),
        "out_chance": [day.out_chance for day in days],
        "trips": people.trips,
        "stay": people.stay,
        "trip": people.trip,
        "start_away": start_away if people.trips else 0.0,
    }


def _stays(pattern: list[int]) -> list[int]:
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


def away_share(people: People) -> float:
    """Long-run share of time on trips."""
    return people.trip.mean / (people.trip.mean + people.stay.mean) if people.trips else 0.0


def _reaction(system: System) -> dict[str, Any]:
    people, phone, neighbour = system.people, system.notification, system.neighbour
    return {
        "notice_burst": people.notice_burst,
        "notice_seep": people.notice_seep,
        "notice_asleep": people.notice_asleep,
        "notice_spread": math.log(people.notice_spread),
        "siren": system.siren.fitted and automated(system),
        "siren_awake": system.siren.awake,
        "siren_asleep": system.siren.asleep,
        "neighbour": neighbour.notices and system.dwelling.units_below > 0,
        "neighbour_volume": neighbour.volume,
        "neighbour_notice": neighbour.notice,
        "phone_awake": phone.awake,
        "phone_asleep": phone.asleep,
        "phone_away": phone.away,
        "phone_spread": math.log(phone.spread),
    }


def _override(system: System) -> dict[str, Any]:
    override = system.override
    same = (
        "travel_out",
        "travel_away",
        "key_holder",
        "key_holder_time",
        "knows_valve",
        "find_known",
        "find_unknown",
        "access",
        "hand_torque",
        "hand_turn",
        "upstream",
    )
    return {name: getattr(override, name) for name in same}


def _damage(system: System) -> dict[str, Any]:
    damage = system.damage
    fields = {name: getattr(damage, name) for name in type(damage).model_fields}
    return fields | {
        "floor_area": system.dwelling.floor_area,
        "units_below": float(system.dwelling.units_below),
        "deductible": system.insurance.deductible,
        "limit": system.insurance.limit,
    }
