"""The page says what the result says: every table is read back and compared with the JSON."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from html import unescape

import pytest
from page_reading import Page

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.files import to_json
from shutoffsim.report.page.page import page
from shutoffsim.report.text import chance, torque_text
from shutoffsim.study.digits import amount

NOTHING = "–"


@pytest.fixture(scope="module")
def text(assessed):
    return page(assessed)


@pytest.fixture(scope="module")
def read(text):
    return Page(text)


@pytest.fixture(scope="module")
def data(assessed):
    return json.loads(to_json(assessed))


def told(e, factor=1.0, unit=""):
    """Return what the page should say of a stored estimate: value, and interval if there is one."""
    if e is None or e["value"] is None:
        return NOTHING, ""
    value, error, low, high = (
        math.nan if e[key] is None else e[key] for key in ("value", "std_error", "low", "high")
    )
    if math.isnan(error) and low < high < math.inf:  # a bound of what was not seen
        if value == low:
            return f"< {factor * high:.2g}{unit}", ""
        if value == high:
            return f"> {math.floor(factor * low * 100) / 100:g}{unit}", ""
        error = (high - low) / 4
        return (
            f"{amount(factor * value, factor * error) if value else 0}{unit}",
            f"{amount(factor * low, factor * error)} to {amount(factor * high, factor * error)}",
        )
    said = f"{amount(factor * value, factor * error)}{unit}"
    if low == high:
        return said, ""
    return (
        said,
        f"{amount(factor * low, factor * error)} to {amount(factor * high, factor * error)}",
    )


def opposite(e):
    return {
        "value": 0.0 - e["value"],
        "std_error": e["std_error"],
        "low": 0.0 - e["high"],
        "high": 0.0 - e["low"],
    }


def test_question_and_answer(text, data):
    page_words = " ".join(text.replace("<bdi>", "").replace("</bdi>", "").split())
    assert data["answer"] in page_words
    assert data["question"] in page_words


def test_damage_and_paired_differences(read, data):
    table = read.table("Damage, and reduction against the reference")
    designs = data["comparison"]["designs"]
    assert [text for text, _ in table.column("design")] == [d["name"] for d in designs]
    assert table.column("expected annual damage, EUR") == [
        told(d["expected_annual_damage"]) for d in designs
    ]
    gaps = {d["design"]: d for d in data["comparison"]["differences"]}
    expected = [
        told(opposite(gaps[d["name"]]["expected_annual_damage"]))
        if d["name"] in gaps
        else (NOTHING, "")
        for d in designs
    ]
    assert table.column("reduction a year, EUR") == expected
    assert any(note for _, note in expected)


def test_failure_on_demand_and_volumes(read, data):
    table = read.table("How often it fails")
    for row, design in zip(table.rows, data["comparison"]["designs"], strict=True):
        never_closes = list(design["failure_modes"]) == ["no automation"]
        failing = told(design["probability_of_failure_on_demand"], 100.0, " %")
        cell = dict(zip(table.heads, row, strict=True))
        assert cell["probability of failure on demand"] == (
            ("100 %", "") if never_closes else failing
        )
        assert cell["damaging leaks a year"] == told(design["damaging_leaks_per_year"])
        assert cell["nuisance closings a year"] == told(design["nuisance_closings_per_year"])
        assert cell["escaped volume, L: median"] == told(design["escaped_volume_l"]["median"])
        assert cell["escaped volume, L: 95th percentile"] == told(design["escaped_volume_l"]["p95"])


@pytest.mark.parametrize(
    ("caption", "key"),
    [
        ("Sum of a year's losses exceeded", "aggregate"),
        ("Mean of a year's losses", "aggregate_tail"),
        ("Largest loss of a year exceeded", "occurrence"),
        ("Mean of the largest loss", "occurrence_tail"),
    ],
)
def test_losses_at_return_periods(read, data, caption, key):
    table = read.table(caption)
    periods = data["designs"][0]["yearly_loss"]["periods"]
    assert table.heads == ["design", *(f"{p['period_years']:g} years" for p in periods)]
    for row, design in zip(table.rows, data["designs"], strict=True):
        for cell, period in zip(row[1:], design["yearly_loss"]["periods"], strict=True):
            value, note = told(period[key])
            if not period["resolved"] and period[key]["value"] > 0.0:
                note = f"{note} (few leaks)".strip()
            assert cell == (value, note)


def test_exceedance_curve(read, data):
    table = read.table("Yearly probability that the sum")
    for at, row in enumerate(table.rows):
        for cell, design in zip(row[1:], data["designs"], strict=True):
            point = design["yearly_loss"]["curve"][at]
            assert cell == told(point["aggregate"], 100.0, " %")
    assert len(table.rows) == len(data["designs"][0]["yearly_loss"]["curve"]) > 5


def test_failure_modes_and_removals(read, data):
    for design in data["designs"]:
        if not design["removals"]:
            continue
        table = read.table(f"Failure modes of “{design['name']}”")
        removals = {r["mode"]: r["reduction"] for r in design["removals"]}
        assert len(table.rows) == len(design["modes"])
        for row, mode in zip(table.rows, design["modes"], strict=True):
            shown = "stopped in time" if mode["mode"] == "none" else mode["mode"]
            assert row[0][0] == shown
            assert row[1] == told(mode["leaks"], 100.0, " %")
            assert row[2] == told(mode["damage"])
            assert row[3] == told(mode["damage_share"], 100.0, " %")
            assert row[4] == told(removals.get(mode["mode"]))


def test_what_it_is_worth(read, data):
    table = read.table("What it saves")
    worth = {d["name"]: d["worth"] for d in data["designs"] if d["worth"]}
    assert [cells[0][0] for cells in table.rows] == list(worth)
    for row, w in zip(table.rows, worth.values(), strict=True):
        assert row[1] == told(w["saving_per_year"])
        assert row[2] == told(w["insured_saving_per_year"])
        assert row[3] == told(w["own_saving_per_year"])
        assert row[4] == told(w["net_present_value"])
        assert row[5] == told(w["own_net_present_value"])
        assert row[6] == told(w["worth_up_to"])
        assert row[7][0] == f"{w['payback']['years']:.1f}"


def test_which_assumptions_move_it(read, data):
    table = read.table("The values, their ranges")
    swings = data["sensitivity"]["swings"][:12]
    assert len(table.rows) == len(swings) > 3
    for row, swing in zip(table.rows, swings, strict=True):
        words, key = row[0]
        assert key == swing["key"]
        assert words.endswith(f": {key.rsplit('.', 1)[-1].replace('_', ' ')}")
        assert all(entry in words for entry in swing["entries"])
        assert (row[1][0], row[2][0], row[4][0]) == (swing["value"], swing["low"], swing["high"])
        assert row[3] == told(opposite(swing["change_at_low"]))
        assert row[5] == told(opposite(swing["change_at_high"]))


def test_what_the_figures_rest_on_is_counted(read, data):
    counted = next(d for d in data["designs"] if d["name"] == data["chosen"])["demand"]
    table = read.table("Values in use in")
    shown = {row[0][0]: int(row[1][0]) for row in table.rows}
    assert {k: v for k, v in shown.items() if v} == counted["values_by_label"]
    assert sum(shown.values()) > 200


def test_what_each_step_saves(read, data):
    table = read.table("What each step saves")
    for row, step in zip(table.rows, data["comparison"]["steps"], strict=True):
        assert row[1][0] == step["against"]
        assert row[2] == told(step["saving"])
        assert row[3] == told(step["owner_saving"])


def test_torque(read, data):
    table = read.table("Torque needed and torque available")
    expected = {
        tuple(
            torque_text(at[key])
            for key in ("needed_median_n_m", "needed_p99_n_m", "available_weak_n_m")
        )
        for design in data["designs"]
        for at in design["torque"]
    }
    assert {(row[1][0], row[3][0], row[6][0]) for row in table.rows} == expected


def test_times(read, data):
    for step in ("onset to sensed", "sensed to stopped", "onset to stopped"):
        table = read.table(step.capitalize())
        for row, design in zip(table.rows, data["designs"], strict=True):
            found = next((t for t in design["times"] if t["step"] == step), None)
            assert row[-1] == told(found["never"] if found else None, 100.0, " %")


def test_incidents_are_told_with_their_losses(text, data):
    assert len(data["stories"]) >= 4
    for story in data["stories"]:
        assert f"loss {round(story['loss']):,} EUR" in text
        assert f"of which {round(story['insured_loss']):,} insured" in text


def test_figures_show_the_numbers_of_their_tables(read, data):
    drawn = read.drawn["figure-reduction"]
    for gap in data["comparison"]["differences"]:
        damage = gap["expected_annual_damage"]
        less = {"value": -damage["value"], "std_error": damage["std_error"]}
        less |= {"low": -damage["high"], "high": -damage["low"]}
        assert told(less)[0] in drawn.split()
    assert set(read.drawn) >= {
        "figure-reduction",
        "figure-losses",
        "figure-modes",
        "figure-times",
        "figure-torque",
        "figure-worth",
        "figure-doubt",
    }


def test_how_to_do_it_again(text, data):
    for part in (data["command"], data["scenario_hash"], f"seed {data['seed']}", data["version"]):
        assert part in unescape(text)


def test_another_number_would_be_noticed(assessed, data):
    first = assessed.comparison.designs[0]
    wrong = replace(first, expected_annual_damage=Estimate(9e5, 10.0, 8.9e5, 9.1e5))
    comparison = replace(assessed.comparison, designs=(wrong, *assessed.comparison.designs[1:]))
    read = Page(page(replace(assessed, comparison=comparison)))
    column = read.table("Damage, and reduction").column("expected annual damage, EUR")
    assert column[0] == ("900,000", "890,000 to 910,000")
    assert column[0] != told(data["comparison"]["designs"][0]["expected_annual_damage"])
    assert column[1] == told(data["comparison"]["designs"][1]["expected_annual_damage"])


def test_rows_of_figures_are_words(assessed, read):
    """Beside each row stands what it is, not a letter or a number to be looked up."""
    for name in ("figure-reduction", "figure-worth", "figure-torque"):
        assert "sensing cables" in read.drawn[name]
    swings = assessed.sensitivity.swings
    assert swings
    assert swings[0].key.rsplit(".", 1)[-1].replace("_", " ") in read.drawn["figure-doubt"]
    assert swings[0].key not in read.drawn["figure-doubt"]


def test_torque_shows_its_verdict(assessed, read):
    chosen = next(design for design in assessed.designs if design.name == assessed.chosen)
    short = chance(chosen.torque[-1].short)
    assert short in read.drawn["figure-torque"]


def test_cautions_are_of_this_design(text, data):
    result = next(d for d in data["comparison"]["designs"] if d["name"] == data["chosen"])
    fails, _ = told(result["probability_of_failure_on_demand"], 100.0)
    assert f"It still leaves {fails} % of leaks to people" in text
    hours, _ = told(result["hours_without_water_per_year"])
    assert f"for about {hours} hours a year without a leak" in text


def test_fitting_tests_and_hours_without_water_have_their_causes(read, data):
    table = read.table("What a fitting test shows")
    tested = [d for d in data["comparison"]["designs"] if d["fitting_test"]]
    assert tested
    passed = [told(d["fitting_test"]["passed as bought"], 100.0, " %") for d in tested]
    assert table.column("fitting test: passed as bought") == passed
    hours = [told(d["hours_without_water_by_cause"].get("nuisance")) for d in tested]
    assert table.column("hours without water a year: nuisance") == hours
