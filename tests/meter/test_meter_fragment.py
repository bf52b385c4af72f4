"""What a record gives to a scenario, to other programs and to a reader."""

import io
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from shutoffsim.report.meter import print_meter
from shutoffsim.report.text import make_console
from shutoffsim.scenario import loads, starter

YEAR = 365.25 * 86_400


@pytest.fixture
def report(analyse):
    """Half a year of 40 min of flow each tenth day and 12 min each day, at 0.25 L a pulse."""
    rows = []
    for day in range(183):
        for minute in range(40 if day % 10 == 0 else 12):
            at = np.datetime64("2023-01-01T07:00:00") + np.timedelta64(day * 1440 + minute, "m")
            rows += [f"{at},12", f"{at + np.timedelta64(30, 's')},12"]
    return analyse(["time,pulses", *rows], litres_per_pulse=0.25)


def rule(scenario):
    parameters = scenario.parameters()
    return parameters[list(scenario.designs).index("watched")]


def watched(fragment):
    design = "\n[designs.watched]\nflow_rule.fitted = true\n"
    return loads(starter() + design + fragment)


def test_a_fragment_arrives_in_the_simulation(report):
    text = report.fragment(gap="60 s", time="30 min", volume="250 L")
    p = rule(watched(text))
    assert p["flow_rule_time"] == pytest.approx(1800)
    assert p["flow_rule_volume"] == pytest.approx(0.25)
    assert p["flow_rule_pulse_volume"] == pytest.approx(0.25e-3)
    assert p["flow_rule_flow"] * 60_000 == pytest.approx(0.25, rel=1e-3)
    # 19 mornings of 40 min took more than 30 min; all of 6 L/min, so none more than 250 L.
    assert report.pairs["30 min", "250 L", "60 s"] == 19
    assert p["nuisance_rule_rate"] * YEAR == pytest.approx(
        19 / report.covered_days * 365.25, rel=0.01
    )


def test_an_untouched_scenario_differs(report):
    with_fragment = rule(watched(report.fragment(gap="60 s", time="5 min", volume="50 L")))
    without = rule(watched(""))
    assert with_fragment["nuisance_rule_rate"] > 10 * without["nuisance_rule_rate"]


def test_a_fragment_of_a_quiet_rule_keeps_a_rate_above_zero(report):
    text = report.fragment(gap="60 s", time="45 min", volume="500 L")
    rate = tomllib.loads(text)["nuisance"]["rule_rate"]
    assert float(rate.split()[0]) == pytest.approx(
        np.log(2) / report.covered_days * 365.25, rel=0.01
    )
    assert "none in" in text


def test_limits_are_chosen_by_what_the_record_supports(report):
    chosen = report.choose_limits()
    # 0.25 L a pulse: 60 s see 0.25 L/min; nothing lasts over 45 min or takes over 250 L.
    assert chosen == ("60 s", "45 min", "250 L")
    assert report.fragment() == report.fragment(gap="60 s", time="45 min", volume="250 L")


def test_a_file_name_cannot_break_out_of_its_comment(tmp_path):
    from shutoffsim.study.meter import analyse_meter

    path = tmp_path / "odd\n[valve]\nname.csv"
    path.write_text("start,seconds,litres\n1700000000,5,1\n1700009000,5,1\n")
    text = analyse_meter(path).fragment()
    assert set(tomllib.loads(text)) == {"flow_rule", "nuisance"}


def test_a_record_without_pulse_volume_leaves_it_to_the_user(analyse):
    report = analyse("start,seconds,litres\n1700000000,5,1\n1700009000,5,1\n")
    tables = tomllib.loads(report.fragment())
    assert set(tables["flow_rule"]) == {"time", "volume"}
    watched(report.fragment())


def test_the_result_is_plain_data(report, analyse):
    data = json.loads(json.dumps(report.as_dict(), allow_nan=False))
    assert {"trips", "distribution", "flaws", "notes", "fragment", "covered_days"} <= set(data)
    assert data["trips"][0]["rule"] == "longer than 5 min"
    dry = analyse("time,litres\n" + "".join(f"{1700000000 + 60 * i},0\n" for i in range(9)))
    json.dumps(dry.as_dict(), allow_nan=False)


def test_a_notebook_shows_tables_and_harmless_names(analyse):
    rows = "start,seconds,litres,label\n1700000000,5,1,<script>\n1700009000,5,1,b\n"
    shown = analyse(rows)._repr_html_()
    assert "longer than 30 min" in shown
    assert "<script>" not in shown


@pytest.mark.parametrize("width", [40, 80, 110])
def test_the_printed_report_fits(report, analyse, width):
    labelled = analyse(
        "start,seconds,litres,label\n1700000000,5000,100,[bold]bath\n1700009000,5,1,tap\nx,y,z,u\n"
    )
    for shown in (report, labelled):
        file = io.StringIO()
        console = make_console(file)
        console.width = width
        print_meter(console, shown, fragment="")
        text = file.getvalue()
        assert max(len(line) for line in text.splitlines()) <= width
        assert "…" not in text
        words = " ".join(text.split())
        assert "Read with care" in words
        assert Path(shown.source).name[:6] in words
    assert "[bold]bath" in text
    assert "time that cannot be read: 1 row, first in line 4" in words


def test_the_printed_fragment_can_be_pasted(report):
    file = io.StringIO()
    console = make_console(file)
    console.width = 60
    print_meter(console, report)
    pasted = file.getvalue().partition("For a scenario\n")[2]
    assert tomllib.loads(pasted) == tomllib.loads(report.fragment())
