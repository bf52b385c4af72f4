"""From which value on a design pays: hand-worked crossings, and what is refused."""

import json

import pytest
from checks import PERFECT, perfect
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.errors import ModelError, ScenarioError

LOSS = (
    'damage = {harmless = "1 L", area_loss = "100 EUR/m2", '
    'loss_cap = "1e9 EUR"}\n'
    'dwelling.film = {low = "1 mm", high = "3 mm"}\n'
    'leaks.hose.rate = "0.01 per year"\n'
)
NONE = LOSS + 'element.kind = "none"\n'
PRICED = LOSS + (
    'costs = {purchase = "100 EUR", fitting = "0 EUR", upkeep_per_year = "0 EUR", '
    'discount_rate = "0 %"}\n'
)


def number(text):
    return float(text.split()[0])


def test_a_price_breaks_even_at_the_saving_of_a_service_life():
    """Without interest, purchase over ten years equals what is saved in them."""
    scenario = perfect(NONE, PRICED, life="10 years")
    saving = shutoffsim.compare(scenario, histories=256).totals[0].saving.value
    found = shutoffsim.breakeven(
        scenario, "1", "costs.purchase", ends=("1 EUR", f"{40 * saving:.0f} EUR"), histories=256
    )
    assert found.pays == "below"
    (crossing,) = found.crossings
    assert number(crossing.value) == pytest.approx(10 * saving, rel=5e-3)
    assert number(crossing.low) < 10 * saving < number(crossing.high)
    assert abs(crossing.check.net_per_year.value) < 0.01 * saving


def test_a_rate_of_leaks_breaks_even_where_its_savings_pay():
    """Rare leaks save in proportion to their rate."""
    scenario = perfect(NONE, PRICED, life="10 years")
    saving = shutoffsim.compare(scenario, histories=256).totals[0].saving.value
    rate = 0.01 * 10.0 / saving  # a year: 100 EUR over ten years are 10 a year
    ends = (f"{rate / 9} per year", f"{rate * 5} per year")
    found = shutoffsim.breakeven(scenario, "1", "leaks.hose.rate", ends=ends, histories=256)
    assert found.pays == "above"
    assert number(found.crossings[0].value) == pytest.approx(rate, rel=0.02)


def test_what_always_or_never_pays():
    scenario = perfect(NONE, PRICED, life="10 years")
    ends = ("1e-9 EUR", "2e-9 EUR")
    found = shutoffsim.breakeven(scenario, "1", "costs.purchase", ends=ends, histories=64)
    assert (found.pays, found.crossings) == ("always", ())
    ends = ("1e9 EUR", "2e9 EUR")
    found = shutoffsim.breakeven(scenario, "1", "costs.purchase", ends=ends, histories=64)
    assert (found.pays, found.crossings) == ("never", ())


def test_a_design_is_held_against_the_one_that_it_is_like(cottage):
    found = shutoffsim.breakeven(cottage, "plus battery", "mains.outage_rate", histories=32)
    assert found.against == "mains, screwed mount"
    values = [number(point.value) for point in found.points]
    assert values[len(values) // 2] == number(found.in_use)
    assert values[-1] / values[0] == pytest.approx(64, rel=0.01)


@pytest.mark.parametrize(
    ("design", "vary", "how", "words"),
    [
        ("1", "costs.purchas", {}, "did you mean costs.purchase"),
        ("1", "element.kind", {}, "cannot be varied"),
        ("1", "costs.purchase", {"against": "1"}, "with itself"),
        ("1", "costs.purchase", {"ends": ("9 EUR", "1 EUR")}, "below the last"),
        ("1", "costs.purchase", {"histories": 1}, "histories"),
        ("0", "leaks.hose.rate", {"against": "2"}, "costs are not stated"),
        ("2", "leaks.hose.rate", {"against": "0"}, "costs are not stated"),
    ],
)
def test_what_cannot_be_asked_is_refused(design, vary, how, words):
    scenario = perfect(NONE, PRICED, LOSS)
    with pytest.raises(ModelError) as caught:
        shutoffsim.breakeven(scenario, design, vary, **{"histories": 32, **how})
    assert words in str(caught.value)


def test_a_value_that_is_not_allowed_is_refused_as_in_a_file():
    scenario = perfect(NONE, PRICED)
    with pytest.raises(ScenarioError, match="purchase"):
        shutoffsim.breakeven(scenario, "1", "costs.purchase", ends=("1 m", "2 m"), histories=32)


def test_the_command_answers_and_writes(tmp_path):
    file, out = tmp_path / "x.toml", tmp_path / "x.json"
    file.write_text(PERFECT.format(life="10 years") + f"[designs.0]\n{NONE}[designs.1]\n{PRICED}")
    words = ["breakeven", str(file), "--vary", "costs.purchase", "--from", "1 EUR"]
    done = CliRunner().invoke(app, words, env={"COLUMNS": "80"})
    assert done.exit_code == 2
    assert "both --from and --to" in " ".join(done.output.split())
    words += ["--to", "100000 EUR", "--histories", "64", "--json", str(out)]
    done = CliRunner().invoke(app, words, env={"COLUMNS": "80"})
    assert done.exit_code == 0, done.output
    told = " ".join(done.output.split())
    assert "“1” against “0” pays for itself where costs.purchase is below" in told
    assert max(map(len, done.output.splitlines())) <= 80
    data = json.loads(out.read_text())
    assert data["pays"] == "below"
    assert len(data["points"]) == 9
    assert data["crossings"][0]["value"] in told
