"""`summary`: the two pages that an insurer or owner reads."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

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
    SummaryDesignOption,
    WorkersOption,
)


@app.command()
@guarded
def summary(
    source: SourceArgument,
    design: SummaryDesignOption = None,
    out: Annotated[
        Path | None,
        typer.Option(
            help="The PDF file. Default: the name of the scenario file or folder with "
            "“-summary.pdf”, in the current folder.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    paper: Annotated[
        Literal["a4", "us-letter"], typer.Option(help="Size of the two pages.")
    ] = "a4",
    precision: PrecisionOption = None,
    histories: HistoriesOption = None,
    seed: ChosenSeedOption = None,
    workers: WorkersOption = None,
    return_periods: PeriodsOption = None,
) -> None:
    """Write a risk summary of two pages (PDF) for an insurer or owner."""
    from shutoffsim.report.files import OutputFile, check_apart, check_end
    from shutoffsim.report.summary.typeset import check_typesetter, typeset

    target = out if out is not None else Path(f"{output_stem(source)}-summary.pdf")
    check_end(target, (".pdf",))
    check_apart({"SCENARIO": source}, {"--out": target})
    check_typesetter()
    wish = Wish(design, precision, histories, seed, workers, return_periods)
    with OutputFile(target) as file:
        assessment = find_assessment(source, wish, sensitivity=False)
        from shutoffsim.report.summary.content import summary_content
        from shutoffsim.report.summary.first_page import summary_answer
        from shutoffsim.report.summary.letters import missing_letters
        from shutoffsim.report.summary.subject import Subject

        content = summary_content(assessment, paper=paper)
        file.write(typeset(content))
    lacking = missing_letters(content)
    if lacking:
        shown = " ".join(lacking[:20])
        typer.echo(f"no font has these letters, they are printed as boxes: {shown}", err=True)
    typer.echo(summary_answer(Subject(assessment, assessment.chosen)))
    typer.echo(f"written: {target}")
