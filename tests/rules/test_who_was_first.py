"""Which leaks count as failures where people stop the water, and failure by subsystem."""

from __future__ import annotations

import pytest
from checks import perfect
from staged import DAY, HOUR, Stage

import shutoffsim
from shutoffsim.model import layout as L

#: Somebody awake at home sees every leak after an hour, and shuts the valve at once.
AT_HOME = (
    'people.week = {weekdays = "home", saturday = "home", '
    'sunday = "home"}\n'
    'people.notice_burst = "1 h"\npeople.notice_spread = 1\n'
)
FAR = 'sensors.a.reach_area = "10000 m2"\n'  # on the water's way, but the water does not come there
NONE = "sensors.a.reach_chance = 0\n"


@pytest.mark.parametrize(
    ("sensor", "late", "mode"),
    [
        (FAR, "1e6 L", L.MODE_NONE),
        (NONE, "1e6 L", L.MODE_NONE),
        (FAR, "10 L", L.MODE_LATE),
        (NONE, "10 L", L.MODE_NOT_SENSED),
    ],
)
def test_a_person_who_is_first_leaves_nothing_failed_unless_it_is_late(sensor, late, mode):
    """6 L/min for an hour are 360 L: in time or not, whether or not a sensor lay on the way."""
    row = Stage(AT_HOME + sensor + f'damage.late_volume = "{late}"\n').leak(9 * HOUR).over(5 * DAY)
    assert row["stopped_by"] == L.BY_HAND
    assert row["mode"] == mode


def test_what_nobody_stops_and_nothing_senses_is_not_sensed():
    """Whatever the volume: the perfect system's late volume is never reached."""
    stage = Stage(NONE + 'people.notice_burst = "1e6 h"\n').leak(9 * HOUR)
    stage.history.end()
    assert stage.rows[0]["mode"] == L.MODE_NOT_SENSED


def test_failures_by_subsystem_add_up_and_give_those_of_a_demand():
    """Half of the leaks meet no sensor; of the others, one in five finds an element that sticks.

    So 0.5 + 0.5 x 0.2 = 0.6 fail: 0.5 by sensing, 0.1 by the element, 0.2 given a demand.
    """
    changes = (
        "sensors.a.reach_chance = 0.5\nactuator.stick_chance = 0.2\nactuator.retries = 0\n"
        'people.notice_burst = "1e6 h"\n'
    )
    found = shutoffsim.failure_on_demand(perfect(changes), "0", relative_error=0.02)
    assert sum(e.value for e in found.subsystems.values()) == pytest.approx(found.probability.value)
    assert set(found.subsystems) == {"sensing", "closing element"}
    for estimate, exact in (
        (found.probability, 0.6),
        (found.subsystems["sensing"], 0.5),
        (found.subsystems["closing element"], 0.1),
        (found.given_a_demand, 0.2),
    ):
        assert abs(estimate.value - exact) < 4.0 * estimate.std_error < 0.2 * exact


def test_with_nothing_fitted_there_is_no_demand():
    found = shutoffsim.compare(perfect('element.kind = "none"\n'), histories=64)
    design = found.designs[0]
    assert design.failures_by_subsystem["nothing fitted"].value == 1.0
    assert design.failure_given_a_demand.value != design.failure_given_a_demand.value
