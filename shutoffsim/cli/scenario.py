"""`check` and `new`: the scenario file itself."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from shutoffsim.cli.app import app, check_names, guarded
from shutoffsim.cli.options import ScenarioArgument
from shutoffsim.errors import OutputError


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
    csv: Annotated[
        Path | None,
        typer.Option(help="Write the list to this file.", metavar="FILE", show_default=False),
    ] = None,
) -> None:
    """Check a scenario and list every value in use with where it comes from."""
    from shutoffsim.report.files import OutputFile, check_apart
    from shutoffsim.report.table_file import harmless
    from shutoffsim.report.text import make_console
    from shutoffsim.report.values import print_values
    from shutoffsim.scenario import load

    loaded = load(scenario)
    check_names(scenario, loaded, [design] if design is not None else None)
    check_apart({"SCENARIO": scenario}, {"--csv": csv})
    if csv:
        with OutputFile(csv, (".csv",)) as file:
            table = loaded.ledger(design, used=True).map(harmless)
            file.write(table.to_csv(index=False).encode())
    print_values(make_console(), loaded, design)


@app.command()
@guarded
def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The file to make.", show_default=False)
    ],
) -> None:
    """Write a first scenario to change."""
    from shutoffsim.report.files import OutputFile
    from shutoffsim.scenario import starter

    if file.exists() and not file.is_dir():
        raise OutputError(
            "there is such a file already",
            where=str(file),
            expected="the name of a new file",
            hint="choose another name, or remove it first",
        )
    with OutputFile(file, (".toml",)) as output:
        output.write(starter().encode())
    typer.echo(f"wrote {file}; next: shutoffsim compare {file}")
