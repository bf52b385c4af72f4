"""Values and names put into the words of the pages."""

from __future__ import annotations

import pytest

import shutoffsim
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.summary import dependence, facts
from shutoffsim.report.summary.letters import breakable, clean, listed, short
from shutoffsim.report.summary.values import Values
from shutoffsim.study.assessment.result import UsedValue


def values_of(changes: str, kind: str = "clamped actuator") -> Values:
    """Values of a design with some changes."""
    text = f"""
[leaks."sink, left"]
kind = "appliance hose"
[sensors.a]
zone = "dwelling"
[designs.one]
element.kind = "{kind}"
{changes}
"""
    return Values(shutoffsim.loads(text).design("one").entries.values())


@pytest.mark.parametrize(
    ("written", "dimension", "told"),
    [
        ("140 m2", "area", "140 m²"),
        ({"median": "3.2 bar", "spread": 1.15}, "pressure", "about 3.2 bar"),
        ({"low": "2 L", "high": "20 L"}, "volume", "2 to 20 L"),
        ({"life": "15.4 years", "shape": 2}, "time", "about 15.4 years"),
        ("60 kgf*cm", "torque", "60 kgf·cm"),
        ({"low": "1 s", "high": "4 min"}, "time", "1 s to 4 min"),
        ("clinic hours", "", "clinic hours"),
        (0.4, "share", "0.4"),
    ],
)
def test_values_in_words(written, dimension, told):
    row = UsedValue(("a", "b"), written, dimension, "", "", "", (), ())
    assert Values([row]).text("a.b") == told


def test_entries_by_name():
    assert values_of("").each("leaks", "kind") == {"sink, left": "appliance hose"}


@pytest.mark.parametrize(
    ("kind", "changes", "words"),
    [
        ("clamped actuator", "", "during an outage the system cannot close the valve"),
        ("clamped actuator", "battery.fitted = true", "During an outage it runs on a battery"),
        ("alarm only", "", "during an outage the system cannot warn"),
        ("solenoid, powered open", "", "Without mains the valve shuts at once"),
        (
            "clamped actuator",
            "controller.decides_via_gateway = true",
            "An alarm passes through the gateway",
        ),
        ("none", "", "Nothing fitted needs power."),
    ],
)
def test_dependence_on_power(kind, changes, words):
    values = values_of(changes, kind)
    assert words in " ".join(dependence.on_power(values, {}, leaks=True))


def test_share_without_power_is_told_only_where_leaks_were_seen():
    seen = Estimate(0.02, 0.001, 0.018, 0.022)
    values = values_of("")
    assert "2.0 ± 0.2 % of leaks" in " ".join(
        dependence.on_power(values, {"no power": seen}, leaks=True)
    )
    quiet = "no leak was left open for lack of power"
    assert quiet in " ".join(dependence.on_power(values, {}, leaks=True))
    assert quiet not in " ".join(dependence.on_power(values, {}, leaks=False))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ('mount.kind = "screwed, metal"', "screws must be undone"),
        ('mount.kind = "quick release, metal"', "The handle is freed from the actuator in"),
        (
            "policies.close_when_away = true\npolicies.away_mode = 0.9",
            "probability 0.9 on each trip",
        ),
    ],
)
def test_dependence_on_people(changes, words):
    assert words in " ".join(dependence.on_people(values_of(changes), None))


@pytest.mark.parametrize(
    ("changes", "label", "words"),
    [
        ("", "Power", "no battery"),
        ("flow_rule.fitted = true", "Flow rule", "in one use"),
        ("policies.close_on_power_loss = true", "Closes on", "loss of power"),
        ("siren.fitted = false\ngateway.fitted = false", "Warns by", "nothing"),
        ("sensors.a.fitted = false", "Closing element", "clamped onto the existing valve"),
    ],
)
def test_protection(changes, label, words):
    rows = dict(facts.protection_rows(values_of(changes)))
    assert words in rows[label]


def test_every_design_of_every_scenario_is_described(scenario):
    for name in scenario.designs:
        values = Values(scenario.design(name).entries.values())
        told = [*facts.site_rows(values), *facts.protection_rows(values)]
        assert {"Dwelling", "Leak sources", "Closing element"} <= {label for label, _ in told}
        for label, words in told:
            assert words.strip() == words, label
            assert "None" not in words
            assert ", ," not in words
            assert "  " not in words


def test_letters_are_cleaned_and_cut():
    assert clean("a\tb\x07\u202ec\n") == "a bc"
    assert short("x" * 90, 80) == "x" * 79 + "…"
    assert short("漏" * 50, 20) == "漏" * 9 + "…"
    assert short("שלום", 10) == "\N{FIRST STRONG ISOLATE}שלום\N{POP DIRECTIONAL ISOLATE}"
    assert breakable("short words") == "short words"
    assert "\N{ZERO WIDTH SPACE}" in breakable("x" * 30)
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed(["a"]) == "a"
