"""Water on the floor, by hand: what dries, what a seep can wet, and how stored water runs out."""

from __future__ import annotations

import math

import pytest
from staged import DAY, HOUR, MINUTE, NOBODY, Stage

LITRE = 1e-3
#: A film of 2 mm dries in 44.4 h.
DRY = 'evaporation = "0.045 mm/h"'
TAU = 2.0 / 0.045 * HOUR
#: 1 mL/min, that nobody finds and nothing shuts.
SEEP = (
    f'dwelling = {{{DRY}, full_bore_flow = "1e6 m3/h"}}\n'
    + NOBODY
    + 'leaks.hose.open_end_flow = "1 mL/min"\nelement.kind = "alarm only"\n'
)


def test_a_seep_of_a_millilitre_a_minute_wets_no_more_than_its_flow_over_the_evaporation():
    """60 mL/h over 45 mL/h a square metre: 4/3 m2, where all that escaped would make 60 m2."""
    stage = Stage(SEEP).leak(1 * DAY).leak(85 * DAY)
    state = stage.state
    assert state.leak_volume[0] == pytest.approx(84 * 24 * 0.060 * LITRE)
    assert state.leak_most_lying[0] / 2e-3 == pytest.approx(4 / 3, rel=1e-6)


@pytest.mark.parametrize(
    ("area", "hours"),
    [("1 m2", 2.0 / 0.045 * math.log(4.0)), ("0.5 m2", 2.0 / 0.045 * math.log(1.6)), ("1.4 m2", 0)],
)
def test_a_sensor_is_wet_when_the_film_has_come_so_far_or_never(area, hours):
    """It comes to 4/3 m2 with the time 44.4 h: to 1 m2 after 44.4 h x ln 4, to 1.4 m2 never."""
    stage = Stage(SEEP + f'sensors.a.reach_area = "{area}"\n').leak(1 * DAY)
    if hours == 0:
        assert math.isnan(stage.to(1000 * DAY).state.leak_sensed_at[0])
    else:
        sensed = stage.to(100 * DAY).state.leak_sensed_at[0]
        assert (sensed - DAY) / HOUR == pytest.approx(hours, rel=1e-9)


#: Of a leak of 6 L/min at 3 bar, a head of 2.5 m of water drives 0.286 at first.
FIRST = 6 * LITRE / MINUTE * math.sqrt(1000.0 * 9.80665 * 2.5 / 3e5)


def stored(litres: str, more: str = "", dries: str = 'evaporation = "0 mm/h"') -> str:
    return f'dwelling = {{{dries}, drain_down = "{litres}", drain_head = "2.5 m"}}\n' + more


def test_stored_water_runs_out_by_the_leaks_own_hole():
    """As an upright tank: 3 L at first 1.72 L/min in 2 x 3 / 1.72 = 3.50 min, not at once."""
    stage = Stage(stored("3 L", NOBODY)).leak(1 * HOUR)
    lasts = 2 * 3 * LITRE / FIRST
    assert lasts == pytest.approx(3.50 * MINUTE, rel=1e-3)
    shut = stage.to(1 * HOUR + 1).state.leak_stopped_at[0]
    assert stage.state.leak_drained_at[0] - shut == pytest.approx(lasts, rel=1e-3)
    stage.leak(1 * HOUR + lasts / 2, 0)  # another one, to have the state at that time
    assert stage.state.leak_volume[0] == pytest.approx(1.5 * LITRE, rel=2e-3)
    stage.leak(3 * HOUR, 0)
    assert stage.state.leak_volume[0] == pytest.approx(3 * LITRE, rel=1e-3)


def test_once_the_leak_is_over_the_rest_runs_for_five_minutes():
    """Somebody finds it after a minute: 20 L would take 23 min, 6 min pass at 0.858 L/min."""
    row = Stage(stored("20 L")).leak(1 * HOUR).over(2 * HOUR)
    assert row["volume"] == pytest.approx(FIRST / 2 * 6 * MINUTE, rel=2e-3)


def test_a_floor_that_nobody_saw_is_wet_until_it_is_dry():
    """Shut on Monday, found on Saturday: 0.3 L run out in 21 s, the film is gone in 44.4 h."""
    home = 'people.week = {weekdays = "out", saturday = "home", sunday = "home"}\n'
    row = Stage(stored("0.3 L", home, DRY)).leak(1 * HOUR).over(7 * DAY)
    assert row["found"] > 4 * DAY
    assert row["wet_time"] == pytest.approx(0.6 * LITRE / FIRST + TAU, rel=1e-4)


def test_it_stays_wet_as_long_as_the_seat_lets_by_more_than_is_harmless():
    home = 'people.week = {weekdays = "out", saturday = "home", sunday = "home"}\n'
    leaky = 'valve.seat_leak = "60 mL/h"\ndamage.harmless = "1 L"\n'  # 60 mL/h x 44.4 h = 2.7 L
    row = Stage(stored("0.3 L", home + leaky, DRY)).leak(1 * HOUR).over(7 * DAY)
    assert row["wet_time"] == row["found"]
