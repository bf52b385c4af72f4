"""The command: what it prints and writes, and how it refuses."""

from __future__ import annotations

import base64
import json
import math
import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import shutoffsim
import shutoffsim.cli.size  # registers the command
from shutoffsim.cli import app
from shutoffsim.errors import ModelError, OutputError, ScenarioError
from shutoffsim.report.figures import KINDS, FigureFolder, Gallery
from shutoffsim.report.files import to_json
from shutoffsim.report.size import print_sizing
from shutoffsim.report.size_figures import FIGURES, draw_figures
from shutoffsim.report.text import make_console
from shutoffsim.study.size import choose_design, size, worth

SCENARIO = """
name = "a flat"
currency = "EUR"
service_life = "10 years"
[zones.room]
[leaks.hose]
kind = "appliance hose"
zone = "room"
[sensors.room]
zone = "room"
[designs.none]
element.kind = "none"
[designs.clamped]
actuator.class = "geared motor, 10 N*m"
costs = {purchase = "150 EUR", upkeep_per_year = "10 EUR"}
[designs.stronger]
actuator.class = "geared motor, 16 N*m"
costs = {purchase = "190 EUR"}
[designs.solenoid]
element.kind = "solenoid, powered open"
"""
RATINGS = ("5 N*m", "10 N*m", "16 N*m")


@pytest.fixture(scope="module")
def flat():
    return shutoffsim.loads(SCENARIO)


@pytest.fixture(scope="module")
def result(flat):
    return size(flat, "clamped", ratings=RATINGS, histories=64)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "flat.toml"
    path.write_text(SCENARIO)
    return path


def run(*words):
    return CliRunner().invoke(app, ["size", *map(str, words)], env={"COLUMNS": "80"})


def refused(*words):
    """Run a command that must be refused; return what it says in one line."""
    done = run(*words)
    assert done.exit_code == 2, done.output
    assert "Traceback" not in done.output
    return " ".join(done.output.split())


def printed(result, tmp_path, width=80):
    path = tmp_path / "out.txt"
    with path.open("w") as out:
        console = make_console(out)
        console.width = width
        print_sizing(console, result)
    return path.read_text()


def test_output_fits_a_terminal_and_starts_with_the_answer(result, tmp_path):
    text = printed(result, tmp_path)
    assert max(len(line) for line in text.splitlines()) <= 80
    body = " ".join(text.split("\n\n")[1].split())
    assert body.startswith(result.recommendation)
    for caution in result.cautions:
        assert caution in " ".join(text.replace("\n  ", " ").split())


def test_every_rung_has_its_row(result, tmp_path):
    text = printed(result, tmp_path)
    for rung in result.rungs:
        label = f"{rung.rating:.2g}" + (" \\(in use\\)" if rung.own else "")
        assert re.search(rf"^{label}\s", text.replace(".0", ""), re.M), label


def test_command_writes_result_and_figures(file, tmp_path):
    folder = tmp_path / "figures"
    folder.mkdir()
    target = tmp_path / "result.json"
    done = run(file, "--design", "clamped", "--rating", "10 N*m", "--figures", folder,
               "--json", target, "--workers", 1)  # fmt: skip
    assert done.exit_code == 0, done.output
    written = sorted(path.name for path in folder.iterdir())
    assert written == sorted(f"{name}.{kind}" for name in FIGURES for kind in KINDS)
    data = json.loads(target.read_text())
    assert data["design"] == "clamped"
    assert data["ladder"][0]["torque"]["failure"]["value"] > 0.0
    assert data["recommendation"] in " ".join(done.output.split())


def test_the_last_clamped_design_is_taken_by_default(flat):
    assert choose_design(flat).name == "stronger"


@pytest.mark.parametrize("name", ["none", "solenoid"])
def test_designs_without_an_actuator_are_refused(file, name):
    said = refused(file, "--design", name)
    assert "no clamped actuator to size in this design" in said
    assert 'choose one of "clamped", "stronger"' in said


def test_a_scenario_without_an_actuator_is_refused(tmp_path):
    path = tmp_path / "bare.toml"
    path.write_text(SCENARIO[: SCENARIO.index("[designs.clamped]")])
    said = refused(path)
    assert "no design of this scenario has a clamped actuator" in said
    assert str(path.name) in said.replace(" ", "")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--design", "nobody"), "there is no such design"),
        (("--target-pfd", "80%"), "target-pfd is out of range"),
        (("--target-pfd", "0"), "target-pfd is out of range"),
        (("--target-pfd", "one"), "--target-pfd is not a share"),
        (("--confidence", "120%"), "confidence is out of range"),
        (("--confidence", "nan"), "confidence is out of range"),
        (("--rating", "4 bar"), "a rating is not a torque"),
        (("--rating", "4"), "a rating is not a torque"),
        (("--rating", "-4 N*m"), "a rating is out of range"),
        (("--price", "120 EUR"), "a price cannot be read"),
        (("--price", "10 N*m = 120 USD"), "amounts are not converted"),
        (("--rating", "5 N*m", "--price", "7 N*m = 1 EUR"), "not in the ladder"),
        (("--seed", "-1"), "seed is out of range"),
        (("--figures", "no/such/folder"), "there is no such folder"),
    ],
)
def test_bad_input_is_refused_with_its_reason(file, words, message):
    assert message in refused(file, *words)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ('stall_current = "0.1 A"\nno_load_current = "0.2 A"', "must be greater than the no-load"),
        ('rated_voltage = "0 V"', "rated_voltage"),
        ('winding_limit = "10 degC"', "winding_limit"),
        ('stall_torque = "0 N*m"', "expected above 0 N*m"),
    ],
)
def test_impossible_data_sheets_are_refused(tmp_path, change, message):
    path = tmp_path / "sheet.toml"
    text = SCENARIO.replace("[designs.none]", f"[actuator]\n{change}\n[designs.none]")
    path.write_text(text + "\n[designs.plain]\n")
    said = refused(path, "--design", "plain")
    assert message in said
    assert "line 12" in said.replace("line 13", "line 12")


def draw_and_fail(result, path):
    """Draw all figures, and fail before they are in place."""
    with suppress(ZeroDivisionError), FigureFolder(path, FIGURES) as folder:
        folder.write(draw_figures(result))
        raise ZeroDivisionError


def test_figures_are_written_all_or_none(result, tmp_path):
    (tmp_path / "window.png").mkdir()  # one file cannot be written
    with pytest.raises(OutputError, match="this is a folder"), FigureFolder(tmp_path, FIGURES):
        raise AssertionError("not reached")
    assert [path.name for path in tmp_path.iterdir()] == ["window.png"]
    (tmp_path / "window.png").rmdir()
    draw_and_fail(result, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_the_same_figure_has_the_same_bytes(result, tmp_path):
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        with FigureFolder(tmp_path / name, FIGURES) as folder:
            folder.write(draw_figures(result))
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name
    assert len(list((tmp_path / "one").iterdir())) == len(FIGURES) * len(KINDS)


def test_figures_show_target_and_recommendation(result):
    axes = FIGURES["probability-by-rating"](result).axes[0]
    levels = [line.get_ydata()[0] for line in axes.lines if len(set(line.get_ydata())) == 1]
    assert result.target in levels
    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert ("recommended" in labels) is (result.recommended is not None)
    assert {"target", "in use"} <= set(labels)


def test_plain_data_says_what_the_table_says(result):
    data = json.loads(to_json(result))
    table = result.table()
    assert [row["rating"] for row in data["ladder"]] == pytest.approx(list(table.index))
    assert [row["torque"]["meets"]["value"] for row in data["ladder"]] == pytest.approx(
        list(table["meets"])
    )
    assert data["window"]["empty"] is result.window.empty
    assert data["seed"] == 1
    assert len(data["assumptions"]) > 50


def test_workers_do_not_change_a_result(flat, result):
    again = size(flat, "clamped", ratings=RATINGS, histories=64, workers=2)
    assert to_json(again) == to_json(result)
    other = size(flat, "clamped", ratings=RATINGS, histories=64, seed=2)
    assert to_json(other) != to_json(result)


def test_prices_of_designs_that_differ_in_the_actuator_only(result):
    paid = {row.rating: row.price for row in result.worths}
    assert paid == {5.0: None, 10.0: 150.0, 16.0: 190.0}
    assert result.worths[2].step_price == pytest.approx(40.0 / 10.0)


def test_a_stated_price_comes_first(flat):
    prices = ["5 N*m = 100 EUR", "10 N*m=120 EUR"]
    found = size(flat, "clamped", ratings=RATINGS, histories=2, price=prices)
    assert [row.price for row in found.worths] == [100.0, 120.0, 190.0]
    assert found.worths[1].step_price == pytest.approx(2.0)


def test_steps_are_paired_differences(result):
    first, second, _third = result.worths
    assert second.step.value == pytest.approx(first.damage.value - second.damage.value)


def test_steps_on_the_same_histories_are_sharper_than_on_others(flat):
    first, second = size(flat, "clamped", ratings=RATINGS[:2], histories=256).worths
    apart = math.hypot(first.damage.std_error, second.damage.std_error)
    assert second.step.std_error < 0.7 * apart


@dataclass(frozen=True)
class Belief:
    """What readings might leave to believe."""

    level: np.ndarray
    age_factor: np.ndarray
    idle_growth: np.ndarray
    closing_share: np.ndarray
    scatter: np.ndarray
    source: str = "three readings"


def test_a_belief_takes_the_place_of_the_scenarios_valve(flat, result):
    few = np.linspace(0.9, 1.1, 50)
    belief = Belief(few, 1.2 * few, 0.1 * few, 0.7 * few, 0.1 * few)
    found = size(flat, "clamped", ratings=RATINGS, histories=2, belief=belief)
    assert found.belief == "three readings"
    assert found.needed_rating < 0.5 * result.needed_rating
    assert found.recommended == 5.0
    stiff = Belief(10.0 * few, 1.2 * few, 0.1 * few, 0.7 * few, 0.1 * few)
    assert size(flat, "clamped", ratings=RATINGS, histories=2, belief=stiff).recommended is None


def test_a_dearer_exercise_makes_longer_intervals_better(flat):
    params = flat.parameters(["clamped"])
    plain = flat.costs("clamped")
    curves = [
        worth.interval_curve(
            params, 128, 1, 1, plain.model_copy(update={"per_exercise": price}), None
        )
        for price in (0.0, 1000.0)
    ]
    assert curves[1].best > curves[0].best
    for curve in curves:
        totals = {row.interval: row.total.value for row in curve.rows}
        assert curve.best == min(totals, key=lambda x: totals[x])
        assert curve.flat[0] <= curve.best <= curve.flat[1]
        assert min(row.excess.value for row in curve.rows) == 0.0
        inside = [t for x, t in totals.items() if curve.flat[0] <= x <= curve.flat[1]]
        assert max(inside) <= totals[curve.best] * (1.0 + worth.FLAT) + 1e-9
    week = next(row for row in curves[1].rows if row.interval == 7 * 86400.0)
    assert week.wear == pytest.approx(1000.0 * 365.25 / 7.0)


def test_size_checks_its_numbers(flat):
    with pytest.raises(ModelError, match="histories is out of range"):
        size(flat, histories=1)
    with pytest.raises(ModelError, match="too many ratings"):
        size(flat, ratings=[float(x) for x in range(1, 30)])
    with pytest.raises(ScenarioError, match="no such design"):
        size(flat, "nobody")


def test_scenario_file_is_not_overwritten(file):
    before = Path(file).read_text()
    assert "would overwrite" in refused(file, "--json", file)
    assert Path(file).read_text() == before


READINGS = """date,direction,torque,outcome,idle,age
2025-03-08,opening,3.0 N*m,moved,30 days,15 years
2025-04-26,opening,2.8 N*m,moved,30 days,15 years
2025-10-25,closing,2.1 N*m,moved,30 days,15 years
"""


def test_readings_of_the_valve_itself_narrow_the_answer(flat, file, result, tmp_path):
    readings = tmp_path / "readings.csv"
    readings.write_text(READINGS)
    found = size(flat, "clamped", ratings=RATINGS, histories=2, measurements=readings)
    assert found.belief.startswith("3 readings of")
    assert found.needed_rating < 0.7 * result.needed_rating
    open_before = result.shortfalls[0].valves_high - result.shortfalls[0].valves_low
    open_after = found.shortfalls[0].valves_high - found.shortfalls[0].valves_low
    assert open_after < open_before
    assert "no such file" in refused(file, "--measurements", tmp_path / "none.csv")


def test_a_rating_in_round_numbers_is_the_class_it_stands_for():
    text = SCENARIO.replace('class = "geared motor, 10 N*m"', 'class = "25 kgf*cm class"')
    text = text.replace("[designs.none]", '[supply]\nvoltage = "6.8 V"\n[designs.none]')
    text = text.replace("[designs.stronger]", "[designs.stronger]\nactuator.off_rating = true")
    found = size(
        shutoffsim.loads(text), "clamped", ratings=["2.5 N*m", "3 N*m"], histories=2,
        price=["2.5 N*m = 30 EUR"],
    )  # fmt: skip
    assert [rung.rating for rung in found.rungs] == pytest.approx([2.4516625, 2.941995])
    assert found.rungs[0].own
    assert "30 kgf*cm class" in found.rungs[1].sheet
    assert found.worths[0].price == 30.0


def test_a_notebook_shows_every_figure(result):
    shown = Gallery(draw_figures(result))._repr_html_()
    assert shown.count("<img alt=") == len(FIGURES) == 5
    pictures = re.findall(r"base64,([^\"]+)", shown)
    assert all(base64.b64decode(picture).startswith(b"\x89PNG") for picture in pictures)
    assert len(set(pictures)) == 5
