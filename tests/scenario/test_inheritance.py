"""A design that chooses otherwise keeps nothing in silence of what was stated before."""

from __future__ import annotations

import pytest

from shutoffsim.errors import ScenarioError
from shutoffsim.scenario import loads

HEAD = """
[zones.kitchen]
[leaks.hose]
kind = "appliance hose"
[sensors.floor]
"""


def problems(text):
    with pytest.raises(ScenarioError) as caught:
        loads(HEAD + text)
    return caught.value.problems


CLASS = """
[actuator]
class = "30 kgf*cm class"
stall_torque = "29 kgf*cm"
ambient = "30 degC"
[designs.one]
[designs.two]
actuator.class = "60 kgf*cm class"
"""


def test_a_class_does_not_keep_the_torque_of_another():
    (problem,) = problems(CLASS)
    assert problem.key == "designs.two.actuator.class"
    assert "stall_torque = 29 kgf*cm" in problem.found
    assert "“60 kgf*cm class”" in problem.found
    assert "“30 kgf*cm class”" in problem.found
    assert "ambient" not in str(problem), "the class does not give it"
    assert "drop = ['actuator.stall_torque']" in problem.hint


def test_what_the_error_says_to_do_can_be_done():
    hint = problems(CLASS)[0].hint
    drop = hint[hint.index("drop =") :]
    dropped = loads(f"{HEAD}{CLASS}{drop}").design("two")
    assert dropped.entries["actuator", "stall_torque"].written == "60 kgf*cm"
    assert dropped.entries["actuator", "stall_torque"].stated_in == ""
    assert dropped.system.actuator.ambient == 30.0
    repeated = loads(f'{HEAD}{CLASS}actuator.stall_torque = "29 kgf*cm"').design("two")
    assert repeated.entries["actuator", "stall_torque"].stated_in == "two"
    assert repeated.system.actuator.stall_torque < dropped.system.actuator.stall_torque / 2


@pytest.mark.parametrize(
    ("base", "change", "left"),
    [
        ("mount = {kind = 'screwed, metal', fasteners = 4}",
         "mount.kind = 'quick release, metal'", ["mount.fasteners"]),
        ("mount.fasteners = 4", "mount.kind = 'quick release, metal'", ["mount.fasteners"]),
        ("valve.breakaway = '5 N*m'\nvalve.turns = '0.25 turns'\nvalve.age = '9 years'",
         "valve.type = 'lever ball DN25'", ["valve.breakaway", "valve.turns"]),
        ("battery.life = {life = '5 years', shape = 2}", "battery.chemistry = 'lead-acid'",
         ["battery.life"]),
        ("people.week.saturday = 'home'\npeople.trip = '3 days'", "people.pattern = 'retired'",
         ["people.week.saturday", "people.trip"]),
        ("people.week.friday = 'home'", "people.pattern = 'retired'\npeople.week.sunday = 'out'",
         ["people.week.friday"]),
        ("override.hand_torque = '8 N*m'", "override.grip = 'wheel'", ["override.hand_torque"]),
        ("sensors.floor.battery_life = '4 years'", "sensors.floor.kind = 'wired'",
         ["sensors.floor.battery_life"]),
        ("leaks.hose.hidden = 3\nleaks.hose.age = '3 years'", "leaks.hose.kind = 'pipe joint'",
         ["leaks.hose.hidden"]),
        # An alternative of what the kind gives belongs to it as well.
        ("leaks.hose.hole_area = '3 mm2'", "leaks.hose.kind = 'pipe joint'",
         ["leaks.hose.hole_area"]),
        ("motorised_valve.drive.stall_torque = '5 N*m'",
         "motorised_valve.drive.class = 'geared motor, 5 N*m'",
         ["motorised_valve.drive.stall_torque"]),
    ],
)  # fmt: skip
def test_every_choice_that_gives_values(base, change, left):
    text = f"[designs.first]\n{base}\n[designs.second]\nlike = 'first'\n{change}\n"
    (problem,) = problems(text)
    assert problem.key == f"designs.second.{change.split(' = ')[0]}"
    told = problem.hint.partition("drop = ")[2]
    assert told == "[" + ", ".join(f"'{key}'" for key in left) + "]"
    assert loads(f"{HEAD}{text}drop = {told}\n").designs == ("first", "second")


@pytest.mark.parametrize(
    "designs",
    [
        "[designs.a]\nactuator.class = '30 kgf*cm class'",  # the same choice
        "[designs.a]\nactuator.retries = 1",  # another key
        "[designs.a]\nactuator = {class = '60 kgf*cm class', stall_torque = '50 kgf*cm'}",
        "[designs.a]\nactuator.stall_torque = '28 kgf*cm'\n"
        "[designs.b]\nlike = 'a'\nactuator.ambient = '20 degC'",
    ],
)
def test_what_is_no_silent_inheritance(designs):
    base = "[actuator]\nclass = '30 kgf*cm class'\nstall_torque = '29 kgf*cm'\n"
    assert loads(HEAD + base + designs).designs[0] == "a"


def test_an_alternative_that_is_displaced_is_not_left_over():
    text = "[designs.a]\nleaks.hose.rate = '0.01 per year'\n"
    text += "[designs.b]\nlike = 'a'\nleaks.hose = {kind = 'pipe joint', life = '40 years'}\n"
    assert loads(HEAD + text).design("b").system.leaks["hose"].rate is None


def test_values_of_a_design_that_another_is_like():
    text = """
    [designs.a]
    actuator = {class = "30 kgf*cm class", stall_torque = "29 kgf*cm"}
    [designs.b]
    like = "a"
    actuator.class = "60 kgf*cm class"
    [designs.c]
    like = "b"
    """
    (problem,) = problems(text)
    assert problem.key == "designs.b.actuator.class"
    scenario = loads(
        HEAD
        + text.replace('"60 kgf*cm class"', '"60 kgf*cm class"\ndrop = ["actuator.stall_torque"]')
    )
    of_c = scenario.design("c").entries
    assert of_c["actuator", "class"].stated_in == "b"
    assert of_c["actuator", "stall_torque"].stated_in == ""
    assert scenario.design("a").entries["actuator", "stall_torque"].stated_in == "a"


@pytest.mark.parametrize(
    ("drop", "words"),
    [
        ("5", "not a list of keys"),
        ("[5]", "not a list of keys"),
        ('["valve.age"]', "nothing to drop"),
        ('["valve.aeg"]', "nothing to drop"),
        ('["valve..age"]', "nothing to drop"),
        ('["actuator"]', "nothing to drop"),
    ],
)
def test_what_cannot_be_dropped(drop, words):
    text = f"[actuator]\nstall_torque = '3 N*m'\n[designs.a]\ndrop = {drop}\n"
    (problem,) = problems(text)
    assert problem.key == "designs.a.drop"
    assert words in problem.message


def test_sections_are_dropped_value_by_value():
    text = "[dwelling.supply_pipe]\nlength = '20 m'\n[designs.a]\ndrop = ['dwelling.supply_pipe']\n"
    (problem,) = problems(text)
    assert "one by one, such as dwelling.supply_pipe.length" in problem.hint
    loads(HEAD + text.replace("supply_pipe']", "supply_pipe.length']"))


@pytest.mark.parametrize("key", ["name", "currency"])
def test_a_heading_in_a_design_is_one_problem(key):
    (problem,) = problems(f"[designs.a]\n{key} = 'USD'\n")
    assert problem.message == f"{key} cannot differ between designs"


def test_a_mistyped_key_of_a_design_or_the_top_finds_the_one_meant():
    (problem,) = problems("[designs.a]\ndropp = ['valve.age']\n")
    assert problem.hint == 'did you mean "drop"?'
    with pytest.raises(ScenarioError, match='did you mean "currency"'):
        loads("curency = 'USD'\n" + HEAD)


def test_an_own_value_takes_the_place_of_what_is_dropped():
    text = "[valve]\nage = '3 years'\n[designs.a]\ndrop = ['valve.age']\nvalve.age = '1 year'\n"
    assert loads(HEAD + text).design("a").entries["valve", "age"].written == "1 year"


def test_a_variant_in_python_is_refused_alike():
    scenario = loads(HEAD + CLASS.replace("60 kgf", "30 kgf"))
    with pytest.raises(ScenarioError, match="would stay") as caught:
        scenario.with_values("two", {"actuator.class": "60 kgf*cm class"})
    assert caught.value.problems[0].key == "actuator.class"
    assert "None" in caught.value.problems[0].hint
    free = {"actuator.class": "60 kgf*cm class", "actuator.stall_torque": None}
    made = scenario.with_values("two", free).design("two").entries
    assert made["actuator", "stall_torque"].written == "60 kgf*cm"
    with pytest.raises(ScenarioError, match="a part of another key"):
        scenario.with_values("two", {"valve": {"age": "1 year"}, "valve.age": "2 years"})
