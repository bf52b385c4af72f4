"""Pages for people and editors, written from the schema and the library of defaults."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from pydantic.fields import FieldInfo

from makers import DOCS, Files
from makers.markdown import cell, generated, row, table
from makers.schema import json_schema
from shutoffsim import units
from shutoffsim.scenario import library
from shutoffsim.scenario.distributions import FORMS
from shutoffsim.scenario.library import ASSUMPTION, Default
from shutoffsim.scenario.problems import DEFAULT_CURRENCY, dotted
from shutoffsim.scenario.quantities import Value
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.base import LONGEST_NAME, Section
from shutoffsim.scenario.structure import Path, parts

SCHEMA_FILE = "scenario.schema.json"
REFERENCE_FILE = "scenario-reference.md"
DEFAULTS_FILE = "defaults.md"
UNKNOWN_FILE = "what-nobody-knows.md"
BIBLIOGRAPHY_FILE = "bibliography.md"
# Where the entries of a named section have their defaults in the library.
_SINGULAR = {"zones": "zone", "leaks": "leak", "sensors": "sensor"}


def reference_page() -> str:
    """The scenario reference as Markdown."""
    lines = [
        generated("reference"),
        "",
        "# Scenario reference",
        "",
        "A scenario is one TOML file. Everything but leaks and designs may be left out; the",
        f"values then come from the [library of defaults]({DEFAULTS_FILE}). Editors that know",
        f"JSON Schema complete and check with [{SCHEMA_FILE}]({SCHEMA_FILE}).",
        "",
        "## Values",
        "",
        'A physical value is a text of a number and a unit, such as `"3 bar"`; the number has a',
        "point, never a comma, and no spaces. Shares and factors may be plain numbers.",
        "",
    ]
    lines += table(
        ("dimension", "units"),
        (
            (name, ", ".join(f"`{unit}`" for unit in units.units_of(name) if unit))
            for name in units.dimensions()
        ),
    )
    lines += [
        "",
        'Money is written `"120 EUR"` or `"60 EUR/m2"`, in the scenario\'s currency.',
        "",
        "A value that varies is a small table:",
        "",
    ]
    forms = ((f"`{', '.join(keys)}`", meaning) for keys, meaning in FORMS.items())
    lines += table(("keys", "meaning"), forms)
    lines += [
        "",
        "`spread` and `shape` are plain numbers, the other keys have units.",
        "",
        "## At the top of the file",
        "",
        "| key | value | default |",
        "|---|---|---|",
        f"| `name` | text of at most {LONGEST_NAME} letters | unnamed scenario |",
        "| `description` | text | |",
        f"| `currency` | three capital letters | `{DEFAULT_CURRENCY}` |",
    ]
    lines += map(row, _rows(System, ()))
    for path, model, description in _sections(System, ()):
        lines += ["", f"## [{_heading(path)}]", "", description, ""]
        rows = list(_rows(model, path))
        if rows:
            lines += table(("key", "value", "default"), rows)
        for group in model.alternatives:
            lines += ["", "Only one of " + ", ".join(f"`{key}`" for key in group) + "."]
    lines += [
        "",
        "## [designs.NAME]",
        "",
        "A design changes anything above except `service_life`, and only what it names:",
        '`battery.fitted = true`, `leaks."washing machine hose".replace_at = "7 years"`. Leaks,',
        "sensors and zones can be added by a new name, or dropped with `fitted = false`. The first",
        "design is the reference.",
        "",
        "| key | value |",
        "|---|---|",
        "| `like` | name of another design, whose changes come first |",
        "| `description` | text |",
        "| `drop` | list of keys of values, stated in the common part or by the design that it is "
        "like, of which it takes the default |",
        "",
        "A design that changes a `class`, `kind`, `type`, `pattern`, `chemistry` or `grip` must",
        "not keep in silence what was stated for the one before: it repeats such a value, or drops",
        "it.",
        "",
        "```toml",
        "[actuator]",
        'class = "30 kgf*cm class"',
        'stall_torque = "29 kgf*cm"       # measured',
        "",
        '[designs."more torque"]',
        'actuator.class = "60 kgf*cm class"',
        'drop = ["actuator.stall_torque"]   # that of the new class',
        "```",
        "",
        "`shutoffsim check` shows for each value which design states it.",
        "",
        "## Other values in Python",
        "",
        "`Scenario.with_values` makes a variant without a file. A number is in SI; a value may",
        "also be a distribution, a text with its unit, a table or a choice, as in a file, and None",
        "withdraws what is stated. Errors are reported as for a file.",
        "",
        "```python",
        "import shutoffsim",
        "from shutoffsim.scenario.distributions import Distribution",
        "",
        'scenario = shutoffsim.load("scenarios/holiday_cottage.toml")',
        'older = scenario.with_values("plus battery", {"valve.age": "40 years"})',
        "doubtful = older.with_values(",
        '    "plus battery",',
        "    {",
        '        "mains.outage_rate": 3 / 31557600,  # a second',
        '        "dwelling.pressure": Distribution("uniform", 2e5, 5e5),  # Pa',
        "    },",
        ")",
        'print(doubtful.design("plus battery").entries["mains", "outage_rate"].written)',
        "```",
        "",
    ]
    return "\n".join(lines)


def defaults_page() -> str:
    """The library of defaults as Markdown."""
    lines = [
        generated("reference"),
        "",
        "# Library of defaults",
        "",
        "Every value that a scenario may leave out. *published*: read in the source itself.",
        "*secondary*: read in a page that quotes the source. *common practice*, *from memory*:",
        "trade knowledge not checked against a document. *assumption*: no data found; put there",
        "so that the model can run. A value worked out from others has the weakest label among",
        "them. Results depend on these; a report lists those it used.",
    ]
    tables: dict[Path, list[tuple[str, ...]]] = {}
    for path, entry in library.entries().items():
        here = path[:-1] if path[-2:-1] != ("week",) else path[:-2]
        key = f"`{dotted(path[len(here) :])}`"
        source = cell(entry.source)
        cells = (key, _value(entry.value), entry.evidence, source, entry.drives)
        tables.setdefault(here, []).append(cells)
    for here, rows in tables.items():
        lines += ["", f"## {_library_heading(here)}", ""]
        lines += table(("key", "value", "evidence", "source", "drives"), rows)
    return "\n".join([*lines, ""])


def unknowns_page() -> str:
    """The library of defaults, filtered by what is assumed, with how to measure it, as Markdown."""
    entries = library.entries()
    assumed = {path: entry for path, entry in entries.items() if entry.evidence == ASSUMPTION}
    lines = [
        generated("reference"),
        "",
        "# What nobody knows",
        "",
        f"Of the {len(entries)} values in the [library of defaults]({DEFAULTS_FILE}),",
        f"{len(assumed)} carry the label *{ASSUMPTION}*: no data were found, or a part had to be",
        "assumed. This page is the library filtered by that label. A measurement of your own,",
        "written into the scenario, takes the place of any of them; a report lists those that a",
        "result used.",
        "",
        "## What to measure, and how",
        "",
    ]
    lines += table(
        ("value", "now", "drives", "how to measure it"),
        (
            (f"`{dotted(path)}`", _value(entry.value), entry.drives, cell(entry.measure))
            for path, entry in assumed.items()
            if entry.measure
        ),
    )
    lines += [
        "",
        "## Assumed as well",
        "",
        f"What they are, and what they rest on, is in the [library of defaults]({DEFAULTS_FILE}).",
    ]
    others: dict[str, list[str]] = {}
    for path, entry in assumed.items():
        if not entry.measure:
            heading = library.PRESET_TABLES.get(path[0], path[0])
            others.setdefault(heading, []).append(f"`{dotted(path[1:] or path)}`")
    for heading, keys in others.items():
        lines += ["", f"**{heading}**: " + ", ".join(keys)]
    return "\n".join([*lines, ""])


def bibliography_page() -> str:
    """The sources in full, as Markdown."""
    said = library.sources()
    lines = [
        generated("reference"),
        "",
        "# Bibliography",
        "",
        "Where the program says “a maker's sheet” or “a user's measurement”, it means this,",
        "so that a number can be looked up. Nothing here is advice to buy anything.",
        "",
    ]
    rows = ((f"`{key}`", said[key], full) for key, full in library.citations().items())
    return "\n".join([*lines, *table(("name", "as the program says it", "in full"), rows), ""])


def pages() -> dict[str, str]:
    """All pages by file name."""
    return {
        SCHEMA_FILE: json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n",
        REFERENCE_FILE: reference_page(),
        DEFAULTS_FILE: defaults_page(),
        UNKNOWN_FILE: unknowns_page(),
        BIBLIOGRAPHY_FILE: bibliography_page(),
    }


def _sections(model: type[Section], path: Path) -> Iterator[tuple[Path, type[Section], str]]:
    for key, part in parts(model).items():
        if part.model is None:
            continue
        here = (*path, key, "NAME") if part.kind == "named" else (*path, key)
        yield here, part.model, model.model_fields[part.field].description or ""
        yield from _sections(part.model, here)


def _rows(model: type[Section], path: Path) -> Iterator[tuple[str, str, str]]:
    for key, part in parts(model).items():
        if part.kind != "value":
            continue
        field = model.model_fields[part.field]
        default = _default_text(model, path, key, part.optional)
        yield f"`{key}`", f"{field.description} ({_words(field)})", default


def _default_text(model: type[Section], path: Path, key: str, optional: bool) -> str:
    if model.preset and key != model.preset.field and _in_presets(model.preset.library, key):
        return f"by `{model.preset.field}`"
    entry = _entry(model, path, key)
    if entry is not None:
        return _value(entry.value)
    if path[:2] == ("people", "week") and key in ("weekdays", "saturday", "sunday"):
        return "by `pattern`"
    if optional:
        return ""
    return {
        "zone": "the only zone",
        "grip": 'the valve\'s `handle`; `"bare stem"` where an actuator is clamped on',
    }.get(key, "**required**")


def _entry(model: type[Section], path: Path, key: str) -> Default | None:
    home = (_SINGULAR[path[0]],) if path and path[0] in _SINGULAR else path
    entry = library.find(*home, key)
    if entry is None and model.shared_defaults:
        entry = library.find(model.shared_defaults, key)
    return entry


def _in_presets(table: str, key: str) -> bool:
    return any(library.find(table, name, key) for name in library.presets(table))


def _words(field: FieldInfo) -> str:
    for meta in field.metadata:
        if isinstance(meta, Value):
            return meta.words()
    text = str(field.annotation)
    for value in _values_inside(field.annotation):
        return value.words()
    if "Literal" in text:
        return ", ".join(f"`{choice}`" for choice in _literals(field.annotation))
    if field.annotation is bool:
        return "`true` or `false`"
    if field.annotation is int:
        return "whole number"
    return "text"


def _values_inside(annotation: Any) -> Iterator[Value]:
    """Value types in an annotation such as ``Annotated[float, Quantity(...)] | None``."""
    for inner in getattr(annotation, "__args__", ()):
        for meta in getattr(inner, "__metadata__", ()):
            if isinstance(meta, Value):
                yield meta


def _literals(annotation: Any) -> tuple[str, ...]:
    return tuple(str(choice) for choice in annotation.__args__)


def _heading(path: Path) -> str:
    return ".".join(path)


def _library_heading(path: Path) -> str:
    if path and path[0] in library.PRESET_TABLES:
        return f"{library.PRESET_TABLES[path[0]]}: {path[1]}"
    return ".".join(path) or "the whole"


def _value(raw: Any) -> str:
    return f"`{_toml(raw)}`"


def _toml(raw: Any) -> str:
    if isinstance(raw, bool):
        return "true" if raw else "false"
    if isinstance(raw, dict):
        return "{" + ", ".join(f"{key} = {_toml(value)}" for key, value in raw.items()) + "}"
    return f'"{raw}"' if isinstance(raw, str) else str(raw)


def files() -> Files:
    """Yield all pages."""
    for name, text in pages().items():
        yield DOCS / name, text.encode()
