"""Rare failures with exact answers: how long the study of one design takes to find them.

Each family is one part that fails, in a dwelling where nothing else can, and comes at three levels.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import Any, NamedTuple

from checks import perfect
from scipy import optimize, stats
from test_demand import battery, sensors
from test_exact import TEST_INTERVAL, detected_failures, mean_survival

from shutoffsim.study.pfd import failure_on_demand

ERROR = 0.05  # wanted standard error over value
LEVELS = (1e-3, 1e-4, 1e-5)
SEEDS = 5
REPAIR = 8.0  # h


class Rare(NamedTuple):
    """Changes to the perfect system, and the exact probability of failure on demand."""

    changes: str
    exact: float


def dormant(level: float) -> Rare:
    """Failures found by a yearly test: 1 - (1 - e^-x) / x, x = rate times interval."""
    x = optimize.brentq(lambda x: 1.0 - mean_survival(x) - level, 1e-9, 1.0, xtol=1e-15)
    changes = f"""
    actuator.failure_rate = "{x / TEST_INTERVAL!r} per h"
    exercise.interval = "{TEST_INTERVAL} h"
    """
    return Rare(changes, 1.0 - mean_survival(x))


def shown(level: float) -> Rare:
    """Failures that show at once and take 8 h to repair."""
    case = detected_failures(level / (1.0 - level) / REPAIR, REPAIR)
    return Rare(case.changes, case.expected)


def stiff(level: float) -> Rare:
    """A log-normal breakaway torque above the stall torque of 10 N*m: one normal probability."""
    spread = 0.35
    median = 10.0 * math.exp(-spread * float(stats.norm.isf(level)))
    changes = f"""
    valve.breakaway = {{median = "{median!r} N*m", spread = {math.exp(spread)!r}}}
    """
    return Rare(changes, level)


def pair(level: float) -> Rare:
    """Two sensors, tested once a year, of which one would do: both are dead."""
    yearly = optimize.brentq(lambda x: sensors(2, x).exact - level, 1e-4, 1.0, xtol=1e-15)
    case = sensors(2, yearly)
    return Rare(case.changes, case.exact)


def dark(level: float) -> Rare:
    """A battery that nobody looks after is dead, in one of four outages of 10 h a year."""
    years = optimize.brentq(lambda x: battery(x, 4.0, 10.0).exact - level, 1.0, 1e6, xtol=1e-9)
    case = battery(years, 4.0, 10.0)
    return Rare(case.changes, case.exact)


FAMILIES: dict[str, Callable[[float], Rare]] = {
    "dormant failures, tested yearly": dormant,
    "failures that show, repaired in 8 h": shown,
    "valve stiffer than the actuator is strong": stiff,
    "both sensors of a pair dead, tested yearly": pair,
    "battery dead when mains fail": dark,
}


def measure(quick: bool = False) -> list[dict[str, Any]]:
    """Return what was found, how far from the exact answer, and how long it took."""
    rows = []
    for family, make in FAMILIES.items():
        for level in LEVELS[:1] if quick else LEVELS:
            case = make(level)
            scenario = perfect(case.changes)
            failure_on_demand(scenario, "0", relative_error=0.5, most=64)
            runs, seconds = [], []
            for seed in range(1, 2 if quick else 1 + SEEDS):
                begin = time.process_time()
                runs.append(failure_on_demand(scenario, "0", relative_error=ERROR, seed=seed))
                seconds.append(time.process_time() - begin)
            first = runs[0].probability
            rows.append(
                {
                    "family": family,
                    "exact": case.exact,
                    "found": first.value,
                    "std_error": first.std_error,
                    "histories": runs[0].histories,
                    "seconds": max(seconds),
                    "reached": all(run.reached for run in runs),
                    "worst": max(
                        abs(run.probability.value - case.exact) / run.probability.std_error
                        for run in runs
                    ),
                }
            )
    return rows
