"""`pfd`: how often one design fails on demand, and why."""

from __future__ import annotations

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
    EngineOption,
    PfdDesignOption,
    ResultOption,
    ScenarioArgument,
    SeedOption,
    WorkersOption,
)


@app.command()
@guarded
def pfd(
    scenario: ScenarioArgument,
    design: PfdDesignOption = None,
    relative_error: Annotated[
        str,
        typer.Option(
            help="Run until the standard error of the probability is this share of it.",
            metavar="SHARE",
        ),
    ] = "5%",
    seed: SeedOption = 1,
    engine: EngineOption = "batch",
    workers: WorkersOption = None,
    json: ResultOption = None,
) -> None:
    """Estimate how often one design fails on demand, and why, even when failures are rare."""
    from shutoffsim.report.files import check_apart
    from shutoffsim.report.pfd import print_failure_on_demand
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    share = read_share(relative_error, "--relative-error")
    loaded = load(scenario)
    name = check_names(scenario, loaded, [design] if design is not None else None)[-1]
    check_apart({"SCENARIO": scenario}, {"--json": json})
    with result_file(json) as write_result:
        compile_first()
        from shutoffsim.study.pfd import failure_on_demand

        with progress_bar() as progress:
            result = failure_on_demand(
                loaded,
                name,
                relative_error=share,
                seed=seed,
                workers=default_workers(workers, engine),
                engine=engine,
                progress=progress,
            )
        write_result(result)
    print_failure_on_demand(make_console(), result)
