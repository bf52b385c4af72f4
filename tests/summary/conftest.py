"""Assessments that several tests of the summary put on paper."""

from __future__ import annotations

from pathlib import Path

import pytest

import shutoffsim
from shutoffsim.study.assessment.assess import assess
from shutoffsim.study.assessment.result import Assessment

COTTAGE = Path(__file__).resolve().parents[2] / "scenarios" / "holiday_cottage.toml"

#: A dwelling that never leaks.
DRY = """
name = "dry house"
currency = "EUR"
[leaks.hose]
kind = "appliance hose"
rate = "0 per year"
[sensors.a]
zone = "dwelling"
[designs."no automation"]
element.kind = "none"
[designs."automation"]
element.kind = "clamped actuator"
"""


@pytest.fixture(scope="session")
def cottage_assessed() -> Assessment:
    scenario = shutoffsim.load(COTTAGE)
    designs = ["no automation", "plus battery", "all together"]
    return assess(scenario, designs, histories=32, removal_histories=16, swing_histories=0)


@pytest.fixture(scope="session")
def dry_assessed() -> Assessment:
    scenario = shutoffsim.loads(DRY)
    return assess(scenario, histories=4, removal_histories=2, swing_histories=0)


@pytest.fixture(scope="session")
def single_assessed() -> Assessment:
    scenario = shutoffsim.load(COTTAGE)
    return assess(scenario, ["all together"], histories=8, removal_histories=0, swing_histories=0)
