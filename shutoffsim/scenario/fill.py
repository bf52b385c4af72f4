"""Fill in what a scenario leaves out, from the library of defaults."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shutoffsim import units
from shutoffsim.errors import UnitError
from shutoffsim.model.elements import ELEMENTS, Element
from shutoffsim.scenario import library
from shutoffsim.scenario.library import Default
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, parts

ONLY_ZONE = "dwelling"
BARE_STEM = "bare stem"
TAKES_A_TOOL = (BARE_STEM, "knob")  # fingers turn it, and pliers or a spanner hold it
SMALL_SUPPLY = 8.5  # V
THIN_LEAD = Default(
    "0.4 ohm",
    "a small plug-in supply with 1.5 m of lead, 0.25 to 0.9 ohm: 0.13 measured at a supply, wire "
    "0.053 ohm a metre and conductor (AWG 22) to 0.213 (AWG 28)",
    "assumption",
    "available torque; brown-out",
)
Origins = dict[Path, Default]


def fill(raw: Mapping[str, Any], currency: str) -> tuple[dict[str, Any], Origins]:
    """Complete one design's raw tables.

    Parameters
    ----------
    raw : mapping
        The scenario's tables with the design's changes laid over them.
    currency : str
        Replaces the word "money" in defaults.

    Returns
    -------
    filled : dict
        The tables with a value wherever there is a default.
    origins : dict
        For each value that came from the library, its entry.
    """
    origins: Origins = {}
    given = _with_supply(_with_grip(_with_zones(raw, origins), origins), origins)
    filled = _fill_section(System, given, (), [()], currency, origins)
    return filled, origins


def _fill_section(
    model: type[Section],
    raw: Any,
    path: Path,
    places: list[Path],
    currency: str,
    origins: Origins,
) -> Any:
    """Fill one section; `places` are library paths to look in, best first."""
    if not isinstance(raw, Mapping):
        return raw
    filled: dict[str, Any] = {}  # in the order of the schema, unknown keys last
    known = parts(model)
    if model.shared_defaults and (model.shared_defaults,) not in places:
        places = [*places, (model.shared_defaults,)]
    places = _with_preset(model, raw, places)
    for key, part in known.items():
        here = (*path, key)
        deeper = [(*place, key) for place in places]
        if part.kind == "section":
            assert part.model is not None
            if key in raw or not part.optional:
                filled[key] = _fill_section(
                    part.model, raw.get(key, {}), here, deeper, currency, origins
                )
        elif part.kind == "named":
            assert part.model is not None
            entries = raw.get(key, {})
            filled[key] = (
                {
                    name: _fill_section(part.model, entry, (*here, name), [], currency, origins)
                    for name, entry in entries.items()
                }
                if isinstance(entries, Mapping)
                else entries
            )
        elif key in raw:
            filled[key] = raw[key]
        else:
            entry = None if _displaced(model, key, raw) else _first(model, key, deeper)
            if entry is not None and not _foreign(entry.value, currency):
                filled[key] = library.in_currency(entry.value, currency)
                origins[here] = entry
    return filled | {key: value for key, value in raw.items() if key not in known}


def _with_preset(model: type[Section], raw: Mapping[str, Any], places: list[Path]) -> list[Path]:
    if model.preset is None:
        return places
    key = model.preset.field
    chosen = raw.get(key)
    if chosen is None:
        default = next((d for place in places if (d := library.find(*place, key))), None)
        chosen = default.value if default else None
    if not isinstance(chosen, str):
        return places
    return [(model.preset.library, chosen), *places]


def _first(model: type[Section], key: str, places: list[Path]) -> Default | None:
    """The best place's entry; a place that has an alternative of this key ends the search."""
    rivals = [group for group in model.alternatives if key in group]
    for place in places:
        entry = library.find(*place)
        if entry is not None:
            return entry
        for group in rivals:
            if any(library.find(*place[:-1], other) for other in group):
                return None
    return None


def _displaced(model: type[Section], key: str, raw: Mapping[str, Any]) -> bool:
    return any(
        key in group and any(other in raw for other in group) for group in model.alternatives
    )


def _foreign(value: Any, currency: str) -> bool:
    """Whether a default amount would be of the wrong order in this currency."""
    return library.is_money(value) and currency not in library.CURRENCIES_OF_DEFAULTS


def _with_grip(raw: Mapping[str, Any], origins: Origins) -> dict[str, Any]:
    """Give the hand the valve's own handle, or a bare stem where an actuator takes its place."""
    override = raw.get("override", {})
    if not isinstance(override, Mapping) or "grip" in override:
        return dict(raw)
    element = _element(raw)
    if element is not None and element.clamped:
        grip: Any = BARE_STEM
        source = "whoever clamps an actuator on takes the handle off"
    else:
        place = ("motorised_valve", "valve") if element and element.own_valve else ("valve",)
        kind = _value(raw, place, "type")
        entry = library.find("valve_types", kind, "handle") if isinstance(kind, str) else None
        grip = _value(raw, place, "handle") or (entry and entry.value)
        source = "the handle of the valve"
    if grip is None:
        grip = BARE_STEM  # a valve type that does not exist is told of where it stands
    origins["override", "grip"] = Default(grip, source, "assumption", "closing by hand")
    return {**raw, "override": {**override, "grip": grip}}


def _with_supply(raw: Mapping[str, Any], origins: Origins) -> dict[str, Any]:
    """Give a small motor supply and battery of its voltage, and a small supply its thin lead."""
    element, supply, battery = _element(raw), raw.get("supply", {}), raw.get("battery", {})
    if element is None or not element.motor:
        return dict(raw)
    if not isinstance(supply, Mapping) or not isinstance(battery, Mapping):
        return dict(raw)
    class_ = _value(raw, element.motor, "class")
    entry = library.find("actuator_classes", class_, "rated_voltage") if class_ else None
    rated = _value(raw, element.motor, "rated_voltage") or (entry and entry.value)
    torque = "available torque"
    if "voltage" not in supply and _is_small(rated):
        supply = {**supply, "voltage": rated}
        source = "the rated voltage of its motor"
        origins["supply", "voltage"] = Default(rated, source, "assumption", torque)
    if "resistance" not in supply and _is_small(supply.get("voltage")):
        supply = {**supply, "resistance": THIN_LEAD.value}
        origins["supply", "resistance"] = THIN_LEAD
    if "voltage" not in battery and _is_small(rated):
        battery = {**battery, "voltage": rated}
        source = "cells or a converter near the rated voltage of its motor"
        origins["battery", "voltage"] = Default(rated, source, "assumption", torque)
    return {**raw, "supply": supply, "battery": battery}


def _is_small(voltage: Any) -> bool:
    try:
        return units.parse(voltage, "voltage") < SMALL_SUPPLY
    except (UnitError, TypeError):
        return False  # told of where it stands


def _element(raw: Mapping[str, Any]) -> Element | None:
    named = _value(raw, ("element",), "kind")
    return next((found for kind, found in ELEMENTS.items() if kind == named), None)


def _value(raw: Any, section: Path, key: str) -> Any:
    """Return what a key of a section is, stated or by the library; None: neither."""
    for name in section:
        raw = raw.get(name, {}) if isinstance(raw, Mapping) else {}
    if isinstance(raw, Mapping) and key in raw:
        return raw[key]
    default = library.find(*section, key)
    return default.value if default is not None else None


def _with_zones(raw: Mapping[str, Any], origins: Origins) -> dict[str, Any]:
    """Give a file without zones one zone, and put leaks and sensors into the only zone."""
    result = dict(raw)
    if not result.get("zones") and isinstance(result.get("zones", {}), Mapping):
        dwelling = raw.get("dwelling")
        area = dwelling.get("floor_area") if isinstance(dwelling, Mapping) else None
        default = library.find("dwelling", "floor_area")
        assert default is not None
        text = area if area is not None else default.value
        result["zones"] = {ONLY_ZONE: {"area": text}}
        origins["zones", ONLY_ZONE, "area"] = Default(
            text, "the whole dwelling, as no zones are given", "assumption", default.drives
        )
    zones = result["zones"]
    if not isinstance(zones, Mapping) or len(zones) != 1:
        return result
    only = next(iter(zones))
    for kind in ("leaks", "sensors"):
        entries = result.get(kind)
        if not isinstance(entries, Mapping):
            continue
        placed = {}
        for name, entry in entries.items():
            if isinstance(entry, Mapping) and "zone" not in entry:
                entry = {**entry, "zone": only}
                origins[kind, name, "zone"] = Default(
                    only, "the only zone", "common practice", "where water goes"
                )
            placed[name] = entry
        result[kind] = placed
    return result
