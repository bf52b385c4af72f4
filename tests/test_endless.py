"""Histories that would never come to an end: refused, ended with an error, or interrupted."""

from __future__ import annotations

import os
import signal
import threading
from dataclasses import replace

import pytest
from checks import PERFECT, perfect
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.engine.guard import MOST_EVENTS, TooManyEventsError
from shutoffsim.engine.run import Setup, run_chunk, run_chunks
from shutoffsim.errors import ScenarioError

# Each value is allowed by itself; together they make candidates of leaks come without end.
ENDLESS = """
leaks.hose.rate = "100 per day"
leaks.hose.parts = 1000
leaks.hose.trip_factor = 1000
leaks.hose.spell_factor = 1000
"""


@pytest.mark.parametrize("engine", ["batch", "trace"])
@pytest.mark.parametrize("spoil", ["source_trip_factor", "source_spell_factor"])
def test_a_history_without_end_ends_with_an_error(engine, spoil):
    params = perfect("").parameters()
    params["source_rate"][:, 0] = 1e-9
    params[spoil][:, 0] = 1e18
    setup = replace(Setup.of(params, 1, engine, probes=2, names=["A"]), most_events=3000)
    with pytest.raises(TooManyEventsError) as told:
        run_chunk(setup, 0, 1)
    text = str(told.value)
    assert "more than 3,000 events" in text
    assert "design “A”, history 0" in text
    assert "100 % of the last ones are rings of the clock “leak source 1”" in text
    assert "spell_factor and trip_factor of leak source 1" in text


@pytest.mark.parametrize(
    "field",
    ["nuisance_sensor_rate", "controller_hang_rate", "mains_outage_rate", "actuator_failure_rate"],
)
def test_both_engines_tell_the_same(field):
    params = perfect("").parameters()
    params[field] = 1e3
    if field == "actuator_failure_rate":
        params["actuator_diagnostic"] = 1.0
    texts = []
    for engine in ("batch", "trace"):
        setup = replace(Setup.of(params, 5, engine, probes=3), most_events=2000)
        with pytest.raises(TooManyEventsError) as told:
            run_chunk(setup, 7, 2)
        texts.append(str(told.value))
    assert texts[0] == texts[1]
    assert "history 7" in texts[0]


def test_the_events_of_a_probe_count():
    """The history itself is quiet; what goes on without end is what its probe sets off."""
    params = perfect("").parameters()
    params["detection_report_interval"] = 1e-9
    params["detection_report_repeats"] = 10**9
    params["sensor_attempt_success"][:, 0] = 0.0
    texts = []
    for engine in ("batch", "trace"):
        setup = replace(Setup.of(params, 5, engine, probes=1), most_events=2000)
        with pytest.raises(TooManyEventsError) as told:
            run_chunk(setup, 0, 1)
        texts.append(str(told.value))
    assert texts[0] == texts[1]
    assert "open leak: report" in texts[0]


def test_as_many_events_as_are_allowed_are_no_error():
    params = perfect('exercise.interval = "30 days"').parameters()
    setup = Setup.of(params, 3, probes=2)
    events = int(run_chunk(setup, 0, 1).summary["events"][0, 0])
    assert 0 < events < MOST_EVENTS
    # A probe's own events come on top of those of its history.
    most = events + 100
    assert run_chunk(replace(setup, most_events=most), 0, 1).summary["events"][0, 0] == events
    with pytest.raises(TooManyEventsError):
        run_chunk(replace(setup, most_events=events - 1), 0, 1)


@pytest.mark.parametrize(
    "line",
    [
        "leaks.hose.trip_factor = 1e18",
        "leaks.hose.spell_factor = 1e10",
        "mains.spell_factor = 1e10",
        'leaks.hose.life = "1 s"',
        'exercise.interval = "1e-9 s"',
        'nuisance.rule_rate = "1e9 per year"',
        'controller.hang_rate = "1e6 per year"',
        'mains.dip_rate = "1e6 per year"',
        'people.trip = "1 s"',
    ],
)
def test_what_makes_a_history_endless_is_refused(line):
    with pytest.raises(ScenarioError, match="out of range"):
        perfect(line)


def test_the_command_ends_with_code_2(tmp_path):
    scenario = tmp_path / "endless.toml"
    scenario.write_text(PERFECT.format(life="10 years") + f'\n[designs."leaky"]\n{ENDLESS}\n')
    for command in ("compare", "pfd", "replay"):
        result = CliRunner().invoke(app, [command, str(scenario)])
        assert result.exit_code == 2, result.output
        assert "more than 10,000,000 events" in result.stderr
        assert "design “leaky”" in result.stderr


def test_one_endless_dwelling_leaves_the_others_of_a_portfolio(tmp_path):
    rows = tmp_path / "dwellings.csv"
    rows.write_text(
        "dwelling,leaks.hose.rate,leaks.hose.parts,leaks.hose.trip_factor\n"
        "quiet,0.1 per year,1,1\n"
        "endless,100 per day,1000,1000\n"
        "absurd,0.1 per year,1,1e18\n"
    )
    found = shutoffsim.portfolio(perfect(""), rows, histories=2)
    assert found.dwellings == 1
    assert [failure.dwelling for failure in found.failures] == ["endless", "absurd"]
    assert "more than 10,000,000 events" in found.failures[0].problem
    assert "out of range" in found.failures[1].problem


@pytest.mark.parametrize("engine", ["batch", "trace"])
def test_an_interrupt_acts_within_a_history(engine):
    params = perfect("").parameters()
    params["controller_hang_rate"] = 1e6
    setup = replace(Setup.of(params, 1, engine), most_events=2**62)
    before = set(threading.enumerate())
    old = signal.signal(signal.SIGINT, signal.default_int_handler)
    timer = threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT))
    timer.start()
    try:
        with pytest.raises(KeyboardInterrupt):
            list(run_chunks(setup, 0, 1))
    finally:
        signal.signal(signal.SIGINT, old)
    timer.join()
    for thread in set(threading.enumerate()) - before:
        thread.join(timeout=60.0)
        assert not thread.is_alive()
