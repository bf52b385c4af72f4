"""A caretaker who looks after an empty building: when leaks are found, which, and at what price."""

import numpy as np
import pytest
from checks import Finding, assert_agrees, mean_and_error, perfect

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L

#: Everybody is away for the whole history, and nothing closes.
EMPTY = (
    'people = {trips = true, start_away = 1, trip = "100 years", shut_on_leaving = 0, '
    'visits = "10 days", visit_sees = SEES, visit_cost = "30 EUR"}\n'
    'element.kind = "none"\n'
)
DAY = 86400.0


def rows(changes, histories=256):
    params = perfect(changes, life="10 years").parameters()
    found = run_chunk(Setup.of(params, 4, probes=16), 0, histories).rows[0]
    return found[found["onset"] < 9.9 * L.YEAR]


def test_a_leak_is_found_at_the_next_visit():
    """Onsets are even between visits: on average half an interval, at most a whole one."""
    found = rows(EMPTY.replace("SEES", "1"))["found"] / DAY
    assert found.min() > 0.0
    assert found.max() <= 10.0
    mean, error = mean_and_error(found)
    assert_agrees(Finding(mean, error, 5.0), 0.02)


def test_visits_come_at_whole_multiples_of_their_interval():
    each = rows(EMPTY.replace("SEES", "1"), 32)
    at = (each["onset"] + each["found"]) / DAY
    assert at == pytest.approx(np.round(at / 10.0) * 10.0, abs=1e-6)


def test_what_does_not_show_is_never_found():
    share = np.isfinite(rows(EMPTY.replace("SEES", "0.6"))["found"])
    mean, error = mean_and_error(share.astype(float))
    assert_agrees(Finding(mean, error, 0.6), 0.02)


def test_visits_are_paid():
    """One in ten days at 30 EUR."""
    both = perfect(
        EMPTY.replace("SEES", "1"), EMPTY.replace("SEES", "1").replace('"10 days"', '"never"')
    )
    found = shutoffsim.compare(both, histories=8)
    costs = [d.cost_of_repairs_per_year.value for d in found.designs]
    assert costs == pytest.approx([30 * 365.25 / 10, 0.0], rel=0.003)


def test_nobody_visits_while_people_live_there():
    there = EMPTY.replace("start_away = 1", "start_away = 0").replace("100 years", "1 h")
    there = there.replace("SEES", "1").replace("trips = true", "trips = false")
    assert (
        shutoffsim.compare(perfect(there), histories=8).designs[0].cost_of_repairs_per_year.value
        == 0
    )
