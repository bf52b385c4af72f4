"""Whole runs: workers, start-up, memory, portfolios. Each run has a process of its own."""

from __future__ import annotations

import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
from draws import RAW
from dwellings import write_dwellings
from floor import draw_all
from machine import PEAK, REFERENCE, ROOT, SCENARIOS, compared, run_program, run_script

import shutoffsim
from shutoffsim.engine.run import PROBES, Setup, run_chunks

HOUSE = ROOT / "scenarios" / "reference_us_house.toml"
YEARS = 10  # service life of a history in the scenarios used here

_MEMORY = (
    PEAK
    + """
import shutoffsim
from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.estimate.tally import Tally

scenario = shutoffsim.load(sys.argv[1])
setup = Setup.of(scenario.parameters([sys.argv[2]]), 1, probes=int(sys.argv[3]))
tally = Tally(1, 10.0)
for chunk in run_chunks(setup, 0, int(sys.argv[4]), workers=int(sys.argv[5])):
    tally.add(chunk)
print(json.dumps([tally.n, peak()]))
"""
)

_PORTFOLIO = (
    PEAK
    + """
import time, shutoffsim
from shutoffsim.report.table_file import TableFile
from shutoffsim.study.portfolio import portfolio

scenario = shutoffsim.load(sys.argv[1])
portfolio(scenario, sys.argv[2], histories=2)
begin, cpu = time.perf_counter(), time.process_time()
with TableFile(sys.argv[4]) as file:
    result = portfolio(scenario, sys.argv[3], workers=int(sys.argv[5]), out=file.add)
spent = [time.perf_counter() - begin, time.process_time() - cpu]
print(json.dumps([result.dwellings, *spent, peak()]))
"""
)


def measure_workers(quick: bool = False) -> list[dict[str, Any]]:
    """Return wall times with one worker and with two, the least of runs taken in turn.

    Beside them the same ratio of a bare compiled loop, which is what the machine had to give at
    the time: other work on it takes from both.
    """
    histories, turns = (512, 2) if quick else (8192, 9)
    rows = []
    for path in SCENARIOS:
        scenario = shutoffsim.load(path)
        setup = Setup.of(scenario.parameters(compared(scenario)[:2]), 1)
        found = {}
        for name, work in (("", _run_through), ("bare_", _draw_through)):
            best = {1: float("inf"), 2: float("inf")}
            for _ in range(turns):
                for workers in best:
                    begin = time.perf_counter()
                    work(setup, histories, workers)
                    best[workers] = min(best[workers], time.perf_counter() - begin)
            found[f"{name}one_seconds"], found[f"{name}two_seconds"] = best[1], best[2]
            found[f"{name}ratio"] = best[1] / best[2]
        rows.append({"scenario": scenario.name, **found})
    return rows


def _run_through(setup: Setup, histories: int, workers: int) -> None:
    for _ in run_chunks(setup, 0, histories, workers):
        pass


def _draw_through(_setup: Setup, histories: int, workers: int) -> None:
    """Draw as many numbers in threads as so many histories roughly need."""
    variates = np.full((128, 4), RAW)
    with ThreadPoolExecutor(workers) as pool:
        jobs = [pool.submit(draw_all, variates, np.uint64(1), 64) for _ in range(histories // 4)]
        for job in jobs:
            job.result()


def measure_start(quick: bool = False) -> list[dict[str, Any]]:
    """Return processor and wall time of the program's first and later runs."""
    path = SCENARIOS[-1]
    six = shutoffsim.load(path).designs[:6]
    compare = ["compare", str(path), *(word for name in six for word in ("--design", name))]
    repeats = 1 if quick else 5
    rows = []
    with tempfile.TemporaryDirectory() as cache:
        steps = (
            ("--help", ["--help"], repeats),
            ("compare six designs to 2 %, first run: compiles", compare, 1),
            ("compare six designs to 2 %, later runs", compare, repeats),
        )
        for name, words, times in steps:
            runs = [run_program(*words, SHUTOFFSIM_CACHE=cache) for _ in range(times)]
            rows.append(
                {
                    "run": name,
                    "cpu_seconds": min(cpu for cpu, _ in runs),
                    "wall_seconds": min(wall for _, wall in runs),
                }
            )
    return rows


def measure_memory(quick: bool = False, long: bool = False) -> list[dict[str, Any]]:
    """Return the peak memory [MB] by the number of dwelling-years.

    One design, one probe a history for the largest number, which would else take hours; memory for
    probes is that of a chunk and does not depend on how many chunks there are.
    """
    sizes = [(10**4, PROBES), (10**5 if quick else 10**6, PROBES)]
    if long:
        sizes.append((10**8, 1))
    return [memory_row(dwelling_years, probes) for dwelling_years, probes in sizes]


def memory_row(dwelling_years: int, probes: int) -> dict[str, Any]:
    """Return the peak memory [MB] of one run."""
    histories = dwelling_years // YEARS
    done, peak = run_script(_MEMORY, SCENARIOS[0], REFERENCE, probes, histories, 2)
    return {"dwelling_years": done * YEARS, "probes": probes, "peak_mb": peak}


def measure_portfolio(quick: bool = False, long: bool = False) -> list[dict[str, Any]]:
    """Return dwellings a second and peak memory [MB] of portfolios, with one worker and two."""
    runs = [(200, 1), (200, 2)] if quick else [(2_000, 1), (2_000, 2)]
    if long:
        runs.append((100_000, 2))
    return [portfolio_row(count, workers) for count, workers in runs]


def portfolio_row(count: int, workers: int) -> dict[str, Any]:
    """Return times and peak memory of one portfolio; a portfolio of two warms up."""
    with tempfile.TemporaryDirectory() as name:
        small, table = Path(name, "small.csv"), Path(name, "dwellings.csv")
        write_dwellings(small, 2)
        write_dwellings(table, count)
        out = Path(name, "rows.parquet")
        done, wall, cpu, peak = run_script(_PORTFOLIO, HOUSE, small, table, out, workers)
    return {
        "dwellings": done,
        "workers": workers,
        "wall_seconds": wall,
        "cpu_seconds": cpu,
        "per_second": done / wall,
        "peak_mb": peak,
    }
