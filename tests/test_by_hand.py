"""Numbers without chance, worked out by hand: flows, torques, times and losses of single leaks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from checks import perfect

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.model import layout as L

HOUR = 3600.0


def rows_of(*designs: str, probes: int = 4, histories: int = 1) -> np.ndarray:
    """Return the probes' rows, one line per design."""
    setup = Setup.of(perfect(*designs).parameters(), 1, probes=probes)
    return run_chunk(setup, 0, histories).rows


@pytest.mark.parametrize(("diameter", "litres_a_minute"), [("5 mm", 21.43643), ("10 mm", 85.746)])
def test_a_hole_without_supply_loss(diameter, litres_a_minute):
    """Cd A sqrt(2 g h) at 30 m, Cd = 0.75.

    As in the leak model of WNTR (US EPA, https://github.com/USEPA/WNTR, documentation
    hydraulics.rst); the 10 mm hole is that of its test of leaks.
    """
    rows = rows_of(
        f"""
        leaks.hose = {{hole_diameter = "{diameter}", discharge = 0.75}}
        dwelling.pressure = "{999.7 * 9.81 * 30} Pa"
        """
    )
    area = math.pi / 4 * (float(diameter.split()[0]) * 1e-3) ** 2
    flow = 0.75 * area * math.sqrt(2 * 9.81 * 30)
    assert flow * 60000 == pytest.approx(litres_a_minute, rel=1e-5)
    assert rows["flow"] == pytest.approx(flow, rel=2e-5)  # the supply's loss is not quite zero


def test_a_hole_and_an_open_end_behind_a_weak_supply():
    """Losses in series add: p = (p0 / Q0^2 + p1 / Q1^2) Q^2, at another pressure than both."""
    supply = """
    dwelling = {pressure = "2 bar", full_bore_flow = "20 L/min", full_bore_pressure = "3 bar"}
    """
    open_end = supply + 'leaks.hose = {open_end_flow = "30 L/min", open_end_pressure = "4 bar"}'
    hole = supply + 'leaks.hose = {hole_diameter = "4 mm", discharge = 0.62}'
    rows = rows_of(open_end, hole)
    through_supply = 3e5 / (20 / 60000) ** 2
    through_end = 4e5 / (30 / 60000) ** 2
    through_hole = 999.7 / 2 / (0.62 * math.pi / 4 * 4e-3**2) ** 2
    expected = [math.sqrt(2e5 / (through_supply + r)) for r in (through_end, through_hole)]
    assert rows["flow"][0] == pytest.approx(expected[0], rel=1e-12)
    assert rows["flow"][1] == pytest.approx(expected[1], rel=1e-6)  # of the density


def assert_turns_at(threshold: float, changes: str, column: str, below: int, above: int) -> None:
    """Assert that an outcome changes where the number put for VALUE passes the threshold."""
    designs = [changes.replace("VALUE", str(threshold * factor)) for factor in (0.999, 1.001)]
    rows = rows_of(*designs, probes=8)
    late = rows["onset"][0] > 1000 * HOUR  # what takes some time to begin has begun
    assert late.any()
    assert (rows[column][0][late] == below).all()
    assert (rows[column][1][late] == above).all()


MOTOR = """
actuator = {rated_voltage = "6 V", off_rating = true, stall_torque = "4 N*m", \
stall_current = "3 A", current_limit = "2.5 A", no_load_current = "0.3 A", ambient = "5 degC", \
temperature_derating = "0.4 % per K", stall_cutoff = "CUTOFF", \
thermal_resistance = "20 K/W", thermal_time = "20 s", winding_limit = "125 degC"}
"""
WINDING = 6 / 3  # ohm, rated voltage over stall current


def motor_torque(current: float, limit: float = math.inf) -> float:
    """Return T in proportion to the voltage and so to the current, less by 0.4 % for each of 15 K.

    A limit leaves the share (limit - I0) / (I - I0) of it.
    """
    share = min((limit - 0.3) / (current - 0.3), 1.0)
    return 4 * current / 3 * share * (1 - 0.004 * 15)


def motor(cutoff: str = "3 s") -> str:
    return MOTOR.replace("CUTOFF", cutoff)


@pytest.mark.parametrize(
    ("supply", "current"),
    [
        ('supply = {voltage = "4.5 V", resistance = "0 ohm"}', 4.5 / WINDING),
        ('supply = {voltage = "5 V", resistance = "0.7 ohm"}', 5 / (WINDING + 0.7)),
        ('supply = {voltage = "12 V"}', 12 / WINDING),
    ],
)
def test_torque_that_a_supply_gives(supply, current):
    """At stall the current is V / (R + Rs), within the driver's limit of 2.5 A."""
    changes = motor() + supply + '\nvalve.breakaway = "VALUE N*m"'
    threshold = motor_torque(current, 2.5)
    assert_turns_at(threshold, changes, "mode", L.MODE_NONE, L.MODE_UNDERSIZED)


def test_torque_on_the_battery():
    """In an outage without end, the battery's voltage and resistance count."""
    changes = (
        motor()
        + """
        mains = {outage_rate = "1 per h", outage_duration = "1e7 h"}
        supply.voltage = "6 V"
        battery = {fitted = true, voltage = "4.8 V", resistance = "0.4 ohm", usable = 1, \
capacity = "1e9 Wh", fade = "0 % per year", life = "1e9 h"}
        valve.breakaway = "VALUE N*m"
        """
    )
    threshold = motor_torque(4.8 / (WINDING + 0.4))
    assert_turns_at(threshold, changes, "mode", L.MODE_NONE, L.MODE_UNDERSIZED)


def test_brown_out_of_a_shared_rail():
    """The rail falls to V - I Rs, with I = I0 + (Is - I0) T / T_given while the valve turns."""
    changes = (
        motor()
        + """
        supply = {voltage = "6 V", resistance = "0.5 ohm"}
        valve.breakaway = "1.5 N*m"
        controller = {shares_rail = true, brown_out = "VALUE V"}
        """
    )
    stall = 6 / (WINDING + 0.5)
    current = 0.3 + (stall - 0.3) * 1.5 / motor_torque(stall)
    assert_turns_at(6 - 0.5 * current, changes, "mode", L.MODE_NONE, L.MODE_BROWN_OUT)


def test_winding_that_burns():
    """First-order heating: the limit is reached at -tau ln(1 - room / (I^2 R Rth)).

    A first exercise stalls and, if not cut off before, burns the winding; later leaks show it.
    """
    heat = 2.5**2 * WINDING * 20
    seconds = -20 * math.log(1 - (125 - 5) / heat)
    changes = (
        motor("VALUE s")
        + """
        supply.voltage = "6 V"
        valve.breakaway = "100 N*m"
        exercise = {interval = "500 h", coverage = 0}
        """
    )
    assert_turns_at(seconds, changes, "mode", L.MODE_UNDERSIZED, L.MODE_MOTOR_BURNT)


def test_stem_that_shears():
    """What the actuator transmits must stay below the stem's limit."""
    changes = 'valve = {breakaway = "6 N*m", stem_limit = "VALUE N*m"}'
    assert_turns_at(6.0, changes, "mode", L.MODE_SEIZED, L.MODE_NONE)


def test_hand_against_valve():
    """A person who cannot turn the valve has the next one upstream shut."""
    changes = """
    element.kind = "none"
    valve = {breakaway = "8 N*m", closing_share = 0.75, age = "3 years", age_factor = 1.5, \
age_reference = "1e9 years"}
    override.hand_torque = "VALUE N*m"
    """
    assert_turns_at(6.0, changes, "stopped_by", L.BY_UPSTREAM, L.BY_HAND)


PERSON = """
element.kind = "none"
dwelling.drain_down = "3 L"
valve.turns = "4 turns"
override = {find_known = "20 s", find_unknown = "300 s", knows_valve = KNOWS, access = 1.5, \
hand_turn = "2 s", upstream = "600 s", hand_torque = "TORQUE N*m"}
"""


@pytest.mark.parametrize(
    ("knows", "torque", "seconds"),
    [
        (1, 100, 60 + 20 + 4 * 2 * 1.5),
        (0, 100, 60 + 20 + 300 + 4 * 2 * 1.5),
        (1, 1e-6, 60 + 20 + 600),
    ],
)
def test_time_and_volume_of_closing_by_hand(knows, torque, seconds):
    """Noticing, finding, turning (or the valve upstream), and what drains afterwards."""
    row = rows_of(PERSON.replace("KNOWS", str(knows)).replace("TORQUE", str(torque)))[0, 0, 0]
    assert row["stopped"] == pytest.approx(seconds, rel=1e-9)
    assert row["volume"] == pytest.approx(row["flow"] * seconds + 3e-3, rel=1e-9)
    assert row["found"] == pytest.approx(60, rel=1e-9)


@pytest.mark.parametrize(
    ("mount", "extra"),
    [
        ("fasteners = 4, fastener_time = '15 s', tool_at_hand = 1", 60),
        ("fasteners = 4, fastener_time = '15 s', tool_at_hand = 0, tool_search = '90 s'", 150),
        ("fasteners = 0, release_time = '7 s'", 7),
    ],
)
def test_time_to_free_the_valve_from_a_dead_actuator(mount, extra):
    changes = f"""
    valve.turns = "0.25 turns"
    actuator.stick_chance = 1
    mount = {{{mount.replace("'", '"')}}}
    override = {{access = 2, hand_turn = "4 s"}}
    """
    row = rows_of(changes)[0, 0, 0]
    assert row["mode"] == L.MODE_ACTUATOR_FAILED
    assert row["stopped"] == pytest.approx(60 + 2 * extra + 0.25 * 4 * 2, rel=1e-9)


LOSS = """
element.kind = "none"
leaks.hose.open_end_flow = "60 L/min"
people.notice_burst = "SECONDS s"
dwelling = {floor_area = "30 m2", units_below = 2, film = "2 mm"}
zones.room.area = "10 m2"
damage = {harmless = "5 L", fixed_loss = "100 EUR", area_loss = "20 EUR/m2", \
contents_loss = "5 EUR/m2", wet_start = "24 h", wet_full = "48 h", wet_extra = 0.5, \
through_volume = "50 L", volume_per_unit = "400 L", unit_loss = "1000 EUR", loss_cap = "3000 EUR"}
insurance = {deductible = "500 EUR", limit = "2000 EUR"}
"""


@pytest.mark.parametrize(
    ("grip", "hand", "tool", "work", "by"),
    [
        ("bare stem", 6, 9, 0, L.BY_HAND),  # fingers do
        ("bare stem", 4, 9, 90, L.BY_HAND),  # pliers, which must be found
        ("knob", 4, 9, 90, L.BY_HAND),
        ("knob", 4, 4.5, 90, L.BY_UPSTREAM),
        ("lever", 4, 9, 0, L.BY_UPSTREAM),  # no tool is longer than the lever itself
    ],
)
def test_who_cannot_turn_stem_or_knob_finds_a_tool(grip, hand, tool, work, by):
    """The valve asks for 5 N*m; the next valve upstream is 10 min further."""
    changes = f"""
    valve = {{breakaway = "5 N*m", closing_share = 1, turns = "0.25 turns", stem_limit = "99 N*m"}}
    actuator.stick_chance = 1
    mount = {{fasteners = 0, release_time = "7 s", tool_at_hand = 0, tool_search = "90 s"}}
    override = {{access = 2, hand_turn = "4 s", upstream = "10 min", grip = "{grip}",
        hand_torque = "{hand} N*m", tool_torque = "{tool} N*m"}}
    """.replace("\n        hand_torque", " hand_torque")
    row = rows_of(changes)[0, 0, 0]
    turns = 600 if by == L.BY_UPSTREAM else 0.25 * 4 * 2
    assert row["stopped_by"] == by
    assert row["stopped"] == pytest.approx(60 + 2 * (7 + work) + turns, rel=1e-9)


@pytest.mark.parametrize(
    ("seconds", "area", "units", "loss", "insured"),
    [
        (4.9, 2.45, 0, 0, 0),  # harmless
        (18, 9, 0, 100 + 25 * 9, 0),  # within the room, below the deductible
        (40, 10 + 0.5 * 10, 0, 100 + 25 * 15, 0),  # half of what leaves the room wets more floor
        (450, 30, 1, 100 + 25 * 30 + 1000, 1350),  # whole floor, one unit below
        (1e4, 30, 2, 2850, 2000),  # capped by the policy
        (1.5e5, 30, 2, 3000, 2000),  # wet for more than a day as well; capped
    ],
)
def test_loss_of_a_known_volume(seconds, area, units, loss, insured):
    """A film of 2 mm at 1 L/s; a person stops it after so many seconds."""
    row = rows_of(LOSS.replace("SECONDS", str(seconds)))[0, 0, 0]
    assert row["wet_area"] == pytest.approx(area, rel=1e-3)
    assert row["units"] == pytest.approx(units, rel=1e-3)
    assert row["loss"] == pytest.approx(loss, rel=1e-3)
    assert row["insured"] == pytest.approx(insured, rel=3e-3)


@pytest.mark.parametrize(("hours", "share"), [(12, 0.0), (30, 0.25), (60, 1.0)])
def test_loss_grows_with_wet_time(hours, share):
    """A drip over an area that stays small: mould and swelling come between 24 and 48 h."""
    drip = LOSS.replace("60 L/min", f"{10 / (hours * 60)} L/min").replace("SECONDS s", f"{hours} h")
    row = rows_of(drip)[0, 0, 0]
    assert row["wet_time"] == pytest.approx(hours * HOUR, rel=1e-6)
    assert row["loss"] == pytest.approx(100 + 5 * (20 * (1 + 0.5 * share) + 5), rel=1e-3)


# --- how a leak is noticed, minute by minute ------------------------------------------------------

#: A leak of 6 L/min that a sensor meets after 120 s; the actuator sticks, so that people must come.
STUCK = """
sensors.a.reach_area = "6 m2"
actuator.stick_chance = 1
actuator.end_of_travel = "not sensed"
people.notice_burst = "NOTICE s"
"""
SENSED = 120.0  # s: 6 m2 x 2 mm / 6 L/min


def stuck(notice: float, more: str = "") -> np.void:
    return rows_of(STUCK.replace("NOTICE", str(notice)) + more, histories=1)[0, 0, 0]


def test_a_siren_speeds_up_who_is_at_home():
    """120 s at a median of 600 s are a fifth; the rest goes at the siren's median of 30 s."""
    row = stuck(600, 'siren = {fitted = true, awake = "30 s"}')
    assert row["found"] == pytest.approx(SENSED + 0.8 * 30, rel=1e-6)
    assert row["sensed"] == pytest.approx(SENSED, rel=1e-6)
    assert row["mode"] == L.MODE_ACTUATOR_FAILED
    assert stuck(600)["found"] == pytest.approx(600, rel=1e-6)


NOBODY_HOME = """
people.week = {weekdays = "out", saturday = "out", sunday = "out"}
override.travel_out = "1000 s"
"""
PHONE = """
gateway = {fitted = true, availability = 1, backed_up = true}
notification = {awake = "300 s", spread = 1}
policies.remote_command = REMOTE
"""


def test_a_message_brings_somebody_home():
    row = stuck(60, NOBODY_HOME + PHONE.replace("REMOTE", "false"))
    assert row["found"] == pytest.approx(SENSED + 300 + 1000, rel=1e-6)
    assert row["stopped_by"] == L.BY_HAND


def test_a_neighbour_below_calls():
    """No sensor: 60 L show below after 600 s, the call comes 200 s later, the way takes 1000 s."""
    row = rows_of(
        NOBODY_HOME
        + """
        sensors.a.reach_chance = 0
        dwelling.units_below = 1
        neighbour = {notices = true, volume = "60 L", notice = "200 s"}
        damage.late_volume = "10 L"
        """
    )[0, 0, 0]
    assert row["found"] == pytest.approx(600 + 200 + 1000, rel=1e-6)
    assert row["mode"] == L.MODE_NOT_SENSED


def test_a_person_told_by_phone_orders_the_valve_shut():
    """The neighbour calls; the person is away, and commands the valve before setting out."""
    remote = """
    sensors.a.reach_chance = 0
    dwelling.units_below = 1
    neighbour = {notices = true, volume = "60 L", notice = "200 s"}
    """
    row = rows_of(NOBODY_HOME + PHONE.replace("REMOTE", "true") + remote)[0, 0, 0]
    assert row["stopped_by"] == L.BY_AUTOMATION
    assert row["stopped"] == pytest.approx(800, rel=1e-3)
    assert row["found"] == pytest.approx(1800, rel=1e-6)
    assert row["mode"] == L.MODE_NONE


RULE = """
sensors.a.reach_chance = 0
people.notice_burst = "5 h"
flow_rule = {fitted = true, pulse_volume = "0.5 L", starting_flow = "0 L/h", flow = "1 L/min", \
time = "30 min", volume = "VOLUME L", time_away = "2 min", volume_away = "6 L"}
"""


@pytest.mark.parametrize(
    ("volume", "seconds"),
    [(120, 1200 + 5), (300, 1800 + 5)],  # by volume, by time; the pulse comes 5 s later
)
def test_a_flow_rule_by_volume_and_by_time(volume, seconds):
    row = rows_of(RULE.replace("VOLUME", str(volume)))[0, 0, 0]
    assert row["sensed"] == pytest.approx(seconds, rel=1e-6)
    assert row["stopped_by"] == L.BY_AUTOMATION


def test_a_flow_rule_has_other_limits_when_away():
    away = """
    people.trips = true
    people.start_away = 1
    people.trip = "1e6 days"
    policies.away_mode = 1
    """
    row = rows_of(RULE.replace("VOLUME", "120") + away)[0, 0, 0]
    assert row["sensed"] == pytest.approx(60 + 5, rel=1e-6)


def test_a_flow_below_the_rule_is_not_seen():
    changes = RULE.replace("VOLUME", "120") + 'leaks.hose.open_end_flow = "0.99 L/min"'
    changes += '\ndamage.late_volume = "10 L"'
    row = rows_of(changes)[0, 0, 0]
    assert np.isnan(row["sensed"])
    assert row["mode"] == L.MODE_NOT_SENSED


def test_a_seep_grows_and_a_worn_seat_passes():
    """10 min at 0.1 L/min, then 6 L/min; noticing goes on at another pace; then the seat leaks.

    A tenth of the way to noticing at a seep's 100 min and the rest at a burst's 40 min. The rule
    stops the water 15 min after the burst.
    """
    changes = """
    sensors.a.reach_chance = 0
    leaks.hose = {seep_share = 1, seep_flow = "0.1 L/min", seep_growth = "10 min"}
    people = {notice_burst = "40 min", notice_seep = "100 min"}
    flow_rule = {fitted = true, pulse_volume = "1e-6 L", starting_flow = "0 L/h", \
flow = "1 L/min", time = "15 min", volume = "1e6 L", time_away = "15 min", volume_away = "1e6 L"}
    dwelling.drain_down = "2 L"
    valve.seat_leak = "0.05 L/min"
    """
    row = rows_of(changes)[0, 0, 0]
    found = 10 + 0.9 * 40  # min
    assert row["stopped"] == pytest.approx(25 * 60, rel=1e-4)
    assert row["found"] == pytest.approx(found * 60, rel=1e-6)
    litres = 10 * 0.1 + 15 * 6 + 2 + (found - 25) * 0.05
    assert row["volume"] * 1000 == pytest.approx(litres, rel=1e-4)
    assert row["wet_time"] == pytest.approx(found * 60, rel=1e-6)


def test_travel_that_ends_short_passes_a_share_of_the_flow():
    """Without feedback everybody believes the valve shut: a third of the flow runs on."""
    changes = """
    sensors.a.reach_area = "6 m2"
    actuator = {short_chance = 1, short_flow = 0.3, end_of_travel = "not sensed"}
    people.notice_burst = "20 min"
    """
    row = rows_of(changes)[0, 0, 0]
    assert row["mode"] == L.MODE_CLOSED_SHORT
    assert row["volume"] * 1000 == pytest.approx(2 * 6 + 18 * 6 * 0.3, rel=1e-3)


def test_a_retry_after_a_stick_goes_through():
    """Three attempts that each stick by half: an eighth fails."""
    changes = """
    actuator = {stick_chance = 0.5, retries = 2, retry_pause = "2 s", end_of_travel = "at the stem"}
    """
    rows = rows_of(changes, probes=16, histories=2000)[0]
    failed = (rows["mode"] == L.MODE_ACTUATOR_FAILED).mean()
    assert failed == pytest.approx(1 / 8, abs=4.5 * (1 / 8 * 7 / 8 / rows.size) ** 0.5)
    waits = np.round(rows["stopped"][rows["stopped_by"] == L.BY_AUTOMATION])
    assert set(waits) == {0, 3, 6}  # a stuck attempt takes 1 s
