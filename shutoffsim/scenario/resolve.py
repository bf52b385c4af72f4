"""From tables to designs: inheritance, changes, defaults, validation, and all errors at once."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from pydantic import ValidationError

from shutoffsim.scenario import checks
from shutoffsim.scenario.entries import COMMON, Entry, dimension_of, value_at
from shutoffsim.scenario.fill import Origins, fill
from shutoffsim.scenario.inheritance import take_over
from shutoffsim.scenario.names import check_counts, check_entries, check_name, check_names
from shutoffsim.scenario.problems import (
    DEFAULT_CURRENCY,
    HEADING_KEYS,
    Problems,
    in_design,
    note,
    owned,
)
from shutoffsim.scenario.quantities import as_written
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import Path, values

FIXED_KEYS = ("name", "currency", "service_life", "designs")
MOST_DESIGNS = 100
# Keys that choose a preset; see ``Section.preset``.
PRESET_FIELDS = ("kind", "type", "class", "pattern", "chemistry", "grip")


@dataclass(frozen=True)
class Design:
    """One design, resolved.

    Parameters
    ----------
    name, description : str
        What it is called and what it is.
    system : System
        All values, SI.
    stated : dict
        Tables of all that the user states for it, its changes laid over the common part.
    stated_in : dict
        For each path that a design states, the name of that design.
    written : dict
        All values by path, as they stand in the file or the library.
    origins : dict
        For each value from the library, its entry; the others are the user's.
    like : str
        The design that it is like; empty: it starts from the common part.
    """

    name: str
    description: str
    system: System
    stated: Mapping[str, Any]
    stated_in: Mapping[Path, str]
    written: Mapping[Path, Any]
    origins: Origins
    like: str = ""

    @cached_property
    def entries(self) -> Mapping[Path, Entry]:
        """Every value by path, in the order of the schema."""
        return {
            path: Entry(
                path,
                written,
                value_at(self.system, path),
                dimension_of(path),
                origin := self.origins.get(path),
                "" if origin is not None else self.stated_in.get(path, COMMON),
            )
            for path, written in self.written.items()
        }


@dataclass(frozen=True)
class Heading:
    """What concerns the scenario as a whole."""

    name: str
    description: str
    currency: str


def resolve(tables: Mapping[str, Any], where: str, text: str) -> tuple[Heading, list[Design]]:
    """All designs of a scenario.

    Raises
    ------
    ScenarioError
        With every problem found.
    """
    problems = Problems(where, text)
    heading = _heading(tables, problems)
    base = {key: value for key, value in tables.items() if key not in HEADING_KEYS}
    stated = _stated(base, tables.get("designs"), problems)
    check_counts(base, tables.get("designs"), problems)
    check_names(base, (), problems)
    designs = []
    for name, (tables_of_it, owners, description) in stated.items():
        made = make_design(name, description, tables_of_it, owners, heading.currency, problems)
        if made is not None:
            like = tables["designs"][name].get("like", "") if name else ""
            designs.append(replace(made, like=like))
        if problems.full:
            break
    problems.stop_if_any()
    check_whole(designs, problems)
    return heading, designs


def make_design(
    name: str,
    description: str,
    stated: dict[str, Any],
    owners: Mapping[Path, str],
    currency: str,
    problems: Problems,
) -> Design | None:
    """One design from all that is stated for it; None when that is not right.

    Parameters
    ----------
    name, description : str
    stated : dict
        Tables, its changes laid over the common part.
    owners : mapping
        For each path that a design states, the name of that design.
    currency : str
    problems : Problems
        Collects what is wrong.
    """
    filled, origins = fill(stated, currency)
    system = _validate(filled, stated, currency, owners, problems)
    if system is None:
        return None
    written = {path: as_written(raw) for path, raw in values(System, filled)}
    return Design(name, description, system, stated, owners, written, origins)


def check_whole(designs: Sequence[Design], problems: Problems) -> None:
    """Check what must hold for all designs together.

    Raises
    ------
    ScenarioError
        When it does not.
    """
    if not any(leak.fitted for design in designs for leak in design.system.leaks.values()):
        problems.add(
            ("leaks",),
            "there is no leak",
            expected="at least one place where water may escape",
            hint='add [leaks."washing machine hose"] with kind = "appliance hose"',
        )
    problems.stop_if_any()


def _heading(tables: Mapping[str, Any], problems: Problems) -> Heading:
    name = tables.get("name", "unnamed scenario")
    description = tables.get("description", "")
    currency = tables.get("currency", DEFAULT_CURRENCY)
    check_name(name, ("name",), problems)
    if not isinstance(description, str) or len(description) > 2000:
        problems.add(("description",), "not a text of at most 2000 letters")
    if not isinstance(currency, str) or not re.fullmatch("[A-Z]{3}", currency):
        problems.add(
            ("currency",),
            "not a currency",
            found=repr(currency)[:60],
            expected='three capital letters, such as "EUR"',
        )
        currency = DEFAULT_CURRENCY
    return Heading(str(name), str(description), currency)


Stated = tuple[dict[str, Any], dict[Path, str], str]


def _stated(base: dict[str, Any], raw: Any, problems: Problems) -> dict[str, Stated]:
    """Per design: its tables, which design each value of them stands in, its description."""
    if not isinstance(raw, Mapping) or not raw:
        problems.add(
            ("designs",),
            "there is no design" if not raw else "designs must be a table",
            expected="at least one design; the first is the reference",
            hint='add [designs."no automation"] with element.kind = "none"',
        )
        return {"": (base, {}, "")}
    if len(raw) > MOST_DESIGNS:
        most = f"at most {MOST_DESIGNS}"
        problems.add(("designs",), "too many designs", found=str(len(raw)), expected=most)
        problems.stop_if_any()  # what follows takes time for each
    check_entries(raw, ("designs",), problems)
    found: dict[str, Stated] = {}
    for name, own in raw.items():
        if not isinstance(own, Mapping):
            problems.add(("designs", name), "a design must be a table", found=repr(own)[:60])
            continue
        for key in FIXED_KEYS:
            if key in own:
                problems.add(
                    ("designs", name, key),
                    f"{key} cannot differ between designs",
                    hint="state it once, at the top of the file",
                )
        chain = _chain(name, raw, problems)
        if not chain:
            continue
        tables = base
        owners: dict[Path, str] = {}
        for link in chain:
            check_names(raw[link], ("designs", link), problems)
            tables, gone, own_paths = take_over(tables, raw[link], link, problems)
            owners = {path: owner for path, owner in owners.items() if path not in gone}
            owners |= dict.fromkeys(own_paths, link)
        description = own.get("description", "")
        if not isinstance(description, str) or len(description) > 2000:
            problems.add(("designs", name, "description"), "not a text of at most 2000 letters")
        found[name] = (tables, owners, str(description))
    return found


def _chain(name: str, raw: Mapping[str, Any], problems: Problems) -> list[str]:
    """A design and those that it is like, the most general first; empty when that is broken."""
    chain = [name]
    while isinstance(raw[chain[0]], Mapping) and "like" in raw[chain[0]]:
        path = ("designs", chain[0], "like")
        other = raw[chain[0]]["like"]
        if not isinstance(other, str) or not isinstance(raw.get(other), Mapping):
            close = difflib.get_close_matches(str(other)[:80], list(raw), n=1, cutoff=0.4)
            problems.add(
                path,
                "there is no such design",
                found=repr(other)[:90],
                expected="one of " + ", ".join(f'"{key}"' for key in list(raw)[:20]),
                hint=f'did you mean "{close[0]}"?' if close else None,
            )
            return []
        if other in chain:
            loop = " -> ".join(f'"{key}"' for key in [*chain[: chain.index(other) + 1][::-1]])
            found = f'{loop} -> "{other}"' if len(chain) > 1 else f'"{other}"'
            problems.add(
                path,
                "designs refer to each other in a circle by “like”",
                found=found if len(found) <= 200 else found[:200] + "...",
                hint="remove “like” from one of them",
            )
            return []
        chain.insert(0, other)
    return chain


def _validate(
    filled: Mapping[str, Any],
    merged: Mapping[str, Any],
    currency: str,
    owners: Mapping[Path, str],
    problems: Problems,
) -> System | None:
    try:
        system = System.model_validate(filled, context={"currency": currency})
    except ValidationError as error:
        details = _independent(error.errors(include_url=False), merged)
        for number, detail in enumerate(details):
            if problems.full:
                problems.count(len(details) - number)
                break
            note(detail, merged, owners, currency, problems)
        return None
    sound = True
    for complaint in checks.check(system):
        sound = False
        problems.add(
            _place(complaint, owners),
            complaint.message,
            found=complaint.found,
            expected=complaint.expected,
            hint=complaint.hint,
        )
    return system if sound else None


def _place(complaint: checks.Complaint, owners: Mapping[Path, str]) -> Path:
    """The design's own key that a contradiction comes from, or else the common one."""
    for path in (complaint.path, *complaint.related):
        if path in owners:
            return in_design(owners[path], path)
    return owned(complaint.path, owners)


def _independent(details: list[Any], merged: Mapping[str, Any]) -> list[Any]:
    """Leave out what only follows from another complaint.

    An unknown preset makes the values that it would give missing; a zone that was made for want of
    any repeats the floor area.
    """
    chosen = [tuple(d["loc"]) for d in details if d["type"] == "value" and _is_choice(d["loc"])]
    kept = []
    for detail in details:
        path = tuple(detail["loc"])
        follows = detail["type"] == "missing" and any(path[: len(c) - 1] == c[:-1] for c in chosen)
        made = path[0] == "zones" and not merged.get("zones")
        if not follows and not made:
            kept.append(detail)
    return kept or details


def _is_choice(path: tuple[Any, ...]) -> bool:
    return path[-1] in PRESET_FIELDS
