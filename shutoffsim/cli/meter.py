"""`meter`: what a household's record says about flow rules."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from shutoffsim.cli.app import app, guarded, progress_bar, result_file
from shutoffsim.cli.options import ResultOption


@app.command()
@guarded
def meter(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A household's record (CSV, may be gzipped); docs/meter.md lists the columns.",
            show_default=False,
        ),
    ],
    litres_per_pulse: Annotated[
        float | None,
        typer.Option(help="Water per pulse.", metavar="LITRES", show_default=False),
    ] = None,
    gap: Annotated[
        list[str] | None,
        typer.Option(
            help="Pause that does not end a run; repeat for several. Default: 0, 60, 300 s.",
            metavar="TIME",
            show_default=False,
        ),
    ] = None,
    time: Annotated[
        list[str] | None,
        typer.Option(
            help="Limit of a “longer than” rule; repeat for several.",
            metavar="TIME",
            show_default=False,
        ),
    ] = None,
    volume: Annotated[
        list[str] | None,
        typer.Option(
            help="Limit of a “more than” rule; repeat for several.",
            metavar="VOLUME",
            show_default=False,
        ),
    ] = None,
    slot: Annotated[
        str | None,
        typer.Option(
            help="Sampling interval. Default: found from the record.",
            metavar="TIME",
            show_default=False,
        ),
    ] = None,
    hole: Annotated[
        str | None,
        typer.Option(
            help="A longer pause is a hole in the recording.", metavar="TIME", show_default=False
        ),
    ] = None,
    covered: Annotated[
        str | None,
        typer.Option(
            help="Recorded time, where you know it better than the file does.",
            metavar="TIME",
            show_default=False,
        ),
    ] = None,
    starting_flow: Annotated[
        str | None,
        typer.Option(help="Flow at which the meter starts.", metavar="FLOW", show_default=False),
    ] = None,
    time_format: Annotated[
        str | None,
        typer.Option(
            help="Pattern of the times, such as %d.%m.%Y %H:%M.",
            metavar="PATTERN",
            show_default=False,
        ),
    ] = None,
    json: ResultOption = None,
) -> None:
    """Read a meter's record: how often flow rules would have tripped in ordinary use."""
    from shutoffsim.report.files import check_apart
    from shutoffsim.report.meter import print_meter
    from shutoffsim.report.text import make_console
    from shutoffsim.study import meter as study

    check_apart({"FILE": file}, {"--json": json})
    with result_file(json) as write_result:
        with progress_bar("bytes") as progress:
            result = study.analyse_meter(
                file,
                litres_per_pulse=litres_per_pulse,
                gaps=gap or study.GAPS,
                times=time or study.TIMES,
                volumes=volume or study.VOLUMES,
                slot=slot,
                hole=hole,
                covered=covered,
                starting_flow=starting_flow,
                time_format=time_format,
                progress=progress,
            )
        write_result(result)
    print_meter(make_console(), result)
