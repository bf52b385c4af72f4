"""Where nothing was seen, or all histories say the same: bounds, and what is certain."""

from __future__ import annotations

import io
import math
import re
from typing import Any

import numpy as np
import pytest
from checks import leaking, perfect
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.engine.run import Chunk, Setup, run_chunk
from shutoffsim.errors import PrecisionWarning
from shutoffsim.estimate import tally as T
from shutoffsim.estimate.estimate import Estimate, t_factor, with_interval
from shutoffsim.estimate.tally import Tally
from shutoffsim.model import layout as L
from shutoffsim.report.compare import print_comparison
from shutoffsim.report.page import cells
from shutoffsim.report.pfd import print_failure_on_demand
from shutoffsim.report.summary.money import answer as summary_answer
from shutoffsim.report.text import bound, make_console, percent, plus_minus, ranges
from shutoffsim.study.compare import chance_below_zero
from shutoffsim.study.digits import amount
from shutoffsim.study.pfd import failure_on_demand

CAP = 50_000.0
#: A leak harms only where it soaks for long, which one in two thousand does: 12,000 EUR each.
RARE = f"""
damage = {{harmless = "3 L", fixed_loss = "12000 EUR", area_loss = "0 EUR/m2", \
contents_loss = "0 EUR/m2", loss_cap = "{CAP:.0f} EUR"}}
sensors.a.reach_chance = 0.9995
"""
TRUTH = 1e-6 * 0.0005 * 12_000.0  # leaks a year x share not sensed x loss
#: As RARE, but every other leak is not sensed.
HALF = RARE.replace("0.9995", "0.5")
UNSEEN = 'sensors.a.reach_chance = 0\ndamage.late_volume = "1 L"\n'
NOTHING = '\nelement.kind = "none"\n'
HARMLESS = '\ndamage.harmless = "1 m3"\n'


def compared(*designs: str, **how: Any) -> shutoffsim.Comparison:
    return shutoffsim.compare(perfect(*designs), **how)


def printed(result: shutoffsim.Comparison) -> str:
    text = io.StringIO()
    console = make_console(text)
    console.width = 200
    print_comparison(console, result, "x.toml")
    print_comparison(console, result, "x.toml", full=True)
    return text.getvalue()


# --- means ---------------------------------------------------------------------------------------


def test_a_rare_damage_that_no_history_showed_is_within_its_bound():
    """In most seeds none of 16 histories shows one; no interval may exclude it."""
    unseen = 0
    for seed in range(12):
        design = compared(RARE, histories=16, seed=seed).designs[0]
        damage, often = design.expected_annual_damage, design.damaging_leaks_per_year
        if damage.value > 0.0:
            continue
        unseen += 1
        assert math.isnan(damage.std_error)
        assert damage.low == 0.0 < TRUTH < damage.high
        assert damage.high == pytest.approx(3 / 16 * 1e-6 * CAP, rel=1e-3)
        assert often.low == 0.0 < 1e-6 * 0.0005 < often.high
        assert design.insured_annual_damage.high >= TRUTH - 1e-6 * 0.0005 * 500.0
        assert any("no damage was seen" in warning for warning in design.warnings)
    assert unseen >= 3


def test_the_bound_of_a_share_holds_nineteen_times_in_twenty():
    """What is as rare as the bound says would have been missed in one run of twenty."""
    for n in (10, 100, 1000):
        assert (1.0 - 3.0 / n) ** n <= 0.05


def test_zeros_are_no_precision_and_the_run_goes_on(monkeypatch):
    from shutoffsim.study import compare as module

    monkeypatch.setattr(module, "MOST_HISTORIES", 4096)
    with pytest.warns(PrecisionWarning):
        result = compared(HARMLESS, precision=0.05)
    assert result.histories == 4096
    assert result.reached is False
    assert result.as_dict()["precision_reached"] is False
    assert "was not reached" in printed(result)


def test_what_cannot_leak_is_certain_at_once():
    scenario = perfect("", life="87600 h")
    params = scenario.parameters()
    params["source_rate"] = 0.0
    tally = Tally(1, 10.0, 1, params)
    rows = np.zeros((1, 4, 2), L.INCIDENT).view(np.recarray)
    summary = np.zeros((1, 4), L.SUMMARY).view(np.recarray)
    tally.add(Chunk(0, rows, np.zeros(0, L.INCIDENT).view(np.recarray), summary))
    assert tally.mean(0, T.LOSS, 0.0).certain
    assert tally.mean(0, T.LEAKS, 0.0).certain


def test_equal_losses_are_not_certain_either():
    """All of 20 histories saw the same loss; one leak in a hundred may still cost the cap."""
    cost = RARE.replace("reach_chance = 0.9995", "reach_chance = 0")
    damage = compared(cost, histories=20).designs[0].expected_annual_damage
    assert damage.value == pytest.approx(0.012)
    assert math.isnan(damage.std_error)
    assert damage.low == pytest.approx((1 - 3 / 20) * 0.012)
    assert damage.high > 0.99 * 0.012 + 0.01 * 1e-6 * CAP


def test_closings_that_did_not_come_are_bounded_by_the_years():
    result = compared(NOTHING, "", histories=16)
    never, perhaps = (design.nuisance_closings_per_year for design in result.designs)
    assert never.certain  # nothing is fitted that could close
    assert perhaps.value == 0.0
    assert perhaps.high == pytest.approx(3.0 / (16 * result.horizon_years))


# --- differences ---------------------------------------------------------------------------------


def test_a_difference_that_no_history_showed_is_not_certain():
    other = RARE.replace("0.9995", "0.9998")
    seen = 0
    for seed in range(8):
        result = compared(RARE, other, histories=16, seed=seed)
        gap = result.differences[0]
        e = gap.expected_annual_damage
        if e.value != 0.0:
            continue
        seen += 1
        assert e.low < 1e-6 * -0.0003 * 12_000.0 < 0.0 < e.high
        assert math.isnan(gap.probability_of_improvement)
        assert result.as_dict()["differences"][0]["probability_of_improvement"] is None
        assert result.best is None
        assert "No history showed a difference" in result.answer()
        text = printed(result)
        assert "50 %" not in text
        assert "unknown" in text
    assert seen >= 3


def test_equal_designs_are_told_as_equal():
    result = compared(NOTHING, NOTHING, histories=16)
    assert result.differences[0].expected_annual_damage == Estimate.exact(0.0)
    assert "“1” is equal to “0” in every value" in result.answer()
    text = printed(result)
    assert "equal" in text
    assert not re.search(r"(?<!e)-0\b", text)
    damage = result.designs[0].expected_annual_damage
    told = summary_answer("1", "0", Estimate.exact(-0.0), damage, "EUR")
    assert "“1” is equal to “0” in every value" in told
    assert "-0" not in told


def test_a_design_that_differs_is_not_told_as_equal():
    """The second has the reference's values; every other leak is not sensed in the third."""
    result = compared(RARE, RARE, HALF, histories=16)
    assert result.differences[1].expected_annual_damage.value > 0.0
    answer = result.answer()
    assert "Every other" not in answer
    assert "None of the designs is clearly better than “0”" in answer
    assert "of “1” is the same" in answer


def test_a_design_equal_to_the_best_is_told_as_equal():
    other = RARE.replace("0.9995", "0.9")
    result = compared(HALF, other, other, histories=64)
    assert result.as_good == ("2",)
    assert result.answer().endswith("; equal to it in every value: “2”.")


def test_designs_without_damage_are_not_told_as_equal_in_every_value():
    never = "\nleaks.hose.rate = '0 per year'\n"
    result = compared(never, never + NOTHING, histories=16)
    assert result.differences[0].expected_annual_damage == Estimate.exact(0.0)
    assert "in every value" not in result.answer()
    assert "No design changes expected water damage: it is 0 EUR a year" in result.answer()


def test_the_chance_of_improvement_agrees_with_the_interval():
    """An end of a 95 % interval is where the chance is 97.5 or 2.5 %, however few the histories."""
    for n in (2, 3, 16, 4096):
        edge = with_interval(-t_factor(n), 1.0, n)
        assert edge.high == pytest.approx(0.0, abs=1e-12)
        assert chance_below_zero(edge, n) == pytest.approx(0.975, abs=1e-9)
        assert chance_below_zero(-edge, n) == pytest.approx(0.025, abs=1e-9)


# --- shares --------------------------------------------------------------------------------------


def test_two_histories_say_nothing_of_a_share_that_was_not_seen():
    result = compared("", histories=2)
    failing = result.designs[0].probability_of_failure_on_demand
    assert (failing.value, failing.low, failing.high) == (0.0, 0.0, 1.0)
    assert math.isnan(failing.std_error)
    assert percent(failing) == "unknown"
    result = compared(UNSEEN, histories=2)
    design = result.designs[0]
    always = design.probability_of_failure_on_demand
    assert (always.value, always.low, always.high) == (1.0, 0.0, 1.0)
    assert design.failure_modes["not sensed"].low == 0.0
    text = printed(result)
    assert ">0" not in text
    assert "unknown %" not in text


@pytest.mark.parametrize("histories", [1, 2, 16, 300])
def test_without_automation_all_fail_by_definition(histories):
    design = compared(NOTHING, histories=histories).designs[0]
    assert design.probability_of_failure_on_demand == Estimate.exact(1.0)
    assert design.failure_modes == {"no automation": Estimate.exact(1.0)}
    assert cells.percent(design.probability_of_failure_on_demand) == "100 %"


def test_a_share_of_all_that_was_only_seen_is_a_bound():
    design = compared(UNSEEN, histories=300).designs[0]
    failing = design.probability_of_failure_on_demand
    assert failing.value == 1.0
    assert failing.low == pytest.approx(0.99)
    assert cells.percent(failing) == "> 99 %"


# --- quantiles of volume -------------------------------------------------------------------------


def volumes(values: np.ndarray, block: int = 1) -> Tally:
    """Return the tally of histories (rows) of leaks (columns) with these volumes, m3."""
    n, m = values.shape
    rows = np.zeros((1, n, m), L.INCIDENT).view(np.recarray)
    rows["weight"] = 1.0
    rows["volume"] = values
    tally = Tally(1, 10.0, block)
    nothing = np.zeros(0, L.INCIDENT).view(np.recarray)
    tally.add(Chunk(0, rows, nothing, np.zeros((1, n), L.SUMMARY).view(np.recarray)))
    return tally


def test_a_volume_that_always_escapes_is_told_exactly():
    found = volumes(np.full((64, 4), 0.0061234)).volume_quantile(0, 0.5)
    assert found.value == 0.0061234
    assert found.low == found.high == 0.0061234


def test_between_two_volumes_the_quantile_is_one_of_them():
    values = np.where(np.arange(400) % 10 < 7, 0.2, 3.0).reshape(40, 10)
    tally = volumes(values)
    assert tally.volume_quantile(0, 0.5).value == 0.2
    assert tally.volume_quantile(0, 0.95).value == 3.0


def test_rounding_to_bins_is_part_of_the_error():
    """Even groups of many leaks leave no spread; the width of a bin is left."""
    one = np.geomspace(1e-3, 1.0, 20_001)
    tally = volumes(np.tile(one, (4, 1)))
    for share in (0.31, 0.5, 0.77):
        found = tally.volume_quantile(0, share)
        exact = float(np.quantile(one, share))
        assert found.value == pytest.approx(exact, rel=0.003)
        assert found.low <= exact <= found.high
        assert 1e-4 < found.relative_error < 0.01


def test_intervals_of_volume_quantiles_hold_the_truth():
    generator = np.random.default_rng(4)
    held = 0
    for _ in range(80):
        tally = volumes(generator.lognormal(size=(256, 16)))
        found = tally.volume_quantile(0, 0.95)
        held += found.low <= math.exp(1.6448536) <= found.high
    assert held >= 70


def test_volumes_of_one_group_have_no_error():
    found = volumes(np.linspace(1.0, 2.0, 12).reshape(1, 12)).volume_quantile(0, 0.5)
    assert 1.4 < found.value < 1.6
    assert math.isnan(found.std_error)
    assert (found.low, found.high) == (0.0, math.inf)
    nothing = Tally(1, 10.0, 1).volume_quantile(0, 0.5)
    assert math.isnan(nothing.value)
    assert ranges("", [found]).cells[0].endswith("(unknown)")


def test_sums_of_volumes_do_not_depend_on_the_pieces(cottage):
    params = leaking(cottage.parameters(), 0.1)
    setup = Setup.of(params, 3)
    whole, pieces = (Tally(len(params), 10.0) for _ in range(2))
    whole.add(run_chunk(setup, 0, 96))
    for first in (0, 32, 64):
        pieces.add(run_chunk(setup, first, 32))
    assert np.array_equal(whole.volume_ends, pieces.volume_ends)
    assert whole.volumes == pytest.approx(pieces.volumes, rel=1e-9)


# --- words ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "error", "told"),
    [
        (-0.0, 0.0, "0"),
        (-0.0, math.nan, "0"),
        (-0.001, 3.0, "0"),
        (7e-10, 2e-10, "7e-10"),
        (0.00012, 0.00001, "0.00012"),
        (1000.0, 1e-40, "1,000.00000000"),
        (math.nan, 1.0, "unknown"),
    ],
)
def test_amounts_at_the_edges(value, error, told):
    assert amount(value, error) == told


def test_shares_at_the_edges():
    assert percent(Estimate(math.nan, math.nan, 0.0, 1.0)) == "unknown"
    assert plus_minus("", [Estimate(math.nan, math.nan, 0.0, 1.0)], 100.0, "%").cells == (
        "unknown",
    )
    assert bound(Estimate(1.0, math.nan, 1.0 - 3.0 / 16, 1.0), 100.0) == ">81.25"
    assert bound(Estimate.exact(1.0), 100.0) == ""
    assert percent(Estimate(7e-12, 2e-12, 3e-12, 1.1e-11)) == "7e-10 %"
    assert cells.number(Estimate(math.nan, math.nan, 0.0, 1.0), unit=" %").text == cells.NONE


def test_failing_at_every_leak_is_told_as_that():
    said = {}
    for name, changes in (("none", NOTHING), ("never sensed", UNSEEN)):
        text = io.StringIO()
        result = failure_on_demand(perfect(changes), "0", most=64)
        print_failure_on_demand(make_console(text), result)
        said[name] = " ".join(text.getvalue().split())
    assert "one leak in 1" not in " ".join(said.values())
    assert "Nothing fitted can stop a leak" in said["none"]
    assert "Automation stopped no leak in time" in said["never sensed"]


def test_the_command_tells_of_a_bound(tmp_path):
    file = tmp_path / "rare.toml"
    from checks import PERFECT

    file.write_text(PERFECT.format(life="87600 h") + f"\n[designs.a]\n{HARMLESS}\n")
    done = CliRunner().invoke(app, ["compare", str(file), "--histories", "16"])
    assert done.exit_code == 0, done.output
    assert "no damage was seen" in done.output.replace("\n", " ")
    assert "(0 to 0)" not in done.output
