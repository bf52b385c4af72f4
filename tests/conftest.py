"""Fixtures and settings that several test files share."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import shutoffsim

ROOT = Path(__file__).resolve().parent.parent
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


@pytest.fixture(scope="session", params=SCENARIOS, ids=lambda path: path.stem)
def scenario(request) -> shutoffsim.Scenario:
    """Each of the scenarios that come with the program."""
    return shutoffsim.load(request.param)


@pytest.fixture(scope="session")
def cottage() -> shutoffsim.Scenario:
    return shutoffsim.load(ROOT / "scenarios" / "holiday_cottage.toml")
