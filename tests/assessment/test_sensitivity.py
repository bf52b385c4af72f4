"""Ranges made by rule, and what varying an assumption does to the answer."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import shutoffsim
from shutoffsim.scenario.entries import Entry, dimension_of, given, read
from shutoffsim.scenario.quantities import as_written
from shutoffsim.study.assessment.ranges import RULES, Range, range_of
from shutoffsim.study.assessment.result import Assessment
from shutoffsim.study.assessment.sensitivity import vary_assumptions


def entry(key: str, raw: Any) -> Entry:
    """An entry as it would be read from a file."""
    path = tuple(key.split("."))
    return Entry(path, raw, read(path, raw, "EUR"), dimension_of(path), None, "")


@pytest.mark.parametrize(
    ("path", "raw", "low", "high", "rule"),
    [
        ("mains.outage_rate", "1.2 per year", "0.6 per year", "2.4 per year", "times and rates"),
        ("override.find_known", {"median": "1 min", "spread": 2},
         {"median": "0.5 min", "spread": 2}, {"median": "2 min", "spread": 2}, "times and rates"),
        ("leaks.a.seep_share", 0.5, 0.333333, 0.666667, "odds"),
        ("leaks.a.seep_share", "20 %", "11.1111 %", "33.3333 %", "odds"),
        ("supply.voltage", "6 V", "5.45455 V", "6.6 V", "voltages"),
        ("damage.fixed_loss", "300 EUR", "200 EUR", "450 EUR", "all other"),
        ("damage.area_loss", "9 EUR/ft2", "6 EUR/ft2", "13.5 EUR/ft2", "all other"),
        ("valve.idle_growth", 0.3, 0.2, 0.45, "all other"),
        ("valve.age_factor", {"least": 1, "median": 1.6, "spread": 2},
         {"least": 1, "median": 1.4, "spread": 2}, {"least": 1, "median": 1.9, "spread": 2},
         "never below 1"),
        ("valve.age_factor", 1.3, 1.2, 1.45, "never below 1"),
        ("valve.idle_cap", 3, 2.33333, 4.0, "never below 1"),
        ("dwelling.film", {"low": "1 mm", "high": "9 mm"}, {"low": "0.666667 mm", "high": "6 mm"},
         {"low": "1.5 mm", "high": "13.5 mm"}, "all other"),
        ("dwelling.drain_down", {"least": "1 L", "likely": "2 L", "most": "4 L"},
         {"least": "0.666667 L", "likely": "1.33333 L", "most": "2.66667 L"},
         {"least": "1.5 L", "likely": "3 L", "most": "6 L"}, "all other"),
        ("valve.closing_share", {"low": 0.5, "high": 0.8, "shape": "even"},
         {"low": 0.333333, "high": 0.666667, "shape": "even"},
         {"low": 0.666667, "high": 0.888889, "shape": "even"}, "odds"),
        ("battery.life", {"life": "8 years", "shape": 3}, {"life": "4 years", "shape": 3},
         {"life": "16 years", "shape": 3}, "times and rates"),
        ("leaks.a.life_shape", 2.4, 2.0, 2.88, "shapes of lives"),
        ("battery.capacity", "3 Ah", "2 Ah", "4.5 Ah", "all other"),
        # The time for an angle is the reciprocal of a speed: the slow end is the long time.
        ("actuator.no_load_speed", "3 s per turn", "4.5 s per turn", "2 s per turn", "all other"),
    ],
)  # fmt: skip
def test_range_follows_its_rule(path: str, raw: Any, low: Any, high: Any, rule: str) -> None:
    told = entry(path, raw)
    found = range_of(told)
    assert isinstance(found, Range)
    for end, expected in ((found.low, low), (found.high, high)):
        assert as_written(given(told.path, end, raw)) == expected
    assert rule in found.rule
    assert found.rule in RULES


def test_life_is_varied_so_that_leaks_are_half_to_double() -> None:
    found = range_of(entry("leaks.a.life", "100 years"), 2.5)
    assert isinstance(found, Range)
    assert (found.high / found.low) ** 2.5 == pytest.approx(4.0, rel=1e-12)


@pytest.mark.parametrize(
    ("path", "raw", "reason"),
    [
        ("battery.fitted", True, "a choice"),
        ("valve.type", "lever ball DN15", "a choice"),
        ("detection.votes", 1, "a choice"),
        ("exercise.interval", "never", "no number"),
        ("insurance.limit", "no limit", "no number"),
        ("valve.seize_time", "never", "no number"),
        ("actuator.stick_chance", 0, "end of its range"),
        ("people.week.weekdays", {"wake": "06:00", "sleep": "22:00"}, "a choice"),
        ("actuator.ambient", "20 degC", "no natural factor"),
    ],
)
def test_what_has_no_range_has_a_reason(path: str, raw: Any, reason: str) -> None:
    found = range_of(entry(path, raw))
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
