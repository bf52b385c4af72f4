"""When leaks start: by season, age, spells and use, against the law as the model states it.

The yearly totals are checked elsewhere; a total does not tell winter from summer. Winter leaks
follow cosine squared over the half of the year around the coldest day, with the yearly mean 1: four
times the yearly rate on the coldest day, twice an eighth of a year away from it, none in the other
half.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from checks import perfect
from scipy import integrate, stats

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.engine.trace import new_state
from shutoffsim.model import layout as L
from shutoffsim.model import leak

YEAR = 365.25 * 86400.0
DAY = 86400.0
COLDEST = 19.0  # days after New Year: 20 January
WINTER = """
weather.coldest_day = "20 January"
leaks.hose = {rate = "3 per year", season = "winter"}
"""


def winter_law(day: float) -> float:
    """Return the factor on the yearly rate, written out anew."""
    around = (day - COLDEST + 365.25 / 2) % 365.25 - 365.25 / 2  # days from the coldest one
    if abs(around) >= 365.25 / 4:
        return 0.0
    return 4.0 * math.cos(2.0 * math.pi * around / 365.25) ** 2


def shares(law, cuts) -> np.ndarray:
    """Return the share of a law's integral between neighbouring cuts."""
    parts = [integrate.quad(law, a, b, limit=400)[0] for a, b in pairwise(cuts)]
    return np.array(parts) / sum(parts)


def agree(counts: np.ndarray, expected: np.ndarray) -> bool:
    """Return whether counts follow the expected shares, empty classes exactly."""
    some = expected > 1e-9
    if counts[~some].any():
        return False
    whole = expected[some] * counts.sum() / expected[some].sum()
    return bool(stats.chisquare(counts[some], whole).pvalue > 1e-4)


@pytest.mark.parametrize(
    ("years_from_coldest", "factor"),
    [(0, 4), (1 / 8, 2), (7 / 8, 2), (1 / 6, 1), (1 / 2, 0), (0.251, 0), (0.749, 0), (1, 4)],
)
def test_the_rate_by_distance_from_the_coldest_day(years_from_coldest, factor):
    """Cosine squared of 0, 45 and 60 degrees is 1, 1/2 and 1/4."""
    p = perfect(WINTER).parameters()[0]
    s = new_state(1, 0)[0]
    rate = leak.leak_rate(p, s, 0, COLDEST * DAY + years_from_coldest * YEAR, L.AWAKE)
    assert rate * YEAR == pytest.approx(3.0 * factor, rel=1e-9)


MONTHS = np.arange(13) * 365.25 / 12  # a twelfth of a year each


def by_month(onsets: np.ndarray, weights: np.ndarray | None = None) -> np.ndarray:
    day = onsets / DAY % 365.25
    return np.histogram(day, MONTHS, weights=weights)[0]


def natural_onsets(changes: str, years: int, histories: int, seed: int = 4) -> np.ndarray:
    params = perfect(changes, life=f"{years} years").parameters()
    return run_chunk(Setup.of(params, seed, probes=1), 0, histories).natural["onset"]


def test_natural_leaks_by_month():
    onsets = natural_onsets(WINTER, 4, 300)
    expected = shares(winter_law, MONTHS)
    assert len(onsets) > 3000
    assert agree(by_month(onsets), expected)
    assert not agree(by_month(onsets), np.roll(expected, 6))
    assert not agree(by_month(onsets), np.full(12, 1 / 12))


def test_probes_by_month():
    """Weights of probes add up to the law, whatever their density."""
    params = perfect(WINTER, life="4 years").parameters()
    rows = run_chunk(Setup.of(params, 4, probes=64), 0, 128).rows[0]
    per_history = np.array([by_month(row["onset"], row["weight"]) for row in rows])
    found, error = per_history.mean(axis=0), per_history.std(axis=0, ddof=1) / math.sqrt(128)
    expected = 4 * 3.0 * shares(winter_law, MONTHS)
    assert (np.abs(found - expected) <= 4.5 * error + 1e-9).all()
    assert error.max() < 0.03 * expected.max()
    assert (np.abs(found - np.roll(expected, 6)) > 4.5 * error).any()


def test_spells_come_in_the_same_half_of_the_year():
    """Leaks that hardly come but in short spells: they follow the season of the spells."""
    spells = """
    weather = {spell_rate = "20 per year", spell_duration = "1 h", coldest_day = "20 January"}
    leaks.hose = {rate = "0.001 per year", spell_factor = 5e6}
    """
    onsets = natural_onsets(spells, 2, 40)
    hours = np.unique((onsets / 3600).astype(int))  # leaks of one spell count once
    counts = by_month(hours * 3600.0)
    assert counts.sum() > 400
    expected = shares(winter_law, MONTHS)
    assert agree(counts, expected)
    assert not agree(counts, np.roll(expected, 6))


def test_leaks_of_ageing_parts_by_year():
    """Weibull parts, 5 years old, replaced at 8: n (k/s)(age/s)^(k-1), age starting anew."""
    changes = """
    leaks.hose = {life = "6 years", life_shape = 3, parts = 4, age = "5 years", \
replace_at = "8 years"}
    """
    onsets = natural_onsets(changes, 10, 100) / YEAR

    def law(t: float) -> float:
        return 4 * 3 / 6 * (((5 + t) % 8) / 6) ** 2

    cuts = np.arange(11.0)
    counts = np.histogram(onsets, cuts)[0]
    assert agree(counts, shares(law, cuts))
    whole = 100 * integrate.quad(law, 0, 10, points=[3])[0]
    assert counts.sum() == pytest.approx(whole, abs=4.5 * whole**0.5)
    assert not agree(counts, shares(lambda t: law(t + 1), cuts))


def test_leaks_in_use_start_while_somebody_is_awake():
    """At the yearly mean: nobody is awake for half of the day, so twice as often in the other."""
    day = '{wake = "06:00", leave = "12:00", return = "18:00", sleep = "24:00", out_chance = 1}'
    changes = f"""
    people.week = {{weekdays = {day}, saturday = {day}, sunday = {day}}}
    leaks.hose = {{rate = "20 per year", starts = "in use"}}
    """
    hours = natural_onsets(changes, 1, 100) / 3600 % 24
    counts = np.histogram(hours, [0, 6, 12, 18, 24])[0]
    assert agree(counts, np.array([0.0, 0.5, 0.0, 0.5]))
    assert counts.sum() == pytest.approx(2000, abs=4.5 * 2000**0.5)
