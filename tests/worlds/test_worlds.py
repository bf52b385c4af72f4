"""Comparisons over worlds: the same bits, the plain comparison at the values in use, the words."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.scenario import loads
from shutoffsim.study.assessment.worth import annuity
from shutoffsim.study.worlds import run as R

ROWS = ("damage", "cost", "steps")
TWO = """
currency = "EUR"
[leaks.hose]
kind = "appliance hose"
[designs.a]
element.kind = "none"
[designs.b]
element.kind = "none"
"""


@pytest.fixture(scope="module")
def three(cottage):
    return cottage, ("no automation", "plus battery", "all together")


def test_same_bits_for_any_number_of_workers(three):
    one, two = (R.run_worlds(*three, 6, 1, workers=workers) for workers in (1, 2))
    assert one == two
    for name in ROWS:
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


def test_every_world_has_fresh_histories(three, monkeypatch):
    monkeypatch.setattr(R, "steps", lambda names, worlds, _seed: np.zeros((worlds, len(names))))
    found = R.run_worlds(*three, 4, 1)
    assert len(np.unique(found.damage[:, 0])) == 4


def test_at_the_values_in_use_it_is_the_plain_comparison(three, monkeypatch):
    monkeypatch.setattr(R, "steps", lambda names, worlds, _seed: np.zeros((worlds, len(names))))
    monkeypatch.setattr(R, "PROBES", 64)
    scenario, names = three
    found = R.run_worlds(scenario, names, 2, 3)
    plain = shutoffsim.compare(scenario, names, histories=64, seed=3)
    for d, design in enumerate(plain.designs):
        value = design.expected_annual_damage.value
        assert found.damage[:, d].mean() == pytest.approx(value, rel=1e-12)
        assert found.designs[d].expected_annual_damage.mean == pytest.approx(value, rel=1e-12)
    gap = plain.differences[-1].expected_annual_damage.value
    assert found.designs[-1].difference.mean == pytest.approx(gap, rel=1e-12)
    upkeep = plain.designs[1].cost_of_repairs_per_year.value + 20.0
    rate = scenario.costs(names[1]).discount_rate
    cost = plain.designs[1].expected_annual_damage.value + upkeep + 185.0 / annuity(rate, 10.0)
    assert found.cost[:, 1].mean() == pytest.approx(cost, rel=1e-12)


def test_worlds_differ_by_more_than_histories_do(three):
    found = R.run_worlds(*three, 24, 1)
    reference = found.designs[0].expected_annual_damage
    assert reference.p5 < 0.75 * reference.p50 < reference.p50 < reference.p95 / 1.25
    assert found.designs[-1].least_damage == 1.0
    assert found.designs[-1].chance_of_improvement > 0.999
    assert sum(design.least_damage for design in found.designs) == pytest.approx(1.0)


def test_one_world(three):
    found = R.run_worlds(*three, 1, 1)
    figure = found.designs[0].expected_annual_damage
    assert figure.mean == figure.p5 == figure.p50 == figure.p95
    assert not found.first


def test_two_equal_designs():
    found = R.run_worlds(loads(TWO), ("a", "b"), 8, 1)
    assert [design.least_damage for design in found.designs] == [0.5, 0.5]
    assert found.designs[1].chance_of_improvement == 0.5
    assert found.designs[1].difference == R.OverWorlds(0.0, 0.0, 0.0, 0.0)
    assert found.information == (0.0, 0.0)
    assert found.decision == "expected annual damage"


def stated(scenario):
    """Return a scenario in which all that was unknown is stated as it is in use."""
    for each in R.unknowns(scenario.resolved):
        for d, path in each.places:
            scenario = scenario.with_values(scenario.designs[d], {path: each.value})
    return scenario


def test_where_all_is_stated_nothing_is_unknown(three):
    scenario = stated(loads(TWO.replace('[designs.b]\nelement.kind = "none"', "")))
    found = R.run_worlds(scenario, ("a",), 4, 1)
    assert found.unknowns == 0
    figure = found.designs[0].expected_annual_damage
    assert figure.p5 == figure.p95 == pytest.approx(figure.mean)
    assert found.information == (0.0, 0.0)


def test_by_default_a_program_draws_none(three):
    scenario, names = three
    assert shutoffsim.compare(scenario, names, histories=8).worlds is None


def test_an_interrupt_ends_it(three):
    def stop(done, _planned):
        if done >= 64:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        R.run_worlds(*three, 1000, 1, workers=2, progress=stop)


def run(*args):
    return CliRunner().invoke(app, ["compare", *args])


SMALL = ("scenarios/holiday_cottage.toml", "--design", "no automation", "--design", "all together")


@pytest.mark.parametrize("number", ["-1", "1.5", "many", "1000000"])
def test_a_wrong_number_is_refused(number, tmp_path):
    file = tmp_path / "result.json"
    done = run(*SMALL, "--histories", "8", "--worlds", number, "--json", str(file))
    assert done.exit_code == 2
    assert "Traceback" not in done.output
    assert "worlds" in done.output
    assert not file.exists()


def test_what_is_printed_and_written(tmp_path):
    file = tmp_path / "result.json"
    done = run(*SMALL, "--histories", "32", "--worlds", "20", "--full", "--json", str(file))
    assert done.exit_code == 0, done.output
    told = " ".join(done.output.split())
    assert "Given what nobody knows, it saves between" in told
    assert "it has the least expected damage in 20 of 20 worlds." in told
    assert "no interval of the simulation" in told
    found = json.loads(file.read_text())["worlds"]
    assert found["worlds"] == 20
    assert found["histories"] == 32
    assert set(found["designs"][1]["difference"]) == {"mean", "p5", "p50", "p95"}
    assert "damage" not in found
    assert "steps" not in found
    plain = run(*SMALL, "--histories", "32", "--json", str(file))
    assert "nobody knows" not in plain.output
    assert json.loads(file.read_text())["worlds"] is None


def test_brief_has_the_sentence_alone():
    done = run(*SMALL, "--histories", "32", "--worlds", "3", "--brief")
    told = " ".join(done.output.split())
    assert "Too few worlds to say how sure that is" in told
    assert "least cost" not in told
