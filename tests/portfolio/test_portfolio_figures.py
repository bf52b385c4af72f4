"""What a portfolio's figures are, against other ways to the same numbers."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from checks import TOLERANCE, perfect
from scipy import stats

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.errors import ModelError
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.report.files import to_json
from shutoffsim.report.portfolio import print_portfolio
from shutoffsim.report.text import make_console
from shutoffsim.study.portfolio import portfolio, run
from shutoffsim.study.portfolio.block import PROBES
from shutoffsim.study.portfolio.years import Years

TABLE = "dwelling,design,valve.age,region\n" + "".join(
    f"d{n},{('no automation', 'small actuator')[n % 2]},{3 * n} years,r{n % 3}\n" for n in range(9)
)


@pytest.mark.parametrize("region", [False, True])
def test_same_bits_for_any_workers_and_blocks(house, table, monkeypatch, region):
    path = table(TABLE)
    results = []
    for block, workers in ((64, 1), (2, 3), (1, 2)):
        monkeypatch.setattr(run, "BLOCK", block)
        results.append(portfolio(house, path, histories=5, workers=workers, region=region))
    for other in results[1:]:
        assert to_json(other) == to_json(results[0])
        assert other.table().equals(results[0].table())
    another = portfolio(house, path, histories=5, region=region, seed=2)
    assert to_json(another) != to_json(results[0])


def test_a_dwelling_is_what_its_own_histories_say(house, table):
    result = portfolio(house, table(TABLE), histories=12)
    row = result.table().loc[3]
    params = house.parameters([row["design"]])
    params["valve_age"] = 6 * L.YEAR
    tally = Tally(1, 10.0, 1, params)
    tally.add(run_chunk(Setup.of(params, 1, probes=PROBES), 3 << 32, 12))
    damage, failing = tally.mean(0, T.LOSS, 0.0), tally.share(0, T.FAILED)
    assert row["expected_annual_damage"] == pytest.approx(damage.value, rel=1e-12)
    assert row["std_error"] == pytest.approx(damage.std_error, rel=1e-9)
    assert row["low"] == pytest.approx(damage.low, rel=1e-9)
    assert row["high"] == pytest.approx(damage.high, rel=1e-9)
    assert row["probability_of_failure_on_demand"] == pytest.approx(failing.value, rel=1e-12)
    assert row["failure_low"] == pytest.approx(failing.low, rel=1e-6)
    assert row["failure_high"] == pytest.approx(failing.high, rel=1e-6)
    leaks = tally.mean(0, T.LEAKS)
    assert row["leaks_per_year"] == pytest.approx(leaks.value, rel=1e-12)


def test_failing_is_certain_only_where_nothing_can_close(house, table):
    """Few histories bound a share that was always 1, unless nothing else is possible."""
    alone = "dwelling,design\na,no automation\nb,no automation\n"
    result = portfolio(house, table(alone), histories=4)
    assert result.probability_of_failure_on_demand.certain
    assert (result.table()[["failure_low", "failure_high"]] == 1.0).all(axis=None)
    never = "dwelling,design,sensors.kitchen.reach_chance\na,small actuator,0\n"
    found = portfolio(house, table(never), histories=4).probability_of_failure_on_demand
    assert not found.certain


def test_sums_and_their_errors(house, table):
    result = portfolio(house, table(TABLE), histories=12)
    rows = result.table()
    total = result.expected_annual_damage
    assert total.value == pytest.approx(rows["expected_annual_damage"].sum(), rel=1e-12)
    assert total.std_error == pytest.approx(math.sqrt((rows["std_error"] ** 2).sum()), rel=1e-9)
    assert total.low < total.value < total.high
    weighted = rows["probability_of_failure_on_demand"] * rows["leaks_per_year"]
    assert result.probability_of_failure_on_demand.value == pytest.approx(
        weighted.sum() / rows["leaks_per_year"].sum(), rel=1e-9
    )


def test_one_history_gives_no_intervals(house, table):
    result = portfolio(house, table("dwelling\na\nb\n"), histories=1)
    assert math.isnan(result.expected_annual_damage.std_error)
    assert result.table()["low"].isna().all()
    assert result.curves["aggregate"].at_periods == {}


#: Leaks of one loss each: 0.05 a year and dwelling, whatever the weather.
FIXED = """
leaks.hose.rate = "0.05 per year"
damage.fixed_loss = "100 EUR"
damage.area_loss = "0 EUR/m2"
damage.contents_loss = "0 EUR/m2"
damage.harmless = "0 L"
damage.wet_extra = 0
damage.unit_loss = "0 EUR"
"""


def _gap(estimate, expected):
    return abs(estimate.value - expected) / estimate.std_error


@pytest.mark.parametrize("region", [False, True])
def test_yearly_curves_of_a_poisson_portfolio(table, region):
    """20 dwellings, one leak a year among them: the number of leaks in a year is Poisson."""
    scenario = perfect(FIXED)
    path = table("dwelling\n" + "".join(f"d{n}\n" for n in range(20)))
    result = portfolio(scenario, path, histories=400, region=region)
    law = stats.poisson(1.0)
    gaps, wrong = [], []
    for loss, estimate in zip(
        result.curves["aggregate"].losses, result.curves["aggregate"].probabilities, strict=True
    ):
        if loss > 500.0:
            continue
        gaps.append(_gap(estimate, law.sf(round(loss / 100.0))))
        wrong.append(_gap(estimate, stats.poisson(1.3).sf(round(loss / 100.0))))
        assert estimate.std_error < 0.03
    assert len(gaps) >= 5
    assert max(gaps) <= TOLERANCE
    assert max(wrong) > TOLERANCE
    aggregate = result.curves["aggregate"].at_periods
    assert aggregate[10].value == 100.0 * law.isf(0.1)
    assert aggregate[20].value == 100.0 * law.isf(0.05)
    if not region:
        occurrence = result.curves["occurrence"]
        assert _gap(occurrence.probabilities[0], law.sf(0)) <= TOLERANCE
        assert occurrence.at_periods[10].value == 100.0


#: Leaks only during spells, which come about once in two years and last a day.
FROST = (
    FIXED.replace('"0.05 per year"', '"1e-6 per year"')
    + """
weather.spell_rate = "0.5 per year"
weather.spell_duration = "1 day"
leaks.hose.spell_factor = 5e7
"""
)


def _spread(result):
    return result.damage_by_counting.std_error / result.damage_by_counting.value


def test_dwellings_of_a_region_suffer_together(table):
    scenario = perfect(FROST)
    names = [f"d{n},r{n % 2}\n" for n in range(30)]
    path = table("dwelling,region\n" + "".join(names))
    alone = portfolio(scenario, path, histories=200)
    shared = portfolio(scenario, path, histories=200, region=True)
    one = table("dwelling\n" + "".join(f"d{n}\n" for n in range(30)), "one.csv")
    together = portfolio(scenario, one, histories=200, region=True)
    assert shared.regions == ("r0", "r1")
    # the mean knows nothing of regions
    for other in (shared, together):
        a, b = alone.damage_by_counting, other.damage_by_counting
        assert abs(a.value - b.value) <= TOLERANCE * math.hypot(a.std_error, b.std_error)
    # variance: 30 independent parts, or 2, or 1, of what the spells bring
    assert _spread(alone) < 0.7 * _spread(shared)
    assert _spread(shared) < 0.85 * _spread(together)
    # many dwellings in one spell are one event
    assert alone.curves["occurrence"].losses.max() == 100.0
    assert together.curves["occurrence"].losses.max() > 300.0
    assert (
        together.curves["aggregate"].at_periods[20].value
        > alone.curves["aggregate"].at_periods[20].value
    )


def test_independent_dwellings_draw_apart(table):
    """Two dwellings that are the same in everything but their row have other histories."""
    scenario = perfect(FIXED)
    rows = portfolio(scenario, table("dwelling\na\nb\n"), histories=4).table()
    assert rows.loc[1, "expected_annual_damage"] == pytest.approx(5.0, rel=1e-6)
    years = Years(4, 2, None, 1)
    assert not np.array_equal(years._shifts(1), years._shifts(2))


def test_combining_moves_every_loss_once_a_round():
    years = Years(9, 3, None, seed=4)
    rng = np.random.default_rng(0)
    n = 60
    arrays = {
        "dwelling": np.sort(rng.integers(1, 3000, n)),
        "region": np.zeros(n, np.int64),
        "history": rng.integers(0, 9, n),
        "onset": rng.random(n) * 3.5 * L.YEAR,
        "loss": rng.integers(1, 100, n).astype(float),
    }
    years.add(arrays)
    inside = arrays["onset"] < 3 * L.YEAR
    by_round = years._sums.reshape(9, 3, years.rounds)
    for year in range(3):
        own = arrays["loss"][inside & (np.floor(arrays["onset"] / L.YEAR) == year)].sum()
        assert by_round[:, year].sum(axis=0).tolist() == [own] * years.rounds
    assert len({tuple(by_round[:, 0, r]) for r in range(50)}) > 25


def test_too_many_regions_for_the_curves(house, table):
    path = table("dwelling,region\n" + "".join(f"d{n},r{n}\n" for n in range(300)))
    with pytest.raises(ModelError, match="too many histories and regions"):
        portfolio(house, path, histories=1000, region=True)


def test_the_text_tells_totals_limits_and_failures(house, table):
    result = portfolio(house, table(TABLE + "bad,,x,\n"), histories=6)
    text = io.StringIO()
    console = make_console(text)
    console.width = 76
    print_portfolio(console, result, "dwellings.csv")
    shown = text.getvalue()
    assert "9 dwellings are expected to cost" in shown
    assert "60 simulated years" in " ".join(shown.split())
    assert "dwellings.csv, row 10 (“bad”): valve.age" in shown
    assert max(map(len, shown.splitlines())) <= 76 + 60  # a problem's own lines are not cut


def test_progress_and_wording(house, table):
    seen = []
    portfolio(
        house,
        table("dwelling\na\n"),
        histories=2,
        progress=lambda done, of: seen.append((done, of)),
    )
    assert seen == [(1, 1)]
