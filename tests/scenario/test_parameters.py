"""Parameters: every field of the layout is filled with the number meant."""

import math

import numpy as np
import pytest

from shutoffsim.model import layout
from shutoffsim.model.elements import NUMBERS
from shutoffsim.scenario import loads
from shutoffsim.scenario.parameters import away_share
from shutoffsim.scenario.pipes import full_bore_flow
from shutoffsim.scenario.schema.water import SupplyPipe

HEAD = '[leaks.hose]\nkind = "appliance hose"\n[sensors.a]\n'


def design(text, head=HEAD):
    return loads(head + "[designs.a]\n" + text).parameters()[0]


def test_every_field_is_set_by_the_compiler(monkeypatch, short):
    """Start from poisoned records: nothing of the poison may be left in use."""
    zeros = np.zeros

    def poisoned(shape, dtype=float):
        block = zeros(shape, dtype)
        block.view(np.uint8)[...] = 0x5A
        return block

    clean = short.parameters()
    with monkeypatch.context() as patch:
        patch.setattr("shutoffsim.scenario.parameters.np.zeros", poisoned)
        dirty = short.parameters()
    lists = {f"source_{name}" for name, *_ in layout.SOURCE_FIELDS} | {"zone_area"}
    lists |= {f"sensor_{name}" for name, *_ in layout.SENSOR_FIELDS}
    for name in layout.PARAMETERS.names:
        used = slice(0, 1) if name in lists else slice(None)
        for d in range(len(clean)):
            a, b = clean[d][name], dirty[d][name]
            a, b = (a[used], b[used]) if np.ndim(a) else (a, b)
            assert np.array_equal(a, b), name


def test_all_values_are_numbers_and_positive_where_they_must(short):
    for record in short.parameters():
        for name in layout.PARAMETERS.names:
            assert not np.any(np.isnan(np.asarray(record[name], float))), name
        for name in ("water_density", "rated_voltage", "stall_torque", "thermal_time", "turns"):
            assert record[name] > 0


def test_week_of_a_working_family():
    p = design(
        'people.week.weekdays = {wake = "07:00", leave = "08:30", return = "16:00", '
        'sleep = "23:00", out_chance = 0.7}\n'
        'people.week.wednesday = "home"\npeople.week.sunday = {open = "10:00", close = "12:00"}\n'
        'people.week.saturday = "out"\n'
    )
    week = p.week.reshape(7, 48)
    names = [layout.AWAKE, layout.ASLEEP, layout.OUT, layout.PERHAPS_OUT]
    counts = [[int((day == state).sum()) for state in names] for day in week]
    assert counts[0] == [17, 16, 0, 15]
    assert counts[2] == [32, 16, 0, 0]
    assert counts[5] == [0, 0, 48, 0]
    assert counts[6] == [4, 0, 44, 0]
    assert list(week[0][13:18]) == [layout.ASLEEP] + [layout.AWAKE] * 3 + [layout.PERHAPS_OUT]
    assert list(p.out_chance) == [0.7, 0.7, 1.0, 0.7, 0.7, 1.0, 1.0]


def test_start_away_is_the_long_run_share_unless_stated():
    text = 'people.stay = {mean = "30 days"}\npeople.trip = "10 days"\n'
    assert design(text).start_away == pytest.approx(0.25)
    assert design(text + "people.start_away = 0.6").start_away == 0.6
    assert design(text + "people.trips = false").start_away == 0.0
    people = loads(HEAD + "[designs.a]\n" + text).design("a").system.people
    assert away_share(people) == pytest.approx(0.25)


def test_spreads_become_log_standard_deviations():
    p = design("people.notice_spread = 2.0\nnotification.spread = 3.0")
    assert p.notice_spread == pytest.approx(math.log(2))
    assert p.phone_spread == pytest.approx(math.log(3))


def test_parts_multiply_the_rate_and_holes_become_areas():
    head = '[leaks.a]\nkind = "pipe joint"\nparts = 3\nrate = "0.01 per year"\n'
    p = design('leaks.a.hole_diameter = "2 mm"', head)
    assert p.source_rate[0] == pytest.approx(0.03 / layout.YEAR)
    assert p.source_hole_area[0][1] == pytest.approx(math.pi * 1e-6)


def test_a_part_past_its_replacement_age_is_replaced_at_the_start():
    p = design('leaks.hose.age = "9 years"\nleaks.hose.replace_at = "7 years"')
    assert p.source_age[0] == 0.0
    assert p.source_replace_age[0] == pytest.approx(7 * layout.YEAR)
    assert design('leaks.hose.age = "6 years"\nleaks.hose.replace_at = "7 years"').source_age[0] > 0


def test_season_and_use():
    p = design('leaks.hose.season = "winter"\nleaks.hose.starts = "in use"\n'
               'leaks.hose.water = "grey"')  # fmt: skip
    assert (p.source_winter[0], p.source_in_use[0], p.source_grey[0]) == (1.0, 1, 1)
    assert design('weather.coldest_day = "1 February"').coldest_day == 31 * 86400.0


def test_battery_in_ampere_hours_uses_its_voltage():
    text = 'battery.fitted = true\nbattery.usable = 0.5\nbattery.voltage = "12 V"\n'
    assert design(text + 'battery.capacity = "2 Ah"').battery_energy == pytest.approx(12 * 3600)
    assert design(text + 'battery.capacity = "24 Wh"').battery_energy == pytest.approx(12 * 3600)


def test_no_automation_has_nothing_that_acts_or_warns():
    p = design('element.kind = "none"\nflow_rule.fitted = true\nbattery.fitted = true')
    assert p.element == NUMBERS["none"]
    for name in ("siren", "gateway_fitted", "flow_rule", "battery_fitted", "nuisance_rate"):
        assert p[name] == 0, name
    assert p.sensor_meets[0] == 0.0
    assert p.exercise == math.inf
    assert p.slip_torque == math.inf
    assert p.idle_start == pytest.approx(5 * layout.YEAR)


def test_alarm_only_warns_but_does_not_close():
    p = design('element.kind = "alarm only"')
    assert p.element == NUMBERS["alarm only"]
    assert (p.siren, p.gateway_fitted) == (1, 1)
    assert p.sensor_meets[0] > 0
    assert p.remote_command == 0


def test_clamped_actuator_has_moved_the_valve():
    p = design("")
    assert p.element == NUMBERS["clamped actuator"]
    assert p.idle_start == 0.0
    assert p.coil_power == 0.0
    assert p.mount == layout.MOUNT_SCREWS
    assert design('mount.kind = "quick release, metal"').mount == layout.MOUNT_QUICK_RELEASE
    assert design("mount.fasteners = 0").mount == layout.MOUNT_QUICK_RELEASE


def test_a_motorised_valve_brings_its_own_valve_drive_and_override():
    old = 'valve.type = "multi-turn stop valve"\nvalve.age = "40 years"\n'
    p = design(old + 'element.kind = "motorised valve"')
    assert p.element == NUMBERS["motorised valve"]
    assert p.turns == 0.25
    assert p.valve_age == 0.0
    assert p.rated_voltage == 5.0
    assert p.feedback == 1
    assert p.slip_torque == math.inf
    assert p.fasteners == 0
    assert p.release_time[1] == pytest.approx(math.log(12))


@pytest.mark.parametrize("kind", ["solenoid, powered open", "solenoid, powered shut"])
def test_a_solenoid_has_its_coil_and_leaves_the_old_valve(kind):
    p = design(f'element.kind = "{kind}"\nsolenoid.stick_chance = 0.03\nvalve.age = "7 years"')
    assert p.element == NUMBERS[kind]
    assert p.coil_power == 6.0
    assert p.stick_chance == 0.03
    assert p.valve_age == pytest.approx(7 * layout.YEAR)
    assert p.idle_start > 0


def test_neighbours_need_a_unit_below():
    assert design("").neighbour == 0
    assert design("dwelling.units_below = 2").neighbour == 1
    assert design("dwelling.units_below = 2\nneighbour.notices = false").neighbour == 0


def test_false_alarms_come_from_each_sensor_in_use():
    text = 'nuisance.rate_per_sensor = "0.2 per year"\nnuisance.rule_rate = "1 per year"\n'
    p = design(text + "[sensors.b]\n[sensors.c]\nfitted = false")
    assert p.nuisance_rate * layout.YEAR == pytest.approx(0.4)
    assert p.rule_nuisance_rate == 0.0
    assert design(text + "flow_rule.fitted = true").rule_nuisance_rate * layout.YEAR == (
        pytest.approx(1.0)
    )


def test_full_bore_flow_of_a_pipe_loses_all_its_pressure():
    pipe = SupplyPipe(length="20 m", bore="20 mm", roughness="0.05 mm", fittings_k=10.0)
    flow = full_bore_flow(pipe, 3e5)
    velocity = flow / (math.pi / 4 * 0.02**2)
    reynolds = 999.7 * velocity * 0.02 / 1.31e-3
    # Haaland's explicit formula (J. Fluids Eng. 105 (1983) 89), within 2 % of Colebrook's.
    friction = (-1.8 * math.log10((0.05 / 20 / 3.7) ** 1.11 + 6.9 / reynolds)) ** -2
    loss = (friction * 20 / 0.02 + 10 + 1) * 999.7 * velocity**2 / 2
    assert loss == pytest.approx(3e5, rel=0.02)


def test_full_bore_flow_without_friction_is_torricelli():
    pipe = SupplyPipe(length="0.001 mm", bore="20 mm", roughness="0 mm", fittings_k=0.0)
    velocity = full_bore_flow(pipe, 3e5) / (math.pi / 4 * 0.02**2)
    assert velocity == pytest.approx(math.sqrt(2 * 3e5 / 999.7), rel=1e-5)
