"""`portfolio`: many dwellings at once."""

from __future__ import annotations

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
    read_periods,
    result_file,
)
from shutoffsim.cli.options import (
    ClusterOption,
    PeriodsOption,
    ResultOption,
    ScenarioArgument,
    SeedOption,
    StoreOption,
    WorkersOption,
)


@app.command()
@guarded
def portfolio(
    scenario: ScenarioArgument,
    dwellings: Annotated[
        Path,
        typer.Argument(
            metavar="DWELLINGS",
            help="One row per dwelling (CSV or Parquet); docs/portfolio.md lists the columns.",
            show_default=False,
        ),
    ],
    design: Annotated[
        str | None,
        typer.Option(
            help="Design for rows that name none. Default: the first of the file.",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    histories: Annotated[
        int, typer.Option(help="Histories of each dwelling.", metavar="NUMBER")
    ] = 16,
    region: Annotated[
        bool,
        typer.Option(
            "--region", help="Dwellings of one region share severe spells and mains outages."
        ),
    ] = False,
    seed: SeedOption = 1,
    workers: WorkersOption = None,
    out: Annotated[
        Path | None,
        typer.Option(
            help="Write a row for each dwelling to this CSV or Parquet file.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    return_periods: PeriodsOption = None,
    json: ResultOption = None,
    cluster: ClusterOption = None,
    store: StoreOption = None,
) -> None:
    """Estimate many dwellings at once, and how bad a year of all of them can be."""
    from shutoffsim.report.files import check_apart
    from shutoffsim.report.portfolio import print_portfolio
    from shutoffsim.report.table_file import TableFile
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    periods = read_periods(return_periods)
    loaded = load(scenario)
    check_names(scenario, loaded, [design] if design is not None else None)
    check_apart({"SCENARIO": scenario, "DWELLINGS": dwellings}, {"--out": out, "--json": json})
    with ExitStack() as files:
        write_result = files.enter_context(result_file(json))
        rows = files.enter_context(TableFile(out)) if out else None
        compile_first()
        from shutoffsim.study.portfolio import portfolio as run_portfolio

        with progress_bar("dwellings") as progress:
            result = run_portfolio(
                loaded,
                dwellings,
                design=design,
                histories=histories,
                seed=seed,
                workers=default_workers(workers),
                region=region,
                return_periods=periods,
                out=rows.add if rows else forget,
                progress=progress,
                cluster=cluster,
                store=store,
            )
        write_result(result)
    print_portfolio(make_console(), result, str(dwellings))
    raise typer.Exit(result.exit_code)


def forget(_table: object) -> None:
    """Take rows that nobody asked for, so that they are not kept."""
