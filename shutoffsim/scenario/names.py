"""Names of designs, leaks, sensors and zones: what they may be, and how many there may be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from shutoffsim.scenario.problems import Problems
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import LONGEST_NAME
from shutoffsim.scenario.structure import Path, parts


def check_names(tables: Mapping[str, Any], path: Path, problems: Problems) -> None:
    """Check the names of leaks, sensors and zones."""
    for key, part in parts(System).items():
        entries = tables.get(key)
        if part.kind == "named" and isinstance(entries, Mapping):
            check_entries(entries, (*path, key), problems)


def check_entries(entries: Mapping[str, Any], path: Path, problems: Problems) -> None:
    """Check the names of one table of like tables."""
    seen: dict[str, str] = {}
    for name in entries:
        check_name(name, (*path, name), problems)
        twin = seen.setdefault(name.strip().casefold(), name)
        if twin != name:
            problems.add(
                (*path, name),
                "the same name is used twice",
                found=f'"{twin[:80]}" and "{name[:80]}"',
                expected="names that differ in more than capitals and spaces",
            )


def check_name(name: Any, path: Path, problems: Problems) -> None:
    """Check one name."""
    usable = isinstance(name, str) and 0 < len(name) <= LONGEST_NAME
    if usable and name.isprintable() and name.strip() == name:
        return
    shown = repr(name)
    problems.add(
        path,
        "not a usable name",
        found=shown if len(shown) <= LONGEST_NAME else shown[:LONGEST_NAME] + "...",
        expected=f"1 to {LONGEST_NAME} printable letters without spaces at the ends",
        hint="shorten it" if isinstance(name, str) and len(name) > LONGEST_NAME else None,
    )


def check_counts(base: Mapping[str, Any], designs: Any, problems: Problems) -> None:
    """Stop at once where the work for each entry of each design would take too long."""
    from shutoffsim.model.layout import MAX_SENSORS, MAX_SOURCES

    limits = (("leaks", MAX_SOURCES), ("sensors", MAX_SENSORS), ("zones", MAX_SOURCES))
    own = designs.values() if isinstance(designs, Mapping) else ()
    for kind, most in limits:
        tables = [part.get(kind) for part in (base, *own) if isinstance(part, Mapping)]
        names = {name for table in tables if isinstance(table, Mapping) for name in table}
        if len(names) > most:
            problems.add(
                (kind,),
                f"too many {kind} over all designs",
                found=str(len(names)),
                expected=f"at most {most}",
                hint="join like ones, with parts = 2 and so on" if kind == "leaks" else None,
            )
            problems.stop_if_any()
