"""The numbers a history runs on: one flat record per design, one per state, one per incident.

Everything is SI (seconds, pascals, cubic metres, newton metres, volts, joules); rates are per
second. A field of type ``DIST`` holds a distribution as four numbers ``(kind, a, b, c)``, see
:mod:`shutoffsim.model.quantiles`. Reading a field as an attribute (``p.valve_age``) works in
compiled and in plain Python code alike.
"""

from __future__ import annotations

import numpy as np

# MODES and the numbers MODE_...: one row each, there.
from shutoffsim.model.modes import *  # noqa: F403

NEVER = np.inf  # a delay: this clock does not ring
KEEP = -1.0  # a delay: leave the clock as it is

MAX_SOURCES = 16
MAX_SENSORS = 12
MAX_RUNGS = 7  # classes of actuator, the first one included
SLOTS = 3  # leaks that can be open at once; a further one is dropped and counted
HALF_HOURS = 336  # of a week
STREAMS = 30  # of random numbers, see streams; those of sensors and sources aside

YEAR = 365.25 * 86400.0

# --- where the end of travel is sensed ----------------------------------------------------------
END_NOT_SENSED, END_AT_MOTOR, END_AT_STEM = 0, 1, 2

MOUNT_SCREWS = 0
MOUNT_QUICK_RELEASE = 1

# what feeds the siren: a battery of its own, as in spot sensors; mains; the controller
SIREN_ON_BATTERY, SIREN_ON_MAINS, SIREN_ON_CONTROLLER = 0, 1, 2
# the main switch of the house: on; off; off once the stroke under way has ended
SWITCH_ON_NOW, SWITCH_OFF, SWITCH_OFF_SOON = 0, 1, 2

# --- where people are -----------------------------------------------------------------------
AWAKE, ASLEEP, OUT, AWAY = 0, 1, 2, 3
PERHAPS_OUT = 4  # only in a week's pattern: out or awake, by the day's draw
PRESENCE_NAMES = ("awake at home", "asleep at home", "out", "away on a trip")

# --- who stopped the water --------------------------------------------------------------------
STOPPERS = ("nobody", "automation", "a person at the valve", "a person upstream", "already shut")
BY_NOBODY, BY_AUTOMATION, BY_HAND, BY_UPSTREAM, BY_ALREADY_SHUT = np.arange(len(STOPPERS))

DIST = "dist"  # four numbers: kind, a, b, c

# A leak source: (field, type, unit, meaning).
SOURCE_FIELDS = (
    ("zone", "i", "-", "index of its zone"),
    ("rate", "f", "1/s", "constant leak rate (0 when life_shape > 0)"),
    ("life_shape", "f", "-", "Weibull shape of the part's life; 0: constant rate"),
    ("life", "f", "s", "Weibull scale of the part's life"),
    ("parts", "f", "-", "number of like parts"),
    ("age", "f", "s", "age of the part at commissioning"),
    ("replace_at", "f", "s", "age at which it is replaced on schedule; inf: never"),
    ("winter", "f", "-", "0: all year; 1: in winter only (cosine-squared half year, mean 1)"),
    ("spell_factor", "f", "-", "rate multiplier during a cold spell or storm"),
    ("trip_factor", "f", "-", "rate multiplier while people are away on a trip"),
    ("in_use", "i", "-", "1: leaks start only while somebody is awake at home"),
    ("seep_share", "f", "-", "share of leaks that start as a seep"),
    ("seep_flow", DIST, "m3/s", "flow of a seep"),
    ("seep_growth", DIST, "s", "time for a seep to become a burst; fixed inf: never"),
    ("hole_area", DIST, "m2", "area of a burst hole; fixed 0: use open_end_flow"),
    ("discharge", "f", "-", "discharge coefficient of the hole"),
    ("open_end_flow", DIST, "m3/s", "flow of the open end at open_end_pressure, no supply loss"),
    ("open_end_pressure", "f", "Pa", "pressure at which open_end_flow was stated"),
    ("hidden", "f", "-", "factor on the time until a person notices (1: in plain view)"),
    ("out_of_reach", "f", "-", "share of its leaks whose water stays where no sensor can be"),
    ("grey", "i", "-", "1: the water is grey, not clean"),
)

# A spot sensor.
SENSOR_FIELDS = (
    ("zone", "i", "-", "index of its zone"),
    ("reach_chance", "f", "-", "chance that the water's path meets the sensor"),
    ("reach_area", DIST, "m2", "area wetted before the water reaches the sensor"),
    ("failure_rate", "f", "1/s", "rate of dormant failures, all causes but the battery"),
    ("battery_life", DIST, "s", "life of the sensor's battery; fixed inf: mains or none"),
    ("supervised", "i", "-", "1: missing reports are noticed and the sensor is replaced"),
    ("attempt_success", "f", "-", "chance that one radio attempt arrives"),
    ("attempts", "i", "-", "radio attempts per report"),
    ("false_alarm_rate", "f", "1/s", "false alarms while it works"),
)

PARAMETER_FIELDS = (
    ("service_life", "f", "s", "service life simulated"),
    ("n_sources", "i", "-", "leak sources in use"),
    ("n_sensors", "i", "-", "spot sensors in use"),
    ("n_rungs", "i", "-", "classes of actuator to choose from, the first included"),
    # water
    ("dwelling_pressure", DIST, "Pa", "static pressure, drawn once a history"),
    (
        "dwelling_full_bore_flow",
        "f",
        "m3/s",
        "flow of the open supply, measured; 0: by the pipe's data",
    ),
    (
        "dwelling_full_bore_pressure",
        "f",
        "Pa",
        "static pressure during the full-bore (bucket) test",
    ),
    ("dwelling_supply_pipe_length", "f", "m", "supply pipe, where full_bore_flow is 0"),
    ("dwelling_supply_pipe_bore", "f", "m", "its inner diameter"),
    ("dwelling_supply_pipe_roughness", "f", "m", "height of its wall's roughness"),
    ("dwelling_supply_pipe_fittings_k", "f", "-", "sum of the loss coefficients of its fittings"),
    (
        "dwelling_supply_pipe_friction_factor",
        "f",
        "-",
        "friction factor, stated; 0: by Reynolds number and roughness",
    ),
    ("water_density", "f", "kg/m3", ""),
    ("water_viscosity", "f", "Pa s", ""),
    ("dwelling_drain_down", DIST, "m3", "water stored above a leak that runs out after closing"),
    ("dwelling_drain_head", "f", "m", "height of that water above the leak"),
    ("dwelling_evaporation", "f", "m/s", "water that a wet floor loses per area and time"),
    ("dwelling_film", DIST, "m", "film thickness of spreading water, drawn per leak"),
    # weather
    ("weather_coldest_day", "f", "s", "time of year of the coldest day, from 1 January"),
    (
        "weather_spell_rate",
        "f",
        "1/s",
        "yearly mean rate of severe spells (all in the winter half)",
    ),
    ("weather_spell_duration", DIST, "s", "duration of a severe spell"),
    ("region", "i", "-", "1: weather and mains are those of the region, see streams.of_region"),
    # people
    (
        "people_week",
        "week",
        "-",
        "336 half hours from Monday 00:00: AWAKE, ASLEEP, OUT, PERHAPS_OUT",
    ),
    (
        "people_week_stays",
        "week",
        "-",
        "half hours until that changes, or a day that is PERHAPS_OUT ends",
    ),
    ("people_out_chance", "days", "-", "7 chances that PERHAPS_OUT is out on that weekday"),
    ("people_trips", "i", "-", "1: people go on trips"),
    ("people_stay", DIST, "s", "time between trips"),
    ("people_trip", DIST, "s", "length of a trip"),
    ("people_awake_share", "f", "-", "long-run share of time, trips included, awake at home"),
    ("people_visits", "f", "s", "time between a caretaker's visits on a trip"),
    ("people_visit_sees", "f", "-", "chance that a leak shows to the caretaker"),
    ("people_visit_cost", "f", "money", "price of a visit"),
    ("people_shut_on_leaving", "f", "-", "chance per trip that people shut the valve themselves"),
    ("people_power_off_on_leaving", "f", "-", "chance per trip that they cut the power"),
    ("people_start_away", "f", "-", "chance that the history starts during a trip"),
    ("people_notice_burst", "f", "s", "median time for a person awake at home to notice a burst"),
    ("people_notice_seep", "f", "s", "median time for a person awake at home to notice a seep"),
    ("people_notice_asleep", "f", "-", "factor on these medians while asleep"),
    ("people_notice_log_spread", "f", "-", "log standard deviation of noticing"),
    ("siren_fitted", "i", "-", "1: a wet sensor sounds in the dwelling"),
    ("siren_power", "i", "-", "SIREN_...: what feeds it"),
    ("siren_awake", "f", "s", "median time to react to the siren, awake"),
    ("siren_asleep", "f", "s", "median time to react to the siren, asleep"),
    ("neighbour_notices", "i", "-", "1: a neighbour below can notice"),
    ("neighbour_volume", "f", "m3", "escaped water before it shows below"),
    ("neighbour_notice", "f", "s", "median time for the neighbour to notice and call"),
    ("notification_awake", "f", "s", "median time to notice a notification, awake or out"),
    ("notification_asleep", "f", "s", "the same, asleep"),
    ("notification_away", "f", "s", "the same, on a trip"),
    ("notification_log_spread", "f", "-", "log standard deviation of noticing a notification"),
    # sensing
    ("detection_votes", "i", "-", "sensors that must report before the controller acts"),
    (
        "detection_common_cause",
        "f",
        "-",
        "share of sensor failures that hit all sensors at once (beta)",
    ),
    ("detection_test_interval", "f", "s", "interval of manual sensor tests; inf: never"),
    ("detection_replacement", DIST, "s", "time until a sensor known to be dead is replaced"),
    (
        "detection_report_repeats",
        "i",
        "-",
        "further reports a wet sensor sends when one did not get through",
    ),
    ("detection_report_interval", "f", "s", "time between these reports"),
    ("detection_via_gateway", "i", "-", "1: sensor reports pass the gateway"),
    ("flow_rule_fitted", "i", "-", "1: a rule on the meter's pulses is in use"),
    ("flow_rule_pulse_volume", "f", "m3", "water per pulse"),
    ("flow_rule_starting_flow", "f", "m3/s", "flow at which the meter starts"),
    ("flow_rule_flow", "f", "m3/s", "flow above which the rule counts"),
    ("flow_rule_time", "f", "s", "alarm when flow lasts longer"),
    ("flow_rule_volume", "f", "m3", "alarm when one use takes more"),
    ("flow_rule_time_away", "f", "s", "the same in away mode"),
    ("flow_rule_volume_away", "f", "m3", "the same in away mode"),
    ("flow_rule_failure_rate", "f", "1/s", "failures of pickup, cable and counting"),
    ("flow_rule_supervised", "i", "-", "1: pulses that stay away are noticed"),
    ("flow_rule_silence", "f", "s", "time without pulses until they are missed"),
    ("pressure_test_interval", "f", "s", "interval of pressure tests at night; inf: never"),
    ("pressure_test_hold", "f", "s", "time for which the valve is shut"),
    (
        "pressure_test_least_flow",
        "f",
        "m3/s",
        "least loss of water that lets the pressure fall too fast",
    ),
    ("pressure_test_disturbed", "f", "-", "chance that people at home draw water meanwhile"),
    # nuisance
    ("nuisance_sensor_rate", "f", "1/s", "false alarms of sensors while all work"),
    ("nuisance_rule_rate", "f", "1/s", "ordinary uses that trip the flow rule"),
    (
        "nuisance_switch_off_chance",
        "f",
        "-",
        "chance per nuisance that people switch the automation off",
    ),
    ("nuisance_switch_off_time", DIST, "s", "how long it stays off"),
    # control
    ("controller_hang_rate", "f", "1/s", "controller hangs"),
    ("controller_watchdog", "i", "-", "1: a watchdog restarts it"),
    ("controller_restart_time", "f", "s", "time to restart"),
    (
        "controller_hang_notice",
        DIST,
        "s",
        "time until a hung controller is noticed without watchdog",
    ),
    (
        "controller_decides_via_gateway",
        "i",
        "-",
        "1: the decision to close is taken beyond the gateway",
    ),
    ("gateway_fitted", "i", "-", "1: there is a gateway and a line to the outside"),
    ("gateway_availability", "f", "-", "long-run availability of gateway and line"),
    ("gateway_outage", "f", "s", "mean length of a gateway or line outage (exponential)"),
    ("gateway_backed_up", "i", "-", "1: the gateway runs through mains outages"),
    ("policies_remote_command", "i", "-", "1: a person told by phone can order the valve shut"),
    ("policies_away_mode", "f", "-", "chance per trip that away mode gets set (1: automatic)"),
    ("policies_close_when_away", "i", "-", "1: the valve shuts when away mode is set"),
    ("policies_close_on_power_loss", "i", "-", "1: the valve shuts on power loss, on battery"),
    ("policies_power_loss_wait", "f", "s", "wait before that closing"),
    (
        "policies_escalate",
        "i",
        "-",
        "1: a closing that is not confirmed raises siren and notification",
    ),
    # power
    ("mains_outage_rate", "f", "1/s", "ordinary outages"),
    ("mains_outage_duration", DIST, "s", "their duration"),
    ("mains_major_rate", "f", "1/s", "major outages"),
    ("mains_major_duration", DIST, "s", "their duration"),
    ("mains_dip_rate", "f", "1/s", "momentary interruptions"),
    ("mains_dip_duration", DIST, "s", "their duration"),
    ("mains_spell_factor", "f", "-", "outage rate multiplier during a severe spell"),
    ("mains_breaker_chance", "f", "-", "chance that a leak that spreads trips the breaker"),
    ("mains_breaker_area", DIST, "m2", "wet area from which it does"),
    ("supply_voltage", "f", "V", "output of the power supply"),
    ("supply_resistance", "f", "ohm", "supply and cable"),
    ("supply_failure_rate", "f", "1/s", "failures of the power supply"),
    ("supply_repair", DIST, "s", "time to notice and replace it"),
    ("battery_fitted", "i", "-", "1: there is a battery"),
    ("battery_energy", "f", "J", "usable energy when new"),
    ("battery_fade", "f", "1/s", "share of that energy lost per second of age"),
    ("battery_voltage", "f", "V", "voltage under light load"),
    ("battery_resistance", "f", "ohm", "battery and cable"),
    ("battery_life", DIST, "s", "time to a hidden failure"),
    ("battery_change", "f", "s", "replacement interval; inf: never"),
    ("battery_test", "f", "s", "interval of a self-test that finds a failed battery; inf: never"),
    ("controller_standby_power", "f", "W", "draw of the controller from the battery"),
    ("solenoid_coil_power", "f", "W", "further draw of a solenoid while its coil is powered"),
    # valve
    ("valve_breakaway", DIST, "N*m", "breakaway torque when new, drawn once a history"),
    ("valve_age", "f", "s", "age of the valve at commissioning"),
    ("valve_age_factor", DIST, "-", "torque factor reached at age_reference"),
    ("valve_age_reference", "f", "s", "age at which age_factor holds (linear in age)"),
    ("valve_idle_growth", "f", "-", "c in 1 + c ln(1 + weeks idle)"),
    ("valve_idle_cap", "f", "-", "cap of the idle factor"),
    ("valve_idle_start", "f", "s", "time since last movement at commissioning"),
    ("valve_seize_time", DIST, "s", "idle time until the valve seizes"),
    ("valve_closing_share", DIST, "-", "torque to close as a share of breakaway, drawn per demand"),
    ("valve_opening_share", "f", "-", "torque to open from shut, over breakaway"),
    ("valve_turns", "f", "turns", "turns from open to shut (0.25: quarter turn)"),
    ("valve_seat_leak", DIST, "m3/s", "flow past the seat when shut, drawn once a history"),
    ("valve_stem_limit", "f", "N*m", "torque at which the stem shears"),
    # closing element
    ("element_kind", "i", "-", "its number, see elements.NUMBERS"),
    ("actuator_rated_voltage", "f", "V", "datasheet voltage"),
    ("actuator_stall_torque", "f", "N*m", "at the output shaft at rated voltage"),
    ("actuator_stall_current", "f", "A", "at rated voltage"),
    ("actuator_no_load_current", "f", "A", "at rated voltage"),
    (
        "actuator_no_load_speed",
        "f",
        "turns/s",
        "turns per second of the output shaft at rated voltage",
    ),
    ("actuator_torque_exponent", "f", "-", "of the voltage, in torque at stall"),
    ("actuator_current_exponent", "f", "-", "of the voltage, in current at stall"),
    ("actuator_current_limit", "f", "A", "of the driver or the supply; inf: none"),
    ("actuator_unit_spread", DIST, "-", "factor on torque between units"),
    ("actuator_wear", "f", "-", "share of torque lost per stroke"),
    ("actuator_ambient", "f", "degC", "temperature of the actuator's surroundings"),
    (
        "actuator_temperature_derating",
        "f",
        "1/K",
        "torque factor per kelvin away from 20 degC (derating)",
    ),
    ("actuator_thermal_resistance", "f", "K/W", "winding to surroundings"),
    ("actuator_thermal_time", "f", "s", "winding time constant"),
    ("actuator_winding_limit", "f", "degC", "winding temperature at which it burns"),
    (
        "actuator_stall_cutoff",
        "f",
        "s",
        "time at stall after which the controller cuts off; inf: none",
    ),
    ("actuator_retries", "i", "-", "further attempts after a failed one"),
    ("actuator_retry_pause", "f", "s", "pause between attempts"),
    ("controller_shares_rail", "i", "-", "1: controller and motor share one supply rail"),
    ("controller_brown_out", "f", "V", "rail voltage below which the controller resets"),
    ("actuator_failure_rate", "f", "1/s", "random failures of the actuator"),
    ("actuator_diagnostic", "f", "-", "share of these that is detected at once"),
    ("actuator_stick_chance", "f", "-", "chance per demand that it sticks (solenoid: dirt)"),
    ("actuator_strip_chance", "f", "-", "chance per stall that gears strip"),
    ("actuator_short_chance", "f", "-", "chance per stroke that travel ends short"),
    ("actuator_short_flow", "f", "-", "share of the flow that still passes then"),
    ("actuator_current_sensed", "i", "-", "1: the motor's current is watched"),
    ("actuator_end_of_travel", "i", "-", "END_...: where the end of travel is sensed"),
    ("actuator_repair", DIST, "s", "time to notice, order and fit after a fault is known"),
    # commissioning
    ("commissioning_test", "i", "-", "TEST_...: the fitting test on the day"),
    ("commissioning_if_it_fails", "i", "-", "IF_...: what is done then"),
    # mount
    ("mount_kind", "i", "-", "MOUNT_..."),
    ("mount_fasteners", "i", "-", "number of screws"),
    ("mount_fastener_time", DIST, "s", "time per screw, drawn per leak"),
    ("mount_tool_at_hand", "f", "-", "chance that the tools are at hand"),
    ("mount_tool_search", DIST, "s", "time to find them"),
    (
        "mount_release_time",
        DIST,
        "s",
        "time to free a quick-release mount or work a manual override",
    ),
    ("mount_slip_torque", "f", "N*m", "torque held an hour after tightening; inf: by form"),
    ("mount_creep", DIST, "-", "exponent n of the preload left after t hours, t^-n"),
    ("mount_retightening", "f", "s", "interval at which people retighten it; inf: never"),
    # exercise
    ("exercise_interval", "f", "s", "interval; inf: never"),
    (
        "exercise_coverage",
        "f",
        "-",
        "share of faults, by kind, that an exercise can find; negative: by what is fitted",
    ),
    ("coverage_nothing", "f", "-", "share of random failures found where nothing is watched"),
    ("coverage_current", "f", "-", "the same by current, or by the end of travel at the motor"),
    ("coverage_position", "f", "-", "the same by the end of travel at the stem"),
    ("coverage_flow", "f", "-", "the same by somebody at an open tap"),
    ("owner_test_interval", "f", "s", "interval of a test with a tap open; inf: never"),
    ("owner_test_done", "f", "-", "chance that it is really done"),
    # repairs
    ("repairs_by_owner", "i", "-", "1: the owner mends what is not the valve"),
    ("repairs_part", "f", "money", "a like closing element"),
    ("repairs_valve", "f", "money", "a new valve"),
    ("repairs_sensor", "f", "money", "a new sensor"),
    ("repairs_battery", "f", "money", "a new battery"),
    ("repairs_owner", "f", "money", "time of an owner who mends it"),
    ("repairs_installer", "f", "money", "call-out and work of an installer"),
    ("repairs_plumber", "f", "money", "call-out and work of a plumber"),
    ("repairs_next_class_after", "i", "-", "findings of a stall until the next class; 0: never"),
    ("repairs_street_valve", "f", "money", "having the valve in the street shut and opened"),
    ("exercise_outage", "f", "s", "time the valve cannot serve a demand per exercise"),
    (
        "valve_renew_after",
        "i",
        "-",
        "findings of a stiff or seized valve until it is renewed; 0: never",
    ),
    # reopening
    ("reopening_notice", DIST, "s", "until somebody awake at home gives the water back"),
    ("reopening_urgent", DIST, "s", "until a plumber does, where a hand cannot"),
    # override
    ("override_travel_out", DIST, "s", "way home when out"),
    ("override_travel_away", DIST, "s", "way home from a trip"),
    ("override_key_holder", "f", "-", "chance that somebody nearby with a key can come"),
    ("override_key_holder_time", DIST, "s", "time until that person is there"),
    (
        "override_knows_valve",
        "f",
        "-",
        "chance that the person knows the valve, drawn once a history",
    ),
    ("override_find_known", DIST, "s", "time to get to a known valve"),
    ("override_find_unknown", DIST, "s", "further time to find an unknown one"),
    ("override_access", "f", "-", "factor on all work at the valve (cramped: above 1)"),
    ("override_hand_torque", DIST, "N*m", "torque a person applies with the grip that is there"),
    ("override_tool_fits", "i", "-", "1: where that is not enough, a tool is put on stem or knob"),
    ("override_tool_torque", DIST, "N*m", "torque a person applies with that tool"),
    ("override_hand_turn", "f", "s", "time per turn by hand"),
    ("override_upstream", DIST, "s", "further time to have the next valve upstream shut"),
    # damage
    ("zone_area", "zones", "m2", "floor area per zone"),
    ("dwelling_floor_area", "f", "m2", "floor area of the dwelling"),
    ("damage_harmless", "f", "m3", "volume that is mopped up without loss"),
    ("damage_fixed_loss", "f", "money", "loss of any damaging leak"),
    ("damage_area_loss", "f", "money/m2", "building, per wetted area"),
    ("damage_contents_loss", "f", "money/m2", "contents, per wetted area"),
    ("damage_wet_start", "f", "s", "wet time at which mould and swelling losses begin"),
    ("damage_wet_full", "f", "s", "wet time at which they are complete"),
    ("damage_wet_extra", "f", "-", "share added to area losses then"),
    ("damage_grey_factor", "f", "-", "factor for grey water"),
    ("damage_through_volume", "f", "m3", "escaped water before it reaches a unit below"),
    ("damage_volume_per_unit", "f", "m3", "further water per unit below that is affected"),
    ("dwelling_units_below", "f", "-", "units below"),
    ("damage_unit_loss", "f", "money", "loss per unit below"),
    ("damage_severity", DIST, "-", "unexplained factor on the loss of a leak, drawn per leak"),
    ("damage_loss_cap", "f", "money", "greatest possible loss"),
    ("insurance_deductible", "f", "money", "borne by the owner per incident"),
    ("insurance_limit", "f", "money", "greatest insured loss per incident"),
    ("damage_late_volume", "f", "m3", "escaped water beyond which a closing counts as late"),
)


def _field(kind: str) -> tuple[type, tuple[int, ...]]:
    return {
        "f": (np.float64, ()),
        "i": (np.int64, ()),
        DIST: (np.float64, (4,)),
        "week": (np.int64, (HALF_HOURS,)),
        "days": (np.float64, (7,)),
        "zones": (np.float64, (MAX_SOURCES,)),
    }[kind]


def _record(fields: list[tuple]) -> np.dtype:
    """A record type whose fields read as attributes, compiled or not."""
    return np.dtype((np.record, np.dtype(fields, align=True)))


def _prefixed(prefix: str, fields: tuple, length: int) -> list[tuple]:
    out = []
    for name, kind, _unit, _meaning in fields:
        base, shape = _field(kind)
        out.append((f"{prefix}_{name}", base, (length, *shape)))
    return out


# A class of actuator that may be fitted in the place of the first: number 0 is not used.
RUNG_FIELDS = (
    ("rated_voltage", "f", "V", "datasheet voltage"),
    ("stall_torque", "f", "N*m", "at the output shaft at rated voltage"),
    ("stall_current", "f", "A", "at rated voltage"),
    ("no_load_current", "f", "A", "at rated voltage"),
    ("no_load_speed", "f", "turns/s", "at rated voltage"),
)

#: One design. Source fields appear as ``source_NAME[i]``, sensor fields as ``sensor_NAME[k]``.
PARAMETERS = _record(
    [(name, *_field(kind)) for name, kind, _u, _m in PARAMETER_FIELDS]
    + _prefixed("source", SOURCE_FIELDS, MAX_SOURCES)
    + _prefixed("sensor", SENSOR_FIELDS, MAX_SENSORS)
    + _prefixed("rung", RUNG_FIELDS, MAX_RUNGS)
)

# --- the state of a history -----------------------------------------------------------------
OPEN, SHUT, SHORT = np.arange(3)  # position of the valve

# strokes, by what they are for; a test is an exercise that somebody watches
(
    IDLE,
    CLOSE_LEAK,
    CLOSE_AWAY,
    CLOSE_POWER,
    CLOSE_NUISANCE,
    EXERCISING,
    TESTING,
    HOLDING_PRESSURE,
) = np.arange(8)

# who gives the water back after a closing for no leak
NOBODY_ACTS, WAITS_FOR_PEOPLE, AT_IT, PLUMBER_COMES = 0, 1, 2, 3

#: Why people were without water, for no leak.
DRY = ("nuisance", "stuck shut", "away or power policy", "coil without power")
DRY_NUISANCE, DRY_STUCK, DRY_POLICY, DRY_COIL = np.arange(len(DRY))

NO_REPAIR, REPAIR_ORDERED, REPAIR_WAITS = 0, 1, 2  # waits: for somebody to be there
TEST_NONE, TEST_CLOSE, TEST_CLOSE_AND_REOPEN = 0, 1, 2
IF_NEXT_CLASS, IF_GIVE_UP, IF_KEEP = 0, 1, 2

# how the fitting test ended: not done; passed as bought, or by a further class; kept though it
# failed; given up
FITTED = (
    "not tried",
    "passed as bought",
    "passed with a further class",
    "kept though it failed",
    "taken off again",
)
FITTED_UNTRIED, FITTED_AS_BOUGHT, FITTED_NEXT, FITTED_FAILING, FITTED_NOT = np.arange(len(FITTED))

#: Who mends the closing element or the valve.
MENDERS = ("owner", "installer", "plumber")
OWNER, INSTALLER, PLUMBER = np.arange(len(MENDERS))
SOUND, STUCK, SHEARED = 0, 1, 2  # what is broken about the valve

#: Repairs that are counted, and their cost.
REPAIRS = (
    "element replaced",
    "mount retightened",
    "element adjusted",
    "valve freed",
    "valve renewed",
    "sensor replaced",
    "battery replaced",
    "next class fitted",
    "taken off again",
    "pickup replaced",
)
(
    REPLACED,
    RETIGHTENED,
    ADJUSTED,
    FREED,
    RENEWED,
    NEW_SENSOR,
    NEW_BATTERY,
    NEXT_CLASS,
    TAKEN_OFF,
    NEW_PICKUP,
) = np.arange(len(REPAIRS))

# water towards a sensor, and the report that follows; UNHEARD: until somebody can listen again
DONE, ON_ITS_WAY, REPORTING, UNHEARD = 0, 1, 2, 3

NOT_COMING, TRAVELLING, WORKING = 0, 1, 2  # a person on the way to the valve, or at it

EVERY_LEAK = -1  # value of ``focus``: write a row for each leak that ends

STATE_FIELDS = (
    ("seed", "u", "key of all draws"),
    ("history", "u", "number of this history"),
    ("tilt", "i", "1: half of the histories are aimed at rare failures, see aim"),
    ("weight", "f", "likelihood ratio of this history so far; 1 without tilt"),
    ("focus", "i", "key of the leak whose incident is wanted, or EVERY_LEAK"),
    ("n_rows", "i", "rows written"),
    ("dropped", "i", "leaks dropped because all slots were taken"),
    ("lost_rows", "i", "rows that did not fit"),
    ("limit", "i", "number of clocks that can ring at present"),
    # draws taken so far from the streams of the history
    ("taken", "streams", "by stream, where draws are taken one after the other"),
    ("n_exercise", "i", "strokes that are not a leak's own"),
    ("n_gateway", "i", "looks at the gateway"),
    ("n_moves", "i", "movements of the valve"),
    ("n_repairs", "i", "repairs of the closing element"),
    ("n_source", "sources", "candidates of each source"),
    ("n_sensor", "sensors", "lives of each sensor"),
    # surroundings
    ("spell", "i", "1: severe spell"),
    ("mains", "i", "1: mains present"),
    ("outage_left", "f", "hazard of outages left at outage_seen until the next one"),
    ("outage_seen", "f", ""),
    ("trip", "i", "1: people are on a trip"),
    ("away_mode", "i", "1: away mode is set"),
    ("presence", "i", "where people are (kept while a leak is open)"),
    ("knows_valve", "i", "1: the people know their stop valve"),
    # power and control
    ("tripped", "i", "1: a leak has tripped the earth-leakage breaker"),
    ("main_switch", "i", "SWITCH_...: where people have left the power of the house"),
    ("supply_ok", "i", ""),
    ("battery_ok", "i", "0: hidden battery failure"),
    ("battery_empty", "i", ""),
    ("battery_new_at", "f", ""),
    ("battery_energy", "f", "energy at off_mains_at"),
    ("battery_draw", "f", "W taken since off_mains_at"),
    ("off_mains_at", "f", "start of the present draw without supply"),
    ("controller", "i", "1: running"),
    ("switched_off", "i", "1: people have switched the automation off"),
    ("gateway", "i", "1: up when last looked at"),
    ("gateway_at", "f", "time of that look; negative: never"),
    # valve
    ("pressure", "f", ""),
    ("breakaway", "f", ""),
    ("age_factor", "f", ""),
    ("seat_leak", "f", ""),
    ("born_at", "f", "when the valve was new (negative: before commissioning)"),
    ("stiff", "i", "1: found stiff or seized, not yet put right"),
    ("stiff_findings", "i", "how often this valve was found so"),
    ("position", "i", "OPEN, SHUT or SHORT"),
    ("hold_leak", "i", "1: to be kept shut because of a leak"),
    ("hold_away", "i", ""),
    ("hold_power", "i", ""),
    ("hold_nuisance", "i", "1: shut by a false alarm, until somebody acts"),
    ("stuck_shut", "i", "1: nothing wants it shut, and the actuator could not open it"),
    ("water_back", "i", "who acts: NOBODY_ACTS, ..."),
    ("dry_at", "f", "time up to which the time without water is counted"),
    ("dry", "dry", "s, by DRY"),
    ("believed_shut", "i", "1: the controller takes the valve for shut"),
    ("moved_at", "f", "time of the last movement (negative: before commissioning)"),
    ("seize_after", "f", "idle time after which the valve seizes"),
    ("broken", "i", "STUCK: seized and found so by a stall; SHEARED: the stem has sheared"),
    # closing element
    ("rung", "i", "class of actuator that is fitted; 0: as bought"),
    ("gave_up", "i", "1: taken off again, a person closes"),
    ("fitted_as", "i", "FITTED_..., how the fitting test ended"),
    ("stall_findings", "i", "how often the fitted class was found to stall"),
    ("unit", "f", "torque factor of this unit"),
    ("creep", "f", "exponent of the mount's creep since it was tightened"),
    ("mounted_at", "f", ""),
    ("failed", "i", "random failure"),
    ("burnt", "i", ""),
    ("stripped", "i", ""),
    ("slipped", "i", ""),
    ("strokes", "f", "strokes made by this unit"),
    ("winding", "f", "winding temperature above ambient at winding_at, K"),
    ("winding_at", "f", ""),
    ("repair_due", "i", "REPAIR_..."),
    ("fault_kind", "f", "draw that says whether tests can find a fault of this kind"),
    ("stroke", "i", "purpose of the stroke under way"),
    ("outcome", "i", "how it will end: a MODE_..., MODE_NONE when good"),
    ("last_outcome", "i", "how the last stroke ended"),
    ("stroke_draw", "i", "count of its draws"),
    ("tries", "i", "attempts made for the present demand"),
    ("pending", "i", "1: a leak demand waits for the stroke to end"),
    # aim at rare failures: densities are those of a look over the plain one
    ("aim", "i", "the look that this history takes"),
    ("aim_density", "f", "of all looks that are settled at the start"),
    ("sensors_window", "i", "windows begun"),
    ("sensors_past", "f", "density of the look at sensors from past windows"),
    ("sensors_now", "f", "from this window"),
    ("sensors_ahead", "f", "from windows to come"),
    ("battery_window", "i", ""),
    ("battery_past", "f", ""),
    ("battery_now", "f", ""),
    ("battery_ahead", "f", ""),
    ("dark_until", "f", "end of the window in which the battery dies; negative: it does not"),
    ("let_outage", "i", "1: mains are let fail in it"),
    ("sensor_new_at", "fsensors", ""),
    ("sensor_dies_at", "fsensors", ""),
    ("shock_at", "f", "when all sensors die at once"),
    ("battery_dies_at", "f", ""),
    # counts for the history's summary
    ("nuisance_closings", "i", ""),
    ("repairs", "repairs", "by REPAIRS"),
    ("repair_cost", "f", "money spent on them"),
    ("mended_by", "i", "who came last for the closing element: OWNER, INSTALLER or PLUMBER"),
    ("demands", "i", "strokes begun"),
    ("stalls", "i", ""),
    ("leaks", "i", "natural leaks"),
    ("events", "i", "clock rings"),
    ("sensor_ok", "sensors", ""),
    ("sensor_ordered", "sensors", "1: it is dead, known to be, and will be replaced"),
    ("pickup_ok", "i", "0: the meter's pulses are not counted"),
    ("pickup_ordered", "i", "1: that is known, and it will be replaced"),
    # open leaks
    ("open_leaks", "i", ""),
    ("slots", "i", "one more than the last slot taken since all were free"),
    ("at", "f", "time up to which the open leaks are advanced"),
    ("leak_on", "slots", ""),
    ("leak_key", "slots", ""),
    ("leak_source", "slots", ""),
    ("leak_burst", "slots", ""),
    ("leak_onset", "fslots", ""),
    ("leak_wet_at", "fslots", "start of the wet time: onset, or first opening if shut then"),
    ("leak_full", "fslots", "flow with the valve open"),
    ("leak_flow", "fslots", "flow now"),
    ("leak_first", "fslots", "flow at onset with the valve open"),
    ("leak_volume", "fslots", "escaped so far"),
    ("leak_drain", "fslots", "stored water that will run out after closing"),
    ("leak_drain_flow", "fslots", "flow at which it does"),
    ("leak_drained_at", "fslots", "when it will have run out"),
    ("leak_lying", "fslots", "water on the floor now"),
    ("leak_most_lying", "fslots", "the most that has lain there"),
    ("leak_film", "fslots", "film thickness"),
    ("leak_breaker", "fslots", "water on the floor that trips the breaker; inf: none does"),
    ("leak_grow", "fslots", "time left until the seep becomes a burst"),
    ("leak_stopped", "slots", ""),
    ("leak_stopped_at", "fslots", ""),
    ("leak_by", "slots", "BY_..."),
    ("leak_found", "slots", ""),
    ("leak_found_at", "fslots", ""),
    ("leak_sensed_at", "fslots", ""),
    ("leak_demanded", "slots", ""),
    ("leak_mode", "slots", "the furthest broken link so far"),
    ("leak_votes", "slots", ""),
    ("leak_siren", "slots", ""),
    ("leak_phone", "slots", "1: a notification is out; 2: noticed"),
    ("leak_coming", "slots", "NOT_COMING, TRAVELLING, WORKING"),
    ("leak_hands", "fslots", "time left of that"),
    ("leak_hands_by", "slots", "BY_HAND or BY_UPSTREAM"),
    ("leak_shears", "slots", "1: the hand will shear the stem"),
    ("leak_home_need", "fslots", "progress needed until somebody at home notices"),
    ("leak_home", "fslots", "progress so far, in median notice times"),
    ("leak_near_need", "fslots", "the same for the neighbour below"),
    ("leak_near", "fslots", ""),
    ("leak_call_need", "fslots", "the same for a notification"),
    ("leak_call", "fslots", ""),
    ("leak_run", "fslots", "time the flow rule has counted"),
    ("leak_run_volume", "fslots", "water it has counted"),
    ("leak_run_past", "fslots", "water it has counted since a limit was reached"),
    ("leak_rule", "slots", "1: the rule has tripped or cannot"),
    ("leak_presence", "slots", "where people were at onset"),
    ("leak_mains", "slots", "mains at onset"),
    ("leak_next", "slots", "sensor whose report comes next"),
    ("reach_volume", "reach", "water needed to wet the sensor"),
    ("report_left", "reach", "time left to its next report"),
    ("report_tries", "ireach", ""),
    ("report", "ireach", "ON_ITS_WAY, REPORTING, UNHEARD, DONE"),
)

_STATE_KINDS = {
    "f": (np.float64, ()),
    "i": (np.int64, ()),
    "u": (np.uint64, ()),
    "sources": (np.int64, (MAX_SOURCES,)),
    "sensors": (np.int64, (MAX_SENSORS,)),
    "streams": (np.int64, (STREAMS,)),
    "repairs": (np.int64, (len(REPAIRS),)),
    "dry": (np.float64, (len(DRY),)),
    "fsensors": (np.float64, (MAX_SENSORS,)),
    "slots": (np.int64, (SLOTS,)),
    "fslots": (np.float64, (SLOTS,)),
    "reach": (np.float64, (SLOTS, MAX_SENSORS)),
    "ireach": (np.int64, (SLOTS, MAX_SENSORS)),
}

STATE = _record([(name, *_STATE_KINDS[kind]) for name, kind, _meaning in STATE_FIELDS])

# --- clocks, by number: ties go to the lowest -------------------------------------------------
(
    WEATHER,
    OUTAGE,
    TRIP,
    PRESENCE,
    STROKE,
    RETRY,
    POLICY,
    EXERCISE,
    NUISANCE,
    SWITCH_ON,
    ACTUATOR,
    CONTROLLER,
    SUPPLY,
    BATTERY_LIFE,
    BATTERY_CHANGE,
    BATTERY_TEST,
    BATTERY_EMPTY,
    REPAIR,
    SENSOR_CHECK,
    SENSOR_SHOCK,
    AIM_SENSORS,
    AIM_BATTERY,
    OWNER_TEST,
    WATER_BACK,
    RETIGHTEN,
    PICKUP,
    PRESSURE_TEST,
    VISIT,
    FIRST_SOURCE,
) = np.arange(29)
CLOCK_NAMES = (
    "weather",
    "mains",
    "trip",
    "presence",
    "stroke",
    "retry",
    "policy",
    "exercise",
    "nuisance",
    "switch on",
    "actuator",
    "controller",
    "supply",
    "battery life",
    "battery change",
    "battery test",
    "battery empty",
    "repair",
    "sensor check",
    "sensor shock",
    "aim at sensors",
    "aim at the battery",
    "owner's test",
    "water back",
    "mount",
    "pickup",
    "pressure test",
    "visit",
)

#: Clocks of one open leak, in order, after the sources and the sensors.
GROW, REPORT, RULE, BREAKER, HOME, NEAR, CALL, HANDS = range(8)
CLOCKS_PER_LEAK = 8
#: Clocks of a history at most.
CLOCKS = FIRST_SOURCE + MAX_SOURCES + MAX_SENSORS + CLOCKS_PER_LEAK * SLOTS
LEAK_CLOCKS = (
    "grow",
    "report",
    "flow rule",
    "breaker",
    "noticed at home",
    "neighbour",
    "phone",
    "hands",
)

# --- rows ---------------------------------------------------------------------------------------
INCIDENT_FIELDS = (
    ("design", np.int32, "-", "number of the design"),
    ("history", np.int64, "-", "number of the history"),
    ("probe", np.int32, "-", "number of the probe; -1: a natural leak"),
    ("source", np.int32, "-", "number of the leak source"),
    ("weight", np.float64, "-", "leaks per history that this row stands for"),
    ("onset", np.float64, "s", "time of onset since commissioning"),
    ("flow", np.float64, "m3/s", "flow at onset with the valve open"),
    ("sensed", np.float64, "s", "onset to alarm at the controller; nan: never"),
    ("stopped", np.float64, "s", "onset to stopped flow; nan: not within the service life"),
    ("found", np.float64, "s", "onset to a person knowing of it; nan: not within the service life"),
    ("stopped_by", np.int32, "-", "BY_..."),
    ("mode", np.int32, "-", "MODE_..., why automation did not stop it in time; 0: it did"),
    ("presence", np.int32, "-", "where people were at onset"),
    ("mains", np.int32, "-", "1: mains present at onset"),
    ("volume", np.float64, "m3", "escaped water"),
    ("wet_area", np.float64, "m2", "wetted floor area"),
    ("units", np.float64, "-", "units below affected"),
    (
        "wet_time",
        np.float64,
        "s",
        "onset, or first opening if shut then, to stopped and found, or dry before that",
    ),
    ("loss", np.float64, "money", "loss"),
    ("insured", np.float64, "money", "part of it that the policy pays"),
    ("modelled", np.float64, "money", "loss before the factor for what is not modelled, and cap"),
    ("mean_loss", np.float64, "money", "mean of the loss over that factor"),
    ("mean_insured", np.float64, "money", "mean of the part that the policy pays"),
)
INCIDENT = _record([(name, kind) for name, kind, _unit, _meaning in INCIDENT_FIELDS])

SUMMARY_FIELDS = (
    "nuisance_closings",
    "strokes",
    "stalls",
    "leaks",
    "dropped",
    "events",
    "repair_cost",
    "fitted_as",
    "rung",
)
SUMMARY = _record(
    [(name, np.float64) for name in SUMMARY_FIELDS]
    + [("repairs", np.float64, (len(REPAIRS),)), ("dry", np.float64, (len(DRY),))]
)
