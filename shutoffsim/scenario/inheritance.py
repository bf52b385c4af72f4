"""What a design takes over from the common part and from the design that it is like.

A choice such as a class of actuator or a kind of mount gives a set of values. A design that chooses
otherwise must not keep, in silence, what was stated for the choice before: it repeats such a value,
or drops it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from typing import Any, NamedTuple

from shutoffsim.scenario import library
from shutoffsim.scenario.entries import words
from shutoffsim.scenario.problems import DESIGN_KEYS, Problems, dotted, undotted
from shutoffsim.scenario.quantities import as_written
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import Section
from shutoffsim.scenario.structure import Path, find, merge, parts, values, without


class LeftOver(NamedTuple):
    """Values that were stated for another choice.

    Attributes
    ----------
    choice : tuple of str
        Key that chooses otherwise.
    before, now : str
        What was and what is chosen; `before` may be empty.
    stated : dict
        What is left over, by path.
    """

    choice: Path
    before: str
    now: str
    stated: dict[Path, Any]


def left_over(before: Any, step: Any) -> Iterator[LeftOver]:
    """Yield what a step would keep although it belongs to a choice that the step changes.

    Parameters
    ----------
    before, step : dict
        Tables of what is stated so far, and of what the step states.
    """
    yield from _in_section(System, before, step, ())


def _in_section(model: type[Section], before: Any, step: Any, path: Path) -> Iterator[LeftOver]:
    if not isinstance(before, Mapping) or not isinstance(step, Mapping):
        return
    if model.preset is not None and model.preset.field in step:
        yield from _of_choice(model, before, step, path)
    for key, part in parts(model).items():
        if part.model is None or key not in step:
            continue
        old, new = before.get(key), step[key]
        if part.kind == "section":
            yield from _in_section(part.model, old, new, (*path, key))
        elif isinstance(old, Mapping) and isinstance(new, Mapping):
            for name in new:
                yield from _in_section(part.model, old.get(name), new[name], (*path, key, name))


def _of_choice(
    model: type[Section], before: Mapping[str, Any], step: Mapping[str, Any], path: Path
) -> Iterator[LeftOver]:
    assert model.preset is not None
    field, table = model.preset
    known = library.presets(table)
    old, new = before.get(field, _default(model, path)), step[field]
    if old == new or not isinstance(new, str) or new not in known:
        return
    own = {*known[new], *(known[old] if isinstance(old, str) and old in known else ())}
    for group in model.alternatives:
        if own & set(group):
            own |= set(group)
    again = {inner for inner, _ in values(model, step)}
    kept = dict(values(model, merge(model, before, step)))
    stated = {
        (*path, *inner): raw
        for inner, raw in values(model, before)
        if inner[0] in own and inner in kept and inner not in again
    }
    if stated:
        yield LeftOver((*path, field), old if isinstance(old, str) else "", new, stated)


def _default(model: type[Section], path: Path) -> Any:
    """What is chosen where nothing is stated."""
    assert model.preset is not None
    places = [path, *([(model.shared_defaults,)] if model.shared_defaults else [])]
    entries = (library.find(*place, model.preset.field) for place in places)
    return next((entry.value for entry in entries if entry is not None), None)


def refuse_left_over(
    before: Any, step: Any, design: str, problems: Problems, *, in_file: bool
) -> None:
    """Note what a step would keep in silence.

    Parameters
    ----------
    before, step : dict
        Tables of what is stated so far, and of what the step states.
    design : str
        That takes the step.
    problems : Problems
    in_file : bool
        Whether the step is a design of a file.
    """
    for found in left_over(before, step):
        word = found.choice[-1]
        told = ", ".join(
            f"{dotted(path)} = {words(as_written(raw))}" for path, raw in found.stated.items()
        )
        other = f"{word} “{found.before}”" if found.before else f"no {word}"
        drop = ", ".join(f"'{dotted(path)}'" for path in found.stated)
        problems.add(
            ("designs", design, *found.choice) if in_file else found.choice,
            f"values that were stated for another {word} would stay",
            found=f"{word} “{found.now}” with what is stated for {other}: {told}",
            expected=f"each of them stated together with the new {word}, or dropped",
            hint=f"repeat them in this design, or take those of the {word}: drop = [{drop}]"
            if in_file
            else "give them new values as well, or None (in a table of dwellings, a column each)",
        )


def dropped(tables: Any, raw: Any, design: str, problems: Problems) -> list[Path]:
    """Return the paths of what a design drops of what it takes over.

    Parameters
    ----------
    tables : dict
        What it takes over.
    raw : object
        Its key "drop": a list of dotted keys.
    """
    place = ("designs", design, "drop")
    if not isinstance(raw, list) or not all(isinstance(key, str) for key in raw):
        problems.add(
            place,
            "not a list of keys",
            found=str(raw)[:60],
            expected='a list such as ["actuator.stall_torque"]',
        )
        return []
    stated = {path for path, _ in values(System, tables)}
    paths = []
    for key in raw:
        path = undotted(key)
        if path is None or path not in stated:
            problems.add(
                place,
                "there is nothing to drop",
                found=f'"{key[:80]}"',
                expected="the key of a value that the common part or the design that this one is "
                "like states",
                hint=_instead(path, stated),
            )
        else:
            paths.append(path)
    return paths


def _instead(path: Path | None, stated: Set[Path]) -> str:
    """What to do about a key that cannot be dropped."""
    if path is None:
        return "check the spelling"
    below = [other for other in sorted(stated) if other[: len(path)] == path]
    if below:
        return f"drop its values one by one, such as {dotted(below[0])}"
    return "remove it" if find(path, System) else "check the spelling"


def take_over(
    tables: dict[str, Any], step: Mapping[str, Any], name: str, problems: Problems
) -> tuple[dict[str, Any], list[Path], list[Path]]:
    """Return the tables after a design's step, the paths that it drops and those that it states.

    Parameters
    ----------
    tables : dict
        What it takes over.
    step : mapping
        All that the file says of the design itself, "drop" included.
    """
    own = {key: value for key, value in step.items() if key not in DESIGN_KEYS}
    gone = dropped(tables, step["drop"], name, problems) if "drop" in step else []
    for path in gone:
        tables = without(tables, path)
    refuse_left_over(tables, own, name, problems, in_file=True)
    return merge(System, tables, own), gone, [path for path, _ in values(System, own)]
