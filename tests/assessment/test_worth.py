"""Cost and benefit against cases worked by hand."""

from __future__ import annotations

import pytest

import shutoffsim
from shutoffsim.errors import ScenarioError
from shutoffsim.estimate.estimate import Estimate
from shutoffsim.study.assessment.loss_parts import Worth
from shutoffsim.study.assessment.worth import annuity, payback_time, worth

SCENARIO = """
[leaks.hose]
kind = "appliance hose"
[exercise]
interval = "30 days"
[costs]
discount_rate = "5 %"
[designs.before]
element.kind = "none"
[designs.after]
costs = {purchase = "300 EUR", fitting = "100 EUR", upkeep_per_year = "10 EUR"}
[designs.exercised]
like = "after"
costs.per_exercise = "0.50 EUR"
[designs.free]
element.kind = "clamped actuator"
[designs.partly]
costs.purchase = "200 EUR"
"""
SAVING = Estimate(90.0, 10.0, 70.0, 110.0)
INSURED = Estimate(60.0, 8.0, 44.0, 76.0)
OWN = Estimate(30.0, 4.0, 22.0, 38.0)


def judged(design: str, reference: str = "before") -> tuple[Worth | None, str]:
    scenario = shutoffsim.loads(SCENARIO)
    systems = (scenario.design(design).system, scenario.design(reference).system)
    return worth(*systems, SAVING, INSURED, OWN, 10.0)


def found(design: str, reference: str = "before") -> Worth:
    told, reason = judged(design, reference)
    assert told is not None, reason
    return told


def test_present_value_worked_by_hand() -> None:
    # ten payments of 90 - 10 = 80 at 5 %: 80 x 7.721735 = 617.74; less 400 at once: 217.74
    told = found("after")
    assert told.net_present_value.value == pytest.approx(217.74, abs=0.005)
    # ends of the saving 70 and 110: 60 x 7.721735 - 400 and 100 x 7.721735 - 400
    assert told.net_present_value.low == pytest.approx(63.30, abs=0.005)
    assert told.net_present_value.high == pytest.approx(372.17, abs=0.005)
    assert told.net_present_value.std_error == pytest.approx(77.22, abs=0.005)
    assert told.worth_up_to.value == pytest.approx(617.74, abs=0.005)
    # the owner saves 30 - 10 = 20 a year
    assert told.own_net_present_value.value == pytest.approx(20 * 7.721735 - 400, abs=0.005)
    assert told.insured_saving_per_year == INSURED


def test_payback_worked_by_hand() -> None:
    told = found("after")
    # 400 / 80; at 5 %: -ln(1 - 400 x 0.05 / 80) / ln 1.05 = 0.287682 / 0.048790
    assert told.payback.years == pytest.approx(5.0)
    assert told.discounted_payback.years == pytest.approx(5.8963, abs=1e-4)
    # saving 110: 400 / 100; saving 70: 400 / 60
    assert told.payback.low == pytest.approx(4.0)
    assert told.payback.high == pytest.approx(6.6667, abs=1e-4)


def test_exercises_cost_what_they_are_said_to() -> None:
    told = found("exercised")
    assert told.exercise_per_year == pytest.approx(0.5 * 365.25 / 30)
    assert told.extra_per_year == pytest.approx(10.0 + 0.5 * 365.25 / 30)
    assert found("after").exercise_per_year == 0.0


def test_only_the_extra_over_the_reference_counts() -> None:
    told = found("after", "partly")
    assert told.extra_first == pytest.approx(200.0)
    assert found("partly", "after").extra_first == pytest.approx(-200.0)
    assert found("partly", "after").payback.years == 0.0


def test_costs_that_are_not_stated_are_named() -> None:
    assert found("partly").not_stated == ("fitting", "upkeep_per_year")
    assert found("after").not_stated == ()


def test_no_costs_no_worth_but_a_reason() -> None:
    assert judged("free") == (None, "the scenario states no costs of this design")
    assert judged("after", "free") == (None, "the scenario states no costs of the reference")


def test_what_never_pays_has_no_payback() -> None:
    assert payback_time(0.0, 100.0, 0.0) is None
    assert payback_time(-5.0, 100.0, 0.03) is None
    assert payback_time(4.0, 100.0, 0.05) is None  # interest alone is 5
    assert payback_time(0.01, 100.0, 0.0) is None  # after 10,000 years
    assert payback_time(-5.0, -100.0, 0.0) is None
    assert payback_time(5.0, -100.0, 0.0) == 0.0


@pytest.mark.parametrize(("rate", "years"), [(0.0, 10.0), (0.03, 10.0), (0.07, 25.0)])
def test_annuity_is_the_sum_of_discounted_payments(rate: float, years: float) -> None:
    by_year = sum((1.0 + rate) ** -n for n in range(1, int(years) + 1))
    assert annuity(rate, years) == pytest.approx(by_year, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('costs.discount_rate = "5 EUR"', "discount_rate"),
        ("costs.discount_rate = -0.1", "discount_rate"),
        ("costs.discount_rate = 3", "discount_rate"),
        ('costs.per_exercise = "-1 EUR"', "per_exercise"),
        ('costs.per_exercise = "1 USD"', "per_exercise"),
    ],
)
def test_bad_costs_are_refused_with_their_key(text: str, key: str) -> None:
    with pytest.raises(ScenarioError, match=key):
        shutoffsim.loads(
            SCENARIO.replace("[costs]\n", f"[costs]\n{text.split('.', 1)[1]}\n").replace(
                'discount_rate = "5 %"\n', "" if "discount" in text else 'discount_rate = "5 %"\n'
            )
        )
