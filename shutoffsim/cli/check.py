"""`check`: every value in use, and where it comes from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from shutoffsim.cli.app import app, check_names, guarded
from shutoffsim.cli.options import ScenarioArgument


@app.command()
@guarded
def check(
    scenario: ScenarioArgument,
    design: Annotated[
        str | None,
        typer.Option(
            help="Only the values of this design. Default: the reference, and what differs.",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="List every value in use with its source.")
    ] = False,
    csv: Annotated[
        Path | None,
        typer.Option(help="Write the list to this file.", metavar="FILE", show_default=False),
    ] = None,
) -> None:
    """Check a scenario: what follows from it, and how well founded its values are."""
    from shutoffsim.report.check import print_check
    from shutoffsim.report.files import OutputFile, check_apart
    from shutoffsim.report.table_file import harmless
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    loaded = load(scenario)
    check_names(scenario, loaded, [design] if design is not None else None)
    check_apart({"SCENARIO": scenario}, {"--csv": csv})
    if csv:
        with OutputFile(csv, (".csv",)) as file:
            table = loaded.ledger(design, used=True).map(harmless)
            file.write(table.to_csv(index=False).encode())
    print_check(make_console(), loaded, design, every=every, file=str(scenario))
