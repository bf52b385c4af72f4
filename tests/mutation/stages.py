"""What a mutant has to pass, from cheap to dear, and the process in which it does.

Only tests with a meaning are here: answers worked out by hand, exact ones, published ones, plain
simulators, invariants, the ledger of draws. Stored samples, pages and shown outputs are left out: a
mutant that only they notice would be stored with the next renewal.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

#: Uncompiled, seconds.
QUICK = (
    "tests/rules/test_by_hand_closing.py",
    "tests/rules/test_by_hand_power.py",
    "tests/rules/test_by_hand_people.py",
    "tests/rules/test_by_hand_drive.py",
    "tests/rules/test_by_hand_surroundings.py",
    "tests/rules/test_by_hand_orders.py",
    "tests/rules/test_by_hand_reset.py",
    "tests/rules/test_by_hand_impairments.py",
    "tests/test_by_hand.py",
    "tests/rules/test_rubbish.py",
    "tests/rules/test_when_leaks_start.py",
    "tests/rules/test_placing_by_hand.py",
    "tests/rules/test_tally_by_hand.py",
    "tests/scenario/test_parameters.py",
    "tests/test_quantiles.py",
    "tests/test_streams.py",
    "tests/rules/uncompiled_ledger.py",
)
#: What knows a file best goes first.
BEST = {
    "model/streams.py": "tests/test_streams.py",
    "model/quantiles.py": "tests/test_quantiles.py",
    "model/aim.py": "tests/rules/uncompiled_aim.py",
    "model/override.py": "tests/rules/test_by_hand_people.py",
    "model/leak.py": "tests/rules/test_by_hand_surroundings.py",
    "model/occupancy.py": "tests/rules/test_by_hand_surroundings.py",
    "model/actuator.py": "tests/rules/test_by_hand_drive.py",
    "model/motor.py": "tests/rules/test_by_hand_drive.py",
    "model/mount.py": "tests/rules/test_by_hand_drive.py",
    "engine/placement.py": "tests/rules/test_placing_by_hand.py",
    "engine/schedule.py": "tests/rules/test_placing_by_hand.py",
    "estimate/tally.py": "tests/rules/test_tally_by_hand.py",
    "scenario/parameters.py": "tests/scenario/test_parameters.py",
    "scenario/devices.py": "tests/scenario/test_parameters.py",
}
#: What takes long without compilation, or only shows that a check can fail.
NOT_QUICK = (
    "not after_a_stick_goes_through and not the_one_before and not wrong_key and not month "
    "and not half_of_the_year and not parts_by_year and not leaks_in_use and not independen "
    "and not uniform"
)
#: Compiled, those that catch most in a second first.
SLOWER = (
    "tests/rules/test_when_leaks_start.py",
    "tests/rules/test_by_hand_chance.py",
    "tests/test_by_hand.py",
    "tests/rules/test_rubbish.py",
    "tests/test_exact.py",
    "tests/test_estimator.py",
    "tests/test_nothing_seen.py",
    "tests/test_demand.py",
    "tests/test_valve_age.py",
    "tests/test_supply_pipe.py",
    "tests/test_stopping.py",
    "tests/test_streams.py",
    "tests/scenario/test_designs.py",
    "tests/scenario/test_distributions.py",
    "tests/scenario/test_inheritance.py",
    "tests/scenario/test_parameters.py",
    "tests/scenario/test_reading.py",
    "tests/sizing/test_sizing_exact.py",
    "tests/test_invariants.py",
    "tests/test_naive.py",
    "tests/test_engines.py",
)
#: As above, for the slower ones.
BEST_SLOWER = {
    "model/aim.py": "tests/test_demand.py",
    "model/pipe.py": "tests/test_supply_pipe.py",
    "engine/schedule.py": "tests/test_demand.py",
    "engine/batch.py": "tests/test_estimator.py",
    "engine/placement.py": "tests/test_estimator.py",
    "estimate/tally.py": "tests/test_estimator.py",
}
CPU_LIMIT = {"quick": 45, "digest": 45, "slower": 600}  # s; a mutant that runs on is caught
MEMORY_LIMIT = 12 << 30


@dataclass(frozen=True)
class Outcome:
    """How a stage ended: with an answer, or by a crash."""

    answer: Any
    seconds: float  # of processor time

    @property
    def crashed(self) -> bool:
        return self.answer is None


class _First:
    """Remembers the first test that fails."""

    def __init__(self) -> None:
        self.failed = ""

    def pytest_runtest_logreport(self, report: Any) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid

    def pytest_collectreport(self, report: Any) -> None:
        if report.failed and not self.failed:
            self.failed = f"{report.nodeid} (not even read)"


def quick(file: str) -> str:
    """Return the first quick test that fails for a mutant of ``file``, or nothing."""
    return _run(_best_first(QUICK, BEST.get(file)), "-k", NOT_QUICK)


def slower(file: str) -> str:
    """Return the first slower test that fails for a mutant of ``file``, or nothing."""
    return _run(_best_first(SLOWER, BEST_SLOWER.get(file)))


def digest() -> dict[str, str]:
    """Return what the program gives for many scenarios and designs, as digests by name."""
    from digests import digests

    return dict(digests())


def first_change(expected: dict[str, str]) -> str:
    """Return the first result that is another than expected, or nothing."""
    from digests import digests

    for name, value in digests():
        if value != expected.get(name):
            return name
    return ""


def _best_first(files: tuple[str, ...], best: str | None) -> tuple[str, ...]:
    return (best, *(name for name in files if name != best)) if best else files


def _run(files: tuple[str, ...], *how: str) -> str:
    first = _First()
    fixed = ["-q", "-x", "-p", "no:cacheprovider", "--no-header"]
    code = pytest.main([*fixed, *how, *files], plugins=[first])
    return first.failed or ("" if code == 0 else f"pytest ended with {code}")


def load_libraries() -> None:
    """Load what every stage needs, once, so that forks have it."""
    import hypothesis  # noqa: F401
    import numba  # noqa: F401
    import pandas  # noqa: F401
    import pydantic  # noqa: F401
    import scipy.stats  # noqa: F401
    import simpy  # noqa: F401


def in_fork(
    work: Callable[[], Any], place: Path, cache: Path, compiled: bool, limit: float
) -> Outcome:
    """Do some work in a fork of this process, in ``place`` and with the package that is there."""
    answer = place.parent / "answer.json"
    answer.unlink(missing_ok=True)
    child = os.fork()
    if child == 0:
        try:
            _settle(place, cache, compiled, limit)
            answer.write_text(json.dumps(work()))
            os._exit(0)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(1)
    _, _, usage = os.wait4(child, 0)
    found = json.loads(answer.read_text()) if answer.exists() else None
    return Outcome(found, round(usage.ru_utime + usage.ru_stime, 1))


def _settle(place: Path, cache: Path, compiled: bool, limit: float) -> None:
    """Make a fork a place of its own: package, cache, output, limits."""
    import numba

    resource.setrlimit(resource.RLIMIT_CPU, (int(limit), int(limit) + 5))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_LIMIT, MEMORY_LIMIT))
    log = os.open(place.parent / "log.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for stream in (1, 2):
        os.dup2(log, stream)
    settings: Any = numba.config
    settings.DISABLE_JIT = int(not compiled)
    os.environ["NUMBA_DISABLE_JIT"] = str(int(not compiled))
    os.environ["SHUTOFFSIM_CACHE"] = str(cache)
    os.environ["PYTHONPATH"] = str(place)
    sys.path[:0] = [str(place), str(place / "tests" / "mutation")]
    os.chdir(place)
    if any(name.partition(".")[0] == "shutoffsim" for name in sys.modules):
        raise RuntimeError("the package was loaded before the fork")
