"""A home in which everything happens within weeks, so that short histories use every draw."""

from __future__ import annotations

from typing import Any

from checks import perfect

_DAY = '{wake = "06:30", leave = "08:00", return = "17:00", sleep = "22:30", out_chance = 0.6}'

EVENTFUL = f"""
leaks.hose = {{rate = "20 per year", seep_share = 0.5, seep_growth = {{mean = "5 h"}}, \
seep_flow = {{low = "0.01 L/min", high = "0.5 L/min"}}, spell_factor = 3, trip_factor = 2, \
open_end_flow = {{low = "2 L/min", high = "9 L/min"}}, out_of_reach = 0.2, hidden = 3}}
leaks.pipe = {{zone = "room", rate = "20 per year", seep_share = 0, starts = "in use", \
season = "winter", hole_diameter = {{low = "1 mm", high = "4 mm"}}, spell_factor = 1, \
trip_factor = 1, hidden = 1, out_of_reach = 0}}
zones.room.area = "20 m2"
dwelling = {{pressure = {{low = "2 bar", high = "5 bar"}}, drain_down = {{low = "1 L", high = \
"9 L"}}, film = {{low = "1 mm", high = "3 mm"}}, evaporation = "0.5 mm/h", \
floor_area = "80 m2", units_below = 2}}
neighbour = {{notices = true, volume = "60 L", notice = "1 h"}}
weather = {{spell_rate = "60 per year", spell_duration = {{mean = "2 days"}}, \
coldest_day = "1 February"}}
people = {{trips = true, stay = {{mean = "8 days"}}, trip = {{mean = "3 days"}}, start_away = 0.3, \
shut_on_leaving = 0.3, power_off_on_leaving = 0.3, \
notice_burst = "2 h", notice_seep = "9 h", notice_asleep = 4, notice_spread = 2, \
week = {{weekdays = {_DAY}, saturday = {_DAY}, sunday = {_DAY}}}}}
detection = {{common_cause = 0.3, test_interval = "20 days", report_repeats = 3, \
report_interval = "60 s", via_gateway = true, replacement = {{mean = "1 days"}}}}
sensors.a = {{kind = "radio, coin cell", reach_chance = 0.8, \
reach_area = {{low = "1 m2", high = "9 m2"}}, failure_rate = "40 per year", \
battery_life = {{mean = "30 days"}}, supervised = true, attempt_success = 0.3, attempts = 2}}
sensors.b = {{kind = "radio, coin cell", zone = "room", reach_chance = 0.8, \
reach_area = {{low = "1 m2", high = "9 m2"}}, failure_rate = "40 per year", \
battery_life = {{mean = "30 days"}}, supervised = false, attempt_success = 0.3, attempts = 1}}
siren.fitted = true
flow_rule = {{fitted = true, flow = "1 L/min", time = "30 min", volume = "200 L", \
failure_rate = "30 per year", supervised = true, silence = "1 days"}}
pressure_test = {{fitted = true, interval = "2 days", hold = "10 min", least_flow = "9 mL/min", \
disturbed = 0.3}}
nuisance = {{rate_per_sensor = "30 per year", rule_rate = "30 per year", switch_off_chance = 0.3, \
switch_off_time = {{mean = "1 days"}}}}
controller = {{hang_rate = "30 per year", watchdog = false, hang_notice = {{mean = "1 days"}}, \
decides_via_gateway = false, shares_rail = true, brown_out = "4 V", standby_power = "1 W"}}
gateway = {{fitted = true, availability = 0.8, outage = "6 h", backed_up = true}}
notification = {{awake = "30 min", asleep = "5 h", away = "2 h", spread = 2}}
policies = {{remote_command = true, away_mode = 0.6, close_when_away = true, \
close_on_power_loss = true, power_loss_wait = "1 h", escalate = true}}
mains = {{outage_rate = "40 per year", outage_duration = {{mean = "8 h"}}, \
major_rate = "10 per year", major_duration = {{mean = "2 days"}}, dip_rate = "40 per year", \
spell_factor = 3}}
supply = {{failure_rate = "10 per year", repair = {{mean = "2 days"}}}}
battery = {{fitted = true, voltage = "12 V", resistance = "1 ohm", usable = 0.8, \
capacity = "8 Wh", fade = "20 % per year", life = {{mean = "20 days"}}, change = "25 days", \
test = "10 days"}}
valve = {{breakaway = {{median = "4 N*m", spread = 1.8}}, age = "5 years", age_factor = \
{{least = 1, median = 1.4, spread = 1.2}}, age_reference = "10 years", idle_growth = 0.3, \
seize_time = {{mean = "100 days"}}, closing_share = {{low = 0.5, high = 1.0, shape = "even"}}, \
opening_share = 1, \
seat_leak = {{low = "0.1 L/h", high = "2 L/h"}}, renew_after = 2}}
actuator = {{unit_spread = {{median = 0.9, spread = 1.2}}, retries = 2, retry_pause = "10 s", \
failure_rate = "30 per year", diagnostic = 0.3, stick_chance = 0.1, strip_chance = 0.1, \
short_chance = 0.2, short_flow = 0.2, no_load_speed = "0.05 rpm", stall_cutoff = "5 s", \
repair = {{mean = "2 days"}}, end_of_travel = "END"}}
mount = {{fasteners = 4, fastener_time = {{low = "10 s", high = "40 s"}}, tool_at_hand = 0.5, \
tool_search = {{mean = "5 min"}}, reaction = "friction", slip_torque = "7 N*m", \
creep = {{low = 0.02, high = 0.1, shape = "even"}}, retightening = "30 days"}}
exercise = {{interval = "6 days", coverage = 0.8, outage = "60 s"}}
owner_test = {{interval = "9 days", done = 0.5}}
override = {{travel_out = {{mean = "40 min"}}, travel_away = {{mean = "9 h"}}, key_holder = 0.5, \
key_holder_time = {{mean = "2 h"}}, knows_valve = 0.5, find_known = {{mean = "1 min"}}, \
find_unknown = {{mean = "9 min"}}, grip = "bare stem", \
hand_torque = {{median = "1 N*m", spread = 1.5}}, \
tool_torque = {{median = "2 N*m", spread = 2}}, \
upstream = {{mean = "2 h"}}}}
reopening = {{notice = {{mean = "10 min"}}, urgent = {{mean = "1 h"}}}}
damage.severity = {{mean = 1.0, spread = 2.0}}
"""

_CLAMP = EVENTFUL.replace("END", "at the stem")
_DIRTY = (
    'solenoid = {failure_rate = "30 per year", diagnostic = 0.3, stick_chance = 0.2, '
    'release_time = {mean = "1 min"}, repair = {mean = "2 days"}}\n'
)
DESIGNS = {
    "clamped actuator": _CLAMP,
    "without feedback, decision beyond the gateway": EVENTFUL.replace("END", "not sensed").replace(
        "decides_via_gateway = false", "decides_via_gateway = true"
    ),
    "solenoid, powered open": _CLAMP + 'element.kind = "solenoid, powered open"\n' + _DIRTY,
    "solenoid, powered shut": _CLAMP + 'element.kind = "solenoid, powered shut"\n' + _DIRTY,
    "nobody but people": _CLAMP.replace("close_when_away = true", "close_when_away = false")
    + 'element.kind = "none"\n',
}


def eventful(days: float = 60.0) -> Any:
    """Return the parameters of :data:`DESIGNS`, in this order."""
    return perfect(*DESIGNS.values(), life=f"{days} days").parameters()
