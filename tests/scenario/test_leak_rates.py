"""Leaks a year of each source: by hand, and as the simulation has them."""

import math

import pytest
from checks import perfect

from shutoffsim import compare
from shutoffsim.scenario.leak_rates import leaks_a_year

OFTEN_EMPTY = (
    'people = {trips = true, stay = {mean = "5 days"}, trip = {mean = "20 days"}, '
    'week = {weekdays = "home", saturday = "out", sunday = "out"}}\n'
)
SPELLS = 'weather = {spell_rate = "6 per year", spell_duration = "5 days"}\n'


def rate_of(changes: str, life: str = "10 years") -> float:
    """Return the leaks a year that are told, and check the simulated ones against them."""
    scenario = perfect(changes, life=life)
    (told,) = leaks_a_year(scenario.design("0").system, scenario.service_life).values()
    found = compare(scenario, histories=2048).designs[0].leaks_per_year
    assert abs(found.value - told) <= 4.0 * found.std_error + 1e-9 * told
    return told


@pytest.mark.parametrize("starts", ["any time", "in use"])
def test_the_yearly_mean_is_what_the_file_says_however_often_people_are_away(starts):
    """Of a home that is empty four fifths of the time, too."""
    text = f'leaks.hose = {{rate = "0.001 per year", starts = "{starts}"}}\n' + OFTEN_EMPTY
    assert rate_of(text) == pytest.approx(1e-3, rel=1e-6)


def test_trips_raise_the_rate_by_their_share():
    text = 'leaks.hose = {rate = "0.001 per year", trip_factor = 3}\n' + OFTEN_EMPTY
    assert rate_of(text) == pytest.approx(1e-3 * (1 + 2 * 0.8), rel=1e-6)


def test_winter_alone_has_a_mean_of_one():
    assert rate_of('leaks.hose = {rate = "0.001 per year", season = "winter"}\n') == pytest.approx(
        1e-3, rel=1e-4
    )


def test_spells_raise_the_rate_by_the_share_of_time_that_they_last():
    """In the winter half: y = 6 x 5/365.25 x 4 cos^2; mean of 1 + 9 y / (1 + y) by quadrature."""
    points = [(k + 0.5) / 1e5 * 2 * math.pi for k in range(100_000)]
    spells = [6 * 5 / 365.25 * 4 * max(math.cos(x), 0.0) ** 2 for x in points]
    exact = sum(1 + 9 * y / (1 + y) for y in spells) / len(spells)
    found = rate_of('leaks.hose = {rate = "0.001 per year", spell_factor = 10}\n' + SPELLS)
    assert found == pytest.approx(1e-3 * exact, rel=1e-3)


def test_ageing_parts_leak_by_their_hazard():
    """4 parts, (t/s)^3: from 6 years to the replacement at 10, then from 0 to 6."""
    text = (
        'leaks.hose = {life = "100 years", life_shape = 3, parts = 4, age = "6 years", '
        'replace_at = "10 years"}\ndrop = ["leaks.hose.rate"]\n'
    )
    hazard = 4 * (0.1**3 - 0.06**3 + 0.06**3) / 10
    assert rate_of(text) == pytest.approx(hazard, rel=1e-6)


def test_where_nobody_is_ever_awake_nothing_leaks_in_use():
    scenario = perfect(
        'leaks.hose = {rate = "1 per year", starts = "in use"}\n'
        'people.week = {weekdays = "out", saturday = "out", sunday = "out"}\n'
    )
    assert leaks_a_year(scenario.design("0").system, scenario.service_life)["hose"] == 0.0
