"""`new`: a first scenario."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from shutoffsim.cli.app import app, guarded
from shutoffsim.errors import OutputError


@app.command()
@guarded
def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The file to write.", show_default=False)
    ],
    start: Annotated[
        Literal["first", "terraced_house", "cottage", "clinic", "small_flat", "perfect"],
        typer.Option(
            "--from", help="What to start from; in “perfect” nothing fails, for lessons and tests."
        ),
    ] = "first",
) -> None:
    """Write a scenario to change."""
    from shutoffsim.report.files import OutputFile
    from shutoffsim.scenario import starter

    if file.exists() and not file.is_dir():
        raise OutputError(
            "this file already exists",
            where=str(file),
            expected="the name of a new file",
            hint="choose another name, or remove it first",
        )
    with OutputFile(file, (".toml",)) as output:
        output.write(starter(start).encode())
    typer.echo(f"wrote {file}; next: shutoffsim compare {file}")
