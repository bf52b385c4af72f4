"""What is used again keeps nothing of what was there: slots of leaks, the element, parts, rows.

Each test fills the old with rubbish and demands the result of the clean one, bit for bit.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from eventful import DESIGNS, eventful

from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.engine.trace import History, new_state
from shutoffsim.model import layout as L
from shutoffsim.model.history import add_leak, react, start
from shutoffsim.model.quantiles import FIXED

DAY = 86400.0
OF_A_LEAK = [
    name
    for name, kind, _ in L.STATE_FIELDS
    if kind in ("slots", "fslots", "reach", "ireach") and name != "leak_on"
]
#: Written by the event that makes them mean something, before anything reads them.
WRITTEN_LATER = {"leak_stopped_at", "leak_found_at", "leak_hands_by", "leak_next", "report_left"}


def same(a: Any, b: Any) -> list[str]:
    """Return the fields in which two records differ, to the last bit."""
    return [name for name in a.dtype.names if a[name].tobytes() != b[name].tobytes()]


def litter(state: Any, names: list[str], number: int) -> None:
    """Fill fields with rubbish: of slots, only those that are free."""
    free = state[0].leak_on == 0
    for name in names:
        if name in OF_A_LEAK:
            state[name][0, free] = number
        else:
            state[name] = number


def lived(p: Any, number: int, until: float) -> History:
    """Return a history that has come so far, with what has happened to it."""
    history = History(p, new_state(5, number), np.zeros(400, L.INCIDENT))
    history.begin()
    history.run_to(until)
    return history


@pytest.mark.parametrize("design", range(len(DESIGNS)), ids=list(DESIGNS))
@pytest.mark.parametrize("number", [1, 7])
def test_a_leak_begins_anew_in_a_slot_that_was_used(design, number):
    """The slot as after :func:`add_leak`, and then the whole course of the leak and its row."""
    p = eventful(30.0)[design]
    for history in range(4):
        whole = lived(p, history, 9.0 * DAY + 8000.0 * history)
        ends = []
        for rubbish in (False, True):
            fork = History(p, whole.state.copy(), np.zeros(1, L.INCIDENT))
            fork.take_up(whole.times, whole.now)
            if rubbish:
                litter(fork.state, OF_A_LEAK, number)
                fork.rows.view(np.uint8)[:] = 0xAB
            begun = fork.state.copy()
            add_leak(p, begun[0], fork.now, history % 2, 1 << 18, np.full(L.CLOCKS, L.KEEP))
            fork.run_probe(history % 2, 1 << 18)
            ends.append((begun, fork.rows))
        (clean, row), (dirty, row_after_dirt) = ends
        slot = int(np.flatnonzero(clean[0].leak_key == 1 << 18)[0])
        for name in OF_A_LEAK:
            if name not in WRITTEN_LATER:
                a, b = clean[name][0, slot], dirty[name][0, slot]
                if a.ndim:  # by sensor
                    a, b = a[: p.n_sensors], b[: p.n_sensors]
                assert a.tobytes() == b.tobytes(), name
        assert set(same(row, row_after_dirt)) <= {"design"}


def test_the_comparison_can_fail():
    p = eventful(30.0)[0]
    whole = lived(p, 0, 9.0 * DAY)
    for name in ("leak_demanded", "leak_found", "leak_mode", "leak_run"):
        state = whole.state.copy()
        add_leak(p, state[0], whole.now, 0, 1 << 18, np.full(L.CLOCKS, L.KEEP))
        other = state.copy()
        other[name] = 1
        assert name in same(state, other)


ELEMENT = {
    "failed": 1,
    "burnt": 1,
    "stripped": 1,
    "slipped": 1,
    "broken": 1,
    "strokes": 1e6,
    "winding": 900.0,
    "winding_at": 3.0 * DAY,
    "mounted_at": -1e9,
    "unit": 1e-3,
    "creep": 1e-3,
}


def repaired(p: Any, old: dict[str, float]) -> Any:
    """Return the state after a repair on day 4, for an element that was in some condition."""
    state = new_state(3, 2)
    delay = np.full(L.CLOCKS, L.KEEP)
    start(p, state[0], delay)
    for name, value in {**old, "repair_due": 1, "trip": 0}.items():
        state[name] = value
    delay.fill(L.KEEP)
    react(L.REPAIR, 4.0 * DAY, p, state[0], delay, np.zeros(9, L.INCIDENT))
    return state


@pytest.mark.parametrize("design", range(len(DESIGNS) - 1), ids=list(DESIGNS)[:-1])
@pytest.mark.parametrize("stiff", [0, 1, 2])
def test_a_repair_leaves_nothing_of_the_old_element(design, stiff):
    """Burnt, stripped, worn, hot or slipped: all the same afterwards; only a stiff valve counts."""
    p = eventful()[design]
    found = {"failed": 1, "stiff": int(stiff > 0), "stiff_findings": max(stiff - 1, 0)}
    worn = {name: value for name, value in ELEMENT.items() if name != "broken"}
    assert same(repaired(p, found), repaired(p, worn | found)) == []


@pytest.mark.parametrize("name", ELEMENT)
def test_a_repair_sets_each_thing_right(name):
    """A new unit on a tightened mount, cold and unworn, and a valve that is free and just moved."""
    p = eventful()[0].copy()
    p.actuator_unit_spread = (FIXED, 0.83, 0.0, 0.0)
    p.mount_creep = (FIXED, 0.61, 0.0, 0.0)
    alone = name in ("slipped", "broken")
    s = repaired(p, {"failed": int(not alone), name: ELEMENT[name]})[0]
    if name == "broken":
        assert (s.broken, s.repairs[L.FREED], s.moved_at) == (L.SOUND, 1, 4.0 * DAY)
        return
    expected = {"unit": 0.83, "creep": 0.61, "mounted_at": 4.0 * DAY, "winding_at": 4.0 * DAY}
    assert s[name] == expected.get(name, 0.0)
    assert s.moved_at == 4.0 * DAY
    assert s.repair_due == 0
    assert s.n_repairs == 1


def test_a_mount_is_tightened_without_another_unit():
    p = eventful()[0].copy()
    p.mount_creep = (FIXED, 0.61, 0.0, 0.0)
    p.valve_seize_time = (FIXED, np.inf, 0.0, 0.0)
    s = repaired(p, {"slipped": 1, "unit": 0.5, "strokes": 40.0})[0]
    assert (s.slipped, s.creep, s.mounted_at) == (0, 0.61, 4.0 * DAY)
    assert (s.unit, s.strokes, s.repairs[L.RETIGHTENED], s.repairs.sum()) == (0.5, 40.0, 1, 1)


@pytest.mark.parametrize(
    ("renew_after", "findings", "stiff", "renewed"),
    [(2, 1, 1, True), (2, 0, 1, False), (2, 1, 0, False), (0, 9, 1, False), (1, 0, 1, True)],
)
def test_a_valve_is_renewed_when_it_was_found_stiff_so_often(renew_after, findings, stiff, renewed):
    p = eventful()[0].copy()
    p.valve_renew_after = renew_after
    p.valve_breakaway = (FIXED, 3.3, 0.0, 0.0)
    p.valve_seize_time = (FIXED, np.inf, 0.0, 0.0)
    old = {"stiff_findings": findings, "stiff": stiff, "breakaway": 99.0, "born_at": -7.0}
    s = repaired(p, old)[0]
    if renewed:
        assert (s.breakaway, s.born_at, s.stiff_findings) == (3.3, 4.0 * DAY, 0)
    else:
        assert (s.breakaway, s.born_at, s.stiff_findings) == (99.0, -7.0, findings + stiff)
    assert s.stiff == 0


def rung(p: Any, clock: int, old: dict[str, float], now: float = 4.0 * DAY) -> tuple[Any, Any]:
    """Return state and delays after a clock has rung for a state that was changed so."""
    state = new_state(3, 2)
    delay = np.full(L.CLOCKS, L.KEEP)
    start(p, state[0], delay)
    for name, value in old.items():
        state[name] = value
    delay.fill(L.KEEP)
    react(clock, now, p, state[0], delay, np.zeros(9, L.INCIDENT))
    return state, delay


@pytest.mark.parametrize("clock", [L.BATTERY_CHANGE, L.BATTERY_TEST])
def test_a_new_battery_keeps_nothing_of_the_old(clock):
    p = eventful()[0]
    old = {"battery_ok": 0, "battery_new_at": -1e9}
    (clean, times), (dirty, times_after_dirt) = rung(p, clock, {}), rung(p, clock, old)
    assert same(clean, dirty) == ["repairs", "repair_cost"]
    assert (times == times_after_dirt).all()
    assert dirty[0].repairs[L.NEW_BATTERY] - clean[0].repairs[L.NEW_BATTERY] == 1
    assert (dirty[0].battery_ok, dirty[0].battery_new_at) == (1, 4.0 * DAY)


def test_power_that_is_lost_starts_on_what_the_battery_holds_then():
    """The battery is a fifth weaker after a year; nothing is left of an earlier outage."""
    p = eventful()[0]
    old = {"battery_empty": 1, "battery_energy": 0.0, "off_mains_at": 1.0, "battery_draw": 99.0}
    now = 100.0 * DAY
    state, delay = rung(p, L.OUTAGE, old, now)
    s = state[0]
    energy = 8.0 * 3600.0 * 0.8 * (1 - 0.2 * 100.0 / 365.25)
    assert s.battery_energy == pytest.approx(energy, rel=1e-12)
    assert (s.battery_empty, s.off_mains_at, s.battery_draw) == (0, now, 1.0)
    assert delay[L.BATTERY_EMPTY] == pytest.approx(energy / 1.0, rel=1e-12)


SET_AT_START = [
    *("spell", "mains", "supply_ok", "battery_ok", "controller", "gateway_at", "trip"),
    *("pressure", "breakaway", "age_factor", "seat_leak", "unit", "creep", "knows_valve"),
    *("moved_at", "born_at", "seize_after", "weight", "limit", "pickup_ok"),
]


def test_commissioning_sets_everything_it_is_there_to_set():
    """Surroundings in order, the parts of this dwelling, and every clock."""
    for p in eventful():
        ends = []
        for rubbish in (0, 7):
            state = new_state(3, 2)
            delay = np.full(L.CLOCKS, float(rubbish))
            for name in SET_AT_START:
                state[name] = rubbish
            state["sensor_ok"][:, : p.n_sensors] = rubbish
            start(p, state[0], delay)
            ends.append((state, delay))
        (clean, times), (dirty, times_after_dirt) = ends
        assert same(clean, dirty) == []
        assert (times == times_after_dirt).all()
        assert not (times == 7.0).any()


@pytest.mark.parametrize(("extra", "tilt"), [(0, False), (9, True)])
def test_a_history_keeps_nothing_of_the_one_before(extra, tilt):
    """Histories one after the other are what each is alone, in rows, natural leaks and counts."""
    params = eventful(30.0)
    setup = replace(Setup.of(params, 8, probes=4), extra=extra, tilt=tilt)
    together = run_chunk(setup, 0, 3)
    for number in range(3):
        alone = run_chunk(setup, number, 1)
        assert same(together.rows[:, number], alone.rows[:, 0]) == []
        assert same(together.summary[:, number], alone.summary[:, 0]) == []
        natural = together.natural[together.natural["history"] == number]
        assert same(natural, alone.natural) == []
        assert len(natural) > 0
