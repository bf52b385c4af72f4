"""The fitting test: by hand, and as torque over strength in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import perfect
from scipy import stats
from staged import DAY, HOUR, Stage

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L

#: The class's own data sheet in the place of the stated one.
GEARED = (
    'drop = ["actuator.stall_torque", "actuator.rated_voltage", "actuator.stall_current", '
    '"actuator.no_load_current", "actuator.no_load_speed", "actuator.torque_exponent"]\n'
    'actuator = {{class = "geared motor, {} N*m", unit_spread = 1, repair = "2 days", '
    'thermal_resistance = "0.01 K/W"}}\n'
)


def fitted(test: str, breakaway: str, more: str = "", fails: str = "next class") -> Stage:
    valve = "" if "valve" in more else f'valve.breakaway = "{breakaway}"\n'
    return Stage(f'commissioning = {{test = "{test}", if_it_fails = "{fails}"}}\n{valve}{more}')


@pytest.mark.parametrize(
    ("test", "breakaway", "share", "rung", "ends"),
    [
        ("none", "90 N*m", 1, 0, L.FITTED_UNTRIED),
        ("close", "9 N*m", 1, 0, L.FITTED_AS_BOUGHT),
        ("close", "11 N*m", 0.8, 0, L.FITTED_AS_BOUGHT),  # closes with 8.8 of 10 N*m
        ("close and reopen", "11 N*m", 0.8, 1, L.FITTED_NEXT),  # but would not open again
        ("close", "15 N*m", 1, 1, L.FITTED_NEXT),
        ("close", "90 N*m", 1, 1, L.FITTED_NOT),
    ],
)
def test_what_the_fitting_test_shows(test, breakaway, share, rung, ends):
    """An actuator of 10 N*m at 12 V; the next class of its kind has 16 N*m."""
    stage = Stage(
        GEARED.format(10) + f'commissioning = {{test = "{test}", if_it_fails = "next class"}}\n'
        f'valve = {{breakaway = "{breakaway}", closing_share = {share}, opening_share = 1}}\n'
    )
    state = stage.state
    assert (state.fitted_as, state.rung, state.repairs[L.NEXT_CLASS]) == (ends, rung, rung)
    assert state.gave_up == (ends == L.FITTED_NOT)


@pytest.mark.parametrize(("fails", "ends"), [("give up", L.FITTED_NOT), ("keep", L.FITTED_FAILING)])
def test_what_is_done_with_one_that_fails(fails, ends):
    state = fitted("close", "11 N*m", fails=fails).state
    assert (state.fitted_as, state.rung, state.gave_up) == (ends, 0, int(ends == L.FITTED_NOT))


@pytest.mark.parametrize(
    "weak",
    [
        'mount = {reaction = "friction", slip_torque = "8 N*m", creep = 0}\n',
        'valve = {breakaway = "9 N*m", stem_limit = "8 N*m"}\n',
        'supply = {voltage = "15 V", resistance = "3 ohm"}\n'
        'controller = {shares_rail = true, brown_out = "12.9 V"}\n',
    ],
)
def test_mount_stem_and_rail_are_tested_too(weak):
    """9 N*m of 10 at 12 V: mount or stem hold 8; 0.9 A through 3 ohm leave 12.3 of 15 V."""
    assert fitted("close", "9 N*m", weak, "give up").state.fitted_as == L.FITTED_NOT


def test_without_it_a_person_closes_as_if_nothing_had_been_fitted():
    """Given up: no stroke at all, and no actuator to take off first (a minute, and no screws)."""
    screws = 'mount = {fasteners = 4, fastener_time = "5 min", tool_at_hand = 1}\n'
    row = fitted("close", "11 N*m", screws, "give up").leak(HOUR).over(2 * HOUR)
    assert (row["mode"], row["stopped_by"]) == (L.MODE_NO_AUTOMATION, L.BY_HAND)
    assert row["stopped"] == pytest.approx(60.0, rel=1e-6)


def test_a_class_that_stalls_again_and_again_is_not_tried_for_ever():
    """Stiff enough to stall at every exercise: the second finding takes it off again."""
    stage = Stage(
        'valve = {breakaway = "50 N*m", seize_time = "never"}\n'
        'exercise.interval = "30 days"\nrepairs.next_class_after = 2\n' + GEARED.format(16)
    )
    assert stage.to(40 * DAY).state.gave_up == 0
    state = stage.to(70 * DAY).state
    assert (state.gave_up, state.repairs[L.TAKEN_OFF]) == (1, 1)
    assert stage.to(200 * DAY).state.demands == state.demands


def test_shares_that_pass_are_those_of_torque_over_strength():
    """ln(needed) ~ N(ln 8, s1), ln(given) ~ N(ln 10, s2): P(pass) = Phi(ln(10/8) / s)."""
    changes = (
        'commissioning = {test = "close", if_it_fails = "keep"}\n'
        'valve.breakaway = {median = "8 N*m", spread = 1.4}\n'
        "actuator.unit_spread = {median = 1, spread = 1.2}\n"
    )
    params = perfect(changes, life="2 days").parameters()
    n = 20_000
    summary = run_chunk(Setup.of(params, 7, probes=1), 0, n).summary[0]
    share = float(np.mean(summary["fitted_as"] == L.FITTED_AS_BOUGHT))
    s = math.hypot(math.log(1.4), math.log(1.2))
    expected = float(stats.norm.cdf(math.log(10 / 8) / s))
    assert share == pytest.approx(expected, abs=4 * math.sqrt(expected * (1 - expected) / n))


def test_given_what_passed_failures_are_those_of_a_truncated_distribution():
    """Strength fixed at 10 N*m, needed 8 N*m (spread 1.4) times 1.2 after a long rest.

    Of the valves that passed, those fail whose torque lies between 10 / 1.2 and 10 N*m.
    """
    changes = (
        'commissioning = {test = "close", if_it_fails = "give up"}\n'
        'valve = {breakaway = {median = "8 N*m", spread = 1.4}, idle_growth = 1, idle_cap = 1.2}\n'
    )
    params = perfect(changes, life="3000 days").parameters()
    rows = run_chunk(Setup.of(params, 7, probes=4), 0, 6000).rows.ravel()
    rows = rows[rows["onset"] > 30 * DAY]
    kept = rows[rows["mode"] != L.MODE_NO_AUTOMATION]
    failing = float(np.mean(kept["mode"] == L.MODE_UNDERSIZED))
    law = stats.lognorm(math.log(1.4), scale=8.0)
    expected = (law.cdf(10.0) - law.cdf(10.0 / 1.2)) / law.cdf(10.0)
    assert failing == pytest.approx(expected, abs=0.02)
    assert float(len(kept) / len(rows)) == pytest.approx(law.cdf(10.0), abs=0.02)
