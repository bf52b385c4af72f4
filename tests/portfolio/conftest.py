"""A small scenario and tables of dwellings."""

from __future__ import annotations

from pathlib import Path

import pytest

import shutoffsim

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def house() -> shutoffsim.Scenario:
    return shutoffsim.load(ROOT / "scenarios" / "terraced_house.toml")


@pytest.fixture
def table(tmp_path):
    """Write a CSV file and return its path."""

    def write(text: str, name: str = "dwellings.csv") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write
