"""Published and exact numbers, found again; the page that shows them; and faults that must show."""

from __future__ import annotations

import dataclasses
import re
from functools import cache
from pathlib import Path

import numpy as np
import published_dormant as dormant
import published_lives as lives
import published_water as water
import pytest
from checks import FAILED, perfect, ratio
from support.agreement import Check, Found, half_unit, judge

from makers import validation
from shutoffsim.engine.run import Setup, run_chunks
from shutoffsim.errors import ModelError, OutputError

PAGE = Path(__file__).resolve().parents[2] / "docs" / "validation.md"
COLLECTION = validation.collect(validation.CHECKS)


@cache
def find(check: Check) -> Found:
    return check.find()


@pytest.mark.parametrize("check", COLLECTION.checks, ids=str)
def test_a_published_number_is_found_again(check):
    found = find(check)
    verdict = judge(check, found)
    assert verdict.passed, f"{found} against {check.printed} ({check.exact}): {verdict.faults}"


def test_there_are_many_and_no_two_are_the_same():
    names = [str(check) for check in COLLECTION.checks]
    assert len(names) >= 45
    assert len(set(names)) == len(names)


def test_a_check_says_which_code_it_runs():
    """Fits that no command reaches, and the procedure of the tests, are not passed off as more."""
    for check in COLLECTION.checks:
        expected = {
            "Fits of lives": "function",
            "Trends of repaired parts": "function",
            "Adaptive procedure": "oracle",
        }.get(check.group, "command")
        if check.name == "the same: number of failures":  # simulated, nothing is fitted
            expected = "command"
        assert check.runs == expected, str(check)
    with pytest.raises(ModelError, match="no such code to run"):
        example(runs="luck")


def test_the_page_is_up_to_date():
    page = validation.write_page(COLLECTION, [find(check) for check in COLLECTION.checks])
    assert PAGE.read_text(encoding="utf-8") == page, "run python docs/refresh.py validation"


# --- faults that must show ----------------------------------------------------------------------


@pytest.mark.parametrize("check", COLLECTION.checks, ids=str)
def test_no_check_is_so_wide_that_it_takes_a_wrong_value(check):
    found = find(check)
    step = 0.35 * abs(found.value) if abs(found.value) > 0.01 or check.printed != "0.00" else 0.05
    for value in (found.value - step, found.value + step):
        verdict = judge(check, found._replace(value=value))
        assert not verdict.passed


def share_failing(changes: str, spoil, histories: int = 4000, life: str = "175200 h") -> Found:
    params = perfect(changes, life=life).parameters()
    spoil(params)
    chunks = run_chunks(Setup.of(params, 1), 0, histories)
    tops, bottoms = zip(*(FAILED(chunk) for chunk in chunks), strict=True)
    return Found(*ratio(np.concatenate(tops), np.concatenate(bottoms)))


def nothing(params) -> None:
    pass


def named(part: str) -> Check:
    (check,) = (check for check in COLLECTION.checks if part in str(check))
    return check


ONE = "(1oo1): 5.0E-06/h, T1 8760 h, DC 0%"
TWO = "without approximation: 1oo2, 2.5E-05/h"


def spoil_interval(params) -> None:
    params["exercise_interval"] *= 1.5


def spoil_coverage(params) -> None:
    params["exercise_coverage"] = 0.7


def spoil_votes(params) -> None:
    params["detection_votes"] = 2


def spoil_independence(params) -> None:
    params["detection_common_cause"] = 0.05


@pytest.mark.parametrize(
    ("part", "changes", "spoil"),
    [
        (ONE, dormant.single(5e-6, 8760), spoil_interval),
        (ONE, dormant.single(5e-6, 8760), spoil_coverage),
        (TWO, dormant.sensors(1, 2, 2.5e-5, 8760), spoil_votes),
        (TWO, dormant.sensors(1, 2, 2.5e-5, 8760), spoil_independence),
    ],
)
def test_a_fault_in_the_system_shows(part, changes, spoil):
    check = named(part)
    assert judge(check, share_failing(changes, nothing)).passed
    assert not judge(check, share_failing(changes, spoil)).passed


def test_the_product_of_averages_shows():
    """x^2 / 4 in place of x^2 / 3: the usual mistake with two channels tested together."""
    check = named(TWO)
    single = float(named("without approximation: 1oo1, 2.5E-05/h").exact)
    assert not judge(check, find(check)._replace(value=single**2)).passed


def test_a_slip_in_the_data_shows():
    failures, right = lives.UNITS_ON_TEST
    check = named("10 survivors at 500 h: Weibull shape")
    slipped = lives.fitted(([45.0, *failures[1:]], right), lives.value("shape"))
    assert not judge(check, slipped()).passed
    forgotten = lives.fitted((failures, []), lives.value("shape"))
    assert not judge(check, forgotten()).passed


def test_another_discharge_coefficient_shows():
    check = named("5 mm hole, 30 m")
    assert not judge(check, water.flow(water.hole("5 mm", 30, 0.74))()).passed


# --- the judge ------------------------------------------------------------------------------------


def example(**changes) -> Check:
    base = Check("group", "name", lambda: Found(0.0), "source", "published", printed="1.1E-2")
    return dataclasses.replace(base, **changes)


@pytest.mark.parametrize(
    ("printed", "half"),
    [("1.1E-2", 5e-4), ("137", 0.5), ("0.75", 5e-3), ("-75.135", 5e-4), ("4.0E+0", 0.05)],
)
def test_half_a_unit_in_the_last_place(printed, half):
    assert half_unit(printed) == pytest.approx(half)


@pytest.mark.parametrize("printed", ["", "about 3", "1,5", "1.1e-2", "3 bar"])
def test_what_is_no_printed_number(printed):
    with pytest.raises(ModelError, match="not a printed number"):
        half_unit(printed)


def test_half_a_unit_and_three_standard_errors_are_allowed():
    check = example()
    assert judge(check, Found(0.0114)).passed
    assert judge(check, Found(0.0116)).faults == ("away from the printed value",)
    assert judge(check, Found(0.0116, 0.0001)).passed
    assert not judge(check, Found(0.0116, 0.00003)).passed
    assert judge(check, Found(0.0116, 0.00003)).allowed == pytest.approx(0.00059)


def test_printed_and_exact_are_judged_apart():
    check = example(exact="1.12E-2")
    assert judge(check, Found(0.0112)).passed
    assert judge(check, Found(0.0110)).faults == ("away from the exact value",)


def test_a_refuted_number_must_not_be_met():
    check = example(exact="9.0E-3", refuted="a slip")
    assert judge(check, Found(0.009)).passed
    assert (
        "known to be wrong" in judge(example(exact="1.1E-2", refuted="x"), Found(0.011)).faults[0]
    )


def test_an_own_allowance_takes_the_place_of_half_a_unit():
    assert judge(example(within=0.002), Found(0.0129)).passed
    assert not judge(example(within=0.0001), Found(0.0112)).passed
    assert judge(example(printed=None, exact="0.5000", within=0.1), Found(0.41)).passed
    # beside a printed number, the exact one keeps its own
    assert not judge(example(within=0.1, exact="1.10E-2"), Found(0.02)).passed


def test_a_vague_or_missing_value_is_no_success():
    assert judge(example(), Found(0.011, 0.002)).faults == ("too vague to be a check",)
    assert not judge(example(), Found(float("nan"))).passed


def test_a_check_needs_something_to_compare_with():
    with pytest.raises(ModelError, match="nothing to compare"):
        example(printed=None)
    with pytest.raises(ModelError, match="nothing to compare"):
        example(refuted="wrong")
    with pytest.raises(ModelError, match="no such evidence"):
        example(evidence="hearsay")


# --- the page -------------------------------------------------------------------

MODULE = """
from support.agreement import Check, Found, LeftOut
CHECKS = [
    Check("Halves", "one half", lambda: Found({value}), "arithmetic", "computed", exact="0.500"),
    Check("Halves", "a slip", lambda: Found(0.25, 0.001), "a book", "published", printed="0.52",
          exact="0.250", refuted="half of a half is a quarter."),
]
LEFT_OUT = [LeftOut("thirds", "no thirds here")]
"""


@pytest.fixture
def folder(tmp_path, monkeypatch, request):
    monkeypatch.setattr("sys.path", [*__import__("sys").path])
    place = tmp_path / "some"
    place.mkdir()

    def write(value: float) -> Path:
        name = re.sub(r"\W", "_", request.node.name)
        (place / f"published_{name}.py").write_text(MODULE.format(value=value))
        return place

    return write


def test_the_page_tells_what_was_found(folder):
    ((file, content),) = validation.files(folder(0.5))
    assert file == PAGE
    text = content.decode()
    assert "| one half | arithmetic | computed |  | 0.500 | 0.5 | 0 | 0.0005 | agrees |" in text
    assert "| 0.008 | disagrees, as it must |" in text
    assert "| a slip [1] | a book | published | 0.52 | 0.250 | 0.2500 | 0.0010 | 0.008 |" in text
    assert "\n[1] Half of a half is a quarter." in text
    assert "| thirds | no thirds here |" in text
    assert "2 of 2 checks hold" in text


def test_a_check_that_fails_stands_on_the_page_and_is_an_error(folder):
    files = validation.files(folder(0.6))
    _, content = next(files)
    assert "**FAILS**: away from the exact value" in content.decode()
    with pytest.raises(ModelError, match="1 of 2 checks do not hold") as caught:
        next(files)
    assert caught.value.found == "Halves: one half: away from the exact value"


def test_a_folder_without_checks_is_refused(tmp_path):
    with pytest.raises(OutputError, match="no checks here"):
        validation.collect(tmp_path)
