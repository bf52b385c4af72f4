"""Where histories look harder: what counts as out of order, thing by thing."""

from __future__ import annotations

import pytest
from staged import DAY, HOUR, NOBODY, OUTAGE, Stage

from shutoffsim.model import layout as L
from shutoffsim.model.impairments import impairments

TWO_SENSORS = (
    'sensors.b = {kind = "wired", zone = "room", reach_chance = 0, reach_area = "1 mm2", '
    'failure_rate = "0 per year", supervised = false, attempt_success = 1, attempts = 1}\n'
)
BATTERY = 'battery = {fitted = true, capacity = "1e6 Wh", life = "1e9 h", fade = "0 % per year"}\n'
OPEN = 'element.kind = "solenoid, powered open"\n'
SHUT = 'element.kind = "solenoid, powered shut"\n'


def count(changes: str = "", **state: float) -> int:
    stage = Stage(changes)
    for name, value in state.items():
        stage.state[name] = value
    return int(impairments(stage.p, stage.state, HOUR))


@pytest.mark.parametrize(
    ("changes", "state", "expected"),
    [
        ("", {}, 0),
        ("", {"switched_off": 1}, 1),
        ("", {"controller": 0}, 1),
        ("", {"switched_off": 1, "controller": 0}, 1),
        ("", {"failed": 1}, 1),
        ("", {"burnt": 1}, 1),
        ("", {"stripped": 1}, 1),
        ("", {"slipped": 1, "failed": 1}, 1),
        ("", {"believed_shut": 1}, 1),
        ("", {"believed_shut": 1, "position": L.SHORT}, 1),
        ("", {"believed_shut": 1, "position": L.SHUT}, 0),
        ("", {"mains": 0}, 1),
        (BATTERY, {"mains": 0}, 0),
        (BATTERY, {"mains": 0, "battery_ok": 0}, 1),
        (OPEN, {"mains": 0}, 0),
        (SHUT, {"mains": 0}, 1),
        ("", {"broken": 1}, 1),
        (OPEN, {"broken": 1}, 0),
        ("", {"mains": 0, "failed": 1, "controller": 0}, 3),
        ('element.kind = "none"', {"failed": 1, "mains": 0}, 0),
    ],
)
def test_what_is_out_of_order(changes, state, expected):
    assert count(changes, **state) == expected


def test_dead_sensors_count_where_water_can_meet_them():
    stage = Stage(TWO_SENSORS)
    for alive, expected in (([1, 1], 0), ([0, 1], 1), ([1, 0], 0), ([0, 0], 1)):
        stage.state.sensor_ok[:2] = alive
        assert impairments(stage.p, stage.state, HOUR) == expected


@pytest.mark.parametrize(("torque", "expected"), [(9.9, 0), (10.1, 1)])
def test_a_stiff_valve_counts_by_the_upper_part_of_what_closing_takes(torque, expected):
    """98 % of the way from none to twice the torque that starts it: 10 N*m are available."""
    changes = f"""
    valve = {{breakaway = "{torque} N*m", closing_share = {{low = 0.02, high = 1.0, \
shape = "even"}}}}
    """
    stage = Stage(changes)
    assert impairments(stage.p, stage.state, HOUR) == int(torque * (0.02 + 0.98**2) > 10)
    whole = Stage(f'valve.breakaway = "{torque} N*m"')
    assert impairments(whole.p, whole.state, HOUR) == expected


def test_on_battery_it_is_its_torque_that_counts():
    """6 V give half of the current and of the torque."""
    text = (
        OUTAGE
        + NOBODY
        + BATTERY.replace("{fitted", '{voltage = "6 V", resistance = "0 ohm", fitted')
    )
    for torque, expected in ((4.9, 0), (5.1, 1)):
        stage = Stage(text + "actuator.off_rating = true\n" + f'valve.breakaway = "{torque} N*m"\n')
        stage.state.mains = 0
        assert impairments(stage.p, stage.state, HOUR) == expected


def test_a_valve_seizes_with_time():
    stage = Stage('valve.seize_time = "30 days"')
    assert impairments(stage.p, stage.state, 29 * DAY) == 0
    assert impairments(stage.p, stage.state, 31 * DAY) == 1
