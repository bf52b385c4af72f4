"""`new`: a first scenario."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from shutoffsim.cli.app import app, guarded
from shutoffsim.errors import OutputError


@app.command()
@guarded
def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The file to write.", show_default=False)
    ],
) -> None:
    """Write a first scenario to change."""
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
        output.write(starter().encode())
    typer.echo(f"wrote {file}; next: shutoffsim compare {file}")
