"""Invented events of known answer, through a saved report folder.

A building in which nothing shuts the water off before a leak has done its whole damage: each zone
is wetted to its walls, so each source of leaks costs one exact amount, at a constant rate.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import pandas as pd
import pytest
from checks import PERFECT
from scipy import stats
from typer.testing import CliRunner

from shutoffsim.cli import app
from shutoffsim.report.archive import load_assessment

NOTHING_FITTED = '\n[designs."nothing fitted"]\nelement.kind = "none"\n'
ANOTHER = '[designs."another name"]\nelement.kind = "none"\n'


def scenario(leaks: str, damage: str, zones: str = "") -> str:
    """Return the perfect system with its leaks and damage replaced, nothing that closes."""
    head, rest = PERFECT.format(life="3652.5 days").split("[leaks.hose]")
    rest = rest[rest.index("[sensors.a]") :].split("[damage]")[0]
    return f"{head}{zones}\n{leaks}\n{rest}\n[damage]\n{damage}\n{NOTHING_FITTED}{ANOTHER}"


def leak(name: str, rate: float, zone: str = "room") -> str:
    return f"""
[leaks.{name}]
zone = "{zone}"
rate = "{rate} per year"
open_end_flow = "60 L/min"
open_end_pressure = "3 bar"
seep_share = 0
out_of_reach = 0
"""


#: One loss of exactly 1,000 at 0.3 a year, whatever escapes.
FIXED = scenario(
    leak("hose", 0.3),
    'harmless = "0 L"\nfixed_loss = "1000 EUR"\narea_loss = "0 EUR/m2"\n'
    'contents_loss = "0 EUR/m2"\nunit_loss = "0 EUR"\nseverity = 1\nlate_volume = "1 L"\n'
    'loss_cap = "no limit"',
)
#: The same, but a cap of 800 cuts each loss.
CAPPED = FIXED.replace('loss_cap = "no limit"', 'loss_cap = "800 EUR"')


def saved(text: str, place: Path, *options: str) -> Path:
    """Return the folder that the command saves for a scenario."""
    file = place / "events.toml"
    file.write_text(text)
    folder = place / "kept"
    command = ["report", str(file), "--save", str(folder), "--out", str(place / "first.html")]
    done = CliRunner().invoke(app, [*command, "--histories", "256", "--workers", "1", *options])
    assert done.exit_code == 0, done.output
    again = CliRunner().invoke(app, ["report", str(folder), "--out", str(place / "again.html")])
    assert again.exit_code == 0, again.output
    assert (place / "again.html").read_text() == (place / "first.html").read_text()
    return folder


def poisson_loss(rate: float, loss: float, period: float) -> float:
    """Return the sum of equal losses that is exceeded once in so many years."""
    return loss * float(stats.poisson.isf(1.0 / period, rate))


@pytest.mark.parametrize(("text", "loss"), [(FIXED, 1000.0), (CAPPED, 800.0)])
def test_one_exact_loss_is_told_exactly(text: str, loss: float, tmp_path: Path) -> None:
    folder = saved(text, tmp_path, "--return-periods", "5,10,25,100,250")
    told = load_assessment(folder).design("nothing fitted").yearly_loss
    found = {p.period_years: p for p in told.periods}
    assert [found[t].aggregate.value / loss for t in (5, 10, 25, 100, 250)] == [1, 1, 1, 2, 2]
    for period, row in found.items():
        assert row.aggregate.value == poisson_loss(0.3, loss, period)
        assert row.occurrence.value == loss
        assert row.aggregate.low == row.aggregate.value == row.aggregate.high
    rates = {point.loss: point.occurrence.value for point in told.curve}
    below = max(at for at in rates if at < loss)
    assert rates[below] == pytest.approx(-math.expm1(-0.3), rel=1e-9)
    rows = pd.read_csv(folder / "estimates.csv").set_index(["design", "quantity"])
    assert rows.loc[("nothing fitted", "loss of a year, once in 100 years"), "value"] == 2 * loss


def test_asked_return_periods_stand_on_the_page(tmp_path: Path) -> None:
    folder = saved(FIXED, tmp_path, "--return-periods", "200,20")
    page = (tmp_path / "again.html").read_text()
    assert "20 years" in page
    assert "200 years" in page
    assert "250 years" not in page
    data = json.loads((folder / "assessment.json").read_text())
    for design in data["designs"]:
        assert [p["period_years"] for p in design["yearly_loss"]["periods"]] == [20, 200]
