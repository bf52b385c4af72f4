"""Laws of single chances: who notices when, and what the gateway remembers."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from checks import perfect
from scipy import stats
from staged import NOBODY

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L


def rows_of(changes: str, probes: int) -> Any:
    """Return the rows of so many leaks in one history, whose own chances are independent."""
    return run_chunk(Setup.of(perfect(changes).parameters(), 7, probes=probes), 0, 1).rows[0, 0]


def follows(times: np.ndarray, median: float, spread: float) -> bool:
    """Return whether times are log-normal with this median and this log standard deviation."""
    law = stats.norm(math.log(median), math.log(spread))
    return bool(stats.kstest(np.log(times), law.cdf).pvalue > 1e-4)


BELOW = (
    NOBODY
    + """
sensors.a.reach_chance = 0
override.travel_out = "1000 s"
dwelling.units_below = 1
neighbour = {notices = true, volume = "60 L", notice = "200 s"}
people.notice_spread = 2.5
"""
)
CALLED = (
    NOBODY
    + """
sensors.a.reach_area = "6 m2"
actuator.stick_chance = 1
override.travel_out = "1000 s"
gateway = {fitted = true, availability = 1, backed_up = true}
notification = {awake = "300 s", spread = 1.7}
"""
)
AT_HOME = """
sensors.a.reach_chance = 0
people.notice_burst = "90 s"
people.notice_spread = 3
"""


@pytest.mark.parametrize(
    ("changes", "before", "median", "spread"),
    [
        (BELOW, 600 + 1000, 200, 2.5),  # 60 L at 6 L/min show after 600 s; then the way home
        (CALLED, 120 + 1000, 300, 1.7),  # 6 m2 x 2 mm at 6 L/min; then the way home
        (AT_HOME, 0, 90, 3),
    ],
    ids=["neighbour", "phone", "at home"],
)
def test_how_long_people_take_to_notice(changes, before, median, spread):
    times = rows_of(changes, 3000)["found"] - before
    assert (times > 0).all()
    assert follows(times, median, spread)
    assert not follows(times, median * 1.25, spread)
    assert not follows(times, median, spread**1.2)


def test_neighbour_phone_and_home_have_a_chance_of_their_own():
    """Three kinds of noticing of one leak: no pair of their times goes together."""
    times = [
        np.log(rows_of(changes, 3000)["found"] - before)
        for changes, before in ((BELOW, 1600), (CALLED, 1120), (AT_HOME, 0))
    ]
    for a, b in ((0, 1), (0, 2), (1, 2)):
        assert abs(stats.pearsonr(times[a], times[b]).statistic) < 4.5 / math.sqrt(3000)


#: Two sensors report 300 s apart, once each, through a gateway that is up 70 % of the time.
UP, OUTAGE, APART = 0.7, 600.0, 300.0  # -, s, s
REMEMBERED = f"""
people.notice_burst = "10 h"
detection.via_gateway = true
sensors.a.reach_area = "6 m2"
sensors.b = {{kind = "wired", zone = "room", reach_chance = 1, reach_area = "AREA m2", \
failure_rate = "0 per year", supervised = false, attempt_success = 1, attempts = 1}}
gateway = {{fitted = true, availability = {UP}, outage = "{OUTAGE} s", backed_up = true}}
"""


@pytest.mark.parametrize("apart", [APART, 60.0, 1e4])
def test_a_gateway_that_was_down_is_likely_to_be_down_still(apart):
    """Down, and down still after d: (1 - A) (1 - A + A exp(-(failure + repair rate) d)).

    A two-state Markov process with repair rate 1 / outage and availability A.
    """
    area = 6 + apart * 6 / 60 / 2  # 6 L/min at a film of 2 mm
    rows = rows_of(REMEMBERED.replace("AREA", str(area)), 2400)
    both = (rows["mode"] == L.MODE_GATEWAY_DOWN) & (rows["stopped_by"] == L.BY_HAND)
    repair = 1 / OUTAGE
    failure = repair * (1 - UP) / UP
    fade = math.exp(-(failure + repair) * apart)
    expected = (1 - UP) * (1 - UP + UP * fade)
    error = math.sqrt(expected * (1 - expected) / len(rows))
    assert both.mean() == pytest.approx(expected, abs=4.5 * error)
    first = np.round(rows["sensed"]) == 120
    error = math.sqrt(UP * (1 - UP) / len(rows))
    assert first.mean() == pytest.approx(UP, abs=4.5 * error)
    forgetful = (1 - UP) ** 2
    assert (abs(both.mean() - forgetful) > 4.5 * error) == (fade > 0.1)
