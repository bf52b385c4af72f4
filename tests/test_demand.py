"""Failure on demand where it is rare: the same answer as plain probing, and exact answers."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from checks import TOLERANCE, leaking, mean_and_error, perfect
from test_engines import differing

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunk, run_chunks
from shutoffsim.errors import ModelError, ScenarioError
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.model.streams import BLOCK
from shutoffsim.study.pfd import MOST_UNSEEN, failure_on_demand

# Only the actuator can fail: dormant failures found and mended at each exercise.
RARE = """
name = "one part that fails"
currency = "EUR"
service_life = "10 years"
[dwelling]
drain_down = "0 L"
[zones.room]
[leaks.pipe]
zone = "room"
kind = "pipe joint"
rate = "0.01 per year"
seep_share = 0
out_of_reach = 0
hole_diameter = "3 mm"
[sensors.room]
zone = "room"
reach_chance = 1
reach_area = "0.001 m2"
failure_rate = "0 per year"
battery_life = "never"
attempt_success = 1
[detection]
common_cause = 0
[people]
power_off_on_leaving = 0
[mains]
breaker_chance = 0
outage_rate = "0 per year"
major_rate = "0 per year"
dip_rate = "0 per year"
[supply]
failure_rate = "0 per year"
[controller]
hang_rate = "0 per year"
[nuisance]
rate_per_sensor = "0 per year"
[valve]
breakaway = "0.1 N*m"
seize_time = "never"
[actuator]
failure_rate = "RATE"
diagnostic = 0
stick_chance = 0
short_chance = 0
strip_chance = 0
repair = "0 s"
[mount]
slip_torque = "100 N*m"
[exercise]
interval = "30 days"
coverage = 1
[designs.actuator]
element.kind = "clamped actuator"
"""


def tally_of(setup: Setup, histories: int) -> Tally:
    tally = Tally(len(setup.params), 10.0)
    for chunk in run_chunks(setup, 0, histories):
        tally.add(chunk)
    return tally


def agree(a: Estimate, b: Estimate) -> bool:
    return abs(a.value - b.value) <= 4.5 * math.hypot(a.std_error, b.std_error)


@pytest.mark.parametrize("extra", [0, 24])
@pytest.mark.parametrize("tilt", [False, True])
def test_looking_harder_changes_no_expectation(cottage, extra, tilt):
    """Other seeds, other places to look: damage, leaks and each failure mode stay the same."""
    params = cottage.parameters(["mains, screwed mount", "plus battery"])
    plain = tally_of(Setup.of(params, 21), 1500)
    other = tally_of(replace(Setup.of(params, 22, probes=8), extra=extra, tilt=tilt), 1500)
    figures = [T.LOSS, T.LEAKS, T.DAMAGING, T.FAILED, T.NATURAL_LEAKS]
    # A mode that few histories show has no standard error to rely on.
    modes = range(T.FIRST_MODE, T.FIRST_REPAIR)
    figures += [f for f in modes if 0.0 < plain.mean(0, f).relative_error < 0.15]
    assert len(figures) >= 8
    for d in range(2):
        for figure in figures:
            assert agree(plain.mean(d, figure), other.mean(d, figure)), (d, figure)


def test_a_wrong_weight_would_be_seen(cottage):
    """The negative control: probes counted with 15 % too much weight."""
    params = cottage.parameters(["mains, screwed mount"])
    plain = tally_of(Setup.of(params, 21), 1500)
    heavy = Tally(1, 10.0)
    for chunk in run_chunks(replace(Setup.of(params, 22, probes=8), extra=24), 0, 1500):
        chunk.rows["weight"] *= 1.15
        heavy.add(chunk)
    assert not agree(plain.mean(0, T.LEAKS), heavy.mean(0, T.LEAKS))


def test_a_rare_failure_has_its_exact_probability():
    """1 - E(1), E(1) = (1 - e^-x) / x, x = rate x 30 days; about 1.8E-4 (IEC 61508-6: x / 2).

    The last interval of ten years is cut short (3652.5 = 121 x 30 + 22.5 days); the exact average
    weighs it by its length.
    """
    rate = 5e-7  # per hour
    scenario = shutoffsim.loads(RARE.replace("RATE", "5e-7 per h"))
    found = failure_on_demand(scenario, "actuator", relative_error=0.02, seed=3)
    hours = np.array([720.0] * 121 + [540.0])
    unavailable = hours - (1.0 - np.exp(-rate * hours)) / rate
    exact = unavailable.sum() / hours.sum()
    assert found.reached
    assert found.probability.std_error / exact < 0.025
    assert abs(found.probability.value - exact) <= 4.5 * found.probability.std_error
    assert set(found.modes) == {"actuator failed"}


YEAR = 8760.0  # h
WIRED = """
sensors.{name} = {{kind = "wired", reach_chance = 1, reach_area = "1 mm2", failure_rate = \
"{rate!r} per h", supervised = {supervised}, attempt_success = 1, attempts = 1, \
battery_life = {battery}}}
"""


class Rare(NamedTuple):
    """A system that can fail in one way only, and the exact share of leaks that meet it failed."""

    changes: str
    exact: float
    mode: str


def mean_of_exp(x: float) -> float:
    """Return the mean of e^-xt over t from 0 to 1."""
    return -math.expm1(-x) / x


def sensors(number: int, yearly: float, votes: int = 1, beta: float = 0.0) -> Rare:
    """Like sensors that fail at random and are tested, and the dead replaced, once a year.

    At time t after a test each is dead with q = 1 - e^-at, all of them by common cause with
    1 - e^-bt (IEC 61508-6 annex D: a = (1 - beta) rate, b = beta rate). The system is blind when
    more than number - votes are dead; powers of q are multiplied out and integrated.
    """
    changes = "".join(
        WIRED.format(name=name, rate=yearly / YEAR, supervised="false", battery='"never"')
        for name in "abcd"[:number]
    )
    changes += f'detection = {{votes = {votes}, common_cause = {beta}, test_interval = "8760 h"}}\n'
    own, common = yearly * (1.0 - beta), yearly * beta
    seeing = 0.0
    for alive in range(votes, number + 1):
        # comb(n, alive) (1 - q)^alive q^dead, with q^dead = sum over j of comb(dead, j) (-1)^j ...
        dead = number - alive
        for j in range(dead + 1):
            sign = (-1) ** j * math.comb(dead, j) * math.comb(number, alive)
            seeing += sign * mean_of_exp(own * (alive + j) + common)
    return Rare(changes, 1.0 - seeing, "sensor dead")


def battery(life_years: float, outages: float, hours: float, years: float = 10.0) -> Rare:
    """A battery that is never looked after, of exponential life, behind mains that fail.

    Mains are out at t with a (1 - e^-ct), a = r / c, c = r + m: a two-state Markov process that
    starts with mains, failing at r and mended at m; the battery is dead with 1 - e^-lt. Both do
    not know of each other.
    """
    fail, mend = outages / YEAR, 1.0 / hours
    both, life, end = fail + mend, 1.0 / (life_years * YEAR), years * YEAR
    exact = fail / both
    exact *= (
        1.0 - mean_of_exp(life * end) - mean_of_exp(both * end) + mean_of_exp((both + life) * end)
    )
    changes = f"""
    mains = {{outage_rate = "{fail!r} per h", outage_duration = {{mean = "{hours!r} h"}}}}
    battery = {{fitted = true, voltage = "12 V", resistance = "0 ohm", usable = 1, \
capacity = "1e9 Wh", fade = "0 % per year", life = {{mean = "{life_years!r} years"}}, \
change = "never", test = "never"}}
    policies.close_on_power_loss = false
    """
    return Rare(changes, exact, "no power")


RARE_PARTS = {
    "a pair of sensors": sensors(2, 0.0545),
    "a very reliable pair": sensors(2, 0.001),
    "a pair that fails often": sensors(2, 0.8),
    "two of three": sensors(3, 0.01, votes=2),
    "three of four": sensors(4, 0.01, votes=3),
    "a pair with common cause": sensors(2, 0.01, beta=0.1),
    "one sensor": sensors(1, 0.001),
    "a battery": battery(30.0, 4.0, 100.0),
    "a good battery behind good mains": battery(1000.0, 0.1, 10.0),
    "a good battery behind bad mains": battery(3000.0, 20.0, 1.0),
}


@pytest.mark.parametrize("name", RARE_PARTS)
def test_dead_parts_have_their_exact_probability(name):
    rare = RARE_PARTS[name]
    found = failure_on_demand(perfect(rare.changes), "0", relative_error=0.02, seed=5)
    assert found.reached
    assert set(found.modes) == {rare.mode}
    assert found.probability.std_error <= 0.025 * rare.exact
    assert abs(found.probability.value - rare.exact) <= TOLERANCE * found.probability.std_error


@pytest.mark.parametrize(
    ("rare", "most"), [(sensors(2, 0.0545), 10_000), (battery(30.0, 4.0, 100.0), 25_000)]
)
def test_one_percent_takes_few_histories(rare, most):
    """Without aim these took 703,744 and 93,248 histories."""
    found = failure_on_demand(perfect(rare.changes), "0", relative_error=0.01, most=most)
    assert found.reached


def test_intervals_hold_the_truth_as_often_as_they_say():
    """95 % intervals of 40 runs each: 35 or more hold it, or chance played 1 in 60."""
    for name in ("a pair of sensors", "a good battery behind good mains"):
        rare = RARE_PARTS[name]
        scenario = perfect(rare.changes)
        runs = [
            failure_on_demand(scenario, "0", relative_error=0.1, seed=seed).probability
            for seed in range(100, 140)
        ]
        assert sum(run.low <= rare.exact <= run.high for run in runs) >= 35
        mean, error = mean_and_error(run.value for run in runs)
        assert abs(mean - rare.exact) <= TOLERANCE * error


#: Everything that histories are aimed at, where it fails often: sensors with all kinds of battery,
#: replaced when they are known to be dead, or tested; common cause; a battery that is tested.
BUSY = (
    "".join(
        WIRED.format(name=name, rate=0.3 / YEAR, supervised="true", battery=life)
        for name, life in (
            ("a", '{median = "3 years", spread = 1.5}'),
            ("b", '{life = "4 years", shape = 3}'),
            ("c", '"1.5 years"'),
        )
    )
    + """
detection = {votes = 1, common_cause = 0.1, test_interval = "200 days", \
replacement = {mean = "40 days"}}
mains = {outage_rate = "6 per year", outage_duration = {mean = "4 days"}, spell_factor = 3}
weather.spell_rate = "2 per year"
battery = {fitted = true, capacity = "1e9 Wh", life = {life = "3 years", shape = 2}, \
change = "2 years", test = "90 days"}
actuator = {failure_rate = "0.1 per year", repair = "20 days"}
exercise.interval = "100 days"
valve.breakaway = {median = "4 N*m", spread = 1.6}
"""
)


@pytest.mark.parametrize("votes", [1, 2])
@pytest.mark.parametrize("supervised", ["true", "false"])
def test_aim_changes_no_expectation_where_much_fails(votes, supervised):
    changes = BUSY.replace("supervised = true", f"supervised = {supervised}")
    changes = changes.replace("votes = 1", f"votes = {votes}")
    params = perfect(changes).parameters()
    plain = tally_of(Setup.of(params, 31, probes=16), 3000)
    aimed = tally_of(replace(Setup.of(params, 32, probes=8), extra=24, tilt=True), 3000)
    figures = [T.LEAKS, T.FAILED, *range(T.FIRST_MODE, T.FIRST_REPAIR)]
    figures = [f for f in figures if 0.0 < plain.mean(0, f).relative_error < 0.15]
    assert len(figures) >= 5
    for figure in figures:
        assert agree(plain.mean(0, figure), aimed.mean(0, figure)), figure


def test_weights_are_at_most_two_and_their_mean_is_one():
    """The weight at the end is a likelihood ratio: its mean over the mixture is one."""
    params = perfect(BUSY + 'leaks.hose.rate = "200 per year"').parameters()
    params["service_life"] = 3.0 * L.YEAR
    setup = replace(Setup.of(params, 8, probes=2), extra=8, tilt=True)
    weights = []
    for chunk in run_chunks(setup, 0, 4096):
        natural = chunk.natural
        first = np.unique(natural["history"], return_index=True)[1]
        assert len(first) == chunk.summary.shape[1]
        weights.append(natural["weight"][first].reshape(-1, BLOCK).mean(axis=1))
        assert natural["weight"].min() > 0.0
        assert natural["weight"].max() <= 2.0 * (1.0 + 1e-12)
    mean, error = mean_and_error(np.concatenate(weights))
    assert abs(mean - 1.0) <= TOLERANCE * error
    assert error < 0.02


def test_wrong_weights_of_extra_probes_would_be_seen():
    """The negative control."""
    rare = RARE_PARTS["a pair of sensors"]
    params = perfect(rare.changes).parameters()
    tally = Tally(1, 10.0)
    setup = replace(Setup.of(params, 3, probes=4), extra=128, tilt=True)
    for chunk in run_chunks(setup, 0, 4096):
        chunk.rows["weight"][:, :, 4:] *= 1.15  # those of extra probes, by 15 %
        tally.add(chunk)
    found = tally.share(0, T.FAILED)
    assert abs(found.value - rare.exact) > TOLERANCE * found.std_error


def test_both_engines_agree_on_histories_that_look_harder(cottage):
    """To the last bit: rows, weights, natural leaks and counts."""
    for params in (perfect(BUSY).parameters(), leaking(cottage.parameters()[-2:], 1.0)):
        params["service_life"] = 3.0 * L.YEAR
        setup = replace(Setup.of(params, 9, probes=3), extra=12, tilt=True)
        batch = run_chunk(setup, 0, 12)
        trace = run_chunk(replace(setup, engine="trace"), 0, 12)
        assert (batch.rows["probe"] >= 3).sum() > 20
        assert len(np.unique(batch.rows["weight"])) > 50
        assert differing(batch, trace) == []


def test_pfd_is_the_same_on_both_engines():
    scenario = perfect(RARE_PARTS["two of three"].changes)
    one, other = (
        failure_on_demand(scenario, "0", seed=4, most=96, engine=engine)
        for engine in ("batch", "trace")
    )
    assert one.probability.value > 0.0
    assert one.as_dict() == other.as_dict()


def test_a_design_that_never_fails_gets_an_upper_bound():
    found = failure_on_demand(perfect(""), "0", relative_error=0.05)
    assert found.histories == MOST_UNSEEN
    assert not found.reached
    assert found.probability.value == 0.0
    assert found.modes == {}
    # One half of the histories runs as ever: 3 / n by the rule of three, from half as many.
    assert found.probability.high == pytest.approx(6.0 / MOST_UNSEEN)
    assert found.as_dict()["precision_reached"] is False


def test_a_design_without_leaks_is_refused():
    with pytest.raises(ModelError, match="no leak ever starts"):
        failure_on_demand(perfect('leaks.hose.rate = "0 per year"'), "0")


def test_the_modes_add_up(cottage):
    found = failure_on_demand(cottage, cottage.designs[-1], relative_error=0.2, seed=0)
    assert sum(e.value for e in found.modes.values()) == pytest.approx(found.probability.value)
    assert list(found.table().index)[-1] == "all"


def test_bad_input(cottage):
    with pytest.raises(ScenarioError, match="no such design"):
        failure_on_demand(cottage, "nothing")
    for wrong, words in (
        ({"relative_error": 0.0}, "relative_error is out of range"),
        ({"seed": -1}, "seed is out of range"),
        ({"seed": 2**64}, "seed is out of range"),
        ({"seed": 1.5}, "seed is not a whole number"),
        ({"workers": 0}, "workers is out of range"),
        ({"most": 0}, "most is out of range"),
    ):
        with pytest.raises(ModelError, match=words):
            failure_on_demand(cottage, cottage.designs[1], **wrong)
