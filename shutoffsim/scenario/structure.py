"""The shape of the schema: which keys are sections, named entries or values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from types import UnionType
from typing import Any, Literal, NamedTuple, Union, get_args, get_origin

from shutoffsim.scenario.schema.base import Section

Path = tuple[str, ...]


class Part(NamedTuple):
    """One key of a section.

    Parameters
    ----------
    kind : str
        ``section`` (a table), ``named`` (a table of like tables, by name) or ``value``.
    model : type of Section or None
        What the table holds.
    field : str
        Name of the model's attribute.
    optional : bool
        It may be absent even when all defaults are filled in.
    """

    kind: Literal["section", "named", "value"]
    model: type[Section] | None
    field: str
    optional: bool


def _as_section(annotation: Any) -> type[Section] | None:
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    return None


@cache
def parts(model: type[Section]) -> Mapping[str, Part]:
    """The keys of a section, as written in the file."""
    found = {}
    for name, field in model.model_fields.items():
        annotation: Any = field.annotation
        optional = not field.is_required()
        if get_origin(annotation) in (Union, UnionType):
            inner = [arg for arg in get_args(annotation) if arg is not type(None)]
            annotation = inner[0] if len(inner) == 1 else annotation
        key = field.alias or name
        section = _as_section(annotation)
        if section is not None:
            found[key] = Part("section", section, name, optional)
        elif get_origin(annotation) is dict:
            found[key] = Part("named", get_args(annotation)[1], name, optional)
        else:
            found[key] = Part("value", None, name, optional)
    return found


def find(path: Path, model: type[Section]) -> tuple[type[Section], Part] | None:
    """The section that a key is in, and its part there; None when there is no such key.

    Parameters
    ----------
    path : tuple of str
        From `model` on, with the names of entries.
    model : type of Section
    """
    keys = iter(path)
    for key in keys:
        part = parts(model).get(key)
        if part is None:
            return None
        if part.kind == "named":
            next(keys, None)  # the entry's name
        if part.model is None:
            return (model, part) if next(keys, None) is None else None
        model = part.model
    return None


def nested(changes: Mapping[Path, Any]) -> dict[str, Any]:
    """Values by path as tables in each other; no path may lead through another's value.

    Examples
    --------
    >>> nested({("valve", "age"): "3 years", ("valve", "turns"): 1.0})
    {'valve': {'age': '3 years', 'turns': 1.0}}
    """
    tables: dict[str, Any] = {}
    for path, value in changes.items():
        table = tables
        for key in path[:-1]:
            table = table.setdefault(key, {})
        table[path[-1]] = value
    return tables


def without(tables: Any, path: Path) -> Any:
    """Tables without the value at a path; they stay as they are.

    Examples
    --------
    >>> without({"valve": {"age": "3 years", "turns": 1.0}}, ("valve", "age"))
    {'valve': {'turns': 1.0}}
    """
    key, *rest = path
    if not isinstance(tables, Mapping) or key not in tables:
        return tables
    if rest:
        return {**tables, key: without(tables[key], tuple(rest))}
    return {name: value for name, value in tables.items() if name != key}


def values(model: type[Section], raw: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """All values of a raw table by path; unknown keys and misplaced values count as values."""
    if not isinstance(raw, Mapping):
        yield path, raw
        return
    known = parts(model)
    for key, value in raw.items():
        here = (*path, key)
        part = known.get(key)
        if part is None or part.model is None:
            yield here, value
        elif part.kind == "section":
            yield from values(part.model, value, here)
        elif isinstance(value, Mapping):
            for name, entry in value.items():
                yield from values(part.model, entry, (*here, name))
        else:
            yield here, value


def merge(model: type[Section], base: Any, change: Any) -> Any:
    """A sparse change laid over a raw table; neither is altered.

    Sections are merged key by key, everything else is replaced. A value that is one of several
    alternatives displaces the others.
    """
    if not isinstance(base, Mapping) or not isinstance(change, Mapping):
        return change
    result = dict(base)
    known = parts(model)
    for group in model.alternatives:
        if any(key in change for key in group):
            for key in set(group) - set(change):
                result.pop(key, None)
    for key, value in change.items():
        part = known.get(key)
        if part is None or part.model is None or key not in result:
            result[key] = value
        elif part.kind == "section":
            result[key] = merge(part.model, result[key], value)
        else:
            result[key] = _merge_named(part.model, result[key], value)
    return result


def _merge_named(model: type[Section], base: Any, change: Any) -> Any:
    if not isinstance(base, Mapping) or not isinstance(change, Mapping):
        return change
    result = dict(base)
    for name, entry in change.items():
        result[name] = merge(model, result[name], entry) if name in result else entry
    return result
