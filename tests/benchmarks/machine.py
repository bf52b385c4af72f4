"""The machine, and how time and memory are taken on it."""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import llvmlite
import numba
import numpy as np
import simpy

import shutoffsim
from shutoffsim.model.elements import NUMBERED

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = tuple(
    ROOT / "scenarios" / f"{name}.toml"
    for name in ("terraced_house", "clinic_above_shop", "holiday_cottage")
)

REFERENCE = "no automation"


class Compared(NamedTuple):
    """The designs of a scenario that are looked at: without automation, its first, and the best."""

    reference: str
    chosen: str
    best: str


def compared(scenario: shutoffsim.Scenario) -> Compared:
    """Return the designs to look at: the last one of a file is the best equipped."""
    params = scenario.parameters()
    closes = [NUMBERED[kind].closes for kind in params["element_kind"]]
    return Compared(REFERENCE, scenario.designs[closes.index(True)], scenario.designs[-1])


#: Put before a script that is run in a process of its own; gives ``peak()`` in MB. The kernel's
#: high-water mark of the process is preferred: the other figure also counts the parent's memory.
PEAK = """
import json, resource, sys

def peak():
    try:
        for line in open("/proc/self/status"):
            if line.startswith("VmHWM"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    scale = 1024.0 if sys.platform != "darwin" else 1024.0**2
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale
"""


def describe_machine() -> dict[str, str]:
    """Return what a reader needs to know of the machine and the versions."""
    return {
        "processor": _processor(),
        "cores": str(os.cpu_count()),
        "system": f"{platform.system()} {platform.machine()}",
        "Python": platform.python_version(),
        "numba": f"{numba.__version__} (llvmlite {llvmlite.__version__})",
        "NumPy": np.__version__,
        "SimPy": simpy.__version__,
        "shutoffsim": shutoffsim.__version__,
        "day": datetime.now(UTC).date().isoformat(),
    }


def _processor() -> str:
    try:
        for line in Path("/proc/cpuinfo").read_text().splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    except OSError:
        pass
    return platform.processor() or "unknown"


def least_time(
    work: Callable[[], object],
    repeats: int,
    clock: Callable[[], float] = time.process_time,
) -> float:
    """Return the least time [s] that ``work`` took: what disturbs a run only makes it longer."""
    best = float("inf")
    for _ in range(repeats):
        begin = clock()
        work()
        best = min(best, clock() - begin)
    return best


def run_script(script: str, *args: object, **variables: str) -> Any:
    """Run a Python script in a process of its own; return the JSON it prints in its last line."""
    done = subprocess.run(
        [sys.executable, "-P", "-c", script, *map(str, args)],
        cwd=ROOT,
        env=environment(**variables),
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise SystemExit(f"a measured script failed:\n{done.stderr}")
    return json.loads(done.stdout.splitlines()[-1])


def run_program(*args: str, **variables: str) -> tuple[float, float]:
    """Run the program; return processor time and wall time [s] of its process."""
    begin = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "shutoffsim", *args],
        cwd=ROOT,
        env=environment(**variables),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise SystemExit(f"shutoffsim {' '.join(args)} ended with {process.returncode}")
    return usage.ru_utime + usage.ru_stime, time.perf_counter() - begin


def environment(**variables: str) -> dict[str, str]:
    """Return the environment of a process that uses the package of this checkout."""
    package = str(Path(shutoffsim.__file__).resolve().parent.parent)
    here = str(Path(__file__).resolve().parent)
    return {**os.environ, "PYTHONPATH": os.pathsep.join((package, here)), **variables}
