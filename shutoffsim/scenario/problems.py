"""What is wrong with a scenario, collected and put into a person's words."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

from shutoffsim.errors import Problem, ScenarioError
from shutoffsim.scenario import library, read
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import LONGEST_NAME
from shutoffsim.scenario.structure import Path, parts

HEADING_KEYS = ("name", "description", "currency", "designs")
#: Keys of a design that are no part of the system.
DESIGN_KEYS = ("like", "description", "drop")
DEFAULT_CURRENCY = "EUR"


MOST_KEPT = 200  # problems of one text; the rest is counted


class Problems:
    """Collects what is wrong with one text, each thing once."""

    def __init__(self, where: str, text: str) -> None:
        self._where = where
        self._lines = read.find_lines(text)
        self._found: dict[tuple[Any, ...], Problem] = {}
        self._unlisted = 0

    @property
    def full(self) -> bool:
        """There are so many that no person reads further ones."""
        return len(self._found) >= MOST_KEPT

    def count(self, number: int) -> None:
        """Note that there are so many more."""
        self._unlisted += number

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(
        self,
        path: Path,
        message: str,
        *,
        found: str | None = None,
        expected: str | None = None,
        hint: str | None = None,
    ) -> None:
        """Note one problem at a path of the file."""
        mark = (path, message, found)
        if mark in self._found:
            return
        if self.full:
            self._unlisted += 1
            return
        line = read.line_of(path, self._lines)
        self._found[mark] = Problem(message, self._where, dotted(path), line, found, expected, hint)

    def stop_if_any(self) -> None:
        """Raise everything collected so far."""
        if self._found:
            ordered = sorted(self._found.values(), key=lambda p: p.line or 0)
            raise ScenarioError(ordered, self._unlisted)


def dotted(path: Iterable[str]) -> str:
    """A path as it would be written in the file.

    Examples
    --------
    >>> dotted(("leaks", "wash basin", "rate"))
    'leaks."wash basin".rate'
    """
    plain = re.compile(r"[A-Za-z0-9_-]+")
    return ".".join(
        key if plain.fullmatch(key) else '"' + key[: LONGEST_NAME + 3] + '"' for key in path
    )


@lru_cache(maxsize=4096)
def undotted(key: str) -> Path | None:
    """A path from how it would be written in a file; None where that is no key.

    Examples
    --------
    >>> undotted('leaks."wash basin".rate')
    ('leaks', 'wash basin', 'rate')
    """
    if not key or "\n" in key or "=" in key:
        return None
    try:
        table: Any = tomllib.loads(f"{key} = 0")
    except (ValueError, RecursionError):
        return None
    path: list[str] = []
    while isinstance(table, dict) and len(table) == 1:
        name, table = next(iter(table.items()))
        path.append(name)
    return tuple(path) if table == 0 else None


def owned(path: Path, owners: Mapping[Path, str]) -> Path:
    """Where a value stands in the file: in a design's changes or in the common part."""
    for length in range(len(path), 0, -1):
        if path[:length] in owners:
            return in_design(owners[path[:length]], path)
    below = [owner for other, owner in owners.items() if other[: len(path)] == path]
    return in_design(below[0], path) if below and len(path) > 1 else path


def in_design(name: str, path: Path) -> Path:
    """A path in the changes of a design; without a name the path itself."""
    return ("designs", name, *path) if name else path


def note(
    detail: Any,
    merged: Mapping[str, Any],
    owners: Mapping[Path, str],
    currency: str,
    problems: Problems,
) -> None:
    """Put one complaint of the schema into a person's words."""
    path = tuple(str(key) for key in detail["loc"])
    raw = detail.get("input")
    found = _show(raw)
    place = owned(path, owners)
    kind = detail["type"]
    if kind == "value":
        context = detail["ctx"]
        problems.add(
            place,
            context["message"],
            found=context["found"],
            expected=context["expected"],
            hint=context["hint"],
        )
    elif kind == "extra_forbidden":
        if path[0] in HEADING_KEYS:  # at the top of a file these never come here
            problems.add(
                place,
                f"{path[0]} cannot differ between designs",
                hint="state it once, at the top of the file",
            )
            return
        known = _keys_at(path[:-1])
        if len(path) == 1:
            known += DESIGN_KEYS if place[0] == "designs" else HEADING_KEYS
        close = difflib.get_close_matches(path[-1], known, n=1, cutoff=0.5)
        problems.add(
            place,
            "there is no such key",
            found=f'"{path[-1][:80]}"',
            expected="one of " + ", ".join(known),
            hint=f'did you mean "{close[0]}"?' if close else "remove it",
        )
    elif kind == "literal_error":
        words = re.findall("'([^']*)'", detail["ctx"]["expected"])
        close = difflib.get_close_matches(str(raw)[:80], words, n=1, cutoff=0.4)
        problems.add(
            place,
            "no such choice",
            found=found,
            expected="one of " + ", ".join(f'"{word}"' for word in words),
            hint=f'did you mean "{close[0]}"?' if close else "choose one of these",
        )
    elif kind == "missing":
        _note_missing(path, place, merged, currency, problems)
    else:
        problems.add(place, _words(kind, detail), found=found)


def _note_missing(
    path: Path, place: Path, merged: Mapping[str, Any], currency: str, problems: Problems
) -> None:
    if path[0] in ("leaks", "sensors") and path[-1] == "zone":
        zones = ", ".join(f'"{name}"' for name in _table(merged.get("zones")))
        hint = 'add zone = "..."'
        problems.add(place, "the zone is missing", expected=f"one of {zones}", hint=hint)
    elif (entry := library.find(*path)) is not None and library.is_money(entry.value):
        problems.add(
            place,
            f"this amount has no default in {currency}",
            expected=f'an amount such as "120 {currency}"',
            hint="defaults hold for " + ", ".join(library.CURRENCIES_OF_DEFAULTS) + " only; add it",
        )
    else:
        problems.add(place, "a value is missing", hint=f"add {path[-1]} = ...")


def _table(raw: Any) -> Mapping[str, Any]:
    return raw if isinstance(raw, Mapping) else {}


def _words(kind: str, detail: Any) -> str:
    context = detail.get("ctx", {})
    words = {
        "bool_type": "true or false was expected, without quotes",
        "int_type": "a whole number was expected, without quotes",
        "int_from_float": "a whole number was expected",
        "string_type": "a text in quotes was expected",
        "dict_type": "a table was expected",
        "model_type": "a table was expected",
        "greater_than_equal": f"expected at least {context.get('ge')}",
        "less_than_equal": f"expected at most {context.get('le')}",
    }
    return words.get(kind, str(detail["msg"]))


def _keys_at(path: Path) -> list[str]:
    model = System
    named = False
    for key in path:
        if named:
            named = False
            continue
        part = parts(model)[key]
        model = part.model  # type: ignore[assignment]
        named = part.kind == "named"
    return list(parts(model))


def _show(raw: Any) -> str:
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, Mapping):
        return "a table"
    if isinstance(raw, list):
        return "a list"
    return (f'"{raw}"' if isinstance(raw, str) else str(raw))[:100]
