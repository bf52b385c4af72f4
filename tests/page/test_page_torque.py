"""One torque for one valve: the page and the sizing of the same design print the same digits."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from page_reading import Page
from rich.console import Console

import shutoffsim
from shutoffsim.report.page.page import page
from shutoffsim.report.size import print_sizing
from shutoffsim.study.size import size

CLINIC = Path(__file__).resolve().parents[2] / "scenarios" / "clinic_above_shop.toml"
DESIGN = "sensing cables"


@pytest.fixture(scope="module")
def printed() -> str:
    scenario = shutoffsim.load(CLINIC)
    console = Console(file=io.StringIO(), width=240, markup=False, highlight=False)
    print_sizing(console, size(scenario, DESIGN, histories=2, ratings=()))
    return console.file.getvalue()


def row_of(text: str, head: str, start: str) -> list[str]:
    """Return the cells of the first line that starts so, below a head."""
    line = next(x for x in text[text.index(head) :].splitlines() if x.startswith(f"{start} "))
    return re.split(r"\s+", line.removeprefix(start).strip())


def test_torque_of_the_page_is_that_of_the_sizing(assessed, printed):
    table = Page(page(assessed)).table("Torque needed and torque available")
    ages = len(assessed.design(DESIGN).torque)
    assert ages == 2
    rows = table.rows[-ages:]
    for row, year in zip(rows, ("now", "10"), strict=True):
        needed = row_of(printed, "What the valve needs", year)[:3]
        assert [cell[0] for cell in row[1:4]] == needed
    given = {
        name: row_of(printed, "Torque available from the actuator in use", name)[0]
        for name in ("supply as stated", "battery as stated", "worn")
    }
    assert [rows[0][k][0] for k in (4, 5)] == [
        given["supply as stated"],
        given["battery as stated"],
    ]
    assert rows[1][4][0] == given["worn"]
