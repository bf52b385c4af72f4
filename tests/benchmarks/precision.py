"""How long until the standard error is 1 %: the program, and plain simulation in SimPy.

Nobody waits for the plain programs. The time to a precision is (time of one history) x (variance
of one history) / (wanted standard error)^2, and both factors are known after a moderate run. Times
are processor times, the least of several runs.

Two plain programs are measured. The *same model* is the program's own trace engine without probes:
SimPy keeps the time, leaks come by themselves and are counted. Its variance is that of the leaks
that come by themselves in the batch engine, whose histories are the same to the last bit. The
*ordinary program* is ``plain.py``, a smaller system written by hand, measured against the program
on a scenario of that same system.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import plain
from machine import SCENARIOS, compared, least_time
from plain_scenario import DESIGNS, scenario_text

import shutoffsim
from shutoffsim.engine.run import PROBES, Setup, run_chunk, run_chunks
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import Tally

PRECISION = 0.01
#: Further apart than this many standard errors, two programs do not simulate the same thing.
TOLERANCE = 4.5


@dataclass(frozen=True)
class Size:
    """How hard to work."""

    parts: int = 8  # independent parts, for the error of a variance
    probed: int = 2048  # histories a part, with probes
    counted: int = 16384  # histories a part, without
    timed: int = 1024  # histories in a timed run
    traced: int = 32  # the same, of the trace engine
    lives: int = 3000  # a part and design, of the ordinary program
    repeats: int = 5


QUICK = Size(parts=4, probed=256, counted=1024, timed=128, traced=4, lives=300, repeats=1)


@dataclass(frozen=True)
class Effort:
    """What an estimate costs.

    Attributes
    ----------
    seconds : float
        Processor time of one history of all designs that the estimate needs.
    mean, variance : float
        Of one history.
    error : float
        Relative standard error of the variance.
    """

    seconds: float
    mean: float
    variance: float
    error: float

    def time_to(self, precision: float, mean: float) -> float:
        """Return the time [s] until the standard error is this share of ``mean``."""
        return self.seconds * self.variance / (precision * mean) ** 2


def efforts_ratio(slow: Effort, fast: Effort) -> tuple[float, float]:
    """Return by how much the time of ``slow`` exceeds that of ``fast``, and its standard error."""
    ratio = slow.time_to(PRECISION, fast.mean) / fast.time_to(PRECISION, fast.mean)
    return ratio, ratio * math.hypot(slow.error, fast.error)


def variance_of(estimates: Sequence[tuple[float, float, int]]) -> tuple[float, float, float]:
    """Return mean, variance of one history and its relative error.

    ``estimates`` are (value, standard error, histories) of independent parts.
    """
    values, errors, counts = np.array(estimates, float).T
    variances = errors**2 * counts
    spread = variances.std(ddof=1) / math.sqrt(len(variances))
    return float(values.mean()), float(variances.mean()), float(spread / variances.mean())


def estimate_of(tally: Tally, design: int, figure: int, paired: bool) -> tuple[float, float, int]:
    """Return value, standard error and histories of a mean, or of its difference to design 0."""
    found = tally.difference(design, figure) if paired else tally.mean(design, figure)
    return found.value, found.std_error, tally.n


def tallies(params: Any, years: float, probes: int, parts: int, histories: int) -> list[Tally]:
    """Return the sums of so many independent parts."""
    out = []
    setup = Setup.of(params, 1, probes=probes)
    for part in range(parts):
        tally = Tally(len(params), years)
        for chunk in run_chunks(setup, part * histories, (part + 1) * histories):
            tally.add(chunk)
        out.append(tally)
    return out


def with_probes(params: Any, years: float, paired: bool, size: Size) -> Effort:
    """Return the program's effort for the last design of ``params``."""
    setup = Setup.of(params, 1)
    last = len(params) - 1

    def run() -> None:
        tally = Tally(len(params), years)
        for chunk in run_chunks(setup, 0, size.timed):
            tally.add(chunk)

    run()
    seconds = least_time(run, size.repeats) / size.timed
    parts = tallies(params, years, PROBES, size.parts, size.probed)
    found = [estimate_of(tally, last, T.LOSS, paired) for tally in parts]
    return Effort(seconds, *variance_of(found))


def same_model(params: Any, design: int, paired: bool, counted: list[Tally], size: Size) -> Effort:
    """Return the effort of the same model on SimPy, with the leaks that come by themselves."""
    chosen = params[[0, design]] if paired else params[[design]]
    setup = Setup.of(chosen, 1, "trace", probes=0)
    run_chunk(setup, 0, 1)
    seconds = least_time(lambda: run_chunk(setup, 0, size.traced), size.repeats) / size.traced
    found = [estimate_of(tally, design, T.NATURAL_LOSS, paired) for tally in counted]
    return Effort(seconds, *variance_of(found))


def measure_scenarios(size: Size) -> list[dict[str, Any]]:
    """Return the ratios to the same model on SimPy, for the scenarios that come along."""
    rows = []
    for path in SCENARIOS:
        scenario = shutoffsim.load(path)
        years = scenario.service_life / plain.YEAR
        names = list(compared(scenario))
        params = scenario.parameters(names)
        counted = tallies(params, years, 1, size.parts, size.counted)
        for design, paired in ((1, False), (2, False), (1, True)):
            chosen = params[[0, design]] if paired else params[[design]]
            fast = with_probes(chosen, years, paired, size)
            slow = same_model(params, design, paired, counted, size)
            rows.append(_row(scenario.name, names[design], paired, slow, fast))
    return rows


def measure_ordinary(size: Size) -> list[dict[str, Any]]:
    """Return the ratios to the ordinary SimPy program, for its smaller system."""
    system = plain.System()
    scenario = shutoffsim.loads(scenario_text(system))
    years = system.life / plain.YEAR
    params = scenario.parameters(DESIGNS)
    slow: list[Effort] = []
    for automation in (False, True):
        parts = []

        def run(automation: bool = automation, parts: list[Any] = parts) -> None:
            losses = plain.simulate(system, automation, size.lives, seed=len(parts) + 1)
            error = np.std(losses, ddof=1) / math.sqrt(size.lives)
            parts.append((float(np.mean(losses)), float(error), size.lives))

        seconds = [least_time(run, 1) / size.lives for _ in range(size.parts)]
        slow.append(Effort(min(seconds), *variance_of(parts)))
    one = with_probes(params[[1]], years, False, size)
    pair = with_probes(params, years, True, size)
    without, with_it = slow
    variance = without.variance + with_it.variance
    parts_error = math.hypot(without.variance * without.error, with_it.variance * with_it.error)
    apart = Effort(
        without.seconds + with_it.seconds,
        with_it.mean - without.mean,
        variance,
        parts_error / variance,
    )
    rows = []
    for paired, plain_effort, ours in ((False, with_it, one), (True, apart, pair)):
        check_same(plain_effort, ours, size)
        rows.append(_row("reduced system", DESIGNS[1], paired, plain_effort, ours))
    return rows


def check_same(slow: Effort, fast: Effort, size: Size) -> None:
    """Stop when the ordinary program's answer is another one: its time would mean nothing."""
    lives, histories = size.parts * size.lives, size.parts * size.probed
    error = math.sqrt(slow.variance / lives + fast.variance / histories)
    if abs(slow.mean - fast.mean) > TOLERANCE * error:
        raise SystemExit(
            f"the ordinary program finds {slow.mean:.4g} a year, the scenario of the same system "
            f"{fast.mean:.4g}, joint standard error {error:.2g}: not the same system"
        )


def _row(scenario: str, design: str, paired: bool, slow: Effort, fast: Effort) -> dict[str, Any]:
    ratio, error = efforts_ratio(slow, fast)
    return {
        "scenario": scenario,
        "quantity": f"{design}, difference" if paired else design,
        "ratio": ratio,
        "ratio_error": error,
        "work_ratio": slow.seconds / fast.seconds,
        "variance_ratio": slow.variance / fast.variance,
        "seconds": fast.time_to(PRECISION, fast.mean),
        "plain_seconds": slow.time_to(PRECISION, fast.mean),
        "history_seconds": fast.seconds,
        "plain_history_seconds": slow.seconds,
    }


def measure(quick: bool = False) -> dict[str, Any]:
    """Return all ratios of times to 1 %."""
    size = QUICK if quick else Size()
    return {"scenarios": measure_scenarios(size), "ordinary": measure_ordinary(size)}
