"""Draws have a key: no number serves two purposes, and none is taken twice.

Runs uncompiled; :mod:`test_uncompiled` starts it. Statistics cannot see a number that two purposes
share, as each alone still has the right law. So a clerk notes every draw of eventful histories and
of the probes in them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

import pytest
from draws_ledger import Clerk, Draw, ledger_of, lives
from eventful import eventful

from shutoffsim.engine import schedule
from shutoffsim.model import actuator, aim, gateway, history, override, streams, upkeep, valve
from shutoffsim.model.layout import MAX_SENSORS, MAX_SOURCES

#: Who may draw from which stream. A stream has one purpose; its functions are that purpose's steps.
DRAWN_BY = {
    "SITE": {"draw_site", "start"},
    "WEATHER_DRAWS": {"next_spell", "on_weather"},
    "OUTAGE_DRAWS": {"next_outage", "on_outage"},
    "TRIP_DRAWS": {"on_trip"},
    "HABIT_DRAWS": {"on_trip", "shut_on_leaving"},
    "SWITCH_DRAWS": {"leave_power"},
    "OWNER_DRAWS": {"on_owner_test"},
    "REOPENING_DRAWS": {"look_for_people", "hand_opens", "on_water_back"},
    "PRESENCE_DRAWS": {"in_half_hour"},
    "STROKE_DRAWS": {"begin_stroke", "solenoid_stroke", "stall"},
    "NUISANCE_DRAWS": {"start", "on_nuisance", "after_nuisance"},
    "ACTUATOR_DRAWS": {"draw_site", "fail_element", "mend"},
    "CONTROLLER_DRAWS": {"start", "on_controller", "supply_is_back"},
    "SUPPLY_DRAWS": {"start", "on_supply"},
    "BATTERY_DRAWS": {"next_battery_failure"},
    "GATEWAY_DRAWS": {"gateway_is_up"},
    "SHOCK_DRAWS": {"next_shock"},
    "VALVE_DRAWS": {"start", "move"},
    "REPAIR_DRAWS": {
        "start",
        "schedule_repair",
        "mend",
        "renew_valve",
        "replace_element",
        "tighten_mount",
    },
    "PROBE_DRAWS": {"place_probes"},
    "LEAK_DRAWS": {"begin_leak", "burst_flow", "write_row"},
    "PATH_DRAWS": {"lay_paths"},
    "LINK_DRAWS": {"report_is_lost"},
    "PEOPLE_DRAWS": {"draw_needs", "travel_time", "freeing_time", "tool_search", "work"},
    "EXTRA_DRAWS": {"note_impairment", "next_probe"},
    "AIM_DRAWS": {"aim_at_sensors", "let_sensors_die", "aim_at_battery", "aim_at_outage"},
    "SENSOR_DRAWS": {"next_sensor_death", "order_sensor"},
    "PICKUP_DRAWS": {"start", "on_pickup", "order_pickup"},
    "HOLD_DRAWS": {"judge_pressure"},
    "SOURCES_DRAWS": {"start", "on_source"},
}
#: Streams whose counts go up by one with each draw of a life.
COUNTED = (
    "WEATHER_DRAWS",
    "OUTAGE_DRAWS",
    "TRIP_DRAWS",
    "HABIT_DRAWS",
    "SWITCH_DRAWS",
    "OWNER_DRAWS",
    "REOPENING_DRAWS",
    "NUISANCE_DRAWS",
    "ACTUATOR_DRAWS",
    "CONTROLLER_DRAWS",
    "SUPPLY_DRAWS",
    "BATTERY_DRAWS",
    "SHOCK_DRAWS",
    "VALVE_DRAWS",
    "SENSOR_DRAWS",
    "PICKUP_DRAWS",
    "HOLD_DRAWS",
    "SOURCES_DRAWS",
)
#: Streams of which each number is taken once, though some may be left out.
ONCE = (*COUNTED, "SITE", "GATEWAY_DRAWS", "REPAIR_DRAWS", "PROBE_DRAWS", "EXTRA_DRAWS")
#: Streams by leak: also the probes of a history must not share a number.
BY_LEAK = ("STROKE_DRAWS", "LEAK_DRAWS", "PATH_DRAWS", "LINK_DRAWS", "PEOPLE_DRAWS")


def name_of(stream: int) -> str:
    """Return the name of a stream as :mod:`shutoffsim.model.streams` has it."""
    for first, length in (("SENSOR_DRAWS", MAX_SENSORS), ("SOURCES_DRAWS", MAX_SOURCES)):
        if 0 <= stream - int(getattr(streams, first)) < length:
            return first
    named = {int(getattr(streams, name)): name for name in DRAWN_BY}
    return named.get(stream, f"stream {stream}")


def by_stream(draws: Iterable[Draw]) -> dict[int, list[Draw]]:
    found: dict[int, list[Draw]] = defaultdict(list)
    for draw in draws:
        found[draw.stream].append(draw)
    return found


def shared(draws: Iterable[Draw], purpose: Callable[[Draw], Any]) -> list[str]:
    """Return the draws whose key another purpose has already."""
    first: dict[Any, Draw] = {}
    found = []
    for draw in draws:
        other = first.setdefault(draw.key, draw)
        if purpose(other) != purpose(draw):
            found.append(f"{name_of(draw.stream)} {draw.count}: {other.place}, {draw.place}")
    return found


def strangers(clerk: Clerk) -> list[str]:
    """Return who draws from a stream that is another's."""
    return [
        f"{name_of(draw.stream)} in {draw.place}"
        for draw in clerk.draws
        if draw.function not in DRAWN_BY.get(name_of(draw.stream), set())
    ]


def two_purposes(clerk: Clerk) -> list[str]:
    """Return numbers that serve two purposes in one life, or two leaks of a history."""
    found = []
    for draws in lives(clerk).values():
        found += shared(draws, lambda draw: draw.place)
    histories: dict[tuple[int, int], list[Draw]] = defaultdict(list)
    for draw in clerk.draws:
        if name_of(draw.stream) in BY_LEAK:
            histories[draw.life[:2]].append(draw)
    for draws in histories.values():
        found += shared(draws, lambda draw: (draw.place, draw.leak, draw.sensor))
    return found


def taken_again(clerk: Clerk) -> list[str]:
    """Return numbers taken twice, and counts that jump, where a count should only go on."""
    found = []
    for draws in lives(clerk).values():
        for stream, own in by_stream(draws).items():
            name = name_of(stream)
            counts = [draw.count for draw in own]
            if name in ONCE and len(set(counts)) < len(counts):
                found.append(f"{name}: a count twice in {counts}")
            if name in COUNTED and sorted(counts) != list(range(len(counts))):
                found.append(f"{name}: counts {sorted(counts)}")
    looks: dict[tuple[int, int], list[int]] = defaultdict(list)
    for draw in clerk.draws:
        if name_of(draw.stream) == "GATEWAY_DRAWS":
            looks[draw.life[:2]].append(draw.count)
    found += [f"GATEWAY_DRAWS: {own}" for own in looks.values() if len(set(own)) < len(own)]
    return found


def broken(clerk: Clerk) -> list[str]:
    return [*strangers(clerk), *two_purposes(clerk), *taken_again(clerk)]


def run(histories: int = 3, first: int = 0, **how: Any) -> Clerk:
    return ledger_of(eventful(), 1, first, histories, 6, extra=6, tilt=True, **how)


@cache
def ledger() -> Clerk:
    return run()


@cache
def aimed() -> Clerk:
    """Return the ledger of more histories, half of which are aimed at rare failures."""
    return ledger_of(eventful(30.0)[:1], 1, 0, 16, 1, extra=1, tilt=True)


def test_every_purpose_was_seen():
    """The ledger covers every stream and every step that draws."""
    every = [*ledger().draws, *aimed().draws]
    seen = {(name_of(draw.stream), draw.function) for draw in every}
    assert {(name, step) for name, steps in DRAWN_BY.items() for step in steps} - seen == set()
    assert sum(draw.life[2] >= 0 for draw in ledger().draws) > 1000


def test_each_purpose_draws_from_its_own_stream():
    assert strangers(ledger()) == []
    assert strangers(aimed()) == []


def test_no_number_serves_two_purposes():
    assert two_purposes(ledger()) == []
    assert two_purposes(aimed()) == []


@pytest.mark.parametrize(
    ("name", "size"), [("LEAK_DRAWS", 64), ("PEOPLE_DRAWS", 64), ("PATH_DRAWS", 32)]
)
def test_a_leak_draws_from_its_own_part_of_a_stream(name, size):
    """So many numbers each, from its key on."""
    own = [draw for draw in ledger().draws if name_of(draw.stream) == name]
    assert len(own) > 100
    assert all(draw.count // size == draw.leak for draw in own)


def test_reports_of_a_leak_draw_from_its_own_part_of_a_stream():
    """Sixteen sensors a leak, thirty-two tries a sensor."""
    own = [draw for draw in ledger().draws if name_of(draw.stream) == "LINK_DRAWS"]
    assert len(own) > 100
    assert all(draw.count // 32 == draw.leak * 16 + draw.sensor for draw in own)


def test_repairs_draw_five_numbers_each_and_each_for_one_thing():
    """Time, unit, preload, a new valve: one place each; the kind, also at commissioning."""
    places = defaultdict(set)
    for draw in ledger().draws:
        if name_of(draw.stream) == "REPAIR_DRAWS":
            places[draw.count % 8].add(draw.place)
    assert {number: len(own) for number, own in places.items()} == {0: 1, 1: 1, 2: 1, 3: 1, 4: 2}


def test_counts_go_on_and_no_number_is_taken_twice():
    assert taken_again(ledger()) == []
    assert taken_again(aimed()) == []


def test_draws_belong_to_their_history():
    """The key holds the number of the history; even draws share that of their block."""
    for draw in [*ledger_of(eventful()[:2], 1, 70, 1, 4).draws, *aimed().draws]:
        own = draw.life[1]
        name = name_of(draw.stream)
        even = name == "SITE" or (name == "AIM_DRAWS" and draw.count < aim.CHOOSE)
        assert draw.history == (own >> streams.BLOCK_BITS if even else own)
        assert draw.seed == 1


def test_dwellings_of_a_region_share_weather_and_mains_alone():
    """The high word of a history's number is the dwelling's, the low word the region's history."""
    params = eventful(20.0)[:1]
    params["region"] = 1
    clerk = ledger_of(params, 1, (7 << 32) + 40, 1, 3)
    of_region = {"WEATHER_DRAWS", "OUTAGE_DRAWS"}
    seen = set()
    for draw in clerk.draws:
        name = name_of(draw.stream)
        if name in of_region:
            assert draw.history == 40, name
        elif name != "SITE":  # even over a block
            assert draw.history == (7 << 32) + 40, name
        seen.add(name)
    assert of_region < seen


def counts_off(module: Any, stream: Any, change: Callable[[int], int]) -> tuple[Any, str, Any]:
    """Return a fault: what ``module`` draws from ``stream`` has another count."""

    def uniform(seed: Any, number: Any, own: Any, count: Any) -> float:
        return streams.uniform(seed, number, own, change(count) if own == stream else count)

    return module, "uniform", uniform


FAULTS = {
    "trips for the controller": (history, "CONTROLLER_DRAWS", streams.TRIP_DRAWS),
    "finding for searching": (override, "SEARCH", override.FIND),
    "the stream after the valve's": (valve, "VALVE_DRAWS", streams.VALVE_DRAWS + 1),
    "nuisance for the gateway": (gateway, "GATEWAY_DRAWS", streams.NUISANCE_DRAWS),
    "one repair draw for another": counts_off(
        upkeep, streams.REPAIR_DRAWS, lambda count: count + 1 if count % 8 == 1 else count
    ),
    "one count behind": counts_off(valve, streams.VALVE_DRAWS, lambda count: count - 1),
    "one attempt for all": (actuator, "stroke_draw", None),
    "places of probes for extra ones": (schedule, "EXTRA_DRAWS", streams.PROBE_DRAWS),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_wrong_key_is_noticed(name, monkeypatch):
    module, attribute, value = FAULTS[name]
    if value is None:  # every draw of a stroke from one place of the key

        def stroke_draw(s: Any, which: Any) -> float:
            return streams.uniform(s.seed, s.history, streams.STROKE_DRAWS, s.stroke_draw * 64)

        value = stroke_draw
    monkeypatch.setattr(module, attribute, value)
    assert broken(run()) != []
