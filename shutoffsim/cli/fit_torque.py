"""`fit-torque`: a valve's torque estimated from readings."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from shutoffsim.cli.app import app, check_names, guarded, result_file
from shutoffsim.cli.options import (
    FiguresOption,
    FitDesignOption,
    ResultOption,
    SeedOption,
)


@app.command("fit-torque")
@guarded
def fit_torque(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="Readings (CSV); docs/measuring-torque.md explains how to take and record them.",
            show_default=False,
        ),
    ],
    scenario: Annotated[
        Path | None,
        typer.Option(
            help="Gives the prior, and the actuator where that is the gauge. "
            "Default: the library's usual valve.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    design: FitDesignOption = None,
    valve: Annotated[
        str | None,
        typer.Option(
            help="The valve to report on, where several were read. Default: another one like them.",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    fragment: Annotated[
        Path | None,
        typer.Option(
            help="Write the fitted part of a scenario to this file (TOML).",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    figures: FiguresOption = None,
    json: ResultOption = None,
    seed: SeedOption = 1,
) -> None:
    """Estimate a valve's torque from readings: now, after rest, and in later years."""
    from shutoffsim.report.files import OutputFile, check_apart
    from shutoffsim.report.fit_torque import print_torque_fit
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load
    from shutoffsim.study import fit_torque as study

    check_apart({"FILE": file, "--scenario": scenario}, {"--fragment": fragment, "--json": json})
    loaded = None
    if scenario is not None:
        loaded = load(scenario)
        if design is not None:
            check_names(scenario, loaded, [design])
    with ExitStack() as files:
        write_result = files.enter_context(result_file(json))
        part = None if fragment is None else files.enter_context(OutputFile(fragment, (".toml",)))
        folder = None
        if figures is not None:
            from shutoffsim.report.figures import FigureFolder
            from shutoffsim.report.fit_torque_figure import FIGURES, draw_figures

            folder = files.enter_context(FigureFolder(figures, FIGURES))
        result = study.fit_torque(file, loaded, design, seed, valve=valve)
        write_result(result)
        if part is not None:
            part.write(result.fragment().encode())
        if folder is not None:
            folder.write(draw_figures(result))
    print_torque_fit(make_console(), result)
