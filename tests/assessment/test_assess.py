"""The assessment: its figures are those of the comparison, and its parts fit each other."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import pytest

import shutoffsim
from shutoffsim.errors import ModelError, ScenarioError
from shutoffsim.report.files import to_json
from shutoffsim.study.assessment.assess import STAGES, assess
from shutoffsim.study.assessment.result import FORMAT, Assessment
from shutoffsim.study.assessment.worth import annuity

DESIGNS = ("no automation", "plus battery")
HISTORIES, SEED = 256, 6


@pytest.fixture(scope="module")
def compared(cottage: shutoffsim.Scenario) -> shutoffsim.Comparison:
    return shutoffsim.compare(cottage, DESIGNS, histories=HISTORIES, seed=SEED)


def quick(text: str, **how: Any) -> Assessment:
    settings = {"histories": 64, "removal_histories": 8, "swing_histories": 8} | how
    return assess(shutoffsim.loads(text), **settings)


def test_figures_are_those_of_the_comparison(
    assessed: Assessment, compared: shutoffsim.Comparison
) -> None:
    assert assessed.comparison.as_dict() == compared.as_dict()
    assert assessed.answer == compared.answer()
    for design, result in zip(assessed.designs, compared.designs, strict=True):
        assert design.demand.probability == result.probability_of_failure_on_demand
        shares = {m.mode: m.leaks.value for m in design.modes if m.mode != "none"}
        expected = {mode: e.value for mode, e in result.failure_modes.items()}
        assert shares == pytest.approx(expected, rel=1e-9)
        damage = sum(mode.damage.value for mode in design.modes)
        assert damage == pytest.approx(result.expected_annual_damage.value, rel=1e-9)
        assert sum(mode.damage_share.value for mode in design.modes) == pytest.approx(1.0)


def test_yearly_losses_carry_the_expected_damage(
    assessed: Assessment, compared: shutoffsim.Comparison
) -> None:
    """The mean of the worst half of the years, halved, is all: the other half costs nothing."""
    for design, result in zip(assessed.designs, compared.designs, strict=True):
        two_years = design.yearly_loss.periods[0]
        assert two_years.aggregate.value == 0.0
        assert 0.5 * two_years.aggregate_tail.value == pytest.approx(
            result.expected_annual_damage.value, rel=1e-4
        )
        curve = [point.occurrence.value for point in design.yearly_loss.curve]
        assert curve == sorted(curve, reverse=True)
        first, last = design.yearly_loss.periods[0], design.yearly_loss.periods[-1]
        assert first.occurrence.value <= last.occurrence.value <= last.occurrence_tail.value


def test_saving_is_the_paired_difference(
    assessed: Assessment, compared: shutoffsim.Comparison
) -> None:
    worth = assessed.design("plus battery").worth
    assert worth is not None
    difference = compared.differences[0].expected_annual_damage
    assert worth.saving_per_year.value == -difference.value
    assert worth.saving_per_year.std_error == difference.std_error
    assert (worth.saving_per_year.low, worth.saving_per_year.high) == (
        -difference.high,
        -difference.low,
    )
    parts = worth.insured_saving_per_year.value + worth.own_saving_per_year.value
    assert parts == pytest.approx(worth.saving_per_year.value, rel=1e-9)
    insured = [d.insured_annual_damage.value for d in compared.designs]
    assert worth.insured_saving_per_year.value == pytest.approx(insured[0] - insured[1], rel=1e-9)
    assert assessed.designs[0].worth is None


def test_times_are_those_of_the_incidents(assessed: Assessment) -> None:
    table = assessed.incidents.to_pandas()
    for design in assessed.designs:
        rows = table[table["design"] == design.name]
        weight = rows["weight"].to_numpy()
        for step, column in (("onset to sensed", "sensed_h"), ("onset to stopped", "stopped_h")):
            times = next(t for t in design.times if t.step == step)
            hours = rows[column].to_numpy()
            never = np.isnan(hours)
            assert times.never.value == pytest.approx(weight[never].sum() / weight.sum(), abs=1e-9)
            for point in times.curve:
                reached = weight[~never & (hours * 3600.0 <= point.time_s)].sum() / weight.sum()
                assert point.share.value == pytest.approx(reached, abs=0.02)
            for quantile in times.quantiles:
                if quantile.time_s is not None:
                    below = weight[~never & (hours * 3600.0 <= quantile.time_s.value)].sum()
                    assert below / weight.sum() == pytest.approx(quantile.share, abs=0.02)
                else:
                    assert 1.0 - times.never.value < quantile.share + 1e-9


def test_stories_are_those_of_replay(assessed: Assessment, cottage: shutoffsim.Scenario) -> None:
    told = [(story.design, story.pick) for story in assessed.stories]
    assert told == [(name, pick) for name in DESIGNS for pick in ("typical", "worst")]
    for story in assessed.stories:
        again = shutoffsim.replay(
            cottage, story.design, history=story.history, probe=story.probe, seed=SEED
        )
        assert story.loss == again.incidents[0]["loss"]
        assert [e.what for e in story.events] == [e.what for e in again.events]
        volumes = [e.volume_l for e in story.events if e.after_onset_s >= 0.0]
        assert volumes == sorted(volumes)
        assert volumes[0] == 0.0
        assert volumes[-1] == pytest.approx(story.volume_l, rel=1e-9)


def test_torque_grows_and_falls_short_where_it_is_weak(assessed: Assessment) -> None:
    assert assessed.designs[0].torque == ()
    first, last = assessed.designs[1].torque
    assert (first.years, last.years) == (0.0, pytest.approx(assessed.horizon_years))
    assert first.needed_median_n_m < first.needed_p95_n_m < first.needed_p99_n_m
    assert last.needed_median_n_m > first.needed_median_n_m
    assert last.short >= first.short
    assert first.available_battery_n_m is not None
    assert first.available_weak_n_m < first.available_supply_n_m


def test_limits_stand_where_four_fifths_of_the_torque_are_used(
    assessed: Assessment, cottage: shutoffsim.Scenario
) -> None:
    limits = assessed.design("plus battery").maintenance.limits
    assert limits is not None
    motor = cottage.design("plus battery").system.actuator
    supply = cottage.design("plus battery").system.supply
    # at 80 % of the stall torque the motor turns at a fifth of its free speed
    turns = cottage.design("plus battery").system.valve.turns
    speed = motor.no_load_speed * supply.voltage / motor.rated_voltage
    assert limits.closing_time_limit_s == pytest.approx(turns / (0.2 * speed))
    rise = limits.stall_current_a - motor.no_load_current
    assert limits.current_limit_a == pytest.approx(motor.no_load_current + 0.8 * rise)
    drop = supply.resistance * limits.stall_current_a  # the circuit closes
    share = (supply.voltage - drop) / motor.rated_voltage
    assert limits.stall_current_a == pytest.approx(
        motor.stall_current * share**motor.current_exponent
    )
    # many of these valves are too stiff for this actuator; the middle of the others is told
    assert limits.closing_time_s > 0.0
    assert motor.no_load_current < limits.current_a < limits.stall_current_a


def test_a_middle_valve_stays_within_the_limits() -> None:
    found = quick(ONE + '[designs.after]\n[designs.after.actuator]\nstall_torque = "20 N*m"\n')
    limits = found.design("after").maintenance.limits
    assert limits is not None
    assert limits.closing_time_s < limits.closing_time_limit_s
    assert limits.current_a < limits.current_limit_a < limits.stall_current_a


def test_closing_by_hand_adds_up(assessed: Assessment) -> None:
    bare, clamped = (d.maintenance for d in assessed.designs)
    assert [s.what for s in bare.override][:2] == ["find the valve", "turn it shut"]
    assert [s.what for s in clamped.override][1] == "free it from its drive"
    assert bare.override_total is not None
    assert clamped.override_total is not None
    assert clamped.override_total.median_s > bare.override_total.median_s
    assert bare.exercise_days is None
    assert clamped.exercise_days == pytest.approx(30.0)


def test_every_value_in_use_has_its_source(
    assessed: Assessment, cottage: shutoffsim.Scenario
) -> None:
    for name in DESIGNS:
        rows = cottage.ledger(name)
        told = {value.key: value for value in assessed.ledger(name)}
        assert sorted(told) == sorted(rows["key"])
        assert all(told[row.key].source == row.source for row in rows.itertuples())
        weak = {a.key for a in cottage.assumptions(name)}
        assert weak <= {value.key for value in assessed.assumptions(name)}
    used = {value.key for value in assessed.ledger("no automation", used=True)}
    assert "actuator.stall_torque" not in used
    assert "dwelling.pressure" in used
    demand = assessed.designs[1].demand
    assert sum(demand.values_by_label.values()) == len(
        assessed.ledger(assessed.designs[1].name, used=True)
    )


def test_stored_and_read_again_it_is_the_same(assessed: Assessment) -> None:
    text = to_json(assessed)
    again = Assessment.from_dict(json.loads(text))
    assert to_json(again) == text
    assert again.incidents is None
    assert again.comparison.answer() == assessed.answer
    assert again.designs[1].worth == assessed.designs[1].worth


def test_same_question_same_bytes_however_it_is_split() -> None:
    text = ONE + "[sensors.a]\n[designs.after]\n"
    how = {"histories": 260, "removal_histories": 260, "swing_histories": 16}
    assert to_json(quick(text, **how)) == to_json(quick(text, workers=2, **how))


def test_command_computes_the_same_again(assessed: Assessment) -> None:
    assert assessed.command == (
        "shutoffsim compare cottage.toml --design 'no automation' --design 'plus battery' "
        f"--histories {HISTORIES} --seed {SEED}"
    )


ONE = """
name = "one design"
[leaks.hose]
kind = "appliance hose"
[designs.only]
element.kind = "none"
"""


def test_one_design_alone() -> None:
    found = quick(ONE)
    assert (found.reference, found.chosen, found.sensitivity) == ("only", "only", None)
    assert found.comparison.differences == ()
    assert "is expected to cost" in found.answer
    assert found.designs[0].no_worth == "it is the reference"
    assert len(found.stories) == 2
    assert json.loads(to_json(found))["designs"][0]["worth"] is None


def test_nothing_leaks() -> None:
    text = """
[leaks.hose]
rate = "0 per year"
open_end_flow = "10 L/min"
[sensors.a]
[designs.before]
element.kind = "none"
[designs.after]
costs.purchase = "100 EUR"
"""
    found = quick(text)
    assert found.stories == ()
    after = found.designs[1]
    assert after.modes == ()
    assert after.worth is not None
    assert after.worth.repairs_per_year > 0.0
    repairs = after.worth.repairs_per_year * annuity(after.worth.discount_rate, after.worth.years)
    assert after.worth.net_present_value.value == pytest.approx(-100.0 - repairs)
    assert after.worth.payback.years is None
    assert all(t.quantiles[0].time_s is None for t in after.times)
    again = Assessment.from_dict(json.loads(to_json(found)))
    assert math.isnan(again.designs[1].demand.probability.value)
    assert to_json(again) == to_json(found)


def test_huge_amounts() -> None:
    text = ONE.replace('name = "one', 'damage.area_loss = "1e12 EUR/m2"\nname = "one')
    found = quick(text.replace("[leaks", 'damage.loss_cap = "no limit"\n[leaks', 1), seed=2)
    worst = found.designs[0].yearly_loss.periods[-1]
    assert worst.occurrence_tail.value > 1e9
    assert json.loads(to_json(found))["designs"][0]["yearly_loss"]["periods"][-1]["period_years"]


def test_stages_are_told(cottage: shutoffsim.Scenario) -> None:
    stages: list[str] = []
    seen: list[tuple[int, int]] = []
    assess(
        cottage,
        DESIGNS,
        histories=32,
        removal_histories=4,
        swing_histories=4,
        stage=stages.append,
        progress=lambda done, planned: seen.append((done, planned)),
    )
    assert tuple(stages) == STAGES
    assert sum(done == planned for done, planned in seen) >= 3


def test_parts_can_be_left_out(cottage: shutoffsim.Scenario) -> None:
    found = assess(cottage, DESIGNS, histories=8, removal_histories=0, swing_histories=0)
    assert found.sensitivity is None
    assert all(design.removals == () for design in found.designs)


@pytest.mark.parametrize(
    ("how", "error", "words"),
    [
        ({"designs": ("no automation", "nowhere")}, ScenarioError, "no such design"),
        ({"designs": ("plus battery", "plus battery")}, ModelError, "named twice"),
        ({"chosen": "nowhere"}, ScenarioError, "no such design"),
        (
            {"designs": ("no automation",), "chosen": "plus battery"},
            ModelError,
            "not among those compared",
        ),
        ({"histories": 0}, ModelError, "histories is out of range"),
        ({"removal_histories": -1}, ModelError, "removal_histories is out of range"),
        ({"swing_histories": 10**9}, ModelError, "swing_histories is out of range"),
        ({"seed": -1}, ModelError, "seed is out of range"),
    ],
)
def test_bad_questions_are_refused(
    cottage: shutoffsim.Scenario, how: dict[str, Any], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        assess(cottage, **how)


def test_damaged_data_are_refused(assessed: Assessment) -> None:
    data = json.loads(to_json(assessed))
    with pytest.raises(ModelError, match="not an assessment of this version"):
        Assessment.from_dict({**data, "format": FORMAT + 1})
    with pytest.raises(ModelError, match="not an assessment of this version"):
        Assessment.from_dict([])
    del data["comparison"]["designs"][0]["leaks_per_year"]
    with pytest.raises(ModelError, match=r"comparison\.designs\.0\.leaks_per_year: .*damaged"):
        Assessment.from_dict(data)
    data = json.loads(to_json(assessed))
    data["designs"][0]["yearly_loss"]["curve"][0]["occurrence"]["value"] = "much"
    with pytest.raises(ModelError, match=r"damaged(.|\n)*numbers"):
        Assessment.from_dict(data)


def test_unknown_design_of_a_result(assessed: Assessment) -> None:
    with pytest.raises(ModelError, match="no such design in this result"):
        assessed.design("nowhere")
