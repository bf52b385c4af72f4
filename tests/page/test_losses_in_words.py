"""How a year's losses are told in a sentence, where there mostly are none."""

from __future__ import annotations

from types import SimpleNamespace

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.page.parts import losses
from shutoffsim.report.summary import first_page

ONCE = {
    "rare": [SimpleNamespace(period_years=10_000.0, aggregate=Estimate(9000.0, 500.0, 8e3, 1e4))],
    "none": [SimpleNamespace(period_years=50.0, aggregate=Estimate(0.0, 0.0, 0.0, 0.0))],
}


def design(name):
    return SimpleNamespace(yearly_loss=SimpleNamespace(periods=ONCE[name]))


def test_a_page_does_not_say_that_more_than_nothing_is_lost_so_often():
    found = SimpleNamespace(reference="rare", chosen="none", currency="EUR", design=design)
    told = losses._told(found)
    assert "“rare” more than 9,000 EUR once in 10,000 years" in told
    assert "“none” nothing, except in at most one year in 50" in told


def test_a_summary_does_not_either():
    told = first_page._told([(name, design(name)) for name in ONCE], "EUR")
    assert "rare: 9,000 EUR once in 10,000 years" in told
    assert "none: nothing, except in at most one year in 50" in told
