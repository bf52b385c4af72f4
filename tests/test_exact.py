"""Exact answers, reached by scenario files alone: one flaw in an otherwise perfect system.

Each case derives what it expects from a formula that does not come from the program.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import VOLUME, Case, Finding, assert_agrees, over_leaks, per_history, perfect
from scipy import integrate, stats

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L

HOUR = 3600.0
TEST_INTERVAL = 8760.0  # h
LIFE_HOURS = 87600.0  # ten test intervals


def mode_share(*modes: int):
    """Observe the share of leaks with one of these failure modes."""
    return over_leaks(lambda rows: np.isin(rows["mode"], modes))


def stopped_by(stopper: int):
    return over_leaks(lambda rows: rows["stopped_by"] == stopper)


# --- dormant failures, tests and votes --------------------------------------------------------


def mean_survival(x: float) -> float:
    """Return E = (1 - exp(-x)) / x, the mean over one interval of a survival exp(-x t / T)."""
    return -math.expm1(-x) / x


def dormant_average(needed: int, of: int, rate: float, interval: float = TEST_INTERVAL) -> float:
    """Return the average share of an interval in which fewer than ``needed`` of ``of`` work.

    Channels fail dormantly and independently at ``rate`` (1/h), all are as new after each test.
    The average of the binomial probability, term by term; the textbook special cases are
    1oo1: 1 - E(1), 1oo2: 1 - 2 E(1) + E(2), 1oo3: 1 - 3 E(1) + 3 E(2) - E(3),
    2oo3: 3 (1oo2) - 2 (1oo3), 2oo2: 2 (1oo1) - (1oo2), with E(k) = (1 - exp(-k x)) / (k x).
    """

    def unavailable(t: float) -> float:
        return float(stats.binom.cdf(needed - 1, of, math.exp(-rate * t)))

    total, _ = integrate.quad(unavailable, 0.0, interval, epsabs=1e-12)
    return total / interval


@pytest.mark.parametrize(
    ("needed", "of", "published"),
    [
        (1, 1, 1.019257e-1),
        (1, 2, 1.360979e-2),
        (2, 3, 3.676954e-2),
        (1, 3, 2.029920e-3),
        (2, 2, 1.902415e-1),
    ],
)
def test_the_formula_of_dormant_failures_in_closed_form(needed, of, published):
    """The average at 2.5e-5 per h and a yearly test, from the closed forms in the docstring."""
    x = 2.5e-5 * TEST_INTERVAL
    one, two, three = (mean_survival(k * x) for k in (1, 2, 3))
    closed = {
        (1, 1): 1 - one,
        (1, 2): 1 - 2 * one + two,
        (1, 3): 1 - 3 * one + 3 * two - three,
    }
    closed[2, 3] = 3 * closed[1, 2] - 2 * closed[1, 3]
    closed[2, 2] = 2 * closed[1, 1] - closed[1, 2]
    assert dormant_average(needed, of, 2.5e-5) == pytest.approx(closed[needed, of], rel=1e-6)
    assert closed[needed, of] == pytest.approx(published, rel=1e-6)


def sensors(number: int, votes: int, rate: float, common: float = 0.0) -> str:
    """Return ``number`` like sensors with dormant failures and a yearly test by hand."""
    lines = [
        f'detection = {{votes = {votes}, common_cause = {common}, test_interval = "8760 h"}}',
        f'sensors.a.failure_rate = "{rate} per h"',
    ]
    for name in "bcd"[: number - 1]:
        lines.append(
            f'sensors.{name} = {{kind = "wired", zone = "room", reach_chance = 1, '
            f'reach_area = "1 mm2", failure_rate = "{rate} per h", supervised = false, '
            "attempt_success = 1, attempts = 1}"
        )
    return "\n".join(lines)


def voted(needed: int, of: int, histories: int, relative: float = 0.02) -> Case:
    """Sensors that vote, against the average of the exact unavailability.

    The average of the product is not the product of the averages: a model that multiplied
    averages would give x^2/4 for 1oo2 where x^2/3 is right.
    """
    return Case(
        f"sensors {needed}oo{of}",
        sensors(of, needed, 2.5e-5),
        dormant_average(needed, of, 2.5e-5),
        histories=histories,
        relative=relative,
    )


def common_cause() -> Case:
    """Two sensors, one is enough, 10 % of the failures hit both: a shock beside own failures.

    Average over an interval of 1 - exp(-b l t) (1 - (1 - exp(-(1 - b) l t))^2).
    """
    rate, beta = 2.5e-5, 0.1

    def unavailable(t: float) -> float:
        own = -math.expm1(-(1 - beta) * rate * t)
        return 1 - math.exp(-beta * rate * t) * (1 - own**2)

    total, _ = integrate.quad(unavailable, 0.0, TEST_INTERVAL)
    return Case(
        "sensors 1oo2 with common cause",
        sensors(2, 1, rate, beta),
        total / TEST_INTERVAL,
        histories=12000,
    )


def exercised_yearly(rate: float = 2.5e-5) -> str:
    return f"""
    actuator.failure_rate = "{rate} per h"
    exercise.interval = "8760 h"
    """


def dormant_actuator() -> Case:
    """One actuator, a yearly exercise that finds every failure, repair at once: 1 - E(1)."""
    return Case(
        "actuator 1oo1",
        exercised_yearly(),
        dormant_average(1, 1, 2.5e-5),
        mode_share(L.MODE_ACTUATOR_FAILED),
    )


def imperfect_exercise(coverage: float = 0.6) -> Case:
    """An exercise that finds a share c of the kinds of failure, drawn once for each.

    With the chance a the next failure of the unit in use is of a kind that is found: after an
    interval T it has come with 1 - exp(-l T), is mended at once, and the kind of the next is drawn.
    Else it is never found, and the chance to have failed is 1 - exp(-l t) from then on.
    """
    x = 2.5e-5 * TEST_INTERVAL
    a, never, total = coverage, [1 - coverage], 0.0
    for k in range(10):
        total += a * (1 - mean_survival(x))
        total += sum(
            m * (1 - math.exp(-x * (k - j)) * mean_survival(x)) for j, m in enumerate(never)
        )
        failed = a * -math.expm1(-x)
        never.append(failed * (1 - coverage))
        a += failed * coverage - failed
    return Case(
        "actuator with imperfect exercise",
        exercised_yearly() + f"exercise.coverage = {coverage}",
        total / 10,
    )


def detected_failures(rate: float = 1e-3, repair: float = 100.0, histories: int = 4000) -> Case:
    """Failures (per h) that are known at once and take an exponential time (h) to repair.

    U(t) = l / (l + m) (1 - exp(-(l + m) t)), averaged over the service life; the long-run value is
    l MTTR / (1 + l MTTR).
    """
    total = rate + 1 / repair
    long_run = rate / total
    average = long_run * (1 - mean_survival(total * LIFE_HOURS))
    return Case(
        "detected failures under repair",
        f"""
        actuator.failure_rate = "{rate} per h"
        actuator.diagnostic = 1
        actuator.repair = {{mean = "{repair} h"}}
        """,
        average,
        histories=histories,
    )


def dormant_with_repair() -> Case:
    """Dormant failures found by a monthly exercise, then a fixed repair time r below the interval.

    From each renewal, an interval of length T ends with a failure with probability 1 - exp(-l T).
    After one, r is spent down and the next exercise comes T - r after the repair. Let a be the
    chance that the clock of an interval starts at its exercise (working), and b that the unit is
    renewed r into it. a' = a exp(-l T) + b exp(-l (T - r)), b' = the rest.
    """
    rate, interval, repair = 1e-3, 720.0, 240.0  # per h, h, h

    def down(length: float) -> float:  # expected time down, dormant, in an interval of this length
        return length * (1 - mean_survival(rate * length))

    a, b, total = 1.0, 0.0, 0.0
    rounds = 120
    for _ in range(rounds):
        total += a * down(interval) + b * (repair + down(interval - repair))
        a = a * math.exp(-rate * interval) + b * math.exp(-rate * (interval - repair))
        b = 1 - a
    return Case(
        "dormant failures, then a repair time",
        f"""
        actuator.failure_rate = "{rate} per h"
        actuator.repair = "{repair} h"
        exercise.interval = "{interval} h"
        """,
        total / (rounds * interval),
        histories=1500,
        life=f"{rounds * interval} h",
    )


def service_during_exercise() -> Case:
    """A leak that starts while the valve is exercised for tau waits for its end.

    With a late volume of what escapes in d, the share of late leaks is (tau - d) per interval; the
    service life of N intervals holds N - 1 exercises.
    """
    interval, lasting, late = 720.0, 36.0, 6.0  # h
    return Case(
        "leaks during an exercise",
        f"""
        exercise.interval = "{interval} h"
        exercise.outage = "{lasting} h"
        people.notice_burst = "1000 h"
        damage.late_volume = "{late * 60 * 6} L"
        """,
        (lasting - late) / interval * 119 / 120,
        mode_share(L.MODE_LATE),
        histories=4000,
        life=f"{120 * interval} h",
    )


# --- who is first -------------------------------------------------------------------------------


RULE = """
sensors.a.fitted = false
flow_rule = {fitted = true, pulse_volume = "1e-6 L", starting_flow = "0 L/h", flow = "0 L/h", \
time = "15 min", volume = "1e9 L", time_away = "15 min", volume_away = "1e9 L"}
"""


def person_against_fixed_time() -> Case:
    """A log-normal person against an automatic closing after a fixed time c.

    E[min(T, c)] = exp(mu + s^2/2) Phi((ln c - mu - s^2) / s) + c (1 - Phi((ln c - mu) / s)); with
    a median of 10 min, s = 0.8 and c = 15 min it is 9.889813 min. At 6 L/min: expected litres.
    """
    median, s, c = 10.0, 0.8, 15.0
    mu = math.log(median)
    phi = stats.norm.cdf
    expected = math.exp(mu + s * s / 2) * phi((math.log(c) - mu - s * s) / s)
    expected += c * (1 - phi((math.log(c) - mu) / s))
    assert expected == pytest.approx(9.889813, abs=1e-6)
    return Case(
        "expected volume of a race against a fixed time",
        f"""
        {RULE}
        people.notice_burst = "{median} min"
        people.notice_spread = {math.exp(s)}
        """,
        expected * 6e-3,
        VOLUME,
        relative=0.005,
    )


def exponential_race() -> Case:
    """An exponential search for the valve against an exponential way to the sensor: a / (a + b)."""
    return Case(
        "exponential race",
        """
        people.notice_burst = "1e-6 s"
        override.find_known = {mean = "10 min"}
        sensors.a.reach_area = {mean = "45 m2"}
        """,
        # 45 m2 x 2 mm / 6 L/min = 15 min
        (1 / 10) / (1 / 10 + 1 / 15),
        stopped_by(L.BY_HAND),
        relative=0.005,
    )


def lognormal_race() -> Case:
    """P(T1 < T2) = Phi((mu2 - mu1) / sqrt(s1^2 + s2^2)): medians 10 and 15 min, s 0.8 and 0.5."""
    expected = float(stats.norm.cdf(math.log(15 / 10) / math.hypot(0.8, 0.5)))
    assert expected == pytest.approx(0.666327, abs=1e-6)
    return Case(
        "log-normal race",
        f"""
        people.notice_burst = "10 min"
        people.notice_spread = {math.exp(0.8)}
        sensors.a.reach_area = {{median = "45 m2", spread = {math.exp(0.5)}}}
        """,
        expected,
        stopped_by(L.BY_HAND),
        relative=0.005,
    )


def lost_messages() -> Case:
    """Each report of two attempts gets through with 1 - 0.6^2, at most 1 + 2 reports are sent."""
    return Case(
        "lost messages",
        """
        sensors.a = {attempt_success = 0.4, attempts = 2}
        detection = {report_repeats = 2, report_interval = "10 s"}
        """,
        (0.6**2) ** 3,
        mode_share(L.MODE_MESSAGE_LOST),
    )


def repeated_messages() -> Case:
    """Volume until a report gets through: 10 s per lost report, a person comes after 60 s.

    The number of lost reports is geometric with ratio 0.36, capped at six (then the person).
    """
    lost = 0.6**2
    seconds = sum(10 * lost**k for k in range(1, 7))  # E[min(K, 6)] = sum of P(K >= k)
    return Case(
        "volume while reports are lost",
        """
        sensors.a = {attempt_success = 0.4, attempts = 2}
        detection = {report_repeats = 50, report_interval = "10 s"}
        """,
        seconds * 1e-4,
        VOLUME,
    )


# --- power ----------------------------------------------------------------------------------------


OUTAGES_PER_HOUR, OUTAGE_HOURS = 2e-3, 24.0
OUTAGES = f"""
mains.outage_rate = "{OUTAGES_PER_HOUR} per h"
mains.outage_duration = {{mean = "{OUTAGE_HOURS} h"}}
"""


def outages() -> Case:
    """Outages at rate l after each return, exponential with mean d: a two-state Markov process."""
    total = OUTAGES_PER_HOUR + 1 / OUTAGE_HOURS
    average = OUTAGES_PER_HOUR / total * (1 - mean_survival(total * LIFE_HOURS))
    return Case("leaks in outages without a battery", OUTAGES, average, mode_share(L.MODE_NO_POWER))


def outages_with_battery(carried: float = 10.0) -> Case:
    """A battery carries the first a hours of each outage.

    Dark at t: down at t - a, and that outage lasts a more: U(t - a) exp(-a / d).
    """
    total = OUTAGES_PER_HOUR + 1 / OUTAGE_HOURS
    rest = LIFE_HOURS - carried
    average = OUTAGES_PER_HOUR / total * (1 - mean_survival(total * rest))
    average *= math.exp(-carried / OUTAGE_HOURS) * rest / LIFE_HOURS
    return Case(
        "leaks in outages that outlast the battery",
        OUTAGES
        + f"""
        controller.standby_power = "0.5 W"
        battery = {{fitted = true, voltage = "12 V", resistance = "0 ohm", usable = 1, \
capacity = "{carried / 2} Wh", fade = "0 % per year", life = "1e9 h"}}
        """,
        average,
        mode_share(L.MODE_NO_POWER),
        histories=6000,
    )


def gateway() -> Case:
    """Decisions beyond a gateway of availability 0.8."""
    return Case(
        "decision beyond the gateway",
        """
        controller.decides_via_gateway = true
        gateway = {fitted = true, availability = 0.8, backed_up = true}
        """,
        0.2,
        mode_share(L.MODE_GATEWAY_DOWN),
        histories=20000,
        probes=4,
    )


LONG_BATTERY = """
battery = {fitted = true, voltage = "12 V", resistance = "0 ohm", usable = 1, \
capacity = "1e6 Wh", fade = "0 % per year", life = "1e9 h"}
"""


def shut_in_outages() -> Case:
    """A solenoid valve that is powered to stay open is shut in every outage."""
    return Case(
        "solenoid valve shut in outages",
        OUTAGES + 'element.kind = "solenoid, powered open"\nsolenoid = {failure_rate = "0 per h"}',
        outages().expected,
        stopped_by(L.BY_ALREADY_SHUT),
    )


def open_in_outages() -> Case:
    """One that is powered to shut cannot shut in an outage."""
    return Case(
        "solenoid valve without power to shut",
        OUTAGES
        + """
        element.kind = "solenoid, powered shut"
        solenoid = {failure_rate = "0 per h", stick_chance = 0}
        """,
        outages().expected,
        mode_share(L.MODE_NO_POWER),
    )


WAIT = 5.0  # h
SHUT_ON_POWER_LOSS = (
    OUTAGES
    + LONG_BATTERY
    + f'policies = {{close_on_power_loss = true, power_loss_wait = "{WAIT} h"}}'
)


def shut_on_power_loss() -> Case:
    """Shut once an outage has lasted for a wait w: down at t - w, and that outage lasts on."""
    total = OUTAGES_PER_HOUR + 1 / OUTAGE_HOURS
    rest = LIFE_HOURS - WAIT
    average = OUTAGES_PER_HOUR / total * (1 - mean_survival(total * rest))
    return Case(
        "valve shut on power loss",
        SHUT_ON_POWER_LOSS,
        average * math.exp(-WAIT / OUTAGE_HOURS) * rest / LIFE_HOURS,
        stopped_by(L.BY_ALREADY_SHUT),
        histories=6000,
    )


def closings_on_power_loss() -> Case:
    """Needless closings: outages that last longer than the wait.

    Outages start at l (1 - U(t)); the share exp(-w / d) of them lasts longer.
    """
    total = OUTAGES_PER_HOUR + 1 / OUTAGE_HOURS
    rest = LIFE_HOURS - WAIT
    up = 1 - OUTAGES_PER_HOUR / total * (1 - mean_survival(total * rest))
    return Case(
        "closings on power loss",
        SHUT_ON_POWER_LOSS,
        OUTAGES_PER_HOUR * rest * up * math.exp(-WAIT / OUTAGE_HOURS),
        per_history(lambda chunk: chunk.summary["nuisance_closings"][0]),
        histories=500,
        relative=0.005,
    )


def shut_when_away() -> Case:
    """Away a quarter of the time; away mode gets set on 60 % of the trips.

    Without sensors, a leak behind the shut valve wets nothing until people are back and the water
    is on again; it is then found within a minute.
    """
    return Case(
        "valve shut when away",
        """
        people = {trips = true, stay = {mean = "30 days"}, trip = {mean = "10 days"}}
        policies = {away_mode = 0.6, close_when_away = true}
        sensors.a.reach_chance = 0
        """,
        0.6 * 0.25,
        over_leaks(lambda rows: (rows["stopped"] > 100) & (rows["wet_time"] < 100)),
    )


# --- the valve and its actuator -----------------------------------------------------------------


def undersized() -> Case:
    """P(breakaway x share > stall torque x unit): all log-normal, so one normal probability."""
    return Case(
        "torque too small",
        f"""
        valve.breakaway = {{median = "9 N*m", spread = {math.exp(0.5)}}}
        valve.closing_share = 0.8
        actuator.unit_spread = {{median = 0.9, spread = {math.exp(0.1)}}}
        """,
        float(stats.norm.sf(math.log(0.9 * 10 / (9 * 0.8)) / math.hypot(0.5, 0.1))),
        mode_share(L.MODE_UNDERSIZED),
        histories=20000,
        probes=2,
    )


def share_after(moment: float) -> float:
    """Return the share of the service life after ``moment`` hours."""
    return 1 - moment / LIFE_HOURS


def ageing() -> Case:
    """Torque 1 + (f - 1) age / reference passes the stall torque at a known time."""
    # 8 N*m x (1 + 0.5 (age / 15 y)) = 10 N*m at age = 7.5 y; 2.5 y old at the start
    moment = 5 * 8766.0
    return Case(
        "torque grown with age",
        """
        valve = {breakaway = "8 N*m", age = "2.5 years", age_factor = 1.5, \
age_reference = "15 years"}
        """,
        share_after(moment),
        mode_share(L.MODE_UNDERSIZED),
    )


def standing_idle() -> Case:
    """Torque 1 + c ln(1 + weeks) passes the stall torque in each interval between exercises.

    An exercise that stalls is found out, repaired at once, and the valve has been moved.
    """
    c = 0.1
    weeks = math.expm1(0.25 / c)  # 8 N*m x 1.25 = 10 N*m
    return Case(
        "torque grown while idle",
        f"""
        valve = {{breakaway = "8 N*m", idle_growth = {c}, idle_cap = 3}}
        exercise.interval = "8760 h"
        """,
        1 - weeks * 168 / TEST_INTERVAL,
        mode_share(L.MODE_UNDERSIZED),
    )


def seizing() -> Case:
    """A valve seizes after an exponential idle time; nobody moves it: the mean over life."""
    return Case(
        "seized valve",
        'valve.seize_time = {mean = "40000 h"}',
        1 - mean_survival(LIFE_HOURS / 40000),
        mode_share(L.MODE_SEIZED),
        histories=10000,
    )


def slipping() -> Case:
    """Preload falls with a power of time and frees the clamp."""
    hours = 2.0 ** (1.0 / 0.065)  # 10 N*m x hours^-0.065 = 5 N*m
    return Case(
        "slipping mount",
        """
        valve.breakaway = "5 N*m"
        mount = {reaction = "friction", slip_torque = "10 N*m", creep = 0.065}
        """,
        share_after(hours),
        mode_share(L.MODE_MOUNT_SLIPPED),
    )


# --- how often it leaks -------------------------------------------------------------------------


LEAKS_A_YEAR = per_history(lambda chunk: chunk.rows[0]["weight"].sum(axis=1) / 10.0)
NATURAL_LEAKS_A_YEAR = per_history(lambda chunk: chunk.summary["leaks"][0] / 10.0)


def wearing_out(observe=LEAKS_A_YEAR, name="leaks of parts that wear out", relative=0.002) -> Case:
    """Weibull parts, 5 years old, replaced at 8: the cumulative hazard (age / scale)^shape."""
    shape, scale, parts = 2.5, 20.0, 3

    def hazard(age: float) -> float:
        return (age / scale) ** shape

    per_life = hazard(8) - hazard(5) + hazard(7)  # to 8, then 7 years of the next
    return Case(
        name,
        f"""
        leaks.hose = {{life = "{scale} years", life_shape = {shape}, parts = {parts}, \
age = "5 years", replace_at = "8 years"}}
        """,
        parts * per_life / 10,
        observe,
        relative=relative,
        life="10 years",
    )


def wearing_out_naturally() -> Case:
    """The same from the leaks that come by themselves."""
    return wearing_out(NATURAL_LEAKS_A_YEAR, "natural leaks of parts that wear out", relative=0.03)


def winter() -> Case:
    """A winter leak: the season has the yearly mean 1, over whole years."""
    return Case(
        "leaks in winter only",
        'leaks.hose = {rate = "0.2 per year", season = "winter"}',
        0.2,
        LEAKS_A_YEAR,
        life="10 years",
    )


def cold_spells() -> Case:
    """Spells raise the rate: 1 + (f - 1) P(spell).

    Spells start at a rate of twice the cosine squared, doubled again as they come in the winter
    half only, so that a year has its stated number of starts per year without a spell; they end
    at rate 1/mean. P' = r(t) (1 - P) - P / mean, solved numerically.
    """
    year = 365.25
    coldest, starts, lasting, factor = 19.0, 4.0, 12.0, 9.0  # day, per year, days

    def start_rate(day: float) -> float:
        c = math.cos(2 * math.pi * (day - coldest) / year)
        return starts / year * 4 * c * c if c > 0 else 0.0

    def slope(day: float, state: np.ndarray) -> list[float]:
        return [start_rate(day) * (1 - state[0]) - state[0] / lasting, state[0]]

    life = 10 * year
    path = integrate.solve_ivp(slope, (0, life), [0, 0], max_step=1.0, rtol=1e-8)
    return Case(
        "leaks in cold spells",
        f"""
        weather = {{spell_rate = "{starts} per year", spell_duration = {{mean = "{lasting} d"}}, \
coldest_day = "20 January"}}
        leaks.hose = {{rate = "0.2 per year", spell_factor = {factor}}}
        """,
        0.2 * (1 + (factor - 1) * path.y[1, -1] / life),
        LEAKS_A_YEAR,
        life="10 years",
    )


def trips() -> Case:
    """Trips of 10 days, stays of 30, both exponential and begun at random: away a quarter."""
    return Case(
        "leaks while away",
        """
        people = {trips = true, stay = {mean = "30 days"}, trip = {mean = "10 days"}}
        leaks.hose = {rate = "0.2 per year", trip_factor = 5}
        """,
        0.2 * (1 + 4 * 0.25),
        LEAKS_A_YEAR,
        life="10 years",
    )


def in_use_only() -> Case:
    """A leak that starts in use only keeps its rate over a week without trips.

    Half of the week is spent awake at home, so the rate is double there.
    """
    day = '{wake = "06:00", leave = "12:00", return = "18:00", sleep = "24:00", out_chance = 1}'
    return Case(
        "leaks in use",
        f"""
        people.week = {{weekdays = {day}, saturday = {day}, sunday = {day}}}
        leaks.hose = {{rate = "0.2 per year", starts = "in use"}}
        """,
        0.2,
        LEAKS_A_YEAR,
        life="10 years",
    )


CASES = [
    voted(1, 1, 4000),
    voted(1, 2, 18000),
    voted(2, 3, 8000),
    voted(1, 3, 30000, relative=0.04),
    voted(2, 2, 4000),
    common_cause(),
    dormant_actuator(),
    imperfect_exercise(),
    detected_failures(),
    dormant_with_repair(),
    service_during_exercise(),
    person_against_fixed_time(),
    exponential_race(),
    lognormal_race(),
    lost_messages(),
    repeated_messages(),
    outages(),
    outages_with_battery(),
    gateway(),
    shut_in_outages(),
    open_in_outages(),
    shut_on_power_loss(),
    closings_on_power_loss(),
    shut_when_away(),
    undersized(),
    ageing(),
    standing_idle(),
    seizing(),
    slipping(),
    wearing_out(),
    wearing_out_naturally(),
    winter(),
    cold_spells(),
    trips(),
    in_use_only(),
]


def test_nothing_fails_in_the_perfect_system():
    setup = Setup.of(perfect().parameters(), 1, probes=16)
    rows = run_chunk(setup, 0, 500).rows[0]
    assert (rows["mode"] == L.MODE_NONE).all()
    assert (rows["stopped_by"] == L.BY_AUTOMATION).all()
    assert rows["volume"].max() < 1e-6


@pytest.mark.parametrize("case", CASES, ids=str)
def test_simulation_meets_the_exact_answer(case):
    assert_agrees(case.find(), case.relative)


def test_compare_reports_the_exact_answer():
    """The same by the public call: probability of failure, and a loss that only failures have."""
    loss = """
    damage = {harmless = "1 L", fixed_loss = "1000 EUR", area_loss = "0 EUR/m2", \
contents_loss = "0 EUR/m2"}
    """
    scenario = perfect(exercised_yearly() + loss)
    design = shutoffsim.compare(scenario, histories=4000, seed=3).designs[0]
    exact = dormant_average(1, 1, 2.5e-5)
    failed = design.probability_of_failure_on_demand
    assert_agrees(Finding(failed.value, failed.std_error, exact), 0.02)
    damage = design.expected_annual_damage
    assert_agrees(Finding(damage.value, damage.std_error, 1e-6 * 1000 * exact), 0.02)
    assert list(design.failure_modes) == ["actuator failed"]
