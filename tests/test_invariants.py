"""What must hold for every leak, whatever the scenario; and what more of a good thing cannot do.

Designs share their draws, so rows of the same number are the same leak, and can be compared one by
one rather than on average.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from checks import perfect
from hypothesis import given, settings
from hypothesis import strategies as st
from test_engines import odd_scenarios

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunk
from shutoffsim.engine.trace import History, new_state
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.model.fitted import closes_itself, has_coil
from shutoffsim.model.quantiles import FIXED

SLACK = 1e-9  # of a value: what rounding may do

seeds = st.integers(0, 2**64 - 1)


def broken_rules(rows: Any, p: Any) -> list[str]:
    """Return which rules some row of a design breaks."""
    stopped, found = rows["stopped"], rows["found"]
    automatic = rows["stopped_by"] == L.BY_AUTOMATION
    open_still = np.isnan(stopped)
    rules = {
        "a loss is never negative": rows["loss"] >= 0.0,
        "a loss is at most the cap": rows["loss"] <= p.damage_loss_cap,
        "what is insured is never negative": rows["insured"] >= 0.0,
        "what is insured is at most the limit": rows["insured"] <= p.insurance_limit,
        "what is insured is what exceeds the deductible": rows["insured"]
        <= np.maximum(rows["loss"] - p.insurance_deductible, 0.0),
        "harmless volumes cost nothing": (rows["volume"] > p.damage_harmless)
        | (rows["loss"] == 0.0),
        "volumes are never negative": rows["volume"] >= 0.0,
        "the floor is not larger than it is": rows["wet_area"]
        <= max(p.dwelling_floor_area, *p.zone_area) * (1 + SLACK),
        "no more units are wet than there are": (rows["units"] >= 0.0)
        & (rows["units"] <= p.dwelling_units_below),
        "weights are never negative": rows["weight"] >= 0.0,
        "onset is in the service life": (rows["onset"] >= 0.0) & (rows["onset"] < p.service_life),
        "nothing ends before it begins": ~(stopped < 0.0) & ~(found < 0.0),
        "nothing ends after the service life": (rows["onset"] + rows["wet_time"])
        <= p.service_life * (1 + SLACK),
        "who stopped it says when": open_still == (rows["stopped_by"] == L.BY_NOBODY),
        "wet time does not outlast stopping and finding": open_still
        | np.isnan(found)
        | (rows["wet_time"] <= np.maximum(stopped, found) * (1 + SLACK) + 1e-3),
        "modes exist": (rows["mode"] >= 0) & (rows["mode"] < len(L.MODES)),
        "automation that was in time has no failure": ~(
            automatic & (rows["volume"] <= p.damage_late_volume) & (rows["mode"] > L.MODE_NONE)
        ),
        # Where a fitting test may end without, a person closes in a design with automation, too.
        "without automation there is none to fail": (rows["mode"] == L.MODE_NO_AUTOMATION)
        | (np.full(rows.shape, closes_itself(p))),
        "with automation it may fail": (rows["mode"] != L.MODE_NO_AUTOMATION)
        | (not closes_itself(p))
        | (p.commissioning_test != L.TEST_NONE)
        | (p.repairs_next_class_after > 0),
    }
    return [rule for rule, holds in rules.items() if not np.all(holds)]


def resolved(rows: Any) -> Any:
    """Return the rows of probes that were run: not where the rate is zero, nor dropped ones."""
    return rows[(rows["weight"] > 0.0) & (rows["flow"] > 0.0)]


def test_rules_hold_in_the_scenarios(scenario):
    params = scenario.parameters()
    chunk = run_chunk(Setup.of(params, 21, probes=16), 0, 60)
    for p, rows in zip(params, chunk.rows, strict=True):
        assert broken_rules(resolved(rows), p) == []
        assert len(resolved(rows)) > 100
    for d, p in enumerate(params):
        assert broken_rules(chunk.natural[chunk.natural["design"] == d], p) == []


@settings(max_examples=150)
@given(odd_scenarios(), seeds)
def test_rules_hold_in_odd_scenarios(text, seed):
    params = shutoffsim.loads(text).parameters()
    chunk = run_chunk(Setup.of(params, seed, probes=8), 0, 3)
    for d, p in enumerate(params):
        assert broken_rules(resolved(chunk.rows[d]), p) == []
        assert broken_rules(chunk.natural[chunk.natural["design"] == d], p) == []
    tally = Tally(len(params), 1.0)
    tally.add(chunk)
    for d in range(len(params)):
        modes = tally.total[d, T.FIRST_MODE + 1 : T.FIRST_REPAIR].sum()
        assert modes == pytest.approx(tally.total[d, T.FAILED], rel=1e-9)
        every = tally.total[d, T.FIRST_MODE : T.FIRST_REPAIR].sum()
        assert every == pytest.approx(tally.total[d, T.LEAKS], rel=1e-9)


def test_a_broken_rule_is_noticed(cottage):
    params = cottage.parameters()[:2]
    rows = resolved(run_chunk(Setup.of(params, 21, probes=8), 0, 5).rows[1]).copy()
    rows["loss"][0] = -1.0
    rows["wet_time"][1] = 1e12
    assert set(broken_rules(rows, params[1])) >= {
        "a loss is never negative",
        "nothing ends after the service life",
    }


# --- one leak, step by step -----------------------------------------------------------------------


@settings(max_examples=40)
@given(odd_scenarios(), seeds)
def test_every_step_leaves_a_sound_state(text, seed):
    """Events come in order, escaped water only grows, and flags stay what they are."""
    p = shutoffsim.loads(text).parameters()[0]
    before: dict[str, Any] = {"now": 0.0, "rows": 0, "volume": {}}

    def watch(now: float, clock: int, s: Any) -> None:
        assert before["now"] <= now < p.service_life
        assert s.n_rows >= before["rows"]
        assert s.position in (L.OPEN, L.SHUT, L.SHORT)
        assert 0 <= s.open_leaks <= L.SLOTS
        assert s.open_leaks == s.leak_on.sum()
        for name in ("mains", "supply_ok", "battery_ok", "controller", "believed_shut", "trip"):
            assert s[name] in (0, 1), name
        volume = {}
        for slot in np.flatnonzero(s.leak_on):
            key = int(s.leak_key[slot])
            volume[key] = s.leak_volume[slot]
            assert s.leak_flow[slot] >= 0.0
            assert volume[key] >= before["volume"].get(key, 0.0)
            if s.position == L.SHUT:
                assert s.leak_stopped[slot] == 1
        before.update(now=now, rows=int(s.n_rows), volume=volume)

    history = History(p, new_state(seed, 0), np.zeros(400, L.INCIDENT), watcher=watch)
    history.begin()
    history.end()
    assert history.state[0].open_leaks == 0


# --- flow times time -----------------------------------------------------------------------------


def simplified(params: Any) -> Any:
    """Return parameters with bursts only, nothing stored, tight seats, and leaks far apart."""
    params = params.copy()
    params["source_rate"] *= 1e-6
    params["source_parts"] *= 1e-6
    params["source_seep_share"] = 0.0
    for name in ("dwelling_drain_down", "valve_seat_leak"):
        params[name] = [FIXED, 0.0, 0.0, 0.0]
    params["actuator_short_chance"] = 0.0
    params["people_shut_on_leaving"] = 0.0
    params["nuisance_sensor_rate"] = 0.0
    params["nuisance_rule_rate"] = 0.0
    params["valve_opening_share"] = 0.0
    params["policies_close_when_away"] = 0
    params["policies_close_on_power_loss"] = 0
    return params


def test_volume_is_flow_times_open_time(scenario):
    """For bursts with nothing stored behind; solenoids, which fall shut and open, are left out."""
    params = simplified(scenario.parameters())
    params = params[[not has_coil(p) for p in params]]
    rows = run_chunk(Setup.of(params, 22, probes=16), 0, 60).rows.ravel()
    rows = rows[(rows["weight"] > 0.0) & ~np.isnan(rows["stopped"])]
    assert len(rows) > 1000
    assert rows["volume"] == pytest.approx(rows["flow"] * rows["stopped"], rel=1e-6, abs=1e-12)


def test_volume_of_leaks_left_open(scenario):
    params = simplified(scenario.parameters())[:1]
    params["people_notice_burst"] = 1e12
    params["neighbour_notices"] = 0
    rows = run_chunk(Setup.of(params, 22, probes=16), 0, 20).rows[0]
    rows = rows[(rows["weight"] > 0.0) & np.isnan(rows["stopped"])]
    assert len(rows) > 100
    rest = params["service_life"][0] - rows["onset"]
    assert rows["volume"] == pytest.approx(rows["flow"] * rest, rel=1e-6)


# --- more of a good thing ----------------------------------------------------------------------


RELIABLE = """
zones.room.area = "12 m2"
dwelling = {floor_area = "70 m2", units_below = 2, drain_down = {low = "1 L", high = "6 L"}}
leaks.hose = {seep_share = 0.4, hole_diameter = {median = "3 mm", spread = 1.8}}
sensors.a = {reach_chance = 0.8, reach_area = {median = "3 m2", spread = 2.5}, \
attempt_success = 0.6}
detection = {report_repeats = 20, report_interval = "REPEAT"}
siren.fitted = true
gateway = {fitted = true, availability = 1, backed_up = true}
people.pattern = "working family"
drop = ["people.week.weekdays", "people.week.saturday", "people.week.sunday"]
people.trips = true
people.notice_asleep = 5
people.notice_spread = 2
override = {find_known = {median = "2 min", spread = 2}, knows_valve = 0.5}
valve.seat_leak = "1 L/h"
damage.severity = {mean = 1.0, spread = 2.0}
"""


def pair(better: str, worse: str, seed: int, probes: int = 16) -> tuple[Any, Any]:
    """Return the rows of two designs for the same leaks."""
    params = perfect(better, worse, life="2 years").parameters()
    rows = run_chunk(Setup.of(params, seed, probes=probes), 0, 20).rows
    assert (rows["onset"][0] == rows["onset"][1]).all()
    return rows[0].ravel(), rows[1].ravel()


def design(old: str = "", new: str = "", more: str = "", repeat: str = "60 s") -> str:
    """Return the reliable design with one text replaced and some added."""
    text = RELIABLE.replace("REPEAT", repeat)
    assert old in text
    return text.replace(old, new) + more if old else text + more


FASTER = {
    "a nearer sensor": (design("3 m2", "1.5 m2"), design()),
    "faster reports": (design(repeat="20 s"), design()),
    "a better link": (design("attempt_success = 0.6", "attempt_success = 0.9"), design()),
    "a sensor that is met more": (design("reach_chance = 0.8", "reach_chance = 1"), design()),
    "a rule besides": (design(more="flow_rule.fitted = true\n"), design()),
    "people who notice": (design(more='people.notice_burst = "30 s"\n'), design()),
    "people who know": (design("knows_valve = 0.5", "knows_valve = 1"), design()),
    "a siren": (design(), design("siren.fitted = true", "siren.fitted = false")),
    "automation": (design(), design(more='element.kind = "none"\n')),
}


@pytest.mark.parametrize("name", FASTER)
@settings(max_examples=12)
@given(seed=seeds)
def test_what_closes_earlier_never_loses_more(name, seed):
    """Leak by leak, where nothing else fails: less water, less wet time, less loss."""
    better, worse = pair(*FASTER[name], seed)
    for column in ("volume", "wet_time", "loss", "insured"):
        assert (better[column] <= worse[column] * (1 + SLACK) + 1e-9).all(), column


@pytest.mark.parametrize("name", FASTER)
def test_and_sometimes_it_loses_less(name):
    better, worse = pair(*FASTER[name], seed=3, probes=64)
    assert (better["volume"] < worse["volume"] * (1 - 1e-6)).any()


def test_what_closes_later_loses_more():
    """The comparison can fail: turned around, it does."""
    worse, better = pair(*FASTER["a nearer sensor"], seed=3)
    assert not (better["volume"] <= worse["volume"] * (1 + SLACK)).all()


STIFF = """
valve = {breakaway = {median = "7 N*m", spread = 1.6}, age = "5 years", \
age_factor = {least = 1, median = 1.4, spread = 1.5}, idle_growth = 0.1, \
closing_share = {low = 0.5, high = 0.9, shape = "even"}}
actuator = {stall_torque = "TORQUE N*m", unit_spread = {median = 0.95, spread = 1.1}}
"""


@given(
    seed=seeds,
    torques=st.tuples(st.floats(1, 40), st.floats(1, 40)).map(sorted),
)
@settings(max_examples=40)
def test_more_torque_never_makes_it_too_small(seed, torques):
    weak, strong = (STIFF.replace("TORQUE", f"{torque:.3f}") for torque in torques)
    more, less = pair(strong, weak, seed)
    undersized = more["mode"] == L.MODE_UNDERSIZED
    assert not (undersized & (less["mode"] != L.MODE_UNDERSIZED)).any()
    assert (more["volume"] <= less["volume"] * (1 + SLACK) + 1e-4).all()


POWERED = """
mains = {outage_rate = "60 per year", outage_duration = {mean = "1 days"}}
controller.standby_power = "0.5 W"
battery = {fitted = true, voltage = "12 V", resistance = "0 ohm", usable = 1, capacity = "CAP Wh", \
fade = "10 % per year", life = {life = "3 years", shape = 2}, test = "100 days"}
"""


@given(seed=seeds, capacities=st.tuples(st.floats(0.1, 40), st.floats(0.1, 40)).map(sorted))
@settings(max_examples=40)
def test_more_battery_never_leaves_less_power(seed, capacities):
    small, large = (POWERED.replace("CAP", f"{capacity:.3f}") for capacity in capacities)
    more, less = pair(large, small, seed)
    dark = more["mode"] == L.MODE_NO_POWER
    assert not (dark & (less["mode"] != L.MODE_NO_POWER)).any()


@given(seed=seeds, cap=st.floats(10, 1e5), factor=st.floats(1, 10))
@settings(max_examples=20)
def test_a_cap_and_a_deductible_only_take_away(seed, cap, factor):
    texts = [
        design(more=f'damage.loss_cap = "{cap * f} EUR"\ninsurance.deductible = "{500 * f} EUR"\n')
        for f in (1.0, factor)
    ]
    low, high = pair(*texts, seed)
    assert (low["loss"] <= high["loss"]).all()
    assert low["loss"] == pytest.approx(np.minimum(high["loss"], cap), rel=1e-9)
    assert (high["insured"] <= high["loss"]).all()
