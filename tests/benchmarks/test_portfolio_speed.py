"""Speed and memory of portfolios: ``pytest tests/benchmarks -m benchmark -s``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from dwellings import write_dwellings

pytestmark = pytest.mark.benchmark

ROOT = Path(__file__).parents[2]

SCRIPT = """
import resource, sys, time, shutoffsim
from shutoffsim.report.portfolio import RowFile
from shutoffsim.study.portfolio import portfolio

scenario = shutoffsim.load("scenarios/reference_us_house.toml")
table, rows, workers = sys.argv[1], sys.argv[2], int(sys.argv[3])
portfolio(scenario, sys.argv[4], histories=2)
begin = time.perf_counter()
with RowFile(rows) as file:
    result = portfolio(scenario, table, workers=workers, out=file.add)
spent = time.perf_counter() - begin
print(result.dwellings, spent, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def _measure(folder: Path, count: int, workers: int) -> tuple[float, float]:
    """Return dwellings a second and peak memory [MB] of a run in a process of its own."""
    table, small = folder / f"{count}.csv", folder / "small.csv"
    write_dwellings(table, count)
    write_dwellings(small, 2)
    out = subprocess.run(
        [
            sys.executable,
            "-c",
            SCRIPT,
            str(table),
            str(folder / "rows.parquet"),
            str(workers),
            str(small),
        ],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    ).stdout.split()
    assert int(out[0]) == count
    speed, peak = count / float(out[1]), float(out[2])
    print(
        f"\n{count:,} dwellings, {workers} workers: {float(out[1]):.0f} s, "
        f"{speed:.0f} a second, {peak:.0f} MB"
    )
    return speed, peak


def test_a_hundred_thousand_dwellings_in_bounded_memory(tmp_path: Path) -> None:
    """Goal: within minutes on two cores, and no more memory than a few thousand take."""
    _, small = _measure(tmp_path, 2_000, workers=2)
    speed, peak = _measure(tmp_path, 100_000, workers=2)
    assert peak < small + 150.0
    assert peak < 600.0
    assert speed > 100.0


def test_a_second_worker_helps(tmp_path: Path) -> None:
    one, _ = _measure(tmp_path, 2_000, workers=1)
    two, _ = _measure(tmp_path, 2_000, workers=2)
    assert two > 1.2 * one
