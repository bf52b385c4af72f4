"""`breakeven`: from which value of a quantity on a design pays."""

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
    result_file,
)
from shutoffsim.cli.options import ResultOption, ScenarioArgument, SeedOption, WorkersOption
from shutoffsim.errors import ModelError


@app.command()
@guarded
def breakeven(
    scenario: ScenarioArgument,
    vary: Annotated[
        str,
        typer.Option(
            help="The quantity, as its key stands in a file; of both designs where they agree.",
            metavar="KEY",
        ),
    ],
    design: Annotated[
        str | None,
        typer.Option(
            help="The design that is to pay. Default: the last of the file.",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    against: Annotated[
        str | None,
        typer.Option(
            help="The design that it replaces. Default: the one that it is like.",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    first: Annotated[
        str | None,
        typer.Option(
            "--from",
            help="First value to try, with its unit. Default: an eighth of the value in use.",
            metavar="VALUE",
            show_default=False,
        ),
    ] = None,
    last: Annotated[
        str | None,
        typer.Option(
            "--to",
            help="Last value to try. Default: eight times the value in use.",
            metavar="VALUE",
            show_default=False,
        ),
    ] = None,
    histories: Annotated[
        int, typer.Option(help="Histories of each value tried.", metavar="NUMBER")
    ] = 1024,
    seed: SeedOption = 1,
    workers: WorkersOption = None,
    json: ResultOption = None,
) -> None:
    """Find from which value of a quantity on a design saves more than it costs."""
    from shutoffsim.report.breakeven import print_breakeven
    from shutoffsim.report.files import check_apart
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    loaded = load(scenario)
    name = check_names(scenario, loaded, [design] if design is not None else None)[-1]
    if against is not None:
        check_names(scenario, loaded, [against])
    if (first is None) != (last is None):
        raise ModelError("one end without the other", expected="both --from and --to, or neither")
    check_apart({"SCENARIO": scenario}, {"--json": json})
    with result_file(json) as write_result:
        compile_first()
        from shutoffsim.study.breakeven import breakeven as find

        with progress_bar() as progress:
            result = find(
                loaded,
                name,
                vary,
                against=against,
                ends=None if first is None or last is None else (first, last),
                histories=histories,
                seed=seed,
                workers=default_workers(workers),
                progress=progress,
            )
        write_result(result)
    print_breakeven(make_console(), result)
