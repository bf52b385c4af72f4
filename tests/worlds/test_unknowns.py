"""What counts as unknown, how far it moves, and what is done where values clash."""

from __future__ import annotations

import numpy as np
import pytest

from shutoffsim.errors import ModelError
from shutoffsim.scenario.checks import check
from shutoffsim.study.assessment.ranges import Scale
from shutoffsim.study.worlds.make import Maker
from shutoffsim.study.worlds.unknowns import Unknown, unknowns


def by_key(scenario):
    found = unknowns(scenario.resolved)
    return found, {each.key: each for each in found}


def test_what_is_stated_or_chosen_is_no_unknown(cottage):
    keys = by_key(cottage)[1]
    assert "override.find_unknown" in keys
    for key in (
        "override.key_holder",  # stated
        "zones.*.area",
        "service_life",
        "exercise.interval",
        "battery.test",
        "supply.voltage",
        "actuator.stall_torque",
        "flow_rule.time_away",
        "mount.kind",
        "repairs.part",
        "costs.discount_rate",
        "insurance.deductible",
    ):
        assert key not in keys


def test_one_entry_of_the_library_is_one_unknown(cottage):
    found, keys = by_key(cottage)
    assert len({each.name for each in found}) == len(found)
    places = [place for each in found for place in each.places]
    assert len(set(places)) == len(places)
    dead = keys["detection.replacement"]
    resolved = enumerate(cottage.resolved)
    automated = {d for d, design in resolved if design.system.element.traits.automated}
    assert {d for d, _path in dead.places} == automated
    radio = [each for each in found if each.key == "sensors.*.attempt_success"]
    assert {name for each in radio for name in each.entries} == {"kitchen", "bathroom", "cellar"}
    assert len(radio) < 3


def test_ends_are_those_of_the_swings_and_the_value_is_the_median(cottage):
    keys = by_key(cottage)[1]
    notice, chance = keys["people.notice_burst"], keys["nuisance.switch_off_chance"]
    assert [notice.at(step) for step in (-1, 0, 1, 2)] == pytest.approx([90, 180, 360, 720])
    odds = [chance.at(step) / (1 - chance.at(step)) for step in (-1, 0, 1)]
    assert odds == pytest.approx([0.5 * odds[1], 0.08 / 0.92, 2.0 * odds[1]])
    spread = keys["notification.spread"]
    assert spread.at(1) == pytest.approx(3.7**1.5)


def test_a_range_without_its_middle_is_refused():
    off = Scale(lambda x, step: x * 2.0 ** (step + 2.0), "off")
    with pytest.raises(ModelError, match="does not hold its value"):
        Unknown("a.b", (), 3.0, off, "3", "assumption", "", ((0, ("a", "b")),))


def test_values_in_use_give_the_designs_as_they_are(scenario):
    designs = scenario.resolved
    found = unknowns(designs)
    made, moved_back = Maker(designs, found).systems(np.zeros(len(found)))
    assert not moved_back
    assert made == [design.system for design in designs]


def test_every_place_takes_its_value(cottage):
    found = unknowns(cottage.resolved)
    made, _ = Maker(cottage.resolved, found).systems(np.full(len(found), 0.5))
    for system in made:
        assert not list(check(system))
    assert made[0].people.notice_burst == pytest.approx(180.0 * 2.0**0.5)
    # A value that one design states is no unknown there.
    assert made[-1].nuisance.rule_rate == cottage.resolved[-1].system.nuisance.rule_rate


def test_what_the_schema_or_another_value_forbids_goes_back(cottage):
    found = unknowns(cottage.resolved)
    number = {each.key: i for i, each in enumerate(found)}
    drawn = np.zeros(len(found))
    drawn[number["mains.spell_factor"]] = 60.0  # 5 x 1.5**60 is beyond what is allowed
    made, moved_back = Maker(cottage.resolved, found).systems(drawn)
    assert moved_back == {number["mains.spell_factor"]}
    assert made[-1].mains.spell_factor == pytest.approx(1e9, rel=1e-3)
    drawn[:] = 0.0
    drawn[number["controller.brown_out"]] = 10.0  # 3.6 V x 1.1**10 is above the supply's 7.4 V
    made, moved_back = Maker(cottage.resolved, found).systems(drawn)
    assert moved_back == {number["controller.brown_out"]}
    for system in made:
        assert not list(check(system))
    weakest = min(system.controller.brown_out for system in made if system.element.traits.closes)
    assert weakest == pytest.approx(7.4, rel=1e-3)


def test_values_that_contradict_each_other_go_back_together(cottage):
    damage = cottage.resolved[0].system.damage
    double = Scale(lambda x, step: x * 2.0**step, "double")
    found = [
        Unknown(f"damage.{key}", (), value, double, "", "", "", ((0, ("damage", key)),))
        for key, value in (("wet_start", damage.wet_start), ("wet_full", damage.wet_full))
    ]
    made, moved_back = Maker(cottage.resolved[:1], found).systems(np.array([6.0, -6.0]))
    assert moved_back == {0, 1}
    (moved,) = (system.damage for system in made)
    assert not list(check(made[0]))
    assert moved.wet_start / damage.wet_start == pytest.approx(damage.wet_full / moved.wet_full)
    assert moved.wet_start == pytest.approx(moved.wet_full, rel=1e-3)
