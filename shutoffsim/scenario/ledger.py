"""Where every value of a design comes from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from shutoffsim.model.elements import NUMBERED
from shutoffsim.scenario.entries import Entry, words
from shutoffsim.scenario.library import WEAK
from shutoffsim.scenario.problems import dotted
from shutoffsim.scenario.resolve import Design
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import Path

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("key", "value", "unit", "stated_in", "source", "evidence", "drives")


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


def ledger(designs: Sequence[Design], *, used: bool = False) -> pd.DataFrame:
    """All values of the first design, then what differs in the others.

    Parameters
    ----------
    designs : sequence of Design
    used : bool
        Only values that have an effect.

    Returns
    -------
    pandas.DataFrame
        Columns key, value, unit, stated_in (the design that states it, or "the common part"; empty
        for a default), source, evidence, drives.
    """
    import pandas as pd  # slow to import

    rows = []
    for before, entry in told(designs, used=used):
        value, unit = entry.columns
        origin = (entry.stated_in, entry.source, entry.evidence, entry.drives)
        rows.append((before + entry.key, value, unit, *origin))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def told(designs: Sequence[Design], *, used: bool = False) -> Iterator[tuple[str, Entry]]:
    """Yield the values of the first design, then what differs in the others.

    Each comes with what stands before its key: ``designs.NAME.`` where it differs. With `used`
    only values that have an effect, be it in another design that shares them.
    """
    first = designs[0].entries

    def shared(design: Design, path: Path) -> bool:
        return (
            path in first
            and path in design.entries
            and (first[path].value == design.entries[path].value)
        )

    for path, entry in first.items():
        if not used or any(shared(d, path) and in_use(path, d.system) for d in designs):
            yield "", entry
    for design in designs[1:]:
        for path, entry in design.entries.items():
            if not shared(design, path) and (not used or in_use(path, design.system)):
                yield f"{dotted(('designs', design.name))}.", entry


def assumptions(*designs: Design) -> list[Assumption]:
    """Weakly founded values that matter in these designs, each once, by the file's sections.

    What exists or is fitted is a choice, and no assumption about the world.
    """
    found: dict[tuple[str, str], Assumption] = {}
    for design in designs:
        for path, entry in design.entries.items():
            if entry.evidence in WEAK and path[-1] != "fitted" and in_use(path, design.system):
                value = words(entry.written)
                found.setdefault(
                    (entry.key, value),
                    Assumption(entry.key, value, entry.evidence, entry.source, entry.drives),
                )
    return list(found.values())


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
        "mount": traits.clamped,
        **{element.section: element.section == traits.section for element in NUMBERED},
        "exercise": closes,
        "valve": not traits.own_valve,
        "neighbour": system.neighbour.notices and system.dwelling.units_below > 0,
    }
    return conditions.get(section, True)
