"""Parameters: every field of the layout is filled with the number meant."""

import math

import numpy as np
import pytest

from shutoffsim.errors import ScenarioError
from shutoffsim.model import layout
from shutoffsim.model.elements import NUMBERS
from shutoffsim.scenario import entries, loads, parameters, rules
from shutoffsim.scenario.distributions import Distribution
from shutoffsim.scenario.pipes import full_bore_flow
from shutoffsim.scenario.quantities import Money, Spread
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.schema.water import SupplyPipe
from shutoffsim.scenario.structure import find

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
        for name in (
            "water_density",
            "actuator_rated_voltage",
            "actuator_stall_torque",
            "actuator_thermal_time",
            "valve_turns",
        ):
            assert record[name] > 0


def test_week_of_a_working_family():
    p = design(
        'people.week.weekdays = {wake = "07:00", leave = "08:30", return = "16:00", '
        'sleep = "23:00", out_chance = 0.7}\n'
        'people.week.wednesday = "home"\npeople.week.sunday = {open = "10:00", close = "12:00"}\n'
        'people.week.saturday = "out"\n'
    )
    week = p.people_week.reshape(7, 48)
    names = [layout.AWAKE, layout.ASLEEP, layout.OUT, layout.PERHAPS_OUT]
    counts = [[int((day == state).sum()) for state in names] for day in week]
    assert counts[0] == [17, 16, 0, 15]
    assert counts[2] == [32, 16, 0, 0]
    assert counts[5] == [0, 0, 48, 0]
    assert counts[6] == [4, 0, 44, 0]
    assert list(week[0][13:18]) == [layout.ASLEEP] + [layout.AWAKE] * 3 + [layout.PERHAPS_OUT]
    assert list(p.people_out_chance) == [0.7, 0.7, 1.0, 0.7, 0.7, 1.0, 1.0]


def test_start_away_is_the_long_run_share_unless_stated():
    text = 'people.stay = {mean = "30 days"}\npeople.trip = "10 days"\n'
    assert design(text).people_start_away == pytest.approx(0.25)
    assert design(text + "people.start_away = 0.6").people_start_away == 0.6
    assert design(text + "people.trips = false").people_start_away == 0.0
    people = loads(HEAD + "[designs.a]\n" + text).design("a").system.people
    assert rules.away_share(people) == pytest.approx(0.25)


def test_spreads_become_log_standard_deviations():
    p = design("people.notice_spread = 2.0\nnotification.spread = 3.0")
    assert p.people_notice_log_spread == pytest.approx(math.log(2))
    assert p.notification_log_spread == pytest.approx(math.log(3))


def test_parts_multiply_the_rate_and_holes_become_areas():
    head = '[leaks.a]\nkind = "pipe joint"\nparts = 3\nrate = "0.01 per year"\n'
    p = design('leaks.a.hole_diameter = "2 mm"', head)
    assert p.source_rate[0] == pytest.approx(0.03 / layout.YEAR)
    assert p.source_hole_area[0][1] == pytest.approx(math.pi * 1e-6)


def test_a_part_past_its_replacement_age_is_replaced_at_the_start():
    p = design('leaks.hose.age = "9 years"\nleaks.hose.replace_at = "7 years"')
    assert p.source_age[0] == 0.0
    assert p.source_replace_at[0] == pytest.approx(7 * layout.YEAR)
    assert design('leaks.hose.age = "6 years"\nleaks.hose.replace_at = "7 years"').source_age[0] > 0


def test_season_and_use():
    p = design('leaks.hose.season = "winter"\nleaks.hose.starts = "in use"\n'
               'leaks.hose.water = "grey"')  # fmt: skip
    assert (p.source_winter[0], p.source_in_use[0], p.source_grey[0]) == (1.0, 1, 1)
    assert design('weather.coldest_day = "1 February"').weather_coldest_day == 31 * 86400.0


def test_battery_in_ampere_hours_uses_its_voltage():
    text = 'battery.fitted = true\nbattery.usable = 0.5\nbattery.voltage = "12 V"\n'
    assert design(text + 'battery.capacity = "2 Ah"').battery_energy == pytest.approx(12 * 3600)
    assert design(text + 'battery.capacity = "24 Wh"').battery_energy == pytest.approx(12 * 3600)


def test_no_automation_has_nothing_that_acts_or_warns():
    p = design('element.kind = "none"\nflow_rule.fitted = true\nbattery.fitted = true')
    assert p.element_kind == NUMBERS["none"]
    for name in (
        "siren_fitted",
        "gateway_fitted",
        "flow_rule_fitted",
        "battery_fitted",
        "nuisance_sensor_rate",
    ):
        assert p[name] == 0, name
    assert p.sensor_reach_chance[0] == 0.0
    assert p.exercise_interval == math.inf
    assert p.mount_slip_torque == math.inf
    assert p.valve_idle_start == pytest.approx(5 * layout.YEAR)


def test_alarm_only_warns_but_does_not_close():
    p = design('element.kind = "alarm only"')
    assert p.element_kind == NUMBERS["alarm only"]
    assert (p.siren_fitted, p.gateway_fitted) == (1, 1)
    assert p.sensor_reach_chance[0] > 0
    assert p.policies_remote_command == 0


def test_clamped_actuator_has_moved_the_valve():
    p = design("")
    assert p.element_kind == NUMBERS["clamped actuator"]
    assert p.valve_idle_start == 0.0
    assert p.solenoid_coil_power == 0.0
    assert p.mount_kind == layout.MOUNT_SCREWS
    assert design('mount.kind = "quick release, metal"').mount_kind == layout.MOUNT_QUICK_RELEASE
    assert design("mount.fasteners = 0").mount_kind == layout.MOUNT_QUICK_RELEASE


def test_a_motorised_valve_brings_its_own_valve_drive_and_override():
    old = 'valve.type = "multi-turn stop valve"\nvalve.age = "40 years"\n'
    p = design(old + 'element.kind = "motorised valve"')
    assert p.element_kind == NUMBERS["motorised valve"]
    assert p.valve_turns == 0.25
    assert p.valve_age == 0.0
    assert p.actuator_rated_voltage == 5.0
    assert p.actuator_end_of_travel == layout.END_AT_STEM
    assert p.mount_slip_torque == math.inf
    assert p.mount_fasteners == 0
    assert p.mount_release_time[1] == pytest.approx(math.log(12))


@pytest.mark.parametrize("kind", ["solenoid, powered open", "solenoid, powered shut"])
def test_a_solenoid_has_its_coil_and_leaves_the_old_valve(kind):
    p = design(f'element.kind = "{kind}"\nsolenoid.stick_chance = 0.03\nvalve.age = "7 years"')
    assert p.element_kind == NUMBERS[kind]
    assert p.solenoid_coil_power == 6.0
    assert p.actuator_stick_chance == 0.03
    assert p.valve_age == pytest.approx(7 * layout.YEAR)
    assert p.valve_idle_start > 0


def test_neighbours_need_a_unit_below():
    assert design("").neighbour_notices == 0
    assert design("dwelling.units_below = 2").neighbour_notices == 1
    assert design("dwelling.units_below = 2\nneighbour.notices = false").neighbour_notices == 0


def test_false_alarms_come_from_each_sensor_in_use():
    text = 'nuisance.rate_per_sensor = "0.2 per year"\nnuisance.rule_rate = "1 per year"\n'
    p = design(text + "[sensors.b]\n[sensors.c]\nfitted = false")
    assert p.nuisance_sensor_rate * layout.YEAR == pytest.approx(0.4)
    assert p.nuisance_rule_rate == 0.0
    assert design(text + "flow_rule.fitted = true").nuisance_rule_rate * layout.YEAR == (
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


# --- one list of parameters -----------------------------------------------------------------------

#: Unit in the record for each dimension of the scenario.
UNITS = {
    "time": "s",
    "rate": "1/s",
    "share": "-",
    "factor": "-",
    "share rate": "1/s",
    "share per kelvin": "1/K",
    "pressure": "Pa",
    "flow": "m3/s",
    "volume": "m3",
    "area": "m2",
    "length": "m",
    "evaporation": "m/s",
    "torque": "N*m",
    "voltage": "V",
    "current": "A",
    "resistance": "ohm",
    "power": "W",
    "temperature": "degC",
    "thermal resistance": "K/W",
    "turns": "turns",
    "speed": "turns/s",
    "money": "money",
}
#: Fields that no key of the scenario names: states of a dwelling and what is worked out.
MADE = {
    *(
        "n_sources",
        "n_sensors",
        "n_rungs",
        "region",
        "water_density",
        "water_viscosity",
        "zone_area",
    ),
    *("people_week", "people_week_stays", "people_out_chance", "people_notice_log_spread"),
    "people_awake_share",
    *("notification_log_spread", "nuisance_sensor_rate", "battery_energy", "valve_idle_start"),
    "override_tool_fits",
}


def named() -> dict[str, tuple[tuple[str, ...], str, str]]:
    """Fields that have a key's name: their path, kind and unit in the record."""
    single = parameters.paths()
    found = {n: (single[n], kind, u) for n, kind, u, _ in layout.PARAMETER_FIELDS if n in single}
    for section, fields in (("leaks", layout.SOURCE_FIELDS), ("sensors", layout.SENSOR_FIELDS)):
        for name, kind, unit, _ in fields:
            path = (section, "any", name)
            if find(path, System) is not None:
                found[f"{section}.{name}"] = (path, kind, unit)
    return found


def test_a_field_of_the_record_has_the_name_of_its_key():
    single = {name for name, *_ in layout.PARAMETER_FIELDS}
    assert single - set(named()) == MADE
    made = {name for name, *_ in layout.SOURCE_FIELDS} - {n.partition(".")[2] for n in named()}
    assert made == {"winter", "in_use", "grey"}


def test_units_of_the_record_are_those_of_the_scenario():
    checked = 0
    for name, (path, kind, unit) in named().items():
        value = entries.kind_of(path)
        if isinstance(value, Money):
            assert unit == ("money/m2" if value.per_area else "money"), name
        elif value is not None and entries.dimension_of(path):
            assert unit == UNITS[value.dimension], name
            assert (kind == layout.DIST) == isinstance(value, Spread), name
            checked += 1
        elif name != "weather_coldest_day":
            assert unit == "-", name
    assert checked > 120


def test_no_two_keys_of_the_scenario_have_one_name():
    assert len(set(parameters.paths().values())) == len(list(parameters._single(System, ())))


def test_a_copy_is_what_the_scenario_says(short):
    """Each key with a number, one after the other, moves the field of its name and no other."""
    scenario = short.with_values("battery", {"element.kind": "clamped actuator"})
    before = scenario.parameters(["battery"])
    own = rules.system_fields(scenario.design("battery").system)
    moved = 0
    for name, (path, kind, _unit) in named().items():
        entry = scenario.design("battery").entries.get(path)
        if name in own or entry is None or not entry.dimension:
            continue
        value = entry.value.a if isinstance(entry.value, Distribution) else entry.value
        if kind != "f" or not 0.0 < value < math.inf or entry.dimension == "temperature":
            continue
        try:
            other = scenario.with_values("battery", {path: value * 0.999}).parameters(["battery"])
        except ScenarioError:
            continue
        changed = {
            n
            for n in before.dtype.names
            if before[n].tobytes() != other[n].tobytes() and "rung" not in n
        }
        assert name in changed, name
        assert other[name][0] == value * 0.999
        assert len(changed) <= 2, changed  # a battery's voltage and share give its energy as well
        moved += 1
    assert moved > 60
