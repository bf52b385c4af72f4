"""Fixtures and settings that several test files share."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import shutoffsim

ROOT = Path(__file__).resolve().parent.parent
#: Files and folders whose tests are quick and together meet every rule once: marked ``fast``.
FAST = (
    "records",
    "rules",
    "scenario",
    "test_by_hand.py",
    "test_exact.py",
    "test_layers.py",
    "test_members.py",
    "test_nothing_seen.py",
    "test_quantiles.py",
    "test_stopping.py",
    "test_streams.py",
    "test_supply_pipe.py",
    "test_torque_in_use.py",
    "test_unfinished.py",
    "test_units.py",
    "test_valve_age.py",
)
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))

# The first example may have to compile, so no deadline; the same examples on every machine.
settings.register_profile(
    "steady",
    deadline=None,
    derandomize=True,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile("steady")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is fast."""
    for item in items:
        place = item.path.relative_to(ROOT / "tests")
        if place.parts[0] in FAST and not any(item.iter_markers("slow")):
            item.add_marker(pytest.mark.fast)


@pytest.fixture(scope="session", params=SCENARIOS, ids=lambda path: path.stem)
def scenario(request) -> shutoffsim.Scenario:
    """Each of the scenarios that come with the program."""
    return shutoffsim.load(request.param)


@pytest.fixture(scope="session")
def cottage() -> shutoffsim.Scenario:
    return shutoffsim.load(ROOT / "scenarios" / "holiday_cottage.toml")
