"""Designs: sparse changes, inheritance, stable indices, a stable hash."""

import math
import random
import re

import numpy as np
import pytest

from shutoffsim.errors import ScenarioError
from shutoffsim.model import layout
from shutoffsim.scenario import loads

BASE = """
[zones.kitchen]
[zones.bath]
[leaks.hose]
kind = "appliance hose"
zone = "kitchen"
[leaks.cistern]
kind = "cistern supply"
zone = "bath"
[sensors.a]
zone = "kitchen"
[sensors.b]
zone = "bath"
"""


def record(text, index=0):
    return loads(BASE + text).parameters()[index]


def test_a_design_changes_only_what_it_names():
    p = loads(BASE + "[designs.one]\n[designs.two]\nbattery.fitted = true").parameters()
    different = [n for n in p.dtype.names if not np.array_equal(p[0][n], p[1][n], equal_nan=True)]
    assert different == ["battery_fitted"]


def test_like_takes_over_the_changes_of_another_design():
    scenario = loads(
        BASE
        + """
        [designs.first]
        battery.fitted = true
        exercise.interval = "10 days"
        [designs.third]
        like = "second"
        exercise.interval = "30 days"
        [designs.second]
        like = "first"
        valve.age = "1 year"
        """
    )
    p = scenario.parameters(["third"])[0]
    assert p.battery_fitted == 1
    assert p.valve_age == pytest.approx(layout.YEAR)
    assert p.exercise_interval == 30 * 86400.0
    assert scenario.designs == ("first", "third", "second")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[designs.a]\nlike = "a"', "in a circle"),
        (
            '[designs.a]\nlike = "b"\n[designs.b]\nlike = "c"\n[designs.c]\nlike = "a"',
            "in a circle",
        ),
        ('[designs.abc]\n[designs.b]\nlike = "abd"', 'did you mean "abc"'),
        ("[designs.a]\nlike = 5", "no such design"),
        ("designs = 5", "must be a table"),
        ("[designs]\na = 5", "a design must be a table"),
        ('[designs.a]\nservice_life = "2 years"', "service_life cannot differ"),
        ('[designs.a]\ncurrency = "USD"', "currency cannot differ"),
        ("[designs.a]\ndescription = 5", "not a text"),
    ],
)
def test_designs_that_cannot_be(text, message):
    text = text + "\n" + BASE if text.startswith("designs =") else BASE + text
    with pytest.raises(ScenarioError, match=re.escape(message)):
        loads(text)


def test_an_error_in_an_inherited_change_names_the_design_it_stands_in():
    with pytest.raises(ScenarioError) as caught:
        loads(BASE + '[designs.a]\nvalve.age = "3 V"\n[designs.b]\nlike = "a"')
    assert [p.key for p in caught.value.problems] == ["designs.a.valve.age"]


def test_a_contradiction_names_the_design_that_causes_it():
    with pytest.raises(ScenarioError) as caught:
        loads(BASE + '[designs.a]\n[designs.b]\nvalve.type = "multi-turn stop valve"')
    assert [p.key for p in caught.value.problems] == ["designs.b.valve.type"]


def test_a_distribution_is_replaced_whole():
    p = record(
        """
        [valve]
        breakaway = {median = "4 N*m", spread = 2}
        [designs.a]
        valve.breakaway = {low = "1 N*m", high = "2 N*m", shape = "even"}
        """
    )
    assert list(p.valve_breakaway) == [1.0, 1.0, 2.0, 0.0]


def test_one_alternative_displaces_the_other():
    p = record('[designs.a]\nleaks.hose.rate = "0.01 per year"\nleaks.hose.hole_area = "3 mm2"')
    i = loads(BASE + "[designs.a]").source_names.index("hose")
    assert p.source_rate[i] == pytest.approx(0.01 / layout.YEAR)
    assert p.source_life_shape[i] == 0.0
    assert list(p.source_hole_area[i]) == pytest.approx([0.0, 3e-6, 0.0, 0.0])
    assert list(p.source_open_end_flow[i]) == [0.0, 0.0, 0.0, 0.0]


def test_a_design_may_replace_the_measured_flow_by_pipe_data():
    text = BASE + '[dwelling]\nfull_bore_flow = "20 L/min"\n[designs.a]\n'
    text += 'dwelling.supply_pipe.bore = "13.6 mm"'
    assert loads(text).parameters()[0].dwelling_full_bore_flow * 60000 != pytest.approx(20)


def test_a_design_may_change_a_part_of_the_pipe_data():
    """What is stated of the pipe in the common part stays; it is one section, not two."""
    pipe = '[dwelling.supply_pipe]\nlength = "20 m"\nfittings_k = 40\n'
    scenario = loads(BASE + pipe + '[designs.a]\ndwelling.supply_pipe.bore = "13.6 mm"')
    assert scenario.design("a").system.dwelling.supply_pipe.fittings_k == 40.0


def test_indices_are_the_same_in_all_designs():
    scenario = loads(
        BASE
        + """
        [designs.one]
        leaks.hose.fitted = false
        sensors.a.fitted = false
        [designs.two]
        [designs.two.leaks.another]
        kind = "pipe joint"
        zone = "bath"
        [designs.two.zones.attic]
        area = "3 m2"
        """
    )
    assert scenario.source_names == ("another", "cistern", "hose")
    assert scenario.sensor_names == ("a", "b")
    assert scenario.zone_names == ("attic", "bath", "kitchen")
    one, two = scenario.parameters()
    assert one.n_sources == two.n_sources == 3
    assert one.source_rate[0] == one.source_rate[2] == one.source_life_shape[2] == 0.0
    assert two.source_rate[0] > 0
    assert two.source_life_shape[2] > 0
    assert one.source_rate[1] == two.source_rate[1] > 0
    assert one.sensor_reach_chance[0] == 0.0 < two.sensor_reach_chance[0]
    assert one.sensor_battery_life[0][1] == math.inf
    assert two.zone_area[0] == 3.0
    assert list(one.source_zone[:3]) == [0, 1, 0]
    assert two.source_zone[2] == 2


def test_an_absent_source_and_sensor_do_nothing_but_are_sound_numbers():
    one = loads(BASE + "[designs.one]\nleaks.hose.fitted = false\n").parameters()[0]
    for name, kind, *_ in layout.SOURCE_FIELDS:
        value = one[f"source_{name}"][1]
        assert not np.any(np.isnan(value)), name
        if kind == layout.DIST:
            assert value[0] in range(6)


def test_parameters_of_chosen_designs(short):
    assert len(short.parameters()) == 3
    assert list(short.parameters(["battery", "clamp"]).battery_fitted) == [1, 0]
    with pytest.raises(ScenarioError, match="no such design"):
        short.parameters(["clmp"])


# --- hash -------------------------------------------------------------------------------------


def shuffled(text, seed):
    """The same tables in another order, with comments and spaces."""
    heading, *tables = re.split(r"(?m)^(?=\[)", text.strip())
    designs = [t for t in tables if t.startswith("[designs")]
    others = [t for t in tables if not t.startswith("[designs")]
    random.Random(seed).shuffle(others)
    return "# hello\n" + heading + "\n\n  # more\n".join([*others, *designs])


def test_hash_ignores_order_comments_and_units(short, short_text):
    for seed in range(5):
        again = loads(shuffled(short_text, seed))
        assert again.hash == short.hash
        assert again.parameters().tobytes() == short.parameters().tobytes()
    assert loads(short_text.replace('"10 m2"', '"100000 cm2"')).hash == short.hash
    assert re.fullmatch("[0-9a-f]{16}", short.hash)


def test_hash_notices_every_change(short, short_text):
    changes = [
        short_text.replace("10 m2", "10.1 m2"),
        short_text.replace('name = "short"', 'name = "long"'),
        short_text.replace("battery.fitted = true", "battery.fitted = false"),
        short_text.replace("[designs.clamp]", "[designs.clamps]").replace('"clamp"', '"clamps"'),
        short_text + 'valve.age = "15.01 years"',
        'currency = "CHF"' + short_text,
    ]
    hashes = {loads(text).hash for text in changes} | {short.hash}
    assert len(hashes) == len(changes) + 1


def test_stating_a_default_changes_nothing(short, short_text):
    stated = loads(short_text + '[dwelling]\nfloor_area = "80 m2"\n')
    assert stated.hash == short.hash


def test_a_scenario_cannot_be_changed(short):
    with pytest.raises(AttributeError):
        short.name = "other"
    with pytest.raises(ValueError, match="frozen"):
        short.design("clamp").system.valve.age = 0.0
