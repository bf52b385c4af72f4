"""`report`: everything on one page that opens in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from shutoffsim.cli.app import app, guarded
from shutoffsim.cli.assessed import (
    ChosenSeedOption,
    PrecisionOption,
    SourceArgument,
    Wish,
    find_assessment,
    output_stem,
)
from shutoffsim.cli.options import (
    HistoriesOption,
    PeriodsOption,
    ReportDesignOption,
    WorkersOption,
)
from shutoffsim.errors import ModelError


@app.command()
@guarded
def report(
    source: SourceArgument,
    out: Annotated[
        Path | None,
        typer.Option(
            help="The page. Default: the name of the scenario file or folder with “-report.html”, "
            "in the current folder.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    save: Annotated[
        Path | None,
        typer.Option(
            help="Save the result in this folder, to report on it again without simulating.",
            metavar="FOLDER",
            show_default=False,
        ),
    ] = None,
    design: ReportDesignOption = None,
    precision: PrecisionOption = None,
    histories: HistoriesOption = None,
    seed: ChosenSeedOption = None,
    workers: WorkersOption = None,
    return_periods: PeriodsOption = None,
) -> None:
    """Write everything on one page (HTML): the answer, figures, upkeep, sources."""
    from shutoffsim.report.archive import check_place, save_assessment
    from shutoffsim.report.files import OutputFile, check_apart
    from shutoffsim.report.page.page import PAGE_ENDS, page

    target = out if out is not None else Path(f"{output_stem(source)}-report.html")
    if save is not None:
        if source.is_dir():
            raise ModelError(
                "--save does not go with a saved result",
                where=str(source),
                found=f"--save {save}",
                expected="a folder alone, or a scenario file with this option",
                hint="copy the folder instead",
            )
        check_place(save)
    check_apart({"SCENARIO": source}, {"--out": target, "--save": save})
    with OutputFile(target, PAGE_ENDS) as file:
        found = find_assessment(
            source, Wish(design, precision, histories, seed, workers, return_periods)
        )
        file.write(page(found).encode())
        if save is not None:
            save_assessment(found, save)
    typer.echo(found.answer)
    typer.echo(f"written: {target}" + (f" and {save}" if save is not None else ""))
