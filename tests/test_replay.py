"""Replays: what they tell must be what the batch engine counted."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from typer.testing import CliRunner

import shutoffsim
from shutoffsim.cli import app
from shutoffsim.engine.run import PROBES, Setup, run_chunk
from shutoffsim.errors import ModelError, ScenarioError
from shutoffsim.report.replay import moment
from shutoffsim.study import words
from shutoffsim.study.incidents import incident_table
from shutoffsim.study.replay import SEARCHED, replay

DAY = 86400.0
SEED = 5


@pytest.fixture(scope="module")
def batch(cottage):
    """The rows of the first histories of all designs, by the batch engine."""
    return run_chunk(Setup.of(cottage.parameters(), SEED), 0, 24)


def as_dicts(cottage, rows, designs):
    return incident_table(rows, cottage, designs, cottage.parameters(designs)).to_pylist()


@pytest.mark.parametrize("design", ["no automation", "plus battery", "all together"])
def test_a_probe_replays_to_its_row_in_the_incident_table(cottage, batch, design):
    at = cottage.designs.index(design)
    replayed = 0
    for history in (0, 3, 17):
        for probe in (0, 9, 30):
            row = batch.rows[at, history, probe : probe + 1].copy()
            if not row["weight"][0] > 0.0:
                continue
            row["design"] = 0
            told = replay(cottage, design, history=history, probe=probe, seed=SEED)
            assert told.incidents == tuple(as_dicts(cottage, row, (design,)))
            assert told.onset == row["onset"][0]
            replayed += 1
    assert replayed >= 3


def test_a_history_replays_to_its_natural_leaks(cottage, batch):
    seen = 0
    for design in ("no automation", "all together"):
        at = cottage.designs.index(design)
        natural = batch.natural[batch.natural["design"] == at].copy()
        natural["design"] = 0
        for history in sorted({0, *natural["history"].tolist()}):
            rows = natural[natural["history"] == history]
            told = replay(cottage, design, history=history, seed=SEED)
            assert told.incidents == tuple(as_dicts(cottage, rows, (design,)))
            seen += len(rows)
    assert seen > 0, "no natural leak in these histories: choose another seed"


def test_a_probe_is_told_from_its_leak_to_its_end(cottage, batch):
    at = cottage.designs.index("plus battery")
    probes = np.flatnonzero(batch.rows["weight"][at, 2] > 0.0)
    told = replay(cottage, "plus battery", history=2, probe=int(probes[0]), seed=SEED)
    row = told.incidents[0]
    times = [event.time for event in told.events]
    assert times == sorted(times)
    assert times[0] >= told.onset - DAY
    begins = [event for event in told.events if event.time == told.onset]
    assert any(f"“{row['source']}” starts to leak" in event.what for event in begins)
    assert any(detail.startswith("over:") for detail in told.events[-1].details)
    if row["stopped_h"] is not None and row["found_h"] is not None:
        end = told.onset / DAY * 24.0 + max(row["stopped_h"], row["found_h"])
        assert times[-1] / 3600.0 == pytest.approx(end, abs=1e-6)


def test_the_worst_incident_has_the_largest_loss(cottage):
    name = "plus battery"
    at = cottage.designs.index(name)
    every = Setup.of(cottage.parameters(), SEED)
    setup = Setup(every.params[at : at + 1], SEED, "batch", PROBES, every.placement)
    rows = run_chunk(setup, 0, SEARCHED).rows
    rows = rows[rows["weight"] > 0.0]
    worst = replay(cottage, name, pick="worst", seed=SEED)
    assert worst.incidents[0]["loss"] == rows["loss"].max()
    typical = replay(cottage, name, pick="typical", seed=SEED)
    damaging = rows[rows["loss"] > 0.0]
    below = damaging["weight"][damaging["loss"] < typical.incidents[0]["loss"]].sum()
    share = below / damaging["weight"].sum()
    assert 0.4 < share <= 0.5
    assert replay(cottage, name, seed=SEED).incidents == typical.incidents


def test_without_a_name_the_reference_is_replayed(cottage):
    assert replay(cottage, history=0).design == cottage.reference


def test_what_is_asked_wrongly_is_refused(cottage, batch):
    with pytest.raises(ScenarioError, match="no such design"):
        replay(cottage, "golden tap")
    with pytest.raises(ModelError, match="cannot be combined"):
        replay(cottage, history=1, pick="worst")
    with pytest.raises(ModelError, match="needs its history"):
        replay(cottage, probe=1)
    with pytest.raises(ModelError, match="probe is out of range"):
        replay(cottage, history=0, probe=PROBES)
    with pytest.raises(ModelError, match="history is out of range"):
        replay(cottage, history=-1)
    with pytest.raises(ModelError, match="seed is out of range"):
        replay(cottage, history=1, seed=2**64)
    with pytest.raises(ModelError, match="no such pick"):
        replay(cottage, pick="best")


def test_a_dwelling_that_cannot_leak_has_nothing_to_pick():
    dry = shutoffsim.loads(
        '[leaks.hose]\nkind = "appliance hose"\nrate = "0 per year"\n'
        '[designs."no automation"]\nelement.kind = "none"\n'
    )
    with pytest.raises(ModelError, match="no leak starts"):
        replay(dry)
    assert replay(dry, history=0).incidents == ()


ONE_LEAK = """
service_life = "2 years"
[leaks.hose]
rate = "20 per year"
open_end_flow = "10 L/min"
[sensors.floor]
[designs."with an actuator"]
"""


def test_many_natural_leaks_are_told_one_by_one():
    told = replay(shutoffsim.loads(ONE_LEAK), history=0)
    starts = [event for event in told.events if "starts to leak" in event.what]
    ends = [detail for event in told.events for detail in event.details if "over:" in detail]
    assert len(told.incidents) == len(ends)
    assert len(starts) >= len(ends) > 10


# --- what a person reads ------------------------------------------------------------------------


@pytest.mark.parametrize("width", [50, 80, 120])
@pytest.mark.parametrize("extra", [("--pick", "worst"), ("--history", "0")])
def test_a_timeline_fits_the_terminal(cottage, width, extra):
    args = ["replay", "scenarios/holiday_cottage.toml", "--design", "plus battery", *extra]
    result = CliRunner().invoke(app, args, env={"COLUMNS": str(width)})
    assert result.exit_code == 0, result.output
    assert max(len(line) for line in result.stdout.splitlines()) <= width
    assert "…" not in result.stdout
    text = " ".join(result.stdout.split())
    assert re.search(r": power (mains|none), valve open[a-z, ]*, sensors \d of \d", text)


def test_quiet_events_are_counted_or_shown():
    args = ["replay", "scenarios/holiday_cottage.toml", "--design", "plus battery", "--history"]
    short = CliRunner().invoke(app, [*args, "0"], env={"COLUMNS": "80"}).stdout
    full = CliRunner().invoke(app, [*args, "0", "--all"], env={"COLUMNS": "80"}).stdout
    assert "mains outage" in short
    assert "mains power returns" in full
    assert len(full.splitlines()) > len(short.splitlines())


def test_moments_follow_a_calendar_that_starts_on_a_monday():
    assert moment(0.0) == ("1", "1", "Mon 00:00")
    assert moment(6 * DAY + 23.5 * 3600.0) == ("1", "7", "Sun 23:30")
    assert moment(365 * DAY) == ("1", "366", "Tue 00:00")
    assert moment(366 * DAY) == ("2", "1", "Wed 00:00")
    before = math.nextafter(30 * DAY, 0.0)  # a clock may ring an ulp before the full hour
    assert moment(before) == ("1", "31", "Wed 00:00")


def test_years_have_no_gap():
    days = [moment(day * DAY)[:2] for day in range(4 * 366)]
    assert len(set(days)) == len(days)
    assert {int(day) for _year, day in days} == set(range(1, 367))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (words.duration(0.0), "0 s"),
        (words.duration(119.0), "119 s"),
        (words.duration(3 * 3600.0), "3 h"),
        (words.duration(math.inf), "never"),
        (words.volume(0.5e-3), "0.5 L"),
        (words.volume(1.5), "1,500 L"),
        (words.volume(2345.0), "2,345 m3"),
        (words.flow(1e-3), "60 L/min"),
        (words.torque(2.45), "2.5 N*m"),
    ],
)
def test_amounts_are_short(text, expected):
    assert text == expected
