"""Ranges made by rule, and what varying an assumption does to the answer."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import shutoffsim
from shutoffsim.study.assessment.ranges import RULES, Range, range_of
from shutoffsim.study.assessment.result import Assessment
from shutoffsim.study.assessment.sensitivity import vary_assumptions


@pytest.mark.parametrize(
    ("path", "raw", "low", "high", "rule"),
    [
        ("mains.outage_rate", "1.2 per year", "0.6 per year", "2.4 per year", "times and rates"),
        ("override.find_known", {"median": "1 min", "spread": 2},
         {"median": "0.5 min", "spread": 2}, {"median": "2 min", "spread": 2}, "times and rates"),
        ("leaks.a.seep_share", 0.5, 1 / 3, 2 / 3, "odds"),
        ("leaks.a.seep_share", "20 %", "11.1111 %", "33.3333 %", "odds"),
        ("supply.voltage", "6 V", "5.45455 V", "6.6 V", "voltages"),
        ("damage.fixed_loss", "300 EUR", "200 EUR", "450 EUR", "all other"),
        ("valve.idle_growth", 0.3, 0.2, 0.45, "all other"),
        ("valve.age_factor", {"least": 1, "median": 1.6, "spread": 2},
         {"least": 1, "median": 1.4, "spread": 2}, {"least": 1, "median": 1.9, "spread": 2},
         "never below 1"),
        ("valve.age_factor", 1.3, 1.2, 1.45, "never below 1"),
        ("valve.idle_cap", 3, 7 / 3, 4.0, "never below 1"),
        ("dwelling.film", {"low": "1 mm", "high": "9 mm"}, {"low": "0.666667 mm", "high": "6 mm"},
         {"low": "1.5 mm", "high": "13.5 mm"}, "all other"),
        ("leaks.a.life_shape", 2.4, 2.0, 2.88, "shapes of lives"),
        ("battery.capacity", "3 Ah", "2 Ah", "4.5 Ah", "all other"),
    ],
)  # fmt: skip
def test_range_follows_its_rule(path: str, raw: Any, low: Any, high: Any, rule: str) -> None:
    found = range_of(tuple(path.split(".")), raw)
    assert isinstance(found, Range)
    for end, expected in ((found.low, low), (found.high, high)):
        if isinstance(expected, float):
            assert end == pytest.approx(expected, rel=1e-5)
        else:
            assert end == expected
    assert found.rule.startswith(rule) or rule in found.rule
    assert found.rule in RULES


def test_life_is_varied_so_that_leaks_are_half_to_double() -> None:
    found = range_of(("leaks", "a", "life"), "100 years", 2.5)
    assert isinstance(found, Range)
    ratio = float(found.high.split()[0]) / float(found.low.split()[0])
    assert ratio**2.5 == pytest.approx(4.0, rel=1e-4)


@pytest.mark.parametrize(
    ("path", "raw", "reason"),
    [
        ("battery.fitted", True, "a choice"),
        ("valve.type", "lever ball DN15", "a choice"),
        ("detection.votes", 1, "a choice"),
        ("exercise.interval", "never", "no number"),
        ("insurance.limit", "no limit", "no number"),
        ("actuator.stick_chance", 0, "end of its range"),
        ("people.week.weekdays", {"wake": "06:00"}, "a choice"),
        ("actuator.ambient", "20 degC", "no natural factor"),
    ],
)
def test_what_has_no_range_has_a_reason(path: str, raw: Any, reason: str) -> None:
    found = range_of(tuple(path.split(".")), raw)
    assert isinstance(found, str)
    assert reason in found


def test_swings_are_ranked_and_pair_with_the_base(assessed: Assessment) -> None:
    found = assessed.sensitivity
    assert found is not None
    spans = [swing.span for swing in found.swings]
    assert spans == sorted(spans, reverse=True)
    assert 5 <= len(spans) <= 12
    assert found.tried > 50
    for swing in found.swings:
        ends = (swing.at_low.value, swing.at_high.value, found.base.value)
        assert swing.span == pytest.approx(max(ends) - min(ends))
        assert swing.at_low.value - found.base.value == pytest.approx(
            swing.change_at_low.value, abs=1e-9
        )
        assert swing.evidence in ("assumption", "from memory", "common practice")
        assert swing.low != swing.high
    assert found.not_varied["element.kind"] == "a choice, not an amount"
    assert not {s.key for s in found.swings} & set(found.not_varied)


def test_base_is_the_difference_of_the_comparison(
    assessed: Assessment, cottage: shutoffsim.Scenario
) -> None:
    found = assessed.sensitivity
    assert found is not None
    names = (found.reference, found.design)
    compared = shutoffsim.compare(
        cottage, names, histories=found.histories, seed=assessed.seed
    ).differences[0]
    assert found.base.value == pytest.approx(compared.expected_annual_damage.value, rel=1e-9)


def test_an_end_is_what_the_scenario_gives_with_that_value() -> None:
    """The same value written into the file gives the same difference."""
    text = """
[leaks.hose]
kind = "appliance hose"
[sensors.a]
[designs.before]
element.kind = "none"
[designs.after]
"""
    scenario = shutoffsim.loads(text)
    found = vary_assumptions(scenario, "after", "before", 3, 64)
    swing = next(s for s in found.swings if s.key == "damage.area_loss")
    placement_kept = text + f'[damage]\narea_loss = "{swing.high}"\n'
    varied = shutoffsim.compare(shutoffsim.loads(placement_kept), histories=64, seed=3)
    assert swing.at_high.value == pytest.approx(
        varied.differences[0].expected_annual_damage.value, rel=1e-9
    )
    assert swing.at_high.value != pytest.approx(found.base.value, rel=0.05)


def test_what_the_user_states_is_not_varied() -> None:
    text = """
[leaks.hose]
kind = "appliance hose"
[damage]
area_loss = "106 EUR/m2"
[designs.before]
element.kind = "none"
[designs.after]
"""
    found = vary_assumptions(shutoffsim.loads(text), "after", "before", 3, 4)
    assert "damage.area_loss" not in {s.key for s in found.swings} | set(found.not_varied)


def test_more_damage_per_area_means_more_is_saved(assessed: Assessment) -> None:
    found = assessed.sensitivity
    assert found is not None
    swing = next(s for s in found.swings if s.key == "damage.severity")
    assert swing.at_high.value < found.base.value < swing.at_low.value < 0.0
    assert np.isfinite(swing.change_at_low.std_error)
