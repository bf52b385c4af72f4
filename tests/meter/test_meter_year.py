"""A year at 1 s in bounded memory: ``pytest tests/meter -m benchmark -s``."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from meter_records import flows, write

CODE = """
import json, sys, time
from shutoffsim.study.meter import analyse_meter
begin = time.perf_counter()
report = analyse_meter(sys.argv[1])
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(json.dumps({
    "seconds": time.perf_counter() - begin,
    "peak_mb": int(peak.split()[1]) / 1024,
    "rows": report.used_rows, "litres": report.litres, "days": report.covered_days,
    "runs": report.distribution["runs"].tolist(),
}))
"""


def measure(path: Path) -> dict:
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(path)], capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


def plain_count(flow: np.ndarray, gap: int) -> int:
    """Runs at a gap tolerance: flowing seconds that follow a longer pause."""
    seconds = np.flatnonzero(flow)
    return 1 + int((np.diff(seconds) - 1 > gap).sum())


@pytest.mark.benchmark
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read in /proc")
def test_a_year_of_seconds_takes_little_memory(tmp_path: Path) -> None:
    short, year = flows(20), flows(365)
    write(tmp_path / "short.csv", short)
    write(tmp_path / "year.csv", year)
    few, many = measure(tmp_path / "short.csv"), measure(tmp_path / "year.csv")
    print(f"\n20 days: {few}\na year: {many}")
    assert many["rows"] == 365 * 86_400
    assert many["days"] == pytest.approx(365)
    assert many["litres"] == pytest.approx(float(year.sum(dtype=np.float64)) / 60)
    assert many["runs"] == [plain_count(year, gap) for gap in (0, 60, 300)]
    # Eighteen times the rows must not cost more than a little more memory.
    assert many["peak_mb"] < few["peak_mb"] + 100


def test_days_of_seconds_in_small_blocks(tmp_path: Path, analyse) -> None:
    flow = flows(2)
    write(tmp_path / "two.csv", flow)
    report = analyse((tmp_path / "two.csv").read_bytes(), block_bytes=100_000, packed=True)
    assert report.distribution["runs"].tolist() == [plain_count(flow, gap) for gap in (0, 60, 300)]
    assert report.litres == pytest.approx(float(flow.sum(dtype=np.float64)) / 60)
    assert report.flaws == ()
