"""The program against slow, plain simulators of the same systems, each with its own chance.

A system's numbers stand once, in :mod:`naive`; here they are written as a scenario. Two independent
Monte Carlo estimates agree when they lie within 4.5 joint standard errors.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import naive
import numpy as np
import pytest
from checks import Change, Finding, assert_agrees, perfect, ratio
from naive import Day, Number, Spread, summarise

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.model import layout as L


def spread(value: Spread, unit: str) -> str:
    return f'{{median = "{value.median!r} {unit}", spread = {value.spread!r}}}'


def factor(value: Spread) -> str:
    return f"{{median = {value.median!r}, spread = {value.spread!r}}}"


def above_one(value: Spread) -> str:
    return f"{{least = 1, median = {1 + value.median!r}, spread = {value.spread!r}}}"


def clock(hours: float) -> str:
    return f"{int(hours):02d}:{'30' if hours % 1 else '00'}"


def day(plan: Day) -> str:
    return (
        f'{{wake = "{clock(plan.wake)}", leave = "{clock(plan.leave)}", '
        f'return = "{clock(plan.back)}", sleep = "{clock(plan.sleep)}", '
        f"out_chance = {plan.out_chance}}}"
    )


def week(system: Any) -> str:
    return f"""
    people.trips = true
    people.stay = {{mean = "{system.stay!r} s"}}
    people.trip = {spread(system.trip, "s")}
    people.start_away = {system.start_away}
    people.week.weekdays = {day(system.working)}
    people.week.saturday = {day(system.weekend)}
    people.week.sunday = {day(system.weekend)}
    """


def damage(d: naive.Damage, film: Spread | None = None) -> str:
    return f"""
    zones.room.area = "{d.room} m2"
    dwelling.floor_area = "{d.floor} m2"
    dwelling.units_below = {d.units_below}
    dwelling.film = {spread(film, "m") if film else f'"{d.film!r} m"'}
    damage.harmless = "{d.harmless!r} m3"
    damage.fixed_loss = "{d.fixed} EUR"
    damage.area_loss = "{d.per_area} EUR/m2"
    damage.contents_loss = "{d.contents} EUR/m2"
    damage.wet_start = "{d.wet_start} s"
    damage.wet_full = "{d.wet_full} s"
    damage.wet_extra = {d.wet_extra}
    damage.through_volume = "{d.through!r} m3"
    damage.volume_per_unit = "{d.per_unit!r} m3"
    damage.unit_loss = "{d.unit_loss} EUR"
    damage.loss_cap = "{d.cap} EUR"
    damage.severity = {factor(d.severity)}
    """


def fixed_flow(flow: float, late: float) -> str:
    return f"""
    leaks.hose.open_end_flow = "{flow!r} m3/s"
    damage.late_volume = "{late!r} m3"
    """


def stroke(seconds: float) -> str:
    """Return an actuator that closes a quarter turn in so many seconds."""
    return f'actuator.no_load_speed = "{seconds!r} s per quarter turn"'


def reach(volume: Spread, film: float) -> str:
    return spread(Spread(volume.median / film, volume.spread), "m2")


def dormant(s: naive.Dormant) -> str:
    return f"""
    {week(s)}{damage(s.damage)}{fixed_flow(s.flow, s.late)}{stroke(s.stroke)}
    dwelling.drain_down = "{s.drain!r} m3"
    actuator.failure_rate = "{s.failure_rate!r} per s"
    actuator.diagnostic = {s.diagnostic}
    actuator.repair = {spread(s.repair, "s")}
    actuator.end_of_travel = "not sensed"
    exercise.interval = "{s.exercise} s"
    exercise.coverage = {s.coverage}
    sensors.a.reach_chance = {s.reaches}
    sensors.a.reach_area = {reach(s.reach_volume, s.damage.film)}
    people.notice_burst = "{s.notice} s"
    people.notice_asleep = {s.asleep_factor}
    people.notice_spread = {s.notice_spread}
    override.knows_valve = {s.knows}
    override.find_known = {spread(s.find_known, "s")}
    override.find_unknown = {spread(s.find_unknown, "s")}
    override.access = {s.access}
    override.hand_turn = "{s.turn} s"
    mount.fasteners = {s.screws}
    mount.fastener_time = {spread(s.screw_time, "s")}
    mount.tool_at_hand = {s.tool_at_hand}
    mount.tool_search = {spread(s.tool_search, "s")}
    """


def power(s: naive.Power) -> str:
    sensor = f"""
    reach_chance = {s.reaches}, reach_area = {reach(s.reach_volume, s.damage.film)}, \
failure_rate = "{s.sensor_rate!r} per s", battery_life = {spread(s.cell, "s")}, \
attempt_success = {s.attempt_success}, attempts = {s.attempts}""".strip()
    return f"""
    {week(s)}{damage(s.damage)}{fixed_flow(s.flow, s.late)}{stroke(s.stroke)}
    dwelling.drain_down = "{s.drain!r} m3"
    people.power_off_on_leaving = {s.power_off}
    mains.outage_rate = "{s.outage_rate!r} per s"
    mains.outage_duration = {spread(s.outage, "s")}
    mains.major_rate = "{s.major_rate!r} per s"
    mains.major_duration = {{mean = "{s.major} s"}}
    supply.failure_rate = "{s.supply_rate!r} per s"
    supply.repair = {spread(s.supply_repair, "s")}
    controller.standby_power = "{s.standby} W"
    battery.fitted = true
    battery.voltage = "12 V"
    battery.resistance = "0 ohm"
    battery.usable = 1
    battery.capacity = "{s.energy} J"
    battery.fade = "{s.fade * 100!r} % per s"
    battery.life = {{life = "{s.battery_scale} s", shape = {s.battery_shape}}}
    battery.change = "{s.change} s"
    battery.test = "{s.test} s"
    sensors.a = {{supervised = false, {sensor}}}
    sensors.b = {{kind = "wired", zone = "room", supervised = true, {sensor}}}
    detection.common_cause = {s.common}
    detection.test_interval = "{s.check} s"
    detection.replacement = {spread(s.replacement, "s")}
    detection.report_repeats = {s.repeats}
    detection.report_interval = "{s.interval} s"
    gateway = {{fitted = true, availability = 1, backed_up = false}}
    policies = {{remote_command = false, away_mode = 0, escalate = false}}
    notification.awake = "{s.phone_awake} s"
    notification.asleep = "{s.phone_asleep} s"
    notification.away = "{s.phone_away} s"
    notification.spread = {s.phone_spread}
    people.notice_burst = "{s.notice} s"
    people.notice_asleep = {s.asleep_factor}
    people.notice_spread = {s.notice_spread}
    override.travel_out = {spread(s.travel_out, "s")}
    override.travel_away = {spread(s.travel_away, "s")}
    override.key_holder = {s.key_holder}
    override.key_holder_time = {spread(s.key_holder_time, "s")}
    override.find_known = {spread(s.find, "s")}
    mount.release_time = "{s.release} s"
    """


def torque(s: naive.Torque) -> str:
    element = "" if s.automation else 'element.kind = "none"'
    return f"""
    {damage(s.damage)}{fixed_flow(s.flow, s.late)}{stroke(s.stroke)}
    {element}
    dwelling.drain_down = "{s.drain!r} m3"
    valve.breakaway = {spread(s.breakaway, "N*m")}
    valve.age = "{s.valve_age} s"
    valve.age_factor = {above_one(s.age_growth)}
    valve.age_reference = "{s.age_reference} s"
    valve.idle_growth = {s.idle_growth}
    valve.idle_cap = {s.idle_cap}
    valve.untouched = "{s.idle_start} s"
    valve.seize_time = {{mean = "{s.seize} s"}}
    valve.closing_share = {{low = {s.share_low}, high = {s.share_high}, shape = "even"}}
    actuator.stall_torque = "{s.stall_torque} N*m"
    actuator.unit_spread = {factor(s.unit)}
    actuator.wear = {s.wear}
    actuator.strip_chance = {s.strip}
    actuator.stall_cutoff = "1 s"
    actuator.end_of_travel = "not sensed"
    actuator.repair = {spread(s.repair, "s")}
    exercise.interval = "{s.exercise} s"
    exercise.coverage = {s.coverage}
    sensors.a.reach_area = {reach(s.reach_volume, s.damage.film)}
    people.notice_burst = "{s.notice} s"
    people.notice_spread = {s.notice_spread}
    override.find_known = {spread(s.find, "s")}
    override.hand_turn = "{s.turn} s"
    override.hand_torque = {spread(s.hand_torque, "N*m")}
    override.upstream = {spread(s.upstream, "s")}
    mount.fasteners = {s.screws}
    mount.fastener_time = {spread(s.screw_time, "s")}
    mount.tool_at_hand = 1
    """


def seep(s: naive.Seep) -> str:
    return f"""
    {week(s)}{damage(s.damage, s.film)}{stroke(s.stroke)}
    damage.late_volume = "{s.late!r} m3"
    sensors.a.fitted = false
    dwelling.pressure = {spread(s.pressure, "Pa")}
    dwelling.full_bore_flow = "{s.full_flow!r} m3/s"
    dwelling.full_bore_pressure = "{s.full_pressure!r} Pa"
    dwelling.drain_down = {spread(s.drain, "m3")}
    leaks.hose.seep_share = {s.seeps}
    leaks.hose.seep_flow = {spread(s.seep_flow, "m3/s")}
    leaks.hose.seep_growth = {{mean = "{s.growth} s"}}
    leaks.hose.hole_diameter = {spread(s.hole, "m")}
    leaks.hose.discharge = {s.discharge}
    leaks.hose.hidden = {s.hidden}
    valve.seat_leak = {spread(s.seat, "m3/s")}
    flow_rule.fitted = true
    flow_rule.pulse_volume = "{s.pulse!r} m3"
    flow_rule.starting_flow = "0 L/h"
    flow_rule.flow = "{s.rule_flow!r} m3/s"
    flow_rule.time = "{s.rule_time} s"
    flow_rule.volume = "{s.rule_volume!r} m3"
    flow_rule.time_away = "{s.rule_time_away} s"
    flow_rule.volume_away = "{s.rule_volume_away!r} m3"
    policies = {{away_mode = {s.away_mode}, close_when_away = false}}
    people.notice_burst = "{s.notice_burst} s"
    people.notice_seep = "{s.notice_seep} s"
    people.notice_asleep = {s.asleep_factor}
    people.notice_spread = {s.notice_spread}
    neighbour = {{notices = true, volume = "{s.below_volume!r} m3", notice = "{s.below_notice} s"}}
    override.travel_out = {spread(s.travel_out, "s")}
    override.travel_away = {spread(s.travel_away, "s")}
    override.key_holder = 0
    override.find_known = {spread(s.find, "s")}
    """


def busy(s: naive.Busy) -> str:
    return f"""
    {damage(s.damage)}{fixed_flow(s.flow, s.late)}{stroke(s.stroke)}
    leaks.hose.rate = "{s.leak_rate!r} per s"
    actuator.failure_rate = "{s.failure_rate!r} per s"
    actuator.stick_chance = {s.stick}
    actuator.repair = {spread(s.repair, "s")}
    actuator.end_of_travel = "not sensed"
    exercise.interval = "{s.exercise} s"
    exercise.coverage = {s.coverage}
    sensors.a.failure_rate = "{s.sensor_rate!r} per s"
    sensors.a.reach_area = {reach(s.reach_volume, s.damage.film)}
    detection.test_interval = "{s.check} s"
    nuisance.rate_per_sensor = "{s.nuisance!r} per s"
    nuisance.switch_off_chance = {s.switch_off}
    nuisance.switch_off_time = {spread(s.off_time, "s")}
    controller.hang_rate = "{s.hang_rate!r} per s"
    controller.watchdog = false
    controller.hang_notice = {{mean = "{s.hang_notice} s"}}
    people.notice_burst = "{s.notice} s"
    people.notice_spread = {s.notice_spread}
    override.find_known = {spread(s.find, "s")}
    """


@dataclass(frozen=True)
class System:
    """A plain simulator, the same as a scenario, and how hard to work."""

    name: str
    plain: Any
    changes: Callable[[Any], str]
    leaks: int = 4
    histories: int = 3000
    runs: int = 6000

    def scenario(self) -> shutoffsim.Scenario:
        return perfect(self.changes(self.plain), life=f"{self.plain.life} s")

    def numbers(self, change: Change | None = None) -> dict[str, Number]:
        """Return the program's numbers from probes; ``change`` may spoil the parameters."""
        params = self.scenario().parameters()
        if change is not None:
            change(params)
        setup = Setup.of(params, 2, probes=16)
        return over_probes(run_chunks(setup, 0, self.runs))


@cache
def naive_numbers(system: System) -> dict[str, Number]:
    rng = np.random.default_rng(20240229)
    plain = system.plain
    return summarise([plain.history(rng, system.leaks) for _ in range(system.histories)])


def over_probes(chunks: Any) -> dict[str, Number]:
    """Return means over leaks of design 0, with the spread between histories."""
    parts: list[dict[str, Any]] = []
    for chunk in chunks:
        rows = chunk.rows[0]
        weight = rows["weight"]
        values = {"loss": rows["loss"], "volume": rows["volume"], "failed": rows["mode"] > 0}
        for number, mode in enumerate(L.MODES[1:], start=1):
            values[mode] = rows["mode"] == number
        sums = {name: (weight * value).sum(axis=1) for name, value in values.items()}
        parts.append(sums | {"": weight.sum(axis=1)})
    joined = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    below = joined.pop("")
    return {name: ratio(top, below) for name, top in joined.items()}


SYSTEMS = [
    System("dormant failures", naive.Dormant(), dormant, leaks=20, histories=2500),
    System("power", naive.Power(), power, leaks=20, histories=1600),
    System("torque", naive.Torque(), torque, leaks=4, histories=5000, runs=8000),
    System("torque, seldom exercised", naive.Torque(exercise=700 * naive.DAY), torque, leaks=2),
    System("torque, no automation", naive.Torque(automation=False), torque, leaks=2),
    System("seep and flow rule", naive.Seep(), seep, leaks=8, histories=1500),
]


def findings(theirs: dict[str, Number], ours: dict[str, Number]) -> dict[str, Finding]:
    """Return each number that either side has beside the other's; what one lacks is zero there."""
    none = (0.0, 0.0)
    pairs = {name: (ours.get(name, none), theirs.get(name, none)) for name in {**theirs, **ours}}
    return {
        name: Finding(*own, *plain)
        for name, (own, plain) in pairs.items()
        if own[1] > 0.0 or plain[1] > 0.0
    }


@pytest.mark.parametrize("system", SYSTEMS, ids=lambda system: system.name)
def test_program_agrees_with_a_plain_simulator(system):
    found = findings(naive_numbers(system), system.numbers())
    assert len(found) > 1
    for name, finding in found.items():
        assert finding.agrees, f"{name}: {finding}"
    sharp = {"loss": 0.04, "failed": 0.05}
    for name in sharp.keys() & found.keys():
        assert_agrees(found[name], sharp[name])


def test_the_public_call_agrees_with_a_plain_simulator():
    """Expected annual damage is the rate of leaks times their mean loss."""
    system = SYSTEMS[2]
    theirs = naive_numbers(system)
    design = shutoffsim.compare(system.scenario(), histories=8000, seed=6).designs[0]
    damage, failed = design.expected_annual_damage, design.probability_of_failure_on_demand
    loss, error = theirs["loss"]
    assert_agrees(Finding(damage.value, damage.std_error, 1e-6 * loss, 1e-6 * error), 0.03)
    assert_agrees(Finding(failed.value, failed.std_error, *theirs["failed"]), 0.03)


def test_automation_saves_what_the_plain_simulators_say():
    """A difference of designs, against the difference of two plain simulators."""
    with_it, without = SYSTEMS[2], SYSTEMS[4]
    changes = [system.changes(system.plain) for system in (without, with_it)]
    scenario = perfect(*changes, life=f"{with_it.plain.life} s")
    result = shutoffsim.compare(scenario, histories=12000, seed=8)
    gap = result.differences[0].expected_annual_damage
    (a, ea), (b, eb) = (naive_numbers(system)["loss"] for system in (with_it, without))
    expected = Finding(gap.value, gap.std_error, 1e-6 * (a - b), 1e-6 * float(np.hypot(ea, eb)))
    assert_agrees(expected, 0.08)


# --- leaks that meet each other's traces -----------------------------------------------------


@cache
def busy_numbers(histories: int = 3000) -> dict[str, Number]:
    """Return figures per year, and shares of leaks, of the plain simulator with frequent leaks."""
    rng = np.random.default_rng(19)
    plain = naive.Busy()
    years = plain.life / naive.YEAR
    lives = [plain.history(rng) for _ in range(histories)]
    counts = [len(leaks) for leaks, _ in lives]
    numbers = {
        "loss": naive.mean(sum(o.loss for o in leaks) / years for leaks, _ in lives),
        "leaks": naive.mean(count / years for count in counts),
        "nuisance": naive.mean(nuisances / years for _, nuisances in lives),
    }
    for mode in sorted({o.mode for leaks, _ in lives for o in leaks} - {""}):
        numbers[mode] = ratio([sum(o.mode == mode for o in leaks) for leaks, _ in lives], counts)
    return numbers


def busy_program(change: Change | None = None, histories: int = 3000) -> dict[str, Number]:
    """Return the same of the program, counted over leaks that come by themselves."""
    plain = naive.Busy()
    years = plain.life / naive.YEAR
    params = perfect(busy(plain), life=f"{plain.life} s").parameters()
    if change is not None:
        change(params)
    losses, leaks, nuisances = [], [], []
    modes: dict[str, list[Any]] = {mode: [] for mode in L.MODES[1:]}
    for chunk in run_chunks(Setup.of(params, 5, probes=1), 0, histories):
        n = chunk.rows.shape[1]
        at = chunk.natural["history"] - chunk.first
        losses.append(np.bincount(at, chunk.natural["loss"], n) / years)
        leaks.append(np.bincount(at, minlength=n))
        nuisances.append(chunk.summary["nuisance_closings"][0] / years)
        for number, mode in enumerate(L.MODES[1:], start=1):
            modes[mode].append(np.bincount(at[chunk.natural["mode"] == number], minlength=n))
    counts = np.concatenate(leaks)
    numbers = {
        "loss": naive.mean(np.concatenate(losses)),
        "leaks": naive.mean(counts / years),
        "nuisance": naive.mean(np.concatenate(nuisances)),
    }
    return numbers | {mode: ratio(np.concatenate(parts), counts) for mode, parts in modes.items()}


def test_frequent_leaks_that_find_faults_agree():
    """Natural leaks, where each incident mends what it brought to light."""
    found = findings(busy_numbers(), busy_program())
    for name, finding in found.items():
        assert finding.agrees, f"{name}: {finding}"
    for name in ("loss", "leaks", "nuisance", "actuator failed", "sensor dead"):
        assert_agrees(found[name], 0.03)


def test_probes_among_frequent_leaks_agree():
    """The same system asked by probes, which see it as the natural leaks have left it."""
    plain = naive.Busy()
    scenario = perfect(busy(plain), life=f"{plain.life} s")
    design = shutoffsim.compare(scenario, histories=3000, seed=7).designs[0]
    damage = design.expected_annual_damage
    assert_agrees(Finding(damage.value, damage.std_error, *busy_numbers()["loss"]), 0.02)
    for mode in ("actuator failed", "sensor dead", "controller down", "automation switched off"):
        share = design.failure_modes[mode]
        assert_agrees(Finding(share.value, share.std_error, *busy_numbers()[mode]), 0.05)
