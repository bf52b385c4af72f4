"""Open records of real homes, when they are at hand.

The environment variable SHUTOFFSIM_METER_DATA names a folder with

- ``household_runs_one_person.csv.gz``: runs of one flat in Naples, made from the feeds by fixture
  of WEUSEDTO-Data (GitHub, commit ddaf518, CC BY 4.0; changed: merged, pauses up to 10 s joined,
  toilet left out);
- ``meter_pulses_4s.csv.gz``: pulses in slots of 4 s, site 019 of CIWS-Data (Utah State University,
  GitHub, commit 267d3f0, BSD-3; changed: slots without pulses left out);
- ``household_events_irrigation.csv``: labelled events of two weeks, CIWS-VisChallenge (Utah State
  University, GitHub, commit 500adf0, BSD-3).

The expected counts were made from the same data by another program; they are quoted with the
covered days that it found.
"""

import os
from pathlib import Path

import pytest
from meter_records import counts

from shutoffsim.scenario import loads, starter
from shutoffsim.study.meter import analyse_meter

FOLDER = os.environ.get("SHUTOFFSIM_METER_DATA")

pytestmark = pytest.mark.skipif(FOLDER is None, reason="SHUTOFFSIM_METER_DATA is not set")

LIMITS = ("5 min", "10 min", "15 min", "20 min", "30 min", "45 min")


@pytest.fixture(scope="module")
def naples():
    return analyse_meter(Path(FOLDER, "household_runs_one_person.csv.gz"), covered="357.7 days")


@pytest.fixture(scope="module")
def pulses():
    return analyse_meter(
        Path(FOLDER, "meter_pulses_4s.csv.gz"), litres_per_pulse=0.1575, covered="4.873 days"
    )


@pytest.fixture(scope="module")
def watering():
    return analyse_meter(Path(FOLDER, "household_events_irrigation.csv"))


@pytest.mark.parametrize(
    ("gap", "expected", "longest", "over_100"),
    [
        ("0 s", (20, 8, 2, 1, 0, 0), 21.8, 6),
        ("60 s", (26, 11, 3, 1, 0, 0), 24.5, 10),
        ("300 s", (59, 37, 21, 11, 1, 1), 45.1, 11),
    ],
)
def test_runs_of_pulses(pulses, gap, expected, longest, over_100):
    found = counts(pulses, gap)
    assert tuple(found[limit] for limit in LIMITS) == expected
    row = pulses.distribution.set_index("gap").loc[gap]
    assert row["longest_s"] / 60 == pytest.approx(longest, abs=0.05)
    assert pulses.pairs[None, "100 L", gap] == over_100


def test_pulses_by_the_year_and_day(pulses):
    for gap, limit, expected in [
        ("0 s", "5 min", 1499),
        ("0 s", "10 min", 600),
        ("60 s", "5 min", 1949),
        ("60 s", "10 min", 825),
        ("60 s", "20 min", 75),
        ("300 s", "30 min", 75),
    ]:
        assert pulses.rate(gap=gap, time=limit).per_year == pytest.approx(expected, abs=0.7)
    assert pulses.litres_per_day == pytest.approx(939, abs=2)
    # Isolated pulses of a trickle: 581 runs, half of them no longer than three slots.
    first = pulses.distribution.iloc[0]
    assert (first["runs"], first["median_s"]) == (581, pytest.approx(12))


def test_slots_without_pulses_at_the_ends_are_missing_in_the_file():
    report = analyse_meter(Path(FOLDER, "meter_pulses_4s.csv.gz"), litres_per_pulse=0.1575)
    assert report.covered_days == pytest.approx(4.873, rel=0.02)
    assert report.interval_s == 4
    assert report.flaws == ()


def test_the_gap_follows_from_pulse_volume_and_smallest_flow(pulses):
    # 0.1575 L at 0.2 L/min: a pulse each 47 s, so 60 s see such a leak and no gap does not.
    assert pulses.smallest_leak["60 s"] < 0.2 < pulses.smallest_leak["0 s"]


def test_runs_of_one_person_without_toilet(naples):
    found = counts(naples, "60 s")
    assert tuple(found[limit] for limit in LIMITS) == (172, 19, 5, 2, 0, 0)
    rates = [naples.rate(gap="60 s", time=limit).per_year for limit in LIMITS[:4]]
    assert rates == pytest.approx([176, 19, 5, 2], abs=0.5)
    row = naples.distribution.set_index("gap").loc["60 s"]
    assert row["longest_s"] / 60 == pytest.approx(26.1, abs=0.05)
    assert naples.litres_per_day == pytest.approx(43, abs=0.5)
    assert naples.used_rows == 13_959
    assert naples.pairs[None, "100 L", "300 s"] == 0
    # Counts at no gap cannot be had: the file joined pauses of up to 10 s, and the report says so.
    assert any("shorter than 11 s" in note for note in naples.notes)


def test_a_hole_of_eight_months_is_not_recorded_time():
    report = analyse_meter(Path(FOLDER, "household_runs_one_person.csv.gz"))
    assert [flaw.rows for flaw in report.flaws] == [1]
    assert report.hole_days == pytest.approx(247.4, abs=0.1)
    # Shorter holes look like absence, so this is 7 % more than the feeds had.
    assert report.covered_days == pytest.approx(357.7, rel=0.07)


def test_none_seen_bounds_the_rate(naples):
    rate = naples.rate(gap="60 s", time="30 min")
    assert 0 < rate.per_year < rate.high == pytest.approx(3.06, abs=0.01)


def test_watering_breaks_a_rule_of_half_an_hour(watering):
    table = watering.labels.set_index("label")
    assert table["events"].sum() == watering.used_rows == 822
    assert table.loc["irrigation", "events"] == 21
    assert table.loc["irrigation", "longer than 45 min"] == 21
    assert (table["longer than 30 min"] > 0).sum() == 1
    longest = {"irrigation": 142.2, "shower": 20.9, "hose": 16.1, "clothwasher": 6.9}
    for label, minutes in longest.items():
        assert table.loc[label, "longest_s"] / 60 == pytest.approx(minutes, abs=0.05)
    # 21 in 14 days: 1.5 a day.
    rate = watering.rate(gap="0 s", time="30 min")
    assert rate.per_year / 365.25 == pytest.approx(1.5, abs=0.01)


def test_every_watering_lasts_over_59_minutes():
    report = analyse_meter(
        Path(FOLDER, "household_events_irrigation.csv"), times=("59 min", "30 min")
    )
    table = report.labels.set_index("label")
    assert table.loc["irrigation", "longer than 59 min"] == 21


@pytest.mark.parametrize("name", ["naples", "pulses", "watering"])
def test_fragments_load(name, request):
    scenario = loads(starter() + request.getfixturevalue(name).fragment())
    assert scenario.reference == "no automation"
