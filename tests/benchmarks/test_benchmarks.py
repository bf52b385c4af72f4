"""The benchmarks measure what they say: small checks that run with the other tests."""

from __future__ import annotations

import json
from dataclasses import replace

import benchmark_page
import intervals
import machine
import measure
import numpy as np
import plain
import precision
import pytest
import rare
import whole_runs
from checks import Finding, assert_agrees
from draws import RAW, Notes
from floor import record_draws
from plain_scenario import DESIGNS, scenario_text

import shutoffsim
from shutoffsim.study.pfd import failure_on_demand

#: The ordinary program's system with leaks so frequent that few lives suffice.
LEAKY = replace(
    plain.System(), sources=tuple((15 * rate, flow) for rate, flow in plain.System().sources)
)


def plain_finding(system: plain.System, automation: bool, lives: int) -> Finding:
    """Return the ordinary program's loss a year beside that of the scenario of LEAKY."""
    losses = plain.simulate(system, automation, lives, seed=3)
    scenario = shutoffsim.loads(scenario_text(LEAKY))
    result = shutoffsim.compare(scenario, DESIGNS, histories=1024, seed=2)
    ours = result.designs[int(automation)].expected_annual_damage
    error = float(np.std(losses, ddof=1)) / len(losses) ** 0.5
    return Finding(float(np.mean(losses)), error, ours.value, ours.std_error)


@pytest.mark.parametrize(("automation", "lives"), [(False, 2000), (True, 4000)])
def test_the_ordinary_program_and_its_scenario_are_the_same_system(automation, lives):
    assert_agrees(plain_finding(LEAKY, automation, lives), 0.03)


def test_another_system_is_told_apart():
    other = replace(LEAKY, coverage=0.2, sensor_rate=2 * LEAKY.sensor_rate, reaches=0.75)
    assert not plain_finding(other, True, 2000).agrees


def test_a_plain_program_with_another_answer_is_refused():
    size = replace(precision.QUICK, parts=4, lives=100, probed=100)
    slow = precision.Effort(1.0, 10.0, 4.0, 0.1)
    precision.check_same(slow, replace(slow, mean=10.3), size)
    with pytest.raises(SystemExit, match="not the same system"):
        precision.check_same(slow, replace(slow, mean=11.0), size)


def test_time_to_a_precision():
    """A standard deviation of a third of the mean needs 1111 values for 1 %."""
    effort = precision.Effort(seconds=0.5, mean=3.0, variance=1.0, error=0.03)
    assert effort.time_to(0.01, 3.0) == pytest.approx(0.5 * 1e4 / 9)
    slow = precision.Effort(seconds=2.0, mean=3.1, variance=25.0, error=0.04)
    assert precision.efforts_ratio(slow, effort) == pytest.approx((100.0, 5.0))


def test_the_variance_of_one_history_comes_back():
    rng = np.random.default_rng(4)
    parts = rng.normal(7.0, 2.0, (40, 500))
    found = precision.variance_of(
        [(part.mean(), part.std(ddof=1) / 500**0.5, 500) for part in parts]
    )
    assert found[0] == pytest.approx(7.0, abs=0.06)
    assert found[1] == pytest.approx(4.0, abs=0.15)
    assert found[2] == pytest.approx((2 / 20000) ** 0.5, rel=0.5)


def normal_reports(width: float) -> list[intervals.Report]:
    """Return reports of 4000 runs with mean 5, standard error 1 and intervals of this width."""
    values = np.random.default_rng(5).normal(5.0, 1.0, 4000)
    return [
        intervals.Report(intervals.STOP, intervals.DAMAGE, 100, v, v - width, v + width)
        for v in values
    ]


def test_coverage_of_good_intervals_and_of_narrow_ones():
    rows = intervals.summarise("s", normal_reports(1.96))
    assert rows[0]["coverage"] == pytest.approx(0.95, abs=0.015)
    assert rows[0]["truth"] == pytest.approx(5.0, abs=0.07)
    assert rows[0]["truth_error"] == pytest.approx(1 / 5 / 4000**0.5, rel=0.1)
    assert rows[0]["half_width"] == pytest.approx(1.96 / 5, rel=0.02)
    narrow = intervals.summarise("s", normal_reports(1.4))
    assert narrow[0]["coverage"] == pytest.approx(0.838, abs=0.02)
    assert narrow[0]["too_high"] == pytest.approx(narrow[0]["too_low"], abs=0.03)
    judged = [
        benchmark_page.goals({"coverage": {"rows": found}})[0].met for found in (rows, narrow)
    ]
    assert judged == [True, False]


def test_the_true_value_weighs_runs_by_their_histories():
    short = intervals.Report(intervals.STOP, intervals.DAMAGE, 100, 1.0, 0.0, 2.0)
    assert intervals.true_value([short, short._replace(histories=300, value=2.0)])[0] == 1.75


def test_the_reported_intervals_are_those_of_the_public_call():
    """Fixed sizes are sums over the first histories of one run: as good as runs of their own."""
    path = machine.SCENARIOS[0]
    names = machine.compared(shutoffsim.load(path))[:2]
    reports = {(r.sample, r.quantity): r for r in intervals.run_compare(path, 7)}
    for size in intervals.SMALL:
        result = shutoffsim.compare(shutoffsim.load(path), names, histories=size, seed=7)
        e = result.differences[0].expected_annual_damage
        found = reports[str(size), intervals.DIFFERENCE]
        assert found.histories == size
        assert found[3:] == pytest.approx((e.value, e.low, e.high), rel=1e-9)


@pytest.mark.parametrize("family", rare.FAMILIES)
def test_rare_failures_are_found_in_few_histories(family):
    """Whether they are likely or a hundred times less: the work hardly grows."""
    runs = []
    for level in (1e-3, 1e-5):
        case = rare.FAMILIES[family](level)
        assert case.exact == pytest.approx(level, rel=1e-3)
        found = failure_on_demand(rare.perfect(case.changes), "0", relative_error=0.05, seed=11)
        assert abs(found.probability.value - case.exact) <= 4.5 * found.probability.std_error
        runs.append(found.histories)
    assert max(runs) <= 16_000


def test_a_wrong_or_slow_answer_to_a_rare_failure_misses_the_goal():
    row = {"seconds": 1.0, "worst": 2.0, "reached": True}
    judged = [
        benchmark_page.goals({"rare": {"rows": [row, {**row, **change}]}})[0].met
        for change in ({}, {"seconds": 11.0}, {"worst": 4.5}, {"reached": False})
    ]
    assert judged == [True, False, False, False]


def test_a_number_drawn_twice_is_one_variate():
    notes = Notes()
    for _ in range(2):
        notes.keys[0, 1, 2] = 0.25
        notes.note(0.25, (3, 1.0, 0.0, 0.0))
    notes.keys[0, 1, 3] = 0.75
    notes.depth = 1
    notes.note(0.75, (2, 0.0, 1.0, 0.0))  # inside another function: not a draw of its own
    assert notes.variates().tolist() == [[3, 1, 0, 0], [RAW, 0, 0, 0]]


def test_draws_are_noted_for_histories_and_probes():
    path = machine.SCENARIOS[0]
    bare, probed = (record_draws(path, machine.REFERENCE, m, 1) for m in (0, 8))
    assert bare.shape[1] == 4
    assert len(bare) > 100
    # A probe draws at least its place, film, kind, size and who notices.
    assert len(probed) >= len(bare) + 8 * 8


def test_the_scripts_of_whole_runs_do_what_they_are_timed_for():
    assert whole_runs.memory_row(320, 1)["dwelling_years"] == 320
    row = whole_runs.portfolio_row(3, 1)
    assert row["dwellings"] == 3
    assert 30.0 < row["peak_mb"] < 2000.0


def test_a_failing_script_is_told():
    assert machine.run_script("print(3)") == 3
    with pytest.raises(SystemExit, match="ZeroDivisionError"):
        machine.run_script("1 / 0")


@pytest.mark.parametrize(
    ("words", "message"),
    [(["speed"], "no part is called 'speed'"), (["--quick", "--write"], "leave out --write")],
)
def test_wrong_words_are_refused(words, message, capsys):
    with pytest.raises(SystemExit) as ended:
        measure.main(words)
    assert ended.value.code == 2
    assert message in capsys.readouterr().err


def test_a_missed_goal_is_shown_and_ends_with_1(monkeypatch, capsys):
    rows = [
        {"dwelling_years": n, "probes": 1, "peak_mb": mb} for n, mb in ((10, 100), (10**6, 150))
    ]
    monkeypatch.setitem(measure.PARTS, "memory", lambda quick, long: rows)
    assert measure.main(["memory"]) == 1
    out = capsys.readouterr()
    assert "| at most 1.2 | 1.50 | **missed** |" in out.out
    assert "missed: memory at 1,000,000" in out.err
    rows[1]["peak_mb"] = 110
    assert measure.main(["memory"]) == 0


def test_parts_that_are_kept_stay(monkeypatch, tmp_path):
    monkeypatch.setattr(measure, "FINDINGS", tmp_path / "findings.json")
    monkeypatch.setattr(measure, "PAGE", tmp_path / "page.md")
    rows = [{"dwelling_years": n, "probes": 1, "peak_mb": 100.0} for n in (10, 10**6)]
    own = {"machine": {"cores": "2"}, "rows": rows}
    measure.keep({"memory": own})
    starts = [{"run": name, "cpu_seconds": 0.1, "wall_seconds": 0.1} for name in "abc"]
    measure.keep({"start": {"machine": {"cores": "8"}, "rows": starts}})
    assert list(json.loads(measure.FINDINGS.read_text())) == ["start", "memory"]
    text = measure.PAGE.read_text()
    assert "* start: cores 8" in text
    assert "* memory: cores 2" in text


def test_the_page_shows_the_numbers_that_are_kept():
    assert measure.PAGE.read_text(encoding="utf-8") == benchmark_page.render(measure.kept())
