"""The ledger lists every value with its source, and knows which are weak."""

import pytest

from shutoffsim.errors import ScenarioError
from shutoffsim.scenario import library, loads
from shutoffsim.scenario.entries import COMMON, YOURS
from shutoffsim.scenario.problems import dotted
from shutoffsim.scenario.schema import System
from shutoffsim.scenario.structure import values

EVIDENCE = {*library.EVIDENCE, YOURS}


def test_every_value_of_a_design_is_in_the_ledger(short):
    table = short.ledger("battery")
    assert list(table.columns) == [
        *("key", "value", "unit", "stated_in", "source", "evidence", "drives")
    ]
    design = short.design("battery")
    dumped = design.system.model_dump(by_alias=True, exclude_none=True)
    assert list(table["key"]) == [dotted(path) for path, _ in values(System, dumped)]
    assert table["key"].is_unique
    assert set(table["evidence"]) <= EVIDENCE
    assert (table["source"] != "").all()


def test_yours_and_the_library_are_told_apart(short):
    table = short.ledger("battery").set_index("key")
    assert table.loc["zones.kitchen.area", "source"] == YOURS
    assert table.loc["zones.kitchen.area", "evidence"] == YOURS
    assert tuple(table.loc["zones.kitchen.area", ["value", "unit"]]) == ("10", "m2")
    assert table.loc["battery.fitted", "value"] == "yes"
    outage = table.loc["mains.outage_rate"]
    assert outage["evidence"] == "published"
    assert "Electric Power Annual" in outage["source"]
    assert tuple(table.loc["mains.outage_duration", ["value", "unit"]]) == (
        "median 68, spread 2.72",
        "min",
    )


def test_amounts_are_shown_in_the_scenario_currency(short_text):
    table = loads('currency = "CHF"\n' + short_text).ledger("clamp").set_index("key")
    assert table.loc["damage.fixed_loss", "unit"] == "CHF"


def test_the_whole_ledger_lists_what_differs(short):
    keys = list(short.ledger()["key"])
    assert "designs.battery.battery.fitted" in keys
    assert "designs.clamp.element.kind" in keys
    assert not any(key.startswith("designs.clamp.battery") for key in keys)
    assert len(keys) == len(set(keys))


def test_assumptions_are_those_in_use(short):
    keys = {a.key for a in short.assumptions("clamp")}
    assert "actuator.failure_rate" in keys
    assert "valve.seize_time" in keys
    assert not any(key.startswith(("battery.", "solenoid.", "motorised_valve.")) for key in keys)
    assert any(a.key.startswith("battery.") for a in short.assumptions("battery"))
    none = {a.key for a in short.assumptions("no automation")}
    assert not any(key.startswith(("actuator.", "sensors.", "mount.")) for key in none)
    assert all(a.evidence in ("assumption", "from memory") for a in short.assumptions("clamp"))


def test_a_value_tells_which_design_states_it(short_text):
    text = short_text + '[designs.last]\nlike = "battery"\nbattery.test = "10 days"\n'
    table = loads(text).ledger("last").set_index("key")["stated_in"]
    assert table["zones.kitchen.area"] == COMMON
    assert table["battery.fitted"] == "battery"
    assert table["battery.test"] == "last"
    assert table["battery.fade"] == ""


def test_words_of_a_choice_are_not_taken_for_a_number_and_a_unit(short_text):
    text = short_text + '[actuator]\nclass = "60 kgf*cm class"\n[weather]\n'
    table = loads(text + 'coldest_day = "3 February"').ledger("clamp").set_index("key")
    assert tuple(table.loc["actuator.class", ["value", "unit"]]) == ("60 kgf*cm class", "")
    assert tuple(table.loc["weather.coldest_day", ["value", "unit"]]) == ("3 February", "")


def test_stating_a_value_removes_the_assumption(short_text):
    scenario = loads(short_text + "[valve]\nidle_growth = 0.2\n")
    assert "valve.idle_growth" not in {a.key for a in scenario.assumptions("clamp")}


def test_unknown_design(short):
    with pytest.raises(ScenarioError, match="no such design"):
        short.ledger("other")
