"""The figures on the pages are those of the result."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from summary_pages import make, text

from shutoffsim.estimate.estimate import Estimate
from shutoffsim.report.wording import NOT_COVERED
from shutoffsim.study import cautions
from shutoffsim.study.assessment.result import Assessment

NUMBER = r"(-?[\d,]*\.?\d+)"
RANGE = rf"{NUMBER} \({NUMBER} to {NUMBER}\)"


@pytest.fixture(scope="module")
def told(cottage_assessed: Assessment) -> str:
    return text(make(cottage_assessed))


@pytest.fixture(scope="module")
def stored(cottage_assessed: Assessment) -> dict:
    """The result as somebody reads it from its file."""
    return json.loads(json.dumps(cottage_assessed.as_dict()))


def number(shown: str) -> float:
    return float(shown.replace(",", ""))


def is_shown(shown: str, value: float, error: float) -> bool:
    """Whether a printed number is a value, rounded to what its standard error supports.

    That is half a unit of the digit in which the error begins, or of the next one from 10 on.
    """
    share = 0.05 if error >= 10.0 else 0.5
    return abs(number(shown) - value) <= share * error + 1e-9 * abs(value)


def tile(told: str, label: str, currency: str) -> tuple[str, str, str]:
    found = re.search(
        rf"{re.escape(label)} {NUMBER} {currency} 95 % interval {NUMBER} to {NUMBER}", told
    )
    assert found, label
    return found.groups()


def design_of(stored: dict, name: str) -> dict:
    return next(d for d in stored["comparison"]["designs"] if d["name"] == name)


@pytest.mark.parametrize(("label", "which"), [("without it", "reference"), ("with it", "chosen")])
def test_damage(told, stored, label, which):
    damage = design_of(stored, stored[which])["expected_annual_damage"]
    shown = tile(told, f"Expected annual damage, {label}", stored["currency"])
    for printed, key in zip(shown, ("value", "low", "high"), strict=True):
        assert is_shown(printed, damage[key], damage["std_error"]), key


def test_reduction(told, stored):
    gap = next(d for d in stored["comparison"]["differences"] if d["design"] == stored["chosen"])
    gap = gap["expected_annual_damage"]
    value, low, high = tile(told, "Reduction a year", stored["currency"])
    assert is_shown(value, -gap["value"], gap["std_error"])
    assert is_shown(low, -gap["high"], gap["std_error"])
    assert is_shown(high, -gap["low"], gap["std_error"])
    assert f"{stored['chosen']}” the expected water damage is {value}" in told


def test_failure_on_demand(told, stored):
    pfd = design_of(stored, stored["chosen"])["probability_of_failure_on_demand"]
    found = re.search(rf"Failure on demand \(PFD\) {NUMBER} ± {NUMBER} %", told)
    assert is_shown(found[1], 100.0 * pfd["value"], 100.0 * pfd["std_error"])
    half = max(pfd["high"] - pfd["value"], pfd["value"] - pfd["low"])
    assert is_shown(found[2], 100.0 * half, 100.0 * pfd["std_error"])


@pytest.mark.parametrize("years", [2, 5, 10, 25, 50, 100, 250])
def test_losses_at_return_periods(told, stored, years):
    """Value and interval of each; what is not lost is said in words, once for all such periods."""
    designs = {d["name"]: d for d in stored["designs"]}
    names = (stored["reference"], stored["chosen"])
    losses = {
        period["period_years"]: [
            next(
                p["aggregate"]
                for p in designs[name]["yearly_loss"]["periods"]
                if p["period_years"] == period["period_years"]
            )
            for name in names
        ]
        for period in designs[names[0]]["yearly_loss"]["periods"]
    }
    nothing = [when for when, both in losses.items() if all(e["high"] <= 0.0 for e in both)]
    if years in nothing:
        assert f"{max(nothing):g} years no loss no loss" in told
        return
    wanted = []
    for e in losses[years]:
        if e["high"] <= 0.0:
            wanted.append(("no loss", ()))
        elif e["value"] == 0.0:
            wanted.append((rf"at most {NUMBER}", ("high",)))
        elif e["low"] == e["high"]:
            wanted.append((NUMBER, ("value",)))
        else:
            wanted.append((RANGE, ("value", "low", "high")))
    pattern = rf"(?<!\d){years} years " + r"(?: \*)? ".join(form for form, _ in wanted)
    found = re.search(pattern, told)
    assert found, pattern
    expected = [(e[k], e["std_error"]) for e, (_, ks) in zip(losses[years], wanted, strict=True)
                for k in ks]  # fmt: skip
    for shown, (value, error) in zip(found.groups(), expected, strict=True):
        assert is_shown(shown, value, error or 0.0), (shown, value)


def test_failure_modes(told, stored):
    modes = next(d for d in stored["designs"] if d["name"] == stored["chosen"])["modes"]
    failures = [m for m in modes if m["mode"] != "none" and m["leaks"]["value"] > 0.0][:7]
    assert failures, "a design in which nothing fails tests nothing"
    for one in failures:
        found = re.search(rf"\b{one['mode']} {NUMBER} ± {NUMBER} % {NUMBER} ±", told)
        assert found, one["mode"]
        for shown, key in ((found[1], "leaks"), (found[3], "damage_share")):
            share = one[key]
            assert is_shown(shown, 100.0 * share["value"], 100.0 * share["std_error"])


def test_what_a_cure_avoids(told, stored):
    design = next(d for d in stored["designs"] if d["name"] == stored["chosen"])
    failures = [m["mode"] for m in design["modes"] if m["mode"] != "none" and m["leaks"]["value"]]
    reductions = {r["mode"]: r["reduction"] for r in design["removals"]}
    cured = [mode for mode in failures[:7] if mode in reductions]
    assert cured, "a design without removals tests nothing"
    for mode in cured:
        found = re.search(rf"\b{mode} (?:\S+ ± \S+ % ){{2}}{NUMBER}", told)
        assert found, mode
        assert is_shown(found[1], reductions[mode]["value"], reductions[mode]["std_error"])


def test_alternatives(told, stored):
    for design in stored["comparison"]["designs"]:
        damage = design["expected_annual_damage"]
        found = re.search(rf"{re.escape(design['name'])} {RANGE} {NUMBER}", told)
        assert is_shown(found[1], damage["value"], damage["std_error"])
        insured = design["insured_annual_damage"]
        assert is_shown(found[4], insured["value"], insured["std_error"])


def test_another_figure_gives_another_page(cottage_assessed, told):
    """The control: a result of which one figure is wrong is seen to be wrong."""
    comparison = cottage_assessed.comparison
    first = comparison.designs[0]
    damage = first.expected_annual_damage
    doubled = Estimate(2.0 * damage.value, damage.std_error, damage.low, damage.high)
    wrong = replace(
        cottage_assessed,
        comparison=replace(
            comparison,
            designs=(replace(first, expected_annual_damage=doubled), *comparison.designs[1:]),
        ),
    )
    label = "Expected annual damage, without it"
    shown = tile(text(make(wrong)), label, comparison.currency)[0]
    assert shown != tile(told, label, comparison.currency)[0]
    assert not is_shown(shown, damage.value, damage.std_error)


@pytest.mark.parametrize("sentence", [*cautions.fitting(), *NOT_COVERED])
def test_cautions_and_limits_are_told_in_full(told, sentence):
    if sentence == cautions.WATER_HAMMER:  # the design's own figures in its place
        assert "water hammer" in told
        assert "the pressure before the valve then rises" in told
    else:
        assert sentence in told


@pytest.mark.parametrize(
    "words",
    [
        "It is not an approval, a certificate or a condition of insurance.",
        "never let an automatic valve cut off fire sprinklers",
        "licensed plumber",
        "usable by hand",
        "Dependence on power",
        "Dependence on people",
        "Testing and upkeep",
        "Residual risks",
    ],
)
def test_what_must_stand_there(told, words):
    assert words.lower() in told.lower()


def test_basis_and_how_to_find_it_again(told, stored):
    assert stored["scenario_hash"] in told
    assert f"seed {stored['seed']}" in told
    demand = next(d for d in stored["designs"] if d["name"] == stored["chosen"])["demand"]
    assert f"{demand['values_by_label']['assumption']} assumptions" in told
    assert demand["evidence_class"] in told


def test_claims_how_often_and_how_large(told, stored):
    """Once in so many years, times the mean loss, is the expected damage again."""
    once = re.search(rf"a leak that does damage, once in {NUMBER} years {NUMBER} years", told)
    loss = re.search(rf"its mean loss {NUMBER} {NUMBER}", told)
    assert once
    assert loss
    for at, which in enumerate(("reference", "chosen"), start=1):
        design = design_of(stored, stored[which])
        years = 1.0 / design["damaging_leaks_per_year"]["value"]
        assert number(once[at]) == pytest.approx(years, rel=0.03)
        damage = number(loss[at]) / years
        assert damage == pytest.approx(design["expected_annual_damage"]["value"], rel=0.03)


def test_who_gains_and_what_it_costs(told, stored):
    totals = stored["comparison"]["totals"]
    total = next(step for step in totals if step["design"] == stored["chosen"])
    found = re.search(
        rf"the owner saves {NUMBER} EUR, the insurer {NUMBER} EUR; "
        rf"what it costs the owner: {NUMBER} EUR",
        told,
    )
    assert found
    keys = ("owner_saving", "insurer_saving", "cost_per_year")
    for shown, key in zip(found.groups(), keys, strict=True):
        assert is_shown(shown, total[key]["value"], total[key]["std_error"])


def test_no_period_has_a_loss_of_nothing(told):
    """Where nothing is lost the page says so, once for all such periods."""
    assert "no loss" in told
    assert not re.search(r"\b[\d,]+ years 0\b", told)
    assert not re.search(r"\b0 \(0 to", told)


def test_installation_tests_name_who_makes_them(told):
    assert "To be tested at installation" in told
    assert "Close and reopen the stop valve by hand (fitter)" in told
