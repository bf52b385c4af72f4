"""`size`: which actuator still closes this valve after years."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import Annotated, Literal

import typer

from shutoffsim.cli.app import (
    app,
    check_names,
    compile_first,
    default_workers,
    guarded,
    progress_bar,
    read_share,
    result_file,
)
from shutoffsim.cli.options import (
    FiguresOption,
    ResultOption,
    ScenarioArgument,
    SeedOption,
    SizeDesignOption,
    WorkersOption,
)


@app.command()
@guarded
def size(
    scenario: ScenarioArgument,
    design: SizeDesignOption = None,
    target_pfd: Annotated[
        str,
        typer.Option(
            help="Largest acceptable probability that torque fails on demand.", metavar="SHARE"
        ),
    ] = "1%",
    confidence: Annotated[
        str,
        typer.Option(
            help="Share of valves like this one that must meet the target.", metavar="SHARE"
        ),
    ] = "90%",
    measurements: Annotated[
        Path | None,
        typer.Option(
            help="Readings of this valve's torque (CSV); see docs/measuring-torque.md.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    rating: Annotated[
        list[str] | None,
        typer.Option(
            help="Stall torque to compare, such as “4 N*m”; repeat for several. "
            "Default: about eight around the torque needed.",
            metavar="TORQUE",
            show_default=False,
        ),
    ] = None,
    scale: Annotated[
        Literal["gears", "motor"],
        typer.Option(help="How the design's data sheet is scaled to another rating."),
    ] = "gears",
    price: Annotated[
        list[str] | None,
        typer.Option(
            help="Price of a rating, such as “6 N*m = 120 EUR”; repeat for several.",
            metavar="RATING=PRICE",
            show_default=False,
        ),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="Print all tables.")] = False,
    figures: FiguresOption = None,
    json: ResultOption = None,
    seed: SeedOption = 1,
    workers: WorkersOption = None,
) -> None:
    """Size the actuator: torque needed and available, window, probability of failure, price."""
    from shutoffsim.errors import ModelError
    from shutoffsim.report.files import check_apart
    from shutoffsim.report.size import print_sizing
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load
    from shutoffsim.study.size import choose_design
    from shutoffsim.study.size import size as run_sizing

    target, share = read_share(target_pfd, "--target-pfd"), read_share(confidence, "--confidence")
    loaded = load(scenario)
    if design is not None:
        check_names(scenario, loaded, [design])
    try:
        name = choose_design(loaded, design).name
    except ModelError as error:
        error.where = error.where or str(scenario)
        raise
    check_apart({"SCENARIO": scenario, "--measurements": measurements}, {"--json": json})
    with ExitStack() as files:
        write_result = files.enter_context(result_file(json))
        folder = None
        if figures is not None:
            from shutoffsim.report.figures import FigureFolder
            from shutoffsim.report.size_figures import FIGURES, draw_figures

            folder = files.enter_context(FigureFolder(figures, FIGURES))
        compile_first()
        with progress_bar() as progress:
            result = run_sizing(
                loaded,
                name,
                target=target,
                confidence=share,
                measurements=measurements,
                ratings=rating,
                scale=scale,
                price=price or (),
                seed=seed,
                workers=default_workers(workers),
                progress=progress,
            )
        write_result(result)
        if folder is not None:
            folder.write(draw_figures(result))
    print_sizing(make_console(), result, full=full, file=str(scenario))
