"""Speed of the engines, as ratios within one run: ``pytest tests/benchmarks -m benchmark -s``."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunk

pytestmark = pytest.mark.benchmark

ROOT = Path(__file__).parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))


def _events_per_second(setup: Setup, histories: int) -> float:
    begin = time.process_time()
    chunk = run_chunk(setup, 0, histories)
    spent = time.process_time() - begin
    return float(chunk.summary["events"].sum()) / spent


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_batch_rings_far_more_clocks_a_second_than_trace(path: Path) -> None:
    """Goal: at least 100 times, one core; median of five pairs taken in turn.

    One probe a history, so that nearly all events are those of the history itself, which are the
    ones counted.
    """
    params = shutoffsim.load(path).parameters()
    batch = Setup.of(params, 1, "batch", probes=1)
    trace = Setup.of(params, 1, "trace", probes=1)
    run_chunk(batch, 0, 1)
    run_chunk(trace, 0, 1)
    pairs = [(_events_per_second(batch, 128), _events_per_second(trace, 1)) for _ in range(5)]
    ratio = sorted(b / t for b, t in pairs)[2]
    print(f"\n{path.stem}: batch {pairs[0][0]:,.0f} events/s, {ratio:.0f} times trace")
    assert ratio >= 100.0


def test_comparing_six_designs_takes_little_memory() -> None:
    """Goal: peak memory under 600 MB whatever the number of histories; to 2 % in seconds."""
    script = (
        "import resource, sys, time, shutoffsim\n"
        f"s = shutoffsim.load(r'{SCENARIOS[0]}')\n"
        "names = s.designs[:6]\n"
        "shutoffsim.compare(s, names, histories=2)\n"
        "begin = time.perf_counter()\n"
        "n = int(sys.argv[1])\n"
        "r = shutoffsim.compare(s, names, histories=n or None)\n"
        "peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024\n"
        "print(r.histories, time.perf_counter() - begin, peak)\n"
    )
    peaks = []
    for histories in (0, 1000, 20000):
        out = subprocess.run(
            [sys.executable, "-c", script, str(histories)],
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
        ).stdout.split()
        peaks.append(float(out[2]))
        print(f"\n{int(out[0]):,} histories of six designs: {float(out[1]):.1f} s, {out[2]} MB")
    assert max(peaks) < 600.0
