"""Histories that are aimed at rare failures: weights put the aim right.

Runs uncompiled; :mod:`test_uncompiled` starts it.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from checks import perfect
from scipy import stats

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.engine.trace import new_state
from shutoffsim.model import aim
from shutoffsim.model import layout as L
from shutoffsim.model.quantiles import EXPONENTIAL, FIXED, WEIBULL

YEAR = 365.25 * 86400.0


def weighed(p: Any, u: float, rarity: float, failure: float) -> tuple[float, float, float]:
    """Return rarity, failure and weight of an aimed history whose uniforms are these."""
    s = new_state(1, 0)[0]
    s.tilt = 1
    rarity, failure = aim.aim_site(p, s, u, rarity, failure)
    s.sensors_ahead, s.battery_ahead = 1.0, 1.0
    aim.set_weight(p, s)
    return rarity, failure, s.weight


STIFF = 'valve.breakaway = {median = "5 N*m", spread = 1.5}\n'
FAILS = 'actuator.failure_rate = "0.01 per year"\n'


def test_stiff_valves_weigh_what_they_are_worth():
    """Over all uniforms, the weights of histories with a valve rarer than that add up to it."""
    p = perfect(STIFF).parameters()[0]
    n = 1500
    total = {0.3: 0.0, 1e-2: 0.0, 1e-5: 0.0, 1.0: 0.0}
    for k in range(n):
        for u in (0.25, 0.75):  # one look, half of the histories
            rarity, _, weight = weighed(p, u, (k + 0.5) / n, 0.7)
            assert weight <= 2.0
            for beyond in total:
                total[beyond] += weight * (rarity < beyond) / n / 2
    for beyond, found in total.items():
        assert found == pytest.approx(beyond, rel=0.02)


@pytest.mark.parametrize("share", [0.1, 0.9])
def test_early_failures_weigh_what_they_are_worth(share):
    """The chance to fail within a share of the service life, in which they are looked for."""
    p = perfect(FAILS).parameters()[0]
    within = -math.expm1(-p.actuator_failure_rate * p.service_life)
    total = 0.0
    n = 1000
    for k in range(n):
        for u in (0.25, 0.75):  # one look, half of the histories
            _, failure, weight = weighed(p, u, 0.5, (k + 0.5) / n)
            total += weight * (failure < share * within) / n / 2
            assert weight <= 2.0
    assert total == pytest.approx(share * within, rel=0.02)


def test_without_aim_nothing_is_weighed():
    p = perfect(STIFF + FAILS).parameters()[0]
    s = new_state(1, 0)[0]
    assert aim.aim_site(p, s, 0.1, 0.3, 0.6) == (0.3, 0.6)
    assert (s.weight, s.aim) == (1.0, aim.NO_LOOK)


def test_half_of_the_histories_are_plain_and_looks_share_the_rest():
    for changes, looks in ((STIFF, 1), (FAILS, 1), (STIFF + FAILS, 2)):
        p = perfect(changes).parameters()[0]
        shares = [aim.share_of(p, look) for look in range(1, 5)]
        assert sum(shares) == 0.5
        assert sorted(shares)[-looks:] == [0.5 / looks] * looks
    assert aim.share_of(perfect('element.kind = "none"').parameters()[0], 1) == 0.0


LIVES = {
    "at a rate": ((FIXED, math.inf, 0.0, 0.0), stats.expon(scale=10.0)),
    "exponential": ((EXPONENTIAL, 4.0, 0.0, 0.0), stats.expon(scale=1 / (1 / 10 + 1 / 4))),
}


@pytest.mark.parametrize("name", LIVES)
@pytest.mark.parametrize("age", [0.0, 3.0])
def test_the_chance_to_die_of_what_has_no_memory(name, age):
    life, law = LIVES[name]
    for time in (0.1, 2.0, 9.0):
        wanted = aim.chance_to_die(0.1, life, age, time)
        assert wanted == pytest.approx(law.cdf(time), rel=1e-9)
        assert aim.time_to_die(0.1, life, age, 20.0, wanted) == pytest.approx(time, rel=1e-6)


def test_the_chance_to_die_of_what_ages():
    """A Weibull life of shape 3, given the age."""
    life, law = (WEIBULL, 3.0, 5.0, 0.0), stats.weibull_min(3.0, scale=5.0)
    for age, time in ((0.0, 2.0), (4.0, 1.0), (6.0, 3.0)):
        expected = 1 - law.sf(age + time) / law.sf(age)
        assert aim.chance_to_die(0.0, life, age, time) == pytest.approx(expected, rel=1e-9)
        both = 1 - (1 - expected) * math.exp(-0.2 * time)
        assert aim.chance_to_die(0.2, life, age, time) == pytest.approx(both, rel=1e-9)


def aimed_share(changes: str, mode: int, histories: int) -> tuple[float, float]:
    """Return the weighted share of leaks with a failure mode, and its standard error."""
    params = perfect(changes, life="6 years").parameters()
    setup = replace(Setup.of(params, 3, probes=4), tilt=True, extra=24)
    rows = run_chunk(setup, 0, histories).rows[0]
    failed = (rows["weight"] * (rows["mode"] == mode)).sum(axis=1)
    every = rows["weight"].sum(axis=1)
    share = failed.sum() / every.sum()
    return share, math.sqrt(((failed - share * every) ** 2).sum()) / every.sum()


def dormant(x: float) -> float:
    """Return 1 - (1 - exp(-x)) / x, the mean over a test interval of the chance to be dead."""
    return 1 + math.expm1(-x) / x


SENSOR = 'sensors.a.failure_rate = "RATE per year"\ndetection.test_interval = "365.25 days"\n'
OTHER = (
    'sensors.b = {kind = "wired", zone = "room", reach_chance = 1, reach_area = "1 mm2", '
    'failure_rate = "RATE per year", supervised = false, attempt_success = 1, attempts = 1}\n'
)


def test_a_rare_dead_sensor_weighs_what_it_is_worth():
    share, error = aimed_share(SENSOR.replace("RATE", "0.01"), L.MODE_SENSOR_DEAD, 128)
    assert share == pytest.approx(dormant(0.01), abs=4.5 * error)
    assert error < 0.2 * share


def test_two_rare_dead_sensors_weigh_what_they_are_worth():
    """Both dead: the mean over a year of (1 - exp(-l t))^2, about (l T)^2 / 3."""
    changes = (SENSOR + OTHER).replace("RATE", "0.05")
    share, error = aimed_share(changes, L.MODE_SENSOR_DEAD, 192)
    x = 0.05
    expected = 1 + 2 * math.expm1(-x) / x - math.expm1(-2 * x) / (2 * x)
    assert share == pytest.approx(expected, abs=4.5 * error)
    assert error < 0.25 * share


def test_a_rare_common_cause_weighs_what_it_is_worth():
    """A twentieth of the failures kills both at once."""
    changes = (SENSOR + OTHER).replace("RATE", "0.05") + "detection.common_cause = 1\n"
    share, error = aimed_share(changes, L.MODE_SENSOR_DEAD, 128)
    assert share == pytest.approx(dormant(0.05), abs=4.5 * error)
    assert error < 0.25 * share


def test_a_rare_dark_dwelling_weighs_what_it_is_worth():
    """A battery that is dead, found at a yearly change, and an outage: the product, nearly.

    Outages last a day and find out nothing, so battery and mains are independent.
    """
    changes = """
    mains = {outage_rate = "0.5 per year", outage_duration = "1 days"}
    battery = {fitted = true, capacity = "1e6 Wh", fade = "0 % per year", \
life = {mean = "4 years"}, change = "365.25 days", test = "never"}
    """
    share, error = aimed_share(changes, L.MODE_NO_POWER, 192)
    assert share == pytest.approx(dormant(1 / 4) * 0.5 / (365.25 + 0.5), abs=4.5 * error)
    assert error < 0.25 * share


def test_what_a_sensor_dies_of_by_itself():
    """Its own rate is what the common cause leaves; its battery counts from its renewal."""
    changes = 'detection.common_cause = 0.3\nsensors.a.battery_life = {mean = "4 years"}\n'
    p = perfect(SENSOR.replace("RATE", "0.2") + changes).parameters()[0]
    assert aim.own_rate(p, 0) * YEAR == pytest.approx(0.2 * 0.7, rel=1e-9)
    s = new_state(1, 0)[0]
    s.sensor_new_at[0] = 1 * YEAR
    expected = -math.expm1(-(0.2 * 0.7 + 1 / 4) * 0.5)
    assert aim.sensor_chance(p, s, 0, 2 * YEAR, 0.5 * YEAR) == pytest.approx(expected, rel=1e-9)
    s.battery_new_at = 1 * YEAR
    p.battery_life = (WEIBULL, 3.0, 5 * YEAR, 0.0)
    law = stats.weibull_min(3.0, scale=5.0)
    found = aim.battery_chance(p, s, 3 * YEAR, 0.5 * YEAR)
    assert found == pytest.approx(1 - law.sf(2.5) / law.sf(2.0), rel=1e-9)
