"""Exceedance curves of an assessment against an event table, exact sums and simulated years."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from checks import TOLERANCE, Finding, assert_agrees, leaking
from scipy import stats
from support.exceedance import return_period_loss, yearly_sums

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.estimate.jackknife import jackknife
from shutoffsim.model import layout as L
from shutoffsim.study.assessment.losses import LossTally
from shutoffsim.study.assessment.sums import SumOfYear
from shutoffsim.study.assessment.yearly import PERIODS, yearly_losses

# "Catastrophe Modeling: A New Approach to Managing Risk" (2005), table 2.1 (from memory): yearly
# probability and loss in millions of each event, and the printed chance of reaching each loss.
CHANCES = (0.002, 0.005, 0.010, 0.020, 0.030, 0.040, 0.050, 0.050, 0.050, 0.070, 0.090, 0.100,
           0.100, 0.100)  # fmt: skip
MILLIONS = (25, 15, 10, 5, 3, 2, 1, 0.8, 0.7, 0.5, 0.5, 0.3, 0.2, 0.1)
EXCEEDED = (0.0020, 0.0070, 0.0169, 0.0366, 0.0655, 0.1029, 0.1477, 0.1903, 0.2308, None, 0.3490,
            0.4141, 0.4727, 0.5255)  # fmt: skip
YEARS = 10.0


@dataclass
class Incidents:
    """A piece of a run, as far as a tally looks at it."""

    rows: Any
    first: int = 0


def distribution_of_sum(losses: Any, rates: Any) -> tuple[Any, Any]:
    law = SumOfYear(losses, np.zeros(len(losses)), rates)
    return law.levels.at, law.chances(rates)


def tally_of(losses: Any, rates: Any, histories: int = 1) -> LossTally:
    """Return the tally of a table of incidents, the same in each history."""
    rows = np.zeros((1, histories, len(losses)), L.INCIDENT).view(np.recarray)
    rows["weight"] = np.asarray(rates) * YEARS
    rows["modelled"] = losses
    tally = LossTally(1, YEARS, block=1)
    tally.add(Incidents(rows))
    return tally


@pytest.fixture(scope="module")
def event_table() -> Any:
    rates = -np.log1p(-np.array(CHANCES))
    (found,) = yearly_losses(tally_of(np.array(MILLIONS) * 1e6, rates, 4))
    return found


def test_event_table_is_met_at_each_loss(event_table: Any) -> None:
    curve = {point.loss: point.occurrence.value for point in event_table.curve}
    below = sorted(curve)
    compared = 0
    for loss, printed in zip(MILLIONS, EXCEEDED, strict=True):
        # the printed curve is of reaching a loss: of exceeding the next threshold below it
        threshold = max((at for at in below if at < loss * 1e6 * 0.999), default=None)
        between = [
            m for m in MILLIONS if threshold is not None and threshold < m * 1e6 < loss * 1e6
        ]
        if printed is None or threshold is None or between:
            continue
        assert curve[threshold] == pytest.approx(printed, abs=6e-5)
        compared += 1
    assert compared >= 8


def test_losses_at_return_periods_are_those_of_the_table(event_table: Any) -> None:
    rates = -np.log1p(-np.array(CHANCES))
    expected = return_period_loss(np.array(MILLIONS) * 1e6, rates, PERIODS)
    found = [period.occurrence.value for period in event_table.periods]
    assert found == pytest.approx(expected.tolist(), rel=1e-9)


def test_tail_average_of_all_years_is_the_mean(event_table: Any) -> None:
    # once in 2 years: half of the years are worse than the median, the other half lie below it
    (half, *_rest) = event_table.periods
    largest = np.array(sorted(set(MILLIONS))) * 1e6
    above = np.array([1 - math.prod(1 - c for c, m in zip(CHANCES, MILLIONS, strict=True)
                                    if m * 1e6 >= loss) for loss in largest])  # fmt: skip
    # E[(largest - x)+] summed over steps above the median, by layers
    median = half.occurrence.value
    steps = np.diff(np.concatenate([[0.0], largest]))
    layers = float((above * steps)[largest > median].sum())
    assert half.occurrence_tail.value == pytest.approx(median + layers / 0.5, rel=1e-9)


def exact_law(losses: Any, rates: Any, most: int = 30) -> tuple[np.ndarray, np.ndarray]:
    """Return all sums of a year's losses and their chances, number by number of incidents."""
    chances = {0: math.exp(-sum(rates))}
    one = {0: 1.0}
    for number in range(1, most + 1):
        more: dict[int, float] = {}
        for total, part in one.items():
            for loss, rate in zip(losses, rates, strict=True):
                more[total + loss] = more.get(total + loss, 0.0) + part * rate / number
        one = more
        for total, part in one.items():
            chances[total] = chances.get(total, 0.0) + part * math.exp(-sum(rates))
    levels = np.array(sorted(chances))
    return levels, np.array([chances[level] for level in levels])


def exact_period_loss(levels: np.ndarray, chances: np.ndarray, period: float) -> float:
    above = np.cumsum(chances[::-1])[::-1] - chances
    return float(levels[np.argmax(above <= 1.0 / period + 1e-12)])


#: Losses in whole money and yearly rates: alone, close together, a cap far beyond the rest.
DISCRETE = {
    "one loss": ((1000,), (0.3,)),
    "close losses": ((1000, 1003, 1007, 1012, 1050), (0.1, 0.05, 0.05, 0.03, 0.02)),
    "fixed part and cap": ((300, 310, 250_000), (0.2, 0.1, 0.004)),
    "event table": (tuple(round(m * 1e6) for m in MILLIONS), tuple(-np.log1p(-np.array(CHANCES)))),
    "many a year": ((100, 101), (2.0, 1.0)),
}


@pytest.mark.parametrize("name", DISCRETE)
def test_losses_that_come_again_are_exact_alone_and_added_up(name: str) -> None:
    losses, rates = DISCRETE[name]
    (found,) = yearly_losses(tally_of(np.array(losses, float), rates, 4))
    levels, chances = exact_law(losses, rates)
    for period in found.periods:
        expected = exact_period_loss(levels, chances, period.period_years)
        told = period.aggregate
        assert told.value == pytest.approx(expected, rel=1e-9), period.period_years
        # the rates are the same in all histories, so nothing is uncertain
        assert told.std_error <= 1e-9 * max(expected, 1.0)
        assert told.low == told.high == told.value
    for point in found.curve:
        expected = chances[levels > point.loss].sum()
        assert point.aggregate.value == pytest.approx(expected, rel=1e-9)


def test_one_loss_of_a_thousand_comes_once_or_twice() -> None:
    """Poisson law at 0.3 a year: of one and more 25.9 %, of two 3.69 %, of three 0.36 %."""
    (found,) = yearly_losses(tally_of(np.array([1000.0]), [0.3], 4))
    assert {p.period_years: p.aggregate.value for p in found.periods} == {
        2.0: 0.0, 5.0: 1000.0, 10.0: 1000.0, 25.0: 1000.0, 50.0: 2000.0, 100.0: 2000.0,
        250.0: 2000.0,
    }  # fmt: skip


def test_curve_shows_a_smallest_loss_that_is_a_power_of_ten() -> None:
    (found,) = yearly_losses(tally_of(np.array([1000.0]), [0.3], 4))
    assert found.curve[0].loss < 1000.0
    assert found.curve[0].occurrence.value == pytest.approx(-math.expm1(-0.3))
    at = next(point for point in found.curve if point.loss == 1000.0)
    assert at.occurrence.value == 0.0  # nothing is above it
    assert at.aggregate.value == pytest.approx(stats.poisson.sf(1, 0.3))


def poisson_tally(generator: Any, loss: float, rate: float, histories: int) -> LossTally:
    """Return the tally of histories that leak by chance, so that the rate is uncertain."""
    rows = np.zeros((1, histories, 1), L.INCIDENT).view(np.recarray)
    rows["weight"] = generator.poisson(rate * YEARS, (1, histories, 1))
    rows["modelled"] = loss
    tally = LossTally(1, YEARS, block=1)
    tally.add(Incidents(rows))
    return tally


def test_an_atom_is_only_certain_far_from_its_edge() -> None:
    generator = np.random.default_rng(3)
    tally = poisson_tally(generator, 1000.0, 0.3, 640)  # rate known to 2 %
    periods = (10.0, 27.0, 100.0)  # 27 years: two losses come once in 27.1 years
    ten, edge, hundred = (p.aggregate for p in yearly_losses(tally, periods)[0].periods)
    assert (ten.value, ten.low, ten.high) == (1000.0, 1000.0, 1000.0)
    assert ten.std_error < 1.0
    assert (edge.low, edge.high) == (1000.0, 2000.0)
    assert 200.0 < edge.std_error < 800.0
    assert hundred.low == hundred.high == 2000.0


def test_intervals_hold_an_atom_near_its_edge() -> None:
    """Two losses of a thousand come once in 27.1 years; the loss once in 30 years is 2,000."""
    generator = np.random.default_rng(5)
    told = [
        yearly_losses(poisson_tally(generator, 1000.0, 0.3, 320), (30.0,))[0].periods[0].aggregate
        for _ in range(60)
    ]
    assert sum(e.low <= 2000.0 <= e.high for e in told) >= 52
    assert any(e.value == 1000.0 for e in told)  # so the interval is needed
    assert all(e.std_error > 0.0 for e in told)


def test_losses_of_many_sizes_are_never_certain() -> None:
    """Of 64,000 log-normal losses the ones once in so many years, sharp to about 1 %."""
    rows = np.zeros((1, 1000, 64), L.INCIDENT).view(np.recarray)
    rows["weight"] = 0.4 * YEARS / 64
    rows["modelled"] = 1000.0 * np.random.default_rng(8).lognormal(size=rows.shape)
    tally = LossTally(1, YEARS, block=1)
    tally.add(Incidents(rows))
    (found,) = yearly_losses(tally)
    for period in found.periods[1:]:
        exact = np.quantile(rows["modelled"], 1.0 + math.log1p(-1.0 / period.period_years) / 0.4)
        assert period.occurrence.value == pytest.approx(exact, rel=0.005)
        assert 0.0 < period.occurrence.std_error < 0.03 * exact


@pytest.mark.parametrize("rate", [0.02, 0.8, 40.0])
def test_sum_of_equal_losses_is_a_poisson_number(rate: float) -> None:
    levels, chances = distribution_of_sum(np.array([250.0]), np.array([rate]))
    for number in (0, 1, 2, 5, 40):
        at = np.isclose(levels, 250.0 * number)
        assert chances[at].sum() == pytest.approx(stats.poisson.pmf(number, rate), abs=1e-9)
    assert (levels * chances).sum() == pytest.approx(250.0 * rate, rel=1e-5)


def test_sum_of_exponential_losses_has_its_known_tail() -> None:
    # P(S > x) of a compound Poisson sum of exponential losses, term by term of the number
    rate, mean = 0.6, 1000.0
    edges = -mean * np.log1p(-(np.arange(400_000) + 0.5) / 400_000)
    levels, chances = distribution_of_sum(edges, np.full(400_000, rate / 400_000))
    for x in (500.0, 3000.0, 8000.0):
        exact = sum(
            stats.poisson.pmf(n, rate) * stats.gamma.sf(x, n, scale=mean) for n in range(1, 40)
        )
        assert chances[levels > x].sum() == pytest.approx(exact, rel=5e-3)


def test_sum_agrees_with_simulated_years() -> None:
    losses, rates = np.array([100.0, 900.0, 20_000.0]), np.array([1.5, 0.3, 0.02])
    levels, chances = distribution_of_sum(losses, rates)
    sums = yearly_sums(losses, rates, years=400_000, seed=3)
    for x in (50.0, 450.0, 1950.0, 21_050.0):
        share = float(np.mean(sums > x))
        error = math.sqrt(share * (1 - share) / len(sums))
        assert_agrees(Finding(share, error, float(chances[levels > x].sum())), 0.05)


def test_curves_agree_with_the_years_of_natural_leaks() -> None:
    scenario = shutoffsim.loads(COMMON)
    params = leaking(scenario.parameters(), 0.4)
    tally = LossTally(1, 10.0, params=params)
    worst: list[np.ndarray] = []
    total: list[np.ndarray] = []
    for chunk in run_chunks(Setup.of(params, 5), 0, 6400):
        tally.add(chunk)
        n = chunk.rows.shape[1]
        year = (chunk.natural["onset"] / L.YEAR).astype(int)
        place = (chunk.natural["history"] - chunk.first) * 10 + year
        total.append(np.bincount(place, chunk.natural["loss"], minlength=10 * n))
        largest = np.zeros(10 * n)
        np.maximum.at(largest, place, chunk.natural["loss"])
        worst.append(largest)
    (found,) = yearly_losses(tally)
    largest, sums = np.concatenate(worst), np.concatenate(total)
    compared = 0
    for point in found.curve:
        for told, years in ((point.occurrence, largest), (point.aggregate, sums)):
            by_history = (years > point.loss).reshape(-1, 10).mean(axis=1)
            counted, error = by_history.mean(), by_history.std(ddof=1) / math.sqrt(len(by_history))
            if not 0.003 < counted < 0.9:
                continue
            finding = Finding(counted, error, told.value, told.std_error)
            assert finding.apart < TOLERANCE, f"above {point.loss}: {finding}"
            compared += 1
    assert compared > 20


COMMON = """
[leaks.hose]
kind = "appliance hose"
life = "30 years"
life_shape = 1
[designs."no automation"]
element.kind = "none"
"""


def test_interval_of_a_mean_is_that_of_its_groups() -> None:
    values = np.random.default_rng(1).lognormal(size=32)
    (found,) = jackknife(values[:, None], np.ones(32), lambda total, n: total / n)
    assert found.value == pytest.approx(values.mean())
    assert found.std_error == pytest.approx(values.std(ddof=1) / math.sqrt(32))
    assert found.high - found.value == pytest.approx(stats.t.ppf(0.975, 31) * found.std_error)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Loss once in 50 years from samples of a known law: 95 % intervals, 60 times."""
    generator = np.random.default_rng(7)
    rate = 0.5
    truth = math.exp(stats.norm.ppf(1 + math.log(1 - 1 / 50) / rate))
    held = 0
    values, errors = [], []
    for _ in range(60):
        losses = 1000.0 * generator.lognormal(size=(512, 8))
        rows = np.zeros((1, 512, 8), L.INCIDENT).view(np.recarray)
        rows["weight"] = rate * YEARS / 8
        rows["modelled"] = losses
        tally = LossTally(1, YEARS, block=16)
        tally.add(Incidents(rows))
        (found,) = yearly_losses(tally)
        told = next(p for p in found.periods if p.period_years == 50.0).occurrence
        held += told.low <= 1000.0 * truth <= told.high
        values.append(told.value)
        errors.append(told.std_error)
    assert held >= 52  # 95 % of 60, less three standard deviations of a fair count
    assert 0.75 < np.mean(errors) / np.std(values, ddof=1) < 1.35


def test_nothing_that_leaks_costs_nothing() -> None:
    (found,) = yearly_losses(tally_of(np.zeros(1), np.zeros(1), 4))
    assert found.curve == ()
    assert all(p.occurrence.value == p.aggregate_tail.value == 0.0 for p in found.periods)
    assert all(p.resolved for p in found.periods)


def test_a_single_large_leak_is_not_called_resolved() -> None:
    losses = np.full(40, 1000.0)
    rates = np.full(40, 0.01)
    losses[0], rates[0] = 1e6, 0.005
    (found,) = yearly_losses(tally_of(losses, rates, 4))
    resolved = {p.period_years: p.resolved for p in found.periods}
    assert resolved[10.0]
    assert not resolved[250.0]


def test_huge_losses_stay_finite() -> None:
    (found,) = yearly_losses(tally_of(np.array([1e13, 5.0]), np.array([0.02, 100.0]), 4))
    assert found.periods[-1].aggregate.value == pytest.approx(1e13, rel=0.05)
    assert all(math.isfinite(p.aggregate.value) for p in found.curve)
    assert found.curve[-1].loss >= 1e13
