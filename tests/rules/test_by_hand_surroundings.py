"""Weather, mains, people's weeks and what they do to leak rates, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import perfect
from staged import DAY, HOUR, Stage

from shutoffsim.engine.trace import new_state
from shutoffsim.model import layout as L
from shutoffsim.model import leak, occupancy, power, streams

YEAR = 365.25 * DAY
COLDEST = 19.0 * DAY  # 20 January
WEATHER = """
weather = {spell_rate = "1e-9 per year", spell_duration = "10 days", coldest_day = "20 January"}
mains = {outage_rate = "2 per year", outage_duration = "5 h", major_rate = "1 per year", \
major_duration = "3 days", dip_rate = "6 per year", dip_duration = "1 min", spell_factor = 4}
"""


def test_a_severe_spell_begins_in_winter_and_ends():
    """On the coldest day a candidate always becomes one, half a year later never."""
    stage = Stage(WEATHER).ring(L.WEATHER, COLDEST)
    assert stage.to(COLDEST + 1).state.spell == 1
    assert stage.to(COLDEST + 10 * DAY - 1).state.spell == 1
    assert stage.to(COLDEST + 10 * DAY + 1).state.spell == 0
    summer = Stage(WEATHER).ring(L.WEATHER, COLDEST + YEAR / 2)
    assert summer.to(COLDEST + YEAR / 2 + 1).state.spell == 0


def test_candidates_of_spells_come_four_times_as_often_as_spells():
    """As a spell is kept with the chance of a winter share over 4, and that has the mean 1."""
    stage = Stage(WEATHER.replace("1e-9", "0.1"))
    u = streams.uniform(*(stage.state[name] for name in ("seed", "history")), 1, 0)
    assert stage.history.times[L.WEATHER] == pytest.approx(-math.log1p(-u) / (4 * 0.1 / YEAR))


SLOW = (
    WEATHER.replace("2 per year", "0.2 per year")
    .replace("1 per year", "0.1 per year")
    .replace("6 per year", "0.6 per year")
)


def test_outages_come_faster_during_a_spell():
    """Ordinary and major ones 4 times as often, dips as ever: the hazard left runs on."""
    stage = Stage(SLOW)
    plain, severe = 0.2 + 0.1 + 0.6, 4 * (0.2 + 0.1) + 0.6
    first = stage.history.times[L.OUTAGE]
    assert first > COLDEST + 40 * DAY
    stage.ring(L.WEATHER, COLDEST).to(COLDEST + 1)
    during = stage.history.times[L.OUTAGE]
    assert during == pytest.approx(COLDEST + (first - COLDEST) * plain / severe, rel=1e-9)
    stage.to(COLDEST + 10 * DAY + 1)
    gone = 10 * DAY * (severe - plain) / plain
    assert stage.history.times[L.OUTAGE] == pytest.approx(first - gone, rel=1e-9)


@pytest.mark.parametrize(
    ("spell", "pick", "expected"),
    [
        (0, 0.66, 60),  # 6 dips, 2 ordinary, 1 major a year
        (0, 0.67, 5 * HOUR),
        (0, 0.88, 5 * HOUR),
        (0, 0.90, 3 * DAY),
        (1, 0.33, 60),  # 6 dips, 8 ordinary, 4 major
        (1, 0.34, 5 * HOUR),
        (1, 0.77, 5 * HOUR),
        (1, 0.78, 3 * DAY),
    ],
)
def test_kinds_of_outages_by_their_shares(spell, pick, expected):
    p = perfect(WEATHER).parameters()[0]
    s = new_state(1, 0)[0]
    s.spell = spell
    assert power.outage_length(p, s, pick, 0.5) == expected


def test_after_an_outage_the_hazard_of_the_next_is_drawn_anew():
    stage = Stage(SLOW)
    first = stage.history.times[L.OUTAGE]
    draw = [
        streams.uniform(stage.state.seed, stage.state.history, streams.OUTAGE_DRAWS, count)
        for count in range(4)
    ]
    rate = (0.2 + 0.1 + 0.6) / YEAR
    assert first == pytest.approx(-math.log1p(-draw[0]) / rate, rel=1e-9)
    stage.to(first + 1)
    assert stage.state.mains == 0
    back = stage.history.times[L.OUTAGE]
    kind = 60 if draw[1] < 6 / 9 else 5 * HOUR if draw[1] < 8 / 9 else 3 * DAY
    assert back == pytest.approx(first + kind, rel=1e-9)
    stage.to(back + 1)
    assert stage.history.times[L.OUTAGE] == pytest.approx(back - math.log1p(-draw[3]) / rate)


# --- rates of leaks -------------------------------------------------------------------------------


RATES = """
leaks.hose = {rate = "3 per year", parts = 2, spell_factor = 5, trip_factor = 7, \
starts = "STARTS"}
"""


@pytest.mark.parametrize(
    ("starts", "spell", "trip", "presence", "factor"),
    [
        ("any time", 0, 0, L.ASLEEP, 1),
        ("any time", 1, 0, L.AWAKE, 5),
        ("any time", 0, 1, L.AWAY, 7),
        ("any time", 1, 1, L.AWAY, 35),
        ("in use", 0, 0, L.AWAKE, 4),  # awake a quarter of the time
        ("in use", 1, 0, L.AWAKE, 20),
        ("in use", 0, 0, L.ASLEEP, 0),
        ("in use", 0, 0, L.OUT, 0),
        ("in use", 0, 1, L.AWAY, 0),
    ],
)
def test_what_raises_the_rate_of_a_leak(starts, spell, trip, presence, factor):
    p = perfect(RATES.replace("STARTS", starts)).parameters()[0]
    s = new_state(1, 0)[0]
    p.people_awake_share, s.spell, s.trip = 0.25, spell, trip
    rate = leak.leak_rate(p, s, 0, DAY, presence)
    assert rate * YEAR == pytest.approx(6 * factor, rel=1e-9)
    assert leak.greatest_rate(p, 0) * YEAR >= 6 * factor * (1 - 1e-12)


@pytest.mark.parametrize(
    ("age", "replace", "at", "now"),
    [(5, 8, 2, 7), (5, 8, 4, 1), (0, 99, 3, 3), (9, 8, 1, 1), (5, 8, 10, 7)],
)
def test_the_rate_of_an_ageing_part(age, replace, at, now):
    """n k/s (age/s)^(k-1); replaced at 8 years, and at once where it is older at the start."""
    p = perfect(
        f"""
        leaks.hose = {{life = "20 years", life_shape = 2.5, parts = 3, age = "{age} years", \
replace_at = "{replace} years"}}
        """
    ).parameters()[0]
    rate = leak.part_rate(p, 0, at * YEAR) * YEAR
    assert rate == pytest.approx(3 * 2.5 / 20 * (now / 20) ** 1.5, rel=1e-9)
    most = max(replace, age) if age < replace < age + 10 else min(age % replace + 10, replace)
    greatest = leak.greatest_rate(p, 0) * YEAR
    assert greatest == pytest.approx(3 * 2.5 / 20 * (most / 20) ** 1.5, rel=2e-3)


def test_a_young_part_that_dies_early_counts_as_a_day_old():
    """Its rate has no bound at age zero."""
    p = perfect('leaks.hose = {life = "20 years", life_shape = 0.5, age = "0 days"}').parameters()[
        0
    ]
    day_old = 0.5 / 20 * (DAY / (20 * YEAR)) ** -0.5
    assert leak.part_rate(p, 0, 1.0) * YEAR == pytest.approx(day_old, rel=1e-9)
    assert leak.part_rate(p, 0, 4 * DAY) * YEAR == pytest.approx(day_old / 2, rel=1e-9)
    assert leak.greatest_rate(p, 0) * YEAR == pytest.approx(day_old, rel=1e-9)


# --- people's weeks -------------------------------------------------------------------------------


WORKING = '{wake = "06:30", leave = "08:00", return = "17:00", sleep = "22:30", out_chance = 0.6}'
RESTING = '{wake = "09:00", leave = "14:00", return = "16:00", sleep = "23:00", out_chance = 1}'
WEEK = (
    f"people.week = {{weekdays = {WORKING}, saturday = {RESTING}, sunday = {RESTING}, "
    f"wednesday = {RESTING}}}\n"
)


def expected_presence(history: int, half_hour: int) -> int:
    """Return where people are, from the plan; Monday at midnight is 0."""
    day, hour = half_hour // 48, half_hour % 48 / 2
    working = day % 7 in (0, 1, 3, 4)
    wake, leave, back, sleep, chance = (6.5, 8, 17, 22.5, 0.6) if working else (9, 14, 16, 23, 1)
    if hour < wake or hour >= sleep:
        return L.ASLEEP
    if leave <= hour < back:
        seed, number = np.uint64(1), np.uint64(history)
        u = streams.uniform(seed, number, streams.PRESENCE_DRAWS, day)
        return L.OUT if u < chance else L.AWAKE
    return L.AWAKE


@pytest.mark.parametrize("first_week", [0, 300])
def test_a_week_of_people_half_hour_by_half_hour(first_week):
    p = perfect(WEEK).parameters()[0]
    s = new_state(1, 3)[0]
    begin = first_week * 7 * 48
    plan = [expected_presence(3, begin + k) for k in range(48 * 21)]
    assert {L.AWAKE, L.ASLEEP, L.OUT} == set(plan)
    for k, there in enumerate(plan[: 48 * 14]):
        now = (begin + k) * 1800.0 + 700.0
        assert occupancy.presence_at(p, s, now) == there
        assert occupancy.presence_at(p, s, (begin + k) * 1800.0) == there
        s.presence = there
        change = next(j for j in range(k, len(plan)) if plan[j] != there)
        until = occupancy.until_presence_changes(p, s, now)
        assert now + until == pytest.approx((begin + change) * 1800.0, abs=1e-5)
    s.trip = 1
    assert occupancy.presence_at(p, s, 1000.0) == L.AWAY
    assert occupancy.until_presence_changes(p, s, 1000.0) == L.NEVER


def test_the_share_of_a_week_awake_at_home():
    """Four working days of 16 h less 0.6 of 9 h, three resting ones of 14 h less 2 h."""
    p = perfect(WEEK).parameters()[0]
    hours = 4 * (16 - 0.6 * 9) + 3 * (14 - 2)
    assert p.people_awake_share == pytest.approx(hours / 168, rel=1e-12)
    trips = 'people.trips = true\npeople.stay = "27 days"\npeople.trip = "9 days"\n'
    q = perfect(WEEK + trips).parameters()[0]
    assert q.people_awake_share == pytest.approx(hours / 168 * 0.75, rel=1e-12)
