"""What a history and a probe cost, against nothing but drawing their variates.

The floor is a compiled loop that draws as many variates of the same distributions, through the
same generator and the same quantile functions, and adds them up. A discrete-event simulation that
draws by key cannot be faster than this; how near it comes says what the rest of it costs.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numba
import numpy as np
from draws import RAW
from machine import SCENARIOS, compared, least_time, run_script

import shutoffsim
from shutoffsim.engine.run import PROBES, Setup, run_chunk
from shutoffsim.model.quantiles import quantile
from shutoffsim.model.streams import uniform

HISTORIES = 32  # whose draws are noted, and which are then timed
_njit: Any = numba.njit
_DRAWS = "import runpy, sys; runpy.run_path(sys.argv.pop(1), run_name='__main__')"


@_njit(nogil=True, error_model="numpy")
def draw_all(variates, seed, times):  # type: ignore[no-untyped-def]
    """Draw all variates so many times and return their sum, so that none can be left out."""
    total = 0.0
    for turn in range(times):
        history = np.uint64(turn)
        for j in range(len(variates)):
            u = uniform(seed, history, j >> 8, j & 255)
            if variates[j, 0] != RAW:
                u = quantile(variates[j], u)
            total += u
    return total


def record_draws(path: Path, design: str, probes: int, histories: int) -> Any:
    """Return the variates (n, 4) that these histories draw."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "draws.npy")
        script = Path(__file__).with_name("draws.py")
        run_script(_DRAWS, script, path, design, probes, histories, file, NUMBA_DISABLE_JIT="1")
        return np.load(file)


def floor_time(variates: Any, repeats: int, times: int = 50) -> float:
    """Return the processor time [s] of drawing these variates once."""
    seed = np.uint64(1)
    draw_all(variates, seed, 1)
    return least_time(lambda: draw_all(variates, seed, times), repeats) / times


def batch_time(params: Any, probes: int, histories: int, repeats: int, times: int) -> float:
    """Return the processor time [s] of the first histories of one design in the batch engine."""
    setup = Setup.of(params, 1, probes=probes)
    run_chunk(setup, 0, histories)

    def run() -> None:
        for _ in range(times):
            run_chunk(setup, 0, histories)

    return least_time(run, repeats) / times


def measure(quick: bool = False) -> list[dict[str, Any]]:
    """Return times and counts per history without probes, and per probe."""
    repeats, times = (1, 3) if quick else (7, 20)
    rows = []
    for path in SCENARIOS:
        scenario = shutoffsim.load(path)
        for design in compared(scenario)[:2]:
            params = scenario.parameters([design])
            bare, probed = (record_draws(path, design, m, HISTORIES) for m in (0, PROBES))
            floor = [floor_time(variates, repeats) for variates in (bare, probed)]
            batch = [batch_time(params, m, HISTORIES, repeats, times) for m in (0, PROBES)]
            events = run_chunk(Setup.of(params, 1, probes=0), 0, HISTORIES).summary["events"]
            rows.append(
                {
                    "scenario": scenario.name,
                    "design": design,
                    "events": float(events.mean()),
                    "history_variates": len(bare) / HISTORIES,
                    "probe_variates": (len(probed) - len(bare)) / HISTORIES / PROBES,
                    "history_seconds": batch[0] / HISTORIES,
                    "probe_seconds": (batch[1] - batch[0]) / HISTORIES / PROBES,
                    "history_ratio": batch[0] / floor[0],
                    "probe_ratio": (batch[1] - batch[0]) / (floor[1] - floor[0]),
                    "ratio": batch[1] / floor[1],
                }
            )
    return rows
