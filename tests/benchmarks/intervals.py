"""How often the 95 % intervals hold the true value, over many runs with different seeds.

Each run is the public call with a seed of its own, to the default precision, so that it ends where
the adaptive rule ends it; its first histories are also taken as runs of a few fixed sizes. The true
value is the mean over all histories of all runs, whose own standard error is about a thirtieth of
that of a single run. That runs stop by what they have seen does not spoil it: by Wald's identity
the sum of the losses over the sum of the histories still tends to the mean.
"""

from __future__ import annotations

import math
import multiprocessing
import os
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from machine import SCENARIOS, compared

import shutoffsim
from shutoffsim.engine.run import Chunk
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import Tally, block_for
from shutoffsim.model import layout as L
from shutoffsim.study.pfd import failure_on_demand

RUNS = 1000
PRECISION = 0.02  # the default
DEMAND_ERROR = 0.05
SMALL = (64, 256, 1024)  # histories
STOP = "where the rule stops"
DAMAGE, DIFFERENCE, FAILURE, DEMAND = (
    "expected annual damage",
    "paired difference",
    "failure on demand",
    "failure on demand, by `pfd`",
)


class Report(NamedTuple):
    """An interval that a run reports."""

    sample: str
    quantity: str
    histories: int
    value: float
    low: float
    high: float


def run_compare(path: Path, seed: int) -> list[Report]:
    """Return what comparisons of two designs with this seed report, by their size.

    The run that ends where the rule ends it is the public call. Those of fixed sizes are sums over
    its first histories, which is what the call with ``histories`` gives (a test compares them).
    """
    scenario = shutoffsim.load(path)
    years = scenario.service_life / L.YEAR
    tallies = {size: Tally(2, years, block_for(size)) for size in SMALL}

    def watch(chunk: Chunk) -> None:
        for size, tally in tallies.items():
            if chunk.first < size:
                tally.add(_first_histories(chunk, size - chunk.first))

    result = shutoffsim.compare(
        scenario, compared(scenario)[:2], precision=PRECISION, seed=seed, watch=watch
    )
    reports: list[Report] = []
    for name, tally in [*((str(size), tally) for size, tally in tallies.items()), (STOP, None)]:
        if tally is None:
            design, n = result.designs[1], result.histories
            found = (
                design.expected_annual_damage,
                result.differences[0].expected_annual_damage,
                design.probability_of_failure_on_demand,
            )
        else:
            n = tally.n
            found = (
                tally.mean(1, T.LOSS, 0.0),
                tally.difference(1, T.LOSS),
                tally.share(1, T.FAILED),
            )
        for quantity, e in zip((DAMAGE, DIFFERENCE, FAILURE), found, strict=True):
            reports.append(Report(name, quantity, n, e.value, e.low, e.high))
    return reports


def _first_histories(chunk: Chunk, n: int) -> Chunk:
    natural = chunk.natural[chunk.natural["history"] < chunk.first + n]
    return Chunk(chunk.first, chunk.rows[:, :n], natural, chunk.summary[:, :n])


def run_demand(path: Path, seed: int) -> list[Report]:
    """Return what the study of one design's failures on demand reports."""
    scenario = shutoffsim.load(path)
    found = failure_on_demand(
        scenario, compared(scenario).best, relative_error=DEMAND_ERROR, seed=seed
    )
    e = found.probability
    return [Report(STOP, DEMAND, found.histories, e.value, e.low, e.high)]


def true_value(reports: list[Report]) -> tuple[float, float]:
    """Return the mean over all histories of all runs, and its standard error."""
    histories = np.array([report.histories for report in reports], float)
    values = np.array([report.value for report in reports])
    mean = float((histories * values).sum() / histories.sum())
    residuals = histories * (values - mean)
    return mean, float(math.sqrt((residuals**2).sum()) / histories.sum())


def cover(reports: list[Report], truth: float) -> dict[str, float]:
    """Return how many of these intervals hold ``truth``, and how the others miss it."""
    low = np.array([report.low for report in reports])
    high = np.array([report.high for report in reports])
    runs = len(reports)
    held = float(((low <= truth) & (truth <= high)).mean())
    return {
        "runs": runs,
        "histories": float(np.mean([report.histories for report in reports])),
        "coverage": held,
        "coverage_error": math.sqrt(held * (1.0 - held) / runs),
        "too_high": float((low > truth).mean()),
        "too_low": float((high < truth).mean()),
        "half_width": float(np.mean(high - low) / 2.0 / abs(truth)),
    }


def summarise(scenario: str, reports: list[Report]) -> list[dict[str, Any]]:
    """Return a row per quantity and sample; the true value comes from the largest samples."""
    rows = []
    for quantity in dict.fromkeys(report.quantity for report in reports):
        of_it = [report for report in reports if report.quantity == quantity]
        truth, error = true_value([report for report in of_it if report.sample == STOP])
        for sample in dict.fromkeys(report.sample for report in of_it):
            found = cover([report for report in of_it if report.sample == sample], truth)
            row = {"scenario": scenario, "quantity": quantity, "sample": sample, **found}
            rows.append({**row, "truth": truth, "truth_error": error / abs(truth)})
    return rows


def measure(quick: bool = False, demand: bool = False) -> list[dict[str, Any]]:
    """Return coverage over runs; with ``demand`` of the study of failures on demand instead."""
    runs = 12 if quick else RUNS
    run = run_demand if demand else run_compare
    rows = []
    fresh = multiprocessing.get_context("spawn")  # compiled code and forks do not mix well
    with ProcessPoolExecutor(os.cpu_count(), fresh) as pool:
        for path in SCENARIOS:
            run(path, 1)  # compiled before the others look for the code
            jobs = pool.map(run, [path] * runs, range(1, runs + 1), chunksize=4)
            reports = [report for found in jobs for report in found]
            rows += summarise(shutoffsim.load(path).name, reports)
    return rows
