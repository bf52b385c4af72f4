"""Runs, trips and rates against plain loops, published tables and simulated leaks."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from shutoffsim.errors import ShutoffError
from shutoffsim.study.meter import analyse_meter
from shutoffsim.study.meter.rates import estimate_rate

GAPS = (0, 4, 60, 300)
TIMES = (60, 300, 600)
VOLUMES = (5, 20)


def plain_runs(pieces, gap):
    """Runs of (start, end, litres) pieces by a plain loop; flow pauses of up to the gap join."""
    runs = []
    for start, end, litres in pieces:
        if runs and start - runs[-1][1] <= gap:
            runs[-1] = [runs[-1][0], max(runs[-1][1], end), runs[-1][2] + litres]
        else:
            runs.append([start, end, litres])
    return runs


def expect(report, pieces):
    """Compare a report with the plain loop."""
    for gap in GAPS:
        runs = plain_runs(pieces, gap)
        kept = report.runs[report.runs["gap"] == f"{gap} s"]
        assert kept["seconds"].tolist() == pytest.approx([end - start for start, end, _ in runs])
        assert kept["litres"].tolist() == pytest.approx([litres for *_, litres in runs], abs=1e-6)
        trips = report.trips[report.trips["gap"] == f"{gap} s"].set_index("rule")["count"]
        for time in TIMES:
            assert trips[f"longer than {time} s"] == sum(e - s > time for s, e, _ in runs)
        for volume in VOLUMES:
            over = sum(round(litres, 6) > volume for *_, litres in runs)
            assert trips[f"more than {volume} L"] == over
        both = report.rate(gap=f"{gap} s", time="60 s", volume="5 L")
        count = sum(e - s > 60 or round(litres, 6) > 5 for s, e, litres in runs)
        assert both == estimate_rate(count, report.covered_days)


def options():
    return {
        "gaps": [f"{gap} s" for gap in GAPS],
        "times": [f"{time} s" for time in TIMES],
        "volumes": [f"{volume} L" for volume in VOLUMES],
    }


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.integers(0, 12), min_size=2, max_size=60), st.data())
def test_pulses_in_slots_against_a_plain_loop(analyse, pulses, data):
    pauses = data.draw(st.lists(st.sampled_from([4, 4, 4, 8, 64, 68, 304, 308]), min_size=60))
    times = 1_700_000_000 + np.cumsum(pauses[: len(pulses)])
    rows = [f"{t},{n + 1}" for t, n in zip(times, pulses, strict=True)]
    report = analyse(["time,pulses", *rows], litres_per_pulse=0.25, slot="4 s", **options())
    assert report.covered_days * 86400 == pytest.approx(times[-1] - times[0] + 4)
    pieces = [(t, t + 4, (n + 1) * 0.25) for t, n in zip(times, pulses, strict=True)]
    expect(report, pieces)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.sampled_from([0, 0, 0, 1.5, 6]), min_size=22, max_size=300))
def test_flow_samples_against_a_plain_loop(analyse, flows):
    flows = [0, *flows]
    start = 1_700_000_000
    rows = [f"{start + 10 * i},{flow}" for i, flow in enumerate(flows)]
    report = analyse(["unix,flow_l_per_min", *rows], **options())
    pieces = [
        (start + 10 * i, start + 10 * i + 10, flow / 6) for i, flow in enumerate(flows) if flow
    ]
    assert report.covered_days * 86400 == pytest.approx(10 * len(flows))
    assert report.litres == pytest.approx(sum(flows) / 6, abs=1e-6)
    expect(report, pieces)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.tuples(st.integers(0, 400), st.integers(1, 900), st.integers(1, 90)),
        min_size=2,
        max_size=40,
    )
)
def test_runs_that_overlap_against_a_plain_loop(analyse, uses):
    starts = 1_700_000_000 + np.cumsum([pause for pause, *_ in uses])
    rows = [
        f"{t},{seconds},{tenths / 10},{i}"
        for i, (t, (_, seconds, tenths)) in enumerate(zip(starts, uses, strict=True))
    ]
    report = analyse(["start,seconds,litres,number", *rows], **options())
    pieces = [(t, t + s, n / 10) for t, (_, s, n) in zip(starts, uses, strict=True)]
    assert report.flaws == ()
    expect(report, pieces)


def test_the_plain_loop_would_notice_another_gap(analyse):
    rows = [f"{1_700_000_000 + t},1" for t in (0, 4, 72, 76)]
    report = analyse(["time,pulses", *rows], litres_per_pulse=1, slot="4 s", **options())
    pieces = [(1_700_000_000 + t, 1_700_000_000 + t + 4, 1) for t in (0, 4, 72, 76)]
    expect(report, pieces)
    shifted = [(start + (68 if start > 1_700_000_004 else 0), end, v) for start, end, v in pieces]
    with pytest.raises(AssertionError):
        expect(report, shifted)


# Exact two-sided 95 % limits of a Poisson mean after Garwood, Biometrika 28 (1936), as tables of
# statistics print them (written down from memory, and checked against chi-square below).
GARWOOD = {1: (0.0253, 5.572), 2: (0.2422, 7.225), 5: (1.624, 11.67), 10: (4.795, 18.39)}


@pytest.mark.parametrize("count", GARWOOD)
def test_intervals_of_rates_against_the_published_table(count):
    rate = estimate_rate(count, 365.25)
    assert rate.per_year == pytest.approx(count)
    assert (rate.low, rate.high) == pytest.approx(GARWOOD[count], rel=1e-3)


@pytest.mark.parametrize("count", [1, 7, 300])
def test_intervals_of_rates_against_chi_square(count):
    rate = estimate_rate(count, 40.0)
    years = 40.0 / 365.25
    assert rate.low == pytest.approx(stats.chi2.ppf(0.025, 2 * count) / 2 / years)
    assert rate.high == pytest.approx(stats.chi2.ppf(0.975, 2 * count + 2) / 2 / years)


def test_none_seen_is_never_a_rate_of_zero():
    # Rule of three: 528 home-days without a run over 30 min bound the rate by about 2.1 a year.
    rate = estimate_rate(0, 528)
    assert rate.high == pytest.approx(2.1, abs=0.05)
    assert math.exp(-rate.high * 528 / 365.25) == pytest.approx(0.05)
    assert rate.low == 0
    assert math.exp(-rate.per_year * 528 / 365.25) == pytest.approx(0.5)


@pytest.mark.parametrize("slot", [1, 4])
@pytest.mark.parametrize("pulse", [0.1575, 1.0])
def test_the_smallest_leak_keeps_a_run_going_and_a_smaller_one_does_not(analyse, pulse, slot):
    gaps = ("0 s", "60 s", "300 s")

    def runs(flow):
        """Runs of a leak by gap, on a meter that gives a pulse each time so much has passed."""
        passed = np.arange(1, int(flow * 600 / pulse) + 2) * pulse / flow * 60
        slots, pulses = np.unique((passed // slot * slot).astype(int), return_counts=True)
        rows = [f"{1_700_000_000 + t},{n}" for t, n in zip(slots, pulses, strict=True)]
        report = analyse(
            ["time,pulses", *rows],
            litres_per_pulse=pulse,
            slot=f"{slot} s",
            gaps=gaps,
            starting_flow="0 L/h",
        )
        return report.smallest_leak, report.distribution.set_index("gap")["runs"]

    leaks, _ = runs(10.0)
    assert leaks["60 s"] == pytest.approx(pulse)  # pulse volume / gap = litres in a minute
    for gap in gaps:
        assert runs(leaks[gap] * 1.0001)[1][gap] == 1
        seconds = max(float(gap.split()[0]), slot) + slot
        assert runs(pulse / (seconds + slot) * 60)[1][gap] > 1


def test_no_gap_makes_a_meter_see_less_than_its_starting_flow(analyse):
    rows = [f"{1_700_000_000 + t},1" for t in (0, 10, 50)]
    report = analyse(["time,pulses", *rows], litres_per_pulse=0.01, starting_flow="12 L/h")
    assert report.trips["smallest_leak_l_per_min"].tolist() == pytest.approx(
        report.trips["gap"].map({"0 s": 0.2, "60 s": 0.2, "300 s": 0.2}).tolist()
    )


row = st.one_of(
    st.tuples(
        st.integers(0, 100_000).map(lambda t: f"2023-03-25 {t % 24:02}:{t // 24 % 60:02}:00"),
        st.sampled_from(["0", "1", "2.5", "1", "0", "-1", "nan", "x", '"1"', "", "1e400", "3,4"]),
    ).map(",".join),
    st.sampled_from(["", ",", '"', '"2023-03-25 01:00:00,1', "2023-03-25 02:00:00,1", "é,ü", "a"]),
)
steady = st.integers(1, 60).flatmap(
    lambda n: st.lists(st.sampled_from(["0", "0", "3", "6"]), min_size=n, max_size=n)
)


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    header=st.sampled_from(["time,flow_l_per_min", "time,litres", "time,pulses"]),
    flows=steady,
    odd=st.lists(row, max_size=4),
    place=st.integers(0, 60),
    block=st.integers(1, 300),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
)
def test_results_do_not_depend_on_the_blocks(tmp_path, header, flows, odd, place, block, end):
    first = np.datetime64("2023-03-26T01:40:00")
    rows = [
        f"{str(first + np.timedelta64(30 * i, 's')).replace('T', ' ')},{flow}"
        for i, flow in enumerate(flows)
    ]
    rows[place:place] = odd
    check_blocks(tmp_path, end.join([header, *rows]) + end, block)


@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    uses=st.lists(
        st.tuples(
            st.sampled_from([-5, 0, 0, 30, 59, 700, 90_000, 3_000_000]),
            st.sampled_from(["5", "5", "61", "3000", "-3", "", '"8"', "1e9"]),
            st.sampled_from(["0.5", "0.5", "12", "0", "inf", "1e12"]),
            st.sampled_from(["tap", "tap", "bath, large", '"bath, large"', "", '"']),
        ),
        min_size=1,
        max_size=30,
    ),
    block=st.integers(1, 300),
)
def test_results_of_runs_do_not_depend_on_the_blocks(tmp_path, uses, block):
    starts = 1_700_000_000 + np.cumsum([pause for pause, *_ in uses])
    rows = [",".join([str(t), *rest]) for t, (_, *rest) in zip(starts, uses, strict=True)]
    check_blocks(tmp_path, "\n".join(["start,seconds,litres,label", *rows]), block)


def check_blocks(folder, text, block):
    path = folder / "record.csv"
    path.write_text(text, newline="")

    def result(size):
        try:
            report = analyse_meter(path, litres_per_pulse=0.5, block_bytes=size)
        except ShutoffError as error:
            return str(error), None
        return report.as_dict(), report.runs

    (whole, runs), (cut, cut_runs) = result(1 << 20), result(block)
    assert whole == cut
    if runs is not None:
        pd.testing.assert_frame_equal(runs, cut_runs)
