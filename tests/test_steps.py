"""Steps: every design against the one it is like, what that saves, whom, and costs."""

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from checks import perfect
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.engine.run import Chunk
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.report.compare import print_comparison
from shutoffsim.report.figures import FigureFolder
from shutoffsim.report.steps import money
from shutoffsim.report.text import make_console

SCENARIOS = Path(__file__).resolve().parent.parent / "scenarios"

CHAIN = ["no automation", "mains, screwed mount", "plus battery", "plus flow rule"]


@pytest.fixture(scope="module")
def compared(cottage):
    return shutoffsim.compare(cottage, CHAIN, histories=64)


def printed(result, **how):
    text = io.StringIO()
    console = make_console(text)
    console.width = 80
    print_comparison(console, result, "x.toml", **how)
    return text.getvalue()


def test_each_step_is_against_the_design_that_it_is_like(compared):
    against = [(step.design, step.against) for step in compared.steps]
    assert against == list(zip(CHAIN[1:], CHAIN[:-1], strict=True))
    assert {step.against for step in compared.totals} == {CHAIN[0]}


def test_designs_that_are_not_compared_are_passed_over(cottage):
    names = ["no automation", "mains, screwed mount", "plus more torque"]  # like “plus battery”
    found = shutoffsim.compare(cottage, names, histories=2).steps
    assert [step.against for step in found] == names[:2]


def test_savings_along_a_chain_add_up_and_so_do_their_parts(compared):
    for part in ("saving", "owner_saving", "insurer_saving"):
        along = sum(getattr(step, part).value for step in compared.steps)
        assert along == pytest.approx(getattr(compared.totals[-1], part).value, rel=1e-9)
    for step in (*compared.steps, *compared.totals):
        parts = step.owner_saving.value + step.insurer_saving.value
        assert parts == pytest.approx(step.saving.value, rel=1e-9, abs=1e-9)
    for part in ("cost_per_year", "net_per_year"):
        along = sum(getattr(step, part).value for step in compared.steps)
        assert along == pytest.approx(getattr(compared.totals[-1], part).value, rel=1e-9)


def test_a_step_is_the_difference_of_a_comparison(compared):
    for step, difference in zip(compared.totals, compared.differences, strict=True):
        assert step.saving == -difference.expected_annual_damage


#: 300 EUR of fittings over 10 years without interest, and 5 EUR a year: 35 EUR a year.
PRICED = (
    'costs = {purchase = "200 EUR", fitting = "100 EUR", upkeep_per_year = "5 EUR", '
    'discount_rate = "0 %"}\n'
)
LOSS = 'damage.area_loss = "100 EUR/m2"\ndamage.harmless = "1 L"\n'
SPREAD = LOSS + 'dwelling.film = {low = "1.5 mm", high = "2.5 mm"}\n'


def test_costs_are_spread_over_the_service_life():
    scenario = perfect(LOSS + 'element.kind = "none"\n', LOSS + PRICED, life="10 years")
    (step,) = shutoffsim.compare(scenario, histories=64).steps
    assert step.cost_per_year.value == pytest.approx(35.0)
    assert step.net_per_year.value == pytest.approx(step.saving.value - 35.0)


def test_at_a_discount_rate_they_are_an_annuity():
    """300 EUR at 5 % over 10 years: 300 / 7.7217 = 38.85 a year, and 5 of upkeep."""
    text = PRICED.replace("0 %", "5 %")
    scenario = perfect('element.kind = "none"\n', text, life="10 years")
    (step,) = shutoffsim.compare(scenario, histories=64).steps
    assert step.cost_per_year.value == pytest.approx(300 / 7.7217 + 5, rel=1e-4)


def test_a_step_that_changes_nothing_is_exactly_nothing():
    (step,) = shutoffsim.compare(perfect(LOSS, LOSS), histories=64).steps
    assert step.saving == step.owner_saving == step.insurer_saving == Estimate.exact(0.0)


def test_without_costs_the_verdict_says_so_and_the_table_has_no_column_for_them():
    scenario = perfect(SPREAD + 'element.kind = "none"\n', SPREAD)
    scenario = scenario.with_values(None, {"leaks.hose.rate": "0.01 per year"})
    result = shutoffsim.compare(scenario, histories=64)
    assert result.best == "1"
    assert result.steps[0].cost_per_year is None
    text = printed(result)
    assert "not stated in the file" in text
    assert " net" not in text


def test_a_design_that_saves_less_than_it_costs_is_told_as_that():
    scenario = perfect(SPREAD + 'element.kind = "none"\n', SPREAD + PRICED.replace("200", "900000"))
    scenario = scenario.with_values(None, {"leaks.hose.rate": "0.01 per year"})
    text = " ".join(printed(shutoffsim.compare(scenario, histories=64)).split())
    assert "more than it saves" in text


def test_equal_designs_differ_in_their_price_alone():
    dearer = PRICED.replace("200 EUR", "230 EUR")
    found = shutoffsim.compare(perfect(LOSS + PRICED, LOSS + dearer, life="10 years"), histories=16)
    assert found.steps[0].cost_per_year == Estimate.exact(3.0)
    assert found.steps[0].net_per_year == Estimate.exact(-3.0)


def test_repairs_and_dry_hours_are_paired_with_the_loss():
    """Two years: repairs cost 10 and 20, dry for 1 and 3 hours at 5 each; equal losses of 7."""
    rows = np.zeros((2, 2, 1), L.INCIDENT)
    rows["weight"], rows["mean_loss"], rows["mean_insured"] = 1.0, 7.0, 4.0
    summary = np.zeros((2, 2), L.SUMMARY)
    summary["repair_cost"][1] = 10.0, 20.0
    summary["dry"][1, :, 0] = 3600.0, 3 * 3600.0
    tally = Tally(2, 1.0, 1, hour=5.0)
    tally.add(Chunk(0, rows, np.zeros(0, L.INCIDENT), summary))
    assert tally.mean(0, T.OWN).value == 3.0
    assert tally.mean(1, T.RUNNING).value == (15.0 + 35.0) / 2
    assert tally.difference(1, T.OUTLAY).value == 25.0
    assert tally.difference(1, T.OUTLAY).std_error == pytest.approx(10.0)  # 20 / sqrt(2) / sqrt(2)


def test_the_chance_in_repairs_is_part_of_the_net(compared):
    step = compared.steps[0]
    assert step.cost_per_year.std_error > 0.0
    value = step.saving.value - step.cost_per_year.value
    assert step.net_per_year.value == pytest.approx(value, rel=1e-9)


def test_the_owner_is_told_what_is_left_to_the_one_who_pays(compared):
    total = compared.totals[-1]
    lost = total.cost_per_year.value - total.owner_saving.value
    said = " ".join(printed(compared).split())
    found = re.search(r"the owner alone loses ([0-9.,]+)\.", said)
    assert found
    assert float(found[1].replace(",", "")) == pytest.approx(lost, rel=0.02)


@pytest.mark.parametrize("name", ["holiday_cottage", "terraced_house", "clinic_above_shop"])
def test_the_demos_fit_a_terminal_in_one_table(name):
    result = shutoffsim.compare(shutoffsim.load(SCENARIOS / f"{name}.toml"), histories=64)
    text = printed(result)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 50
    (head,) = [line for line in lines if line.startswith("design ")]
    assert head.split() == ["design", "against", "saves", "owner", "insurer", "costs", "net"]
    assert " -0 " not in text
    assert "> 99.9 %" not in printed(result, full=True)


def test_doubt_about_an_improvement_is_shown_where_there_is_some(compared):
    assert "probability of improvement" not in " ".join(printed(compared, full=True).split())
    some = replace(compared.differences[0], probability_of_improvement=0.98)
    doubtful = replace(compared, differences=(some, *compared.differences[1:]))
    assert "98 %" in printed(doubtful, full=True)


def test_small_amounts_keep_their_digits_and_large_ones_do_not():
    assert money(Estimate(7.87, 0.02, 7.83, 7.91), 1.0) == "8"
    assert money(Estimate(0.0787, 0.0002, 0.0783, 0.0791), 1e-4) == "0.0787"


def run(*args):
    return CliRunner().invoke(app, [*map(str, args)], env={"COLUMNS": "80"})


def test_csv_has_one_row_a_design_and_no_formula(tmp_path):
    text = (SCENARIOS / "holiday_cottage.toml").read_text()
    file, table = tmp_path / "x.toml", tmp_path / "x.csv"
    file.write_text(text.replace('"plus battery"', '"=1+1"'))
    names = ("no automation", "=1+1", "plus flow rule")
    args = [arg for name in names for arg in ("--design", name)]
    assert run("compare", file, *args, "--histories", 16, "--csv", table).exit_code == 0
    rows = list(csv.DictReader(table.open()))
    assert [row["design"] for row in rows] == ["no automation", "'=1+1", "plus flow rule"]
    assert [row["step_against"] for row in rows] == ["", "no automation", "'=1+1"]
    saved = [float(row["step_saving"]) for row in rows[1:]]
    assert sum(saved) == pytest.approx(-float(rows[2]["difference"]), rel=1e-9)
    assert not any(value in ("nan", "inf", "-inf") for row in rows for value in row.values())


def test_figures_are_written_into_a_folder_that_is_made(tmp_path):
    folder = tmp_path / "new"
    args = ("--design", "no automation", "--design", "plus battery", "--histories", 8)
    done = run("compare", SCENARIOS / "holiday_cottage.toml", *args, "--figures", folder)
    assert done.exit_code == 0, done.output
    names = ("expected-damage", "steps")
    drawn = sorted(f"{name}.{kind}" for name in names for kind in ("png", "svg"))
    assert sorted(path.name for path in folder.iterdir()) == drawn
    assert (folder / "steps.png").read_bytes().startswith(b"\x89PNG")


def test_a_folder_that_was_made_goes_when_the_run_fails(tmp_path):
    with pytest.raises(ZeroDivisionError), FigureFolder(tmp_path / "new", ["steps"]):
        raise ZeroDivisionError
    assert list(tmp_path.iterdir()) == []


def test_the_table_fits_a_terminal(compared):
    lines = printed(compared).splitlines()
    assert max(map(len, lines)) <= 80
    assert any("insurer" in line and "net" in line for line in lines)  # the head of the table
    brief = printed(compared, brief=True)
    assert "plus battery  " not in brief
    assert "It costs" in brief
