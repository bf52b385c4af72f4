"""Steps: every design against the one it is like, what that saves, whom, and costs."""

import io

import pandas as pd
import pytest
from checks import perfect
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.compare import print_comparison
from shutoffsim.report.text import make_console

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
    costs = [step.cost_per_year for step in compared.steps]
    assert sum(costs) == pytest.approx(compared.totals[-1].cost_per_year, rel=1e-9)


def test_a_step_is_the_difference_of_a_comparison(compared):
    for step, difference in zip(compared.totals, compared.differences, strict=True):
        assert step.saving == -difference.expected_annual_damage


#: 300 EUR of fittings over 10 years without interest, and 5 EUR a year: 35 EUR a year.
PRICED = (
    'costs = {purchase = "200 EUR", fitting = "100 EUR", upkeep_per_year = "5 EUR", '
    'discount_rate = "0 %"}\n'
)
LOSS = 'damage.area_loss = "100 EUR/m2"\ndamage.harmless = "1 L"\n'
SPREAD = LOSS + "damage.severity = {mean = 1.0, spread = 2.0}\n"


def test_costs_are_spread_over_the_service_life():
    scenario = perfect(LOSS + 'element.kind = "none"\n', LOSS + PRICED, life="10 years")
    (step,) = shutoffsim.compare(scenario, histories=64).steps
    assert step.cost_per_year == pytest.approx(35.0)
    assert step.net_per_year.value == pytest.approx(step.saving.value - 35.0)


def test_at_a_discount_rate_they_are_an_annuity():
    """300 EUR at 5 % over 10 years: 300 / 7.7217 = 38.85 a year, and 5 of upkeep."""
    text = PRICED.replace("0 %", "5 %")
    scenario = perfect('element.kind = "none"\n', text, life="10 years")
    (step,) = shutoffsim.compare(scenario, histories=64).steps
    assert step.cost_per_year == pytest.approx(300 / 7.7217 + 5, rel=1e-4)


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


def test_the_table_fits_a_terminal(compared):
    lines = printed(compared).splitlines()
    assert max(map(len, lines)) <= 80
    assert sum("owner" in line for line in lines) == 2  # the verdict, the head of the table
    brief = printed(compared, brief=True)
    assert "plus battery  " not in brief
    assert "It costs" in brief


def test_the_table_and_the_picture_are_written_or_nothing_is(compared, tmp_path):
    file, folder = tmp_path / "designs.csv", tmp_path / "pictures"
    words = ["compare", "scenarios/holiday_cottage.toml", "--histories", "64", "--worlds", "2"]
    words += [word for name in CHAIN for word in ("--design", name)]
    words += ["--figures", str(folder), "--csv"]
    bad = CliRunner().invoke(app, [*words, str(tmp_path / "designs.txt")])
    assert bad.exit_code == 2
    assert list(tmp_path.iterdir()) == []
    done = CliRunner().invoke(app, [*words, str(file)])
    assert done.exit_code == 0, done.output
    table = pd.read_csv(file).set_index("design")
    assert list(table.index) == CHAIN
    assert table.loc["plus flow rule", "against"] == "plus battery"
    assert table.loc["plus flow rule", "net_per_year"] == pytest.approx(
        compared.steps[-1].net_per_year.value
    )
    assert {path.name for path in folder.iterdir()} == {
        "expected-damage.png",
        "expected-damage.svg",
    }
