"""Where every value of a design comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from shutoffsim.scenario.library import WEAK
from shutoffsim.scenario.problems import dotted
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import Path

if TYPE_CHECKING:
    import pandas as pd

YOURS = "your scenario"
COLUMNS = ("key", "value", "unit", "source", "evidence", "drives")


class Assumption(NamedTuple):
    """A value that rests on an assumption or on memory.

    Parameters
    ----------
    key, value : str
        Where it stands, and the value with its unit.
    evidence : str
        ``assumption`` or ``from memory``.
    source, drives : str
        What it rests on, and what it affects.
    """

    key: str
    value: str
    evidence: str
    source: str
    drives: str


class Row(NamedTuple):
    """One row of the ledger."""

    key: str
    value: str
    unit: str
    source: str
    evidence: str
    drives: str


def ledger(designs: Sequence[Design]) -> pd.DataFrame:
    """All values of the first design, then what differs in the others.

    Returns
    -------
    pandas.DataFrame
        Columns key, value, unit, source, evidence, drives.
    """
    import pandas as pd  # slow to import

    first = designs[0]
    rows = list(_rows(first, first.written))
    for other in designs[1:]:
        changed = {
            path: raw
            for path, raw in other.written.items()
            if path not in first.written or first.written[path] != raw
        }
        rows += [
            row._replace(key=f"{dotted(('designs', other.name))}.{row.key}")
            for row in _rows(other, changed)
        ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def assumptions(design: Design) -> list[Assumption]:
    """Weakly founded values that matter in this design, in the order of the file's sections."""
    found = []
    for path, raw in design.written.items():
        origin = design.origins.get(path)
        if origin is not None and origin.evidence in WEAK and in_use(path, design.system):
            found.append(
                Assumption(dotted(path), _whole(raw), origin.evidence, origin.source, origin.drives)
            )
    return found


def in_use(path: Path, system: System) -> bool:
    """Whether a value has any effect in a design."""
    section = path[0]
    traits = system.element.traits
    active, closes = traits.automated, traits.closes
    if section in ("leaks", "sensors", "zones"):
        entry = getattr(system, section)[path[1]]
        return bool(entry.fitted) and (active or section != "sensors")
    if path == ("dwelling", "full_bore_pressure"):
        return system.dwelling.full_bore_flow is not None
    conditions = {
        "detection": active and any(sensor.fitted for sensor in system.sensors.values()),
        "siren": active and system.siren.fitted,
        "notification": active and system.gateway.fitted,
        "nuisance": active,
        "controller": active,
        "gateway": active and system.gateway.fitted,
        "policies": closes,
        "mains": active,
        "supply": active,
        "flow_rule": active and system.flow_rule.fitted,
        "battery": active and system.battery.fitted,
        "actuator": traits.section == "actuator",
        "mount": traits.clamped,
        "motorised_valve": traits.section == "motorised_valve",
        "solenoid": traits.section == "solenoid",
        "exercise": closes,
        "valve": not traits.own_valve,
        "neighbour": system.neighbour.notices and system.dwelling.units_below > 0,
    }
    return conditions.get(section, True)


def _rows(design: Design, written: Mapping[Path, Any]) -> Iterator[Row]:
    for path, raw in written.items():
        value, unit = _split(raw)
        origin = design.origins.get(path)
        if origin is None:
            yield Row(dotted(path), value, unit, YOURS, YOURS, "")
        else:
            yield Row(dotted(path), value, unit, origin.source, origin.evidence, origin.drives)


def _split(raw: Any) -> tuple[str, str]:
    """Value and unit of what stands in the file, for two columns."""
    if isinstance(raw, bool):
        return ("yes" if raw else "no"), ""
    if isinstance(raw, str):
        number, _, unit = raw.partition(" ")
        return (number, unit) if number[:1].isdigit() and ":" not in number else (raw, "")
    if isinstance(raw, Mapping):
        pairs = {key: _split(value) for key, value in raw.items()}
        units = {unit for _, unit in pairs.values() if unit}
        if len(units) == 1:
            return ", ".join(f"{key} {value}" for key, (value, _) in pairs.items()), units.pop()
        return _whole(raw), ""
    return str(raw), ""


def _whole(raw: Any) -> str:
    if isinstance(raw, Mapping):
        return ", ".join(f"{key} {_whole(value)}" for key, value in raw.items())
    if isinstance(raw, bool):
        return "yes" if raw else "no"
    return str(raw)
