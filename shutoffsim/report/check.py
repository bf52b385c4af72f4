"""The values that a scenario rests on, each with its source."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim import units
from shutoffsim.report.text import wrap
from shutoffsim.scenario.entries import COMMON, YOURS, Entry
from shutoffsim.scenario.leak_rates import leaks_a_year
from shutoffsim.scenario.ledger import told
from shutoffsim.scenario.library import EVIDENCE
from shutoffsim.scenario.pipes import full_bore_flow
from shutoffsim.scenario.problems import dotted

if TYPE_CHECKING:
    from rich.console import Console

    from shutoffsim.scenario import Scenario

_MEANING = {
    YOURS: "written in the file",
    "published": "read in the source itself",
    "secondary": "read in a page that quotes the source",
    "common practice": "trade knowledge",
    "from memory": "not checked against a document",
    "assumption": "no data found",
}


def count_evidence(scenario: Scenario, design: str | None = None) -> dict[str, int]:
    """Return how many different values in use carry each evidence label, strongest first."""
    labels = {(entry.path, *entry.columns): entry.evidence for _, entry in _used(scenario, design)}
    counts = Counter(labels.values())
    return {label: counts[label] for label in (YOURS, *EVIDENCE) if label in counts}


def _used(scenario: Scenario, design: str | None) -> Iterator[tuple[str, Entry]]:
    return told(scenario.resolved if design is None else [scenario.design(design)], used=True)


def print_values(console: Console, scenario: Scenario, design: str | None = None) -> None:
    """Print the values in use, grouped as in a scenario file, then how well founded they are.

    Parameters
    ----------
    console : rich.console.Console
    scenario : Scenario
    design : str, optional
        One design; by default the first, and below it what differs in the others.

    Raises
    ------
    ScenarioError
        When there is no such design.
    """
    names = scenario.designs if design is None else (design,)
    console.print(Text(f"{scenario.name}: the scenario is valid", style="bold"))
    console.print(wrap(f"designs: {', '.join(names)}", console.width))
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
    for line in _supply_pipes(scenario, names):
        console.print("\n" + wrap(line, console.width))
    for line in _leaks(scenario, names):
        console.print("\n" + wrap(line, console.width))
    console.print("\nHow well founded the values are:")
    for label, number in count_evidence(scenario, design).items():
        console.print(f"  {number:>4}  {label}: {_MEANING.get(label, '')}".rstrip(": "))
    if design is None and len(names) > 1:
        first = scenario.reference
        console.print(
            wrap(
                f"Values are those of “{first}” unless listed under another design; a value that "
                "several designs share is counted once.",
                console.width,
            )
        )


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
