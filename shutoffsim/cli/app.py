"""What every command stands on: the application, its messages, progress and interrupts."""

from __future__ import annotations

import contextlib
import errno
import functools
import gc
import os
import signal
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ParamSpec

import typer

from shutoffsim.errors import (
    EXIT_BAD_INPUT,
    ModelError,
    OutputError,
    ScenarioError,
    ShutoffError,
)
from shutoffsim.version import __version__

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario
    from shutoffsim.study.options import Progress

# Loading modules makes many objects that stay: looking through them again and again is in vain.
_FEW_COLLECTIONS = 500_000
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
INTERRUPTED = 130  # 128 + the number of the signal, as shells count

app = typer.Typer(
    name="shutoffsim",
    help="Will an automated main stop valve close when it must, and what is that worth?",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

P = ParamSpec("P")


def guarded(command: Callable[P, None]) -> Callable[P, None]:
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


def read_share(text: str, option: str = "--precision") -> float:
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


def read_periods(text: str | None) -> tuple[float, ...] | None:
    """Return return periods written as 20,200; None where none are written."""
    if text is None:
        return None
    from shutoffsim.study.periods import checked_periods

    try:
        numbers = [float(part) for part in text.split(",")]
    except ValueError:
        raise ModelError(
            "--return-periods is not a list of numbers",
            found=text[:60] or "nothing",
            expected="years with commas between them, such as 20,200",
            hint="leave out the unit: they are years" if "y" in text else None,
        ) from None
    return checked_periods(numbers)


def check_names(file: Path, scenario: Scenario, asked: list[str] | None) -> tuple[str, ...]:
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


def default_workers(asked: int | None, engine: str = "batch") -> int:
    """Return how many threads to use: as asked, else one a core."""
    if asked is not None:
        return asked
    if engine == "trace":
        return 1  # SimPy holds the interpreter: threads would only wait for each other
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def compile_first() -> None:
    """Say what the first run waits for, and wait where an interrupt gets through at once."""
    from shutoffsim.engine.run import needs_compiling, why_not_stored

    if not needs_compiling():
        return
    reason = why_not_stored()
    often = f"in every run, as it cannot be kept: {reason}" if reason else "once"
    typer.echo(f"compiling the model, about half a minute, {often}", err=True)
    compile_kernels()
    stop_if_asked()


def compile_kernels() -> None:
    """Compile everything that runs need, by running a tiny study."""
    from shutoffsim.scenario import loads, starter
    from shutoffsim.study.compare import compare as run_comparison
    from shutoffsim.study.replay import replay as run_replay

    scenario = loads(starter())
    run_comparison(scenario, histories=2)
    run_replay(scenario, scenario.designs[-1], history=0)


@contextlib.contextmanager
def result_file(path: Path | None) -> Iterator[Callable[[Any], None]]:
    """Yield what writes a result as JSON to ``path``, or does nothing without one.

    The place is checked on entry, before the work starts.
    """
    from shutoffsim.report.files import OutputFile, to_json

    if path is None:
        yield lambda _result: None
        return
    with OutputFile(path, (".json",)) as file:

        def write(result: Any) -> None:
            file.write(to_json(result).encode())

        yield write


@contextlib.contextmanager
def progress_bar(what: str = "histories") -> Iterator[Progress]:
    """Yield what shows progress, where somebody looks, and stops when that was asked for."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda _done, _planned: stop_if_asked()
        return
    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None)

        def show(done: int, planned: int) -> None:
            stop_if_asked()
            bar.update(task, completed=done, total=planned)

        yield show


_asked: list[int] = []  # signals to stop that have come in


def listen() -> None:
    """Let signals stop the program in an orderly way: files that are half written get removed."""
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _hear)
    sys.unraisablehook = _pass_over


def _pass_over(lost: sys.UnraisableHookArgs) -> None:
    """Report what was raised where nothing can be, unless it is a stop that is heard later."""
    if not (_asked and issubclass(lost.exc_type, (KeyboardInterrupt, SystemExit))):
        sys.__unraisablehook__(lost)


def _hear(number: int, _frame: Any) -> None:
    _asked.append(number)
    stop_if_asked()


def stop_if_asked() -> None:
    """Stop when a signal came in; what it raised may have been lost on the way.

    What is raised in a callback from a compiler, in a finaliser, or in a module that catches all
    while it is loaded goes no further. So work looks here from time to time.
    """
    if _asked:
        if _asked[0] == signal.SIGINT:
            raise KeyboardInterrupt
        sys.exit(128 + _asked[0])


def _tell_refusal(error: OSError) -> None:
    """Say what the system refused to do."""
    told = OutputError(
        "the output cannot be written" if error.filename is None else "the system refuses this",
        where="standard output" if error.filename is None else str(error.filename),
        found=(error.strerror or str(error)).lower(),
        expected="a place that has room" if error.errno in _FULL else None,
    )
    with contextlib.suppress(OSError, ValueError):
        typer.echo(str(told), err=True)
    _drop_output()


def _drop_output() -> None:
    """Let what waits to be written go nowhere, so that nobody complains at the end."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            os.dup2(nowhere, stream.fileno())


def main() -> None:
    """Run the command line."""
    gc.set_threshold(_FEW_COLLECTIONS)
    listen()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without our letters is no error
    try:
        try:
            app()
        finally:
            if sys.stdout is not None:
                sys.stdout.flush()  # here a full disk can still be told
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            _drop_output()
            raise SystemExit(1) from None  # nobody reads on, as the library behind app() has it
        _tell_refusal(error)
        raise SystemExit(EXIT_BAD_INPUT) from None
    except SystemExit as end:
        if end.code == INTERRUPTED:
            # Threads of the run may be at work still; nobody waits for them.
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(INTERRUPTED)
        gc.freeze()  # nor is it worth a look through all modules at the end
        raise
