"""Closings that go wrong, by hand: sheared stems, sticks, stalls, retries, second leaks."""

from __future__ import annotations

import pytest
from staged import DAY, HOUR, MINUTE, OUTAGE, Stage

from shutoffsim.model import layout as L


def test_a_sheared_stem_ends_upstream():
    """The stem shears at 5 N*m; nobody can turn this valve any more, strong as they are."""
    stage = Stage(
        """
        valve = {breakaway = "6 N*m", stem_limit = "5 N*m"}
        override.upstream = "10 min"
        actuator.repair = "30 days"
        """
    )
    row = stage.leak(1 * HOUR).over(2 * HOUR)
    assert row["mode"] == L.MODE_SEIZED
    assert row["stopped_by"] == L.BY_UPSTREAM
    assert row["stopped"] == pytest.approx(MINUTE + 10 * MINUTE, rel=1e-6)
    # The plumber who mends the leak renews the valve, with the one in the street shut.
    state = stage.state
    assert (state.broken, state.born_at) == (L.SOUND, pytest.approx(2 * HOUR - 49 * MINUTE))
    assert (state.repairs[L.RENEWED], state.repairs.sum()) == (1, 1)
    assert state.repair_cost == pytest.approx(40 + 80)


STICKS = 'actuator = {stick_chance = 1, end_of_travel = "END", repair = "30 days"}\n'


@pytest.mark.parametrize(("end", "strokes"), [("not sensed", 1), ("at the stem", 2)])
def test_a_stick_and_then_a_second_leak(end, strokes):
    """Where nothing senses the end it is believed shut: the second leak makes nobody try again.

    Both have the stick for failure mode. A person shuts the water for the first; as the second was
    ordered shut too, it stays off until that is found after its own minute.
    """
    stage = Stage(STICKS.replace("END", end))
    stage.leak(1 * HOUR).leak(1 * HOUR + 20)
    stage.to(1 * HOUR + 30)
    assert stage.state.believed_shut == (end == "not sensed")
    assert stage.state.demands == strokes
    assert stage.to(1 * HOUR + 79).state.position == L.SHUT
    assert stage.to(1 * HOUR + 81).state.position == L.OPEN
    assert len(stage.rows) == 2
    assert (stage.rows["mode"] == L.MODE_ACTUATOR_FAILED).all()
    assert (stage.rows["stopped_by"] == L.BY_HAND).all()
    assert stage.rows["stopped"] == pytest.approx([60, 40], rel=1e-6)
    assert stage.rows["found"] == pytest.approx([60, 60], rel=1e-6)
    assert stage.state.believed_shut == 0


@pytest.mark.parametrize(("cutoff", "mode"), [("100 s", L.MODE_NONE), ("50 s", L.MODE_UNDERSIZED)])
def test_a_person_closes_while_a_stroke_is_still_failing(cutoff, mode):
    """Stalled until cut-off; a person is at the valve after 60 s.

    If the stroke has not ended by then, no link had failed; afterwards it ends without effect, the
    water stays on and nothing is believed shut.
    """
    stage = Stage(
        f"""
        valve.breakaway = "50 N*m"
        actuator = {{stall_cutoff = "{cutoff}", thermal_resistance = "0.01 K/W", \
repair = "30 days"}}
        """
    )
    row = stage.leak(1 * HOUR).over(1 * HOUR + 80)
    assert row["stopped_by"] == L.BY_HAND
    assert row["stopped"] == pytest.approx(60, rel=1e-6)
    assert row["volume"] * 1000 == pytest.approx(6, rel=1e-6)
    assert row["mode"] == mode
    stage.to(1 * HOUR + 200)
    state = stage.state
    assert (state.position, state.stroke, state.believed_shut) == (L.OPEN, L.IDLE, 0)
    assert (state.hold_leak, state.demands, state.stalls) == (0, 1, 1)
    assert state.moved_at == pytest.approx(1 * HOUR + 60, rel=1e-9)


def test_a_person_closes_while_a_good_stroke_is_on_its_way():
    """A stroke of 100 s that would succeed: the person is first, and it opens when it is over."""
    stage = Stage('actuator.no_load_speed = "0.15 rpm"')
    row = stage.leak(1 * HOUR).over(1 * HOUR + 80)
    assert (row["stopped_by"], row["mode"]) == (L.BY_HAND, L.MODE_NONE)
    assert row["stopped"] == pytest.approx(60, rel=1e-6)
    stage.to(1 * HOUR + 200)
    assert (stage.state.position, stage.state.hold_leak) == (L.OPEN, 0)


#: Out from 08:00 to 18:00, otherwise awake.
DAY_OUT = '{wake = "00:00", leave = "08:00", return = "18:00", sleep = "24:00", out_chance = 1}'
AT_WORK = f"people.week = {{weekdays = {DAY_OUT}, saturday = {DAY_OUT}, sunday = {DAY_OUT}}}\n"


def test_people_come_home_while_closing_is_tried_again_and_again():
    """A leak at 10:00; four attempts, two hours apart, all stick. Home at 18:00, noticed a minute
    later, shut by hand at once."""
    stage = Stage(
        AT_WORK
        + """
        actuator = {stick_chance = 1, retries = 3, retry_pause = "2 h", repair = "30 days"}
        """
    )
    row = stage.leak(10 * HOUR).over(20 * HOUR)
    assert stage.state.demands == 4
    assert row["presence"] == L.OUT
    assert row["found"] == pytest.approx(8 * HOUR + MINUTE, rel=1e-6)
    assert row["stopped"] == pytest.approx(8 * HOUR + MINUTE, rel=1e-6)
    assert (row["stopped_by"], row["mode"]) == (L.BY_HAND, L.MODE_ACTUATOR_FAILED)


def test_noticing_stops_while_nobody_is_there():
    """Half noticed before they leave at 08:00, the other half after 18:00."""
    stage = Stage(AT_WORK + 'sensors.a.reach_chance = 0\npeople.notice_burst = "2 h"\n')
    row = stage.leak(7 * HOUR).over(30 * HOUR)
    assert row["found"] == pytest.approx(12 * HOUR, rel=1e-6)


RULE = """
sensors.a.reach_chance = 0
people.notice_burst = "NOTICE"
controller = {watchdog = true, restart_time = "40 min"}
flow_rule = {fitted = true, pulse_volume = "1e-6 L", starting_flow = "0 L/h", flow = "1 L/min", \
time = "30 min", volume = "1e6 L", time_away = "30 min", volume_away = "1e6 L"}
"""
#: The leak runs at 6 L/min, so the pulse after the limit takes ten minutes.
COARSE = RULE.replace("NOTICE", "9 h").replace("1e-6 L", "60 L").replace(
    'time_away = "30 min"', 'time_away = "10 min"'
) + ("policies = {away_mode = 1, close_when_away = false}\n")


@pytest.mark.parametrize("events", [[], [95], [91, 95, 99]])
def test_the_last_pulse_of_the_rule_is_counted_through_whatever_happens(events):
    """Thirty minutes are reached at 1:30; the next pulse comes at 1:40, weather or not."""
    stage = Stage(COARSE).leak(1 * HOUR)
    for minute in events:
        stage.to(minute * MINUTE - 1).ring(L.WEATHER, minute * MINUTE)
    assert stage.over(11 * HOUR)["sensed"] == pytest.approx(40 * MINUTE, rel=1e-6)


@pytest.mark.parametrize(
    ("leave", "back", "sensed"),
    [
        (5, 25, 20),  # ten minutes at 1:10, the pulse by 1:20, while they are away
        (5, 17, 40),  # back at 1:17: nothing is reached any more until 1:30
        (5, 21, 20),
        (15, 45, 25),  # past the limit of ten minutes when it comes into force
    ],
)
def test_the_last_pulse_of_the_rule_follows_the_limits_in_force(leave, back, sensed):
    stage = Stage(COARSE).leak(1 * HOUR)
    for minute in (leave, back):
        stage.to(HOUR + minute * MINUTE - 1).ring(L.TRIP, HOUR + minute * MINUTE)
    row = stage.over(11 * HOUR)
    assert row["sensed"] == pytest.approx(sensed * MINUTE, rel=1e-6)


def test_the_last_pulse_of_the_rule_runs_faster_when_a_seep_bursts():
    """At 2 L/min from 1:00, thirty minutes are reached at 1:30; 10 L of 60 L later it bursts.

    50 L at 6 L/min take 8 min 20 s from 1:35 on.
    """
    seep = 'leaks.hose = {seep_share = 1, seep_flow = "2 L/min", seep_growth = "35 min"}\n'
    row = Stage(COARSE + seep + 'people.notice_seep = "9 h"\n').leak(1 * HOUR).over(11 * HOUR)
    assert row["sensed"] == pytest.approx(35 * MINUTE + 500, rel=1e-6)


DARK_FOR_40_MINUTES = OUTAGE.replace("5 h", "40 min")


def ruled(notice: str, clock: int) -> Stage:
    """Start a leak at 1:00 whose controller is down, or dark, from 1:10 to 1:50."""
    stage = Stage(RULE.replace("NOTICE", notice) + DARK_FOR_40_MINUTES).leak(1 * HOUR)
    return stage.ring(clock, 1 * HOUR + 10 * MINUTE)


@pytest.mark.parametrize("clock", [L.CONTROLLER, L.OUTAGE])
def test_a_rule_that_trips_while_nobody_listens_counts_anew(clock):
    """It trips at 1:30 to no avail, counts from there, trips again at 2:00 and closes."""
    row = ruled("5 h", clock).over(7 * HOUR)
    assert row["sensed"] == pytest.approx(HOUR, rel=1e-6)
    assert row["stopped"] == pytest.approx(HOUR, rel=1e-4)
    assert row["stopped_by"] == L.BY_AUTOMATION


@pytest.mark.parametrize(
    ("clock", "mode"), [(L.CONTROLLER, L.MODE_CONTROLLER_DOWN), (L.OUTAGE, L.MODE_NO_POWER)]
)
def test_a_rule_that_trips_while_nobody_listens_says_which_link_was_broken(clock, mode):
    """A person is faster than the second count."""
    row = ruled("45 min", clock).over(7 * HOUR)
    assert (row["mode"], row["stopped_by"]) == (mode, L.BY_HAND)
    assert row["sensed"] != row["sensed"]
    row = ruled("25 min", clock).over(7 * HOUR)  # before the first
    assert row["mode"] == L.MODE_NONE


RETRIED = """
actuator = {retries = 1, retry_pause = "10 s"}
policies = {away_mode = 1, close_when_away = true, close_on_power_loss = true, \
power_loss_wait = "1 min"}
people.trip = "5 days"
people.stay = "900 days"
battery = {fitted = true, capacity = "1e6 Wh", life = "1e9 h", fade = "0 % per year"}
"""


@pytest.mark.parametrize("reason", ["leak", "away", "power"])
def test_a_closing_that_works_the_second_time_is_held_like_any_other(reason):
    """The drive fails at first and is well ten seconds later; the valve is kept shut as ever."""
    stage = Stage(RETRIED + OUTAGE)
    stage.state.failed = 1
    begun = HOUR
    if reason == "leak":
        stage.leak(HOUR)
    elif reason == "away":
        stage.ring(L.TRIP, HOUR)
    else:
        stage.ring(L.OUTAGE, HOUR)
        begun += MINUTE
    assert stage.to(begun + 5).state.position == L.OPEN
    stage.state.failed = 0
    assert stage.to(begun + 9).state.position == L.OPEN
    assert stage.to(begun + 12).state.position == L.SHUT
    assert stage.to(begun + 50).state.position == L.SHUT
    state = stage.state
    holds = {"leak": state.hold_leak, "away": state.hold_away, "power": state.hold_power}
    assert holds == {name: int(name == reason) for name in holds}
    assert state.nuisance_closings == (reason == "power")
    assert state.demands == 2
    end = {"leak": HOUR + MINUTE, "away": HOUR + 5 * DAY, "power": 6 * HOUR}[reason]
    assert stage.to(end - 1).state.position == L.SHUT
    assert stage.to(end + 1).state.position == L.OPEN
