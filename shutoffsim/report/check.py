"""The values that a scenario rests on, each with its source."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim import units
from shutoffsim.report.text import wrap
from shutoffsim.scenario.entries import COMMON, YOURS, Entry, words
from shutoffsim.scenario.leak_rates import leaks_a_year
from shutoffsim.scenario.ledger import in_use, told
from shutoffsim.scenario.library import EVIDENCE, WEAK
from shutoffsim.scenario.pipes import full_bore_flow
from shutoffsim.scenario.problems import dotted

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.scenario import Scenario

_SHOWN = 12
_MEANING = {
    YOURS: "written in the file",
    "published": "read in the source itself",
    "secondary": "read in a page that quotes the source",
    "common practice": "trade knowledge",
    "from memory": "not checked against a document",
    "assumption": "no data found",
}


def count_evidence(scenario: Scenario, design: str | None = None) -> dict[str, int]:
    """Return how many different values in use carry each evidence label, strongest first.

    A value that has several counts by its weakest; what is fitted or exists is a choice.
    """
    labels: dict[tuple[str, str], str] = {}
    for each in scenario.resolved if design is None else [scenario.design(design)]:
        for path, entry in each.entries.items():
            weak = entry.evidence in WEAK
            if not in_use(path, each.system) or (weak and path[-1] == "fitted"):
                continue
            key = (entry.key, words(entry.written))
            labels[key] = entry.evidence if weak else labels.get(key, entry.evidence)
    counts = Counter(labels.values())
    return {label: counts[label] for label in (YOURS, *EVIDENCE) if label in counts}


def _used(scenario: Scenario, design: str | None) -> Iterator[tuple[str, Entry]]:
    return told(scenario.resolved if design is None else [scenario.design(design)], used=True)


def print_check(
    console: Console,
    scenario: Scenario,
    design: str | None = None,
    *,
    every: bool = False,
    file: str = "FILE",
) -> None:
    """Print that a scenario is valid, what follows from it, and what it rests on.

    Parameters
    ----------
    console : rich.console.Console
    scenario : Scenario
    design : str, optional
        One design; by default all: of values the first, and below it what differs in the others.
    every : bool
        List every value in use with its source.
    file : str
        The scenario, as it would be typed.

    Raises
    ------
    ScenarioError
        When there is no such design.
    """
    names = scenario.designs if design is None else (design,)
    console.print(Text(f"{scenario.name}: the scenario is valid", style="bold"))
    console.print(wrap(f"designs: {', '.join(names)}", console.width))
    for line in (*_supply_pipes(scenario, names), *_leaks(scenario, names)):
        console.print("\n" + wrap(line, console.width))
    weak = scenario.assumptions(*names)
    if every:
        _print_values(console, scenario, design)
    else:
        console.print(f"\n{len(weak)} values rest on an assumption or on memory. They move:")
        for drives, number in Counter(each.drives for each in weak).most_common(_SHOWN):
            console.print(_indented(f"{number:>4}  {drives}", console.width, "  ", "        "))
    console.print("\nHow well founded the values are:")
    for label, number in count_evidence(scenario, design).items():
        console.print(f"  {number:>4}  {label}: {_MEANING.get(label, '')}".rstrip(": "))
    if every:
        if design is None and len(names) > 1:
            text = f"Values are those of “{scenario.reference}” unless listed under another design."
            console.print(wrap(text, console.width))
        return
    console.print()
    for does, command in (
        ("Every value with its source", f"shutoffsim check {file} --all"),
        ("The same as a table", f"shutoffsim check {file} --csv values.csv"),
        ("Which of them move the answer, and what to find out first", f"shutoffsim compare {file}"),
    ):
        console.print(wrap(f"{does}: {command}", console.width))


def _print_values(console: Console, scenario: Scenario, design: str | None) -> None:
    section = None
    for before, entry in _used(scenario, design):
        head = before.rstrip(".") if len(entry.path) == 1 else before + dotted(entry.path[:-1])
        if head != section:
            section = head
            console.print(f"\n[{head}]" if head else "\nthe whole")
        value = " ".join(entry.columns).rstrip()
        line = f"{entry.path[-1]} = {value}  ({_origin(entry)})"
        console.print(_indented(line, console.width, "  ", "      "))
        if entry.default is not None:
            console.print(_indented(entry.source, console.width, "      ", "      "))


def _origin(entry: Entry) -> str:
    """Return where a value was stated, or how well founded a default is."""
    if entry.default is not None:
        return entry.evidence
    return entry.stated_in if entry.stated_in == COMMON else f"design “{entry.stated_in}”"


def _supply_pipes(scenario: Scenario, names: Sequence[str]) -> Iterator[str]:
    """Yield what the supply pipe of each design gives, each different one once."""
    told: dict[str, list[str]] = {}
    for name in names:
        dwelling = scenario.design(name).system.dwelling
        if dwelling.supply_pipe is not None:
            pressure, temperature = dwelling.pressure.mean, dwelling.water_temperature
            flow = full_bore_flow(dwelling.supply_pipe, pressure, temperature)
            text = (
                f"full-bore flow of the supply pipe {60000.0 * flow:.3g} L/min "
                f"at the mean pressure, {units.format(pressure, 'pressure')}, with water of "
                f"{units.format(temperature, 'temperature')}"
            )
            told.setdefault(text, []).append(name)
    for text, designs in told.items():
        where = "" if len(designs) == len(names) else f"; {', '.join(designs)}"
        yield f"Computed: {text}{where}."


def _leaks(scenario: Scenario, names: Sequence[str]) -> Iterator[str]:
    """Yield the leaks a year of each design, each different account once."""
    told: dict[str, list[str]] = {}
    for name in names:
        found = leaks_a_year(scenario.design(name).system, scenario.service_life)
        each = ", ".join(f"{source} {number:.2g}" for source, number in found.items())
        text = f"leaks a year, age, season, weather and trips counted: {each}"
        told.setdefault(f"{text}; in all {sum(found.values()):.2g}", []).append(name)
    for text, designs in told.items():
        where = "" if len(designs) == len(names) else f"; {', '.join(designs)}"
        yield f"Computed: {text}{where}."


def _indented(text: str, width: int, first: str, later: str) -> str:
    return textwrap.fill(
        text,
        max(width, 24),
        initial_indent=first,
        subsequent_indent=later,
        break_on_hyphens=False,
    )
