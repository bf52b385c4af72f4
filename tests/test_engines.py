"""Two engines, any number of workers, any split: the same bits."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from checks import leaking, perfect
from hypothesis import given, settings
from hypothesis import strategies as st

import shutoffsim
from shutoffsim.engine import schedule, trace
from shutoffsim.engine.run import CHUNK, Chunk, Setup, run_chunk, run_chunks
from shutoffsim.engine.trace import History, new_state
from shutoffsim.model import layout as L


def same_bits(a: Any, b: Any) -> bool:
    """Return whether two record arrays hold the same bits in every field.

    Field by field, as what lies between the fields is anybody's.
    """
    return a.shape == b.shape and all(a[f].tobytes() == b[f].tobytes() for f in a.dtype.names)


def differing(a: Chunk, b: Chunk) -> list[str]:
    """Name what two chunks do not have in common, to the last bit."""
    parts = ("rows", "natural", "summary")
    return [name for name in parts if not same_bits(getattr(a, name), getattr(b, name))]


def both(params: Any, seed: int, n: int, probes: int, first: int = 0) -> tuple[Chunk, Chunk]:
    """Run the same histories on both engines."""
    setup = Setup.of(params, seed, "batch", probes)
    return run_chunk(setup, first, n), run_chunk(replace(setup, engine="trace"), first, n)


def test_engines_agree_on_the_scenarios(scenario):
    a, b = both(leaking(scenario.parameters(), 1.0), seed=11, n=2, probes=3)
    assert differing(a, b) == []
    assert len(a.natural) > 0


def test_engines_agree_when_leaks_crowd(scenario):
    """Hundreds of leaks a year: all slots get taken, leaks are dropped, seeps run together."""
    designs = scenario.designs[:1] + scenario.designs[-1:]
    params = leaking(scenario.parameters(designs), 400.0)
    params["service_life"] = L.YEAR
    a, b = both(params, seed=12, n=1, probes=2)
    assert differing(a, b) == []
    assert a.summary["dropped"].sum() > 0


def test_a_difference_would_be_seen(cottage):
    """Another seed, and a change in the last bit of one volume."""
    params = leaking(cottage.parameters()[:2], 1.0)
    a, other = (run_chunk(Setup.of(params, seed, probes=3), 0, 2) for seed in (11, 12))
    assert differing(a, other) == ["rows", "natural", "summary"]
    b = Chunk(a.first, a.rows.copy(), a.natural, a.summary)
    b.rows["volume"][0, 0, 0] = np.nextafter(a.rows["volume"][0, 0, 0], np.inf)
    assert differing(a, b) == ["rows"]


# --- odd scenarios -----------------------------------------------------------------------------

#: Unusual corners, all of them legal. 180 days are a whole number of 30-day intervals, so the last
#: exercise falls on the end of the history.
ODD = {
    "service_life": ('"180 days"', '"1 year"'),
    "leaks.one.kind": ('"appliance hose"', '"frost burst"', '"cistern supply"'),
    "leaks.one.rate": ('"0 per year"', '"1 per year"', '"8 per year"'),
    "leaks.one.starts": ('"any time"', '"in use"'),
    "leaks.one.seep_share": ("0", "0.5", "1"),
    "leaks.one.seep_growth": ('"never"', '"1 h"', '{mean = "20 days"}'),
    "leaks.one.water": ('"clean"', '"grey"'),
    "leaks.two.kind": ('"pipe joint"',),
    "leaks.two.rate": ('"0 per year"', '"4 per year"'),
    "zones.room.area": ('"10 m2"',),
    "detection.common_cause": ("0", "0.2", "1"),
    "detection.test_interval": ('"never"', '"30 days"'),
    "detection.via_gateway": ("false", "true"),
    "flow_rule.fitted": ("false", "true"),
    "flow_rule.flow": ('"0 L/min"', '"1 L/min"'),
    "people.pattern": ('"always somebody"', '"often empty"', '"clinic hours"'),
    "people.notice_spread": ("1", "2.2"),
    "dwelling.units_below": ("0", "2"),
    "policies.close_when_away": ("false", "true"),
    "policies.close_on_power_loss": ("false", "true"),
    "policies.away_mode": ("0", "1"),
    "policies.remote_command": ("false", "true"),
    "mains.outage_rate": ('"0 per year"', '"30 per year"'),
    "weather.spell_rate": ('"0 per year"', '"6 per year"'),
    "controller.hang_rate": ('"0 per year"', '"20 per year"'),
    "controller.watchdog": ("false", "true"),
    "controller.shares_rail": ("false", "true"),
    "supply.failure_rate": ('"0 per year"', '"4 per year"'),
    "supply.resistance": ('"0 ohm"', '"3 ohm"'),
    "battery.fitted": ("false", "true"),
    "battery.capacity": ('"0.01 Wh"', '"20 Wh"'),
    "battery.life": ('{life = "60 days", shape = 2}',),
    "battery.change": ('"never"', '"30 days"'),
    "battery.test": ('"never"', '"30 days"'),
    "exercise.interval": ('"never"', '"1 week"', '"30 days"'),
    "element.kind": (
        '"none"',
        '"alarm only"',
        '"clamped actuator"',
        '"motorised valve"',
        '"solenoid, powered open"',
        '"solenoid, powered shut"',
    ),
    "valve.breakaway": ('"1 N*m"', '"40 N*m"'),
    "valve.seize_time": ('"never"', '{mean = "60 days"}'),
    "valve.renew_after": ("0", "1"),
    "actuator.end_of_travel": ('"not sensed"', '"at the motor"', '"at the stem"'),
    "actuator.current_sensed": ("false", "true"),
    "owner_test.interval": ('"never"', '"60 days"'),
    "people.shut_on_leaving": ("0", "0.5"),
    "people.power_off_on_leaving": ("0", "0.5"),
    "dwelling.evaporation": ('"0 mm/h"', '"0.05 mm/h"'),
    "actuator.stall_cutoff": ('"never"', '"3 s"'),
    "actuator.failure_rate": ('"0 per year"', '"3 per year"'),
    "actuator.repair": ('"0 s"', '{mean = "10 days"}'),
}
ODD_SENSOR = {
    "kind": ('"radio, coin cell"', '"radio, supervised"', '"wired"'),
    "reach_chance": ("0", "0.7", "1"),
    "attempt_success": ("0.3", "1"),
    "failure_rate": ('"0 per year"', '"3 per year"'),
}


@st.composite
def odd_scenarios(draw) -> str:
    """Write a scenario that takes one of the values of every key above."""
    sensors = draw(st.integers(0, 3))
    choices = dict(ODD)
    for number in range(sensors):
        choices |= {f"sensors.s{number}.{key}": values for key, values in ODD_SENSOR.items()}
    lines = [f"{key} = {draw(st.sampled_from(values))}" for key, values in choices.items()]
    if any(f'element.kind = "{kind}"' in lines for kind in ("none", "alarm only")):
        lines = [line for line in lines if not line.startswith("policies.close_when_away")]
    lines.append(f"detection.votes = {draw(st.integers(1, max(sensors, 1)))}")
    lines.append("designs.base = {}")
    lines.append("designs.other.exercise.interval = " + draw(st.sampled_from(ODD["battery.test"])))
    return "\n".join(lines)


@settings(max_examples=200)
@given(odd_scenarios(), st.integers(0, 2**64 - 1))
def test_engines_agree_on_odd_scenarios(text, seed):
    a, b = both(shutoffsim.loads(text).parameters(), seed, n=1, probes=2)
    assert differing(a, b) == []


def ties() -> Any:
    """Return a system in which the order of events at one moment matters.

    The battery is changed and tested at the same times. Change first: the test then finds a sound
    battery. Test first: it may be renewed twice, and later batteries fail at other times.
    """
    changes = """
    mains = {outage_rate = "40 per year", outage_duration = {mean = "2 days"}}
    battery = {fitted = true, capacity = "100 Wh", life = {life = "40 days", shape = 2}, \
change = "30 days", test = "30 days"}
    leaks.hose.rate = "10 per year"
    """
    return perfect(changes, life="720 days").parameters()


def test_engines_agree_on_ties():
    a, b = both(ties(), seed=5, n=4, probes=8)
    assert differing(a, b) == []


# --- splits --------------------------------------------------------------------------------------


def joined(chunks: list[Chunk]) -> Chunk:
    natural = np.concatenate([chunk.natural for chunk in chunks])
    return Chunk(
        chunks[0].first,
        np.concatenate([chunk.rows for chunk in chunks], axis=1),
        natural[np.lexsort((natural["history"],))],
        np.concatenate([chunk.summary for chunk in chunks], axis=1),
    )


def by_history(chunk: Chunk) -> Chunk:
    """Order natural incidents by history, whatever order the engine wrote them in."""
    return joined([chunk])


@pytest.mark.parametrize("cuts", [[0, 7, 40], [0, 1, 2, 40], [0, 20, 21, 22, 40]])
def test_any_split_gives_the_same_histories(cottage, cuts):
    setup = Setup.of(cottage.parameters(), 3, probes=4)
    whole = by_history(run_chunk(setup, 0, 40))
    pieces = [run_chunk(setup, a, b - a) for a, b in pairwise(cuts)]
    assert differing(whole, joined(pieces)) == []


def test_workers_make_no_difference(cottage):
    setup = Setup.of(cottage.parameters(), 3, probes=4)
    n = 3 * CHUNK + 5
    one = list(run_chunks(setup, 0, n, workers=1))
    two = list(run_chunks(setup, 0, n, workers=2))
    assert [chunk.first for chunk in one] == [chunk.first for chunk in two]
    assert all(differing(a, b) == [] for a, b in zip(one, two, strict=True))


def test_a_design_is_the_same_alone_and_in_company(cottage):
    """Nothing that one design draws shifts another, with the probes placed alike."""
    params = cottage.parameters()
    setup = Setup.of(params, 3, probes=4)
    together = run_chunk(setup, 0, 10)
    alone = run_chunk(replace(setup, params=params[3:4]), 0, 10)
    same = together.rows[3:4].copy()
    same["design"] = 0
    assert same_bits(alone.rows, same)


def test_compare_gives_the_same_on_both_engines_and_any_workers(cottage):
    names = cottage.designs[:2]
    results = [
        shutoffsim.compare(cottage, names, histories=130, seed=4, workers=workers).as_dict()
        for workers in (1, 2)
    ]
    assert results[0] == results[1]
    few = [
        shutoffsim.compare(cottage, names, histories=3, seed=4, engine=engine).as_dict()
        for engine in ("batch", "trace")
    ]
    assert [result.pop("engine") for result in few] == ["batch", "trace"]
    assert few[0] == few[1]


# --- one history at a time ----------------------------------------------------------------------


def test_a_replayed_history_gives_the_rows_of_the_batch(cottage):
    params = leaking(cottage.parameters(), 1.0)
    setup = Setup.of(params, 9, probes=2)
    design, number = 4, 6
    chunk = run_chunk(setup, 0, 8)
    natural = np.zeros(1000, L.INCIDENT)
    history = History(params[design], new_state(9, number), natural)
    history.begin()
    history.end()
    n = int(history.state[0].n_rows)
    here = (chunk.natural["history"] == number) & (chunk.natural["design"] == design)
    assert n == here.sum() > 0
    natural["design"][:n] = design
    assert same_bits(natural[:n], chunk.natural[here])


def test_a_plain_process_sees_the_times_of_the_history(cottage):
    """A SimPy process of one's own runs beside the clocks, and changes nothing."""
    params = cottage.parameters()
    day = 86400.0
    rung: list[tuple[float, int]] = []
    seen: list[tuple[float, int]] = []

    def watch(now: float, clock: int, state: Any) -> None:
        rung.append((now, clock))

    history = History(params[2], new_state(2, 0), np.zeros(100, L.INCIDENT), watcher=watch)
    history.begin()

    def observer():
        while True:
            yield history.env.timeout(day)
            seen.append((history.env.now, int(history.state[0].mains)))

    history.env.process(observer())
    history.end()
    life = float(params[2].service_life)
    assert [now for now, _ in seen] == pytest.approx(np.arange(1, int(life / day) + 1) * day)
    times = [now for now, _ in rung]
    assert times == sorted(times)
    assert 0.0 <= times[0] <= times[-1] < life
    assert {mains for _, mains in seen} == {0, 1}

    quiet = History(params[2], new_state(2, 0), np.zeros(100, L.INCIDENT))
    quiet.begin()
    quiet.end()
    assert quiet.state.tobytes() == history.state.tobytes()


def test_a_stopped_history_goes_on_where_it_was(cottage):
    params = cottage.parameters()
    states = []
    for stops in ([], [1e6, 3.3e7, 1.1e8]):
        history = History(params[5], new_state(2, 1), np.zeros(100, L.INCIDENT))
        history.begin()
        for stop in stops:
            history.run_to(stop)
            assert history.now == stop
        history.end()
        states.append(history.state.tobytes())
    assert states[0] == states[1]


def test_more_incidents_than_rows_are_counted(cottage):
    """The room for natural incidents grows until all fit."""
    params = leaking(cottage.parameters()[:1], 60.0)
    chunk = run_chunk(Setup.of(params, 1, probes=1), 0, 1)
    assert len(chunk.natural) > 64 + 4
    assert trace.History is History


@pytest.mark.parametrize("seed", range(5))
def test_the_stretch_is_the_one_that_a_search_finds(seed):
    """Also at the cuts themselves, and with stretches that are empty."""
    rng = np.random.default_rng(seed)
    mass = rng.gamma(0.1, size=50) * (rng.random(50) < 0.7)
    mass[0] = mass[-1] = 1.0
    cum = np.concatenate([[0.0], np.cumsum(mass / mass.sum())])
    cum[-1] = 1.0
    places = np.concatenate([rng.random(500), cum[:-1], np.nextafter(cum[1:], 0.0)])
    found = [schedule.stretch_of(cum, at) for at in places]
    assert found == (np.searchsorted(cum, places, side="right") - 1).tolist()
