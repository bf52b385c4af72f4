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


#: A factor of mean 1 whose logarithm spreads by 0.8, a cap of 3,000, a deductible of 500, and at
#: most 1,500 paid.
FACTOR = (
    FIXED.replace('loss_cap = "no limit"', 'loss_cap = "3000 EUR"').replace(
        "severity = 1", f"severity = {{mean = 1, spread = {math.exp(0.8)!r}}}"
    )
    + '\n[insurance]\ndeductible = "500 EUR"\nlimit = "1500 EUR"\n'
)


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


def factor_below(loss: float) -> float:
    """Return the chance that the factor brings a loss of 1,000 to at most ``loss``."""
    return float(stats.lognorm(0.8, scale=math.exp(-0.32)).cdf(loss / 1000.0))


def mean_of_least(most: float) -> float:
    """Return the mean of a loss of 1,000 times the factor, cut off at ``most``."""
    law = stats.lognorm(0.8, scale=math.exp(-0.32))
    return 1000.0 * float(law.expect(lambda x: min(x, most / 1000.0), ub=50.0, points=[most / 1e3]))


def test_a_factor_of_known_law_is_told_without_drawing_it(tmp_path: Path) -> None:
    """Mean, insured part, exceedance curve, the cap's atom, and a period between."""
    folder = saved(FACTOR, tmp_path, "--return-periods", "10,50,2000")
    found = load_assessment(folder)
    told = found.design("nothing fitted")
    damage = next(d for d in found.comparison.designs if d.name == "nothing fitted")
    assert damage.expected_annual_damage.value == pytest.approx(
        0.3 * mean_of_least(3000.0), rel=1e-6
    )
    assert damage.insured_annual_damage.value == pytest.approx(
        0.3 * (mean_of_least(2000.0) - mean_of_least(500.0)), rel=1e-6
    )
    compared = 0
    for point in told.yearly_loss.curve:
        if point.loss < 3000.0:
            rate = 0.3 * (1.0 - factor_below(point.loss))
            assert point.occurrence.value == pytest.approx(-math.expm1(-rate), rel=0.01)
            compared += 1
    assert compared > 5
    periods = {p.period_years: p.occurrence.value for p in told.yearly_loss.periods}
    assert periods[2000.0] == 3000.0  # capped once in 72 years
    share = 1.0 + math.log1p(-0.1) / 0.3
    exact = 1000.0 * float(stats.lognorm(0.8, scale=math.exp(-0.32)).ppf(share))
    assert periods[10.0] == pytest.approx(exact, rel=0.01)


def test_claims_are_losses_above_the_deductible(tmp_path: Path) -> None:
    """Of 0.3 losses a year those above 500; of these the mean of what exceeds it, at most 1,500."""
    told = load_assessment(saved(FACTOR, tmp_path)).design("nothing fitted").claims
    assert told is not None
    often = 0.3 * (1.0 - factor_below(500.0))
    assert told.per_year.value == pytest.approx(often, rel=0.003)
    paid = 0.3 * (mean_of_least(2000.0) - mean_of_least(500.0))
    assert told.mean.value == pytest.approx(paid / often, rel=0.005)


def test_a_sure_loss_is_a_claim_of_what_exceeds_the_deductible(
    tmp_path: Path,
) -> None:
    text = FIXED + '\n[insurance]\ndeductible = "400 EUR"\nlimit = "no limit"\n'
    told = load_assessment(saved(text, tmp_path)).design("nothing fitted").claims
    assert told is not None
    assert told.per_year.value == pytest.approx(0.3, rel=1e-9)
    assert told.mean.value == pytest.approx(600.0, rel=1e-12)
