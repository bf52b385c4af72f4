"""Failure on demand where it is rare: the same answer as plain probing, and exact answers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import shutoffsim
from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.errors import ModelError, ScenarioError
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.tally import Tally
from shutoffsim.study.demand import failure_on_demand

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
[mains]
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
    params = cottage.parameters()[1:3]
    plain = tally_of(Setup.of(params, 21), 1500)
    other = tally_of(replace(Setup.of(params, 22, probes=8), extra=extra, tilt=tilt), 1500)
    figures = [T.LOSS, T.LEAKS, T.DAMAGING, T.FAILED, T.NATURAL_LEAKS]
    # A mode that few histories show has no standard error to rely on.
    modes = range(T.FIRST_MODE, T.FIGURES)
    figures += [f for f in modes if 0.0 < plain.mean(0, f).relative_error < 0.15]
    assert len(figures) >= 8
    for d in range(2):
        for figure in figures:
            assert agree(plain.mean(d, figure), other.mean(d, figure)), (d, figure)


def test_a_wrong_weight_would_be_seen(cottage):
    """The negative control: probes counted with 15 % too much weight."""
    params = cottage.parameters()[1:2]
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


def test_the_modes_add_up(cottage):
    found = failure_on_demand(cottage, cottage.designs[-1], relative_error=0.2, seed=0)
    assert sum(e.value for e in found.modes.values()) == pytest.approx(found.probability.value)
    assert list(found.table().index)[-1] == "all"


def test_bad_input(cottage):
    with pytest.raises(ScenarioError, match="no such design"):
        failure_on_demand(cottage, "nothing")
    with pytest.raises(ModelError, match="relative_error is out of range"):
        failure_on_demand(cottage, cottage.designs[1], relative_error=0.0)
