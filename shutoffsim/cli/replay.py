"""`replay`: one history, or one leak, event by event."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from shutoffsim.cli.app import app, check_names, compile_first, guarded
from shutoffsim.cli.options import (
    ReplayDesignOption,
    ScenarioArgument,
    SeedOption,
)


@app.command()
@guarded
def replay(
    scenario: ScenarioArgument,
    design: ReplayDesignOption = None,
    history: Annotated[
        int | None,
        typer.Option(
            help="Replay the history of this number.", metavar="NUMBER", show_default=False
        ),
    ] = None,
    probe: Annotated[
        int | None,
        typer.Option(
            help="Replay the incident of this probe of the history.",
            metavar="NUMBER",
            show_default=False,
        ),
    ] = None,
    pick: Annotated[
        Literal["worst", "typical"] | None,
        typer.Option(
            help="Search for an incident: the largest loss, or a middling one. "
            "Default without a history: typical.",
            show_default=False,
        ),
    ] = None,
    seed: SeedOption = 1,
    all: Annotated[
        bool, typer.Option("--all", help="Show quiet events too, instead of counting them.")
    ] = False,
) -> None:
    """Show one history, or one leak, event by event."""
    from shutoffsim.report.replay import print_replay
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load
    from shutoffsim.study.replay import replay as run_replay

    loaded = load(scenario)
    check_names(scenario, loaded, [design] if design is not None else None)
    compile_first()
    told = run_replay(loaded, design, history=history, probe=probe, pick=pick, seed=seed)
    print_replay(make_console(), told, everything=all)
