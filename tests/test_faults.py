"""Deliberate faults: what the other tests compare must notice each of them.

A check that cannot fail checks nothing. Each fault is put into parameters, incidents, the estimator
or the scheduler, and the very comparison that passes elsewhere has to reject it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from checks import Case, Finding, leaking
from test_engines import both, differing, same_bits, ties
from test_estimator import counted, loss, one, paired, sums
from test_exact import (
    CASES,
    cold_spells,
    common_cause,
    detected_failures,
    dormant_actuator,
    dormant_with_repair,
    exponential_race,
    imperfect_exercise,
    in_use_only,
    lost_messages,
    outages,
    outages_with_battery,
    person_against_fixed_time,
    standing_idle,
    trips,
    undersized,
    voted,
    wearing_out,
    winter,
)
from test_invariants import broken_rules, resolved
from test_naive import SYSTEMS, busy_numbers, busy_program, findings, naive_numbers

from shutoffsim.engine import batch, trace
from shutoffsim.engine.run import Setup, run_chunk, run_chunks
from shutoffsim.model import layout as L
from shutoffsim.model.quantiles import FIXED, UNIFORM


def put(**fields: Any) -> Callable[[Any], None]:
    """Return a fault that sets parameters to other values."""

    def change(params: Any) -> None:
        for name, value in fields.items():
            params[name] = value

    return change


def scale(**factors: float) -> Callable[[Any], None]:
    """Return a fault that multiplies parameters."""

    def change(params: Any) -> None:
        for name, factor in factors.items():
            params[name] *= factor

    return change


def longer(name: str, factor: float) -> Callable[[Any], None]:
    """Return a fault that stretches a distribution (fixed or exponential)."""

    def change(params: Any) -> None:
        params[name][..., 1] *= factor

    return change


FAULTS: list[tuple[str, Case, Callable[[Any], None]]] = [
    ("failures switched off", dormant_actuator(), put(actuator_failure_rate=0.0)),
    ("failures 10 % too many", dormant_actuator(), scale(actuator_failure_rate=1.1)),
    ("exercise ignored", dormant_actuator(), put(exercise_interval=np.inf)),
    ("exercise finds all", imperfect_exercise(), put(exercise_coverage=1.0)),
    ("repair never", detected_failures(), put(actuator_repair=[FIXED, np.inf, 0.0, 0.0])),
    ("repair at once", detected_failures(), put(actuator_repair=[FIXED, 0.0, 0.0, 0.0])),
    ("detection forgotten", detected_failures(), put(actuator_diagnostic=0.0)),
    ("repair a quarter longer", dormant_with_repair(), longer("actuator_repair", 1.25)),
    ("one vote for two", voted(2, 3, 8000), put(detection_votes=1)),
    ("two votes for one", voted(1, 2, 18000), put(detection_votes=2)),
    ("sensors never tested", voted(1, 1, 4000), put(detection_test_interval=np.inf)),
    ("common cause forgotten", common_cause(), put(detection_common_cause=0.0)),
    ("common cause doubled", common_cause(), put(detection_common_cause=0.2)),
    ("closing share doubled", undersized(), put(valve_closing_share=[FIXED, 1.6, 0.0, 0.0])),
    ("closing share 5 % off", undersized(), put(valve_closing_share=[FIXED, 0.84, 0.0, 0.0])),
    ("torque of the units alike", undersized(), put(actuator_unit_spread=[FIXED, 1.0, 0.0, 0.0])),
    ("idle torque ignored", standing_idle(), put(valve_idle_growth=0.0)),
    ("idle torque 1 % more", standing_idle(), scale(valve_idle_growth=1.01)),
    ("rule a tenth late", person_against_fixed_time(), scale(flow_rule_time=1.1)),
    ("people a tenth slow", person_against_fixed_time(), scale(people_notice_burst=1.1)),
    ("people all alike", person_against_fixed_time(), put(people_notice_log_spread=0.0)),
    ("another law", exponential_race(), put(override_find_known=[UNIFORM, 0.0, 1200.0, 0.0])),
    ("one repeat too many", lost_messages(), put(detection_report_repeats=3)),
    ("outages a fifth longer", outages(), longer("mains_outage_duration", 1.2)),
    ("battery forgotten", outages_with_battery(), put(battery_fitted=0)),
    ("battery two fifths too large", outages_with_battery(), scale(battery_energy=1.4)),
    ("parts never replaced", wearing_out(), put(source_replace_at=np.inf)),
    ("parts one year older", wearing_out(), put(source_age=6 * L.YEAR)),
    ("spells ignored", cold_spells(), put(source_spell_factor=1.0)),
    ("trips ignored", trips(), put(source_trip_factor=1.0)),
]


@pytest.mark.parametrize(
    ("case", "change"), [pytest.param(case, change, id=name) for name, case, change in FAULTS]
)
def test_a_wrong_parameter_is_noticed(case, change):
    assert not case.find(change).agrees


@pytest.mark.parametrize(
    ("case", "change"),
    [
        (winter(), put(source_winter=0.0)),
        (in_use_only(), put(people_week=L.AWAKE, people_awake_share=1.0)),
    ],
    ids=["another season", "awake all week"],
)
def test_what_only_moves_leaks_in_time_is_no_fault(case, change):
    """The checks above do not reject everything: these leave the leaks a year as they were."""
    assert case.find(change).agrees


def test_weights_off_by_one_twentieth_are_noticed():
    def change(rows: Any) -> None:
        rows["weight"] *= 1.05

    for case in (wearing_out(), winter(), trips()):
        assert case.find().agrees
        assert not case.find(rows=change).agrees


def test_swapped_modes_are_noticed():
    def change(rows: Any) -> None:
        rows["mode"] = np.where(rows["mode"] > 0, L.MODE_LATE, 0)

    assert not dormant_actuator().find(rows=change).agrees


def test_a_product_of_averages_is_told_from_the_average_of_the_product():
    """The classic slip, x^2/4 in place of x^2/3 for one out of two."""
    case = voted(1, 2, 18000)
    single = next(c for c in CASES if c.name == "sensors 1oo1").expected
    assert case.find().agrees
    assert not replace(case, expected=single**2).find().agrees


# --- plain simulators --------------------------------------------------------------------------


NAIVE_FAULTS = [
    ("dormant failures", scale(actuator_failure_rate=1.3), "actuator failed"),
    ("dormant failures", put(exercise_interval=np.inf), "actuator failed"),
    ("dormant failures", put(people_trips=0), "volume"),
    ("dormant failures", put(override_knows_valve=1.0), "loss"),
    ("power", put(battery_change=np.inf, battery_test=np.inf), "no power"),
    ("power", put(battery_fade=0.0, battery_energy=1e9), "no power"),
    ("power", put(supply_failure_rate=0.0), "no power"),
    ("power", put(detection_test_interval=np.inf), "sensor dead"),
    ("power", put(detection_report_repeats=0), "message lost"),
    ("power", put(sensor_supervised=0), "sensor dead"),
    ("torque", put(valve_idle_growth=0.6), "undersized torque"),
    ("torque", put(valve_age=40 * L.YEAR), "undersized torque"),
    ("torque", put(actuator_wear=0.04), "undersized torque"),
    ("torque", put(actuator_strip_chance=0.0), "gears stripped"),
    ("torque", put(mount_fasteners=18), "volume"),
    ("torque", put(exercise_interval=np.inf), "failed"),
    ("seep and flow rule", put(policies_away_mode=0.0), "volume"),
    ("seep and flow rule", put(neighbour_notices=0), "loss"),
    ("seep and flow rule", put(dwelling_units_below=1.0), "loss"),
    ("seep and flow rule", longer("source_seep_growth", 1.5), "volume"),
    ("seep and flow rule", put(valve_seat_leak=[FIXED, 0.0, 0.0, 0.0]), "volume"),
]


@pytest.mark.parametrize(
    ("name", "change", "number"),
    [pytest.param(*fault, id=f"{fault[0]} {k}") for k, fault in enumerate(NAIVE_FAULTS)],
)
def test_a_plain_simulator_notices_a_wrong_parameter(name, change, number):
    system = next(system for system in SYSTEMS if system.name == name)
    assert not findings(naive_numbers(system), system.numbers(change))[number].agrees


@pytest.mark.parametrize(
    ("change", "number"),
    [
        (put(nuisance_switch_off_chance=0.0), "automation switched off"),
        (put(controller_hang_rate=0.0), "controller down"),
        (put(actuator_stick_chance=0.0), "actuator failed"),
        (scale(nuisance_sensor_rate=1.1), "nuisance"),
        (put(controller_watchdog=1), "loss"),
    ],
)
def test_the_busy_simulator_notices_a_wrong_parameter(change, number):
    assert not findings(busy_numbers(), busy_program(change))[number].agrees


# --- the estimator --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cottage_chunks(cottage) -> list[Any]:
    params = leaking(cottage.parameters()[:3], 1.0)
    return list(run_chunks(Setup.of(params, 43, probes=16), 0, 2500))


def test_counting_notices_wrong_weights(cottage_chunks):
    by_count = counted(cottage_chunks, one, 10.0)[0]
    by_probes = sums(cottage_chunks, one, 10.0)[0]
    assert paired(by_count, by_probes).agrees
    assert not paired(by_count, 1.1 * by_probes).agrees


def test_counting_notices_probes_that_ignore_people(cottage_chunks):
    """Probes that see people at home only: their losses are others than those of natural leaks."""

    def at_home(rows: Any) -> Any:
        return rows["loss"] * (rows["presence"] < L.OUT) / (rows["presence"] < L.OUT).mean()

    natural = counted(cottage_chunks, loss, 10.0)[0]
    assert paired(natural, sums(cottage_chunks, loss, 10.0)[0]).agrees
    assert not paired(natural, sums(cottage_chunks, at_home, 10.0)[0]).agrees


def test_treating_probes_as_independent_would_be_noticed(cottage):
    """The spread between probes is far too small where a history decides: the pressure, the valve.

    The error between histories is honest; the naive one claims too much.
    """
    case = undersized()
    honest = replace(case, probes=32, histories=500).find()

    def scatter(rows: Any) -> None:
        flat = rows["mode"].ravel()
        rows["mode"] = np.random.default_rng(1).permutation(flat).reshape(rows["mode"].shape)

    claimed = replace(case, probes=32, histories=500).find(rows=scatter)
    assert honest.std_error > 3 * claimed.std_error
    assert Finding(honest.value, claimed.std_error, case.expected).apart > honest.apart


# --- schedulers and reactions --------------------------------------------------------------------


def test_wrong_order_of_ties_is_noticed(monkeypatch):
    """A scheduler that lets the highest clock go first at equal times."""
    a, b = both(ties(), seed=5, n=16, probes=8)
    assert differing(a, b) == []
    start = trace._Alarm.__init__

    def reverse(self: Any, env: Any, clock: int, ring: Any) -> None:
        start(self, env, clock, ring)
        self.priority = 1000 - clock

    monkeypatch.setattr(trace._Alarm, "__init__", reverse)
    a, b = both(ties(), seed=5, n=16, probes=8)
    assert "rows" in differing(a, b)


@pytest.mark.parametrize("clock", [L.OUTAGE, L.EXERCISE, L.SENSOR_CHECK, L.ACTUATOR, L.TRIP])
def test_a_reaction_left_out_is_noticed(monkeypatch, cottage, clock):
    """An engine that does nothing when one clock rings."""
    react = trace.react

    def forgetful(number: int, now: float, p: Any, s: Any, delay: Any, rows: Any) -> None:
        if number == clock:
            delay[clock] = L.NEVER
        else:
            react(number, now, p, s, delay, rows)

    monkeypatch.setattr(trace, "react", forgetful)
    a, b = both(cottage.parameters()[-2:], seed=1, n=4, probes=4)
    assert differing(a, b) != []


def test_a_late_clock_is_noticed(monkeypatch, cottage):
    """Delays longer by one part in 10^15 do not pass for the same."""
    react = trace.react

    def late(number: int, now: float, p: Any, s: Any, delay: Any, rows: Any) -> None:
        react(number, now, p, s, delay, rows)
        delay[delay > 0.0] *= 1.0 + 4e-16

    monkeypatch.setattr(trace, "react", late)
    a, b = both(cottage.parameters()[1:2], seed=1, n=2, probes=4)
    assert "rows" in differing(a, b)


def test_shared_draws_are_noticed(cottage):
    """A history that took its numbers from its neighbour."""
    setup = Setup.of(cottage.parameters()[:2], 7, probes=4)
    assert not same_bits(run_chunk(setup, 0, 3).rows, run_chunk(setup, 1, 3).rows)
    assert batch.run_histories is not trace.run_histories


# --- invariants ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("column", "value", "rule"),
    [
        ("insured", 1e9, "what is insured is what exceeds the deductible"),
        ("volume", -1e-3, "volumes are never negative"),
        ("units", 99.0, "no more units are wet than there are"),
        ("stopped", -1.0, "nothing ends before it begins"),
        ("mode", len(L.MODES), "modes exist"),
        ("wet_time", 1e8, "wet time does not outlast stopping and finding"),
    ],
)
def test_a_broken_row_is_noticed(cottage, column, value, rule):
    params = cottage.parameters()[1:2]
    rows = resolved(run_chunk(Setup.of(params, 21, probes=8), 0, 5).rows[0]).copy()
    rows = rows[~np.isnan(rows["stopped"]) & ~np.isnan(rows["found"])]
    assert broken_rules(rows, params[0]) == []
    rows[column][0] = value
    assert rule in broken_rules(rows, params[0])
