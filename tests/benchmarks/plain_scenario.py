"""The small dwelling of the ordinary SimPy program, as a scenario."""

from __future__ import annotations

from checks import PERFECT
from plain import Median, System

DESIGNS = ("no automation", "automation")


def scenario_text(s: System) -> str:
    """Return the same dwelling as a scenario with the designs :data:`DESIGNS`."""

    def spread(of: Median, unit: str) -> str:
        return f'{{median = "{of[0]!r} {unit}", spread = {of[1]!r}}}'

    def clock(hours: float) -> str:
        return f'"{int(hours):02d}:{round(hours % 1 * 60):02d}"'

    day = f"wake = {clock(s.wake)}, sleep = {clock(s.sleep)}"
    out = f"leave = {clock(s.leave)}, return = {clock(s.back)}, out_chance = {s.out_chance}"
    like = 'seep_share = 0, out_of_reach = 0, open_end_pressure = "3 bar"'
    leaks = "".join(
        f'leaks.n{number} = {{rate = "{rate!r} per s", open_end_flow = "{flow!r} m3/s", {like}}}\n'
        for number, (rate, flow) in enumerate(s.sources)
    )
    common = f"""
    leaks.hose.fitted = false
    {leaks}
    people.notice_burst = "{s.notice} s"
    people.notice_asleep = {s.asleep_factor}
    people.notice_spread = {s.notice_spread}
    people.trips = true
    people.stay = {{mean = "{s.stay!r} s"}}
    people.trip = {spread(s.trip, "s")}
    people.start_away = {s.start_away}
    people.week.weekdays = {{{day}, {out}}}
    people.week.saturday = {{{day}}}
    people.week.sunday = {{{day}}}
    override.find_known = {spread(s.find, "s")}
    override.hand_turn = "1e-6 s"
    dwelling.drain_down = "{s.drain!r} m3"
    dwelling.floor_area = "{s.floor} m2"
    dwelling.film = "{s.film!r} m"
    zones.room.area = "{s.room} m2"
    damage.harmless = "{s.harmless!r} m3"
    damage.fixed_loss = "{s.fixed} EUR"
    damage.area_loss = "{s.per_area} EUR/m2"
    damage.contents_loss = "{s.contents} EUR/m2"
    damage.wet_start = "{s.wet_start} s"
    damage.wet_full = "{s.wet_full} s"
    damage.wet_extra = {s.wet_extra}
    damage.severity = {{median = {s.severity[0]}, spread = {s.severity[1]}}}
    damage.loss_cap = "{s.cap} EUR"
    """
    automation = f"""
    actuator.no_load_speed = "{s.stroke!r} s per quarter turn"
    actuator.failure_rate = "{s.failure_rate!r} per s"
    actuator.diagnostic = {s.diagnostic}
    actuator.repair = {spread(s.repair, "s")}
    actuator.end_of_travel = "not sensed"
    exercise.interval = "{s.exercise} s"
    exercise.coverage = {s.coverage}
    mount.fasteners = {s.screws}
    mount.fastener_time = {spread(s.screw_time, "s")}
    mount.tool_at_hand = 1
    sensors.a.reach_chance = {s.reaches}
    sensors.a.reach_area = {spread((s.reach_volume[0] / s.film, s.reach_volume[1]), "m2")}
    sensors.a.failure_rate = "{s.sensor_rate!r} per s"
    sensors.a.battery_life = {spread(s.cell, "s")}
    detection.test_interval = "{s.check} s"
    mains.outage_rate = "{s.outage_rate!r} per s"
    mains.outage_duration = {spread(s.outage, "s")}
    controller.standby_power = "1 W"
    battery.fitted = true
    battery.voltage = "12 V"
    battery.resistance = "0 ohm"
    battery.usable = 1
    battery.capacity = "{s.autonomy} J"
    battery.fade = "0 % per s"
    battery.life = "1000 years"
    battery.change = "never"
    battery.test = "never"
    nuisance.rate_per_sensor = "{s.nuisance!r} per s"
    nuisance.switch_off_chance = {s.switch_off}
    nuisance.switch_off_time = {spread(s.off_time, "s")}
    """
    none = 'element.kind = "none"'
    text = PERFECT.format(life=f"{s.life} s")
    for name, own in zip(DESIGNS, (none, automation), strict=True):
        text += f'\n[designs."{name}"]\n{common}\n{own}\n'
    return text
