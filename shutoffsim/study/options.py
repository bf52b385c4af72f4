"""What all runs of histories are asked for with: checked once, complained of in one wording."""

from __future__ import annotations

import operator
from dataclasses import dataclass

from shutoffsim.errors import ModelError
from shutoffsim.records.files import Progress

__all__ = ["Progress", "RunOptions", "check_count", "check_seed"]

MOST_SEEDS = 2**64
MOST_WORKERS = 1024
MOST_HISTORIES = 100_000_000
ENGINES = ("batch", "trace")
_FINEST, _COARSEST = 1e-5, 1.0  # relative standard errors


@dataclass(frozen=True)
class RunOptions:
    """Seed, threads and length of a run.

    Attributes
    ----------
    seed : int
        0 to 2**64 - 1.
    workers : int
        Threads, 1 to 1024; they never change a result.
    histories : int or None
        Run exactly so many.
    precision : float or None
        Or else until a relative standard error is reached.
    least_histories, most_histories : int
        What ``histories`` may be here.
    precision_name : str
        What ``precision`` is called where it is asked for.
    engine : str
        "batch" or "trace".

    Raises
    ------
    ModelError
        A number is out of range.
    """

    seed: int = 1
    workers: int = 1
    histories: int | None = None
    precision: float | None = None
    least_histories: int = 1
    most_histories: int = MOST_HISTORIES
    precision_name: str = "precision"
    engine: str = "batch"

    def __post_init__(self) -> None:
        if self.engine not in ENGINES:
            raise ModelError(
                "there is no such engine", found=str(self.engine)[:60], expected="batch or trace"
            )
        if self.histories is not None:
            check_count("histories", self.histories, self.least_histories, self.most_histories)
        elif self.precision is not None and not _FINEST <= self.precision < _COARSEST:
            raise ModelError(
                f"{self.precision_name} is out of range",
                found=str(self.precision)[:60],
                expected="a relative standard error from 0.001 % to below 100 %",
            )
        check_seed(self.seed)
        check_count("workers", self.workers, 1, MOST_WORKERS)


def check_seed(seed: int) -> None:
    """Check a seed alone, where there is nothing else to run with."""
    check_count("seed", seed, 0, MOST_SEEDS - 1, "0 to 2**64 - 1")


def check_count(name: str, value: int, least: int, most: int, words: str | None = None) -> None:
    """Check a whole number.

    Raises
    ------
    ModelError
        It is none, or not from ``least`` to ``most``.
    """
    expected = words or f"{least:,} to {most:,}"
    try:
        whole = operator.index(value)
    except TypeError:
        raise ModelError(
            f"{name} is not a whole number", found=str(value)[:60], expected=expected
        ) from None
    if not least <= whole <= most:
        raise ModelError(f"{name} is out of range", found=str(value)[:60], expected=expected)
