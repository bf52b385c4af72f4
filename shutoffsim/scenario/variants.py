"""Designs with other values, made without a text.

Most values decide nothing but themselves: they are read by the schema's own rule for their key and
put into the resolved design, and what must hold between values is checked as for a file. A value
that picks defaults, displaces an alternative or makes a section has the design resolved anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from shutoffsim.scenario import checks
from shutoffsim.scenario.entries import given, read
from shutoffsim.scenario.inheritance import refuse_left_over
from shutoffsim.scenario.names import check_names
from shutoffsim.scenario.problems import Problems
from shutoffsim.scenario.quantities import as_written
from shutoffsim.scenario.resolve import Design, make_design
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, find, merge, nested, parts, values, without


def vary(
    design: Design, changes: Mapping[Path, Any], currency: str, problems: Problems, *, si: bool
) -> Design | None:
    """Return a design with other values; None when they are not right.

    Parameters
    ----------
    design : Design
    changes : mapping of path to object
        See :meth:`shutoffsim.scenario.Scenario.with_values`.
    currency : str
        Of amounts.
    problems : Problems
        Collects what is wrong.
    si : bool
        Numbers are in SI.
    """
    raw = dict(changes)
    if si:
        for path, value in changes.items():
            raw[path] = given(path, value, design.written.get(path), currency)
    stated = design.stated
    for path in (path for path, value in raw.items() if value is None):
        stated = without(stated, path)
    step = nested({path: value for path, value in raw.items() if value is not None})
    before, stated = stated, merge(System, stated, step)
    stated_in = {**design.stated_in, **dict.fromkeys(raw, design.name)}
    if not any(value is None or decides(design, path) for path, value in raw.items()):
        patched = _patched(replace(design, stated=stated, stated_in=stated_in), raw, currency)
        if patched is not None:
            return patched  # what is wrong with others is put in words below
    check_names(step, (), problems)
    refuse_left_over(before, step, design.name, problems, in_file=False)
    # Owners without a name, as errors name the keys that were given.
    owners = {path: "" for path, _ in values(System, step)}
    made = make_design(design.name, design.description, stated, owners, currency, problems)
    return None if made is None else replace(made, stated_in=stated_in)


def decides(design: Design, path: Path) -> bool:
    """Whether a value picks defaults, displaces an alternative or makes a section."""
    place = find(path, System)
    if place is None or path not in design.written:
        return True
    preset = place[0].preset
    makes_zone = path == ("dwelling", "floor_area") and not design.stated.get("zones")
    makes_grip = path == ("element", "kind") or path[-1] == "handle"
    makes_grip = makes_grip and "grip" not in design.stated.get("override", {})
    makes_supply = path[-1] == "rated_voltage" or path == ("supply", "voltage")
    makes_preset = preset is not None and preset.field == path[-1]
    return makes_zone or makes_grip or makes_supply or makes_preset


def _patched(design: Design, raw: Mapping[Path, Any], currency: str) -> Design | None:
    """Return the design with values replaced; None when something is not right."""
    try:
        found = {path: read(path, value, currency) for path, value in raw.items()}
    except ValidationError:
        return None
    system = put(design.system, nested(found))
    if next(checks.check(system), None) is not None:
        return None
    shown = {path: as_written(value) for path, value in raw.items()}
    return replace(
        design,
        system=system,
        written={**design.written, **shown},
        origins={path: entry for path, entry in design.origins.items() if path not in raw},
    )


def put(section: Any, tables: Mapping[str, Any]) -> Any:
    """Return a section, or named ones, with other values in it; it stays as it is.

    Parameters
    ----------
    section : Section or mapping of str to Section
    tables : mapping
        Values as the schema reads them, nested as in a file.
    """
    if not isinstance(section, Section):
        return {**section, **{name: put(section[name], own) for name, own in tables.items()}}
    known, update = parts(type(section)), {}
    for key, value in tables.items():
        field = known[key].field
        inner = known[key].model is not None
        update[field] = put(getattr(section, field), value) if inner else value
    return section.model_copy(update=update)
