"""JSON Schema of a scenario file, for editors that complete and check."""

from __future__ import annotations

from typing import Any

from shutoffsim.scenario.problems import DEFAULT_CURRENCY
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import LONGEST_NAME


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a scenario file.

    Returns
    -------
    dict
        A schema in which only what has no default is required.

    Examples
    --------
    >>> json_schema()["required"]
    ['leaks', 'designs']
    """
    schema = System.model_json_schema(by_alias=True)
    shared: dict[str, Any] = {}
    definitions = schema["$defs"]
    for definition in definitions.values():
        definition.pop("required", None)
        _tidy(definition, shared)
    definitions |= shared
    sections = schema["properties"]
    for section in sections.values():
        section.pop("title", None)
    changes = {key: value for key, value in sections.items() if key != "service_life"}
    text = {"type": "string", "maxLength": 2000}
    definitions["Design"] = {
        "type": "object",
        "description": "A named set of changes to anything above.",
        "additionalProperties": False,
        "properties": {
            "like": {"type": "string", "description": "Another design to start from."},
            "description": {**text, "description": "What it is."},
            "drop": {
                "type": "array",
                "items": {"type": "string"},
                "description": "Keys of values stated elsewhere that it does not take over.",
            },
            **changes,
        },
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Scenario",
        "description": "A dwelling, its leaks and its people, and the designs to compare.",
        "type": "object",
        "additionalProperties": False,
        "required": ["leaks", "designs"],
        "properties": {
            "name": {
                "type": "string",
                "maxLength": LONGEST_NAME,
                "description": "What the scenario is called.",
            },
            "description": {**text, "description": "What it is about."},
            "currency": {
                "type": "string",
                "pattern": "^[A-Z]{3}$",
                "description": f"Currency of all amounts; {DEFAULT_CURRENCY} when left out.",
            },
            **sections,
            "designs": {
                "type": "object",
                "minProperties": 1,
                "additionalProperties": {"$ref": "#/$defs/Design"},
                "description": "The designs to compare; the first is the reference.",
            },
        },
        "$defs": definitions,
    }


def _tidy(definition: dict[str, Any], shared: dict[str, Any]) -> None:
    """Drop generated titles and the null that TOML does not have; share what is repeated."""
    definition.pop("title", None)
    for key, value in definition.get("properties", {}).items():
        choices = [x for x in value.get("anyOf", []) if x != {"type": "null"}]
        if len(choices) == 1:
            value = {**choices[0], "description": value.get("description", "")}
        elif choices:
            value = {**value, "anyOf": choices}
        value.pop("title", None)
        if value.get("default", 0) is None:
            value.pop("default")
        name = value.pop("x-shared", None)
        if name is not None:
            shared[name] = {"anyOf": value["anyOf"]}
            value = {"$ref": f"#/$defs/{name}", "description": value["description"]}
        definition["properties"][key] = value
