"""People, messages and policies by hand: who is told, who comes, what closes without a leak."""

from __future__ import annotations

import pytest
from staged import DAY, HOUR, MINUTE, NOBODY, OUTAGE, Stage

from shutoffsim.model import layout as L
from shutoffsim.model.incident import set_position

NEIGHBOUR = """
sensors.a.reach_chance = 0
dwelling.units_below = 1
neighbour = {notices = true, volume = "60 L", notice = "200 s"}
"""
CALLED = 600 + 200  # s: 60 L at 6 L/min show below, and are called about
ON_A_TRIP = 'people.trips = true\npeople.start_away = 1\npeople.trip = "1e5 days"\n'


@pytest.mark.parametrize(
    ("who", "more", "way"),
    [
        (NOBODY, 'override.travel_out = "1000 s"', 1000),
        (ON_A_TRIP, 'override = {key_holder = 0, travel_away = "5000 s"}', 5000),
        (ON_A_TRIP, 'override = {key_holder = 1, key_holder_time = "700 s"}', 700),
    ],
    ids=["out", "away", "a key next door"],
)
def test_the_way_to_the_dwelling(who, more, way):
    late = '\ndamage.late_volume = "10 L"\n'
    row = Stage(NEIGHBOUR + who + more + late).leak(HOUR).over(9 * HOUR)
    assert row["found"] == pytest.approx(CALLED + way, rel=1e-6)
    assert row["stopped_by"] == L.BY_HAND
    assert row["mode"] == L.MODE_NOT_SENSED


def test_somebody_at_home_who_is_called_needs_no_way():
    row = Stage(NEIGHBOUR + 'people.notice_burst = "9 h"\n').leak(HOUR).over(9 * HOUR)
    assert row["found"] == pytest.approx(CALLED, rel=1e-6)


#: Asleep from 22:00 to 06:00.
NIGHT = (
    'people.week = {weekdays = {wake = "06:00", sleep = "22:00"}, '
    'saturday = {wake = "06:00", sleep = "22:00"}, sunday = {wake = "06:00", sleep = "22:00"}}\n'
)
STUCK = 'actuator = {stick_chance = 1, repair = "900 days"}\npeople.notice_burst = "10 min"\n'


def test_noticing_is_slower_asleep():
    people = 'people.notice_burst = "10 min"\npeople.notice_asleep = 3\n'
    stage = Stage(NIGHT + people + "sensors.a.reach_chance = 0\n")
    assert stage.leak(2 * HOUR).over(4 * HOUR)["found"] == pytest.approx(30 * MINUTE, rel=1e-6)
    stage.leak(5 * HOUR + 45 * MINUTE).to(9 * HOUR)  # half asleep, the rest awake
    assert stage.rows["found"][1] == pytest.approx(20 * MINUTE, rel=1e-6)


def test_a_siren_wakes():
    siren = 'siren = {fitted = true, awake = "30 s", asleep = "120 s"}\n'
    stage = Stage(NIGHT + STUCK + siren).leak(2 * HOUR).leak(12 * HOUR)
    assert stage.to(13 * HOUR).rows["found"] == pytest.approx([120, 30], rel=1e-4)


PHONE = """
gateway = {fitted = true, availability = 1, backed_up = true}
notification = {awake = "300 s", asleep = "2000 s", away = "900 s", spread = 1}
override = {travel_out = "1000 s", key_holder = 0, travel_away = "5000 s"}
actuator = {stick_chance = 1, repair = "900 days"}
"""


@pytest.mark.parametrize(
    ("who", "at", "found"),
    [
        (NIGHT, 12 * HOUR, 300),
        (NIGHT, 2 * HOUR, 2000),
        (NOBODY, 12 * HOUR, 300 + 1000),
        (ON_A_TRIP, 12 * HOUR, 900 + 5000),
    ],
    ids=["awake", "asleep", "out", "away"],
)
def test_when_a_message_is_noticed(who, at, found):
    row = Stage(PHONE + who + 'people.notice_burst = "90 h"\n').leak(at).over(at + 9 * HOUR)
    assert row["found"] == pytest.approx(found, rel=1e-4)


REMOTE = (
    NEIGHBOUR
    + NOBODY
    + OUTAGE
    + PHONE.replace("stick_chance = 1", "stick_chance = 0")
    + "policies.remote_command = true\n"
)


@pytest.mark.parametrize(
    ("changes", "clock", "works"),
    [
        ("", None, True),
        ("policies.remote_command = false\n", None, False),
        ("", L.CONTROLLER, False),
        ("", L.OUTAGE, False),
        ("gateway.fitted = false\n", None, False),
    ],
    ids=["all well", "not agreed", "controller down", "dark", "no gateway"],
)
def test_an_order_from_afar_needs_controller_power_and_gateway(changes, clock, works):
    text = REMOTE
    for line in changes.splitlines():
        name = line.partition(" ")[0]
        if name.startswith("policies"):
            text = text.replace("policies.remote_command = true\n", line + "\n")
        else:
            text = text.replace("{fitted = true, avail", "{fitted = false, avail")
    stage = Stage(text + 'controller = {watchdog = false, hang_notice = "900 days"}\n')
    if clock is not None:
        stage.ring(clock, 0.9 * HOUR)
    row = stage.leak(HOUR).over(5 * HOUR)
    assert row["stopped_by"] == (L.BY_AUTOMATION if works else L.BY_HAND)
    expected = CALLED if works else CALLED + 1000
    assert row["stopped"] == pytest.approx(expected, rel=1e-4)
    assert row["found"] == pytest.approx(CALLED + 1000, rel=1e-6)


# --- sensors and their messages -----------------------------------------------------------------


SECOND = (
    'sensors.b = {kind = "wired", zone = "room", reach_chance = 1, reach_area = "6 m2", '
    'failure_rate = "0 per year", supervised = false, attempt_success = 1, attempts = 1}\n'
)


@pytest.mark.parametrize(("votes", "seconds"), [(1, 0), (2, 120)])
def test_as_many_sensors_must_report_as_there_are_votes(votes, seconds):
    """The second is met after 6 m2 x 2 mm at 6 L/min."""
    stage = Stage(SECOND + f'detection.votes = {votes}\npeople.notice_burst = "1 h"\n')
    row = stage.leak(HOUR).over(3 * HOUR)
    assert row["sensed"] == pytest.approx(seconds, abs=0.01)
    assert row["stopped_by"] == L.BY_AUTOMATION


def test_water_that_runs_again_must_be_reported_by_as_many_sensors_as_before():
    """Two reported, and it closed. Opened on the leak, the valve waits for two reports anew."""
    stage = Stage(SECOND + NOBODY + "detection.votes = 2\n").leak(HOUR).to(HOUR + 121)
    assert (stage.state.position, stage.state.leak_votes[0]) == (L.SHUT, 2)
    set_position(stage.p, stage.state, stage.history.now, L.OPEN, L.BY_NOBODY)
    assert (stage.state.leak_votes[0], stage.state.leak_demanded[0]) == (0, 0)


SENSOR = L.FIRST_SOURCE + 1  # its clock; there is one source


def test_a_dead_sensor_is_replaced_after_the_leak_that_it_missed():
    """Known from the first leak on; bought and put in within 30 hours."""
    stage = Stage('detection.replacement = "30 h"\n').ring(SENSOR, 0.5 * HOUR)
    stage.leak(HOUR).leak(31 * HOUR).leak(31.1 * HOUR)
    rows = stage.to(40 * HOUR).rows
    assert list(rows["mode"]) == [L.MODE_SENSOR_DEAD, L.MODE_SENSOR_DEAD, L.MODE_NONE]
    assert stage.state.repairs[L.NEW_SENSOR] == 1


@pytest.mark.parametrize(
    ("changes", "alive_at"),
    [
        ('sensors.a.supervised = true\ndetection.replacement = "30 h"\n', 40),
        ('detection = {test_interval = "24 h", replacement = "30 h"}\n', 54),
        ('detection.replacement = "30 h"\n', None),
    ],
    ids=["supervised", "tested", "neither"],
)
def test_a_dead_sensor_is_replaced_when_it_is_missed_or_tested(changes, alive_at):
    stage = Stage(changes).ring(SENSOR, 10 * HOUR)
    assert stage.to(10 * HOUR + 1).state.sensor_ok[0] == 0
    if alive_at is None:
        assert stage.to(900 * HOUR).state.sensor_ok[0] == 0
        return
    assert stage.to(alive_at * HOUR - 1).state.sensor_ok[0] == 0
    assert stage.to(alive_at * HOUR + 1).state.sensor_ok[0] == 1


def test_a_shock_kills_all_sensors():
    stage = Stage(SECOND).ring(L.SENSOR_SHOCK, HOUR)
    assert list(stage.to(HOUR + 1).state.sensor_ok[:2]) == [0, 0]


REPEATS = """
detection = {report_repeats = REPEATS, report_interval = "100 s"}
controller = {watchdog = true, restart_time = "250 s"}
people.notice_burst = "1 h"
"""


@pytest.mark.parametrize(("clock", "mode"), [(L.CONTROLLER, 6), (L.OUTAGE, 8)])
@pytest.mark.parametrize(("repeats", "works"), [(3, True), (2, False)])
def test_a_wet_sensor_repeats_its_report_some_times(clock, mode, repeats, works):
    """Nobody listens for 250 s; reports come every 100 s, so the third repeat is heard."""
    outage = OUTAGE.replace("5 h", "250 s")
    stage = Stage(REPEATS.replace("REPEATS", str(repeats)) + outage)
    row = stage.ring(clock, HOUR - 1).leak(HOUR).over(3 * HOUR)
    assert row["stopped_by"] == (L.BY_AUTOMATION if works else L.BY_HAND)
    assert row["mode"] == (L.MODE_NONE if works else mode)
    if works:
        assert row["stopped"] == pytest.approx(300, abs=0.01)
    assert (mode == L.MODE_CONTROLLER_DOWN) == (clock == L.CONTROLLER)


@pytest.mark.parametrize(
    ("via", "backed", "mode"),
    [
        ("detection.via_gateway = true", "false", L.MODE_GATEWAY_DOWN),
        ("detection.via_gateway = true", "true", L.MODE_NONE),
        ("controller.decides_via_gateway = true", "false", L.MODE_GATEWAY_DOWN),
        ("controller.decides_via_gateway = true", "true", L.MODE_NONE),
        ("", "false", L.MODE_NONE),
    ],
)
def test_a_gateway_on_the_mains_alone_is_down_in_an_outage(via, backed, mode):
    """The battery carries the controller; what needs the gateway needs its power, too."""
    stage = Stage(
        OUTAGE
        + f"""
        {via}
        gateway = {{fitted = true, availability = 1, backed_up = {backed}}}
        battery = {{fitted = true, capacity = "1e6 Wh", life = "1e9 h", fade = "0 % per year"}}
        """
    )
    row = stage.ring(L.OUTAGE, 0.5 * HOUR).leak(HOUR).over(3 * HOUR)
    assert row["mode"] == mode
    assert row["mains"] == 0


# --- closings without a leak --------------------------------------------------------------------


AWAY = """
policies = {away_mode = 1, close_when_away = true}
people.trip = "5 days"
people.stay = "900 days"
"""


def test_the_valve_is_shut_while_everybody_is_away():
    """Away from day 2 to day 7. A leak on day 3 wets nothing until they are back."""
    stage = Stage(AWAY).ring(L.TRIP, 2 * DAY)
    assert stage.to(2 * DAY + 1).state.position == L.SHUT
    stage.leak(3 * DAY)
    assert stage.to(7 * DAY - 1).state.position == L.SHUT
    row = stage.over(8 * DAY)
    assert row["presence"] == L.AWAY
    assert row["wet_time"] < 2 * MINUTE
    assert row["volume"] < 0.01
    assert (stage.state.position, stage.state.hold_away) == (L.OPEN, 0)


@pytest.mark.parametrize(("wait", "position"), [("1 h", L.SHUT), ("6 h", L.OPEN)])
def test_the_valve_is_shut_when_power_has_been_away_long_enough(wait, position):
    """An outage from 1:00 to 6:00."""
    stage = Stage(
        OUTAGE
        + f"""
        policies = {{close_on_power_loss = true, power_loss_wait = "{wait}"}}
        battery = {{fitted = true, capacity = "1e6 Wh", life = "1e9 h", fade = "0 % per year"}}
        """
    ).ring(L.OUTAGE, HOUR)
    assert stage.to(2 * HOUR - 1).state.position == L.OPEN
    assert stage.to(2 * HOUR + 1).state.position == position
    assert stage.to(6 * HOUR - 1).state.position == position
    assert stage.to(6 * HOUR + 1).state.position == L.OPEN
    assert stage.to(9 * HOUR).state.nuisance_closings == (position == L.SHUT)


FALSE_ALARM = """
nuisance = {RATES, switch_off_chance = CHANCE, switch_off_time = "2 days"}
flow_rule.fitted = true
people.stay = "900 days"
people.trip = "5 days"
"""
SENSORS = 'rate_per_sensor = "1e-9 per year", rule_rate = "0 per year"'
USE = 'rate_per_sensor = "0 per year", rule_rate = "1e-9 per year"'


def false_alarm(rates: str, chance: float) -> Stage:
    return Stage(FALSE_ALARM.replace("RATES", rates).replace("CHANCE", str(chance)))


@pytest.mark.parametrize("rates", [SENSORS, USE])
def test_a_false_alarm_shuts_and_people_open_again(rates):
    stage = false_alarm(rates, 0).ring(L.NUISANCE, HOUR).to(HOUR + 1)
    assert (stage.state.nuisance_closings, stage.state.demands) == (1, 1)
    assert (stage.state.position, stage.state.believed_shut) == (L.OPEN, 0)
    assert stage.state.switched_off == 0


def test_after_a_false_alarm_automation_may_be_off_for_a_while():
    """Off from 1:00 on day 0 for two days: a leak then is nobody's but a person's."""
    stage = false_alarm(SENSORS, 1).ring(L.NUISANCE, HOUR)
    stage.leak(1 * DAY).leak(2 * DAY + 2 * HOUR)
    rows = stage.to(3 * DAY).rows
    assert list(rows["mode"]) == [L.MODE_SWITCHED_OFF, L.MODE_NONE]
    assert list(rows["stopped_by"]) == [L.BY_HAND, L.BY_AUTOMATION]


@pytest.mark.parametrize(("rates", "closings"), [(SENSORS, 1), (USE, 0)])
def test_nobody_uses_water_while_away(rates, closings):
    stage = false_alarm(rates, 0).ring(L.TRIP, DAY).ring(L.NUISANCE, 2 * DAY)
    assert stage.to(3 * DAY).state.nuisance_closings == closings


def test_a_hung_controller_is_noticed_after_a_while_or_restarted():
    for text, back in (
        ('controller = {watchdog = false, hang_notice = "3 days"}', 3 * DAY),
        ('controller = {watchdog = true, restart_time = "90 s"}', 90),
    ):
        stage = Stage(text).ring(L.CONTROLLER, HOUR)
        assert stage.to(HOUR + back - 1).state.controller == 0
        assert stage.to(HOUR + back + 1).state.controller == 1


def test_a_controller_that_was_in_the_dark_starts_anew():
    """Hung before an outage without a battery: it runs when the mains are back."""
    stage = Stage(OUTAGE + 'controller = {watchdog = false, hang_notice = "3 days"}\n')
    stage.ring(L.CONTROLLER, 0.5 * HOUR).ring(L.OUTAGE, HOUR)
    assert stage.to(6 * HOUR - 1).state.controller == 0
    assert stage.to(6 * HOUR + 1).state.controller == 1


def test_a_false_alarm_that_does_not_shut_the_valve_is_no_closing():
    stage = false_alarm(SENSORS, 1).ring(L.NUISANCE, HOUR)
    stage.state.failed = 1
    stage.to(HOUR + MINUTE)
    assert (stage.state.demands, stage.state.nuisance_closings) == (1, 0)
    assert (stage.state.position, stage.state.switched_off) == (L.OPEN, 1)


def test_parts_are_new_at_commissioning():
    """Sensor and battery; the time to their deaths counts from then."""
    battery = 'battery = {fitted = true, life = "7 days"}\n'
    stage = Stage('sensors.a.battery_life = "5 days"\n' + battery)
    state = stage.state
    assert (state.sensor_new_at[0], state.battery_new_at, state.mounted_at) == (0.0, 0.0, 0.0)
    assert stage.history.times[SENSOR] == state.sensor_dies_at[0] == 5 * DAY
    assert stage.history.times[L.BATTERY_LIFE] == state.battery_dies_at == 7 * DAY


def test_a_closing_for_absence_that_fails_has_the_drive_repaired():
    """The controller knows that the valve is not shut, and there is no leak to hurry for."""
    stage = Stage(AWAY + 'actuator.repair = "5 h"\n')
    stage.state.failed = 1
    stage.ring(L.TRIP, DAY)
    assert stage.to(DAY + 5 * HOUR + 9).state.repair_due == L.REPAIR_WAITS  # for somebody at home
    stage.ring(L.TRIP, 2 * DAY)
    assert stage.to(2 * DAY - 1).state.failed == 1
    assert stage.to(2 * DAY + 9).state.failed == 0


HABIT = """
element.kind = "none"
people.shut_on_leaving = 1
people.trip = "5 days"
people.stay = "900 days"
override.hand_torque = "6 N*m"
"""


def test_people_shut_the_valve_by_hand_when_they_leave_and_open_it_when_they_are_back():
    """Away from day 2 to day 7; a leak on day 3 meets a shut valve, and waits for them."""
    stage = Stage(HABIT).ring(L.TRIP, 2 * DAY)
    assert stage.to(2 * DAY + 1).state.position == L.SHUT
    stage.leak(3 * DAY)
    row = stage.over(8 * DAY)
    assert row["stopped"] == pytest.approx(4 * DAY + 3 * MINUTE, rel=0.01)
    assert row["volume"] * 1000 < 20


def test_they_leave_it_open_where_it_is_too_stiff_for_them():
    stage = Stage(HABIT.replace("6 N*m", "0.5 mN*m")).ring(L.TRIP, 2 * DAY)
    assert stage.to(2 * DAY + 1).state.position == L.OPEN


@pytest.mark.parametrize("hangs", [False, True])
def test_with_an_actuator_they_press_its_button_and_nothing_else(hangs):
    """A controller that hangs gives no order, and nobody takes an actuator off to leave."""
    stage = Stage(HABIT.replace('element.kind = "none"', "")).ring(L.TRIP, 2 * DAY)
    if hangs:
        stage.ring(L.CONTROLLER, 2 * DAY - 1)
    state = stage.to(2 * DAY + 60).state
    assert state.position == (L.OPEN if hangs else L.SHUT)
    assert state.demands == (0 if hangs else 1)
