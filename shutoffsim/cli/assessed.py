"""Where pages take their result from: a scenario that is simulated, or a saved folder."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from shutoffsim.cli.app import (
    check_names,
    compile_first,
    default_workers,
    progress_bar,
    read_periods,
    read_share,
)
from shutoffsim.cli.options import WORLDS
from shutoffsim.errors import ModelError

if TYPE_CHECKING:
    from shutoffsim.study.assessment.result import Assessment

PRECISION, SEED = "2%", 1

SourceArgument = Annotated[
    Path,
    typer.Argument(
        metavar="SCENARIO|FOLDER",
        help="A scenario file (TOML), or a folder saved earlier: nothing is simulated then.",
        show_default=False,
    ),
]
PrecisionOption = Annotated[
    str | None,
    typer.Option(
        help="Run until the standard error of each expected annual damage is this share of it. "
        f"Default: {PRECISION}.",
        metavar="SHARE",
        show_default=False,
    ),
]
ChosenSeedOption = Annotated[
    int | None,
    typer.Option(
        help=f"The same seed and inputs always give the same result. Default: {SEED}.",
        metavar="NUMBER",
        show_default=False,
    ),
]


@dataclass(frozen=True)
class Wish:
    """What was asked for on the command line; None: not given.

    Parameters
    ----------
    design, precision, periods : str or None
    histories, seed, workers : int or None
    """

    design: str | None = None
    precision: str | None = None
    histories: int | None = None
    seed: int | None = None
    workers: int | None = None
    periods: str | None = None


def output_stem(source: Path) -> str:
    """Return the name of a scenario file without its end, or of a folder."""
    name = source.resolve().name
    return name if source.is_dir() else Path(name).stem


def find_assessment(source: Path, wish: Wish, *, sensitivity: bool = True) -> Assessment:
    """Return the assessment of a scenario file, or the one saved in a folder.

    Parameters
    ----------
    source : pathlib.Path
    wish : Wish
    sensitivity : bool
        Whether assumptions are varied as well, when something is simulated.

    Raises
    ------
    ShutoffError
        When it cannot be had; an option that needs a simulation does not go with a folder.
    """
    if source.is_dir():
        return _read(source, wish)
    return _simulate(source, wish, sensitivity)


def _read(folder: Path, wish: Wish) -> Assessment:
    from shutoffsim.report.archive import load_assessment

    given = {
        "--precision": wish.precision,
        "--histories": wish.histories,
        "--seed": wish.seed,
        "--return-periods": wish.periods,
    }
    for option, value in given.items():
        if value is not None:
            raise ModelError(
                f"{option} does not go with a saved result, which is not simulated again",
                where=str(folder),
                found=f"{option} {value}",
                expected="a folder alone, or a scenario file with this option",
            )
    found = load_assessment(folder)
    return replace(found, chosen=found.design(wish.design or found.chosen).name)


def _simulate(source: Path, wish: Wish, sensitivity: bool) -> Assessment:
    from shutoffsim.scenario import load

    periods = read_periods(wish.periods)
    share = None if wish.histories is not None else read_share(wish.precision or PRECISION)
    loaded = load(source)
    if wish.design is not None:
        check_names(source, loaded, [wish.design])
    compile_first()
    from shutoffsim.study.assessment.assess import SWING_HISTORIES, assess

    with progress_bar() as progress:
        return assess(
            loaded,
            chosen=wish.design,
            precision=share,
            histories=wish.histories,
            worlds=WORLDS if wish.histories is None else 0,
            seed=SEED if wish.seed is None else wish.seed,
            workers=default_workers(wish.workers),
            progress=progress,
            where=str(source),
            swing_histories=SWING_HISTORIES if sensitivity else 0,
            return_periods=periods,
        )
