"""A small assessment that several files look at."""

from __future__ import annotations

import pytest

import shutoffsim
from shutoffsim.study.assessment.assess import assess
from shutoffsim.study.assessment.result import Assessment

DESIGNS = ("no automation", "plus battery")
HISTORIES, SEED = 256, 6


@pytest.fixture(scope="session")
def assessed(cottage: shutoffsim.Scenario) -> Assessment:
    return assess(
        cottage,
        DESIGNS,
        histories=HISTORIES,
        seed=SEED,
        removal_histories=64,
        swing_histories=64,
        where="cottage.toml",
    )
