"""A variant made without a text is what a file with the same values gives, faults included."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

import shutoffsim
from shutoffsim.errors import ScenarioError
from shutoffsim.scenario import entries, loads, starter, variants
from shutoffsim.scenario.distributions import Distribution

SCENARIOS = sorted((Path(__file__).resolve().parents[2] / "scenarios").glob("*.toml"))

#: For each key, what is put there: values alone, and what they have to do with each other.
CHOICES = {
    "valve.age": ["0 years", "40 years", "3 V"],
    "valve.type": ["multi-turn stop valve", "lever ball DN20", "ball"],
    "valve.breakaway": ["4 N*m", {"median": "6 N*m", "spread": 1.5}, {"median": "6 N*m"}],
    "dwelling.pressure": ["2 bar", {"low": "2 bar", "high": "4 bar", "shape": "even"}],
    "dwelling.floor_area": ["300 m2", "5 m2"],
    "dwelling.units_below": [0, 3, 2.5],
    "dwelling.full_bore_flow": ["20 L/min"],
    "dwelling.supply_pipe.length": ["12 m"],
    "people.pattern": ["retired", "working family"],
    "people.trips": [True, False],
    "people.start_away": [0.25],
    "people.week.saturday": [{"wake": "07:00", "sleep": "23:00"}],
    "battery.capacity": ["2.6 Ah", "20 Wh"],
    "battery.voltage": ["7.4 V", "12 V"],
    "battery.fitted": [True, False],
    "battery.chemistry": ["lithium-ion", "lead-acid"],
    "controller.brown_out": ["4 V", "30 V"],
    "costs.purchase": ["100 EUR", "100 GBP", 100],
    "element.kind": ["none", "clamped actuator", "motorised valve"],
    "damage.wet_start": ["1 day", "9 days"],
    "exercise.interval": ["30 days", "never"],
    "mount.fasteners": [0, 6],
    "detection.votes": [1, 2],
    "valve.colour": ["red"],
}


def toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + "}"
    return str(value).lower() if isinstance(value, bool) else repr(value).replace("'", '"')


def in_file(text, design, changes):
    """The same values written into the file, in a design that is like the other."""
    lines = "\n".join(f"{key} = {toml(value)}" for key, value in changes.items())
    return loads(f'{text}\n[designs.variant]\nlike = "{design}"\n{lines}\n')


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_a_variant_is_what_a_file_gives(path):
    text = path.read_text()
    scenario = loads(text)
    draw = random.Random(7)
    sound = 0
    for _ in range(16):
        design = draw.choice(scenario.designs)
        keys = draw.sample(sorted(CHOICES), draw.choice((1, 1, 2, 3)))
        changes = {key: draw.choice(CHOICES[key]) for key in keys}
        try:
            wanted = in_file(text, design, changes)
        except ScenarioError as error:
            with pytest.raises(ScenarioError) as caught:
                scenario.with_values(design, changes, si=False)
            # how to repeat or drop what belongs to another kind differs between file and call
            told = {(p.message, p.found, p.expected) for p in error.problems}
            assert {(p.message, p.found, p.expected) for p in caught.value.problems} == told
            keys = {str(p.key).removeprefix("designs.variant.") for p in error.problems}
            assert {p.key for p in caught.value.problems} == keys
            continue
        sound += 1
        made = scenario.with_values(design, changes, si=False)
        assert made.design(design).system == wanted.design("variant").system
        assert made.parameters([design]).tobytes() == wanted.parameters(["variant"]).tobytes()
        mine, theirs = (
            {path: (e.written, e.value, e.default) for path, e in each.resolved[at].entries.items()}
            for each, at in ((made, made.designs.index(design)), (wanted, -1))
        )
        assert mine == theirs
    assert 4 < sound < 16


def test_every_value_that_is_given_back_changes_nothing():
    """Each value as an SI number or a distribution, through the short way and the long way."""
    scenario = shutoffsim.load(SCENARIOS[1])
    name = scenario.designs[-1]
    told = {
        path: entry.value
        for path, entry in scenario.design(name).entries.items()
        if entry.dimension and path != ("service_life",)
    }
    assert len(told) > 150
    again = scenario.with_values(name, told)
    assert again.hash == scenario.hash
    longer = scenario.with_values(name, {**told, ("valve", "type"): "lever ball DN15"})
    assert longer.hash == scenario.hash
    written = {p: e.written for p, e in scenario.design(name).entries.items()}
    assert set(written) == set(again.design(name).entries)


def test_numbers_are_si_and_are_shown_in_the_units_that_stood_there():
    scenario = loads(starter())
    changes = {
        "valve.age": 3.15576e8,
        "dwelling.pressure": Distribution("uniform", 2e5, 4e5),
        "battery.capacity": 36000.0,
        "damage.fixed_loss": 450,
        "exercise.interval": math.inf,
        "costs.purchase": 120.0,
        "actuator.ambient": 35,
    }
    design = scenario.with_values("plus battery", changes).design("plus battery")
    assert design.system.valve.age == 3.15576e8
    assert design.system.dwelling.pressure == Distribution("uniform", 2e5, 4e5)
    shown = {key: design.entries[tuple(key.split("."))] for key in changes}
    assert {key: entry.written for key, entry in shown.items()} == {
        "valve.age": "10 years",
        "dwelling.pressure": {"low": "2 bar", "high": "4 bar", "shape": "even"},
        "battery.capacity": "10 Wh",
        "damage.fixed_loss": "450 EUR",
        "exercise.interval": "never",
        "costs.purchase": "120 EUR",
        "actuator.ambient": "35 degC",
    }
    assert {entry.stated_in for entry in shown.values()} == {"plus battery"}
    assert {entry.evidence for entry in shown.values()} == {entries.YOURS}


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("valve.age", -1.0, "at least"),
        ("valve.age", math.nan, "not a usable number"),
        ("valve.age", math.inf, "not a usable number"),
        ("valve.age", Distribution("uniform", 1.0, 2.0), "wrong kind"),
        ("valve.breakaway", Distribution("uniform", 2.0, 1.0), "do not fit"),
        ("valve.breakaway", Distribution("normal", 2.0, 1.0), "do not fit"),
        ("valve.breakaway", Distribution("fixed", math.inf), "not a usable number"),
        ("valve.breakaway", Distribution("uniform", 0.0, 1.0), "above 0"),
        ("valve.closing_share", Distribution("lognormal", -1.0, 0.5), "without an upper end"),
        ("battery.capacity", -1.0, "at least 0 Wh"),
        ("damage.fixed_loss", -1.0, "at least 0"),
        ("valve.aeg", 1.0, 'did you mean "age"'),
        ("valve", 1.0, "a table was expected"),
        ("leaks.none.rate", 1e-9, "is missing"),
        ("service_life", 1e8, "cannot differ"),
        ("name", "other", "name cannot differ"),
        ("valve..age", 1.0, "not a key"),
        ((), 1.0, "not a key"),
        (5, 1.0, "not a key"),
    ],
)
def test_what_is_wrong_is_told_by_the_key_that_was_given(key, value, words):
    scenario = loads(starter())
    with pytest.raises(ScenarioError) as caught:
        scenario.with_values("plus battery", {key: value})
    assert words in str(caught.value)
    if key and "not a key" not in words and key != "leaks.none.rate":
        assert any(str(p.key).startswith(str(key)) for p in caught.value.problems)


def test_numbers_are_changed_without_resolving_anew(monkeypatch):
    """What makes a variant cheap; a choice that gives other values does resolve the design."""

    def refuse(*_):
        raise AssertionError("resolved anew")

    scenario = loads(starter())
    monkeypatch.setattr(variants, "make_design", refuse)
    numbers = {"valve.age": 1e8, "dwelling.pressure": 3e5, "leaks.'pipe joints'.rate": 1e-9}
    varied = scenario.with_values("plus battery", numbers).design("plus battery").system
    assert varied.leaks["pipe joints"].rate == 1e-9
    for key, value in (
        ("valve.type", "lever ball DN25"),
        ("leaks.'pipe joints'.life", 1e9),
        ("people.start_away", 0.5),
        ("valve.age", None),
    ):
        with pytest.raises(AssertionError, match="resolved anew"):
            scenario.with_values("plus battery", {key: value})


def test_a_change_in_every_design():
    scenario = loads(starter())
    shorter = scenario.with_values(None, {"service_life": "5 years", "valve.age": 0.0})
    assert shorter.service_life == pytest.approx(scenario.service_life / 2)
    assert {design.system.valve.age for design in shorter.resolved} == {0.0}
    assert scenario.design("plus battery").system.valve.age > 0.0


def test_none_takes_back_what_is_stated():
    scenario = loads(starter())
    varied = scenario.with_values("mains only", {"valve.breakaway": None})
    entry = varied.design("mains only").entries["valve", "breakaway"]
    assert entry.default is not None
    assert entry.stated_in == ""
    assert scenario.design("mains only").entries["valve", "breakaway"].default is None
    assert varied.design("plus battery") is scenario.design("plus battery")


def test_the_last_leak_cannot_be_taken_away():
    text = '[leaks.a]\nkind = "pipe joint"\n[designs.one]\nelement.kind = "none"\n'
    with pytest.raises(ScenarioError, match="there is no leak"):
        loads(text).with_values("one", {"leaks.a.fitted": False})


def test_unknown_design():
    with pytest.raises(ScenarioError, match="no such design"):
        loads(starter()).with_values("other", {"valve.age": 1.0})
