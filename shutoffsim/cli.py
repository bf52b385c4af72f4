"""The commands: parse, call, print. Whatever takes long to import is imported when it is used."""

from __future__ import annotations

import functools
import os
import signal
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NoReturn, ParamSpec

import typer

from shutoffsim.errors import ModelError, OutputError, PrecisionWarning, ScenarioError, ShutoffError
from shutoffsim.version import __version__

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario
    from shutoffsim.study.compare import Comparison, Progress

INTERRUPTED = 130  # 128 + the number of the signal, as shells count

app = typer.Typer(
    name="shutoffsim",
    help="Will an automated main stop valve close when it must, and what is that worth?",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

P = ParamSpec("P")


def _guarded(command: Callable[P, None]) -> Callable[P, None]:
    """Let a command end with a message instead of a traceback, where a person can help it."""

    @functools.wraps(command)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except ShutoffError as error:
            typer.echo(str(error), err=True)
            raise typer.Exit(error.exit_code) from None
        except KeyboardInterrupt:
            typer.echo("interrupted: nothing was written", err=True)
            raise typer.Exit(INTERRUPTED) from None

    return guarded


ScenarioArgument = Annotated[
    Path, typer.Argument(metavar="SCENARIO", help="A scenario file (TOML).", show_default=False)
]
SeedOption = Annotated[
    int, typer.Option(help="One seed and one question give one result.", metavar="NUMBER")
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

ClusterOption = Annotated[
    str | None,
    typer.Option(
        help="Address of a dask scheduler to compute on; docs/cluster.md tells how.",
        metavar="ADDRESS",
        show_default=False,
    ),
]
StoreOption = Annotated[
    Path | None,
    typer.Option(
        help="With a cluster: keep finished pieces here, so that the run can be taken up again.",
        metavar="FOLDER",
        show_default=False,
    ),
]


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"shutoffsim {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Print the version.", callback=_print_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Will an automated main stop valve close when it must, and what is that worth?"""


@app.command()
@_guarded
def compare(
    scenario: ScenarioArgument,
    design: Annotated[
        list[str] | None,
        typer.Option(
            help="Compare only this design; give it several times. The first is the reference. "
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
    histories: Annotated[
        int | None,
        typer.Option(
            help="Run exactly so many histories instead.", metavar="NUMBER", show_default=False
        ),
    ] = None,
    seed: SeedOption = 1,
    engine: Annotated[
        Literal["batch", "trace"],
        typer.Option(help="Compiled loop, or SimPy: slow, with the same numbers."),
    ] = "batch",
    workers: WorkersOption = None,
    json: ResultOption = None,
    incidents: Annotated[
        Path | None,
        typer.Option(
            help="Write every simulated leak to this Parquet file.",
            metavar="FILE",
            show_default=False,
        ),
    ] = None,
    cluster: ClusterOption = None,
    store: StoreOption = None,
) -> None:
    """Compare designs: expected damage, how often the valve fails to close, and why."""
    from shutoffsim.report.files import OutputFile, check_apart, to_json
    from shutoffsim.report.incidents import IncidentFile
    from shutoffsim.report.tables import print_comparison
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    share = None if histories is not None else _read_share(precision)
    loaded = load(scenario)
    names = _check_names(scenario, loaded, design)
    check_apart({"SCENARIO": scenario}, {"--json": json, "--incidents": incidents})
    with ExitStack() as files:
        result_file = files.enter_context(OutputFile(json)) if json else None
        table = files.enter_context(IncidentFile(incidents, loaded, names)) if incidents else None

        def run(progress: Progress | None) -> Comparison:
            from shutoffsim.study.compare import compare as run_comparison

            return run_comparison(
                loaded,
                names,
                precision=share,
                histories=histories,
                seed=seed,
                engine=engine,
                workers=_workers(engine, workers),
                progress=progress,
                watch=table.add if table else None,
                cluster=cluster,
                store=store,
            )

        _compile_first()
        with _progress_bar() as progress, warnings.catch_warnings():
            warnings.simplefilter("ignore", PrecisionWarning)  # said in the output instead
            result = run(progress)
        if result_file:
            result_file.write(to_json(result).encode())
        if table:
            table.describe(result)
    print_comparison(make_console(), result, str(scenario), wanted=precision)


@app.command()
@_guarded
def pfd(
    scenario: ScenarioArgument,
    design: Annotated[
        str | None,
        typer.Option(
            help="The design. Default: the last of the file.", metavar="NAME", show_default=False
        ),
    ] = None,
    relative_error: Annotated[
        str,
        typer.Option(
            help="Run until the standard error of the probability is this share of it.",
            metavar="SHARE",
        ),
    ] = "5%",
    seed: SeedOption = 1,
    workers: WorkersOption = None,
    json: ResultOption = None,
) -> None:
    """Tell how often one design fails on demand, and why, also when that is rare."""
    from shutoffsim.report.demand import print_failure_on_demand
    from shutoffsim.report.files import OutputFile, check_apart, to_json
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    share = _read_share(relative_error, "--relative-error")
    loaded = load(scenario)
    name = _check_names(scenario, loaded, [design] if design is not None else None)[-1]
    check_apart({"SCENARIO": scenario}, {"--json": json})
    with ExitStack() as files:
        result_file = files.enter_context(OutputFile(json)) if json else None
        _compile_first()
        from shutoffsim.study.demand import failure_on_demand

        with _progress_bar() as progress:
            result = failure_on_demand(
                loaded,
                name,
                relative_error=share,
                seed=seed,
                workers=_workers("batch", workers),
                progress=progress,
            )
        if result_file:
            result_file.write(to_json(result).encode())
    print_failure_on_demand(make_console(), result)


@app.command()
@_guarded
def portfolio(
    scenario: ScenarioArgument,
    dwellings: Annotated[
        Path,
        typer.Argument(
            metavar="DWELLINGS",
            help="One row a dwelling (CSV or Parquet); docs/portfolio.md tells the columns.",
            show_default=False,
        ),
    ],
    design: Annotated[
        str | None,
        typer.Option(
            help="Design of the rows that name none. Default: the first of the file.",
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
    json: ResultOption = None,
    cluster: ClusterOption = None,
    store: StoreOption = None,
) -> None:
    """Estimate many dwellings at once, and how bad a year of all of them can be."""
    from shutoffsim.report.files import OutputFile, check_apart, to_json
    from shutoffsim.report.portfolio import RowFile, print_portfolio
    from shutoffsim.report.text import make_console
    from shutoffsim.scenario import load

    loaded = load(scenario)
    _check_names(scenario, loaded, [design] if design is not None else None)
    check_apart({"SCENARIO": scenario, "DWELLINGS": dwellings}, {"--out": out, "--json": json})
    with ExitStack() as files:
        result_file = files.enter_context(OutputFile(json)) if json else None
        rows = files.enter_context(RowFile(out)) if out else None
        _compile_first()
        from shutoffsim.study.portfolio import portfolio as run_portfolio

        with _progress_bar("dwellings") as progress:
            result = run_portfolio(
                loaded,
                dwellings,
                design=design,
                histories=histories,
                seed=seed,
                workers=_workers("batch", workers),
                region=region,
                out=rows.add if rows else _forget,
                progress=progress,
                cluster=cluster,
                store=store,
            )
        if result_file:
            result_file.write(to_json(result).encode())
    print_portfolio(make_console(), result, str(dwellings))
    raise typer.Exit(result.exit_code)


def _forget(_table: object) -> None:
    """Take rows that nobody asked for, so that they are not kept."""


@app.command()
@_guarded
def meter(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A household's record (CSV, may be gzipped); docs/meter.md tells the columns.",
            show_default=False,
        ),
    ],
    litres_per_pulse: Annotated[
        float | None,
        typer.Option(help="Water a pulse stands for.", metavar="LITRES", show_default=False),
    ] = None,
    gap: Annotated[
        list[str] | None,
        typer.Option(
            help="Pause that does not end a run; give it several times. Default: 0, 60, 300 s.",
            metavar="TIME",
            show_default=False,
        ),
    ] = None,
    time: Annotated[
        list[str] | None,
        typer.Option(
            help="Limit of a rule “longer than”; give it several times.",
            metavar="TIME",
            show_default=False,
        ),
    ] = None,
    volume: Annotated[
        list[str] | None,
        typer.Option(
            help="Limit of a rule “more than”; give it several times.",
            metavar="VOLUME",
            show_default=False,
        ),
    ] = None,
    slot: Annotated[
        str | None,
        typer.Option(help="Sampling interval. Default: found.", metavar="TIME", show_default=False),
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
            help="Recorded time, when you know it better.", metavar="TIME", show_default=False
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
    from shutoffsim.report.files import OutputFile, check_apart, to_json
    from shutoffsim.report.meter import print_meter
    from shutoffsim.report.text import make_console
    from shutoffsim.study import meter as study

    check_apart({"FILE": file}, {"--json": json})
    with ExitStack() as files:
        result_file = files.enter_context(OutputFile(json)) if json else None
        with _progress_bar("bytes") as progress:
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
        if result_file:
            result_file.write(to_json(result).encode())
    print_meter(make_console(), result)


@app.command()
@_guarded
def replay(
    scenario: ScenarioArgument,
    design: Annotated[
        str | None,
        typer.Option(
            help="The design. Default: the reference.", metavar="NAME", show_default=False
        ),
    ] = None,
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
            help="Look for an incident: the largest loss, or one in the middle. "
            "Default without a history: typical.",
            show_default=False,
        ),
    ] = None,
    seed: SeedOption = 1,
    all: Annotated[
        bool, typer.Option("--all", help="Show quiet events too, instead of counting them.")
    ] = False,
) -> None:
    """Tell one history, or one leak, event by event."""
    from shutoffsim.report.text import make_console
    from shutoffsim.report.timeline import print_replay
    from shutoffsim.scenario import load
    from shutoffsim.study.replay import replay as run_replay

    loaded = load(scenario)
    _check_names(scenario, loaded, [design] if design is not None else None)
    _compile_first()
    told = run_replay(loaded, design, history=history, probe=probe, pick=pick, seed=seed)
    print_replay(make_console(), told, everything=all)


@app.command()
@_guarded
def check(
    scenario: ScenarioArgument,
    design: Annotated[
        str | None,
        typer.Option(
            help="Only the values of this design. Default: the reference, and what differs.",
            metavar="NAME",
            show_default=False,
        ),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(help="Write the list to this file.", metavar="FILE", show_default=False),
    ] = None,
) -> None:
    """Check a scenario and list every value in use with where it comes from."""
    from shutoffsim.report.files import OutputFile, check_apart
    from shutoffsim.report.text import make_console
    from shutoffsim.report.values import print_values, used_values
    from shutoffsim.scenario import load

    loaded = load(scenario)
    _check_names(scenario, loaded, [design] if design is not None else None)
    check_apart({"SCENARIO": scenario}, {"--csv": csv})
    if csv:
        with OutputFile(csv) as file:
            file.write(used_values(loaded, design).to_csv(index=False).encode())
    print_values(make_console(), loaded, design)


@app.command()
@_guarded
def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The file to make.", show_default=False)
    ],
) -> None:
    """Write a first scenario to change."""
    from shutoffsim.report.files import OutputFile
    from shutoffsim.scenario import starter

    if file.exists() and not file.is_dir():
        raise OutputError(
            "there is such a file already",
            where=str(file),
            expected="the name of a new file",
            hint="choose another name, or remove it first",
        )
    with OutputFile(file) as output:
        output.write(starter().encode())
    typer.echo(f"wrote {file}; next: shutoffsim compare {file}")


def _read_share(text: str, option: str = "--precision") -> float:
    """Return a share written as 2%, 2 % or 0.02."""
    number, percent = text.strip(), 1.0
    if number.endswith("%"):
        number, percent = number[:-1].strip(), 100.0
    try:
        return float(number) / percent
    except ValueError:
        raise ModelError(
            f"{option} is not a share",
            found=text[:60],
            expected="a relative standard error such as 2% or 0.02",
            hint="write a decimal point, not a comma" if "," in number else None,
        ) from None


def _check_names(file: Path, scenario: Scenario, asked: list[str] | None) -> tuple[str, ...]:
    """Return the designs to run; complain of unknown or repeated ones with the file's name."""
    names = tuple(asked) if asked else scenario.designs
    for number, name in enumerate(names):
        try:
            scenario.design(name)
        except ScenarioError as error:
            problems = [replace(problem, where=str(file)) for problem in error.problems]
            raise ScenarioError(problems) from None
        if name in names[:number]:
            raise ModelError(
                "--design names the same design twice",
                where=str(file),
                found=f'"{name}"',
                expected="each design once",
            )
    return names


def _workers(engine: str, asked: int | None) -> int:
    if asked is not None:
        return asked
    if engine == "trace":
        return 1  # SimPy holds the interpreter: threads would only wait for each other
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _compile_first() -> None:
    """Say what the first run waits for, and wait where an interrupt gets through at once."""
    from shutoffsim.engine.run import needs_compiling

    if not needs_compiling():
        return
    typer.echo("compiling the model, about half a minute, once", err=True)
    compile_kernels()


def compile_kernels() -> None:
    """Compile everything that runs need, by running a tiny study."""
    from shutoffsim.scenario import loads, starter
    from shutoffsim.study.compare import compare as run_comparison
    from shutoffsim.study.replay import replay as run_replay

    scenario = loads(starter())
    run_comparison(scenario, histories=2)
    run_replay(scenario, scenario.designs[-1], history=0)


@contextmanager
def _progress_bar(what: str = "histories") -> Iterator[Progress | None]:
    """Yield what shows progress on a terminal, or None where nobody looks."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None)

        def show(done: int, planned: int) -> None:
            bar.update(task, completed=done, total=planned)

        yield show


def _stop(number: int, _frame: Any) -> NoReturn:
    sys.exit(128 + number)


def main() -> None:
    """Run the command line."""
    signal.signal(signal.SIGTERM, _stop)  # files that are half written get removed
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without our letters is no error
    try:
        app()
    except SystemExit as end:
        if end.code == INTERRUPTED:
            # Threads of the run may be at work still; nobody waits for them.
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(INTERRUPTED)
        raise
