"""`compare`: designs against each other."""

from __future__ import annotations

import warnings
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

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
    WORLDS,
    ClusterOption,
    EngineOption,
    FiguresOption,
    HistoriesOption,
    ResultOption,
    ScenarioArgument,
    SeedOption,
    StoreOption,
    WorkersOption,
)
from shutoffsim.errors import ModelError, PrecisionWarning

#: Kind of plot by the name of its files.
FIGURES = {"expected-damage": "damage", "steps": "steps"}


@app.command()
@guarded
def compare(
    scenario: ScenarioArgument,
    design: Annotated[
        list[str] | None,
        typer.Option(
            help="Compare only this design; repeat for several. The first is the reference. "
            "Default: all of the file.",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    precision: Annotated[
        str,
        typer.Option(
            help="Run until the standard error of each expected annual damage is this share of it.",
            metavar="SHARE",
        ),
    ] = "2%",
    histories: HistoriesOption = None,
    worlds: Annotated[
        int | None,
        typer.Option(
            help="Say how sure the answer is given what nobody knows: draw so many worlds over its "
            f"range; 0: none. Default: {WORLDS}, or none with --histories.",
            metavar="NUMBER",
            show_default=False,
        ),
    ] = None,
    seed: SeedOption = 1,
    engine: EngineOption = "batch",
    workers: WorkersOption = None,
    json: ResultOption = None,
    incidents: Annotated[
        Path | None,
        typer.Option(
            help="Write every simulated leak to this CSV or Parquet file.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(
            help="Write the figures to this CSV file, one row a design.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    figures: FiguresOption = None,
    brief: Annotated[
        bool, typer.Option("--brief", help="Print only the verdict, without the steps.")
    ] = False,
    full: Annotated[
        bool, typer.Option("--full", help="Print all tables: every figure of every design.")
    ] = False,
    cluster: ClusterOption = None,
    store: StoreOption = None,
) -> None:
    """Compare designs: expected damage, how often the valve fails to close, and why."""
    from shutoffsim.report.compare import design_rows, print_comparison
    from shutoffsim.report.files import OutputFile, check_apart
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    if brief and full:
        raise ModelError("--brief does not go with --full", expected="one of them, or neither")
    if worlds is None:
        worlds = WORLDS if histories is None else 0
    share = None if histories is not None else read_share(precision)
    loaded = load(scenario)
    names = check_names(scenario, loaded, design)
    check_apart(
        {"SCENARIO": scenario},
        {"--json": json, "--incidents": incidents, "--csv": csv, "--figures": figures},
    )
    if figures is not None and len(names or loaded.designs) < 2:
        raise ModelError(
            "there is no step to draw",
            where="--figures",
            found="one design",
            expected="a comparison of two designs or more",
        )
    with ExitStack() as files:
        write_result = files.enter_context(result_file(json))
        rows = None if csv is None else files.enter_context(OutputFile(csv, (".csv",)))
        folder = None
        if figures is not None:
            from shutoffsim.report.figures import FigureFolder
            from shutoffsim.report.plots import figure_of

            folder = files.enter_context(FigureFolder(figures, FIGURES))
        table = None
        if incidents is not None:
            from shutoffsim.report.incidents import IncidentFile

            table = files.enter_context(IncidentFile(incidents, loaded, names))

        compile_first()
        from shutoffsim.study.compare import compare as run_comparison

        with progress_bar() as progress, warnings.catch_warnings():
            warnings.simplefilter("ignore", PrecisionWarning)  # said in the output instead
            result = run_comparison(
                loaded,
                names,
                precision=share,
                histories=histories,
                worlds=worlds,
                seed=seed,
                engine=engine,
                workers=default_workers(workers, engine),
                progress=progress,
                watch=table.add_chunk if table else None,
                cluster=cluster,
                store=store,
            )
        write_result(result)
        if rows is not None:
            rows.write(design_rows(result).encode())
        if folder is not None:
            folder.write({name: figure_of(result, kind) for name, kind in FIGURES.items()})
        if table:
            table.describe_run(result)
    print_comparison(
        make_console(), result, str(scenario), wanted=precision, brief=brief, full=full
    )
