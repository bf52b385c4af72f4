"""The values that a scenario rests on, each with its source."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from shutoffsim import units
from shutoffsim.report.text import wrap
from shutoffsim.scenario.ledger import YOURS, in_use
from shutoffsim.scenario.library import EVIDENCE
from shutoffsim.scenario.pipes import full_bore_flow
from shutoffsim.scenario.problems import dotted

if TYPE_CHECKING:
    import pandas as pd
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


def used_values(scenario: Scenario, design: str | None = None) -> pd.DataFrame:
    """Return the values that have an effect, with their sources.

    Parameters
    ----------
    scenario : Scenario
    design : str, optional
        One design; by default the first, and below it what differs in the others.

    Returns
    -------
    pandas.DataFrame
        Columns key, value, unit, source, evidence, drives.

    Raises
    ------
    ScenarioError
        When there is no such design.
    """
    table = scenario.ledger(design)
    return table[table["key"].isin(_used_keys(scenario, design))].reset_index(drop=True)


def _used_keys(scenario: Scenario, design: str | None) -> dict[str, str]:
    """Map the ledger's keys of values in use to the same keys without a design's name."""
    designs = scenario.resolved if design is None else (scenario.design(design),)
    first = designs[0]
    keys = {}
    for member in designs:
        for path, raw in member.written.items():
            if not in_use(path, member.system):
                continue
            plain = dotted(path)
            shared = path in first.written and first.written[path] == raw
            keys[plain if shared else f"{dotted(('designs', member.name))}.{plain}"] = plain
    return keys


def count_evidence(scenario: Scenario, design: str | None = None) -> dict[str, int]:
    """Return how many different values in use carry each evidence label, strongest first."""
    table = used_values(scenario, design)
    table["key"] = table["key"].map(_used_keys(scenario, design))
    counts = table.drop_duplicates(["key", "value", "unit"])["evidence"].value_counts()
    return {label: int(counts[label]) for label in (YOURS, *EVIDENCE) if label in counts}


def print_values(console: Console, scenario: Scenario, design: str | None = None) -> None:
    """Print the values in use, grouped as in a scenario file, then how well founded they are."""
    table = used_values(scenario, design)
    names = scenario.designs if design is None else (design,)
    console.print(Text(f"{scenario.name}: the scenario is in order", style="bold"))
    console.print(wrap(f"designs: {', '.join(names)}", console.width))
    section = None
    for row in table.itertuples(index=False):
        head, _, key = str(row.key).rpartition(".")
        if head != section:
            section = head
            console.print(f"\n[{head}]" if head else "\nthe whole")
        value = f"{row.value} {row.unit}".rstrip()
        mark = "" if row.evidence == YOURS else f"  ({row.evidence})"
        console.print(_indented(f"{key} = {value}{mark}", console.width, "  ", "      "))
        if row.evidence != YOURS:
            console.print(_indented(str(row.source), console.width, "      ", "      "))
    for line in _supply_pipes(scenario, names):
        console.print("\n" + wrap(line, console.width))
    console.print("\nHow well founded the values are:")
    for label, number in count_evidence(scenario, design).items():
        console.print(f"  {number:>4}  {label}: {_MEANING.get(label, '')}".rstrip(": "))
    if design is None and len(names) > 1:
        first = scenario.reference
        console.print(
            wrap(
                f"Values are those of “{first}” unless they stand under another design; one that "
                "several designs share is counted once.",
                console.width,
            )
        )


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


def _indented(text: str, width: int, first: str, later: str) -> str:
    return textwrap.fill(
        text,
        max(width, 24),
        initial_indent=first,
        subsequent_indent=later,
        break_on_hyphens=False,
    )
