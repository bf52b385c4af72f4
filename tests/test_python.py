"""Results in Python: plots on axes of one's own, sweeps as tidy tables, what a notebook shows."""

import matplotlib.pyplot as plt
import pytest
from checks import perfect

import shutoffsim
from shutoffsim.errors import ModelError, ScenarioError

LOSS = (
    'damage = {harmless = "1 L", area_loss = "100 EUR/m2"}\n'
    'dwelling.film = {low = "1 mm", high = "3 mm"}\n'
)
PRICED = LOSS + (
    'costs = {purchase = "10 EUR", fitting = "0 EUR", upkeep_per_year = "0 EUR", '
    'discount_rate = "0 %"}\n'
)


@pytest.fixture(scope="module")
def scenario():
    return perfect(LOSS + 'element.kind = "none"\n', PRICED, life="10 years")


@pytest.fixture(scope="module")
def result(scenario):
    return shutoffsim.compare(scenario, histories=64)


def test_a_sweep_is_a_table_of_all_combinations(scenario):
    """Each row is what a comparison of its own gives, and damage is in proportion to leaks."""
    values = {
        "people.notice_burst": ["1 min", "2 min"],
        "leaks.hose.rate": ["0.01 per year", "0.002 per year"],
    }
    table = shutoffsim.sweep(scenario, values, ["0"], histories=16)
    assert table["people.notice_burst"].tolist() == ["1 min", "1 min", "2 min", "2 min"]
    assert table["design"].tolist() == ["0"] * 4
    damage = table["expected_annual_damage"].tolist()
    later = scenario.with_values(
        None, {"people.notice_burst": 120.0, "leaks.hose.rate": "0.01 per year"}
    )
    alone = shutoffsim.compare(later, ["0"], histories=16).designs[0].expected_annual_damage
    assert damage[2] == pytest.approx(alone.value, rel=1e-12)
    assert damage[1] == pytest.approx(damage[0] / 5, rel=1e-9)
    assert damage[0] < damage[2]


def test_a_sweep_inside_one_design_leaves_the_others_alone():
    both = perfect(*[LOSS + 'element.kind = "none"\n'] * 2, life="10 years")
    rates = {"leaks.hose.rate": ["1e-6 per year", "2e-6 per year"]}
    table = shutoffsim.sweep(both, rates, inside="1", histories=16)
    leaks = {
        name: table.loc[table["design"] == name, "damaging_leaks_per_year"].tolist()
        for name in "01"
    }
    assert leaks["0"] == pytest.approx([1e-6, 1e-6], rel=1e-9)
    assert leaks["1"] == pytest.approx([1e-6, 2e-6], rel=1e-9)


def test_progress_of_a_sweep_counts_all_combinations(scenario):
    seen = []
    shutoffsim.sweep(
        scenario,
        {"people.notice_burst": ["1 min", "2 min"]},
        histories=16,
        progress=lambda done, planned: seen.append((done, planned)),
    )
    assert seen[-1] == (32, 32)
    assert seen == sorted(seen)


@pytest.mark.parametrize("values", [{}, {"valve.age": "5 years"}, {"valve.age": []}])
def test_a_sweep_over_nothing_is_refused(scenario, values):
    with pytest.raises(ModelError):
        shutoffsim.sweep(scenario, values)


def test_a_sweep_over_no_such_key_is_refused(scenario):
    with pytest.raises(ScenarioError, match="valve"):
        shutoffsim.sweep(scenario, {"valve.agee": ["5 years"]}, histories=16)


@pytest.mark.parametrize("kind", ["steps", "damage"])
def test_plots_go_on_axes_of_ones_own(result, kind):
    figure, (left, right) = plt.subplots(1, 2)
    assert result.plot(kind, right) is right
    assert "EUR" in right.get_xlabel()
    assert not left.get_xlabel()
    plt.close(figure)


def test_a_plot_shows_what_the_table_says(result):
    axes = result.plot("steps")
    drawn = {float(x) for line in axes.collections for x, _ in line.get_offsets().tolist()}
    step = result.steps[0]
    for e in (step.saving, step.cost_per_year, step.net_per_year):
        assert any(x == pytest.approx(e.value) for x in drawn)


def test_a_plot_that_there_is_not_is_refused(result):
    with pytest.raises(ModelError, match="no such plot"):
        result.plot("pie")
    with pytest.raises(ModelError, match="nobody knows"):
        result.plot("unknowns")


def test_a_notebook_shows_the_answer_and_short_columns(result):
    shown = result._repr_html_()
    assert "“1” reduces expected water damage the most" in shown
    assert "<th>net</th>" in shown
    assert len(repr(result)) < 200
