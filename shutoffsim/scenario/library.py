"""The library of defaults: values, presets and where they come from."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

ASSUMPTION = "assumption"
EVIDENCE = ("published", "secondary", "common practice", "from memory", ASSUMPTION)
#: Labels of values that rest on no document.
WEAK = (ASSUMPTION, "from memory")

#: Tables of the library that hold presets, and what their names choose.
PRESET_TABLES = {
    "leak_kinds": "kinds of leak",
    "patterns": "patterns of use",
    "sensor_kinds": "kinds of sensor",
    "chemistries": "battery chemistries",
    "valve_types": "types of valve",
    "actuator_classes": "classes of actuator",
    "mount_kinds": "kinds of mount",
    "grips": "grips",
}

# Default amounts are of the right order for these; others are worth too much or too little.
CURRENCIES_OF_DEFAULTS = ("EUR", "USD", "GBP", "CHF")
MONEY_WORD = "money"


@dataclass(frozen=True)
class Default:
    """One value of the library.

    Parameters
    ----------
    value : object
        As it would stand in a scenario file.
    source : str
        What it rests on, with titles and addresses of documents.
    evidence : str
        One of :data:`EVIDENCE`.
    drives : str
        What it affects.
    measure : str
        How to measure it instead of assuming it; empty when nothing is said.
    """

    value: Any
    source: str
    evidence: str
    drives: str
    measure: str = ""


@cache
def _tables() -> dict[str, Any]:
    text = files("shutoffsim.scenario").joinpath("defaults.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def sources() -> Mapping[str, str]:
    """What the program says of each source, by its short name: no seller, maker or address."""
    table: dict[str, Any] = _tables()["sources"]
    return {key: each if isinstance(each, str) else each["says"] for key, each in table.items()}


def citations() -> Mapping[str, str]:
    """Full citations by their short name, to look a number up."""
    table: dict[str, Any] = _tables()["sources"]
    return {key: each if isinstance(each, str) else each["full"] for key, each in table.items()}


def presets(table: str) -> Mapping[str, Any]:
    """The presets of one table by name.

    Parameters
    ----------
    table : str
        One of :data:`PRESET_TABLES`.
    """
    found: dict[str, Any] = _tables()[table]
    return found


def find(*path: str) -> Default | None:
    """The default at a path of the library, or None.

    Examples
    --------
    >>> find("valve", "type").value
    'lever ball DN15'
    """
    node: Any = _tables()
    for part in path:
        if not isinstance(node, dict) or part not in node or is_entry(node):
            return None
        node = node[part]
    return _default(node) if is_entry(node) else None


def is_entry(node: Any) -> bool:
    """Whether a node of the library is a value, not a table of values."""
    return isinstance(node, dict) and "value" in node and "evidence" in node


def entries() -> dict[tuple[str, ...], Default]:
    """All values of the library by path."""
    found: dict[tuple[str, ...], Default] = {}

    def walk(node: Any, path: tuple[str, ...]) -> None:
        if is_entry(node):
            found[path] = _default(node)
        elif isinstance(node, dict):
            for key, child in node.items():
                walk(child, (*path, key))

    walk({key: value for key, value in _tables().items() if key != "sources"}, ())
    return found


def _default(node: dict[str, Any]) -> Default:
    cited = node.get("cite", [])
    names = [cited] if isinstance(cited, str) else cited
    source = "; ".join([node["source"], *(sources()[name] for name in names)])
    measure = node.get("measure", "")
    return Default(node["value"], source, node["evidence"], node["drives"], measure)


def in_currency(value: Any, currency: str) -> Any:
    """A default with the scenario's currency in the place of the word "money".

    Examples
    --------
    >>> in_currency("500 money", "EUR")
    '500 EUR'
    """
    if isinstance(value, str) and f" {MONEY_WORD}" in value:
        return value.replace(f" {MONEY_WORD}", f" {currency}")
    return value


def is_money(value: Any) -> bool:
    """Whether a default is an amount of money."""
    return isinstance(value, str) and f" {MONEY_WORD}" in value
