"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import typer

ScenarioArgument = Annotated[
    Path, typer.Argument(metavar="SCENARIO", help="A scenario file (TOML).", show_default=False)
]
SeedOption = Annotated[
    int,
    typer.Option(help="The same seed and inputs always give the same result.", metavar="NUMBER"),
]

WorkersOption = Annotated[
    int | None,
    typer.Option(
        help="Threads; they never change a result. Default: all cores.",
        metavar="NUMBER",
        show_default=False,
    ),
]
ResultOption = Annotated[
    Path | None,
    typer.Option(help="Write the result to this file.", metavar="FILE", show_default=False),
]

HistoriesOption = Annotated[
    int | None,
    typer.Option(
        help="Run exactly this many histories instead.", metavar="NUMBER", show_default=False
    ),
]
#: Drawn where neither worlds nor histories were asked for.
WORLDS = 128

FiguresOption = Annotated[
    Path | None,
    typer.Option(
        help="Write figures (SVG and PNG) to this folder, which is made if missing.",
        metavar="FOLDER",
        show_default=False,
    ),
]

PeriodsOption = Annotated[
    str | None,
    typer.Option(
        "--return-periods",
        help="Return periods, in years, at which losses are reported, such as 20,200.",
        metavar="YEARS",
        show_default=False,
    ),
]
EngineOption = Annotated[
    Literal["batch", "trace"],
    typer.Option(help="Compiled loop, or SimPy: slow, same numbers."),
]
ClusterOption = Annotated[
    str | None,
    typer.Option(
        help="Address of a dask scheduler to compute on; see docs/cluster.md.",
        metavar="ADDRESS",
        show_default=False,
    ),
]
StoreOption = Annotated[
    Path | None,
    typer.Option(
        help="With a cluster: keep finished pieces here, so that the run can be resumed.",
        metavar="FOLDER",
        show_default=False,
    ),
]
#: Which design a command is about where none is named: a file leads up to its last one, replay
#: shows what happens without it, and a result tells of the best.
DEFAULT_DESIGNS = {
    "pfd": "the last of the file",
    "size": "the last of the file with a clamped actuator",
    "fit-torque": "the last one with a clamped actuator",
    "replay": "the reference",
    "report": "the best one",
    "summary": "the best one",
}


def _design_option(command: str, what: str = "The design") -> Any:
    """Return the option that names the one design that a command is about."""
    told = f"{what}. Default: {DEFAULT_DESIGNS[command]}."
    return typer.Option(help=told, metavar="NAME", show_default=False)


PfdDesignOption = Annotated[str | None, _design_option("pfd")]
SizeDesignOption = Annotated[str | None, _design_option("size")]
FitDesignOption = Annotated[str | None, _design_option("fit-torque", "Its design")]
ReplayDesignOption = Annotated[str | None, _design_option("replay")]
ReportDesignOption = Annotated[
    str | None, _design_option("report", "The design that the page is about")
]
SummaryDesignOption = Annotated[
    str | None, _design_option("summary", "The design that the summary is about")
]
